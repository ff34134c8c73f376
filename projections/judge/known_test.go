package judge

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// TestKnownIsWhatAsOfShows: a finding is first known at the first of all moments as known at which it is there, however
// many moments are looked at that bear on nothing; and a set was used all the same where it was so known, without a
// break, as it was opened.
func TestKnownIsWhatAsOfShows(t *testing.T) {
	told, used := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		end := all[0].Recorded
		for _, f := range all {
			end = facts.Latest(end, f.Recorded)
		}
		full, src := worldOf(all), &shelf{all: all}
		full.SetMoment(end)
		then := make(map[time.Time]*World) // as known at each moment
		for _, k := range full.Trips() {
			if testing.Short() && told >= 60 && used >= 2 {
				return
			}
			v := must(full.Judge(k))
			want := must(full.Judge(k))
			if len(v.Findings) == 0 {
				continue
			}
			vs := []projections.Verdict{v}
			if err := TellKnown(src, end, vs); err != nil {
				t.Fatal(err)
			}
			asOfEach(full, then, src, end, k, &want)
			for i, f := range vs[0].Findings {
				if g := want.Findings[i]; f.Known.IsZero() || !f.Known.Equal(g.Known) {
					t.Fatalf("%s, %s: known at %s, but as-of shows it first at %s\n%+v", k, f.Code, f.Known, g.Known, f)
				}
				if by := f.KnownBy; by != 0 && !all[slices.IndexFunc(all, func(x facts.Fact) bool { return x.Seq == by })].
					Recorded.Equal(f.Known) {
					t.Fatalf("%s, %s: record %d did not come at %s", k, f.Code, by, f.Known)
				}
				told++
			}
			got, is := vs[0].UsedInDoubt, want.UsedInDoubt
			if (got == nil) != (is == nil) || got != nil && (!got.Since.Equal(is.Since) || got.Code != is.Code) {
				t.Fatalf("%s was used in doubt: %+v, and as-of shows %+v", k, got, is)
			}
			if got != nil {
				used++
			}
		}
	})
	if told == 0 || used == 0 {
		t.Errorf("%d findings, %d sets used in doubt: nothing was tried", told, used)
	}
}

// asOfEach judges a trip as of every moment at which anything came, and at each until which a verdict held.
func asOfEach(now *World, asOf map[time.Time]*World, src *shelf, end time.Time, k projections.TripKey, v *projections.Verdict) {
	var moments []time.Time
	for _, f := range src.all {
		moments = append(moments, f.Recorded)
	}
	slices.SortFunc(moments, time.Time.Compare)
	var opened time.Time
	if its := now.openings(now.Trip(k)); len(its) > 0 {
		opened = its[0].At()
	}
	var doubt *projections.UsedInDoubt
	for at := moments[0]; ; {
		w := asOf[at]
		if w == nil {
			w = NewWorld(facts.AsKnownAt(src, at))
			w.SetMoment(at)
			asOf[at] = w
		}
		then := must(w.Judge(k))
		for i := range v.Findings {
			f := &v.Findings[i]
			if f.Known.IsZero() && slices.ContainsFunc(then.Findings, func(g projections.Finding) bool { return f.KnownAs(&g) }) {
				f.Known = at
			}
		}
		if !opened.IsZero() && !at.After(opened) {
			v.UsedInDoubt = nil
			switch {
			case then.Status != projections.Broken && then.Status != projections.Doubtful:
				doubt = nil
			case doubt == nil && !then.Opened:
				doubt = &projections.UsedInDoubt{Since: at, Code: then.Findings[0].Code}
			}
			if !then.Opened {
				v.UsedInDoubt = doubt
			}
		}
		next := end
		for _, m := range append(moments, then.Until) {
			if m.After(at) && m.Before(next) {
				next = m
			}
		}
		if !next.After(at) {
			return
		}
		at = next
	}
}

// TestKnownBeforeUse: a set that was in doubt for an hour is told from a set that was only found wrong as it was opened.
func TestKnownBeforeUse(t *testing.T) {
	s := newStory()
	l := s.list("LIST-A", 1, 6)
	a, b := newTurn("A", 0, l), newTurn("B", 0, l)
	a.open.Sheet.Code, b.open.Sheet.Code = own(b), own(a)
	s.live(a)
	s.live(b)
	end := time.Time{}
	for i := range s.all {
		f := &s.all[i]
		if f.Event.Subject == "B" && !f.Event.Time.Before(b.openedAt()) {
			f.Event.Time, f.Recorded = f.Event.Time.Add(time.Hour), f.Recorded.Add(time.Hour)
		}
		end = facts.Latest(end, f.Recorded)
	}
	w := s.world()
	vs := []projections.Verdict{must(w.Judge(a.key())), must(w.Judge(b.key()))}
	if err := TellKnown(&shelf{all: s.all}, end, vs); err != nil {
		t.Fatal(err)
	}
	var shown facts.Fact // the reading at the first opening
	for _, f := range s.all {
		if f.Event.Kind() == events.KindSetOpened && f.Event.Subject == "A" {
			shown = f
		}
	}
	swapped := find(vs[0], projections.SheetSwapped)
	if len(swapped) != 1 || !swapped[0].Known.Equal(shown.Recorded) || swapped[0].KnownBy != shown.Seq || vs[0].UsedInDoubt != nil {
		t.Errorf("A: %+v, in doubt before: %+v; want it known by record %d at %s", swapped, vs[0].UsedInDoubt, shown.Seq, shown.Recorded)
	}
	u := vs[1].UsedInDoubt
	if u == nil || !u.Since.Equal(shown.Recorded) || u.By != shown.Seq || u.Code != projections.SheetInDoubt || !u.Opened.After(u.Since) {
		t.Errorf("B was used in doubt: %+v; want it from record %d at %s on, by %s", u, shown.Seq, shown.Recorded, projections.SheetInDoubt)
	}
}

// TestKnownThroughAMistake: a set that was in doubt before somebody recorded its opening by mistake was in doubt all along.
func TestKnownThroughAMistake(t *testing.T) {
	for _, mistaken := range []bool{false, true} {
		s, x := plain()
		y := s.pair()
		x.check.Sheet = outside(own(y)) // in doubt from here on
		s.live(x.unused())
		s.live(y.unused())
		since := x.checkedAt().Add(time.Second)
		opening := newTurn(x.set, 0, x.list)
		opening.open.Sheet = outside(own(y))
		if mistaken {
			s.correct(s.opened(opening, clock(0, 15, 0), "K-other"), clock(0, 16, 0), nil)
		}
		s.opened(opening, clock(1, 7, 12), x.ref)
		vs := []projections.Verdict{must(s.world().Judge(x.key()))}
		if err := TellKnown(&shelf{all: s.all}, clock(2, 0, 0), vs); err != nil {
			t.Fatal(err)
		}
		if u := vs[0].UsedInDoubt; u == nil || !u.Since.Equal(since) || !u.Opened.Equal(clock(1, 7, 12)) {
			t.Errorf("opened by mistake before %t: %+v, want it in doubt from %s on", mistaken, u, since)
		}
	}
}

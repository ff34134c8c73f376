package judge

import (
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// filling fills a World as a rebuild does: turns are judged early and their facts let go.
type filling struct {
	w        *World
	now      map[projections.TripKey]projections.Verdict
	asks     map[projections.TripKey][]facts.Ask
	lack     map[projections.TripKey]bool
	late     []facts.Fact
	gone     *facts.Gone
	boldness int // 0: as a rebuild does; 1: turns are judged as soon as they are packed; 2: and all of them is let go
}

// fataler is a test, or one draw of one.
type fataler interface{ Fatal(args ...any) }

// take adds facts, and after every so many of them judges what has been still for some.
func (f *filling) take(t fataler, all []facts.Fact, every, still int) {
	f.now, f.asks = make(map[projections.TripKey]projections.Verdict), make(map[projections.TripKey][]facts.Ask)
	f.lack = make(map[projections.TripKey]bool)
	for i, x := range all {
		f.w.Add(x)
		if f.gone != nil && f.w.Late(x) {
			f.late = append(f.late, x)
		}
		if i%every != every-1 || i < still {
			continue
		}
		f.gone = f.w.Lets()
		if f.boldness > 0 {
			f.gone.Afterwards, f.gone.Bold = 0, f.boldness > 1
		}
		since := all[i-still]
		f.judge(t, f.w.Still(since.Seq, since.Recorded))
		f.w = f.w.LetGo(since.Seq, since.Recorded)
	}
	if f.gone != nil {
		f.judge(t, slices.DeleteFunc(f.w.Trips(), f.gone.IsJudged))
	}
}

func (f *filling) judge(t fataler, keys []projections.TripKey) {
	w := f.w.Beside()
	needs := make([]facts.Needed, len(keys))
	for i, k := range keys {
		v, n, err := w.JudgeNeeding(k)
		if err != nil {
			t.Fatal(err)
		}
		if needs[i] = n; n.Lacks {
			f.lack[k] = true
			continue
		}
		if len(w.Trip(k).All) > 0 {
			f.now[k], f.asks[k] = v, n.Asks
		}
	}
	for i, k := range keys {
		f.gone.Judged(k, needs[i].Asks)
		f.gone.Judged(k, needs[i].Other)
	}
}

// again returns the turns that are judged anew once everything can be asked for.
func (f *filling) again(t fataler, full *World, all []facts.Fact) map[projections.TripKey]bool {
	again := f.lack
	late := slices.Clone(f.late)
	for _, x := range all {
		if saysPositive(x.Event) {
			late = append(late, x)
		}
	}
	for _, x := range late {
		touch, err := full.Touched(x)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range touch.Trips {
			again[k] = true
		}
		for k, asks := range f.asks {
			if slices.ContainsFunc(asks, func(a facts.Ask) bool { return slices.ContainsFunc(touch.Asked, a.Meets) }) {
				again[k] = true
			}
		}
	}
	return again
}

func saysPositive(e *events.Event) bool {
	switch d := e.Data.(type) {
	case *events.IndicatorRead:
		return d.Result == "positive"
	case *events.EventCorrected:
		x, err := events.ParseObservedData(events.KindIndicatorRead, d.Data)
		if err != nil {
			return false
		}
		i, ok := x.(*events.IndicatorRead)
		return ok && i.Result == "positive"
	}
	return false
}

// TestJudgedEarly: what was judged while facts were let go is what it is by all facts, or is judged again; whatever is let go.
func TestJudgedEarly(t *testing.T) {
	early, gone := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		slices.SortStableFunc(all, func(a, b facts.Fact) int { return a.Recorded.Compare(b.Recorded) })
		for i := range all {
			all[i].Seq = int64(i + 1)
		}
		f := &filling{w: NewWorld(nil), boldness: rapid.IntRange(0, 2).Draw(t, "boldness")}
		f.take(t, all, rapid.IntRange(1, 20).Draw(t, "every"), rapid.IntRange(1, 40).Draw(t, "still"))
		full := NewWorld(nil)
		for _, x := range all {
			full.Add(x)
		}
		if f.gone == nil {
			return
		}
		again := f.again(t, full, all)
		gone += f.gone.Len()
		for _, k := range full.Trips() {
			want, err := full.Judge(k)
			if err != nil {
				t.Fatal(err)
			}
			if again[k] || len(full.Trip(k).All) == 0 {
				continue
			}
			early++
			if got, ok := f.now[k]; !ok || !reflect.DeepEqual(got, want) {
				t.Fatalf("%v (boldness %d, %d let go): got\n%+v\nwant\n%+v", k, f.boldness, f.gone.Len(), got, want)
			}
		}
		for k := range f.now {
			if !again[k] && len(full.Trip(k).All) == 0 {
				t.Fatalf("%v: judged of nothing", k)
			}
		}
	})
	if early == 0 || gone == 0 {
		t.Errorf("%d verdicts were made early, %d facts let go", early, gone)
	}
}

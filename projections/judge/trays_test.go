package judge

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// TestTrayOfAnother: which tray was opened is what its tag says, whatever name it
// is recorded under.
func TestTrayOfAnother(t *testing.T) {
	for _, test := range []struct {
		name             string
		tell             func(s *story, x, y *turn)
		opened           bool // x, under the name of y
		reusedX, reusedY bool
	}{
		{"the other name's own tray is opened later", func(s *story, x, y *turn) {
			y.open.Tag = x.set
			s.live(y)
			s.tell("or-4", clock(1, 14, 0), y.set, y.trip(), &events.SetOpened{Case: "K-9", Tag: y.set})
		}, true, false, false},
		{"two labels exchanged", func(s *story, x, y *turn) {
			y.open.Tag, x.open.Tag = x.set, y.set
			s.live(y)
			s.live(x)
		}, true, false, false},
		{"a tag that no packed set has", func(s *story, x, y *turn) {
			y.open.Tag = "LAP-099"
			s.live(y)
			s.tell("or-4", clock(1, 14, 0), y.set, y.trip(), &events.SetOpened{Case: "K-9", Tag: y.set})
		}, false, false, true},
		{"opened twice under the other name", func(s *story, x, y *turn) {
			y.open.Tag = x.set
			s.live(y)
			s.tell("or-4", clock(1, 14, 0), y.set, y.trip(), &events.SetOpened{Case: "K-9", Tag: x.set})
		}, true, true, false},
		{"reprocessed under the other name", func(s *story, x, y *turn) { // the tags of two trays were exchanged
			y.open.Tag = x.set
			s.live(y)
			again := newTurn(y.set, 1, y.list)
			again.open.Tag = x.set
			s.live(again)
		}, true, false, false},
		{"packed under its own name before", func(s *story, x, y *turn) {
			s.tell("packing-1", clock(0, 18, 0), x.set, tripOf(x.set, 1), x.pack)
			y.open.Tag = x.set
			s.live(y)
		}, false, false, false},
	} {
		s := newStory()
		x, y := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 1, 6, 2, 4)), s.pair()
		if test.name != "two labels exchanged" {
			x.unused()
			s.live(x)
		}
		test.tell(s, x, y)
		w := s.world()
		vx, vy := judge(t, w, x.key()), judge(t, w, y.key())
		checkVerdict(t, vx)
		checkVerdict(t, vy)
		opened := false
		for _, f := range find(vx, projections.LabelSwapped) {
			d, ok := f.Detail.(*projections.OpenedAsAnother)
			opened = opened || ok && f.Severity == projections.SeverityBroken && d.Name == y.key()
		}
		if opened != test.opened || projections.Reused(&vx) != test.reusedX || projections.Reused(&vy) != test.reusedY {
			t.Errorf("%s:\n%s\n%s", test.name, show(vx), show(vy))
		}
	}
}

// TestTrayOfAnotherOpened: a tray that was opened under another name is opened, in
// all that asks for it, and waits for nobody to open it.
func TestTrayOfAnotherOpened(t *testing.T) {
	for _, tag := range []string{"LAP-014", ""} {
		s, x := plain()
		y := s.underName(tag)
		s.live(x.unused())
		s.waits(events.Waits{Seen: 24})
		s.now = clock(30, 0, 0)
		w := s.world()
		v := judge(t, w, x.key())
		checkVerdict(t, v)
		st, err1 := w.Standing(x.key())
		tr, err2 := w.Trace(x.key())
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		link := tr.Links[slices.IndexFunc(tr.Links, func(l projections.TraceLink) bool { return l.Kind == events.KindSetOpened })]
		want, ref := tag != "", ""
		if want {
			ref = y.ref
		}
		if v.Opened != want || v.Case != ref || st.Opened != want || (link.State == projections.LinkThere) != want ||
			(len(find(v, projections.Overdue)) == 0) != want {
			t.Errorf("tag %q: standing opened %t, link %s: %s", tag, st.Opened, link.State, show(v))
		}
	}
}

// TestTrayOfAnotherCounts: its counts are recorded under the other name, so none is
// missing in its own chain.
func TestTrayOfAnotherCounts(t *testing.T) {
	s, x := plain()
	s.underName(x.set)
	s.live(x.unused())
	s.live(newTurn(x.set, 1, x.list))
	tr, err := s.world().Trace(x.key())
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range tr.Links {
		if l.State == projections.LinkAbsent {
			t.Errorf("%s is absent", l.Kind)
		}
	}
}

// TestPackedAsAnotherSaid: it is told of the tray and of the name, and once.
func TestPackedAsAnotherSaid(t *testing.T) {
	s, x := plain()
	second := s.exchangedForGood(x, 0, 1)
	s.live(x.unused())
	s.tell("storage", second.closedAt(), second.set, second.trip(), &events.SetChecked{Tag: x.set})
	const says = "The tray tagged LAP-014 was opened under the name of LAP-022 at north/or-3 on 2026-03-03 07:12 UTC," +
		" LAP-022 was packed at north/packing-1 on 2026-03-05 06:11 UTC, and the same tag was read under that name" +
		" at north/or-3 on 2026-03-06 07:12 UTC. LAP-014 was not packed in between: what was packed as LAP-022 was" +
		" probably this tray, or the tags of two trays are exchanged."
	w := s.world()
	for _, k := range []projections.TripKey{x.key(), second.key()} {
		v := judge(t, w, k)
		checkVerdict(t, v)
		var got []projections.Finding
		for _, f := range find(v, projections.LabelSwapped) {
			if _, ok := f.Detail.(*projections.PackedAsAnother); ok {
				got = append(got, f)
			}
		}
		if len(got) != 1 || got[0].Says != says || got[0].Severity != projections.SeverityDoubtful || *got[0].Other == k {
			t.Errorf("%v: %s", k, show(v))
		}
	}
}

// TestTrayOfAnotherSaid: both cases are named, and whose names the openings bear.
func TestTrayOfAnotherSaid(t *testing.T) {
	s, x := plain()
	s.underName(x.set)
	s.live(x.unused())
	s.openedForK9(x)
	v := judge(t, s.world(), x.key())
	fs := find(v, projections.NotReprocessed)
	const says = "LAP-014 was opened for case K-LAP-022-0 under the name of LAP-022 at north/or-3 on 2026-03-03 07:12 UTC" +
		" and, without being reprocessed, opened for case K-9 at north/or-4 on 2026-03-03 17:12 UTC."
	if len(fs) != 1 || fs[0].Says != says || !projections.Reused(&v) {
		t.Fatal(show(v))
	}
}

// TestTrayOfAnotherCorrected: the other set's record can be put right, and that is
// said of this set too where a broken finding is gone by it.
func TestTrayOfAnotherCorrected(t *testing.T) {
	for _, badge := range []string{"B-1182", "B-7"} {
		s, x := plain()
		y := s.underName(x.set)
		s.live(x.unused())
		before := judge(t, s.world(), x.key())
		put := *y.open
		put.Tag = y.set
		for i := range s.all {
			if opened := s.all[i].Event; opened.Kind() == events.KindSetOpened {
				c := s.correct(&s.all[i], clock(1, 10, 0), &put).Event
				c.Operator, c.Station = badge, opened.Station
				break
			}
		}
		v := judge(t, s.world(), x.key())
		checkVerdict(t, v)
		fs := find(v, projections.Corrected)
		if len(find(before, projections.LabelSwapped)) != 1 || len(find(v, projections.LabelSwapped)) != 0 || len(fs) != 1 ||
			(fs[0].Severity == projections.SeverityDoubtful) != (badge == "B-1182") || !strings.Contains(fs[0].Says, "opening of LAP-022") {
			t.Errorf("%s: %s", badge, show(v))
		}
	}
}

// TestTrayOfAnotherTouches: what is read under another name reaches the set whose
// tag it was, in the time of its trip only.
func TestTrayOfAnotherTouches(t *testing.T) {
	s, x := plain()
	s.live(x)
	x2 := newTurn(x.set, 1, x.list)
	s.live(x2)
	w := s.world()
	_, first, err1 := w.JudgeAsking(x.key())
	_, second, err2 := w.JudgeAsking(x2.key())
	f := s.tell("or-4", x2.packedAt().Add(time.Hour), "LAP-022", "", &events.SetChecked{Tag: x.set})
	w.Add(*f)
	touch, err3 := w.Touched(*f)
	if err1 != nil || err2 != nil || err3 != nil {
		t.Fatal(err1, err2, err3)
	}
	rests := map[projections.TripKey][]facts.Ask{x.key(): first, x2.key(): second}
	touched := touchedTrips(touch, rests)
	if !slices.Contains(touched, x2.key()) || slices.Contains(touched, x.key()) {
		t.Errorf("touched %v", touched)
	}
}

// TestTrayFoundOutLater: the tag that a correction says was read reaches the set
// that has it, once only, and no longer when the correction is taken back.
func TestTrayFoundOutLater(t *testing.T) {
	s, x := plain()
	y := s.underName("LAP-022")
	s.live(x.unused())
	put := *y.open
	put.Tag = x.set
	var fix *facts.Fact
	for i := range s.all {
		if s.all[i].Event.Kind() == events.KindSetOpened {
			fix = s.correct(&s.all[i], clock(1, 10, 0), &put)
			break
		}
	}
	told := find(judge(t, s.world(), x.key()), projections.LabelSwapped)
	if len(told) != 1 || told[0].Severity != projections.SeverityBroken {
		t.Errorf("a tag that a correction gives: %+v", told)
	}
	again := s.correct(fix, clock(1, 11, 0), nil)
	again.Event.Trip = ""
	if told := find(judge(t, s.world(), x.key()), projections.LabelSwapped); len(told) != 0 {
		t.Errorf("the correction taken back: %+v", told)
	}
}

// TestCountedByAThirdSheet: a tray that was opened under another name excuses counts by its own sheet alone; one that was only
// seen under that name excuses none.
func TestCountedByAThirdSheet(t *testing.T) {
	for _, opened := range []bool{true, false} {
		s, x := plain()
		third := newTurn("LAP-030", 0, s.list("LAP-THIRD", 1, 6, 5))
		y := s.pair()
		if opened {
			y.open.Tag, y.final.Sheet = x.set, own(third)
		} else {
			y.check.Tag, y.final.Sheet = x.set, own(x)
		}
		s.live(x.unused())
		s.live(third.unused())
		s.live(y)
		v := judge(t, s.world(), y.key())
		if fs := find(v, projections.CountedOnWrongList); !slices.ContainsFunc(fs, func(f projections.Finding) bool {
			return f.Way == new(projections.WrongList).Way()
		}) {
			t.Errorf("opened %t: %s", opened, show(v))
		}
	}
}

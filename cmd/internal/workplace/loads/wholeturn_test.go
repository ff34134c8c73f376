//go:build !race

package loads_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// turner takes one set round, and counts what is scanned, typed and chosen at each step.
type turner struct {
	*workplacetest.House
	t     *testing.T
	total int
}

// step does one step at a place: once says what is set up once for all sets that come there, each what is done for this
// one. The last answer is that it is recorded and that nothing is wrong.
func (u *turner) step(s *workplacetest.Scanner, name string, once func(), recorded string, each ...string) {
	u.t.Helper()
	u.After(10 * time.Minute)
	if once != nil {
		once()
	}
	size := u.Size()
	a := s.All(each...)
	if a["status"] != "whole" || !strings.Contains(workplacetest.Tells(a), recorded) {
		u.t.Errorf("%s: %s", name, workplacetest.Tells(a))
	}
	if u.Size() == size {
		u.t.Errorf("%s: nothing is recorded", name)
	}
	u.total += len(each)
	u.t.Logf("%-10s %d inputs", name, len(each))
}

// TestOneScanAndOneEnter: from one packing to the next, where nothing is wrong, each step is the scans of what lies there
// and one Enter; on the way back, where nothing but the set lies there, one scan and one Enter. What is said once for all sets
// of a trolley (badge, step, the washer's load) isn't of a set. Nothing is found of the whole turn.
func TestOneScanAndOneEnter(t *testing.T) {
	u := &turner{House: workplacetest.NewHouse(t, "VAS-003"), t: t}
	u.Used("K-0", "VAS-003")
	label := func(k events.ScanKind, id string) string { return workplacetest.Label(t, k, id) }
	tag, outer := label(events.ScanTag, "VAS-003"), label(events.ScanOuter, "VAS-003")
	at := func(station, place string) *workplacetest.Scanner {
		return &workplacetest.Scanner{House: u.House, Path: "/at/north/" + station + "/" + place, Number: 1000 * int(u.Size())}
	}
	badge := func(s *workplacetest.Scanner, id string) func() { return func() { s.All(label(events.ScanBadge, id)) } }
	const enter = ""

	u.comesBack("3")
	s := at("packing-1", "packing")
	u.step(s, "packed", badge(s, "B-1182"), "VAS-003 packed", tag, enter, enter, enter, "8.4", enter) // an Enter a line
	s = at("packing-1", "sealing")
	u.step(s, "closed", badge(s, "B-1182"), "VAS-003 closed", tag, "3", enter) // where the sheet goes
	sealed := u.Last().Data.(*events.ListSealed)
	s = at("sterilizer-1", "sterilizer")
	u.step(s, "sterilized", func() {
		badge(s, "B-2043")()
		s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "dynamic-air-132")
		s.Scan(tag) // the one input of this set; what follows is said once for the whole load
		s.Do("start")
		u.After(40 * time.Minute)
		s.Do("result", "result", "passed", "released", "yes")
	}, "is released", label(events.ScanBadge, "B-2044"))
	s = at("storage", "storage")
	u.step(s, "stored", badge(s, "B-2051"), "VAS-003 checked", tag, sealed.Code, "1", enter)
	s = at("or-3", "opening")
	u.step(s, "opened", badge(s, "B-3310"), "VAS-003 opened", tag, outer, sealed.Code, label(events.ScanCase, "K-1"), "1", enter)
	u.counts()
	s = at("or-3", "close")
	u.step(s, "case closed", nil, "Case K-1 closed", label(events.ScanCase, "K-1"), label(events.ScanBadge, "B-3322"),
		label(events.ScanBadge, "B-3310"))
	if v := u.Verdict("VAS-003", u.Trip("VAS-003")); v.Status != projections.Whole || len(v.Findings) > 0 {
		t.Errorf("the turn is %s: %+v", v.Status, v.Findings)
	}

	u.comesBack("4")
	s = at("packing-1", "packing")
	u.step(s, "packed", badge(s, "B-1182"), "VAS-003 packed", tag, enter, enter, enter, "8.4", enter)
	packed := u.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	if d := packed[len(packed)-1].(*events.SetPacked); len(packed) != 3 || len(d.Exceptions) > 0 {
		t.Errorf("packed %d times, last %+v", len(packed), d)
	}
	t.Logf("%d inputs", u.total)
}

// comesBack takes the set from its case to the bench where it is packed again.
func (u *turner) comesBack(run string) {
	u.t.Helper()
	u.After(10 * time.Minute)
	s := &workplacetest.Scanner{House: u.House, Path: "/at/north/or-3/return", Number: 1000 * int(u.Size())}
	s.Scan(workplacetest.Label(u.t, events.ScanBadge, "B-3310"))
	for _, way := range []events.ReturnStep{events.ReturnLeft, events.ReturnReceived, events.ReturnWashed, events.ReturnInspected} {
		u.step(s, string(way), func() {
			s.Do("step", "value", string(way))
			if way == events.ReturnWashed {
				s.Do("load", "washer", "W2", "run", run)
			}
		}, "VAS-003", workplacetest.Label(u.t, events.ScanTag, "VAS-003"), "")
	}
}

// counts counts the case at first and at the end: an Enter a line, and the badges of two, which record it.
func (u *turner) counts() {
	u.t.Helper()
	for _, stage := range []string{"first", "final"} {
		u.After(30 * time.Minute)
		k := &workplacetest.Counter{House: u.House, Ref: "K-1", Stage: stage}
		if stage != "first" {
			k.Do("begin")
		}
		began := k.Number
		k.Lines("VAS-003", 4, 2, 3)
		workplacetest.Must(u.t, k.TwoBadges("B-3310", "B-3322"), "whole", "recorded")
		u.total += k.Number - began
		u.t.Logf("%-10s %d inputs", stage, k.Number-began)
	}
}

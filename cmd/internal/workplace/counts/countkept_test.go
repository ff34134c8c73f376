//go:build !race

package counts_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestWrongSheetAndOneMoreSet: a wrong count sheet that was read at a count stays STOP when a set that sorts before comes to
// the case, until it is said where it lay; the answer sent again, after one more set came, is the same record.
func TestWrongSheetAndOneMoreSet(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014", "LAP-022", "VAS-003", "VAS-004")
	h.Open("VAS-004", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Lines("VAS-004", 4, 2, 3)
	workplacetest.Must(t, k.Scan(h.Codes["LAP-022"]), "broken", "Where was the count sheet that lay with VAS-004?")
	h.Open("VAS-003", "K-1")
	k.Lines("VAS-003", 4, 2, 3)
	k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	before := h.Size()
	h.After(3 * time.Second)
	workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "broken",
		"Where was the count sheet that lay with VAS-004?")
	a := k.Scan("")
	if h.Size() != before {
		t.Fatal("signed over a STOP that nobody answered")
	}
	workplacetest.Must(t, (&workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}).Scan(workplacetest.Label(t,
		events.ScanCase, "K-1")), "a wrong count sheet was read")
	if page := h.Get("/at/north/or-3/count?case=K-1&stage=first"); !strings.Contains(page, "Where was the count sheet") {
		t.Error("the page doesn't ask")
	}
	lay := workplacetest.ChoiceOf(a, "1 ")
	told := k.Do("sheet-lay", "value", lay)
	workplacetest.Must(t, told, "VAS-004")
	h.Open("LAP-014", "K-1")
	k.Number--
	workplacetest.Must(t, k.Do("sheet-lay", "value", lay), told["words"].(string))
	if got := h.Events(site.Query{Set: "VAS-004"}, events.KindSetChecked); len(got) != 1 {
		t.Fatalf("recorded: %v", got)
	}
	if v := h.Verdict("LAP-022", h.Trips["LAP-022"]); v.Status == "whole" || v.Status == "open" {
		t.Errorf("LAP-022, whose sheet lay there, is %s", v.Status)
	}
}

// TestShortBeforeAndPassedOff: what was found short by a count that is signed, or by this one before its lines were counted
// again, is said to be passed off under that: amber where it is said, signed and where the case is closed.
func TestShortBeforeAndPassedOff(t *testing.T) {
	for name, short := range map[string]func(k *workplacetest.Counter){
		"signed": func(k *workplacetest.Counter) {
			k.House.Counts("K-1", "VAS-003", events.StageFinal, 4, 2, 2)
			k.Do("begin")
		},
		"interrupted": func(k *workplacetest.Counter) {
			k.Do("begin")
			k.Lines("VAS-003", 4, 2, 2)
			k.Interrupt()
		},
		"cleared": func(k *workplacetest.Counter) {
			k.Do("begin")
			k.Lines("VAS-003", 4, 2, 2)
			k.Post("enter", `"lines":[{"set":"VAS-003","line":3,"clear":true}]`)
		},
		"passed off and not so": func(k *workplacetest.Counter) {
			k.Do("begin")
			k.Do("removed", "set", "VAS-003", "line", "3", "quantity", "1", "reason", "sent to pathology")
			k.Lines("VAS-003", 4, 2, 2)
			k.Do("removed", "set", "VAS-003", "line", "3", "quantity", "0")
			k.Post("enter", `"lines":[{"set":"VAS-003","line":3,"clear":true}]`)
		},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.ChangesPolicy(func(p *events.Policy) { p.Stages = []events.Stage{events.StageFirst, events.StageFinal} })
		h.Open("VAS-003", "K-1")
		h.Signs("K-1", "VAS-003", events.StageFirst)
		h.After(time.Minute)
		k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
		short(k)
		h.After(time.Minute)
		said := "said after a count had found it short"
		a := k.Do("removed", "set", "VAS-003", "line", "3", "quantity", "1", "reason", "it must be somewhere")
		if !strings.Contains(workplacetest.Tells(a), said) {
			t.Fatalf("%s: the page says %s", name, workplacetest.Tells(a))
		}
		k.Lines("VAS-003", 4, 2, 2)
		k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		h.After(3 * time.Second)
		workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "doubtful", "Final count recorded", said)
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
		workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "doubtful", "come out", said)
	}
}

// TestLinesBeforeAnotherCountStayAsked: that lines were counted before another count was signed is asked until it is
// answered, though what was added is signed since, and taken back. A count that was taken back asks nothing.
func TestLinesBeforeAnotherCountStayAsked(t *testing.T) {
	for _, back := range []bool{false, true} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Open("VAS-003", "K-1")
		h.Signs("K-1", "VAS-003", events.StageFirst)
		h.After(time.Minute)
		f := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final", Number: 1000}
		f.Do("begin")
		f.Lines("VAS-003", 4)
		two := func(k *workplacetest.Counter) map[string]any {
			k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			h.After(3 * time.Second)
			return k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
		}
		takeBack := func(k *workplacetest.Counter) {
			a := k.Do("take-back")
			k.Do("take-back", "value", a["choices"].([]any)[0].(map[string]any)["value"].(string))
			h.After(3 * time.Second)
			k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			h.After(time.Minute)
		}
		h.After(time.Minute)
		k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "closing", Number: 2000}
		k.Do("begin")
		k.Lines("VAS-003", 4, 2, 3)
		workplacetest.Must(t, two(k), "Closing count recorded")
		if back {
			takeBack(k)
			if a := f.Post("enter",
				`"lines":[{"set":"VAS-003","line":2,"counted":2}]`); strings.Contains(workplacetest.Tells(a), "this count was left at") {
				t.Errorf("a count that was taken back asks: %s", workplacetest.Tells(a))
			}
			continue
		}
		k = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "added", Number: 3000}
		k.Do("begin")
		k.Do("single", "set", "VAS-003", "what", "Bulldog clamp", "quantity", "1")
		workplacetest.Must(t, two(k), "recorded")
		for _, signed := range []string{"and signed", "and taken back"} {
			before := h.Size()
			if a := f.Post("enter",
				`"lines":[{"set":"VAS-003","line":2,"counted":2}]`); !strings.Contains(workplacetest.Tells(a), "this count was left at") {
				t.Errorf("something was added %s: %s", signed, workplacetest.Tells(a))
			}
			if two(f); h.Size() != before {
				t.Errorf("something was added %s, and line 1 is signed as it was before the closing count", signed)
			}
			if signed == "and signed" {
				takeBack(k)
			}
		}
	}
}

// TestLockOnTheEmptyBench: a lock, a fault, a broken lock or an indicator that was entered while no set lay at an opening or
// in storage is not recorded with the set that the next person reads there.
func TestLockOnTheEmptyBench(t *testing.T) {
	for _, path := range []string{"/at/north/or-3/opening", "/at/north/storage/storage"} {
		for _, gone := range []func(*workplacetest.Scanner){
			func(s *workplacetest.Scanner) { s.Do("next-person") },
			func(s *workplacetest.Scanner) { s.House.After(20 * time.Hour) },
		} {
			h := workplacetest.NewHouse(t, "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: path}
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			s.Scan(workplacetest.Label(t, events.ScanSeal, "483923"))
			s.Do("package", "value", string(events.PackageFaults()[0]), "on", "yes")
			s.Do("indicator", "value", "pass")
			s.Do("seal-broken", "on", "yes")
			gone(s)
			if strings.Contains(h.Get(path), "483923") {
				t.Errorf("%s: the lock lies there for the next person", path)
			}
			for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-7"), workplacetest.Label(t, events.ScanCase, "K-1"),
				workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t, events.ScanOuter, "VAS-003"),
				h.Codes["VAS-003"], "1"} {
				s.Scan(text)
			}
			before := h.Size()
			if a := s.Scan(""); h.Size() != before+1 {
				t.Fatalf("%s: not recorded, the page says %s", path, workplacetest.Tells(a))
			}
			switch d := h.Last().Data.(type) {
			case *events.SetOpened:
				if len(d.Seals) > 0 || d.SealBroken || len(d.Package) > 0 || d.Indicator != "" {
					t.Errorf("recorded: %+v", d)
				}
			case *events.SetChecked:
				if len(d.Seals) > 0 || d.SealBroken || len(d.Package) > 0 {
					t.Errorf("recorded: %+v", d)
				}
			}
		}
	}
}

//go:build !race

package counts_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestTwoLabelsInOneScan: two sets or badges in one scan are not taken, wherever that is; nor is a count sheet's code that broke off,
// with a label behind it, for a lock, a badge or a set.
func TestTwoLabelsInOneScan(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "LAP-014")
	h.Packed("VAS-003", "VAS-004")
	tag := func(set string) string { return workplacetest.Label(t, events.ScanTag, set) }
	badge := func(b string) string { return workplacetest.Label(t, events.ScanBadge, b) }
	for place, want := range map[string]string{"sealing": "Scan the tag of the packed set", "packing": "", "sterilizer": "S1-0304-07"} {
		s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/" + place}
		s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		for _, text := range []string{tag("VAS-003") + tag("VAS-004"), badge("B-1") + badge("B-13")} {
			h.After(3 * time.Second)
			a := s.Scan(text)
			if workplacetest.Must(t, a, "Two labels in one scan", want); a["sound"] != "low" ||
				strings.Contains(a["bench"].(string), "B-13") {
				t.Errorf("%s: %v, %v", place, a["sound"], a["bench"])
			}
		}
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	s.Number = 100
	s.Scan(tag("VAS-003"))
	h.After(3 * time.Second)
	a := s.Scan(h.Codes["LAP-014"][:30] + badge("B-13"))
	workplacetest.Must(t, a, "The code of a count sheet broke off")
}

// TestSecondLookByWhoCounted: whoever counted lines of a set doesn't make the second look at it, whoever packs it by now.
func TestSecondLookByWhoCounted(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.ChangesPolicy(func(p *events.Policy) { p.SecondLook = []string{"VAS-MINOR"} })
	p, badge := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"},
		func(b string) string { return workplacetest.Label(t, events.ScanBadge, b) }
	p.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	for _, text := range []string{"", badge("B-1"), "", "", "8.4"} {
		h.After(3 * time.Second)
		p.Scan(text)
	}
	p.Answer(p.Do("next-person"), "left-on")
	p.Scan(badge("B-2"))
	workplacetest.Must(t, p.Scan(badge("B-1")), "B-1 counted lines of it")
	h.After(3 * time.Second)
	workplacetest.Must(t, p.Scan(badge("B-3")), "whole", "Enter records: VAS-003 packed")
	before := h.Size()
	if p.Scan(""); h.Size() != before+1 {
		t.Fatal("nothing is recorded")
	}
	if e, err := h.Site.EventAt(h.Size()); err != nil || e.Data.(*events.SetPacked).SecondLook != "B-3" {
		t.Errorf("recorded: %+v, %v", e, err)
	}
}

// TestMoreFoundThanMissed: more pieces found than are missed are not in order; nor is a piece reported as missed once more.
func TestMoreFoundThanMissed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.After(40 * time.Minute)
	q := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/pieces"}
	report := func(became string, more ...string) (a map[string]any) {
		q.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		q.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		for _, text := range append([]string{"1", became}, more...) {
			h.After(3 * time.Second)
			a = q.Scan(text)
		}
		return a
	}
	already := "One like it is reported as missed already"
	if a := report("4"); strings.Contains(workplacetest.Tells(a), already) {
		t.Fatalf("nobody has reported it: %v", workplacetest.Tells(a))
	}
	workplacetest.Must(t, q.Scan(""), "doubtful")
	workplacetest.Must(t, report("4"), "doubtful", already)
	q.Do("clear")
	workplacetest.Must(t, report("5", "1"), "whole", "Enter records")
	q.Do("clear")
	workplacetest.Must(t, report("5", "4"), "doubtful", "More than are missed (1)")
}

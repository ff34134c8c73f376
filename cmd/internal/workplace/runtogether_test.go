//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestTwoLabelsInOneScan: two sets or badges in one scan are not taken, wherever that is; nor is a count sheet's code that broke off,
// with a label behind it, for a lock, a badge or a set.
func TestTwoLabelsInOneScan(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "LAP-014")
	h.packed("VAS-003", "VAS-004")
	tag := func(set string) string { return label(t, events.ScanTag, set) }
	badge := func(b string) string { return label(t, events.ScanBadge, b) }
	for place, want := range map[string]string{"sealing": "Scan the tag of the packed set", "packing": "", "sterilizer": "S1-0304-07"} {
		s := &scanner{h: h, path: "/at/north/packing-1/" + place}
		s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
		for _, text := range []string{tag("VAS-003") + tag("VAS-004"), badge("B-1") + badge("B-13")} {
			h.after(3 * time.Second)
			a := s.scan(text)
			if must(t, a, "Two labels in one scan", want); a["sound"] != "low" || strings.Contains(a["bench"].(string), "B-13") {
				t.Errorf("%s: %v, %v", place, a["sound"], a["bench"])
			}
		}
	}
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	s.n = 100
	s.scan(tag("VAS-003"))
	h.after(3 * time.Second)
	a := s.scan(h.codes["LAP-014"][:30] + badge("B-13"))
	must(t, a, "The code of a count sheet broke off")
}

// TestSecondLookByWhoCounted: whoever counted lines of a set doesn't make the second look at it, whoever packs it by now.
func TestSecondLookByWhoCounted(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.changesPolicy(func(p *events.Policy) { p.SecondLook = []string{"VAS-MINOR"} })
	p, badge := &scanner{h: h, path: "/at/north/packing-1/packing"}, func(b string) string { return label(t, events.ScanBadge, b) }
	p.scan(label(t, events.ScanTag, "VAS-003"))
	for _, text := range []string{"", badge("B-1"), "", "", "8.4"} {
		h.after(3 * time.Second)
		p.scan(text)
	}
	p.do("next-person")
	p.scan(badge("B-2"))
	must(t, p.scan(badge("B-1")), "B-1 counted lines of it")
	h.after(3 * time.Second)
	must(t, p.scan(badge("B-3")), "whole", "Enter records: VAS-003 packed")
	before := h.size()
	if p.scan(""); h.size() != before+1 {
		t.Fatal("nothing is recorded")
	}
	if e, err := h.site.EventAt(h.size()); err != nil || e.Data.(*events.SetPacked).SecondLook != "B-3" {
		t.Errorf("recorded: %+v, %v", e, err)
	}
}

// TestMoreFoundThanMissed: more pieces found than are missed are not in order; nor is a piece reported as missed once more.
func TestMoreFoundThanMissed(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.after(40 * time.Minute)
	q := &scanner{h: h, path: "/at/north/packing-1/pieces"}
	report := func(became string, more ...string) (a map[string]any) {
		q.scan(label(t, events.ScanBadge, "B-1"))
		q.scan(label(t, events.ScanTag, "VAS-003"))
		for _, text := range append([]string{"1", became}, more...) {
			h.after(3 * time.Second)
			a = q.scan(text)
		}
		return a
	}
	already := "One like it is reported as missed already"
	if a := report("4"); strings.Contains(tells(a), already) {
		t.Fatalf("nobody has reported it: %v", tells(a))
	}
	must(t, q.scan(""), "doubtful")
	must(t, report("4"), "doubtful", already)
	q.do("clear")
	must(t, report("5", "1"), "whole", "Enter records")
	q.do("clear")
	must(t, report("5", "4"), "doubtful", "More than are missed (1)")
}

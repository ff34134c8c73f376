//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// closedShort uses a set in a case that is closed short of its third line.
func (h *house) closedShort(ref, set string) {
	h.open(set, ref)
	h.counts(ref, set, events.StageFirst, 4, 2, 3)
	h.after(time.Minute)
	h.counts(ref, set, events.StageFinal, 4, 2, 2)
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: ref, Outcome: "unreconciled", Actions: []string{},
		Reason: "searched", Witness: "B-22"})
	h.after(40 * time.Minute)
}

// packs packs a set at the page, up to what Enter records: lines are what is typed for each.
func (h *house) packs(set string, lines ...string) (p *scanner, asked, a map[string]any) {
	h.t.Helper()
	p = &scanner{h: h, path: "/at/north/packing-1/packing", n: int(h.size()) * 100}
	p.scan(label(h.t, events.ScanBadge, "B-1"))
	asked = p.scan(label(h.t, events.ScanTag, set))
	if c := answer(asked).choice("lacks"); c["value"] != "" {
		p.do("lacks", "value", c["value"])
	}
	for _, l := range lines {
		h.after(3 * time.Second)
		p.scan(l)
	}
	return p, asked, p.scan("8.4")
}

// TestLacksByTheCounts: a set whose case was closed short of a piece is asked about where it is inspected and packed; packed as
// listed or without the piece it is not in order, and the case is named. A piece that is found is told to that case.
func TestLacksByTheCounts(t *testing.T) {
	for _, probe := range []string{"", "2"} {
		h := newHouse(t, "VAS-003")
		h.closedShort("K-1", "VAS-003")
		r := &scanner{h: h, path: "/at/north/or-3/return"}
		r.scan(label(t, events.ScanBadge, "B-1"))
		r.do("step", "value", "inspected")
		a := r.scan(label(t, events.ScanTag, "VAS-003"))
		must(t, a, "doubtful", "A piece of VAS-003 is looked for", "K-1", "Probe")
		before := h.size()
		if must(t, r.scan(""), "looked for"); h.size() != before {
			t.Fatal("Enter records it")
		}
		must(t, r.answer(a, "lacks"), "doubtful", "Enter records: VAS-003 inspected", "Probe")
		must(t, r.scan(""), "doubtful", "inspected", "K-1")

		lines := []string{"", "", probe}
		if probe != "" {
			lines = append(lines, "1")
		}
		p, asked, a := h.packs("VAS-003", lines...)
		must(t, asked, "doubtful", "A piece of VAS-003 is missing", "Probe", "K-1")
		must(t, a, "doubtful", "Enter records: VAS-003 packed", "K-1", map[bool]string{true: "come out here", false: "either"}[probe == ""])
		must(t, p.scan(""), "doubtful", "VAS-003 packed", "K-1", map[bool]string{true: "come out here", false: "either"}[probe == ""])

		q := &scanner{h: h, path: "/at/north/packing-1/pieces"}
		q.scan(label(t, events.ScanBadge, "B-1"))
		q.scan(label(t, events.ScanTag, "VAS-003"))
		q.scan("3")
		h.after(3 * time.Second)
		a = q.scan("5")
		if must(t, a, "doubtful", "Case K-1 is short of a piece like it"); strings.Contains(tells(a), "Nothing of VAS-003") {
			t.Errorf("not missed: %v", a["more"])
		}
		must(t, q.scan(""), "doubtful", "Case K-1 is short")
		if p, err := h.site.EventAt(h.size()); err != nil || p.Trip != h.trips["VAS-003"] {
			t.Errorf("found for turn %v, %v", p, err)
		}
	}
}

// TestLacksByItsPacking: a set that was packed without a piece is asked about when it is packed the next time, unless a piece came
// since by a report, or was counted.
func TestLacksByItsPacking(t *testing.T) {
	for _, c := range []struct {
		came    events.Became
		counted int64
		asks    bool
	}{{"", 3, true}, {events.BecameReplaced, 3, false}, {"", 4, false}} {
		h := newHouse(t, "VAS-003")
		h.used("K-1", "VAS-003")
		h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400,
			Exceptions: []events.Exception{{Line: 1, Counted: 3, Reason: events.ReasonMissing}}})
		h.open("VAS-003", "K-5")
		h.counts("K-5", "VAS-003", events.StageFirst, c.counted, 2, 3)
		h.counts("K-5", "VAS-003", events.StageFinal, c.counted, 2, 3)
		h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-5", Outcome: "reconciled", Actions: []string{}})
		h.after(time.Hour)
		if c.came != "" {
			h.record("north/storage", events.KindPieceReported, "VAS-003",
				&events.PieceReported{Became: c.came, Line: 1, Item: "INS-001", Quantity: 1})
		}
		p, asked, a := h.packs("VAS-003", "", "", "")
		if !c.asks {
			must(t, a, "whole")
			continue
		}
		must(t, asked, "doubtful", "missing", "3 of 4 were packed")
		must(t, a, "doubtful", "VAS-003", "3 of 4 were packed")
		must(t, p.scan(""), "doubtful", "VAS-003 packed", "3 of 4 were packed")
	}
}

// TestLacksInRepairOrDamaged: a set of which a piece is in repair, or was damaged on the way back, is asked about when it is packed,
// and packed as listed it is not in order; where the packing says so it is.
func TestLacksInRepairOrDamaged(t *testing.T) {
	repair := func(h *house, became events.Became) {
		h.record("north/storage", events.KindPieceReported, "VAS-003",
			&events.PieceReported{Became: became, Line: 1, Item: "INS-001", Quantity: 1})
	}
	damaged := func(h *house) {
		h.record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
			Faults: []events.ReturnFault{events.ReturnDamaged}})
	}
	for name, c := range map[string]struct {
		was   func(h *house)
		words string
		lines []string
		then  string
	}{
		"repair":           {func(h *house) { repair(h, events.BecameRepair) }, "was sent to repair", []string{"", "", ""}, "doubtful"},
		"repair, told":     {func(h *house) { repair(h, events.BecameRepair) }, "was sent to repair", []string{"3", "5", "", ""}, "whole"},
		"repair, and back": {func(h *house) { repair(h, events.BecameRepair); repair(h, events.BecameBack) }, "", []string{"", "", ""}, "whole"},
		"repair of two, none of the list": {func(h *house) {
			for _, item := range []string{"XX-1", "XX-2"} {
				h.record("north/storage", events.KindPieceReported, "VAS-003",
					&events.PieceReported{Became: events.BecameRepair, Item: item, Quantity: 1})
			}
		}, "XX-2 was sent to repair", []string{"", "", ""}, "whole"},
		"damaged":       {damaged, "a piece was damaged", []string{"", "", ""}, "doubtful"},
		"damaged, told": {damaged, "a piece was damaged", []string{"", "1", "3", ""}, "whole"},
		"damaged, and in repair": {func(h *house) { damaged(h); repair(h, events.BecameRepair); repair(h, events.BecameBack) }, "",
			[]string{"", "", ""}, "whole"},
	} {
		h := newHouse(t, "VAS-003")
		h.used("K-1", "VAS-003")
		h.after(time.Hour)
		c.was(h)
		_, asked, a := h.packs("VAS-003", c.lines...)
		if c.words != "" {
			must(t, asked, "doubtful", c.words, "count each line")
		}
		if a["status"] != c.then || c.then != "whole" && !strings.Contains(tells(a), c.words) {
			t.Errorf("%s: %v %v %v", name, a["status"], a["words"], a["more"])
		}
	}
}

// TestFoundOfTheOtherSet: a piece that is found and not missed of the set in hand is not in order, and the set of the case that
// misses one is named.
func TestFoundOfTheOtherSet(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.used("K-1", "VAS-003", "VAS-004")
	h.after(40 * time.Minute)
	h.record("north/storage", events.KindPieceReported, "VAS-004", &events.PieceReported{Became: events.BecameLost, Line: 1, Quantity: 1})
	q := &scanner{h: h, path: "/at/north/packing-1/pieces"}
	q.scan(label(t, events.ScanBadge, "B-1"))
	for _, set := range []string{"VAS-003", "VAS-004"} {
		h.after(3 * time.Second)
		q.do("clear")
		q.scan(label(t, events.ScanTag, set))
		q.scan("1")
		h.after(3 * time.Second)
		a := q.scan("5")
		if set == "VAS-004" {
			must(t, a, "whole")
			continue
		}
		must(t, a, "doubtful", "Nothing of VAS-003 is recorded as missed", "A piece like it is missed of VAS-004")
	}
}

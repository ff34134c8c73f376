//go:build !race

package packing_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestLacksByTheCounts: a set whose case was closed short of a piece is asked about where it is inspected and packed; packed as
// listed or without the piece it is not in order, and the case is named. A piece that is found is told to that case.
func TestLacksByTheCounts(t *testing.T) {
	for _, probe := range []string{"", "2"} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.ClosedShort("K-1", "VAS-003")
		r := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
		r.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		r.Do("step", "value", "inspected")
		a := r.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		workplacetest.Must(t, a, "doubtful", "A piece of VAS-003 is looked for", "K-1", "Probe")
		before := h.Size()
		if workplacetest.Must(t, r.Scan(""), "looked for"); h.Size() != before {
			t.Fatal("Enter records it")
		}
		workplacetest.Must(t, r.Answer(a, "lacks"), "doubtful", "Enter records: VAS-003 inspected", "Probe")
		workplacetest.Must(t, r.Scan(""), "doubtful", "inspected", "K-1")

		lines := []string{"", "", probe}
		if probe != "" {
			lines = append(lines, "1")
		}
		p, asked, a := h.Packs("VAS-003", lines...)
		workplacetest.Must(t, asked, "doubtful", "A piece of VAS-003 is missing", "Probe", "K-1")
		workplacetest.Must(t, a, "doubtful", "Enter records: VAS-003 packed", "K-1",
			map[bool]string{true: "come out here", false: "either"}[probe == ""])
		workplacetest.Must(t, p.Scan(""), "doubtful", "VAS-003 packed", "K-1", map[bool]string{true: "come out here",
			false: "either"}[probe == ""])

		q := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/pieces"}
		q.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		q.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		q.Scan("3")
		h.After(3 * time.Second)
		a = q.Scan("5")
		if workplacetest.Must(t, a, "doubtful",
			"Case K-1 is short of a piece like it"); strings.Contains(workplacetest.Tells(a), "Nothing of VAS-003") {
			t.Errorf("not missed: %v", a["more"])
		}
		workplacetest.Must(t, q.Scan(""), "doubtful", "Case K-1 is short")
		if p, err := h.Site.EventAt(h.Size()); err != nil || p.Trip != h.Trips["VAS-003"] {
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
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Used("K-1", "VAS-003")
		h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400,
			Exceptions: []events.Exception{{Line: 1, Counted: 3, Reason: events.ReasonMissing}}})
		h.Open("VAS-003", "K-5")
		h.Counts("K-5", "VAS-003", events.StageFirst, c.counted, 2, 3)
		h.Counts("K-5", "VAS-003", events.StageFinal, c.counted, 2, 3)
		h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-5", Outcome: "reconciled", Actions: []string{}})
		h.After(time.Hour)
		if c.came != "" {
			h.Record("north/storage", events.KindPieceReported, "VAS-003",
				&events.PieceReported{Became: c.came, Line: 1, Item: "INS-001", Quantity: 1})
		}
		p, asked, a := h.Packs("VAS-003", "", "", "")
		if !c.asks {
			workplacetest.Must(t, a, "whole")
			continue
		}
		workplacetest.Must(t, asked, "doubtful", "missing", "3 of 4 were packed")
		workplacetest.Must(t, a, "doubtful", "VAS-003", "3 of 4 were packed")
		workplacetest.Must(t, p.Scan(""), "doubtful", "VAS-003 packed", "3 of 4 were packed")
	}
}

// TestLacksInRepairOrDamaged: a set of which a piece is in repair, or was damaged on the way back, is asked about when it is packed,
// and packed as listed it is not in order; where the packing says so it is.
func TestLacksInRepairOrDamaged(t *testing.T) {
	repair := func(h *workplacetest.House, became events.Became) {
		h.Record("north/storage", events.KindPieceReported, "VAS-003",
			&events.PieceReported{Became: became, Line: 1, Item: "INS-001", Quantity: 1})
	}
	damaged := func(h *workplacetest.House) {
		h.Record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
			Faults: []events.ReturnFault{events.ReturnDamaged}})
	}
	for name, c := range map[string]struct {
		was   func(h *workplacetest.House)
		words string
		lines []string
		then  string
	}{
		"repair": {func(h *workplacetest.House) { repair(h, events.BecameRepair) }, "was sent to repair",
			[]string{"", "", ""}, "doubtful"},
		"repair, told": {func(h *workplacetest.House) { repair(h, events.BecameRepair) }, "was sent to repair",
			[]string{"3", "5", "", ""}, "whole"},
		"repair, and back": {func(h *workplacetest.House) {
			repair(h, events.BecameRepair)
			repair(h,
				events.BecameBack)
		}, "", []string{"", "", ""}, "whole"},
		"repair of two, none of the list": {func(h *workplacetest.House) {
			for _, item := range []string{"XX-1", "XX-2"} {
				h.Record("north/storage", events.KindPieceReported, "VAS-003",
					&events.PieceReported{Became: events.BecameRepair, Item: item, Quantity: 1})
			}
		}, "XX-2 was sent to repair", []string{"", "", ""}, "whole"},
		"damaged":       {damaged, "a piece was damaged", []string{"", "", ""}, "doubtful"},
		"damaged, told": {damaged, "a piece was damaged", []string{"", "1", "3", ""}, "whole"},
		"damaged, and in repair": {func(h *workplacetest.House) {
			damaged(h)
			repair(h, events.BecameRepair)
			repair(h,
				events.BecameBack)
		}, "",
			[]string{"", "", ""}, "whole"},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Used("K-1", "VAS-003")
		h.After(time.Hour)
		c.was(h)
		_, asked, a := h.Packs("VAS-003", c.lines...)
		if c.words != "" {
			workplacetest.Must(t, asked, "doubtful", c.words, "count each line")
		}
		if a["status"] != c.then || c.then != "whole" && !strings.Contains(workplacetest.Tells(a), c.words) {
			t.Errorf("%s: %v %v %v", name, a["status"], a["words"], a["more"])
		}
	}
}

// TestRepairOutlivesATurn: a piece that went to repair and was packed as listed all the same is asked about in the next turn, too,
// at inspection and packing; not where it came back, where the counts of the case since have shown its line whole, or where it is
// on no list.
func TestRepairOutlivesATurn(t *testing.T) {
	for name, c := range map[string]struct {
		item    string
		became  events.Became
		counted int64 // of line 1, by the case since; 0: it was not counted
		asks    bool
	}{
		"packed as listed": {"INS-001", "", 0, true}, "counted short": {"INS-001", "", 3, true}, "counted whole": {"INS-001", "", 4, false},
		"back since": {"INS-001", events.BecameBack, 0, false}, "on no list": {"XX-1", "", 0, false},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Used("K-1", "VAS-003")
		h.Record("north/storage", events.KindPieceReported, "VAS-003",
			&events.PieceReported{Became: events.BecameRepair, Item: c.item, Quantity: 1})
		h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
		h.Open("VAS-003", "K-5")
		if c.counted > 0 {
			h.Counts("K-5", "VAS-003", events.StageFinal, c.counted, 2, 3)
		}
		h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-5", Outcome: "reconciled", Actions: []string{}})
		if c.became != "" {
			h.Record("north/storage", events.KindPieceReported, "VAS-003",
				&events.PieceReported{Became: c.became, Item: c.item, Quantity: 1})
		}
		h.After(time.Hour)
		r := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
		r.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		r.Do("step", "value", "inspected")
		a := r.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		_, asked, _ := h.Packs("VAS-003")
		for _, told := range []string{workplacetest.Tells(a), workplacetest.Tells(asked)} {
			if strings.Contains(told, "was sent to repair") != c.asks {
				t.Errorf("%s: %s", name, told)
			}
		}
	}
}

// TestFoundOfTheOtherSet: a piece that is found and not missed of the set in hand is not in order, and the set of the case that
// misses one is named.
func TestFoundOfTheOtherSet(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Used("K-1", "VAS-003", "VAS-004")
	h.After(40 * time.Minute)
	h.Record("north/storage", events.KindPieceReported, "VAS-004", &events.PieceReported{Became: events.BecameLost, Line: 1, Quantity: 1})
	q := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/pieces"}
	q.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	for _, set := range []string{"VAS-003", "VAS-004"} {
		h.After(3 * time.Second)
		q.Do("clear")
		q.Scan(workplacetest.Label(t, events.ScanTag, set))
		q.Scan("1")
		h.After(3 * time.Second)
		a := q.Scan("5")
		if set == "VAS-004" {
			workplacetest.Must(t, a, "whole")
			continue
		}
		workplacetest.Must(t, a, "doubtful", "Nothing of VAS-003 is recorded as missed", "A piece like it is missed of VAS-004")
	}
}

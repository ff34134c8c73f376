//go:build !race

package paperback_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// cameOf is each count of what came that is recorded, its lines in order.
func cameOf(h *workplacetest.House) (out []string) {
	for _, d := range counts(h, "K-0412") {
		if d.Stage == events.StageAdded {
			out = append(out, fmt.Sprint(d.Counts))
		}
	}
	return out
}

// What is written under what came of a line grows on the paper, which no mark tells: it is asked until the line's last count is
// recorded, and what is more than before is a count of its own.
func TestLineOfWhichMoreCame(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	lines, none := marked{"first": "ttt", "added": "ene"}, marked{"first": "eeeee"}
	b.lays(lines, none)
	b.Do("not-stage")
	b.Do("not-stage")
	b.people("0700")
	b.people("0710")
	b.typed("1")
	b.sign()
	h.After(time.Hour)
	b.lays(lines, none)
	b.Do("not-stage")
	b.Do("not-stage")
	b.asks("Line 2, Added during the procedure: how many?")
	b.typed("1")
	b.asks("Nothing on this count sheet is still to be recorded")
	b.Do("drop", "value", h.Trips["VAS-003"])
	b.lays(lines, none)
	b.Do("not-stage")
	b.Do("not-stage")
	b.typed("2")
	b.asks("Added during the procedure: when?")
	b.people("0730")
	b.sign()
	lines["closing"], lines["added"] = "ttt", "enn" // and one of another line, before the closing count
	b.lays(lines, none)
	b.Do("not-stage")
	b.typed("3")
	b.asks("Line 3, Added during the procedure: how many?")
	b.typed("1")
	b.people("0740")
	b.people("0800")
	for _, n := range []string{"5", "4"} { // a tick behind what came may mean either
		b.typed(n)
	}
	b.sign()
	lines["final"] = "ttt"
	b.lays(lines, none)
	b.typed("3")
	b.typed("1")
	b.people("0900")
	for _, n := range []string{"5", "4"} {
		b.typed(n)
	}
	b.sign()
	if got := cameOf(h); !slices.Equal(got, []string{"[{2 1}]", "[{2 1}]", "[{2 1} {3 1}]"}) {
		t.Errorf("%q", got)
	}
	notBroken(t, h)
	b.lays(lines, none)
	b.asks("Nothing on this count sheet is still to be recorded") // after the last count nothing comes
}

// Where the paper says by now that fewer came than is recorded from it, that is said, of lines and goods, and nothing is recorded.
func TestFewerCameThanIsRecorded(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	lines, goods := marked{"first": "ttt", "added": "ene"}, marked{"first": "neeee", "added": "neeee"}
	lays := func(line, row string) {
		b.lays(lines, goods)
		b.Do("not-stage")
		b.Do("not-stage")
		if len(counts(h, "K-0412")) == 0 {
			b.people("0700")
			b.people("0710")
		}
		b.typed(line)
		b.typed(row)
	}
	lays("2", "10+5+5")
	b.sign()
	lays("1", "10+5")
	b.asks("reads otherwise now | Line 2, G1: by the paper fewer came now than is recorded from it.")
	b.Do("enter")
	if got := cameOf(h); !slices.Equal(got, []string{"[{2 2} {4 10}]"}) || waiting(t, h) != 1 {
		t.Errorf("%q", got)
	}
}

// A piece that a station recorded as come may be the one on the paper, or another: it is asked of the line, and other lines beside it
// are recorded either way.
func TestLineThatCameByAStationToo(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ answer, added, final string }{{"same", "[{3 1}]", "3"}, {"besides", "[{2 1} {3 1}]", "4"}} {
		h, b := goodsHouseAfter(t, func(h *workplacetest.House) {
			h.After(2 * time.Hour)
			h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageAdded,
				Sheet: "screen", Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: 2, Counted: 1}}})
		})
		b.lays(marked{"first": "ttt", "added": "enn", "final": "ttt"}, marked{"first": "eeeee"})
		b.Do("not-stage")
		b.asks("Line 2, Added during the procedure: how many?")
		b.typed("1")
		b.asks("Line 2: 1 came by the paper, 1 are recorded already. The same?")
		b.Do("enter") // agrees to nothing
		b.Do("came", "value", tt.answer)
		b.people("0700")
		b.people("0800")
		b.people("0900")
		b.typed("1")
		b.asks("Line 2, Final count: how many?")
		b.typed(tt.final)
		b.asks("Line 3, Final count: how many?")
		b.typed("4")
		b.sign()
		if got := cameOf(h); len(got) != 2 || got[0] != tt.added {
			t.Errorf("%s: %q", tt.answer, got)
		}
		notBroken(t, h)
	}
}

// Where a station has that a piece came and the paper says nothing of it, a tick may be of either sum.
func TestTickAfterWhatAStationAdded(t *testing.T) {
	t.Parallel()
	h, b := goodsHouseAfter(t, func(h *workplacetest.House) {
		h.After(2 * time.Hour)
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageAdded,
			Sheet: "screen", Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: 2, Counted: 1}}})
	})
	b.lays(marked{"first": "ttt", "final": "ttt"}, marked{"first": "eeeee"})
	b.people("0700")
	b.people("0900")
	b.asks("Line 2, Final count: how many? 2 is printed | It is ticked, and which sum that means does not follow")
	b.Do("enter")
	b.typed("3")
	b.sign()
	notBroken(t, h)
}

// What came until a count that is recorded of the same sheet is laid to no count after it, where the rest came later.
func TestGoodsThatCameAfterARecordedCount(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	lays := func(lines, goods marked) {
		h.LayPaper("VAS-003", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1, Marks: lines, Goods: goods, Stages: []events.Stage{
			events.StageFirst, events.StageAdded, events.StageCavity, events.StageClosing, events.StageFinal}})
		b.Do("take-up", "value", h.Codes["VAS-003"])
		b.Do("case", "case", "K-0412")
	}
	lines, goods := marked{"first": "ttt", "cavity": "ttt"}, marked{"first": "neeee", "added": "neeee", "cavity": "teeee"}
	lays(lines, goods)
	b.Do("not-stage")
	b.Do("not-stage")
	b.people("0700")
	b.people("0730")
	b.typed("10+5")
	b.typed("15")
	b.sign()
	lines["closing"], goods["closing"] = "ttt", "teeee"
	lines["final"], goods["final"] = "ttt", "teeee"
	lays(lines, goods)
	b.people("0800")
	b.people("0900")
	b.typed("10+5+5+3")
	b.asks("G1, Closing count: how many?")
	b.typed("20")
	b.choose(b.again(), "fewer", "The rest came after")
	b.sign()
	var said []string
	for _, d := range counts(h, "K-0412") {
		for _, x := range d.Beyond {
			said = append(said, fmt.Sprint(d.Stage, " ", lastCount(d.Counts), " came ", x.Added))
		}
	}
	if got := strings.Join(said, ", "); got != "first 10 came 10, cavity 15 came 5, closing 20 came 5, final 23 came 3" {
		t.Errorf("recorded %s", got)
	}
	notBroken(t, h)
}

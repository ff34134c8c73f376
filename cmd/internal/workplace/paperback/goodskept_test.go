//go:build !race

package paperback_test

import (
	"slices"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// marked are the marks of a page by stage, a letter a row.
type marked = map[events.Stage]string

// goodsHouse is a house whose VAS-003 was opened for K-0412, and whose paper is read back hours later.
func goodsHouse(t *testing.T) (*workplacetest.House, *bench) {
	t.Helper()
	return goodsHouseAfter(t, func(*workplacetest.House) {})
}

// goodsHouseAfter is such a house in which something was recorded meanwhile.
func goodsHouseAfter(t *testing.T, meanwhile func(*workplacetest.House)) (*workplacetest.House, *bench) {
	t.Helper()
	h := workplacetest.HouseWithGoods(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	meanwhile(h)
	h.After(6 * time.Hour)
	return h, at(t, h)
}

// lays lays a page there and takes it up.
func (b *bench) lays(lines, goods marked) {
	b.t.Helper()
	b.House.LayPaper("VAS-003", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1, Marks: lines, Goods: goods})
	b.Do("take-up", "value", b.House.Codes["VAS-003"])
	b.Do("case", "case", "K-0412")
}

func lastCount(counts []events.Count) int64 { return counts[len(counts)-1].Counted }

// What came, and no later count has, is a count of its own beside counts that have other lines: it would be lost with them.
func TestGoodsThatCameUncounted(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	b.lays(marked{"first": "ttt", "final": "ttt"}, marked{"first": "nneee", "added": "nneee", "final": "eteee"})
	b.people("0700")
	b.asks("Added during the procedure: when?")
	b.people("0730")
	b.people("0900")
	b.typed("10+5")
	b.typed("2+1")
	b.sign()
	got := counts(h, "K-0412")
	if len(got) != 3 || got[1].Stage != events.StageAdded || !slices.Equal(got[1].Counts, []events.Count{{Line: 4, Counted: 5}}) {
		t.Fatalf("%+v", got)
	}
	if len(got[2].Beyond) != 1 || got[2].Beyond[0].Added != 1 || lastCount(got[2].Counts) != 3 {
		t.Errorf("what came is in the final count, where that has it: %+v", got[2])
	}
}

// So it is on a blank form, on which no column has what came.
func TestGoodsThatCameOnTheForm(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	b.Do("form", "set", "VAS-003")
	b.Do("case", "case", "K-0412")
	b.Do("enter")
	b.Do("enter")
	b.people("0700")
	b.people("0900")
	for _, n := range []string{"4", "2", "3", "4", "2", "3"} {
		b.typed(n)
	}
	b.Do("on-form")
	b.typed("10+5")
	b.asks("G1, Final count: how many?")
	b.Do("not-line")
	b.asks("Added during the procedure: when?")
	b.people("0730")
	for range 4 {
		b.Do("enter") // nothing is written there
	}
	b.sign()
	got := counts(h, "K-0412")
	if len(got) != 3 || got[1].Stage != events.StageAdded || lastCount(got[1].Counts) != 5 || len(got[2].Beyond) != 0 {
		t.Fatalf("%+v", got)
	}
}

// After another number than there should be, a tick may mean either: of goods as of lines, and where the number was recorded from the
// same sheet before.
func TestTickAfterAnotherNumber(t *testing.T) {
	t.Parallel()
	for _, twice := range []bool{false, true} {
		h, b := goodsHouse(t)
		lines, goods := marked{"first": "ttt", "closing": "ntt"}, marked{"first": "neeee", "closing": "neeee"}
		if !twice {
			lines["final"], goods["final"] = "ttt", "teeee"
		}
		b.lays(lines, goods)
		if twice {
			b.Do("not-stage")
		}
		b.people("0700")
		b.people("0800")
		if !twice {
			b.people("0900")
		}
		b.typed("3")
		ofLine := func() {
			b.asks("Line 1, Final count: how many? 4 is printed | It is ticked, and the count sheet has another number in a column before")
			b.typed("3")
		}
		if !twice {
			ofLine()
		}
		b.typed("20")
		b.typed("18")
		b.Do("enter") // the rest is missing
		if twice {
			b.sign()
			h.After(time.Hour)
			lines["final"], goods["final"] = "ttt", "teeee"
			b.lays(lines, goods)
			b.people("0900")
			ofLine()
			b.typed("20")
		}
		b.asks("G1, Final count: how many? | It is ticked, and the count sheet has another number in a column before")
		b.Do("enter") // agrees to nothing
		b.typed("18")
		b.Do("enter") // missing
		b.sign()
		got := counts(h, "K-0412")
		if len(got) != 3 || got[2].Counts[0].Counted != 3 || lastCount(got[2].Counts) != 18 {
			t.Errorf("twice %v: %+v", twice, got)
		}
	}
}

// Where a station recorded that goods came and the sheet says so too, it may be the same: that is asked before it is counted twice, also
// where that was not its last count of what came.
func TestGoodsThatCameTwice(t *testing.T) {
	t.Parallel()
	for _, answer := range []string{"same", "besides"} {
		h, b := goodsHouseAfter(t, func(h *workplacetest.House) {
			for k, n := range []int64{5, 3} {
				x := workplacetest.Goods().Lines[k]
				h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageAdded,
					Sheet: "screen", Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: int64(4 + k), Counted: n}},
					Beyond: []events.Beyond{{Line: int64(4 + k), Item: x.Item, Description: x.Description, Sort: x.Sort}}})
			}
		})
		b.lays(marked{"first": "ttt", "final": "ttt"}, marked{"first": "neeee", "added": "neeee", "final": "teeee"})
		b.people("0700")
		b.people("0900")
		b.typed("10+5+5")
		b.asks("G1: 10 came by the paper, 5 are recorded already. The same?")
		b.Do("came", "value", answer)
		b.asks("G1, Final count: how many?")
		b.typed("20")
		b.sign()
		got := counts(h, "K-0412")
		want := map[string]int64{"same": 5, "besides": 10}[answer]
		last := got[slices.IndexFunc(got, func(d *events.SetCounted) bool { return d.Stage == events.StageFinal })]
		if len(got) != 4 || last.Beyond[0].Added != want || lastCount(last.Counts) != 20 {
			t.Errorf("%s: %+v", answer, last)
		}
	}
}

// A blank row that is named as a printed one is of the same goods, whatever a later list calls these.
func TestGoodsNamedAsPrinted(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	newer := workplacetest.Goods()
	newer.Version, newer.Lines[0].Description = 2, "Cottonoid, 5 cm"
	h.Record("north/packing-1", events.KindListIssued, "", newer)
	b.lays(marked{"first": "ttt", "final": "ttt"}, marked{"first": "neene", "final": "teete"})
	b.people("0700")
	b.people("0900")
	b.typed("10")
	b.typed("5")
	b.Do("goods-name", "name", workplacetest.Goods().Lines[0].Description, "sort", "sponges")
	b.sign()
	for _, d := range counts(h, "K-0412") {
		if len(d.Counts) != 4 || lastCount(d.Counts) != 15 {
			t.Errorf("%s: %+v", d.Stage, d.Counts)
		}
	}
}

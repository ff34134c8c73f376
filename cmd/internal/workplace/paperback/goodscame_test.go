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
	"listbound/projections"
)

// stationCount is a count that a station made of the three lines of VAS-003, each as packed, and of gauze.
func stationCount(h *workplacetest.House, stage events.Stage, gauze, came int64) {
	h.T.Helper()
	gz := workplacetest.Goods().Lines[0]
	h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: stage, Sheet: "screen",
		Counter: "B-3310", Witness: "B-3322",
		Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}, {Line: 4, Counted: gauze}},
		Beyond: []events.Beyond{{Line: 4, Item: gz.Item, Description: gz.Description, Sort: gz.Sort, Added: came}}})
}

// notBroken fails where judgement has found anything broken.
func notBroken(t *testing.T, h *workplacetest.House) {
	t.Helper()
	for _, v := range history(t, h, "VAS-003").Verdicts {
		for _, f := range v.Findings {
			if f.Severity == projections.SeverityBroken {
				t.Errorf("found %s %+v", f.Code, f.Detail)
			}
		}
	}
}

// A pack that a station laid to a later count, or counted at first, may be the one on the paper: it is asked, for what is expected would
// be too many.
func TestGoodsThatCameByALaterCount(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		answer  string
		atFirst bool
		added   int64
	}{{"same", false, 0}, {"besides", false, 5}, {"same", true, 0}} {
		h, b := goodsHouseAfter(t, func(h *workplacetest.House) {
			if tt.atFirst {
				stationCount(h, events.StageFirst, 15, 15)
				return
			}
			stationCount(h, events.StageFirst, 10, 10)
			stationCount(h, events.StageClosing, 15, 5)
		})
		b.lays(marked{"first": "ttt", "closing": "ttt", "final": "ttt"},
			marked{"first": "neeee", "added": "neeee", "closing": "teeee", "final": "teeee"})
		b.Do("leave-out", "value", "first")
		if tt.atFirst {
			b.people("0800")
		}
		b.Do("leave-out", "value", "closing")
		b.people("0900")
		b.typed("10+5")
		b.asks("G1: 5 came by the paper, 5 are recorded already. The same?")
		b.Do("enter") // agrees to nothing
		b.asks("The same?")
		b.Do("came", "value", tt.answer)
		if tt.atFirst {
			b.typed("15")
		}
		b.asks("G1, Final count: how many?")
		b.typed("15")
		b.sign()
		got := counts(h, "K-0412")
		last := got[slices.IndexFunc(got, func(d *events.SetCounted) bool { return d.Stage == events.StageFinal })]
		if len(got) != 3 || last.Beyond[0].Added != tt.added || lastCount(last.Counts) != 15 {
			t.Errorf("%+v: %+v", tt, last)
		}
		if tt.answer == "same" {
			notBroken(t, h)
		}
	}
}

// Where a station counted before the sheet's first count was read back, all of the goods came by its count: what was there at first on the
// paper is the same then, and is in no first count; of what came besides, none is taken for it when the sheet is read again.
func TestGoodsOfAStationBeforeTheFirstWasRead(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ there, answer, added int64 }{{15, 15, 0}, {10, 10, 5}, {12, 12, 3}} {
		h, b := goodsHouseAfter(t, func(h *workplacetest.House) {
			h.After(2 * time.Hour)
			stationCount(h, events.StageClosing, tt.there, tt.there)
		})
		lines, goods := marked{"first": "ttt", "closing": "ttt", "final": "ttt"},
			marked{"first": "neeee", "added": "neeee", "closing": "teeee", "final": "teeee"}
		b.lays(lines, goods)
		b.Do("leave-out", "value", "closing")
		b.people("0700")
		b.people("0900")
		b.typed("10+5")
		b.asks(fmt.Sprintf("G1: 15 came by the paper, %d are recorded already. The same?", tt.there))
		b.typed(fmt.Sprint(tt.answer))
		b.asks("G1, Final count: how many?")
		b.typed("15")
		b.sign()
		got := counts(h, "K-0412")
		if len(got) != 3 || len(got[0].Counts) != 3 || got[2].Beyond[0].Added != tt.added || lastCount(got[2].Counts) != 15 {
			t.Errorf("%+v: %+v", tt, got)
		}
		notBroken(t, h)
	}
}

// A first count on paper beside that of a station is of the same goods: what lay there at first is expected once.
func TestFirstCountOfGoodsBeside(t *testing.T) {
	t.Parallel()
	h, b := goodsHouseAfter(t, func(h *workplacetest.House) { stationCount(h, events.StageFirst, 10, 10) })
	b.lays(marked{"first": "ttt", "final": "ttt"}, marked{"first": "neeee", "final": "teeee"})
	b.Do("beside", "value", "first")
	b.people("0700")
	b.people("0900")
	b.typed("10")
	b.typed("10")
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 3 || got[1].Beyond[0].Added != 0 || lastCount(got[2].Counts) != 10 {
		t.Errorf("%+v", got)
	}
	notBroken(t, h)
}

// Of the same goods in two rows, what came in the second after the sheet was read first is recorded when it is read again.
func TestGoodsInTwoRows(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	lines, goods := marked{"first": "ttt", "closing": "ttt"}, marked{"first": "neene", "added": "neeee", "closing": "teete"}
	b.lays(lines, goods)
	b.Do("not-stage")
	b.people("0700")
	b.people("0800")
	b.typed("10+5")
	b.typed("15")
	b.typed("5")
	b.Do("goods-name", "name", "GZ-1010", "sort", "sponges")
	b.sign()
	h.After(time.Hour)
	lines["final"], goods["added"], goods["final"] = "ttt", "neene", "teete"
	b.lays(lines, goods)
	b.people("0900")
	b.typed("10+5")
	b.asks("G4: which numbers") // of both rows one number is recorded: what a tick in the first one means follows from both
	b.typed("5+3")
	b.Do("goods-name", "name", "GZ-1010", "sort", "sponges")
	b.sign()
	got := counts(h, "K-0412")
	if len(got) != 3 || got[1].Beyond[0].Added != 5 || got[2].Beyond[0].Added != 3 || lastCount(got[2].Counts) != 23 {
		t.Errorf("%+v", got)
	}
	notBroken(t, h)
}

// What came after a count that the row has, and no count after it has, is a count of its own.
func TestGoodsThatCameAfterTheLastCountOfTheirs(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	b.lays(marked{"first": "ttt", "closing": "ttt", "final": "ttt"},
		marked{"first": "neeee", "added": "neeee", "closing": "teeee"})
	b.people("0700")
	b.people("0800")
	b.people("0900")
	b.typed("10+5")
	b.typed("10")
	if value := workplacetest.ChoiceOf(b.again(), "The rest came after"); value != "later" {
		b.asks("Added during the procedure: when?") // the column after it has nothing, and it is asked of what came first
	} else {
		b.Do("fewer", "value", value)
	}
	b.people("0830")
	b.sign()
	var came int64
	got := counts(h, "K-0412")
	for _, d := range got {
		for _, x := range d.Beyond {
			came += x.Added
		}
		if d.Stage == events.StageAdded {
			came += lastCount(d.Counts)
		}
	}
	if len(got) != 4 || came != 15 {
		t.Errorf("%d came: %+v", came, got)
	}
}

// Where a station has that of a line a piece came, and it is the one on the paper, goods of which nothing is recorded are recorded.
func TestGoodsThatCameBesideALineRecorded(t *testing.T) {
	t.Parallel()
	h, b := goodsHouseAfter(t, func(h *workplacetest.House) {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageAdded,
			Sheet: "screen", Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: 2, Counted: 1}}})
	})
	b.lays(marked{"first": "ttt", "added": "ene", "final": "tet"}, marked{"first": "neeee", "added": "neeee"})
	b.typed("1")
	b.Do("came", "value", "same")
	b.people("0700")
	b.asks("Added during the procedure: when?")
	b.people("0730")
	b.people("0900")
	b.typed("10+5")
	b.sign()
	got := counts(h, "K-0412")
	k := slices.IndexFunc(got, func(d *events.SetCounted) bool { return d.Stage == events.StageAdded && d.Paper != nil })
	if len(got) != 4 || k < 0 || !slices.Equal(got[k].Counts, []events.Count{{Line: 4, Counted: 5}}) {
		t.Errorf("%+v", got)
	}
}

// A sheet that is read again as it was reads as it is recorded, whatever a person said of its rows: another name, no number at first, or
// that a box which is struck out is no count.
func TestGoodsReadAgainAsTheyWere(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	lines, goods := marked{"first": "ttt", "final": "att"}, marked{"first": "nnnee", "added": "neeee", "final": "ttaee"}
	b.lays(lines, goods)
	b.Do("not-stage")
	b.people("0700")
	b.people("0900")
	b.Do("not-line")
	b.typed("0+5")
	b.Do("goods-else")
	b.typed("3")
	b.Do("goods-name", "name", "Pledget", "sort", "small-items")
	b.typed("2")
	b.Do("not-line")
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 2 || len(got[1].Counts) != 4 {
		t.Fatalf("%+v", got)
	}
	b.lays(lines, goods)
	b.Do("not-stage")
	b.asks("Nothing on this count sheet is still to be recorded")
	if says := words(b.again()); strings.Contains(says, "reads otherwise") {
		t.Error(says)
	}
	b.Do("drop", "value", h.Trips["VAS-003"])
	goods["final"] = "naaet"
	b.lays(lines, goods)
	b.Do("not-stage")
	b.asks("line G1, G5 reads otherwise now")
}

// What is to be done is said before the name of what it is done with.
func TestWhatToTypeIsSaidBeforeTheName(t *testing.T) {
	t.Parallel()
	_, b := goodsHouse(t)
	b.lays(marked{"first": "ntt"}, marked{"first": "neeee"})
	b.Do("not-stage")
	b.people("0700")
	if next := fmt.Sprint(b.again()["next"]); next != "Type the number as it stands there: "+workplacetest.ListShort().Lines[0].Description {
		t.Error(next)
	}
	b.typed("4")
	if next := fmt.Sprint(b.again()["next"]); next != "Type the numbers as they stand there: "+workplacetest.Goods().Lines[0].Description {
		t.Error(next)
	}
}

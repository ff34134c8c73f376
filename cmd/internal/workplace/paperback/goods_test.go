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

// The rows for goods on a sheet of a house with goods: gauze, needles, vessel loops, and two blank ones.
const gauze, needles, blankRow = -1, -2, -4

// goodsSheet is a sheet of the short list on which all lines are ticked at first and at the end, with goods: gauze with two packs that
// came, needles, and something in a blank row.
func goodsSheet(t *testing.T, h *workplacetest.House, needlesRight bool) *sheet {
	t.Helper()
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, 1, 2, 3)
	s.tick(events.StageFinal, 1, 2, 3, gauze, blankRow)
	for _, row := range []int64{gauze, needles, blankRow} {
		s.write(events.StageFirst, row)
	}
	s.write(events.StageAdded, gauze)
	if needlesRight {
		s.tick(events.StageFinal, needles)
	} else {
		s.write(events.StageFinal, needles)
	}
	return s
}

// Goods on the paper become what the page of a count records: lines beyond the list, with what came since the count before. What is short
// on paper is short for judgement, and its twin without a difference is not. A later version of the list of goods
// changes neither what is printed on a sheet that was sealed before, nor what its rows are.
func TestGoodsReadBack(t *testing.T) {
	t.Parallel()
	for _, right := range []bool{true, false} {
		h := workplacetest.HouseWithGoods(t, "VAS-003")
		newer := workplacetest.Goods()
		newer.Version, newer.Lines[0].Description, newer.Lines[1].Description = 2, "Cottonoid, 5 cm", "Blade no. 15"
		h.Record("north/packing-1", events.KindListIssued, "", newer)
		h.Open("VAS-003", "K-0412")
		s := goodsSheet(t, h, right)
		h.After(6 * time.Hour)
		if got := strings.Join(copied(t, h, s.picture(0)), " "); !strings.Contains(got, "VAS-003, page 1 of 1") {
			t.Fatal(got)
		}
		b := at(t, h)
		b.Do("enter")
		b.Do("enter")
		b.people("0700")
		b.people("0900")
		b.asks("G1: which numbers stand under “First” and “Added”?")
		if a := b.typed("20"); !strings.Contains(fmt.Sprint(a["aside"]), "something is written under “Added” too") {
			t.Errorf("one number where two are written: %v", a["aside"])
		}
		b.typed("20+10+5")
		b.asks("G2: which numbers")
		if cut := cutOut(t, h, "VAS-003", "page=1&line=-2"); cut.Bounds().Dx() < 1000 {
			t.Errorf("the cut-out of a row is %v", cut.Bounds())
		}
		b.typed("12")
		if !right {
			b.asks("G2, Final count: how many? | A number is written there")
			b.typed("11")
			b.asks("G2, Final count: 11 is fewer than the sum of the row. Why?")
			b.Do("enter") // missing
		}
		b.typed("3")
		b.asks("G4: what is written there as the name?")
		b.Do("goods-name", "name", "Pledget", "sort", "small-items")
		b.asks("Final count, 4 Mar 2026 09:00, by B-3310 and B-3322: 6 lines.")
		b.asks("Goods: Gauze, X-ray detectable, 10 x 10 cm: 35; Needle, CT-1: ")
		b.sign()
		goodsRecorded(t, h, right)
	}
}

// goodsRecorded holds the records and the verdict of TestGoodsReadBack.
func goodsRecorded(t *testing.T, h *workplacetest.House, right bool) {
	t.Helper()
	got := counts(h, "K-0412")
	if len(got) != 2 {
		t.Fatalf("%d counts", len(got))
	}
	name := workplacetest.Goods().Lines[0].Description
	beyond := func(first, came, needles, pledgets int64) []events.Beyond {
		return []events.Beyond{{Line: 4, Item: "GZ-1010", Description: name, Sort: events.Sponges, Added: first + came},
			{Line: 5, Item: "ND-CT1", Description: "Needle, CT-1", Sort: events.Sharps, Added: needles},
			{Line: 6, Description: "Pledget", Sort: events.SmallItems, Added: pledgets}}
	}
	if !slices.Equal(got[0].Beyond, beyond(20, 0, 12, 3)) || !slices.Equal(got[1].Beyond, beyond(0, 15, 0, 0)) {
		t.Errorf("named %+v and %+v", got[0].Beyond, got[1].Beyond)
	}
	needles, marks := int64(12), "tttttete"
	if !right {
		needles, marks = 11, "ttttaete"
	}
	want := []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}, {Line: 4, Counted: 35},
		{Line: 5, Counted: needles}, {Line: 6, Counted: 3}}
	if !slices.Equal(got[1].Counts, want) || !slices.Equal(got[1].Paper.Asked, []int64{4, 5, 6}) ||
		got[1].Paper.Pages[0].Marks != marks {
		t.Errorf("final: %+v %+v", got[1].Counts, got[1].Paper)
	}
	short := false
	for _, v := range history(t, h, "VAS-003").Verdicts {
		for _, f := range v.Findings {
			if f.Severity == projections.SeverityBroken {
				short = true
				if d := fmt.Sprintf("%+v", f.Detail); f.Code != projections.CountShort || !strings.Contains(d, "Item:ND-CT1") {
					t.Errorf("found %s %s", f.Code, d)
				}
			}
		}
	}
	if short == right {
		t.Errorf("short for judgement: %v", short)
	}
}

// Where packs came, a tick before the last count may mean the sum of before: it is asked, and of fewer, whether the rest came later. A
// sheet that is read again asks nothing that is recorded; what was written since is told by its row.
func TestGoodsThatCameBetween(t *testing.T) {
	t.Parallel()
	h := workplacetest.HouseWithGoods(t, "VAS-003")
	s := listTicked(t, h)
	s.write(events.StageFirst, gauze)
	s.write(events.StageAdded, gauze)
	s.tick(events.StageClosing, gauze)
	s.tick(events.StageFinal, gauze)
	b := peopleAsked(t, h, s)
	b.typed("10+10+5")
	b.asks("G1, Closing count: how many? | It is ticked, and which sum that means does not follow")
	b.typed("20")
	b.asks("G1, Closing count: 20 is fewer than the sum of the row. Why?")
	b.choose(b.again(), "fewer", "The rest came after")
	b.sign()
	var said []string
	for _, d := range counts(h, "K-0412") {
		for _, x := range d.Beyond {
			said = append(said, fmt.Sprint(d.Stage, " ", d.Counts[len(d.Counts)-1].Counted, " came ", x.Added))
		}
	}
	if got := strings.Join(said, ", "); got != "first 10 came 10, closing 20 came 10, final 25 came 5" {
		t.Errorf("recorded %s", got)
	}
	for _, v := range history(t, h, "VAS-003").Verdicts {
		for _, f := range v.Findings {
			if f.Severity == projections.SeverityBroken {
				t.Errorf("found %s %+v", f.Code, f.Detail)
			}
		}
	}
	if got := strings.Join(copied(t, h, s.picture(0)), " "); waiting(t, h) != 0 {
		t.Errorf("recorded, and read again it waits: %s", got)
	}
	s.tick(events.StageFinal, needles)
	if got := strings.Join(copied(t, h, s.picture(0)), " "); waiting(t, h) != 1 || !strings.Contains(got, "G2 reads otherwise now") {
		t.Errorf("with a mark more: %s", got)
	}
}

// What came after the first count, where no count follows, is a count of its own, with its time; of another name than was printed
// it is asked what it is.
func TestGoodsThatCameAlone(t *testing.T) {
	t.Parallel()
	h := workplacetest.HouseWithGoods(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, 1, 2, 3)
	s.write(events.StageFirst, needles)
	s.write(events.StageAdded, needles)
	h.After(6 * time.Hour)
	copied(t, h, s.picture(0))
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	b.asks("Added during the procedure: when?")
	b.people("0730")
	b.Do("goods-else")
	b.typed("2+1")
	b.Do("goods-name", "name", "vl-1", "sort", "sponges") // its code: the list knows the rest
	b.asks("Goods: Vessel loop: 2.")
	b.sign()
	got := counts(h, "K-0412")
	if len(got) != 2 || got[1].Stage != events.StageAdded || !slices.Equal(got[1].Counts, []events.Count{{Line: 4, Counted: 1}}) ||
		!slices.Equal(got[1].Beyond, []events.Beyond{{Line: 4, Item: "VL-1", Description: "Vessel loop", Sort: events.SmallItems}}) {
		t.Fatalf("%+v", got)
	}
	if got := strings.Join(copied(t, h, s.picture(0)), " "); waiting(t, h) != 1 || !strings.Contains(got,
		"see whether more came since") || strings.Contains(got, "reads otherwise") {
		t.Errorf("recorded, and more may have come: %s", got)
	}
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.Do("goods-else")
	b.asks("G2: which numbers")
	b.typed("2+1+4")
	b.Do("goods-name", "name", "vl-1", "sort", "sponges")
	b.people("0745")
	b.asks("Goods: Vessel loop: 4.")
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 3 || !slices.Equal(got[2].Counts, []events.Count{{Line: 4, Counted: 4}}) {
		t.Fatalf("%+v", got)
	}
	if copied(t, h, s.picture(0)); waiting(t, h) != 1 {
		t.Error("it is asked no more")
	}
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.Do("goods-else")
	b.typed("2+1+4")
	b.Do("goods-name", "name", "vl-1", "sort", "sponges")
	b.asks("Nothing on this count sheet is still to be recorded")
}

// Goods on a blank form are typed in too, once somebody said that there are such.
func TestGoodsOnTheForm(t *testing.T) {
	t.Parallel()
	h := workplacetest.HouseWithGoods(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.After(6 * time.Hour)
	b := at(t, h)
	b.Do("form", "set", "VAS-003")
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	for _, n := range []string{"4", "2", "3"} {
		b.typed(n)
	}
	b.asks("Are goods written on the form?")
	b.Do("on-form")
	b.asks("G1: which numbers")
	b.typed("10")
	for range 4 {
		b.Do("enter") // nothing is written there
	}
	b.asks("Goods: Gauze, X-ray detectable, 10 x 10 cm: 10.")
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 1 || len(got[0].Beyond) != 1 || got[0].Beyond[0].Added != 10 || !got[0].Paper.Typed {
		t.Fatalf("%+v", got)
	}
}

// What stays in the patient on purpose is said with its reason, and no count after it is short by it; a tick after it is asked.
func TestGoodsThatStay(t *testing.T) {
	t.Parallel()
	h := workplacetest.HouseWithGoods(t, "VAS-003")
	s := listTicked(t, h)
	s.write(events.StageFirst, gauze)
	s.write(events.StageClosing, gauze)
	s.tick(events.StageFinal, gauze)
	b := peopleAsked(t, h, s)
	b.typed("20")
	b.typed("18")
	b.asks("G1, Closing count: 18 is fewer than the sum of the row. Why?")
	if a := b.Do("stays", "reason", " "); !strings.Contains(fmt.Sprint(a["aside"]), "Say why it stays") {
		t.Errorf("without a reason: %v", a["aside"])
	}
	b.Do("stays", "reason", "bleeding from the liver bed")
	b.asks("G1, Final count: how many? | It is ticked, and which sum that means")
	b.Do("enter")
	b.asks("2 × Gauze, X-ray detectable, 10 x 10 cm stays in the patient on purpose: bleeding from the liver bed.")
	b.sign()
	got := counts(h, "K-0412")
	want := []events.Removed{{Line: 4, Quantity: 2, Reason: "bleeding from the liver bed", Stays: true}}
	if len(got) != 3 || !slices.Equal(got[1].Removed, want) || got[2].Removed != nil || got[2].Counts[3].Counted != 18 {
		t.Fatalf("%+v", got)
	}
	stays := false
	for _, v := range history(t, h, "VAS-003").Verdicts {
		for _, f := range v.Findings {
			stays = stays || f.Code == projections.StaysOnPurpose
			if f.Severity == projections.SeverityBroken {
				t.Errorf("found %s %+v", f.Code, f.Detail)
			}
		}
	}
	if !stays {
		t.Error("judgement doesn't tell what stays")
	}
}

// TestGoodsAsked is what reading back costs a person by the keystroke-level model: 60 lines in two counts, and three kinds of goods.
func TestGoodsAsked(t *testing.T) {
	t.Parallel()
	h := workplacetest.HouseWithGoods(t, "LAP-014")
	h.Open("LAP-014", "K-0412")
	s := printed(t, h, "LAP-014", workplacetest.List60())
	s.tick(events.StageFirst, all(60)...)
	s.tick(events.StageFinal, append(all(60), -1, -2, -3)...)
	for row := range int64(3) {
		s.write(events.StageFirst, -1-row)
	}
	s.write(events.StageAdded, gauze)
	h.After(6 * time.Hour)
	for page := range s.pages {
		copied(t, h, s.picture(page))
	}
	b := at(t, h)
	var n inputs
	enter := func() map[string]any { n.keys++; return b.Do("enter") }
	typed := func(text string) { b.typed(text); n.keys += len(text) + 1; n.looks++ }
	badge := func(code string) map[string]any { n.scans++; return b.badge(code) }
	enter()
	n.looks++
	enter()
	typed("0655")
	badge("B-3310")
	badge("B-3322")
	typed("0840")
	enter()
	without := n
	typed("20+10")
	typed("12")
	typed("2")
	goods := inputs{n.keys - without.keys, 0, n.looks - without.looks}
	b.asks("Hold it against the paper, then scan your badge")
	n.looks++
	badge("B-2201")
	n.looks++
	badge("B-2202")
	t.Logf("%d keys, %d scans, %d looks: keystroke-level estimate %.1f s, of which goods %.1f s", n.keys, n.scans, n.looks, n.seconds(),
		goods.seconds())
	if n.seconds()-goods.seconds() > 15 || goods.seconds() > 9 {
		t.Errorf("reading it back takes %.1f s by the model, of which goods %.1f s", n.seconds(), goods.seconds())
	}
	got := counts(h, "K-0412")
	if len(got) != 2 || len(got[1].Counts) != 63 || got[1].Beyond[0].Added != 10 || got[1].Counts[60].Counted != 30 {
		t.Fatalf("%+v", got)
	}
}

// listTicked is a sheet of VAS-003, opened for K-0412, whose own lines are ticked in all three counts.
func listTicked(t *testing.T, h *workplacetest.House) *sheet {
	t.Helper()
	h.Open("VAS-003", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		s.tick(stage, 1, 2, 3)
	}
	return s
}

// peopleAsked reads a sheet in, up to what is asked after the people of its three counts.
func peopleAsked(t *testing.T, h *workplacetest.House, s *sheet) *bench {
	t.Helper()
	h.After(6 * time.Hour)
	copied(t, h, s.picture(0))
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.people("0700")
	b.people("0800")
	b.people("0900")
	return b
}

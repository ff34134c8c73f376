//go:build !race

package paperback_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// drilled is a sheet of the drill, with what its paper says.
type drilled struct {
	set     string // that was counted
	sheetOf string // whose sheet was used: another set's where the two were swapped
	ref     string
	opened  time.Time
	live    bool // its opening was recorded before the server was gone
	first   time.Time
	final   time.Time
	short   bool // line 2 was found one short at the end
	goods   bool // the goods of the case are on it
	needle  bool // and one needle is missing at the end
	paper   *sheet
}

// TestDowntimeDrill: for four hours nothing reaches the server; what is counted is ticked on paper, and read back when it is
// there again. The whole of it, 12 cases with 40 sheets, runs with LISTBOUND_DRILL=all (make downtime).
func TestDowntimeDrill(t *testing.T) {
	t.Parallel()
	cases, sheets, seed := 2, 5, uint64(16)
	if os.Getenv("LISTBOUND_DRILL") == "all" {
		cases, sheets = 12, 40
	}
	random := rand.New(rand.NewPCG(seed, seed))
	var sets []string
	for i := range sheets {
		sets = append(sets, fmt.Sprintf("VAS-%03d", i+1))
	}
	h := workplacetest.HouseWithGoods(t, sets...)
	all := worked(t, h, sets, cases, random)
	h.After(5 * time.Hour) // the server is back
	b := at(t, h)
	for _, i := range random.Perm(len(all)) {
		all[i].readBack(t, h, b)
	}
	closed := make(map[string]bool)
	for _, d := range all {
		if !closed[d.ref] {
			closed[d.ref] = true
			h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: d.ref, Outcome: "unreconciled",
				Actions: []string{"drill"}, Reason: "drill", Witness: "B-3322"})
		}
	}
	if left, err := os.ReadDir(h.Site.Dir() + "/drafts/paper"); err != nil || len(left) != 0 {
		t.Errorf("%d sheets are left that nobody finished, %v", len(left), err)
	}
	for _, d := range all {
		d.check(t, h)
	}
}

// worked is the four hours: sets are opened, counted and ticked off on the sheets that were printed the night before. Two
// twins, of the first two cases, were opened before the line was cut, each with the other's sheet.
func worked(t *testing.T, h *workplacetest.House, sets []string, cases int, random *rand.Rand) []*drilled {
	t.Helper()
	var out []*drilled
	for i, set := range sets {
		d := &drilled{set: set, sheetOf: set, ref: fmt.Sprintf("K-%04d", 400+i%cases)}
		if i < 2 {
			d.live, d.sheetOf = true, sets[1-i]
			h.Open(set, d.ref)
		}
		out = append(out, d)
	}
	h.After(time.Minute)
	begin := h.Clock().Truncate(time.Minute).Add(15 * time.Minute)
	for i, d := range out {
		d.opened = begin.Add(time.Duration(random.IntN(60)) * time.Minute)
		d.first = d.opened.Add(time.Duration(11+random.IntN(10)) * time.Minute)
		d.final = d.first.Add(time.Duration(20+random.IntN(140)) * time.Minute)
		d.short = random.IntN(5) == 0
		d.paper = printed(t, h, d.sheetOf, workplacetest.ListShort())
		d.paper.tick(events.StageFirst, 1, 2, 3)
		if d.short {
			d.paper.tick(events.StageFinal, 1, 3)
			d.paper.write(events.StageFinal, 2)
		} else {
			d.paper.tick(events.StageFinal, 1, 2, 3)
		}
		if d.goods = i < cases; d.goods {
			d.needle = random.IntN(3) == 0 || i == 1
			d.paper.write(events.StageFirst, gauze)
			d.paper.write(events.StageAdded, gauze)
			d.paper.tick(events.StageFinal, gauze)
			d.paper.write(events.StageFirst, needles)
			if d.needle {
				d.paper.write(events.StageFinal, needles)
			} else {
				d.paper.tick(events.StageFinal, needles)
			}
		}
	}
	return out
}

func (d *drilled) readBack(t *testing.T, h *workplacetest.House, b *bench) {
	t.Helper()
	if got := strings.Join(send(t, h, d.paper.picture(0)), " "); !strings.Contains(got, d.sheetOf+", page 1 of 1") {
		t.Fatalf("%s: %s", d.sheetOf, got)
	}
	hand := func(at time.Time) string { return at.In(h.Site.Zone()).Format("1504") }
	a := b.Do("case", "case", d.ref) // as it is written on the paper
	if sure := workplacetest.ChoiceOf(a, "it is written so"); sure != "" {
		a = b.Do("case-sure", "value", sure)
	}
	says := "was opened too"
	if d.sheetOf != d.set {
		if says = d.set + " was counted by this count sheet"; a["status"] != "broken" {
			t.Errorf("%s by the sheet of %s: %s", d.set, d.sheetOf, words(a))
		}
	}
	if who := workplacetest.ChoiceOf(a, says); who != "" {
		b.Do("counted-by", "value", who)
	} else if d.sheetOf != d.set {
		t.Fatalf("%s by the sheet of %s: %s", d.set, d.sheetOf, words(a))
	}
	if !d.live {
		b.typed("0") // the date: today
		b.typed(hand(d.opened))
		b.Do("found", "value", "outside")
	}
	b.people(hand(d.first))
	b.people(hand(d.final))
	if d.short {
		b.asks("Line 2, Final count: how many? 2 is printed")
		b.typed("1")
	}
	if d.goods {
		b.asks("G1: which numbers")
		b.typed("10+10")
		b.typed("12")
		if d.needle {
			b.asks("G2, Final count: how many?")
			b.typed("11")
			b.Do("enter") // it is missing
		}
	}
	b.sign()
}

func (d *drilled) check(t *testing.T, h *workplacetest.House) {
	t.Helper()
	hist := history(t, h, d.set)
	var said []string
	for _, e := range hist.Events {
		c, ok := e.Data.(*events.SetCounted)
		if !ok || e.Medium != events.MediumPaper || c.Case != d.ref {
			continue
		}
		said = append(said, fmt.Sprintf("%s %s %v", c.Stage, e.Observed.UTC().Format("15:04"), c.Counts))
		if c.Sheet != h.Codes[d.sheetOf] {
			t.Errorf("%s was counted by %s", d.set, c.Sheet)
		}
	}
	last := 2
	if d.short {
		last = 1
	}
	first, final := "", ""
	if d.goods {
		first, final = " {4 10} {5 12}", " {4 20} {5 12}"
		if d.needle {
			final = " {4 20} {5 11}"
		}
	}
	want := []string{fmt.Sprintf("first %s [{1 4} {2 2} {3 3}%s]", d.first.Format("15:04"), first),
		fmt.Sprintf("final %s [{1 4} {2 %d} {3 3}%s]", d.final.Format("15:04"), last, final)}
	if !slices.Equal(said, want) {
		t.Errorf("%s: recorded %q, the paper says %q", d.set, said, want)
	}
	swapped, short := false, false
	for _, v := range hist.Verdicts {
		for _, f := range v.Findings {
			switch f.Code {
			case projections.CountShort:
				short = short || strings.Contains(fmt.Sprintf("%+v", f.Detail), "ND-CT1")
			case projections.CountedOnWrongList:
				swapped = f.Severity == projections.SeverityBroken && f.Other.Set == d.sheetOf
			case projections.LinkMissing, projections.CountMissing, projections.ClockDoubtful:
				t.Errorf("%s: %s %+v", d.set, f.Code, f.Detail)
			}
		}
	}
	if short != d.needle {
		t.Errorf("%s: a needle is short: %v", d.set, short)
	}
	if swapped != (d.set != d.sheetOf) {
		t.Errorf("%s, counted by the sheet of %s: found to be a swap: %v", d.set, d.sheetOf, swapped)
	}
}

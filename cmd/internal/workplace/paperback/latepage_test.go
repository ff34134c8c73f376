//go:build !race

package paperback_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// laysPage lays one page of the two of VAS-003's sheet there and takes it up: lines 1 and 2 stand on the first, 3 and goods on the second.
func (b *bench) laysPage(page int, lines, goods marked) {
	b.t.Helper()
	b.House.LayPaper("VAS-003", "VAS-MINOR", 2, workplacetest.PaperPage{Page: page, First: int64(2*page - 1), Marks: lines, Goods: goods})
	b.Do("take-up", "value", b.House.Codes["VAS-003"])
}

// inForce is what the counts of a set say by now.
func inForce(t *testing.T, h *workplacetest.House, set string) (out []*events.SetCounted) {
	t.Helper()
	for _, e := range history(t, h, set).Events {
		if d, ok := e.Data.(*events.SetCounted); ok && !e.Void {
			out = append(out, d)
		}
	}
	return out
}

// A page that is read after the others were recorded without it is laid to their counts by one answer: nothing is recorded twice, nobody
// is asked again who counted and when, and judgement takes each count as one of all lines.
func TestPageReadAfterTheOthers(t *testing.T) {
	t.Parallel()
	for _, right := range []bool{true, false} {
		h, b := goodsHouse(t)
		b.laysPage(1, marked{"first": "tt", "final": "tt"}, nil)
		b.Do("without")
		b.Do("case", "case", "K-0412")
		b.people("0700")
		b.people("0900")
		b.sign()
		h.After(time.Hour)
		lines := marked{"first": "t", "final": "t"}
		if !right {
			lines["final"] = "n"
		}
		b.laysPage(2, lines, marked{"first": "neeee", "added": "neeee", "final": "teeee"})
		b.Do("case", "case", "K-0412")
		b.asks("Add page 2 to what is recorded? | Page 2 was read after these counts were recorded: First count, Final count.")
		b.Do("enter")
		if !right {
			b.asks("Line 3, Final count: how many?")
			b.typed("2")
		}
		b.asks("G1: which numbers")
		b.typed("10+5")
		if a := b.sign(); !right && a["status"] != "broken" {
			t.Errorf("a piece is missing on the page, and the answer is %v: %s", a["status"], words(a))
		}
		got := inForce(t, h, "VAS-003")
		last := map[bool]int64{true: 3, false: 2}[right]
		if len(got) != 2 || len(counts(h, "K-0412")) != 2 ||
			fmt.Sprint(got[0].Counts) != "[{1 4} {2 2} {3 3} {4 10}]" || got[0].Beyond[0].Added != 10 || got[1].Beyond[0].Added != 5 ||
			fmt.Sprint(got[1].Counts) != fmt.Sprintf("[{1 4} {2 2} {3 %d} {4 15}]", last) || got[1].Counter != "B-3310" {
			t.Fatalf("%+v", got)
		}
		if p := got[1].Paper.Pages; len(p) != 2 || p[0].Marks != "tt" || !strings.HasSuffix(p[1].Marks, "teeee") {
			t.Errorf("%+v", p)
		}
		if right {
			notBroken(t, h)
		}
		for _, v := range history(t, h, "VAS-003").Verdicts {
			for _, f := range v.Findings {
				if f.Code == projections.CountMissing && strings.Contains(fmt.Sprintf("%T", f.Detail), "LinesUncounted") {
					t.Errorf("%+v", f.Detail)
				}
			}
		}
		b.laysPage(2, lines, marked{"first": "neeee", "added": "neeee", "final": "teeee"})
		b.Do("case", "case", "K-0412")
		b.asks("Nothing on this count sheet is still to be recorded")
	}
}

// recordsPageOne records the first count off page 1, while page 2 lies somewhere else.
func (b *bench) recordsPageOne() {
	b.t.Helper()
	b.laysPage(1, marked{"first": "tt"}, nil)
	b.Do("without")
	b.Do("case", "case", "K-0412")
	b.Do("not-stage")
	b.people("0700")
	b.sign()
}

// Where its lines are left out, the page says which counts lack it; another station than the one that recorded them is sent there, and
// where the policy leaves it to a lead, what that one does is said.
func TestPageLeftOut(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	b.recordsPageOne()
	there := &bench{t, &workplacetest.Scanner{House: h, Path: "/at/north/storage/readback"}}
	there.laysPage(2, marked{"first": "t"}, nil)
	there.Do("case", "case", "K-0412")
	asks := func(want string) {
		t.Helper()
		if got := words(there.again()); !strings.Contains(got, want) {
			t.Fatalf("%q, want %q", got, want)
		}
	}
	asks("Station north/or-3 recorded them, and adds to them: leave the count sheet for later and take it up there.")
	there.Do("enter")
	asks("Add page 2 to what is recorded?") // Enter leaves nothing out
	there.Do("late", "value", "add")
	asks("Add page 2 to what is recorded?") // nor is it added here
	h.ChangesPolicy(func(p *events.Policy) { p.MendMinutes = 30 })
	asks("A lead adds its lines: on the set's page, open each of these counts, correct it")
	there.Do("late", "value", "leave")
	there.Do("not-stage")
	asks("reads otherwise now | Page 2 was read after these counts were recorded: First count")
	there.Do("enter")
	if waiting(t, h) != 1 {
		t.Error("Enter throws away what is recorded nowhere")
	}
}

// What a late page added can be taken back, as any record: then the counts say again what they said without it, and the page can be added
// once more.
func TestLatePageTakenBack(t *testing.T) {
	t.Parallel()
	h, b := goodsHouse(t)
	b.recordsPageOne()
	says := func() string {
		all := inForce(t, h, "VAS-003")
		return fmt.Sprint(len(all), all[0].Counts)
	}
	add := func() {
		b.laysPage(2, marked{"first": "t"}, nil)
		b.Do("case", "case", "K-0412")
		b.Do("enter")
		b.Do("not-stage")
		b.sign()
		if got := says(); got != "1 [{1 4} {2 2} {3 3}]" {
			t.Fatal(got)
		}
	}
	add()
	b.choose(b.Do("take-back"), "take-back", "by mistake")
	b.badge("B-2201")
	if got := says(); got != "1 [{1 4} {2 2}]" {
		t.Fatal(got)
	}
	add()
}

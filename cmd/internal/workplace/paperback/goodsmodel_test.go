//go:build !race

package paperback_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// gauzeCase is what happened to gauze in a case: how much lay there at first, and the packs that came before the closing count and
// after it. All counts that are made come out.
type gauzeCase struct {
	first         int64
	before, after []int64
	closing       bool         // the row was counted then
	read          map[int]bool // the sheet was read back after the first count, the closing one, what came then, and the final one
}

func (g *gauzeCase) came(upTo int) (all []int64) {
	if upTo >= 1 {
		all = append(all, g.before...)
	}
	if upTo >= 2 {
		all = append(all, g.after...)
	}
	return all
}

func (g *gauzeCase) count(upTo int) int64 {
	n := g.first
	for _, p := range g.came(upTo) {
		n += p
	}
	return n
}

// onPaper is how the sheet looks when it is read: its columns, and what is written in the row.
func (g *gauzeCase) onPaper(at int) (lines, goods marked, text string) {
	lines, goods = marked{"first": "ttt"}, marked{"first": "eeeee"}
	text = fmt.Sprint(g.first)
	if g.first > 0 {
		goods["first"] = "neeee"
	}
	for _, p := range g.came(at) {
		goods["added"] = "neeee"
		text += fmt.Sprint("+", p)
	}
	if at >= 1 {
		lines["closing"] = "ttt"
		if g.closing {
			goods["closing"] = "teeee"
		}
	}
	if at >= 3 {
		lines["final"], goods["final"] = "ttt", "teeee"
	}
	return lines, goods, text
}

// answers is what a person says who has the paper and knows what happened.
func (g *gauzeCase) answers(b *bench, at int, text string) {
	b.t.Helper()
	for range 40 {
		a := b.again()
		switch says := words(a); {
		case strings.Contains(says, "Hold it against"):
			b.sign()
			return
		case strings.Contains(says, "still to be recorded"):
			b.Do("drop", "value", b.House.Trips["VAS-003"])
			return
		case strings.Contains(says, "is blank"):
			b.Do("not-stage")
		case strings.Contains(says, "would be before"): // packs that came after it stand in a column before it
			b.choose(a, "moment", "It was")
		case strings.Contains(says, "First count: when"):
			b.typed("0700")
		case strings.Contains(says, "Added during the procedure: when"):
			b.typed("0900") // after all that is recorded of the sheet, before the final count
		case strings.Contains(says, "Closing count: when"):
			b.typed("0800")
		case strings.Contains(says, "Final count: when"):
			b.typed("1000")
		case strings.Contains(says, "who counted"):
			b.badge("B-3310")
		case strings.Contains(says, "who was second"):
			b.badge("B-3322")
		case strings.Contains(says, "which numbers"):
			b.typed(text)
		case strings.Contains(says, "G1, Closing count: how many"):
			b.typed(fmt.Sprint(g.count(1)))
		case strings.Contains(says, "G1, Final count: how many"):
			b.typed(fmt.Sprint(g.count(3)))
		case strings.Contains(says, "fewer than the sum"):
			b.choose(a, "fewer", "The rest came after")
		default:
			b.t.Fatalf("after %d: nobody answers %q", at, says)
		}
	}
	b.t.Fatalf("after %d it never ends", at)
}

// Whenever a sheet is read back while a case goes on, each pack is recorded once, each count as it was made, and what comes out on
// paper comes out for judgement.
func TestPacksAreRecordedOnce(t *testing.T) {
	t.Parallel()
	for seed := uint64(44); seed < 52; seed++ { // with 0 to 199 it was tried once; 51 read a tick before its last pack came
		r := rand.New(rand.NewPCG(seed, 16))
		packs := func(most int) (out []int64) {
			for range r.IntN(most) {
				out = append(out, int64(5*(1+r.IntN(2))))
			}
			return out
		}
		g := &gauzeCase{first: int64(10 * r.IntN(3)), before: packs(3), after: packs(3), closing: r.IntN(3) > 0,
			read: map[int]bool{0: r.IntN(2) == 0, 1: r.IntN(2) == 0, 2: r.IntN(3) == 0, 3: true}}
		if g.count(1) == 0 {
			g.closing = false
		}
		if g.count(3) == 0 {
			continue
		}
		name := fmt.Sprintf("seed %d: %+v", seed, *g)
		gauzeReadBack(t, g, name)
	}
}

func gauzeReadBack(t *testing.T, g *gauzeCase, name string) {
	t.Helper()
	h, b := goodsHouse(t)
	for at := range 4 {
		if !g.read[at] {
			continue
		}
		lines, goods, text := g.onPaper(at)
		b.lays(lines, goods)
		g.answers(b, at, text)
		h.After(time.Minute)
	}
	var came int64
	for _, d := range counts(h, "K-0412") {
		for _, c := range d.Counts {
			if c.Line != 4 {
				continue
			}
			if d.Stage == events.StageAdded {
				came += c.Counted
			}
			if want := map[events.Stage]int64{"first": g.first, "closing": g.count(1), "final": g.count(3)}[d.Stage]; want != c.Counted &&
				d.Stage != events.StageAdded {
				t.Errorf("%s: %s says %d, not %d", name, d.Stage, c.Counted, want)
			}
		}
		for _, x := range d.Beyond {
			came += x.Added
		}
	}
	if came != g.count(3) {
		t.Errorf("%s: %d came by the records, not %d", name, came, g.count(3))
	}
	if notBroken(t, h); t.Failed() {
		t.Fatal(name)
	}
}

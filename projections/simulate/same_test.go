package simulate

import (
	"container/heap"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// truthOf writes down what really happened in a week.
func truthOf(w *Week, out hash.Hash) {
	name := func(t *Trip) string {
		if t == nil {
			return "-"
		}
		return t.Set + "/" + t.ID
	}
	moves := func(ms []Move) {
		for _, m := range ms {
			fmt.Fprintln(out, " move", m.At.UnixNano(), m.Place, name(m.To))
		}
	}
	for _, t := range w.Trips {
		fmt.Fprintln(out, name(t), t.List, t.Placement, t.Case.Ref, t.Packed.UnixNano(), t.Sealed.UnixNano(), t.Opened.UnixNano(),
			name(t.Before), t.Heavy, t.Wet, t.Bare, t.Alone, t.Early, t.Aside, t.Shut, t.Anew, t.Clean())
		for _, s := range t.Stays {
			fmt.Fprintln(out, " stay", s.Place, s.From.UnixNano(), s.To.UnixNano(), s.Hidden)
		}
		if b := t.Back; b != nil {
			fmt.Fprintln(out, " back", b.Kind, b.Line, name(b.Other))
		}
		moves(t.Label.Moves)
	}
	for _, f := range w.Faults {
		fmt.Fprint(out, f.Kind, " ", f.At.UnixNano(), f.Place, f.Case != nil)
		for _, t := range f.Trips {
			fmt.Fprint(out, " ", name(t))
		}
		fmt.Fprintln(out)
	}
	for _, s := range w.Sheets {
		fmt.Fprintln(out, name(s.Of), s.Kind, s.Code)
		moves(s.Moves)
	}
	for _, c := range w.Cases {
		fmt.Fprintln(out, c.Ref, c.Room, c.Closed.UnixNano(), len(c.Trips), len(c.Faults))
	}
}

// recordsOf writes down what was observed, what a ledger makes of it and what really lay there.
func recordsOf(t *testing.T, rs []Record, out hash.Hash) {
	for i := range rs {
		r := &rs[i]
		raw, err := events.FormatObservation(&r.Observation)
		if err != nil {
			t.Fatal(err)
		}
		event, err := json.Marshal(r.Event.Data)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(out, "%s %s %s %d %s %d", raw, event, r.Event.ID, r.Event.StationSeq, r.Event.Trip, r.Recorded.UnixNano())
		if l := r.Look; l != nil {
			sheet := ""
			if l.Sheet != nil {
				sheet = l.Sheet.Code
			}
			fmt.Fprint(out, l.At.UnixNano(), l.Place, l.Tray.Set, l.Named.Set, sheet, l.Label.Set, l.Opening, l.ReadSheet, l.ReadTag,
				l.ReadLabel, l.Tells())
		}
		fmt.Fprintln(out)
	}
}

// TestSameWeeks: a seed's weeks are these on every machine, so that what a trial found under a seed, or a class practised,
// can be looked at again. Who changes them on purpose writes the new digests here.
func TestSameWeeks(t *testing.T) {
	c := Drill()
	// In these two weeks nearly everything happens that can.
	weeks := []*Week{c.Week(0), c.Week(32)}
	for _, x := range []struct {
		what, want string
		put        func(hash.Hash)
	}{
		{"setup", "1a7709fdf34dc066", func(out hash.Hash) { recordsOf(t, c.Setup(), out) }},
		{"records", "4683d2b544612ec1", func(out hash.Hash) {
			for _, w := range weeks {
				recordsOf(t, w.Records, out)
			}
		}},
		{"truth", "d6404e61fd74ba88", func(out hash.Hash) {
			for _, w := range weeks {
				truthOf(w, out)
			}
		}},
	} {
		out := sha256.New()
		x.put(out)
		if got := hex.EncodeToString(out.Sum(nil))[:16]; got != x.want {
			t.Errorf("%s: %s, want %s", x.what, got, x.want)
		}
	}
}

// TestPublishedRates holds the published hospital against the papers that it is taken from: 237 trays in 49 procedures
// (Stockert, Langerman 2014); of 33,839 packages 8 with a wrong tag, 77 with a piece missing and 70 incomplete (Zhu 2019); of
// operations 12.8 % with a discrepancy (Greenberg 2008); 21,000 operations a year (Saari, Navas, Nichol 2022).
func TestPublishedRates(t *testing.T) {
	c := Published()
	if err := c.Check(); err != nil {
		t.Fatal(err)
	}
	about := func(what string, is, paper, within float64) {
		if is < paper-within || is > paper+within {
			t.Errorf("%s: %g, the paper has %g", what, is, paper)
		}
	}
	sum := 0
	for _, n := range caseSizes {
		sum += n
	}
	perCase := float64(sum) / float64(len(caseSizes))
	about("trays in a case", perCase, 237.0/49, 0.05)
	about("cases in half a week", float64(c.Cases), 21000.0/52/2, 0.5)
	for _, r := range []float64{c.Rates.Swap, c.Rates.Lost, c.Rates.Labels, c.Rates.Holders} {
		about("wrong tags", r*33839, 8, 0.05)
	}
	about("short", c.Rates.Short*33839, 77+70, 1e-9)
	about("gone", c.Rates.Gone*33839, 77, 1e-9)
	about("discrepancies", c.Rates.Misplaced+c.Rates.Miscount+c.Rates.Omitted, 0.128, 1e-9)
	if float64(c.Sets) < float64(c.Cases)*perCase*1.05 {
		t.Errorf("%d sets are too few for %d cases", c.Sets, c.Cases)
	}
	for i, l := range lists {
		pieces := int64(0)
		for _, n := range l {
			pieces += n
		}
		if pieces > 47 { // Toor et al. 2022
			t.Errorf("list %d has %d pieces", i, pieces)
		}
	}
}

// TestUnclean: each thing that went wrong with a set, or in its case, makes it one of which something is to be found.
func TestUnclean(t *testing.T) {
	for what, change := range map[string]func(*Trip){
		"fault":  func(t *Trip) { t.Faults = []*Fault{{Kind: SheetLost}} },
		"case":   func(t *Trip) { t.Case.Faults = []*Fault{{Kind: Miscounted}} },
		"heavy":  func(t *Trip) { t.Heavy = true },
		"wet":    func(t *Trip) { t.Wet = true },
		"bare":   func(t *Trip) { t.Bare = true },
		"alone":  func(t *Trip) { t.Alone = true },
		"early":  func(t *Trip) { t.Early = EarlyLate },
		"aside":  func(t *Trip) { t.Aside = AsideUsed },
		"back":   func(t *Trip) { t.Back = &Back{Kind: BackGone} },
		"anew":   func(t *Trip) { t.Anew = AnewRun },
		"closed": func(t *Trip) { t.Shut = ShutLocks },
	} {
		trip := &Trip{Case: &Case{}, Aside: AsideReleased, Shut: ShutPrinted}
		if !trip.Clean() {
			t.Fatal("nothing happened to it")
		}
		if change(trip); trip.Clean() {
			t.Errorf("%s is clean", what)
		}
	}
}

// TestWhereItWas: a tray is at each moment at one place, both ends of a stay included, and hidden where its stay is.
func TestWhereItWas(t *testing.T) {
	at := func(minute int) time.Time { return monday.Add(time.Duration(minute) * time.Minute) }
	trip := &Trip{}
	trip.goTo("bench", at(10), false)
	trip.goTo("trolley", at(20), true)
	trip.goTo("shelf", at(30), false)
	trip.Stays[2].To = at(40)
	for _, x := range []struct {
		minute int
		place  string
		hidden bool
	}{{9, "", false}, {10, "bench", false}, {19, "bench", false}, {20, "trolley", true}, {29, "trolley", true}, {30, "shelf", false}} {
		if trip.At(at(x.minute)) != x.place || trip.Hidden(at(x.minute)) != x.hidden {
			t.Errorf("minute %d: at %q, hidden %v", x.minute, trip.At(at(x.minute)), trip.Hidden(at(x.minute)))
		}
	}
	for _, x := range []struct {
		place    string
		from, to int
		was      bool
	}{
		{"bench", 0, 9, false}, {"bench", 0, 10, true}, {"bench", 12, 13, true}, {"bench", 20, 50, true}, {"bench", 21, 50, false},
		{"shelf", 12, 13, false}, {"shelf", 0, 50, true}, {"cart", 0, 50, false},
	} {
		if trip.Was(x.place, at(x.from), at(x.to)) != x.was {
			t.Errorf("at the %s between %d and %d: %v", x.place, x.from, x.to, !x.was)
		}
	}
	moves := []Move{{At: at(10)}, {At: at(20)}}
	if LastMove(moves, at(10)) != nil || LastMove(moves, at(20)) != &moves[0] || LastMove(moves, at(21)) != &moves[1] {
		t.Error("the last move before a moment is another one")
	}
}

// TestTells: a look tells of something where tag, label and sheet that were read are not of one set as it was sealed.
func TestTells(t *testing.T) {
	a, b := &Trip{}, &Trip{}
	own, others, altered := &Sheet{Of: a, Kind: TrueSheet}, &Sheet{Of: b, Kind: TrueSheet}, &Sheet{Of: a, Kind: AlteredSheet}
	for i, x := range []struct {
		Look
		tells bool
	}{
		{Look{Sheet: own, Label: a, ReadSheet: true, ReadTag: true, ReadLabel: true}, false},
		{Look{Sheet: others, Label: b}, false}, // nothing of it was read
		{Look{Sheet: others, Label: a, ReadSheet: true}, true},
		{Look{Label: a, ReadSheet: true}, true},
		{Look{Sheet: altered, Label: a, ReadSheet: true}, true},
		{Look{Sheet: own, Label: b, ReadTag: true, ReadLabel: true}, true},
		{Look{Sheet: own, Label: b, ReadTag: true}, false}, // the label was not read
		{Look{Sheet: own, Label: b, ReadLabel: true}, false},
		{Look{Sheet: own, Label: a, Named: b, ReadTag: true}, true},
	} {
		x.Tray = a
		if x.Named == nil {
			x.Named = a
		}
		if x.Tells() != x.tells {
			t.Errorf("%d: %v", i, !x.tells)
		}
	}
}

// TestHospitalsThatCantBe: the least hospital can be; less is refused, with what is wrong.
func TestHospitalsThatCantBe(t *testing.T) {
	least := func(c *Config) { c.Cases, c.Sets = 1, 2 }
	for want, change := range map[string]func(*Config){
		"0 cases":             func(c *Config) { c.Cases = 0 },
		"1 sets":              func(c *Config) { c.Sets = 1 },
		"first day is a Sund": func(c *Config) { c.Start = c.Start.Add(-time.Hour) },
		"station":             func(c *Config) { c.Site = "" },
	} {
		c := Drill()
		least(&c)
		if err := c.Check(); err != nil {
			t.Fatal(err)
		}
		c.Week(0)
		change(&c)
		if err := c.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}

// TestAgenda: things happen in the order of their times, and those of one moment in the order in which they were planned.
func TestAgenda(t *testing.T) {
	c := Drill()
	h := newHouse(&c, 0)
	var done []int
	for i, minute := range []int{5, 3, 5, 3, 5, 3, 4, 3, 5, 3} {
		h.at(monday.Add(time.Duration(minute)*time.Minute), func(time.Time) { done = append(done, i) })
	}
	for len(h.agenda) > 0 {
		a := heap.Pop(&h.agenda).(action)
		a.do(a.at)
	}
	if want := []int{1, 3, 5, 7, 9, 6, 0, 2, 4, 8}; !slices.Equal(done, want) {
		t.Errorf("done in the order %v, want %v", done, want)
	}
}

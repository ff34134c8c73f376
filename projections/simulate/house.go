package simulate

import (
	"container/heap"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"listbound/events"
)

// lists are the lists of the house: what is in a set, by quantities. Every
// second is word for word its neighbour's, as twins are. A tray has 47 pieces
// (Toor et al. 2022, after optimisation) or fewer.
var lists = [][]int64{
	{6, 4, 4, 2, 2, 6, 8, 4, 3, 2, 4, 2}, {6, 4, 4, 2, 2, 6, 8, 4, 3, 2, 4, 2},
	{4, 2, 2, 1, 2, 4, 2}, {4, 2, 2, 1, 2, 4, 2},
	{8, 6, 4, 2, 4, 6, 2, 2, 6}, {6, 2, 3, 1, 2},
}

// Of the lists, by their place: whose sets a second person looks over when they are
// packed, and whose sets hold implants.
const (
	lookedOver = 4
	implants   = 5
)

// listOf returns a list. Line 1 is of one item in all of them, so that a piece
// of it can end in any other tray.
func listOf(i int) *events.ListIssued {
	l := &events.ListIssued{List: fmt.Sprintf("LIST-%d", i+1), Version: 1, Title: fmt.Sprintf("Set of kind %d",
		i/2+1), Implants: i == implants}
	for n, q := range lists[i] {
		item := "ITEM-1"
		if n > 0 {
			item = fmt.Sprintf("ITEM-%d-%d", i/2+1, n+1)
		}
		l.Lines = append(l.Lines, events.Line{Line: int64(n + 1), Item: item, Description: "Instrument " + item, Quantity: q})
	}
	return l
}

// action is something that happens at a moment.
type action struct {
	at time.Time
	n  int // of two at one moment the one planned first
	do func(at time.Time)
}

type agenda []action

func (a agenda) Len() int { return len(a) }
func (a agenda) Less(i, j int) bool {
	return a[i].at.Before(a[j].at) || a[i].at.Equal(a[j].at) && a[i].n < a[j].n
}
func (a agenda) Swap(i, j int) { a[i], a[j] = a[j], a[i] }
func (a *agenda) Push(x any)   { *a = append(*a, x.(action)) }
func (a *agenda) Pop() any {
	old := *a
	x := old[len(old)-1]
	*a = old[:len(old)-1]
	return x
}

// house is one week of the hospital while it is made.
type house struct {
	*Config
	*rand.Rand
	quality *rand.Rand // of what is wrong with a package, so that it changes nothing else of a week
	losses  *rand.Rand // and of pieces between a case and the next assembly
	closing *rand.Rand // and of what is packed and closed anew, or read though it is closed
	reports *rand.Rand // and of what is reported of them, and of the way through the washer
	packing *rand.Rand // and of pieces that go into the wrong set at packing
	week    *Week
	start   time.Time
	agenda  agenda
	planned int
	clocks  map[string]time.Duration
	away    map[string]bool // station and day on which it is offline
	numbers map[string]int64
	before  map[string]*Trip // by set, of the first half of the week
	half    []*Trip          // packed in this half
	loads   int
}

func newHouse(c *Config, n int) *house {
	return &house{
		Config: c, Rand: rand.New(rand.NewPCG(c.Seed, uint64(n)+1)), week: &Week{Number: n},
		quality: rand.New(rand.NewPCG(c.Seed, 1<<32+uint64(n))),
		losses:  rand.New(rand.NewPCG(c.Seed, 1<<33+uint64(n))),
		closing: rand.New(rand.NewPCG(c.Seed, 1<<35+uint64(n))),
		reports: rand.New(rand.NewPCG(c.Seed, 1<<34+uint64(n))),
		packing: rand.New(rand.NewPCG(c.Seed, 1<<36+uint64(n))),
		start:   c.Start.Add(time.Duration(n) * 7 * 24 * time.Hour), clocks: make(map[string]time.Duration),
		away: make(map[string]bool), numbers: make(map[string]int64), before: make(map[string]*Trip),
	}
}

// run makes the week in two halves: packed on Monday and used on the next two
// days, packed on Thursday and used on the next two.
func (h *house) run() *Week {
	for half := range 2 {
		h.half = nil
		h.plan(h.start.Add(time.Duration(3*half)*24*time.Hour), half)
		h.plant()
		h.lose()
		h.wash()
		if half == 1 {
			h.mispack()
		}
		for _, t := range h.half {
			h.before[t.Set] = t
		}
		for len(h.agenda) > 0 {
			a := heap.Pop(&h.agenda).(action)
			a.do(a.at)
		}
	}
	slices.SortStableFunc(h.week.Records, func(a, b Record) int { return a.Recorded.Compare(b.Recorded) })
	return h.week
}

func (h *house) at(t time.Time, do func(at time.Time)) {
	h.planned++
	heap.Push(&h.agenda, action{t, h.planned, do})
}

// chance is true with a probability.
func (h *house) chance(p float64) bool { return h.Float64() < p }

// between draws a duration.
func (h *house) between(from, to time.Duration) time.Duration {
	return from + time.Duration(h.Int64N(int64(to-from)))
}

// caseSizes have a mean of 4.8 (237 trays in 49 procedures: Stockert, Langerman 2014).
var caseSizes = []int{1, 2, 4, 4, 5, 5, 6, 6, 7, 8}

// plan lets the cases of half a week take their sets, and each set its way.
func (h *house) plan(day time.Time, half int) {
	sets := h.Perm(h.Sets)
	earlier := len(h.week.Cases)
	for n := range h.Cases {
		size := caseSizes[h.IntN(len(caseSizes))]
		if size > len(sets) {
			break
		}
		start := day.Add(time.Duration(1+n%2)*24*time.Hour + h.between(7*time.Hour, 15*time.Hour))
		c := &Case{
			Ref:  fmt.Sprintf("K-%d-%d-%d", h.week.Number+1, half+1, n+1),
			Room: h.station(fmt.Sprintf("or-%d", 1+h.IntN(max(4, h.Cases/4)))), cart: fmt.Sprintf("cart %d", n+1),
			start: start, end: start.Add(h.between(90*time.Minute, 4*time.Hour)),
		}
		for _, i := range sets[:size] {
			t := &Trip{
				Set: fmt.Sprintf("SET-%03d", i+1), List: int64(i % len(lists)), Placement: h.placement(), Case: c,
				pieces: slices.Clone(lists[i%len(lists)]),
			}
			t.Before = h.before[t.Set]
			c.Trips = append(c.Trips, t)
			h.half = append(h.half, t)
		}
		sets = sets[size:]
		h.week.Cases = append(h.week.Cases, c)
	}
	h.week.Trips = append(h.week.Trips, h.half...)
	h.Shuffle(len(h.half), func(i, j int) { h.half[i], h.half[j] = h.half[j], h.half[i] })
	h.pack(day)
	for _, c := range h.week.Cases[earlier:] {
		h.operate(c)
	}
}

// placement draws where a sheet travels. Common practice, no source.
func (h *house) placement() events.Placement {
	switch n := h.IntN(10); {
	case n < 4:
		return events.Outside
	case n < 7:
		return events.InsideBag
	case n < 8:
		return events.InsideBare
	}
	return events.Screen
}

// pack puts all sets through benches, loads and onto shelves.
func (h *house) pack(day time.Time) {
	const perLoad = 10
	benches := h.benches()
	gap := min(12*time.Minute, 8*time.Hour*time.Duration(benches)/time.Duration(len(h.half)+1))
	for i, t := range h.half {
		bench := h.station(fmt.Sprintf("packing-%d", 1+i%benches))
		t.Packed = day.Add(5*time.Hour + 30*time.Minute + time.Duration(i/benches)*gap + h.between(0, time.Minute))
		t.Sealed = t.Packed.Add(h.between(2*time.Minute, 6*time.Minute))
		t.Stays = append(t.Stays, Stay{Place: bench, From: t.Packed})
		h.at(t.Packed, func(at time.Time) { h.packed(t, bench, at) })
		h.at(t.Sealed, func(at time.Time) { h.sealed(t, bench, at) })
	}
	for group := range slices.Chunk(h.half, perLoad) {
		h.sterilize(group)
	}
}

// go puts a tray into a place, out of the one before.
func (t *Trip) goTo(place string, at time.Time, hidden bool) {
	if n := len(t.Stays); n > 0 {
		t.Stays[n-1].To = at
	}
	t.Stays = append(t.Stays, Stay{Place: place, From: at, Hidden: hidden})
}

func (h *house) sterilize(group []*Trip) {
	h.loads++
	sterilizer := 1 + h.loads%(2+len(h.half)/100)
	load := fmt.Sprintf("S%d-%03d-%02d", sterilizer, h.week.Number+1, h.loads)
	var ready time.Time
	for _, t := range group {
		if t.Sealed.After(ready) {
			ready = t.Sealed
		}
	}
	in := ready.Add(h.between(10*time.Minute, 30*time.Minute))
	done := in.Add(75 * time.Minute)
	out := done.Add(h.between(20*time.Minute, time.Hour))
	run := &events.SetSterilized{
		Load: load, Sterilizer: fmt.Sprintf("S%d", sterilizer), Run: int64(h.loads), Cycle: "dynamic-air-132",
		Result: "passed", Released: true, // 132 C, 4 min: CDC 2008, Table 7
	}
	h.indicator(group, run, done)
	for i, t := range group {
		t.goTo("trolley to "+load, in.Add(-5*time.Minute), true)
		t.goTo("load "+load, in, false)
		station := h.station(fmt.Sprintf("sterilizer-%d", sterilizer))
		h.packAnew(t, in)
		h.at(done.Add(time.Duration(i)*10*time.Second), func(at time.Time) {
			run.Started = h.stamp(station, in)
			h.ended(t, station, at, run)
		})
		t.goTo("trolley from "+load, out, true)
		h.store(t, out.Add(6*time.Minute+time.Duration(i)*20*time.Second))
	}
}

// indicator reads the biological indicator of a load: before anything of it is
// opened, or when all of it has been, or never. Where it is read late, half of the
// loads were released early for a reason. Every load has one. Common practice, no source.
func (h *house) indicator(group []*Trip, run *events.SetSterilized, done time.Time) {
	read, never := done.Add(3*time.Hour), false
	if h.odd(h.Rates.Early) {
		early := EarlyLate
		switch h.quality.IntN(3) {
		case 0:
			early, never = EarlyUnread, true
		case 1:
			early, run.Emergency = EarlyForReason, "the only set of its kind"
		}
		read = done.Add(62 * time.Hour) // after the last case of this half of the week
		for _, t := range group {
			if t.List == implants {
				t.Early = early
			}
		}
	}
	if never {
		return
	}
	h.at(read, func(at time.Time) {
		d := &events.IndicatorRead{Load: run.Load, Sterilizer: run.Sterilizer, Result: "negative", Control: "positive"}
		h.record(h.apart("laboratory", at), at, "", "", d, nil)
	})
}

// apart returns a station that only what is drawn apart is recorded at, so that it
// changes nothing else of a week.
func (h *house) apart(name string, at time.Time) string {
	station := h.station(name)
	if _, ok := h.clocks[station]; !ok && h.Clock > 0 {
		h.clocks[station] = time.Duration(h.quality.Int64N(int64(2*h.Clock)) - int64(h.Clock)).Truncate(time.Second)
	}
	if key := awayKey(station, at); !h.away[key] {
		h.away[key] = false
	}
	return station
}

// odd is true with a probability, drawn apart.
func (h *house) odd(rate float64) bool { return h.quality.Float64() < rate }

// store puts a tray onto a shelf, and perhaps later onto another.
func (h *house) store(t *Trip, at time.Time) {
	shelves := max(4, len(h.half)/6)
	put := func(at time.Time) {
		place := fmt.Sprintf("shelf %d", 1+h.IntN(shelves))
		t.goTo(place, at, false)
		h.scanned(t, "storage", place, at.Add(30*time.Second))
	}
	put(at)
	evening := at.Truncate(24 * time.Hour).Add(18 * time.Hour)
	if h.chance(0.3) {
		put(evening.Add(h.between(0, time.Hour)))
	}
	if h.chance(0.5) { // stock-taking
		h.scanned(t, "storage", t.Stays[len(t.Stays)-1].Place, evening.Add(h.between(90*time.Minute, 3*time.Hour)))
	}
}

// operate takes the sets of a case to its room, and has them opened and counted.
func (h *house) operate(c *Case) {
	pick := c.start.Add(-h.between(40*time.Minute, 2*time.Hour))
	for i, t := range c.Trips {
		step := time.Duration(i) * 90 * time.Second
		h.aside(t)
		h.shut(t)
		t.goTo(c.cart, pick.Add(time.Duration(i)*20*time.Second), false)
		h.scanned(t, "cart", c.cart, pick.Add(5*time.Minute+time.Duration(i)*20*time.Second))
		t.goTo(c.Room, c.start.Add(-15*time.Minute), false)
		t.Stays[len(t.Stays)-1].To = c.end
		t.Opened = c.start.Add(step)
		h.at(t.Opened, func(at time.Time) { h.opened(t, c, at) })
		h.at(c.start.Add(15*time.Minute+step), func(at time.Time) { h.counted(t, c, events.StageFirst, at) })
		h.at(c.end.Add(step-30*time.Minute), func(at time.Time) { h.counted(t, c, events.StageFinal, at) })
	}
	h.at(c.end, func(at time.Time) { h.closed(c, at) })
}

// scanned plans a look at a tray on its way, if anybody scans.
func (h *house) scanned(t *Trip, station, place string, at time.Time) {
	if h.chance(h.Scan) {
		h.at(at, func(at time.Time) { h.checked(t, station, place, at, h.chance(h.Read)) })
	}
}

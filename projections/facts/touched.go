package facts

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
)

// Touch is what a fact can have changed: the trips it belongs to, and every
// judgement that asked for one of the places it is filed under.
type Touch struct {
	Trips []projections.TripKey
	Asked []Ask // a judgement is touched where one of its questions meets one of these
}

// Touched returns what a fact that was added can have changed, by what it says
// and by all that corrections ever made it say.
func (b *Book) Touched(f Fact) (Touch, error) {
	it := b.seqs.get(f.Seq)
	if it == nil || it.Event == nil || it.Event.Data == nil {
		return Touch{}, nil
	}
	t := toucher{b: b, trips: make(map[projections.TripKey]struct{})}
	t.fact(it, 0)
	slices.SortFunc(t.asked, compareAsks)
	return Touch{Trips: SortedKeys(t.trips), Asked: slices.Compact(t.asked)}, b.Failed()
}

type toucher struct {
	b     *Book
	trips map[projections.TripKey]struct{}
	asked []Ask
}

func (t *toucher) trip(k projections.TripKey) {
	if k != (projections.TripKey{}) {
		t.trips[k] = struct{}{}
	}
}

func (t *toucher) fact(it *Item, depth int) {
	e := it.Event
	t.b.need(DimEvent, e.ID) // its corrections may have come before it
	t.trip(t.b.TripOf(e))
	for _, d := range append([]events.Data{e.Data}, it.alts...) {
		t.keys(it, d)
		switch d := d.(type) {
		case *events.EventCorrected:
			t.b.need(DimEvent, d.Event)
			if of := t.b.ids.get(d.Event); of != nil && depth <= maxFixDepth {
				t.fact(of, depth+1)
			}
		case *events.SetPacked:
			t.unpacked(e.Subject, it)
		case *events.ListSealed:
			t.locks(d, it)
		case *events.SetSterilized:
			t.load(d.Load, d.Sterilizer, it)
			t.starts(d.Load, it)
			t.besides(d, it)
		case *events.IndicatorRead:
			t.load(d.Load, d.Sterilizer, it)
		}
	}
}

// unpacked adds what was seen of a set before any packing of it: when a packing
// is added or taken back, facts without a trip may move there from another trip.
func (t *toucher) unpacked(set string, pack *Item) {
	t.b.around(set, pack.At())
	if s := t.b.sets[set]; s != nil && len(s.loose.items) > 0 {
		t.trip(projections.TripKey{Set: set})
	}
}

// keys adds where a fact is filed. What a load's result reaches is another
// matter (load).
func (t *toucher) keys(it *Item, d events.Data) {
	at := Nanos(it.At())
	for _, k := range Keys(it.Event, d) {
		switch k.Dim {
		case DimTrip, DimSet, DimPackings, DimCase, DimLoad, DimLoadReadings, DimList, DimVersion, DimSheet, DimPolicy,
			DimEntry, DimWash, DimRunLogs, DimTests, DimSchedule, DimBench:
			t.asked = append(t.asked, Ask{k.Dim, k.Key, at, at})
		}
	}
}

// load adds what the result of a load, or the time of a load with a result,
// reaches. A positive result covers the loads between the negative ones around
// it, and is itself judged by the results of the repeated cycles:
//
//   - -  .  .  +  .  .  -  -  -  -      in order of time; . has no result
//     |________________|                covered
//     1  2  3         repeats, which decide about the recall
//
// So a new result, or a load that moves in time, can change the judgement of
// every run from the negative load before the third result before it to the
// negative load after the third result after it. A positive result that was known late
// is repeated late: what it covers is touched too as long as its repeats may reach here,
// and results of cycles that were started by the end of this load count for no repeat of it.
func (t *toucher) load(load, sterilizer string, it *Item) {
	b := t.b
	results, known, positive := b.results(sterilizer)
	if !positive || !known[load] && it.Kind != events.KindIndicatorRead {
		return
	}
	lo, hi := b.everStood(load, it, results)
	loads := b.surelyRead(results, load, sterilizer)
	first, last := 0, len(loads)-1
	for first < len(loads) && loads[first].At.Before(lo) {
		first++
	}
	for last >= 0 && loads[last].At.After(hi) {
		last--
	}
	from, to := reach(loads, first-1, -1, time.Time{}), reach(loads, last+1, +1, hi)
	if late := awaited(loads[:first]); late >= 0 && !from.IsZero() {
		from = Earliest(from, negativeBefore(loads, late))
	}
	a := Ask{DimSterilizer, sterilizer, Ever, After}
	if !from.IsZero() {
		a.From = Nanos(from)
	}
	if !to.IsZero() {
		a.To = Nanos(to)
	}
	t.asked = append(t.asked, a)
	// A load with a result stands at its earliest set.sterilized, which may be far from a set's own.
	for _, l := range append(loads, readLoad{Load: load, At: lo}) {
		if at := Nanos(l.At); at < a.From || at > a.To {
			continue
		}
		b.need(DimLoad, l.Load)
		for _, x := range slices.Clone(b.loads[l.Load]) {
			t.trip(b.TripOfItem(x))
		}
	}
}

// result is an indicator's reading of a load, in force or once said.
type result struct {
	load string
	it   *Item
}

// results returns every reading of a sterilizer's indicators, with those that
// corrections put in place; which loads they name; and whether one was ever
// positive.
func (b *Book) results(sterilizer string) (all []result, known map[string]bool, positive bool) {
	b.needReadings(sterilizer)
	known = make(map[string]bool)
	for _, r := range b.reads[sterilizer] {
		for _, d := range append([]events.Data{r.Event.Data}, r.alts...) {
			if i, ok := d.(*events.IndicatorRead); ok {
				all = append(all, result{i.Load, r})
				known[i.Load] = true
				positive = positive || i.Result == "positive"
			}
		}
	}
	return all, known, positive
}

// everStood returns the earliest and the latest time that any record, corrected or not, gives for a load.
func (b *Book) everStood(load string, it *Item, results []result) (lo, hi time.Time) {
	lo, hi = it.At(), it.At()
	stands := func(x *Item) { lo, hi = Earliest(lo, x.At()), Latest(hi, x.At()) }
	b.need(DimLoad, load)
	for _, x := range b.loads[load] {
		stands(x)
	}
	for _, r := range results {
		if r.load == load {
			stands(r.it)
		}
	}
	return lo, hi
}

// surelyRead returns the other loads with a result that shows something, in order of
// time.
func (b *Book) surelyRead(results []result, but, sterilizer string) []readLoad {
	byLoad := make(map[string][]*Item)
	for _, r := range results {
		if r.load != but {
			byLoad[r.load] = append(byLoad[r.load], r.it)
		}
	}
	var loads []readLoad
	for l, rs := range byLoad {
		x := readLoad{Load: l}
		for _, r := range rs {
			x.At = Latest(x.At, r.At())
		}
		ran := b.loadTime(l, sterilizer, x.At)
		x.At, x.Began = ran.at, ran.began
		negative := false
		for _, r := range rs {
			d := indicatorOf(r)
			if r.Void || d == nil || d.Load != l || d.Unproved() || d.TooSoon(r.At(), Latest(ran.started, d.StartedAt())) {
				continue
			}
			x.Began = began(x.Began, d)
			negative = negative || d.Result == "negative"
			if d.Result == "positive" && (!x.Positive || r.At().Before(x.Read)) {
				x.Positive, x.Read = true, r.At()
			}
		}
		if !negative && !x.Positive {
			continue // it has no result that shows anything
		}
		loads = append(loads, x)
	}
	slices.SortFunc(loads, func(a, b readLoad) int { return a.At.Compare(b.At) })
	return loads
}

// reach goes from a load past as many as are repeated, and on to the next
// negative one, whose time it returns; zero where there is none. Those that were started
// by a moment are passed without being counted.
func reach(loads []readLoad, i, dir int, after time.Time) time.Time {
	for n := 0; i >= 0 && i < len(loads); i += dir {
		if n >= Repeats && !loads[i].Positive {
			return loads[i].At
		}
		if loads[i].Began.After(after) {
			n++
		}
	}
	return time.Time{}
}

// awaited returns the first positive load whose test was not repeated often enough by the
// loads after it, -1 without one.
func awaited(loads []readLoad) int {
	for i := range loads {
		if loads[i].Positive && len((&ReadLoads{loads}).Repeated(i)) < Repeats {
			return i
		}
	}
	return -1
}

// negativeBefore returns when the last negative load before a load was run, zero
// without one.
func negativeBefore(loads []readLoad, i int) time.Time {
	for i--; i >= 0; i-- {
		if !loads[i].Positive {
			return loads[i].At
		}
	}
	return time.Time{}
}

package facts

import (
	"cmp"
	"listbound/events"
	"listbound/projections"
	"slices"
	"strings"
	"time"
)

// LoadOf returns the trips that were in a load, and what was recorded of the
// load itself: its runs, its indicators, the logs of its runs, and the tests of its sterilizer's day.
func (b *Book) LoadOf(load string) (trips []projections.TripKey, recorded []*Item) {
	b.need(DimLoad, load)
	seen := make(map[projections.TripKey]struct{})
	var sterilizers, days []string
	for _, it := range slices.Clone(b.loads[load]) {
		recorded = append(recorded, it)
		d := RunOf(it)
		if it.Void || d.Load != load {
			continue
		}
		seen[b.TripOfItem(it)] = struct{}{}
		if !slices.Contains(sterilizers, d.Sterilizer) {
			sterilizers = append(sterilizers, d.Sterilizer)
		}
		if day := TestsOn(d.Sterilizer, d.DayOf(it.At())); !slices.Contains(days, day) {
			days = append(days, day)
		}
	}
	for _, day := range days {
		b.need(DimTests, day)
		for _, it := range b.tests[day] {
			if d := TestOf(it); d != nil && TestsOn(d.Sterilizer, d.Day) == day {
				recorded = append(recorded, it)
			}
		}
	}
	// Only those of the load are fetched: a sterilizer has one a day, or more, for years.
	b.need(DimLoadReadings, load)
	for _, it := range b.readOf[load] {
		if d := indicatorOf(it); d != nil && d.Load == load && slices.Contains(sterilizers, d.Sterilizer) {
			recorded = append(recorded, it)
		}
	}
	b.need(DimRunLogs, load)
	for _, it := range b.logs[load] {
		if d := LogOf(it); d != nil && d.Load == load && slices.Contains(sterilizers, d.Sterilizer) {
			recorded = append(recorded, it)
		}
	}
	return SortedKeys(seen), recorded
}

// Washed returns the trips that were in a load of a washer.
func (b *Book) Washed(load string) []projections.TripKey {
	b.need(DimWash, load)
	b.asked(DimWash, load)
	seen := make(map[projections.TripKey]struct{})
	for _, it := range slices.Clone(b.washes[load]) {
		if d := ReturnOf(it); !it.Void && d != nil && d.WasherLoad == load {
			seen[b.TripOfItem(it)] = struct{}{}
		}
	}
	return SortedKeys(seen)
}

// RunLogs returns what is recorded of the logs of a load's runs, by when the runs were started and then by when they were
// recorded.
func (b *Book) RunLogs(load string) (out []*Item) {
	b.need(DimRunLogs, load)
	b.asked(DimRunLogs, load)
	for _, it := range b.logs[load] {
		if d := LogOf(it); d != nil && !it.Void && d.Load == load {
			out = append(out, it)
		}
	}
	slices.SortFunc(out, func(x, y *Item) int {
		return cmp.Or(LogOf(x).StartedAt().Compare(LogOf(y).StartedAt()), Compare(x, y))
	})
	return out
}

// readLoad is a load with a biological indicator's result.
type readLoad struct {
	Load     string
	At       time.Time // the earliest set.sterilized of the load, else the indicator's time
	Began    time.Time // when its cycle was started at the earliest, else At
	Positive bool
	Read     time.Time // when it was known that it is positive, zero for a negative one
	Shown    []*Item   // the indicators; of a positive load only the positive ones
}

// ReadLoads are a sterilizer's, in order of time.
type ReadLoads struct{ Loads []readLoad }

// ReadLoads returns a sterilizer's loads with a result that shows something, nil
// where none was ever positive. A load with one positive indicator is positive, whatever the
// others say.
func (b *Book) ReadLoads(sterilizer string) *ReadLoads {
	return b.recalls.Get(b, sterilizer, func() *ReadLoads { return b.buildLoads(sterilizer) })
}

func (b *Book) buildLoads(sterilizer string) *ReadLoads {
	if b.gone != nil {
		return nil
	}
	b.needReadings(sterilizer)
	var reads []*Item
	positive := false
	for _, it := range b.reads[sterilizer] {
		if d := indicatorOf(it); d != nil && !it.Void && !d.Unproved() && d.Sterilizer == sterilizer {
			reads = append(reads, it)
			positive = positive || d.Result == "positive"
		}
	}
	if !positive {
		return nil
	}
	slices.SortFunc(reads, Compare)
	return b.byLoad(reads)
}

// needReadings fetches a sterilizer's indicators where one of them is positive.
// A Source need not hold the first positive one yet: it may be the very fact
// that is judged now. The negative ones before it count from then on.
func (b *Book) needReadings(sterilizer string) {
	b.need(DimSterilizer, sterilizer)
	if _, all := b.have[dimKey{DimReadings, sterilizer}]; all {
		return
	}
	for _, it := range b.reads[sterilizer] {
		for _, d := range append([]events.Data{it.Event.Data}, it.alts...) {
			if i, ok := d.(*events.IndicatorRead); ok && i.Result == "positive" {
				b.need(DimReadings, sterilizer)
				return
			}
		}
	}
}

func (b *Book) byLoad(reads []*Item) *ReadLoads {
	r := new(ReadLoads)
	at := make(map[string]int)
	for _, it := range reads {
		d := indicatorOf(it)
		ran := b.loadTime(d.Load, d.Sterilizer, it.At())
		if d.TooSoon(it.At(), Latest(ran.started, d.StartedAt())) {
			continue
		}
		i, ok := at[d.Load]
		if !ok {
			i = len(r.Loads)
			at[d.Load] = i
			r.Loads = append(r.Loads, readLoad{Load: d.Load, At: ran.at, Began: ran.began})
		}
		l := &r.Loads[i]
		l.Began = began(l.Began, d)
		switch positive := d.Result == "positive"; {
		case positive && !l.Positive:
			l.Positive, l.Read, l.Shown = true, it.At(), []*Item{it}
		case positive == l.Positive:
			l.Shown = append(l.Shown, it)
		}
	}
	slices.SortFunc(r.Loads, func(a, b readLoad) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		return strings.Compare(a.Load, b.Load)
	})
	return r
}

// loadTimes are when a load was run.
type loadTimes struct {
	at      time.Time // its earliest set.sterilized
	began   time.Time // when its cycle was started, at the earliest
	started time.Time // and at the latest, as is recorded; zero where it isn't
}

// loadTime returns when a load was run in a sterilizer. Another one may number
// its loads alike.
func (b *Book) loadTime(load, sterilizer string, otherwise time.Time) (t loadTimes) {
	b.need(DimLoad, load)
	for _, it := range b.loads[load] {
		d := RunOf(it)
		if d == nil || it.Void || d.Load != load || d.Sterilizer != sterilizer {
			continue
		}
		if t.at.IsZero() || it.At().Before(t.at) {
			t.at = it.At()
		}
		if own := Began(it); t.began.IsZero() || own.Before(t.began) {
			t.began = own
		}
		t.started = Latest(t.started, d.StartedAt())
	}
	if t.at.IsZero() {
		t.at, t.began = otherwise, otherwise
	}
	return t
}

// began is when a cycle was started at the earliest, by what its indicator's reading
// says too: of an empty one there is nothing else.
func began(at time.Time, d *events.IndicatorRead) time.Time {
	if own := d.StartedAt(); !own.IsZero() {
		return Earliest(at, own)
	}
	return at
}

// Repeats is how many cycles are repeated after a positive indicator (CDC
// 2008, Table 12). What is repeated is what has a result, so cycles without an
// indicator are passed over.
const Repeats = 3

// Repeated returns the loads that repeat the test of the positive load i, by their
// places: the first that were started once its result was known. What ran before that
// was run as ever, and shows nothing of a sterilizer that was looked into.
func (r *ReadLoads) Repeated(i int) (out []int) {
	for k := i + 1; k < len(r.Loads) && len(out) < Repeats; k++ {
		if r.Loads[k].Began.After(r.Loads[i].Read) {
			out = append(out, k)
		}
	}
	return out
}

// Covers reports whether the positive load i covers a load at a moment (own: its
// place among the read ones, -1 for one without a result).
func (r *ReadLoads) Covers(i, own int, at time.Time) bool {
	before, after := r.Around(i)
	if own >= 0 {
		return own > before && own < after
	}
	return (before < 0 || at.After(r.Loads[before].At)) && (after == len(r.Loads) || at.Before(r.Loads[after].At))
}

// Around returns the last negative load before i and the first after it.
func (r *ReadLoads) Around(i int) (before, after int) {
	before, after = i-1, i+1
	for before >= 0 && r.Loads[before].Positive {
		before--
	}
	for after < len(r.Loads) && r.Loads[after].Positive {
		after++
	}
	return before, after
}

package projections

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// readLoad is a load with a biological indicator's result.
type readLoad struct {
	load     string
	at       time.Time // the earliest set.sterilized of the load, else the indicator's time
	positive bool
	shown    []*item // the indicators; of a positive load only the positive ones
}

// readLoads are a sterilizer's, in order of time.
type readLoads struct{ loads []readLoad }

func indicatorOf(it *item) *events.IndicatorRead {
	d, _ := it.data.(*events.IndicatorRead)
	return d
}

// readLoads returns a sterilizer's loads with a result, nil where none was
// ever positive. A load with one positive indicator is positive, whatever the
// others say.
func (w *World) readLoads(sterilizer string) *readLoads {
	w.needReadings(sterilizer)
	w.fresh()
	if r, ok := w.derived.recalls[sterilizer]; ok {
		return r
	}
	var reads []*item
	positive := false
	for _, it := range w.reads[sterilizer] {
		if d := indicatorOf(it); d != nil && !it.void && d.Sterilizer == sterilizer {
			reads = append(reads, it)
			positive = positive || d.Result == "positive"
		}
	}
	var r *readLoads
	if positive {
		slices.SortFunc(reads, compare)
		r = w.byLoad(reads)
	}
	w.fresh()
	w.derived.recalls[sterilizer] = r
	return r
}

// needReadings fetches a sterilizer's indicators where one of them is positive.
// A Source need not hold the first positive one yet: it may be the very fact
// that is judged now. The negative ones before it count from then on.
func (w *World) needReadings(sterilizer string) {
	w.need(DimSterilizer, sterilizer)
	if _, all := w.have[dimKey{DimReadings, sterilizer}]; all || w.src == nil {
		return
	}
	for _, it := range w.reads[sterilizer] {
		for _, d := range append([]events.Data{it.Event.Data}, it.alts...) {
			if i, ok := d.(*events.IndicatorRead); ok && i.Result == "positive" {
				w.need(DimReadings, sterilizer)
				return
			}
		}
	}
}

func (w *World) byLoad(reads []*item) *readLoads {
	r := new(readLoads)
	at := make(map[string]int)
	for _, it := range reads {
		d := indicatorOf(it)
		i, ok := at[d.Load]
		if !ok {
			i = len(r.loads)
			at[d.Load] = i
			r.loads = append(r.loads, readLoad{load: d.Load, at: w.loadTime(d.Load, d.Sterilizer, it.at())})
		}
		l := &r.loads[i]
		switch positive := d.Result == "positive"; {
		case positive && !l.positive:
			l.positive, l.shown = true, []*item{it}
		case positive == l.positive:
			l.shown = append(l.shown, it)
		}
	}
	slices.SortFunc(r.loads, func(a, b readLoad) int {
		if c := a.at.Compare(b.at); c != 0 {
			return c
		}
		return strings.Compare(a.load, b.load)
	})
	return r
}

// loadTime returns when a load was run in a sterilizer. Another one may number
// its loads alike.
func (w *World) loadTime(load, sterilizer string, otherwise time.Time) time.Time {
	w.need(DimLoad, load)
	found := false
	for _, it := range w.loads[load] {
		if d := runOf(it); d != nil && !it.void && d.Load == load && d.Sterilizer == sterilizer && (!found || it.at().Before(otherwise)) {
			otherwise, found = it.at(), true
		}
	}
	return otherwise
}

// repeats is how many cycles are repeated after a positive indicator (CDC
// 2008, Table 12). What is repeated is what has a result, so cycles without an
// indicator are passed over.
const repeats = 3

// recalls finds the positive indicators that cover the load this trip rests
// on: the last one that passed and was released by the opening, and the last of
// all, which the set lay in as well. They cover the loads of their sterilizer
// after the last negative load and up to the next negative one. A load with a
// result stands at its earliest set.sterilized; one without stands at this
// trip's own.
func (j *judgement) recalls() {
	good, last := j.c.releasing(j.w, j.c.firstOpened())
	if good != nil {
		j.recallsOf(good)
	}
	if last != nil && (good == nil || runOf(good).Load != runOf(last).Load || runOf(good).Sterilizer != runOf(last).Sterilizer) {
		j.recallsOf(last)
	}
}

func (j *judgement) recallsOf(run *item) {
	d := runOf(run)
	r := j.w.readLoads(d.Sterilizer)
	if r == nil {
		return
	}
	at, own := run.at(), -1
	for i := range r.loads {
		if r.loads[i].load == d.Load {
			at, own = r.loads[i].at, i
		}
	}
	for i := range r.loads {
		if !r.loads[i].positive || i != own && !r.covers(i, own, at) {
			continue
		}
		j.recalled(run, r, i)
	}
}

// covers says whether the positive load i covers a load at a moment (own: its
// place among the read ones, -1 for one without a result).
func (r *readLoads) covers(i, own int, at time.Time) bool {
	before, after := r.around(i)
	if own >= 0 {
		return own > before && own < after
	}
	return (before < 0 || at.After(r.loads[before].at)) && (after == len(r.loads) || at.Before(r.loads[after].at))
}

// around returns the last negative load before i and the first after it.
func (r *readLoads) around(i int) (before, after int) {
	before, after = i-1, i+1
	for before >= 0 && r.loads[before].positive {
		before--
	}
	for after < len(r.loads) && r.loads[after].positive {
		after++
	}
	return before, after
}

func (j *judgement) recalled(run *item, r *readLoads, i int) {
	p := &r.loads[i]
	shown := append([]*item{run}, p.shown...)
	// By DESIGN a step is judged by the policy in force when it was observed;
	// the step is the sterilization.
	policy := j.w.policyAt(run)
	sev, why := SeverityBroken, func(sentences) string { return "" }
	if policy.Recall == events.RecallRepeat {
		sev, why = r.repeat(i, &shown)
	}
	before, after := r.around(i)
	var from, to time.Time
	if before >= 0 {
		from = r.loads[before].at
		shown = append(shown, r.loads[before].shown...)
	}
	to = p.at
	if after < len(r.loads) {
		to = r.loads[after].at
		shown = append(shown, r.loads[after].shown...)
	}
	f := j.add(LoadRecalled, sev, func(in sentences) Text {
		return Text{in.sayRecalled(j.c.key, run, p, sev, why(in), from), in.nextRecalled(sev, len(j.c.opened) > 0)}
	}, shown...)
	f.From, f.To = from, to
}

// repeat applies CDC 2008, Table 12: one positive makes doubtful; a further
// one among the three repeated cycles recalls; three negatives settle it.
func (r *readLoads) repeat(i int, shown *[]*item) (Severity, func(sentences) string) {
	end := min(i+repeats, len(r.loads)-1)
	for k := i + 1; k <= end; k++ {
		if r.loads[k].positive {
			*shown = append(*shown, r.loads[k].shown...)
			return SeverityBroken, func(in sentences) string { return in.sayRepeatPositive(&r.loads[k]) }
		}
	}
	for k := max(i-repeats, 0); k < i; k++ {
		if r.loads[k].positive {
			*shown = append(*shown, r.loads[k].shown...)
			return SeverityBroken, func(in sentences) string { return in.sayRepeatOf(&r.loads[k]) }
		}
	}
	if end-i == repeats {
		for k := i + 1; k <= end; k++ {
			*shown = append(*shown, r.loads[k].shown...)
		}
		return SeverityNoted, sentences.sayRepeatsNegative
	}
	return SeverityDoubtful, func(in sentences) string { return in.sayRepeatsAwaited(end - i) }
}

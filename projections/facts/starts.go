package facts

import (
	"slices"
	"sort"
	"time"

	"listbound/events"
)

// A load is started once, and its records, often a hundred, normally agree on when. So only one record of each start is
// looked at until two of them differ.

// oneRun is how far apart two records of one load can be. What is further apart is another load of the same name, where a
// site numbers its loads anew each day. Common practice, no source.
const oneRun = 24 * time.Hour

// startsDiffer reports whether records of a load ever said different things of when one run was started or of its number,
// void ones and what corrections said included.
func (b *Book) startsDiffer(load string) bool {
	b.need(DimStarts, load)
	said := make(map[string]*events.SetSterilized)
	for _, it := range b.loads[load] {
		for _, data := range append([]events.Data{it.Event.Data}, it.alts...) {
			d, ok := data.(*events.SetSterilized)
			if !ok || d.Load != load {
				continue
			}
			o := said[d.Sterilizer]
			if o != nil && saysOther(d, o) {
				return true
			}
			if o == nil || o.Started == "" {
				said[d.Sterilizer] = d
			}
		}
	}
	return false
}

func saysOther(d, o *events.SetSterilized) bool {
	return d.Run != o.Run || d.Started != "" && o.Started != "" && d.Started != o.Started
}

// startsOf returns the records in force of a load, in order; none where nothing contradicts.
func (b *Book) startsOf(load string) []*Item {
	return b.starts.Get(b, load, func() (out []*Item) {
		if !b.startsDiffer(load) {
			return nil
		}
		b.need(DimLoad, load)
		for _, it := range b.loads[load] {
			if d := RunOf(it); d != nil && !it.Void && d.Load == load {
				out = append(out, it)
			}
		}
		slices.SortFunc(out, Compare)
		return out
	})
}

// OtherStart returns the first record of a run's load by which it was started at another time, or has another cycle number,
// nil for none. A load that is run again under its number once it has failed contradicts nothing.
func (b *Book) OtherStart(run *Item) *Item {
	all := b.startsOf(RunOf(run).Load)
	from := sort.Search(len(all), func(i int) bool { return !all[i].At().Before(run.At().Add(-oneRun)) })
	for _, it := range all[from:] {
		switch {
		case it.At().Sub(run.At()) > oneRun:
			return nil
		case b.startedApart(run, it):
			return it
		}
	}
	return nil
}

func (b *Book) startedApart(a, o *Item) bool {
	x, y := RunOf(a), RunOf(o)
	if x.Sterilizer != y.Sterilizer || !saysOther(x, y) {
		return false
	}
	if x.Run == y.Run && x.StartedAt().Sub(y.StartedAt()).Abs() <= Seconds(b.PolicyFor(a).ClockToleranceSeconds) {
		return false
	}
	first, last := a, o
	if last.Less(first) {
		first, last = last, first
	}
	return RunOf(first).Result != "failed" || Began(last).Before(first.At())
}

// starts adds the sets of a load whose records disagree about when it was started. It adds nothing in the usual case, where
// they agree: otherwise each record of a load would have all of its sets judged anew.
func (t *toucher) starts(load string, it *Item) {
	if t.b.startsDiffer(load) {
		t.setsOf(load, it)
	}
}

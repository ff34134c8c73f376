package facts

import (
	"slices"
	"sort"
	"time"

	"listbound/events"
)

// One sterilizer runs one load at a time. Of the loads of a day one record of each start is looked at, as in starts.go.

// shortestRun is less than any run with sets takes. No record gives the end of a run: its result is recorded whenever
// somebody comes by. Common practice, no source.
const shortestRun = 10 * time.Minute

// BegunOn is the sterilizer's day on which a run was started, "" where that isn't recorded.
func BegunOn(d *events.SetSterilized) string {
	if at := d.StartedAt(); !at.IsZero() {
		return begunOn(d.Sterilizer, at)
	}
	return ""
}

func begunOn(sterilizer string, at time.Time) string {
	return sterilizer + " " + at.UTC().Format(time.DateOnly)
}

// startedNear returns the loads that any record, corrected or not, says were started in a run's sterilizer while that run
// was certainly going on, sorted by name. There are rarely any.
func (b *Book) startedNear(d *events.SetSterilized, at *Item) (loads []string) {
	start := d.StartedAt()
	if start.IsZero() {
		return nil
	}
	within := shortestRun - Seconds(b.PolicyFor(at).ClockToleranceSeconds)
	days := []string{begunOn(d.Sterilizer, start.Add(-within)), begunOn(d.Sterilizer, start.Add(within))}
	for _, day := range slices.Compact(days) {
		b.need(DimBegun, day)
		for _, it := range b.begun[day] {
			for _, data := range append([]events.Data{it.Event.Data}, it.alts...) {
				o, ok := data.(*events.SetSterilized)
				if ok && o.Sterilizer == d.Sterilizer && o.Load != d.Load && o.StartedAt().Sub(start).Abs() < within {
					loads = append(loads, o.Load)
				}
			}
		}
	}
	slices.Sort(loads)
	return slices.Compact(loads)
}

// RunBeside returns the first record of another load whose run in the same sterilizer overlaps with this one, or nil. Failed
// runs are ignored: they may have been aborted, and no set relies on them.
func (b *Book) RunBeside(run *Item) *Item {
	d := RunOf(run)
	if d.Result == "failed" {
		return nil
	}
	within := shortestRun - Seconds(b.PolicyFor(run).ClockToleranceSeconds)
	for _, load := range b.startedNear(d, run) { // which has fetched all of them that say when they were started
		all := slices.Clone(b.loads[load])
		slices.SortFunc(all, Compare)
		from := sort.Search(len(all), func(i int) bool { return !all[i].At().Before(run.At().Add(-oneRun)) })
		for _, it := range all[from:] {
			o := RunOf(it)
			if !it.Void && o != nil && o.Load == load && o.Sterilizer == d.Sterilizer && o.Result != "failed" &&
				!o.StartedAt().IsZero() && o.StartedAt().Sub(d.StartedAt()).Abs() < within {
				return it
			}
		}
	}
	return nil
}

// besides adds the sets of the loads that overlap with a run, and those of the run's own load. It adds nothing in the
// usual case, where no loads overlap.
func (t *toucher) besides(d *events.SetSterilized, it *Item) {
	loads := t.b.startedNear(d, it)
	if len(loads) == 0 {
		return
	}
	for _, load := range append(loads, d.Load) {
		t.setsOf(load, it)
	}
}

// setsOf adds the sets of a load of which something was recorded within a run's time of a fact.
func (t *toucher) setsOf(load string, it *Item) {
	t.b.need(DimLoad, load)
	for _, x := range slices.Clone(t.b.loads[load]) {
		if x.At().Sub(it.At()).Abs() <= oneRun {
			t.trip(t.b.TripOfItem(x))
		}
	}
}

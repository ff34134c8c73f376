package events

import "time"

// Waits say how long what is to come next is waited for before it is found
// overdue, in hours. 0 is the default of a line, WaitsForever switches it off.
type Waits struct {
	// Run: from packing to a sterilizer run.
	Run int64 `json:"runHours,omitzero"`
	// Release: from a run that passed to its release.
	Release int64 `json:"releaseHours,omitzero"`
	// Indicator: from a run to the result of a biological indicator of its load.
	// Only a site with an indicator in every load asks for it.
	Indicator int64 `json:"indicatorHours,omitzero"`
	// Seen: from one sighting of a released set to the next, while it lies unopened.
	Seen int64 `json:"seenHours,omitzero"`
	// Count: from the opening of a set to its last count.
	Count int64 `json:"countHours,omitzero"`
	// Close: from the last opening or count of a case to its closing.
	Close int64 `json:"closeHours,omitzero"`
	// Loan: from the closing of the last case of a set that a supplier lends to its counting out, where it isn't said when
	// it is due.
	Loan int64 `json:"loanHours,omitzero"`
	// Station: from one record of a station to the next.
	Station int64 `json:"stationHours,omitzero"`
}

// WaitsForever in a line of Waits: nothing is overdue, however late. As hours it
// would be eleven years.
const WaitsForever = 99999

// DefaultWaits hold in each line that a policy leaves out. All are common
// practice, no source: 72 hours bridge a weekend, 12 the longest ordinary
// operation. Three are off. How long a set may lie is not a matter of time but of
// what happens to it (CDC 2008: event-related shelf life); of biological
// indicators CDC asks for one a week and one in each load with implants, not for
// one in each load; and a station may rest for weeks.
func DefaultWaits() Waits {
	return Waits{
		Run: 72, Release: 72, Indicator: WaitsForever, Seen: WaitsForever,
		Count: 12, Close: 12, Loan: 72, Station: WaitsForever,
	}
}

// Complete returns the waits with the default in each line that is left out.
func (w Waits) Complete() Waits {
	d := DefaultWaits()
	for i, line := range w.lines() {
		if *line == 0 {
			*line = *d.lines()[i]
		}
	}
	return w
}

func (w *Waits) lines() []*int64 {
	return []*int64{&w.Run, &w.Release, &w.Indicator, &w.Seen, &w.Count, &w.Close, &w.Loan, &w.Station}
}

func (w *Waits) check(c *checks) {
	for i, name := range []string{"run", "release", "indicator", "seen", "count", "close", "loan", "station"} {
		c.inRange("waits: "+name+"Hours", *w.lines()[i], 0, WaitsForever)
	}
}

// Overdue returns when what a line of complete Waits waits for is overdue, and
// false where it never is.
func Overdue(since time.Time, hours int64) (time.Time, bool) {
	return since.Add(time.Duration(hours) * time.Hour), hours != WaitsForever
}

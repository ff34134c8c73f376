// Package simulate is a hospital whose truth is known. Trays, sheets and labels
// are things that lie somewhere at every moment; people exchange, lose and mix
// them up; other people scan some of what they do and read some of what they
// could read. What comes out is what the stations observed, in the order in
// which it arrived, and beside it what really happened.
//
// # What is true
//
// A set's tray stays at one place after the other ([Trip.Stays]): a packing
// bench, a sterilizer's load, shelves, a cart, a room, and trolleys in between
// that nobody scans. Its sheet and its label are things of their own ([Sheet],
// [Label]) that begin with it and are moved by faults only ([Move]): two sets'
// sheets change places, those of three to five go round, X and Y exchange and
// then Y and Z, a sheet is lost, or altered, or one of an earlier packing lies in
// its place, two labels are exchanged, or label and sheet together. Inside a set
// a sheet can be exchanged only at the bench; in a holder, until the set is
// opened. Pieces lie in the neighbour's tray, are missing since packing, are
// counted wrong. Some cases are never closed, some sets are used twice; some are
// too heavy, wet, without an indicator inside, or were looked over by nobody else;
// some are put aside and used all the same, some
// packed anew while their load runs, or closed again after it; some loads with implants are opened
// before their biological indicator is read. After a case a set is washed, with sets of other cases; pieces are
// lost on that way, stay in the washer, go to repair or turn up later.
//
// # What is observed
//
// Packing, sealing, sterilizing, opening and counting are always recorded, moves
// to a shelf or a cart with a probability. Whoever scans reads the label for the
// name of the set, so that the record of a mislabelled tray is about the other
// set. A sheet in its holder can be read at every scan after sterilizing, one
// inside at the opening only, and each look reads it with a probability; so is
// the tag on the tray, at the opening. Every station has a clock of its own, and
// some are offline for a day and hand in the next morning.
//
// # Use
//
// A week stands by itself and depends on nothing but the [Config] and its number,
// so that weeks can be made side by side, in any order, and a run over years
// holds one at a time:
//
//	c := simulate.Drill()
//	lists := c.Setup()
//	for n := range 200 {
//		week := c.Week(n) // week.Records, week.Trips
//	}
//
// Nothing here knows how a record is judged.
package simulate

import (
	"fmt"
	"time"

	"listbound/events"
)

// Config describes a hospital, what goes wrong in it and how its people work.
type Config struct {
	Seed  uint64
	Start time.Time // a Monday, midnight UTC
	Site  string
	Sets  int // the house has
	Cases int // in half a week; each takes its own sets, so that there are enough for as many as there are sets
	Rates Rates
	People
}

// Rates are how often something goes wrong.
type Rates struct {
	// Of each packed set, the chance that the fault begins with it.
	Swap     float64 // the sheets of two sets change places
	Ring     float64 // those of three to five go round
	Relay    float64 // X and Y exchange, then Y and Z
	Carried  float64 // the same, Y and Z at another place, where X is not
	SwapLost float64 // the sheet of one lies on the other, whose own is lost
	Lost     float64
	Altered  float64 // printed with other content
	Stale    float64 // the sheet of the packing before lies in its place
	Labels   float64 // the labels of two sets change places
	Holders  float64 // label and sheet together
	Short    float64 // packed with a piece missing
	Twice    float64 // used for a second case without being reprocessed

	// Of each packed set too, whatever else happens to it.
	Heavy float64 // packed too heavy
	Wet   float64 // wet when it is opened
	Bare  float64 // without a chemical indicator inside
	// Alone: nobody but who packed it looked it over, of the lists that ask for it.
	Alone float64
	// Of each set to which nothing else happens to sheet, label or pieces.
	Aside float64 // put aside before its case: half of them are released, the others used all the same

	// Of each set that is packed again in the week, after a case in which nothing else
	// happened to it: what became of a piece of it since the last count of the case.
	Gone    float64 // nobody knows
	Strayed float64 // it lies in another set of the case
	Repair  float64 // it was sent to repair, and the packing says so
	// The same, by reports of the piece.
	Reported float64 // it was sent to repair, and a report says so
	Replaced float64 // it was sent to repair, and another one laid in its place
	Missed   float64 // nobody knows, and it was missed when the set was washed
	Found    float64 // nobody knows when the set is packed, and it is found later
	Basket   float64 // it stayed in the washer, and went into a set of another case

	// Of each packed set that nothing happened to as to sheet, label or pieces.
	Anew   float64 // in the first half of a week: packed anew while its load ran, and left in the load's list
	InHand float64 // its sheet lies inside, and is read on the shelf
	Again  float64 // closed again after its run, with new locks or with the sheet inside; and as often a sheet only printed again

	// Of each bench, in the second half of a week: a piece goes into another set that is packed there.
	Mispacked float64

	// Of each load.
	Early float64 // opened before its biological indicator is read: late, never, or with a reason

	// Of each case.
	Misplaced float64 // a piece ends in the neighbour's tray
	Miscount  float64 // the first count is wrong, the final one right
	Omitted   float64 // a line is left out of a final count
	Unclosed  float64
}

// People is how people scan, read and hand in.
type People struct {
	Read     float64       // chance that a look reads the sheet
	Tag      float64       // chance that an opening reads the tag on the tray
	Scan     float64       // chance that a move to a shelf or cart is scanned
	PutRight float64       // chance that a wrong sheet read in time is put right at once
	Clock    time.Duration // by which a station's clock is wrong at most
	Offline  float64       // chance that a station is offline for a day
}

// Published returns the hospital of the published rates. What no paper measures
// is said.
func Published() Config {
	return Config{
		Seed: 1, Start: monday, Site: "north",
		// 21,000 operations a year (Saari, Navas, Nichol 2022, computed), 4.84 trays each
		// (Stockert, Langerman 2014): 202 cases and 977 sets in half a week.
		Sets: 1100, Cases: 202,
		Rates: Rates{
			// Of lists exchanged between sets nobody has published a rate. The nearest is
			// "wrong tag", 8 of 33,839 packages (Zhu 2019), which is taken for labels, for
			// sheets and for both together; the rest in proportion, common practice, no source.
			Swap: 0.000236, Ring: 0.00002, Relay: 0.00002, Carried: 0.00002, SwapLost: 0.00005,
			Lost: 0.000236, Altered: 0.00005, Stale: 0.0001, Labels: 0.000236, Holders: 0.000236,
			Short: 147.0 / 33839, // "missing" 77 and "incomplete" 70 (Zhu 2019)
			Twice: 0.00001,       // common practice, no source
			// 12.8 % of operations had a discrepancy: 59 % misplaced, 3 % miscounted,
			// 38 % documentation (Greenberg 2008).
			Misplaced: 0.128 * 0.59, Miscount: 0.128 * 0.03, Omitted: 0.128 * 0.38,
			// Of pieces missed at the assembly after a case nobody has published a rate. The
			// nearest is a package in which one is "missing", 77 of 33,839 (Zhu 2019).
			Gone: 77.0 / 33839, Strayed: 77.0 / 33839, Repair: 77.0 / 33839,
			Reported: 77.0 / 33839, Replaced: 77.0 / 33839, Missed: 77.0 / 33839, Found: 77.0 / 33839, Basket: 77.0 / 33839,
			Unclosed: 0.01, // common practice, no source
			// Of pieces that go into the set packed next to theirs nobody has published a rate. The nearest is that
			// 0.128 of operations have a discrepancy, most of them a piece misplaced (Greenberg 2008).
			Mispacked: 0.1,
			// Of packages, second looks, sets put aside and implants used early nobody has
			// published a rate: none here, and in the drill as many as show each often.
		},
		// Nobody has measured these for lists. Common practice, no source.
		People: People{
			Read: 0.75, Tag: 0.9, Scan: 0.8, PutRight: 0.5, Clock: 30 * time.Second, Offline: 0.02,
		},
	}
}

// Drill returns a small hospital in which everything goes wrong often, so that
// some hundred weeks show each fault some hundred times. Scans and clocks are at
// their worst: two moves in five unscanned, clocks off by up to a minute.
func Drill() Config {
	return Config{
		Seed: 1, Start: monday, Site: "north", Sets: 64, Cases: 12,
		Rates: Rates{
			Swap: 0.04, Ring: 0.015, Relay: 0.02, Carried: 0.04, SwapLost: 0.02, Lost: 0.02, Altered: 0.015, Stale: 0.02,
			Labels: 0.02, Holders: 0.02, Short: 0.01, Twice: 0.01,
			Heavy: 0.02, Wet: 0.02, Bare: 0.02, Alone: 0.1, Aside: 0.02, Early: 0.15,
			Anew: 0.03, InHand: 0.03, Again: 0.03, Gone: 0.04, Strayed: 0.04, Repair: 0.04,
			Reported: 0.04, Replaced: 0.04, Missed: 0.04, Found: 0.04, Basket: 0.08, Mispacked: 0.7,
			Misplaced: 0.08, Miscount: 0.02, Omitted: 0.05, Unclosed: 0.02,
		},
		People: People{Read: 0.5, Tag: 0.8, Scan: 0.6, PutRight: 0.5, Clock: time.Minute, Offline: 0.05},
	}
}

var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// Check refuses a hospital that can't be.
func (c *Config) Check() error {
	switch {
	case c.Cases < 1:
		return fmt.Errorf("%d cases; there is at least one", c.Cases)
	case c.Sets < 2:
		return fmt.Errorf("%d sets; there are at least two", c.Sets)
	case c.Start.Weekday() != time.Monday:
		return fmt.Errorf("the first day is a %s; it is a Monday", c.Start.Weekday())
	}
	return events.CheckStation(c.station("storage"))
}

// Record is one observation on its way into a ledger.
type Record struct {
	events.Observation
	// Event is what a ledger makes of it. A line names its trip where the station
	// knows it: the packing begins it, the seal commits to it.
	Event *events.Event
	// Recorded is when it arrived.
	Recorded time.Time
	// Look is what really lay there, nil where nothing was looked at.
	Look *Look
}

// Week is all that was observed of the sets packed in one week, in the order in
// which it arrived, and the truth.
type Week struct {
	Number  int
	Records []Record
	Trips   []*Trip
	Cases   []*Case
	Faults  []*Fault
	Sheets  []*Sheet // all there are
}

// On returns the sheet that lay with a tray at a moment, nil where none did.
func (w *Week) On(t *Trip, at time.Time) *Sheet {
	for _, s := range w.Sheets {
		if m := LastMove(s.Moves, at); m != nil && m.To == t {
			return s
		}
	}
	return nil
}

// Setup returns what is recorded once, before the first week: the lists, and the
// policy, which asks for a second look at the sets of one of them.
func (c *Config) Setup() []Record {
	policy := &events.PolicyAdopted{Policy: events.DefaultPolicy()}
	policy.SecondLook = []string{listOf(lookedOver).List}
	data := []events.Data{policy}
	for i := range lists {
		data = append(data, listOf(i))
	}
	var out []Record
	for i, d := range data {
		o := events.Observation{
			Station: c.station("packing-1"), Kind: d.Kind(), Operator: "B-1001",
			Time: c.Start.Add(-24*time.Hour + time.Duration(i)*time.Minute), Data: d,
		}
		e, err := eventOf(&o)
		if err != nil {
			panic(err) // what is set up is ours, and not random
		}
		e.StationSeq = int64(i + 1)
		out = append(out, Record{Observation: o, Event: e, Recorded: o.Time.Add(time.Second)})
	}
	return out
}

// Week makes a week, counted from 0.
func (c *Config) Week(n int) *Week {
	return newHouse(c, n).run()
}

func (c *Config) station(name string) string { return c.Site + "/" + name }

// eventOf returns the event that an observation is stored as, but for its
// number at the station and its signature.
func eventOf(o *events.Observation) (*events.Event, error) {
	id, err := o.ID()
	if err != nil {
		return nil, err
	}
	e := &events.Event{
		ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator, Data: o.Data,
	}
	if o.Kind == events.KindSetPacked && e.Trip == "" {
		e.Trip, err = o.NewTrip()
	}
	return e, err
}

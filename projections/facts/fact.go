package facts

import (
	"listbound/events"
	"strconv"
	"time"
)

// DimKey is one place under which a Source keeps a fact.
type DimKey struct {
	Dim Dim
	Key string
}

// Keys returns where a Source keeps an event whose data is d: the event's own,
// or what a correction puts in its place. Besides, a fact with a remark that is of
// no trip is kept under DimStation, and a correction with the event it corrects.
func Keys(e *events.Event, d events.Data) []DimKey {
	var out []DimKey
	add := func(dim Dim, key string) { out = append(out, DimKey{dim, key}) }
	k := e.Kind()
	add(DimEvent, e.ID)
	if e.Trip != "" && k.HoldsTrip() {
		add(DimTrip, e.Trip)
	}
	if k.AboutSet() && (e.Trip == "" || k == events.KindSetPacked) {
		add(DimSet, e.Subject)
	}
	if k == events.KindSetPacked {
		add(DimPackings, e.Subject)
		if e.Trip != "" {
			add(DimBench, benchKey(e.Station, e.Time))
		}
	}
	if ref := events.CaseOf(d); ref != "" {
		add(dimOfCase(d), ref)
	}
	switch d := d.(type) {
	case *events.ListSealed:
		for _, lock := range d.Seals {
			add(DimLock, lock)
		}
	case *events.SetSterilized:
		add(DimLoad, d.Load)
		add(DimStarts, d.Load)
		if day := BegunOn(d); day != "" {
			add(DimBegun, day)
		}
	case *events.SetReturned:
		if d.WasherLoad != "" {
			add(DimWash, d.WasherLoad)
		}
	case *events.IndicatorRead:
		add(DimSterilizer, d.Sterilizer)
		add(DimReadings, d.Sterilizer)
		add(DimLoadReadings, d.Load)
	case *events.RunLogged:
		add(DimRunLogs, d.Load)
	case *events.SterilizerTested:
		add(DimTests, TestsOn(d.Sterilizer, d.Day))
	case *events.ListIssued:
		add(DimList, d.List)
		add(DimVersion, versionKey(d.List, d.Version))
	case *events.PolicyAdopted, *events.RecordsLost, *events.RegistersAdopted:
		add(DimPolicy, (&Item{Fact: Fact{Event: e}}).site())
	}
	if key := events.EntryOf(d); key != "" {
		add(DimEntry, key)
	}
	if c := codeOf(d); c != nil && c.Trip != e.Trip {
		add(DimSheet, c.Trip)
	}
	if tag := TagOf(d); tag != "" && tag != e.Subject {
		add(DimSet, tag)
	}
	return out
}

// Fact is one event as the ledger keeps it.
type Fact struct {
	Seq      int64
	Recorded time.Time
	Remarks  events.Remark // what is wrong with the record itself
	Was      []Was         // what was wrong with it before others came; mostly nil
	Event    *events.Event
}

// Was is what was said of a record itself until another one came.
type Was struct {
	Until   time.Time // when that was recorded
	Remarks events.Remark
}

// RemarksAt returns what was wrong with the record as far as was known at a moment.
func (f *Fact) RemarksAt(t time.Time) events.Remark {
	for _, w := range f.Was {
		if w.Until.After(t) {
			return w.Remarks
		}
	}
	return f.Remarks
}

// Change returns the fact with other remarks, since a record that came at a
// moment.
func (f Fact) Change(r events.Remark, at time.Time) Fact {
	f.Was = append(f.Was[:len(f.Was):len(f.Was)], Was{at, f.Remarks})
	f.Remarks = r
	return f
}

// Dim is a way in which facts belong together. A Book asks its Source for the
// facts of one dimension and key when a judgement first needs them.
type Dim string

// The dimensions, and what Source.Facts returns for a key. In each case every
// event.corrected of a returned fact is returned as well, and every correction
// of those. A fact belongs under what its data names as observed and under
// what any correction ever made it name, also one that is void; void facts are
// returned too. Keys gives both.
const (
	DimTrip       Dim = "trip"       // all facts that carry this trip
	DimSet        Dim = "set"        // asked for by Around: set.packed facts of the set, its facts without a trip, others' with its tag
	DimPackings   Dim = "packings"   // of these, the set.packed facts of the set: asked, but never of a Source
	DimCase       Dim = "case"       // set.opened, set.counted and case.closed facts that name the case
	DimLoad       Dim = "load"       // set.sterilized facts of the load
	DimStarts     Dim = "starts"     // of these, one at least of each cycle number and start in each sterilizer, and all corrections
	DimBegun      Dim = "begun"      // set.sterilized facts of a sterilizer's day: one at least of each load and start, and all corrections
	DimLock       Dim = "lock"       // list.sealed facts with the number of a lock, the first dozen
	DimSterilizer Dim = "sterilizer" // indicator.read facts of the sterilizer; none where none of them is positive
	DimReadings   Dim = "readings"   // the same, also where none is positive
	DimList       Dim = "list"       // list.issued facts of the list
	DimVersion    Dim = "version"    // of these, the ones of one version: asked, but never of a Source
	DimSheet      Dim = "sheet"      // facts of other trips in which this trip's sheet code was read or counted against
	DimPolicy     Dim = "policy"     // policy.adopted, registers.adopted and records.lost facts of the site
	DimEntry      Dim = "entry"      // facts about the entry of a register, with access claimed by a badge
	DimStation    Dim = "station"    // facts of the station that carry a remark and are OfNoTrip
	DimEvent      Dim = "event"      // the fact with this event id

	DimLoadReadings Dim = "load readings" // indicator.read facts of the load
	DimWash         Dim = "wash"          // set.returned facts of the washer's load
	DimRunLogs      Dim = "run logs"      // run.logged facts of the load
	DimTests        Dim = "tests"         // sterilizer.tested facts of the sterilizer's day: "S1 2026-03-04"
	DimBench        Dim = "bench"         // set.packed facts of the station on the day: "north/packing-2 2026-03-02"
	DimSchedule     Dim = "schedule"      // case.scheduled facts of the case, which no verdict rests on

	// DimTime has no facts: what is asked is whether a moment has passed. What
	// passes is Passing, as a fact is what it is filed under.
	DimTime Dim = "time"
)

// Source finds facts. The read model is one; a book without a Source holds
// all facts there are.
type Source interface {
	Facts(dim Dim, key string) ([]Fact, error)
	// Around returns, with their corrections, the set's set.packed facts nearest
	// to a moment: the last n at or before it and the first n after it; and the
	// set's facts without a trip and the facts of other sets in which its tag was
	// read, from the first of these to the last, to the end
	// of all times on a side where there are fewer than n. A set is packed
	// thousands of times in its life, and a judgement looks at neighbours only.
	Around(set string, at time.Time, n int) ([]Fact, error)
}

// versionKey is the key of a list's version.
func versionKey(list string, version int64) string {
	return list + "@" + strconv.FormatInt(version, 10)
}

// packs reports whether a fact is a packing of a set. Among what Around returns are
// facts of other sets.
func packs(f Fact, set string) bool {
	e := f.Event
	return e != nil && e.Kind() == events.KindSetPacked && e.Trip != "" && e.Subject == set
}

// AsKnownAt returns a Source that knows only the facts recorded at or before a
// moment.
func AsKnownAt(src Source, t time.Time) Source { return asKnownAt{src, t} }

type asKnownAt struct {
	src Source
	t   time.Time
}

func (a asKnownAt) Facts(dim Dim, key string) ([]Fact, error) {
	facts, err := a.src.Facts(dim, key)
	out := make([]Fact, 0, len(facts))
	for _, f := range facts {
		if !f.Recorded.After(a.t) {
			out = append(out, a.then(f))
		}
	}
	return out, err
}

// then returns a fact as it was at the moment.
func (a asKnownAt) then(f Fact) Fact {
	f.Remarks, f.Was = f.RemarksAt(a.t), nil
	return f
}

// Around asks for more until as many are left as were wanted, or all were seen:
// what was recorded later may have taken their place.
func (a asKnownAt) Around(set string, at time.Time, n int) ([]Fact, error) {
	for m := n; ; m *= 2 {
		facts, err := a.src.Around(set, at, m)
		if err != nil {
			return nil, err
		}
		var all, left [2]int
		out := make([]Fact, 0, len(facts))
		for _, f := range facts {
			known := !f.Recorded.After(a.t)
			if known {
				out = append(out, a.then(f))
			}
			if packs(f, set) {
				side := 0
				if f.Event.Time.After(at) {
					side = 1
				}
				all[side]++
				if known {
					left[side]++
				}
			}
		}
		if (all[0] < m || left[0] >= n) && (all[1] < m || left[1] >= n) {
			return out, nil
		}
	}
}

// OfNoTrip reports whether what is wrong with a record is told of its station: of any other it is told of the trip. Of a station whose
// clock is wrong that is nearly all, and each has a remark.
func OfNoTrip(e *events.Event) bool {
	k := e.Kind()
	return !k.AboutSet() && (e.Trip == "" || !k.HoldsTrip())
}

package facts

import (
	"listbound/events"
	"listbound/projections"
	"reflect"
	"slices"
	"time"
)

// Book holds facts, with their corrections applied, by everything they are
// looked up by. With a Source it fetches the facts a judgement needs when it
// first needs them; without one it holds all there are. It is not safe for
// concurrent use.
type Book struct {
	src      Source
	have     map[dimKey]struct{} // asked of src already
	err      error               // the first error of src in the current call
	near     map[string][]gap    // by set, the gaps between packings around which they were asked for
	fetching bool                // facts are coming from src
	Least    int                 // packings Around is asked for at first; a test asks for fewer
	Gen      uint64              // incremented by Add; invalidates what was derived

	seqs  itemsBySeq
	ids   itemsByID          // of several with one event id the lowest sequence
	twins map[string][]*Item // further facts with an id already taken
	fixes map[string][]*Item // event.corrected, by the event corrected

	trips    map[string]*tripIndex
	sets     map[string]*setIndex
	cases    map[string][]*Item
	loads    map[string][]*Item // set.sterilized
	reads    map[string][]*Item // indicator.read, by sterilizer
	lists    map[string][]*Item // list.issued
	policies map[string]*bag
	entries  map[string][]*Item // of registers, by entry
	stations map[string][]*Item // facts with a remark
	remarked map[int64]Fact     // those whose remarks changed since they came, as they are now
	readOf   map[string][]*Item // indicator.read, by load
	washes   map[string][]*Item // set.returned, by the washer's load
	logs     map[string][]*Item // run.logged, by load
	tests    map[string][]*Item // sterilizer.tested, by sterilizer and day
	plans    map[string][]*Item // case.scheduled, by case
	benches  map[string][]*Item // set.packed with a trip, by station and day

	now  time.Time // see SetMoment
	gone *Gone     // nil where no fact was let go

	chains  Cache[projections.TripKey, *Trip]
	recalls Cache[string, *ReadLoads]
	unsaid  Cache[string, []*Item]  // by sterilizer
	starts  Cache[string, []*Item]  // by load
	begun   map[string][]*Item      // set.sterilized, by the sterilizer's day on which they were started
	locks   map[string][]*Item      // list.sealed, by the number of a lock
	digests map[*Item]events.Digest // of lists as issued, which no fact changes
	log     *askLog                 // of what is being judged, nil when nothing is
}

// gap is the time from one packing of a set to the next, in nanoseconds: the
// neighbours of all its moments are the same.
type gap struct{ from, to int64 }

type dimKey struct {
	dim Dim
	key string
}

// bag is a slice sorted when it is read. Facts mostly come in order, and then
// nothing is sorted at all.
type bag struct {
	items []*Item
	mixed bool
}

func (b *bag) add(it *Item) {
	if n := len(b.items); n > 0 && it.Less(b.items[n-1]) {
		b.mixed = true
	}
	b.items = append(b.items, it)
}

func (b *bag) sorted() []*Item {
	if b == nil {
		return nil
	}
	if b.mixed {
		slices.SortFunc(b.items, Compare)
		b.mixed = false
	}
	return b.items
}

type tripIndex struct {
	items []*Item // facts that carry the trip
	sheet []*Item // facts in which the trip's sheet code was read or counted against
	text  string  // the code parsed last
	code  *events.SheetCode
}

// codeIn parses a code. Most codes read in a trip are one and the same, so the
// last one is kept.
func (t *tripIndex) codeIn(text string) *events.SheetCode {
	if text == "" {
		return nil
	}
	if text != t.text {
		t.text, t.code = text, parseCode(text)
	}
	return t.code
}

type setIndex struct {
	packs bag     // set.packed with a trip
	loose bag     // facts of the set without a trip
	trays []*Item // facts of other sets in which this one's tag was read on the tray
}

// NewBook returns an empty Book. With a nil Source every fact comes by Add.
func NewBook(src Source) *Book {
	b := &Book{
		src: src, Least: leastAround, twins: make(map[string][]*Item), fixes: make(map[string][]*Item),
		trips: make(map[string]*tripIndex), sets: make(map[string]*setIndex), cases: make(map[string][]*Item),
		loads: make(map[string][]*Item),
		reads: make(map[string][]*Item), lists: make(map[string][]*Item), policies: make(map[string]*bag),
		stations: make(map[string][]*Item), remarked: make(map[int64]Fact),
	}
	if src != nil {
		b.have, b.near = make(map[dimKey]struct{}), make(map[string][]gap)
	}
	b.digests, b.readOf = make(map[*Item]events.Digest), make(map[string][]*Item)
	b.entries = make(map[string][]*Item)
	b.washes = make(map[string][]*Item)
	b.logs = make(map[string][]*Item)
	b.begun, b.locks = make(map[string][]*Item), make(map[string][]*Item)
	b.tests = make(map[string][]*Item)
	b.plans = make(map[string][]*Item)
	b.benches = make(map[string][]*Item)
	return b
}

// Beside returns a book of the same facts that may be asked on another goroutine
// while this one is, as long as nothing is added to any of them. Only a book
// without a Source has such books: one with a Source adds what it is asked for.
func (b *Book) Beside() *Book {
	for _, s := range b.sets {
		s.packs.sorted()
		s.loose.sorted()
	}
	for _, p := range b.policies {
		p.sorted()
	}
	c := *b
	c.log, c.err = nil, nil
	c.chains, c.recalls = Cache[projections.TripKey, *Trip]{}, Cache[string, *ReadLoads]{}
	c.unsaid, c.starts = Cache[string, []*Item]{}, Cache[string, []*Item]{}
	c.digests = make(map[*Item]events.Digest)
	return &c
}

// Len returns how many facts the book holds.
func (b *Book) Len() int { return b.seqs.n }

// Add takes a fact in. Facts may come in any order; one whose sequence is held
// already changes nothing.
func (b *Book) Add(f Fact) {
	if b.seqs.get(f.Seq) != nil {
		return
	}
	if now, ok := b.remarked[f.Seq]; ok {
		f.Remarks, f.Was = now.Remarks, now.Was
	}
	it := &Item{Fact: f}
	b.seqs.put(it)
	b.Gen++
	if f.Event == nil || f.Event.Data == nil { // bytes nobody can read as an event
		station := ""
		if f.Event != nil {
			station = f.Event.Station
		}
		b.stations[station] = append(b.stations[station], it)
		return
	}
	e := f.Event
	it.Kind, it.Data = e.Kind(), e.Data
	if f.Remarks != 0 {
		b.stations[e.Station] = append(b.stations[e.Station], it)
	}
	if e.Trip != "" && it.Kind.HoldsTrip() {
		t := b.trip(e.Trip)
		t.items = append(t.items, it)
		it.Code = t.codeIn(events.SheetCodeOf(it.Data))
	} else {
		it.Code = codeOf(it.Data)
	}
	if e.Trip == "" && it.Kind.AboutSet() {
		b.set(e.Subject).loose.add(it)
	} else if it.Kind == events.KindSetPacked {
		b.set(e.Subject).packs.add(it)
		bench := benchKey(e.Station, e.Time)
		b.benches[bench] = append(b.benches[bench], it)
	}
	b.file(it, it.Data, it.Code, false)
	b.register(it)
	if len(b.fixes[e.ID]) > 0 {
		b.applyCorrections(it)
	}
	if c, ok := it.Data.(*events.EventCorrected); ok {
		b.fixes[c.Event] = append(b.fixes[c.Event], it)
		b.applyToTarget(it)
		if !b.fetching {
			// A packing that is void from now on may have been one of the
			// neighbours that were enough: they are asked for again.
			clear(b.near)
		}
	}
}

// Confirm sets when a fact was recorded that had been added before it was. It reports whether the record is what was
// expected; if not, the book must not be used any more. A fact that the book does not hold is added.
func (b *Book) Confirm(f Fact) bool {
	it := b.seqs.get(f.Seq)
	if it == nil {
		b.Add(f)
		return true
	}
	if f.Remarks != it.Remarks || len(f.Was) > 0 || !reflect.DeepEqual(f.Event, it.Event) {
		return false
	}
	it.Recorded = f.Recorded
	b.Gen++
	return true
}

// Remark updates what is wrong with a record that was added before: a gap in its
// station's numbering has been filled, say. The Source may still return the old remarks.
func (b *Book) Remark(f Fact) {
	b.remarked[f.Seq] = f
	b.Gen++
	it := b.seqs.get(f.Seq)
	if it == nil {
		b.Add(f)
		return
	}
	it.Remarks, it.Was = f.Remarks, f.Was
	if s := b.stations[it.Event.Station]; !slices.Contains(s, it) {
		b.stations[it.Event.Station] = append(s, it)
	}
}

// register keeps the event's id. The ledger stores an observation once; should
// a record have been put into it a second time, the observation still counts
// once, while another event under the same id hides nothing. A copy that its
// station did not sign never stands for the record that it did.
func (b *Book) register(it *Item) {
	first := b.ids.put(it)
	if first == nil {
		return
	}
	b.twins[it.Event.ID] = append(b.twins[it.Event.ID], it)
	if it.countsBefore(first) {
		b.twins[it.Event.ID] = append(b.twins[it.Event.ID], first)
	} else {
		b.ids.put(first)
	}
	for _, t := range b.twins[it.Event.ID] {
		b.applyCorrections(t)
	}
	b.applyCorrections(b.ids.get(it.Event.ID))
}

// repeated reports whether a fact is the same observation as one that counts before it.
func (b *Book) repeated(it *Item) bool {
	twins := b.twins[it.Event.ID]
	if len(twins) == 0 {
		return false
	}
	same := func(o *Item) bool {
		a, b := it.Event, o.Event
		return o.countsBefore(it) && a.Station == b.Station && a.Subject == b.Subject && a.Trip == b.Trip &&
			a.Time.Equal(b.Time) && reflect.DeepEqual(a.Data, b.Data)
	}
	return same(b.ids.get(it.Event.ID)) || slices.ContainsFunc(twins, same)
}

func (b *Book) trip(id string) *tripIndex {
	t := b.trips[id]
	if t == nil {
		t = new(tripIndex)
		b.trips[id] = t
	}
	return t
}

func (b *Book) set(id string) *setIndex {
	s := b.sets[id]
	if s == nil {
		s = new(setIndex)
		b.sets[id] = s
	}
	return s
}

// file enters an item under what its data names. Data put in place by a
// correction is entered as well, never instead: whoever reads an index looks
// at the data in force.
func (b *Book) file(it *Item, d events.Data, code *events.SheetCode, once bool) {
	put := func(m map[string][]*Item, key string) {
		if !once || !slices.Contains(m[key], it) {
			m[key] = append(m[key], it)
		}
	}
	if ref := events.CaseOf(d); ref != "" && dimOfCase(d) == DimCase {
		put(b.cases, ref)
	}
	if tag := TagOf(d); tag != "" && tag != it.Event.Subject {
		if s := b.set(tag); !once || !slices.Contains(s.trays, it) {
			s.trays = append(s.trays, it)
		}
	}
	if key := events.EntryOf(d); key != "" {
		put(b.entries, key)
	}
	switch d := d.(type) {
	case *events.ListSealed:
		for _, lock := range d.Seals {
			put(b.locks, lock)
		}
	case *events.SetSterilized:
		put(b.loads, d.Load)
		if day := BegunOn(d); day != "" {
			put(b.begun, day)
		}
	case *events.IndicatorRead:
		put(b.reads, d.Sterilizer)
		put(b.readOf, d.Load)
	case *events.SetReturned:
		if d.WasherLoad != "" {
			put(b.washes, d.WasherLoad)
		}
	case *events.RunLogged:
		put(b.logs, d.Load)
	case *events.SterilizerTested:
		put(b.tests, TestsOn(d.Sterilizer, d.Day))
	case *events.CaseScheduled:
		put(b.plans, d.Case)
	case *events.ListIssued:
		put(b.lists, d.List)
	case *events.PolicyAdopted, *events.RecordsLost, *events.RegistersAdopted:
		if once { // the site is the event's own, so that it is there already
			break
		}
		adopted := b.policies[it.site()]
		if adopted == nil {
			adopted = new(bag)
			b.policies[it.site()] = adopted
		}
		adopted.add(it)
	}
	if code != nil && code.Trip != it.Event.Trip {
		t := b.trip(code.Trip)
		if !once || !slices.Contains(t.sheet, it) {
			t.sheet = append(t.sheet, it)
		}
	}
}

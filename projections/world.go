package projections

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"sort"
	"strings"
	"time"

	"listbound/events"
)

// World holds facts and judges them. With a Source it fetches the facts a
// judgement needs when it first needs them; without one it holds all there
// are. It is not safe for concurrent use.
type World struct {
	src      Source
	have     map[dimKey]struct{}  // asked of src already
	err      error                // the first error of src in the current call
	near     map[nearKey]struct{} // moments around which a set's packings were asked for
	fetching bool                 // facts are coming from src
	least    int                  // packings Around is asked for at first; a test asks for fewer
	gen      uint64               // grows with every fact, so that what was derived is known to be old

	seqs  map[int64]*item
	ids   map[string]*item   // by event id; of several the lowest sequence
	twins map[string][]*item // further facts with an id already taken
	fixes map[string][]*item // event.corrected, by the event corrected

	trips    map[string]*tripIndex
	sets     map[string]*setIndex
	cases    map[string][]*item
	loads    map[string][]*item // set.sterilized
	reads    map[string][]*item // indicator.read, by sterilizer
	lists    map[string][]*item // list.issued
	policies map[string]*bag
	stations map[string][]*item // facts with a remark

	// Only without a Source, for Affected: set.sterilized by sterilizer,
	// set.packed by list.
	runs  map[string][]*item
	packs map[string][]*item

	derived struct {
		gen     uint64
		chains  map[TripKey]*chain
		cases   map[string]*caseState
		recalls map[string]*readLoads
		lists   map[*item]events.Digest
	}
}

type nearKey struct {
	set string
	at  int64
}

type dimKey struct {
	dim Dim
	key string
}

// item is a fact with its corrections applied.
type item struct {
	Fact
	kind   events.Kind
	data   events.Data       // in force
	void   bool              // voided, or the same observation recorded a second time
	by     *item             // the correction in force
	unread []*item           // corrections that can't be read
	alts   []events.Data     // what corrections ever put in place of the data
	code   *events.SheetCode // of the sheet read or counted against, in force
}

// less is the order of judgement: observed time, then the station's own numbering, then id. Arrival plays no part.
func (a *item) less(b *item) bool { return compare(a, b) < 0 }

// compare puts what one station observed at the same moment in the order in
// which it recorded it; ids have their random bits from the content, and would
// let a badge number decide whether a piece was added before the final count.
func compare(a, b *item) int {
	if c := a.Event.Time.Compare(b.Event.Time); c != 0 {
		return c // as a rule; this is asked for all facts
	}
	return cmp.Or(
		strings.Compare(a.Event.Station, b.Event.Station),
		cmp.Compare(a.Event.StationSeq, b.Event.StationSeq),
		strings.Compare(a.Event.ID, b.Event.ID),
		cmp.Compare(a.Seq, b.Seq))
}

func (a *item) at() time.Time { return a.Event.Time }

func (a *item) site() string {
	site, _, _ := strings.Cut(a.Event.Station, "/")
	return site
}

// bag is a slice sorted when it is read. Facts mostly come in order, and then
// nothing is sorted at all.
type bag struct {
	items []*item
	mixed bool
}

func (b *bag) add(it *item) {
	if n := len(b.items); n > 0 && it.less(b.items[n-1]) {
		b.mixed = true
	}
	b.items = append(b.items, it)
}

func (b *bag) sorted() []*item {
	if b == nil {
		return nil
	}
	if b.mixed {
		slices.SortFunc(b.items, compare)
		b.mixed = false
	}
	return b.items
}

type tripIndex struct {
	items []*item // facts that carry the trip
	sheet []*item // facts in which the trip's sheet code was read or counted against
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
	loose []*item // facts of the set without a trip
}

// NewWorld returns an empty World. With a nil Source every fact comes by Add.
func NewWorld(src Source) *World {
	w := &World{
		src: src, least: leastAround, seqs: make(map[int64]*item), ids: make(map[string]*item), twins: make(map[string][]*item), fixes: make(map[string][]*item),
		trips: make(map[string]*tripIndex), sets: make(map[string]*setIndex), cases: make(map[string][]*item), loads: make(map[string][]*item),
		reads: make(map[string][]*item), lists: make(map[string][]*item), policies: make(map[string]*bag), stations: make(map[string][]*item),
	}
	if src != nil {
		w.have, w.near = make(map[dimKey]struct{}), make(map[nearKey]struct{})
	} else {
		w.runs, w.packs = make(map[string][]*item), make(map[string][]*item)
	}
	w.derived.lists = make(map[*item]events.Digest)
	return w
}

// Len returns how many facts the World holds.
func (w *World) Len() int { return len(w.seqs) }

// Add takes a fact in. Facts may come in any order; one whose sequence is held
// already changes nothing.
func (w *World) Add(f Fact) {
	if _, ok := w.seqs[f.Seq]; ok {
		return
	}
	it := &item{Fact: f}
	w.seqs[f.Seq] = it
	w.gen++
	if f.Event == nil || f.Event.Data == nil { // bytes nobody can read as an event
		station := ""
		if f.Event != nil {
			station = f.Event.Station
		}
		w.stations[station] = append(w.stations[station], it)
		return
	}
	e := f.Event
	it.kind, it.data = e.Kind(), e.Data
	if f.Remarks != 0 {
		w.stations[e.Station] = append(w.stations[e.Station], it)
	}
	if e.Trip != "" && tripped(it.kind) {
		t := w.trip(e.Trip)
		t.items = append(t.items, it)
		it.code = t.codeIn(codeText(it.data))
	} else {
		it.code = codeOf(it.data)
	}
	if e.Trip == "" && ofSet(it.kind) {
		s := w.set(e.Subject)
		s.loose = append(s.loose, it)
	} else if it.kind == events.KindSetPacked {
		w.set(e.Subject).packs.add(it)
	}
	w.file(it, it.data, it.code, false)
	w.register(it)
	if len(w.fixes) > 0 {
		if _, ok := w.fixes[e.ID]; ok {
			w.settle(it)
		}
	}
	if c, ok := it.data.(*events.EventCorrected); ok {
		w.fixes[c.Event] = append(w.fixes[c.Event], it)
		w.settleTarget(it)
		if !w.fetching {
			// A packing that is void from now on may have been one of the
			// neighbours that were enough: they are asked for again.
			clear(w.near)
		}
	}
}

// register keeps the event's id. The ledger stores an observation once; should
// a record have been put into it a second time, the observation still counts
// once, while another event under the same id hides nothing.
func (w *World) register(it *item) {
	first, ok := w.ids[it.Event.ID]
	if !ok {
		w.ids[it.Event.ID] = it
		return
	}
	w.twins[it.Event.ID] = append(w.twins[it.Event.ID], it)
	if it.Seq < first.Seq {
		w.ids[it.Event.ID] = it
		w.twins[it.Event.ID] = append(w.twins[it.Event.ID], first)
	}
	for _, t := range w.twins[it.Event.ID] {
		w.settle(t)
	}
	w.settle(w.ids[it.Event.ID])
}

// again says whether a fact is the same observation as one with a lower sequence.
func (w *World) again(it *item) bool {
	if len(w.twins) == 0 {
		return false
	}
	twins := w.twins[it.Event.ID]
	if len(twins) == 0 {
		return false
	}
	same := func(o *item) bool {
		a, b := it.Event, o.Event
		return o.Seq < it.Seq && a.Station == b.Station && a.Subject == b.Subject && a.Trip == b.Trip && a.Time.Equal(b.Time) && reflect.DeepEqual(a.Data, b.Data)
	}
	return same(w.ids[it.Event.ID]) || slices.ContainsFunc(twins, same)
}

func (w *World) trip(id string) *tripIndex {
	t := w.trips[id]
	if t == nil {
		t = new(tripIndex)
		w.trips[id] = t
	}
	return t
}

func (w *World) set(id string) *setIndex {
	s := w.sets[id]
	if s == nil {
		s = new(setIndex)
		w.sets[id] = s
	}
	return s
}

// file enters an item under what its data names. Data put in place by a
// correction is entered as well, never instead: whoever reads an index looks
// at the data in force.
func (w *World) file(it *item, d events.Data, code *events.SheetCode, once bool) {
	put := func(m map[string][]*item, key string) {
		if !once || !slices.Contains(m[key], it) {
			m[key] = append(m[key], it)
		}
	}
	switch d := d.(type) {
	case *events.SetPacked:
		if w.src == nil {
			put(w.packs, d.List)
		}
	case *events.SetSterilized:
		put(w.loads, d.Load)
		if w.src == nil {
			put(w.runs, d.Sterilizer)
		}
	case *events.SetOpened:
		put(w.cases, d.Case)
	case *events.SetCounted:
		put(w.cases, d.Case)
	case *events.CaseClosed:
		put(w.cases, d.Case)
	case *events.IndicatorRead:
		put(w.reads, d.Sterilizer)
	case *events.ListIssued:
		put(w.lists, d.List)
	case *events.PolicyAdopted:
		b := w.policies[it.site()]
		if b == nil {
			b = new(bag)
			w.policies[it.site()] = b
		}
		if !once || !slices.Contains(b.items, it) {
			b.add(it)
		}
	}
	if code != nil && code.Trip != it.Event.Trip {
		t := w.trip(code.Trip)
		if !once || !slices.Contains(t.sheet, it) {
			t.sheet = append(t.sheet, it)
		}
	}
}

// codeOf returns the sheet code in data, nil where there is none to read.
func codeOf(d events.Data) *events.SheetCode { return parseCode(codeText(d)) }

func codeText(d events.Data) (s string) {
	switch d := d.(type) {
	case *events.SetChecked:
		if d.Sheet != nil {
			s = d.Sheet.Code
		}
	case *events.SetOpened:
		if d.Sheet != nil {
			s = d.Sheet.Code
		}
	case *events.SetCounted:
		if d.Sheet != events.SheetScreen {
			s = d.Sheet
		}
	}
	return s
}

func parseCode(s string) *events.SheetCode {
	if s == "" {
		return nil
	}
	c, err := events.ParseSheetCode(s)
	if err != nil {
		return nil
	}
	return &c
}

// ofSet says whether events of a kind are about one set, their subject.
func ofSet(k events.Kind) bool {
	switch k {
	case events.KindSetPacked, events.KindListSealed, events.KindSetSterilized, events.KindSetOpened, events.KindSetCounted,
		events.KindSetChecked, events.KindFindingAcknowledged:
		return true
	}
	return false
}

// tripped says whether a trip in an event of this kind makes it one of the
// trip's. An unknown kind with a trip belongs to it: it may be one of its links.
func tripped(k events.Kind) bool {
	return ofSet(k) || k == events.KindEventCorrected || k == ""
}

// need fetches the facts of a dimension and key, once.
func (w *World) need(dim Dim, key string) {
	if w.src == nil || w.err != nil || key == "" && dim != DimStation {
		return
	}
	k := dimKey{dim, key}
	if _, ok := w.have[k]; ok {
		return
	}
	facts, err := w.src.Facts(dim, key)
	if err != nil {
		w.err = fmt.Errorf("fetching what is known of %s %s: %w", dim, key, err)
		return
	}
	w.have[k] = struct{}{}
	w.fetching = true
	defer func() { w.fetching = false }()
	for _, f := range facts {
		w.Add(f)
	}
}

// leastAround is how many packings Around is asked for at first, and
// wantAround how many different trips in force it must show on a side.
const (
	leastAround = 3
	wantAround  = 3
)

// around fetches the set's packings near a moment, once. It asks for more until
// it has seen enough trips on each side, or all there are: packings can be void,
// or repeat a trip.
func (w *World) around(set string, at time.Time) {
	if w.src == nil || set == "" || w.err != nil {
		return
	}
	k := nearKey{set, at.UnixNano()}
	if _, ok := w.near[k]; ok {
		return
	}
	w.fetching = true
	defer func() { w.fetching = false }()
	for n := w.least; ; n *= 2 {
		facts, err := w.src.Around(set, at, n)
		if err != nil {
			w.err = fmt.Errorf("fetching what is known of set %s: %w", set, err)
			return
		}
		for _, f := range facts {
			w.Add(f)
		}
		if w.enough(facts, at, n) {
			break
		}
	}
	w.near[k] = struct{}{}
}

func (w *World) enough(facts []Fact, at time.Time, n int) bool {
	var packs [2]int
	var trips [2]map[string]bool
	for _, f := range facts {
		if f.Event == nil || f.Event.Kind() != events.KindSetPacked || f.Event.Trip == "" {
			continue
		}
		side := 0
		if f.Event.Time.After(at) {
			side = 1
		}
		packs[side]++
		if it := w.seqs[f.Seq]; it != nil && !it.void {
			if trips[side] == nil {
				trips[side] = make(map[string]bool)
			}
			trips[side][f.Event.Trip] = true
		}
	}
	for side := range packs {
		if packs[side] >= n && len(trips[side]) < wantAround {
			return false
		}
	}
	return true
}

// failed ends a call: it returns the Source's error and forgets it.
func (w *World) failed() error {
	err := w.err
	w.err = nil
	if err != nil {
		w.gen++ // what was derived from half the facts
	}
	return err
}

// Resolve returns the trip of a fact: its own, or for a fact without one the
// set's trip packed last at or before its time, else the set's facts before
// any packing. A correction without a trip is where the corrected event is.
// The zero TripKey is returned for what belongs to no trip.
func (w *World) Resolve(f Fact) TripKey {
	if f.Event == nil || f.Event.Data == nil {
		return TripKey{}
	}
	return w.resolve(f.Event, 0)
}

func (w *World) resolve(e *events.Event, depth int) TripKey {
	k := e.Kind()
	switch {
	case e.Trip != "" && tripped(k):
		return TripKey{e.Subject, e.Trip}
	case ofSet(k):
		w.around(e.Subject, e.Time)
		return TripKey{e.Subject, w.packedBefore(e.Subject, e.Time)}
	}
	if c, ok := e.Data.(*events.EventCorrected); ok && depth < maxFixDepth {
		w.need(DimEvent, c.Event)
		if t := w.ids[c.Event]; t != nil {
			return w.resolve(t.Event, depth+1)
		}
	}
	return TripKey{}
}

// packedBefore returns the trip that a set was packed for last at or before a moment.
func (w *World) packedBefore(set string, at time.Time) string {
	s := w.sets[set]
	if s == nil {
		return ""
	}
	packs := s.packs.sorted()
	after := sort.Search(len(packs), func(i int) bool { return packs[i].at().After(at) })
	for i := after - 1; i >= 0; i-- {
		if p := packs[i]; !p.void {
			return p.Event.Trip
		}
	}
	return ""
}

// Trips returns the trips of all facts held, by set and trip.
func (w *World) Trips() []TripKey {
	seen := make(map[TripKey]struct{}, len(w.trips))
	for id, t := range w.trips {
		for _, it := range t.items {
			seen[TripKey{it.Event.Subject, id}] = struct{}{}
		}
	}
	for set, s := range w.sets {
		for _, it := range s.loose {
			seen[TripKey{set, w.packedBefore(set, it.at())}] = struct{}{}
		}
	}
	return sortedKeys(seen)
}

func sortedKeys(m map[TripKey]struct{}) []TripKey {
	out := make([]TripKey, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.SortFunc(out, compareKeys)
	return out
}

func compareKeys(a, b TripKey) int {
	if c := strings.Compare(a.Set, b.Set); c != 0 {
		return c
	}
	return strings.Compare(a.Trip, b.Trip)
}

// Case returns the trips that were opened or counted for a case.
func (w *World) Case(ref string) ([]TripKey, error) {
	out := w.caseTrips(ref)
	return out, w.failed()
}

func (w *World) caseTrips(ref string) []TripKey {
	w.need(DimCase, ref)
	seen := make(map[TripKey]struct{})
	for _, it := range slices.Clone(w.cases[ref]) {
		if !it.void && it.kind != events.KindCaseClosed && caseOf(it.data) == ref {
			seen[w.resolve(it.Event, 0)] = struct{}{}
		}
	}
	return sortedKeys(seen)
}

// caseOf returns the case that data names.
func caseOf(d events.Data) string {
	switch d := d.(type) {
	case *events.SetOpened:
		return d.Case
	case *events.SetCounted:
		return d.Case
	case *events.CaseClosed:
		return d.Case
	}
	return ""
}

// policyAt returns the policy in force at a site at a moment.
func (w *World) policyAt(it *item) *events.Policy {
	return w.policy(it.site(), it.at())
}

var defaultPolicy = events.DefaultPolicy()

func (w *World) policy(site string, at time.Time) *events.Policy {
	p, _ := w.policyFact(site, at)
	return p
}

// policyFact also returns the fact that adopted the policy, nil for the default.
func (w *World) policyFact(site string, at time.Time) (*events.Policy, *item) {
	w.need(DimPolicy, site)
	ps := w.policies[site].sorted()
	for i := len(ps) - 1; i >= 0; i-- {
		if ps[i].void || ps[i].at().After(at) {
			continue
		}
		if d, ok := ps[i].data.(*events.PolicyAdopted); ok {
			return &d.Policy, ps[i]
		}
	}
	return &defaultPolicy, nil
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
			out = append(out, f)
		}
	}
	return out, err
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
				out = append(out, f)
			}
			if f.Event.Kind() == events.KindSetPacked && f.Event.Trip != "" {
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

func (a asKnownAt) Trips(dim Dim, key string, from, to time.Time) ([]TripKey, error) {
	return a.src.Trips(dim, key, from, to)
}

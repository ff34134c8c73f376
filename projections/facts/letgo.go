package facts

import (
	"hash/maphash"
	"maps"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
)

// A book without a Source holds all facts, which of a ledger of years is more than fits into a small machine. So one that is
// being filled can have turns judged early, once they have been still for a while, and let their facts go. What was judged
// early rests on what it asked; whoever fills the book looks whether a later fact is filed there (Late), and judges such turns
// again once it can ask for everything. So does it with a turn that asked for facts that had been let go (Recorded, without).
//
// While facts are gone nothing is said of recalls: the loads between two results reach through years, and there are few of
// them. Whoever fills the book judges again what the positive results touch.

// Gone is what a book knows of the facts that it let go, and of what was asked by verdicts that were made early.
type Gone struct {
	places map[uint64]gonePlace
	sets   map[string]goneOfSet
	judged map[projections.TripKey]bool // early, of those whose facts are held; true: nobody is likely to ask for it
	last   int64                        // the latest observation that was let go
	n      int                          // facts that were let go

	Afterwards int  // how many later packings of its set a turn that is judged early has; a test asks for fewer
	Bold       bool // in a test: of turns that were judged early all goes, whoever may ask for it
}

// gonePlace is of one dimension and key. It is known by a hash: where two have one, a turn is judged again without need.
type gonePlace struct {
	asked int64 // until when a verdict that was made early asks for facts, Ever for never
	gone  int64 // when the latest fact that was let go was observed, Ever for none
}

// goneOfSet is of what is asked of a set around a moment.
type goneOfSet struct {
	packs  int64 // when the latest packing that was let go was observed
	others int64 // the same of what was seen of the set without a trip, and of its tag
}

// Lets has the book let facts go from now on. What is derived of it from here on says nothing of recalls.
func (b *Book) Lets() *Gone {
	if b.gone == nil {
		b.gone = &Gone{places: make(map[uint64]gonePlace), sets: make(map[string]goneOfSet),
			judged: make(map[projections.TripKey]bool), last: Ever, Afterwards: afterwards}
		b.Gen++
	}
	return b.gone
}

// Len is how many facts were let go.
func (g *Gone) Len() int { return g.n }

var placeSeed = maphash.MakeSeed()

func placeOf(dim Dim, key string) uint64 {
	return maphash.Comparable(placeSeed, DimKey{dim, key})
}

func (g *Gone) at(p uint64) gonePlace {
	x, ok := g.places[p]
	if !ok {
		return gonePlace{Ever, Ever}
	}
	return x
}

// Judged notes a verdict that was made early, and what it asked.
func (g *Gone) Judged(k projections.TripKey, asks []Ask) {
	g.judged[k] = false
	for _, a := range asks {
		if a.Dim == DimTime {
			continue
		}
		p := placeOf(a.Dim, a.Key)
		x := g.at(p)
		x.asked = max(x.asked, a.To)
		g.places[p] = x
	}
}

// IsJudged reports whether a turn whose facts are held was judged early.
func (g *Gone) IsJudged(k projections.TripKey) bool {
	_, is := g.judged[k]
	return is
}

// asksLater reports whether a verdict that was made early asked for what is filed in a place at a moment.
func (g *Gone) asksLater(k DimKey, at int64) bool {
	x, ok := g.places[placeOf(k.Dim, k.Key)]
	return ok && at <= x.asked
}

// letGo notes a fact.
func (g *Gone) letGo(it *Item) {
	g.n++
	at := Nanos(it.At())
	g.last = max(g.last, at)
	for _, d := range append([]events.Data{it.Event.Data}, it.alts...) {
		for _, k := range Keys(it.Event, d) {
			switch k.Dim {
			case DimEvent:
				continue
			case DimSet, DimPackings:
				g.ofSet(k, it, at)
				continue
			}
			p := placeOf(k.Dim, k.Key)
			x := g.at(p)
			x.gone = max(x.gone, at)
			g.places[p] = x
		}
	}
}

func (g *Gone) ofSet(k DimKey, it *Item, at int64) {
	s, ok := g.sets[k.Key]
	if !ok {
		s = goneOfSet{Ever, Ever}
	}
	if it.Kind == events.KindSetPacked && it.Event.Trip != "" && it.Event.Subject == k.Key {
		s.packs = max(s.packs, at)
	} else {
		s.others = max(s.others, at)
	}
	g.sets[k.Key] = s
}

// Late reports whether a fact that was added can touch a turn that was judged early. It says yes too often rather than not.
func (b *Book) Late(f Fact) bool {
	it := b.seqs.get(f.Seq)
	if b.gone == nil || it != nil && (it.Event == nil || it.Event.Data == nil) {
		return false
	}
	return it == nil || b.late(it, 0)
}

func (b *Book) late(it *Item, depth int) bool {
	at := Nanos(it.At())
	if at <= b.gone.last { // its station kept it for long: another record of it may be among the gone
		return true
	}
	for _, d := range append([]events.Data{it.Event.Data}, it.alts...) {
		for _, k := range Keys(it.Event, d) {
			if k.Dim != DimSterilizer && k.Dim != DimReadings && b.gone.asksLater(k, at) {
				return true
			}
		}
		if c, ok := d.(*events.EventCorrected); ok {
			of := b.ids.get(c.Event)
			if of == nil || depth > maxFixDepth || b.late(of, depth+1) {
				return true
			}
		}
	}
	return false
}

// noteLack notes for what is being derived that facts it asks for are gone.
func (b *Book) noteLack() {
	if b.log != nil {
		b.log.lacks = true
	}
}

// needHeld is need where facts were let go. What is needed without being asked is noted beside the questions.
func (b *Book) needHeld(dim Dim, key string) {
	switch dim {
	case DimSterilizer, DimReadings:
		return // see above: nothing is said of recalls
	case DimLock, DimStarts, DimBegun, DimLoad:
		if b.log != nil {
			b.log.needs = append(b.log.needs, Ask{dim, key, Ever, After})
		}
	}
	if b.gone.at(placeOf(dim, key)).gone != Ever {
		b.noteLack()
	}
}

// aroundHeld is around where facts were let go: the packing at or before the moment and the one of the trip before it must be
// held, and what was seen since.
func (b *Book) aroundHeld(set string, at time.Time) {
	s, ok := b.gone.sets[set]
	if !ok {
		return
	}
	t := int64(Ever)
	if !at.IsZero() {
		t = Nanos(at)
	}
	if t <= s.others {
		b.noteLack()
		return
	}
	if s.packs == Ever {
		return
	}
	trip, n := "", 0
	if x := b.sets[set]; x != nil {
		for _, p := range slices.Backward(x.packs.sorted()) {
			if pt := Nanos(p.At()); pt > t || p.Void {
				continue
			} else if pt <= s.packs {
				break
			}
			if p.Event.Trip != trip {
				trip = p.Event.Trip
				if n++; n == 2 {
					return
				}
			}
		}
	}
	b.noteLack()
}

// turns are a set's, in the order of their packings.
func (b *Book) turnsOf(set string) (trips []string) {
	for _, p := range b.sets[set].packs.sorted() {
		if !slices.Contains(trips, p.Event.Trip) {
			trips = append(trips, p.Event.Trip)
		}
	}
	return trips
}

// afterwards is how many later packings of a set are waited for before a turn of it is judged early: its verdict can depend on
// the second one after it.
const afterwards = 2

// Still returns the turns that can be judged early: nothing of them was recorded after a record or observed after a moment, and
// their sets have been packed twice since.
func (b *Book) Still(seq int64, at time.Time) []projections.TripKey {
	var out []projections.TripKey
	for set, s := range b.sets {
		if own := (projections.TripKey{Set: set}); len(s.packs.items) == 0 && !b.gone.IsJudged(own) && goodsStill(s, seq, at) {
			out = append(out, own)
		}
		trips := b.turnsOf(set)
		for i := 0; i+b.gone.Afterwards < len(trips); i++ {
			k := projections.TripKey{Set: set, Trip: trips[i]}
			if !b.gone.IsJudged(k) && b.still(trips[i], seq, at) && b.still(trips[min(i+1, len(trips)-1)], seq, at) {
				out = append(out, k)
			}
		}
	}
	slices.SortFunc(out, projections.CompareKeys)
	return out
}

// goodsStill reports whether a set is none, but what of some goods was counted in one case, some time ago.
func goodsStill(s *setIndex, seq int64, at time.Time) bool {
	return len(s.loose.items) > 0 && len(s.trays) == 0 && !slices.ContainsFunc(s.loose.items, func(it *Item) bool {
		return it.Kind != events.KindSetCounted || CountOf(it) == nil || CountOf(it).Goods == "" || it.Seq > seq || it.At().After(at)
	})
}

// turnOf returns the turn of a fact about a set as the fact says, or by the packing before it.
func (b *Book) turnOf(it *Item) projections.TripKey {
	k := projections.TripKey{Set: it.Event.Subject, Trip: it.Event.Trip}
	if k.Trip == "" {
		if p := b.lastPacking(k.Set, it.At()); p != nil {
			k.Trip = p.Event.Trip
		}
	}
	return k
}

func (b *Book) still(trip string, seq int64, at time.Time) bool {
	if b.gone.at(placeOf(DimTrip, trip)).gone != Ever {
		return false // its verdict was made, or is made again at the end
	}
	t := b.trips[trip]
	return t != nil && !slices.ContainsFunc(t.items, func(it *Item) bool { return it.Seq > seq || it.At().After(at) })
}

// LetGo returns a book without the facts that no turn is likely to ask for: those of turns that were judged early, as the
// turns after them and the others of their cases were. What was recorded after a record or observed after a moment stays.
func (b *Book) LetGo(seq int64, at time.Time) *Book {
	l := letting{b: b, seq: seq, at: at, goes: make(map[*Item]bool), packs: make(map[projections.TripKey]bool),
		ofCase: make(map[string]bool), ofLoad: make(map[string]bool), ofDay: make(map[string]bool)}
	l.choose()
	n := NewBook(nil)
	n.Least, n.now, n.gone, n.Gen = b.Least, b.now, b.gone, b.Gen
	maps.Copy(n.remarked, b.remarked)
	for _, page := range slices.Sorted(maps.Keys(b.seqs.pages)) {
		for _, it := range b.seqs.pages[page] {
			switch {
			case it == nil:
			case l.goes[it]:
				b.gone.letGo(it)
				delete(n.remarked, it.Seq)
			default:
				n.Add(it.Fact)
			}
		}
	}
	for k := range b.gone.judged {
		if k.Trip != "" && n.trips[k.Trip] == nil || k.Trip == "" && n.sets[k.Set] == nil {
			delete(b.gone.judged, k)
		}
	}
	return n
}

// letting chooses what goes.
type letting struct {
	b      *Book
	seq    int64
	at     time.Time
	goes   map[*Item]bool
	packs  map[projections.TripKey]bool // turns whose packings may go
	ofCase map[string]bool              // whether all turns of a case were judged early
	ofLoad map[string]bool              // the same of a load
	ofDay  map[string]bool              // and of a sterilizer's day
}

func (l *letting) choose() {
	b := l.b
	for set, s := range b.sets {
		trips := b.turnsOf(set)
		l.turns(set, trips)
		for _, it := range s.loose.items {
			if k := b.turnOf(it); l.done(k.Set, k.Trip) {
				l.lets(it)
			}
		}
	}
	for trip, t := range b.trips {
		for _, it := range t.items {
			set := it.Event.Subject
			switch {
			case !l.done(set, trip):
			case it.Kind == events.KindSetPacked && !l.packs[projections.TripKey{Set: set, Trip: trip}]:
			case it.Kind == events.KindSetSterilized && !b.gone.Bold && !l.loadDone(it):
			default:
				l.lets(it)
			}
		}
	}
	for _, its := range b.cases {
		for _, it := range its {
			if it.Kind == events.KindCaseClosed && l.allDone(its) {
				l.lets(it)
			}
		}
	}
	for _, its := range b.plans {
		for _, it := range its {
			l.lets(it)
		}
	}
}

// done reports whether nobody is likely to ask for a turn any more.
func (l *letting) done(set, trip string) bool {
	return l.b.gone.judged[projections.TripKey{Set: set, Trip: trip}]
}

// turns finds out which turns of a set nobody is likely to ask for. Of the latest of them the packing stays, by which the turn
// after it knows where it begins.
func (l *letting) turns(set string, trips []string) {
	b := l.b
	if b.gone.Bold {
		for k := range b.gone.judged {
			b.gone.judged[k], l.packs[k] = true, true
		}
		return
	}
	if own := (projections.TripKey{Set: set}); len(trips) == 0 && b.gone.IsJudged(own) && l.casesDone(b.sets[set].loose.items) {
		b.gone.judged[own] = true
	}
	for i, trip := range trips {
		k := projections.TripKey{Set: set, Trip: trip}
		if i+1 < len(trips) && b.gone.IsJudged(k) && b.gone.IsJudged(projections.TripKey{Set: set, Trip: trips[i+1]}) {
			b.gone.judged[k] = l.casesDone(b.trips[trip].items)
		}
	}
	for i, trip := range trips {
		if i+1 == len(trips) || !l.done(set, trip) || !l.done(set, trips[i+1]) {
			break
		}
		l.packs[projections.TripKey{Set: set, Trip: trip}] = true
	}
}

// casesDone reports whether all turns of the cases that a turn's facts name were judged early.
func (l *letting) casesDone(its []*Item) bool {
	for _, it := range its {
		for _, d := range append([]events.Data{it.Event.Data}, it.alts...) {
			if ref := events.CaseOf(d); ref != "" && !l.allJudged(l.ofCase, l.b.cases, ref) {
				return false
			}
		}
	}
	return true
}

// loadDone reports whether all turns of a run's load, and of its sterilizer's day, were judged early.
func (l *letting) loadDone(run *Item) bool {
	for _, data := range append([]events.Data{run.Event.Data}, run.alts...) {
		d, ok := data.(*events.SetSterilized)
		if ok && !(l.allJudged(l.ofLoad, l.b.loads, d.Load) && l.allJudged(l.ofDay, l.b.begun, BegunOn(d))) {
			return false
		}
	}
	return true
}

// allJudged reports whether all turns whose facts are filed under a key were judged early.
func (l *letting) allJudged(known map[string]bool, of map[string][]*Item, key string) bool {
	all, ok := known[key]
	if !ok {
		all = !slices.ContainsFunc(of[key], func(it *Item) bool {
			return it.Kind.AboutSet() && !l.b.gone.IsJudged(l.b.turnOf(it))
		})
		known[key] = all
	}
	return all
}

// allDone reports whether nobody is likely to ask for any turn of a case.
func (l *letting) allDone(its []*Item) bool {
	return !slices.ContainsFunc(its, func(it *Item) bool {
		k := l.b.turnOf(it)
		return it.Kind.AboutSet() && !l.done(k.Set, k.Trip) || it.Seq > l.seq
	})
}

// lets lets a fact go, and its corrections with it. A correction goes only so: it may have come before what it corrects.
func (l *letting) lets(it *Item) {
	if it.Kind == events.KindEventCorrected || l.goes[it] {
		return
	}
	all := []*Item{it}
	for i := 0; i < len(all); i++ {
		x := all[i]
		if x.Seq > l.seq || x.At().After(l.at) || len(l.b.twins[x.Event.ID]) > 0 || len(all) > maxFixDepth {
			return
		}
		for _, c := range l.b.fixes[x.Event.ID] {
			if c.Event.Trip != "" && !l.done(c.Event.Subject, c.Event.Trip) {
				return
			}
			all = append(all, c)
		}
	}
	for _, x := range all {
		l.goes[x] = true
	}
}

package projections

import (
	"slices"
	"sort"
	"time"

	"listbound/events"
)

// DimKey is one place under which a Source keeps a fact.
type DimKey struct {
	Dim Dim
	Key string
}

// Keys returns where a Source keeps an event whose data is d: the event's own,
// or what a correction puts in its place. Besides, a fact with a remark is kept
// under DimStation, and a correction with the event it corrects.
func Keys(e *events.Event, d events.Data) []DimKey {
	var out []DimKey
	add := func(dim Dim, key string) { out = append(out, DimKey{dim, key}) }
	k := e.Kind()
	add(DimEvent, e.ID)
	if e.Trip != "" && tripped(k) {
		add(DimTrip, e.Trip)
	}
	if ofSet(k) && (e.Trip == "" || k == events.KindSetPacked) {
		add(DimSet, e.Subject)
	}
	switch d := d.(type) {
	case *events.SetSterilized:
		add(DimLoad, d.Load)
	case *events.SetOpened:
		add(DimCase, d.Case)
	case *events.SetCounted:
		add(DimCase, d.Case)
	case *events.CaseClosed:
		add(DimCase, d.Case)
	case *events.IndicatorRead:
		add(DimSterilizer, d.Sterilizer)
		add(DimReadings, d.Sterilizer)
	case *events.ListIssued:
		add(DimList, d.List)
	case *events.PolicyAdopted:
		add(DimPolicy, (&item{Fact: Fact{Event: e}}).site())
	}
	if c := codeOf(d); c != nil && c.Trip != e.Trip {
		add(DimSheet, c.Trip)
	}
	return out
}

// Affected returns the trips whose verdicts a fact may have changed. The fact
// has been added. More may be named than did change, never fewer.
func (w *World) Affected(f Fact) ([]TripKey, error) {
	it := w.seqs[f.Seq]
	if it == nil || it.Event == nil || it.Event.Data == nil {
		return nil, nil
	}
	a := affected{w: w, seen: make(map[TripKey]struct{})}
	a.fact(it, 0)
	a.spread()
	out := sortedKeys(a.seen)
	return out, w.failed()
}

type affected struct {
	w    *World
	seen map[TripKey]struct{}
}

func (a *affected) put(k TripKey) {
	if k.Set != "" || k.Trip != "" {
		a.seen[k] = struct{}{}
	}
}

func (a *affected) putAll(ks []TripKey) {
	for _, k := range ks {
		a.put(k)
	}
}

// fact names the trips a fact is about, as observed and as corrected.
func (a *affected) fact(it *item, depth int) {
	w, e := a.w, it.Event
	a.put(w.resolve(e, 0))
	if e.Trip != "" && tripped(it.kind) {
		// Should one trip have been given to several sets, whose it is may change for all.
		w.need(DimTrip, e.Trip)
		for _, o := range w.trips[e.Trip].items {
			a.put(TripKey{o.Event.Subject, e.Trip})
		}
	}
	datas := append([]events.Data{e.Data}, it.alts...)
	for _, d := range datas {
		switch d := d.(type) {
		case *events.EventCorrected:
			w.need(DimEvent, d.Event)
			if t := w.ids[d.Event]; t != nil && depth < maxFixDepth {
				a.fact(t, depth+1)
			}
		case *events.SetPacked:
			a.packing(it)
		case *events.SetSterilized:
			a.load(d.Load, d.Sterilizer, it)
		case *events.CaseClosed:
			a.putAll(w.caseTrips(d.Case))
		case *events.ListIssued:
			a.trips(DimList, d.List, time.Time{}, time.Time{})
		case *events.PolicyAdopted:
			a.policy(it)
		case *events.IndicatorRead:
			a.load(d.Load, d.Sterilizer, it)
		}
	}
}

// packing: facts without a trip move between the trips packed before and after.
func (a *affected) packing(it *item) {
	w, set := a.w, it.Event.Subject
	w.around(set, it.at())
	s := w.sets[set]
	if len(s.loose) > 0 {
		a.put(TripKey{Set: set})
	}
	packs := s.packs.sorted()
	at := sort.Search(len(packs), func(i int) bool { return !packs[i].less(it) })
	for _, dir := range []int{-1, 1} {
		for i, live := at+dir, ""; i >= 0 && i < len(packs); i += dir {
			p := packs[i]
			if p.Event.Trip == it.Event.Trip {
				continue
			}
			a.put(TripKey{set, p.Event.Trip})
			if !p.void {
				if live != "" && live != p.Event.Trip {
					break
				}
				live = p.Event.Trip
			}
		}
	}
}

// trips names what the Source's Trips does, or, without one, looks for itself.
func (a *affected) trips(dim Dim, key string, from, to time.Time) {
	w := a.w
	if w.src != nil {
		if w.err == nil {
			ks, err := w.src.Trips(dim, key, from, to)
			if err != nil {
				w.err = err
			}
			a.putAll(ks)
		}
		return
	}
	within := func(it *item) bool {
		return !it.at().Before(from) && (to.IsZero() || it.at().Before(to))
	}
	var its []*item
	switch dim {
	case DimSterilizer:
		its = w.runs[key]
	case DimList:
		its = w.packs[key]
	case DimPolicy:
		for _, it := range w.seqs {
			if it.Event != nil && it.Event.Data != nil && it.site() == key && within(it) {
				a.put(w.resolve(it.Event, 0))
			}
		}
	}
	for _, it := range its {
		if within(it) {
			a.put(w.resolve(it.Event, 0))
		}
	}
}

// policy: every step from its adoption until the next one.
func (a *affected) policy(it *item) {
	var to time.Time
	a.w.need(DimPolicy, it.site())
	for _, p := range a.w.policies[it.site()].sorted() {
		if p != it && !p.void && it.less(p) {
			to = p.at()
			break
		}
	}
	a.trips(DimPolicy, it.site(), it.at(), to)
}

// load: a result, or the time of a load with a result, moves the bounds of
// every positive indicator near it: as far as the negative loads around those
// that are counted among the repeated cycles.
func (a *affected) load(load, sterilizer string, it *item) {
	w := a.w
	w.needReadings(sterilizer)
	reads := slices.Clone(w.reads[sterilizer])
	known, positive := it.kind == events.KindIndicatorRead, false
	for _, r := range reads {
		for _, d := range append([]events.Data{r.Event.Data}, r.alts...) {
			if i, ok := d.(*events.IndicatorRead); ok {
				known = known || i.Load == load
				positive = positive || i.Result == "positive"
			}
		}
	}
	if !known || !positive {
		return
	}
	// Where the load stands, has stood or may have stood.
	lo, hi := it.at(), it.at()
	stands := func(x *item) { lo, hi = earliest(lo, x.at()), latest(hi, x.at()) }
	w.need(DimLoad, load)
	for _, x := range w.loads[load] {
		stands(x)
	}
	var loads []readLoad
	byLoad := make(map[string][]*item)
	for _, r := range reads {
		for _, d := range append([]events.Data{r.Event.Data}, r.alts...) {
			i, ok := d.(*events.IndicatorRead)
			if !ok {
				continue
			}
			if i.Load == load {
				stands(r)
			}
			byLoad[i.Load] = append(byLoad[i.Load], r)
		}
	}
	for l, rs := range byLoad {
		if l == load {
			continue
		}
		x := readLoad{load: l, positive: true}
		for _, r := range rs {
			x.at = latest(x.at, r.at())
			// Only a load that is negative without doubt bounds what follows from another.
			if d := indicatorOf(r); !r.void && d != nil && d.Load == l && d.Result == "negative" {
				x.positive = false
			}
		}
		for _, r := range rs {
			if d := indicatorOf(r); !r.void && d != nil && d.Load == l && d.Result == "positive" {
				x.positive = true
			}
		}
		x.at = w.loadTime(l, sterilizer, x.at)
		loads = append(loads, x)
	}
	slices.SortFunc(loads, func(x, y readLoad) int { return x.at.Compare(y.at) })
	first, last := 0, len(loads)-1
	for first < len(loads) && loads[first].at.Before(lo) {
		first++
	}
	for last >= 0 && loads[last].at.After(hi) {
		last--
	}
	from, to := reach(loads, first-1, -1), reach(loads, last+1, +1)
	if !to.IsZero() {
		to = to.Add(1) // Trips ends before its bound
	}
	a.trips(DimSterilizer, sterilizer, from, to)
	// A load with a result stands at its earliest set.sterilized, which may be far from a set's own.
	for _, l := range append(loads, readLoad{load: load, at: lo}) {
		if l.at.Before(from) || !to.IsZero() && l.at.After(to) {
			continue
		}
		w.need(DimLoad, l.load)
		for _, x := range slices.Clone(w.loads[l.load]) {
			a.put(w.resolve(x.Event, 0))
		}
	}
}

// reach goes from a load past as many as are repeated, and on to the next
// negative one, whose time it returns; zero where there is none.
func reach(loads []readLoad, i, dir int) time.Time {
	for n := 0; i >= 0 && i < len(loads); i, n = i+dir, n+1 {
		if n >= repeats && !loads[i].positive {
			return loads[i].at
		}
	}
	return time.Time{}
}

// spread adds what is judged together with the trips named so far: whose
// sheets are with whom, the sets of the same case, and the set's trip after.
func (a *affected) spread() {
	todo := sortedKeys(a.seen)
	for _, k := range todo {
		a.joined(k)
	}
	for _, k := range sortedKeys(a.seen) {
		for _, ref := range a.casesOf(k) {
			a.putAll(a.w.caseTrips(ref))
		}
	}
	for _, k := range sortedKeys(a.seen) {
		a.after(k)
	}
}

// facts returns everything recorded of a trip, void or not.
func (w *World) facts(k TripKey) []*item { return w.chain(k).all }

// joined follows sheet codes read, as observed or as corrected, in both directions.
func (a *affected) joined(k TripKey) {
	w := a.w
	todo := []TripKey{k}
	done := map[TripKey]bool{}
	for len(todo) > 0 {
		k := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if done[k] {
			continue
		}
		done[k] = true
		a.put(k)
		todo = append(todo, w.readers(k)...)
		for _, it := range w.facts(k) {
			for i := -1; i < len(it.alts); i++ {
				d := it.Event.Data
				if i >= 0 {
					d = it.alts[i]
				}
				c := it.code
				if i >= 0 || it.by != nil {
					c = codeOf(d)
				}
				if c == nil || c.Trip == k.Trip {
					continue
				}
				w.need(DimTrip, c.Trip)
				if t := w.trips[c.Trip]; t != nil {
					for _, o := range t.items {
						todo = append(todo, TripKey{o.Event.Subject, c.Trip})
					}
				}
			}
		}
	}
}

// casesOf returns the cases that a trip's facts name or ever named.
func (a *affected) casesOf(k TripKey) []string {
	var out []string
	for _, it := range a.w.facts(k) {
		for i := -1; i < len(it.alts); i++ {
			d := it.Event.Data
			if i >= 0 {
				d = it.alts[i]
			}
			if ref := caseOf(d); ref != "" && !slices.Contains(out, ref) {
				out = append(out, ref)
			}
		}
	}
	return out
}

// after adds the trips that follow a trip's packings: they are judged by
// whether this one had ended.
func (a *affected) after(k TripKey) {
	s := a.w.sets[k.Set]
	if s == nil || k.Trip == "" {
		return
	}
	t := a.w.trips[k.Trip]
	if t == nil {
		return
	}
	for _, p := range t.items {
		if p.kind != events.KindSetPacked || p.Event.Subject != k.Set {
			continue
		}
		a.w.around(k.Set, p.at())
		packs := s.packs.sorted()
		i := sort.Search(len(packs), func(i int) bool { return p.less(packs[i]) })
		for _, n := range packs[i:] {
			if n.Event.Trip != k.Trip && !n.void {
				a.put(TripKey{k.Set, n.Event.Trip})
				break
			}
		}
	}
}

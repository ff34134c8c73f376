package projections

import (
	"slices"
	"time"

	"listbound/events"
)

// HistoryOf says what a history is asked of: a trip (Set and Trip), a set (Set
// and, since a World with a Source does not know them, its Trips), a case, or
// a load.
type HistoryOf struct {
	Set, Trip  string
	Case, Load string
	Trips      []TripKey
	AsOf       time.Time // said in the history; the World holds what was known then
}

// History returns what was recorded, in order of observation, and the
// verdicts. Void facts and corrections stand in it, and so does every fact that
// a finding rests on, of whatever set. Record and Size are the caller's.
func (w *World) History(of HistoryOf) (History, error) {
	h := History{Set: of.Set, Trip: of.Trip, Case: of.Case, Load: of.Load, AsOf: of.AsOf}
	in := make(map[int64]*item)
	var keys []TripKey
	switch {
	case of.Case != "":
		keys = w.caseTrips(of.Case)
		w.keep(in, w.cases[of.Case])
	case of.Load != "":
		keys = w.loadHistory(in, of.Load)
	case of.Trip != "":
		keys = []TripKey{{of.Set, of.Trip}}
	default:
		keys = w.setTrips(of)
	}
	for _, k := range keys {
		if of.Load == "" {
			c := w.chain(k)
			w.keep(in, c.all)
			for _, u := range c.cases {
				w.keep(in, u.closings)
			}
		}
		v, err := w.Judge(k)
		if err != nil {
			return History{}, err
		}
		h.Verdicts = append(h.Verdicts, v)
		for _, f := range v.Findings {
			for _, seq := range f.Events {
				w.keep(in, []*item{w.seqs[seq]})
			}
		}
	}
	Sort(h.Verdicts)
	its := make([]*item, 0, len(in))
	for _, it := range in {
		its = append(its, it)
	}
	slices.SortFunc(its, compare)
	h.Events = make([]HistoryEvent, 0, len(its))
	for _, it := range its {
		h.Events = append(h.Events, w.historyEvent(it))
	}
	return h, w.failed()
}

// keep takes items into a history, with the corrections of each.
func (w *World) keep(in map[int64]*item, its []*item) {
	for _, it := range its {
		if it == nil || it.Event == nil || in[it.Seq] != nil {
			continue
		}
		in[it.Seq] = it
		w.keep(in, w.fixes[it.Event.ID])
	}
}

func (w *World) setTrips(of HistoryOf) []TripKey {
	seen := make(map[TripKey]struct{})
	for _, k := range of.Trips {
		seen[k] = struct{}{}
	}
	if s := w.sets[of.Set]; s != nil {
		for _, p := range s.packs.items {
			seen[TripKey{of.Set, p.Event.Trip}] = struct{}{}
		}
		for _, it := range s.loose {
			w.around(of.Set, it.at())
			seen[TripKey{of.Set, w.packedBefore(of.Set, it.at())}] = struct{}{}
		}
	}
	if w.src == nil {
		for id, t := range w.trips {
			for _, it := range t.items {
				if it.Event.Subject == of.Set {
					seen[TripKey{of.Set, id}] = struct{}{}
				}
			}
		}
	}
	return sortedKeys(seen)
}

func (w *World) loadHistory(in map[int64]*item, load string) []TripKey {
	w.need(DimLoad, load)
	seen := make(map[TripKey]struct{})
	var sterilizers []string
	for _, it := range slices.Clone(w.loads[load]) {
		w.keep(in, []*item{it})
		d := runOf(it)
		if it.void || d.Load != load {
			continue
		}
		seen[w.resolve(it.Event, 0)] = struct{}{}
		if !slices.Contains(sterilizers, d.Sterilizer) {
			sterilizers = append(sterilizers, d.Sterilizer)
		}
	}
	for _, s := range sterilizers {
		w.need(DimReadings, s)
		for _, it := range w.reads[s] {
			if indicatorOf(it).Load == load {
				w.keep(in, []*item{it})
			}
		}
	}
	return sortedKeys(seen)
}

func (w *World) historyEvent(it *item) HistoryEvent {
	e := it.Event
	h := HistoryEvent{
		Seq: it.Seq, ID: e.ID, Kind: string(it.kind), Station: e.Station, Operator: e.Operator,
		Observed: e.Time, Recorded: it.Recorded, Remarks: it.Remarks.Names(),
		Late: it.Recorded.Sub(e.Time) > seconds(w.policyAt(it).ClockToleranceSeconds),
	}
	h.say(it)
	if u, ok := e.Data.(*events.Unknown); ok {
		h.Kind = u.Type
	}
	k := w.resolve(e, 0)
	h.Set, h.Trip = k.Set, k.Trip
	if it.by != nil {
		if it.void {
			h.Voided = it.by.Seq
		} else {
			h.Replaced = it.by.Seq
		}
	}
	return h
}

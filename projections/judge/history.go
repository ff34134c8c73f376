package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"strings"
)

// History returns what was recorded, in order of observation, and the
// verdicts. Void facts and corrections stand in it, and so does every fact that
// a finding rests on, of whatever set. Record and Size are the caller's.
func (w *World) History(of projections.HistoryOf) (projections.History, error) {
	h := projections.History{Set: of.Set, Trip: of.Trip, Case: of.Case, Load: of.Load, AsOf: of.AsOf}
	in := make(map[int64]*facts.Item)
	var keys []projections.TripKey
	switch {
	case of.Case != "":
		keys = w.CaseTrips(of.Case)
		w.keep(in, w.CaseFacts(of.Case))
	case of.Load != "":
		var its []*facts.Item
		keys, its = w.LoadOf(of.Load)
		w.keep(in, its)
	case of.Trip != "":
		keys = []projections.TripKey{{Set: of.Set, Trip: of.Trip}}
	default:
		keys = w.TripsOf(of.Set, of.Trips)
	}
	for _, k := range keys {
		if of.Load == "" {
			c := w.Trip(k)
			w.keep(in, c.All)
			for _, u := range c.Cases {
				w.keep(in, u.Closings)
			}
		}
		v, kept := of.Kept[k]
		if !kept {
			var err error
			if v, err = w.Judge(k); err != nil {
				return projections.History{}, err
			}
		}
		h.Verdicts = append(h.Verdicts, v)
		for _, f := range v.Findings {
			for _, seq := range f.Events {
				w.keep(in, []*facts.Item{w.FactBySeq(seq)})
			}
		}
	}
	w.keepLosses(in)
	projections.Sort(h.Verdicts)
	its := make([]*facts.Item, 0, len(in))
	for _, it := range in {
		its = append(its, it)
	}
	slices.SortFunc(its, facts.Compare)
	h.Events = make([]projections.HistoryEvent, 0, len(its))
	for _, it := range its {
		h.Events = append(h.Events, w.historyEvent(it))
	}
	return h, w.Failed()
}

// keepLosses takes into a history that isn't empty what was declared lost of its
// sites' ledgers: nobody can say that none of it was of this set.
func (w *World) keepLosses(in map[int64]*facts.Item) {
	sites := make(map[string]bool)
	for _, it := range in {
		site, _, _ := strings.Cut(it.Event.Station, "/")
		sites[site] = true
	}
	for site := range sites {
		w.keep(in, w.Losses(site))
	}
}

// keep takes items into a history, with the corrections of each.
func (w *World) keep(in map[int64]*facts.Item, its []*facts.Item) {
	for _, it := range its {
		if it == nil || it.Event == nil || in[it.Seq] != nil {
			continue
		}
		in[it.Seq] = it
		w.keep(in, w.CorrectionsOf(it))
	}
}

func (w *World) historyEvent(it *facts.Item) projections.HistoryEvent {
	e := it.Event
	h := projections.HistoryEvent{
		Seq: it.Seq, ID: e.ID, Kind: string(it.Kind), Station: e.Station, Operator: e.Operator, Medium: e.Medium,
		Observed: e.Time, Recorded: it.Recorded, Remarks: it.Remarks.Names(),
		Late: it.Recorded.Sub(e.Time) > facts.Seconds(w.PolicyFor(it).ClockToleranceSeconds),
	}
	h.Subject, h.Data, h.Void, h.Corrected, h.Bits = e.Subject, it.Data, it.Void, it.By != nil, it.Remarks
	if u, ok := e.Data.(*events.Unknown); ok {
		h.Kind = u.Type
	}
	k := w.TripOf(e)
	h.Set, h.Trip = k.Set, k.Trip
	if it.By != nil {
		if it.Void {
			h.Voided = it.By.Seq
		} else {
			h.Replaced, h.First = it.By.Seq, e.Data
		}
	}
	return h
}

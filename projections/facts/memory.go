package facts

import (
	"slices"
	"time"

	"listbound/events"
)

// Memory is a Source of facts that are all at hand: of a bundle, or of a simulated week.
type Memory struct {
	filed    map[DimKey][]int // places in all
	all      []Fact
	fixes    map[string][]int // corrections of an event, by its id
	positive map[string]bool  // sterilizers of which an indicator was read positive
}

// NewMemory returns a Source of facts, in their order.
func NewMemory(all []Fact) *Memory {
	m := &Memory{filed: make(map[DimKey][]int), all: all, fixes: make(map[string][]int), positive: make(map[string]bool)}
	for n := range all {
		if e := all[n].Event; e != nil {
			if c, ok := e.Data.(*events.EventCorrected); ok {
				m.fixes[c.Event] = append(m.fixes[c.Event], n)
			}
		}
	}
	for n := range all {
		e := all[n].Event
		if e == nil {
			continue
		}
		if (all[n].Remarks != 0 || len(all[n].Was) > 0) && OfNoTrip(e) {
			m.file(DimKey{DimStation, e.Station}, n)
		}
		const deep = 5 // corrections of corrections
		for _, d := range m.variants(e, deep) {
			for _, k := range Keys(e, d) {
				m.file(k, n)
			}
			if i, ok := d.(*events.IndicatorRead); ok && i.Result == "positive" {
				m.positive[i.Sterilizer] = true
			}
		}
	}
	return m
}

func (m *Memory) file(k DimKey, n int) {
	if of := m.filed[k]; len(of) == 0 || of[len(of)-1] != n {
		m.filed[k] = append(of, n)
	}
}

// variants returns an event's data and all that a correction ever put in its place.
func (m *Memory) variants(e *events.Event, deep int) []events.Data {
	out := []events.Data{e.Data}
	if deep == 0 {
		return out
	}
	for _, n := range m.fixes[e.ID] {
		for _, d := range m.variants(m.all[n].Event, deep-1) {
			c, ok := d.(*events.EventCorrected)
			if !ok || c.Action != "replace" {
				continue
			}
			if is, err := events.ParseObservedData(e.Kind(), c.Data); err == nil {
				out = append(out, is)
			}
		}
	}
	return out
}

// Facts implements Source.
func (m *Memory) Facts(dim Dim, key string) ([]Fact, error) {
	if dim == DimSterilizer && !m.positive[key] {
		return nil, nil
	}
	return m.with(m.filed[DimKey{dim, key}]), nil
}

// Around implements Source. It leaves nothing out: who holds all facts need not choose.
func (m *Memory) Around(set string, _ time.Time, _ int) ([]Fact, error) {
	return m.with(m.filed[DimKey{DimSet, set}]), nil
}

// with returns facts with their corrections, and theirs.
func (m *Memory) with(places []int) []Fact {
	for i := 0; i < len(places); i++ {
		for _, fix := range m.fixes[m.all[places[i]].Event.ID] {
			if !slices.Contains(places, fix) {
				places = append(slices.Clip(places), fix)
			}
		}
	}
	out := make([]Fact, len(places))
	for i, n := range places {
		out[i] = m.all[n]
	}
	return out
}

package facts

import (
	"slices"
	"sort"
	"time"

	"listbound/events"
)

// Without returns a book of the same facts in which some events stand as they
// were recorded first, without their corrections.
func (b *Book) Without(corrections []*Item) *Book {
	w := &without{b: b, drop: make(map[int64]bool)}
	for _, c := range corrections {
		w.drop[c.Seq] = true
	}
	out := NewBook(w)
	out.SetMoment(b.now)
	return out
}

// without is the Source of such a book.
type without struct {
	b    *Book
	drop map[int64]bool
}

// Facts implements Source.
func (w *without) Facts(dim Dim, key string) ([]Fact, error) {
	b := w.b
	var its []*Item
	switch dim {
	case DimSterilizer, DimReadings:
		if b.gone != nil {
			return nil, b.err
		}
		b.needReadings(key)
		its = b.reads[key]
	default:
		b.need(dim, key)
	}
	switch dim {
	case DimTrip:
		if t := b.trips[key]; t != nil {
			its = t.items
		}
	case DimSheet:
		if t := b.trips[key]; t != nil {
			its = t.sheet
		}
	case DimCase:
		its = b.cases[key]
	case DimLoad, DimStarts:
		its = b.loads[key]
	case DimLock:
		its = b.locks[key]
	case DimBegun:
		its = b.begun[key]
	case DimLoadReadings:
		its = b.readOf[key]
	case DimWash:
		its = b.washes[key]
	case DimRunLogs:
		its = b.logs[key]
	case DimTests:
		its = b.tests[key]
	case DimSchedule:
		its = b.plans[key]
	case DimBench:
		its = b.benches[key]
	case DimList:
		its = b.lists[key]
	case DimPolicy:
		if p := b.policies[key]; p != nil {
			its = p.items
		}
	case DimStation:
		its = b.stations[key]
	case DimEvent:
		if it := b.ids.get(key); it != nil {
			its = append([]*Item{it}, b.twins[key]...)
		}
	}
	return w.withCorrections(its), b.err
}

// Around implements Source.
func (w *without) Around(set string, at time.Time, n int) ([]Fact, error) {
	b := w.b
	b.around(set, at)
	s := b.sets[set]
	if s == nil {
		return nil, b.err
	}
	packs := s.packs.sorted()
	after := sort.Search(len(packs), func(i int) bool { return packs[i].At().After(at) })
	from, to := max(0, after-n), min(len(packs), after+n)
	its := slices.Clone(packs[from:to])
	for _, it := range slices.Concat(s.loose.items, s.trays) {
		if (from == 0 || !it.Less(packs[from])) && (to == len(packs) || !packs[to-1].Less(it)) {
			its = append(its, it)
		}
	}
	return w.withCorrections(its), b.err
}

func (w *without) withCorrections(its []*Item) []Fact {
	var out []Fact
	seen := make(map[int64]bool)
	var add func(its []*Item)
	add = func(its []*Item) {
		for _, it := range its {
			if w.drop[it.Seq] || seen[it.Seq] {
				continue
			}
			seen[it.Seq] = true
			out = append(out, it.Fact)
			if it.Event != nil {
				add(w.b.fixes[it.Event.ID])
			}
		}
	}
	add(its)
	return out
}

// UnsaidPositives returns the positive results of a sterilizer's biological
// indicators that a correction took back or replaced: few, where its readings can be thousands.
func (b *Book) UnsaidPositives(sterilizer string) []*Item {
	return b.unsaid.Get(b, sterilizer, func() []*Item { return b.unsaidPositives(sterilizer) })
}

func (b *Book) unsaidPositives(sterilizer string) []*Item {
	if b.gone != nil {
		return nil
	}
	b.needReadings(sterilizer)
	var out []*Item
	for _, it := range b.reads[sterilizer] {
		if it.By == nil {
			continue
		}
		if d, ok := it.Event.Data.(*events.IndicatorRead); ok && d.Result == "positive" {
			out = append(out, it)
		}
	}
	return out
}

package facts

import (
	"cmp"
	"slices"
	"time"

	"listbound/events"
)

// dimOfCase is where a fact that names a case is filed. What a schedule says is kept apart: it says what is to be, and
// nothing that was observed of sets is judged by it.
func dimOfCase(d events.Data) Dim {
	if d.Kind() == events.KindCaseScheduled {
		return DimSchedule
	}
	return DimCase
}

// PlanOf returns what a case.scheduled says, nil for any other fact.
func PlanOf(it *Item) *events.CaseScheduled {
	d, _ := it.Data.(*events.CaseScheduled)
	return d
}

// Planned returns what was recorded from schedules of a case and is in force, in the order in which the schedule said it:
// the last one is in force.
func (b *Book) Planned(ref string) (out []*Item) {
	b.need(DimSchedule, ref)
	b.asked(DimSchedule, ref)
	for _, it := range b.plans[ref] {
		if d := PlanOf(it); d != nil && !it.Void && d.Case == ref {
			out = append(out, it)
		}
	}
	slices.SortFunc(out, func(x, y *Item) int {
		return cmp.Or(SaidAt(x).Compare(SaidAt(y)), Compare(x, y))
	})
	return out
}

// SaidAt is when a schedule said something: by its own word, or when it came.
func SaidAt(it *Item) time.Time {
	if at := PlanOf(it).SaidAt(); !at.IsZero() {
		return at
	}
	return it.At()
}

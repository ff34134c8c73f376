package facts

import (
	"cmp"
	"listbound/events"
	"listbound/projections"
	"strings"
	"time"
)

// SealOf returns what a list.sealed says, nil for any other fact and for none.
func SealOf(it *Item) *events.ListSealed {
	if it == nil {
		return nil
	}
	d, _ := it.Data.(*events.ListSealed)
	return d
}

// PackOf returns what a set.packed says, nil for any other fact and for none.
func PackOf(it *Item) *events.SetPacked {
	if it == nil {
		return nil
	}
	d, _ := it.Data.(*events.SetPacked)
	return d
}

// PlaceOf says where a step was observed: the place a check names, the load a
// run was, the washer, else the station.
func PlaceOf(it *Item) projections.Place {
	switch d := it.Data.(type) {
	case *events.SetChecked:
		if p := strings.TrimSpace(d.Place); p != "" {
			return projections.Place{Name: p}
		}
	case *events.SetSterilized:
		return projections.Place{Load: d.Load}
	case *events.SetReturned:
		if p := cmp.Or(strings.TrimSpace(d.Place), d.Washer); p != "" {
			return projections.Place{Name: p}
		}
	}
	return projections.Place{Name: it.Event.Station}
}

// CountOf returns what a set.counted says, nil for any other fact.
func CountOf(it *Item) *events.SetCounted {
	d, _ := it.Data.(*events.SetCounted)
	return d
}

// ReturnOf returns what a set.returned says, nil for any other fact.
func ReturnOf(it *Item) *events.SetReturned {
	d, _ := it.Data.(*events.SetReturned)
	return d
}

// LogOf returns what a run.logged says, nil for any other fact.
func LogOf(it *Item) *events.RunLogged {
	d, _ := it.Data.(*events.RunLogged)
	return d
}

// PieceOf returns what a piece.reported says, nil for any other fact.
func PieceOf(it *Item) *events.PieceReported {
	d, _ := it.Data.(*events.PieceReported)
	return d
}

// TagOf returns the set whose tag an observation read on the tray, "" where none was.
func TagOf(d events.Data) string {
	switch d := d.(type) {
	case *events.SetChecked:
		return d.Tag
	case *events.SetOpened:
		return d.Tag
	}
	return ""
}

// Seconds returns a number of seconds as a duration.
func Seconds(n int64) time.Duration { return time.Duration(n) * time.Second }

// RunOf returns what a set.sterilized says, nil for any other fact and for none.
func RunOf(it *Item) *events.SetSterilized {
	if it == nil {
		return nil
	}
	d, _ := it.Data.(*events.SetSterilized)
	return d
}

func indicatorOf(it *Item) *events.IndicatorRead {
	d, _ := it.Data.(*events.IndicatorRead)
	return d
}

// Item is a fact with its corrections applied.
type Item struct {
	Fact
	Kind   events.Kind
	Data   events.Data       // in force
	Void   bool              // voided, or the same observation recorded a second time
	By     *Item             // the correction in force
	Unread []*Item           // corrections that can't be read
	alts   []events.Data     // what corrections ever put in place of the data
	Code   *events.SheetCode // of the sheet read or counted against, in force
}

// Less is the order of judgement: observed time, then the station's own numbering, then id. Arrival plays no part.
func (a *Item) Less(b *Item) bool { return Compare(a, b) < 0 }

// Compare puts what one station observed at the same moment in the order in
// which it recorded it; ids have their random bits from the content, and would
// let a badge number decide whether a piece was added before the final count.
func Compare(a, b *Item) int {
	if c := a.Event.Time.Compare(b.Event.Time); c != 0 {
		return c // as a rule; this is asked for all facts
	}
	return cmp.Or(
		strings.Compare(a.Event.Station, b.Event.Station),
		cmp.Compare(a.Event.StationSeq, b.Event.StationSeq),
		strings.Compare(a.Event.ID, b.Event.ID),
		cmp.Compare(a.Seq, b.Seq))
}

// countsBefore reports whether of two records of one observation this is the one that counts: the one that its station
// signed, and of two such the first.
func (a *Item) countsBefore(b *Item) bool {
	if forged := a.Forged(); forged != b.Forged() {
		return !forged
	}
	return a.Seq < b.Seq
}

// Forged reports whether the record is not known to be signed by its station. Such a record is
// shown and reported, but changes nothing that others recorded.
func (a *Item) Forged() bool { return a.Remarks&(events.RemarkSignature|events.RemarkForm) != 0 }

// At returns when it was observed.
func (a *Item) At() time.Time { return a.Event.Time }

// SeenBy returns by when it was observed: as its station says, but of a clock that was ahead by more than is tolerated at
// the latest when it was recorded, since nothing is recorded before it happens.
func (a *Item) SeenBy() time.Time {
	if a.Remarks&events.RemarkAhead != 0 && !a.Recorded.IsZero() && a.Recorded.Before(a.At()) {
		return a.Recorded
	}
	return a.At()
}

func (a *Item) site() string {
	site, _, _ := strings.Cut(a.Event.Station, "/")
	return site
}

// codeOf returns the sheet code in data, nil where there is none to read.
func codeOf(d events.Data) *events.SheetCode { return parseCode(events.SheetCodeOf(d)) }

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

// Latest returns the latest of some moments.
func Latest(t time.Time, more ...time.Time) time.Time {
	for _, m := range more {
		if m.After(t) {
			t = m
		}
	}
	return t
}

// Earliest returns the earliest of some moments.
func Earliest(t time.Time, more ...time.Time) time.Time {
	for _, m := range more {
		if m.Before(t) {
			t = m
		}
	}
	return t
}

package reporting

import (
	"listbound/events"
	"listbound/projections/facts"
)

// counts writes the counts of a turn that are in force, and their lines that are not as listed.
func (c *Copy) counts(t Turn) error {
	for _, it := range t.Trip.Counted {
		d := facts.CountOf(it)
		differing := differingLines(t.Trip, d)
		e := it.Event
		if err := c.insert("counts", it.Seq, t.Verdict.Set, t.Verdict.Trip, said(d.Case), string(d.Stage), utc(e.Time), c.local(e.Time),
			e.Station, said(d.Counter), said(d.Witness), said(e.Medium), against(t.Trip, it), len(d.Counts), len(differing)); err != nil {
			return err
		}
		for _, x := range differing {
			if err := c.insert("differing_lines", it.Seq, x.line, said(x.item), said(x.description), x.listed, x.counted); err != nil {
				return err
			}
		}
	}
	return nil
}

// against says which list a count was made by.
func against(trip *facts.Trip, it *facts.Item) string {
	d := facts.CountOf(it)
	switch {
	case d.Sheet == events.SheetScreen, d.Sheet == events.SheetUnreadable:
		return d.Sheet
	case it.Code == nil:
		return events.SheetUnreadable
	case it.Code.Trip == trip.Key.Trip:
		return "own sheet"
	}
	return "another sheet"
}

type lineRow struct {
	line              int64
	item, description string
	listed            any
	counted           int64
}

// differingLines are the lines of a count whose number is not the list's, and those on no list.
func differingLines(trip *facts.Trip, d *events.SetCounted) (out []lineRow) {
	listed := make(map[int64]events.Line)
	if trip.List != nil {
		for _, l := range trip.List.Lines {
			listed[l.Line] = l
		}
	}
	beyond := make(map[int64]events.Beyond)
	for _, b := range d.Beyond {
		beyond[b.Line] = b
	}
	for _, x := range d.Counts {
		if l, ok := listed[x.Line]; ok {
			if l.Quantity != x.Counted {
				out = append(out, lineRow{x.Line, l.Item, l.Description, l.Quantity, x.Counted})
			}
			continue
		}
		b := beyond[x.Line]
		out = append(out, lineRow{x.Line, b.Item, b.Description, nil, x.Counted})
	}
	return out
}

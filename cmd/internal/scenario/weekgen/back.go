package main

import (
	"fmt"
	"slices"
	"time"

	"listbound/events"
)

const (
	washing = site + "/washing"
	washer  = "W2"
	washed  = 98 * time.Minute // after the last case of the load
)

// comeBack takes the sets of each case back to packing: out of the room, received, washed
// with the others of the case, and mostly those of a second one, in one load, and inspected
// just before they are packed.
func (w *week) comeBack() error {
	ops := slices.DeleteFunc(slices.Clone(w.ops), func(op *operation) bool { return op.day < scansBack })
	slices.SortStableFunc(ops, func(a, b *operation) int { return a.end.Compare(b.end) })
	for run := 1; len(ops) > 0; run++ {
		n := 1
		if len(ops) > 1 && ops[1].end.Sub(ops[0].end) < 40*time.Minute {
			n = 2
		}
		load := fmt.Sprintf("%s-%s-%02d", washer, ops[0].end.Format("0102"), run)
		for _, op := range ops[:n] {
			for j, t := range op.trips {
				if t.n+1 == len(t.set.trips) {
					continue // nothing is packed after this week
				}
				at := ops[n-1].end.Add(washed + seconds(15*j))
				if err := w.backFrom(op, j, t, load, at); err != nil {
					return err
				}
			}
		}
		ops = ops[n:]
	}
	return nil
}

// backFrom takes a set, j-th of its case, through a load of the washer to its next packing.
func (w *week) backFrom(op *operation, j int, t *trip, load string, at time.Time) error {
	const badge = "B-2551"
	next := t.set.trips[t.n+1]
	for _, step := range []struct {
		at             time.Time
		station, badge string
		data           events.SetReturned
	}{
		{op.end.Add(7*time.Minute + seconds(20*j)), op.station, op.runner, events.SetReturned{
			Step: events.ReturnLeft, Treated: yesOr(t.draw(12, "treated at the point of use") > 0)}},
		{op.end.Add(24*time.Minute + seconds(25*j)), washing, badge, events.SetReturned{Step: events.ReturnReceived}},
		{at, washing, badge, events.SetReturned{
			Step: events.ReturnWashed, Washer: washer, WasherLoad: load, Basket: fmt.Sprint(1 + j/2)}},
		{next.packedAt.Add(-6 * time.Minute), next.packing, next.packer, events.SetReturned{Step: events.ReturnInspected}},
	} {
		if step.at.After(next.packedAt) {
			return fmt.Errorf("%s is %s after it was packed again", t.set.id, step.data.Step)
		}
		if _, err := w.write(step.at, t.about(step.station, events.KindSetReturned, step.badge, step.data)); err != nil {
			return err
		}
	}
	report := func(at time.Time, station, badge string, d events.PieceReported) error {
		n, err := t.line(next.item)
		if err != nil {
			return err
		}
		d.Line, d.Item, d.Quantity = n, next.item, 1
		o := t.about(station, events.KindPieceReported, badge, d)
		o.Trip = t.id
		_, err = w.write(at, o)
		return err
	}
	switch next.what {
	case toRepair:
		return report(next.packedAt.Add(-4*time.Minute), next.packing, next.packer, events.PieceReported{
			Became: events.BecameRepair, Note: "jaw bent"})
	case foundLater:
		if err := report(at.Add(21*time.Minute), washing, badge, events.PieceReported{Became: events.BecameLost}); err != nil {
			return err
		}
		return report(next.packedAt.Add(95*time.Minute), washing, badge, events.PieceReported{
			Became: events.BecameFound, Place: "sump", WasherLoad: load})
	}
	return nil
}

func yesOr(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

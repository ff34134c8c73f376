package main

import (
	"fmt"
	"time"

	"listbound/events"
)

const (
	washing = site + "/washing"
	washer  = "W2"
)

// comeBack takes the sets of each case back to packing: out of the room, received, washed
// with the others of the case in one load, and inspected just before they are packed.
func (w *week) comeBack() error {
	run := 0
	for _, op := range w.ops {
		if op.day < scansBack {
			continue
		}
		run++
		load := fmt.Sprintf("%s-%s-%02d", washer, op.end.Format("0102"), run)
		for j, t := range op.trips {
			if t.n+1 == len(t.set.trips) {
				continue // nothing is packed after this week
			}
			next := t.set.trips[t.n+1]
			for _, step := range []struct {
				at             time.Time
				station, badge string
				data           events.SetReturned
			}{
				{op.end.Add(7*time.Minute + seconds(20*j)), op.station, op.runner, events.SetReturned{
					Step: events.ReturnLeft, Treated: yesOr(t.draw(12, "treated at the point of use") > 0)}},
				{op.end.Add(24*time.Minute + seconds(25*j)), washing, "B-2551", events.SetReturned{Step: events.ReturnReceived}},
				{op.end.Add(98*time.Minute + seconds(15*j)), washing, "B-2551", events.SetReturned{
					Step: events.ReturnWashed, Washer: washer, WasherLoad: load, Basket: fmt.Sprint(1 + j/2)}},
				{next.packedAt.Add(-6 * time.Minute), next.packing, next.packer, events.SetReturned{Step: events.ReturnInspected}},
			} {
				o := t.about(step.station, events.KindSetReturned, step.badge, step.data)
				if _, err := w.write(step.at, o); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func yesOr(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

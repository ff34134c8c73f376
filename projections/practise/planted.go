package practise

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/simulate"
)

// Step is a part of a set's way round.
type Step string

// The steps.
const (
	StepPacking     Step = "packing"
	StepSterilizing Step = "sterilizing" // and the ways to the sterilizer and from it
	StepStorage     Step = "storage"
	StepCart        Step = "cart"
	StepRoom        Step = "room"
	StepReturn      Step = "return" // from the last count to the next packing
)

// Steps lists them, in their order.
func Steps() []Step {
	return []Step{StepPacking, StepSterilizing, StepStorage, StepCart, StepRoom, StepReturn}
}

// stepOf is the step of a place, as the simulator names those.
func stepOf(place string) Step {
	_, station, _ := strings.Cut(place, "/")
	switch {
	case strings.HasPrefix(station, "packing-"):
		return StepPacking
	case strings.HasPrefix(station, "or-"):
		return StepRoom
	case strings.HasPrefix(place, "trolley "), strings.HasPrefix(place, "load "):
		return StepSterilizing
	case strings.HasPrefix(place, "cart "):
		return StepCart
	case place == afterCase:
		return StepReturn
	}
	return StepStorage
}

// afterCase is where a piece is lost on the way back.
const afterCase = "return"

// Happenings are what a cause can be, as the simulator names it.
func Happenings() []string {
	var out []string
	for _, k := range append(simulate.SheetFaults(), simulate.PieceShort, simulate.UsedTwice, simulate.Mispacked,
		simulate.Misplaced, simulate.Miscounted, simulate.LineOmitted) {
		out = append(out, string(k))
	}
	for _, k := range simulate.BackKinds() {
		if k != simulate.BackTook && k != simulate.BackGot && k != simulate.BackReplaced {
			out = append(out, string(k))
		}
	}
	return append(out, string(simulate.AsideUsed), string(simulate.ShutInside))
}

// planted returns what happened in a week if that is this cause and nothing else; else nil.
func (c *Cause) planted(w *simulate.Week) *Truth {
	var all []*Truth
	kinds := make([]string, 0, 1)
	add := func(kind string, t *Truth) { all, kinds = append(all, t), append(kinds, kind) }
	for _, f := range w.Faults {
		t := &Truth{Turns: keys(f.Trips), At: f.At, Place: f.Place}
		if f.Case != nil {
			t.At = countAt(w, f)
		}
		add(string(f.Kind), t)
	}
	for _, t := range w.Trips {
		if t.Heavy || t.Wet || t.Bare || t.Alone || t.Early != "" || t.Anew != "" {
			return nil
		}
		if b := t.Back; b != nil && b.Kind != simulate.BackTook && b.Kind != simulate.BackGot {
			turns := []*simulate.Trip{t}
			if b.Other != nil {
				turns = append(turns, b.Other)
			}
			add(string(b.Kind), &Truth{Turns: keys(turns), At: t.Stays[len(t.Stays)-1].To, Place: afterCase})
		}
		if t.Aside == simulate.AsideUsed {
			add(string(t.Aside), &Truth{Turns: keys([]*simulate.Trip{t}), At: t.Opened, Place: t.Case.Room})
		}
		if t.Shut != "" {
			s := shutAt(w, t)
			if s == nil {
				return nil
			}
			add(string(t.Shut), &Truth{Turns: keys([]*simulate.Trip{t}), At: s.Event.Time, Place: t.At(s.Event.Time)})
		}
	}
	if len(all) != 1 || kinds[0] != c.Happens {
		return nil
	}
	all[0].Step = stepOf(all[0].Place)
	if c.Step != "" && all[0].Step != c.Step {
		return nil
	}
	return all[0]
}

// countAt returns when the count of a case was made that is wrong; when it began, where there is none.
func countAt(w *simulate.Week, f *simulate.Fault) time.Time {
	stage := events.StageFinal
	if f.Kind == simulate.Miscounted {
		stage = events.StageFirst
	}
	for i := range w.Records {
		r := &w.Records[i]
		if d, ok := r.Data.(*events.SetCounted); ok && d.Stage == stage && d.Case == f.Case.Ref && r.Set == f.Trips[0].Set {
			return r.Event.Time
		}
	}
	return f.At
}

// shutAt returns the record by which a set was closed again; nil where it wasn't.
func shutAt(w *simulate.Week, t *simulate.Trip) *simulate.Record {
	i := slices.IndexFunc(w.Records, func(r simulate.Record) bool {
		return r.Event.Trip == t.ID && r.Kind == sealed && r.Event.Time.After(t.Sealed.Add(Slack))
	})
	if i < 0 {
		return nil
	}
	return &w.Records[i]
}

func keys(ts []*simulate.Trip) (out []projections.TripKey) {
	for _, t := range ts {
		out = append(out, projections.TripKey{Set: t.Set, Trip: t.ID})
	}
	return out
}

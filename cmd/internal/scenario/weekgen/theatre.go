package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"listbound/events"
)

const (
	cart     = site + "/case-cart"
	transfer = site + "/transfer"
)

// operate carries out the cases: cart, opening, counts, closing.
func (w *week) operate() error {
	for i, op := range w.ops {
		if err := w.deliver(i, op); err != nil {
			return err
		}
		for j, t := range op.trips {
			if err := w.open(t, op.opened.Add(seconds(100*j))); err != nil {
				return err
			}
		}
		for j, t := range op.trips {
			if err := w.countAll(t, j); err != nil {
				return err
			}
		}
		if op.outcome == leftOpen {
			continue
		}
		d := events.CaseClosed{Case: op.ref, Outcome: op.outcome, Actions: op.actions, Reason: op.reason,
			Witness: op.scrub}
		if d.Outcome == "" {
			d.Outcome, d.Actions = "reconciled", []string{}
		}
		if _, err := w.write(op.end, observation{Station: op.station, Kind: events.KindCaseClosed, Operator: op.runner,
			Data: d}); err != nil {
			return err
		}
	}
	return nil
}

// deliver takes the sets of a case from the shelf to the cart, and in room 2's
// morning through the transfer hatch.
func (w *week) deliver(n int, op *operation) error {
	const cartBadge, hatchBadge = "B-2061", "B-2071"
	for j, t := range op.trips {
		at := op.opened.Add(-65*time.Minute + seconds(n%7+70*j))
		if at.Before(t.stored.Add(5 * time.Minute)) {
			return fmt.Errorf("%s is stored at %s, and to be on the cart of %s at %s", t.set.id, t.stored, op.ref, at)
		}
		looks := t.draw(3, "cart looks at the sheet") > 0 &&
			(t.what == none || t.what == sealOther || t.what == sealTorn)
		d := t.check("case cart "+fmt.Sprint(n+1), looks)
		d.Seals = t.seals
		if _, err := w.write(at, t.about(cart, events.KindSetChecked, cartBadge, d)); err != nil {
			return err
		}
		if t.what == twoScans {
			if _, err := w.write(at.Add(20*time.Second),
				t.about(storage, events.KindSetChecked, "B-2051", t.check(t.place(), false))); err != nil {
				return err
			}
		}
	}
	if op.room != 2 || op.day == 0 || op.cut.Hour() > 8 {
		return nil
	}
	for j, t := range op.trips {
		d := t.check(fmt.Sprintf("transfer hatch OR %d", op.room), false)
		e, err := w.write(op.opened.Add(-25*time.Minute+seconds(55*j)),
			t.about(transfer, events.KindSetChecked, hatchBadge, d))
		if err != nil {
			return err
		}
		e.forged = t.what == wrongKey
	}
	return nil
}

// opening is what is recorded of a trip that is opened in order.
func (t *trip) opening(op *operation) events.SetOpened {
	d := events.SetOpened{Case: op.ref, Room: fmt.Sprintf("OR %d", op.room), Tag: t.set.id, OuterLabel: t.set.id,
		Seals: slices.Clone(t.seals), Indicator: "pass"}
	if t.set.placement != events.Screen {
		d.Sheet = &events.Reading{Found: string(t.set.placement), Code: t.code}
	}
	return d
}

// takenByMistake opens a trip the day before for a case that does not need it,
// and puts it back on its shelf as if nobody had.
func (w *week) takenByMistake(t *trip) error {
	i := slices.IndexFunc(w.ops, func(op *operation) bool { return op.ref == "K-0421" })
	if i < 0 {
		return fmt.Errorf("%s is to be opened for K-0421, which is not planned", t.set.id)
	}
	op := w.ops[i]
	at := op.opened.Add(9 * time.Minute)
	if at.Before(t.stored) || !at.Before(t.use.opened) {
		return fmt.Errorf("%s is not on the shelf at %s", t.set.id, at)
	}
	if _, err := w.write(at, t.about(op.station, events.KindSetOpened, op.runner, t.opening(op))); err != nil {
		return err
	}
	_, err := w.write(at.Add(38*time.Minute),
		t.about(storage, events.KindSetChecked, "B-2052", t.check(t.place(), false)))
	return err
}

func (w *week) open(t *trip, at time.Time) error {
	op := t.use
	d := t.opening(op)
	if t.what == usedAgain {
		if err := w.takenByMistake(t); err != nil {
			return err
		}
	}
	if err := t.spoil(&d); err != nil {
		return err
	}
	e, err := w.write(at, t.about(op.station, events.KindSetOpened, op.runner, d))
	if err != nil {
		return err
	}
	e.jump = t.what == numberJumps
	if t.what != newerProgram {
		return nil
	}
	// A station that signs for itself may run a later program than the ledger.
	raw, err := encode(struct {
		events.SetOpened
		IndicatorLot string `json:"indicatorLot"`
	}{d, "CI-0226"})
	if err != nil {
		return err
	}
	_, err = w.write(at.Add(3*time.Minute), t.about(op.station, events.KindEventCorrected, op.runner, correction{
		Event: e.id, Action: "replace", Reason: "the indicator's lot was left out", Data: raw,
	}))
	return err
}

// spoil changes an opening to what is wrong with the trip.
func (t *trip) spoil(d *events.SetOpened) (err error) {
	switch t.what {
	case sheetOf:
		d.Sheet.Code = t.other.code
	case sheetEarlier:
		d.Sheet.Code = t.set.trips[t.n-1].code
	case sheetEdited:
		edited := t.list.ListIssued
		edited.Lines = slices.Clone(edited.Lines)
		edited.Lines[10].Quantity += 2
		var list events.Digest
		if list, err = edited.Digest(); err == nil {
			d.Sheet.Code, err = sheetCode(list, t.set.id, t.id)
		}
	case sheetForeign:
		// A printout from the weeks before this ledger was begun.
		before := monday.AddDate(0, 0, -20)
		d.Sheet.Code, err = sheetCode(t.list.digest, t.set.id, events.DerivedID(before, t.list.digest))
	case sheetSmudged:
		d.Sheet.Code, d.Sheet.Unreadable = "", true
	case sheetGone, notSealed:
		d.Sheet = &events.Reading{Found: events.FoundNone}
	case sheetUnbagged:
		d.Sheet.Found = string(events.InsideBare)
	case sheetIgnored:
		d.Sheet = nil
	case tagIgnored:
		d.Tag = ""
	case labelOf:
		d.OuterLabel = t.other.set.id
	case sealOther:
		d.Seals[1] = "477713"
	case sealTorn:
		d.SealBroken = true
	case stripFailed:
		d.Indicator = "fail"
	}
	return err
}

// sheet is what the counts of a trip are made against.
func (t *trip) sheet() string {
	switch t.what {
	case sheetOf, sheetEarlier, sheetEdited, sheetForeign, sheetSmudged, sheetGone, sheetIgnored, notSealed:
		return events.SheetScreen
	}
	if t.set.placement == events.Screen {
		return events.SheetScreen
	}
	return t.code
}

// line returns the list line of an item.
func (t *trip) line(item string) (int64, error) {
	for _, l := range t.list.Lines {
		if l.Item == item {
			return l.Line, nil
		}
	}
	return 0, fmt.Errorf("%s has no %q on its list", t.set.id, item)
}

// counting is the counts of one trip in its case.
type counting struct {
	w     *week
	t     *trip
	nth   int             // of the sets of the case
	field map[int64]int64 // pieces by line, as they are
	odd   int64           // the line with which something is wrong, where there is one
	scrub string          // who counts now
	goods []goods         // what is counted with the set that belongs to none
}

// countAll makes a trip's counts, j-th of the sets of its case.
func (w *week) countAll(t *trip, j int) error {
	c := &counting{w: w, t: t, nth: j, field: maps.Clone(t.packed), scrub: t.use.scrub}
	if t.item != "" {
		var err error
		if c.odd, err = t.line(t.item); err != nil {
			return err
		}
	}
	c.openGoods()
	for _, stage := range []func() error{c.first, c.moreGoods, c.during, c.closing, c.final} {
		if err := stage(); err != nil {
			return err
		}
	}
	return nil
}

// count records one count of what is there, changed as the person at the desk did.
func (c *counting) count(stage events.Stage, at time.Time, change func(*events.SetCounted)) (*entry, error) {
	op := c.t.use
	d := events.SetCounted{Case: op.ref, Stage: stage, Sheet: c.t.sheet(), Counter: c.scrub, Witness: op.runner}
	if stage != events.StageAdded {
		for _, l := range c.t.list.Lines {
			d.Counts = append(d.Counts, events.Count{Line: l.Line, Counted: c.field[l.Line]})
		}
		c.countGoods(&d)
	}
	if change != nil {
		change(&d)
	}
	return c.w.write(at, c.t.about(op.station, events.KindSetCounted, op.runner, d))
}

// first counts before the cut.
func (c *counting) first() error {
	t := c.t
	if t.what == firstDiffers {
		c.field[c.odd]--
	}
	at := t.use.cut.Add(-6*time.Minute + seconds(150*c.nth))
	e, err := c.count(events.StageFirst, at, func(d *events.SetCounted) {
		switch t.what {
		case countSheetOf:
			d.Sheet = t.other.code
		case samePerson:
			d.Witness = d.Counter
		case mistyped:
			d.Counts[c.odd-1].Counted += 20
		}
	})
	if err != nil {
		return err
	}
	switch t.what {
	case mistyped:
		return c.w.retype(t, e, c.odd)
	case firstDiffers:
		_, err = c.w.write(at.Add(40*time.Minute),
			t.about(office, events.KindFindingAcknowledged, manager, events.FindingAcknowledged{
				Code:   "count-differs-at-opening",
				Reason: "packing asked: the missing piece was found on the packing table; the packer has been told",
			}))
	}
	return err
}

// during is what happens until the end comes near: pieces added, a relief, a cavity closed.
func (c *counting) during() error {
	t, op := c.t, c.t.use
	if t.what == none && t.draw(6, "added") == 0 {
		l := t.list.Lines[t.draw(len(t.list.Lines), "added line")].Line
		n := int64(1 + t.draw(2, "added pieces"))
		if _, err := c.count(events.StageAdded, op.cut.Add(34*time.Minute+seconds(40*c.nth)), func(d *events.SetCounted) {
			d.Counts = []events.Count{{Line: l, Counted: n}}
		}); err != nil {
			return err
		}
		c.field[l] += n
	}
	if op.relief {
		c.scrub = "B-339" + fmt.Sprint(op.day+1)
		if _, err := c.count(events.StageRelief, op.cut.Add(60*time.Minute+seconds(110*c.nth)), nil); err != nil {
			return err
		}
	}
	if op.cavity {
		if _, err := c.count(events.StageCavity, op.end.Add(-41*time.Minute+seconds(110*c.nth)), nil); err != nil {
			return err
		}
	}
	return nil
}

// closing counts before the wound is closed.
func (c *counting) closing() error {
	t := c.t
	switch t.what {
	case short:
		c.field[c.odd]--
	case over:
		c.field[c.odd]++
	case noClosing:
		return nil
	}
	_, err := c.count(events.StageClosing, t.use.end.Add(-26*time.Minute+seconds(110*c.nth)), func(d *events.SetCounted) {
		c.leaveInside(d)
		if t.what == none && t.draw(9, "removed") == 2 {
			i := t.draw(len(c.t.list.Lines), "removed line")
			d.Counts[i].Counted--
			c.field[d.Counts[i].Line]--
			d.Removed = append(d.Removed, events.Removed{
				Line: d.Counts[i].Line, Quantity: 1, Reason: "fell to the floor, put aside for washing",
			})
		}
	})
	return err
}

// final counts at the end.
func (c *counting) final() error {
	t := c.t
	_, err := c.count(events.StageFinal, t.use.end.Add(-12*time.Minute+seconds(90*c.nth)), func(d *events.SetCounted) {
		switch t.what {
		case lineUncounted:
			d.Counts = slices.Delete(d.Counts, 20, 22)
		case noWitness:
			d.Witness = ""
		}
	})
	return err
}

// retype replaces a first count in which one line was typed wrong.
func (w *week) retype(t *trip, wrong *entry, line int64) error {
	d, ok := wrong.parsed.Data.(*events.SetCounted)
	if !ok {
		return fmt.Errorf("%s: not a count", t.set.id)
	}
	right := *d
	right.Counts = slices.Clone(d.Counts)
	right.Counts[line-1].Counted -= 20
	raw, err := encode(right)
	if err != nil {
		return err
	}
	_, err = w.write(wrong.at.Add(4*time.Minute),
		t.about(t.use.station, events.KindEventCorrected, t.use.runner, correction{
			Event: wrong.id, Action: "replace", Reason: "typed 22 for 2; the pair counted 2", Data: raw,
		}))
	return err
}

// correction is event.corrected as a user writes it.
type correction struct {
	Event  string          `json:"event"`
	Action string          `json:"action"`
	Reason string          `json:"reason"`
	Data   json.RawMessage `json:"data,omitempty"`
}

// between carries out what happens on the shelves in the middle of the day.
func (w *week) between() error {
	for _, day := range []func() error{w.wednesday, w.thursday, w.friday} {
		if err := day(); err != nil {
			return err
		}
	}
	return nil
}

// hour is a time of a day of the week, Monday being 0.
func hour(day int, hhmm string) time.Time { return clock(monday.AddDate(0, 0, day), hhmm) }

// look records what was seen of a set that is on the shelf, at a moment that the scanner's clock shows as another.
func (w *week) look(at, shown time.Time, name, station string, of func(t *trip) events.SetChecked) (*trip, *entry, error) {
	t, err := w.find(name)
	if err != nil {
		return nil, nil, err
	}
	if t.stored.After(at) || t.use != nil && t.use.opened.Before(at) {
		return nil, nil, fmt.Errorf("%s is not on the shelf at %s", name, at)
	}
	o := t.about(station, events.KindSetChecked, "B-2052", of(t))
	o.Trip = t.id
	e, err := w.writeShown(at, shown, o)
	return t, e, err
}

func onShelf(t *trip) events.SetChecked { return t.check(t.place(), true) }

// withSheetOf is a look at a set that finds another's sheet.
func withSheetOf(other *trip) func(*trip) events.SetChecked {
	return func(t *trip) events.SetChecked {
		d := onShelf(t)
		d.Sheet.Code = other.code
		return d
	}
}

func (w *week) wednesday() error {
	// A scanner whose clock is ahead.
	for i, name := range []string{"GYN-005@K-0425", "THO-003@K-0428"} {
		t := hour(2, "13:10").Add(seconds(90 * i))
		if _, _, err := w.look(t, t.Add(aheadBy), name, aheadStation, onShelf); err != nil {
			return err
		}
	}
	// The neighbour's sheet scanned by mistake, and taken back.
	neighbour, err := w.find("RET-006@K-0431")
	if err != nil {
		return err
	}
	at := hour(2, "13:40")
	t, e, err := w.look(at, at, "RET-005@K-0428", storage, withSheetOf(neighbour))
	if err != nil {
		return err
	}
	if _, err := w.write(e.at.Add(3*time.Minute),
		observation{Station: storage, Kind: events.KindEventCorrected, Set: t.set.id, Trip: t.id, Operator: "B-2052",
			Data: correction{Event: e.id, Action: "void",
				Reason: "scanned the neighbour's sheet by mistake; the two stand side by side"}}); err != nil {
		return err
	}
	// Bay B is looked through; what changes places there does so later.
	for i, name := range []string{"RET-003@K-0425", "GYN-004@K-0426", "VAS-002@K-0431"} {
		t := hour(2, "14:20").Add(seconds(70 * i))
		if _, _, err := w.look(t, t, name, storage, onShelf); err != nil {
			return err
		}
	}
	return nil
}

func (w *week) thursday() error {
	// Two sheets had changed places; found on the shelf and put right.
	const one, two = "LAP-001@K-0438", "LAP-002@K-0439"
	wrong, err := w.find(two)
	if err != nil {
		return err
	}
	at := hour(3, "13:05")
	if _, _, err := w.look(at, at, one, storage, withSheetOf(wrong)); err != nil {
		return err
	}
	for i, name := range []string{one, two} {
		t := hour(3, "13:20").Add(seconds(75 * i))
		if _, _, err := w.look(t, t, name, storage, onShelf); err != nil {
			return err
		}
	}
	// A scanner whose clock fell back with a change of battery.
	at = hour(3, "14:00")
	if _, _, err := w.look(at, at, "VAS-005@K-0438", backStation, onShelf); err != nil {
		return err
	}
	at = hour(3, "14:04")
	_, _, err = w.look(at, at.Add(-backBy), "THO-004@K-0438", backStation, onShelf)
	return err
}

func (w *week) friday() error {
	// The fast scanner is taken out of use.
	_, err := w.write(hour(4, "15:00"), observation{Station: events.LedgerName(site), Kind: events.KindStationRetired,
		Data: events.StationRetired{Station: aheadStation, Reason: "its clock can't be set; replaced"}})
	return err
}

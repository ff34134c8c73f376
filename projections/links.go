package projections

import (
	"slices"
	"strings"

	"listbound/events"
)

// links finds required links that are absent although a later one is there,
// and returns whether set.counted is among them.
//
// A link is asked for by the policy in force at the later link and, where one
// came before, at the earlier as well: a step cannot be asked for after the
// time for it has passed.
func (j *judgement) links() (countMissing bool) {
	c, w := j.c, j.w
	if len(c.steps) == 0 {
		return false
	}
	var missing []events.Kind
	var before *item
	present := make([]events.Kind, 0, 6)
	for _, l := range allLinks {
		if c.first(l) != nil {
			present = append(present, l)
		}
	}
	last := c.steps[len(c.steps)-1]
	check := func(later events.Kind, at *item) {
		// The closing of a case is no step of the trip: its policy is that of the last step.
		p := w.policyAt(at)
		if at.kind == events.KindCaseClosed {
			p = w.policyAt(last)
		}
		end := slices.Index(p.Links, later)
		if later == "" {
			end = slices.Index(p.Links, events.KindCaseClosed)
			if end < 0 {
				end = len(p.Links)
			}
		}
		for i := range max(end, 0) {
			l := p.Links[i]
			if c.first(l) != nil || slices.Contains(missing, l) {
				continue
			}
			for k := i - 1; k >= 0; k-- {
				if prev := c.first(p.Links[k]); prev != nil {
					if !slices.Contains(w.policyAt(prev).Links, l) {
						l = ""
					}
					break
				}
			}
			if l != "" {
				missing = append(missing, l)
				if before == nil {
					before = at
				}
			}
		}
	}
	for _, l := range present {
		check(l, c.first(l))
	}
	if c.next != nil && len(c.opened) > 0 {
		// Packed again after use: what was not done by now will not be. The case
		// may still be closed.
		check("", last)
	}
	if len(missing) > 0 {
		f := j.add(LinkMissing, SeverityBroken, func(in sentences) Text { return Text{in.sayLinkMissing(c, missing, before), in.nextLinkMissing()} }, before)
		f.To = before.at()
	}
	j.unread()
	return slices.Contains(missing, events.KindSetCounted)
}

var allLinks = events.DefaultPolicy().Links

// unread: opened without reading the sheet, where the policy does not allow it.
func (j *judgement) unread() {
	for i := range j.c.readings {
		r := &j.c.readings[i]
		if !r.opening || r.class != readNothing || r.seal == nil {
			continue
		}
		s := sealOf(r.seal)
		if slices.Contains(j.w.policyAt(r.it).MayStayUnread, s.Placement) {
			continue
		}
		// A case may use one set twice; a sheet read at the first opening was read.
		if g := j.c.lastGood(r.it); g != nil && g.opening {
			continue
		}
		f := j.add(LinkMissing, SeverityBroken, func(in sentences) Text { return Text{in.sayOpenedUnread(j.c, r, s.Placement), in.nextOpenedUnread()} }, r.it, r.seal)
		f.From, f.To = j.c.knownRight(r.it), r.it.at()
	}
}

// order finds links whose observed times contradict the policy's order by more
// than the clocks may differ, and a set opened again for another case.
func (j *judgement) order() {
	c, w := j.c, j.w
	if len(c.steps) == 0 {
		return
	}
	last := c.steps[len(c.steps)-1]
	for _, l := range allLinks {
		it := c.first(l)
		if it == nil {
			continue
		}
		p := w.policyAt(it)
		if l == events.KindCaseClosed {
			p = w.policyAt(last)
		}
		tolerance := seconds(p.ClockToleranceSeconds)
		// What the step came before, and the step.
		var worst, step *item
		for _, e := range p.Links[:max(slices.Index(p.Links, l), 0)] {
			x, at := c.first(e), it
			if l == events.KindCaseClosed && e == events.KindSetCounted {
				// Every count belongs before the last closing. Other steps may come again.
				x, at = c.lastCount(), c.closings[len(c.closings)-1]
			}
			if x != nil && x.at().Sub(at.at()) > tolerance && (worst == nil || worst.less(x)) {
				worst, step = x, at
			}
		}
		if worst != nil {
			f := j.add(LinkOutOfOrder, SeverityDoubtful, func(in sentences) Text { return Text{in.sayOutOfOrder(c.key, step, worst), in.nextOutOfOrder()} }, step, worst)
			f.From, f.To = step.at(), worst.at()
		}
	}
	j.packedAfterRun()
	for i := 1; i < len(c.opened); i++ {
		a, b := c.opened[i-1], c.opened[i]
		if c.next != nil && a.less(c.next) && c.next.less(b) {
			continue // packed again between the two: places says whose the second is
		}
		if caseOf(a.data) != caseOf(b.data) {
			f := j.add(LinkOutOfOrder, SeverityDoubtful, func(in sentences) Text { return Text{in.sayReopened(c.key, a, b), in.nextReopened()} }, a, b)
			f.From, f.To = a.at(), b.at()
		}
	}
	if len(c.opened) == 0 {
		return
	}
	var other []*item
	for _, it := range c.counted {
		ref := caseOf(it.data)
		if !slices.ContainsFunc(c.opened, func(o *item) bool { return caseOf(o.data) == ref }) {
			other = append(other, it)
		}
	}
	if len(other) > 0 {
		f := j.add(LinkOutOfOrder, SeverityDoubtful, func(in sentences) Text {
			return Text{in.sayCountedOtherCase(c.key, c.opened[0], other[0]), in.nextReopened()}
		}, append(other, c.opened[0])...)
		f.From, f.To = c.opened[0].at(), other[len(other)-1].at()
	}
}

// packedAfterRun finds a set that was packed again within its trip after it had
// been sterilized, and opened without another run: what was packed last was in
// no load.
func (j *judgement) packedAfterRun() {
	c, w := j.c, j.w
	open := c.firstOpened()
	_, run := c.releasing(w, open)
	if open == nil || run == nil || len(c.packed) == 0 {
		return
	}
	p := w.policyAt(run)
	if i, k := slices.Index(p.Links, events.KindSetPacked), slices.Index(p.Links, events.KindSetSterilized); i < 0 || k < i {
		return
	}
	first := c.packed[0]
	if first.at().Sub(run.at()) > seconds(p.ClockToleranceSeconds) {
		return // the first packing is after the run already, which is said
	}
	for _, pack := range slices.Backward(c.packed) {
		if !pack.less(open) {
			continue
		}
		if pack.at().Sub(run.at()) > seconds(p.ClockToleranceSeconds) {
			f := j.add(LinkOutOfOrder, SeverityBroken, func(in sentences) Text {
				return Text{in.sayPackedAfterRun(c.key, run, pack, open), in.nextNotReleased()}
			}, run, pack, open)
			f.From, f.To = run.at(), pack.at()
		}
		return
	}
}

// places finds a set in two places at once.
//
// Packing an unopened set again is ordinary (a torn wrap, a date run out), so
// it is only noted, until something is observed of the older trip afterwards:
// then two trips of one set are open, and one of them is of another set.
func (j *judgement) places() {
	c, w := j.c, j.w
	if c.next != nil {
		after := j.afterRepack(c)
		if len(after) > 0 {
			j.twoTrips(c, c.next, after)
		} else if len(c.opened) == 0 {
			f := j.add(TwoPlaces, SeverityNoted, func(in sentences) Text { return Text{in.sayRepacked(c.key, c.next), in.nextRepacked()} }, c.next)
			f.From, f.To = c.steps[len(c.steps)-1].at(), c.next.at()
		}
	}
	if c.prev != "" {
		p := w.chain(TripKey{c.key.Set, c.prev})
		if p.next != nil && p.next.Event.Trip == c.key.Trip {
			if after := j.afterRepack(p); len(after) > 0 {
				j.twoTrips(p, p.next, after)
			}
		}
	}
	for i := 1; i < len(c.steps); i++ {
		a, b := c.steps[i-1], c.steps[i]
		limit := seconds(w.policyAt(b).MinimumTravelSeconds)
		if a.Event.Station == b.Event.Station || sameRoom(a, b) || b.at().Sub(a.at()) >= limit {
			continue
		}
		f := j.add(TwoPlaces, SeverityDoubtful, func(in sentences) Text { return Text{in.sayTwoPlaces(c.key, a, b), in.nextTwoPlaces()} }, a, b)
		f.From, f.To = a.at(), b.at()
		f.Places = []string{placeOf(a), placeOf(b)}
	}
}

// sameRoom compares where two steps were observed; an opening names its room
// besides its station.
func sameRoom(a, b *item) bool {
	rooms := func(it *item) []string {
		if d, ok := it.data.(*events.SetOpened); ok && d.Room != "" {
			return []string{placeOf(it), strings.TrimSpace(d.Room)}
		}
		return []string{placeOf(it)}
	}
	for _, x := range rooms(a) {
		if slices.ContainsFunc(rooms(b), func(y string) bool { return samePlace(x, y) }) {
			return true
		}
	}
	return false
}

// afterRepack returns what was observed of a trip after the set's next trip had
// begun, beyond what the clocks may differ.
func (j *judgement) afterRepack(c *chain) []*item {
	limit := seconds(j.w.policyAt(c.next).ClockToleranceSeconds)
	var out []*item
	for _, it := range c.steps {
		if it.at().Sub(c.next.at()) > limit {
			out = append(out, it)
		}
	}
	return out
}

func (j *judgement) twoTrips(older *chain, pack *item, after []*item) {
	f := j.add(TwoPlaces, SeverityDoubtful, func(in sentences) Text { return Text{in.sayTwoTrips(older, after[0]), in.nextTwoPlaces()} }, append([]*item{pack}, after...)...)
	f.From, f.To = pack.at(), after[len(after)-1].at()
	f.Other = &TripKey{older.key.Set, older.key.Trip}
	if older.key == j.c.key {
		f.Other = &TripKey{pack.Event.Subject, pack.Event.Trip}
	}
}

func runOf(it *item) *events.SetSterilized {
	if it == nil {
		return nil
	}
	d, _ := it.data.(*events.SetSterilized)
	return d
}

// releasing returns the run that a set's use rests on: the last that passed
// and was released by a moment (nil: ever), and the last of any kind. A run that
// passed and was not released takes back what an earlier one released: the set
// was in it for a reason.
func (c *chain) releasing(w *World, by *item) (good, last *item) {
	for _, it := range c.sterilized {
		if by != nil && it.at().Sub(by.at()) > seconds(w.policyAt(by).ClockToleranceSeconds) {
			continue
		}
		last = it
		switch d := runOf(it); {
		case d.Result == "passed" && d.Released:
			good = it
		case d.Result == "passed":
			good = nil
		}
	}
	return good, last
}

// release: opened without a passed and released load; a failed run that no
// passed one followed; a cycle the list does not allow; a chemical indicator
// that did not change.
func (j *judgement) release() {
	c := j.c
	open := c.firstOpened()
	good, last := c.releasing(j.w, open)
	if open != nil && good == nil {
		// Where the policy asks for no sterilization here, its absence is no fault.
		if last != nil || slices.Contains(j.w.policyAt(open).Links, events.KindSetSterilized) {
			f := j.add(NotReleased, SeverityBroken, func(in sentences) Text { return Text{in.sayNotReleased(c.key, open, last), in.nextNotReleased()} }, open, last)
			f.To = open.at()
		}
	}
	if last != nil && runOf(last).Result == "failed" && !(open != nil && good == nil) {
		f := j.add(NotReleased, SeverityBroken, func(in sentences) Text { return Text{in.sayFailedRun(c.key, last), in.nextNotReleased()} }, last)
		f.From, f.To = last.at(), last.at()
	}
	if good != nil && c.list != nil && len(c.list.Cycles) > 0 && !slices.Contains(c.list.Cycles, runOf(good).Cycle) {
		f := j.add(NotReleased, SeverityBroken, func(in sentences) Text { return Text{in.sayWrongCycle(c.key, good, c.list), in.nextNotReleased()} }, good, c.listItem)
		f.From, f.To = good.at(), good.at()
	}
	for _, it := range c.opened {
		if d, ok := it.data.(*events.SetOpened); ok && d.Indicator == "fail" {
			f := j.add(NotReleased, SeverityBroken, func(in sentences) Text { return Text{in.sayIndicatorFail(c.key, it), in.nextNotReleased()} }, it)
			f.To = it.at()
		}
	}
}

package projections

import (
	"slices"

	"listbound/events"
)

// maxFixDepth ends a row of corrections of corrections. Ids derive from
// content, so an honest row never bites its own tail; a forged one must not
// hang the judgement.
const maxFixDepth = 16

// settle works out what of an event is in force.
func (w *World) settle(it *item) {
	it.data, it.void, it.by, it.unread = w.inForce(it, 0)
	it.code = codeOf(it.data)
	it.alts = it.alts[:0:0]
	for _, c := range w.fixes[it.Event.ID] {
		// What a correction once put in place stays findable, so that taking the
		// correction back reaches whatever had been judged by it.
		for _, d := range append([]events.Data{c.Event.Data}, c.alts...) {
			fix, ok := d.(*events.EventCorrected)
			if !ok || fix.Action != "replace" {
				continue
			}
			if alt, err := events.ParseObservedData(it.kind, fix.Data); err == nil {
				it.alts = append(it.alts, alt)
				w.file(it, alt, codeOf(alt), true)
			}
		}
	}
}

// settleTarget settles what a correction corrects, and, where that is a
// correction itself, what that one corrects.
func (w *World) settleTarget(c *item) {
	for range maxFixDepth + 1 {
		d, ok := c.Event.Data.(*events.EventCorrected)
		if !ok {
			return
		}
		t := w.ids[d.Event]
		if t == nil {
			return
		}
		w.settle(t)
		for _, twin := range w.twins[d.Event] {
			w.settle(twin)
		}
		c = t
	}
}

// inForce applies the corrections of an event: the one observed last (tie: by
// id) decides whether it is void or says something else. A correction that is
// void itself does not count.
func (w *World) inForce(it *item, depth int) (data events.Data, void bool, by *item, unread []*item) {
	data, void = it.Event.Data, w.again(it)
	if depth > maxFixDepth || void {
		return data, void, nil, nil
	}
	fixes := slices.Clone(w.fixes[it.Event.ID])
	slices.SortFunc(fixes, compare)
	for _, c := range fixes {
		cd, cvoid, _, _ := w.inForce(c, depth+1)
		fix, ok := cd.(*events.EventCorrected)
		if cvoid || !ok {
			continue
		}
		if fix.Action == "void" {
			data, void, by = it.Event.Data, true, c
			continue
		}
		d, err := events.ParseObservedData(it.kind, fix.Data)
		if err == nil && !samePlaceInTheBooks(it, d) {
			err = errOtherEvent
		}
		if err != nil {
			unread = append(unread, c)
			continue
		}
		data, void, by = d, false, c
	}
	return data, void, by, unread
}

type fixError string

func (e fixError) Error() string { return string(e) }

const errOtherEvent = fixError("a correction of a correction names another event")

// samePlaceInTheBooks refuses a replaced correction that points at another
// event: taking a correction from one event to another is two corrections.
func samePlaceInTheBooks(it *item, d events.Data) bool {
	n, ok := d.(*events.EventCorrected)
	if !ok {
		return true
	}
	o, ok := it.Event.Data.(*events.EventCorrected)
	return ok && o.Event == n.Event
}

package facts

import (
	"listbound/events"
	"slices"
)

// maxFixDepth bounds a chain of corrections of corrections. Ids derive from
// content, so an honest chain has no cycle; a forged one must not put
// judgement into an infinite loop.
const maxFixDepth = 16

// applyCorrections works out what of an event is in force.
func (b *Book) applyCorrections(it *Item) {
	it.Data, it.Void, it.By, it.Unread = b.inForce(it, 0)
	it.Code = codeOf(it.Data)
	it.alts = it.alts[:0:0]
	for _, c := range b.fixes[it.Event.ID] {
		// What a correction once put in place stays findable, so that taking the
		// correction back reaches whatever had been judged by it.
		for _, d := range append([]events.Data{c.Event.Data}, c.alts...) {
			fix, ok := d.(*events.EventCorrected)
			if !ok || fix.Action != "replace" || c.Forged() {
				continue
			}
			if alt, err := events.ParseObservedData(it.Kind, fix.Data); err == nil {
				it.alts = append(it.alts, alt)
				b.file(it, alt, codeOf(alt), true)
			}
		}
	}
}

// applyToTarget applies the corrections of what a correction corrects, and, where that is a
// correction itself, what that one corrects.
func (b *Book) applyToTarget(c *Item) {
	for range maxFixDepth + 1 {
		d, ok := c.Event.Data.(*events.EventCorrected)
		if !ok {
			return
		}
		t := b.ids.get(d.Event)
		if t == nil {
			return
		}
		b.applyCorrections(t)
		for _, twin := range b.twins[d.Event] {
			b.applyCorrections(twin)
		}
		c = t
	}
}

// inForce applies the corrections of an event: the one observed last (tie: by
// id) decides whether it is void or says something else. A correction that is
// void itself does not count, nor one that its station did not sign: anybody
// can make that one.
func (b *Book) inForce(it *Item, depth int) (data events.Data, void bool, by *Item, unread []*Item) {
	data, void = it.Event.Data, b.repeated(it)
	if depth > maxFixDepth || void {
		return data, void, nil, nil
	}
	fixes := slices.Clone(b.fixes[it.Event.ID])
	slices.SortFunc(fixes, Compare)
	for _, c := range fixes {
		cd, cvoid, _, _ := b.inForce(c, depth+1)
		fix, ok := cd.(*events.EventCorrected)
		if cvoid || !ok || c.Forged() {
			continue
		}
		if fix.Action == "void" {
			data, void, by = it.Event.Data, true, c
			continue
		}
		d, err := events.ParseObservedData(it.Kind, fix.Data)
		if err == nil && !sameTarget(it, d) {
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

// sameTarget refuses a replaced correction that points at another
// event: taking a correction from one event to another is two corrections.
func sameTarget(it *Item, d events.Data) bool {
	n, ok := d.(*events.EventCorrected)
	if !ok {
		return true
	}
	o, ok := it.Event.Data.(*events.EventCorrected)
	return ok && o.Event == n.Event
}

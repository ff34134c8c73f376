package events

import (
	"fmt"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// foundWords are those of Reading.Found.
var foundWords = func() (words []string) {
	for _, p := range placements {
		words = append(words, string(p))
	}
	return append(words, FoundNone)
}()

// Check implements Data.
func (d *ListIssued) Check() error {
	var c checks
	c.id("list", d.List)
	c.inRange("version", d.Version, 1, maxCount)
	c.text("title", d.Title)
	n := len(d.Lines)
	c.must(n >= 1 && n <= maxLines, "the list has %d lines; it has from 1 to %d", n, maxLines)
	numbers := make(map[int64]struct{}, n)
	for _, l := range d.Lines {
		c.startLine("", l.Line, numbers)
		c.id("item", l.Item)
		c.text("description", l.Description)
		c.inRange("quantity", l.Quantity, 0, maxCount)
	}
	c.endLines()
	for _, cycle := range d.Cycles {
		c.id("cycle", cycle)
	}
	return c.err
}

// Check implements Data.
func (d *SetPacked) Check() error {
	var c checks
	c.id("list", d.List)
	c.inRange("version", d.Version, 1, maxCount)
	c.inRange("weightGrams", d.WeightGrams, 0, maxGrams)
	c.optionalText("note", d.Note)
	c.optionalID("secondLook", d.SecondLook)
	numbers := make(map[int64]struct{}, len(d.Exceptions))
	for _, x := range d.Exceptions {
		c.startLine("exceptions: ", x.Line, numbers)
		c.inRange("counted", x.Counted, 0, maxCount)
		c.text("reason", x.Reason)
	}
	return c.err
}

// Check implements Data.
func (d *ListSealed) Check() error {
	var c checks
	oneOf(&c, "placement", d.Placement, placements...)
	c.optionalID("list", d.List)
	c.inRange("version", d.Version, 0, maxCount)
	c.each("seal", d.Seals, checkID)
	c.optionalID("bagLot", d.BagLot)
	c.optionalDigest("listDigest", d.ListDigest)
	c.optionalDigest("binding", d.Binding)
	c.optionalCode("", d.Code)
	return c.err
}

// Check implements Data.
func (d *SetSterilized) Check() error {
	var c checks
	c.id("load", d.Load)
	c.id("sterilizer", d.Sterilizer)
	c.inRange("run", d.Run, 1, 9999999)
	c.id("cycle", d.Cycle)
	oneOf(&c, "result", d.Result, "passed", "failed")
	if _, err := time.Parse(time.RFC3339, d.Started); d.Started != "" && err != nil {
		c.must(false, "started: %q is no time such as 2026-03-02T08:02:00Z", d.Started)
	}
	c.optionalID("loader", d.Loader)
	return c.err
}

func (r *Reading) check(c *checks) {
	if r == nil {
		return
	}
	oneOf(c, "sheet: found", r.Found, foundWords...)
	c.must(r.Found != FoundNone || r.Code == "" && !r.Unreadable,
		"sheet: found none, yet a code or a damaged code is given")
	c.must(!r.Unreadable || r.Code == "", "sheet: a code is given and called unreadable; give one of the two")
	c.optionalCode("sheet: ", r.Code)
}

// Check implements Data.
func (d *SetChecked) Check() error {
	var c checks
	c.optionalText("place", d.Place)
	c.optionalID("tag", d.Tag)
	c.optionalID("outerLabel", d.OuterLabel)
	d.Sheet.check(&c)
	c.each("seal", d.Seals, checkID)
	return c.err
}

// Check implements Data.
func (d *SetOpened) Check() error {
	var c checks
	if d.Indicator != "" {
		oneOf(&c, "indicator", d.Indicator, "pass", "fail")
	}
	c.id("case", d.Case)
	c.optionalText("room", d.Room)
	c.optionalID("tag", d.Tag)
	c.optionalID("outerLabel", d.OuterLabel)
	d.Sheet.check(&c)
	c.each("seal", d.Seals, checkID)
	return c.err
}

// Check implements Data.
func (d *SetCounted) Check() error {
	var c checks
	oneOf(&c, "stage", d.Stage, stages...)
	c.id("case", d.Case)
	c.id("counter", d.Counter)
	c.optionalID("witness", d.Witness)
	c.must(d.Sheet != "", "sheet is missing: give the code counted against, or %q for the list on the screen", SheetScreen)
	if d.Sheet != SheetScreen {
		c.optionalCode("sheet: ", d.Sheet)
	}
	numbers := make(map[int64]struct{}, len(d.Counts))
	for _, x := range d.Counts {
		c.startLine("counts: ", x.Line, numbers)
		c.inRange("counted", x.Counted, 0, maxCount)
	}
	for _, x := range d.Removed {
		// For two reasons a line may stand here twice.
		c.startLine("removed: ", x.Line, nil)
		c.inRange("quantity", x.Quantity, 1, maxCount)
		c.text("reason", x.Reason)
	}
	return c.err
}

// Check implements Data.
func (d *CaseClosed) Check() error {
	var c checks
	c.id("case", d.Case)
	oneOf(&c, "outcome", d.Outcome, "reconciled", "unreconciled")
	c.optionalText("reason", d.Reason)
	c.optionalID("witness", d.Witness)
	c.each("action", d.Actions, checkText)
	return c.err
}

// Check implements Data.
func (d *IndicatorRead) Check() error {
	var c checks
	c.id("load", d.Load)
	c.id("sterilizer", d.Sterilizer)
	oneOf(&c, "result", d.Result, "negative", "positive")
	c.optionalText("lot", d.Lot)
	if d.Control != "" {
		oneOf(&c, "control", d.Control, "negative", "positive")
	}
	return c.err
}

// Check implements Data.
func (d *PolicyAdopted) Check() error {
	var c checks
	c.keep(d.Policy.Check())
	c.optionalText("reason", d.Reason)
	return c.err
}

// patternKinds are the kinds of things whose plain codes a site can describe.
func patternKinds() []ScanKind { return []ScanKind{ScanBadge, ScanCase, ScanSeal, ScanSet, ScanLoad} }

// Check refuses a policy nobody can mean.
func (p *Policy) Check() error {
	c := checks{where: "policy: "}
	for _, k := range p.Links {
		c.must(k.IsLink(), "links: %q is not a link of a trip", k)
	}
	for _, s := range p.Stages {
		c.must(slices.Contains(stages, s), "stages: %q is not a stage of a count", s)
	}
	for _, m := range p.MayStayUnread {
		c.must(slices.Contains(placements, m), "mayStayUnread: %q is not a placement", m)
	}
	c.inRange("clockToleranceSeconds", p.ClockToleranceSeconds, 0, 86400)
	c.inRange("minimumTravelSeconds", p.MinimumTravelSeconds, 0, 86400)
	c.inRange("weightLimitGrams", p.WeightLimitGrams, 0, maxGrams)
	for _, l := range p.SecondLook {
		c.id("secondLook", l)
	}
	c.inRange("badgeMinutes", p.BadgeMinutes, 0, 24*60)
	for _, cycle := range p.Cycles {
		c.id("cycles", cycle)
	}
	for _, code := range p.Codes {
		c.must(slices.Contains(patternKinds(), code.Kind), "codes: %q is not badge, case, seal, set or load", code.Kind)
		c.id("codes", code.Like)
	}
	c.must(p.Recall == RecallRepeat || p.Recall == RecallAll,
		"recall is %q; it is %q or %q", p.Recall, RecallRepeat, RecallAll)
	return c.err
}

// Check implements Data.
func (d *StationEnrolled) Check() error {
	var c checks
	c.station(d.Station)
	if c.err != nil {
		return c.err
	}
	v, err := note.NewVerifier(d.Key)
	if err != nil {
		return fmt.Errorf("key of %s is not a signed-note verifier key (name+hash+base64)", d.Station)
	}
	c.must(v.Name() == d.Station,
		"the key is named %q, the station %q; a station's key carries its name", v.Name(), d.Station)
	c.optionalText("reason", d.Reason)
	return c.err
}

// Check implements Data.
func (d *StationRetired) Check() error {
	var c checks
	c.station(d.Station)
	c.text("reason", d.Reason)
	return c.err
}

// Check implements Data.
func (d *FindingAcknowledged) Check() error {
	var c checks
	c.id("code", d.Code)
	c.text("reason", d.Reason)
	return c.err
}

// Check implements Data.
func (d *EventCorrected) Check() error {
	var c checks
	c.uuid("event", d.Event)
	oneOf(&c, "action", d.Action, "void", "replace")
	c.text("reason", d.Reason)
	c.must((d.Action == "replace") == (len(d.Data) > 0),
		"action %s: data is given with replace, and only then", d.Action)
	return c.err
}

// Check implements Data.
func (d *Unknown) Check() error { return nil }

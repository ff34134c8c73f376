package judge

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func packageRules() []Rule {
	return []Rule{
		{"put aside", []projections.Code{projections.PutAside}, (*judgement).aside},
		{"package", []projections.Code{projections.PackageUnfit}, (*judgement).packages},
		{"shelf life", []projections.Code{projections.PackageUnfit}, (*judgement).shelfLife},
	}
}

// aside finds a set that was put aside and used all the same, or that still lies
// there. It may be used once it is released, or packed and run again.
func (j *judgement) aside() {
	c := j.c
	var put, packed *facts.Item
	var opened []string // cases for which it was opened before it was put aside
	for _, it := range j.stepsOfTray() {
		switch d := it.Data.(type) {
		case *events.SetChecked:
			switch d.Aside {
			case events.AsidePut:
				put, packed = it, nil
			case events.AsideReleased:
				put = nil
			}
		case *events.SetPacked:
			packed = it
		case *events.SetSterilized:
			if packed != nil && d.Result == "passed" && d.Released {
				put = nil
			}
		case *events.SetOpened, *events.SetCounted:
			ref := events.CaseOf(it.Data)
			if put == nil {
				opened = append(opened, ref)
			}
			if put == nil || !j.w.PolicyFor(it).AsksQuarantine() ||
				it.Kind == events.KindSetCounted && slices.Contains(opened, ref) { // counted out of the case
				continue
			}
			f := j.add(projections.PutAside, projections.SeverityBroken, &projections.UsedAside{
				Set: c.Key.Set, Aside: moment(put), Reason: checkOf(put).Reason, Used: moment(it), Case: events.CaseOf(it.Data),
			}, put, it)
			f.From, f.To = put.At(), it.At()
			return
		}
	}
	if put == nil || c.Over() || !j.w.PolicyFor(put).AsksQuarantine() {
		return
	}
	f := j.add(projections.PutAside, projections.SeverityDoubtful, &projections.WaitsAside{
		Set: c.Key.Set, Aside: moment(put), Reason: checkOf(put).Reason,
	}, put)
	f.From, f.To = put.At(), put.At()
}

// stepsOfTray returns in order what was done with the tray of a trip and with what
// it is packed in: the tag on the tray decides, and the record's name only where
// none was read. So looks at it and openings of it under other sets' names are among
// them, and those of other trays under its own name are not, nor the counts for a
// case for which nothing but another tray was opened under its name.
func (j *judgement) stepsOfTray() []*facts.Item {
	out := make([]*facts.Item, 0, len(j.c.Steps))
	var mine, others []string // cases for which it and another tray were opened under its name
	for _, it := range j.c.Opened {
		if ref := events.CaseOf(it.Data); j.w.trayOf(j.c, it) == j.c.Key.Set {
			mine = append(mine, ref)
		} else {
			others = append(others, ref)
		}
	}
	for _, it := range j.c.Steps {
		ref := events.CaseOf(it.Data)
		switch it.Kind {
		case events.KindSetChecked, events.KindSetOpened:
			if j.w.trayOf(j.c, it) != j.c.Key.Set {
				continue
			}
		case events.KindSetCounted:
			if slices.Contains(others, ref) && !slices.Contains(mine, ref) {
				continue
			}
		}
		out = append(out, it)
	}
	named := len(out)
	for _, o := range j.w.otherNames(j.c) {
		for _, it := range []*facts.Item{o.read.It, o.opening} {
			if it != nil && !slices.Contains(out[named:], it) {
				out = append(out, it)
			}
		}
	}
	if len(out) > named {
		slices.SortFunc(out, facts.Compare)
	}
	return out
}

func checkOf(it *facts.Item) *events.SetChecked {
	d, _ := it.Data.(*events.SetChecked)
	return d
}

// packages finds what somebody saw to be wrong with a set's package. A drop may
// have harmed nothing: that is doubtful, the others are broken. Where somebody
// released the set for a reason, it weighs one step less; where it was packed anew
// before anybody used it, it is a near miss.
func (j *judgement) packages() {
	for _, it := range j.stepsOfTray() {
		faults := packageOf(it)
		if len(faults) == 0 || !j.w.PolicyFor(it).AsksSoundPackage() {
			continue
		}
		d := &projections.PackageFaulty{
			Set: j.c.Key.Set, At: moment(it), Faults: faults, Opening: it.Kind == events.KindSetOpened,
			Unopened: j.w.firstOpened(j.c) == nil,
		}
		sev := projections.SeverityBroken
		if !slices.ContainsFunc(faults, func(f events.PackageFault) bool { return f != events.PackageDropped }) {
			sev = projections.SeverityDoubtful
		}
		released, anew := j.releasedAfter(it), j.packedAnew(it)
		if released != nil {
			d.Released, d.Reason = momentAt(released), checkOf(released).Reason
			sev = lighter(sev)
		}
		if anew != nil {
			d.Righted, sev = momentAt(anew), projections.SeverityNoted
		}
		f := j.add(projections.PackageUnfit, sev, d, it, released, anew)
		f.To = it.At()
	}
}

// packageOf returns what an observation says to be wrong with the package.
func packageOf(it *facts.Item) []events.PackageFault {
	switch d := it.Data.(type) {
	case *events.SetChecked:
		return d.Package
	case *events.SetOpened:
		return d.Package
	}
	return nil
}

func lighter(s projections.Severity) projections.Severity {
	if s == projections.SeverityBroken {
		return projections.SeverityDoubtful
	}
	return projections.SeverityNoted
}

// releasedAfter returns the release of a set between a check and its opening, nil
// without one.
func (j *judgement) releasedAfter(at *facts.Item) *facts.Item {
	open := j.w.firstOpened(j.c)
	for _, it := range j.stepsOfTray() {
		d := checkOf(it)
		if d != nil && d.Aside == events.AsideReleased && at.Less(it) && (open == nil || it.Less(open)) {
			return it
		}
	}
	return nil
}

// packedAnew returns the packing that followed a check before anybody opened the
// set, nil without one.
func (j *judgement) packedAnew(at *facts.Item) *facts.Item {
	open := j.w.firstOpened(j.c)
	for _, it := range append(slices.Clone(j.c.Packed), j.c.Next) {
		if it != nil && at.Less(it) && (open == nil || it.Less(open)) {
			return it
		}
	}
	return nil
}

// shelfLife finds a set that was opened later after its run than the policy
// allows, and one that nobody has opened by then.
func (j *judgement) shelfLife() {
	c := j.c
	open := j.w.firstOpened(c)
	run, _ := c.Releasing(j.w.Book, open)
	if run == nil || open == nil && c.Over() {
		return
	}
	by := run
	if open != nil {
		by = open
	}
	days := j.w.PolicyFor(by).ShelfLifeDays
	if days == 0 {
		return
	}
	until := run.At().Add(time.Duration(days) * 24 * time.Hour)
	d := &projections.ShelfLifeOver{Set: c.Key.Set, Run: *runDetail(run), Days: days, Until: until}
	sev := projections.SeverityDoubtful
	switch {
	case open != nil && open.At().After(until):
		m := moment(open)
		d.Opened, sev = &m, projections.SeverityBroken
	case open != nil:
		return
	case !j.w.Passed(until):
		if j.until.IsZero() || until.Before(j.until) {
			j.until = until
		}
		return
	}
	f := j.add(projections.PackageUnfit, sev, d, run, open)
	f.From = until
	if open != nil {
		f.To = open.At()
	}
}

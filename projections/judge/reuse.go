package judge

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func reuseRules() []Rule {
	return []Rule{
		{"used again", []projections.Code{projections.NotReprocessed}, (*judgement).reused},
		{"seen back", []projections.Code{projections.NotReprocessed}, (*judgement).seenBack},
		{"run again", []projections.Code{projections.NotReprocessed}, (*judgement).runUnprepared},
		{"went back unopened", []projections.Code{projections.NotReprocessed}, (*judgement).wentBack},
		{"packed unclean", []projections.Code{projections.NotReprocessed}, (*judgement).packedUnclean},
	}
}

const (
	// turnover is less than any room needs between two patients: two cases named
	// in one room within it are one case, typed wrong once. Common practice, no source.
	turnover = 10 * time.Minute
	// longestCase is how long after its opening a set may still be scanned as
	// opened for the same case. Common practice, no source.
	longestCase = 24 * time.Hour
	// secondFirst is how long after a set's first count another first count, in the
	// same room and for another case, can still be that count under a wrong
	// reference: a first count is made as the set is opened. Common practice, no source.
	secondFirst = 2 * time.Hour
	// soonestAgain is less than it takes from the opening of a set for one case to
	// have it used, washed, packed and sterilized for the next. Common practice, no source.
	soonestAgain = 2 * time.Hour
)

// use is where a set came to lie on a sterile field: an opening, or the first of the
// counts for a case that it was never opened for.
type use struct {
	it   *facts.Item
	ref  string
	name projections.TripKey // the other set's trip it was opened under; zero for its own
}

// reused finds a set that was opened or counted for a second use without having
// been reprocessed. The release of a run ends at the first opening.
func (j *judgement) reused() {
	uses := j.uses()
	for i := 1; i < len(uses); i++ {
		b := uses[i]
		a := uses[i-1]
		if k := slices.IndexFunc(uses[:i], func(x use) bool { return x.ref == b.ref }); k >= 0 {
			a = lastFor(b.ref, uses[:i]) // what else was opened in between has been said
		}
		j.usedAgain(a, b)
	}
}

func lastFor(ref string, uses []use) use {
	for _, u := range slices.Backward(uses) {
		if u.ref == ref {
			return u
		}
	}
	return use{}
}

// uses returns the uses of a trip in order. What lies behind the set's next
// packing is of another trip, which places says. An opening is a use of the set
// whose tag was read, whatever name it is recorded under.
func (j *judgement) uses() []use {
	out := j.ownUses()
	others := false
	for _, o := range j.w.otherNames(j.c) {
		if o.opening != nil {
			out, others = append(out, use{o.opening, events.CaseOf(o.opening.Data), o.name}), true
		}
	}
	if others {
		slices.SortStableFunc(out, func(a, b use) int { return facts.Compare(a.it, b.it) })
		out = slices.CompactFunc(out, func(a, b use) bool { return a.it == b.it })
	}
	return out
}

// ownUses are those recorded under the set's own name.
func (j *judgement) ownUses() []use {
	c := j.c
	var out []use
	for _, it := range c.Steps {
		if c.Next != nil && len(out) > 0 && out[0].it.Less(c.Next) && c.Next.Less(it) {
			break
		}
		switch d := it.Data.(type) {
		case *events.SetOpened:
			if j.w.trayOf(j.c, it) == c.Key.Set {
				out = append(out, use{it: it, ref: d.Case})
			}
		case *events.SetCounted:
			known := slices.ContainsFunc(out, func(u use) bool { return u.ref == d.Case })
			if !known && (j.secondCount(d, it) || j.usedUnopened(d, it, out)) {
				out = append(out, use{it: it, ref: d.Case})
			}
		}
	}
	return out
}

// secondCount reports whether a count is of a case that the set was not opened for,
// and after the end of the one that it was opened for, or too late to be of it:
// before that it is that case under a wrong reference. So is a later stage where
// that case's own final count isn't recorded, or is recorded but the case not closed.
// A first count is too late where another one was made well before it.
func (j *judgement) secondCount(d *events.SetCounted, at *facts.Item) bool {
	c, ref := j.c, d.Case
	if len(c.Opened) == 0 || slices.ContainsFunc(c.Opened, func(o *facts.Item) bool { return events.CaseOf(o.Data) == ref }) {
		return false
	}
	first := d.Stage == events.StageFirst
	if !first && !j.countedOut(ref, at) {
		return false
	}
	if at.At().Sub(c.Opened[0].At()) > longestCase {
		return true
	}
	limit := facts.Seconds(j.w.PolicyFor(at).ClockToleranceSeconds)
	for _, u := range c.Cases {
		if u.Opened && len(u.Closings) > 0 && at.At().Sub(u.Closings[0].At()) > limit {
			return true
		}
	}
	return first && slices.ContainsFunc(c.Counted, func(it *facts.Item) bool {
		x, after := facts.CountOf(it), at.At().Sub(it.At())
		if x.Case == ref || after <= limit {
			return false
		}
		return x.Stage == events.StageFinal || x.Stage == events.StageFirst && after > secondFirst ||
			x.Stage == events.StageFirst && after > turnover && !sameRoom(it, at)
	})
}

// usedUnopened reports whether a count tells of a use of which no opening is
// recorded: it came before the set was opened at all, and its case was over before
// the set was opened or first counted for another one, or the other way round.
func (j *judgement) usedUnopened(d *events.SetCounted, at *facts.Item, before []use) bool {
	c := j.c
	open := c.FirstOpened()
	if c.Key.Trip == "" || open != nil && !at.Less(open) {
		return false
	}
	if n := len(before); n > 0 {
		return d.Stage == events.StageFirst && j.overBefore(before[n-1].ref, at)
	}
	return slices.ContainsFunc(c.Steps, func(it *facts.Item) bool {
		x := facts.CountOf(it)
		begins := it.Kind == events.KindSetOpened || x != nil && x.Stage == events.StageFirst
		return begins && events.CaseOf(it.Data) != d.Case && j.overBefore(d.Case, it)
	})
}

// overBefore reports whether a case was closed, or the set counted at its end,
// before a moment by more than the clocks may differ.
func (j *judgement) overBefore(ref string, at *facts.Item) bool {
	limit := facts.Seconds(j.w.PolicyFor(at).ClockToleranceSeconds)
	over := func(it *facts.Item) bool { return at.At().Sub(it.At()) > limit }
	closed := slices.ContainsFunc(j.c.Cases, func(u facts.CaseUse) bool {
		return u.Ref == ref && slices.ContainsFunc(u.Closings, over)
	})
	return closed || slices.ContainsFunc(j.c.Counted, func(it *facts.Item) bool {
		x := facts.CountOf(it)
		return x.Case == ref && x.Stage == events.StageFinal && over(it)
	})
}

// countedOut reports whether a case that the set was opened for has its final count
// before a moment, so that a later one for another reference doesn't stand for it.
func (j *judgement) countedOut(ref string, at *facts.Item) bool {
	return slices.ContainsFunc(j.c.Counted, func(it *facts.Item) bool {
		x := facts.CountOf(it)
		return x.Case != ref && x.Stage == events.StageFinal && it.Less(at)
	})
}

// usedAgain judges a use by the one before it.
func (j *judgement) usedAgain(a, b use) {
	set := j.c.Key.Set
	if a.name != b.name && a.name.Set == b.name.Set {
		return // reprocessed under that name in between, as is judged there
	}
	run := j.runBetween(a.it, b.it)
	good := run != nil && facts.RunOf(run).Result == "passed" && facts.RunOf(run).Released
	pack := j.lastPackBetween(a.it, b.it)
	unrun := good && pack != nil && pack.At().Sub(run.At()) > facts.Seconds(j.w.PolicyFor(run).ClockToleranceSeconds)
	d := &projections.UsedAgain{
		Set: set, First: moment(a.it), FirstCase: a.ref, Second: moment(b.it), SecondCase: b.ref,
		Counted: b.it.Kind == events.KindSetCounted, FirstCounted: a.it.Kind == events.KindSetCounted,
		Run: runDetail(run), FirstName: a.name.Set, SecondName: b.name.Set,
	}
	back := j.backOnShelf(a.it, b.it)
	if back != nil {
		m := moment(back)
		d.Back = &m
	}
	var f *projections.Finding
	switch {
	case good && pack != nil && !unrun:
		return
	case good && a.ref == b.ref:
		return // run for immediate use, for the case in hand
	case good:
		f = j.runUnpacked(d, a.it, run, pack, b.it)
	case a.ref != b.ref && j.sameOpening(a.it, b.it) && !j.countedApart(a.ref, b.ref):
		return // one opening under two references, which twoCases says
	case run == nil && (a.ref != b.ref || back != nil) && j.elsewhereBetween(a.it, b.it):
		f = j.add(projections.NotReprocessed, projections.SeverityDoubtful, &projections.ReprocessingUnknown{
			Set: set, First: d.First, FirstCase: a.ref, Second: d.Second, SecondCase: b.ref,
			Counted: d.Counted, FirstCounted: d.FirstCounted, Back: d.Back,
		}, a.it, back, b.it)
	case a.ref != b.ref, back != nil, run != nil: // put back, or run for immediate use and not released
		f = j.add(projections.NotReprocessed, projections.SeverityBroken, d, a.it, back, run, b.it)
	default:
		if f = j.openedLate(a, b); f == nil {
			return
		}
	}
	f.From, f.To = a.it.At(), b.it.At()
}

// runUnpacked tells of a good run between two uses with no packing before it. Packed
// after it, what was used had been in no load.
func (j *judgement) runUnpacked(d *projections.UsedAgain, a, run, pack, b *facts.Item) *projections.Finding {
	x := &projections.RunUnpacked{
		Set: d.Set, First: d.First, FirstCase: d.FirstCase, FirstCounted: d.FirstCounted,
		Second: d.Second, SecondCase: d.SecondCase, Run: *d.Run,
	}
	sev := projections.SeverityDoubtful
	if pack != nil {
		m := moment(pack)
		sev, x.Packed = projections.SeverityBroken, &m
	}
	return j.add(projections.NotReprocessed, sev, x, a, run, pack, b)
}

// elsewhereBetween reports whether a set can have been reprocessed between two uses
// without anything of it being recorded here: nobody had packed it here by then, so it
// is lent or another house's.
func (j *judgement) elsewhereBetween(a, b *facts.Item) bool {
	return j.c.Key.Trip == "" && b.At().Sub(a.At()) >= soonestAgain
}

// openedLate finds an opening for the same case after that case was closed, or
// so long after the first that it is hardly the same operation, or after its tray
// was seen out of the room.
func (j *judgement) openedLate(a, b use) *projections.Finding {
	limit := facts.Seconds(j.w.PolicyFor(b.it).ClockToleranceSeconds)
	d := &projections.OpenedLate{Set: j.c.Key.Set, First: moment(a.it), Second: moment(b.it), Case: b.ref}
	var closing *facts.Item
	for _, u := range j.c.Cases {
		for _, it := range u.Closings {
			if u.Ref == b.ref && it.At().Sub(a.it.At()) > limit && b.it.At().Sub(it.At()) > limit {
				closing, d.Closed = it, it.At()
			}
		}
	}
	seen := j.seenOut(a.it, b.it)
	if closing == nil && seen == nil && b.it.At().Sub(a.it.At()) <= longestCase {
		return nil
	}
	if seen != nil {
		m := moment(seen)
		d.Seen = &m
	}
	return j.add(projections.NotReprocessed, projections.SeverityDoubtful, d, a.it, seen, closing, b.it)
}

// sameOpening reports whether two openings for two cases are so close together
// that they are one, under a wrong reference once.
func (j *judgement) sameOpening(a, b *facts.Item) bool {
	return a.Kind == b.Kind && b.At().Sub(a.At()) < turnover && (a.Event.Station == b.Event.Station || sameRoom(a, b))
}

// countedApart reports whether a set was first counted for one of two cases after the
// other was over: then it was used for both, however close its openings are.
func (j *judgement) countedApart(a, b string) bool {
	return slices.ContainsFunc(j.c.Counted, func(it *facts.Item) bool {
		x := facts.CountOf(it)
		return x.Stage == events.StageFirst && (x.Case == b && j.overBefore(a, it) || x.Case == a && j.overBefore(b, it))
	})
}

// runBetween returns the last run between two uses, nil without one.
func (j *judgement) runBetween(a, b *facts.Item) *facts.Item {
	for _, it := range slices.Backward(j.c.Sterilized) {
		if a.At().Before(it.At()) && !it.At().After(b.At()) {
			return it
		}
	}
	return nil
}

// lastPackBetween returns the last packing between two uses, nil without one.
func (j *judgement) lastPackBetween(a, b *facts.Item) *facts.Item {
	for _, p := range slices.Backward(j.c.Packed) {
		if a.Less(p) && p.Less(b) {
			return p
		}
	}
	return nil
}

func (j *judgement) packedBetween(a, b *facts.Item) bool {
	return slices.ContainsFunc(j.c.Packed, func(p *facts.Item) bool { return a.Less(p) && p.Less(b) })
}

// backOnShelf returns the check by which a set that had been opened was back
// where it had been before, nil without one; b is its next opening, nil without
// one. A check elsewhere may be of the empty wrap, on its way to be thrown away.
func (j *judgement) backOnShelf(a, b *facts.Item) *facts.Item {
	var before []*facts.Item
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		switch there := func(x *facts.Item) bool { return facts.PlaceOf(x).Same(facts.PlaceOf(r.It)) }; {
		case r.It.Kind != events.KindSetChecked || !r.Own():
		case r.It.Less(a):
			before = append(before, r.It)
		case j.outBetween(r.It, a, b) && slices.ContainsFunc(before, there):
			return r.It
		}
	}
	return nil
}

// seenOut returns the check by which the tray itself, by its tag, was elsewhere than
// in the rooms of two openings between them; nil without one.
func (j *judgement) seenOut(a, b *facts.Item) *facts.Item {
	for i := range j.c.Readings {
		if r := &j.c.Readings[i]; r.It.Kind == events.KindSetChecked && r.Proved() && j.outBetween(r.It, a, b) {
			return r.It
		}
	}
	return nil
}

// outBetween reports whether a look at a set lies between two openings of it, by
// more than the clocks may differ, and was made in the room of neither. With b nil
// it is any time after a.
func (j *judgement) outBetween(it, a, b *facts.Item) bool {
	limit := facts.Seconds(j.w.PolicyFor(it).ClockToleranceSeconds)
	in := func(x *facts.Item) bool {
		return it.Event.Station == x.Event.Station || facts.PlaceOf(it).Same(facts.PlaceOf(x))
	}
	if it.At().Sub(a.At()) <= limit || in(a) {
		return false
	}
	return b == nil || b.At().Sub(it.At()) > limit && !in(b)
}

// seenBack finds a set that was opened and is back where it had been before, and
// that nobody has used again yet: before it is, somebody has to look. Where it was
// counted it may only be on its way to be reprocessed, by the cart it came on.
func (j *judgement) seenBack() {
	if c := j.c; !slices.ContainsFunc(c.Readings, func(r facts.Reading) bool {
		return r.It.Kind == events.KindSetChecked && (len(c.Opened) == 0 || c.Opened[0].Less(r.It))
	}) {
		return // nobody looked after it was opened
	}
	uses := j.uses()
	if len(uses) == 0 {
		return
	}
	a := uses[len(uses)-1]
	back := j.backOnShelf(a.it, nil)
	if back == nil || j.c.Next != nil && j.c.Next.Less(back) || j.runBetween(a.it, back) != nil || j.packedBetween(a.it, back) {
		return
	}
	d := &projections.SeenBack{
		Set: j.c.Key.Set, Case: a.ref, Opened: moment(a.it), Back: moment(back), FirstCounted: a.it.Kind == events.KindSetCounted,
	}
	counted := lastIn(j.c.Counted, func(it *facts.Item) bool { return events.CaseOf(it.Data) == a.ref && it.Less(back) })
	if counted != nil {
		m := moment(counted)
		d.Counted = &m
	}
	packed := j.c.Next
	if i := slices.IndexFunc(j.c.Packed, back.Less); i >= 0 {
		packed = j.c.Packed[i]
	}
	if packed != nil {
		m := moment(packed)
		d.Righted = &m
	}
	sev := projections.SeverityDoubtful
	if counted != nil || packed != nil {
		sev = projections.SeverityNoted
	}
	f := j.add(projections.NotReprocessed, sev, d, a.it, counted, back, packed)
	f.From, f.To = a.it.At(), back.At()
}

// lastIn returns the last item that a function accepts, or nil.
func lastIn(its []*facts.Item, so func(*facts.Item) bool) *facts.Item {
	for _, it := range slices.Backward(its) {
		if so(it) {
			return it
		}
	}
	return nil
}

// runUnprepared finds a run after a failed one without the set being packed
// between them. That it is taken apart and prepared anew is common practice, no
// source; so it is doubtful and no more. What was packed since is another turn.
func (j *judgement) runUnprepared() {
	var failed *facts.Item
	for _, it := range j.c.Sterilized {
		d := facts.RunOf(it)
		if failed != nil && !sameRun(facts.RunOf(failed), d) && !j.packedBetween(failed, it) {
			f := j.add(projections.NotReprocessed, projections.SeverityDoubtful, &projections.RunUnprepared{
				Set: j.c.Key.Set, Failed: *runDetail(failed), Run: *runDetail(it),
			}, failed, it)
			f.From, f.To = failed.At(), it.At()
		}
		failed = nil
		if d.Result == "failed" {
			failed = it
		}
	}
}

// sameRun reports whether two records tell of one run.
func sameRun(a, b *events.SetSterilized) bool {
	return strings.EqualFold(a.Load, b.Load) && a.Sterilizer == b.Sterilizer && a.Run == b.Run
}

// liesAgain reports whether a step is of a set that lies as if it were sterile, or is to.
func liesAgain(it *facts.Item) bool {
	switch d := it.Data.(type) {
	case *events.SetChecked:
		return d.Aside != events.AsidePut
	case *events.SetSterilized:
		return d.Result == "passed"
	}
	return false
}

// wentBack finds a set that nobody had opened and that went back to be cleaned: what was
// washed is not sterile, whatever its load was. Unopened it is only noted, since it is on
// its way to be packed, unless it was seen lying again or run as it was.
func (j *judgement) wentBack() {
	c := j.c
	i := slices.IndexFunc(c.Steps, func(it *facts.Item) bool {
		r := facts.ReturnOf(it)
		return r != nil && !r.Step.IsLoan()
	})
	if i < 0 || len(c.Packed) == 0 || c.Steps[i].Less(c.Packed[0]) {
		return
	}
	back := c.Steps[i]
	if p := c.LastPack(); back.Less(p) {
		return // packed once more in this turn
	}
	uses := j.uses()
	if len(uses) > 0 && uses[0].it.Less(back) || len(uses) == 0 && c.Next != nil {
		return
	}
	d := &projections.WentBack{Set: c.Key.Set, Back: moment(back)}
	sev := projections.SeverityNoted
	if slices.ContainsFunc(c.Steps, func(it *facts.Item) bool { return back.Less(it) && liesAgain(it) }) {
		sev = projections.SeverityDoubtful
	}
	var open, run *facts.Item
	if len(uses) > 0 {
		open, sev = uses[0].it, projections.SeverityBroken
		d.Opened, d.Case = momentAt(open), uses[0].ref
	}
	for _, it := range c.Sterilized {
		if r := facts.RunOf(it); back.Less(it) && r.Result == "passed" && (open == nil || it.Less(open)) {
			run, d.Run = it, runDetail(it)
		}
	}
	if open != nil && run != nil {
		sev = projections.SeverityDoubtful
	}
	f := j.add(projections.NotReprocessed, sev, d, back, run, open)
	f.From, f.To = back.At(), back.At()
	if open != nil {
		f.To = open.At()
	}
}

// packedUnclean finds a set of which somebody said that it was not clean, on its way back to this packing, and that was
// not washed since, by what is recorded: no load makes that sterile. It is told of the turn that was packed so, the one that
// can still be stopped. Where that one was packed anew unopened, nobody uses it any more.
func (j *judgement) packedUnclean() {
	c := j.c
	if c.Prev == "" {
		return
	}
	p := j.w.Trip(projections.TripKey{Set: c.Key.Set, Trip: c.Prev})
	if p.Next == nil || p.Next.Event.Trip != c.Key.Trip {
		return
	}
	soiled := p.Unclean(p.Next)
	if soiled == nil {
		return
	}
	sev, open := projections.SeverityDoubtful, j.w.firstOpened(c)
	if c.Next != nil && open == nil {
		sev = projections.SeverityNoted
	}
	d := &projections.PackedUnclean{Set: c.Key.Set, Seen: moment(soiled), Packed: moment(p.Next), Opened: momentAt(open)}
	f := j.add(projections.NotReprocessed, sev, d, soiled, p.Next, open)
	f.From, f.To = soiled.At(), p.Next.At()
}

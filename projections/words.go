package projections

import (
	"strconv"
	"strings"
	"time"

	"listbound/events"
)

// english says every sentence in English. They are read by people with gloves
// on. A sentence about a count says what was counted; none says that nothing
// was left behind, since a correct count does not show that.
type english struct{}

const policyDecides = " The facility's own policy decides."

func sayTime(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

func sayWindow(from, to time.Time) string {
	f, t := from.UTC(), to.UTC()
	if f.Format("2006-01-02") == t.Format("2006-01-02") {
		return "on " + f.Format("2006-01-02") + " between " + f.Format("15:04") + " and " + t.Format("15:04 UTC")
	}
	return "between " + sayTime(from) + " and " + sayTime(to)
}

func sayWhen(from, to time.Time, places []string) string {
	s := "The sheets can have been exchanged " + sayWindow(from, to)
	if len(places) == 0 {
		return s + "; the records show no place where both sets were then, so where is not known."
	}
	return s + ", where both sets were: " + sayList(places) + "."
}

func sayLoad(load string) string { return "load " + load }

func sayAt(it *item) string { return "at " + placeOf(it) + " on " + sayTime(it.at()) }

func sayList(s []string) string {
	switch len(s) {
	case 0:
		return ""
	case 1:
		return s[0]
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}

func num(n int64) string { return strconv.FormatInt(n, 10) }

func sayNumbers(ns []int64) string {
	s := make([]string, len(ns))
	for i, n := range ns {
		s[i] = num(n)
	}
	return sayList(s)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func sayLine(d *lineDiff) string {
	if d.item == "" {
		return "line " + num(d.line) + " (not on the list)"
	}
	return "line " + num(d.line) + " (" + d.name + ")"
}

const linesSaid = 6

// sayDiffs says which lines were counted otherwise.
func sayDiffs(ds []lineDiff) string {
	var out []string
	for i, d := range ds {
		if i == linesSaid {
			out = append(out, num(int64(len(ds)-i))+" more "+plural(len(ds)-i, "line", "lines"))
			break
		}
		out = append(out, sayLine(&d)+": "+num(d.seen)+" counted, "+num(d.expected)+" expected")
	}
	return strings.Join(out, "; ")
}

// sayChanges says in which lines two lists differ.
func sayChanges(whose, theirs *events.ListIssued) string {
	if whose == nil || theirs == nil {
		return " One of the two lists is not known here, so their lines can't be compared."
	}
	changes := events.DiffLines(theirs.Lines, whose.Lines)
	if len(changes) == 0 {
		return " The two lists are the same word for word, so the mix-up does not show on paper."
	}
	var out []string
	for i, c := range changes {
		if i == linesSaid {
			out = append(out, num(int64(len(changes)-i))+" more")
			break
		}
		switch {
		case c.Old == nil:
			out = append(out, num(c.Line)+" ("+c.New.Description+", missing on this sheet)")
		case c.New == nil:
			out = append(out, num(c.Line)+" ("+c.Old.Description+", only on this sheet)")
		case c.Old.Item == c.New.Item && c.Old.Quantity != c.New.Quantity:
			out = append(out, num(c.Line)+" ("+c.New.Description+": "+num(c.Old.Quantity)+" on this sheet, "+num(c.New.Quantity)+" right)")
		default:
			out = append(out, num(c.Line)+" ("+c.Old.Description+" on this sheet, "+c.New.Description+" right)")
		}
	}
	return " The lists differ in " + plural(len(changes), "line ", "lines ") + strings.Join(out, ", ") + "."
}

func sayHow(rs []*reading) string {
	if len(rs) < 2 {
		return ""
	}
	return " It was read " + strconv.Itoa(len(rs)) + " times, last " + sayAt(rs[len(rs)-1].it) + "."
}

func (english) sayRighted(r *reading) string {
	return " It was put right: " + sayAt(r.it) + " the set was read with its own sheet."
}

func (english) saySwapped(x, y *chain, rs []*reading, ring []TripKey, back *reading, from, to time.Time, places []string) string {
	r := rs[0]
	s := x.key.Set + " was found with the sheet of " + y.key.Set + ", " + sayAt(r.it) + "." + sayHow(rs)
	if r.forged {
		s += " Its content is not what was sealed for " + y.key.Set + " either."
	}
	if len(ring) > 0 {
		s += " " + sayRing(ring)
	}
	if back != nil {
		s += " The sheet was back with " + y.key.Set + " " + sayAt(back.it) + "; " + x.key.Set + " has not been read with its own sheet since."
	}
	return s + sayChanges(x.list, y.list) + " " + sayWhen(from, to, places)
}

func sayRing(ring []TripKey) string {
	var parts []string
	for i, k := range ring {
		parts = append(parts, k.Set+" has the sheet of "+ring[(i+1)%len(ring)].Set)
	}
	return "The sheets of " + strconv.Itoa(len(ring)) + " sets have changed places: " + strings.Join(parts, ", ") + "."
}

func (english) sayLabelToo(other string) string {
	return " The label outside says " + other + " as well: label and sheet lie with the wrong tray."
}

func (english) nextSwapped(opened bool) string {
	if opened {
		return "Usually the counts of both sets are held against the right lists again, and the other set is kept closed until its sheet has been read." + policyDecides
	}
	return "Usually both sets are kept closed, their tags and sheets are read again side by side, and each gets its own sheet back before use." + policyDecides
}

func (english) sayStale(c, old *chain, r *reading) string {
	s := c.key.Set + " was found with its own sheet of another packing, " + sayAt(r.it) + "."
	if p, now := old.lastPack(), c.lastPack(); p != nil {
		s = c.key.Set + " was found with its own sheet of an earlier packing (" + sayTime(p.at()) + "), " + sayAt(r.it) + "."
		if now != nil && now.less(p) {
			s = c.key.Set + " was found with the sheet of a later packing (" + sayTime(p.at()) + "), " + sayAt(r.it) + "."
		}
	}
	if r.forged {
		s += " Its content is not what was sealed for that packing."
	}
	if old.list != nil && c.list != nil && len(events.DiffLines(old.list.Lines, c.list.Lines)) == 0 {
		return s + " No line has changed between the two."
	}
	return s + sayChanges(c.list, old.list)
}

func (english) nextStale() string {
	return "Usually the old sheet is taken away and the set is counted against the list of this packing." + policyDecides
}

func (english) sayAltered(c *chain, r *reading) string {
	s := c.key.Set + " was found with a sheet for this set and packing but with other content than was sealed, " + sayAt(r.it) + "."
	if r.replaced {
		return s + " It is an earlier sheet of this packing, which was replaced " + sayAt(r.seal) + "."
	}
	return s
}

func (english) nextAltered() string {
	return "Usually the sheet is kept as evidence and the set is counted against the list on the screen." + policyDecides
}

func (english) sayUnknown(c *chain, r *reading) string {
	if r.unlisted {
		return "The sheet read on " + c.key.Set + " " + sayAt(r.it) + " names this set's packing, but nothing that it could be held against is recorded here."
	}
	return "The sheet read on " + c.key.Set + " " + sayAt(r.it) + " belongs to no packing that is recorded here."
}

func (english) nextUnknown() string {
	return "Usually the set is not used by this sheet; where it comes from is found out first." + policyDecides
}

func (english) sayAbsent(c *chain, r *reading, p events.Placement, with TripKey, held *reading) string {
	s := "No sheet was found with " + c.key.Set + " " + sayAt(r.it) + ", although one was sealed with it (" + sayPlacement(p) + ")."
	if held != nil {
		s += " It was found on " + with.Set + " " + sayAt(held.it) + "."
	}
	return s
}

func (english) nextAbsent() string {
	return "Usually the set is counted against the list on the screen, and the sheet is looked for at the sets packed with it." + policyDecides
}

func (english) sayUnreadable(c *chain, r *reading, good bool) string {
	s := "The code on the sheet of " + c.key.Set + " could not be read " + sayAt(r.it) + "."
	if good {
		g := c.goodBeforeUse()
		s += " It was read and right " + sayAt(g.it) + "."
	}
	return s
}

func (english) nextUnreadable() string {
	return "Usually the short code printed beside the symbol is compared with the screen, and the sheet is replaced." + policyDecides
}

func sayPlacement(p events.Placement) string {
	switch p {
	case events.InsideBag:
		return "inside the set in a bag"
	case events.InsideBare:
		return "inside the set without a bag"
	case events.Outside:
		return "outside in the holder"
	case events.Screen:
		return "on the screen"
	}
	return string(p)
}

func (english) sayMoved(c *chain, r *reading, sealed events.Placement) string {
	return "The sheet of " + c.key.Set + " is the right one, but was found " + sayPlacement(events.Placement(r.found)) + " " + sayAt(r.it) + "; it was sealed " + sayPlacement(sealed) + "."
}

func (english) nextMoved() string {
	return "Usually it is asked whether the set was opened or handled in between, and the seal and wrap are looked at." + policyDecides
}

func (english) sayTrayWithSheet(k TripKey, r *reading, tray string, whose TripKey) string {
	return "Under the name of " + k.Set + " the tray tagged " + tray + " was found with the sheet of " + whose.Set + ", " + sayAt(r.it) + ": tray and sheet do not belong together."
}

func (english) sayRecordOfOther(r *reading, tray string) string {
	return "This was recorded for " + r.it.Event.Subject + ", but tag and label both say " + tray + ", " + sayAt(r.it) + "."
}

func (english) nextIdentity() string {
	return "Usually neither set is used until a person has told the trays apart by their tags and instruments." + policyDecides
}

func (english) sayLabelSwapped(r *reading, tray, outer string) string {
	s := "The label outside says " + outer + ", the tag on the tray says " + tray + ", " + sayAt(r.it) + "."
	switch {
	case r.class == readNothing || r.class == readUnreadable:
		return s + " The sheet was not read, so which of the two is right is not known."
	case r.class == readAbsent:
		return s + " No sheet was found, so which of the two is right is not known."
	case (r.class == readGood || r.class == readAltered) && r.it.Event.Subject == tray, r.owner.Set == tray:
		return s + " The sheet sides with the tray: the label outside is the wrong one."
	}
	return s + " The sheet sides with neither."
}

func (english) sayLabelRighted(set string, r *reading) string {
	return " The label was put right: " + sayAt(r.it) + " it said " + set + "."
}

func (english) sayUnderOtherName(k TripKey, r *reading, x TripKey) string {
	return "The tray tagged " + k.Set + " was found with its own sheet under the name of " + x.Set + ", " + sayAt(r.it) + ": the label outside is the wrong one."
}

func (english) nextLabel() string {
	return "Usually the set is told by its tag and its instruments, and the set named on the label is looked for." + policyDecides
}

func (english) sayInDoubt(y, x *chain, bad, gone *reading, start *chain, from, to time.Time, places []string) string {
	s := "The sheet of " + y.key.Set + " was found on " + x.key.Set + " " + sayAt(bad.it)
	if bad.it.kind == events.KindSetCounted {
		s = x.key.Set + " was counted by the sheet of " + y.key.Set + ", " + sayAt(bad.it)
	}
	s += ", and " + y.key.Set + " has not been read since."
	switch {
	case start != nil:
		s += " It probably carries the sheet of " + start.key.Set + " now." + sayChanges(y.list, start.list)
	case gone != nil:
		s += " When " + x.key.Set + " was read again, " + sayAt(gone.it) + ", that sheet was no longer there. " + y.key.Set + " probably carries a wrong sheet now, or none."
	default:
		s += " It carries a wrong sheet now, or none."
	}
	return s + " " + sayWhen(from, to, places)
}

func (english) nextInDoubt(opened bool) string {
	if opened {
		return "Usually the counts of this set are held against its right list again." + policyDecides
	}
	return "Usually this set is fetched and its sheet read before anyone opens it." + policyDecides
}

func (english) saySeals(k TripKey, r *reading, gone, strange []string) string {
	var parts []string
	if r.sealBroken {
		parts = append(parts, "a seal was found broken")
	}
	if len(gone) > 0 {
		parts = append(parts, plural(len(gone), "seal ", "seals ")+sayList(gone)+" recorded at sealing "+plural(len(gone), "was", "were")+" not there")
	}
	if len(strange) > 0 {
		parts = append(parts, plural(len(strange), "seal ", "seals ")+sayList(strange)+" "+plural(len(strange), "is", "are")+" not recorded at sealing")
	}
	return "On " + k.Set + " " + strings.Join(parts, "; ") + ", " + sayAt(r.it) + "."
}

func (english) nextSeals() string {
	return "Usually the numbers are read again; if they differ or a seal is broken, the set is not used and is processed again." + policyDecides
}

func sayKind(k events.Kind) string {
	switch k {
	case events.KindSetPacked:
		return "packing"
	case events.KindListSealed:
		return "sealing of the list"
	case events.KindSetSterilized:
		return "sterilization"
	case events.KindSetOpened:
		return "opening"
	case events.KindSetCounted:
		return "count"
	case events.KindCaseClosed:
		return "closing of the case"
	case events.KindSetChecked:
		return "check"
	}
	return string(k)
}

func (english) sayLinkMissing(c *chain, missing []events.Kind, by *item) string {
	names := make([]string, len(missing))
	for i, k := range missing {
		names[i] = "no " + sayKind(k)
	}
	s := "Of " + c.key.Set + " " + sayList(names) + " is recorded, although "
	if c.next != nil && len(c.opened) > 0 && c.steps[len(c.steps)-1] == by {
		return s + "the set was packed again on " + sayTime(c.next.at()) + "."
	}
	return s + "its " + sayKind(by.kind) + " is (" + sayTime(by.at()) + ")."
}

func (english) nextLinkMissing() string {
	return "Usually it is asked whether the step was done and only not recorded; a record made late is better than none." + policyDecides
}

func (english) sayOpenedUnread(c *chain, r *reading, p events.Placement) string {
	return c.key.Set + " was opened without its sheet being read, " + sayAt(r.it) + "; the sheet was sealed " + sayPlacement(p) + "."
}

func (english) nextOpenedUnread() string {
	return "Usually the sheet is read now and the set is counted against it." + policyDecides
}

func (english) sayOutOfOrder(k TripKey, it, before *item) string {
	return "The " + sayKind(it.kind) + " of " + k.Set + " was observed on " + sayTime(it.at()) + ", before its " + sayKind(before.kind) + " on " + sayTime(before.at()) + "."
}

func (english) nextOutOfOrder() string {
	return "Usually the clocks of the two stations are compared, and a wrong entry is corrected with a reason." + policyDecides
}

func (english) sayPackedAfterRun(k TripKey, run, pack, open *item) string {
	return k.Set + " was packed again on " + sayTime(pack.at()) + ", after it had been in " + sayLoad(runOf(run).Load) + " on " + sayTime(run.at()) + ", and was opened on " + sayTime(open.at()) + " without another run: what was packed last was in no load."
}

func (english) sayReopened(k TripKey, a, b *item) string {
	return k.Set + " was opened for case " + caseOf(a.data) + " on " + sayTime(a.at()) + " and, without being packed again, for case " + caseOf(b.data) + " on " + sayTime(b.at()) + "."
}

func (english) sayCountedOtherCase(k TripKey, open, count *item) string {
	return k.Set + " was opened for case " + caseOf(open.data) + ", but counted for case " + caseOf(count.data) + " on " + sayTime(count.at()) + "."
}

func (english) nextReopened() string {
	return "Usually it is found out which case the set was used for, and the wrong entry is corrected with a reason." + policyDecides
}

func (english) sayRepacked(k TripKey, next *item) string {
	return k.Set + " was packed again on " + sayTime(next.at()) + " without having been opened."
}

func (english) nextRepacked() string {
	return "Usually nothing is to be done but to destroy the earlier sheet." + policyDecides
}

func (english) sayTwoTrips(older *chain, after *item) string {
	unopened := ""
	if open := older.firstOpened(); open == nil || older.next.less(open) {
		unopened = " without having been opened"
	}
	return older.key.Set + " was packed again on " + sayTime(older.next.at()) + unopened + ", yet a " + sayKind(after.kind) + " of the earlier packing was recorded " + sayAt(after) + "."
}

func (english) sayTwoPlaces(k TripKey, a, b *item) string {
	return k.Set + " was recorded " + sayAt(a) + " and " + b.at().Sub(a.at()).Round(time.Second).String() + " later " + sayAt(b) + ": one of the two was another set, or a clock is wrong."
}

func (english) nextTwoPlaces() string {
	return "Usually the tags of the sets at both places are read." + policyDecides
}

func (english) sayNotReleased(k TripKey, open, last *item) string {
	s := k.Set + " was opened " + sayAt(open) + " without a passed and released load before it"
	if d := runOf(last); d != nil {
		return s + "; its " + sayLoad(d.Load) + " had " + d.Result + sayReleased(d.Released) + "."
	}
	return s + "."
}

func sayReleased(r bool) string {
	if r {
		return " and was released"
	}
	return " and was not released"
}

func (english) sayFailedRun(k TripKey, run *item) string {
	d := runOf(run)
	return k.Set + " was in " + sayLoad(d.Load) + " (" + d.Sterilizer + ", run " + num(d.Run) + "), which failed on " + sayTime(run.at()) + ", and in no good one since."
}

func (english) sayWrongCycle(k TripKey, run *item, l *events.ListIssued) string {
	d := runOf(run)
	return k.Set + " was run in the cycle " + d.Cycle + " (" + sayLoad(d.Load) + "); its list allows " + sayList(l.Cycles) + "."
}

func (english) sayIndicatorFail(k TripKey, open *item) string {
	return "The indicator inside " + k.Set + " had not changed when it was opened " + sayAt(open) + "."
}

func (english) nextNotReleased() string {
	return "Usually the set is not used and everything it has touched is replaced." + policyDecides
}

func (english) sayRecalled(k TripKey, run *item, p *readLoad, sev Severity, why string, from time.Time) string {
	d := runOf(run)
	s := "A positive indicator was read for " + sayLoad(p.load) + " of sterilizer " + d.Sterilizer + ". "
	if p.load == d.Load {
		s += k.Set + " was in that load."
	} else {
		s += k.Set + " was in " + sayLoad(d.Load) + " of the same sterilizer, with no negative indicator between the two."
	}
	if sev == SeverityBroken && !from.IsZero() {
		s += " Recalled is what was run since the last negative one (" + sayTime(from) + ")."
	}
	return s + why
}

func (english) sayRepeatPositive(l *readLoad) string {
	return " A further positive followed in " + sayLoad(l.load) + "."
}

func (english) sayRepeatOf(l *readLoad) string {
	return " It followed a positive in " + sayLoad(l.load) + "."
}

func (english) sayRepeatsNegative() string {
	return " The three cycles after it were negative."
}

func (english) sayRepeatsAwaited(n int) string {
	return " Of the three cycles to be repeated " + strconv.Itoa(n) + " " + plural(n, "has", "have") + " a negative result so far."
}

func (english) nextRecalled(sev Severity, opened bool) string {
	switch {
	case sev == SeverityNoted:
		return "Usually nothing more is done." + policyDecides
	case sev == SeverityDoubtful && opened:
		return "Usually infection control is told and the result of the repeated cycles is awaited." + policyDecides
	case sev == SeverityDoubtful:
		return "Usually the set is held back until the repeated cycles have a result." + policyDecides
	case opened:
		return "Usually infection control is told, and the case in which the set was used." + policyDecides
	}
	return "Usually the set is fetched back and processed again." + policyDecides
}

func (english) saySuperseded(k TripKey, it *item, list string, version int64, newer *item, sealed bool) string {
	what := "packed"
	if sealed {
		what = "sealed"
	}
	n := newer.data.(*events.ListIssued)
	return k.Set + " was " + what + " by version " + num(version) + " of " + list + " on " + sayTime(it.at()) + "; version " + num(n.Version) + " was in use since " + sayTime(newer.at()) + "."
}

func (english) nextSuperseded() string {
	return "Usually the set is checked against the current list before use." + policyDecides
}

func (english) sayListUnknown(k TripKey, it *item, p *events.SetPacked) string {
	return k.Set + " was packed by version " + num(p.Version) + " of " + p.List + " on " + sayTime(it.at()) + ", which is not recorded here, so its lines are not known."
}

func (english) nextListUnknown() string {
	return "Usually the list version is recorded now; counts can then be held against it." + policyDecides
}

func (english) saySealedOther(k TripKey, it *item, p *events.SetPacked, list string, version int64) string {
	return k.Set + " was packed by version " + num(p.Version) + " of " + p.List + ", but the sheet sealed with it " + sayAt(it) + " is version " + num(version) + " of " + list + "."
}

func (english) saySealFalse(k TripKey, it *item, p *events.SetPacked) string {
	return "The sheet sealed with " + k.Set + " " + sayAt(it) + " is not made from version " + num(p.Version) + " of " + p.List + " as it was issued, or not for this set and packing."
}

func (english) nextSealedOther() string {
	return "Usually the sheet is replaced by one of the list the set was packed by." + policyDecides
}

func sayStage(s events.Stage) string {
	switch s {
	case events.StageFirst:
		return "first count"
	case events.StageAdded:
		return "count of added pieces"
	case events.StageCavity:
		return "count before closing a cavity"
	case events.StageClosing:
		return "count before closing the wound"
	case events.StageFinal:
		return "final count"
	case events.StageRelief:
		return "count at a change of people"
	}
	return string(s) + " count"
}

func (english) sayCountDiffers(k TripKey, it *item, ds []lineDiff) string {
	return "The first count of " + k.Set + " (" + sayTime(it.at()) + ") is not what packing recorded: " + sayDiffs(ds) + "."
}

func (english) nextCountDiffers() string {
	return "Usually the set is counted again before it is used, and packing is told." + policyDecides
}

func (english) sayMiddle(k TripKey, it *item, ds []lineDiff, then sequel) string {
	s := "The " + sayStage(countOf(it).Stage) + " of " + k.Set + " (" + sayTime(it.at()) + ") differed: " + sayDiffs(ds) + "."
	switch then {
	case thenRight:
		return s + " The final count came out as expected."
	case thenDiffers:
		return s + " The final count differs as well."
	case thenLeftOut:
		return s + " The final count left " + plural(len(ds), "the line", "these lines") + " out."
	case thenLater:
		return s + " A later count differs as well."
	}
	return s
}

func (w english) nextMiddle(sev Severity, then sequel) string {
	switch then {
	case thenDiffers:
		return "Usually what follows from the final count is done." + policyDecides
	case thenLater:
		return "Usually what follows from the later count is done." + policyDecides
	}
	return w.nextCount(sev)
}

// sayEnds says in which counts lines differ at the end.
func sayEnds(k TripKey, ds []lineDiff) string {
	var parts []string
	out := 0
	for _, of := range byCount(ds) {
		it := of[0].in
		parts = append(parts, "the "+sayStage(countOf(it).Stage)+" of "+k.Set+" ("+sayTime(it.at())+"): "+sayDiffs(of))
		if of[0].leftOut {
			out += len(of)
		}
	}
	s := "In " + strings.Join(parts, "; in ") + "."
	if out > 0 {
		s += " The final count left " + plural(out, "this line", "these lines") + " out."
	}
	return s
}

func (english) sayBetweenLines(k TripKey, ds []lineDiff) string {
	return sayEnds(k, ds) + " The lines are of one item, and together they have as many as expected."
}

func (english) sayMisplaced(k TripKey, ds []lineDiff, moves []Move) string {
	var parts []string
	for _, m := range moves {
		if m.From == k {
			parts = append(parts, num(m.Quantity)+" more than expected in "+m.To.Set)
		} else {
			parts = append(parts, num(m.Quantity)+" fewer than expected in "+m.From.Set)
		}
	}
	return sayEnds(k, ds) + " Probably misplaced: " + sayList(parts) + "."
}

func (english) sayLeft(k TripKey, ds []lineDiff, left, total int64, sets int) string {
	off := func(n int64) string {
		if n < 0 {
			return num(-n) + " too many"
		}
		return num(n) + " short"
	}
	s := sayEnds(k, ds) + " "
	switch {
	case sets <= 1:
		return s + off(left) + "."
	case left != total:
		s += off(left) + " in this set, "
	}
	return s + off(total) + " over all sets of the case that were counted."
}

func (english) nextCount(sev Severity) string {
	switch sev {
	case SeverityNoted:
		return "Usually nothing more is done; a correct count is no proof by itself." + policyDecides
	case SeverityDoubtful:
		return "Usually both sets are counted again together, and each piece is put back where it belongs." + policyDecides
	}
	return "Usually the team is told, closing waits if that is safe, everything is counted again, field, floor, linen and waste are searched, and imaging is considered before the patient leaves." + policyDecides
}

func (english) sayLinesUncounted(c *chain, it *item, lines []int64) string {
	said := lines
	more := ""
	if len(said) > linesSaid*2 {
		said, more = said[:linesSaid*2], " and others"
	}
	return "The " + sayStage(countOf(it).Stage) + " of " + c.key.Set + " (" + sayTime(it.at()) + ") left out " + plural(len(lines), "line ", "lines ") + sayNumbers(said) + more + "."
}

func (english) sayAfterFinal(k TripKey, final *item, ls []unseenLine) string {
	var parts []string
	for i, l := range ls {
		if i == linesSaid {
			parts = append(parts, num(int64(len(ls)-i))+" more "+plural(len(ls)-i, "line", "lines"))
			break
		}
		var what []string
		if l.added != 0 {
			what = append(what, num(l.added)+" added")
		}
		if l.removed != 0 {
			what = append(what, num(l.removed)+" removed")
		}
		parts = append(parts, sayLine(&l.lineDiff)+": "+sayList(what)+" ("+sayTime(l.last.at())+")")
	}
	return "After the final count of " + k.Set + " (" + sayTime(final.at()) + ") pieces came or left, and no count has " + plural(len(ls), "the line", "the lines") + " since: " + strings.Join(parts, "; ") + "."
}

func (english) sayStagesMissing(c *chain, missing []events.Stage) string {
	names := make([]string, len(missing))
	for i, s := range missing {
		names[i] = "no " + sayStage(s)
	}
	return "Of " + c.key.Set + " " + sayList(names) + " is recorded."
}

func (english) nextCountMissing() string {
	return "Usually it is asked whether the count was made and only not recorded; if it was not made, that is recorded with the reason." + policyDecides
}

func (english) sayOnePerson(k TripKey, its []*item) string {
	var stages []string
	for _, it := range its {
		d, when := countOf(it), sayTime(it.at())
		if d.Witness != "" {
			when += ", badge " + d.Counter
		}
		stages = append(stages, sayStage(d.Stage)+" ("+when+")")
	}
	s := "The " + sayList(stages) + " of " + k.Set + " "
	if countOf(its[0]).Witness == "" {
		return s + plural(len(its), "names", "name") + " no second person."
	}
	return s + plural(len(its), "has", "have") + " one badge in both roles."
}

func (english) nextOnePerson() string {
	return "Usually two people count together, one of them scrubbed; if one was alone, that is recorded with the reason." + policyDecides
}

func (english) sayWrongList(c, y *chain, cl class, its []*item) string {
	var stages []string
	for _, it := range its {
		stages = append(stages, sayStage(countOf(it).Stage)+" ("+sayTime(it.at())+")")
	}
	s := "The " + sayList(stages) + " of " + c.key.Set + " " + plural(len(its), "was", "were") + " made against "
	switch {
	case y != nil && y.key.Set == c.key.Set:
		return s + "a sheet of another packing of this set." + sayChanges(c.list, y.list)
	case y != nil:
		return s + "the sheet of " + y.key.Set + "." + sayChanges(c.list, y.list)
	case cl == readUnreadable:
		return s + "a sheet whose code is damaged."
	case cl == readAltered:
		return s + "a sheet with other content than was sealed."
	}
	return s + "a sheet of no packing that is recorded here."
}

func (english) nextWrongList() string {
	return "Usually the set is counted again against its own list." + policyDecides
}

func (english) sayClosed(k TripKey, it *item, d *events.CaseClosed, open []openItem) string {
	s := "Case " + d.Case + ", in which " + k.Set + " was used, was closed as " + d.Outcome + " on " + sayTime(it.at())
	left, unseen := openAtClosing(open)
	link := ";"
	if d.Outcome == "reconciled" {
		link = ", although"
	}
	if len(left) > 0 {
		var parts []string
		for i, o := range left {
			if i == linesSaid {
				parts = append(parts, num(int64(len(left)-i))+" more")
				break
			}
			if o.quantity > 0 {
				parts = append(parts, num(o.quantity)+" short in "+o.set+" "+sayLine(o.line))
			} else {
				parts = append(parts, num(-o.quantity)+" over in "+o.set+" "+sayLine(o.line))
			}
		}
		s += link + " these are unaccounted for: " + strings.Join(parts, "; ")
		link = "; and" + strings.TrimLeft(link, ",;")
	}
	if len(unseen) > 0 {
		var parts []string
		for i, o := range unseen {
			if i == linesSaid {
				parts = append(parts, num(int64(len(unseen)-i))+" more")
				break
			}
			parts = append(parts, o.set+" "+sayLine(o.line))
		}
		s += link + " these were not counted at the end: " + strings.Join(parts, "; ")
	}
	s += "."
	if d.Reason != "" {
		s += " Reason given: " + d.Reason + "."
	}
	if len(d.Actions) == 0 {
		return s + " No action is recorded."
	}
	return s + " Actions recorded: " + strings.Join(d.Actions, "; ") + "."
}

func (english) nextClosed() string {
	return "Usually the surgeon and the person in charge are told, the search and imaging are recorded, and the case is reported." + policyDecides
}

func (english) sayRemarks(r events.Remark) []string { return r.Names() }

func (english) sayRemark(code Code, station string, its []*item) string {
	if station == "" {
		station = "an unknown station"
	}
	n := len(its)
	s := num(int64(n)) + " " + plural(n, "record", "records") + " of " + station + " "
	switch code {
	case SignatureBad:
		s += plural(n, "does", "do") + " not verify"
	case StationGap:
		s += plural(n, "does", "do") + " not follow from the record before: records are missing, or came twice"
	case ClockDoubtful:
		s += plural(n, "has", "have") + " a time that can't be right"
	case RecordUnread:
		s += plural(n, "is", "are") + " of a kind or version this program does not know"
	}
	for _, it := range its {
		if it.Event != nil {
			return s + ", first at " + sayTime(it.at()) + " (" + strings.Join(its[0].Remarks.Names(), "; ") + ")."
		}
	}
	return s + " (" + strings.Join(its[0].Remarks.Names(), "; ") + ")."
}

func (english) nextRemark(code Code) string {
	switch code {
	case SignatureBad:
		return "Usually what these records say is confirmed by the people named in them, and the station is looked at before it records more." + policyDecides
	case StationGap:
		return "Usually the station is asked for its missing records." + policyDecides
	case ClockDoubtful:
		return "Usually the station's clock is set, and the times are corrected with a reason." + policyDecides
	}
	return "Usually a newer version of this program is used to read them." + policyDecides
}

func (english) sayFixUnread(it, fix *item) string {
	return "A correction of " + sayTime(fix.at()) + " to the " + sayKind(it.kind) + " of " + sayTime(it.at()) + " can't be read and was left out of account."
}

func (english) nextFixUnread() string {
	return "Usually the correction is recorded again." + policyDecides
}

// sayEvent is one event in one line, as it stands after corrections.
func (english) sayEvent(it *item) string {
	s := sayData(it)
	switch {
	case it.void && it.by != nil:
		return s + " (taken back by a correction)"
	case it.void:
		return s + " (the same observation recorded a second time)"
	case it.by != nil:
		return s + " (as corrected)"
	}
	return s
}

func sayData(it *item) string {
	e := it.Event
	switch d := it.data.(type) {
	case *events.SetPacked:
		s := "packed by version " + num(d.Version) + " of " + d.List
		for i, x := range d.Exceptions {
			if i == 0 {
				s += "; not as listed: "
			} else {
				s += ", "
			}
			s += "line " + num(x.Line) + " has " + num(x.Counted) + " (" + x.Reason + ")"
		}
		if d.Note != "" {
			s += "; note: " + d.Note
		}
		return s
	case *events.ListSealed:
		s := "sheet sealed " + sayPlacement(d.Placement)
		if len(d.Seals) > 0 {
			s += "; " + plural(len(d.Seals), "seal ", "seals ") + sayList(d.Seals)
		}
		return s
	case *events.SetSterilized:
		return "in " + sayLoad(d.Load) + " (" + d.Sterilizer + ", run " + num(d.Run) + ", " + d.Cycle + "): " + d.Result + sayReleased(d.Released)
	case *events.SetChecked:
		return "checked at " + placeOf(it) + sayLook(it, d.Sheet, d.Tag, d.OuterLabel, d.SealBroken)
	case *events.SetOpened:
		s := "opened for case " + d.Case
		if d.Room != "" {
			s += " in " + d.Room
		}
		s += sayLook(it, d.Sheet, d.Tag, d.OuterLabel, d.SealBroken)
		if d.Indicator != "" {
			s += "; indicator inside: " + d.Indicator
		}
		return s
	case *events.SetCounted:
		s := sayStage(d.Stage) + " for case " + d.Case + ": " + strconv.Itoa(len(d.Counts)) + " " + plural(len(d.Counts), "line", "lines") + ", by " + d.Counter
		if d.Witness != "" {
			s += " and " + d.Witness
		}
		for _, r := range d.Removed {
			s += "; line " + num(r.Line) + ": " + num(r.Quantity) + " removed (" + r.Reason + ")"
		}
		return s
	case *events.CaseClosed:
		s := "case " + d.Case + " closed as " + d.Outcome
		if len(d.Actions) > 0 {
			s += "; actions: " + strings.Join(d.Actions, "; ")
		}
		if d.Outcome == "reconciled" {
			s += ". A correct count is no proof by itself"
		}
		return s
	case *events.ListIssued:
		return "version " + num(d.Version) + " of list " + d.List + " issued: " + d.Title + ", " + strconv.Itoa(len(d.Lines)) + " " + plural(len(d.Lines), "line", "lines")
	case *events.IndicatorRead:
		return "biological indicator of " + sayLoad(d.Load) + " in " + d.Sterilizer + ": " + d.Result
	case *events.PolicyAdopted:
		return "policy of " + e.Subject + " adopted"
	case *events.StationEnrolled:
		return "station " + d.Station + " enrolled"
	case *events.StationRetired:
		return "station " + d.Station + " retired: " + d.Reason
	case *events.FindingAcknowledged:
		return "finding " + d.Code + " acknowledged: " + d.Reason
	case *events.EventCorrected:
		if d.Action == "void" {
			return "correction: an earlier record is taken back: " + d.Reason
		}
		return "correction: an earlier record is put right: " + d.Reason
	case *events.Unknown:
		return "a record of type " + d.Type + ", which this program does not know"
	}
	return string(it.kind)
}

func sayLook(it *item, sheet *events.Reading, tag, outer string, broken bool) string {
	s := ""
	switch {
	case sheet == nil:
		s = "; sheet not read"
	case sheet.Found == events.FoundNone:
		s = "; no sheet found"
	case sheet.Unreadable:
		s = "; sheet " + sayPlacement(events.Placement(sheet.Found)) + ", its code damaged"
	case sheet.Code == "":
		s = "; sheet seen " + sayPlacement(events.Placement(sheet.Found)) + ", not read"
	case it.code != nil:
		s = "; sheet read " + sayPlacement(events.Placement(sheet.Found)) + ", code " + it.code.Short()
	}
	if tag != "" && tag != it.Event.Subject {
		s += "; tag on the tray " + tag
	}
	if outer != "" && outer != it.Event.Subject {
		s += "; label outside " + outer
	}
	if broken {
		s += "; a seal broken"
	}
	return s
}

package trial

import (
	"errors"
	"maps"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/simulate"
)

// sheetCodes are the findings by which a fault of sheet or label becomes known.
var sheetCodes = []projections.Code{
	projections.SheetSwapped, projections.SheetStale, projections.SheetAltered, projections.SheetUnknown,
	projections.SheetUnreadable, projections.SheetAbsent, projections.SheetInDoubt, projections.SheetMoved,
	projections.LabelSwapped,
}

var countCodes = []projections.Code{
	projections.CountDiffersAtOpen, projections.CountShort, projections.CountOver, projections.CountMissing,
	projections.ClosedUnreconciled, projections.CountedOnWrongList,
}

// tells reports whether a verdict says that something is wrong with sheet or label.
func (t *trial) tells(v *projections.Verdict) bool {
	return slices.ContainsFunc(v.Findings, func(f projections.Finding) bool { return slices.Contains(sheetCodes, f.Code) })
}

// sheetFault returns what happened to a set's sheet or label, nil where nothing did.
func (t *trial) sheetFault(x *simulate.Trip) *simulate.Fault {
	for _, f := range x.Faults {
		if slices.Contains(simulate.SheetFaults(), f.Kind) {
			return f
		}
	}
	return nil
}

// faulted returns the sets with such a fault, first opened first.
func (t *trial) faulted() []*simulate.Trip {
	var out []*simulate.Trip
	for _, x := range t.week.Trips {
		if t.sheetFault(x) != nil {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b *simulate.Trip) int { return a.Opened.Compare(b.Opened) })
	return out
}

// judge judges a set as things stand, and holds each finding against the truth.
func (t *trial) judge(x *simulate.Trip) (projections.Verdict, error) {
	v, err := t.verdict(keyOf(x))
	if err != nil {
		return v, err
	}
	for i := range v.Findings {
		f := &v.Findings[i]
		if happened, known := t.happened(x, f); known && !t.r.Invented.hold(happened) {
			t.r.example("week %d, %s: %s (%s) did not happen: %+v", t.week.Number, x.Set, f.Code, f.Way, f.Detail)
		}
		switch d := f.Detail.(type) {
		case *projections.AnotherSetsSheet:
			t.window(x, f, d.First.Seq, d.Window)
		case *projections.ProbablyWrong:
			t.window(x, f, d.At.Seq, d.Window)
			if !v.Opened { // nor another tray under its name: then which is which is in doubt, and told
				t.doubt(x, d)
			}
		default:
			t.span(x, f)
		}
	}
	return v, nil
}

// span holds the times of a finding that has no window of its own against the
// moment at which sheet or label came to where they were found.
func (t *trial) span(x *simulate.Trip, f *projections.Finding) {
	if !slices.Contains(sheetCodes, f.Code) || f.From.IsZero() {
		return
	}
	for _, seq := range f.Events {
		if l := t.looks[seq]; l != nil && l.Tells() {
			t.window(x, f, seq, projections.Window{From: f.From, To: f.To, ClockSeconds: events.DefaultPolicy().ClockToleranceSeconds})
			return
		}
	}
}

// happened reports whether what a finding says of a set did happen; known is
// false for what the simulation can't tell.
func (t *trial) happened(x *simulate.Trip, f *projections.Finding) (happened, known bool) {
	switch {
	case f.Code == projections.SheetInDoubt:
		d := f.Detail.(*projections.ProbablyWrong)
		l := t.looks[d.At.Seq]
		if l == nil {
			return true, false // by a count
		}
		return l.Sheet != nil && l.Sheet.Of == x && l.Named != x, true
	case f.Way == (&projections.ReadWhileClosed{}).Way():
		return x.Shut == simulate.ShutInHand, true
	case f.Way == (&projections.ClosedAfterRun{}).Way():
		return x.Shut != "" && shuts[x.Shut].way == f.Way && shuts[x.Shut].sev == f.Severity, true
	case f.Code == projections.NotReleased:
		// Under a wrong label a set is recorded in another load than it was in.
		return x.Anew != "" && anews[x.Anew].way == f.Way && anews[x.Anew].sev == f.Severity,
			!x.Has(simulate.LabelSwap) && !x.Has(simulate.HolderSwap)
	case slices.Contains(sheetCodes, f.Code):
		return slices.ContainsFunc(f.Events, func(seq int64) bool { return t.looks[seq] != nil && t.looks[seq].Tells() }), true
	case f.Way == (&projections.OpenedUnread{}).Way():
		return slices.ContainsFunc(f.Events, func(seq int64) bool { l := t.looks[seq]; return l != nil && !l.ReadSheet }), true
	case f.Code == projections.TooHeavy:
		return x.Heavy, true
	case f.Code == projections.PackageUnfit, f.Code == projections.IndicatorNotSeen:
		return slices.ContainsFunc(f.Events, func(seq int64) bool {
			l := t.looks[seq]
			return l != nil && (f.Code == projections.PackageUnfit && l.Tray.Wet || f.Code == projections.IndicatorNotSeen && l.Tray.Bare)
		}), true
	case f.Code == projections.SecondLookMissing:
		return x.Alone, true
	case f.Code == projections.ImplantTooEarly:
		// Under a wrong label a set is recorded in another load than it was in.
		return x.Early != "", !x.Has(simulate.LabelSwap) && !x.Has(simulate.HolderSwap)
	case f.Code == projections.PutAside:
		return x.Aside == simulate.AsideUsed && f.Severity == projections.SeverityBroken, true
	case f.Code == projections.CameBackShort, f.Code == projections.CameBackOver:
		return cameBack(x, f), true
	case f.Code == projections.CountDiffersAtOpen && len(exchangedWith(f)) > 0:
		return mispacked(x, f), true
	case slices.Contains(countCodes, f.Code):
		return !t.countedRight(x), true
	}
	return true, false
}

// countedRight reports whether nothing went wrong with the pieces of a set's
// case, or with whose pieces they are.
func (t *trial) countedRight(x *simulate.Trip) bool {
	for _, c := range t.week.Cases {
		if c != x.Case && !x.Has(simulate.UsedTwice) {
			continue
		}
		if len(c.Faults) > 0 {
			return false
		}
		for _, y := range c.Trips {
			if len(y.Faults) > 0 {
				return false
			}
		}
	}
	for _, f := range t.week.Faults {
		if f.Kind == simulate.UsedTwice && f.Place == x.Case.Room {
			return false
		}
	}
	return true
}

// window holds a window against the moment at which the sheet came to where it
// was found; where the sheet lay with its own set under another's name, against
// that at which the label came there.
func (t *trial) window(x *simulate.Trip, f *projections.Finding, seq int64, w projections.Window) {
	l := t.looks[seq]
	if l == nil {
		return // a count, which needs no exchange
	}
	m := cause(l)
	if m == nil {
		return
	}
	t.r.Exact.hold(!m.At.Before(w.From) && !m.At.After(w.To))
	slack := clockOf(w)
	inside := !m.At.Before(w.From.Add(-slack)) && !m.At.After(w.To.Add(slack))
	if !t.r.Windows.hold(inside) {
		t.r.example("week %d, %s: %s between %s and %s; it was at %s (%s, %s)", t.week.Number, x.Set, f.Code,
			w.From.Format(stamp), w.To.Format(stamp), m.At.Format(stamp), m.Place, kinds(x))
	}
	t.sightings(x, f, l, m, &w)
	if len(w.Places) > 0 {
		named := slices.ContainsFunc(w.Places, func(p projections.Place) bool { return p.String() == m.Place })
		if !t.r.Places.hold(named) {
			t.r.example("week %d, %s: %s at %v; it was at %s", t.week.Number, x.Set, f.Code, w.Places, m.Place)
		}
	}
}

// sightings holds what a window says besides its times: where both sets were seen
// together, and, where every move is scanned, what follows if every move was.
func (t *trial) sightings(x *simulate.Trip, f *projections.Finding, l *simulate.Look, m *simulate.Move, w *projections.Window) {
	if s := w.Seen; s != nil && s.Together && l.Label == l.Tray {
		at, other := facts.Latest(s.At, s.OtherAt), t.set(s.Other, s.OtherAt)
		if set := t.set(s.Set, s.At); set != nil && other != nil && set.Sheet != nil && other.Sheet != nil {
			slack := clockOf(*w)
			right := set.Was(s.Place.String(), at.Add(-slack), at.Add(slack)) && other.Was(s.Place.String(), at.Add(-slack), at.Add(slack))
			if !t.r.Together.hold(right) {
				t.r.example("week %d, %s: never together with %s at %s on %s", t.week.Number, s.Set, s.Other, s.Place, at.Format(stamp))
			}
		}
	}
	if s := w.IfScanned; s != nil && t.scanned(x, l) {
		slack := clockOf(*w)
		inside := !m.At.Before(s.From.Add(-slack)) && !m.At.After(s.To.Add(slack))
		named := slices.ContainsFunc(s.Places, func(p projections.Place) bool { return p.String() == m.Place })
		if !t.r.IfScanned.hold(inside && named) {
			t.r.example("week %d, %s: if scanned between %s and %s at %v; it was at %s in %s (%s)", t.week.Number, x.Set,
				s.From.Format(stamp), s.To.Format(stamp), s.Places, m.At.Format(stamp), m.Place, kinds(x))
		}
	}
}

// scanned reports whether no move went unscanned, as far as it bears on how what was
// looked at came to lie as it did: all that it came from and went to were last seen
// where they were then, and those that had it in between were read meanwhile.
func (t *trial) scanned(x *simulate.Trip, l *simulate.Look) bool {
	moves := history(l)
	for i, m := range moves {
		for _, on := range []*simulate.Trip{x, m.To, before(moves[:i])} {
			if on != nil && (on != x || i == len(moves)-1) && !t.lastSeenAt(on, &moves[i]) {
				return false
			}
		}
		if i < len(moves)-1 && m.To != nil && m.To != moves[0].To && !t.readWrong(m.To) {
			return false
		}
	}
	return true
}

// readWrong reports whether a tray has been read with another sheet than its own.
func (t *trial) readWrong(x *simulate.Trip) bool {
	for _, l := range t.looks {
		if l.Tray == x && l.ReadSheet && l.Sheet != nil && l.Sheet.Of != x {
			return true
		}
	}
	return false
}

func before(moves []simulate.Move) *simulate.Trip {
	if len(moves) == 0 {
		return nil
	}
	return moves[len(moves)-1].To
}

// lastSeenAt reports whether a set was last seen where something was moved, by then.
func (t *trial) lastSeenAt(x *simulate.Trip, m *simulate.Move) bool {
	place := ""
	for _, it := range t.w.Trip(keyOf(x)).Steps {
		if !it.At().After(m.At) {
			place = facts.PlaceOf(it).String()
		}
	}
	return place == m.Place
}

// set returns the turn of a set that was going on at a moment.
func (t *trial) set(set string, at time.Time) *simulate.Trip {
	var last *simulate.Trip
	for _, x := range t.week.Trips {
		if x.Set == set && !x.Packed.After(at.Add(time.Hour)) && (last == nil || x.Packed.After(last.Packed)) {
			last = x
		}
	}
	return last
}

// cause returns the move by which what was looked at came to lie as it did.
func cause(l *simulate.Look) *simulate.Move {
	moves := history(l)
	if len(moves) == 0 {
		return nil
	}
	return &moves[len(moves)-1]
}

// history returns the moves, up to a look, of what it shows to be where it doesn't
// belong or to be gone.
func history(l *simulate.Look) []simulate.Move {
	var moves []simulate.Move
	switch {
	case l.Label != l.Tray: // with the sheet or without it
		moves = l.Label.Label.Moves
	case l.Sheet == nil:
		moves = l.Tray.Sheet.Moves
	default:
		moves = l.Sheet.Moves
	}
	n := 0
	for n < len(moves) && moves[n].At.Before(l.At) {
		n++
	}
	return moves[:n]
}

const stamp = "Mon 15:04:05"

func kinds(x *simulate.Trip) string {
	if len(x.Faults) == 0 {
		return "no fault"
	}
	return string(x.Faults[0].Kind)
}

func clockOf(w projections.Window) time.Duration { return time.Duration(w.ClockSeconds) * time.Second }

// doubt holds what a set in doubt is said to carry against what lies with it.
func (t *trial) doubt(x *simulate.Trip, d *projections.ProbablyWrong) {
	on := t.week.On(x, t.now)
	own := on != nil && on.Of == x
	if !t.r.Doubts.Said.hold(!own || d.TagUnread) {
		t.r.example("week %d, %s: said to carry another sheet than its own, and has its own", t.week.Number, x.Set)
	}
	switch {
	case d.Carries == nil:
	case on == nil:
		t.r.Doubts.None++
	case own:
		t.r.Doubts.Own++
	case on.Of == t.trips[*d.Carries]:
		t.r.Doubts.X++
	default:
		t.r.Doubts.Third++
	}
}

// missed holds every look that read something wrong, and every set without a
// fault, against the last verdicts.
func (t *trial) missed() error {
	read := make(map[*simulate.Trip]bool) // opened with all read
	for _, seq := range slices.Sorted(maps.Keys(t.looks)) {
		l := t.looks[seq]
		v, err := t.verdict(keyOf(l.Named))
		if err != nil {
			return err
		}
		if l.Opening {
			read[l.Tray] = l.ReadTag && (l.ReadSheet || l.Sheet == nil)
		}
		if err := t.missedPackage(l, seq); err != nil {
			return err
		}
		if !l.Tells() {
			continue
		}
		at := slices.IndexFunc(v.Findings, func(f projections.Finding) bool {
			return slices.Contains(sheetCodes, f.Code) && slices.Contains(f.Events, seq)
		})
		if !t.r.Missed.hold(at >= 0) {
			t.r.example("week %d, %s: missed what was read at %s in %s (%s)", t.week.Number, l.Named.Set,
				l.At.Format(stamp), l.Place, kinds(l.Tray))
			continue
		}
		if f := &v.Findings[at]; f.Code == projections.SheetSwapped && f.Way == (&projections.AnotherSetsSheet{}).Way() {
			t.r.Named.hold(f.Other != nil && t.trips[*f.Other] == l.Sheet.Of)
		}
	}
	for _, x := range t.week.Trips {
		if err := t.missedSet(x); err != nil {
			return err
		}
		if !x.Clean() || !read[x] || !t.countedRight(x) {
			continue
		}
		v, err := t.verdict(keyOf(x))
		if err != nil {
			return err
		}
		if !t.r.Clean.hold(len(v.Findings) == 0) {
			t.r.example("week %d, %s: nothing happened, and %s (%s) is found", t.week.Number, x.Set, v.Findings[0].Code, v.Findings[0].Way)
		}
	}
	return nil
}

// missedPackage holds what an opening saw of package and indicator against the
// verdict of the tray, or where its tag was not read of the set that it was recorded
// under.
func (t *trial) missedPackage(l *simulate.Look, seq int64) error {
	if !l.Opening {
		return nil
	}
	of := l.Named
	if l.ReadTag {
		of = l.Tray
	}
	v, err := t.verdict(keyOf(of))
	if err != nil {
		return err
	}
	for code, seen := range map[projections.Code]bool{
		projections.PackageUnfit: l.Tray.Wet, projections.IndicatorNotSeen: l.Tray.Bare,
	} {
		found := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			return f.Code == code && slices.Contains(f.Events, seq)
		})
		if seen && !t.r.Missed.hold(found) {
			t.r.example("week %d, %s: missed %s, which was seen at %s", t.week.Number, of.Set, code, l.At.Format(stamp))
		}
	}
	return nil
}

// backs is what is to be found of a piece, by what became of it.
var backs = map[simulate.BackKind]struct {
	code projections.Code
	why  projections.BackWhy
	sev  projections.Severity
}{
	simulate.BackGone:    {projections.CameBackShort, projections.BackUnexplained, projections.SeverityBroken},
	simulate.BackStrayed: {projections.CameBackShort, projections.BackElsewhere, projections.SeverityDoubtful},
	simulate.BackTook:    {projections.CameBackOver, projections.BackElsewhere, projections.SeverityNoted},
	simulate.BackRepair:  {projections.CameBackShort, projections.BackInHand, projections.SeverityNoted},

	simulate.BackReported: {projections.CameBackShort, projections.BackRepair, projections.SeverityNoted},
	simulate.BackReplaced: {}, // nothing: the set is as it was
	simulate.BackMissed:   {projections.CameBackShort, projections.BackUnexplained, projections.SeverityBroken},
	simulate.BackFound:    {projections.CameBackShort, projections.BackFound, projections.SeverityNoted},
	simulate.BackBasket:   {projections.CameBackShort, projections.BackWasher, projections.SeverityDoubtful},
	simulate.BackGot:      {projections.CameBackOver, projections.BackWasher, projections.SeverityNoted},
}

// cameBack reports whether a finding says of a set what became of its piece: how it weighs,
// what explains it, in which line, and whose set has it.
func cameBack(x *simulate.Trip, f *projections.Finding) bool {
	if x.Back == nil {
		return false
	}
	want := backs[x.Back.Kind]
	d, ok := f.Detail.(*projections.CameBack)
	if !ok {
		return x.Back.Kind == simulate.BackMissed // and not packed yet
	}
	if (x.Back.Kind == simulate.BackMissed) == d.Lines[0].Missed.IsZero() {
		return false
	}
	if f.Code != want.code || d.Why != want.why || f.Severity != want.sev || d.Case != x.Case.Ref ||
		len(d.Lines) != 1 || d.Lines[0].Line != x.Back.Line || d.Pieces() != 1 || d.Closed.IsZero() != x.Case.Closed.IsZero() {
		return false
	}
	return x.Back.Other == nil || len(d.Moves) == 1 && d.Moves[0].Set == x.Back.Other.Set
}

// earlySeverity is what a set opened before its indicator was read is said to be, at
// the end of a week: without a result nothing speaks for it, with one and a reason
// there is nothing left to do.
func earlySeverity(e simulate.Early) projections.Severity {
	switch e {
	case simulate.EarlyUnread:
		return projections.SeverityBroken
	case simulate.EarlyForReason:
		return projections.SeverityNoted
	}
	return projections.SeverityDoubtful
}

// planted is what is to be found of a set as a whole.
type planted struct {
	code projections.Code
	way  string
	sev  projections.Severity
}

// shuts is what is to be found of a closed set, by what was done to it.
var shuts = map[simulate.Shut]planted{
	simulate.ShutInHand:  {projections.SheetMoved, (&projections.ReadWhileClosed{}).Way(), projections.SeverityDoubtful},
	simulate.ShutInside:  {projections.LinkOutOfOrder, (&projections.ClosedAfterRun{}).Way(), projections.SeverityBroken},
	simulate.ShutLocks:   {projections.LinkOutOfOrder, (&projections.ClosedAfterRun{}).Way(), projections.SeverityDoubtful},
	simulate.ShutPrinted: {}, // nothing
}

// anews is what is to be found of a set that was packed anew while its load ran.
var anews = map[simulate.Anew]planted{
	simulate.AnewUnrun: {projections.NotReleased, (&projections.StartedBeforePacking{}).Way(), projections.SeverityBroken},
	simulate.AnewNamed: {projections.NotReleased, (&projections.OpenedUnreleased{}).Way(), projections.SeverityBroken},
	simulate.AnewRun:   {projections.NotReleased, (&projections.StartedBeforePacking{}).Way(), projections.SeverityNoted},
}

// missedClosed holds what was packed or closed anew, or read though it was closed, against the verdict.
func (t *trial) missedClosed(x *simulate.Trip) error {
	for _, of := range []struct {
		what string
		planted
	}{{string(x.Shut), shuts[x.Shut]}, {string(x.Anew), anews[x.Anew]}} {
		if of.what == "" {
			continue
		}
		v, err := t.verdict(keyOf(x))
		if err != nil {
			return err
		}
		right := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			return f.Code == of.code && f.Way == of.way && f.Severity == of.sev
		})
		if of.code == "" {
			right = !slices.ContainsFunc(v.Findings, func(f projections.Finding) bool { return f.Code == projections.LinkOutOfOrder })
		}
		if !t.r.closed(of.what).hold(right) {
			t.r.example("week %d, %s: of a set %s this is told: %v", t.week.Number, x.Set, of.what, codes(v.Findings))
		}
	}
	return nil
}

// missedSet holds what happened to a set as a whole against its verdict.
func (t *trial) missedSet(x *simulate.Trip) error {
	if err := errors.Join(t.missedBack(x), t.missedClosed(x), t.missedExchange(x)); err != nil {
		return err
	}
	label := x.Has(simulate.LabelSwap) || x.Has(simulate.HolderSwap) // recorded in another load
	for code, happened := range map[projections.Code]bool{
		projections.TooHeavy: x.Heavy, projections.SecondLookMissing: x.Alone,
		projections.ImplantTooEarly: x.Early != "" && !label, projections.PutAside: x.Aside == simulate.AsideUsed,
	} {
		if !happened {
			continue
		}
		v, err := t.verdict(keyOf(x))
		if err != nil {
			return err
		}
		found := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			return f.Code == code && (code != projections.ImplantTooEarly || f.Severity == earlySeverity(x.Early))
		})
		if !t.r.Missed.hold(found) {
			t.r.example("week %d, %s: missed %s (%s)", t.week.Number, x.Set, code, kinds(x))
		}
		t.r.planted(code)
	}
	return nil
}

// missedBack holds what became of a piece since the last count against the verdict of the
// turn in which it was counted.
func (t *trial) missedBack(x *simulate.Trip) error {
	if x.Back == nil {
		return nil
	}
	v, err := t.verdict(keyOf(x))
	if err != nil {
		return err
	}
	want := backs[x.Back.Kind].code
	right := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool { return f.Code == want && cameBack(x, &f) })
	if want == "" {
		right = !slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			return f.Code == projections.CameBackShort || f.Code == projections.CameBackOver
		})
	}
	if !t.r.back(x.Back.Kind).hold(right) {
		t.r.example("week %d, %s: of a piece %s this is told: %v", t.week.Number, x.Set, x.Back.Kind, codes(v.Findings))
	}
	return nil
}

// codes are those of some findings.
func codes(fs []projections.Finding) (out []projections.Code) {
	for i := range fs {
		out = append(out, fs[i].Code)
	}
	return out
}

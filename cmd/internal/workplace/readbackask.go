package workplace

import (
	"slices"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// The questions to a sheet, in the order in which they are asked.
const (
	askPages     = "pages"
	askCase      = "case"
	askKnown     = "known"
	askClosed    = "closed"
	askLate      = "late"
	askThere     = "there"
	askDay       = "day"
	askMoment    = "moment"
	askWhose     = "whose"
	askOpened    = "opened"
	askFound     = "found"
	askMade      = "made"
	askBlank     = "blank"
	askBlankPage = "blank-page"
	askCounter   = "counter"
	askWitness   = "witness"
	askAt        = "at"
	askCell      = "cell"
	askFormGoods = "form-goods"
	askNoGoods   = "no-goods"
	askGoodsName = "goods-name"
	askGoods     = "goods"
	askFewer     = "fewer"
	askCame      = "came"
)

// whyBefore: it is ticked, and the sheet says another number in a column before.
const whyBefore = "before"

// whyCorrected: what the line was packed with was corrected after the picture was read.
const whyCorrected = "corrected"

// whyForm: it is to be typed in off a blank form.
const whyForm = "form"

// noTick are the reasons for which Enter doesn't say that a line is as printed: what is there may be a number, or have been
// struck out. A person says so by the button, or types the number.
var noTick = []string{whyBefore, whyForm, string(marks.Number), string(marks.NumberToo), string(marks.Shape), string(marks.RunsOn),
	string(marks.StruckOut)}

// paperQuestion is what is asked now.
type paperQuestion struct {
	kind     string
	stage    events.Stage
	line     int64
	page     int
	field    string // whose cut-out is shown
	proposed string // what Enter agrees to
	with     string // and with askCounter who was second
	label    bool   // proposed stands on a label on the sheet
	printed  int64  // with askCell: the number beside the box
	agrees   bool   // and Enter says that it is as printed
	why      string
	item     string
}

func (q *paperQuestion) time() bool {
	return q.kind == askOpened || q.kind == askAt || q.kind == askMoment
}

// readState is a sheet in hand with all that its questions turn on.
type readState struct {
	sheet    *paperSheet
	policy   events.Policy
	standing projections.CaseStanding // of the case, once that is known
	likely   []projections.TripKey    // sets of the case that may have been counted by this sheet
	used     []usedFor                // sets that were counted by it, as is recorded
	on       projections.TripKey      // whose count it is
	opened   time.Time                // as recorded for the case
	cases    []string                 // for which the sheet's own set was opened in its trip
	lines    []projections.LineStanding
	done     map[events.Stage]paperCount // counts of these stages are recorded from this sheet already
	recorded map[events.Stage]thereCount // counts that are recorded otherwise
	other    cameBefore                  // what they have of goods as come
	closed   closedCase                  // of the case
	known    bool                        // something is recorded of the case
	printed  time.Time                   // not before that
	last     int64                       // the highest number that a line of the set's list and counts has
}

func (st *readState) own() projections.TripKey {
	return projections.TripKey{Set: st.sheet.Set, Trip: st.sheet.Trip}
}

// isDoneOn reports whether the count of a stage is recorded, and a page was there then.
func (st *readState) isDoneOn(p *paperPage, stage events.Stage) bool { return st.done[stage].has(p) }

func (st *readState) isDone(stage events.Stage) bool {
	_, ok := st.done[stage]
	return ok
}

// now is the sheet in hand and the question that it asks now; no question where all is answered, no sheet where none lies here.
func (b *readback) now(v *visit) (*readState, *paperQuestion, error) {
	if b.Code == "" {
		return nil, nil, nil
	}
	sheet, found, err := v.d.files.paper(b.Code)
	if ignoreUnreadable(err) != nil {
		return nil, nil, err
	}
	if !found || err != nil {
		return nil, nil, nil
	}
	st := &readState{sheet: sheet, recorded: make(map[events.Stage]thereCount)}
	if err := st.look(v, b); err != nil {
		return nil, nil, err
	}
	return st, st.next(v, b), nil
}

// look finds what the questions turn on.
func (st *readState) look(v *visit, b *readback) error {
	return v.d.site.Ask(func(m *site.View) (err error) {
		w := m.World(v)
		if st.policy, _, err = w.PolicyAt(site.SiteOf(v.station), v.now); err != nil {
			return err
		}
		st.on = b.On
		if st.used, err = setsCountedBy(v, m, st.own(), st.sheet.Code); err != nil {
			return err
		}
		if b.Case != "" {
			if st.standing, err = w.CaseStanding(b.Case); err != nil {
				return err
			}
			st.candidates(w, b)
		}
		if st.on == (projections.TripKey{}) {
			st.on = st.own()
		}
		standing, err := w.Standing(st.own())
		if err != nil {
			return err
		}
		st.lines = standing.Lines
		st.last = st.lastLine(v, b)
		if st.done, err = countedFromPaper(w, st.on, st.sheet.Code); err != nil {
			return err
		}
		for _, it := range w.Trip(st.own()).Opened {
			if ref := events.CaseOf(it.Data); !it.Void && !slices.Contains(st.cases, ref) {
				st.cases = append(st.cases, ref)
			}
		}
		for _, it := range w.Trip(st.on).Opened {
			if !it.Void && events.CaseOf(it.Data) == b.Case && st.opened.IsZero() {
				st.opened = it.At()
			}
		}
		st.printed = printedAt(w.Trip(st.own()))
		if b.Case != "" {
			if err := st.there(v, m, w, b.Case); err != nil {
				return err
			}
		}
		return w.Failed()
	})
}

// printedAt is when a turn's set was packed: its count sheet was not printed before, nor counted by.
func printedAt(c *facts.Trip) (at time.Time) {
	for _, it := range c.Packed {
		if !it.Void && (at.IsZero() || it.At().Before(at)) {
			at = it.At()
		}
	}
	return at
}

// candidates are the sets of the case that this sheet may have been used for: its own in another turn, and those with
// the same list. Where its own was opened in the trip that the sheet names, or counts of it are recorded already, nothing is asked.
func (st *readState) candidates(w *judge.World, b *readback) {
	if st.sheet.Form {
		if k, ok := st.formTurn(); ok {
			st.on = k
		}
		return
	}
	for _, u := range st.used {
		if u.isOf(st, b.Case) {
			st.on = u.on
			return
		}
	}
	for _, s := range st.standing.Sets {
		if s.Key == st.own() {
			st.likely = nil
			return
		}
		if s.Opened && (s.Key.Set == st.sheet.Set || s.List == st.sheet.List) && !st.countedOtherwise(w, &s, b.Case) {
			st.likely = append(st.likely, s.Key)
		}
	}
	if b.On != (projections.TripKey{}) && b.On != st.own() && !slices.Contains(st.likely, b.On) {
		st.on = projections.TripKey{}
	}
}

// countedOtherwise reports whether a set has all counts that the sheet has, read back from another one: then the sheet is not of these.
// What was counted at a station may have been ticked on this sheet, too.
func (st *readState) countedOtherwise(w *judge.World, s *projections.SetStanding, ref string) bool {
	some := false
	for _, stage := range st.sheet.stages() {
		some = some || !st.blank(stage)
		if !st.blank(stage) && !slices.ContainsFunc(w.Trip(s.Key).Counted, func(it *facts.Item) bool {
			d := facts.CountOf(it)
			return !it.Void && d.Paper != nil && d.Case == ref && d.Stage == stage
		}) {
			return false
		}
	}
	return some
}

// next is the first question that is open.
func (st *readState) next(v *visit, b *readback) *paperQuestion {
	for _, n := range st.sheet.missing() {
		if !slices.Contains(b.Without, n) && !st.recordedPage(n) {
			return &paperQuestion{kind: askPages}
		}
	}
	switch {
	case b.Case == "":
		q := &paperQuestion{kind: askCase, field: paper.PlaceCase}
		if on := v.labelOn(st.sheet, q.field, events.ScanCase); on != "" {
			q.proposed, q.label = on, true
		} else if len(st.cases) == 1 {
			q.proposed = st.cases[0]
		}
		return q
	case !st.known && b.Sure != b.Case:
		return &paperQuestion{kind: askKnown, field: paper.PlaceCase}
	case len(st.likely) > 0 && b.On == (projections.TripKey{}):
		return &paperQuestion{kind: askWhose, field: paper.PlaceCase}
	}
	if q := st.nextThere(b); q != nil {
		return q
	}
	if q := st.nextLate(v, b); q != nil {
		return q
	}
	unopened := st.opened.IsZero() && (len(st.done) == 0 || len(st.counted(b)) > 0) // else nothing of it is recorded any more
	switch {
	case b.Redate, unopened && b.Opened.IsZero() && b.Day == "":
		return &paperQuestion{kind: askDay, field: paper.PlaceDate}
	case b.Doubt != nil && st.opens(b.Doubt.Stage):
		return b.momentQuestion()
	case unopened && b.Opened.IsZero():
		return &paperQuestion{kind: askOpened, field: paper.PlaceStart}
	case unopened && b.Found == "" && !st.sheet.Form:
		return &paperQuestion{kind: askFound}
	}
	if q := st.nextOfForm(b); q != nil {
		return q
	}
	if q := st.nextBlank(b); q != nil {
		return q
	}
	if q := st.nextAdded(b); q != nil {
		return q
	}
	if q := st.nextPerson(v, b); q != nil {
		return q
	}
	if q := st.nextCell(b); q != nil {
		return q
	}
	return st.nextGoods(b)
}

// counted are the stages that come to a count.
func (st *readState) counted(b *readback) []events.Stage { return st.withCame(b, st.columns(b)) }

// columns are the stages whose columns on the sheet come to a count.
func (st *readState) columns(b *readback) (out []events.Stage) {
	for _, stage := range st.sheet.stages() {
		if st.sheet.Form && (b.Stages[stage] == nil || !b.Stages[stage].Made) {
			continue
		}
		switch {
		case st.blank(stage) && !st.completes(b, stage), st.leftOut(b, stage):
		case stage == events.StageAdded && st.addsLines(b), stage != events.StageAdded && (!st.isDone(stage) || st.completes(b, stage)):
			out = append(out, stage)
		}
	}
	return out
}

// blank reports whether nothing is in a stage's column on any page.
func (st *readState) blank(stage events.Stage) bool {
	for _, p := range st.sheet.inOrder() {
		if !p.blank(stage) || stage != events.StageAdded && p.goodsMarked(stage) {
			return false
		}
	}
	return true
}

// nextBlank asks about columns in which nothing is marked: a copier loses pale ink without a trace.
func (st *readState) nextBlank(b *readback) *paperQuestion {
	for _, stage := range st.sheet.stages() {
		said := b.Stages[stage]
		switch {
		case st.isDone(stage) || stage == events.StageAdded || st.leftOut(b, stage):
			continue
		case st.blank(stage):
			if slices.Contains(st.policy.Stages, stage) && (said == nil || !said.Left) {
				return &paperQuestion{kind: askBlank, stage: stage}
			}
			continue
		}
		for _, p := range st.sheet.inOrder() {
			if len(p.Rows) > 0 && p.blank(stage) && (said == nil || !slices.Contains(said.Blank, p.Page)) {
				return &paperQuestion{kind: askBlankPage, stage: stage, page: p.Page}
			}
		}
	}
	return nil
}

// badgeOn is the badge whose label was stuck into a place of the sheet, "" where none was. It is only proposed: whoever
// reads the sheet back sees the label.
func (v *visit) badgeOn(sheet *paperSheet, place string) string {
	return v.labelOn(sheet, place, events.ScanBadge)
}

func (v *visit) labelOn(sheet *paperSheet, place string, kind events.ScanKind) string {
	f, _ := sheet.field(place)
	all, err := v.read(f.Symbol)
	if err != nil || len(all) != 1 || all[0].Kind != kind {
		return ""
	}
	return all[0].Value
}

// nextPerson asks for each count who made it and when. Enter takes who is on the labels, and for the counts after the first who
// made the one before.
func (st *readState) nextPerson(v *visit, b *readback) *paperQuestion {
	var before *stageSaid
	for _, stage := range st.counted(b) {
		said := b.Stages[stage]
		if said == nil {
			said = new(stageSaid)
		}
		q := &paperQuestion{stage: stage}
		switch {
		case st.mends(stage): // who made it, and when, is recorded
			continue
		case said.At.IsZero() && b.Doubt != nil && b.Doubt.Stage == stage:
			return b.momentQuestion()
		case said.At.IsZero():
			q.kind, q.field = askAt, paper.PlaceEnd
			if stage == events.StageFirst {
				q.field = paper.PlaceStart
			}
			return q
		case said.Counter == "":
			q.kind, q.field = askCounter, paper.PlaceCounter
			if before != nil {
				q.proposed, q.with = before.Counter, before.Witness
			} else {
				q.proposed = v.badgeOn(st.sheet, q.field)
				q.label = q.proposed != ""
			}
			return q
		case said.Witness == "" && !said.Alone:
			q.kind, q.field = askWitness, paper.PlaceWitness
			if before != nil && !sameBadge(before.Witness, said.Counter) {
				q.proposed = before.Witness
			} else if on := v.badgeOn(st.sheet, q.field); before == nil && !sameBadge(on, said.Counter) {
				q.proposed, q.label = on, on != ""
			}
			return q
		}
		before = said
	}
	return nil
}

// opens reports whether a doubtful time is that of an opening that is not recorded.
func (st *readState) opens(stage events.Stage) bool { return stage == "" && st.opened.IsZero() }

// momentQuestion asks which moment the time that was typed last means.
func (b *readback) momentQuestion() *paperQuestion {
	q := &paperQuestion{kind: askMoment, stage: b.Doubt.Stage, field: paper.PlaceEnd}
	if q.stage == "" || q.stage == events.StageFirst {
		q.field = paper.PlaceStart
	}
	return q
}

// value is what a line comes to at a stage; ok is false where it must be asked, n < 0 where it was not counted.
func (st *readState) value(b *readback, l *projections.LineStanding, stage events.Stage) (n int64, ok bool) {
	if stage == events.StageAdded {
		return st.added(b, l.Line.Line)
	}
	c, page := st.sheet.cell(l.Line.Line, stage)
	if c == nil || st.isDoneOn(page, stage) {
		return -1, true
	}
	if s, said := b.Cells[cellName(stage, l.Line.Line)]; said && s.Picture == page.Picture {
		if s.Not {
			return -1, true
		}
		return s.Counted, true
	}
	if said := b.Stages[stage]; page.blank(stage) && said != nil && slices.Contains(said.Blank, page.Page) {
		return -1, true
	}
	switch {
	case c.Mark == markAsked, c.Written:
		return 0, false
	case c.Mark == markEmpty:
		return -1, true
	case st.otherBefore(b, l, stage), st.sheet.otherwisePrinted(l.Line.Line, l.Packed):
		return 0, false
	}
	return l.Packed, true
}

// otherBefore reports whether the sheet itself says of a line, in a column before, that it is another number than the printed
// one: then a tick may mean either.
func (st *readState) otherBefore(b *readback, l *projections.LineStanding, stage events.Stage) bool {
	if st.other.later[l.Line.Line] > 0 && stage != events.StageFirst {
		return true // a station has that some came
	}
	_, page := st.sheet.row(l.Line.Line)
	for _, before := range st.sheet.stages() {
		if before == stage {
			return false
		}
		if before == events.StageAdded && st.lineAdded(b, l.Line.Line) != nil {
			if g := st.lineAdded(b, l.Line.Line); g.said.came() > 0 || g.said.Numbers == nil && !g.said.None {
				return true
			}
		}
		if was, done := st.done[before]; done && was.has(page) { // of a mark that was asked about only the record says which number it was
			n, said := was.counts[l.Line.Line]
			if said && (before == events.StageAdded && n > 0 || before != events.StageAdded && n != l.Packed) {
				return true
			}
			continue
		}
		c, _ := st.sheet.cell(l.Line.Line, before)
		if c == nil || c.Mark == markTicked && !c.Written || c.Mark == markEmpty && !c.Written {
			continue
		}
		n, ok := st.value(b, l, before)
		if ok && n >= 0 && before != events.StageAdded && n != l.Packed {
			return true
		}
	}
	return false
}

// nextCell asks about the first mark that is not sure.
func (st *readState) nextCell(b *readback) *paperQuestion {
	for _, stage := range st.counted(b) {
		for i := range st.lines {
			l := &st.lines[i]
			if _, ok := st.value(b, l, stage); !ok {
				return st.cellQuestion(l, stage)
			}
		}
	}
	return nil
}

// cellQuestion asks what a line comes to at a stage.
func (st *readState) cellQuestion(l *projections.LineStanding, stage events.Stage) *paperQuestion {
	c, page := st.sheet.cell(l.Line.Line, stage)
	q := &paperQuestion{kind: askCell, stage: stage, line: l.Line.Line, page: page.Page, printed: l.Packed, item: l.Description, why: c.Why}
	if q.why == "" {
		switch q.why = whyBefore; {
		case c.Written:
			q.why = string(marks.NumberToo)
		case st.sheet.otherwisePrinted(l.Line.Line, l.Packed):
			q.why = whyCorrected
		case st.other.later[l.Line.Line] > 0:
			q.why = whyNoSum
		}
	}
	q.agrees = !c.Written && stage != events.StageAdded && !st.sheet.otherwisePrinted(l.Line.Line, l.Packed) &&
		!slices.Contains(noTick, q.why) && q.why != whyNoSum
	return q
}

package workplace

import (
	"maps"
	"net/url"
	"slices"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// opening is the draft of a set that is opened for a case.
type opening struct {
	reading
	Closed bool `json:"closed,omitempty"` // the case is closed, and a person said that it is the right one
	Old    bool `json:"old,omitempty"`    // the case was begun on another day, and a person said that it is the same
	// Twice is the turn that is open already for the case, where a person said that it was opened again.
	Twice string `json:"twice,omitempty"`
}

func openingPlace() workplace {
	return bench[opening, *opening]{
		scans: map[events.ScanKind]scanned[opening]{
			events.ScanBadge: func(b *opening, v *visit, badge string) (said, error) {
				return b.reading.scanBadge(v, badge, b.verdict)
			},
			events.ScanCase:  (*opening).scanCase,
			events.ScanPlace: (*opening).scanPlace,
			events.ScanSet:   (*opening).scanSet,
			events.ScanTag:   (*opening).scanTag,
			events.ScanOuter: (*opening).scanOuter,
			events.ScanLabel: (*opening).scanLabel,
			events.ScanSheet: (*opening).scanSheet,
			events.ScanShort: (*opening).scanShort,
			events.ScanSeal:  (*opening).scanSeal,
		},
		acts:  openingActs(),
		typed: (*opening).typed,
	}
}

func openingActs() map[string]action[opening] {
	acts := unlessLeft(func(b *opening) *reading { return &b.reading }, map[string]action[opening]{
		"swap":     (*opening).swap,
		"no-tag":   (*opening).noTag,
		"no-outer": (*opening).noOuter,
		"found": func(b *opening, v *visit, f fields) (said, error) {
			return b.reading.findSheet(v, f, b.verdict)
		},
		"few-pages":   (*opening).fewPages,
		"package":     (*opening).notePackage,
		"anyway":      (*opening).goOn,
		"twice":       (*opening).openTwice,
		"stop-first":  (*opening).stopFirst,
		"indicator":   (*opening).takeIndicator,
		"seal-broken": (*opening).noteSealBroken,
		"seals-none":  (*opening).noSeals,
		"seal-off":    (*opening).sealOff,
		"enter":       (*opening).record,
		"record":      (*opening).record,
	})
	maps.Copy(acts, map[string]action[opening]{
		"clear":       (*opening).discard,
		"forget":      (*opening).forget,
		"put-aside":   (*opening).putAside,
		"read-again":  (*opening).readAgain,
		"next-case":   (*opening).nextCase,
		"closed-case": (*opening).keepClosedCase,
		"old-case":    (*opening).keepOldCase,
		"case-is":     (*opening).caseIs,
		"where":       (*opening).takeWhere,
		"case":        (*opening).takeCase,
	})
	return acts
}

func (b *opening) wants() []want {
	return wanted(events.ScanSet, events.ScanCase, events.ScanBadge, events.ScanSeal, events.ScanShort, events.ScanPlace)
}

func (b *opening) clear() { *b = opening{reading: b.kept(), Old: b.Old} }

func (b *opening) discard(v *visit, _ fields) (said, error) { return b.reading.discard(v, b.verdict) }

func (b *opening) stopLeft(v *visit) (bool, error) { return b.reading.stopLeft(v, b.verdict) }

func (b *opening) readAgain(v *visit, _ fields) (said, error) {
	return b.reading.readAgain(v, b.verdict)
}

func (b *opening) putAside(v *visit, f fields) (said, error) { return b.asideThen(v, f, b.verdict) }

// nextHere: for which case it is, the next person says, too. A set that is opened for the patient before is counted
// with that patient's.
func (b *opening) nextHere() {
	b.caseGone()
	b.reading.nextHere()
	b.Closed, b.Old, b.Twice = false, false, ""
}

// caseGone forgets the case, but not for which one it is that something lies here.
func (b *opening) caseGone() {
	if b.Case != "" && !b.idle() && b.For == "" {
		b.For = b.Case
	}
	b.Case = ""
}

// judgeFor judges what lies here for a case. Where who works here was forgotten, and their case with them, a STOP that was only
// for that case stays: whoever comes next has not seen it, and the set may be open at another patient. What was left lying
// says so whichever case they have.
func (b *opening) judgeFor(v *visit, ref string, o *events.Observation, q question) (said, error) {
	d := o.Data.(*events.SetOpened)
	if b.For != "" && (b.Case == "" || b.ofBefore()) {
		st, err := v.caseStanding(b.For)
		if err != nil {
			return said{}, err
		}
		if d.Case = b.For; !st.Closed {
			if s, err := b.judge(v, o, q); err != nil || b.stop {
				return s, err
			}
		}
	}
	d.Case = ref
	return b.judge(v, o, q)
}

// refresh drops a case that was closed meanwhile.
func (b *opening) refresh(v *visit) error {
	if b.idle() || !b.Left.IsZero() {
		b.Twice = "" // it was said of what lay here then
	}
	if b.Case == "" || b.Closed || !b.idle() {
		return nil
	}
	st, err := v.caseStanding(b.Case)
	if err == nil && st.Closed {
		b.Case = ""
	}
	return err
}

// scanCase takes the case. One that is new, and written almost as one that is open, is asked
// about: its sets would be counted apart from those of the other.
func (b *opening) scanCase(v *visit, ref string) (said, error) {
	if ref == b.Case {
		return said{}, nil
	}
	like, err := v.caseLike(ref)
	if err != nil {
		return said{}, err
	}
	if like != "" {
		return doubt(v.t("case-like", ref, like), v.t("case-like-more")).offer(
			choice{Do: "case-is", Value: like, Words: v.t("do-case-like", like)},
			choice{Do: "case-is", Value: ref, Words: v.t("do-case-new", ref)},
		), nil
	}
	return b.takeRef(v, ref)
}

// caseLike is the case of these days that a new one is almost written as, "" for none: open or closed, at any station,
// since two tablets of a room are two stations, and what is opened for a case that nobody has is counted in none.
func (v *visit) caseLike(ref string) (string, error) {
	st, err := v.caseStanding(ref)
	if err != nil || len(st.Sets) > 0 || st.Closed {
		return "", err
	}
	cases, err := site.Answer(v.d.site, func(m *site.View) ([]string, error) { return m.CasesSince(v, v.now.Add(-dayAndHalf)) })
	if err != nil {
		return "", err
	}
	for _, c := range cases {
		if c != ref && events.Likeness(c) == events.Likeness(ref) {
			return c, nil
		}
	}
	return "", nil
}

// caseIs answers which case is meant.
func (b *opening) caseIs(v *visit, f fields) (said, error) {
	if f["value"] == "" {
		return said{}, nil
	}
	return b.takeRef(v, f["value"])
}

// takeRef takes the case. One that is closed, or was begun on another day, is asked about.
func (b *opening) takeRef(v *visit, ref string) (said, error) {
	b.Case, b.Closed, b.Old, b.Twice = ref, false, false, ""
	if !b.ofBefore() {
		b.For = ""
	}
	st, err := v.caseStanding(ref)
	if err != nil || st.Closed {
		return v.askClosedCase(ref), err
	}
	return b.askOldCase(v)
}

func (v *visit) askClosedCase(ref string) said {
	return doubt(v.t("closed-case", ref), v.t("closed-case-more")).offer(
		choice{Do: "next-case", Words: v.t("next-case"), Main: true},
		choice{Do: "closed-case", Value: ref, Words: v.t("do-closed-case", ref)},
	)
}

// askOldCase asks about a case that was begun on another day, and nobody closed: a reference that begins anew with
// each day, or a label that lay there, would count two patients' sets together. Nothing where it was not, or a person
// said that it is the same case.
func (b *opening) askOldCase(v *visit) (said, error) {
	if b.Case == "" || b.Old {
		return said{}, nil
	}
	set, since, err := v.begunBy(b.Case)
	if err != nil || since.IsZero() || v.today(since) {
		return said{}, err
	}
	return doubt(v.t("old-case", b.Case, v.time(since), set), v.t("old-case-more")).offer(
		choice{Do: "next-case", Words: v.t("next-case"), Main: true},
		choice{Do: "old-case", Value: b.Case, Words: v.t("do-old-case", b.Case)},
	), nil
}

// begunBy is the set that was opened first for a case, and when.
func (v *visit) begunBy(ref string) (set string, since time.Time, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		st, err := w.CaseStanding(ref)
		if err != nil {
			return err
		}
		for _, s := range st.Sets {
			for _, it := range w.Trip(s.Key).Opened {
				if events.CaseOf(it.Data) == ref && (since.IsZero() || it.At().Before(since)) {
					set, since = s.Key.Set, it.At()
				}
			}
		}
		return w.Failed()
	})
	return set, since, err
}

// keepOldCase answers that a case of another day is meant.
func (b *opening) keepOldCase(_ *visit, f fields) (said, error) {
	b.Old = b.Case != "" && f["value"] == b.Case
	return said{}, nil
}

func (b *opening) nextCase(*visit, fields) (said, error) {
	b.Case, b.Closed, b.Old = "", false, false
	return said{}, nil
}

// keepClosedCase answers that a closed case is the right one.
func (b *opening) keepClosedCase(_ *visit, f fields) (said, error) {
	b.Case, b.Closed = f["value"], f["value"] != ""
	return said{}, nil
}

func (b *opening) observation(v *visit) *events.Observation {
	return &events.Observation{
		Station: v.station, Kind: events.KindSetOpened, Time: v.now.UTC(), Set: b.id(), Operator: b.Operator,
		Data: &events.SetOpened{
			Case: b.Case, Room: b.Where, Tag: b.Tag, OuterLabel: b.Outer, Sheet: b.Sheet,
			Seals: b.Seals, SealBroken: b.SealBroken, Indicator: b.Indicator, Package: b.Package,
		},
	}
}

// caseToCome stands for a case that is not scanned yet, where sentences name it.
// Nothing of it is recorded.
func (v *visit) caseToCome() string { return v.t("case-to-come") }

func (b *opening) verdict(v *visit) (said, error) {
	sheet, err := b.supposed(v)
	if err != nil {
		return said{}, err
	}
	o := b.observation(v)
	d := o.Data.(*events.SetOpened)
	closed, err := b.caseClosed(v)
	if err != nil {
		return said{}, err
	}
	old, err := b.askOldCase(v)
	if err != nil {
		return said{}, err
	}
	ref := b.Case
	if d.Sheet = sheet; ref == "" || closed || old.Words != "" {
		ref = v.caseToCome() // whether it is the case that is meant is asked first
	}
	q, err := b.asks(v)
	if err != nil {
		return said{}, err
	}
	s, err := b.judgeFor(v, ref, o, q)
	if err != nil {
		return said{}, err
	}
	if err := b.sayLocks(v, &s); err != nil {
		return said{}, err
	}
	twice, _, err := b.openAlready(v)
	if (closed || twice || old.Words != "") && s.Status == "whole" {
		s.Status, s.Sound = "doubtful", "ask"
	}
	if err != nil || b.id() == "" || !b.Left.IsZero() {
		return s, err
	}
	return s, v.sayStopsElsewhere(b.id(), &s)
}

// sayLocks says that the locks recorded at the closing were not read: one that is gone looks
// the same as one that nobody looked at.
func (b *opening) sayLocks(v *visit, s *said) error {
	cur, err := b.current(v)
	if err != nil || cur == nil || len(cur.Seals) == 0 || len(b.Seals) > 0 || b.SealBroken || b.Sheet == nil {
		return err
	}
	locks := v.w.Language().List(cur.Seals)
	s.Older = append(s.Older, older{"open", v.t("locks-unread", locks), v.t("locks-unread-more")})
	return nil
}

// goOn answers a STOP: it goes on all the same.
func (b *opening) goOn(v *visit, _ fields) (said, error) { return b.reading.goOn(v, b.verdict) }

// openAlready reports whether the set is open for the case in hand, and nobody said that it
// was opened once more; and since when.
func (b *opening) openAlready(v *visit) (bool, time.Time, error) {
	turn, since, err := b.openFor(v)
	return err == nil && !since.IsZero() && b.Twice != turn, since, err
}

// noTurn stands for the turn of a set that nobody packed.
const noTurn = "-"

// openFor is the turn in which the set is open for the case in hand, and since when; a zero time where it isn't.
func (b *opening) openFor(v *visit) (turn string, since time.Time, err error) {
	if b.Case == "" || b.id() == "" {
		return "", since, nil
	}
	cur, err := b.current(v)
	switch {
	case err != nil:
		return "", since, err
	case cur == nil:
		since, err = v.openUnpacked(b.id(), b.Case)
		return noTurn, since, err
	case cur.OpenedFor == b.Case:
		return cur.Key.Trip, cur.OpenedAt, nil
	}
	return "", since, nil
}

// openUnpacked is when a set that nobody packed was opened for a case, zero for never.
func (v *visit) openUnpacked(set, ref string) (since time.Time, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.Trip(projections.TripKey{Set: set}).Opened {
			if !it.Void && events.CaseOf(it.Data) == ref {
				since = it.Event.Time
			}
		}
		return w.Failed()
	})
	return since, err
}

// openTwice answers that the set was opened once more.
func (b *opening) openTwice(v *visit, _ fields) (said, error) {
	turn, since, err := b.openFor(v)
	if err == nil && !since.IsZero() {
		b.Twice = turn
	}
	return said{}, err
}

// caseClosed reports whether the case is over, and nobody said that it is meant all
// the same.
func (b *opening) caseClosed(v *visit) (bool, error) {
	if b.Case == "" || b.Closed {
		return false, nil
	}
	st, err := v.caseStanding(b.Case)
	return st.Closed, err
}

// asks is the one question that is asked now. Only where none is left, Enter records.
func (b *opening) asks(v *visit) (question, error) {
	cur, err := b.current(v)
	if err != nil {
		return question{}, err
	}
	p, err := v.policy()
	if err != nil {
		return question{}, err
	}
	const none = "F4" // the key for all that is not there
	switch {
	case b.placeMissing() && b.id() != "":
		return question{words: v.t("where-was-sheet")}, nil
	case b.Tag == "" && b.Outer == "":
		return question{words: v.t("scan-tag")}, nil
	case b.Tag == "" && !b.NoTag:
		no := choice{Do: "no-tag", Value: "yes", Words: v.t("do-no-tag"), Key: none}
		return question{words: v.t("scan-tag"), answers: []choice{no}}, nil
	case b.Outer == "" && !b.NoOuter:
		no := choice{Do: "no-outer", Value: "yes", Words: v.t("do-no-outer"), Key: none}
		return question{words: v.t("scan-outer", b.Tag), answers: []choice{no}}, nil
	case b.Sheet == nil && (cur == nil || cur.Placement != events.Screen):
		none := choice{Do: "found", Value: events.FoundNone, Words: v.t("found-none"), Key: none}
		return question{words: v.t("scan-sheet", b.id()), answers: []choice{none,
			{Do: "found", Value: "unreadable", Words: v.t("sheet-unreadable")}}}, nil
	case b.Case == "":
		return question{words: v.t("scan-case")}, nil
	}
	if closed, err := b.caseClosed(v); err != nil || closed {
		s := v.askClosedCase(b.Case)
		return question{words: s.Words + ". " + s.More, answers: s.Choices}, err
	}
	if s, err := b.askOldCase(v); err != nil || s.Words != "" {
		return question{words: s.Words + " " + s.More, answers: s.Choices}, err
	}
	if twice, since, err := b.openAlready(v); err != nil || twice {
		return question{words: v.t("open-already", b.id(), b.Case, v.w.Time(since)), answers: []choice{
			{Do: "forget", Words: v.t("do-leave-open")}, {Do: "twice", Words: v.t("do-open-twice")},
		}}, err
	}
	switch {
	case b.Operator == "":
		return question{words: v.t("scan-badge")}, nil
	case p.AsksIndicator() && b.Indicator == "":
		return b.askIndicator(v), nil
	}
	if b.Where != "" {
		return question{words: v.t("enter-opens-in", b.id(), b.Case, b.Where), records: true}, nil
	}
	return question{words: v.t("enter-opens", b.id(), b.Case), records: true}, nil
}

func (b *opening) askIndicator(v *visit) question {
	q := question{words: v.t("indicator-first", b.id())}
	for _, shows := range indicatorsShow() {
		q.answers = append(q.answers, choice{Do: "indicator", Value: shows, Words: v.t("indicator-" + shows)})
	}
	return q
}

// indicatorsShow are what an indicator inside can show, in the order of the buttons.
func indicatorsShow() []string { return []string{"pass", "fail", "none"} }

// typed: a number after an asterisk is what the indicator inside shows.
func (b *opening) typed(v *visit, text string) (string, fields, bool) {
	if shows, ok := pressed(text, keyIndicator, indicatorsShow()); ok && !b.idle() {
		return "indicator", fields{"indicator": shows}, true
	}
	return b.reading.typed(v, text, b.verdict)
}

func (b *opening) takeIndicator(_ *visit, f fields) (said, error) {
	if b.Indicator = firstOf(f["indicator"], f["value"]); b.Indicator != "pass" && b.Indicator != "fail" && b.Indicator != "none" {
		b.Indicator = ""
	}
	return said{}, nil
}

func (b *opening) takeCase(v *visit, f fields) (said, error) {
	ref, err := v.formCode(&b.hand, events.ScanCase, firstOf(f["case"], f["value"]))
	if err != nil || ref == "" {
		return said{}, err
	}
	return b.scanCase(v, ref)
}

// record takes what was read into the ledger. What is wrong is recorded too: it
// is what happened. A STOP is answered first.
func (b *opening) record(v *visit, _ fields) (said, error) {
	if b.id() == "" || b.ofBefore() {
		return said{}, nil
	}
	if _, err := b.verdict(v); err != nil || b.stop && !b.passed() || b.placeMissing() {
		return said{}, err
	}
	if b.Aside || b.Release != "" {
		return said{Sound: "low"}, nil // that is what is to be recorded of it, by its button or a badge
	}
	page, err := b.pageMissing(v)
	if err != nil || page > 0 {
		return said{}, err // it is asked for
	}
	if q, err := b.asks(v); err != nil || !q.records {
		return said{Sound: "ask"}, err // it is asked on
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	o := b.observation(v)
	o.Time = at
	s, d, err := v.recordReading(o, v.phrased("recorded-opening", o.Set, b.Case))
	if err == nil {
		s.Older = slices.Clone(s.Older)
		err = v.sayStopsElsewhere(o.Set, &s)
	}
	if err != nil {
		return said{}, err
	}
	d.Case = b.Case
	count := v.d.stationPath(v.station, "count") + "?case=" + url.QueryEscape(b.Case)
	d.Links = []link{{Address: count, Says: v.phrased("go-count", b.Case), Main: true}}
	b.clear()
	b.Done = d
	return s, nil
}

// readingBody is what the pages of storage and opening show.
type readingBody struct {
	Opening bool
	Stop    bool // a STOP is to be answered first
	Waits   bool // the set lies aside, and nothing that was read just now stops it
	Faults  []events.PackageFault
	Set     *standing
	Cases   []string
}

func (b *opening) body(v *visit) (any, error) {
	cur, err := b.current(v)
	if err != nil {
		return nil, err
	}
	if cur == nil && b.Done != nil && b.Done.Set != "" {
		if cur, err = v.standing(b.Done.Set); err != nil {
			return nil, err
		}
	}
	cases, err := v.openCases(v.station)
	return readingBody{
		Opening: true, Stop: b.stop && !b.passed(), Waits: b.waits, Set: cur, Cases: cases, Faults: events.PackageFaults(),
	}, err
}

package workplace

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// reading is what the drafts of the workplaces share where a set's tag, label
// and sheet are read: opening a set for a case, or a look in between (storage,
// case cart).
//
// A scan shows the verdict and records nothing: who looks something up must not
// thereby open a set. Enter records what was found, right or wrong.
type reading struct {
	hand
	Where      string          `json:"where,omitempty"` // place or room, as people call it
	Outer      string          `json:"outer,omitempty"`
	Sure       bool            `json:"sure,omitempty"`    // a symbol said that it is the tag, or the label
	NoTag      bool            `json:"noTag,omitempty"`   // a person said that there is no tag to read
	NoOuter    bool            `json:"noOuter,omitempty"` // or no label outside
	Sheet      *events.Reading `json:"sheet,omitempty"`
	Seals      []string        `json:"seals,omitempty"`
	SealBroken bool            `json:"sealBroken,omitempty"`
	Indicator  string          `json:"indicator,omitempty"` // seen at opening
	Aside      bool            `json:"aside,omitempty"`     // to be put aside, once badge and place are said
	Release    string          `json:"release,omitempty"`   // why it is to be released from there, once the badge is said

	Package  []events.PackageFault `json:"package,omitempty"`
	Anyway   []string              `json:"passed,omitempty"`   // what was found when a person said that it goes on all the same
	FewPages bool                  `json:"fewPages,omitempty"` // the other pages of the sheet are not there
	Third    string                `json:"third,omitempty"`    // a set that was scanned just now, and lies elsewhere
	Left     time.Time             `json:"left,omitzero"`      // when what was read here was left lying: it is asked about
	ReadAt   time.Time             `json:"readAt,omitzero"`    // when it was read, where a person has said so
	For      string                `json:"for,omitempty"`      // the case that it was read for, which was forgotten with who read it

	stop  bool     // the verdict says STOP; set by judge
	fresh bool     // by what was read just now; likewise
	stops []string // the findings that say so; likewise
	waits bool     // the set lies aside; likewise
}

func (b *reading) idle() bool { return b.hand.idle() && b.Outer == "" && b.Sheet == nil }

// workName is the set in hand, by its label where the tag is not read yet.
func (b *reading) workName() string { return firstOf(b.id(), b.Case) }

// kept is what stays when the bench is cleared.
func (b *reading) kept() reading { return reading{hand: b.hand.kept(), Where: b.Where} }

// nextHere: where it is, the next person says. A lock or a fault that was entered while no set lay here is of nothing that
// they have in hand.
func (b *reading) nextHere() {
	if b.Where = ""; b.idle() {
		*b = reading{hand: b.hand}
	}
}

// left: what was read and not recorded is asked about, and a STOP whatever was answered to it.
func (b *reading) left(at time.Time) {
	if !b.Left.IsZero() || b.idle() {
		return
	}
	if !b.ReadAt.IsZero() {
		at = b.ReadAt
	}
	b.Left, b.ReadAt = at, time.Time{}
	b.askAgain()
}

func (b *reading) askedLeft() bool { return !b.Left.IsZero() }

// ofBefore reports whether what lies here was read some time ago: left lying, or taken, as a person said, as read then.
func (b *reading) ofBefore() bool { return !b.Left.IsZero() || !b.ReadAt.IsZero() }

// begun begins anew where something is read on top of what was read some time ago: the one would be recorded as of
// when the other was read.
func (b *reading) begun() {
	if b.ofBefore() {
		*b = b.kept()
	}
}

// stopLeft reports whether what was left lying says STOP: no scan goes past that.
func (b *reading) stopLeft(v *visit, verdict func(*visit) (said, error)) (bool, error) {
	if !b.ofBefore() {
		return false, nil
	}
	_, err := verdict(v)
	return b.stop, err
}

// unlessLeft are buttons that mean nothing while it is asked about what was left lying. Those that say what somebody
// sees now add nothing to what was read before.
func unlessLeft[B any](reads func(*B) *reading, acts map[string]action[B]) map[string]action[B] {
	for name, do := range acts {
		acts[name] = func(b *B, v *visit, f fields) (said, error) {
			r := reads(b)
			if !r.Left.IsZero() || !r.ReadAt.IsZero() && !r.answersBefore(name) {
				return said{}, nil // it is asked on
			}
			return do(b, v, f)
		}
	}
	return acts
}

// answersBefore reports whether a button says something of what was read before.
func (b *reading) answersBefore(name string) bool {
	return slices.Contains([]string{"enter", "record", "few-pages", "stop-first"}, name) || name == "found" && b.placeMissing()
}

// askLeft asks about what was read long ago, or by somebody who is gone: recorded as of
// now it would say that somebody had read it now.
// A set is opened now, whenever it was read.
func (b *reading) askLeft(v *visit) said {
	s := doubt(b.readBefore(v), v.t("read-before-opening"))
	again := choice{Do: "read-again", Words: v.t("do-read-again")}
	if v.place == "opening" {
		return s.offer(again)
	}
	s.More = v.t("read-before-more")
	return s.offer(again, choice{Do: "as-read", Words: v.t("do-as-read", v.w.Time(b.Left))})
}

// readBefore says what was left lying, and since when.
func (b *reading) readBefore(v *visit) string {
	return v.t("read-before", firstOf(b.id(), v.t("kind-sheet-code")), v.w.Time(b.Left))
}

// leftStop adds to a STOP since when nobody has answered it, and what can be said now. Whoever obeyed it by walking off
// has seen it: it is recorded as of then.
func (b *reading) leftStop(v *visit, s said) said {
	s.More, s.Next = strings.TrimSpace(b.readBefore(v)+". "+s.More), v.t("stop-left", v.w.Time(b.Left))
	return s.offer(choice{Do: "put-aside", Words: v.t("do-aside-then", v.w.Time(b.Left)), Main: true, Key: asideKey},
		choice{Do: "forget", Words: v.t("do-forget")})
}

// readAgain answers that what was left lying is read again. A STOP is answered first.
func (b *reading) readAgain(v *visit, verdict func(*visit) (said, error)) (said, error) {
	if b.Left.IsZero() {
		return said{}, nil
	}
	return b.discard(v, verdict)
}

// readAt is as of when a reading is recorded: now, unless a person said when it was made.
func (b *reading) readAt(v *visit, draft interface{ shared() *hand }) (time.Time, error) {
	at, err := v.recordAt(draft)
	if !b.ReadAt.IsZero() {
		at = b.ReadAt.UTC()
	}
	return at, err
}

// scanBadge takes who works here. Where a set is put aside it records that, unless what was said last stood in place of it: then
// it is shown, and pressed once more.
func (b *reading) scanBadge(v *visit, badge string, verdict func(*visit) (said, error)) (said, error) {
	b.Operator = badge
	if !b.Aside || v.elsewhere || !b.Left.IsZero() {
		return said{}, nil
	}
	if hidden, err := b.hides(v, verdict); hidden || err != nil {
		return said{}, err
	}
	return b.putAside(v, nil)
}

func (b *reading) scanPlace(v *visit, place string) (said, error) { return b.placeAt(v, place, false) }

// scanTag takes the tag on the tray.
func (b *reading) scanTag(v *visit, set string) (said, error) {
	b.begun()
	b.Sure = true
	switch {
	case b.Tag == "":
		b.Tag, b.Done, b.NoTag = set, nil, false
	case set != b.Tag:
		return said{}, b.third(v, set)
	}
	b.askAgain()
	return said{}, nil
}

// scanOuter takes the label outside on a set, which is never taken for the tag.
func (b *reading) scanOuter(v *visit, set string) (said, error) {
	b.begun()
	b.Sure = true
	return b.scanLabel(v, set)
}

// scanLabel takes a label from before labels said what they are on for the outer
// one, which proves less; a person may say that it is the tag (swap).
func (b *reading) scanLabel(v *visit, set string) (said, error) {
	b.begun()
	switch {
	case b.Outer == "":
		b.Outer, b.Done, b.NoOuter = set, nil, false
	case set != b.Outer:
		return said{}, b.third(v, set)
	}
	b.askAgain()
	return said{}, nil
}

// scanSet takes an identifier that does not say what it is on: the tag on the
// tray, then the outer label, but neither where a person said that there is none.
func (b *reading) scanSet(v *visit, set string) (said, error) {
	b.begun()
	switch {
	case b.Tag == "" && !b.NoTag:
		b.Tag, b.Done = set, nil
	case b.Outer == "" && !b.NoOuter:
		b.Outer = set
	case set != b.Tag && set != b.Outer:
		return said{}, b.third(v, set)
	}
	b.askAgain()
	return said{}, nil
}

// third refuses another set than the one that lies here.
func (b *reading) third(v *visit, set string) error {
	b.Third = set
	return v.sayNo("third-set", set, b.id())
}

// thirdsSheet refuses the sheet of a set that was just refused, once: whoever scanned both
// has gone on to the next set.
func (b *reading) thirdsSheet(v *visit, code string) error {
	set := b.Third
	if b.Third = ""; set == "" {
		return nil
	}
	owner, _, _, err := v.sheetOwner(code)
	if err == nil && owner.Set == set {
		err = v.sayNo("third-sheet", set, b.id())
	}
	return err
}

// scanSheet takes a sheet's code, or another page of the sheet. Where the sheet
// was, a person says: it is what shows a sheet that has moved. A page of another
// sheet among those of the set's own stays the one that counts, whichever was read
// first.
func (b *reading) scanSheet(v *visit, code string) (said, error) {
	b.begun()
	if err := b.thirdsSheet(v, code); err != nil {
		return said{}, err
	}
	found := ""
	if b.Sheet != nil && b.Sheet.Found != events.FoundNone {
		if b.Sheet.Code == "" || b.Sheet.Code == code {
			found = b.Sheet.Found // said before the scan
		}
	}
	if b.Sheet == nil || b.Sheet.Code != code {
		set, err := b.current(v)
		if err != nil {
			return said{}, err
		}
		if b.Sheet != nil && b.Sheet.Code != "" && set != nil && (code == set.Code || set.Code != "" && b.Sheet.Code != set.Code) {
			if code != set.Code { // a second wrong one: the first is what somebody saw, and is still to be answered for
				return said{Aside: v.t("stop-first"), Sound: "low"}, nil
			}
			return said{}, nil
		}
		b.Sheet = &events.Reading{Code: code}
	}
	b.Sheet.Found = found
	b.takePage(v.scan)
	b.askAgain()
	return said{}, nil
}

// takePage notes which page of the sheet was read.
func (b *reading) takePage(s events.Scan) {
	if s.Pages == 0 {
		return
	}
	r := b.Sheet
	if r.Of != int64(s.Pages) { // printed anew, with another number of pages
		r.Pages, r.Of = nil, int64(s.Pages)
	}
	if i, known := slices.BinarySearch(r.Pages, int64(s.Page)); !known {
		r.Pages = slices.Insert(r.Pages, i, int64(s.Page))
	}
}

// pageRead says which page was read just now, "" where its symbol says none or
// there is but one.
func (v *visit) pageRead() string {
	if v.scan.Pages < 2 {
		return ""
	}
	return v.t("page-read", v.scan.Page, v.scan.Pages)
}

// pageMissing is the first page that policy wants read and nobody has, 0 for none.
func (b *reading) pageMissing(v *visit) (int64, error) {
	p, err := v.policy()
	if err != nil || !p.AllPages || b.Sheet == nil || b.FewPages {
		return 0, err
	}
	for n := range b.Sheet.Of {
		if !slices.Contains(b.Sheet.Pages, n+1) {
			return n + 1, nil
		}
	}
	return 0, nil
}

// fewPages answers that the pages asked for are not there: what was read is
// recorded with the pages it was read on.
func (b *reading) fewPages(*visit, fields) (said, error) {
	b.FewPages = true
	return said{}, nil
}

// placeMissing reports whether a sheet was read and it is not said where it was.
func (b *reading) placeMissing() bool { return b.Sheet != nil && b.Sheet.Found == "" }

// places are where a sheet can have been.
func places() []events.Placement {
	return []events.Placement{events.Outside, events.InsideBag, events.InsideBare}
}

// askPlace adds the question where the sheet was.
func (v *visit) askPlace(s said) said {
	for i, p := range places() {
		words := fmt.Sprintf("%d %s", i+1, v.t("found-"+string(p)))
		s.Choices = append(s.Choices, choice{Do: "found", Value: string(p), Words: words})
	}
	return s
}

// What is typed instead of a button: +1 is the first fault
// of the package, *1 the first thing an indicator can show.
const (
	asideKey     = "F2" // puts a set aside, under STOP or without
	keyPackage   = "+"
	keyIndicator = "*"
)

// keyed is what is typed instead of the i-th button of some, from 0.
func keyed(lead string, i int) string { return lead + strconv.Itoa(i+1) }

// pressed returns the button that a typed text stands for.
func pressed[T any](text, lead string, of []T) (button T, ok bool) {
	for i := range of {
		if strings.TrimSpace(text) == keyed(lead, i) {
			return of[i], true
		}
	}
	return button, false
}

// typed: a number answers where the sheet was, which is asked of a set, but not before
// a STOP is answered; after a plus it is a fault of the package of the set that lies here.
func (b *reading) typed(v *visit, text string, verdict func(*visit) (said, error)) (string, fields, bool) {
	if fault, ok := pressed(text, keyPackage, events.PackageFaults()); ok && !b.idle() {
		return "package", fields{"value": string(fault)}, true
	}
	n, ok := plainNumber(text)
	if ok && !b.Left.IsZero() {
		return "enter", nil, true // it answers nothing of what is asked
	}
	if !ok || b.id() == "" || !b.placeMissing() || n < 1 || int(n) > len(places()) {
		return "", nil, false
	}
	if _, err := verdict(v); err == nil && b.stop && !b.passed() && !b.Aside {
		return "stop-first", nil, true
	}
	return "found", fields{"value": string(places()[n-1])}, true
}

func (b *reading) scanSeal(_ *visit, seal string) (said, error) {
	b.begun()
	if !slices.Contains(b.Seals, seal) {
		b.Seals = append(b.Seals, seal)
	}
	return said{}, nil
}

// scanShort compares a short code by ear with the set's own. It is no proof, so
// it is not recorded as a reading.
func (b *reading) scanShort(v *visit, short string) (said, error) {
	set, err := b.current(v)
	if err != nil {
		return said{}, err
	}
	if set == nil || set.Code == "" {
		return said{}, v.sayNo("short-needs-set", short)
	}
	c, err := events.ParseSheetCode(set.Code)
	if err != nil {
		return said{}, err
	}
	if c.Short() == short {
		return doubt(v.t("short-fits", short, set.Key.Set), v.t("short-no-proof")), nil
	}
	return wrong(v.t("short-differs", short, set.Key.Set, c.Short()), v.t("short-no-proof")), nil
}

// standing is what is known of the set on the bench.
type standing struct {
	projections.SetStanding
	Placement events.Placement
	Seals     []string
	PackedAt  time.Time
	OpenedAt  time.Time // last; zero: it is closed
	OpenedFor string    // the case
	Closed    int64     // the record of the last closing, 0 for none
}

// id is the set on the bench, by its tag or else by its outer label.
func (b *reading) id() string { return firstOf(b.Tag, b.Outer) }

// current returns the set on the bench as the ledger knows it, nil where there
// is none or it was never packed here.
func (b *reading) current(v *visit) (*standing, error) {
	if b.id() == "" {
		return nil, nil
	}
	return v.standing(b.id())
}

func (v *visit) standing(set string) (*standing, error) {
	if st, ok := v.stood[set]; ok {
		return st, nil
	}
	st, err := v.findStanding(set)
	if err == nil {
		if v.stood == nil {
			v.stood = make(map[string]*standing)
		}
		v.stood[set] = st
	}
	return st, err
}

// verdictOf returns the verdict of a trip as it stands, nil where there is none.
func (v *visit) verdictOf(k projections.TripKey) (*projections.Verdict, error) {
	return site.Answer(v.d.site, func(m *site.View) (*projections.Verdict, error) { return m.Verdict(v, k) })
}

func (v *visit) findStanding(set string) (*standing, error) {
	return site.Answer(v.d.site, func(m *site.View) (*standing, error) {
		trip, err := m.TripNow(v, set, v.now)
		if err != nil || trip == "" {
			return nil, err
		}
		w, k, out := m.World(v), projections.TripKey{Set: set, Trip: trip}, new(standing)
		if out.SetStanding, err = w.Standing(k); err != nil {
			return nil, err
		}
		seal, err := w.Sealed(k)
		if seal != nil {
			out.Placement, out.Seals = seal.Placement, seal.Seals
		}
		if all := w.Trip(k).Sealed; len(all) > 0 {
			out.Closed = all[len(all)-1].Seq
		}
		if pack := w.Trip(k).LastPack(); pack != nil {
			out.PackedAt = pack.At()
		}
		if opened := w.Trip(k).Opened; len(opened) > 0 {
			last := opened[len(opened)-1]
			out.OpenedAt, out.OpenedFor = last.At(), events.CaseOf(last.Data)
		}
		return out, err
	})
}

// question is what is asked next at a bench, in words, with the answers that are
// buttons. Where nothing is missing the words say that Enter records.
type question struct {
	words   string
	answers []choice
	records bool
}

// judge tells at once what the scans so far come to, if they were recorded as o, and
// asks for what is missing.
func (b *reading) judge(v *visit, o *events.Observation, q question) (said, error) {
	b.stop, b.fresh, b.waits, b.stops = false, false, false, nil
	cur, err := b.current(v)
	switch {
	case err != nil:
		return said{}, err
	case !b.Left.IsZero() && b.id() == "":
		return b.askLeft(v), nil
	case b.id() == "":
		return b.judgeSheet(v, q.words)
	}
	next := q.words
	since := v.d.site.Size()
	verdict, err := v.preview(o)
	if err != nil {
		return said{}, err
	}
	skip := b.tooEarly(v, o)
	b.waits = slices.ContainsFunc(verdict.Findings, func(f projections.Finding) bool { return f.Code == projections.PutAside })
	answer, early := b.answer(v, cur, next)
	skip = append(skip, early...)
	s := v.judged(verdict, since, answer, skip...)
	b.stop = s.Status == "broken"
	b.fresh, b.stops = b.stop && s.fresh, stopping(verdict, skip)
	if cur == nil {
		s.Words = answer.Words // which says more than that all steps are missing
	}
	if b.stop {
		if o.Kind == events.KindSetOpened && !b.passed() {
			if err := b.unopened(v, &s, since, answer, skip); err != nil {
				return said{}, err
			}
		}
		v.sayHands(&s, b.id())
		err := v.whereOther(verdict, &s)
		if !b.Left.IsZero() {
			return b.leftStop(v, s), err
		}
		return b.stopped(v, s, q), err
	}
	if !b.Left.IsZero() {
		return b.askLeft(v), nil
	}
	if b.Aside || b.Release != "" {
		return b.stopped(v, s, q), nil
	}
	if s.Words != next && s.Next != next {
		// What is asked here stays in sight, whatever is usually done about a finding.
		s.More, s.Next = strings.TrimSpace(s.More+" "+s.Next), next
	}
	return b.askRest(v, s, q)
}

// answer is what the page says to a reading that shows nothing bad, and what is found only
// because nobody has looked for the sheet yet.
func (b *reading) answer(v *visit, cur *standing, next string) (said, []projections.Code) {
	var s said
	switch {
	case cur == nil:
		s = doubt(v.t("never-packed", b.id()), v.t("never-packed-next"))
	case b.Sheet == nil && cur.Placement != events.Screen:
		return ask(next, ""), []projections.Code{projections.LinkMissing, projections.SheetAbsent}
	case b.Sheet == nil:
		s = good(v.t("screen-belongs", b.id()), "")
	case cur.Code == "" && b.Sheet.Code != "":
		s = doubt(v.t("sheet-not-bound", b.id()), v.t("sheet-not-bound-more"))
	default:
		s = good(v.t("sheet-belongs", b.id()), strings.TrimSpace(v.pageRead()+" "+v.t("sheet-belongs-more",
			cur.List, cur.Version, len(cur.Lines))))
	}
	s.Next = next
	return s, nil
}

// preview is what an observation would come to.
func (v *visit) preview(o *events.Observation) (*projections.Verdict, error) {
	return site.Answer(v.d.site, func(m *site.View) (*projections.Verdict, error) { return m.Preview(v, o) })
}

// unopened says what stops a set, and what is usually done about it, as long as it is
// not open: nobody has opened it, and nothing of it has been counted.
func (b *reading) unopened(v *visit, s *said, since int64, answer said, skip []projections.Code) error {
	verdict, err := v.preview(b.check(v))
	if err != nil {
		return err
	}
	closed := v.judged(verdict, since, answer, skip...)
	now := map[string]string{closed.Words: closed.More} // what is true of it unopened
	for _, o := range closed.Older {
		now[o.Words] = o.Says
	}
	switch more, known := now[s.Words]; {
	case closed.Words == s.Words:
		s.Next, s.More = closed.Next, closed.More
	case known:
		s.More = more
	case s.fresh:
		s.More = v.t("if-opened", s.More)
	}
	for i, o := range s.Older {
		if says, known := now[o.Words]; known {
			s.Older[i].Says = says
		} else {
			s.Older[i].Says = v.t("if-opened", o.Says)
		}
	}
	return nil
}

// sayHands adds to a STOP what to do with one's hands.
func (v *visit) sayHands(s *said, set string) {
	s.Hands, s.Opened = v.t("hands-"+v.place, set), v.t("hands-told")
	if v.place == "opening" {
		s.Opened = v.t("hands-opened")
	}
}

// tooEarly is what a judgement finds only because the rest has not been scanned yet.
func (b *reading) tooEarly(v *visit, o *events.Observation) []projections.Code {
	skip := []projections.Code{projections.CountMissing}
	if events.CaseOf(o.Data) == v.caseToCome() {
		skip = append(skip, projections.NotReprocessed) // the set may be scanned again for the case in hand
	}
	if b.Tag == "" && !b.NoTag {
		skip = append(skip, projections.TagUnread) // it is asked for next
	}
	if b.Indicator == "" {
		skip = append(skip, projections.IndicatorNotSeen) // likewise
	}
	return skip
}

// askRest offers the answers to what is asked, or asks for the pages of the sheet
// that were not read.
func (b *reading) askRest(v *visit, s said, q question) (said, error) {
	if b.placeMissing() {
		return v.askPlace(s), nil
	}
	page, err := b.pageMissing(v)
	if page > 0 {
		s.Next = v.t("scan-page", page, b.Sheet.Of)
		return s.offer(choice{Do: "few-pages", Words: v.t("do-few-pages")}), err
	}
	return s.offer(q.answers...), err
}

// stopped adds the answers to a STOP. Until one is given it stays.
func (b *reading) stopped(v *visit, s said, q question) said {
	if b.Aside || b.Release != "" {
		s.Hands, s.Opened = "", "" // it was answered: what is asked now is in its place
	}
	switch {
	case b.Aside && b.placeMissing():
		s.Next = v.t("aside-place")
		return v.askPlace(s)
	case b.Aside && b.Operator == "" && !b.ReadAt.IsZero():
		s.Next = v.t("aside-badge-then", b.id(), v.w.Time(b.ReadAt))
		return s
	case b.Aside && b.Operator == "":
		s.Next = v.t("aside-badge", b.id())
		return s
	case b.Aside: // the badge came from another place of the station and has just been shown
		s.Next = v.t("aside-again", b.Operator, b.id())
		return s.offer(choice{Do: "put-aside", Words: v.t("do-aside-" + v.place), Main: true},
			choice{Do: "forget", Words: v.t("do-forget")})
	case b.Release != "" && b.placeMissing():
		s.Next = v.t("where-was-sheet")
		return v.askPlace(s)
	case b.Release != "":
		s.Next = v.t("release-badge", b.id())
		return s
	case b.passed():
		s.Hands, s.Next = "", q.words
		if b.placeMissing() {
			return v.askPlace(s)
		}
		aside := choice{Do: "put-aside", Words: v.t("do-aside-" + v.place), Main: true, Key: asideKey}
		return s.offer(append(q.answers, aside)...)
	}
	choices := []choice{{Do: "put-aside", Words: v.t("do-aside-" + v.place), Main: true, Key: asideKey}}
	if v.place == "opening" && b.ReadAt.IsZero() {
		choices = append(choices, choice{Do: "anyway", Words: v.t("do-anyway")})
	}
	return s.offer(append(choices, choice{Do: "forget", Words: v.t("do-forget")})...)
}

// asideThen answers a STOP that was left lying: it was obeyed when it was read.
func (b *reading) asideThen(v *visit, f fields, verdict func(*visit) (said, error)) (said, error) {
	if !b.Left.IsZero() {
		if _, err := verdict(v); err != nil || !b.stop {
			return said{}, err
		}
		b.ReadAt, b.Left = b.Left, time.Time{}
	}
	return b.putAside(v, f)
}

// putAside records what was read of a set that is not opened: a person who obeys
// a STOP has seen something.
func (b *reading) putAside(v *visit, _ fields) (said, error) {
	if b.id() == "" || !b.Left.IsZero() {
		return said{}, nil
	}
	b.Aside, b.Release, b.Plain = true, "", "" // what a code is would stand in place of what is asked now
	if b.placeMissing() || b.Operator == "" {
		return said{}, nil // it is asked for
	}
	at, err := b.readAt(v, b)
	if err != nil {
		return said{}, err
	}
	o := b.check(v)
	o.Time, o.Data.(*events.SetChecked).Aside = at, events.AsidePut
	s, d, err := v.recordReading(o, v.phrased("recorded-aside", o.Set), projections.PutAside)
	if err != nil {
		return said{}, err
	}
	*b = b.kept()
	b.Done = d
	return s, nil
}

// release records that a set which lies aside may be used, and why. What was read of it
// just now is recorded with that, and must not say STOP.
func (b *reading) release(v *visit, why string, verdict func(*visit) (said, error)) (said, error) {
	why, err := v.reason(why)
	if err != nil || b.id() == "" || !b.Left.IsZero() {
		return said{}, err
	}
	if why == "" {
		return ask(v.t("release-reason", b.id()), ""), nil
	}
	b.Release = ""
	if _, err := verdict(v); err != nil {
		return said{}, err
	}
	if b.fresh {
		return said{}, v.sayNo("release-stop", b.id())
	}
	if b.Release, b.Aside = why, false; b.placeMissing() || b.Operator == "" {
		return said{}, nil // it is asked for
	}
	at, err := b.readAt(v, b)
	if err != nil {
		return said{}, err
	}
	o := b.check(v)
	d := o.Data.(*events.SetChecked)
	o.Time, d.Aside, d.Reason = at, events.AsideReleased, b.Release
	says := v.phrased("recorded-release", o.Set)
	s, done, err := v.recordReading(o, says)
	if err != nil {
		return said{}, err
	}
	if s.Status != "whole" {
		done.Says[0] = v.phrased("recorded-release-stopped", o.Set)
		s.Words = strings.Replace(s.Words, v.say(says), v.say(done.Says[0]), 1)
	}
	*b = b.kept()
	b.Done = done
	return s, nil
}

// notSeen is what a button says in its field "on" that takes back what another one noted. Who taps that one twice has
// seen it twice: it never takes anything off.
const notSeen = "no"

// note adds something that was seen, or takes it off where its own button says so.
func note[T comparable](all []T, seen T, f fields) []T {
	i := slices.Index(all, seen)
	switch {
	case f["on"] == notSeen && i >= 0:
		return slices.Delete(all, i, i+1)
	case f["on"] != notSeen && i < 0:
		return append(all, seen)
	}
	return all
}

// notePackage notes what is wrong with the package, or that it is not so after all.
func (b *reading) notePackage(v *visit, f fields) (said, error) {
	fault := events.PackageFault(f["value"])
	if !slices.Contains(events.PackageFaults(), fault) {
		return said{}, v.sayNo("no-such-button", f["value"])
	}
	b.Package = note(b.Package, fault, f)
	return said{}, nil
}

// askAgain takes the answer to a STOP away, and what was to be done with the set: something
// else was read, or taken back.
func (b *reading) askAgain() { b.Anyway, b.Aside, b.Release = nil, false, "" }

// goOn answers a STOP: it goes on all the same. What is found after that is asked about anew.
func (b *reading) goOn(v *visit, verdict func(*visit) (said, error)) (said, error) {
	if !b.Left.IsZero() {
		return said{}, nil
	}
	_, err := verdict(v)
	b.Anyway, b.Aside = b.stops, false
	return said{}, err
}

// passed reports whether each finding that says STOP was in sight when a person said that
// it goes on all the same.
func (b *reading) passed() bool {
	for _, f := range b.stops {
		if !slices.Contains(b.Anyway, f) {
			return false
		}
	}
	return len(b.Anyway) > 0
}

// stopping are the findings of a verdict that say STOP.
func stopping(verdict *projections.Verdict, skip []projections.Code) []string {
	var out []string
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		if f.Severity != projections.SeverityNoted && shapeRank(f) > 1 && !slices.Contains(skip, f.Code) {
			out = append(out, string(f.Code)+"/"+f.Way+"/"+otherSet(f))
		}
	}
	return out
}

// forget takes away what was scanned by mistake.
func (b *reading) forget(v *visit, _ fields) (said, error) {
	*b = b.kept()
	b.Done = nil
	return v.begin(), nil
}

// stopFirst says that a STOP is answered before anything else.
func (b *reading) stopFirst(v *visit, _ fields) (said, error) { return ask(v.t("stop-first"), ""), nil }

// discard clears the bench. Under STOP it asks: who puts a set aside is to say so.
func (b *reading) discard(v *visit, verdict func(*visit) (said, error)) (said, error) {
	if _, err := verdict(v); err == nil && b.stop {
		return b.stopFirst(v, nil)
	}
	return b.forget(v, nil)
}

// check is what was read of a set between the links.
func (b *reading) check(v *visit) *events.Observation {
	return &events.Observation{
		Station: v.station, Kind: events.KindSetChecked, Time: v.now.UTC(), Set: b.id(), Operator: b.Operator,
		Data: &events.SetChecked{
			Place: b.Where, Tag: b.Tag, OuterLabel: b.Outer, Sheet: b.Sheet, Seals: b.Seals, SealBroken: b.SealBroken,
			Package: b.Package,
		},
	}
}

// supposed is the sheet as it is judged before anybody said where it was: where
// it should be. It is never recorded so.
func (b *reading) supposed(v *visit) (*events.Reading, error) {
	if !b.placeMissing() {
		return b.Sheet, nil
	}
	r := *b.Sheet
	r.Found = string(events.Outside)
	set, err := b.current(v)
	if set != nil && set.Placement != "" && set.Placement != events.Screen {
		r.Found = string(set.Placement)
	}
	return &r, err
}

// judgeSheet tells whose sheet lies on the bench without a set.
func (b *reading) judgeSheet(v *visit, next string) (said, error) {
	if b.Sheet == nil || b.Sheet.Code == "" {
		return ask(next, ""), nil
	}
	owner, where, since, err := v.sheetOwner(b.Sheet.Code)
	if err != nil {
		return said{}, err
	}
	if owner.Set == "" {
		return wrong(v.t("sheet-of-nobody"), v.t("sheet-of-nobody-next")), nil
	}
	s := ask(v.t("sheet-of", owner.Set), v.nowAt(owner.Set, where, since))
	if s.Next = next; v.place == "opening" {
		s.Next = v.t("scan-tag") // without it nothing is held against the sheet
	}
	return s, nil
}

// whereOther adds where the set is to which the wrong sheet or label belongs.
func (v *visit) whereOther(verdict *projections.Verdict, s *said) error {
	for _, f := range verdict.Findings {
		if f.Other == nil || f.Other.Set == "" {
			continue
		}
		o, err := v.verdictOf(*f.Other)
		if err != nil {
			return err
		}
		if o != nil && o.Where != "" {
			s.Where = v.nowAt(f.Other.Set, o.Where, o.Since)
		}
		return nil
	}
	return nil
}

// swap exchanges tag and outer label, scanned the other way round.
func (b *reading) swap(*visit, fields) (said, error) {
	if b.Sure {
		return said{}, nil // the symbols said which is which
	}
	b.Tag, b.Outer = b.Outer, b.Tag
	b.NoTag, b.NoOuter = false, false
	return said{}, nil
}

// noTag says that the tray has no tag that can be read, or takes that back. It is
// recorded as what it is, a tag that nobody read.
func (b *reading) noTag(_ *visit, f fields) (said, error) {
	b.NoTag = b.Tag == "" && b.Outer != "" && f["value"] != ""
	return said{}, nil
}

// noOuter says that there is no label outside, or takes that back.
func (b *reading) noOuter(_ *visit, f fields) (said, error) {
	b.NoOuter = b.Outer == "" && b.Tag != "" && f["value"] != ""
	return said{}, nil
}

// findSheet notes where the sheet was, or that it was not there or not readable. Where a set is put aside that records it, unless
// what was said last stood in place of it.
func (b *reading) findSheet(v *visit, f fields, verdict func(*visit) (said, error)) (said, error) {
	where := f["value"]
	hidden, err := b.hides(v, verdict)
	if err != nil {
		return said{}, err
	}
	r := events.Reading{Found: where}
	switch {
	case where == "unreadable":
		r = events.Reading{Unreadable: true} // where it was is asked
		if b.Sheet != nil && b.Sheet.Found != events.FoundNone {
			r.Found = b.Sheet.Found
		}
	case where != events.FoundNone && !slices.Contains(places(), events.Placement(where)):
		return said{}, v.sayNo("no-such-button", where)
	case b.id() == "" && b.Sheet == nil:
		return ask(v.t("scan-tag"), ""), nil // of which set's sheet?
	case b.Sheet != nil && where != events.FoundNone:
		r.Code, r.Unreadable, r.Pages, r.Of = b.Sheet.Code, b.Sheet.Unreadable, b.Sheet.Pages, b.Sheet.Of
	}
	b.Sheet = &r
	if b.Aside && !hidden {
		return b.putAside(v, nil)
	}
	return said{}, nil
}

func (b *reading) noteSealBroken(_ *visit, f fields) (said, error) {
	b.SealBroken = f["on"] != notSeen
	return said{}, nil
}

func (b *reading) sealOff(_ *visit, f fields) (said, error) {
	b.Seals = slices.DeleteFunc(b.Seals, func(s string) bool { return s == f["value"] })
	return said{}, nil
}

func (b *reading) noSeals(*visit, fields) (said, error) {
	b.Seals = nil
	return said{}, nil
}

func (b *reading) takeWhere(v *visit, f fields) (said, error) {
	where, err := v.placeName(firstOf(f["value"], f["where"]))
	if err != nil {
		return said{}, err
	}
	return b.placeAt(v, where, f["value"] != "")
}

// recordReading takes what was read into the ledger, and says what it comes to
// behind says, which says what was recorded, but for what that says already.
func (v *visit) recordReading(o *events.Observation, says phrase, but ...projections.Code) (said, *done, error) {
	s := good(v.say(says), "")
	since := v.d.site.Size()
	rs, err := v.observe(o)
	if err != nil {
		return said{}, nil, err
	}
	verdict, err := v.verdictOf(projections.TripKey{Set: o.Set, Trip: rs[0].Trip})
	if err != nil {
		return said{}, nil, err
	}
	if verdict != nil {
		j := v.judged(verdict, since, s, append(but, projections.CountMissing)...)
		if j.Words != s.Words {
			if err := v.whereOther(verdict, &j); err != nil {
				return said{}, nil, err
			}
			j.Words, j.Answer = s.Words+" "+j.Words, ""
		}
		s = j
	}
	d := &done{Says: []phrase{says}, Set: o.Set, Trip: rs[0].Trip, Seqs: seqs(rs), IDs: ids(rs)}
	c, ok := o.Data.(*events.SetChecked)
	d.Stop = s.Status == "broken" && s.fresh || ok && c.Aside == events.AsidePut
	return s, d, nil
}

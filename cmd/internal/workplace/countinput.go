package workplace

import (
	"errors"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// counted answers what a count page sends.
type counted struct {
	N int64 `json:"n,omitzero"`
	said
	Kind    string      `json:"kind,omitempty"`
	What    string      `json:"what,omitempty"`
	Verdict string      `json:"verdict,omitempty"`
	State   *countState `json:"state,omitempty"`
	Line    *lineRef    `json:"line,omitempty"` // go to this line
	Go      string      `json:"go,omitempty"`
	Asks    int64       `json:"asks,omitempty"` // the question that a badge answers: the page sends it with the badge, as rev
}

type lineRef struct {
	Set  string `json:"set"`
	Line int64  `json:"line"`
}

// countEnter takes counted lines.
func (v *visit) countEnter() (any, error) {
	in, err := v.input()
	if err != nil {
		return nil, err
	}
	defer v.d.lock(countKey(in.Case))()
	v.waited = in.Ago > 0
	t, err := v.table(in.Case, in.Stage)
	if err != nil {
		return nil, err
	}
	a := &counted{N: in.N}
	asks := !t.left.IsZero()
	if !asks || v.waited { // what waited was counted before anybody could ask, and lies nowhere else
		if err := t.enter(in, a); err != nil {
			return nil, err
		}
	}
	if asks {
		q := t.askLeft()
		if q.Aside = a.Words; !v.waited {
			q.Sound = "low"
		}
		a.said = q
	}
	if err := v.d.files.remove("count", t.ref, askedName); err != nil { // what is said now takes the question's place
		return nil, err
	}
	a.State = t.state()
	if a.Words == "" {
		a.said = ask(a.State.Ask, "")
		a.Sound = ""
		if a.State.Complete {
			a.Sound = "ask"
		}
	}
	t.strayStays(a)
	a.Verdict, err = v.verdict(&a.said)
	v.d.hub.Tell(countKey(in.Case), in.Client)
	return a, err
}

// enter puts lines into the drafts. What is sent again after a broken connection
// has counted already.
func (t *table) enter(in *input, a *counted) error {
	waited := t.v.waited && !t.left.IsZero()
	if !t.open() && !waited {
		return t.v.sayNo("begin-first", t.v.t("stage-"+string(t.stage)))
	}
	changed := make(map[int]bool) // by set; false where it was sent before
	for _, l := range in.Lines {
		i, err := t.findLine(l.Set, l.Line)
		if err != nil {
			return err
		}
		fresh, seen := changed[i]
		if !seen {
			fresh = t.drafts[i].Seen.fresh(in.Client, in.N)
			changed[i] = fresh
		}
		if !fresh {
			continue
		}
		disputed, err := t.drafts[i].enter(in.Client, l, t.v.now)
		if err != nil {
			return err
		}
		t.noteShort(i, l.Line)
		if disputed {
			e := t.drafts[i].Lines[l.Line]
			a.said = wrong(t.v.t("disputed", e.Disputed[0], e.Disputed[1]), t.v.t("disputed-next", l.Line, l.Set))
		}
	}
	for _, l := range in.Lines {
		if i := t.find(l.Set); changed[i] && !l.Clear && a.Words == "" {
			a.said = t.differs(i, l.Line)
		}
	}
	for i, fresh := range changed {
		if !fresh {
			continue
		}
		if t.whole.Echo.Heard != 0 {
			t.whole.Echo = echo{} // a person did something: the same code again is another scan
			if err := t.saveWhole(); err != nil {
				return err
			}
		}
		if d := t.drafts[i]; waited && d.Left.IsZero() {
			d.Left, d.LeftBy = t.left, t.leftBy
		}
		if err := t.v.d.files.saveDraft(t.drafts[i]); err != nil {
			return err
		}
	}
	if st := t.state(); st.Complete && a.Status == "doubtful" && a.Next == "" {
		a.Next = st.Ask // the last line differs, and a badge signs from here on: that is asked for beside it
	}
	return nil
}

// findLine finds the set of a line that a page names.
func (t *table) findLine(set string, line int64) (int, error) {
	i := t.find(set)
	if i < 0 {
		return i, t.v.sayNo("set-not-on-case", set, t.ref)
	}
	lines := t.standing.Sets[i].Lines
	if !slices.ContainsFunc(lines, func(l projections.LineStanding) bool { return l.Line.Line == line }) {
		return i, t.v.sayNo("no-such-line", line, set)
	}
	return i, nil
}

// differs tells that a line's number is another than expected; nothing where it isn't.
func (t *table) differs(i int, line int64) said {
	d := t.drafts[i]
	e := d.Lines[line]
	if e == nil || t.stage == events.StageAdded {
		return said{}
	}
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		expected := t.expected(i, l)
		if l.Line.Line == line && d.settled(line, expected) && e.Counted != expected {
			return doubt(t.v.t("line-differs", line, e.Counted, expected), strings.Join(t.differences(), " "))
		}
	}
	return said{}
}

// countInput takes a scan or a button of a count page.
func (v *visit) countInput(verb string) (any, error) {
	in, err := v.input()
	if err != nil {
		return nil, err
	}
	if in.Case == "" {
		return v.chooseCase(in)
	}
	defer v.d.lock(countKey(in.Case))()
	t, err := v.table(in.Case, in.Stage)
	if err != nil {
		return nil, err
	}
	a := &counted{N: in.N}
	v.key, t.client, t.shows, t.hand = in.key(), in.Client, in.Rev, in.Hand
	v.elsewhere = t.unseen(in)
	asked, err := t.asked()
	if err != nil {
		return nil, err
	}
	if asked != nil {
		t.offered = asked.Choices
	}
	err = t.take(in, verb, asked, a)
	if err != nil && !refusal.Is(err) {
		return nil, err // nothing of it is kept here: the page sends it again
	}
	if err != nil {
		a.said = v.refused(err)
	}
	t.strayStays(a)
	if asked != nil || len(a.Choices) > 0 {
		if err := t.keepAsked(a, in.Client); err != nil {
			return nil, err
		}
	}
	if a.Go == "" {
		a.State = t.state()
	}
	switch {
	case a.Words == "" && a.State != nil:
		a.said = ask(a.State.Ask, "")
	case err != nil && a.State != nil && t.open() && t.stray() == nil:
		a.Next = a.State.Ask // still asked
	}
	if a.Words != "" { // else another page is gone to, which says what is asked there
		a.Verdict, err = v.verdict(&a.said)
	}
	v.d.hub.Tell(countKey(in.Case), in.Client)
	return a, err
}

// take takes a scan, a button or Enter.
func (t *table) take(in *input, verb string, asked *countQuestion, a *counted) error {
	v := t.v
	enter := strings.TrimSpace(in.Text) == ""
	signed, err := t.signedBy(v.key)
	switch {
	case err != nil:
		return err
	case signed != nil: // and the answer was lost
		a.said, a.Go = signed.words(v), signed.Go
	case len(t.standing.Sets) == 0 && !(verb == "do" && slices.Contains([]string{"sheet-lay", "sheet-none", "close"}, in.Action)):
		a.said = t.askStray() // there is nothing to count
		a.Sound = "low"
	case !t.left.IsZero() && !(verb == "do" && answersLeft(in.Action)):
		a.said = t.askLeft()
		a.Sound = "low"
	case verb == "do" && (!v.elsewhere || !slices.Contains(signing(), in.Action)):
		return t.do(in, a)
	case enter && !t.open():
		back, err := t.asksBack()
		if err != nil {
			return err
		}
		if back != nil { // Enter is no badge
			t.askBack(back, a)
			a.Sound = "low"
			return nil
		}
		a.said, err = t.pause(said{})
		return err
	case enter && asked != nil && asked.Client == in.Client: // Enter is none of the answers
		a.said, a.Sound = v.again(asked.said, asked.Lang, asked.Others), "low"
	case enter && (v.elsewhere || in.Under): // Enter, or a button that signs
		a.said = ask(t.state().Ask, "")
		a.Aside, a.Sound = v.t("not-shown-yet"), "low"
	case enter:
		return t.sign(a)
	default:
		// Its page may show another question by then, of which the server knows that it is answered.
		if err := t.noteUnder(in.Under || asked != nil && asked.Client == in.Client); err != nil {
			return err
		}
		return t.text(in, a)
	}
	return nil
}

// noteUnder keeps whether an input came under a question: its answer takes the question away, and may be lost.
func (t *table) noteUnder(asks bool) error {
	t.asks = asks || t.whole.Under == t.v.key
	if !asks || t.whole.Under == t.v.key {
		return nil
	}
	t.whole.Under = t.v.key
	return t.saveWhole()
}

// askedName is the file with the question that a count asks, whose answers are buttons.
const askedName = "asked"

// countQuestion is what a count asks.
type countQuestion struct {
	said
	Stage  events.Stage `json:"stage"`
	Client string       `json:"client"` // the browser that shows it
	Input  string       `json:"input"`  // that asked it: sent again, it is no answer

	Lang   string          `json:"lang,omitempty"`   // of what is asked
	Others map[string]said `json:"others,omitempty"` // the same in the other languages
}

// asked is what this count asks, nil for nothing.
func (t *table) asked() (*countQuestion, error) {
	q := new(countQuestion)
	found, err := t.v.d.files.load(q, "count", t.ref, askedName)
	if errors.Is(err, errUnreadable) || !found || q.Stage != t.stage {
		return nil, ignoreUnreadable(err)
	}
	return q, err
}

func ignoreUnreadable(err error) error {
	if errors.Is(err, errUnreadable) {
		return nil
	}
	return err
}

// keepAsked keeps a question until it is answered, or something else is said.
func (t *table) keepAsked(a *counted, client string) error {
	if a.Go == "" && t.open() && len(a.Choices) > 0 {
		q := countQuestion{a.said, t.stage, client, t.v.key, t.v.w.Lang, t.v.others(a.said)}
		return t.v.d.files.save(q, "count", t.ref, askedName)
	}
	return t.v.d.files.remove("count", t.ref, askedName)
}

// unseen reports whether another browser has counted something that the page of this
// one had not shown when it sent the input.
func (t *table) unseen(in *input) bool {
	for _, d := range t.drafts {
		seen, shown := in.Seen[d.Set]
		for _, e := range d.Lines {
			if shown && e.Client != in.Client && e.Rev > seen {
				return true
			}
		}
	}
	return false
}

// chooseCase turns a set, a sheet or a case reference into the count's address.
func (v *visit) chooseCase(in *input) (any, error) {
	a := &counted{N: in.N}
	v.key = in.key()
	var err error
	if in.Action == "goods-alone" {
		err = v.beginGoodsAlone(in.Fields, a)
	} else {
		err = v.chooseByText(in.Text, a)
	}
	switch {
	case err != nil && !refusal.Is(err):
		return nil, err
	case err != nil:
		a.said = v.refused(err)
	}
	a.Verdict, err = v.verdict(&a.said)
	return a, err
}

// chooseByText goes to the count that a text names. For a case without a set it is asked whether goods alone are counted.
func (v *visit) chooseByText(text string, a *counted) error {
	ref, err := v.caseOf(text, a)
	typed := a.Kind == string(events.ScanPlain) || a.Kind == string(events.ScanShort)
	switch {
	case err != nil && !(refusal.Is(err) && typed):
		return err
	case err == nil:
		known, err := v.caseStanding(ref)
		if err != nil {
			return err
		}
		begun, err := v.goodsBegun(ref)
		if err != nil || begun || len(known.Sets) > 0 {
			v.goCount(ref, a)
			return err
		}
	default: // it is no case that is known, and no set
		kind, err := v.plainKind(a.What, wanted(events.ScanSet, events.ScanBadge))
		if err != nil {
			return err
		}
		if kind != "" {
			return v.sayNo("set-on-no-case", a.What)
		}
		ref = a.What
		if begun, err := v.goodsBegun(ref); err != nil || begun {
			v.goCount(ref, a)
			return err
		}
	}
	if a.said, err = v.askGoodsAlone(ref); err == nil && a.Words == "" {
		err = v.sayNo("no-sets-on-case", ref)
	}
	return err
}

func (v *visit) caseOf(text string, a *counted) (string, error) {
	scans, err := v.recogniseLast(text)
	if err != nil {
		return "", refusal.Because(err)
	}
	s := scans[0]
	a.Kind, a.What = string(s.Kind), s.Value
	switch s.Kind {
	case events.ScanCase:
		return s.Value, nil
	case events.ScanSet:
		return v.caseOfSet(s.Value)
	case events.ScanSheet:
		return v.caseOfSheet(s.Value)
	case events.ScanPlain, events.ScanShort:
		known, err := v.caseStanding(s.Value)
		if err != nil || len(known.Sets) > 0 {
			return s.Value, err
		}
		return v.caseOfSet(s.Value)
	}
	return "", v.sayNo("scan-set-or-case")
}

// caseOfSheet is the case of the set that a sheet is of, for whoever begins a count by it. A sheet of another turn of its set
// lies with it, or with another set, by mistake: which set that is says its tag.
func (v *visit) caseOfSheet(code string) (string, error) {
	owner, _, _, err := v.sheetOwner(code)
	if err != nil {
		return "", err
	}
	now, err := site.Answer(v.d.site, func(m *site.View) (string, error) { return m.TripNow(v, owner.Set, v.now) })
	switch {
	case err != nil:
		return "", err
	case owner.Set == "" || now != owner.Trip:
		return "", v.sayNo("sheet-begins-no-count", firstOf(owner.Set, "–"))
	}
	ref, err := v.caseOfSet(owner.Set)
	if refusal.Is(err) {
		err = v.sayNo("sheet-on-no-case", owner.Set)
	}
	return ref, err
}

// text takes a scan, unless it is the last one read once more.
func (t *table) text(in *input, a *counted) error {
	in.Text = strings.TrimSpace(in.Text)
	twice := t.whole.readTwice(t.v, in)
	if err := t.saveWhole(); err != nil {
		return err
	}
	if twice {
		a.said = ask(t.state().Ask, "")
		a.Aside, a.Sound = t.v.t("read-twice"), "low"
		return nil
	}
	return t.scan(in.Text, a)
}

// scan takes what is not a number: badges, a set to go to, a sheet to count
// against, an item to find.
func (t *table) scan(text string, a *counted) error {
	scans, err := t.v.recogniseLast(text)
	if errors.Is(err, events.ErrSheetCode) && t.open() {
		a.said = wrong(t.v.t("sheet-code-damaged"), t.v.t("count-on-screen"))
		return nil
	}
	if err != nil {
		return refusal.Because(err)
	}
	if !t.open() {
		return t.scanBefore(scans, a)
	}
	for _, s := range scans {
		t.v.scan = s
		if err := t.scanOne(s, a); err != nil {
			return err
		}
	}
	return nil
}

// scanBefore takes a scan before the count is begun: a set of the case begins it,
// nothing else has a meaning yet.
func (t *table) scanBefore(scans []events.Scan, a *counted) error {
	word := ""
	for _, s := range scans {
		a.Kind, a.What = string(s.Kind), s.Value
		plain := s.Kind == events.ScanPlain || s.Kind == events.ScanShort
		if (s.Kind == events.ScanSet || plain) && t.find(s.Value) >= 0 {
			return t.begin(a)
		}
		badge := s.Kind == events.ScanBadge
		if plain {
			var err error
			if badge, err = t.v.isBadge(s.Value); err != nil {
				return err
			}
		}
		switch {
		case badge:
			if taken, err := t.backBy(s.Value, a); taken || err != nil {
				return err
			}
		case s.Kind == events.ScanSheet && t.stray() == nil:
			if err := t.sheetBefore(s, a); err != nil || a.Status == "broken" {
				return err
			}
			word = a.Words
		case s.Kind == events.ScanSet:
			word = t.v.t("set-not-on-case", s.Value, t.ref)
		default:
			word = t.v.t("begin-first", t.v.t("stage-"+string(t.stage)))
		}
	}
	var err error
	a.said, err = t.pause(said{})
	if word != "" {
		a.Aside, a.Sound = strings.TrimSpace(word+" "+a.Aside), "low"
	}
	return err
}

// sheetBefore takes a count sheet that is scanned first, to say what is counted by: a wrong one is STOP before anything is
// counted, too.
func (t *table) sheetBefore(s events.Scan, a *counted) error {
	t.v.scan = s
	err := t.sheet(s.Value, a)
	a.Line = nil
	return err
}

func (t *table) scanOne(s events.Scan, a *counted) error {
	a.Kind, a.What = string(s.Kind), s.Value
	plain := s.Kind == events.ScanPlain || s.Kind == events.ScanShort
	if plain || s.Kind == events.ScanItem {
		if pack, err := t.packScanned(s.Value, a); pack || err != nil {
			a.Kind = "item"
			return err
		}
		ref, err := t.item(s.Value)
		if err != nil {
			return err
		}
		if ref != nil {
			a.Kind, a.Line = "item", ref
			a.said = ask(t.v.t("at-line", ref.Line, ref.Set), "")
			return nil
		}
	}
	if s.Kind == events.ScanItem {
		return t.v.sayNo("single-hint", s.Value)
	}
	if plain {
		return t.scanPlain(s.Value, a)
	}
	switch s.Kind {
	case events.ScanBadge:
		return t.badge(s.Value, a)
	case events.ScanSet:
		return t.goToSet(s.Value, a)
	case events.ScanSheet:
		return t.sheet(s.Value, a)
	}
	return t.v.notAskedFor(s.Kind, s.Value)
}

// scanPlain takes a plain code: a set of the case, or a badge. A badge that
// nobody has used here yet is asked about.
func (t *table) scanPlain(code string, a *counted) error {
	v := t.v
	kind, value, err := v.registered(code, func(k events.ScanKind) bool { return k == events.ScanBadge || k == events.ScanSet })
	if err != nil {
		return err
	}
	if kind == events.ScanBadge {
		a.Kind = string(kind)
		return t.badge(value, a)
	}
	if kind == events.ScanSet {
		code = value
	}
	if t.find(code) >= 0 {
		a.Kind = string(events.ScanSet)
		return t.goToSet(code, a)
	}
	if neverBadge(code) {
		return v.sayNo("number-no-badge", code)
	}
	known, err := v.isBadge(code)
	if err != nil {
		return err
	}
	if known {
		a.Kind = string(events.ScanBadge)
		return t.badge(code, a)
	}
	if kind == "" {
		trip, err := site.Answer(v.d.site, func(m *site.View) (string, error) { return m.TripNow(v, code, v.now) })
		if err != nil {
			return err
		}
		if trip != "" {
			kind = events.ScanSet
		}
	}
	if kind == events.ScanSet { // a tray in the place of a person would sign
		a.Kind = string(kind)
		return t.goToSet(code, a)
	}
	a.said = ask(v.t("is-a-badge", code), v.t("which-more")).offer(
		choice{Do: "badge", Value: code, Words: v.t("a-badge")},
		choice{Do: "count-on", Words: v.t("no-badge")},
	)
	return nil
}

// sayBadge answers that a code is a badge. It is remembered.
func (t *table) sayBadge(f fields, a *counted) error {
	code := f["value"]
	if neverBadge(code) {
		return t.v.sayNo("number-no-badge", code)
	}
	if err := t.v.learn(events.ScanBadge, code); err != nil {
		return err
	}
	return t.badge(code, a)
}

func (t *table) goToSet(set string, a *counted) error {
	i := t.find(set)
	if i < 0 {
		return t.v.sayNo("set-not-on-case", set, t.ref)
	}
	a.Line = t.firstOpen(i)
	a.said = ask(t.v.t("at-set", set), "")
	return nil
}

func (t *table) firstOpen(i int) *lineRef {
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		if !t.drafts[i].settled(l.Line.Line, t.expected(i, l)) {
			return &lineRef{t.standing.Sets[i].Key.Set, l.Line.Line}
		}
	}
	return nil
}

// item finds a line by its item's number: in the set in hand, else the one that is still to be counted. Twins have the
// same items, so where several are left nobody knows which set the piece is of.
func (t *table) item(id string) (*lineRef, error) {
	var counted, open []lineRef
	for i := range t.standing.Sets {
		if !t.takesPart(i) {
			continue
		}
		for k := range t.standing.Sets[i].Lines {
			l := &t.standing.Sets[i].Lines[k]
			if !strings.EqualFold(l.Item, id) {
				continue
			}
			ref := lineRef{t.standing.Sets[i].Key.Set, l.Line.Line}
			if t.drafts[i].settled(ref.Line, t.expected(i, l)) {
				counted = append(counted, ref)
			} else {
				open = append(open, ref)
			}
		}
	}
	all := append(open, counted...)
	if k := slices.IndexFunc(all, func(r lineRef) bool { return r.Set == t.hand }); k >= 0 {
		return &all[k], nil
	}
	if len(open) > 0 {
		all = open
	}
	var sets []string
	for _, r := range all {
		if !slices.Contains(sets, r.Set) {
			sets = append(sets, r.Set)
		}
	}
	switch {
	case len(sets) > 1:
		return nil, t.v.sayNo("item-in-several", id, strings.Join(sets, ", "))
	case len(all) == 0:
		return nil, nil
	}
	return &all[0], nil
}

// listed reports whether an item's number is on a list of the case.
func (t *table) listed(id string) bool {
	return slices.ContainsFunc(t.standing.Sets, func(s projections.SetStanding) bool {
		return slices.ContainsFunc(s.Lines, func(l projections.LineStanding) bool { return strings.EqualFold(l.Item, id) })
	})
}

// sheet counts against a paper sheet: it must be the sheet of one of the sets.
func (t *table) sheet(code string, a *counted) error {
	v := t.v
	c, err := events.ParseSheetCode(code)
	if err != nil {
		return refusal.Because(err)
	}
	if t.stray() != nil { // in its place nothing would be recorded of the first one, which somebody has in hand
		a.said = t.askStray()
		a.Aside, a.Sound = v.t("sheet-first"), "low"
		return nil
	}
	for i, s := range t.standing.Sets {
		if s.Key.Trip != c.Trip {
			continue
		}
		if s.Code != code {
			return t.strayRead(code, s.Key.Set, wrong(v.t("sheet-altered-here", s.Key.Set), v.t("count-on-screen")), a)
		}
		t.drafts[i].Sheet = code
		t.drafts[i].Rev++
		a.Line = t.firstOpen(i)
		a.said = good(v.t("sheet-belongs", s.Key.Set), v.pageRead())
		return v.d.files.saveDraft(t.drafts[i])
	}
	owner, where, since, err := v.sheetOwner(code)
	if err != nil {
		return err
	}
	if owner.Set == "" {
		return t.strayRead(code, "", wrong(v.t("sheet-of-nobody"), v.t("count-on-screen")), a)
	}
	if t.find(owner.Set) >= 0 {
		return t.strayRead(code, owner.Set, wrong(v.t("sheet-older", owner.Set), v.t("count-on-screen")), a)
	}
	return t.strayRead(code, "", wrong(v.t("sheet-not-of-case", owner.Set),
		v.nowAt(owner.Set, where, since)+" "+v.t("count-on-screen")), a)
}

// countActions are the buttons of a count.
func countActions() map[string]func(*table, fields, *counted) error {
	return map[string]func(*table, fields, *counted) error{
		"begin":        func(t *table, _ fields, a *counted) error { return t.begin(a) },
		"close":        (*table).goClose,
		"left-anew":    (*table).leftAnew,
		"left-on":      (*table).leftOn,
		"sign":         (*table).pressSign,
		"sign-without": (*table).signWithout,
		"sheet-with":   (*table).sheetWith,
		"sheet-lay":    (*table).sheetLay,
		"sheet-none":   (*table).sheetNone,
		"badge":        (*table).sayBadge,
		"emergency":    (*table).emergency,
		"count-on":     func(*table, fields, *counted) error { return nil },
		"enter":        func(t *table, _ fields, a *counted) error { return t.sign(a) },
		"interrupted":  (*table).interrupted,
		"by-place":     (*table).toggleByPlace,
		"place":        (*table).goToPlace,
		"badges-clear": (*table).clearBadges,
		"unsay":        (*table).unsay,
		"removed":      (*table).removed,
		"goods":        (*table).pressGoods,
		"single":       (*table).addSingle,
		"single-yes":   (*table).sayIsSingle,
		"single-off":   (*table).dropSingle,
		"begin-single": (*table).beginSingle,
		"take-back":    (*table).takeBack,
	}
}

// signing are the buttons that may sign.
func signing() []string { return []string{"sign", "sign-without", "enter"} }

func (t *table) do(in *input, a *counted) error {
	f, ok := countActions()[in.Action]
	if !ok {
		return t.v.sayNo("no-such-button", in.Action)
	}
	if err := t.v.noPatient(in.Fields); err != nil {
		return err
	}
	return f(t, in.Fields, a)
}

func (t *table) goClose(_ fields, a *counted) error {
	a.Go = t.v.d.stationPath(t.v.station, "close") + "?case=" + url.QueryEscape(t.ref)
	return nil
}

// each changes the drafts that take part, or that of one set. What is sent again
// changes only those to which it had not come.
func (t *table) each(set string, change func(*draft) error) error {
	t.step++
	for i, d := range t.drafts {
		if set != "" && t.standing.Sets[i].Key.Set != set || !t.takesPart(i) {
			continue
		}
		if d.had(t.v.key, t.step) {
			continue
		}
		if err := change(d); err != nil {
			return err
		}
		d.has(t.v.key, t.step)
		if err := t.v.d.files.saveDraft(d); err != nil {
			return err
		}
	}
	return nil
}

// interrupted begins the count, or that of one set, again. It throws away what was counted, so that is asked first, and
// the answer is one to that question: after it nothing more was counted.
func (t *table) interrupted(f fields, a *counted) error {
	set, sure := strings.CutPrefix(f["value"], againSure)
	if !sure {
		set = f["set"]
	}
	lost := 0
	for i, d := range t.drafts {
		if t.takesPart(i) && (set == "" || t.standing.Sets[i].Key.Set == set) {
			lost += d.lost()
		}
	}
	asked, err := t.asked()
	if err != nil {
		return err
	}
	answers := sure && asked != nil && asked.Client == t.client && asked.Input != t.v.key &&
		slices.ContainsFunc(asked.Choices, func(c choice) bool { return c.Value == f["value"] })
	if lost > 0 && !answers {
		a.said = ask(t.v.t("interrupted-sure", lost), set).offer(
			choice{Do: "count-on", Words: t.v.t("count-on"), Main: true},
			choice{Do: "interrupted", Value: againSure + set, Words: t.v.t("interrupted-yes")})
		return nil
	}
	a.said = ask(t.v.t("begun-again"), "")
	return t.each(set, func(d *draft) error { d.interrupt(t.v.now); return nil })
}

// againSure stands before the set, or nothing, that is counted again as a person has said.
const againSure = "sure "

func (t *table) toggleByPlace(fields, *counted) error {
	return t.each("", func(d *draft) error {
		if len(d.Lines) > 0 {
			return t.v.sayNo("by-place-late")
		}
		d.ByPlace = !d.ByPlace
		d.Place = ""
		if d.ByPlace {
			d.Place = CountPlaces()[0]
		}
		d.Rev++
		return nil
	})
}

func (t *table) goToPlace(f fields, a *counted) error {
	place := f["place"]
	if !slices.Contains(CountPlaces(), place) {
		return t.v.sayNo("no-such-button", place)
	}
	a.said = ask(t.v.t("now-counting", t.v.t("at-"+place)), "")
	return t.each("", func(d *draft) error { d.Place = place; d.Rev++; return nil })
}

func (t *table) clearBadges(fields, *counted) error {
	return t.each("", func(d *draft) error { d.handOver(); d.Rev++; return nil })
}

// unsay takes back that a code is a badge, and that whoever it was taken for counts.
func (t *table) unsay(f fields, a *counted) error {
	code := f["value"]
	said, err := t.v.saidBadges(code)
	if err != nil {
		return err
	}
	if len(said) == 0 {
		return t.v.sayNo("nothing-to-undo")
	}
	if err := t.v.unlearn(events.ScanBadge, code); err != nil {
		return err
	}
	err = t.each("", func(d *draft) error {
		for _, who := range []*string{&d.Counter, &d.Witness} {
			if sameBadge(*who, code) {
				*who = ""
			}
		}
		d.Others = slices.DeleteFunc(d.Others, func(badge string) bool { return sameBadge(badge, code) })
		d.Rev++
		return nil
	})
	st := t.state()
	a.said = ask(t.v.t("unsaid", t.v.t("unsay-badge", code)), "")
	a.Next = st.Ask
	return err
}

// removed notes what left the field on purpose.
func (t *table) removed(f fields, a *counted) error {
	f, how := removedAnswer(f)
	line, err := strconv.ParseInt(strings.TrimSpace(f["line"]), 10, 64)
	quantity, ok := plainNumber(f["quantity"])
	if err != nil || !ok {
		return t.v.sayNo("removed-line")
	}
	v := t.v
	reason, err := v.reason(f["reason"])
	switch {
	case err != nil:
		return err
	case reason == "" && quantity > 0:
		return t.v.sayNo("removed-reason")
	}
	i, err := t.findLine(f["set"], line)
	if err != nil {
		return err
	}
	again, already := t.drafts[i].had(v.key, t.step+1), t.drafts[i].removedOf(line)
	most := t.onField(i, line)
	switch {
	case quantity > most, how == removedMore && !again && already+quantity > most:
		return t.v.sayNo("removed-more", quantity, most)
	case already > 0 && quantity > 0 && !again && (how == "" || f["was"] != strconv.FormatInt(already, 10)):
		a.said = t.askRemoved(f, i, line, quantity)
		return nil
	}
	short, stays := t.wasShort(i, line), f["stays"] != ""
	err = t.each(f["set"], func(d *draft) error {
		short = short || slices.ContainsFunc(d.Removed, func(r events.Removed) bool { return r.Line == line && r.Short })
		if how != removedMore {
			d.Removed = slices.DeleteFunc(d.Removed, func(r events.Removed) bool { return r.Line == line })
		}
		if quantity > 0 {
			d.Removed = append(d.Removed, events.Removed{Line: line, Quantity: quantity, Reason: reason, Short: short, Stays: stays})
		}
		t.noteShort(i, line)
		d.touch(v.now)
		d.Rev++
		return nil
	})
	st := t.state()
	if words, _ := t.passedOff(st.Counter, func(d *draft) bool { return d == t.drafts[i] }); short && quantity > 0 {
		a.said = doubt(strings.Join(words, " "), v.t("passed-off-more"))
		a.Next = st.Ask
	}
	return err
}

// removedMore answers that what left the field is beside what was said of its line before, and not instead of it.
const removedMore = "more"

// removedAnswer is what the form said, where a button answers that, and how that is meant.
func removedAnswer(f fields) (fields, string) {
	said, err := url.ParseQuery(f["value"])
	if err != nil || f["value"] == "" {
		return f, ""
	}
	out := make(fields)
	for name := range said {
		out[name] = said.Get(name)
	}
	return out, out["how"]
}

// askRemoved asks what is meant where something of the line has left before: each has its own reason, and none is dropped
// unasked.
func (t *table) askRemoved(f fields, i int, line, quantity int64) said {
	v, already := t.v, t.drafts[i].removedOf(line)
	means := func(how string) string {
		return url.Values{"set": {f["set"]}, "line": {f["line"]}, "quantity": {f["quantity"]}, "reason": {f["reason"]},
			"stays": {f["stays"]}, "how": {how},
			"was": {strconv.FormatInt(already, 10)}}.Encode() // pressed once more, it answers what is asked no longer
	}
	words, _ := t.passedOff(t.state().Counter, func(d *draft) bool { return d == t.drafts[i] })
	s := ask(v.t("removed-already", line, already), strings.Join(words, " "))
	if all := already + quantity; all <= t.onField(i, line) {
		s.Choices = append(s.Choices, choice{Do: "removed", Value: means(removedMore), Words: v.t("do-removed-more", quantity, all)})
	}
	return s.offer(append(s.Choices, choice{Do: "removed", Value: means("instead"), Words: v.t("do-removed-instead", quantity)},
		choice{Do: "count-on", Words: v.t("do-removed-not")})...)
}

// onField is how many of a line there can be, before this count says what left the field.
func (t *table) onField(i int, line int64) int64 {
	d := t.drafts[i]
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		switch {
		case l.Line.Line != line:
		case t.stage == events.StageAdded && d.Lines[line] != nil:
			return l.Expected + d.Lines[line].Counted
		case t.stage == events.StageAdded:
			return l.Expected
		default:
			n := t.expected(i, l) + d.removedOf(line)
			if e := d.Lines[line]; e != nil {
				n = max(n, e.Counted+d.removedOf(line)) // more was there than there should be
			}
			return n
		}
	}
	return 0
}

package workplace

import (
	"errors"
	"net/url"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// badge takes the counter's badge, then the witness's. One badge is never both.
func (t *table) badge(badge string, a *counted) error {
	v := t.v
	if no, err := v.admit(badge); err != nil || no.Words != "" {
		a.said = no
		return err
	}
	if err := v.isOne(badge); err != nil {
		return err
	}
	st := t.state()
	again := slices.ContainsFunc(t.drafts, func(d *draft) bool { return d.had(v.key, t.step+1) })
	switch {
	case st.Counter == "", again && sameBadge(badge, st.Counter):
		a.said = good(v.t("counter-is", badge), "")
		st.Counter = badge
	case sameBadge(badge, st.Counter):
		return v.sayNo("same-badge", badge)
	case st.Witness == "" || sameBadge(badge, st.Witness):
		a.said = good(v.t("witness-is", badge), "")
		st.Witness = badge
	default:
		return v.sayNo("two-badges", st.Counter, st.Witness)
	}
	err := t.each("", func(d *draft) error {
		d.Counter, d.Witness, d.Badged = st.Counter, st.Witness, v.now
		d.Rev++
		if d.Saw = 0; st.Witness != "" && !v.elsewhere {
			d.Saw = d.Rev
		}
		return nil
	})
	if err != nil {
		return err
	}
	// The second badge signs what is complete; before that, and where another browser's
	// number was not in sight yet, or something else is asked, it only says who counts.
	if !v.elsewhere && !t.asks && st.Complete && st.Counter != "" && (st.Witness != "" || !t.policy.TwoPersons) {
		return t.sign(a)
	}
	if a.Next = t.ask(st); a.Status == "whole" && st.Complete && len(st.Open) > 0 {
		a.said.Status = "doubtful" // nothing green stands over a count that does not come out
	}
	return nil
}

// sign records the counts once all sets that take part are complete.
func (t *table) sign(a *counted) error {
	st := t.state()
	switch {
	case !st.Complete:
		a.said = ask(st.Ask, st.Sum)
		return nil
	case t.stray() != nil && st.Counter != "":
		a.said = t.askStray()
		return nil
	case t.badgesMissing(st):
		a.said = ask(st.Ask, "")
		return nil
	}
	return t.signComplete(st, a)
}

func (t *table) badgesMissing(st *countState) bool {
	return st.Counter == "" || t.policy.TwoPersons && (st.Witness == "" || t.unwitnessed())
}

// unwitnessed reports whether something was counted after the second person's badge, or not in sight of it: then it says
// who counts, and signs nothing. One person could count all the rest and press Enter for two.
func (t *table) unwitnessed() bool {
	for i, d := range t.drafts {
		if t.takesPart(i) && t.complete(i) && d.Saw != d.Rev {
			return true
		}
	}
	return false
}

// pressSign is the button: where only some sets are complete, it asks whether
// they are to be signed without the others.
func (t *table) pressSign(_ fields, a *counted) error {
	v := t.v
	st := t.state()
	whole, rest := t.split()
	switch {
	case st.Complete || len(whole) == 0:
		return t.sign(a)
	case st.Counter == "":
		a.said = ask(v.t("sign-counter"), st.Sum)
		return nil
	case t.badgesMissing(st):
		a.said = ask(v.t("sign-witness"), st.Sum)
		return nil
	}
	without := strings.Join(rest, ", ")
	a.said = ask(v.t("sign-without", without), v.t("sign-without-more", without)).offer(
		choice{Do: "count-on", Words: v.t("count-on"), Main: true},
		choice{Do: "sign-without", Value: without, Words: v.t("do-sign-without", without)},
	)
	return nil
}

// signWithout signs the sets that are complete, after the question. The answer
// names the sets that it leaves out: had one of them been counted meanwhile, it
// would be another question.
func (t *table) signWithout(f fields, a *counted) error {
	st := t.state()
	_, rest := t.split()
	if t.badgesMissing(st) || strings.Join(rest, ", ") != f["value"] {
		if st.Complete { // none is left out any more: that is shown, and signed by another input
			a.said = ask(st.Ask, st.Sum)
			return nil
		}
		return t.pressSign(nil, a)
	}
	return t.signComplete(st, a)
}

// split names the sets that are complete and those that aren't.
func (t *table) split() (whole, rest []string) {
	for i := range t.drafts {
		set := t.standing.Sets[i].Key.Set
		switch {
		case !t.takesPart(i):
		case t.complete(i):
			whole = append(whole, set)
		default:
			rest = append(rest, set)
		}
	}
	return whole, rest
}

// complete reports whether the count of a set can be signed.
func (t *table) complete(i int) bool {
	d, p := t.drafts[i], t.progress(i)
	if t.stage == events.StageAdded {
		return p.done == p.total && (len(d.Lines) > 0 || len(d.Removed) > 0)
	}
	return len(d.Lines) > 0 && p.done == p.total
}

// signComplete records the count of each set that is complete.
func (t *table) signComplete(st *countState, a *counted) error {
	v := t.v
	if t.stray() != nil { // what was read is told before who read it goes
		a.said = t.askStray()
		return nil
	}
	if no, err := t.mayNotSign(st); err != nil || no.Words != "" {
		a.said, a.Next = no, v.t("sign-cleared")
		return err
	}
	signed, rs, err := t.record(st)
	if err != nil {
		return err
	}
	open, there, err := t.notComeOut()
	if err != nil {
		return err
	}
	gone, short := t.passedOff(st.Counter, func(d *draft) bool { return slices.Contains(signed, d) })
	for _, d := range signed {
		// A crash before this shows the draft again; signing it again is the same event.
		if err := v.d.files.removeDraft(d); err != nil {
			return err
		}
	}
	stage := v.t("stage-" + string(t.stage))
	a.said = good(v.t("count-recorded", stage, len(signed), st.Counter, st.Witness), v.t("count-no-proof"))
	if st.Witness == "" {
		a.said = good(v.t("count-recorded-one", stage, len(signed), st.Counter), v.t("count-no-proof"))
	}
	if len(gone) > 0 {
		a.More = strings.Join(append(gone, a.More), " ")
	}
	if short {
		a.said = doubt(a.Words, a.More)
	}
	if len(open) > 0 {
		a.said = wrong(v.t("count-recorded-open", stage, len(open)), strings.Join(slices.Concat(open, there, gone), " "))
		a.Next = v.t("count-open-next")
	}
	if others := othersOf(signed, st); len(others) > 0 {
		a.More = joined(a.More, v.t("count-others", v.w.Language().List(others)))
	}
	query := url.Values{"case": {t.ref}, "done": {string(t.stage)}}.Encode()
	a.Go = v.d.stationPath(v.station, "count") + "?" + query
	// The next page says it again, and so does the answer, should it be lost.
	return t.keepSaid(signature{said: a.said, By: v.key, Stage: t.stage, Go: a.Go, At: v.now.UTC(), IDs: ids(rs)})
}

// mayNotSign says no where a badge was taken here and may not record any more, and how the count is signed then; it has no words where
// both may.
func (t *table) mayNotSign(st *countState) (said, error) {
	v := t.v
	e := &events.Event{Station: v.station, Time: v.now.UTC(), Operator: st.Counter,
		Data: &events.SetCounted{Counter: st.Counter, Witness: st.Witness}}
	err := v.d.site.Ask(func(m *site.View) error { return m.Admit(v, e, events.RegisterPeople) })
	if !refusal.Is(err) {
		return said{}, err
	}
	s := wrong(v.why(err), v.t("sign-cleared"))
	s.No = true
	return s, nil
}

// othersOf are the badges by which something was entered that others sign now.
func othersOf(signed []*draft, st *countState) (others []string) {
	for _, d := range signed {
		for _, badge := range d.Others {
			if !sameBadge(badge, st.Counter) && !sameBadge(badge, st.Witness) && !slices.Contains(others, badge) {
				others = append(others, badge)
			}
		}
	}
	return others
}

// notComeOut tells what this count differs in, and which other cases differ the other way round.
func (t *table) notComeOut() (open, there []string, err error) {
	moves, left, names := t.reconciled()
	there, err = t.v.astray(t.ref, left, names)
	return t.v.explain(moves, left, names), there, err
}

// signature is what was said when a count was recorded.
type signature struct {
	said
	Lang   string          `json:"lang,omitempty"`   // of what was said; "" in the files of earlier versions
	Others map[string]said `json:"others,omitempty"` // the same in the other languages
	By     string          `json:"by,omitempty"`     // the input that signed it
	Stage  events.Stage    `json:"stage,omitempty"`
	Go     string          `json:"go,omitempty"`
	At     time.Time       `json:"at,omitzero"`
	IDs    []string        `json:"ids,omitempty"`  // of the events, to take them back
	Back   string          `json:"back,omitempty"` // why it is taken back, once a badge says so
	// The input that said why, the browser that sent it, and when: the badge is asked for there.
	Asks    int64     `json:"asks,omitempty"`
	AskedBy string    `json:"askedBy,omitempty"`
	AskedAt time.Time `json:"askedAt,omitzero"`
}

// keepSaid keeps what was said when a count was recorded or taken back.
func (t *table) keepSaid(s signature) error {
	s.Lang, s.Others = t.v.w.Lang, t.v.others(s.said)
	return t.v.d.files.save(s, "count", t.ref, saidName)
}

// words are what was said, in the page's language.
func (s *signature) words(v *visit) said {
	if s.Lang == "" {
		return s.said
	}
	out := v.again(s.said, s.Lang, s.Others)
	out.Words = v.make(func(w *shell.Words) string { // it may be told of in what is said next
		if w.Lang == s.Lang {
			return s.Words
		}
		return s.Others[w.Lang].Words
	})
	return out
}

// lastSaid is what was said when a count of the case was recorded last, nil for nothing.
func (t *table) lastSaid() (*signature, error) {
	s := new(signature)
	found, err := t.v.d.files.load(s, "count", t.ref, saidName)
	if !found || err != nil {
		return nil, ignoreUnreadable(err)
	}
	return s, nil
}

// signedBy returns what was said to an input that signed the count before, nil
// where it did not.
func (t *table) signedBy(input string) (*signature, error) {
	s, err := t.lastSaid()
	if err != nil || s == nil || s.By != input || s.Stage != t.stage {
		return nil, err
	}
	return s, nil
}

// record takes the counted drafts into the ledger, all or none.
func (t *table) record(st *countState) (signed []*draft, rs []site.Receipt, err error) {
	var obs []*events.Observation
	for i, d := range t.drafts {
		if !t.takesPart(i) || !t.complete(i) {
			continue
		}
		if d.At.IsZero() || d.AtRev != d.Rev { // what was counted or who counts has changed since: another observation
			d.At, d.AtRev = t.v.now.UTC(), d.Rev
			if err := t.v.d.files.saveDraft(d); err != nil {
				return nil, nil, err
			}
		}
		obs = append(obs, t.observation(i, st))
		signed = append(signed, d)
	}
	if rs, err = t.v.d.site.Observe(t.v, obs...); err != nil {
		if !refusal.Is(err) {
			return nil, nil, err // perhaps it is stored: the next try is the same observation
		}
		for _, d := range signed {
			d.At = time.Time{}
			err = errors.Join(err, t.v.d.files.saveDraft(d))
		}
		return nil, nil, err
	}
	return signed, rs, nil
}

// observation is the count of one set as it is recorded.
func (t *table) observation(i int, st *countState) *events.Observation {
	d := t.drafts[i]
	c := &events.SetCounted{
		Case: t.ref, Stage: t.stage, Sheet: d.Sheet, Counter: st.Counter, Witness: st.Witness,
		Counts: []events.Count{}, Removed: d.Removed,
	}
	if c.Sheet == "" {
		c.Sheet = events.SheetScreen
	}
	for k := range t.standing.Sets[i].Lines {
		n := t.standing.Sets[i].Lines[k].Line.Line
		if e := d.Lines[n]; e != nil {
			c.Counts = append(c.Counts, events.Count{Line: n, Counted: e.Counted})
		}
	}
	t.beyond(i, c)
	if s := &t.standing.Sets[i]; s.Goods {
		c.Goods = s.List
	}
	return &events.Observation{Station: t.v.station, Kind: events.KindSetCounted, Time: d.At,
		Set: d.Set, Trip: d.Trip, Operator: st.Counter, Data: c}
}

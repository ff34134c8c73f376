package workplace

import (
	"errors"
	"slices"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// closing is the draft of the workplace that ends a case. While something is
// unaccounted for the case stays open in sight; it can be closed all the same,
// with a reason, the actions taken and a second badge.
type closing struct {
	hand
	Reason  string   `json:"reason,omitempty"`
	Actions []string `json:"actions,omitempty"`
}

func closingPlace() workplace {
	return bench[closing, *closing]{
		scans: map[events.ScanKind]scanned[closing]{
			events.ScanCase:  (*closing).scanCase,
			events.ScanSet:   (*closing).scanSet,
			events.ScanBadge: (*closing).scanBadge,
		},
		acts: map[string]action[closing]{
			"clear":  (*closing).discard,
			"case":   (*closing).takeCase,
			"action": (*closing).noteAction,
			"reason": (*closing).takeReason,
			"enter":  (*closing).record,
			"record": (*closing).record,
		},
	}
}

func (b *closing) wants() []want {
	return wanted(events.ScanCase, events.ScanSet, events.ScanBadge)
}

func (b *closing) idle() bool { return b.Case == "" }

// clear takes the case away, and who closes it: two persons say so of each case.
func (b *closing) clear() {
	*b = closing{hand: b.kept()}
	b.Case = ""
	b.nextPerson()
}

// nextHere: a case of which nothing was said is scanned again by whoever comes next, who may have come for another one.
func (b *closing) nextHere() {
	if b.Reason == "" && len(b.Actions) == 0 {
		b.Case = ""
	}
}

// lies reports whether something was said of a case that is not closed.
func (b *closing) lies(v *visit) (bool, error) {
	if b.Case == "" || b.Reason == "" && len(b.Actions) == 0 {
		return false, nil
	}
	st, err := v.caseStanding(b.Case)
	return len(st.Sets) > 0 && !st.Closed, err
}

// onlySaid is why it is closed though something is open, and what was done about that.
func (b *closing) onlySaid(v *visit) (string, error) {
	var out []string
	if b.Reason != "" {
		out = append(out, b.Reason)
	}
	for _, a := range b.Actions {
		out = append(out, v.t("action-"+a))
	}
	return strings.Join(out, ", "), nil
}

// anew drops what was said of the case, and the case: whoever comes may have come for another one.
func (b *closing) anew(*visit) (said, error) {
	b.clear()
	return said{}, nil
}

// Actions are what is usually done when a count does not come out (common to
// AORN, ACS and Joint Commission texts); the local procedure decides.
func Actions() []string {
	return []string{"surgeon-told", "recounted", "field-searched", "room-searched", "waste-searched", "image-taken"}
}

// scanCase takes a case. A badge that was scanned before any case says who closes this one; one that was scanned for
// another case says nothing of it.
func (b *closing) scanCase(_ *visit, ref string) (said, error) {
	if _, err := events.LabelText(events.ScanCase, ref); err != nil && ref != "" { // what no label can say is no case
		return said{}, refusal.Because(err)
	}
	if b.Case != "" && ref != b.Case {
		b.nextPerson()
	}
	if ref != b.Case {
		b.Case, b.Reason, b.Actions, b.Witness = ref, "", nil, ""
	}
	b.Done = nil
	return said{}, nil
}

func (b *closing) scanSet(v *visit, set string) (said, error) {
	ref, err := v.caseOfSet(set)
	if err != nil {
		return said{}, err
	}
	return b.scanCase(v, ref)
}

// caseOfSet is the case that a set was opened for.
func (v *visit) caseOfSet(set string) (string, error) {
	verdict, err := site.Answer(v.d.site, func(m *site.View) (*projections.Verdict, error) {
		trip, err := m.TripNow(v, set, v.now)
		if err != nil {
			return nil, err
		}
		return m.Verdict(v, projections.TripKey{Set: set, Trip: trip})
	})
	if err != nil {
		return "", err
	}
	if verdict == nil || verdict.Case == "" {
		return "", v.sayNo("set-on-no-case", set)
	}
	return verdict.Case, nil
}

// scanBadge takes the badge of who closes, then the second person's, which closes
// a case that comes out.
func (b *closing) scanBadge(v *visit, badge string) (said, error) {
	switch {
	case b.Operator == "" || b.Case == "":
		b.Operator = badge
		return said{}, nil
	case sameBadge(badge, b.Operator):
		return said{}, v.sayNo("same-badge", badge)
	}
	b.Witness = badge
	if v.elsewhere || v.waited { // what the case came to when the badge was scanned is not what it comes to now
		return said{}, nil
	}
	asked := []string{v.t("scan-witness"), v.t("same-badge", b.Operator)}
	if hidden, err := b.hides(v, b.verdict, asked...); hidden || err != nil {
		return said{}, err
	}
	if st, err := b.look(v); err == nil && st != nil && len(st.Sets) > 0 && len(st.Open) == 0 && !st.Closed {
		return b.close(v, st)
	}
	return said{}, nil
}

// closingState is what a case still lacks.
type closingState struct {
	projections.CaseStanding
	Open    []string // what does not come out, or was not counted, in words
	Astray  []string // what other cases differ in the other way round
	Notes   []string // what another set explains
	Gone    []string // counts that were begun of sets that are not on the case any more
	Warn    []string // what the room must know of the sets
	Actions []string

	PassedOff   []string // what left the field by the counts
	Stays       []string // what was left in the patient on purpose
	PassedShort bool     // and some of it was said when it had been found short

	AtOpening []string // of Warn: which first counts were not what packing recorded
}

// look finds what the case lacks, nil where there is none.
func (b *closing) look(v *visit) (*closingState, error) {
	if b.Case == "" {
		return nil, nil
	}
	return v.closingState(b.Case)
}

// closedNow is what a closed case comes to by now, where that is another thing than its record says; and what the room
// must know of its sets, whatever their counts come to.
type closedNow struct{ words, open, warn string }

func (c closedNow) String() string {
	return strings.TrimSpace(strings.Join([]string{c.words, c.open, c.warn}, " "))
}

// closedSince tells what has become of a case since it was closed.
func (v *visit) closedSince(ref string) (c closedNow, err error) {
	st, err := v.closingState(ref)
	if err != nil || !st.Closed {
		return c, err
	}
	c.warn = strings.Join(st.Warn, " ")
	switch comesOut := len(st.Open) == 0; {
	case comesOut == (st.Outcome != "unreconciled"):
	case comesOut:
		c.words = v.t("case-reconciles", ref)
	default:
		c.words, c.open = v.t("case-closed-unreconciled", ref, len(st.Open)), strings.Join(st.Open, " ")
	}
	return c, nil
}

// closedByNow says of a closed case what it comes to by now, where that is another thing than was said then. A set of it
// that was recalled, or was not sterile after all, stops whoever looks, even where all that was counted came out.
func (v *visit) closedByNow(ref string, then said) (said, error) {
	now, err := v.closedSince(ref)
	switch {
	case err != nil:
		return then, err
	case now.open != "":
		s := wrong(v.t("by-now")+" "+now.words, strings.TrimSpace(now.open+" "+now.warn))
		s.Next, s.Aside = v.t("case-open-next"), then.Words
		return s.offer(then.Choices...), nil
	case now.warn != "" && then.Status != "broken":
		s := wrong(then.Words, now.warn)
		s.Aside = then.Aside
		return s.offer(then.Choices...), nil
	case now.words != "":
		then.Aside = v.t("by-now") + " " + now.words
	}
	return then, nil
}

func (v *visit) closingState(ref string) (*closingState, error) {
	out := &closingState{Actions: Actions()}
	var policy events.Policy
	err := v.d.site.Ask(func(m *site.View) (err error) {
		world := m.World(v)
		if out.CaseStanding, err = world.CaseStanding(ref); err == nil {
			policy, _, err = world.PolicyAt(site.SiteOf(v.station), v.now)
		}
		return err
	})
	if err == nil {
		err = v.layGoodsBegun(&out.CaseStanding)
	}
	if err != nil {
		return nil, err
	}
	names := v.itemNames(out.Sets)
	for _, s := range out.Sets {
		for _, st := range policy.Stages {
			if !slices.Contains(s.Stages, st) {
				out.Open = append(out.Open, v.t("stage-missing", v.t("stage-"+string(st)), s.Key.Set))
			}
		}
	}
	for i := range out.Sets {
		words, short := v.passedOff(&out.Sets[i], slices.DeleteFunc(slices.Clone(out.Sets[i].Removed),
			func(r projections.RemovedStanding) bool { return r.Stays && !r.Short }))
		out.PassedOff, out.PassedShort = append(out.PassedOff, words...), out.PassedShort || short
	}
	out.Stays = v.staysWords(out.Sets)
	out.Notes = append(out.Notes, v.explain(out.Moves, nil, names)...)
	out.Open = append(out.Open, v.explain(nil, out.Left, names)...)
	if out.Astray, err = v.astray(ref, out.Left, names); err != nil {
		return nil, err
	}
	begun, gone, err := v.begunCounts(ref, out.Sets)
	if err != nil {
		return nil, err
	}
	uncounted, err := v.uncounted(out.Sets)
	if err != nil {
		return nil, err
	}
	out.Open, out.Gone = append(append(out.Open, begun...), uncounted...), gone
	if out.Warn, err = v.warnings(out.Sets); err != nil {
		return nil, err
	}
	out.AtOpening, err = v.atOpening(out.Sets)
	out.Warn = append(out.Warn, out.AtOpening...)
	return out, err
}

// uncounted tells what judgement says of the case's sets that no count of the policy's says: something was added or passed off after the
// final count, or a set was counted whose opening is not recorded, or was taken back.
func (v *visit) uncounted(sets []projections.SetStanding) (out []string, err error) {
	for _, s := range sets {
		verdict, err := v.verdictOf(s.Key)
		if err != nil {
			return nil, err
		}
		if verdict == nil {
			continue
		}
		for i := range verdict.Findings {
			f := &verdict.Findings[i]
			unopened := false
			if d, ok := f.Detail.(*projections.StepsMissing); ok && f.Code == projections.LinkMissing {
				unopened = slices.Contains(d.Missing, events.KindSetOpened)
			}
			if _, late := f.Detail.(*projections.AfterFinal); late || unopened {
				out = append(out, v.stationLine(s.Key.Set, f))
			}
		}
	}
	return out, nil
}

// begunCounts tells which counts of a case are begun and not signed; and which are of sets that are not on the case any
// more, since their opening was taken back: nobody can sign those.
func (v *visit) begunCounts(ref string, sets []projections.SetStanding) (begun, gone []string, err error) {
	drafts, err := v.d.files.list("count", ref)
	if err != nil {
		return nil, nil, err
	}
	whole, err := v.d.files.whole(ref)
	if ignoreUnreadable(err) != nil {
		return nil, nil, err
	}
	if whole.Stray != nil {
		begun = append(begun, v.t("count-stray", v.t("stage-"+string(whole.Stray.Stage))))
	}
	for _, name := range drafts {
		set, stage, ok := strings.Cut(name, " ")
		if !ok {
			continue
		}
		d, found, err := v.d.files.draft(ref, set, events.Stage(stage))
		unreadable := errors.Is(err, errUnreadable)
		on := slices.ContainsFunc(sets, func(s projections.SetStanding) bool { return s.Key.Set == set })
		switch {
		case err != nil && !unreadable:
			return nil, nil, err
		case !unreadable && found && d.Stray != nil:
			begun = append(begun, v.t("count-stray", v.t("stage-"+stage)))
		case !unreadable && (!found || !d.begun()):
		case on:
			begun = append(begun, v.t("count-begun", v.t("stage-"+stage), set))
		default:
			gone = append(gone, v.t("count-begun-gone", v.t("stage-"+stage), set))
		}
	}
	return begun, gone, nil
}

func (b *closing) verdict(v *visit) (said, error) {
	st, err := b.look(v)
	switch {
	case err != nil:
		return said{}, err
	case st == nil:
		return ask(v.t("scan-set-or-case"), ""), nil
	case len(st.Sets) == 0:
		return said{}, v.sayNo("no-sets-on-case", b.Case)
	case st.Closed && len(st.Open) > 0 && st.Outcome != "unreconciled":
		return v.closedByNow(b.Case, good(v.t("case-closed-before", b.Case), ""))
	case st.Closed:
		if st.Outcome == "unreconciled" {
			return doubt(v.t("case-closed-before", b.Case), v.t("outcome-unreconciled")), nil
		}
		if len(st.Warn) > 0 { // found since: its record says what was known then
			return wrong(v.t("case-closed-before", b.Case), strings.Join(st.Warn, " ")), nil
		}
		return st.comesOut(good(v.t("case-closed-before", b.Case), v.t("outcome-reconciled"))), nil
	case len(st.Open) > 0:
		s := wrong(v.t("case-open", b.Case, len(st.Open)), strings.Join(append(slices.Clone(st.Open), st.Astray...), " "))
		s.Next = v.t("case-open-next")
		return s, nil
	}
	more := append(slices.Clone(st.AtOpening), v.t("count-no-proof"))
	return st.comesOut(ask(v.t("case-reconciles", b.Case)+" "+b.next(v), strings.Join(more, " "))), nil
}

// comesOut adds to what is said of a case that comes out what left the field: amber where it comes out only since a count
// had found that short, and it was said then.
func (st *closingState) comesOut(s said) said {
	s.More = strings.Join(append(slices.Clone(st.PassedOff), s.More), " ")
	if st.PassedShort {
		s.Status, s.Sound = "doubtful", "ask"
	}
	return s
}

func (b *closing) next(v *visit) string {
	switch {
	case b.Operator == "":
		return v.t("scan-badge")
	case b.Witness == "":
		return v.t("scan-witness")
	}
	return v.t("enter-closes")
}

func (b *closing) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

func (b *closing) takeCase(v *visit, f fields) (said, error) {
	return b.scanCase(v, strings.TrimSpace(firstOf(f["case"], f["value"])))
}

// noteAction notes what was done, or that it was not after all. Of which case is known by then.
func (b *closing) noteAction(_ *visit, f fields) (said, error) {
	if b.Case != "" && slices.Contains(Actions(), f["action"]) {
		b.Actions = note(b.Actions, f["action"], f)
	}
	return said{}, nil
}

func (b *closing) takeReason(v *visit, f fields) (said, error) {
	if b.Case == "" {
		return said{}, nil
	}
	why, err := v.reason(f["reason"])
	if err == nil {
		b.Reason = why
	}
	return said{}, err
}

func (b *closing) record(v *visit, f fields) (said, error) {
	if _, ok := f["reason"]; ok {
		if s, err := b.takeReason(v, f); err != nil {
			return s, err
		}
	}
	st, err := b.look(v)
	if err != nil || st == nil || len(st.Sets) == 0 || st.Closed {
		return said{}, err
	}
	return b.close(v, st)
}

// close records the end of the case, unless something is still asked.
func (b *closing) close(v *visit, st *closingState) (said, error) {
	switch {
	case len(st.Open) > 0 && b.Reason == "":
		return said{Aside: v.t("reason-needed"), Sound: "wrong", Under: true}, nil
	case len(st.Open) > 0 && len(b.Actions) == 0:
		return said{Aside: v.t("actions-needed"), Sound: "wrong", Under: true}, nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case b.Witness == "" || sameBadge(b.Witness, b.Operator):
		return ask(v.t("scan-witness"), ""), nil
	}
	c := &events.CaseClosed{
		Case: b.Case, Outcome: "reconciled", Actions: []string{}, Witness: b.Witness,
	}
	says := v.phrased("case-closed", b.Case)
	s := st.comesOut(good(v.say(says), v.t("count-no-proof")))
	if len(st.Open) > 0 {
		c.Outcome, c.Reason = "unreconciled", b.Reason
		// What an action is called is said in the language of who reads the record.
		c.Actions = append(c.Actions, b.Actions...)
		says = v.phrased("case-closed-unreconciled", b.Case, len(st.Open))
		s = doubt(v.say(says), v.t("count-no-proof"))
	}
	if len(st.Warn) > 0 {
		s = wrong(v.say(says), strings.Join(append(slices.Clone(st.Warn), v.t("count-no-proof")), " "))
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(&events.Observation{Station: v.station, Kind: events.KindCaseClosed, Time: at,
		Operator: b.Operator, Data: c})
	if err != nil {
		return said{}, err
	}
	ref := b.Case
	if err := v.d.files.remove("count", ref, saidName); err != nil {
		return said{}, err
	}
	b.clear()
	b.Done = &done{Says: []phrase{says}, Case: ref, Seqs: seqs(rs), IDs: ids(rs)}
	return s, nil
}

type closingBody struct {
	State *closingState
	Cases []string
}

func (b *closing) body(v *visit) (any, error) {
	st, err := b.look(v)
	if err != nil {
		return nil, err
	}
	cases, err := v.openCases(v.station)
	return closingBody{st, cases}, err
}

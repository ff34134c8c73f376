package workplace

import (
	"slices"
	"strings"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// closing is the workplace that ends a case. While something is unaccounted for
// the case stays open in sight; it can be closed all the same, with a reason,
// the actions taken and a second badge.
type closing struct{}

func (closing) wants(v *visit, b *bench) []events.ScanKind {
	return []events.ScanKind{events.ScanSet, events.ScanCase, events.ScanBadge}
}

// Actions are what is usually done when a count does not come out (common to
// AORN, ACS and Joint Commission texts); the local procedure decides.
func Actions() []string {
	return []string{"surgeon-told", "recounted", "field-searched", "room-searched", "waste-searched", "image-taken"}
}

func (w closing) scan(v *visit, b *bench, s events.Scan) (said, error) {
	switch s.Kind {
	case events.ScanCase:
		if s.Value != b.Case {
			b.Case, b.Reason, b.Actions, b.Witness = s.Value, "", nil, ""
		}
		b.Done = nil
	case events.ScanSet:
		trip, err := v.d.site.TripNow(v, s.Value, v.now)
		if err != nil {
			return said{}, err
		}
		verdict, err := v.d.site.Verdict(v, projections.TripKey{Set: s.Value, Trip: trip})
		if err != nil {
			return said{}, err
		}
		if verdict == nil || verdict.Case == "" {
			return said{}, v.sayNo("set-on-no-case", s.Value)
		}
		b.Case, b.Done = verdict.Case, nil
	case events.ScanBadge:
		switch {
		case b.Operator == "" || b.Case == "":
			b.Operator = s.Value
		case s.Value == b.Operator:
			return said{}, v.sayNo("same-badge", s.Value)
		default:
			b.Witness = s.Value
			if st, err := w.state(v, b); err == nil && st != nil && len(st.Open) == 0 && !st.Closed {
				return w.record(v, b, st)
			}
		}
	default:
		return said{}, v.sayNo("taken-for-not-here", v.t("kind-"+strings.ReplaceAll(string(s.Kind), " ", "-")), s.Value)
	}
	return w.verdict(v, b)
}

// closingState is what a case still lacks.
type closingState struct {
	projections.CaseStanding
	Open    []string // what does not come out, or was not counted, in words
	Notes   []string // what another set explains
	Actions []string
}

func (w closing) state(v *visit, b *bench) (*closingState, error) {
	if b.Case == "" {
		return nil, nil
	}
	out := &closingState{Actions: Actions()}
	var policy events.Policy
	err := v.d.site.World(v, func(world *projections.World) (err error) {
		if out.CaseStanding, err = world.CaseStanding(b.Case); err == nil {
			policy, _, err = world.PolicyAt(site.SiteOf(v.station), v.now)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	names := make(map[string]string)
	for _, s := range out.Sets {
		for _, l := range s.Lines {
			names[l.Item] = l.Description
		}
		for _, st := range policy.Stages {
			if !slices.Contains(s.Stages, st) {
				out.Open = append(out.Open, v.t("stage-missing", v.t("stage-"+string(st)), s.Key.Set))
			}
		}
	}
	out.Notes = append(out.Notes, v.explain(out.Moves, nil, names)...)
	out.Open = append(out.Open, v.explain(nil, out.Left, names)...)
	drafts, err := v.d.files.list("count", b.Case)
	if err != nil {
		return nil, err
	}
	for _, name := range drafts {
		if set, stage, ok := strings.Cut(name, " "); ok {
			d, found, err := v.d.files.draft(b.Case, set, events.Stage(stage))
			if err != nil {
				return nil, err
			}
			if found && len(d.Lines) > 0 {
				out.Open = append(out.Open, v.t("count-begun", v.t("stage-"+stage), set))
			}
		}
	}
	return out, nil
}

func (w closing) verdict(v *visit, b *bench) (said, error) {
	st, err := w.state(v, b)
	switch {
	case err != nil:
		return said{}, err
	case st == nil:
		return ask(v.t("scan-set-or-case"), ""), nil
	case len(st.Sets) == 0:
		return said{}, v.sayNo("no-sets-on-case", b.Case)
	case st.Closed:
		if st.Outcome == "unreconciled" {
			return doubt(v.t("case-closed-before", b.Case), v.t("outcome-unreconciled")), nil
		}
		return good(v.t("case-closed-before", b.Case), v.t("outcome-reconciled")), nil
	case len(st.Open) > 0:
		s := wrong(v.t("case-open", b.Case, len(st.Open)), strings.Join(st.Open, " "))
		s.Next = v.t("case-open-next")
		return s, nil
	}
	return ask(w.next(v, b, v.t("case-reconciles", b.Case)), v.t("count-no-proof")), nil
}

func (w closing) next(v *visit, b *bench, first string) string {
	switch {
	case b.Operator == "":
		return first + " " + v.t("scan-badge")
	case b.Witness == "":
		return first + " " + v.t("scan-witness")
	}
	return first + " " + v.t("enter-closes")
}

func (w closing) do(v *visit, b *bench, action string, fields map[string]string) (said, error) {
	switch action {
	case "clear":
		b.clear()
		b.Case, b.Done, b.Reason, b.Actions, b.Witness = "", nil, "", nil, ""
		return v.begin(), nil
	case "case":
		return w.scan(v, b, events.Scan{Kind: events.ScanCase, Value: strings.TrimSpace(fields["case"])})
	case "action":
		a := fields["action"]
		if i := slices.Index(b.Actions, a); i >= 0 {
			b.Actions = slices.Delete(b.Actions, i, i+1)
		} else if slices.Contains(Actions(), a) {
			b.Actions = append(b.Actions, a)
		}
	case "reason":
		b.Reason = strings.TrimSpace(fields["reason"])
	case "enter", "record":
		if r, ok := fields["reason"]; ok {
			b.Reason = strings.TrimSpace(r)
		}
		st, err := w.state(v, b)
		if err != nil {
			return said{}, err
		}
		if st == nil || len(st.Sets) == 0 || st.Closed {
			return w.verdict(v, b)
		}
		return w.record(v, b, st)
	default:
		return said{}, v.sayNo("no-such-button", action)
	}
	return w.verdict(v, b)
}

func (w closing) record(v *visit, b *bench, st *closingState) (said, error) {
	c := &events.CaseClosed{Case: b.Case, Outcome: "reconciled", Actions: []string{}, Reason: b.Reason, Witness: b.Witness}
	for _, a := range b.Actions {
		c.Actions = append(c.Actions, v.t("action-"+a))
	}
	if len(st.Open) > 0 {
		c.Outcome = "unreconciled"
		switch {
		case b.Reason == "":
			return wrong(v.t("reason-needed"), strings.Join(st.Open, " ")), nil
		case len(b.Actions) == 0:
			return wrong(v.t("actions-needed"), strings.Join(st.Open, " ")), nil
		}
	}
	switch {
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case b.Witness == "" || b.Witness == b.Operator:
		return ask(v.t("scan-witness"), ""), nil
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(b, &events.Observation{Station: v.station, Kind: events.KindCaseClosed, Time: at, Operator: b.Operator, Data: c})
	if err != nil {
		return said{}, err
	}
	s := good(v.t("case-closed", b.Case), v.t("count-no-proof"))
	if c.Outcome == "unreconciled" {
		s = doubt(v.t("case-closed-unreconciled", b.Case, len(st.Open)), v.t("count-no-proof"))
	}
	ref := b.Case
	if err := v.d.files.remove("count", ref, saidName); err != nil {
		return said{}, err
	}
	b.clear()
	b.Case, b.Reason, b.Actions, b.Witness = "", "", nil, ""
	b.Done = &done{Words: s.Words, Case: ref, Seqs: seqs(rs)}
	return s, nil
}

type closingBody struct {
	State *closingState
	Cases []string
	Wants []events.ScanKind
}

func (w closing) body(v *visit, b *bench) (any, error) {
	st, err := w.state(v, b)
	if err != nil {
		return nil, err
	}
	cases, err := v.d.site.OpenCases(v, v.station, v.now.Add(-dayAndHalf))
	return closingBody{st, cases, w.wants(v, b)}, err
}

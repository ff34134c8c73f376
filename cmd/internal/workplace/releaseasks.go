package workplace

import (
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/run"
)

// What the policy asks for when a load is released: one question after the other, and none where the policy has no line of it.

// releaseAsked is what was asked and answered of that.
type releaseAsked struct {
	Judge      bool   `json:"judge,omitempty"`      // whether the run's printed values meet its cycle is asked
	Parameters string `json:"parameters,omitempty"` // and was answered
	Look       bool   `json:"look,omitempty"`       // a second person's badge is asked for
	Second     string `json:"second,omitempty"`     // and was scanned
}

// askedAtRelease finds out what is still to be asked of a release.
func (v *visit) askedAtRelease(b *sterilizer, l *load, e *endingEntered) error {
	e.Judge, e.Look = false, false
	if !e.Released || e.Test != "" { // which is asked first
		return nil
	}
	p, err := v.policy()
	if err != nil {
		return err
	}
	if p.AsksAtRelease(events.AskParameters) && e.Parameters == "" {
		logged, fails, err := v.runLogged(l)
		if err != nil {
			return err
		}
		e.Judge = !logged || fails
	}
	e.Look = p.AsksAtRelease(events.AskSecondLook) && (e.Second == "" || e.Second == b.Operator)
	return nil
}

// runLogged reports whether a log of the load's run is recorded, and whether the run doesn't hold its cycle by it.
func (v *visit) runLogged(l *load) (logged, fails bool, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.RunLogs(l.Load) {
			if d := facts.LogOf(it); d.Sterilizer == l.Sterilizer {
				logged, fails = true, run.Fails(&d.Cycle, &d.Figures)
			}
		}
		return w.Failed()
	})
	return logged, fails, err
}

// askParameters asks whether the printed values meet the cycle. What the log contradicts is said first.
func (v *visit) askParameters(l *load) (said, error) {
	_, fails, err := v.runLogged(l)
	s := ask(v.t("release-parameters", l.Load, l.Cycle), v.t("release-parameters-more"))
	if fails {
		s = wrong(v.t("release-log-fails", l.Load), v.t("release-parameters-more"))
	}
	return s.offer(choice{Do: "parameters", Value: l.Load, Words: v.t("do-parameters")},
		choice{Do: "parameters-not", Value: l.Load, Words: v.t("do-parameters-not")},
		choice{Do: "forget", Words: v.t("forget-entered")}), err
}

// sayParameters answers that the printed values meet the cycle.
func (b *sterilizer) sayParameters(v *visit, f fields) (said, error) {
	if b.Ending == nil || !b.Ending.Judge || f["value"] != b.Load {
		return said{}, nil
	}
	b.Ending.Parameters = events.ParametersMet
	return b.recordEnding(v)
}

// sayParametersNot answers that they don't: then the load failed.
func (b *sterilizer) sayParametersNot(v *visit, f fields) (said, error) {
	if b.Ending == nil || !b.Ending.Judge || f["value"] != b.Load {
		return said{}, nil
	}
	b.Ending = nil
	return b.result(v, fields{"result": "failed", "released": "no"})
}

// looks takes a badge for that of the second person, where that one is asked for and nothing else.
func (b *sterilizer) looks(v *visit, badge string) (s said, taken bool, err error) {
	e := b.Ending
	if e == nil || !e.Look || b.Operator == "" || e.Early || e.Since || e.Other || e.Test != "" || e.Judge || v.elsewhere {
		return said{}, false, nil
	}
	if badge == b.Operator {
		return said{}, true, v.sayNo("release-second-same", badge)
	}
	e.Second = badge
	s, err = b.recordEnding(v)
	return s, true, err
}

// asksIndicatorOf reports whether a load waits for its indicator: all do by the policy, or it has implants.
func (v *visit) asksIndicatorOf(l *load) (bool, error) {
	p, err := v.policy()
	if err != nil || p.AsksAtRelease(events.AskIndicator) {
		return err == nil, err
	}
	if !p.AsksImplantIndicator() {
		return false, nil
	}
	return v.implants(l)
}

// whyWaits is why a load waits for its indicator.
func (v *visit) whyWaits(l *load) string {
	if p, err := v.policy(); err == nil && p.AsksAtRelease(events.AskIndicator) {
		return v.t("indicator-waits", l.Load)
	}
	return v.t("implants-wait", l.Load)
}

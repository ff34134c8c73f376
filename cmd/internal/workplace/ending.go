package workplace

import (
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
)

// endingEntered is how a load ended, not recorded yet.
type endingEntered struct {
	Result    string `json:"result"`
	Released  bool   `json:"released,omitempty"`
	Emergency string `json:"emergency,omitempty"`
}

// result takes how a load ended.
func (b *sterilizer) result(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	switch e := f["result"]; {
	case b.Reading != nil && b.Reading.Result != "", b.Ending != nil && b.Ending.Result != e:
		return v.answerFirst(), nil
	case l == nil || len(l.Sets) == 0:
		return said{}, v.sayNo("nothing-loaded")
	case e != "passed" && e != "failed":
		return said{}, v.sayNo("no-such-button", e)
	}
	e := &endingEntered{Result: f["result"], Released: f["released"] == "yes" && f["result"] == "passed"}
	if e.Released {
		why, err := v.reason(f["emergency"])
		if err != nil {
			return said{}, err
		}
		e.Emergency = why
	}
	if err := b.sterilized(l, e).Check(); err != nil {
		return said{}, refusal.Because(err)
	}
	b.Ending = e
	return b.recordEnding(v)
}

// sterilized is what is recorded of each set of a load that ended.
func (b *sterilizer) sterilized(l *load, e *endingEntered) *events.SetSterilized {
	d := &events.SetSterilized{Load: l.Load, Sterilizer: l.Sterilizer, Run: l.Run, Cycle: l.Cycle,
		Result: e.Result, Released: e.Released, Emergency: e.Emergency, Loader: l.Loader, Immediate: l.Immediate, For: l.For}
	if !l.StartedAt.IsZero() {
		d.Started = l.StartedAt.Format(time.RFC3339)
	}
	return d
}

// ended tells how a load ended that waits for a badge.
func (v *visit) ended(e *endingEntered, id string) said {
	switch {
	case e.Result == "failed":
		return wrong(v.t("ended-failed", id), "")
	case !e.Released:
		return ask(v.t("ended-held", id), "")
	}
	return ask(v.t("ended-released", id), "")
}

// recordEnding records how a load ended, for each set in it, once the badge is said.
func (b *sterilizer) recordEnding(v *visit) (said, error) {
	l, e := b.find(b.Load), b.Ending
	switch {
	case l == nil || len(l.Sets) == 0: // given up meanwhile
		b.Ending = nil
		return said{}, v.sayNo("nothing-loaded")
	case b.Operator == "":
		return said{}, nil // it is asked for
	}
	before, err := v.runRecorded(l.Load)
	switch {
	case err != nil:
		return said{}, err
	case before != nil && !l.Recorded && before.Station != v.station: // since it was begun here
		b.Ending = nil
		return ask(v.t("load-recorded", l.Load, v.time(before.Time)), v.t("load-recorded-more")).offer(
			choice{Do: "ending-too", Value: l.Load, Words: v.t("do-ending-too")}), nil
	}
	known, err := v.failedOf(l.Sets)
	if err != nil {
		return said{}, err
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	var obs []*events.Observation
	for _, set := range l.Sets {
		obs = append(obs, &events.Observation{Station: v.station, Kind: events.KindSetSterilized, Time: at,
			Set: set, Operator: b.Operator, Data: b.sterilized(l, e)})
	}
	rs, err := v.observe(obs...)
	if err != nil {
		return said{}, err
	}
	stops, err := v.againstLoaded(l.Sets)
	if err != nil {
		return said{}, err
	}
	l.Recorded = true
	s, says := v.endedWell(l, e, append(known, stops...))
	label := link{Address: v.d.opts.Prefix + "/print/load-label.pdf?load=" + l.Load, Says: v.phrased("print-load-label")}
	if e.Released || e.Result == "failed" {
		b.drop()
	}
	b.At, b.Ending = time.Time{}, nil
	b.Done = &done{Says: []phrase{says}, Seqs: seqs(rs), IDs: ids(rs), Links: []link{label}}
	return s, nil
}

// endedWell says what was recorded of a load. A run puts right nothing that is known
// against a set in it.
func (v *visit) endedWell(l *load, e *endingEntered, known []string) (s said, says phrase) {
	switch {
	case e.Result == "failed":
		says = v.phrased("load-failed", l.Load, len(l.Sets))
		s = wrong(v.say(says), v.t("load-failed-sets", strings.Join(l.Sets, ", ")))
		s.Next = v.t("load-failed-next")
		return s, says
	case !e.Released:
		says = v.phrased("load-held", l.Load, len(l.Sets))
		s = ask(v.say(says), v.t("load-held-next"))
	default:
		says = v.phrased("load-released", l.Load, len(l.Sets))
		s = good(v.say(says), "")
	}
	if len(known) > 0 {
		s = wrong(s.Words, strings.Join(known, " "))
		s.Next = v.t("load-doubtful-next")
	}
	return s, says
}

// failedOf names the sets that were in a load that failed and were not packed again since.
func (v *visit) failedOf(sets []string) (out []string, err error) {
	for _, set := range sets {
		failed, err := v.failedIn(set)
		if err != nil {
			return nil, err
		}
		if failed != "" {
			out = append(out, v.t("failed-before", set, failed)+".")
		}
	}
	return out, nil
}

// againstLoaded tells what stops sets of a load.
func (v *visit) againstLoaded(sets []string) (out []string, err error) {
	for _, set := range sets {
		st, err := v.standing(set)
		if err != nil {
			return nil, err
		}
		if st == nil {
			continue
		}
		found, err := v.foundSince(st.Key)
		if err != nil {
			return nil, err
		}
		if found != "" {
			out = append(out, found+".")
		}
	}
	return out, nil
}

// endingToo answers that another station has recorded the load, and it is this one all
// the same. How it ended is said again.
func (b *sterilizer) endingToo(_ *visit, f fields) (said, error) {
	if l := b.find(f["value"]); l != nil {
		l.Recorded = true
	}
	return said{}, nil
}

package workplace

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// endingEntered is how a load ended, not recorded yet.
type endingEntered struct {
	Result    string `json:"result"`
	Released  bool   `json:"released,omitempty"`
	Emergency string `json:"emergency,omitempty"`
	Waits     bool   `json:"waits,omitempty"`  // released though the result of its indicator is waited for
	Early     bool   `json:"early,omitempty"`  // so soon after its start that it is asked about
	Other     bool   `json:"other,omitempty"`  // sets of the run are recorded otherwise, and that is asked about
	All       bool   `json:"all,omitempty"`    // and it ended so for them too, as a person said
	Since     bool   `json:"since,omitempty"`  // something has come up against its sets since they were put in, and that is asked about
	Anyway    string `json:"anyway,omitempty"` // that, where it is released all the same, as a person said

	releaseAsked
	dayAsked
}

// result takes how a load ended.
func (b *sterilizer) result(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	released := f["released"] == "yes" && f["result"] == "passed"
	switch e := f["result"]; {
	case len(b.Tests) > 0, b.Reading != nil && b.Reading.Result != "",
		b.Ending != nil && (b.Ending.Result != e || b.Ending.Released != released):
		return v.answerFirst(), nil
	case l == nil || len(l.Sets) == 0 && !l.Forgot:
		return said{}, v.sayNo("nothing-loaded")
	case e != "passed" && e != "failed":
		return said{}, v.sayNo("no-such-button", e)
	case f["load"] != "" && f["load"] != l.Load: // what was typed into the form was typed for that one
		return said{}, v.sayNo("of-other-load", f["load"], l.Load)
	}
	e := &endingEntered{Result: f["result"], Released: released}
	if e.Released {
		why, err := v.reason(f["emergency"])
		if err != nil {
			return said{}, err
		}
		e.Emergency = why
	}
	if e.Result == "passed" && !e.Released && len(l.Sets) > 0 && !slices.ContainsFunc(l.Sets, l.notHeld) {
		return ask(v.t("held-already", l.Load), v.t("load-held-next")), nil
	}
	ran := v.now.Sub(l.StartedAt)
	e.Early = e.Result == "passed" && l.Started && !l.Forgot && ran >= 0 && ran < events.ShortestCycle
	if err := b.sterilized(l, e).Check(); err != nil {
		return said{}, refusal.Because(err)
	}
	b.Ending = e
	return b.recordEnding(v)
}

// askPositive stands before the release of a load whose indicator was read positive: its sets are recalled.
func (v *visit) askPositive(l *load, at time.Time) said {
	stays := choice{Do: "held", Words: v.t("passed-held"), Main: true}
	if !slices.ContainsFunc(l.Sets, l.notHeld) {
		stays = choice{Do: "choose", Value: l.Load, Words: v.t("stays-held"), Main: true}
	}
	return wrong(v.t("release-positive", l.Load, v.time(at)), v.t("release-positive-more")).offer(stays)
}

// notHeld reports whether it is still to be recorded of a set that it passed and is quarantined.
func (l *load) notHeld(set string) bool { return !slices.Contains(l.Held, set) }

// held records that a load passed and is quarantined.
func (b *sterilizer) held(v *visit, _ fields) (said, error) {
	if b.Ending != nil && b.Ending.Since {
		b.Ending = nil // that is what was asked
	}
	return b.result(v, fields{"result": "passed", "released": "no"})
}

// sayEnded answers that a cycle has ended so soon after its start.
func (b *sterilizer) sayEnded(v *visit, _ fields) (said, error) {
	if b.Ending == nil || !b.Ending.Early {
		return said{}, nil
	}
	b.Ending.Early = false
	return b.recordEnding(v)
}

// endedAll answers that a run ended so for its other sets too, which are recorded otherwise.
func (b *sterilizer) endedAll(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if b.Ending == nil || !b.Ending.Other || l == nil {
		return said{}, nil
	}
	others, err := v.otherwise(l, b.Ending)
	if err != nil || names(others) != f["value"] {
		return said{}, err // others were recorded since it was asked
	}
	b.Ending.Other, b.Ending.All = false, true
	return b.recordEnding(v)
}

// releaseAnyway answers that a load is released whatever has come up against its sets. What came up after that was shown is
// asked about again.
func (b *sterilizer) releaseAnyway(v *visit, f fields) (said, error) {
	if b.Ending == nil || !b.Ending.Since {
		return said{}, nil
	}
	b.Ending.Anyway = f["value"]
	return b.recordEnding(v)
}

// otherwise are the turns of a run's other sets of which it is recorded that it ended otherwise. Where that
// is that it failed, nothing else is recorded of it before that is taken back.
func (v *visit) otherwise(l *load, e *endingEntered) (out []projections.TripKey, err error) {
	failed := false
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		trips, _ := w.LoadOf(l.Load)
		for _, k := range trips {
			last := endedIn(w.Trip(k), l.Load)
			if last != nil && !slices.Contains(l.Sets, k.Set) && (last.Result != e.Result || last.Released != e.Released) {
				out = append(out, k)
				failed = failed || last.Result == "failed"
			}
		}
		return w.Failed()
	})
	if err == nil && failed {
		err = v.sayNo("load-failed-before", l.Load)
	}
	return out, err
}

// endedIn is how a load ended for a turn of a set, as it is recorded last, nil where nothing is.
func endedIn(c *facts.Trip, load string) (last *events.SetSterilized) {
	for _, it := range c.Sterilized {
		if run := facts.RunOf(it); run.Load == load {
			last = run
		}
	}
	return last
}

// hasFailed reports whether it is recorded of a load that it failed.
func (v *visit) hasFailed(load string) (bool, error) {
	return site.Answer(v.d.site, func(m *site.View) (bool, error) {
		w := m.World(v)
		trips, _ := w.LoadOf(load)
		failed := slices.ContainsFunc(trips, func(k projections.TripKey) bool {
			last := endedIn(w.Trip(k), load)
			return last != nil && last.Result == "failed"
		})
		return failed, w.Failed()
	})
}

// inUse says which sets of a load were opened, and for which cases: those rooms are told.
func (v *visit) inUse(sets []string) (out []phrase, err error) {
	for _, set := range sets {
		st, err := v.standing(set)
		if err != nil {
			return nil, err
		}
		if st == nil || st.OpenedAt.IsZero() {
			continue
		}
		open, err := v.openCase(st.Key)
		if err != nil {
			return nil, err
		}
		if open != "" {
			out = append(out, v.phrased("load-set-open", set, open))
		} else {
			out = append(out, v.phrased("load-set-used", set, st.OpenedFor))
		}
	}
	return out, nil
}

// implantsHeld reports whether a set with implants is recorded of a load that passed and is quarantined: who
// releases the load releases that one too, wherever it was put in.
func (v *visit) implantsHeld(load string) (bool, error) {
	return site.Answer(v.d.site, func(m *site.View) (bool, error) {
		w := m.World(v)
		trips, _ := w.LoadOf(load)
		held := slices.ContainsFunc(trips, func(k projections.TripKey) bool {
			c := w.Trip(k)
			last := endedIn(c, load)
			return last != nil && last.Result == "passed" && !last.Released && c.List != nil && c.List.Implants
		})
		return held, w.Failed()
	})
}

// names are the sets of turns, as they are read out.
func names(of []projections.TripKey) string {
	var out []string
	for _, k := range of {
		out = append(out, k.Set)
	}
	return strings.Join(out, ", ")
}

// askEnding asks what is missing of how a load ended: whether that is meant, or the badge that
// records it.
func (b *sterilizer) askEnding(v *visit) (said, error) {
	e, l := b.Ending, b.find(b.Load)
	forget := choice{Do: "forget", Words: v.t("forget-entered")}
	switch {
	case e.Early && l != nil:
		forget.Words = v.t("ended-not")
		forget.Main = true
		return ask(v.t("ended-early", l.Load, v.time(l.StartedAt)), v.t("ended-early-more")).offer(
			forget, choice{Do: "ended", Words: v.t("do-ended")}), nil
	case e.Since && l != nil:
		return v.askSince(l, e)
	case e.Test != "" && l != nil && !e.Other:
		return v.askTest(l, e), nil
	case e.Judge && l != nil && !e.Other:
		return v.askParameters(l)
	case e.Other && l != nil:
		others, err := v.otherwise(l, e)
		if err != nil {
			return said{}, err
		}
		all := choice{Do: "ended-all", Value: names(others), Words: v.t("do-ended-all", len(others)+len(l.Sets))}
		s := ask(v.t("ended-other", l.Load), v.t("ended-other-sets", names(others)))
		if e.Result == "failed" {
			s = wrong(v.t("failed-after-all", l.Load), v.t("load-failed-sets", names(others)))
		}
		return s.offer(all, forget), nil
	}
	if e.Look && b.Operator != "" {
		return ask(v.t("release-second", b.Load), v.t("release-second-more", b.Operator)).offer(forget), nil
	}
	return b.toRecord(v, v.ended(e, b.Load)), nil
}

// askSince asks whether a load is released though something has come up against its sets since they were put in.
func (v *visit) askSince(l *load, e *endingEntered) (said, error) {
	come, err := v.comeUp(l, e)
	s := doubt(v.t("release-changed", l.Load), wordsOf(come))
	if slices.ContainsFunc(come, isStop) {
		s = wrong(s.Words, s.More)
	}
	answers := []choice{{Do: "release", Value: keysOf(come), Words: v.t("do-release-anyway")}, {Do: "forget", Words: v.t("forget-entered")}}
	if slices.ContainsFunc(l.Sets, l.notHeld) {
		answers = slices.Insert(answers, 0, choice{Do: "held", Words: v.t("passed-held"), Main: true})
	}
	return s.offer(answers...), err
}

// sterilized is what is recorded of each set of a load that ended.
func (b *sterilizer) sterilized(l *load, e *endingEntered) *events.SetSterilized {
	return &events.SetSterilized{Load: l.Load, Sterilizer: l.Sterilizer, Run: l.Run, Cycle: l.Cycle,
		Result: e.Result, Released: e.Released, Emergency: e.Emergency, Loader: l.Loader, Immediate: l.Immediate, For: l.For,
		Started: l.started(), Parameters: e.Parameters, SecondLook: e.Second, Day: e.Day}
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

// mayRelease finds out whether a load may be released at all. It is looked at each time: sets with implants may have
// been recorded of it since it was asked, its indicator, or a test of its day.
func (b *sterilizer) mayRelease(v *visit, l *load) (s said, stops bool, err error) {
	e := b.Ending
	if !e.Released {
		return said{}, false, nil
	}
	switch positive, err := v.positiveOf(l.Load); {
	case err != nil:
		return said{}, false, err
	case !positive.IsZero() && e.Emergency == "":
		b.Ending = nil
		return v.askPositive(l, positive), true, nil
	}
	p, err := v.policy()
	if err != nil {
		return said{}, false, err
	}
	if failed, err := v.askedOfDay(l, e, p); err != nil || failed != "" {
		b.Ending = nil
		return v.testStops(l, e.Day, failed), true, err
	}
	waits, err := v.waitsForIndicator(l)
	if e.Waits = waits; err == nil && waits && e.Emergency == "" {
		b.Ending = nil
		return ask(v.whyWaits(l), v.t("implants-wait-more")).
			offer(choice{Do: "held", Words: v.t("passed-held"), Main: true}), true, nil
	}
	return said{}, false, err
}

// recordEnding records how a load ended, for each set in it, once nothing is asked any more.
func (b *sterilizer) recordEnding(v *visit) (said, error) {
	l, e := b.find(b.Load), b.Ending
	if l == nil { // given up meanwhile
		b.Ending = nil
		return said{}, v.sayNo("nothing-loaded")
	}
	if s, stops, err := b.mayRelease(v, l); err != nil || stops {
		return s, err
	}
	others, err := v.otherwise(l, e)
	if err != nil {
		if refusal.Is(err) {
			b.Ending = nil
		}
		return said{}, err
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
	if len(l.Sets) == 0 && len(others) == 0 {
		b.Ending = nil
		return said{}, v.sayNo("nothing-loaded")
	}
	if e.Since = false; e.Released {
		come, err := v.comeUp(l, e)
		if err != nil {
			return said{}, err
		}
		e.Since = len(come) > 0 && keysOf(come) != e.Anyway
	}
	e.Other = len(others) > 0 && !e.All
	if err := v.askedAtRelease(b, l, e); err != nil {
		return said{}, err
	}
	if e.Early || e.Since || e.Other || e.Test != "" || e.Judge || e.Look || b.Operator == "" {
		return said{}, nil // it is asked for
	}
	return b.recordRun(v, l, e, others)
}

// recordRun records how a load ended for its sets, and for those of which it was recorded otherwise.
func (b *sterilizer) recordRun(v *visit, l *load, e *endingEntered, others []projections.TripKey) (said, error) {
	of := others
	for _, set := range l.Sets {
		if e.Result == "failed" || e.Released || l.notHeld(set) {
			k, err := v.turnIn(l, set)
			if err != nil {
				return said{}, err
			}
			of = append(of, k)
		}
	}
	failed, err := v.failedOf(l.Sets)
	if err != nil {
		return said{}, err
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	var obs []*events.Observation
	var tests []phrase // recorded with it, so taken back with it
	for i := range e.Tested {
		_, says := v.tested(&e.Tested[i])
		obs, tests = append(obs, v.testOf(b, &e.Tested[i], at)), append(tests, says)
	}
	for _, k := range of {
		obs = append(obs, &events.Observation{Station: v.station, Kind: events.KindSetSterilized, Time: at,
			Set: k.Set, Trip: k.Trip, Operator: b.Operator, Data: b.sterilized(l, e)})
	}
	rs, err := v.observe(obs...)
	if err != nil {
		return said{}, err
	}
	known, err := v.againstLoaded(l)
	if err != nil {
		return said{}, err
	}
	s, says := v.endedWell(l, e, of, append(failed, known...))
	if e.Result == "failed" {
		if s, says, err = v.failedFor(l, of, s, says); err != nil {
			return said{}, err
		}
	}
	label := link{Address: v.d.opts.Prefix + "/print/load-label.pdf?load=" + url.QueryEscape(l.Load), Says: v.phrased("print-load-label")}
	was := l.clone()
	l.Recorded = true
	switch {
	case e.Released || e.Result == "failed":
		b.drop()
	default:
		l.Held, l.Started = slices.Clone(l.Sets), true // it ran, whether somebody pressed “Start” or not
	}
	b.At, b.Ending = time.Time{}, nil
	b.Done = &done{Says: append(says, tests...), Seqs: seqs(rs), IDs: ids(rs), Links: []link{label}, Load: was,
		Stop: e.Result == "failed", Released: e.Released}
	return s, nil
}

// failedFor says besides, of a load that failed, in which rooms sets of it are open, first of all, and what lies in it at another
// station.
func (v *visit) failedFor(l *load, of []projections.TripKey, s said, says []phrase) (said, []phrase, error) {
	var sets []string
	for _, k := range of {
		sets = append(sets, k.Set)
	}
	used, err := v.inUse(sets)
	if err != nil {
		return s, says, err
	}
	s.Words, says = joined(v.say(used...), s.Words), append(used, says...)
	there, err := v.loadThere(l.Load)
	if there != nil && len(there.Sets) > 0 {
		also := v.phrased("load-failed-there", there.station, strings.Join(there.Sets, ", "))
		says, s.More = append(says, also), s.More+" "+v.say(also)
	}
	return s, says, err
}

// turnIn is a set of a load, with the turn that it was put in with where it was packed anew since.
// Else judgement finds the turn: a packing made before may come in later, from a bench that was cut off.
func (v *visit) turnIn(l *load, set string) (projections.TripKey, error) {
	st, err := v.standing(set)
	if err != nil || st == nil || st.Key.Trip == l.Trips[set] {
		return projections.TripKey{Set: set}, err
	}
	return projections.TripKey{Set: set, Trip: l.Trips[set]}, nil
}

// tookBack lays the load here again whose result was taken back: it ran all the same, and its result
// is still to be recorded.
func (b *sterilizer) tookBack(d *done) {
	if d.Load == nil {
		return
	}
	if l := b.find(d.Load.Load); l != nil {
		*l = *d.Load
	} else {
		b.Loads = append(b.Loads, *d.Load)
	}
	b.Load = d.Load.Load
}

// endedWell says what was recorded of a load, for which turns of sets. A run puts right nothing that is
// known against a set in it.
func (v *visit) endedWell(l *load, e *endingEntered, of []projections.TripKey, known []against) (s said, says []phrase) {
	switch {
	case e.Result == "failed":
		says = []phrase{v.phrased("load-failed", l.Load, len(of)), v.phrased("load-failed-sets", names(of))}
		s = wrong(v.say(says[0]), v.say(says[1]))
		s.Next = v.t("load-failed-next")
		return s, says
	case !e.Released:
		says = []phrase{v.phrased("load-held", l.Load, len(of))}
		s = ask(v.say(says...), v.t("load-held-next"))
	case e.Waits:
		says = []phrase{v.phrased("load-released-early", l.Load, len(of)), v.phrased("load-released-early-why", e.Emergency)}
		s = doubt(v.say(says[0]), v.say(says[1]))
		s.Next = v.t("load-released-early-next")
	default:
		says = []phrase{v.phrased("load-released", l.Load, len(of))}
		s = good(v.say(says...), "")
	}
	switch more := wordsOf(known); {
	case slices.ContainsFunc(known, isStop):
		s = wrong(s.Words, more)
		s.Next = v.t("load-doubtful-next")
	case more != "":
		next := s.Next
		s = doubt(s.Words, strings.TrimSpace(s.More+" "+more))
		s.Next = next
	}
	return s, says
}

// failedOf are the sets that were in a load that failed and were not packed again since.
func (v *visit) failedOf(sets []string) (out []against, err error) {
	for _, set := range sets {
		failed, err := v.failedIn(set)
		if err != nil {
			return nil, err
		}
		if failed != "" {
			out = append(out, against{set: set, key: "failed " + failed, words: v.t("failed-before", set, failed) + ".", stops: true})
		}
	}
	return out, nil
}

// againstLoaded is what is known against the sets of a load.
func (v *visit) againstLoaded(l *load) (out []against, err error) {
	for _, set := range l.Sets {
		st, err := v.standing(set)
		if err != nil {
			return nil, err
		}
		all, err := v.againstSet(l, set, st)
		if err != nil {
			return nil, err
		}
		out = append(out, all...)
	}
	return out, nil
}

// againstSet is what is known against a set of a load, the worst first.
func (v *visit) againstSet(l *load, set string, st *standing) (out []against, err error) {
	if since := v.notAsLoaded(l, set, st); since != "" || st == nil {
		key := "never packed"
		if st != nil {
			key = fmt.Sprint(st.Key.Trip, " ", st.Closed)
		}
		return []against{{set: set, key: key, words: firstOf(since, v.t("never-packed", set)), stops: true}}, nil
	}
	verdict, err := v.verdictOf(st.Key)
	if err != nil {
		return nil, err
	}
	if verdict != nil {
		for _, f := range heaviest(verdict, projections.CountMissing) {
			found := v.found(set, f)
			out = append(out, against{set: set, key: wayOf(f), words: found.Words + ".", stops: found.Status == "broken"})
		}
	}
	if slices.ContainsFunc(out, isStop) {
		return out, nil
	}
	not, err := v.notReady(l, set)
	if err != nil || not == nil {
		return out, err
	}
	return []against{*not}, nil
}

// keepKnown keeps what is known against a set when it is put into a load.
func (v *visit) keepKnown(l *load, set string, st *standing) error {
	all, err := v.againstSet(l, set, st)
	if err != nil {
		return err
	}
	if l.Known == nil {
		l.Known = make(map[string][]string)
	}
	l.Known[set] = nil
	for _, x := range all {
		l.Known[set] = append(l.Known[set], x.key)
	}
	return nil
}

// comeUp is what has come up against the sets of a load since they were put into it: of what was known then its page told.
// Where a reason was given, a positive indicator was known.
func (v *visit) comeUp(l *load, e *endingEntered) (out []against, err error) {
	all, err := v.againstLoaded(l)
	return slices.DeleteFunc(all, func(x against) bool {
		recalled := strings.HasPrefix(x.key, string(projections.LoadRecalled)+"/")
		return recalled && e != nil && e.Emergency != "" || slices.Contains(l.Known[x.set], x.key)
	}), err
}

// keysOf tell what is known against sets apart from what comes up later.
func keysOf(all []against) string {
	var out []string
	for _, x := range all {
		out = append(out, x.set+" "+x.key)
	}
	return strings.Join(out, ", ")
}

// isStop reports whether something stops a set.
func isStop(x against) bool { return x.stops }

// wordsOf say what is known against sets: what stops one is said once, by the worst of it.
func wordsOf(all []against) string {
	var out []string
	stopped := ""
	for _, x := range all {
		if x.set != stopped && !slices.Contains(out, x.words) {
			out = append(out, x.words)
		}
		if x.stops {
			stopped = x.set
		}
	}
	return strings.Join(out, " ")
}

// notAsLoaded says what became of a set since it was put into a load, "" for nothing: then what lies in
// the chamber is not what is recorded of it now. What is run for immediate use was mostly opened before.
func (v *visit) notAsLoaded(l *load, set string, st *standing) string {
	switch {
	case st != nil && l.Trips[set] != "" && l.Trips[set] != st.Key.Trip:
		return v.t("loaded-packed-since", set, v.time(st.PackedAt))
	case st != nil && st.Opened && l.Immediate == "":
		return v.t("loaded-open", set)
	case st != nil && l.Shut[set] < st.Closed && l.Shut != nil:
		return v.t("loaded-closed-since", set)
	}
	return ""
}

// waitsForIndicator reports whether a load is released only once its indicator is read negative: it has
// a set with implants.
func (v *visit) waitsForIndicator(l *load) (bool, error) {
	if asked, err := v.asksIndicatorOf(l); err != nil || !asked {
		return false, err
	}
	read, err := v.readings(l.Load)
	negative := slices.ContainsFunc(read, func(r shownBy) bool {
		return r.Sterilizer == l.Sterilizer && r.Result == "negative" && !r.Unproved() &&
			!r.TooSoon(r.at, facts.Latest(l.StartedAt, r.StartedAt()))
	})
	return err == nil && !negative, err
}

// endingToo answers that another station has recorded the load, and it is this one all
// the same. How it ended is said again.
func (b *sterilizer) endingToo(_ *visit, f fields) (said, error) {
	if l := b.find(f["value"]); l != nil {
		l.Recorded = true
	}
	return said{}, nil
}

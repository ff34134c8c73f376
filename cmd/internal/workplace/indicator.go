package workplace

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
)

// readingEntered is what a biological indicator showed, not recorded yet.
type readingEntered struct {
	events.IndicatorRead
	Short bool `json:"short,omitempty"` // a person said that it was incubated for so short a time
	// Early is how soon after the start of the load's cycle the result was said, where that is asked about, and Known
	// that a person answered that it is of that load.
	Early bool `json:"early,omitempty"`
	Known bool `json:"known,omitempty"`
}

// shortestIncubated is how many minutes an indicator is incubated at least without a
// question: those that are read fastest take some 20 (from memory), so less is mostly
// a number in the wrong unit.
const shortestIncubated = 10

// askIndicator asks what the biological indicator of a load showed.
func (v *visit) askIndicator(id string) said {
	return ask(v.t("indicator-of", id), "").offer(
		choice{Do: "indicator", Value: "negative", Words: v.t("negative")},
		choice{Do: "indicator", Value: "positive", Words: v.t("positive")},
	)
}

// indicator takes what the biological indicator of a load showed. A button says the
// result alone: what the form said before stays.
func (b *sterilizer) indicator(v *visit, f fields) (said, error) {
	id := strings.TrimSpace(firstOf(f["load"], b.Indicated))
	switch {
	case b.Ending != nil, len(b.Tests) > 0, b.waits() && (b.Reading.Load != id || !b.Reading.agrees(f)):
		return v.answerFirst(), nil
	case id == "":
		return said{}, v.sayNo("indicator-load")
	}
	if _, _, unknown := v.sterilizerOf(id); unknown != nil && b.find(id) == nil {
		var err error
		if id, err = v.nowNamed(b, id); err != nil {
			return said{}, err
		}
	}
	r := &readingEntered{IndicatorRead: events.IndicatorRead{Load: id}}
	if b.Reading != nil && b.Reading.Load == id {
		*r = *b.Reading
	}
	if err := r.take(v, f); err != nil {
		return said{}, err
	}
	if l := b.find(id); l != nil {
		if !l.Started {
			return said{}, v.sayNo("indicator-not-run", id)
		}
		r.Sterilizer, r.Started = l.Sterilizer, l.started()
	} else {
		var err error
		if r.Sterilizer, r.Started, err = v.sterilizerOf(id); err != nil {
			return said{}, err
		}
	}
	r.askEarly(v.now)
	if r.Result != "" {
		if err := r.Check(); err != nil {
			return said{}, refusal.Because(err)
		}
	}
	if b.Reading, b.Indicated = r, id; !r.says() {
		b.Reading = nil // which load is meant is all that was said
		return said{}, nil
	}
	return b.recordIndicator(v)
}

// says reports whether anything was said of the indicator. A form that was handed in empty says nothing that could be
// left lying, or taken back.
func (r *readingEntered) says() bool {
	return r.Result != "" || r.Lot != "" || r.Control != "" || r.IncubatedMinutes > 0
}

// agrees reports whether a form or button says no other result than was said. Another one
// is said once this one was taken back: it may have come from another screen.
func (r *readingEntered) agrees(f fields) bool {
	result := firstOf(f["result"], f["value"])
	return r.Result == "" || result == "" || result == r.Result
}

// take takes the fields of the form, or the button's value.
func (r *readingEntered) take(v *visit, f fields) error {
	if result := firstOf(f["result"], f["value"]); result != "" {
		r.Result = result
	}
	if lot, ok := f["lot"]; ok {
		var err error
		if r.Lot, err = v.lotNumber(lot); err != nil {
			return err
		}
	}
	if control, ok := f["control"]; ok {
		r.Control = control
	}
	minutes, ok := f["incubated"]
	if !ok {
		return nil
	}
	was := r.IncubatedMinutes
	r.IncubatedMinutes = 0
	if minutes = strings.TrimSpace(minutes); minutes != "" {
		n, err := strconv.ParseInt(minutes, 10, 64)
		if err != nil || n < 0 || n > events.MaxIncubatedMinutes {
			return v.sayNo("indicator-minutes", minutes)
		}
		r.IncubatedMinutes = n
	}
	r.Short, r.Known = r.Short && r.IncubatedMinutes == was, r.Known && r.IncubatedMinutes == was
	return nil
}

// askEarly notes whether a result was said so soon after the start of its cycle that the indicator can't have been
// incubated since: then it is mostly another load's, of which the one that runs stands on the page.
func (r *readingEntered) askEarly(now time.Time) {
	least := events.ShortestCycle + time.Duration(max(r.IncubatedMinutes, shortestIncubated))*time.Minute
	started := r.StartedAt()
	r.Early = r.Result != "" && !r.Known && !started.IsZero() && now.Before(started.Add(least))
}

// sayKnown answers that the indicator is that load's.
func (b *sterilizer) sayKnown(v *visit, f fields) (said, error) {
	if b.Reading == nil || !b.Reading.Early || f["value"] != b.Reading.Load {
		return said{}, nil
	}
	b.Reading.Early, b.Reading.Known = false, true
	return b.recordIndicator(v)
}

// asksShort reports whether the time of incubation is still to be confirmed.
func (r *readingEntered) asksShort() bool {
	return r.IncubatedMinutes > 0 && r.IncubatedMinutes < shortestIncubated && !r.Short
}

// askReading asks what is missing of an indicator's reading: its result, whether the
// time is right, or the badge that records it. A positive one is in sight until then.
func (b *sterilizer) askReading(v *visit) said {
	r := b.Reading
	switch {
	case r.Result == "":
		return v.askIndicator(r.Load)
	case r.Early:
		s := ask(v.t("indicator-early", r.Load, v.time(r.StartedAt())), v.t("indicator-early-more"))
		if r.Result == "positive" {
			s = wrong(s.Words, s.More)
		}
		return s.offer(choice{Do: "forget", Words: v.t("indicator-other-load"), Main: true},
			choice{Do: "known", Value: r.Load, Words: v.t("do-indicator-known", r.Load)})
	case r.asksShort():
		return ask(v.t("incubated-short", r.Load, r.IncubatedMinutes), v.t("incubated-short-more")).offer(
			choice{Do: "short", Words: v.t("do-incubated-short", r.IncubatedMinutes)},
			choice{Do: "forget", Words: v.t("forget-entered")})
	case r.Result == "positive":
		return b.toRecord(v, wrong(v.t("indicator-positive", r.Load), ""))
	}
	return b.toRecord(v, ask(v.t("indicator-negative", r.Load), ""))
}

// sayShort answers that the indicator was incubated for so short a time.
func (b *sterilizer) sayShort(v *visit, _ fields) (said, error) {
	if b.Reading == nil || !b.Reading.asksShort() {
		return said{}, nil
	}
	b.Reading.Short = true
	return b.recordIndicator(v)
}

// recordIndicator records what the biological indicator of a load showed, once
// nothing is asked any more.
func (b *sterilizer) recordIndicator(v *visit) (said, error) {
	r := b.Reading
	if r.Result == "" || r.Early || r.asksShort() || b.Operator == "" {
		return said{}, nil // it is asked for
	}
	positive, err := v.positiveOf(r.Load) // before
	if err != nil {
		return said{}, err
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	d := r.IndicatorRead
	rs, err := v.observe(&events.Observation{Station: v.station, Kind: events.KindIndicatorRead, Time: at,
		Operator: b.Operator, Data: &d})
	if err != nil {
		return said{}, err
	}
	soon := d.TooSoon(at, d.StartedAt())
	says := v.phrased("indicator-"+d.Result, d.Load)
	s := good(v.say(says), "")
	switch {
	case d.Result == "positive":
		s = wrong(v.say(says), v.t("indicator-positive-next"))
	case !positive.IsZero():
		s = doubt(v.say(says), v.t("indicator-was-positive", v.time(positive)))
	case soon:
		says = v.phrased("indicator-too-soon", d.Load)
		s = doubt(v.say(says), v.t("indicator-too-soon-more"))
	case d.Control == "negative":
		says = v.phrased("indicator-unproved", d.Load)
		s = doubt(v.say(says), v.t("indicator-unproved-more"))
	}
	b.At = time.Time{}
	b.Indicated, b.Reading = "", nil
	b.Done = &done{Says: []phrase{says}, Seqs: seqs(rs), IDs: ids(rs), Stop: d.Result == "positive"}
	if d.Result == "positive" {
		b.Done.Positive = d.Load
	}
	if l := b.find(d.Load); l != nil && len(l.Sets) == 0 && !l.Forgot && !soon { // of a test cycle nothing else is recorded
		b.Done.Load = l.clone()
		b.Loads = slices.DeleteFunc(b.Loads, func(l load) bool { return l.Load == d.Load })
		if b.Load == d.Load {
			b.Load = ""
		}
	}
	if d.Result == "positive" && !v.d.opts.Practice {
		b.Done.Links = []link{{Address: "/touched?load=" + url.QueryEscape(d.Load), Says: v.phrased("go-touched", d.Load)}}
	}
	return s, nil
}

// shownBy is what an indicator in force showed, and when it was read.
type shownBy struct {
	*events.IndicatorRead
	at time.Time
}

// readings are the indicators of a load, as far as they are in force.
func (v *visit) readings(id string) (out []shownBy, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.ResultOf(id) {
			if d, ok := it.Data.(*events.IndicatorRead); ok {
				out = append(out, shownBy{d, it.At()})
			}
		}
		return w.Failed()
	})
	return out, err
}

// positiveOf is when the indicator of a load was first read positive, zero where it never was: no negative one takes that back.
func (v *visit) positiveOf(id string) (time.Time, error) {
	read, err := v.readings(id)
	if i := slices.IndexFunc(read, func(x shownBy) bool { return x.Result == "positive" }); i >= 0 {
		return read[i].at, err
	}
	return time.Time{}, err
}

// runRecorded is the last record of a load that ran, nil where there is none.
func (v *visit) runRecorded(id string) (last *events.Event, err error) {
	found, err := site.Answer(v.d.site, func(m *site.View) ([]*events.Event, error) {
		return m.Facts(v, facts.DimLoad, id)
	})
	for _, e := range found {
		if _, ok := e.Data.(*events.SetSterilized); ok {
			last = e
		}
	}
	return last, err
}

// loadKnown is the last record of a load or of its indicator, nil where there is none.
func (v *visit) loadKnown(id string) (last *events.Event, err error) {
	found, err := site.Answer(v.d.site, func(m *site.View) ([]*events.Event, error) {
		runs, err := m.Facts(v, facts.DimLoad, id)
		if err != nil {
			return nil, err
		}
		read, err := m.Facts(v, facts.DimLoadReadings, id)
		return append(read, runs...), err
	})
	for _, e := range found {
		last = e
	}
	return last, err
}

// sterilizerOf finds which sterilizer a load ran in, and since when, where that is recorded, or the load lies at another
// station and nothing of it is. Of a test cycle without sets only its indicators are.
func (v *visit) sterilizerOf(id string) (name, started string, err error) {
	run, err := v.runRecorded(id)
	if err != nil {
		return "", "", err
	}
	if run != nil {
		d := run.Data.(*events.SetSterilized)
		return d.Sterilizer, d.Started, nil
	}
	read, err := v.readings(id)
	if err != nil {
		return "", "", err
	}
	if len(read) > 0 {
		return read[0].Sterilizer, read[0].Started, nil
	}
	there, err := v.loadThere(id)
	switch {
	case err != nil:
		return "", "", err
	case there == nil:
		return "", "", v.sayNo("load-unknown", id)
	case !there.Started:
		return "", "", v.sayNo("indicator-not-run", id)
	}
	return there.Sterilizer, there.started(), nil
}

package workplace

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// sterilizer is the draft of the workplace that fills loads: a load is begun,
// sets are scanned into it, it runs, and its result and release are recorded for
// every set in it. The biological indicator is recorded when it has been read.
type sterilizer struct {
	hand
	Loads     []load `json:"loads,omitempty"`
	Load      string `json:"load,omitempty"`      // the one that is being filled
	Indicated string `json:"indicated,omitempty"` // recorded before, and its indicator is read now
	// Ran are the cycles that were run here, the last first, and Entered what was entered of a load that could not
	// be begun.
	Ran     []string `json:"ran,omitempty"`
	Entered fields   `json:"entered,omitempty"`
}

// load is a sterilizer run that is being loaded or is running.
type load struct {
	Load       string   `json:"load"`
	Sterilizer string   `json:"sterilizer"`
	Run        int64    `json:"run"`
	Cycle      string   `json:"cycle"`
	Sets       []string `json:"sets,omitempty"`
	Started    bool     `json:"started,omitempty"`

	StartedAt time.Time `json:"startedAt,omitzero"`
	Loader    string    `json:"loader,omitempty"` // badge of who started it
}

func sterilizerPlace() workplace {
	return bench[sterilizer, *sterilizer]{
		scans: map[events.ScanKind]scanned[sterilizer]{
			events.ScanBadge: (*sterilizer).scanBadge,
			events.ScanLoad:  (*sterilizer).scanLoad,
			events.ScanSet:   (*sterilizer).put,
		},
		acts: map[string]action[sterilizer]{
			"clear":     (*sterilizer).discard,
			"begin":     (*sterilizer).begin,
			"choose":    (*sterilizer).choose,
			"put":       (*sterilizer).putAnyway,
			"leave-out": func(*sterilizer, *visit, fields) (said, error) { return said{}, nil },
			"take-out":  (*sterilizer).takeOut,
			"start":     (*sterilizer).start,
			"give-up":   (*sterilizer).giveUp,
			"result":    (*sterilizer).result,
			"indicator": (*sterilizer).indicator,
			"enter":     func(*sterilizer, *visit, fields) (said, error) { return said{}, nil },
		},
	}
}

func (b *sterilizer) wants() []want {
	here := func(id string) bool { return b.find(id) != nil }
	return append(wanted(events.ScanSet, events.ScanBadge), want{Kind: events.ScanLoad, Known: here})
}

func (b *sterilizer) idle() bool { return b.find(b.Load) == nil && b.Indicated == "" }

// workName is the load that the work here is on.
func (b *sterilizer) workName() string { return firstOf(b.Indicated, b.Load) }

// find returns a load of this bench, nil where there is none of that name.
func (b *sterilizer) find(id string) *load {
	for i := range b.Loads {
		if b.Loads[i].Load == id {
			return &b.Loads[i]
		}
	}
	return nil
}

func (b *sterilizer) scanBadge(v *visit, badge string) (said, error) {
	b.Operator = badge
	return good(v.t("badge-taken", badge), b.next(v)), nil
}

func (b *sterilizer) scanLoad(v *visit, id string) (said, error) {
	if b.find(id) != nil {
		b.Load, b.Done, b.Indicated = id, nil, ""
		return ask(v.t("load-is", id), b.next(v)), nil
	}
	if _, err := v.sterilizerOf(id); err != nil {
		return said{}, err
	}
	b.Indicated, b.Done = id, nil
	return v.askIndicator(id), nil
}

// askIndicator asks what the biological indicator of a load showed.
func (v *visit) askIndicator(id string) said {
	return ask(v.t("indicator-of", id), "").offer(
		choice{Do: "indicator", Value: "negative", Words: v.t("negative")},
		choice{Do: "indicator", Value: "positive", Words: v.t("positive")},
	)
}

// put loads a set. One that was in a failed load and not packed again since is
// asked about: it is not sterile, and another cycle alone doesn't make it so.
func (b *sterilizer) put(v *visit, set string) (said, error) {
	failed, err := v.failedIn(set)
	if err != nil {
		return said{}, err
	}
	if l := b.find(b.Load); failed == "" || l == nil || l.Started || slices.Contains(l.Sets, set) {
		return b.fill(v, set)
	}
	return wrong(v.t("failed-before", set, failed), v.t("failed-before-more")).offer(
		choice{Do: "leave-out", Words: v.t("leave-out", set), Main: true},
		choice{Do: "put", Value: set, Words: v.t("do-put", set)},
	), nil
}

// putAnyway loads a set of a failed load all the same. It is not green.
func (b *sterilizer) putAnyway(v *visit, f fields) (said, error) {
	set := f["value"]
	failed, err := v.failedIn(set)
	if err != nil || set == "" {
		return said{}, err
	}
	s, err := b.fill(v, set)
	if failed != "" {
		s.Status, s.Sound, s.More = "broken", "wrong", v.t("failed-before", set, failed)
	}
	return s, err
}

// failedIn is the load whose cycle failed with this set in it, where that is the
// last that is known of the set's sterilization in this trip.
func (v *visit) failedIn(set string) (string, error) {
	failed := ""
	err := v.d.site.Ask(func(m *site.View) error {
		trip, err := m.TripNow(v, set, v.now)
		if err != nil || trip == "" {
			return err
		}
		w := m.World(v)
		for _, it := range w.Trip(projections.TripKey{Set: set, Trip: trip}).Steps {
			if run := facts.RunOf(it); run != nil {
				if failed = ""; run.Result == "failed" {
					failed = run.Load
				}
			}
		}
		return w.Failed()
	})
	return failed, err
}

// fill loads a set, after a look at what its list allows.
func (b *sterilizer) fill(v *visit, set string) (said, error) {
	l := b.find(b.Load)
	if l == nil {
		return said{}, v.sayNo("begin-a-load", set)
	}
	if l.Started {
		return said{}, v.sayNo("load-runs", l.Load)
	}
	for _, other := range b.Loads {
		if slices.Contains(other.Sets, set) {
			if other.Load == l.Load {
				return ask(v.t("in-load-already", set, l.Load), ""), nil
			}
			return said{}, v.sayNo("in-other-load", set, other.Load)
		}
	}
	st, err := v.standing(set)
	if err != nil {
		return said{}, err
	}
	l.Sets = append(l.Sets, set)
	b.Done = nil
	loaded := v.t("loaded", set, l.Load, len(l.Sets))
	switch {
	case st == nil:
		return doubt(loaded, v.t("never-packed", set)), nil
	case st.Code == "":
		return doubt(loaded, v.t("not-sealed", set)), nil
	}
	list, err := listNow(v, v.d.site, st.List, st.Version)
	if err == nil && len(list.Cycles) > 0 && !slices.Contains(list.Cycles, l.Cycle) {
		return wrong(v.t("wrong-cycle", set, l.Cycle), v.t("cycles-allowed", strings.Join(list.Cycles, ", "))), nil
	}
	return good(loaded, ""), nil
}

func (b *sterilizer) verdict(v *visit) (said, error) {
	if b.Indicated != "" {
		return v.askIndicator(b.Indicated), nil
	}
	return ask(b.next(v), ""), nil
}

func (b *sterilizer) next(v *visit) string {
	l := b.find(b.Load)
	switch {
	case l == nil:
		return v.t("begin-sterilizer")
	case !l.Started:
		return v.t("scan-into", l.Load)
	case b.Operator == "":
		return v.t("scan-badge")
	}
	return v.t("result-next", l.Load)
}

func (b *sterilizer) discard(v *visit, _ fields) (said, error) {
	b.Done, b.Indicated = nil, ""
	return v.begin(), nil
}

func (b *sterilizer) begin(v *visit, f fields) (said, error) {
	name := strings.ToUpper(strings.TrimSpace(f["sterilizer"]))
	b.Entered = fields{"sterilizer": name, "run": f["run"], "cycle": f["cycle"]}
	cycle, err := b.cycle(v, firstOf(strings.TrimSpace(f["other"]), strings.TrimSpace(f["cycle"])))
	if err != nil {
		return said{}, err
	}
	run, err := strconv.ParseInt(strings.TrimSpace(f["run"]), 10, 64)
	if name == "" || cycle == "" || err != nil || run < 1 {
		return said{}, v.sayNo("load-needs")
	}
	id := fmt.Sprintf("%s-%s-%02d", name, v.now.In(v.d.site.Zone()).Format("0102"), run)
	if b.find(id) != nil {
		return said{}, v.sayNo("load-begun", id)
	}
	passed := events.SetSterilized{Load: id, Sterilizer: name, Run: run, Cycle: cycle, Result: "passed"}
	if err := passed.Check(); err != nil {
		return said{}, refusal.Because(err)
	}
	b.Loads = append(b.Loads, load{Load: id, Sterilizer: name, Run: run, Cycle: cycle})
	b.Load, b.Done, b.Entered = id, nil, nil
	const kept = 12
	b.Ran = slices.DeleteFunc(b.Ran, func(c string) bool { return c == cycle })
	b.Ran = slices.Insert(b.Ran, 0, cycle)[:min(kept, len(b.Ran)+1)]
	return ask(v.t("scan-into", id), ""), nil
}

// cycle is a cycle as it is listed: by the policy, or by what ran here. Where the
// policy lists cycles there are no others.
func (b *sterilizer) cycle(v *visit, name string) (string, error) {
	p, err := v.policy()
	if err != nil || name == "" {
		return name, err
	}
	plain := strings.NewReplacer(" ", "", "-", "").Replace
	for _, c := range append(slices.Clone(p.Cycles), b.Ran...) {
		if strings.EqualFold(plain(c), plain(name)) {
			return c, nil
		}
	}
	if len(p.Cycles) > 0 {
		return "", v.sayNo("cycle-not-listed", name, strings.Join(p.Cycles, ", "))
	}
	return name, nil
}

func (b *sterilizer) choose(v *visit, f fields) (said, error) {
	id := firstOf(f["load"], f["value"])
	if b.find(id) == nil {
		return said{}, v.sayNo("load-not-here", id)
	}
	b.Load = id
	return said{}, nil
}

func (b *sterilizer) takeOut(_ *visit, f fields) (said, error) {
	if l := b.find(b.Load); l != nil && !l.Started {
		l.Sets = slices.DeleteFunc(l.Sets, func(s string) bool { return s == f["set"] })
	}
	return said{}, nil
}

func (b *sterilizer) start(v *visit, _ fields) (said, error) {
	l := b.find(b.Load)
	switch {
	case l == nil || len(l.Sets) == 0:
		return said{}, v.sayNo("nothing-loaded")
	case l.Started:
		return said{}, nil // who pressed first started it, and then
	case b.Operator == "":
		return ask(v.t("scan-badge"), v.t("start-badge", l.Load)), nil
	}
	l.Started, l.StartedAt, l.Loader = true, v.now.UTC(), b.Operator
	return said{}, nil
}

// giveUp takes a load away that was not recorded. Its button stands beside others,
// so a load with sets in it is asked about.
func (b *sterilizer) giveUp(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l != nil && len(l.Sets) > 0 && f["value"] != l.Load {
		return ask(v.t("give-up-sure", l.Load, len(l.Sets)), strings.Join(l.Sets, ", ")).offer(
			choice{Do: "choose", Value: l.Load, Words: v.t("give-up-not"), Main: true},
			choice{Do: "give-up", Value: l.Load, Words: v.t("give-up")}), nil
	}
	b.drop()
	return said{}, nil
}

// drop takes the load that is being filled away.
func (b *sterilizer) drop() {
	b.Loads = slices.DeleteFunc(b.Loads, func(l load) bool { return l.Load == b.Load })
	b.Load = ""
}

// result records how a load ended, for each set in it.
func (b *sterilizer) result(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	switch {
	case l == nil || len(l.Sets) == 0:
		return said{}, v.sayNo("nothing-loaded")
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	}
	failed := f["result"] == "failed"
	released := f["released"] == "yes" && !failed
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	var obs []*events.Observation
	for _, set := range l.Sets {
		data := &events.SetSterilized{Load: l.Load, Sterilizer: l.Sterilizer, Run: l.Run, Cycle: l.Cycle,
			Result: f["result"], Released: released, Loader: l.Loader}
		if released {
			data.Emergency = strings.TrimSpace(f["emergency"])
		}
		if !l.StartedAt.IsZero() {
			data.Started = l.StartedAt.Format(time.RFC3339)
		}
		obs = append(obs, &events.Observation{Station: v.station, Kind: events.KindSetSterilized, Time: at,
			Set: set, Operator: b.Operator, Data: data})
	}
	rs, err := v.observe(obs...)
	if err != nil {
		return said{}, err
	}
	var s said
	var says phrase
	switch {
	case failed:
		says = v.phrased("load-failed", l.Load, len(l.Sets))
		s = wrong(v.say(says), v.t("load-failed-sets", strings.Join(l.Sets, ", ")))
		s.Next = v.t("load-failed-next")
	case !released:
		says = v.phrased("load-held", l.Load, len(l.Sets))
		s = ask(v.say(says), v.t("load-held-next"))
	default:
		says = v.phrased("load-released", l.Load, len(l.Sets))
		s = good(v.say(says), "")
	}
	label := link{Address: v.d.opts.Prefix + "/print/load-label.pdf?load=" + l.Load, Says: v.phrased("print-load-label")}
	if released || failed {
		b.drop()
	}
	b.At = time.Time{}
	b.Done = &done{Says: []phrase{says}, Seqs: seqs(rs), IDs: ids(rs), Links: []link{label}}
	return s, nil
}

// indicator records what the biological indicator of a load showed.
func (b *sterilizer) indicator(v *visit, f fields) (said, error) {
	d := &events.IndicatorRead{
		Load: strings.TrimSpace(firstOf(f["load"], b.Indicated)), Result: firstOf(f["result"], f["value"]),
		Lot: strings.TrimSpace(f["lot"]), Control: f["control"],
	}
	switch {
	case d.Load == "":
		return said{}, v.sayNo("indicator-load")
	case d.Result == "":
		b.Indicated = d.Load
		return v.askIndicator(d.Load), nil
	}
	if minutes := strings.TrimSpace(f["incubated"]); minutes != "" {
		n, err := strconv.ParseInt(minutes, 10, 64)
		if d.IncubatedMinutes = n; err != nil || n < 0 || n > events.MaxIncubatedMinutes {
			return said{}, v.sayNo("indicator-minutes", minutes)
		}
	}
	if l := b.find(d.Load); l != nil {
		d.Sterilizer = l.Sterilizer
	} else {
		var err error
		if d.Sterilizer, err = v.sterilizerOf(d.Load); err != nil {
			return said{}, err
		}
	}
	if b.Operator == "" {
		return ask(v.t("scan-badge"), ""), nil
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(&events.Observation{Station: v.station, Kind: events.KindIndicatorRead, Time: at,
		Operator: b.Operator, Data: d})
	if err != nil {
		return said{}, err
	}
	says := v.phrased("indicator-negative", d.Load)
	s := good(v.say(says), "")
	if d.Result == "positive" {
		says = v.phrased("indicator-positive", d.Load)
		s = wrong(v.say(says), v.t("indicator-positive-next"))
	}
	b.At = time.Time{}
	b.Indicated = ""
	b.Done = &done{Says: []phrase{says}, Seqs: seqs(rs), IDs: ids(rs)}
	if d.Result == "positive" && !v.d.opts.Practice {
		b.Done.Links = []link{{Address: "/touched?load=" + url.QueryEscape(d.Load), Says: v.phrased("go-touched", d.Load)}}
	}
	return s, nil
}

// sterilizerOf finds which sterilizer a recorded load ran in.
func (v *visit) sterilizerOf(id string) (string, error) {
	found, err := site.Answer(v.d.site, func(m *site.View) ([]*events.Event, error) {
		return m.Facts(v, facts.DimLoad, id)
	})
	out := ""
	for _, e := range found {
		if s, ok := e.Data.(*events.SetSterilized); ok {
			out = s.Sterilizer
		}
	}
	if err == nil && out == "" {
		err = v.sayNo("load-unknown", id)
	}
	return out, err
}

type sterilizerBody struct {
	Active   *load
	Cycles   []string
	Other    bool // another cycle may be entered
	Implants bool // the load runs with implants, whose indicator the policy waits for
}

// implants reports whether a set of a load holds implants, by the list it was packed by.
func (v *visit) implants(l *load) (bool, error) {
	for _, set := range l.Sets {
		st, err := v.standing(set)
		if err != nil {
			return false, err
		}
		if st == nil || st.List == "" {
			continue
		}
		if list, err := listNow(v, v.d.site, st.List, st.Version); err == nil && list.Implants {
			return true, nil
		}
	}
	return false, nil
}

func (b *sterilizer) body(v *visit) (any, error) {
	p, err := v.policy()
	if err != nil {
		return nil, err
	}
	cycles, free := p.Cycles, len(p.Cycles) == 0
	if free {
		cycles = b.Ran
	}
	out := sterilizerBody{Active: b.find(b.Load), Cycles: cycles, Other: free}
	if l := out.Active; l != nil && l.Started && p.AsksImplantIndicator() {
		out.Implants, err = v.implants(l)
	}
	return out, err
}

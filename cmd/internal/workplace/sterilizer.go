package workplace

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
)

// sterilizer is the workplace that fills loads: a load is begun, sets are
// scanned into it, it runs, and its result and release are recorded for every
// set in it. The biological indicator is recorded when it has been read.
type sterilizer struct{}

func (sterilizer) wants(v *visit, b *bench) []events.ScanKind {
	return []events.ScanKind{events.ScanSet, events.ScanBadge, events.ScanLoad}
}

func (b *bench) load(id string) *load {
	for i := range b.Loads {
		if b.Loads[i].Load == id {
			return &b.Loads[i]
		}
	}
	return nil
}

func (w sterilizer) scan(v *visit, b *bench, s events.Scan) (said, error) {
	switch s.Kind {
	case events.ScanBadge:
		b.Operator = s.Value
		return good(v.t("badge-taken", s.Value), w.next(v, b)), nil
	case events.ScanLoad:
		if b.load(s.Value) == nil {
			return said{}, v.sayNo("load-not-here", s.Value)
		}
		b.Load, b.Done = s.Value, nil
		return ask(v.t("load-is", s.Value), w.next(v, b)), nil
	case events.ScanSet:
		return w.put(v, b, s.Value)
	}
	return said{}, v.sayNo("taken-for-not-here", v.t("kind-"+strings.ReplaceAll(string(s.Kind), " ", "-")), s.Value)
}

// put loads a set, after a look at what its list allows.
func (w sterilizer) put(v *visit, b *bench, set string) (said, error) {
	l := b.load(b.Load)
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
	switch {
	case st == nil:
		return doubt(v.t("loaded", set, l.Load, len(l.Sets)), v.t("never-packed", set)), nil
	case st.Code == "":
		return doubt(v.t("loaded", set, l.Load, len(l.Sets)), v.t("not-sealed", set)), nil
	}
	if list, err := v.d.site.List(v, st.List, st.Version); err == nil && len(list.Cycles) > 0 && !slices.Contains(list.Cycles, l.Cycle) {
		return wrong(v.t("wrong-cycle", set, l.Cycle), v.t("cycles-allowed", strings.Join(list.Cycles, ", "))), nil
	}
	return good(v.t("loaded", set, l.Load, len(l.Sets)), ""), nil
}

func (w sterilizer) next(v *visit, b *bench) string {
	l := b.load(b.Load)
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

func (w sterilizer) do(v *visit, b *bench, action string, fields map[string]string) (said, error) {
	switch action {
	case "clear":
		b.Done = nil
		return v.begin(), nil
	case "begin":
		return w.begin(v, b, fields)
	case "choose":
		if b.load(fields["load"]) == nil {
			return said{}, v.sayNo("load-not-here", fields["load"])
		}
		b.Load = fields["load"]
	case "take-out":
		if l := b.load(b.Load); l != nil && !l.Started {
			l.Sets = slices.DeleteFunc(l.Sets, func(s string) bool { return s == fields["set"] })
		}
	case "start":
		l := b.load(b.Load)
		if l == nil || len(l.Sets) == 0 {
			return said{}, v.sayNo("nothing-loaded")
		}
		l.Started = true
	case "give-up":
		b.Loads = slices.DeleteFunc(b.Loads, func(l load) bool { return l.Load == b.Load })
		b.Load = ""
	case "result":
		return w.result(v, b, fields["result"], fields["released"] == "yes")
	case "indicator":
		return w.indicator(v, b, fields)
	case "enter":
	default:
		return said{}, v.sayNo("no-such-button", action)
	}
	return ask(w.next(v, b), ""), nil
}

func (w sterilizer) begin(v *visit, b *bench, fields map[string]string) (said, error) {
	name := strings.ToUpper(strings.TrimSpace(fields["sterilizer"]))
	cycle := strings.TrimSpace(fields["cycle"])
	run, err := strconv.ParseInt(strings.TrimSpace(fields["run"]), 10, 64)
	if name == "" || cycle == "" || err != nil || run < 1 {
		return said{}, v.sayNo("load-needs")
	}
	l := load{Sterilizer: name, Run: run, Cycle: cycle, Load: fmt.Sprintf("%s-%s-%02d", name, v.now.UTC().Format("0102"), run)}
	if b.load(l.Load) != nil {
		return said{}, v.sayNo("load-begun", l.Load)
	}
	if err := (&events.SetSterilized{Load: l.Load, Sterilizer: name, Run: run, Cycle: cycle, Result: "passed"}).Check(); err != nil {
		return said{}, err
	}
	b.Loads = append(b.Loads, l)
	b.Load, b.Done = l.Load, nil
	return ask(v.t("scan-into", l.Load), ""), nil
}

// result records how a load ended, for each set in it.
func (w sterilizer) result(v *visit, b *bench, result string, released bool) (said, error) {
	l := b.load(b.Load)
	switch {
	case l == nil || len(l.Sets) == 0:
		return said{}, v.sayNo("nothing-loaded")
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case result == "failed":
		released = false
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	var obs []*events.Observation
	for _, set := range l.Sets {
		obs = append(obs, &events.Observation{Station: v.station, Kind: events.KindSetSterilized, Time: at, Set: set, Operator: b.Operator,
			Data: &events.SetSterilized{Load: l.Load, Sterilizer: l.Sterilizer, Run: l.Run, Cycle: l.Cycle, Result: result, Released: released}})
	}
	rs, err := v.observe(b, obs...)
	if err != nil {
		return said{}, err
	}
	s := good(v.t("load-released", l.Load, len(l.Sets)), "")
	switch {
	case result == "failed":
		s = wrong(v.t("load-failed", l.Load, len(l.Sets)), v.t("load-failed-next"))
	case !released:
		s = ask(v.t("load-held", l.Load, len(l.Sets)), v.t("load-held-next"))
	}
	d := &done{Words: s.Words, Seqs: seqs(rs), Links: []link{{v.d.opts.Prefix + "/print/load-label.pdf?load=" + l.Load, v.t("print-load-label"), false}}}
	if released || result == "failed" {
		b.Loads = slices.DeleteFunc(b.Loads, func(x load) bool { return x.Load == b.Load })
		b.Load = ""
	}
	b.At = time.Time{}
	b.Done = d
	return s, nil
}

func (w sterilizer) indicator(v *visit, b *bench, fields map[string]string) (said, error) {
	d := &events.IndicatorRead{Load: strings.TrimSpace(fields["load"]), Result: fields["result"]}
	if l := b.load(d.Load); l != nil {
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
	rs, err := v.observe(b, &events.Observation{Station: v.station, Kind: events.KindIndicatorRead, Time: at, Operator: b.Operator, Data: d})
	if err != nil {
		return said{}, err
	}
	s := good(v.t("indicator-negative", d.Load), "")
	if d.Result == "positive" {
		s = wrong(v.t("indicator-positive", d.Load), v.t("indicator-positive-next"))
	}
	b.At = time.Time{}
	b.Done = &done{Words: s.Words, Seqs: seqs(rs)}
	return s, nil
}

// sterilizerOf finds which sterilizer a recorded load ran in.
func (v *visit) sterilizerOf(id string) (string, error) {
	out := ""
	err := v.d.site.Facts(v, projections.DimLoad, id, func(e *events.Event) {
		if s, ok := e.Data.(*events.SetSterilized); ok {
			out = s.Sterilizer
		}
	})
	if err == nil && out == "" {
		err = v.sayNo("load-unknown", id)
	}
	return out, err
}

type sterilizerBody struct {
	Active *load
	Wants  []events.ScanKind
}

func (w sterilizer) body(v *visit, b *bench) (any, error) {
	return sterilizerBody{b.load(b.Load), w.wants(v, b)}, nil
}

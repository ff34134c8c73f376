package workplace

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// packing is the workplace where a set is assembled by its list: line by line,
// what is missing, substituted or damaged, and the weight. Enter on the empty
// field takes the next line as listed; a number is what was packed instead.
type packing struct{}

func (packing) wants(v *visit, b *bench) []events.ScanKind {
	return []events.ScanKind{events.ScanSet, events.ScanBadge}
}

// draftOf is the packing draft of the set on the bench.
func (v *visit) draftOf(b *bench) (*draft, error) {
	d, _, err := v.d.files.draft("packing "+v.station, b.Tag, stagePacking)
	return d, err
}

func (w packing) scan(v *visit, b *bench, s events.Scan) (said, error) {
	switch s.Kind {
	case events.ScanBadge:
		if b.Operator != "" && b.Tag != "" && s.Value != b.Operator {
			b.Witness = s.Value // a second person looks it over
			break
		}
		b.Operator = s.Value
	case events.ScanSet:
		if b.Tag != "" && b.Tag != s.Value {
			d, err := v.draftOf(b)
			if err != nil {
				return said{}, err
			}
			if len(d.Lines) > 0 {
				return said{}, v.sayNo("packing-begun", b.Tag)
			}
		}
		if b.Tag != s.Value {
			b.clear()
			b.Tag, b.Done = s.Value, nil
		}
		// The list that this set was packed by last, in its newest version.
		trip, err := v.d.site.TripNow(v, s.Value, v.now)
		if err != nil {
			return said{}, err
		}
		if trip != "" {
			err := v.d.site.World(v, func(world *projections.World) error {
				p, err := world.Packed(projections.TripKey{Set: s.Value, Trip: trip})
				if p != nil {
					b.List = p.List
				}
				return err
			})
			if err != nil {
				return said{}, err
			}
		}
		if b.List != "" {
			if err := w.choose(v, b, b.List); err != nil {
				return said{}, err
			}
		}
	default:
		return said{}, v.sayNo("taken-for-not-here", v.t("kind-"+strings.ReplaceAll(string(s.Kind), " ", "-")), s.Value)
	}
	return w.verdict(v, b)
}

func (w packing) choose(v *visit, b *bench, list string) error {
	l, err := v.d.site.List(v, list, 0)
	if err != nil {
		return err
	}
	b.List, b.Version = l.List, l.Version
	return nil
}

type packingBody struct {
	Lists    []site.ListVersion // newest versions, to choose from
	List     *site.ListVersion
	Rows     []packRow
	Next     int64 // line that Enter takes
	Done     int
	Limit    int64
	Look     bool // a second look is asked for
	Over     bool // heavier than the policy's limit
	Wants    []events.ScanKind
	Reasons  []string
	Complete bool
}

type packRow struct {
	events.Line
	Entry *entry
	Now   bool
	Ask   bool // the number differs and the reason is still to say
}

// Reasons are why a line is not packed as listed.
func Reasons() []string { return []string{"missing", "substituted", "damaged", "added"} }

func (w packing) load(v *visit, b *bench) (*packingBody, *draft, error) {
	out := &packingBody{Wants: w.wants(v, b), Reasons: Reasons()}
	policy, err := v.d.site.Policy(v)
	if err != nil {
		return nil, nil, err
	}
	out.Limit = policy.Policy.WeightLimitGrams
	out.Over = out.Limit > 0 && b.WeightGrams > out.Limit
	out.Look = slices.Contains(policy.Policy.SecondLook, b.List)
	if b.Tag == "" {
		return out, nil, nil
	}
	if b.List == "" {
		all, err := v.d.site.Lists(v, "")
		if err != nil {
			return nil, nil, err
		}
		out.Lists = newest(all)
		return out, nil, nil
	}
	if out.List, err = v.d.site.List(v, b.List, b.Version); err != nil {
		return nil, nil, err
	}
	d, err := v.draftOf(b)
	if err != nil {
		return nil, nil, err
	}
	for _, l := range out.List.LineRows {
		r := packRow{Line: l, Entry: d.Lines[l.Line]}
		switch {
		case r.Entry == nil:
			if out.Next == 0 {
				out.Next, r.Now = l.Line, true
			}
		default:
			out.Done++
			r.Ask = r.Entry.Counted != l.Quantity && r.Entry.Reason == ""
		}
		out.Rows = append(out.Rows, r)
	}
	out.Complete = out.Next == 0
	return out, d, nil
}

func (w packing) verdict(v *visit, b *bench) (said, error) {
	p, _, err := w.load(v, b)
	if err != nil {
		return said{}, err
	}
	switch {
	case b.Tag == "":
		return ask(v.t("scan-tag-to-pack"), ""), nil
	case b.List == "":
		return ask(v.t("choose-list", b.Tag), ""), nil
	}
	for _, r := range p.Rows {
		if r.Ask {
			return ask(v.t("reason-for-line", r.Line.Line, r.Entry.Counted, r.Quantity), r.Description+". "+v.t("reason-keys")), nil
		}
	}
	switch {
	case !p.Complete:
		for _, r := range p.Rows {
			if r.Now {
				return ask(v.t("pack-line", r.Quantity, r.Description), v.t("counted-of", p.Done, len(p.Rows))), nil
			}
		}
	case b.WeightGrams == 0 && !b.NoWeight:
		return ask(v.t("weigh-it", v.w.Kg(p.Limit)), ""), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case p.Look && b.Witness == "":
		return ask(v.t("second-look", b.List), ""), nil
	case p.Over:
		s := doubt(v.t("too-heavy", v.w.Kg(b.WeightGrams), v.w.Kg(p.Limit)), v.t("too-heavy-more"))
		s.Next = v.t("enter-packs", b.Tag)
		return s, nil
	}
	return good(v.t("enter-packs", b.Tag), v.t("packs-by", b.List, b.Version)), nil
}

// plainNumber sees that a scan is a number that a person typed.
func plainNumber(text string) (int64, bool) {
	n, err := strconv.ParseInt(strings.TrimSpace(text), 10, 64)
	return n, err == nil && n >= 0 && len(strings.TrimSpace(text)) <= 3
}

// parseKg reads a weight with a point or a comma, in grams.
func parseKg(s string) (int64, bool) {
	s = strings.Replace(strings.TrimSpace(s), ",", ".", 1)
	whole, part, _ := strings.Cut(s, ".")
	if len(part) > 3 || len(whole) > 3 || whole == "" && part == "" {
		return 0, false
	}
	part += strings.Repeat("0", 3-len(part))
	if whole == "" {
		whole = "0"
	}
	kg, err1 := strconv.ParseUint(whole, 10, 16)
	g, err2 := strconv.ParseUint(part, 10, 16)
	return int64(kg*1000 + g), err1 == nil && err2 == nil
}

func (w packing) do(v *visit, b *bench, action string, fields map[string]string) (said, error) {
	p, d, err := w.load(v, b)
	if err != nil {
		return said{}, err
	}
	switch action {
	case "clear":
		if d != nil {
			if err := v.d.files.removeDraft(d); err != nil {
				return said{}, err
			}
		}
		b.clear()
		b.Done = nil
		return v.begin(), nil
	case "list":
		if err := w.choose(v, b, fields["list"]); err != nil {
			return said{}, err
		}
	case "line", "enter":
		if d == nil {
			return w.verdict(v, b)
		}
		if action == "enter" && p.Complete {
			return w.record(v, b, p, d)
		}
		in := lineInput{Set: b.Tag, Line: p.Next}
		if f := fields["line"]; f != "" {
			if in.Line, err = strconv.ParseInt(f, 10, 64); err != nil {
				return said{}, v.sayNo("no-such-line", f, b.Tag)
			}
		}
		i := slices.IndexFunc(p.Rows, func(r packRow) bool { return r.Line.Line == in.Line })
		if i < 0 {
			return said{}, v.sayNo("no-such-line", in.Line, b.Tag)
		}
		in.Counted = p.Rows[i].Quantity
		if f := fields["counted"]; f != "" {
			n, ok := plainNumber(f)
			if !ok {
				return said{}, v.sayNo("not-a-number", f)
			}
			in.Counted = n
		}
		in.Reason, in.Clear = fields["reason"], fields["clear"] != ""
		if in.Reason != "" && !slices.Contains(Reasons(), in.Reason) {
			return said{}, v.sayNo("no-such-button", in.Reason)
		}
		if e := d.Lines[in.Line]; e != nil {
			in.Seen = e.Rev
			if in.Reason != "" && fields["counted"] == "" {
				in.Counted = e.Counted
			}
		}
		if _, err := d.enter("bench", in, v.now); err != nil {
			return said{}, err
		}
		if err := v.d.files.saveDraft(d); err != nil {
			return said{}, err
		}
	case "weight":
		if strings.TrimSpace(fields["weight"]) == "" {
			b.NoWeight, b.WeightGrams = true, 0
			break
		}
		g, ok := parseKg(fields["weight"])
		if !ok || g == 0 || g > 100000 {
			return said{}, v.sayNo("not-a-weight", fields["weight"])
		}
		b.WeightGrams, b.NoWeight = g, false
	case "note":
		b.Note = strings.TrimSpace(fields["note"])
	case "record":
		if d == nil || !p.Complete {
			return w.verdict(v, b)
		}
		return w.record(v, b, p, d)
	default:
		return said{}, v.sayNo("no-such-button", action)
	}
	return w.verdict(v, b)
}

// typed: a number on a half packed set is how many of the line were packed, a
// letter why; after the lines it is the weight.
func (w packing) typed(v *visit, b *bench, text string) (string, map[string]string, bool) {
	if b.Tag == "" || b.List == "" {
		return "", nil, false
	}
	p, _, err := w.load(v, b)
	if err != nil {
		return "", nil, false
	}
	for _, r := range p.Rows {
		if !r.Ask {
			continue
		}
		for i, reason := range Reasons() {
			if text == strconv.Itoa(i+1) {
				return "line", map[string]string{"line": strconv.FormatInt(r.Line.Line, 10), "reason": reason}, true
			}
		}
	}
	if _, ok := plainNumber(text); ok && !p.Complete {
		return "line", map[string]string{"counted": text}, true
	}
	if _, ok := parseKg(text); ok && p.Complete && b.WeightGrams == 0 {
		return "weight", map[string]string{"weight": text}, true
	}
	return "", nil, false
}

func (w packing) record(v *visit, b *bench, p *packingBody, d *draft) (said, error) {
	for _, r := range p.Rows {
		if r.Ask {
			return w.verdict(v, b)
		}
	}
	if b.Operator == "" || b.WeightGrams == 0 && !b.NoWeight || p.Look && b.Witness == "" {
		return w.verdict(v, b)
	}
	data := &events.SetPacked{List: b.List, Version: b.Version, WeightGrams: b.WeightGrams, Note: b.Note, SecondLook: b.Witness}
	for _, r := range p.Rows {
		if e := r.Entry; e.Counted != r.Quantity || e.Reason != "" {
			data.Exceptions = append(data.Exceptions, events.Exception{Line: r.Line.Line, Counted: e.Counted, Reason: e.Reason})
		}
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(b, &events.Observation{Station: v.station, Kind: events.KindSetPacked, Time: at, Set: b.Tag, Operator: b.Operator, Data: data})
	if err != nil {
		return said{}, err
	}
	if err := v.d.files.removeDraft(d); err != nil {
		return said{}, err
	}
	set := b.Tag
	s := good(v.t("recorded-packing", set, len(data.Exceptions)), "")
	if p.Over {
		s = doubt(s.Words, v.t("too-heavy", v.w.Kg(b.WeightGrams), v.w.Kg(p.Limit)))
	}
	b.clear()
	b.Done = &done{Words: s.Words, Set: set, Trip: rs[0].Trip, Seqs: seqs(rs), Links: []link{
		{v.d.stationPath(v.station, "sealing") + "?set=" + url.QueryEscape(set), v.t("go-seal", set), true}}}
	return s, nil
}

func (w packing) body(v *visit, b *bench) (any, error) {
	p, _, err := w.load(v, b)
	return p, err
}

package workplace

import (
	"net/url"
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections"
)

// reading is the workplace where a set's tag, label and sheet are read: opening
// a set for a case, or a look in between (storage, case cart).
//
// A scan shows the verdict and records nothing: who looks something up must not
// thereby open a set. Enter records what was found, right or wrong.
type reading struct{ opening bool }

func (w reading) wants(v *visit, b *bench) []events.ScanKind {
	out := []events.ScanKind{events.ScanSet, events.ScanSheet, events.ScanShort, events.ScanBadge, events.ScanSeal}
	if w.opening {
		return append(out, events.ScanCase)
	}
	return out
}

func (w reading) scan(v *visit, b *bench, s events.Scan) (said, error) {
	switch s.Kind {
	case events.ScanBadge:
		v.takeBadge(b, s.Value)
	case events.ScanCase:
		if !w.opening {
			return said{}, v.sayNo("taken-for-not-here", v.t("kind-case"), s.Value)
		}
		b.Case = s.Value
	case events.ScanPlace:
		b.Where = s.Value
	case events.ScanSet:
		switch {
		case b.Tag == "":
			b.Tag = s.Value
			b.Done = nil
		case b.Outer == "":
			b.Outer = s.Value
		case s.Value != b.Tag && s.Value != b.Outer:
			return said{}, v.sayNo("third-set", s.Value, b.Tag)
		}
	case events.ScanSheet:
		found := string(events.Outside)
		set, _, err := w.current(v, b)
		if err != nil {
			return said{}, err
		}
		if set != nil && set.Placement != "" && set.Placement != events.Screen {
			found = string(set.Placement)
		} else if b.Sheet != nil && b.Sheet.Found != events.FoundNone {
			found = b.Sheet.Found
		}
		b.Sheet = &events.Reading{Found: found, Code: s.Value}
	case events.ScanShort:
		return w.short(v, b, s.Value)
	case events.ScanSeal:
		if !slices.Contains(b.Seals, s.Value) {
			b.Seals = append(b.Seals, s.Value)
		}
	default:
		return said{}, v.sayNo("taken-for-not-here", v.t("kind-"+strings.ReplaceAll(string(s.Kind), " ", "-")), s.Value)
	}
	return w.verdict(v, b)
}

// short compares a short code by ear with the set's own. It is no proof, so it
// is not recorded as a reading.
func (w reading) short(v *visit, b *bench, short string) (said, error) {
	set, _, err := w.current(v, b)
	if err != nil {
		return said{}, err
	}
	if set == nil || set.Code == "" {
		return said{}, v.sayNo("short-needs-set", short)
	}
	c, err := events.ParseSheetCode(set.Code)
	if err != nil {
		return said{}, err
	}
	if c.Short() == short {
		return doubt(v.t("short-fits", short, set.Key.Set), v.t("short-no-proof")), nil
	}
	return wrong(v.t("short-differs", short, set.Key.Set, c.Short()), v.t("short-no-proof")), nil
}

// standing is what is known of the set on the bench.
type standing struct {
	projections.SetStanding
	Placement events.Placement
	Seals     []string
}

// current returns the set on the bench as the ledger knows it, nil where there
// is none or it was never packed here.
func (w reading) current(v *visit, b *bench) (*standing, string, error) {
	id := b.Tag
	if id == "" {
		id = b.Outer
	}
	if id == "" {
		return nil, "", nil
	}
	s, err := v.standing(id)
	return s, id, err
}

func (v *visit) standing(set string) (*standing, error) {
	if st, ok := v.stood[set]; ok {
		return st, nil
	}
	st, err := v.findStanding(set)
	if err == nil {
		if v.stood == nil {
			v.stood = make(map[string]*standing)
		}
		v.stood[set] = st
	}
	return st, err
}

func (v *visit) findStanding(set string) (*standing, error) {
	trip, err := v.d.site.TripNow(v, set, v.now)
	if err != nil || trip == "" {
		return nil, err
	}
	out := new(standing)
	err = v.d.site.World(v, func(w *projections.World) error {
		k := projections.TripKey{Set: set, Trip: trip}
		var err error
		if out.SetStanding, err = w.Standing(k); err != nil {
			return err
		}
		seal, err := w.Sealed(k)
		if seal != nil {
			out.Placement, out.Seals = seal.Placement, seal.Seals
		}
		return err
	})
	return out, err
}

func (w reading) observation(v *visit, b *bench, set string) *events.Observation {
	o := &events.Observation{Station: v.station, Time: v.now.UTC(), Set: set, Operator: b.Operator}
	if w.opening {
		o.Kind, o.Data = events.KindSetOpened, &events.SetOpened{
			Case: b.Case, Room: b.Where, Tag: b.Tag, OuterLabel: b.Outer, Sheet: b.Sheet, Seals: b.Seals, SealBroken: b.SealBroken, Indicator: b.Indicator,
		}
	} else {
		o.Kind, o.Data = events.KindSetChecked, &events.SetChecked{
			Place: b.Where, Tag: b.Tag, OuterLabel: b.Outer, Sheet: b.Sheet, Seals: b.Seals, SealBroken: b.SealBroken,
		}
	}
	return o
}

// verdict says at once what the scans so far come to.
func (w reading) verdict(v *visit, b *bench) (said, error) {
	cur, id, err := w.current(v, b)
	if err != nil {
		return said{}, err
	}
	if id == "" {
		if b.Sheet == nil || b.Sheet.Code == "" {
			return w.missing(v, b, ask), nil
		}
		owner, where, since, err := v.sheetOwner(b.Sheet.Code)
		if err != nil {
			return said{}, err
		}
		if owner.Set == "" {
			return wrong(v.t("sheet-of-nobody"), v.t("sheet-of-nobody-next")), nil
		}
		return ask(v.t("sheet-of", owner.Set), v.nowAt(owner.Set, where, since)), nil
	}
	if cur == nil {
		return doubt(v.t("never-packed", id), v.t("never-packed-next")), nil
	}
	o := w.observation(v, b, id)
	if d, ok := o.Data.(*events.SetOpened); ok && d.Case == "" {
		d.Case = "–" // not scanned yet; nothing of this is recorded
	}
	verdict, err := v.d.site.Preview(v, o)
	if err != nil {
		return said{}, err
	}
	skip := []projections.Code{projections.CountMissing}
	if b.Sheet == nil && cur.Placement != events.Screen {
		// Nobody has looked for the sheet yet, so that it wasn't read says nothing.
		skip = append(skip, projections.LinkMissing, projections.SheetAbsent)
	}
	s := v.judged(verdict, skip...)
	if s.Words != "" {
		if err := v.whereOther(verdict, &s); err != nil {
			return said{}, err
		}
		return s, nil
	}
	if b.Sheet == nil && cur.Placement != events.Screen {
		return w.missing(v, b, ask), nil
	}
	if cur.Placement == events.Screen {
		s = good(v.t("screen-belongs", id), "")
	} else {
		s = good(v.t("sheet-belongs", id), v.t("sheet-belongs-more", cur.List, cur.Version, len(cur.Lines)))
	}
	s.Next = w.missing(v, b, ask).Words
	return s, nil
}

// whereOther adds where the set is to which the wrong sheet or label belongs.
func (v *visit) whereOther(verdict *projections.Verdict, s *said) error {
	for _, f := range verdict.Findings {
		if f.Other == nil || f.Other.Set == "" {
			continue
		}
		o, err := v.d.site.Verdict(v, *f.Other)
		if err != nil {
			return err
		}
		if o != nil && o.Where != "" {
			s.Where = v.nowAt(f.Other.Set, o.Where, o.Since)
		}
		return nil
	}
	return nil
}

// missing says what is scanned next, or that Enter records.
func (w reading) missing(v *visit, b *bench, as func(words, more string) said) said {
	switch {
	case b.Tag == "":
		return as(v.t("scan-tag"), "")
	case b.Outer == "" && w.opening:
		return as(v.t("scan-outer", b.Tag), "")
	case b.Sheet == nil:
		return as(v.t("scan-sheet", b.Tag), "")
	case w.opening && b.Case == "":
		return as(v.t("scan-case"), "")
	case b.Operator == "":
		return as(v.t("scan-badge"), "")
	}
	if w.opening {
		return as(v.t("enter-opens", b.Tag, b.Case), "")
	}
	return as(v.t("enter-checks", b.Tag), "")
}

func (w reading) do(v *visit, b *bench, action string, fields map[string]string) (said, error) {
	switch action {
	case "clear":
		b.clear()
		b.Done = nil
		return v.begin(), nil
	case "swap":
		b.Tag, b.Outer = b.Outer, b.Tag
	case "found":
		where := fields["found"]
		if where == "unreadable" {
			found := string(events.Outside)
			if b.Sheet != nil && b.Sheet.Found != events.FoundNone {
				found = b.Sheet.Found
			}
			b.Sheet = &events.Reading{Found: found, Unreadable: true}
			break
		}
		r := events.Reading{Found: where}
		if b.Sheet != nil && where != events.FoundNone {
			r.Code, r.Unreadable = b.Sheet.Code, b.Sheet.Unreadable
		}
		b.Sheet = &r
	case "indicator":
		if b.Indicator = fields["indicator"]; b.Indicator != "pass" && b.Indicator != "fail" {
			b.Indicator = ""
		}
	case "seal-broken":
		b.SealBroken = !b.SealBroken
	case "seals-none":
		b.Seals = nil
	case "where":
		b.Where = strings.TrimSpace(fields["where"])
	case "case":
		if b.Case = strings.TrimSpace(fields["case"]); b.Case == "" {
			return w.missing(v, b, ask), nil
		}
	case "enter", "record":
		return w.record(v, b)
	default:
		return said{}, v.sayNo("no-such-button", action)
	}
	return w.verdict(v, b)
}

// record takes what was read into the ledger. What is wrong is recorded too:
// it is what happened.
func (w reading) record(v *visit, b *bench) (said, error) {
	cur, id, err := w.current(v, b)
	if err != nil {
		return said{}, err
	}
	bare := cur != nil && cur.Placement == events.Screen
	switch {
	case id == "":
		return w.missing(v, b, ask), nil
	case w.opening && b.Case == "":
		return ask(v.t("scan-case"), ""), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case w.opening && b.Sheet == nil && !bare && cur != nil:
		return ask(v.t("sheet-or-none", id), ""), nil
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	o := w.observation(v, b, id)
	o.Time = at
	rs, err := v.observe(b, o)
	if err != nil {
		return said{}, err
	}
	verdict, err := v.d.site.Verdict(v, projections.TripKey{Set: id, Trip: rs[0].Trip})
	if err != nil {
		return said{}, err
	}
	s := good(v.t("recorded-check", id), "")
	d := &done{Set: id, Trip: rs[0].Trip, Seqs: seqs(rs)}
	if w.opening {
		s = good(v.t("recorded-opening", id, b.Case), "")
		d.Case = b.Case
		d.Links = []link{{v.d.stationPath(v.station, "count") + "?case=" + url.QueryEscape(b.Case), v.t("go-count", b.Case), true}}
	}
	if verdict != nil {
		if j := v.judged(verdict, projections.CountMissing); j.Words != "" {
			if err := v.whereOther(verdict, &j); err != nil {
				return said{}, err
			}
			j.Words = s.Words + " " + j.Words
			s = j
		}
	}
	d.Words = s.Words
	b.clear()
	b.Done = d
	return s, nil
}

type readingBody struct {
	Opening bool
	Set     *standing
	Cases   []string
	Wants   []events.ScanKind
}

func (w reading) body(v *visit, b *bench) (any, error) {
	cur, _, err := w.current(v, b)
	if err != nil {
		return nil, err
	}
	if cur == nil && b.Done != nil && b.Done.Set != "" && w.opening {
		if cur, err = v.standing(b.Done.Set); err != nil {
			return nil, err
		}
	}
	out := readingBody{Opening: w.opening, Set: cur, Wants: w.wants(v, b)}
	if w.opening {
		out.Cases, err = v.d.site.OpenCases(v, v.station, v.now.Add(-dayAndHalf))
	}
	return out, err
}

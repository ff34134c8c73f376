package workplace

import (
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// reading is what the drafts of the workplaces share where a set's tag, label
// and sheet are read: opening a set for a case, or a look in between (storage,
// case cart).
//
// A scan shows the verdict and records nothing: who looks something up must not
// thereby open a set. Enter records what was found, right or wrong.
type reading struct {
	hand
	Where      string          `json:"where,omitempty"` // place or room, as people call it
	Outer      string          `json:"outer,omitempty"`
	Sheet      *events.Reading `json:"sheet,omitempty"`
	Seals      []string        `json:"seals,omitempty"`
	SealBroken bool            `json:"sealBroken,omitempty"`
}

func (b *reading) idle() bool { return b.hand.idle() && b.Outer == "" && b.Sheet == nil }

// kept is what stays when the bench is cleared.
func (b *reading) kept() reading { return reading{hand: b.hand.kept(), Where: b.Where} }

// wantsRead are the scans that reading takes.
func (b *reading) wantsRead() []want {
	return []want{
		{events.ScanSet, b.Tag == ""}, {events.ScanSheet, false}, {events.ScanShort, false},
		{events.ScanBadge, b.Operator == ""},
	}
}

func (b *reading) scanBadge(_ *visit, badge string) (said, error) {
	b.Operator = badge
	return said{}, nil
}

func (b *reading) scanPlace(_ *visit, place string) (said, error) {
	b.Where = place
	return said{}, nil
}

// scanSet takes the tag on the tray, then the outer label.
func (b *reading) scanSet(v *visit, set string) (said, error) {
	switch {
	case b.Tag == "":
		b.Tag, b.Done = set, nil
	case b.Outer == "":
		b.Outer = set
	case set != b.Tag && set != b.Outer:
		return said{}, v.sayNo("third-set", set, b.Tag)
	}
	return said{}, nil
}

func (b *reading) scanSheet(v *visit, code string) (said, error) {
	found := string(events.Outside)
	set, err := b.current(v)
	if err != nil {
		return said{}, err
	}
	if set != nil && set.Placement != "" && set.Placement != events.Screen {
		found = string(set.Placement)
	} else if b.Sheet != nil && b.Sheet.Found != events.FoundNone {
		found = b.Sheet.Found
	}
	b.Sheet = &events.Reading{Found: found, Code: code}
	return said{}, nil
}

func (b *reading) scanSeal(_ *visit, seal string) (said, error) {
	if !slices.Contains(b.Seals, seal) {
		b.Seals = append(b.Seals, seal)
	}
	return said{}, nil
}

// scanShort compares a short code by ear with the set's own. It is no proof, so
// it is not recorded as a reading.
func (b *reading) scanShort(v *visit, short string) (said, error) {
	set, err := b.current(v)
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

// id is the set on the bench, by its tag or else by its outer label.
func (b *reading) id() string { return firstOf(b.Tag, b.Outer) }

// current returns the set on the bench as the ledger knows it, nil where there
// is none or it was never packed here.
func (b *reading) current(v *visit) (*standing, error) {
	if b.id() == "" {
		return nil, nil
	}
	return v.standing(b.id())
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
	err = v.d.site.World(v, func(w *judge.World) error {
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

// judge tells at once what the scans so far come to, if they were recorded as o.
// next is what is to be scanned next, in words.
func (b *reading) judge(v *visit, o *events.Observation, next string) (said, error) {
	cur, err := b.current(v)
	switch {
	case err != nil:
		return said{}, err
	case b.id() == "":
		return b.judgeSheet(v, next)
	case cur == nil:
		return doubt(v.t("never-packed", b.id()), v.t("never-packed-next")), nil
	}
	verdict, err := v.d.site.Preview(v, o)
	if err != nil {
		return said{}, err
	}
	skip := []projections.Code{projections.CountMissing}
	looked := b.Sheet != nil || cur.Placement == events.Screen
	if !looked {
		// Nobody has looked for the sheet yet, so that it wasn't read says nothing.
		skip = append(skip, projections.LinkMissing, projections.SheetAbsent)
	}
	s := v.judged(verdict, skip...)
	switch {
	case s.Words != "":
		err := v.whereOther(verdict, &s)
		return s, err
	case !looked:
		return ask(next, ""), nil
	case cur.Placement == events.Screen:
		s = good(v.t("screen-belongs", b.id()), "")
	default:
		s = good(v.t("sheet-belongs", b.id()), v.t("sheet-belongs-more", cur.List, cur.Version, len(cur.Lines)))
	}
	s.Next = next
	return s, nil
}

// judgeSheet tells whose sheet lies on the bench without a set.
func (b *reading) judgeSheet(v *visit, next string) (said, error) {
	if b.Sheet == nil || b.Sheet.Code == "" {
		return ask(next, ""), nil
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

// swap exchanges tag and outer label, scanned the other way round.
func (b *reading) swap(*visit, fields) (said, error) {
	b.Tag, b.Outer = b.Outer, b.Tag
	return said{}, nil
}

// findSheet notes where the sheet was, or that it was not there or not readable.
func (b *reading) findSheet(_ *visit, f fields) (said, error) {
	where := f["found"]
	if where == "unreadable" {
		found := string(events.Outside)
		if b.Sheet != nil && b.Sheet.Found != events.FoundNone {
			found = b.Sheet.Found
		}
		b.Sheet = &events.Reading{Found: found, Unreadable: true}
		return said{}, nil
	}
	r := events.Reading{Found: where}
	if b.Sheet != nil && where != events.FoundNone {
		r.Code, r.Unreadable = b.Sheet.Code, b.Sheet.Unreadable
	}
	b.Sheet = &r
	return said{}, nil
}

func (b *reading) toggleSealBroken(*visit, fields) (said, error) {
	b.SealBroken = !b.SealBroken
	return said{}, nil
}

func (b *reading) noSeals(*visit, fields) (said, error) {
	b.Seals = nil
	return said{}, nil
}

func (b *reading) takeWhere(_ *visit, f fields) (said, error) {
	b.Where = strings.TrimSpace(f["where"])
	return said{}, nil
}

// recordReading takes what was read into the ledger, and says what it comes to
// behind s, which says what was recorded.
func (v *visit) recordReading(o *events.Observation, s said) (said, *done, error) {
	rs, err := v.observe(o)
	if err != nil {
		return said{}, nil, err
	}
	verdict, err := v.d.site.Verdict(v, projections.TripKey{Set: o.Set, Trip: rs[0].Trip})
	if err != nil {
		return said{}, nil, err
	}
	if verdict != nil {
		if j := v.judged(verdict, projections.CountMissing); j.Words != "" {
			if err := v.whereOther(verdict, &j); err != nil {
				return said{}, nil, err
			}
			j.Words = s.Words + " " + j.Words
			s = j
		}
	}
	return s, &done{Words: s.Words, Set: o.Set, Trip: rs[0].Trip, Seqs: seqs(rs)}, nil
}

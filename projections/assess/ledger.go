package assess

import (
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/rates"
)

// Ledger is what was counted at a site in a time: the part of an assessment that no
// paper has.
type Ledger struct {
	From        time.Time          `json:"from,omitzero"` // first and last opening
	To          time.Time          `json:"to,omitzero"`
	PerDay      float64            `json:"openingsPerDay"`
	Placements  []Measured         `json:"placements"`
	Differences []rates.Difference `json:"differences,omitempty"` // of the placements compared, in wrong and missing lists together
	Adopted     *Adopted           `json:"adopted,omitempty"`     // the policy that says last where sheets travel
}

// Adopted is the policy by which count sheets travel where they do, and what was counted before it and since.
type Adopted struct {
	Seq        int64              `json:"seq"` // of its record
	At         time.Time          `json:"at"`
	Placements []events.Placement `json:"placements"` // none: anywhere
	Was        []events.Placement `json:"was"`        // by the policy before
	*rates.Halves
}

// Measured is what was counted of one placement.
type Measured struct {
	Placement Placement   `json:"placement"`
	All       rates.Group `json:"all"`     // wrong and missing lists
	Wrong     rates.Count `json:"wrong"`   // in what was read, weighed as an exchange shows
	Missing   rates.Count `json:"missing"` // in what was read: a list that is missing shows on one set
}

// Enough reports whether the numbers stand in for start values: fewer than 299 openings
// read can't rule out one in a hundred, whatever was seen, and where less than half was
// read nobody knows what the rest was.
func (m *Measured) Enough() bool {
	const half, oneIn = 0.5, 0.01
	return m.All.Read >= rates.CleanFor(oneIn, 0, rates.Confidence) && m.All.ReadShare() >= half
}

// counted are the values that come from the ledger, by the gates and controls that they
// are of.
func (m *Measured) counted(hazard string) map[string]*Value {
	if m == nil || !m.Enough() {
		return nil
	}
	value := func(id string, c rates.Count) *Value {
		return &Value{Start: SourceLedger + "/" + m.Placement + "/" + id, Source: SourceLedger, Count: &c}
	}
	if hazard == MissingList {
		if m.Placement == Screen {
			return nil // a screen has no sheet that could be missing
		}
		return map[string]*Value{missingAtOpening: value(missingAtOpening, m.Missing)}
	}
	unread := rates.Count{Seen: m.All.Openings - m.All.Read, Of: m.All.Openings}
	return map[string]*Value{wrongAtOpening: value(wrongAtOpening, m.Wrong), CodeRead: value(CodeRead, unread)}
}

// missing are the findings that say that no list was there.
func missing() []projections.Code { return []projections.Code{projections.SheetAbsent} }

// NewLedger counts openings, in order of time, and what was found at them, for the
// placements that are compared, and before and after a policy was adopted, where one was.
// Findings are those of all times: what is found of one turn can be an incident with
// another, months before.
func NewLedger(
	openings []rates.Opening, found []projections.Verdict, placements []Placement, adopted *Adopted, o rates.Options,
) *Ledger {
	r := rates.NewReport(openings, rates.Incidents(found), o)
	l := &Ledger{From: r.From, To: r.To, PerDay: r.PerDay, Adopted: adopted}
	if adopted != nil {
		adopted.Halves = rates.NewHalves(openings, rates.Incidents(found), adopted.At, o)
	}
	isMissing := func(f projections.Finding) bool { return slices.Contains(missing(), f.Code) }
	none := groups(openings, only(found, isMissing), o)
	wrong := groups(openings, only(found, func(f projections.Finding) bool { return !isMissing(f) }), o)
	all := groups(openings, found, o)
	for _, p := range placements {
		g, ok := all[p]
		if !ok {
			continue
		}
		n, w := none[p], wrong[p]
		l.Placements = append(l.Placements, Measured{
			Placement: p, All: g, Wrong: w.Evidence(), Missing: rates.Count{Seen: n.Incidents, Of: max(n.Read, n.Incidents)},
		})
	}
	pairs := len(l.Placements) * (len(l.Placements) - 1) / 2
	for i := range l.Placements {
		for j := i + 1; j < len(l.Placements); j++ {
			l.Differences = append(l.Differences, r.Compare(&l.Placements[i].All, &l.Placements[j].All, rates.Level/float64(pairs)))
		}
	}
	return l
}

// of returns what was counted of a placement, nil where none was opened.
func (l *Ledger) of(p Placement) *Measured {
	for i := range l.Placements {
		if l.Placements[i].Placement == p {
			return &l.Placements[i]
		}
	}
	return nil
}

// only leaves those findings that are wanted.
func only(verdicts []projections.Verdict, wanted func(projections.Finding) bool) []projections.Verdict {
	out := slices.Clone(verdicts)
	for i := range out {
		out[i].Findings = slices.DeleteFunc(slices.Clone(out[i].Findings), func(f projections.Finding) bool { return !wanted(f) })
	}
	return out
}

func groups(openings []rates.Opening, found []projections.Verdict, o rates.Options) map[string]rates.Group {
	out := make(map[string]rates.Group)
	for _, g := range rates.Groups(openings, rates.Incidents(found), rates.ByPlacement, o) {
		out[g.Name] = g
	}
	return out
}

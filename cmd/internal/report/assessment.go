package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"listbound/cmd/internal/figure"
	"listbound/events"
	"listbound/projections/assess"
	"listbound/projections/rates"
	"listbound/projections/words"
)

// Section is a part of an assessment in words: pages, prints and the terminal show the same.
type Section struct {
	Title  string
	Says   []string
	Tables []Rows

	Pictures []figure.Figure
}

// Rows is a table of a section.
type Rows struct {
	ID      string // of files
	Title   string
	Columns []string // what stands behind board.column-
	Rows    [][]string
}

// assessed puts an assessment into words.
type assessed struct {
	*assess.Assessment
	l *words.Language
}

// perMillion is the unit of trees: an opening is seldom fatal.
const perMillion = 1e6

// AssessmentSections says an assessment, in the order of ISO 14971.
func AssessmentSections(a *assess.Assessment, l *words.Language) []Section {
	v := assessed{a, l}
	out := []Section{v.scope()}
	for i := range a.Analysis {
		out = append(out, v.analysis(&a.Analysis[i], i == 0))
	}
	return append(out, v.evaluation(), v.control(), v.residual(), v.review(), v.since(), v.numbers())
}

// WriteAssessment writes an assessment for a terminal.
func WriteAssessment(w io.Writer, a *assess.Assessment, l *words.Language) error {
	p := &printer{w: w}
	p.wrapped("", l.Say("board.assess"))
	for _, s := range AssessmentSections(a, l) {
		p.f("\n")
		p.wrapped("", s.Title)
		for _, line := range s.Says {
			p.wrapped("  ", line)
		}
		for _, t := range s.Tables {
			if len(t.Rows) > 0 && t.Title != s.Title {
				p.wrapped("  ", t.Title)
			}
			for _, row := range t.Rows {
				p.wrapped("    ", inOneLine(&t, row, l))
			}
		}
	}
	p.f("\n")
	p.wrapped("", Caution)
	return p.err
}

// inOneLine is a row with the names of its columns: tables of so long texts are too wide
// for a terminal.
func inOneLine(t *Rows, row []string, l *words.Language) string {
	var out []string
	for i, x := range row {
		switch {
		case x == "":
		case i == 0:
			out = append(out, x)
		default:
			out = append(out, l.Say("board.column-"+t.Columns[i])+": "+x)
		}
	}
	return strings.Join(out, "; ")
}

func (v *assessed) placement(p string) string { return v.l.Say("board.placement-" + p) }

func (v *assessed) hazard(h string) string { return v.l.Say("board.assess-hazard-" + h) }

func (v *assessed) event(e string) string { return v.l.Say("board.assess-event-" + e) }

func (v *assessed) million(x float64) string { return v.l.Figures(x*perMillion, 3) }

func (v *assessed) yesNo(is bool) string {
	if is {
		return v.l.Say("board.assess-yes")
	}
	return v.l.Say("board.assess-no")
}

// said is a text of the site, or that there is none.
func (v *assessed) said(text string) string {
	if strings.TrimSpace(text) == "" {
		return v.l.Say("board.assess-nothing-said")
	}
	return text
}

func (v *assessed) scope() Section {
	var placements []string
	for _, p := range v.Choices.Placements {
		placements = append(placements, v.placement(p))
	}
	s := Section{Title: v.l.Say("board.assess-part-scope"), Says: []string{
		v.l.Say("board.assess-lead"), v.l.Say("board.assess-compared", strings.Join(placements, "; ")),
	}}
	if v.Ledger.PerDay > 0 {
		s.Says = append(s.Says, v.l.Say("board.assess-time", v.l.Day(v.Ledger.From), v.l.Day(v.Ledger.To), v.l.Figures(v.Ledger.PerDay, 3)))
	} else {
		s.Says = append(s.Says, v.l.Say("board.assess-time-none"))
	}
	if v.Decides != "" {
		s.Says = append(s.Says, v.l.Say("board.assess-decides", v.Decides))
	} else {
		s.Says = append(s.Says, v.l.Say("board.assess-decides-nobody"))
	}
	s.Says = append(s.Says, v.l.Say("board.assess-unit"), v.l.Say("board.assess-seed", v.l.Num(assess.Draws), fmt.Sprint(v.Seed)))
	return s
}

// analysis is a hazard, with what its trees say.
func (v *assessed) analysis(h *assess.Analysed, first bool) Section {
	s := Section{Title: v.hazard(h.ID), Says: []string{
		v.l.Say("board.assess-side-"+string(h.Side)) + ". " + v.l.Say("board.assess-about-"+h.ID),
	}}
	if first {
		s.Title = v.l.Say("board.assess-part-analysis") + ": " + s.Title
	}
	if len(h.Sources) > 0 {
		s.Says = append(s.Says, v.l.Say("board.assess-sources", strings.Join(v.cited(h.Sources), "; ")))
	}
	if !h.Tree {
		return s
	}
	chance := Rows{ID: "assess-" + h.ID, Title: v.l.Say("board.assess-rates", v.hazard(h.ID)),
		Columns: []string{"assess-placement", "assess-start", "assess-counted", "assess-year"}}
	enough := Rows{ID: "assess-enough-" + h.ID, Title: v.l.Say("board.assess-enough", v.hazard(h.ID)),
		Columns: []string{"assess-placement", "assess-together", "assess-chance"}}
	turns := Rows{ID: "assess-turns-" + h.ID, Title: v.l.Say("board.assess-turns", v.hazard(h.ID)),
		Columns: []string{"assess-placement", "assess-what", "assess-low", "assess-high"}}
	for i := range h.At {
		c := &h.At[i]
		year := v.l.Say("board.assess-no-number")
		if c.PerYear != nil {
			year = v.l.Figures(*c.PerYear, 3)
		}
		chance.Rows = append(chance.Rows, []string{v.placement(c.Placement), v.chance(c.FromStart), v.chance(c.Counted), year})
		r := c.Best()
		for _, set := range r.CutSets {
			enough.Rows = append(enough.Rows, []string{v.placement(c.Placement), v.events(set.Events), v.ofSet(r, &set)})
		}
		for _, b := range r.Tornado {
			turns.Rows = append(turns.Rows, []string{v.placement(c.Placement), v.bar(&b), v.million(b.Low), v.million(b.High)})
		}
	}
	s.Tables, s.Pictures = []Rows{chance, enough, turns}, v.pictures(h)
	return s
}

// chance is a top event's probability, with what is known of it.
func (v *assessed) chance(r *assess.Result) string {
	if r == nil {
		return v.l.Say("board.assess-not-enough")
	}
	if r.Sampled == nil {
		return v.l.Say("board.assess-no-number")
	}
	says := v.l.Say("board.assess-range", v.million(r.Top.Exact), v.million(r.Sampled.Low), v.million(r.Sampled.High))
	if len(r.Without) > 0 {
		says = v.l.Say("board.assess-at-least", says, v.events(r.Without))
	}
	return says
}

// ofSet is the probability of a cut set, which has none where an event of it has none.
func (v *assessed) ofSet(r *assess.Result, set *assess.CutSet) string {
	if slices.ContainsFunc(set.Events, func(e string) bool { return slices.Contains(r.Without, e) }) {
		return v.l.Say("board.assess-no-number")
	}
	return v.million(set.Chance)
}

func (v *assessed) events(ids []string) string {
	var out []string
	for _, id := range ids {
		out = append(out, v.event(id))
	}
	return strings.Join(out, " + ")
}

func (v *assessed) bar(b *assess.Bar) string {
	if b.Dependence {
		return v.l.Say("board.assess-dependence-of", v.events(b.Events))
	}
	return v.events(b.Events)
}

func (v *assessed) cited(ids []string) (out []string) {
	for _, s := range v.Sources {
		if slices.Contains(ids, s.ID) {
			out = append(out, s.Cites)
		}
	}
	return out
}

func (v *assessed) evaluation() Section {
	s := Section{Title: v.l.Say("board.assess-part-evaluation"), Says: []string{v.l.Say("board.assess-hidden")}}
	t := Rows{ID: "assess-table", Title: v.l.Say("board.assess-part-evaluation"), Columns: []string{"assess-hazard", "assess-placement",
		"assess-severity", "assess-likelihood", "assess-score", "assess-decision", "assess-words"}}
	for i := range v.Analysis {
		h := &v.Analysis[i]
		for k := range h.At {
			t.Rows = append(t.Rows, v.evaluated(h, &h.At[k]))
		}
	}
	s.Tables = []Rows{t}
	return s
}

func (v *assessed) evaluated(h *assess.Analysed, c *assess.Cell) []string {
	open := v.l.Say("board.assess-open")
	severity, likelihood, score, decision := open, open, "", ""
	if h.Severity > 0 {
		severity = v.severity(h.Severity)
	}
	if c.Likelihood > 0 {
		likelihood = v.likelihood(c.Likelihood)
	}
	if c.Reckoned > 0 && c.Reckoned != c.Likelihood {
		likelihood = v.l.Say("board.assess-reckoned", likelihood, v.likelihood(c.Reckoned))
	}
	if c.Score > 0 {
		score, decision = fmt.Sprint(c.Score), v.l.Say("board.assess-decision-"+string(c.Decision))
	}
	return []string{v.hazard(h.ID), v.placement(c.Placement), severity, likelihood, score, decision, h.Words}
}

func (v *assessed) severity(n int) string { return v.l.Say("board.assess-severity-" + fmt.Sprint(n)) }

func (v *assessed) likelihood(n int) string {
	return v.l.Say("board.assess-likelihood-" + fmt.Sprint(n))
}

func (v *assessed) control() Section {
	t := Rows{ID: "assess-controls", Title: v.l.Say("board.assess-part-control"),
		Columns: []string{"assess-control", "assess-hazard", "assess-taken", "assess-effect"}}
	for _, k := range v.Control {
		effect := v.l.Say("board.assess-no-number")
		if i := slices.IndexFunc(v.Starts, func(s assess.Start) bool { return s.Start == k.Start }); i >= 0 {
			effect = v.l.Say("board.assess-fails", v.million(v.Starts[i].Nominal()))
		}
		t.Rows = append(t.Rows, []string{v.l.Say("board.assess-control-" + k.ID), v.hazard(k.Hazard), v.yesNo(k.Taken), effect})
	}
	return Section{Title: t.Title, Tables: []Rows{t}}
}

func (v *assessed) residual() Section {
	s := Section{Title: v.l.Say("board.assess-part-residual"), Says: []string{v.said(v.Residual.Words)}}
	for _, c := range v.Residual.Proceed {
		s.Says = append(s.Says, v.l.Say("board.assess-proceed-at", v.hazard(c.Hazard), v.placement(c.Placement)))
	}
	for _, c := range v.Residual.Open {
		s.Says = append(s.Says, v.l.Say("board.assess-open-at", v.hazard(c.Hazard), v.placement(c.Placement)))
	}
	return s
}

func (v *assessed) review() Section {
	return Section{Title: v.l.Say("board.assess-part-review"), Says: []string{v.said(v.Review)}}
}

// since is what the ledger says: the part that goes on after the assessment.
func (v *assessed) since() Section {
	t := Rows{ID: "assess-ledger", Title: v.l.Say("board.assess-part-since"), Columns: []string{"assess-placement", "assess-openings",
		"assess-read", "assess-wrong", "assess-missing", "assess-rate"}}
	for i := range v.Ledger.Placements {
		m := &v.Ledger.Placements[i]
		t.Rows = append(t.Rows, []string{v.placement(m.Placement), v.l.Num(m.All.Openings), v.l.Figures(100*m.All.ReadShare(), 3) + " %",
			v.l.Num(m.Wrong.Seen), v.l.Num(m.Missing.Seen), v.rate(&m.All)})
	}
	s := Section{Title: t.Title, Says: []string{v.l.Say("board.assess-counted-when", rates.CleanFor(0.01, 0, rates.Confidence))},
		Tables: []Rows{t}}
	for i := range v.Compared {
		s.Says = append(s.Says, v.compared(&v.Compared[i])...)
	}
	if a := v.Ledger.Adopted; a != nil {
		s.Says = append(s.Says, v.adopted(a)...)
		if a.Halves != nil {
			s.Tables = append(s.Tables, v.halves(a.Halves))
		}
	}
	return s
}

// places are where count sheets travel by a policy.
func (v *assessed) places(at []events.Placement) string {
	var out []string
	for _, p := range at {
		out = append(out, v.placement(string(p)))
	}
	return cmp.Or(strings.Join(out, "; "), v.l.Say("board.assess-anywhere"))
}

// adopted is what changed with the policy that says where sheets travel, and whether what was counted differs since.
func (v *assessed) adopted(a *assess.Adopted) []string {
	out := []string{v.l.Say("board.assess-adopted", v.l.Time(a.At), a.Seq, v.places(a.Placements), v.places(a.Was))}
	if a.Halves == nil {
		return append(out, v.l.Say("board.assess-adopted-one-side"))
	}
	d := &a.Difference
	says := v.l.Say("board.rates-told-" + string(d.Told))
	if d.Told != rates.NotCompared {
		says += " " + v.l.Say("board.assess-p", v.l.Figures(d.P, 3), v.l.Figures(d.Level, 3), v.l.Say("board.assess-"+d.A), v.l.Figures(d.Worse, 3))
	}
	return append(out, says+" "+v.l.Say("board.assess-adopted-besides"))
}

// halves is what was counted before the policy and since.
func (v *assessed) halves(h *rates.Halves) Rows {
	t := Rows{ID: "assess-halves", Title: v.l.Say("board.assess-halves"),
		Columns: []string{"assess-when", "assess-openings", "assess-read", "assess-incidents", "assess-rate"}}
	for _, g := range []*rates.Group{&h.Before, &h.After} {
		t.Rows = append(t.Rows, []string{v.l.Say("board.assess-" + g.Name), v.l.Num(g.Openings), v.l.Figures(100*g.ReadShare(), 3) + " %",
			v.l.Num(g.Incidents), v.rate(g)})
	}
	return t
}

// rate is a rate per 1,000 with its exact bounds.
func (v *assessed) rate(g *rates.Group) string {
	middle := v.l.Say("board.rates-none-seen")
	if g.PerThousand.Rate != nil {
		middle = v.l.Figures(*g.PerThousand.Rate, 3)
	}
	return v.l.Say("board.assess-range", middle, v.l.Figures(g.PerThousand.Exact.Low, 3), v.l.Figures(g.PerThousand.Exact.High, 3))
}

// compared is what can be said of two placements, and what can't.
func (v *assessed) compared(p *assess.ComparedPair) []string {
	a, b := v.placement(p.A), v.placement(p.B)
	says := v.l.Say("board.assess-says-"+string(p.Says), a, b)
	if d := p.Difference; d != nil && p.Says != assess.NotCompared {
		says += " " + v.l.Say("board.assess-p", v.l.Figures(d.P, 3), v.l.Figures(d.Level, 3), a, v.l.Figures(d.Worse, 3))
		switch {
		case d.More == 0 && d.For == rates.Threefold:
			says += " " + v.l.Say("board.rates-enough")
		case d.More == 0:
		case d.For == rates.Threefold:
			says += " " + v.l.Say("board.assess-until-threefold", d.More, d.Days)
		default:
			says += " " + v.l.Say("board.assess-until", d.More, d.Days)
		}
	}
	out := []string{says}
	for _, t := range p.Trees {
		key := "board.assess-trees-start"
		if t.Counted {
			key = "board.assess-trees-counted"
		}
		out = append(out, v.l.Say(key, v.hazard(t.Hazard), v.l.Figures(100*t.AWorse, 3), a))
	}
	return out
}

// numbers are the start values, each with its source, and the readers.
func (v *assessed) numbers() Section {
	starts := Rows{ID: "assess-starts", Title: v.l.Say("board.assess-part-numbers"),
		Columns: []string{"assess-what", "assess-value", "assess-source"}}
	for _, s := range v.Starts {
		value := ""
		if s.Count != nil {
			value = v.l.Say("board.assess-jeffreys", v.l.Num(s.Count.Seen), v.l.Num(s.Count.Of))
		} else {
			value = v.l.Say("board.assess-lognormal", v.million(s.Median), v.l.Figures(s.ErrorFactor, 3))
		}
		starts.Rows = append(starts.Rows, []string{v.l.Say("board.assess-start-" + s.Start), value,
			strings.Join(v.cited([]string{s.Source}), "") + ", " + s.Where})
	}
	readers := Rows{ID: "assess-readers", Title: v.l.Say("board.assess-readers"),
		Columns: []string{"assess-dependence", "assess-second", "assess-both"}}
	for _, d := range assess.Dependences() {
		r := v.Readers[string(d)]
		readers.Rows = append(readers.Rows, []string{v.l.Say("board.assess-dependence-" + string(d)),
			v.million(r.Second), v.million(r.Both)})
	}
	s := Section{Title: starts.Title, Tables: []Rows{starts, readers},
		Says: []string{v.l.Say("board.assess-readers-say", v.l.Say("board.assess-dependence-"+string(v.Choices.Dependence)))}}
	for _, x := range v.Sources {
		s.Says = append(s.Says, x.Cites+".")
	}
	return s
}

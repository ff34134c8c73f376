package board

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/assess"
)

// The page of the assessment of where count sheets travel: a form with what the site says, what comes of it, and a
// signature under just that. What was signed is shown as it was signed.

type assessBody struct {
	Problem, Done string
	From, Until   string
	Choices       assess.Choices
	Hazards       []assessHazard
	Badge         string
	Signed        *table
	Sections      []assessSection // of what was chosen, or signed
	Shown         string          // digest of the document that they are of; what is signed must be the same
	Of            string          // who signed it, where it is a signed one
	Mark          string          // that the record has of its document
	Old           bool            // a signed one: there is no form
	PDF           string          // address of its print
}

// assessHazard is a hazard as the form asks about it.
type assessHazard struct {
	assess.Hazard
	assess.Judged
}

// Cells are the hazard's placements, each with what was said of it.
func (h assessHazard) Cells() (out []assessCell) {
	for _, p := range h.Placements {
		out = append(out, assessCell{p, h.Likelihood[p], h.Answers[p]})
	}
	return out
}

type assessCell struct {
	Placement  string
	Likelihood int
	assess.Answers
}

// assessSection is a section with its tables as the page's own.
type assessSection struct {
	Title  string
	Says   []string
	Tables []*table

	Pictures []assessPicture
}

// assessPicture is a picture with its title and how it is read.
type assessPicture struct {
	Title, Says string
	Drawn       template.HTML
}

// Severities are those that there are, for a form.
func (b *assessBody) Severities() []int { return []int{1, 2, 3, 4} }

// Dependences are those that there are.
func (b *assessBody) Dependences() []assess.Dependence { return assess.Dependences() }

// Placements are those that there are.
func (b *assessBody) Placements() []string { return assess.Placements() }

// Controls are those that there are.
func (b *assessBody) Controls() []assess.Control { return assess.Controls() }

// Unpublished are the events that a site may have a number of its own for.
func (b *assessBody) Unpublished() []string { return assess.Unpublished() }

// Has reports whether a word is among those chosen.
func (b *assessBody) Has(of []string, word string) bool { return slices.Contains(of, word) }

// Own is a site's number of an event, in a million, as it stands in the form; empty where there is none.
func (b *assessBody) Own(id string, factor bool) string {
	o, ok := b.Choices.Own[id]
	switch {
	case !ok:
		return ""
	case factor:
		return strconv.FormatFloat(o.ErrorFactor, 'g', -1, 64)
	}
	return strconv.FormatFloat(o.Median*aMillion, 'g', 12, 64)
}

// aMillion openings are the unit of the page.
const aMillion = 1e6

// assessSeed is the page's: two that look see the same.
const assessSeed = 1

func (p *pages) assessPage(r *http.Request, words *shell.Words) (*answer, error) {
	signed, err := p.site.SignedAssessments(r.Context())
	if err != nil {
		return nil, err
	}
	b := &assessBody{Choices: assess.Choices{Placements: assess.Placements(), Dependence: assess.DependenceHigh}}
	for i := range signed {
		if x := &signed[i]; x.Assessment != nil && !x.Void {
			b.Choices = x.Assessment.Choices // the next one begins where the last one ended
			break
		}
	}
	if record := r.FormValue("record"); record != "" {
		return p.assessSigned(r, words, signed, record)
	}
	return assessForm(r, words, b, signed, nil), nil
}

// assessSigned shows one that was signed, as it was.
func (p *pages) assessSigned(r *http.Request, words *shell.Words, signed []site.SignedAssessment, record string) (*answer, error) {
	i := slices.IndexFunc(signed, func(x site.SignedAssessment) bool { return fmt.Sprint(x.Seq) == record })
	if i < 0 {
		return nil, refuse(http.StatusNotFound, "%s", words.T("board.assess-unknown", record))
	}
	x := &signed[i]
	b := &assessBody{Old: true, Of: words.T("board.assess-signed-by", x.By, words.Time(x.At), fmt.Sprint(x.Seq)), Mark: x.Mark}
	if x.Void {
		b.Problem = words.T("board.assess-void")
	}
	a := &answer{template: "assess", title: words.T("board.assess"), body: b, wide: true}
	if x.Assessment == nil {
		b.Problem = assessmentGone(words, x)
		return a, nil
	}
	b.sections(a, words, x.Assessment)
	b.PDF = "/assess?" + url.Values{"record": {record}, "format": {"pdf"}, "lang": {words.Lang}}.Encode()
	a.pdf = func() ([]byte, error) {
		return report.AssessmentPDF(x.Assessment, words.Language(), report.Signature{
			Site: p.site.Name(), By: x.By, At: x.At, Record: x.Seq, Mark: x.Mark, Void: x.Void}, p.site.Clock())
	}
	return a, nil
}

// assessmentGone says why the document of an assessment isn't shown.
func assessmentGone(words *shell.Words, x *site.SignedAssessment) string {
	if words.Elsewhere(x.Mark) != x.Mark {
		return words.T("board.assess-elsewhere")
	}
	return words.T("board.assess-gone")
}

// assessForm shows the form with what was said, and what comes of it where it is given.
func assessForm(
	r *http.Request, words *shell.Words, b *assessBody, signed []site.SignedAssessment, x *assess.Assessment,
) *answer {
	for _, h := range assess.Hazards() {
		b.Hazards = append(b.Hazards, assessHazard{h, b.Choices.Hazards[h.ID]})
	}
	b.Signed = newTable(words, "assess-signed", "board.assess-signed", "record", "assess-when", "assess-badge", "placement",
		"assess-taken-back")
	for _, s := range signed {
		var of []string
		for _, at := range s.Placements {
			of = append(of, words.T("board.placement-"+string(at)))
		}
		what := ""
		switch {
		case s.Void:
			what = words.T("board.assess-void")
		case s.Assessment == nil:
			what = assessmentGone(words, &s)
		}
		b.Signed.add(number(s.Seq).to("/assess?record="+fmt.Sprint(s.Seq)), when(words, s.At), text(s.By), text(strings.Join(of, "; ")),
			text(what))
	}
	a := &answer{template: "assess", title: words.T("board.assess"), body: b, wide: true}
	if r.Method == http.MethodGet {
		a.tables = append(a.tables, b.Signed)
	}
	if x != nil {
		b.sections(a, words, x)
	}
	return a
}

// sections puts an assessment on the page.
func (b *assessBody) sections(a *answer, words *shell.Words, x *assess.Assessment) {
	for _, s := range report.AssessmentSections(x, words.Language()) {
		out := assessSection{Title: s.Title, Says: s.Says}
		for i := range s.Pictures {
			f := &s.Pictures[i]
			out.Pictures = append(out.Pictures, assessPicture{f.Title, f.Says, drawFigure(f)})
		}
		for _, rows := range s.Tables {
			t := newTable(words, rows.ID, "board.assess", rows.Columns...)
			t.Title = rows.Title
			for _, row := range rows.Rows {
				var cells []cell
				for _, c := range row {
					cells = append(cells, text(c))
				}
				t.add(cells...)
			}
			out.Tables = append(out.Tables, t)
			if b.Old {
				a.tables = append(a.tables, t)
			}
		}
		b.Sections = append(b.Sections, out)
	}
}

// assessPost shows what comes of a form, and signs it where it was shown before and is the same.
func (p *pages) assessPost(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	const most = 1 << 18
	r.Body = http.MaxBytesReader(w, r.Body, most)
	b := new(assessBody)
	b.Badge, _ = whoAndWhy(r)
	x, err := p.assess(r, words, b)
	p.again(w, r, words, err, &b.Problem, func() (*answer, error) {
		signed, err := p.site.SignedAssessments(r.Context())
		return assessForm(r, words, b, signed, x), err
	})
}

func (p *pages) assess(r *http.Request, words *shell.Words, b *assessBody) (*assess.Assessment, error) {
	b.From, b.Until = r.PostFormValue("from"), r.PostFormValue("to")
	var err error
	if b.Choices, err = choicesOf(words, r.PostForm); err != nil {
		return nil, err
	}
	q := site.AssessQuery{Choices: b.Choices, Seed: assessSeed}
	if q.Since, err = moment(words, b.From, words.T("board.column-from")); err != nil {
		return nil, err
	}
	if q.Until, err = moment(words, b.Until, words.T("board.column-until")); err != nil {
		return nil, err
	}
	x, err := p.site.Assess(r.Context(), q)
	if err != nil {
		return nil, err
	}
	document, err := site.AssessmentDocument(x)
	if err != nil {
		return x, err
	}
	sum := sha256.Sum256([]byte(document))
	b.Shown = hex.EncodeToString(sum[:])
	if r.PostFormValue("sign") == "" {
		return x, nil
	}
	return x, p.signAssessment(r, words, b, document)
}

func (p *pages) signAssessment(r *http.Request, words *shell.Words, b *assessBody, document string) error {
	switch {
	case b.Badge == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	case b.Choices.Decides == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.assess-decides-needed"))
	case r.PostFormValue("shown") != b.Shown:
		return refuse(http.StatusConflict, "%s", words.T("board.assess-meanwhile"))
	}
	if err := p.enrolled(r.Context()); err != nil {
		return err
	}
	d := &events.PlacementsAssessed{Document: document}
	for _, at := range b.Choices.Placements {
		d.Placements = append(d.Placements, events.Placement(at))
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{
		Station: p.stationName(), Kind: events.KindPlacementsAssessed, Time: p.site.Clock().UTC().Truncate(time.Millisecond),
		Operator: b.Badge, Data: d,
	})
	if err == nil {
		b.Done = words.T("board.assess-done", rs[0].Seq)
	}
	return err
}

// choicesOf reads what a form says.
func choicesOf(words *shell.Words, form url.Values) (assess.Choices, error) {
	c := assess.Choices{
		Placements: form["placements"], Dependence: assess.Dependence(form.Get("dependence")), Unused: form.Get("unused") != "",
		Controls: form["controls"], Residual: strings.TrimSpace(form.Get("residual")), Review: strings.TrimSpace(form.Get("review")),
		Decides: strings.TrimSpace(form.Get("decides")), Own: make(map[string]assess.Own), Hazards: make(map[string]assess.Judged),
	}
	for _, id := range assess.Unpublished() {
		median, factor := strings.TrimSpace(form.Get("own-"+id)), strings.TrimSpace(form.Get("factor-"+id))
		if median == "" {
			continue
		}
		m, err := figure(words, median)
		if err != nil {
			return c, err
		}
		f, err := figure(words, factor)
		if err != nil {
			return c, err
		}
		c.Own[id] = assess.Own{Median: m / aMillion, ErrorFactor: f}
	}
	for _, h := range assess.Hazards() {
		if j, said := judgedOf(&h, form); said {
			c.Hazards[h.ID] = j
		}
	}
	return c, nil
}

// figure reads a number as people write it, with a point or a comma.
func figure(words *shell.Words, s string) (float64, error) {
	x, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", "."), 64)
	if err != nil {
		return 0, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.assess-figure", s))
	}
	return x, nil
}

// judgedOf reads what a form says of a hazard, and whether it says anything.
func judgedOf(h *assess.Hazard, form url.Values) (j assess.Judged, said bool) {
	digit := func(name string) int {
		n, _ := strconv.Atoi(form.Get(name)) // not chosen: 0
		return n
	}
	j = assess.Judged{Severity: digit("severity-" + h.ID), Words: strings.TrimSpace(form.Get("words-" + h.ID)),
		Likelihood: make(map[string]int), Answers: make(map[string]assess.Answers)}
	for _, p := range h.Placements {
		at := "-" + h.ID + "-" + p
		if n := digit("likelihood" + at); n > 0 {
			j.Likelihood[p] = n
		}
		a := assess.Answers{WeakPoint: form.Get("weak"+at) != "", Controlled: form.Get("controlled"+at) != "",
			Obvious: form.Get("obvious"+at) != ""}
		if a != (assess.Answers{}) {
			j.Answers[p] = a
		}
	}
	return j, j.Severity > 0 || j.Words != "" || len(j.Likelihood) > 0 || len(j.Answers) > 0
}

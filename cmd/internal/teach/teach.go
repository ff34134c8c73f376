// Package teach is for people who practise: the pages of a practice incident, on which a learner says what happened,
// is told what was right and how it could be found, and gets a certificate of it. The ledger about it is invented
// (projections/practise), for reading alone, and a server of its own: nothing of it is near the real one.
package teach

import (
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections/practise"
)

//go:embed templates
var templateFiles embed.FS

// Path is where the pages are; what is sent elsewhere is refused (web.Teaching).
const Path = "/practise"

// Class is an incident before its learners.
type Class struct {
	In    *practise.Incident
	Site  *site.Site // the ledger with it
	Book  *Book
	Clock func() time.Time // the day of certificates
}

type pages struct {
	*Class
	sh        *shell.Shell
	templates map[string]*template.Template
}

// Register adds the pages.
func (c *Class) Register(mux shell.Mux, sh *shell.Shell) error {
	p := &pages{Class: c, sh: sh}
	var err error
	if p.templates, err = sh.Templates(templateFiles, template.FuncMap{}, "templates/*.html"); err != nil {
		return err
	}
	mux.HandleFunc("GET "+Path, p.ask)
	mux.HandleFunc("POST "+Path, p.mark)
	mux.HandleFunc("GET "+Path+"/certificate", p.certificate)
	return nil
}

// body is what the page shows.
type body struct {
	Seed    uint64
	Records int
	Digest  string
	Sets    []string
	Steps   []practise.Step
	From    string
	To      string
	Who     string
	Answer  practise.Answer
	Problem string

	Answered *Answered // nil: not answered yet
	Marks    []said
	Way      []Step
}

// said is a mark in words.
type said struct {
	Part, Says string
	Right      bool
}

// Has reports whether a set is answered to be touched.
func (b *body) Has(set string) bool { return slices.Contains(b.Answer.Touched, set) }

func (p *pages) body() *body {
	return &body{Seed: p.In.Seed, Records: len(p.In.Records), Digest: p.In.Digest()[:digestShown], Sets: p.In.Sets, Steps: practise.Steps()}
}

// digestShown is how much of the records' digest is shown: enough that a class can compare it.
const digestShown = 16

func (p *pages) show(w http.ResponseWriter, r *http.Request, code int, b *body) {
	p.sh.Render(w, r, code, p.templates, "practise",
		shell.Page{Title: p.sh.Words(r).T("practise.title", strconv.FormatUint(b.Seed, 10)), Body: b})
}

func (p *pages) ask(w http.ResponseWriter, r *http.Request) { p.show(w, r, http.StatusOK, p.body()) }

// mark marks what a form says, keeps it, and shows the way.
func (p *pages) mark(w http.ResponseWriter, r *http.Request) {
	const most = 1 << 16
	r.Body = http.MaxBytesReader(w, r.Body, most)
	words := p.sh.Words(r)
	b := p.body()
	err := r.ParseForm()
	if err == nil {
		err = b.read(words, r.PostForm)
	}
	if err == nil {
		b.Answered, err = p.Book.Add(p.In, b.Who, b.Answer, p.Clock())
	}
	if err == nil {
		b.Marks = SayMarks(words, b.Answered.Marks)
		b.Way, err = p.way(r, words)
	}
	if err != nil {
		said := p.sh.PageAnswer(r, err)
		said.Head(w.Header())
		b.Problem = said.Text
		p.show(w, r, said.Code, b)
		return
	}
	p.show(w, r, http.StatusOK, b)
}

// read takes what a form says.
func (b *body) read(words *shell.Words, form url.Values) error {
	b.From, b.To, b.Who = strings.TrimSpace(form.Get("from")), strings.TrimSpace(form.Get("to")), strings.TrimSpace(form.Get("who"))
	b.Answer = practise.Answer{Set: strings.ToUpper(strings.TrimSpace(form.Get("set"))), Step: practise.Step(form.Get("step")),
		Touched: form["touched"]}
	var err error
	if b.Answer.From, err = moment(words, b.From); err != nil {
		return err
	}
	if b.Answer.To, err = moment(words, b.To); err != nil {
		return err
	}
	return CheckWho(words, b.Who)
}

// CheckWho refuses a certificate for nobody, and one that doesn't fit its page.
func CheckWho(words *shell.Words, who string) error {
	const most = 60
	if who == "" || len([]rune(who)) > most || strings.ContainsFunc(who, func(r rune) bool { return r < ' ' }) {
		return refusal.WithCode(http.StatusUnprocessableEntity, "%s", words.T("practise.who-needed", most))
	}
	return nil
}

// moment reads a time as a form sends it or people write it.
func moment(words *shell.Words, s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02 15:04:05", time.RFC3339} {
		if t, err := time.ParseInLocation(layout, s, words.Zone()); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, refusal.WithCode(http.StatusUnprocessableEntity, "%s", words.T("practise.no-time", s))
}

// SayMarks says what each part of an answer comes to.
func SayMarks(words *shell.Words, ms []practise.Mark) []said {
	var out []said
	for _, m := range ms {
		out = append(out, said{Part: words.T("practise.part-" + string(m.Part)), Right: m.Right,
			Says: words.T("practise.why-"+string(m.Part)+"-"+string(m.Why), strings.Join(m.Sets, ", "))})
	}
	return out
}

// certificate prints what an answer came to.
func (p *pages) certificate(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	n, _ := strconv.Atoi(r.FormValue("n")) // no number: of none
	a := p.Book.Find(n)
	if a == nil {
		p.sh.FailText(w, r, refusal.WithCode(http.StatusNotFound, "%s", words.T("practise.no-answer", r.FormValue("n"))))
		return
	}
	raw, err := Certificate(words, p.In, a)
	if err != nil {
		p.sh.FailText(w, r, fmt.Errorf("certificate: %w", err))
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`inline; filename="practice-%d-%d.pdf"`, p.In.Seed, a.N))
	w.Write(raw) // a client that has gone away needs none
}

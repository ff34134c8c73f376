// Package board is for the two people who ask: the lead who wants to see which
// sets can't be trusted before anyone opens them, and the person who must say
// exactly what happened to a set and its list, and be believed by an outsider.
//
// It shows what package projections judged and adds nothing to it. Pictures are
// SVG made here; each has a text beside it that says the same. Every table on a
// page can be taken away as CSV or XLSX.
package board

import (
	"context"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections"
)

//go:embed templates
var templateFiles embed.FS

//go:embed assets
var assetFiles embed.FS

const (
	scriptPath = "/board/assets/board.js"
	stylePath  = "/board/assets/board.css"
)

// pages serves one site's board.
type pages struct {
	sh        *shell.Shell
	site      *site.Site
	templates map[string]*template.Template
	log       *slog.Logger
	enrol     sync.Mutex // one request alone enrols the board
	wishes    wishes
	shown     shownRows
	counts    []prometheus.Collector
	pins      PINGiven // nil: nobody is asked for one
}

// Register adds the board, the histories, what can be taken away from them,
// and the programs' read-only interface. What others count is shown with its own metrics.
func Register(
	mux shell.Mux, sh *shell.Shell, s *site.Site, log *slog.Logger, pins PINGiven, counts ...prometheus.Collector,
) error {
	p := &pages{sh: sh, site: s, log: log, pins: pins, counts: counts}
	var err error
	p.templates, err = sh.Templates(templateFiles,
		template.FuncMap{"tripLink": tripLink, "caseLink": caseLink, "loadLink": loadLink,
			"stationLink": stationLink, "badgeLink": badgeLink, "stylePath": func() string { return stylePath },
			"first": first, "more": more, "beyond": beyond,
			"ackLink": ackLink, "incidentLink": incidentLink,
			"rfc3339": rfc3339, "listLink": listLink, "touchedLink": touchedLink, "recallLink": recallLink,
			"inc": func(n int) int { return n + 1 }, "last": func(s []string) int { return len(s) - 1 },
			"recordLink": recordLink, "dayLink": dayLink, "runColumn": newRunColumn,
			"list": func(words ...string) []string { return words }}, "templates/*.html")
	if err != nil {
		return err
	}
	assets, err := fs.Sub(assetFiles, "assets")
	if err != nil {
		return fmt.Errorf("assets: %w", err)
	}
	if err := sh.Serve(mux, "/board/assets/", assets); err != nil {
		return err
	}
	mux.HandleFunc("GET /{$}", p.pageAt(p.boardPage))
	mux.HandleFunc("GET /day", p.pageAt(p.dayPage))
	mux.HandleFunc("GET /wall", p.page(p.wallPage))
	mux.HandleFunc("POST /day", p.takeSchedule)
	mux.HandleFunc("GET /near-misses", p.pageAt(p.nearMissPage))
	mux.HandleFunc("GET /rates", p.pageAt(p.ratesPage))
	mux.HandleFunc("GET /assess", p.page(p.assessPage))
	mux.HandleFunc("POST /assess", p.assessPost)
	mux.HandleFunc("GET /run", p.pageAt(p.runPage))
	mux.HandleFunc("POST /run", p.runPost)
	p.registerLookBack(mux)
	mux.HandleFunc("GET /find", p.find)
	mux.HandleFunc("GET /history", p.pageAt(p.historyPage))
	mux.HandleFunc("GET /station", p.pageAt(p.stationPage))
	mux.HandleFunc("GET /badge", p.pageAt(p.badgePage))
	mux.HandleFunc("GET /badge/held", p.page(p.heldPage))
	mux.HandleFunc("GET /touched", p.pageAt(p.touchedPage))
	mux.HandleFunc("GET /check-line", p.page(p.checkLinePage))
	mux.HandleFunc("GET /recall", p.recallPDF)
	mux.HandleFunc("GET /report", p.reportPDF)
	p.registerHandling(mux)
	p.registerTexts(mux)
	mux.HandleFunc("GET /policy", p.pageAt(p.policyPage))
	mux.HandleFunc("POST /policy", p.adoptPolicy)
	p.registerAPI(mux)
	mux.HandleFunc("GET /changes", func(w http.ResponseWriter, r *http.Request) {
		ch, end := s.Changes()
		defer end()
		shell.Changes(w, r, ch)
	})
	return nil
}

// shortly bounds a question that no request's end would end.
func (p *pages) shortly() (context.Context, context.CancelFunc) {
	const patience = 10 * time.Second
	return context.WithTimeout(context.Background(), patience)
}

// answer is what a page shows.
type answer struct {
	template string
	title    string
	wide     bool
	body     any
	tables   []*table
	scripts  []string               // besides the board's own
	live     bool                   // see shell.Page
	copied   bool                   // its rows say up to where a follower answers; see shell.Page
	pdf      func() ([]byte, error) // its print; nil: the page itself is printed
	moment   bool                   // it has a form of its own for the moment that it is about
	asOf     time.Time              // that one, where it has
	known    *shell.Known
}

// asking makes the answer that is to be shown.
type asking func(*http.Request, *shell.Words) (*answer, error)

// page turns a question about now into a page, or one of its tables into a file.
func (p *pages) page(ask asking) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Has(asOfName) { // of pages with tables, which take it mostly
			words := p.sh.Words(r)
			p.refuse(w, r, words, refuse(http.StatusBadRequest, "%s", words.T("board.as-of-not-here")))
			return
		}
		p.show(w, r, ask)
	}
}

// pageAt is page of a question that can be asked about any moment.
func (p *pages) pageAt(ask asking) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		words := p.sh.Words(r)
		at, err := p.atMoment(r, words)
		if err != nil {
			p.refuse(w, r, words, err)
			return
		}
		p.show(w, at, func(r *http.Request, words *shell.Words) (*answer, error) {
			a, err := ask(r, words)
			if err == nil {
				at := asOf(r)
				if a.moment {
					at = a.asOf
				}
				a.known = p.known(r, words, at, a.moment)
			}
			return a, err
		})
	}
}

// looksThrough refuses to look through a table that the page hasn't: all of the others would be taken for what was found. So
// would any order for the one that was asked for, by a column that isn't there.
func (a *answer) looksThrough(q url.Values, words *shell.Words) error {
	for _, name := range slices.Sorted(maps.Keys(q)) {
		of, sorts := strings.CutPrefix(name, "sort-")
		only, looks := strings.CutPrefix(name, "only-")
		if !sorts && !looks {
			continue
		}
		if looks {
			of = only
		}
		n := slices.IndexFunc(a.tables, func(t *table) bool { return t.ID == of })
		switch {
		case n < 0:
			return refuse(http.StatusBadRequest, "%s", words.T("board.no-such-table", of))
		case sorts && !a.tables[n].hasColumn(q.Get(name)):
			return refuse(http.StatusBadRequest, "%s", words.T("board.no-such-column", q.Get(name), len(a.tables[n].Columns)))
		}
	}
	return nil
}

func (p *pages) show(w http.ResponseWriter, r *http.Request, ask asking) {
	words := p.sh.Words(r)
	a, err := ask(r, words)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	if err := a.looksThrough(r.URL.Query(), words); err != nil {
		p.refuse(w, r, words, err)
		return
	}
	if format := r.FormValue("format"); format != "" {
		p.export(w, r, words, a, format)
		return
	}
	for _, t := range a.tables {
		t.arrange(r.URL.Query())
		t.headings(r.URL.Path, r.URL.Query())
		t.address(r)
	}
	p.renderAsOf(w, r, http.StatusOK, a)
}

// renderAsOf is render of a page as of the moment that it is asked about.
func (p *pages) renderAsOf(w http.ResponseWriter, r *http.Request, code int, a *answer) {
	at := asOf(r)
	if at.IsZero() {
		p.render(w, r, code, a)
		return
	}
	a.live, a.copied = true, false // how far judgement is behind now is nothing of then
	kept := &keptPage{ResponseWriter: w, code: code}
	p.render(kept, r, code, a)
	w.WriteHeader(kept.code)
	w.Write(carry(kept.body, at)) // a client that has gone away needs no answer
}

// keptPage is a page that is to be changed before it goes out.
type keptPage struct {
	http.ResponseWriter
	code int
	body []byte
}

func (k *keptPage) WriteHeader(code int)        { k.code = code }
func (k *keptPage) Write(b []byte) (int, error) { k.body = append(k.body, b...); return len(b), nil }

func (p *pages) render(w http.ResponseWriter, r *http.Request, code int, a *answer) {
	p.sh.Render(w, r, code, p.templates, a.template,
		shell.Page{Title: a.title, Scripts: append([]string{scriptPath}, a.scripts...), Wide: a.wide, Live: a.live, OwnCopied: a.copied,
			Known:   a.known,
			Printed: p.printed(r), Body: a.body})
}

// printed says on paper when a page was printed, and by which filters and of what it is.
func (p *pages) printed(r *http.Request) string {
	words := p.sh.Words(r)
	q := r.URL.Query()
	var of []string
	for _, name := range slices.Sorted(maps.Keys(q)) {
		if slices.Contains([]string{"part", "lang", "after", "key", "event", "record"}, name) || strings.HasPrefix(name, "sort-") ||
			q.Get(name) == "" { // nothing is left out by these, and what they name stands in the heading
			continue
		}
		label, value := name, q.Get(name)
		if slices.Contains([]string{"code", "list", "placement", "station", "site", "age"}, name) && r.URL.Path == "/" {
			label = words.T("board.filter-" + name)
		}
		if name == asOfName {
			label = words.T("board.as-of")
		}
		if name == "code" {
			value = words.Code(projections.Code(value))
		}
		of = append(of, label+": "+value)
	}
	says := words.T("board.printed", p.site.Name(), words.Time(p.site.Clock()), r.URL.Path)
	if len(of) > 0 {
		says += " " + words.T("board.printed-of", strings.Join(of, "; "))
	}
	return says
}

func refuse(code int, format string, args ...any) error {
	return refusal.WithCode(code, format, args...)
}

func (p *pages) refuse(w http.ResponseWriter, r *http.Request, words *shell.Words, err error) {
	p.refused(w, r, words, p.sh.PageAnswer(r, err))
}

func (p *pages) refused(w http.ResponseWriter, r *http.Request, words *shell.Words, a refusal.Answer) {
	a.Head(w.Header())
	page := &answer{template: "refused", title: words.T("board.refused"), body: a.Text}
	if at := asOf(r); !at.IsZero() { // that nothing is recorded was so then: it may be by now
		page.known = p.known(r, words, at, false)
	}
	p.renderAsOf(w, r, a.Code, page)
}

// tripLink is the address of a trip's history; of the set's where it has none.
func tripLink(set, trip string) string {
	if trip == "" {
		return "/history?" + url.Values{"set": {set}}.Encode()
	}
	return "/history?" + url.Values{"trip": {trip}}.Encode()
}

// recallLink leads to all sets of the recall that one of the findings is of, "" where none is.
func recallLink(fs []projections.Finding) string {
	for i := range fs {
		if d, ok := fs[i].Detail.(*projections.Recalled); ok && d.Positive != "" {
			return "/touched?" + url.Values{"load": {d.Positive}}.Encode()
		}
	}
	return ""
}

func touchedLink(set, trip string) string {
	if trip == "" {
		return "/touched?" + url.Values{"set": {set}}.Encode()
	}
	return "/touched?" + url.Values{"trip": {trip}}.Encode()
}

func caseLink(ref string) string     { return "/history?" + url.Values{"case": {ref}}.Encode() }
func loadLink(load string) string    { return "/history?" + url.Values{"load": {load}}.Encode() }
func stationLink(name string) string { return "/station?" + url.Values{"name": {name}}.Encode() }
func badgeLink(id string) string     { return "/badge?" + url.Values{"id": {id}}.Encode() }
func recordLink(seq int64) string    { return fmt.Sprintf("/api/events?after=%d&limit=1", seq-1) }

func listLink(list string, version int64) string {
	return "/touched?" + url.Values{"list": {list}, "version": {fmt.Sprint(version)}}.Encode()
}

func ackLink(set, trip string, code projections.Code) string {
	return "/acknowledge?" + url.Values{"set": {set}, "trip": {trip}, "code": {string(code)}}.Encode()
}

func rfc3339(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

// first is the finding that a row says; more how many others there are.
func first(fs []projections.Finding) *projections.Finding {
	if len(fs) == 0 {
		return nil
	}
	return &fs[0]
}

func more(fs []projections.Finding) int { return len(fs) - 1 }

// stamp writes a moment to the second as moment reads it, in the page's zone.
func stamp(words *shell.Words, t time.Time) string {
	return t.In(words.Zone()).Format("2006-01-02 15:04:05")
}

// moment reads a time from a form; one without a zone is the site's.
func moment(words *shell.Words, s, what string) (time.Time, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return time.Time{}, nil
	}
	if t, ok := site.ParseMoment(s, words.Zone()); ok {
		return t, nil
	}
	return time.Time{}, refuse(http.StatusBadRequest, "%s %q is no time; write it as 2026-03-04 07:12", what, s)
}

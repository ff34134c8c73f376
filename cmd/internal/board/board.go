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
	"net/http"
	"net/url"
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
	mux.Handle("GET /board/assets/", shell.Assets("/board/assets/", assets))
	mux.HandleFunc("GET /{$}", p.page(p.boardPage))
	mux.HandleFunc("GET /day", p.page(p.dayPage))
	mux.HandleFunc("GET /wall", p.page(p.wallPage))
	mux.HandleFunc("POST /day", p.takeSchedule)
	mux.HandleFunc("GET /near-misses", p.page(p.nearMissPage))
	mux.HandleFunc("GET /rates", p.page(p.ratesPage))
	mux.HandleFunc("GET /assess", p.page(p.assessPage))
	mux.HandleFunc("POST /assess", p.assessPost)
	mux.HandleFunc("GET /run", p.page(p.runPage))
	mux.HandleFunc("POST /run", p.runPost)
	mux.HandleFunc("GET /find", p.find)
	mux.HandleFunc("GET /history", p.page(p.historyPage))
	mux.HandleFunc("GET /station", p.page(p.stationPage))
	mux.HandleFunc("GET /badge", p.page(p.badgePage))
	mux.HandleFunc("GET /badge/held", p.page(p.heldPage))
	mux.HandleFunc("GET /touched", p.page(p.touchedPage))
	mux.HandleFunc("GET /check-line", p.page(p.checkLinePage))
	mux.HandleFunc("GET /recall", p.recallPDF)
	mux.HandleFunc("GET /report", p.reportPDF)
	mux.HandleFunc("GET /incident", p.page(p.incidentPage))
	mux.HandleFunc("POST /incident", p.handleIncident)
	mux.HandleFunc("GET /acknowledge", p.page(p.acknowledgePage))
	mux.HandleFunc("POST /acknowledge", p.acknowledge)
	mux.HandleFunc("GET /correct", p.page(p.correctPage))
	mux.HandleFunc("POST /correct", p.correct)
	mux.HandleFunc("GET /at/{site}/{station}/correct", p.page(p.correctPage))
	mux.HandleFunc("POST /at/{site}/{station}/correct", p.correct)
	p.registerTexts(mux)
	mux.HandleFunc("GET /policy", p.page(p.policyPage))
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
	pdf      func() ([]byte, error) // its print; nil: the page itself is printed
}

// page turns a question into a page, or one of its tables into a file.
func (p *pages) page(ask func(*http.Request, *shell.Words) (*answer, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		words := p.sh.Words(r)
		a, err := ask(r, words)
		if err != nil {
			p.refuse(w, r, words, err)
			return
		}
		if format := r.FormValue("format"); format != "" {
			p.export(w, r, words, a, format)
			return
		}
		for _, t := range a.tables {
			t.address(r)
		}
		p.render(w, r, http.StatusOK, a)
	}
}

func (p *pages) render(w http.ResponseWriter, r *http.Request, code int, a *answer) {
	p.sh.Render(w, r, code, p.templates, a.template,
		shell.Page{Title: a.title, Scripts: append([]string{scriptPath}, a.scripts...), Wide: a.wide, Live: a.live, Body: a.body})
}

func refuse(code int, format string, args ...any) error {
	return refusal.WithCode(code, format, args...)
}

func (p *pages) refuse(w http.ResponseWriter, r *http.Request, words *shell.Words, err error) {
	p.refused(w, r, words, p.sh.PageAnswer(r, err))
}

func (p *pages) refused(w http.ResponseWriter, r *http.Request, words *shell.Words, a refusal.Answer) {
	a.Head(w.Header())
	p.render(w, r, a.Code, &answer{template: "refused", title: words.T("board.refused"), body: a.Text})
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
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05",
		"2006-01-02T15:04", "2006-01-02", "02.01.2006 15:04", "2 Jan 2006 15:04"} {
		if t, err := time.ParseInLocation(layout, s, words.Zone()); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, refuse(http.StatusBadRequest, "%s %q is no time; write it as 2026-03-04 07:12", what, s)
}

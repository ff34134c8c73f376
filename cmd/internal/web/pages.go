package web

import (
	"bytes"
	"embed"
	"html/template"
	"net/http"
	"net/url"
	"time"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/projections"
)

//go:embed pages
var files embed.FS

// view is what every page has.
type view struct {
	Site    string
	Title   string
	Caution string
	Body    any
}

func (s *Server) pages(mux *http.ServeMux) {
	tmpl := template.Must(template.New("").Funcs(template.FuncMap{
		"at": report.At, "title": report.Title, "link": tripLink, "asked": report.Asked,
	}).ParseFS(files, "pages/*.html"))
	page := func(name, title string, body func(*http.Request) (any, error)) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			v := view{Site: s.site.Name(), Title: title, Caution: report.Caution}
			code, file := http.StatusOK, name
			var err error
			if v.Body, err = body(r); err != nil {
				s.log.Warn("page refused", "path", r.URL.Path, "error", err)
				code, file, v.Title, v.Body = status(err), "error.html", "Not shown", err.Error()
			}
			var out bytes.Buffer
			if err := tmpl.ExecuteTemplate(&out, file, v); err != nil {
				s.log.Error("page failed", "path", r.URL.Path, "error", err)
				http.Error(w, "this page can't be shown; the log says why", http.StatusInternalServerError)
				return
			}
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.WriteHeader(code)
			w.Write(out.Bytes()) // a client that has gone away needs no answer
		}
	}
	mux.HandleFunc("GET /{$}", page("broken.html", "Sets with broken chains", s.brokenPage))
	mux.HandleFunc("GET /history", page("history.html", "History", s.historyPage))
	mux.HandleFunc("GET /assets/plain.css", func(w http.ResponseWriter, r *http.Request) {
		http.ServeFileFS(w, r, files, "pages/plain.css")
	})
}

type brokenBody struct {
	Verdicts []projections.Verdict
	Counts   map[projections.Status]int
	Records  int64
	Damage   []string
}

func (s *Server) brokenPage(r *http.Request) (any, error) {
	vs, err := s.site.Broken(r.Context())
	if err != nil {
		return nil, err
	}
	counts, err := s.site.Status(r.Context())
	if err != nil {
		return nil, err
	}
	b := brokenBody{Verdicts: vs, Counts: counts, Records: s.site.Size()}
	for _, p := range s.site.Damage() {
		b.Damage = append(b.Damage, p.String())
	}
	return b, nil
}

type historyBody struct {
	*projections.History
	Now  string // the same question without a moment
	Form site.Query
}

func (s *Server) historyPage(r *http.Request) (any, error) {
	q, err := ParseQuery(r.URL.Query())
	if err != nil {
		return nil, err
	}
	h, err := s.site.History(r.Context(), q)
	if err != nil {
		return nil, err
	}
	now := q
	now.AsOf = time.Time{}
	return historyBody{History: h, Now: "/history?" + FormatQuery(now).Encode(), Form: q}, nil
}

// tripLink is the address of a trip's history; of the set's where it has none.
func tripLink(set, trip string) string {
	if trip == "" {
		return "/history?" + url.Values{"set": {set}}.Encode()
	}
	return "/history?" + url.Values{"trip": {trip}}.Encode()
}

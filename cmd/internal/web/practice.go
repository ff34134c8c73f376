package web

import (
	"embed"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"sync"
	"sync/atomic"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace"
)

//go:embed templates
var templateFiles embed.FS

// Filling is a practice ledger that may still be filled while the real one is
// served: until it is ready, its pages say so.
type Filling struct {
	recorded atomic.Int64
	failed   atomic.Bool
	handler  atomic.Pointer[http.ServeMux]

	mu    sync.Mutex
	ready *site.Site
	open  func(shell.Mux, *site.Site) error // for the server that shows it
}

// Tell says how many records it holds so far.
func (f *Filling) Tell(recorded int64) { f.recorded.Store(recorded) }

// Failed says that it will not be filled.
func (f *Filling) Failed() { f.failed.Store(true) }

// Ready says that it is filled. A server that was made with it serves it from now on.
func (f *Filling) Ready(s *site.Site) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.ready = s
	if f.open == nil {
		return nil
	}
	mux := http.NewServeMux()
	err := f.open(mux, s)
	if err == nil {
		f.handler.Store(mux)
	}
	return err
}

// Practice serves a second ledger's workplaces under /practice, marked as such.
func Practice(s *site.Site) Option {
	return PracticeWhenFilled(&Filling{ready: s})
}

// PracticeWhenFilled does so once it is filled.
func PracticeWhenFilled(f *Filling) Option { return func(o *options) { o.practice = f } }

// register serves what there is of it.
func (f *Filling) register(mux shell.Mux, sh *shell.Shell, real *site.Site, log *slog.Logger) error {
	// Another site altogether: its pages hold nothing by which they could reach the real one.
	open := func(mux shell.Mux, p *site.Site) error {
		psh := shell.New("PRACTICE "+p.Name(), real.Local(), p.Clock, log)
		psh.Behind = p.Behind
		psh.AssetsOf(sh)
		return workplace.Register(mux, psh, p, workplace.Options{Prefix: practicePrefix, Practice: true, Log: log})
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.ready != nil {
		return open(mux, f.ready)
	}
	f.open = open
	pages, err := sh.Templates(templateFiles, template.FuncMap{}, "templates/*.html")
	if err != nil {
		return fmt.Errorf("pages of practice: %w", err)
	}
	show := func(w http.ResponseWriter, r *http.Request) {
		if own := f.handler.Load(); own != nil {
			answerAll(own, sh, nil).ServeHTTP(w, r)
			return
		}
		failed := f.failed.Load()
		if !failed {
			const again = "2" // seconds
			w.Header().Set("Refresh", again)
			w.Header().Set("Retry-After", again)
		}
		page := shell.Page{Title: "PRACTICE", Body: filling{Recorded: f.recorded.Load(), Failed: failed}}
		sh.Render(w, r, http.StatusServiceUnavailable, pages, "filling", page)
	}
	mux.HandleFunc("GET "+practicePrefix+"/", show)
	mux.HandleFunc("POST "+practicePrefix+"/", show)
	return nil
}

type filling struct {
	Recorded int64
	Failed   bool
}

// Package web serves a site over HTTP: the programs' interface under /api/, and
// the pages of the packages that have some.
package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/board"
	"listbound/cmd/internal/door"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/teach"
	"listbound/cmd/internal/version"
	"listbound/cmd/internal/workplace"
	"listbound/projections"
	"listbound/projections/run/logfile"
)

// Server serves one site.
type Server struct {
	site  *site.Site
	sh    *shell.Shell
	turns turns
	dear  seldom
}

// Option changes what New serves.
type Option func(*options)

type options struct {
	practice *Filling
	hosts    []string
	proxies  []netip.Prefix
	door     *door.Door
	watch    *door.Watch
	teaching func(shell.Mux, *shell.Shell) error
}

// Teaching shows the site as an invented one: every page is marked, and nothing can be sent but to the pages that
// register adds, at and below teach.Path.
func Teaching(register func(shell.Mux, *shell.Shell) error) Option {
	return func(o *options) { o.teaching = register }
}

// Accounts asks who somebody is, by a door: people, programs and stations' browsers are let to what their role may.
func Accounts(d *door.Door) Option { return func(o *options) { o.door = d } }

// New returns the handler for a site.
func New(s *site.Site, log *slog.Logger, opts ...Option) (http.Handler, error) {
	var o options
	for _, set := range opts {
		set(&o)
	}
	o.watch = door.NewWatch(log)
	mux := http.NewServeMux()
	var served shell.Mux = mux
	if s.Position() != nil {
		served = &followerMux{mux: mux, sh: shell.New(s.Name(), s.Local(), s.Clock, log), site: s, door: o.door != nil}
	}
	if err := routes(served, s, log, o); err != nil {
		return nil, err
	}
	known, err := readDescription()
	if err != nil {
		return nil, err
	}
	// A page of another origin must not be able to record through a browser that may.
	sh := shell.New(s.Name(), s.Local(), s.Clock, log)
	sh.Practice = o.teaching != nil
	all := answerAll(mux, sh, known)
	if o.teaching != nil {
		all = readOnly(all, sh)
	}
	inner := guardOrigin(http.NewCrossOriginProtection().Handler(guardFiles(all, sh)), sh, o.watch)
	return guardPace(secure(behindProxies(guardHost(inner, sh, o.watch, o.hosts), o.proxies))), nil
}

// routes registers everything that is served.
func routes(mux shell.Mux, s *site.Site, log *slog.Logger, o options) error {
	sh := shell.New(s.Name(), s.Local(), s.Clock, log)
	sh.Behind = s.Behind
	sh.Practice = o.teaching != nil
	sh.Notices = func(words *shell.Words) []string { return notices(s, words) }
	sh.Copied = func(words *shell.Words) *shell.Copied { return copied(s, words) }
	if o.watch == nil {
		o.watch = door.NewWatch(log)
	}
	if o.door == nil {
		return pages(mux, sh, s, log, o)
	}
	g := o.door.Guard(mux, sh, s, o.watch)
	if err := errors.Join(o.door.Register(g), pages(g, sh, s, log, o)); err != nil {
		return err
	}
	return g.Err()
}

// pages registers everything that is served with accounts and without.
func pages(mux shell.Mux, sh *shell.Shell, s *site.Site, log *slog.Logger, o options) error {
	(&Server{site: s, sh: sh, turns: newTurns(), dear: newSeldom()}).register(mux)
	registerLog(mux, sh, s)
	sh.Register(mux)
	own := workplace.Options{OtherPrefix: "-", Log: log}
	var pins board.PINGiven
	if o.door != nil {
		own.Pins, pins = o.door.Pins(), o.door.Pins().Given
	}
	if err := board.Register(mux, sh, s, log, pins, o.watch.Counts()); err != nil {
		return err
	}
	if o.teaching != nil {
		own.Practice = true
		if err := o.teaching(mux, sh); err != nil {
			return err
		}
	}
	if o.practice == nil {
		return workplace.Register(mux, sh, s, own)
	}
	if err := o.practice.register(mux, sh, s, log); err != nil {
		return err
	}
	own.OtherPrefix = practicePrefix
	return workplace.Register(mux, sh, s, own)
}

// register adds the programs' interface.
func (srv *Server) register(mux shell.Mux) {
	s := srv.site
	mux.HandleFunc("POST /api/observations", srv.record)
	mux.HandleFunc("GET /api/broken", answer(srv, askedAt(s, s.BrokenAt)))
	mux.HandleFunc("GET /api/incidents", answer(srv, srv.incidents))
	mux.HandleFunc("GET /api/near-misses", answer(srv, askedAt(s, s.NearMissesAt)))
	mux.HandleFunc("GET /api/rates", answer(srv, func(r *http.Request) (any, error) {
		q, err := srv.ratesQuery(r.URL.Query())
		if err != nil {
			return nil, err
		}
		return s.Rates(r.Context(), q)
	}))
	mux.HandleFunc("POST /api/assess", answer(srv, srv.assess)) // it records nothing: what is chosen stands in the body
	mux.HandleFunc("POST /api/runs/logs", answer(srv, func(r *http.Request) (any, error) {
		raw, err := io.ReadAll(io.LimitReader(r.Body, logfile.MaxBytes+1))
		if err != nil {
			return nil, err
		}
		return s.KeepRunLog(r.Context(), raw)
	}))
	mux.HandleFunc("GET /api/runs", answer(srv, func(r *http.Request) (any, error) {
		v := r.URL.Query()
		at, err := s.ReadMoment(v.Get("as-of"))
		if err != nil {
			return nil, err
		}
		return s.Runs(r.Context(), site.RunsQuery{Load: v.Get("load"), Sterilizer: v.Get("sterilizer"), AsOf: at})
	}))
	mux.HandleFunc("POST /api/schedule", answer(srv, srv.importSchedule))
	mux.HandleFunc("GET /api/schedule", answer(srv, func(r *http.Request) (any, error) {
		at, err := s.ReadMoment(r.URL.Query().Get("as-of"))
		if err != nil {
			return nil, err
		}
		return s.Schedule(r.Context(), site.ScheduleQuery{Day: r.URL.Query().Get("day"), AsOf: at})
	}))
	mux.HandleFunc("GET /api/history", answer(srv, srv.history))
	mux.HandleFunc("GET /api/verify", answer(srv, func(r *http.Request) (any, error) {
		return srv.dear.ask(r.Context(), func() (any, error) { return s.Verify(r.Context(), nil) })
	}))
	mux.HandleFunc("GET /api/evidence", srv.evidence)
	mux.HandleFunc("GET /api/reporting-copy", srv.reportingCopy)
	mux.HandleFunc("GET /api/consistency", srv.consistency)
	mux.HandleFunc("GET /api/root", srv.root)
	mux.HandleFunc("POST /api/rebuild", answer(srv, srv.rebuild))
	mux.HandleFunc("GET /api/lists", answer(srv, func(r *http.Request) (any, error) {
		at, err := s.ReadMoment(r.URL.Query().Get("as-of"))
		if err != nil {
			return nil, err
		}
		return s.ListsAt(r.Context(), r.URL.Query().Get("list"), at)
	}))
	mux.HandleFunc("GET /api/policy", answer(srv, askedAt(s, s.PolicyAt)))
	mux.HandleFunc("GET /api/texts", answer(srv, func(r *http.Request) (any, error) { return s.Texts(r.Context()) }))
	mux.HandleFunc("POST /api/texts/redact", answer(srv, srv.redact))
	srv.registerStations(mux)
}

func (srv *Server) incidents(r *http.Request) (any, error) {
	at, err := srv.site.ReadMoment(r.URL.Query().Get("as-of"))
	if err != nil {
		return nil, err
	}
	closed := r.URL.Query().Get("closed")
	if closed != "" && closed != "0" && closed != "1" {
		return nil, refusal.New("closed %q is neither 0 nor 1", closed)
	}
	ins, err := srv.site.Incidents(r.Context(), closed == "1", at)
	return append([]projections.Incident{}, ins...), err
}

// askedAt answers a question that is asked about a moment, and nothing else.
func askedAt[T any](s *site.Site, ask func(context.Context, time.Time) (T, error)) func(*http.Request) (any, error) {
	return func(r *http.Request) (any, error) {
		at, err := s.ReadMoment(r.URL.Query().Get("as-of"))
		if err != nil {
			return nil, err
		}
		return ask(r.Context(), at)
	}
}

// registerStations adds who may record.
func (srv *Server) registerStations(mux shell.Mux) {
	s := srv.site
	mux.HandleFunc("GET /api/stations", answer(srv, askedAt(s, s.StationsAt)))
	mux.HandleFunc("POST /api/stations/enrol", answer(srv, func(r *http.Request) (any, error) {
		return s.Enrol(r.Context(), r.FormValue("station"), r.FormValue("key"), r.FormValue("reason"))
	}))
	mux.HandleFunc("POST /api/stations/retire", answer(srv, func(r *http.Request) (any, error) {
		var asOf time.Time
		if text := r.FormValue("asOf"); text != "" {
			var err error
			if asOf, err = time.Parse(time.RFC3339, text); err != nil {
				return nil, refusal.New("asOf: %q is no time such as 2026-03-02T08:02:00Z", text)
			}
		}
		return s.Retire(r.Context(), r.FormValue("station"), r.FormValue("reason"), asOf)
	}))
}

// readOnly refuses whatever would be recorded in an invented ledger: all who practise with it find it as it was.
func readOnly(next http.Handler, sh *shell.Shell) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead && r.URL.Path != teach.Path {
			err := refusal.WithCode(http.StatusForbidden, "%s", sh.Words(r).T("practise.read-only"))
			if strings.HasPrefix(r.URL.Path, apiPrefix) {
				sh.FailJSON(w, r, err)
			} else {
				sh.FailText(w, r, err)
			}
			return
		}
		next.ServeHTTP(w, r)
	})
}

const practicePrefix = "/practice"

// secure sets the headers that every answer has.
func secure(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy",
			"default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Server", "listbound/"+version.String())
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// answerAll answers what no route takes as every other refusal is answered: a
// program under /api/ in JSON, a person in words.
func answerAll(mux *http.ServeMux, sh *shell.Shell, known described) http.Handler {
	pages := readPageParameters()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, pattern := mux.Handler(r)
		if pattern != "" {
			if err := known.check(pattern, r); err != nil {
				sh.FailJSON(w, r, err)
				return
			}
			if err := pages.check(pattern, r, sh.Words(r)); err != nil {
				sh.FailText(w, r, err)
				return
			}
			mux.ServeHTTP(w, r)
			return
		}
		probe := unrouted{head: make(http.Header)}
		h.ServeHTTP(&probe, r) // the mux's own handler: it says why there is no route
		var err error
		switch say := sh.Words(r).T; probe.code {
		case http.StatusNotFound:
			err = refusal.WithCode(probe.code, "%s", say("shell.no-such-address", r.URL.Path))
		case http.StatusMethodNotAllowed:
			allow := probe.head.Get("Allow")
			w.Header().Set("Allow", allow)
			err = refusal.WithCode(probe.code, "%s", say("shell.not-so-asked", r.URL.Path, r.Method, allow))
		default:
			h.ServeHTTP(w, r)
			return
		}
		if strings.HasPrefix(r.URL.Path, apiPrefix) {
			sh.FailJSON(w, r, err)
			return
		}
		sh.FailText(w, r, err)
	})
}

// apiPrefix is where programs ask.
const apiPrefix = "/api/"

// unrouted keeps what the mux would answer to a request that no route takes.
type unrouted struct {
	head http.Header
	code int
}

func (u *unrouted) Header() http.Header         { return u.head }
func (u *unrouted) WriteHeader(code int)        { u.code = code }
func (u *unrouted) Write(b []byte) (int, error) { return len(b), nil }

func answer(s *Server, f func(*http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := f(r)
		if err != nil {
			s.sh.FailJSON(w, r, err)
			return
		}
		s.sh.WriteJSON(w, r, http.StatusOK, v)
	}
}

// record answers line by line, so that a cut connection leaves no doubt about
// the lines before it.
func (s *Server) record(w http.ResponseWriter, r *http.Request) {
	rc := http.NewResponseController(w)
	// The receipts of some lines go out while the next ones still come in.
	if err := rc.EnableFullDuplex(); err != nil && !errors.Is(err, http.ErrNotSupported) {
		s.sh.FailJSON(w, r, err)
		return
	}
	h := &handIn{body: r.Body, ctx: r.Context(), turns: s.turns, out: w, flush: rc.Flush}
	defer h.leave()
	begun := false
	write := func(v any) error {
		raw, err := json.Marshal(v)
		if err != nil {
			return fmt.Errorf("receipt: %w", err)
		}
		if !begun {
			begun = true
			w.Header().Set("Content-Type", "application/jsonl")
		}
		return h.put(raw)
	}
	err := s.site.Record(r.Context(), h, func(rec site.Receipt) error { return write(rec) })
	switch {
	case err == nil && !begun:
		w.Header().Set("Content-Type", "application/jsonl") // nothing was handed in
	case err != nil && !begun:
		h.leave()
		s.sh.FailJSON(w, r, err)
	case err != nil:
		// The answer has begun, so the error is its last line. A client that has gone away needs none.
		_ = write(s.sh.Failure(r, err))
	}
	_ = h.end() // a client that has gone away needs none either
}

// cutShort says for people that observations did not come whole. How the connection
// failed, between which addresses, is the server's.
type cutShort struct{ why error }

func (e *cutShort) Error() string {
	return "the observations broke off before their end; what has a receipt is recorded, and the same can be sent again"
}

func (e *cutShort) Unwrap() error { return e.why }

// query reads a history question from a form.
func (srv *Server) query(v url.Values) (site.Query, error) {
	q := site.Query{Set: v.Get("set"), Trip: v.Get("trip"), Case: v.Get("case"), Load: v.Get("load"),
		Records: v.Get("records") == "1", All: v.Get("all") == "1"}
	var err error
	if q.AsOf, err = srv.site.ReadMoment(v.Get("as-of")); err != nil {
		return q, err
	}
	for _, size := range v["earlier"] {
		n, err := strconv.ParseInt(size, 10, 64)
		if err != nil {
			return q, refusal.New("earlier %q is not a number of records", size)
		}
		q.Earlier = append(q.Earlier, n)
	}
	return q, nil
}

// FormatAsOf puts a moment into a form as Site.ReadMoment reads it.
func FormatAsOf(v url.Values, at time.Time) url.Values {
	if !at.IsZero() {
		v.Set("as-of", at.Format(time.RFC3339Nano))
	}
	return v
}

// FormatQuery writes a question as a form.
func FormatQuery(q site.Query) url.Values {
	v := url.Values{}
	for name, s := range map[string]string{"set": q.Set, "trip": q.Trip, "case": q.Case, "load": q.Load} {
		if s != "" {
			v.Set(name, s)
		}
	}
	FormatAsOf(v, q.AsOf)
	if q.Records {
		v.Set("records", "1")
	}
	if q.All {
		v.Set("all", "1")
	}
	for _, size := range q.Earlier {
		v.Add("earlier", strconv.FormatInt(size, 10))
	}
	return v
}

func (s *Server) history(r *http.Request) (any, error) {
	q, err := s.query(r.URL.Query())
	if err != nil {
		return nil, err
	}
	return s.site.History(r.Context(), q)
}

func (s *Server) evidence(w http.ResponseWriter, r *http.Request) {
	q, err := s.query(r.URL.Query())
	if err != nil {
		s.sh.FailJSON(w, r, err)
		return
	}
	out := &late{w: w, kind: "application/zip", name: "evidence.zip"}
	s.breakOff(w, r, out, s.site.Evidence(r.Context(), q, out))
}

// reportingCopy answers with the copy, once it is whole. It is made for one at a time.
func (s *Server) reportingCopy(w http.ResponseWriter, r *http.Request) {
	at, err := s.site.ReadMoment(r.URL.Query().Get("as-of"))
	if err != nil {
		s.sh.FailJSON(w, r, err)
		return
	}
	out := &late{w: w, kind: "application/vnd.sqlite3", name: "reporting.sqlite"}
	_, err = s.dear.ask(r.Context(), func() (any, error) { return nil, s.site.ReportingCopy(r.Context(), out, at, nil) })
	s.breakOff(w, r, out, err)
}

// breakOff answers with what went wrong with a file. Where a part of it has gone out the connection breaks off: a file
// without its end must not look whole.
func (s *Server) breakOff(w http.ResponseWriter, r *http.Request, out *late, err error) {
	switch {
	case err != nil && !out.begun:
		s.sh.FailJSON(w, r, err)
	case err != nil:
		s.sh.Answer(r, err) // for the log
		panic(http.ErrAbortHandler)
	}
}

// consistency answers with the text form of a proof.
func (s *Server) consistency(w http.ResponseWriter, r *http.Request) {
	size := r.URL.Query().Get("from")
	from, err := strconv.ParseInt(size, 10, 64)
	if err != nil {
		s.sh.FailJSON(w, r, refusal.New("from %q is not a number of records", size))
		return
	}
	p, err := s.site.Consistency(r.Context(), from)
	if err != nil {
		s.sh.FailJSON(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = w.Write(p.Marshal()) // a client that has gone away needs no answer
}

// root answers with the root of the tree of so many records, in base64 as checkpoints have it.
func (s *Server) root(w http.ResponseWriter, r *http.Request) {
	size := r.URL.Query().Get("size")
	n, err := strconv.ParseInt(size, 10, 64)
	if err != nil {
		s.sh.FailJSON(w, r, refusal.New("size %q is not a number of records", size))
		return
	}
	root, err := s.site.RootAt(r.Context(), n)
	if err != nil {
		s.sh.FailJSON(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, root) // a client that has gone away needs no answer
}

// late sends the headers of an archive with its first byte, so that an error
// before it can still be said.
type late struct {
	w          http.ResponseWriter
	kind, name string
	begun      bool
}

func (l *late) Write(b []byte) (int, error) {
	if !l.begun {
		l.begun = true
		l.w.Header().Set("Content-Type", l.kind)
		l.w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", l.name))
	}
	return l.w.Write(b)
}

func (s *Server) rebuild(r *http.Request) (any, error) {
	return s.dear.ask(r.Context(), func() (any, error) {
		n, err := s.site.Rebuild(r.Context(), nil)
		return Rebuilt{Records: n}, err
	})
}

func (s *Server) assess(r *http.Request) (any, error) {
	const most = 1 << 17
	raw, err := io.ReadAll(http.MaxBytesReader(nil, r.Body, most))
	if err != nil {
		return nil, err
	}
	var q site.AssessQuery
	if err := json.Unmarshal(raw, &q, json.RejectUnknownMembers(true)); err != nil {
		return nil, refusal.New("this is no JSON object with choices, and since, until, asOf and seed")
	}
	return s.site.Assess(r.Context(), q)
}

// redact reads from the body what is to be taken out: an address would be written down.
func (s *Server) redact(r *http.Request) (any, error) {
	const most = 1 << 20
	raw, err := io.ReadAll(http.MaxBytesReader(nil, r.Body, most))
	if err != nil {
		return nil, err
	}
	var asked site.Redaction
	if err := json.Unmarshal(raw, &asked, json.RejectUnknownMembers(true)); err != nil {
		return nil, refusal.New("this is no JSON object with records, case or due, and check, reason and operator")
	}
	return s.site.Redact(r.Context(), asked)
}

// Rebuilt answers a rebuild.
type Rebuilt struct {
	Records int64 `json:"records"`
}

// Package shell is what all pages share: the frame around them, the words of
// each language, the style sheet, and the stream that tells a page to look again.
//
// A page package registers its handlers on a mux, keeps its templates and
// scripts in its own folder, and its texts in package texts.
package shell

import (
	"bytes"
	"context"
	"embed"
	"errors"
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

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/version"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/words"
)

//go:embed assets
var assetFiles embed.FS

//go:embed templates
var templateFiles embed.FS

// Words are the texts of one language by key.
type Words struct {
	Lang      string
	in        *words.Language
	judgement *words.Judgement
}

// WordsIn returns the texts of the language for a tag; nil where there is none.
func WordsIn(j *words.Judgement, tag string) *Words {
	in, ok := j.Catalogue().Find(tag)
	if !ok {
		return nil
	}
	return &Words{Lang: in.Tag(), in: in, judgement: j}
}

// Language is what the texts are made with.
func (w *Words) Language() *words.Language { return w.in }

// Finding returns what a finding says and what is usually done next.
func (w *Words) Finding(f *projections.Finding) projections.Text {
	return w.judgement.Finding(w.Lang, f)
}

// Code names a finding's code in a few words.
func (w *Words) Code(code projections.Code) string { return w.judgement.Code(w.Lang, code) }

// Kind says in a word or two what an event of a kind records.
func (w *Words) Kind(kind events.Kind) string { return w.judgement.Kind(w.Lang, kind) }

// StationLine says in one line what a person at a station sees of a finding
// first. other is the other set it names, if any.
func (w *Words) StationLine(code projections.Code, way, set, other string) string {
	return w.judgement.Station(w.Lang, code, way, set, other)
}

// anyFinding is Finding for templates, which hold findings and pointers to them.
func (w *Words) anyFinding(f any) (projections.Text, error) {
	switch f := f.(type) {
	case projections.Finding:
		return w.Finding(&f), nil
	case *projections.Finding:
		return w.Finding(f), nil
	}
	return projections.Text{}, fmt.Errorf("%T is no finding", f)
}

// Event returns the line of a history for an event.
func (w *Words) Event(e *projections.HistoryEvent) string {
	return w.judgement.HistoryLine(w.Lang, e)
}

// Remarks names what is wrong with a record itself.
func (w *Words) Remarks(r events.Remark) []string { return w.judgement.Remarks(w.Lang, r) }

// T returns a text with its arguments put in ({0}, {1} …). A key without a text
// is shown itself, so that it is noticed and nothing breaks; a test holds that
// every key used has a text in every language.
func (w *Words) T(key string, args ...any) string { return w.in.Say(key, args...) }

// Elsewhere tells of the marks in a text that what they stand for is where the ledger is written, at a follower that hasn't it.
func (w *Words) Elsewhere(s string) string { return w.in.Elsewhere(s) }

// Name is what the language calls itself.
func (w *Words) Name() string { return w.in.Name() }

// Zone is where the times are that the words say.
func (w *Words) Zone() *time.Location { return w.in.Zone() }

// Weight writes a weight in the place's unit.
func (w *Words) Weight(grams int64) string { return w.in.Weight(grams) }

// ZoneNote says once on a page what its times are: the zone, and how far it is from
// UTC at a moment.
func (w *Words) ZoneNote(at time.Time) string {
	if w.Zone().String() == "UTC" {
		return w.T("shell.utc")
	}
	return w.T("shell.zone", w.Zone().String(), at.In(w.Zone()).Format("-07:00"))
}

// Time writes a moment in the language's order and the place's zone, to the minute.
func (w *Words) Time(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return w.in.Date("shell.time", t)
}

// Short writes a moment without its year, for where there is little room.
func (w *Words) Short(t time.Time) string { return w.in.Date("shell.time-short", t) }

// Weekday writes the day of a moment without its year.
func (w *Words) Weekday(t time.Time) string {
	return strings.TrimSpace(w.T("shell.weekday", w.DayName(t), w.in.Date("shell.weekday-date", t)))
}

// DayName is the short name of a moment's day of the week; "" where a language names none.
func (w *Words) DayName(t time.Time) string {
	const days = 7
	names := strings.Fields(w.T("shell.weekdays"))
	if len(names) != days {
		return ""
	}
	if zone := w.Zone(); zone != nil {
		t = t.In(zone)
	}
	return names[t.Weekday()]
}

// Clock writes the time of day of a moment.
func (w *Words) Clock(t time.Time) string { return w.in.Date("format.clock", t) }

// Place says where something was, as verdicts and traces name it in English.
func (w *Words) Place(where string) string {
	if load, ok := strings.CutPrefix(where, "load "); ok {
		return w.T("shell.load", load)
	}
	return where
}

// Day writes a day that is given as 2006-01-02, the same in every zone.
func (w *Words) Day(day string) string {
	t, err := time.ParseInLocation(time.DateOnly, day, w.Zone())
	if err != nil {
		return day
	}
	return w.in.Date("format.day", t)
}

// Kg writes a weight in kilograms with the language's decimal mark.
func (w *Words) Kg(grams int64) string { return w.in.Kg(grams) }

// Shell renders pages.
type Shell struct {
	Site   string
	Behind func() int64 // how many records no verdict knows of; nil where nobody knows
	// Practice marks every page: what is shown is invented.
	Practice bool
	// Notices are what everybody has to know of the ledger itself; nil where there is nothing to know.
	Notices func(*Words) []string
	// Copied is up to where a follower answers; it returns nil where the ledger is written here. It may be nil.
	Copied func(*Words) *Copied
	// Signed says who has signed in; nil where nobody is asked.
	Signed func(*http.Request) *Signed
	// Accounts are those that have a badge; nil where there are none.
	Accounts  func(badge string) ([]Account, error)
	languages []*Words // English first
	assets    []assetSet
	catalogue *words.Catalogue
	log       *slog.Logger
	clerk     refusal.Clerk
	clock     func() time.Time
}

// New returns the shell for a site whose pages are written in the languages of
// its texts.
func New(site string, j *words.Judgement, clock func() time.Time, log *slog.Logger) *Shell {
	s := &Shell{Site: site, catalogue: j.Catalogue(), log: log, clerk: refusal.Clerk{Log: log}, clock: clock}
	for _, lang := range j.Languages() {
		s.languages = append(s.languages, WordsIn(j, lang))
	}
	return s
}

// language returns the words for a tag; nil where there are none.
func (s *Shell) language(tag string) *Words {
	in, ok := s.catalogue.Find(tag)
	if !ok {
		return nil
	}
	return s.languages[slices.IndexFunc(s.languages, func(w *Words) bool { return w.in == in })]
}

// langCookie keeps a language chosen by hand.
const langCookie = "lang"

// Words returns the words for a request: ?lang=, then the cookie, then what the
// browser asks for. A program is answered in English, unless it asks with ?lang=: it compares what it is told.
func (s *Shell) Words(r *http.Request) *Words {
	if w := s.language(r.URL.Query().Get("lang")); w != nil {
		return w
	}
	if strings.HasPrefix(r.URL.Path, "/api/") {
		return s.languages[0]
	}
	if c, err := r.Cookie(langCookie); err == nil {
		if w := s.language(c.Value); w != nil {
			return w
		}
	}
	return s.language(s.catalogue.Match(r.Header.Get("Accept-Language")).Tag())
}

// CheckLanguage refuses a request that asks with ?lang= for a language that is
// not there. A page is shown in another one then; a print that somebody asked
// for in a language is not made in another.
func (s *Shell) CheckLanguage(r *http.Request) error {
	tag := r.URL.Query().Get("lang")
	if tag == "" || s.language(tag) != nil {
		return nil
	}
	return refusal.New("there are no texts in %q here, only in %s", tag, strings.Join(s.catalogue.Languages(), ", "))
}

// Templates parses a package's templates together with the frame's. In them:
// {{t "key" args}} is a text, {{at time}} a moment, {{weight grams}} a weight.
func (s *Shell) Templates(files fs.FS, funcs template.FuncMap, patterns ...string) (map[string]*template.Template, error) {
	out := make(map[string]*template.Template)
	for _, w := range s.languages {
		all := template.FuncMap{
			"t": w.T, "at": w.Time, "place": w.Place, "kg": w.Kg, "weight": w.Weight, "weightUnit": w.in.WeightUnit,
			"weightNumber": w.in.WeightNumber, "version": version.String,
			"lang": func() string { return w.Lang }, "languages": func() []*Words { return s.languages },
			"zoneNote": func() string { return w.ZoneNote(s.clock()) },
			"day":      w.Day,
			"finding":  w.anyFinding, "codeName": w.Code,
			"historyLine": func(e projections.HistoryEvent) string { return w.Event(&e) },
			"asset":       s.Asset,
		}
		maps.Copy(all, funcs)
		t, err := parsed(files, all, patterns)
		if err != nil {
			return nil, fmt.Errorf("page templates: %w", err)
		}
		out[w.Lang] = t
	}
	return out, nil
}

// parses are the templates of files that are part of the program, by these and their patterns, as parsed and never executed:
// each language and each server has a copy with functions of its own.
var parses sync.Map

// parsed returns templates that call such functions.
func parsed(files fs.FS, funcs template.FuncMap, patterns []string) (*template.Template, error) {
	type source struct {
		files    embed.FS
		patterns string
	}
	embedded, constant := files.(embed.FS)
	of := source{embedded, strings.Join(patterns, "\n")}
	if constant {
		if t, ok := parses.Load(of); ok {
			t, err := t.(*template.Template).Clone()
			if err != nil {
				return nil, err
			}
			return t.Funcs(funcs), nil
		}
	}
	t, err := template.New("").Funcs(funcs).ParseFS(templateFiles, "templates/*.html")
	if err == nil {
		t, err = t.ParseFS(files, patterns...)
	}
	if err != nil || !constant {
		return t, err
	}
	kept, err := t.Clone()
	if err != nil {
		return nil, err
	}
	none := make(template.FuncMap) // so that what is kept calls, and holds, nothing of this server
	for name := range funcs {
		none[name] = func(...any) (string, error) { return "", fmt.Errorf("no function %s was given", name) }
	}
	parses.Store(of, kept.Funcs(none))
	return t, nil
}

// Page is what the frame needs; Body is the page's own.
type Page struct {
	Site    string
	Title   string
	Scripts []string // the page's modules, as Asset takes them
	Styles  []string // the page's own style sheets, likewise
	Base    string   // before the addresses of the frame's links to workplaces and lists
	Wide    bool     // no side margins: for boards and wall screens
	Path    string   // address of this page, for the language links
	Live    bool     // the page itself says how far judgement is behind, and when it no longer is
	Behind  int64    // how many records no verdict knows of
	// OwnCopied says that the page's rows say up to where a follower answers, since they are asked for again and the frame isn't.
	OwnCopied bool
	Notices   []string // what everybody has to know of the ledger itself
	Copied    *Copied  // nil where the ledger is written here, or the page itself says it
	Signed    *Signed  // nil for nobody
	Printed   string   // on paper alone: when it was printed, and of what
	Known     *Known   // nil where a page is about now, whoever asks
	Body      any

	Practice bool // what is shown is invented

	query url.Values
}

// Known is as of when a page says what is known, and the form that asks for another moment.
type Known struct {
	At     string // "" for now
	Field  string // the same as the form has it
	Path   string
	Params url.Values // of the page besides
	Now    string     // the address of the page as of now
	Own    bool       // the page has a form of its own
}

// Copied is what a follower's page says of itself.
type Copied struct {
	Of     string   // where the ledger is written
	Says   string   // up to where it answers
	Lacks  string   // what it doesn't have
	Alerts []string // that nothing is heard, or what is wrong
}

// CopiedIn says up to where a follower answers; nil where the ledger is written here.
func (s *Shell) CopiedIn(words *Words) *Copied {
	if s.Copied == nil {
		return nil
	}
	return s.Copied(words)
}

// Signed is who has signed in, as the head of a page shows it.
type Signed struct {
	Name    string
	Screen  bool // nobody has: it is a wall screen, whose name it is
	People  bool // may let others in, or stations
	Readers bool // may see who read what
}

// Account is what is kept of somebody who can sign in.
type Account struct {
	Login, Name string
	Roles       []string
	Made, Ended time.Time
	Changes     int // of accounts, that they made or that are about them
	Reads       int // how often it is kept that they read something
}

// Lang is this page's address in another language.
func (p Page) Lang(lang string) string {
	q := maps.Clone(p.query)
	if q == nil {
		q = url.Values{}
	}
	q.Set("lang", lang)
	return "?" + q.Encode()
}

// Render writes a page: template name of the request's language.
func (s *Shell) Render(w http.ResponseWriter, r *http.Request, code int, set map[string]*template.Template, name string, p Page) {
	words := s.Words(r)
	if l := r.URL.Query().Get("lang"); s.language(l) != nil {
		http.SetCookie(w, &http.Cookie{Name: langCookie, Value: l, Path: "/", SameSite: http.SameSiteStrictMode,
			HttpOnly: true, MaxAge: 365 * 24 * 3600})
	}
	p.Site, p.Path, p.query = s.Site, r.URL.Path, r.URL.Query()
	if s.Behind != nil && !p.Live {
		p.Behind = s.Behind()
	}
	p.Practice = s.Practice
	if s.Notices != nil {
		p.Notices = s.Notices(words)
	}
	if !p.OwnCopied {
		p.Copied = s.CopiedIn(words)
	}
	if s.Signed != nil {
		p.Signed = s.Signed(r)
	}
	var out bytes.Buffer
	if err := set[words.Lang].ExecuteTemplate(&out, name, p); err != nil {
		s.FailText(w, r, fmt.Errorf("page %s: %w", name, err))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Add("Vary", "Accept-Language, Cookie")
	w.WriteHeader(code)
	w.Write(out.Bytes()) // a client that has gone away needs no answer
}

// Answer returns what an error comes to outside, in the language of the page.
// What is no refusal is logged by this.
func (s *Shell) Answer(r *http.Request, err error) refusal.Answer {
	a := s.clerk.Answer(r, err)
	if a.Why != refusal.Refused && a.Why != refusal.TooLarge && a.Why != refusal.NotLetInHere {
		a.Text = s.Words(r).T("shell.answer-"+string(a.Why), a.Incident)
	}
	if large, ok := errors.AsType[*http.MaxBytesError](err); ok {
		a.Text = s.Words(r).T("shell.answer-too-large", large.Limit)
	}
	return a
}

// PageAnswer is Answer for a person: a refusal is said in the page's language where it
// has a sentence there.
func (s *Shell) PageAnswer(r *http.Request, err error) refusal.Answer {
	a := s.Answer(r, err)
	if key, args := refusal.InWords(err); key != "" && a.Why == refusal.Refused {
		a.Text = s.Words(r).T("workplace.refused-"+key, args...)
	}
	return a
}

// Failure is how scripts and programs are told no: a problem as RFC 9457 has it, with two members more. Its type is left
// out, which means about:blank, so the title is the status's phrase; why says more.
type Failure struct {
	Error    string      `json:"error"` // the same as Detail, under its older name
	Why      refusal.Why `json:"why"`
	Incident string      `json:"incident,omitempty"`
	Title    string      `json:"title"`
	Status   int         `json:"status"`
	Detail   string      `json:"detail"`
}

// failure is an answer as JSON, which takes no text that is not UTF-8: a refusal may name what came in an address.
func failure(a refusal.Answer) Failure {
	said := strings.ToValidUTF8(a.Text, "\uFFFD")
	return Failure{Error: said, Why: a.Why, Incident: a.Incident, Title: http.StatusText(a.Code), Status: a.Code, Detail: said}
}

// WriteJSON answers a program with a value.
func (s *Shell) WriteJSON(w http.ResponseWriter, r *http.Request, code int, v any) {
	raw, err := json.Marshal(v)
	if err != nil {
		a := s.Answer(r, fmt.Errorf("writing an answer as JSON: %w", err))
		code = a.Code
		raw, _ = json.Marshal(failure(a)) // strings and a number can be written
		v = Failure{}
	}
	kind := "application/json"
	if _, failed := v.(Failure); failed {
		kind = "application/problem+json"
	}
	w.Header().Set("Content-Type", kind)
	w.WriteHeader(code)
	w.Write(append(raw, '\n')) // a client that has gone away needs no answer
}

// FailJSON answers a program with an error.
func (s *Shell) FailJSON(w http.ResponseWriter, r *http.Request, err error) {
	a := s.Answer(r, err)
	a.Head(w.Header())
	s.WriteJSON(w, r, a.Code, failure(a))
}

// Failure is the answer to an error where the headers are out already.
func (s *Shell) Failure(r *http.Request, err error) Failure {
	a := s.Answer(r, err)
	return failure(a)
}

// FailText answers with an error where neither a page nor JSON is asked for.
func (s *Shell) FailText(w http.ResponseWriter, r *http.Request, err error) {
	a := s.PageAnswer(r, err)
	a.Head(w.Header())
	http.Error(w, a.Text, a.Code)
}

// A Mux takes the handlers of a package, as an http.ServeMux does.
type Mux interface {
	Handle(pattern string, h http.Handler)
	HandleFunc(pattern string, f func(http.ResponseWriter, *http.Request))
}

// Changes is the stream that tells a page that verdicts may have changed:
// server-sent events named "change" without content.
func Changes(w http.ResponseWriter, r *http.Request, changes <-chan struct{}) {
	rc := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	const beat = 20 * time.Second // a proxy or a sleeping tablet notices a dead line
	tick := time.NewTicker(beat)
	defer tick.Stop()
	send := func(s string) bool {
		if _, err := w.Write([]byte(s)); err != nil {
			return false
		}
		return rc.Flush() == nil
	}
	if !send("retry: 1000\n\nevent: change\ndata:\n\n") {
		return
	}
	for {
		select {
		case <-r.Context().Done():
			return
		case <-ended(r.Context()):
			return
		case <-changes:
			if !send("event: change\ndata:\n\n") {
				return
			}
		case <-tick.C:
			if !send(": still here\n\n") {
				return
			}
		}
	}
}

type streamsKey struct{}

// WithStreams returns a context for requests whose streams end with a channel,
// as when the server stops: other requests are finished, a stream never is.
func WithStreams(ctx context.Context, ended <-chan struct{}) context.Context {
	return context.WithValue(ctx, streamsKey{}, ended)
}

func ended(ctx context.Context) <-chan struct{} {
	c, _ := ctx.Value(streamsKey{}).(<-chan struct{})
	return c // nil never ends
}

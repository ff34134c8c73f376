// Package door says who may do what at a server: people who sign in, programs with
// a token, browsers that stand at a station.
//
// A role is a plain word (rules.go), each route has a rule, and a route without one is
// not served. People, tokens and stations' browsers lie in the folder door of the data
// folder, beside the ledger and not in it: accounts.json, of which passwords, tokens,
// cookies and codes can't be had back, and reads-2026-11.jsonl, who read what.
//
// A server without a Door asks nobody who they are: one's own folder, and the demo.
package door

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// How long things last.
const (
	sessionIdle  = 30 * time.Minute // without anything that a person did
	sessionWhole = 12 * time.Hour   // whatever a person did
	provedKept   = 10 * time.Minute // after a password, before it is asked for again where a rule says so
	codeAlive    = time.Hour        // the administrator's, printed by the server
	personCode   = 72 * time.Hour   // handed to a colleague
	stationCode  = 10 * time.Minute // typed at the station at once
	stationKept  = 400 * 24 * time.Hour
	tokenLongest = 366 * 24 * time.Hour
)

// Options say how a door works.
type Options struct {
	Dir   string // the data folder
	Clock func() time.Time
	Log   *slog.Logger
	Cost  Cost       // of checking a password; RFC 9106's second recommended choice where it is zero
	CA    *Authority // the site's own, whose certificate stations can fetch here; nil for none
}

// Door lets people in and programs, and keeps the rest out.
type Door struct {
	o        Options
	books    *books
	reading  *reading
	limits   limits
	sessions sessions
	shown    shown
	pins     Pins
	hashing  chan struct{} // bounds how many passwords are checked at once, since each takes 64 MiB
	openID   *openID       // nil where none is set up
	nobody   string        // a password's hash that no password has, so that an unknown name takes as long

	// Set by Guard.
	watch *Watch
	sh    *shell.Shell
	site  *site.Site
	tmpl  map[string]*template.Template

	routes []string
}

// Routes lists what is served behind the door, as it was registered.
func (d *Door) Routes() []string { return slices.Clone(d.routes) }

// Open opens the accounts of a data folder. Where there are none yet, there are none.
func Open(o Options) (*Door, error) {
	if o.Cost == (Cost{}) {
		o.Cost = usual()
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	dir := filepath.Join(o.Dir, Folder)
	b, err := openBooks(dir)
	if err != nil {
		return nil, err
	}
	set, err := readOpenID(dir)
	if err != nil {
		return nil, err
	}
	const atOnce = 2
	d := &Door{
		o: o, books: b, reading: &reading{dir: dir, clock: o.Clock}, limits: limits{clock: o.Clock},
		sessions: sessions{clock: o.Clock}, pins: Pins{clock: o.Clock}, hashing: make(chan struct{}, atOnce),
		nobody: nobodys(o.Cost),
	}
	if set != nil {
		d.openID, err = newOpenID(set, o.Clock)
	}
	return d, err
}

// Used reports whether there are accounts: whoever has made one wants them asked for.
func (d *Door) Used() bool { return len(d.books.read().People) > 0 }

// HasAdministrator reports whether somebody can sign in who lets others in.
func (d *Door) HasAdministrator() bool { return d.books.read().administrators() > 0 }

// AdministratorCode makes a one-time code by which an administrator is made, or one gets a new password. It is for whoever
// starts the server, who has the folder anyhow; one that was made before is good no more.
func (d *Door) AdministratorCode() (string, error) {
	const groups = 4
	typed := newCode(groups)
	now := d.o.Clock()
	err := d.books.change(func(b *book) error {
		b.dropCodes(now, func(c *code) bool { return c.administrators() })
		b.Codes = append(b.Codes, code{Digest: digest(readCode(typed)), By: "server", Until: now.Add(codeAlive)})
		b.changed(now, "server", "administrator-code", "", "")
		return nil
	})
	return typed, err
}

// visitor is who a request comes from: a person, a program or nobody, and the
// station at which the browser stands, if at any.
type visitor struct {
	person  *Person
	session *session
	token   *Token
	station string
	screen  *Screen
	wrong   string // why a token was not taken
}

// who names a visitor in logs and in what is kept. A person's name stands in the accounts alone.
func (v *visitor) who() string {
	var parts []string
	if v.person != nil {
		parts = append(parts, "person "+v.person.ID)
	}
	if v.token != nil {
		parts = append(parts, "token "+v.token.ID)
	}
	if v.station != "" && v.token == nil {
		parts = append(parts, "station "+v.station)
	}
	if v.screen != nil {
		parts = append(parts, "screen "+v.screen.ID)
	}
	if len(parts) == 0 {
		return "nobody"
	}
	return strings.Join(parts, ", ")
}

// has reports whether a visitor has a role.
func (v *visitor) has(role Role) bool {
	switch {
	case v.token != nil:
		return v.token.Role == role
	case role == Records:
		return v.station != ""
	case v.person != nil:
		return slices.Contains(v.person.Roles, role)
	}
	return false
}

// known reports whether a visitor is anybody.
func (v *visitor) known() bool {
	return v.person != nil || v.token != nil || v.station != "" || v.screen != nil
}

// stands reports whether a visitor is at a station.
func (v *visitor) stands(station string) bool {
	return v.station == station || v.station == anyStation && v.token != nil
}

// anyStation is a token's for programs that record for all stations, such as an import.
const anyStation = "*"

// visitorOf finds out who a request comes from. A token counts alone: a program says what it is.
func (d *Door) visitorOf(r *http.Request) *visitor {
	b := d.books.read()
	now := d.o.Clock()
	v := new(visitor)
	if header := r.Header.Get("Authorization"); header != "" {
		scheme, given, _ := strings.Cut(header, " ")
		if !strings.EqualFold(scheme, "Bearer") {
			v.wrong = WhyToken
			return v
		}
		want := digest(strings.TrimSpace(given))
		i := slices.IndexFunc(b.Tokens, func(t Token) bool { return t.Digest == want })
		if i < 0 || !b.Tokens[i].Ended.IsZero() || !now.Before(b.Tokens[i].Until) {
			v.wrong = WhyToken
			return v
		}
		v.token, v.station = &b.Tokens[i], b.Tokens[i].Station
		return v
	}
	if s := d.sessions.find(cookie(r, sessionCookie), didSomething(r)); s != nil {
		if p := b.byID(s.person); p != nil && p.Since.Equal(s.since) {
			v.person, v.session = p, s
		}
	}
	if given := cookie(r, stationCookie); given != "" {
		want := digest(given)
		for i := range b.Browsers {
			if x := &b.Browsers[i]; x.Digest == want && x.Ended.IsZero() {
				v.station = x.Station
			}
		}
	}
	v.screen = d.screenOf(b, r, now)
	return v
}

// didSomething tells what a person does from what a page asks by itself, such as a board that looks again: that must not
// keep a session alive for whoever comes by. A browser that says nothing of it is taken at its word.
func didSomething(r *http.Request) bool {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		return true
	}
	mode := r.Header.Get("Sec-Fetch-Mode")
	return mode == "navigate" || mode == "" && !strings.Contains(r.Header.Get("Accept"), "event-stream")
}

type visitorKey struct{}

func from(ctx context.Context) *visitor {
	v, _ := ctx.Value(visitorKey{}).(*visitor)
	if v == nil {
		return new(visitor)
	}
	return v
}

// Guard returns a mux that serves on another one only what has a rule, and only
// to whom the rule lets. Register adds the door's own pages to it.
type Guard struct {
	d    *Door
	mux  shell.Mux
	errs []error
}

// Guard puts a door before a mux.
func (d *Door) Guard(mux shell.Mux, sh *shell.Shell, s *site.Site, watch *Watch) *Guard {
	d.sh, d.site, d.watch = sh, s, watch
	s.Aside(func() func() {
		d.reading.mu.Lock()
		return d.reading.mu.Unlock
	})
	sh.Signed, sh.Accounts = d.signed, d.accountsOf
	return &Guard{d: d, mux: mux}
}

// Err is an error where a route has no rule.
func (g *Guard) Err() error { return errors.Join(g.errs...) }

// Handle implements shell.Mux.
func (g *Guard) Handle(pattern string, h http.Handler) {
	rule, ok := RuleFor(pattern)
	if !ok {
		g.errs = append(g.errs, fmt.Errorf("no rule says who may %s", pattern))
		return
	}
	g.d.routes = append(g.d.routes, pattern)
	g.mux.Handle(pattern, g.d.behind(rule, h))
}

// HandleFunc implements shell.Mux.
func (g *Guard) HandleFunc(pattern string, f func(http.ResponseWriter, *http.Request)) {
	g.Handle(pattern, http.HandlerFunc(f))
}

// behind lets to a handler whom its rule lets.
func (d *Door) behind(rule Rule, h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v := d.visitorOf(r)
		if !rule.Open {
			if why := rule.against(v, r); why != "" {
				d.refuse(w, r, v, why)
				return
			}
		}
		if rule.Again && !d.proved(w, r, v) {
			return
		}
		d.renew(w, r, v)
		ctx := context.WithValue(r.Context(), visitorKey{}, v)
		if rule.Pattern != practice { // where nothing is anybody's
			ctx = site.WithPermit(ctx, d.permits(r, v))
		}
		if v.session != nil {
			// What still runs, as the stream of a board, ends with the session.
			var cancel context.CancelFunc
			ctx, cancel = context.WithCancel(ctx)
			defer cancel()
			defer context.AfterFunc(v.session.ctx, cancel)()
		}
		if v.session == nil && v.screen != nil {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, v.screen.Until.Sub(d.o.Clock()))
			defer cancel()
			defer context.AfterFunc(d.shown.of(v.screen.ID), cancel)()
		}
		if rule.Kept || !rule.Open && r.URL.Query().Get("format") != "" {
			d.keepRead(r, v, rule.Pattern)
		}
		h.ServeHTTP(w, r.WithContext(ctx))
	})
}

// keepRead writes down who reads what. Where that can't be done, as on a full disk, it is logged, and the question is answered
// all the same: a history that nobody can read helps nobody.
func (d *Door) keepRead(r *http.Request, v *visitor, what string) {
	line := Read{At: d.o.Clock().UTC(), Who: v.who(), From: addressOf(r), What: what, Ask: r.URL.RawQuery}
	if name := r.PathValue("name"); name != "" {
		line.Ask = name
	}
	if err := d.reading.keep(line); err != nil {
		d.o.Log.Error("who read what was not kept", "who", line.Who, "what", what, "error", err)
	}
}

// against says why a rule does not let a visitor in, "" where it does.
func (rule Rule) against(v *visitor, r *http.Request) string {
	why := WhyRole
	if rule.Screen && v.screen != nil && r.URL.Query().Get("format") == "" {
		return ""
	}
	for _, role := range rule.Roles {
		switch {
		case !v.has(role) || rule.Person && v.person == nil:
		case role == Records && rule.Own && !v.stands(r.PathValue("site")+"/"+r.PathValue("station")):
			why = WhyStation
		default:
			return ""
		}
	}
	switch {
	case v.wrong != "":
		return v.wrong
	case !v.known():
		return WhyNobody
	}
	return why
}

// refuse answers somebody who is not let in: a person with the page to sign in, a program in its own form. The answer is
// none of those that end an entry which waits in a station's browser.
func (d *Door) refuse(w http.ResponseWriter, r *http.Request, v *visitor, why string) {
	d.watch.Refused(r, why, v.who())
	status := http.StatusForbidden
	if why == WhyNobody || why == WhyToken {
		status = http.StatusUnauthorized
		w.Header().Set("WWW-Authenticate", `Bearer realm="listbound"`)
	}
	words := d.sh.Words(r)
	err := refusal.NotLetIn(status, "%s", words.T("door.refused-"+why, v.station))
	switch {
	case strings.HasPrefix(r.URL.Path, "/api/"):
		d.sh.FailJSON(w, r, err)
	case r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html"):
		d.signInPage(w, r, status, signIn{Problem: d.sh.Answer(r, err).Text, Next: r.URL.RequestURI()})
	case strings.HasPrefix(r.URL.Path, "/at/"):
		d.sh.FailJSON(w, r, err)
	case why == WhyNobody && strings.Contains(r.Header.Get("Accept"), "text/html"):
		// A form that was sent after its sign-in was over. The browser still has what was entered: it sends it again when this
		// page is loaded again, but not when somebody goes back to a page that is not kept.
		d.render(w, r, status, "unsent", "door.sign-in", d.sh.Answer(r, err).Text)
	default:
		d.sh.FailText(w, r, err)
	}
}

// renew notes that a token or a station's browser was used, once a day, and lets that browser keep its cookie.
func (d *Door) renew(w http.ResponseWriter, r *http.Request, v *visitor) {
	const day = 24 * time.Hour
	today := d.o.Clock().UTC().Truncate(day)
	if v.token != nil && v.token.Used.Before(today) {
		d.noted(d.books.change(func(b *book) error {
			for i := range b.Tokens {
				if b.Tokens[i].ID == v.token.ID {
					b.Tokens[i].Used = today
				}
			}
			return nil
		}))
	}
	if v.token != nil || v.station == "" {
		return
	}
	given := cookie(r, stationCookie)
	want, old := digest(given), false
	for _, x := range d.books.read().Browsers {
		old = old || x.Digest == want && x.Used.Before(today)
	}
	if !old {
		return
	}
	setCookie(w, r, stationCookie, given, stationKept)
	d.noted(d.books.change(func(b *book) error {
		for i := range b.Browsers {
			if b.Browsers[i].Digest == want {
				b.Browsers[i].Used = today
			}
		}
		return nil
	}))
}

// noted logs that something was not noted by which nothing else goes wrong.
func (d *Door) noted(err error) {
	if err != nil {
		d.o.Log.Error("the accounts were not brought up to date", "error", err)
	}
}

// signed says who has signed in, for the head of pages. Pages of stations, which browsers keep, name nobody.
func (d *Door) signed(r *http.Request) *shell.Signed {
	if strings.HasPrefix(r.URL.Path, "/at/") {
		return nil
	}
	v := from(r.Context())
	switch {
	case v.person == nil && v.screen != nil:
		return &shell.Signed{Name: v.screen.Name, Screen: true}
	case v.person == nil:
		return nil
	}
	return &shell.Signed{Name: v.person.Name, People: v.has(Administers) || v.has(Leads), Readers: v.has(Audits)}
}

// permits says of each observation of a request whether the visitor may say it. The first that they may not is logged, all are
// counted: a long file must not fill the log.
func (d *Door) permits(r *http.Request, v *visitor) site.Permit {
	logged := false
	return func(o *events.Observation, of *events.Event) error {
		err := v.mayRecord(o, of)
		switch {
		case err == nil:
		case logged:
			d.watch.count(WhyRecord)
		default:
			logged = true
			d.watch.Refused(r, WhyRecord, v.who())
		}
		return err
	}
}

func no(format string, args ...any) error {
	return refusal.WithCode(http.StatusForbidden, format, args...)
}

// mayRecord refuses an observation that is not a visitor's to say. of is what a correction is about.
func (v *visitor) mayRecord(o *events.Observation, of *events.Event) error {
	row, _ := o.Kind.Info()
	if len(row.Roles) == 0 {
		return no("a %s is recorded by the server itself", o.Kind)
	}
	atStation := v.mayAtStation(o, of, row.Roles)
	if atStation == nil {
		return nil
	}
	for _, role := range row.Roles {
		if role == Records || !v.has(role) {
			continue
		}
		if role == Leads && v.person != nil && v.person.Badge != "" && o.Operator != v.person.Badge {
			err := no("what you record while you are signed in is under your own badge, %s", v.person.Badge)
			return refusal.Say(err, "own-badge", v.person.Badge)
		}
		return nil
	}
	return atStation
}

// mayAtStation is mayRecord for what is recorded at the station where a visitor is.
func (v *visitor) mayAtStation(o *events.Observation, of *events.Event, roles []Role) error {
	switch {
	case !v.has(Records) || !slices.Contains(roles, Records):
		return no("a %s is recorded by those who %s", o.Kind, joinRoles(roles))
	case !v.stands(o.Station):
		return no("this is station %s, which records nothing as %s", v.station, o.Station)
	case o.Kind != events.KindEventCorrected:
		return nil
	case of != nil && v.stands(of.Station), of == nil && o.Signed != nil:
		return nil // what a station with its own key corrects may come later
	}
	return no("a station corrects what it recorded itself; a lead corrects the rest")
}

func joinRoles(roles []Role) string {
	var out []string
	for _, r := range roles {
		if r == Records {
			out = append(out, "record at a station")
			continue
		}
		out = append(out, strings.TrimSuffix(string(r), "s"))
	}
	return strings.Join(out, " or ")
}

// MayRecord reports whether a role may record a kind; which of it is its own is not asked.
func MayRecord(role Role, k events.Kind) bool {
	row, _ := k.Info()
	return slices.Contains(row.Roles, role)
}

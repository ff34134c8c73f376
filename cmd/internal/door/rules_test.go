package door_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"flag"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/web"
	"listbound/events"
)

var update = flag.Bool("update", false, "write the table of actions")

// TestEveryRouteHasARule: what is served has a rule, with accounts or without, and each rule is one of a route.
func TestEveryRouteHasARule(t *testing.T) {
	h := newHouse(t)
	used := make(map[string]bool)
	for _, pattern := range h.door.Routes() {
		rule, ok := door.RuleFor(pattern)
		if !ok {
			t.Errorf("no rule says who may %s", pattern)
		}
		used[rule.Pattern] = true
		if get := strings.HasPrefix(pattern, "GET "); get && rule.Follower || !get && rule.Beside {
			t.Errorf("%s: followers serve what reads unless it is Beside, and nothing else unless it is Follower", pattern)
		}
		if rule.Open == (len(rule.Roles) > 0) {
			t.Errorf("%s is for everybody and for some", pattern)
		}
	}
	for _, rule := range door.Rules() {
		if !used[rule.Pattern] {
			t.Errorf("%s is a rule of no route", rule.Pattern)
		}
	}
	if len(h.door.Routes()) < 90 {
		t.Errorf("%d routes: the search finds nothing", len(h.door.Routes()))
	}
	// Without one, nothing is served: a handler can't be forgotten.
	mux := http.NewServeMux()
	other, err := door.Open(door.Options{Dir: t.TempDir(), Clock: h.clock.now, Cost: cheap})
	if err != nil {
		t.Fatal(err)
	}
	g := other.Guard(mux, h.shell, h.site, door.NewWatch(slog.New(slog.DiscardHandler)))
	g.HandleFunc("GET /new", func(w http.ResponseWriter, r *http.Request) { t.Error("served without a rule") })
	w := httptest.NewRecorder()
	mux.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/new", nil))
	if g.Err() == nil || !strings.Contains(g.Err().Error(), "GET /new") || w.Code != http.StatusNotFound {
		t.Errorf("%v, %d", g.Err(), w.Code)
	}
}

// TestTableOfActions holds the table that people read against the rules.
func TestTableOfActions(t *testing.T) {
	h := newHouse(t)
	var out strings.Builder
	fmt.Fprintf(&out, "%-46s", "who may what")
	for _, role := range door.Roles() {
		fmt.Fprintf(&out, " %-12s", role)
	}
	out.WriteString(" wall screen  nobody       kept password once more  follower\n")
	row := func(what string, may func(door.Role) string, rule door.Rule) {
		fmt.Fprintf(&out, "%-46s", what)
		for _, role := range door.Roles() {
			fmt.Fprintf(&out, " %-12s", may(role))
		}
		yes := map[bool]string{true: "yes", false: "-"}
		fmt.Fprintf(&out, " %-12s %-12s %-4s %-19s %s\n", yes[rule.Open || rule.Screen], yes[rule.Open], yes[rule.Kept], yes[rule.Again],
			yes[rule.OfFollower()])
	}
	patterns := slices.Clone(h.door.Routes())
	slices.Sort(patterns)
	for _, pattern := range patterns {
		rule, _ := door.RuleFor(pattern)
		row(pattern, func(role door.Role) string {
			switch {
			case !rule.Open && !slices.Contains(rule.Roles, role):
				return "-"
			case rule.Own && role == door.Records:
				return "own station"
			case rule.Person:
				return "signed in"
			}
			return "yes"
		}, rule)
	}
	for _, k := range events.Kinds() {
		row("record "+string(k), func(role door.Role) string {
			may := door.MayRecord(role, k)
			switch {
			case may && role == door.Records && k == events.KindEventCorrected:
				return "its own"
			case may && role == door.Records:
				return "own station"
			case may:
				return "yes"
			}
			return "-"
		}, door.Rule{})
	}
	row("feed: custody.>, events.<key>.after.*", func(role door.Role) string {
		if role == door.Investigates || role == door.Audits {
			return "by key"
		}
		return "-"
	}, door.Rule{Kept: true})
	const file = "actions.txt"
	if *update {
		if err := os.WriteFile(file, []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want, err := os.ReadFile(file); err != nil || string(want) != out.String() {
		t.Errorf("%s is another table (%v); go test ./cmd/internal/door -run TableOfActions -update", file, err)
	}
}

// house is a server with accounts, in which somebody has each role.
type house struct {
	site   *site.Site
	door   *door.Door
	clock  *clock
	log    lockedBuffer
	dir    string
	all    http.Handler
	shell  *shell.Shell
	tokens map[door.Role]string
	admin  *caller
	ca     *door.Authority
}

// clock is set by hand.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// lockedBuffer takes the log of handlers that run beside each other.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// smallWeek is one set's way to its opening.
const smallWeek = `{"station":"north/or-3","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP",` +
	`"version":1,` +
	`"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/or-3","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
{"station":"north/or-3","kind":"list.sealed","time":"2026-03-02T06:12:00Z","set":"LAP-001","data":{"placement":"outside"}}
{"station":"north/or-3","kind":"set.opened","time":"2026-03-02T07:10:00Z","set":"LAP-001","operator":"B-1","data":{"case":"K-1"}}
`

const password = "Regenschirm und 7 Laternen"

// cheap makes checking a password cost next to nothing.
var cheap = door.Cost{Time: 1, KiB: 8, Threads: 1}

// begun is the folder that each house begins with, recorded once: making its people by their forms was a third of all that these
// tests do.
var begun struct {
	once   sync.Once
	files  sitetest.Files
	tokens map[door.Role]string
}

// newHouse has one person with each role, by the role's name, and a token of each; who administers is signed in.
func newHouse(t *testing.T) *house {
	t.Helper()
	begun.once.Do(func() {
		h := openHouse(t, t.TempDir())
		h.begin(t)
		if err := h.site.Close(); err != nil {
			t.Fatal(err)
		}
		begun.files, begun.tokens = sitetest.Keep(t, h.dir), h.tokens
	})
	if begun.files == nil {
		t.Fatal("no house could be begun")
	}
	h := openHouse(t, begun.files.Write(t))
	t.Cleanup(func() {
		if err := h.site.Close(); err != nil {
			t.Error(err)
		}
	})
	h.tokens = maps.Clone(begun.tokens)
	h.serve(t)
	h.admin = h.signedIn(t, "administers")
	return h
}

// openHouse is one whose folder may be empty, or not.
func openHouse(t *testing.T, dir string) *house {
	t.Helper()
	h := &house{
		clock: &clock{at: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)}, dir: dir,
		tokens: make(map[door.Role]string),
	}
	var err error
	h.site, err = site.Open(t.Context(), site.Options{Dir: h.dir, Name: "north", Clock: h.clock.now, EnrolOnSight: true})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// begin records a small week, and makes people and tokens as the first administrator does.
func (h *house) begin(t *testing.T) {
	t.Helper()
	if err := h.site.Record(t.Context(), strings.NewReader(smallWeek), func(r site.Receipt) error {
		if r.Error != "" {
			t.Errorf("%+v", r)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"north/or-1", "north/packing-1"} {
		if _, err := h.site.Enrol(t.Context(), name, "", ""); err != nil {
			t.Fatal(err)
		}
	}
	h.serve(t)
	code, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	h.admin = &caller{h: h}
	if code, text := h.admin.post(t, "/code", url.Values{"code": {code}, "login": {"administers"},
		"password": {password}, "again": {password}}); code != http.StatusSeeOther {
		t.Fatalf("the first administrator: %d %s", code, text)
	}
	for _, role := range door.Roles() {
		if role != door.Records && role != door.Administers {
			h.add(t, string(role), role)
		}
		h.tokens[role] = h.token(t, role, "north/or-1")
	}
}

// serve serves the folder, as after a start.
func (h *house) serve(t *testing.T) {
	t.Helper()
	var err error
	log := slog.New(slog.NewJSONHandler(&h.log, nil))
	h.door, err = door.Open(door.Options{Dir: h.dir, Clock: h.clock.now, Log: log, Cost: cheap, CA: h.ca})
	if err != nil {
		t.Fatal(err)
	}
	h.all, err = web.New(h.site, log, web.Accounts(h.door), web.Practice(h.site))
	if err != nil {
		t.Fatal(err)
	}
	h.shell = shell.New(h.site.Name(), h.site.Local(), h.site.Clock, log)
}

var shownOnce = regexp.MustCompile(`<code id="secret">([^<]+)</code>`)

func secretIn(t *testing.T, text string) string {
	t.Helper()
	m := shownOnce.FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no code or token is shown: %s", text)
	}
	return m[1]
}

// add makes a person, who chooses a password.
func (h *house) add(t *testing.T, login string, roles ...door.Role) {
	t.Helper()
	form := url.Values{"login": {login}, "name": {"Name of " + login}}
	for _, r := range roles {
		form.Add("role", string(r))
	}
	_, text := h.admin.post(t, "/people/add", form)
	c := &caller{h: h}
	form = url.Values{"code": {secretIn(t, text)}, "login": {login}, "password": {password}, "again": {password}}
	if code, text := c.post(t, "/code", form); code != http.StatusSeeOther {
		t.Fatalf("the code of %s: %d %s", login, code, text)
	}
}

func (h *house) token(t *testing.T, role door.Role, station string) string {
	t.Helper()
	_, text := h.admin.post(t, "/people/token", url.Values{"role": {string(role)}, "station": {station},
		"name": {"program"}, "days": {"30"}})
	return secretIn(t, text)
}

// signedIn is somebody's browser.
func (h *house) signedIn(t *testing.T, login string) *caller {
	t.Helper()
	c := &caller{h: h}
	if code, text := c.post(t, "/sign-in", url.Values{"login": {login}, "password": {password}}); code != http.StatusSeeOther {
		t.Fatalf("%s signs in: %d %s", login, code, text)
	}
	return c
}

// atStation is a browser that a code brought to a station.
func (h *house) atStation(t *testing.T, station string) *caller {
	t.Helper()
	_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {station}})
	c := &caller{h: h}
	if code, text := c.post(t, "/station-code", url.Values{"code": {secretIn(t, text)}}); code != http.StatusSeeOther {
		t.Fatalf("to the station: %d %s", code, text)
	}
	return c
}

// caller keeps cookies as a browser does.
type caller struct {
	h       *house
	cookies []*http.Cookie
	token   string
	from    string // address
	head    http.Header
}

func (c *caller) ask(t *testing.T, ctx context.Context, method, target, kind, body string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequestWithContext(ctx, method, "http://localhost"+target, strings.NewReader(body))
	for k, v := range c.head {
		r.Header[k] = v
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	if c.from != "" {
		r.RemoteAddr = c.from + ":1234"
	}
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	for _, k := range c.cookies {
		r.AddCookie(k)
	}
	w := httptest.NewRecorder()
	c.h.all.ServeHTTP(w, r)
	for _, k := range w.Result().Cookies() {
		c.cookies = slices.DeleteFunc(c.cookies, func(o *http.Cookie) bool { return o.Name == k.Name })
		if k.MaxAge >= 0 {
			c.cookies = append(c.cookies, k)
		}
	}
	return w
}

func (c *caller) post(t *testing.T, path string, form url.Values) (int, string) {
	t.Helper()
	w := c.ask(t, t.Context(), http.MethodPost, path, "application/x-www-form-urlencoded", form.Encode())
	return w.Code, w.Body.String()
}

func (c *caller) get(t *testing.T, path string) (int, string) {
	t.Helper()
	w := c.ask(t, t.Context(), http.MethodGet, path, "", "")
	return w.Code, w.Body.String()
}

// target makes a request's method and address of a pattern.
func target(pattern string) (method, path string) {
	method, path, _ = strings.Cut(pattern, " ")
	return method, strings.NewReplacer("{site}", "north", "{station}", "or-1", "{place}", "packing", "{verb}", "scan", "{list}", "LAP",
		"{register}", "sets", "{digest}", strings.Repeat("ab", 32), "{name...}", "0/000.p/1", "{$}", "").Replace(path)
}

// TestEachKindOfRecord hands in each kind of observation as each role, as a program does.
func TestEachKindOfRecord(t *testing.T) {
	h := newHouse(t)
	own, others := "", ""
	at := "2026-03-02T11:59:00Z"
	line := func(station, kind, of, operator string) string {
		data, ok := sampleData(t, h.site.Key(), of)[events.Kind(kind)]
		if !ok {
			t.Fatalf("%s has no example in sampleData", kind)
		}
		set := `"set":"LAP-001",`
		if !events.Kind(kind).AboutSet() {
			set = ""
		}
		return fmt.Sprintf(`{"station":%q,"kind":%q,"time":%q,%s"operator":%q,"data":%s}`, station, kind, at, set, operator, data)
	}
	record := func(c *caller, text string) site.Receipt {
		w := c.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl", text+"\n")
		var r site.Receipt
		if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		return r
	}
	checked := func(station string) string {
		return fmt.Sprintf(`{"station":%q,"kind":"set.checked","time":%q,"set":"LAP-001","data":{"place":"shelf"}}`, station, at)
	}
	all := &caller{h: h, token: h.token(t, door.Records, "*")}
	own, others = record(all, checked("north/or-1")).ID, record(all, checked("north/packing-1")).ID
	if own == "" || others == "" {
		t.Fatal("nothing was recorded to correct")
	}
	or1 := &caller{h: h, token: h.tokens[door.Records]}
	leads := &caller{h: h, token: h.tokens[door.Leads]}
	for _, test := range []struct {
		who  string
		c    *caller
		line string
		no   string
	}{
		{"its own scan", or1, strings.Replace(checked("north/or-1"), "shelf", "table", 1), ""},
		{"another's scan", or1, checked("north/packing-1"), "records nothing as north/packing-1"},
		{"another's scan that is known", or1, checked("north/packing-1"), "records nothing as north/packing-1"},
		{"its own corrected", or1, line("north/or-1", "event.corrected", own, "B-1"), ""},
		{"another's corrected", or1, line("north/or-1", "event.corrected", others, "B-1"), "a lead corrects the rest"},
		{"unheard of corrected", or1, line("north/or-1", "event.corrected", strings.Repeat("0", 8)+own[8:], "B-1"),
			"a lead corrects the rest"},
		{"a policy at a station", or1, line("north/or-1", "policy.adopted", "", "B-1"), "those who lead"},
		{"a scan by a lead", leads, checked("north/or-1"), "those who record at a station"},
		{"anything corrected by a lead", leads, line("north/or-3", "event.corrected", others, "B-1"), ""},
	} {
		size := h.site.Size()
		got := record(test.c, test.line)
		if (got.Error == "") != (test.no == "") || !strings.Contains(got.Error, test.no) {
			t.Errorf("%s: %+v", test.who, got)
		}
		if test.no != "" && h.site.Size() != size {
			t.Errorf("%s was refused and recorded", test.who)
		}
	}
	for _, k := range events.Kinds() {
		for _, role := range []door.Role{door.Records, door.Leads} {
			got := record(&caller{h: h, token: h.tokens[role]}, line("north/or-1", string(k), own, "B-1"))
			refused := strings.Contains(got.Error, "those who") || strings.Contains(got.Error, "by the server itself")
			if may := door.MayRecord(role, k); refused == may {
				t.Errorf("%s records a %s: refused %v, may %v: %s", role, k, refused, may, got.Error)
			}
		}
	}
	// A file of what isn't theirs is told of once in the log, and counted whole.
	logged, counted := strings.Count(h.log.String(), `"why":"record"`), h.refused(t, "record")
	w := or1.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl",
		strings.Repeat(checked("north/packing-1")+"\n", 40))
	if got := strings.Count(h.log.String(), `"why":"record"`) - logged; w.Code != http.StatusOK || got != 1 {
		t.Errorf("%d: 40 lines are logged %d times", w.Code, got)
	}
	if got := h.refused(t, "record") - counted; counted == 0 || got != 40 {
		t.Errorf("40 lines are counted %d times, after %d", got, counted)
	}
}

// refused is how often somebody was not let in, by /metrics.
func (h *house) refused(t *testing.T, why string) int {
	t.Helper()
	_, text := (&caller{h: h, token: h.tokens[door.Audits]}).get(t, "/metrics")
	m := regexp.MustCompile(`listbound_refused_total\{why="` + why + `"\} (\d+)`).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("%s is not counted: %s", why, text)
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// sampleData has data of each kind, as far as it is about the north: the examples of the table of kinds, and with the house's
// own key and record where those are named.
func sampleData(t *testing.T, key, corrects string) map[events.Kind]string {
	t.Helper()
	out := make(map[events.Kind]string)
	for _, k := range events.Kinds() {
		info, _ := k.Info()
		out[k] = info.Example
	}
	_, other, err := note.GenerateKey(rand.Reader, "north/ledger")
	if err != nil {
		t.Fatal(err)
	}
	out[events.KindStationEnrolled] = `{"station":"north/ledger","key":"` + key + `","reason":"x"}`
	out[events.KindKeyReplaced] = `{"former":"` + key + `","key":"` + other + `","reason":"x"}`
	out[events.KindEventCorrected] = fmt.Sprintf(`{"event":%q,"action":"void","reason":"x"}`, corrects)
	return out
}

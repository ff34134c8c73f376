package web

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// routeList is a mux that remembers what was registered.
type routeList struct {
	*http.ServeMux
	patterns []string
}

func (l *routeList) Handle(pattern string, h http.Handler) {
	l.patterns = append(l.patterns, pattern)
	l.ServeMux.Handle(pattern, h)
}

func (l *routeList) HandleFunc(pattern string, f func(http.ResponseWriter, *http.Request)) {
	l.Handle(pattern, http.HandlerFunc(f))
}

// failing is a server over a small ledger, and what it logs.
type failing struct {
	routeList
	site  *site.Site
	dir   string
	log   bytes.Buffer
	event string // the id of what was recorded last
}

const failingWeek = `{"station":"north/or-3","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP",` +
	`"version":1,` +
	`"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/or-3","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
{"station":"north/or-3","kind":"list.sealed","time":"2026-03-02T06:12:00Z","set":"LAP-001","data":{"placement":"outside"}}
{"station":"north/or-3","kind":"set.sterilized","time":"2026-03-02T06:40:00Z","set":"LAP-001","data":{"load":"S1-1","sterilizer":"S1","run":1,` +
	`"cycle":"c-132","result":"passed","released":true}}
{"station":"north/or-3","kind":"set.opened","time":"2026-03-02T07:10:00Z","set":"LAP-001","operator":"B-1","data":{"case":"K-1"}}
`

func newFailing(t *testing.T) *failing {
	t.Helper()
	f := serveFailing(t, t.TempDir())
	err := f.site.Record(t.Context(), strings.NewReader(failingWeek), func(r site.Receipt) error {
		if r.Error != "" {
			t.Errorf("%+v", r)
		}
		f.event = r.ID
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// serveFailing opens a folder and serves it.
func serveFailing(t *testing.T, dir string) *failing {
	t.Helper()
	f := &failing{routeList: routeList{ServeMux: http.NewServeMux()}, dir: dir}
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	var err error
	f.site, err = site.Open(t.Context(), site.Options{
		Dir: f.dir, Name: "north", Clock: func() time.Time { return at }, EnrolOnSight: true,
		LockWait: 20 * time.Millisecond,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.site.Close(); err != nil {
			t.Error(err)
		}
	})
	log := slog.New(slog.NewJSONHandler(&f.log, nil))
	if err := routes(&f.routeList, f.site, log, options{practice: &Filling{ready: f.site}}); err != nil {
		t.Fatal(err)
	}
	return f
}

// loseTables takes the tables of the read model away behind its back.
func (f *failing) loseTables(t *testing.T) {
	t.Helper()
	f.mustBeReady(t) // what was recorded so far is written
	db, err := sql.Open("sqlite", "file:"+filepath.Join(f.dir, "readmodel.db")+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := db.QueryContext(t.Context(), "SELECT name FROM sqlite_master "+
		"WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	if err := rows.Err(); err != nil || len(names) == 0 {
		t.Fatalf("%d tables: %v", len(names), err)
	}
	for _, name := range names {
		if _, err := db.ExecContext(t.Context(),
			fmt.Sprintf("ALTER TABLE %q RENAME TO %q", name, "lost_"+name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// loseDrafts puts a file where the drafts lie.
func (f *failing) loseDrafts(t *testing.T) {
	t.Helper()
	dir := filepath.Join(f.dir, "drafts")
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(dir, nil, 0o600); err != nil {
		t.Fatal(err)
	}
}

// asked is a request that a route would answer if nothing failed.
type asked struct {
	path, query, body, contentType string
}

// requestOf makes a request for a pattern. A new route that needs more than its
// path to be answered says so here.
func requestOf(t *testing.T, pattern string) (method string, a asked) {
	t.Helper()
	method, path, ok := strings.Cut(pattern, " ")
	if !ok {
		t.Fatalf("route %q names no method", pattern)
	}
	path = strings.TrimSuffix(path, "{$}")
	practice := strings.HasPrefix(path, practicePrefix+"/")
	path = strings.TrimPrefix(path, practicePrefix)
	const form, object = "application/x-www-form-urlencoded", "application/json"
	scan := `{"client":"c","n":1,"text":"LAP-001"}`
	list, listType := multipartForm(t, map[string]string{
		"list": "LAP", "title": "Laparotomy", "badge": "B-1", "station": "north/or-3", "issue": "1",
		"table": "line,item,description,quantity\n1,FCP-125,Forceps,7\n",
	})
	plan, planType := multipartForm(t, map[string]string{"badge": "B-1", "file": "case,start\nK-9,2026-03-04 07:30\n"})
	print, printType := multipartForm(t, map[string]string{"badge": "B-1", "load": "S1-1", "sterilizer": "S1", "typed": "1",
		"started": "2026-03-04 07:24", "cycle": "csc-134", "typed-held": "3:10", "typed-min": "134.2", "typed-max": "135"})
	more := map[string]asked{
		"POST /run":                         {contentType: printType, body: print},
		"POST /day":                         {contentType: planType, body: plan},
		"POST /api/observations":            {body: failingWeek},
		"GET /api/history":                  {query: "set=LAP-001"},
		"GET /api/runs":                     {query: "load=S1-1"},
		"POST /api/runs/logs":               {body: "Time,T1\n0,20\n"},
		"POST /api/schedule":                {query: "operator=B-1", body: "case,start\nK-9,2026-03-04 07:30\n"},
		"GET /api/schedule":                 {query: "day=2026-03-04"},
		"GET /day":                          {query: "day=2026-03-04"},
		"GET /run":                          {query: "load=S1-1"},
		"GET /api/consistency":              {query: "from=1"},
		"GET /api/root":                     {query: "size=1"},
		"GET /api/evidence":                 {query: "set=LAP-001"},
		"GET /api/lists":                    {query: "list=LAP"},
		"POST /api/stations/enrol":          {query: "station=north/or-4"},
		"POST /api/stations/retire":         {query: "station=north/or-3"},
		"POST /api/assess":                  {contentType: object, body: `{"choices":{"placements":["outside"],"dependence":"high"}}`},
		"POST /assess":                      {contentType: form, body: "placements=outside&dependence=high"},
		"POST /api/texts/redact":            {contentType: object, body: `{"case":"K-1","reason":"x"}`},
		"POST /policy":                      {contentType: form, body: policyForm()},
		"POST /texts/find":                  {contentType: form, body: "case=K-1&reason=x&badge=B-1"},
		"POST /texts/redact":                {contentType: form, body: "case=K-1&reason=x&badge=B-1"},
		"POST /texts/hold":                  {contentType: form, body: "hold=H-1&reason=x&badge=B-1"},
		"POST /texts/lift":                  {contentType: form, body: "hold=H-1&reason=x&badge=B-1"},
		"POST /texts/keep":                  {contentType: form, body: "days=30&badge=B-1"},
		"GET /find":                         {query: "q=LAP-001"},
		"GET /history":                      {query: "set=LAP-001"},
		"GET /station":                      {query: "name=north/or-3"},
		"GET /badge":                        {query: "id=B-1"},
		"GET /badge/held":                   {query: "id=B-1"},
		"GET /way":                          {query: "set=LAP-001"},
		"GET /touched":                      {query: "load=S1-1"},
		"GET /recall":                       {query: "load=S1-1"},
		"GET /report":                       {query: "set=LAP-001"},
		"POST /correct":                     {contentType: form, body: "event=" + someEvent + "&badge=B-1&reason=x"},
		"GET /correct":                      {query: "event=" + someEvent},
		"GET /at/{site}/{station}/correct":  {query: "event=" + someEvent},
		"POST /at/{site}/{station}/correct": {contentType: form, body: "event=" + someEvent + "&badge=B-1&reason=x"},
		"GET /incident":                     {query: "key=0123456789"},
		"POST /incident": {contentType: form,
			body: "key=0123456789&step=noted&badge=B-1&text=seen"},
		"GET /acknowledge": {query: "set=LAP-001&trip=x&code=link-missing"},
		"POST /acknowledge": {contentType: form,
			body: "set=LAP-001&trip=x&code=link-missing&badge=B-1&reason=seen"},
		"GET /print/sheet.pdf":                     {query: "set=LAP-001"},
		"GET /print/set-label.pdf":                 {query: "set=LAP-001"},
		"GET /print/load-label.pdf":                {query: "load=S1-1"},
		"GET /print/loan.pdf":                      {query: "set=LAP-001"},
		"GET /print/list.pdf":                      {query: "list=LAP-MAJOR"},
		"POST /lists":                              {contentType: listType, body: list},
		"POST /registers/{register}":               {contentType: listType, body: list},
		"POST /registers/{register}/hold":          {contentType: form, body: "badge=B-1&hold=1"},
		"POST /api/registers/{register}":           {query: "operator=B-1", contentType: object, body: "badge,name\nB-1,x\n"},
		"GET /at/{site}/{station}/{place}":         {query: "case=K-1"},
		"POST /at/{site}/{station}/{place}/{verb}": {contentType: object, body: scan},
	}
	a = more[method+" "+path]
	for name, value := range map[string]string{
		"site": "north", "station": "or-3", "place": "opening", "verb": "scan", "list": "LAP", "name...": "000",
		"register": "people", "digest": strings.Repeat("ab", 32),
	} {
		path = strings.ReplaceAll(path, "{"+name+"}", value)
	}
	if strings.Contains(path, "{") {
		t.Fatalf("route %q has a part that this test does not know", pattern)
	}
	if a.path = path; practice {
		a.path = practicePrefix + path
	}
	return method, a
}

// policyForm is a whole policy, as the page sends it.
// someEvent stands for an event that was recorded.
const someEvent = "019cae6c-5060-7768-868c-66287f289836"

func policyForm() string {
	v := url.Values{"badge": {"B-1"}, "reason": {"x"}}
	for _, m := range events.PolicyMembers() {
		switch m.Form {
		case events.PolicyNumber:
			v.Set(m.Name, "1")
		case events.PolicyOneOf:
			v.Set(m.Name, m.Words[0])
		}
	}
	return v.Encode()
}

func multipartForm(t *testing.T, fields map[string]string) (body, contentType string) {
	t.Helper()
	var out bytes.Buffer
	w := multipart.NewWriter(&out)
	for name, value := range fields {
		if err := w.WriteField(name, value); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.String(), w.FormDataContentType()
}

// withoutQuestion are the routes that ask neither the ledger nor the read model,
// so that nothing of these can fail in them.
var withoutQuestion = []string{
	"GET /assets/", "GET /board/assets/", "GET /workplace/", "GET " + practicePrefix + "/workplace/",
	"GET /at/sw.js", "GET " + practicePrefix + "/at/sw.js",
	"GET /api/openapi.json", "GET /healthz", "GET /changes",
	"GET /lists/empty.xlsx", "GET " + practicePrefix + "/lists/empty.xlsx",
	"GET /labels/{$}", "GET " + practicePrefix + "/labels/{$}",
	"GET /print/labels.pdf", "GET " + practicePrefix + "/print/labels.pdf",
	"GET /photographs/{digest}", "GET " + practicePrefix + "/photographs/{digest}",
	// The log's files can be read whatever becomes of the rest; see TestTileThatCannotBeRead.
	"GET /log/checkpoint", "GET /log/tile/{name...}",
}

// TestFailuresOfEveryRoute: whatever route is asked while something fails that
// is nobody's input, the answer is a failure that may be tried again, tells
// nothing of the inside, and stands in the log once, under its incident.
func TestFailuresOfEveryRoute(t *testing.T) {
	lookAtTables := func(pattern string) bool {
		// The first six read the ledger alone; who may record is in memory, and what is stored is acknowledged
		// even where judgement can't follow.
		return !slices.Contains([]string{"GET /api/verify", "POST /api/rebuild", "GET /readyz", "GET /api/consistency",
			"GET /api/root", "GET /check-line",
			"POST /api/runs/logs", // keeps a file, and asks nothing
			"POST /api/stations/enrol", "POST /api/stations/retire"}, pattern)
	}
	drafts := regexp.MustCompile(`/at/\{site\}/\{station\}/\{place\}(/state|/\{verb\})?$`)
	for _, test := range []struct {
		name  string
		spoil func(*failing, *testing.T)
		met   func(pattern string) bool // whether a route meets what is spoilt
		code  int
	}{
		{"the read model's tables are gone", (*failing).loseTables, lookAtTables, http.StatusInternalServerError},
		{"a file in the place of the drafts", (*failing).loseDrafts, drafts.MatchString,
			http.StatusInternalServerError},
		{"the folder is closed", func(f *failing, t *testing.T) {
			if err := f.site.Close(); err != nil {
				t.Fatal(err)
			}
		}, func(string) bool { return true }, http.StatusServiceUnavailable},
	} {
		t.Run(test.name, func(t *testing.T) {
			f := newFailing(t)
			test.spoil(f, t)
			met := 0
			for _, pattern := range f.patterns {
				if slices.Contains(withoutQuestion, pattern) || !test.met(pattern) {
					continue
				}
				met++
				f.ask(t, pattern, test.code)
			}
			if met < 3 {
				t.Errorf("%d routes were asked", met)
			}
		})
	}
}

var incidentIn = regexp.MustCompile(`incident ([0-9a-f]{8})`)

func (f *failing) ask(t *testing.T, pattern string, code int) {
	t.Helper()
	method, a := requestOf(t, pattern)
	// One that is there: of an event that can't be, it is known without the tables.
	a.query, a.body = strings.ReplaceAll(a.query, someEvent, f.event), strings.ReplaceAll(a.body, someEvent, f.event)
	r := httptest.NewRequestWithContext(t.Context(), method, a.path+"?"+a.query, strings.NewReader(a.body))
	r.Header.Set("Content-Type", a.contentType)
	w := httptest.NewRecorder()
	f.log.Reset()
	f.ServeHTTP(w, r)
	body := w.Body.String()
	if w.Code != code {
		t.Errorf("%s: answered %d, not %d: %.300s", pattern, w.Code, code, body)
		return
	}
	for _, inside := range []string{f.dir, "readmodel", "read model", "SQL", "no such table",
		"not a directory", "open /", ".go", "%!"} {
		if strings.Contains(body, inside) {
			t.Errorf("%s: the answer tells %q of the inside: %.300s", pattern, inside, body)
		}
	}
	said := incidentIn.FindStringSubmatch(body)
	if said == nil {
		t.Errorf("%s: the answer names no incident: %.300s", pattern, body)
		return
	}
	var logged []string
	for line := range strings.Lines(f.log.String()) {
		var entry struct{ Level, Incident string }
		if err := json.Unmarshal([]byte(line), &entry); err != nil {
			t.Fatal(err)
		}
		if entry.Level == slog.LevelError.String() {
			logged = append(logged, entry.Incident)
		}
	}
	if len(logged) != 1 || logged[0] != said[1] {
		t.Errorf("%s: incident %s is in the log as %q", pattern, said[1], logged)
	}
	if retry := w.Header().Get("Retry-After"); (retry != "") != (code == http.StatusServiceUnavailable) {
		t.Errorf("%s: %d with Retry-After %q", pattern, code, retry)
	}
}

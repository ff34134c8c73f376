//go:build !race

package board_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestMomentsAreReadAlike: pages and programs take a moment in the same forms, and refuse what is none in a sentence.
func TestMomentsAreReadAlike(t *testing.T) {
	srv, _ := weekServer(t)
	paths := []string{"/?", "/policy?", "/api/board?limit=1&", "/api/lists?", "/api/stations?", "/api/policy?", "/api/history?set=LAP-014&"}
	for _, path := range paths {
		bodies := make(map[string]bool)
		for _, form := range []string{"2026-03-05T00:00:00Z", "2026-03-05", "2026-03-05 00:00", "2026-03-05T01:00:00+01:00", "5 Mar 2026"} {
			address := srv.URL + path + "as-of=" + strings.ReplaceAll(form, " ", "%20") // the plus sign as people leave it
			code, _, body := get(t, address)
			if code != http.StatusOK {
				t.Errorf("%s: %d: %.200s", address, code, body)
			}
			if strings.HasPrefix(path, "/api") {
				bodies[body] = true
			}
		}
		if len(bodies) > 1 {
			t.Errorf("%s: %d answers about one moment", path, len(bodies))
		}
		if code, _, body := get(t, srv.URL+path+"as-of=yesterday"); code != http.StatusBadRequest || !strings.Contains(body, "no moment") {
			t.Errorf("%s of yesterday: %d: %.200s", path, code, body)
		}
	}
	if body := page(t, srv.URL+"/history?set=LAP-014&as-of=07:12"); !strings.Contains(body, "07:12") {
		t.Error("a time of day alone is not said")
	}
}

// notRead is how a page says that it doesn't read a parameter.
const notRead = "is not read here"

// TestUnknownParametersAreRefused: on every page by its rule, whichever it is; a misspelt filter would show more than was asked.
func TestUnknownParametersAreRefused(t *testing.T) {
	srv, _ := weekServer(t)
	asked := 0
	for _, rule := range door.Rules() {
		path, ok := strings.CutPrefix(rule.Pattern, "GET ")
		path = strings.TrimSuffix(path, "{$}")
		if !ok || rule.Free || strings.HasPrefix(path, "/api") || strings.Contains(path, "{") {
			continue
		}
		code, _, body := get(t, srv.URL+path+"?nonsense=1")
		if code == http.StatusNotFound { // of accounts, which this server hasn't
			continue
		}
		asked++
		if code != http.StatusBadRequest || !strings.Contains(body, "nonsense") || !strings.Contains(body, notRead) {
			t.Errorf("%s: %d: %.200s", path, code, body)
		}
	}
	if asked < 30 {
		t.Errorf("%d pages were asked", asked)
	}
	for path, takes := range map[string]bool{"/": true, "/history": true, "/weeks": true, "/assess": false, "/wall": false} {
		if _, _, body := get(t, srv.URL+path+"?nonsense=1"); strings.Contains(body, "as-of") != takes {
			t.Errorf("%s says of what it reads: %s", path, body)
		}
	}
	for _, bad := range []string{"/?placment=outside", "/?only-bord=LAP", "/?sort-bord=1", "/?sort-board=foo", "/?sort-board=99",
		"/touched?laod=S2-0302-04"} {
		if code, _, _ := get(t, srv.URL+bad); code != http.StatusBadRequest {
			t.Errorf("%s: %d", bad, code)
		}
	}
}

// TestUnreadableParametersAreRefused: of an address that can't be read, or has a filter twice, one would be passed over. What is no
// UTF-8 is answered like any other mistake, whether it is a parameter or the path.
func TestUnreadableParametersAreRefused(t *testing.T) {
	srv, _ := weekServer(t)
	for path, want := range map[string]string{
		"/api/board?as-of=%zz": "can't be read", "/api/rates?since=2026-03-04T00:00:00Z;until=2026-03-05T00:00:00Z": "can't be read",
		"/api/history?set=%FF": "no UTF-8", "/api/evidence?case=%C0%80": "no UTF-8", "/api/lists?%FF=1": "no UTF-8",
		"/api/rates?until=2026-03-04T00:00:00Z&until=2026-03-05T00:00:00Z": "once", "/api/stations?as-of=&as-of=": "once",
		"/?as-of=%zz": "can’t be read", "/rates?to=2026-03-04;x": "can’t be read", "/recall?load=%FF%FE": "can’t be read",
		"/report?set=%FF": "can’t be read",
	} {
		if code, _, body := get(t, srv.URL+path); code != http.StatusBadRequest || !strings.Contains(body, want) {
			t.Errorf("%s: %d: %.200s", path, code, body)
		}
	}
	for path, want := range map[string]int{"/api/%FF": http.StatusNotFound, "/api/evidence?case=K-0430&earlier=5&earlier=9": http.StatusOK} {
		if code, _, body := get(t, srv.URL+path); code != want {
			t.Errorf("%s: %d: %.200s", path, code, body)
		}
	}
}

var (
	hrefs    = regexp.MustCompile(`href="(/[^"#]*)`)
	getForms = regexp.MustCompile(`(?s)<form [^>]*action="(/[^"]*)"[^>]*>(.*?)</form>`)
	fields   = regexp.MustCompile(`<(?:input|select|button)[^>]* name="([^"]*)"(?:[^>]* value="([^"]*)")?`)
)

// TestPagesAskWhatIsRead: no link and no form of any page asks for what is not read there, now or as of then.
func TestPagesAskWhatIsRead(t *testing.T) {
	srv, _ := weekServer(t)
	seen := make(map[string]bool)
	for _, path := range []string{"/", "/?placement=outside&sort-board=2", "/day?day=2026-03-05", "/wall", "/near-misses", "/weeks",
		"/corrections?week=2026-03-04", "/not-seen?days=1", "/way?set=LAP-014", "/rates", "/assess", "/run?load=S2-0304-02", "/find?q=LAP",
		"/history?set=LAP-014", "/history?case=K-0409", "/history?load=S4-0304-01", "/station?name=north/or-5", "/badge?id=B-1111",
		"/badge/held?id=B-1111", "/touched", "/touched?load=S4-0304-01", "/policy", "/texts", "/check-line", "/lists", "/registers/sets",
		"/labels/", "/?as-of=2026-03-05", "/history?set=LAP-014&as-of=2026-03-05", "/weeks?as-of=2026-03-05"} {
		code, _, body := get(t, srv.URL+path)
		if code != http.StatusOK {
			t.Errorf("%s: %d", path, code)
			continue
		}
		var all []string
		for _, m := range hrefs.FindAllStringSubmatch(body, -1) {
			all = append(all, html.UnescapeString(m[1]))
		}
		for _, form := range getForms.FindAllStringSubmatch(body, -1) {
			if strings.Contains(form[0][:strings.Index(form[0], ">")], `method="post"`) {
				continue
			}
			v := url.Values{}
			for _, f := range fields.FindAllStringSubmatch(form[2], -1) {
				v.Add(f[1], html.UnescapeString(f[2]))
			}
			all = append(all, form[1]+"?"+v.Encode())
		}
		for _, to := range all {
			u, err := url.Parse(to)
			if err != nil {
				t.Errorf("%s leads to %q: %v", path, to, err)
				continue
			}
			var names []string
			for name := range u.Query() {
				names = append(names, name)
			}
			slices.Sort(names)
			what := u.Path + "?" + strings.Join(names, "&")
			if len(names) == 0 || seen[what] || strings.HasPrefix(u.Path, "/api/evidence") || strings.HasPrefix(u.Path, "/practice") {
				continue
			}
			seen[what] = true
			if u.Path == "/print/day.zip" { // of one set, as printing those of all takes ten times as long as all else here
				to += "&set=LAP-014"
			}
			if code, _, body := get(t, srv.URL+to); strings.Contains(body, notRead) || code == http.StatusBadRequest && strings.HasPrefix(to, "/api") {
				t.Errorf("%s leads to %s: %d: %.300s", path, to, code, body)
			}
		}
	}
	if len(seen) < 60 {
		t.Errorf("%d ways of asking were found", len(seen))
	}
}

// TestFiltersCountRows: the number beside a filter is that of the rows it leaves.
func TestFiltersCountRows(t *testing.T) {
	srv, _ := weekServer(t)
	choice := regexp.MustCompile(`(?s)href="(/\?[^"]*)"[^>]*>[^<]*<span class="n">(\d+)</span>`)
	total := regexp.MustCompile(`(\d+) open incidents?,`)
	found := choice.FindAllStringSubmatch(page(t, srv.URL+"/"), -1)
	for _, m := range found {
		got := total.FindStringSubmatch(page(t, srv.URL+html.UnescapeString(m[1])))
		if got == nil || got[1] != m[2] {
			t.Errorf("%s: %q rows, and the filter says %s", m[1], got, m[2])
		}
	}
	if len(found) < 20 {
		t.Errorf("%d filters", len(found))
	}
}

// TestNotSeenHasLeft: a set that has left the register is not looked for, and the page says so.
func TestNotSeenHasLeft(t *testing.T) {
	srv, s := ownWeek(t)
	_, before := rows(t, srv.URL+"/not-seen?days=1&format=csv")
	gone := before[0][0]
	if _, err := s.Enter(t.Context(), site.Entering{Register: events.RegisterSets, Operator: "B-1001", Entries: []events.Entry{
		&events.SetEntered{Set: gone, Held: events.Held{From: "2026-01-01T00:00:00Z", Until: "2026-02-01T00:00:00Z"}}}}); err != nil {
		t.Fatal(err)
	}
	_, after := rows(t, srv.URL+"/not-seen?days=1&format=csv")
	if len(after) != len(before)-1 || slices.ContainsFunc(after, func(r []string) bool { return r[0] == gone }) {
		t.Errorf("%d rows before, %d after %s left", len(before), len(after), gone)
	}
	if body := page(t, srv.URL+"/not-seen?days=1"); !strings.Contains(body, "1 set has left the register") {
		t.Error("nothing is said of it")
	}
}

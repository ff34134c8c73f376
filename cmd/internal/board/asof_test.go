//go:build !race

package board_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
)

// asKnown is the address of a page as known at a moment.
func asKnown(t *testing.T, path string, when time.Time) string {
	t.Helper()
	u, err := url.Parse(path)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("as-of", when.Format(time.RFC3339))
	return u.Path + "?" + q.Encode()
}

// TestPositiveIndicatorAsKnownAt: loads were recalled by what was recorded at 08:01; the whole house as known before knows
// nothing of it, on every page, and as known after says it.
func TestPositiveIndicatorAsKnownAt(t *testing.T) {
	srv, s := weekServer(t)
	before, after := time.Date(2026, 3, 5, 7, 59, 0, 0, time.UTC), time.Date(2026, 3, 5, 8, 5, 0, 0, time.UTC)
	at := func(path string, when time.Time) string { return srv.URL + asKnown(t, path, when) }
	for _, path := range []string{"/", "/touched?load=S4-0304-01", "/day?day=2026-03-05", "/near-misses", "/find?q=S4-0304", "/rates",
		"/station?name=north/or-5", "/badge?id=B-1111", "/run?load=S9-0304-90", "/history?load=S4-0304-01", "/weeks", "/corrections",
		"/not-seen?days=1", "/way?set=LAP-014"} {
		body := page(t, at(path, before))
		if !strings.Contains(body, "As known at 5 Mar 2026 07:59, not now.") {
			t.Errorf("%s doesn't say of when it is", path)
		}
		for _, m := range regexp.MustCompile(`<a [^>]*href="(/(?:history|incident|touched|badge|station)?\?[^"]*)"`).FindAllStringSubmatch(body, -1) {
			if to := html.UnescapeString(m[1]); !strings.Contains(to, "as-of=") && !strings.Contains(m[0], "data-now") {
				t.Errorf("%s leads to now: %s", path, to)
			}
		}
	}
	head, was := rows(t, at("/?format=csv&table=board", before))
	_, then := rows(t, at("/?format=csv&table=board", after))
	recalled := func(rows [][]string) (n int) {
		for _, r := range rows {
			if cellOf(head, r, "Code") == "load-recalled" && strings.HasPrefix(r[0], "LSC-") {
				n++
			}
		}
		return n
	}
	if recalled(was) != 0 || recalled(then) < 2 || len(was) == 0 {
		t.Errorf("%d recalled of %d before, %d of %d after", recalled(was), len(was), recalled(then), len(then))
	}
	// Every turn that the board names is said the same of by its history as known then.
	vs, err := s.BrokenAt(t.Context(), after)
	if err != nil {
		t.Fatal(err)
	}
	looked := 0
	for _, v := range vs {
		const most = 8
		if v.Trip == "" || looked == most {
			continue
		}
		looked++
		h, err := s.History(t.Context(), site.Query{Trip: v.Trip, AsOf: after})
		if err != nil || len(h.Verdicts) == 0 || h.Verdicts[0].Status != v.Status || len(h.Verdicts[0].Findings) != len(v.Findings) {
			t.Errorf("%s: by its history %+v (%v)", v.Set, h, err)
		}
	}
	_, _, api := get(t, at("/api/board?limit=1000", before))
	if strings.Contains(api, `"positive":"S4-0304-02"`) || !strings.Contains(api, `"rows"`) {
		t.Errorf("a program is told of it: %.200s", api)
	}
	if _, h, _ := get(t, at("/recall?load=S4-0304-01", before)); h.Get("Content-Type") != "application/pdf" {
		t.Error("no list on paper")
	}
}

// TestNothingAsKnownAtIsOfThen: what is not shown as of then may be shown now, so the page says of when it is, and leads back.
func TestNothingAsKnownAtIsOfThen(t *testing.T) {
	srv, _ := weekServer(t)
	for _, of := range []string{"/history?set=LAP-002", "/history?case=K-0409", "/badge?id=B-1113"} {
		code, _, body := get(t, srv.URL+of+"&as-of=1999-01-01")
		if code != http.StatusNotFound || !strings.Contains(body, "not now") ||
			!strings.Contains(body, `data-now href="`+html.EscapeString(of)+`"`) || !strings.Contains(body, `href="/?as-of=1999-01-01`) {
			t.Errorf("%s: %d: %s", of, code, body)
		}
		if code, _, body := get(t, srv.URL+of+"x"); code != http.StatusNotFound || strings.Contains(body, "not now") {
			t.Errorf("%sx, of now: %d: %s", of, code, body)
		}
	}
}

// TestAsKnownAtIsNotNow: as of a moment nothing can be recorded from the page, what is about now alone refuses a moment, and a
// search stays at it.
func TestAsKnownAtIsNotNow(t *testing.T) {
	srv, _ := weekServer(t)
	const then = "as-of=2026-03-06T10:00:00Z"
	m := regexp.MustCompile(`href="(/incident\?[^"]*)"`).FindStringSubmatch(page(t, srv.URL+"/?"+then))
	if m == nil {
		t.Fatal("no incident")
	}
	body := page(t, srv.URL+html.UnescapeString(m[1]))
	if strings.Contains(body, `method="post"`) || !strings.Contains(body, "not now") {
		t.Error("an incident as of then takes what is done about it now")
	}
	if body := page(t, srv.URL+"/?"+then); strings.Contains(body, `href="/acknowledge`) || strings.Contains(body, `href="/assess`) {
		t.Error("the board as of then leads to where something is recorded now")
	}
	if body := page(t, srv.URL+"/policy?"+then); strings.Contains(body, "<form method") || !strings.Contains(body, "not now") ||
		!strings.Contains(body, `name="openHours"`) && !strings.Contains(body, "<fieldset disabled>") {
		t.Error("the policy of then can be changed, or isn't shown")
	}
	if body := page(t, srv.URL+"/?"+then); strings.Contains(body, "/changes") || !strings.Contains(body, `href="/"`) {
		t.Error("no way back to now")
	}
	for _, path := range []string{"/assess", "/texts", "/wall", "/check-line", "/badge/held?id=B-1111"} {
		sep := "?"
		if strings.Contains(path, "?") {
			sep = "&"
		}
		if code, _, body := get(t, srv.URL+path+sep+then); code != http.StatusBadRequest || !strings.Contains(body, "about now") {
			t.Errorf("%s takes a moment: %d", path, code)
		}
	}
	for _, bad := range []string{"/?asof=2026-03-06", "/weeks?as_of=2026-03-06", "/history?set=LAP-014&AsOf=2026-03-06"} {
		if code, _, body := get(t, srv.URL+bad); code != http.StatusBadRequest || !strings.Contains(body, "the page of now") {
			t.Errorf("%s is taken for the page of then: %d", bad, code)
		}
	}
	for _, bad := range []string{"closed=2", "wanted=yes", "unseen=true"} {
		if code, _, _ := get(t, srv.URL+"/?"+bad); code != http.StatusBadRequest {
			t.Errorf("%s: %d", bad, code)
		}
	}
	if code, _, _ := get(t, srv.URL+"/?as-of=2099-01-01"); code != http.StatusBadRequest {
		t.Errorf("of what is to come: %d", code)
	}
	c := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := c.Get(srv.URL + "/find?q=MIN-006&" + then)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	want := "/history?" + url.Values{"set": {"MIN-006"}, "as-of": {"2026-03-06T10:00:00Z"}}.Encode()
	if to := res.Header.Get("Location"); to != want {
		t.Errorf("a search leads to %q", to)
	}
}

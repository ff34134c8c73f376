//go:build !race

package board_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// walker is somebody at the board who follows links, and types nothing but into the search.
type walker struct {
	t      *testing.T
	base   string
	body   string
	clicks int
	gone   bool
}

func atBoard(t *testing.T) *walker {
	srv, _ := weekServer(t)
	return &walker{t: t, base: srv.URL, body: page(t, srv.URL+"/")}
}

// click follows the first link of the page whose address and text have what is given.
func (w *walker) click(inAddress, inText string) *walker {
	w.t.Helper()
	if w.gone {
		return w
	}
	for _, m := range regexp.MustCompile(`(?s)<a [^>]*href="([^"]*)"[^>]*>(.*?)</a>`).FindAllStringSubmatch(w.body, -1) {
		to, says := html.UnescapeString(m[1]), html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(m[2], ""))
		if decoded, err := url.QueryUnescape(to); err == nil && strings.Contains(decoded, inAddress) && strings.Contains(says, inText) {
			return w.follow(to)
		}
	}
	w.t.Errorf("after %d clicks there is no link to %q that says %q", w.clicks, inAddress, inText)
	w.gone = true
	return w
}

func (w *walker) follow(to string) *walker {
	w.clicks++
	w.body = page(w.t, w.base+to)
	return w
}

// search types into the board's search and presses enter.
func (w *walker) search(text string) *walker {
	w.t.Helper()
	if !strings.Contains(w.body, `action="/find"`) {
		w.t.Errorf("no search on the page after %d clicks", w.clicks)
	}
	hidden := url.Values{"q": {text}}
	form := w.body[strings.Index(w.body, `action="/find"`):]
	if m := regexp.MustCompile(`^[^>]*><input type="hidden" name="(as-of)" value="([^"]*)"`).FindStringSubmatch(form); m != nil {
		hidden.Set(m[1], html.UnescapeString(m[2]))
	}
	return w.follow("/find?" + hidden.Encode())
}

// sees holds what the page says, and that it took no more than three clicks.
func (w *walker) sees(most int, wants ...string) {
	w.t.Helper()
	if w.gone {
		return
	}
	text := html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(w.body, " "))
	text = strings.Join(strings.Fields(text), " ")
	for _, want := range wants {
		if !strings.Contains(text, want) {
			w.t.Errorf("after %d clicks the page doesn't say %q", w.clicks, want)
		}
	}
	if w.clicks > most {
		w.t.Errorf("%d clicks, of %d", w.clicks, most)
	}
}

// TestTwelveQuestions: what an investigator asks first is answered in three clicks from the board at most, by links and a
// search alone.
func TestTwelveQuestions(t *testing.T) {
	for _, q := range []struct {
		asks string
		walk func(*walker)
	}{
		{"which set holds the twin's sheet", func(w *walker) { w.sees(0, "MIN-006", "probably carries a wrong count sheet") }},
		{"every set to be held back now", func(w *walker) { w.sees(0, "Not opened yet", "LSC-001", "LSC-007") }},
		{"what was known of a case at 07:12", func(w *walker) {
			w.search("07:12").search("K-0430").sees(3, "As known at 6 Mar 2026 07:12, not now.")
		}},
		{"what was known of the house at 07:12", func(w *walker) {
			w.search("2026-03-06 07:12").sees(1, "As known at 6 Mar 2026 07:12, not now.", "Not opened yet", "LSC-001")
		}},
		{"what else a positive indicator touches", func(w *walker) {
			w.click("/touched?load=", "The whole recall").sees(1, "LSC-007 LSC-BASIC")
		}},
		{"who counted alone", func(w *walker) { w.click("/?code=count-one-person", "").sees(1, "counted by one person") }},
		{"all that one badge did", func(w *walker) {
			w.search("B-3342").click("/badge/held", "").sees(2, "B-3342", "counted 21")
		}},
		{"all turns of a set", func(w *walker) { w.search("LAP-014").sees(1, "Turns of the set", "2 Mar 2026") }},
		{"all cases in an operating room", func(w *walker) { w.search("OR 4").sees(1, "K-0409") }},
		{"two turns beside one another", func(w *walker) {
			w.search("LAP-014").click("beside=", "").sees(2, "Differs")
		}},
		{"the history of a lock's number", func(w *walker) { w.search("480490").sees(1, "480490") }},
		{"the sets of a packer's week", func(w *walker) {
			w.search("B-1111").click("packer=B-1111", "").sees(2, "MIN-")
		}},
		{"who had the missing clamp, by which sheet", func(w *walker) {
			w.click("/history?case=K-0409", "").sees(1, "Lines that", "LAP-004")
		}},
		{"sets not seen for days", func(w *walker) { w.click("/not-seen", "").click("days=1", "").sees(2, "THO-005") }},
		{"all corrections of the week", func(w *walker) { w.click("/corrections", "").sees(1, "Corrections of a week") }},
		{"how soon somebody answered", func(w *walker) { w.click("/weeks", "").sees(1, "From STOP to its answer") }},
		{"the way of a set through a day", func(w *walker) {
			w.click("/history?trip=", "").click("/way?", "").sees(2, "Where it was")
		}},
	} {
		t.Run(q.asks, func(t *testing.T) { q.walk(atBoard(t)) })
	}
}

// TestSearchForAMoment: a time that is no moment, or one to come, is searched for as a text.
func TestSearchForAMoment(t *testing.T) {
	srv, _ := weekServer(t)
	c := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for text, want := range map[string]string{
		"2026-03-06 07:12": "2026-03-06T07:12:00Z", "7:12": "2026-03-06T07:12:00Z", "23:59": "2026-03-05T23:59:00Z",
		"25:00": "", "2099-01-01": "", "7": "",
	} {
		res, err := c.Get(srv.URL + "/find?q=" + url.QueryEscape(text))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		got := ""
		if u, err := url.Parse(res.Header.Get("Location")); err == nil {
			got = u.Query().Get("as-of")
		}
		if got != want {
			t.Errorf("%q leads to %q, not %q", text, got, want)
		}
	}
}

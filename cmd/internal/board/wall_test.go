//go:build !race

package board_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
)

// TestWall: what somebody can still do something about stands there, the soonest incision first, and nothing else; all of it in
// letters of the size that is read from four metres, in view on a screen of 1920 by 1080, bright and dark.
func TestWall(t *testing.T) {
	srv, s := ownWeek(t)
	at := func(d time.Duration) string { return s.Clock().Add(d).UTC().Format(time.RFC3339) }
	file := "case,room,start,sets,lists\nK-0951,OR 1," + at(3*time.Hour) + ",MIN-011,\nK-0950,OR 3," + at(40*time.Minute) + ",MIN-006,\n" +
		"K-0952,OR 5," + at(26*time.Hour) + ",LSC-001,\nK-0953,OR 2," + at(5*time.Hour) + ",,\n"
	body := page(t, srv.URL+"/wall")
	if !strings.Contains(body, "0 cases lack") || !strings.Contains(body, "LAP-014") || !strings.Contains(body, "search now") {
		t.Error("before a schedule came in the sets that need somebody are not there")
	}
	if _, err := s.ImportSchedule(t.Context(), []byte(file), site.ScheduleAsked{Operator: "B-1"}); err != nil {
		t.Fatal(err)
	}
	body = page(t, srv.URL+"/wall")
	place := func(text string) int {
		i := strings.Index(body, text)
		if i < 0 {
			t.Errorf("the wall lacks %q", text)
		}
		return i
	}
	if place("in 40 min") > place("in 3 h") || place("MIN-006") > place("MIN-011") || place("in 3 h") > place("LAP-014") {
		t.Error("the soonest case doesn't come first, or a set before a case")
	}
	for _, not := range []string{"K-0953", "K-0952", "B-1",
		"in 26 h"} { // it lacks nothing; it is not of the next day; badges are nobody's business here
		if strings.Contains(body[strings.Index(body, `id="rows"`):], not) {
			t.Errorf("the wall has %s", not)
		}
	}
	if strings.Count(body, "MIN-006") != 1 || !strings.Contains(body,
		"2 cases lack something in the next 24 h; 4 more sets need somebody") {
		t.Error("a set stands twice, or the numbers are others")
	}
	if part := page(t, srv.URL+"/wall?part=rows"); strings.Contains(part, "<html") || !strings.Contains(part, "K-0950") {
		t.Error("the part that is asked for again is the whole page")
	}
	tab := browser(t).Tab(t, browsertest.Size{Name: "wall", Width: 1920, Height: 1080})
	for _, address := range []string{"/wall?light=bright", "/wall?light=dark&lang=de"} {
		tab.Open(srv.URL + address)
		// See board.css for the 32. How many more there are may be smaller.
		for _, small := range browsertest.Eval[[]string](tab,
			`[...document.querySelectorAll('.wallrow p:not(.wallmore), .wallrow b, .wallhead b')].
			filter(e => e.textContent.trim() && parseFloat(getComputedStyle(e).fontSize) * 0.73 < 32).map(e => e.textContent)`) {
			t.Errorf("%s: %q is too small", address, small)
		}
		if low := browsertest.Eval[float64](tab, `document.querySelector('.wall ol').getBoundingClientRect().bottom`); low > 1080 {
			t.Errorf("%s: the rows end at %g", address, low)
		}
		tab.Axe()
		tab.Shot("wall" + address[len(address)-2:])
	}
}

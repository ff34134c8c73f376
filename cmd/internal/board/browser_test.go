package board_test

import (
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
)

// addresses are every kind of page there is.
func addresses(t testing.TB) map[string]string {
	t.Helper()
	_, found := rows(t, week.srv.URL+"/?format=csv&table=board")
	trips := make(map[string]string)
	for _, r := range found {
		trips[r[4]] = r[1]
	}
	for _, need := range []string{"count sheet of another set", "probably carries a wrong count sheet", "clock in doubt"} {
		if trips[need] == "" {
			t.Fatalf("the week's board has no %q", need)
		}
	}
	return map[string]string{
		"board":       "/",
		"filtered":    "/?code=sheet-swapped",
		"calm":        "/?code=sheet-swapped&age=8h&placement=screen",
		"find":        "/find?q=MIN-0",
		"found-none":  "/find?q=NOTHING-LIKE-THIS",
		"near-misses": "/near-misses",
		"swapped":     "/history?trip=" + trips["count sheet of another set"],
		"in-doubt":    "/history?trip=" + trips["probably carries a wrong count sheet"],
		"clock":       "/history?trip=" + trips["clock in doubt"],
		"case":        "/history?case=K-0430",
		"ring":        "/history?case=K-0431",
		"load":        "/history?load=S4-0304-01",
		"set":         "/history?set=MIN-006",
		"difference":  "/history?set=MIN-006&then=2026-03-05+12:00",
		"station":     "/station?name=north/or-5",
		"badge":       "/badge?id=B-1111",
		"touched":     "/touched?load=S4-0304-01",
		"touched-ask": "/touched",
		"acknowledge": "/acknowledge?set=MIN-006&trip=" + trips["probably carries a wrong count sheet"] + "&code=sheet-in-doubt",
		"refused":     "/history?set=NO-SUCH-SET",
	}
}

// TestPagesInTheBrowser opens every page in every size and both languages, runs
// axe-core on it, and holds that nothing sticks out of the window sideways.
func TestPagesInTheBrowser(t *testing.T) {
	srv, _ := weekServer(t)
	b := browser(t)
	pages := addresses(t)
	if len(pages) < 15 {
		t.Fatal("too few pages")
	}
	for _, size := range browsertest.Sizes() {
		tab := b.Tab(t, size)
		for name, path := range pages {
			if size.Name == "old" && !slices.Contains([]string{"board", "swapped", "case", "touched", "station"}, name) {
				continue // of the others the two sizes beside it say as much
			}
			tab.Open(srv.URL + path)
			if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
				t.Errorf("%s at %s is %d pixels wider than the window", name, size.Name, wide)
			}
			if strings.Contains(browsertest.Eval[string](tab, "document.body.innerText"), "board.") {
				t.Errorf("%s shows the key of a text", name)
			}
			tab.Shot(name + "-" + size.Name)
			if size.Name == "desk" || size.Name == "phone" && slices.Contains([]string{"board", "swapped", "touched", "station"}, name) {
				tab.Axe()
			}
		}
	}
	tab := b.Tab(t, browsertest.Sizes()[2]) // German words are long, so where there is least room
	for name, path := range pages {
		join := "?"
		if strings.Contains(path, "?") {
			join = "&"
		}
		tab.Open(srv.URL + path + join + "lang=de")
		text := browsertest.Eval[string](tab, "document.body.innerText")
		if strings.Contains(text, "board.") || !strings.Contains(text, "Zeiten in UTC") {
			t.Errorf("%s in German is not whole", name)
		}
		if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
			t.Errorf("%s in German is %d pixels wider than a phone", name, wide)
		}
		tab.Shot(name + "-de")
	}
}

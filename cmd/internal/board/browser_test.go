package board_test

import (
	"regexp"
	"testing"
)

// addresses are every kind of page there is.
func addresses(t testing.TB) map[string]string {
	t.Helper()
	head, found := rows(t, week.srv.URL+"/?format=csv&table=board")
	trips := make(map[string]string)
	incident := ""
	for _, r := range found {
		trips[r[4]] = r[1]
		if r[0] == "LAP-004" {
			incident = cellOf(head, r, "Incident")
		}
	}
	for _, need := range []string{"count sheet of another set", "probably carries a wrong count sheet", "clock in doubt"} {
		if trips[need] == "" {
			t.Fatalf("the week's board has no %q", need)
		}
	}
	event := regexp.MustCompile(`"id": ?"([^"]+)"`).FindStringSubmatch(page(t, week.srv.URL+"/api/history?set=MIN-006"))
	if event == nil {
		t.Fatal("the history of MIN-006 has no event")
	}
	return map[string]string{
		"board":       "/",
		"filtered":    "/?code=sheet-swapped",
		"calm":        "/?code=sheet-swapped&age=8h&placement=screen",
		"find":        "/find?q=MIN-0",
		"found-none":  "/find?q=NOTHING-LIKE-THIS",
		"near-misses": "/near-misses",
		"rates":       "/rates?by=placement&group=outside",
		"weeks":       "/weeks",
		"corrections": "/corrections?week=2026-03-04",
		"not-seen":    "/not-seen?days=1&sort-not-seen=-4&only-not-seen=orl",
		"way":         "/way?set=LAP-014&day=2026-03-05",
		"incident":    "/incident?key=" + incident,
		"then":        "/?as-of=2026-03-05T08:05:00Z",
		"assess":      "/assess",
		"run":         "/run?load=S9-0304-90",
		"check-line":  "/check-line",
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
		"texts":       "/texts",
		"policy":      "/policy",
		"badge-held":  "/badge/held?id=B-1111",
		"correct":     "/correct?event=" + event[1],
		"acknowledge": "/acknowledge?set=MIN-006&trip=" + trips["probably carries a wrong count sheet"] + "&code=sheet-in-doubt",
		"refused":     "/history?set=NO-SUCH-SET",
	}
}

// wordsOutside are the words in a chain's links that stick out of them. That there are
// none in a page without a chain says nothing, so the picture of one is asked for.
const wordsOutside = `(() => {
	const links = [...document.querySelectorAll("svg.picture > g")].filter(g => g.firstElementChild?.getAttribute("rx") === "23");
	if (links.length === 0 && document.querySelector("svg.picture[aria-labelledby^='chain-']")) return ["no link found"];
	return links.flatMap(g => {
		const box = g.firstElementChild.getBBox();
		const inside = t => t.x > box.x + 5 && t.x + t.width < box.x + box.width - 5 && t.y > box.y && t.y + t.height < box.y + box.height;
		return [...g.querySelectorAll("text")].filter(t => !inside(t.getBBox())).map(t => t.textContent);
	});
})()`

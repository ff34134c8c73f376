//go:build !race

package board_test

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/texts"
	"listbound/projections"

	"github.com/go-json-experiment/json"
	"github.com/xuri/excelize/v2"
)

// TestBoardOrder: a set that came back short of a piece that was counted stands above
// all, then one used again without reprocessing, and what nobody has opened above what is
// over; broken above doubtful in each.
func TestBoardOrder(t *testing.T) {
	srv, s := weekServer(t)
	head, found := rows(t, srv.URL+"/?format=csv&table=board")
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	trips := 0
	for _, v := range all {
		if v.Trip != "" {
			trips++
		}
	}
	turns, heads := make(map[string]bool), make(map[string]bool)
	var first [][]string // the worst turn of each incident
	for _, r := range found {
		turns[r[0]+" "+r[1]] = true
		if in := cellOf(head, r, "Incident"); !heads[in] {
			heads[in] = true
			first = append(first, r)
		}
	}
	if len(turns) != trips || trips < 40 || len(first) > 41 {
		t.Fatalf("%d turns and %d incidents for %d broken and doubtful trips", len(turns), len(first), trips)
	}
	rank := func(r []string) int {
		n := map[string]int{"Came back short: counted in the case, not there at the assembly": -2,
			"Used again without reprocessing": -1, "Not opened yet": 0, "Opened, case not closed": 0, "Habits of this week": 1, "Over": 2,
			"Packed again unopened": 2}[r[3]]
		if r[2] == "doubtful" {
			n++
		}
		return n
	}
	if !slices.IsSortedFunc(first, func(a, b []string) int { return rank(a) - rank(b) }) {
		t.Error("the board is out of order")
	}
	if first[0][0] != "LAP-014" || first[1][0] != "RET-006" || first[2][3] != "Not opened yet" || first[len(first)-1][3] != "Over" {
		t.Errorf("first %q, last %q", first[0][3], first[len(first)-1][3])
	}
	for _, r := range found {
		if r[5] == "" || r[6] == "" || r[7] == "" || r[8] == "" {
			t.Errorf("the row of %s says not all: %q", r[0], r[4:9])
		}
	}
	if !strings.Contains(page(t, srv.URL+"/"), "north/or-5") {
		t.Error("the station with a gap is not on the board")
	}
}

// TestRowsAlone: a board that looks again gets the rows as the page has them, and no more.
func TestRowsAlone(t *testing.T) {
	srv, _ := weekServer(t)
	for _, q := range []string{"?", "?code=overdue&", "?closed=1&"} {
		whole, alone := page(t, srv.URL+"/"+q), page(t, srv.URL+"/"+q+"part=rows")
		// What is taken away from there is asked for by the page's own address.
		alone = strings.TrimSpace(strings.ReplaceAll(strings.ReplaceAll(alone, "part=rows&amp;", ""), "&amp;part=rows", ""))
		if !strings.Contains(whole, alone) || strings.Contains(alone, "<html") || strings.Contains(alone, `id="filters"`) {
			t.Errorf("%s: the rows alone are not those of the page: %.300s", q, alone)
		}
	}
}

// TestBoardPaging: the pages together are the board, also when a row comes in
// before them meanwhile.
func TestBoardPaging(t *testing.T) {
	srv, _ := weekServer(t)
	key := regexp.MustCompile(`data-key="(i-[^"]+)"`)
	next := regexp.MustCompile(`href="(/\?[^"]*after=[^"]*)"`)
	seen := make(map[string]bool)
	pages := 0
	for at := "/"; at != ""; pages++ {
		body := page(t, srv.URL+at)
		for _, m := range key.FindAllStringSubmatch(body, -1) {
			if seen[m[1]] {
				t.Fatalf("%s stands on two pages", m[1])
			}
			seen[m[1]] = true
		}
		at = ""
		if m := next.FindStringSubmatch(body); m != nil {
			at = html.UnescapeString(m[1])
		}
	}
	head, found := rows(t, srv.URL+"/?format=csv&table=board")
	for _, r := range found {
		if key := "i-" + cellOf(head, r, "Incident"); !seen[key] {
			t.Errorf("%s is on no page", key)
		}
	}
	if pages < 2 && len(seen) > 40 || len(seen) == 0 {
		t.Fatalf("%d rows on %d pages", len(seen), pages)
	}
}

// TestBoardTableForPrograms: the table that is taken away gives code, way and detail of
// the finding of each row as the API does, in whichever language it is asked for.
func TestBoardTableForPrograms(t *testing.T) {
	srv, s := weekServer(t)
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	of := make(map[string][]projections.Finding)
	for i := range all {
		of[all[i].Set+" "+all[i].Trip] = all[i].Findings
	}
	head, found := rows(t, srv.URL+"/?lang=de&format=csv&table=board")
	n := slices.Index(head, "Einzelheiten (JSON)") + 1
	if len(found) == 0 || n < 3 {
		t.Fatalf("%d rows under %q", len(found), head)
	}
	heaviest := make(map[string]bool)
	for _, row := range found {
		key := row[0] + " " + row[1]
		n := slices.IndexFunc(of[key], func(f projections.Finding) bool {
			detail, err := json.Marshal(f.Detail)
			return err == nil && row[n-3] == string(f.Code) && row[n-2] == f.Way && row[n-1] == string(detail) &&
				f.Incident == cellOf(head, row, "Vorfall")
		})
		if n < 0 {
			t.Errorf("%q is of no finding of its turn", row)
		}
		heaviest[key] = heaviest[key] || n == 0
	}
	for _, v := range all {
		if v.Trip != "" && !heaviest[v.Set+" "+v.Trip] {
			t.Errorf("%s: the heaviest finding is in no row", v.Set)
		}
	}
}

// TestRoomCounts: how the counts of a room were made in a week is one row, which
// names and leads to each set, in both languages; taken away, each set has its row.
func TestRoomCounts(t *testing.T) {
	srv, s := weekServer(t)
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	shared := 0
	for lang, says := range map[string]string{
		"en": "In the week from Monday 2026-03-02, %d sets were opened here",
		"de": "In der Woche ab Montag, 02.03.2026, wurden hier %d Siebe geöffnet",
	} {
		body := ""
		for at := "/?lang=" + lang; at != ""; {
			one := page(t, srv.URL+at)
			body, at = body+one, ""
			if m := regexp.MustCompile(`href="(/\?[^"]*after=[^"]*)"`).FindStringSubmatch(one); m != nil {
				at = html.UnescapeString(m[1])
			}
		}
		for _, row := range projections.Rows(all) {
			if len(row) < 2 {
				continue
			}
			shared++
			if want := fmt.Sprintf(says, len(row)); !strings.Contains(body, want) {
				t.Errorf("%s: the board does not say %q", lang, want)
			}
			for _, v := range row {
				in := regexp.MustCompile(`(?s)<li data-turn="t-` + v.Trip + `-.*?</li>`).FindString(body)
				for _, want := range []string{">" + v.Set + "</a>", "/acknowledge?", "trip=" + v.Trip, v.Case} {
					if !strings.Contains(in, want) {
						t.Errorf("%s: %s, which stands with others, lacks %q: %s", lang, v.Set, want, in)
					}
				}
			}
		}
	}
	if shared == 0 {
		t.Error("the week has no sets that are shown in one row")
	}
}

// TestFindAnything: whatever a person holds leads to a page.
func TestFindAnything(t *testing.T) {
	srv, s := weekServer(t)
	var code, short, trip string
	h, err := s.History(t.Context(), site.Query{Set: "MIN-006"})
	if err != nil {
		t.Fatal(err)
	}
	trip = h.Events[len(h.Events)-1].Trip
	body := page(t, srv.URL+"/api/events?limit=1000")
	if m := regexp.MustCompile(`"binding":"[0-9a-f]+","code":"([0-9A-Z]+)"`).FindStringSubmatch(body); m != nil {
		code = m[1]
	}
	if m := regexp.MustCompile(`code ([0-9A-Z]{4}-[0-9A-Z]{4})`).FindStringSubmatch(h.Events[len(h.Events)-1].Says); m != nil {
		short = m[1]
	} else if m := regexp.MustCompile(`code ([0-9A-Z]{4}-[0-9A-Z]{4})`).FindStringSubmatch(page(t,
		srv.URL+"/history?set=MIN-006")); m != nil {
		short = m[1]
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for what, c := range map[string][2]string{
		"set": {"MIN-006", "/history?set=MIN-006"}, "set in small letters": {"min-006", "/history?set=MIN-006"},
		"case": {"K-0430", "/history?case=K-0430"},
		"load": {"S4-0304-01", "/history?load=S4-0304-01"}, "badge": {"B-1111", "/badge?id=B-1111"},
		"badge that only counted": {"B-3342", "/badge?id=B-3342"},
		"seal":                    {"480007", "/history?trip="},
		"seal that nobody sealed": {"477713", "/history?trip="},
		"room":                    {"or-4", "/station?name=north%2For-4"},
		"room as it is spoken":    {"OR 4", "/station?name=north%2For-4"},
		"station":                 {"north/or-5", "/station?name=north%2For-5"}, "sheet code": {code, "/history?trip="},
		"short code": {short, "/history?trip="},
		"trip":       {trip, "/history?trip=" + trip}, "list": {"LAP-MAJOR", "/touched?list=LAP-MAJOR"},
		"bag lot": {"PB-2604", "/touched?bag=PB-2604"},
		"nothing": {"", "/"},
	} {
		if c[0] == "" && what != "nothing" {
			t.Errorf("no %s to look for in the week", what)
			continue
		}
		res, err := client.Get(srv.URL + "/find?q=" + url.QueryEscape(c[0]))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if to := res.Header.Get("Location"); res.StatusCode != http.StatusSeeOther || !strings.HasPrefix(to, c[1]) {
			t.Errorf("%s %q leads to %d %q, want %q", what, c[0], res.StatusCode, to, c[1])
		}
	}
	if body := page(t, srv.URL+"/badge?id=B-3342"); !strings.Contains(body, "/api/events?after=793&amp;limit=1") {
		t.Error("the page of a badge that only counted does not show what it counted")
	}
	if body := page(t, srv.URL+"/find?q=MIN-0"); !strings.Contains(body, "MIN-006") {
		t.Error("what begins with MIN-0 is not found")
	}
	if body := page(t, srv.URL+"/find?q=NO+SUCH+THING"); !strings.Contains(body,
		"Nothing here is called NO SUCH THING") {
		t.Error("a search that finds nothing does not say so")
	}
}

// TestAcknowledge: an acknowledgement is an event with a badge and a reason; the
// finding stays.
func TestAcknowledge(t *testing.T) {
	srv, s := ownWeek(t)
	inDoubt := func(more string) (out [][]string) {
		head, found := rows(t, srv.URL+"/?format=csv&table=board&code=sheet-in-doubt"+more)
		for _, r := range found { // other turns of the same incident have findings of their own
			if cellOf(head, r, "Code") == "sheet-in-doubt" {
				out = append(out, r)
			}
		}
		return out
	}
	before := inDoubt("")
	if len(before) != 1 {
		t.Fatalf("%d sets in doubt", len(before))
	}
	form := url.Values{"set": {before[0][0]}, "trip": {before[0][1]}, "code": {"sheet-in-doubt"}, "badge": {"B-1001"}}
	res, err := http.PostForm(srv.URL+"/acknowledge", form)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	size := s.Size()
	if res.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("acknowledged without a reason: %d", res.StatusCode)
	}
	form.Set("reason", "fetched from the shelf, =read again")
	res, err = http.PostForm(srv.URL+"/acknowledge", form)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK || s.Size() != size+2 { // the board's own enrolment, and the event
		t.Fatalf("%d, %d records more", res.StatusCode, s.Size()-size)
	}
	after := inDoubt("")
	if len(after) != 1 || after[0][14] != "B-1001" {
		t.Errorf("afterwards the board says %q", after)
	}
	if body := page(t, srv.URL+"/history?trip="+before[0][1]); !strings.Contains(body,
		"fetched from the shelf, =read again") || !strings.Contains(body, "probably carries a wrong count sheet") {
		t.Error("the history lacks the acknowledgement or the finding")
	}
	for _, r := range inDoubt("&unseen=1") {
		if r[14] != "" {
			continue // shown beside another set of its incident
		}
		t.Error("it is still among those that nobody has seen")
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK {
		t.Errorf("the ledger does not verify: %v %v", err, v)
	}
}

// TestThreeClicks is the way from the board to the set that holds the other
// twin's sheet, as a person who has never seen it goes: 1. the filter "sheet of
// another set"; 2. the set's name; 3. the other set's history.
func TestThreeClicks(t *testing.T) {
	t.Parallel()
	srv, _ := weekServer(t)
	tab := browser(t).Tab(t, browsertest.Sizes()[0])
	tab.Open(srv.URL + "/")
	clicks := []string{`a.choice[href*="code=sheet-swapped"]`, `article[data-sets~="LAP-007"] a.name`,
		`.finding.broken .facts a[href^="/history?trip="]`}
	for _, c := range clicks {
		before := tab.Address()
		tab.Click(c)
		tab.Until(fmt.Sprintf("location.pathname + location.search !== %q && document.readyState === 'complete'",
			before))
	}
	head := browsertest.Eval[string](tab, `document.querySelector("h1").innerText`)
	says := browsertest.Eval[string](tab, `document.querySelector(".finding.broken").innerText`)
	mine, other := "LAP-008", "LAP-007" // either of the two names the other
	if strings.Contains(head, other) {
		mine, other = other, mine
	}
	if len(clicks) > 3 || !strings.Contains(head, mine) ||
		!strings.Contains(says, mine+" was found with the count sheet of "+other) {
		t.Errorf("after %d clicks: %q, %q", len(clicks), head, says)
	}
	// The row itself names the other set too: one click.
	tab.Open(srv.URL + "/?code=sheet-in-doubt")
	tab.Click(`article[data-sets~="MIN-006"] .facts a[href^="/history?trip="]`)
	tab.Until(`document.querySelector("h1")?.innerText.includes("MIN-005")`)
}

// TestLiveRow: a scan shows on an open board within a second, and neither the
// focus nor what is being read moves.
func TestLiveRow(t *testing.T) {
	t.Parallel()
	srv, s := ownWeek(t)
	tab := browser(t).Tab(t, browsertest.Sizes()[1])
	tab.Open(srv.URL + "/")
	tab.Until(`document.getElementById("live").textContent === "live"`)
	target := `[data-sets~="MIN-012"] a.name`
	browsertest.Eval[bool](tab,
		fmt.Sprintf(`(() => { const a = document.querySelector(%q); a.focus();`+
			` a.scrollIntoView({block: "center"}); window.topWas = a.getBoundingClientRect().top; return true })()`, target))
	before := browsertest.Eval[int](tab, `document.querySelectorAll("article.row").length`)
	// A set that is in order so far is checked, and its outer seal is broken.
	whole := ""
	_, onBoard := rows(t, srv.URL+"/?format=csv&table=board")
	vs, err := s.History(t.Context(), site.Query{Load: "S2-0304-04"})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range vs.Verdicts {
		if v.Status == projections.Open && !v.Opened && !v.Over &&
			!slices.ContainsFunc(onBoard, func(r []string) bool { return r[1] == v.Trip }) {
			whole = v.Set
		}
	}
	if whole == "" {
		t.Fatal("no set of the load is in order so far")
	}
	line := fmt.Sprintf(`{"station":"north/storage","kind":"set.checked","time":"2026-03-06T15:00:00Z","set":%q,`+
		`"operator":"B-2051","data":{"place":"sterile storage A","sealBroken":true}}`, whole)
	begin := time.Now()
	err = s.Record(t.Context(), strings.NewReader(line), func(r site.Receipt) error {
		if r.Error != "" {
			t.Error(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	tab.Until(fmt.Sprintf(`document.querySelector('[data-sets~="%s"]')?.innerText.includes("lock")`, whole))
	t.Logf("from the scan to the row: %v", time.Since(begin)) // a figure, not a check: the machine may be shared
	if after := browsertest.Eval[int](tab, `document.querySelectorAll("article.row").length`); after < before {
		t.Errorf("%d rows, %d before", after, before)
	}
	if !browsertest.Eval[bool](tab, fmt.Sprintf(`document.activeElement === document.querySelector(%q)`, target)) {
		t.Error("the focus was lost")
	}
	if moved := browsertest.Eval[float64](tab,
		fmt.Sprintf(`Math.abs(document.querySelector(%q).getBoundingClientRect().top - window.topWas)`,
			target)); moved > 2 {
		t.Errorf("what was being read moved by %.0f pixels", moved)
	}
	// The row with the focus changes itself: somebody has seen it.
	_, found := rows(t, srv.URL+"/?format=csv&table=board&code=count-over")
	trip := ""
	for _, r := range found {
		if r[0] == "MIN-012" {
			trip = r[1]
		}
	}
	line = fmt.Sprintf(`{"station":"north/office","kind":"finding.acknowledged","time":"2026-03-06T14:59:00Z",`+
		`"set":"MIN-012","trip":%q,"operator":"B-1001","data":{"code":"count-over","reason":"asked packing"}}`, trip)
	err = s.Record(t.Context(), strings.NewReader(line), func(r site.Receipt) error {
		if r.Error != "" {
			t.Error(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	tab.Until(`document.querySelector('[data-sets~="MIN-012"]').innerText.includes("asked packing")`)
	if !browsertest.Eval[bool](tab, fmt.Sprintf(`document.activeElement === document.querySelector(%q)`, target)) {
		t.Error("the focus was lost with the row that had it")
	}
}

// TestPagesAsKnownAt: before the other twin was opened nobody could know.
func TestPagesAsKnownAt(t *testing.T) {
	srv, _ := weekServer(t)
	then, now := url.QueryEscape("2026-03-06 10:00"), url.QueryEscape("2026-03-06 12:00")
	if body := page(t, srv.URL+"/history?set=MIN-006&as-of="+then); strings.Contains(body,
		"probably carries a wrong count sheet") {
		t.Error("known before it was recorded")
	}
	if body := page(t, srv.URL+"/history?set=MIN-006&as-of="+now); !strings.Contains(body,
		"probably carries a wrong count sheet") {
		t.Error("not known although it was recorded")
	}
	body := page(t, srv.URL+"/history?set=MIN-006&as-of="+now+"&then="+then)
	for _, want := range []string{"What became known between 6 Mar 2026 10:00 and 6 Mar 2026 12:00", "Found since:",
		"so far whole → broken"} {
		if !strings.Contains(body, want) {
			t.Errorf("the difference lacks %q", want)
		}
	}
	// Typed the other way round the two moments are put in order.
	if turned := page(t, srv.URL+"/history?set=MIN-006&as-of="+then+"&then="+now); !strings.Contains(turned,
		"What became known between 6 Mar 2026 10:00 and 6 Mar 2026 12:00") || !strings.Contains(turned, "so far whole → broken") {
		t.Error("two moments are compared backwards")
	}
	if code, _, _ := get(t, srv.URL+"/history?set=MIN-006&as-of=2020-01-01"); code != http.StatusNotFound {
		t.Errorf("in 2020 nothing was known: %d", code)
	}
}

// TestTripNeverPacked: a set of which no packing is recorded has its pages too.
func TestTripNeverPacked(t *testing.T) {
	s, err := playWeekHead(t)
	if err != nil {
		t.Fatal(err)
	}
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	line := `{"station":"north/or-1","kind":"set.opened","time":"2026-03-06T09:00:00Z","set":"STRAY-1",` +
		`"operator":"B-1","data":{"case":"K-1","tag":"STRAY-1"}}`
	err = s.Record(t.Context(), strings.NewReader(line), func(r site.Receipt) error {
		if r.Error != "" {
			return errors.New(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	_, found := rows(t, srv.URL+"/?format=csv&table=board")
	if len(found) == 0 || slices.ContainsFunc(found, func(r []string) bool { return r[0] != "STRAY-1" || r[1] != "" }) {
		t.Fatalf("on the board: %q", found)
	}
	body := page(t, srv.URL+"/")
	links := regexp.MustCompile(`href="(/(?:history|touched)[^"]*)"`).FindAllStringSubmatch(body, -1)
	if len(links) < 3 {
		t.Fatalf("links of the row: %q", links)
	}
	for _, l := range links {
		if body := page(t, srv.URL+html.UnescapeString(l[1])); !strings.Contains(body, "STRAY-1") {
			t.Errorf("%s does not speak of the set", l[1])
		}
	}
	for _, at := range []string{"/report?set=STRAY-1", "/find?q=STRAY-1", "/history?case=K-1"} {
		page(t, srv.URL+at)
	}
}

// TestReportSaysWhatItLacks: where the fonts lack what somebody wrote, a report says so: "???" may be all that a reason says.
func TestReportSaysWhatItLacks(t *testing.T) {
	needTool(t, "pdftotext", "poppler-utils")
	s, err := playWeekHead(t)
	if err != nil {
		t.Fatal(err)
	}
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	for ref, reason := range map[string]string{"K-1": "忘れ物", "K-2": "why?"} {
		var lines strings.Builder
		for _, line := range []string{
			`"kind":"set.opened","time":"2026-03-06T09:00:00Z","set":"STRAY-%s","operator":"B-1","data":{"case":%q,"tag":"STRAY-%[2]s"}`,
			`"kind":"case.closed","time":"2026-03-06T10:00:00Z","operator":"B-%s","data":{"case":%q,"outcome":"unreconciled","actions":[],` +
				`"reason":"` + reason + `"}`,
		} {
			fmt.Fprintf(&lines, `{"station":"north/or-1",`+line+"}\n", ref, ref)
		}
		err := s.Record(t.Context(), strings.NewReader(lines.String()), func(r site.Receipt) error {
			if r.Error != "" {
				return errors.New(r.Error)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		text := pdfText(t, page(t, srv.URL+"/report?case="+ref))
		if !strings.Contains(text, "Reason given: ") || strings.Contains(text, "“?” stands above") != (ref == "K-1") {
			t.Errorf("%s, closed for %q: %s", ref, reason, text)
		}
	}
}

// TestSlider goes back in what was known by the keyboard, and forward again.
func TestSlider(t *testing.T) {
	t.Parallel()
	srv, _ := weekServer(t)
	tab := browser(t).Tab(t, browsertest.Sizes()[1])
	tab.Open(srv.URL + "/history?set=MIN-006&then=2026-03-02")
	step := func(to string) {
		t.Helper()
		before := tab.Address()
		browsertest.Eval[bool](tab,
			fmt.Sprintf(`(() => { const s = document.getElementById("slider"); s.value = %s;`+
				` s.dispatchEvent(new Event("input")); setTimeout(() => s.dispatchEvent(new Event("change"))); return true })()`, to))
		tab.Until(fmt.Sprintf("location.pathname + location.search !== %q && document.readyState === 'complete'",
			before))
	}
	step("s.max - 1")
	if browsertest.Eval[bool](tab, `document.body.innerText.includes("probably carries a wrong count sheet")`) {
		t.Errorf("before the last record it is known already, at %s", tab.Address())
	}
	if !browsertest.Eval[bool](tab, `document.body.innerText.includes("As known at")`) {
		t.Error("the page does not say that it is of an earlier moment")
	}
	step("s.max")
	if !browsertest.Eval[bool](tab, `document.body.innerText.includes("probably carries a wrong count sheet")`) {
		t.Errorf("with the last record it is not known, at %s", tab.Address())
	}
}

// TestPageAndCommandAgree: the page's tables and the history that commands get
// name the same records and verdicts, now and as known earlier.
func TestPageAndCommandAgree(t *testing.T) {
	srv, s := weekServer(t)
	asked := 0
	for _, asOf := range []string{"", "2026-03-05T11:00:00Z"} {
		for _, ref := range []string{"K-0430", "K-0432", "K-0415"} {
			q := site.Query{Case: ref}
			if asOf != "" {
				var err error
				if q.AsOf, err = time.Parse(time.RFC3339, asOf); err != nil {
					t.Fatal(err)
				}
			}
			h, err := s.History(t.Context(), q)
			if errors.Is(err, site.ErrNotFound) {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			at := srv.URL + "/history?case=" + ref + "&as-of=" + asOf
			_, found := rows(t, at+"&format=csv&table=events")
			if len(found) != len(h.Events) {
				t.Errorf("%s at %q: %d records on the page, %d by command", ref, asOf, len(found), len(h.Events))
				continue
			}
			for i, e := range h.Events {
				asked++
				if r := found[i]; r[0] != fmt.Sprint(e.Seq) || r[8] != strings.TrimPrefix(e.Says, "'") &&
					r[8] != "'"+e.Says {
					t.Errorf("%s: record %d is %q on the page", ref, e.Seq, r)
				}
			}
			body := page(t, at)
			for _, v := range h.Verdicts {
				for _, f := range v.Findings {
					if !strings.Contains(html.UnescapeString(body), f.Says) {
						t.Errorf("%s: the page lacks %q", ref, f.Says)
					}
				}
			}
		}
	}
	if asked < 100 {
		t.Fatalf("only %d records compared", asked)
	}
}

// TestTouched: a positive indicator reaches the loads since the last negative
// one, each set with what to do about it.
func TestTouched(t *testing.T) {
	srv, s := weekServer(t)
	head, found := rows(t, srv.URL+"/touched?load=S4-0304-01&format=csv")
	want := make(map[string]bool)
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range all {
		if slices.ContainsFunc(v.Findings,
			func(f projections.Finding) bool { return f.Code == projections.LoadRecalled }) {
			want[v.Trip] = v.Opened
		}
	}
	if len(want) < 3 || len(found) != len(want) {
		t.Fatalf("%d touched, %d recalled: %v", len(found), len(want), found)
	}
	trip := slices.Index(head, "Turn")
	for _, r := range found {
		opened, ok := want[r[trip]]
		if !ok || (r[0] == "opened") != opened || opened && r[6] == "" {
			t.Errorf("row %q; recalled %v, opened %v", r, ok, opened)
		}
	}
	for _, q := range []string{"bag=PB-2604", "seal=480000&last=480099", "list=LAP-MAJOR&version=1",
		"sterilizer=S4&from=2026-03-04&to=2026-03-05", "station=north/or-5&from=2026-03-04&to=2026-03-05",
		"case=K-0430", "set=MIN-006"} {
		if _, found := rows(t, srv.URL+"/touched?format=csv&"+q); len(found) == 0 {
			t.Errorf("%s touches nothing", q)
		}
	}
	gap := regexp.MustCompile(`href="(/touched\?[^"]*)"`).FindStringSubmatch(page(t,
		srv.URL+"/station?name=north/or-5"))
	if gap == nil || !strings.Contains(gap[1], "from=2026-03-03T09%3A40") {
		t.Fatalf("from the station's gap: %q", gap)
	}
	if _, found := rows(t, srv.URL+html.UnescapeString(gap[1])+"&format=csv"); len(found) == 0 || len(found) > 30 {
		t.Errorf("the station's gap touches %d sets", len(found))
	}
	_, v1 := rows(t, srv.URL+"/touched?format=csv&list=LAP-MAJOR&version=1")
	_, every := rows(t, srv.URL+"/touched?format=csv&list=LAP-MAJOR")
	if len(v1) >= len(every) {
		t.Errorf("version 1 of the list has %d sets, all versions %d", len(v1), len(every))
	}
}

// TestFilesOfTables: a table as CSV and as XLSX has what the page has, and no
// cell that a spreadsheet would compute.
func TestFilesOfTables(t *testing.T) {
	srv, _ := weekServer(t)
	head, found := rows(t, srv.URL+"/history?case=K-0430&format=csv&table=events")
	_, _, raw := get(t, srv.URL+"/history?case=K-0430&format=xlsx&table=events")
	f, err := excelize.OpenReader(strings.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sheet, err := f.GetRows(f.GetSheetName(0))
	if err != nil {
		t.Fatal(err)
	}
	if len(found) < 10 || len(sheet) != len(found)+1 || len(sheet[0]) != len(head) {
		t.Fatalf("%d rows as CSV, %d as XLSX", len(found), len(sheet))
	}
	for j, c := range head {
		if got := strings.TrimSuffix(sheet[0][j], " (UTC)"); got != c {
			t.Errorf("column %d is %q and %q", j, c, got)
		}
	}
	for i, r := range found {
		for j, c := range r {
			if at, err := time.Parse(time.RFC3339Nano, c); err == nil {
				c = at.Format("2006-01-02 15:04:05")
			}
			if j < len(sheet[i+1]) && sheet[i+1][j] != strings.TrimPrefix(c, "'") {
				t.Errorf("row %d: %q and %q", i, c, sheet[i+1][j])
			}
		}
		if _, err := time.Parse(time.RFC3339Nano, r[1]); err != nil {
			t.Errorf("row %d: observed is %q in the file", i, r[1])
		}
	}
	if code, _, _ := get(t, srv.URL+"/history?case=K-0430&format=ods"); code != http.StatusBadRequest {
		t.Errorf("an unknown format: %d", code)
	}
	if code, _, _ := get(t, srv.URL+"/history?case=K-0430&format=csv&table=none"); code != http.StatusNotFound {
		t.Errorf("an unknown table: %d", code)
	}
}

// TestNothingIsExecuted: what is recorded is text on every page and in every file.
func TestNothingIsExecuted(t *testing.T) {
	s, err := playWeekHead(t)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	srv := httptest.NewServer(nil)
	srv.Close()
	srv, err = serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	const evil = `=<svg onload=alert(1)>`
	lines := []string{
		`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-06T06:11:00Z","set":"SET-1",` +
			`"operator":"=B-1","data":{"list":"LAP-MAJOR","version":1}}`,
		`{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-06T06:14:00Z","set":"SET-1",` +
			`"operator":"=B-1","data":{"placement":"outside","seals":["4"]}}`,
		`{"station":"north/storage","kind":"set.checked","time":"2026-03-06T09:00:00Z","set":"SET-1",` +
			`"operator":"=B-1","data":{"place":"` + evil + `","sealBroken":true}}`,
	}
	refused := 0
	err = s.Record(t.Context(), strings.NewReader(strings.Join(lines, "\n")), func(r site.Receipt) error {
		if r.Error != "" {
			refused++
			t.Log(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if refused == len(lines) {
		t.Fatal("nothing was recorded")
	}
	shown := 0
	for _, path := range []string{"/", "/history?set=SET-1", "/station?name=north/storage",
		"/find?q=" + url.QueryEscape(evil), "/history?set=" + url.QueryEscape(evil), "/touched?list=LAP-MAJOR",
		"/touched?station=" + url.QueryEscape(evil)} {
		_, _, body := get(t, srv.URL+path)
		if strings.Contains(body, "<svg onload") {
			t.Errorf("%s holds the recorded text as markup", path)
		}
		if strings.Contains(body, html.EscapeString(evil)) || strings.Contains(body, "onload=alert") {
			shown++
		}
	}
	if shown < 3 {
		t.Errorf("only %d pages show the text at all", shown)
	}
	_, _, raw := get(t, srv.URL+"/history?set=SET-1&format=csv&table=stays-1")
	if strings.Contains(raw, ",=") || strings.Contains(raw, "\n=") || !strings.Contains(raw, "'=") {
		t.Errorf("a cell begins a formula: %q", raw)
	}
}

// TestWordsOfTemplates: every text that the pages ask for by its whole key is
// there, and every code, kind, result and rule has one.
func TestWordsOfTemplates(t *testing.T) {
	c, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, k := range []string{"truth", "unseen", "count", "clock", "window"} {
		keys = append(keys, "report-unknown-"+k)
	}
	for _, k := range []string{"trip", "set", "case", "load", "sterilizer", "list", "bag", "seal", "station", "badge", "packer"} {
		keys = append(keys, "rule-"+k, "what-"+k)
	}
	for _, k := range []string{"not-read", "right", "other-set", "earlier-trip", "altered", "unknown", "unreadable",
		"absent"} {
		keys = append(keys, "result-"+k)
	}
	for _, lang := range c.Languages() {
		for _, k := range keys {
			if !c.In(lang).Has("board." + k) {
				t.Errorf("%s lacks board.%s", lang, k)
			}
		}
	}
}

func unzipped(t testing.TB, raw string) *zip.Reader {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader([]byte(raw)), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// TestCasePage: a case's page says who was there, what each stage of each set counted, the lines that were ever counted
// otherwise, by whom and by which sheet, and that a recount which was claimed is not recorded.
func TestCasePage(t *testing.T) {
	srv, _ := weekServer(t)
	at := srv.URL + "/history?case=K-0409"
	body := html.UnescapeString(page(t, at))
	for _, want := range []string{"At the closing it is said: “recount by a second pair”", "closed with lines open", "Room"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page of the case lacks %q", want)
		}
	}
	if de := html.UnescapeString(page(t, at+"&lang=de")); !strings.Contains(de, "mit offenen Zeilen abgeschlossen") {
		t.Error("in German the page does not say how the case was closed")
	}
	head, lines := rows(t, at+"&format=csv&table=case-lines")
	var counted []string // of line 21 of LAP-004, as the records have it: 10, not counted, 9, 9
	for _, r := range lines {
		if cellOf(head, r, "Set") == "LAP-004" && cellOf(head, r, "Line") == "21" {
			counted = append(counted, cellOf(head, r, "Counted"))
			if cellOf(head, r, "By which count sheet") == "" || cellOf(head, r, "Counted by") == "" {
				t.Errorf("a count without who and by what: %q", r)
			}
		}
	}
	if !slices.Contains(counted, "10") || !slices.Contains(counted, "9") {
		t.Errorf("line 21 of LAP-004 was counted %q", counted)
	}
	if _, sets := rows(t, at+"&format=csv&table=case-sets"); len(sets) < 4 {
		t.Errorf("%d sets", len(sets))
	}
	if _, people := rows(t, at+"&format=csv&table=case-people"); !slices.ContainsFunc(people, func(r []string) bool {
		return r[0] == "B-3342" && strings.Contains(r[1], "counted")
	}) {
		t.Errorf("B-3342 is not among %q", people)
	}
}

// TestLinksOfAnInvestigation: a recalled set's row leads to the whole recall, a room to its cases, a badge to what it packed by
// weeks, and sets that were never packed here are not left out of what a station recorded.
func TestLinksOfAnInvestigation(t *testing.T) {
	srv, _ := weekServer(t)
	recall := regexp.MustCompile(`href="(/touched\?load=[^"]*)">The whole recall`).FindStringSubmatch(
		page(t, srv.URL+"/?code=load-recalled"))
	if recall == nil {
		t.Fatal("a recalled set does not lead to the whole recall")
	}
	if _, found := rows(t, srv.URL+html.UnescapeString(recall[1])+"&format=csv"); len(found) < 2 {
		t.Errorf("the whole recall is %q", found)
	}
	head, cases := rows(t, srv.URL+"/station?name=north/or-4&format=csv&table=cases")
	if len(cases) < 3 || cellOf(head, cases[0], "Case") == "" {
		t.Errorf("the cases of a room are %q", cases)
	}
	m := regexp.MustCompile(`href="(/touched\?[^"]*packer=B-1111[^"]*)"`).FindStringSubmatch(page(t, srv.URL+"/badge?id=B-1111"))
	if m == nil {
		t.Fatal("the page of a packer leads to no week")
	}
	if _, packed := rows(t, srv.URL+html.UnescapeString(m[1])+"&format=csv"); len(packed) == 0 {
		t.Error("nothing was packed in the last week of a packer")
	}
	own, s := headServer(t)
	line := `{"station":"north/or-3","kind":"set.opened","time":"2026-03-06T07:12:00Z","set":"SET-9","operator":"B-1","data":{"case":"K-1"}}`
	line = `{"station":"north/sterilizer-1","kind":"set.sterilized","time":"2026-03-06T05:12:00Z","set":"SET-9","operator":"B-2",` +
		`"data":{"load":"S9-1","sterilizer":"S9","run":1,"cycle":"c","result":"passed","released":true}}` + "\n" + line
	if err := s.Record(t.Context(), strings.NewReader(line+"\n"), func(site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	for _, by := range []string{"station=north/or-3", "badge=B-1", "case=K-1", "load=S9-1"} {
		if _, found := rows(t, own.URL+"/touched?"+by+"&format=csv"); len(found) != 1 || !slices.Contains(found[0], "SET-9") {
			t.Errorf("%s: a set without a turn is left out: %q", by, found)
		}
	}
}

// TestTurnsOfASet: a set's turns stand in one table, and two of them beside one another, with what differs.
func TestTurnsOfASet(t *testing.T) {
	srv, _ := weekServer(t)
	at := srv.URL + "/history?set=LAP-014"
	head, turns := rows(t, at+"&format=csv&table=turns")
	if len(turns) < 2 || cellOf(head, turns[0], "Packed by") == "" || cellOf(head, turns[1], "Case") == "" {
		t.Fatalf("the turns of LAP-014 are %q", turns)
	}
	m := regexp.MustCompile(`href="(/history\?beside=[^"]*)"`).FindStringSubmatch(page(t, at))
	if m == nil {
		t.Fatal("no turn leads to the one before it")
	}
	differ := 0
	_, beside := rows(t, srv.URL+html.UnescapeString(m[1])+"&format=csv&table=beside")
	for i, r := range beside {
		if (r[1] != r[2]) != (r[3] == "differs") || r[1] != turns[0][i] || r[2] != turns[1][i] {
			t.Errorf("side by side: %q of %q and %q", r, turns[0][i], turns[1][i])
		}
		if r[3] != "" {
			differ++
		}
	}
	if differ == 0 || len(beside) < 10 {
		t.Errorf("%d of %d things differ", differ, len(beside))
	}
}

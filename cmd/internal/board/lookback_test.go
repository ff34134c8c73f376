//go:build !race

package board_test

import (
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/projections"

	"github.com/go-json-experiment/json"
)

// TestNotSeen: each set stands there once, by its last turn, and only if nothing was recorded of it for so long.
func TestNotSeen(t *testing.T) {
	srv, s := weekServer(t)
	all, err := site.Answer(s, func(v *site.View) ([]projections.Verdict, error) { return v.Verdicts(t.Context()) })
	if err != nil {
		t.Fatal(err)
	}
	now, err := site.Answer(s, func(v *site.View) (time.Time, error) { return v.Moment(), nil })
	if err != nil {
		t.Fatal(err)
	}
	last := make(map[string]time.Time)
	for _, v := range all {
		if v.Since.After(last[v.Set]) {
			last[v.Set] = v.Since
		}
	}
	for _, days := range []int{1, 3, 30} {
		want := 0
		for set, at := range last {
			if set != "" && at.Before(now.Add(-time.Duration(days)*24*time.Hour)) {
				want++
			}
		}
		head, found := rows(t, fmt.Sprintf("%s/not-seen?days=%d&format=csv", srv.URL, days))
		seen := make(map[string]bool)
		for _, r := range found {
			n, err := strconv.Atoi(cellOf(head, r, "Days"))
			if err != nil || n < days || seen[r[0]] {
				t.Errorf("%d days: %q", days, r)
			}
			seen[r[0]] = true
		}
		if len(found) != want || days == 1 && want < 10 {
			t.Errorf("%d sets for %d days, want %d", len(found), days, want)
		}
	}
	if code, _, _ := get(t, srv.URL+"/not-seen?days=0"); code != 400 {
		t.Errorf("for no days: %d", code)
	}
}

// TestCorrectionsOfAWeek: who took back or said anew what, why, and what it changed, each in the week in which it arrived.
func TestCorrectionsOfAWeek(t *testing.T) {
	srv, s := ownWeek(t)
	head, before := rows(t, srv.URL+"/corrections?week=2026-03-04&format=csv")
	if !slices.ContainsFunc(before, func(r []string) bool {
		return strings.Contains(strings.Join(r, "|"), "left out of account; it would say: Lot of the indicator")
	}) {
		t.Error("a correction that can't be read is told as one that counts")
	}
	var opening projections.HistoryEvent
	h, err := s.History(t.Context(), site.Query{Case: "K-0409"})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range h.Events {
		if e.Set == "LAP-004" && strings.Contains(e.Kind, "set.opened") {
			opening = e
		}
	}
	if opening.ID == "" {
		t.Fatal("no opening of LAP-004")
	}
	line := fmt.Sprintf(`{"station":"north/ledger","kind":"event.corrected","time":"2026-03-06T18:00:00Z","operator":"B-9",`+
		`"data":{"event":%q,"action":"void","reason":"another set was scanned"}}`, opening.ID)
	line = strings.Replace(line, "north/ledger", opening.Station, 1)
	err = s.Record(t.Context(), strings.NewReader(line), func(r site.Receipt) error {
		if r.Error != "" {
			return errors.New(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	// It arrived when the folder's clock says, which may be another week than it was observed in.
	at := s.Clock().Format(time.DateOnly)
	_, found := rows(t, srv.URL+"/corrections?week="+at+"&format=csv")
	n := slices.IndexFunc(found, func(r []string) bool { return cellOf(head, r, "Badge") == "B-9" })
	if n < 0 {
		t.Fatalf("it is not there: %q", found)
	}
	r := found[n]
	for column, want := range map[string]string{"Why": "another set was scanned", "What it says now": "taken back", "Of": "LAP-004",
		"Corrects record": fmt.Sprint(opening.Seq)} {
		if got := cellOf(head, r, column); got != want {
			t.Errorf("%s: %q, not %q", column, got, want)
		}
	}
	if got := cellOf(head, r, "What it changed"); !strings.Contains(got, "LAP-004: broken") {
		t.Errorf("it changed %q", got)
	}
	_, after := rows(t, srv.URL+"/corrections?week=2025-01-01&format=csv")
	if len(after) != 0 {
		t.Errorf("in another week: %q", after)
	}
	for _, r := range before {
		if cellOf(head, r, "Badge") == "" || cellOf(head, r, "Why") == "" || cellOf(head, r, "What it says now") == "" {
			t.Errorf("a correction of the week says not all: %q", r)
		}
	}
}

// TestResponseTimes: an incident is looked back at by when it became known; what was known before an opening counts as caught,
// and an answer is not before what it answers.
func TestResponseTimes(t *testing.T) {
	srv, _ := weekServer(t)
	head, found := rows(t, srv.URL+"/weeks?format=csv&table=response")
	if len(found) < 30 {
		t.Fatalf("%d incidents", len(found))
	}
	caught, stopped := 0, 0
	for _, r := range found {
		for _, c := range []string{"Minutes to that", "Minutes from STOP", "Minutes to the closing"} {
			if s := cellOf(head, r, c); s != "" {
				if n, err := strconv.Atoi(s); err != nil || n < 0 {
					t.Errorf("%s of %s: %q", c, r[0], s)
				}
			}
		}
		if cellOf(head, r, "Found") == "known before opening" {
			caught++
		}
		if cellOf(head, r, "Answer to STOP") == "opened all the same" {
			stopped++
		}
	}
	if caught == 0 || caught == len(found) || stopped == 0 {
		t.Errorf("%d of %d caught before, %d opened all the same", caught, len(found), stopped)
	}
	for _, name := range []string{"bars-kinds", "bars-crossed"} {
		barsHead, bars := rows(t, srv.URL+"/weeks?format=csv&table="+name)
		all := 0
		for _, r := range bars {
			n, err := strconv.Atoi(cellOf(barsHead, r, "all"))
			if err != nil {
				t.Fatal(err)
			}
			all += n
		}
		if all != len(found) {
			t.Errorf("the picture %s counts %d of %d", name, all, len(found))
		}
	}
	// MIN-006 was known to be in doubt while it lay on its shelf, LSC-001's recall too.
	n := slices.IndexFunc(found, func(r []string) bool { return cellOf(head, r, "Set") == "LSC-001" })
	if n < 0 || cellOf(head, found[n], "Answer to STOP") == "" {
		t.Errorf("the recall of LSC-001 has no word on its STOP: %q", found)
	}
	body := page(t, srv.URL+"/weeks")
	if strings.Count(body, `<svg class="picture"`) != 4 {
		t.Error("not four pictures")
	}
}

// TestTablesSortAndFilter: by a link of the heading and a field, on the page and in what is taken away.
func TestTablesSortAndFilter(t *testing.T) {
	srv, _ := weekServer(t)
	head, up := rows(t, srv.URL+"/not-seen?days=1&format=csv&sort-not-seen=4")
	_, down := rows(t, srv.URL+"/not-seen?days=1&format=csv&sort-not-seen=-4")
	days := func(r []string) int { n, _ := strconv.Atoi(cellOf(head, r, "Days")); return n }
	if !slices.IsSortedFunc(up, func(a, b []string) int { return days(a) - days(b) }) ||
		!slices.IsSortedFunc(down, func(a, b []string) int { return days(b) - days(a) }) || days(up[0]) == days(down[0]) {
		t.Errorf("sorted: %q, %q", up, down)
	}
	_, sets := rows(t, srv.URL+"/not-seen?days=1&format=csv&sort-not-seen=1")
	if !slices.IsSortedFunc(sets, func(a, b []string) int { return strings.Compare(a[0], b[0]) }) {
		t.Error("texts are out of order")
	}
	_, only := rows(t, srv.URL+"/not-seen?days=1&format=csv&only-not-seen="+url.QueryEscape("orl CLOSED"))
	if len(only) == 0 || len(only) >= len(up) {
		t.Errorf("%d of %d left", len(only), len(up))
	}
	for _, r := range only {
		if !strings.HasPrefix(r[0], "ORL") || !strings.Contains(cellOf(head, r, "Stage"), "closed") {
			t.Errorf("filtered: %q", r)
		}
	}
	body := html.UnescapeString(page(t, srv.URL+"/not-seen?days=1&sort-not-seen=4&only-not-seen=lap"))
	for _, want := range []string{`aria-sort="ascending"><a href="/not-seen?days=1&only-not-seen=lap&sort-not-seen=-4#table-not-seen"`,
		`name="only-not-seen" value="lap"`, `name="sort-not-seen" value="4"`, `format=csv&only-not-seen=lap&sort-not-seen=4`} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if code, _, body := get(t, srv.URL+"/not-seen?days=1&sort-not-seen=99"); code != http.StatusBadRequest {
		t.Errorf("sorted by a column that isn't there: %d: %.200s", code, body)
	}
}

// TestDemoSchedule: the demo's cases are some minutes ahead, want sets that the week left, and change no verdict.
func TestDemoSchedule(t *testing.T) {
	srv, s := ownWeek(t)
	broken := func() string {
		vs, err := s.Broken(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		raw, err := json.Marshal(vs, json.Deterministic(true))
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	before := broken()
	raw, err := scenario.Ahead(s.Clock())
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.ImportSchedule(t.Context(), raw, site.ScheduleAsked{Operator: "demo"})
	if err != nil || got.New != 7 || got.Unknown != 0 {
		t.Fatalf("%+v, %v", got, err)
	}
	if after := broken(); after != before {
		t.Error("a verdict changed by the schedule")
	}
	_, wanted := rows(t, srv.URL+"/?wanted=1&format=csv&table=board")
	var sets []string
	for _, r := range wanted {
		sets = append(sets, r[0])
	}
	// An incident stands by the soonest case that waits for a set of it: the recall has LSC-001, which OR 3 wants first.
	if len(sets) < 3 || sets[0] != "LSC-001" || !slices.Contains(sets, "LSC-007") ||
		slices.Index(sets, "MIN-006") < slices.Index(sets, "LSC-007") {
		t.Errorf("wanted, the soonest first: %q", sets)
	}
	if body := page(t, srv.URL+"/wall"); !strings.Contains(body, "OR 3") || !strings.Contains(body, "LSC-001") {
		t.Error("the wall doesn't show the case in OR 3")
	}
	classes := make(map[string]int)
	for _, day := range []time.Time{s.Clock(), s.Clock().Add(24 * time.Hour)} {
		d, err := s.Schedule(t.Context(), site.ScheduleQuery{Day: day.Format(time.DateOnly)})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Cases {
			classes[string(c.Class)]++
		}
	}
	if classes["act"] < 2 || classes["ready"] < 2 {
		t.Errorf("cases %v", classes)
	}
}

// TestWayThroughADay: every record of a set on a day is a mark, in its order.
func TestWayThroughADay(t *testing.T) {
	srv, _ := weekServer(t)
	_, found := rows(t, srv.URL+"/way?set=LAP-014&day=2026-03-05&format=csv")
	body := page(t, srv.URL+"/way?set=LAP-014&day=2026-03-05")
	if len(found) < 4 || strings.Count(body, "<circle") != len(found) {
		t.Errorf("%d records, %d marks", len(found), strings.Count(body, "<circle"))
	}
	for i, r := range found {
		if r[0] != strconv.Itoa(i+1) || !strings.HasPrefix(r[1], "2026-03-05") || r[2] == "" {
			t.Errorf("row %d: %q", i, r)
		}
	}
	if body := page(t, srv.URL+"/way?set=LAP-014&day=2026-01-01"); !strings.Contains(body, "Nothing is recorded") {
		t.Error("a way on a day without records")
	}
	if code, _, _ := get(t, srv.URL+"/way?set=NO-SUCH"); code != 404 {
		t.Errorf("of an unknown set: %d", code)
	}
}

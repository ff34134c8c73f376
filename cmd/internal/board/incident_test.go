//go:build !race

package board_test

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// incidentRows are the rows of the board that say a thing under a heading.
func incidentRows(t *testing.T, at, title, is string) (keys []string) {
	t.Helper()
	head, found := rows(t, at)
	for _, r := range found {
		if key := cellOf(head, r, "Incident"); cellOf(head, r, title) == is && !slices.Contains(keys, key) {
			keys = append(keys, key)
		}
	}
	return keys
}

// step posts the form of an incident and returns how it was answered.
func step(t *testing.T, base, key string, more url.Values) int {
	t.Helper()
	form := url.Values{"key": {key}}
	if m := regexp.MustCompile(`name="covers" value="([^"]*)"`).FindStringSubmatch(page(t, base+"/incident?key="+key)); m != nil {
		form.Set("covers", m[1])
	}
	for name := range more {
		form.Set(name, more.Get(name))
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.PostForm(base+"/incident", form)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	return res.StatusCode
}

// TestIncident: all that K-0409 left open is one incident with one page. Whoever sees to it and by when is said there; it
// leaves the board by a closing with an outcome, comes back by a reopening, and no step hides a finding.
func TestIncident(t *testing.T) {
	srv, s := ownWeek(t)
	board := srv.URL + "/?format=csv&table=board"
	keys := incidentRows(t, board, "Case", "K-0409")
	if len(keys) != 1 {
		t.Fatalf("K-0409 is %d incidents", len(keys))
	}
	key := keys[0]
	before, size := page(t, srv.URL+"/history?case=K-0409"), s.Size()
	if body := page(t, srv.URL+"/incident?key="+key); !strings.Contains(body, "LAP-004") || !strings.Contains(body, "K-0409") {
		t.Error("the page of the incident says nothing of K-0409")
	}
	for name, form := range map[string]url.Values{
		"nobody":     {"step": {"noted"}, "text": {"asked"}},
		"nothing":    {"step": {"noted"}, "badge": {"B-1001"}},
		"no outcome": {"step": {"closed"}, "badge": {"B-1001"}, "text": {"looked for"}},
		"no time":    {"step": {"noted"}, "badge": {"B-1001"}, "text": {"asked"}, "due": {"soonish"}},
		"past":       {"step": {"noted"}, "badge": {"B-1001"}, "text": {"asked"}, "due": {"2020-01-01 12:00"}},
		"no step":    {"step": {"forgotten"}, "badge": {"B-1001"}, "text": {"asked"}},
	} {
		if code := step(t, srv.URL, key, form); code != http.StatusUnprocessableEntity && code != http.StatusBadRequest {
			t.Errorf("%s: %d", name, code)
		}
	}
	if s.Size() > size+1 { // the page's own enrolment
		t.Errorf("%d records were made of what was refused", s.Size()-size)
	}
	taken := url.Values{"step": {"noted"}, "badge": {"B-1001"}, "text": {"asked the room"}, "owner-badge": {"B-1182"},
		"due": {"2026-03-09 12:00"}}
	if code := step(t, srv.URL, key, taken); code != http.StatusSeeOther {
		t.Fatalf("a note is answered %d", code)
	}
	if got := incidentRows(t, board, "Who sees to it", "B-1182"); !slices.Equal(got, keys) {
		t.Errorf("B-1182 sees to %q, want %q", got, keys)
	}
	closed := url.Values{"step": {"closed"}, "badge": {"B-1001"}, "text": {"looked for"}, "outcome": {"not-found"}}
	if code := step(t, srv.URL, key, closed); code != http.StatusSeeOther {
		t.Fatalf("a closing is answered %d", code)
	}
	if open, shut := incidentRows(t, board, "Case", "K-0409"), incidentRows(t, board+"&closed=1", "Case", "K-0409"); len(open) != 0 ||
		!slices.Equal(shut, keys) {
		t.Errorf("closed, it is open %q, closed %q", open, shut)
	}
	if body := page(t, srv.URL+"/incident?key="+key); strings.Contains(body, "somebody can still act") || strings.Contains(body, "past: nothing") {
		t.Error("a closed incident still says who can act")
	}
	// Filters count what stands there: LAP-004 alone is in a closed incident.
	if body := page(t, srv.URL+"/?closed=1"); strings.Contains(body, "code=load-recalled") || !strings.Contains(body, "code=count-short") {
		t.Error("filters of the closed incidents count open ones, or not the closed one")
	}
	if code, _, _ := get(t, srv.URL+"/api/incidents?closed=yes"); code != http.StatusBadRequest {
		t.Errorf("neither closed nor open is answered %d", code)
	}
	if code := step(t, srv.URL, key, url.Values{"step": {"reopened"}, "badge": {"B-1001"}, "text": {"found in the washer"}}); code != 303 {
		t.Fatalf("a reopening is answered %d", code)
	}
	if open := incidentRows(t, board, "Case", "K-0409"); !slices.Equal(open, keys) {
		t.Errorf("reopened, it is %q", open)
	}
	findings := func(body string) int { return strings.Count(body, "class=\"finding") }
	if after := page(t, srv.URL+"/history?case=K-0409"); findings(after) != findings(before) || findings(before) == 0 {
		t.Errorf("%d findings before, %d after", findings(before), findings(after))
	}
}

// TestTwoPeopleAtOneIncident: the second, whose page is older than what the first recorded, is shown that before it is overruled.
func TestTwoPeopleAtOneIncident(t *testing.T) {
	srv, s := ownWeek(t)
	key := incidentRows(t, srv.URL+"/?format=csv&table=board", "Case", "K-0409")[0]
	seen := regexp.MustCompile(`name="steps" value="(\d+)"`)
	steps := func() string {
		m := seen.FindStringSubmatch(page(t, srv.URL+"/incident?key="+key))
		if m == nil {
			t.Fatal("the form doesn't say which steps its page shows")
		}
		return m[1]
	}
	both := steps()
	first := url.Values{"step": {"noted"}, "badge": {"B-1001"}, "text": {"mine"}, "owner-badge": {"B-1001"}, "steps": {both}}
	if code := step(t, srv.URL, key, first); code != http.StatusSeeOther {
		t.Fatalf("the first is answered %d", code)
	}
	size := s.Size()
	second := url.Values{"step": {"closed"}, "badge": {"B-1182"}, "text": {"nothing left to do"}, "outcome": {"not-found"},
		"steps": {both}}
	if code := step(t, srv.URL, key, second); code != http.StatusConflict || s.Size() != size {
		t.Fatalf("the second is answered %d, and %d records came of it", code, s.Size()-size)
	}
	res, err := http.PostForm(srv.URL+"/incident", url.Values{"key": {key}, "step": {"noted"}, "badge": {"B-1182"},
		"text": {"what I typed"}, "steps": {both}})
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	again, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"since this page was shown", ": mine", "what I typed", `name="steps" value="` + steps() + `"`} {
		if !strings.Contains(string(again), want) {
			t.Errorf("the form that comes back lacks %q", want)
		}
	}
	second.Set("steps", steps())
	if code := step(t, srv.URL, key, second); code != http.StatusSeeOther {
		t.Errorf("having seen it, the second is answered %d", code)
	}
}

// TestIncidentWithoutTurn: what was found of a set that was never packed here can be closed as well.
func TestIncidentWithoutTurn(t *testing.T) {
	srv, s := headServer(t)
	line := `{"station":"north/or-3","kind":"set.opened","time":"2026-03-06T07:12:00Z","set":"SET-9","operator":"B-1","data":{"case":"K-1"}}`
	if err := s.Record(t.Context(), strings.NewReader(line+"\n"), func(site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	board := srv.URL + "/?format=csv&table=board"
	keys := incidentRows(t, board, "Set", "SET-9")
	if len(keys) == 0 {
		t.Fatal("SET-9 is in no incident")
	}
	for _, key := range keys {
		if code := step(t, srv.URL, key, url.Values{"step": {string(events.IncidentClosed)}, "badge": {"B-1001"}, "text": {"a loaner set"},
			"outcome": {string(events.OutcomeRecordWrong)}}); code != http.StatusSeeOther {
			t.Errorf("closing %s is answered %d", key, code)
		}
	}
	if open, shut := incidentRows(t, board, "Set", "SET-9"), incidentRows(t, board+"&closed=1", "Set", "SET-9"); len(open) != 0 ||
		len(shut) != len(keys) {
		t.Errorf("closed, it is open %q, closed %q", open, shut)
	}
	packed := `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-06T08:00:00Z","set":"SET-9","operator":"B-1",` +
		`"data":{"list":"LAP-MAJOR","version":1}}` + "\n"
	if err := s.Record(t.Context(), strings.NewReader(packed), func(site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	size := s.Size()
	for _, key := range keys {
		if code := step(t, srv.URL, key, url.Values{"step": {"noted"}, "badge": {"B-1001"},
			"text": {"asked"}}); code != 422 || s.Size() != size {
			t.Errorf("of a set that was packed since a step is answered %d, and %d records are made", code, s.Size()-size)
		}
	}
}

// TestHabitOfARoom: what was not read at the openings of a room is one row, which says at how many openings of how many, of
// what, by whom, and leads to each set; taken away and for programs each set is there with the same incident.
func TestHabitOfARoom(t *testing.T) {
	srv, s := headServer(t)
	var lines strings.Builder
	for i, set := range []string{"SET-7", "SET-8", "SET-9"} {
		tag := ""
		if i == 2 {
			tag = `,"tag":"` + set + `"`
		}
		fmt.Fprintf(&lines, `{"station":"north/or-3","kind":"set.opened","time":"2026-03-06T07:1%d:00Z","set":"%s","operator":"B-%d",`+
			`"data":{"case":"K-1"%s}}`+"\n", i, set, 7001+i, tag)
	}
	if err := s.Record(t.Context(), strings.NewReader(lines.String()), func(site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	for lang, says := range map[string]string{"en": "at 2 of 3 openings in 1 room", "de": "bei 2 von 3 Öffnungen in 1 Saal"} {
		body := page(t, srv.URL+"/?lang="+lang)
		row := regexp.MustCompile(`(?s)<article class="row [a-z]+" data-key="i-([0-9A-Z]+)">\s*<p class="rowhead"><a class="name" ` +
			`href="/station\?name=north%2For-3">.*?</article>`).FindStringSubmatch(body)
		if row == nil {
			t.Fatalf("%s: the board has no row of the room", lang)
		}
		for _, want := range []string{says, "SET-7", "SET-8", "B-7001", "B-7002", "/incident?key=" + row[1]} {
			if !strings.Contains(row[0], want) {
				t.Errorf("%s: the row lacks %q: %s", lang, want, row[0])
			}
		}
		if strings.Contains(row[0], "B-7003") {
			t.Errorf("%s: the row names who read the tag", lang)
		}
		whole := page(t, srv.URL+"/incident?lang="+lang+"&key="+row[1])
		if !strings.Contains(whole, says) || !strings.Contains(whole, "SET-7") || !strings.Contains(whole, "SET-8") {
			t.Errorf("%s: the page of the habit is %.3000s", lang, whole)
		}
		if got := incidentRows(t, srv.URL+"/?format=csv&table=board", "Set", "SET-8"); !slices.Contains(got, row[1]) {
			t.Errorf("%s: taken away, SET-8 is in %q, and not in %s", lang, got, row[1])
		}
		if ins := page(t, srv.URL+"/api/incidents"); !strings.Contains(ins, row[1]) || !strings.Contains(ins, `"rooms":["north/or-3"]`) {
			t.Errorf("%s: programs are told %.3000s", lang, ins)
		}
	}
	var told struct {
		Total int `json:"total"`
	}
	for closed, want := range map[string]int{"": 3, "0": 3, "1": 0} {
		code, _, body := get(t, srv.URL+"/api/board?closed="+closed)
		if err := json.Unmarshal([]byte(body), &told); err != nil || code != http.StatusOK || told.Total != want {
			t.Errorf("closed %q: %d turns, want %d: %v", closed, told.Total, want, err)
		}
	}
}

package door_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"listbound/cmd/internal/door"
)

// TestHeldAboutABadge: one page says all that is kept of a badge, as what and how often, leads to the records, and is itself
// kept as a reading.
func TestHeldAboutABadge(t *testing.T) {
	h := newHouse(t)
	all := &caller{h: h, token: h.token(t, door.Records, "*")}
	w := all.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl",
		`{"station":"north/or-1","kind":"set.opened","time":"2026-03-02T09:00:00Z","set":"LAP-001","operator":"B-77","data":{"case":"K-7"}}
{"station":"north/or-1","kind":"set.counted","time":"2026-03-02T09:10:00Z","set":"LAP-001","operator":"B-7","data":{"case":"K-7",`+
			`"stage":"first","counter":"B-77","witness":"B-7","sheet":"screen"}}
{"station":"north/or-1","kind":"set.counted","time":"2026-03-02T09:50:00Z","set":"LAP-001","operator":"B-7","data":{"case":"K-7",`+
			`"stage":"final","counter":"B-7","witness":"B-77","sheet":"screen"}}
{"station":"north/or-1","kind":"case.closed","time":"2026-03-02T10:00:00Z","operator":"B-7","data":{"case":"K-7",`+
			`"outcome":"unreconciled","actions":["asked B-77 again"],"reason":"B-770 had left","witness":"B-77"}}
{"station":"north/or-1","kind":"access.claimed","time":"2026-03-02T10:05:00Z","data":{"badge":"B-77","reason":"card forgotten"}}
`)
	if strings.Contains(w.Body.String(), "error") {
		t.Fatal(w.Body)
	}
	h.admin.post(t, "/people/add", url.Values{"login": {"carla"}, "name": {"Carla Muster"}, "badge": {"B-77"},
		"role": {string(door.Leads)}})
	station := h.atStation(t, "north/or-1")
	station.ask(t, t.Context(), http.MethodPost, "/at/north/or-1/opening/scan", "application/json", `{"client":"c1","n":1,"text":"B-77"}`)
	auditor := h.signedIn(t, "audits")
	code, text := auditor.get(t, "/badge/held?id=B-77")
	if code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	flat := regexp.MustCompile(`\s+|<[^>]*>`).ReplaceAllString(text, " ")
	flat = regexp.MustCompile(` +`).ReplaceAllString(flat, " ")
	for _, says := range []string{
		"recorded opened 1 ", "counted counted 1 ", "second person counted 1 ", "second person case closed 1 ",
		"is the badge that it is about emergency access 1 ", "Carla Muster (carla)", "1 text names it:", "asked B-77 again",
		"drafts/bench/north%2For-1/opening.json",
	} {
		if !strings.Contains(strings.ToLower(flat), strings.ToLower(says)) {
			t.Errorf("%q is not said: %s", says, flat)
		}
	}
	if strings.Contains(text, "B-770") {
		t.Error("another badge's text is shown")
	}
	for as, want := range map[string]int{"counter": 1, "witness": 2} {
		code, text := auditor.get(t, "/badge?id=B-77&as="+as)
		if n := strings.Count(text, `href="/api/events?`); code != http.StatusOK || n != want {
			t.Errorf("as %s: %d, %d records, want %d", as, code, n, want)
		}
	}
	if code, _ := auditor.get(t, "/badge?id=B-77&as=station"); code != http.StatusBadRequest {
		t.Errorf("as what is no member: %d", code)
	}
	if code, _ := h.signedIn(t, "leads").get(t, "/badge/held?id=B-77"); code != http.StatusForbidden {
		t.Errorf("a lead sees it: %d", code)
	}
	if _, text := auditor.get(t, "/readers"); !strings.Contains(text, "/badge/held") || !strings.Contains(text, "id=B-77") {
		t.Error("it is not kept that it was looked at")
	}
	// Under a badge that is nobody's nothing is held, and that is said.
	if code, text := auditor.get(t, "/badge/held?id=B-0"); code != http.StatusOK || !strings.Contains(text, "No record has it.") ||
		!strings.Contains(text, "No account has this badge.") {
		t.Errorf("nobody's: %d %s", code, text)
	}
	// A question stays a value, and never is a part of one in SQL.
	for _, all := range []string{"B-77' OR '1'='1", `B-77" OR "1"="1`, "B-0') OR 1=1 --", "%", "B_77"} {
		if code, text := auditor.get(t, "/badge/held?id="+url.QueryEscape(all)); code == http.StatusOK &&
			!strings.Contains(text, "No record has it.") {
			t.Errorf("%s: %d %s", all, code, text)
		}
	}
}

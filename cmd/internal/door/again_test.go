package door_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
)

// TestPasswordOnceMore: ten minutes after it was given, what lets somebody in or can't be taken back needs the password again,
// and then happens with what was entered. A token and what is only read are not asked.
func TestPasswordOnceMore(t *testing.T) {
	h := newHouse(t)
	add := url.Values{"login": {"carla"}, "name": {"Carla <b>"}, "role": {"audits", "leads"}}
	there := func() bool {
		_, text := h.admin.get(t, "/people")
		return strings.Contains(text, ">carla<")
	}
	h.clock.move(9 * time.Minute)
	if code, _ := h.admin.post(t, "/people/add", url.Values{"login": {"dora"}, "name": {"Dora"},
		"role": {"audits"}}); code != http.StatusOK {
		t.Fatalf("nine minutes after signing in: %d", code)
	}
	h.clock.move(time.Minute)
	code, text := h.admin.post(t, "/people/add", add)
	if code != http.StatusUnauthorized || !strings.Contains(text, `action="/people/add"`) || there() {
		t.Fatalf("without the password: %d %s", code, text)
	}
	sent := url.Values{}
	for _, m := range regexp.MustCompile(`<input type="hidden" name="([^"]+)" value="([^"]*)">`).FindAllStringSubmatch(text, -1) {
		sent.Add(m[1], strings.NewReplacer("&lt;", "<", "&gt;", ">").Replace(m[2]))
	}
	if sent.Encode() != add.Encode() {
		t.Errorf("the page keeps %v of %v", sent, add)
	}
	wrong := h.refused(t, "password")
	sent.Set("password-again", "Regenschirm und 8 Laternen")
	if code, text := h.admin.post(t, "/people/add", sent); code != http.StatusUnauthorized || there() ||
		!strings.Contains(text, "The password is wrong") || strings.Contains(text, "8 Laternen") || h.refused(t, "password") != wrong+1 {
		t.Errorf("with a wrong one: %d %s", code, text)
	}
	sent.Set("password-again", password)
	if code, text := h.admin.post(t, "/people/add", sent); code != http.StatusOK || !there() {
		t.Errorf("with the right one: %d %s", code, text)
	}
	h.clock.move(9 * time.Minute)
	if code, _ := h.admin.post(t, "/people/end", url.Values{"id": {h.idOf(t, "carla")}}); code != http.StatusOK {
		t.Errorf("nine minutes later: %d", code)
	}
	h.clock.move(10 * time.Minute)
	lead := h.signedIn(t, "leads")
	h.clock.move(10 * time.Minute)
	if code, text := lead.post(t, "/policy", url.Values{"badge": {"B-1"}}); code != http.StatusUnauthorized ||
		!strings.Contains(text, "password-again") {
		t.Errorf("a policy: %d %s", code, text)
	}
	if code, text := lead.post(t, "/api/stations/retire?station=north/or-1", nil); code != http.StatusForbidden ||
		!strings.Contains(text, "Sign in once more") {
		t.Errorf("by the programs' interface: %d %s", code, text)
	}
	if code, _ := lead.get(t, "/policy"); code != http.StatusOK {
		t.Errorf("only read: %d", code)
	}
	program := &caller{h: h, token: h.tokens[door.Leads]}
	if w := program.ask(t, t.Context(), http.MethodPost, "/api/stations/retire?station=north/nobody", "", ""); strings.Contains(
		w.Body.String(), "Sign in once more") {
		t.Errorf("a program: %d %s", w.Code, w.Body)
	}
	for range 6 { // guessing at an open screen has an end, too
		sent.Set("password-again", "guess")
		h.admin.post(t, "/people/add", sent)
	}
	sent.Set("password-again", password)
	if code, _ = h.admin.post(t, "/people/add", sent); code != http.StatusTooManyRequests {
		t.Errorf("after seven guesses: %d", code)
	}
}

// TestOwnSessions: people see where they are signed in, end what they left open, and nobody else's.
func TestOwnSessions(t *testing.T) {
	h := newHouse(t)
	h.signedIn(t, "leads") // and away
	here := h.signedIn(t, "leads")
	h.clock.move(time.Minute)
	there := &caller{h: h, from: "192.0.2.77"}
	if code, _ := there.post(t, "/sign-in", url.Values{"login": {"leads"}, "password": {password}}); code != http.StatusSeeOther {
		t.Fatal(code)
	}
	_, text := here.get(t, "/sign-in")
	ids := regexp.MustCompile(`action="/sessions/end"><input type="hidden" name="id" value="([^"]+)">`).FindAllStringSubmatch(text, -1)
	if len(ids) != 2 || !strings.Contains(text, "192.0.2.77") || !strings.Contains(text, "this browser") {
		t.Fatalf("%d sign-ins besides this one: %s", len(ids), text)
	}
	end := url.Values{"id": {ids[0][1]}} // the last used comes first
	if code, _ := h.signedIn(t, "audits").post(t, "/sessions/end", end); code != http.StatusUnprocessableEntity {
		t.Errorf("somebody else's: %d", code)
	}
	if code, _ := there.get(t, "/policy"); code != http.StatusOK {
		t.Errorf("ended by somebody else: %d", code)
	}
	if code, text := here.post(t, "/sessions/end", end); code != http.StatusOK || strings.Contains(text, "192.0.2.77") {
		t.Errorf("%d %s", code, text)
	}
	if code, _ := there.get(t, "/policy"); code != http.StatusUnauthorized {
		t.Errorf("ended, and still in: %d", code)
	}
	if code, _ := here.get(t, "/policy"); code != http.StatusOK {
		t.Errorf("the other one: %d", code)
	}
}

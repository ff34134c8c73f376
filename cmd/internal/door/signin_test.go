package door_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
)

// emptyHouse is a server with accounts, in which there is nobody yet.
func emptyHouse(t *testing.T) *house {
	t.Helper()
	h := openHouse(t, t.TempDir())
	t.Cleanup(func() {
		if err := h.site.Close(); err != nil {
			t.Error(err)
		}
	})
	h.serve(t)
	return h
}

func begin(code, login, password, again string) url.Values {
	return url.Values{"code": {code}, "login": {login}, "password": {password}, "again": {again}}
}

// TestFirstAdministrator: until there is one nothing is served but the page for the code that the server printed, which works
// once, for an hour, with a password that is good enough.
func TestFirstAdministrator(t *testing.T) {
	h := emptyHouse(t)
	c := &caller{h: h, head: http.Header{"Accept": {"text/html"}}}
	if code, text := c.get(t, "/"); code != http.StatusUnauthorized || !strings.Contains(text, "Nobody can sign in yet") {
		t.Errorf("%d %s", code, text)
	}
	first, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	second, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		why  string
		form url.Values
		want int
	}{
		{"a code that was replaced", begin(first, "anna", password, password), http.StatusUnauthorized},
		{"a made-up code", begin("0000-0000-0000-0000", "anna", password, password), http.StatusUnauthorized},
		{"a name with a space", begin(second, "an na", password, password), http.StatusUnprocessableEntity},
		{"a short password", begin(second, "anna", "short", "short"), http.StatusUnprocessableEntity},
		{"a password of one letter", begin(second, "anna", strings.Repeat("a", 20), strings.Repeat("a", 20)),
			http.StatusUnprocessableEntity},
		{"a password with the name in it", begin(second, "anna", "my name is Anna, 7", "my name is Anna, 7"),
			http.StatusUnprocessableEntity},
		{"two passwords", begin(second, "anna", password, password+"x"), http.StatusUnprocessableEntity},
		{"all as it should be, in small letters", begin(strings.ToLower(second), "Anna ", password, password), http.StatusSeeOther},
		{"the code once more", begin(second, "ben", password, password), http.StatusUnauthorized},
	} {
		if code, text := (&caller{h: h}).post(t, "/code", test.form); code != test.want {
			t.Errorf("%s: %d, want %d: %s", test.why, code, test.want, text)
		}
	}
	if !h.door.HasAdministrator() {
		t.Fatal("there is no administrator")
	}
	anna := h.signedIn(t, "anna")
	if code, _ := anna.get(t, "/people"); code != http.StatusOK {
		t.Errorf("the administrator's page: %d", code)
	}
	late, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	h.clock.move(time.Hour)
	if code, _ := (&caller{h: h}).post(t, "/code", begin(late, "ben", password, password)); code != http.StatusUnauthorized {
		t.Errorf("an hour later: %d", code)
	}
	// Whoever starts the server can let an administrator in again who has forgotten the password.
	again, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	const other = "Sieben Boote liegen am Ufer"
	if code, text := (&caller{h: h}).post(t, "/code", begin(again, "anna", other, other)); code != http.StatusSeeOther {
		t.Errorf("%d %s", code, text)
	}
	if code, _ := (&caller{h: h}).post(t, "/sign-in", url.Values{"login": {"anna"},
		"password": {password}}); code != http.StatusUnauthorized {
		t.Errorf("the forgotten password: %d", code)
	}
}

// TestSessionsEnd: by themselves, by their person, by whoever administers, and with the server.
func TestSessionsEnd(t *testing.T) {
	h := newHouse(t)
	in := func(c *caller) bool {
		code, _ := c.get(t, "/lists") // a page that takes little to make
		return code == http.StatusOK
	}
	c := h.signedIn(t, "leads")
	for range 20 { // 20 times 29 minutes: each click begins the half hour anew
		h.clock.move(29 * time.Minute)
		if !in(c) {
			break
		}
	}
	c = h.signedIn(t, "leads")
	for range 24 {
		h.clock.move(29 * time.Minute)
		if !in(c) {
			t.Fatal("ended while somebody worked")
		}
	}
	h.clock.move(25 * time.Minute) // 12:01 since the sign-in
	if in(c) {
		t.Error("twelve hours are not the end")
	}
	c = h.signedIn(t, "leads")
	h.clock.move(30 * time.Minute)
	if in(c) {
		t.Error("half an hour without a click is not the end")
	}
	// A board that looks again by itself is no click.
	c = h.signedIn(t, "leads")
	c.head = http.Header{"Sec-Fetch-Mode": {"cors"}, "Sec-Fetch-Site": {"same-origin"}}
	h.clock.move(29 * time.Minute)
	if !in(c) {
		t.Error("ended before its time")
	}
	h.clock.move(time.Minute)
	if in(c) {
		t.Error("a page kept a session alive by itself")
	}
	// A sign-in is a new session, and the one before is none any more.
	c = h.signedIn(t, "leads")
	old := &caller{h: h, cookies: append([]*http.Cookie{}, c.cookies...)}
	if code, _ := c.post(t, "/sign-in", url.Values{"login": {"leads"}, "password": {password}}); code != http.StatusSeeOther {
		t.Fatal(code)
	}
	if c.cookies[0].Value == old.cookies[0].Value || in(old) || !in(c) {
		t.Error("signing in again kept the session's id")
	}
	// Signing out ends it at the server, whoever kept the cookie.
	old = &caller{h: h, cookies: append([]*http.Cookie{}, c.cookies...)}
	if code, _ := c.post(t, "/sign-out", nil); code != http.StatusSeeOther || len(c.cookies) != 0 || in(old) {
		t.Errorf("signed out: %d, %d cookies", code, len(c.cookies))
	}
	// A new password ends all others.
	c, old = h.signedIn(t, "leads"), h.signedIn(t, "leads")
	const other = "Sieben Boote liegen am Ufer"
	if code, text := c.post(t, "/password", url.Values{"old": {password}, "password": {other},
		"again": {other}}); code != http.StatusSeeOther {
		t.Fatalf("%d %s", code, text)
	}
	if !in(c) || in(old) {
		t.Error("a new password left the old session, or took the new one")
	}
	if code, _ := c.post(t, "/password", url.Values{"old": {password}, "password": {other},
		"again": {other}}); code != http.StatusUnprocessableEntity {
		t.Errorf("a new password by the wrong old one: %d", code)
	}
	// A role that is taken away is gone at the next click, and so is a person.
	id := h.idOf(t, "investigates")
	c = h.signedIn(t, "investigates")
	if code, _ := c.get(t, "/report"); code == http.StatusForbidden {
		t.Fatal("not even before")
	}
	h.admin = h.signedIn(t, "administers")
	if code, text := h.admin.post(t, "/people/roles", url.Values{"id": {id}, "role": {"audits"}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	if code, _ := c.get(t, "/report"); code != http.StatusForbidden {
		t.Errorf("without the role: %d", code)
	}
	if code, _ := h.admin.post(t, "/people/end", url.Values{"id": {id}}); code != http.StatusOK || in(c) {
		t.Errorf("ended: %d", code)
	}
	if code, _ := (&caller{h: h}).post(t, "/sign-in", url.Values{"login": {"investigates"},
		"password": {password}}); code != http.StatusUnauthorized {
		t.Errorf("an ended person signs in: %d", code)
	}
	c = h.signedIn(t, "audits")
	h.serve(t)
	if in(c) {
		t.Error("a session outlived its server")
	}
}

// idOf finds a person in the file.
// accounts are what the folder has of who may come in.
type accounts struct {
	People []door.Person
	Tokens []door.Token
	Feed   []door.FeedReader
}

func (h *house) accounts(t *testing.T) (b accounts) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(h.dir, door.Folder, "accounts.json"))
	if err != nil || json.Unmarshal(raw, &b) != nil {
		t.Fatal(err)
	}
	return b
}

func (h *house) idOf(t *testing.T, login string) string {
	t.Helper()
	for _, p := range h.accounts(t).People {
		if p.Login == login {
			return p.ID
		}
	}
	t.Fatalf("there is no %s", login)
	return ""
}

// TestStreamEndsWithItsSession: what a board listens to ends when its person signs out.
func TestStreamEndsWithItsSession(t *testing.T) {
	h := newHouse(t)
	c := h.signedIn(t, "leads")
	srv := httptest.NewServer(h.all)
	defer srv.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, srv.URL+"/changes", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.AddCookie(c.cookies[0])
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	first := make([]byte, 5)
	if _, err := res.Body.Read(first); err != nil || string(first) != "retry" {
		t.Fatalf("%d %q, %v", res.StatusCode, first, err)
	}
	c.post(t, "/sign-out", nil)
	if _, err := io.Copy(io.Discard, res.Body); ctx.Err() != nil {
		t.Errorf("the stream goes on: %v", err)
	}
}

// TestCookies: no script reads them, no other host gets them, and over TLS they are for TLS alone.
func TestCookies(t *testing.T) {
	h := newHouse(t)
	_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
	stationCode := secretIn(t, text)
	for _, over := range []bool{false, true} {
		ask := func(path string, form url.Values) *http.Cookie {
			r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "https://localhost"+path, strings.NewReader(form.Encode()))
			if !over {
				r.TLS = nil
			}
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			w := httptest.NewRecorder()
			h.all.ServeHTTP(w, r)
			if len(w.Result().Cookies()) != 1 {
				t.Fatalf("%s: %d %s", path, w.Code, w.Body)
			}
			return w.Result().Cookies()[0]
		}
		session := ask("/sign-in", url.Values{"login": {"leads"}, "password": {password}})
		prefix := map[bool]string{true: "__Host-"}[over]
		if session.Name != prefix+"session" || !session.HttpOnly || session.Secure != over || session.SameSite != http.SameSiteLaxMode ||
			session.Path != "/" || session.Domain != "" || session.MaxAge != 0 || len(session.Value) < 43 {
			t.Errorf("over TLS %v: %+v", over, session)
		}
		if over {
			_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
			stationCode = secretIn(t, text)
		}
		st := ask("/station-code", url.Values{"code": {stationCode}})
		if st.Name != prefix+"station" || !st.HttpOnly || st.Secure != over || st.SameSite != http.SameSiteLaxMode || st.MaxAge < 86400 {
			t.Errorf("over TLS %v: %+v", over, st)
		}
	}
}

// TestSignInTellsNothing: whether there is such a name can't be told from the answer, and guessing has an end that does not keep
// the person herself out.
func TestSignInTellsNothing(t *testing.T) {
	h := newHouse(t)
	desk := &caller{h: h, from: "192.0.2.50"}
	if code, _ := desk.post(t, "/sign-in", url.Values{"login": {"leads"}, "password": {password}}); code != http.StatusSeeOther {
		t.Fatal(code)
	}
	guess := func(from, login, password string) (int, string) {
		code, text := (&caller{h: h, from: from}).post(t, "/sign-in", url.Values{"login": {login}, "password": {password}})
		return code, strings.ReplaceAll(text, login, "…")
	}
	wrongCode, wrong := guess("192.0.2.60", "leads", "no")
	noneCode, none := guess("192.0.2.60", "nobody-here", "no")
	if wrongCode != http.StatusUnauthorized || noneCode != wrongCode || wrong != none {
		t.Errorf("%d and %d; %s\n%s", wrongCode, noneCode, wrong, none)
	}
	stopped := 0
	for i := range 40 {
		from := "192.0.2." + string(rune('1'+i%9)) // from many
		if code, _ := guess(from, "leads", "no"); code == http.StatusTooManyRequests {
			stopped++
		}
	}
	if stopped < 25 {
		t.Errorf("%d of 40 guesses were stopped", stopped)
	}
	w := (&caller{h: h, from: "192.0.2.70"}).ask(t, t.Context(), http.MethodPost, "/sign-in", "application/x-www-form-urlencoded",
		url.Values{"login": {"leads"}, "password": {password}}.Encode())
	if w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") == "" {
		t.Errorf("a stranger, even with the password: %d", w.Code)
	}
	desk.cookies = nil
	if code, _ := desk.post(t, "/sign-in", url.Values{"login": {"leads"}, "password": {password}}); code != http.StatusSeeOther {
		t.Errorf("she herself at her desk: %d", code)
	}
	if code, _ := guess("192.0.2.71", "audits", password); code != http.StatusSeeOther {
		t.Errorf("somebody else: %d", code)
	}
}

// TestWhereToAfterSigningIn: an address of this server, and no other.
func TestWhereToAfterSigningIn(t *testing.T) {
	h := newHouse(t)
	for next, want := range map[string]string{
		"": "/", "/history?set=LAP-001": "/history?set=LAP-001", "//evil.example/": "/", "https://evil.example/": "/",
		"/\\evil.example": "/", "evil": "/", "/\r\nSet-Cookie: a=b": "/", "javascript:alert(1)": "/",
	} {
		w := (&caller{h: h}).ask(t, t.Context(), http.MethodPost, "/sign-in", "application/x-www-form-urlencoded",
			url.Values{"login": {"leads"}, "password": {password}, "next": {next}}.Encode())
		if got := w.Header().Get("Location"); w.Code != http.StatusSeeOther || got != want {
			t.Errorf("next %q leads to %q (%d), want %q", next, got, w.Code, want)
		}
	}
	w := (&caller{h: h}).ask(t, t.Context(), http.MethodPost, "/sign-in", "application/x-www-form-urlencoded",
		url.Values{"login": {"administers"}, "password": {password}}.Encode())
	if got := w.Header().Get("Location"); got != "/people" {
		t.Errorf("whoever administers alone begins at %q", got)
	}
}

// TestStationsBrowser: a code brings one browser to one station, once, for ten minutes; nobody signs in for a scan there; it is
// nowhere else; and what waits in it is not ended by its being sent away.
func TestStationsBrowser(t *testing.T) {
	h := newHouse(t)
	leads := h.signedIn(t, "leads") // a lead makes codes, too
	_, text := leads.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
	code := secretIn(t, text)
	if code, text := leads.post(t, "/people/station-code", url.Values{"station": {"north/or-9"}}); code != http.StatusUnprocessableEntity {
		t.Errorf("a station that is none: %d %s", code, text)
	}
	late := &caller{h: h}
	h.clock.move(10 * time.Minute)
	if got, _ := late.post(t, "/station-code", url.Values{"code": {code}}); got != http.StatusUnauthorized {
		t.Errorf("ten minutes later: %d", got)
	}
	leads = h.signedIn(t, "leads")
	_, text = leads.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
	code = secretIn(t, text)
	if got, _ := (&caller{h: h}).post(t, "/code", begin(code, "eve", password, password)); got != http.StatusUnauthorized {
		t.Errorf("a station's code made a person: %d", got)
	}
	admin, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	tablet := &caller{h: h}
	if got, _ := tablet.post(t, "/station-code", url.Values{"code": {admin}}); got != http.StatusUnauthorized || len(tablet.cookies) > 0 {
		t.Errorf("an administrator's code brought a browser to a station: %d", got)
	}
	if got, text := tablet.post(t, "/station-code", url.Values{"code": {code}}); got != http.StatusSeeOther {
		t.Fatalf("%d %s", got, text)
	}
	if got, _ := (&caller{h: h}).post(t, "/station-code", url.Values{"code": {code}}); got != http.StatusUnauthorized {
		t.Errorf("the code once more: %d", got)
	}
	scan := func(station string) *httptest.ResponseRecorder {
		return tablet.ask(t, t.Context(), http.MethodPost, "/at/"+station+"/storage/scan", "application/json",
			`{"client":"c1","n":1,"text":"LAP-001"}`)
	}
	if w := scan("north/or-1"); w.Code != http.StatusOK {
		t.Errorf("a scan: %d %s", w.Code, w.Body)
	}
	w := scan("north/packing-1")
	if w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), `"why":"not-let-in"`) {
		t.Errorf("a scan elsewhere: %d %s", w.Code, w.Body)
	}
	for range 27 { // it stays for years, as long as it is used
		h.clock.move(30 * 24 * time.Hour)
		w := scan("north/or-1")
		if w.Code != http.StatusOK {
			t.Fatalf("after a month: %d %s", w.Code, w.Body)
		}
		if kept := w.Result().Cookies(); len(kept) != 1 || kept[0].MaxAge < 400*24*3600 || kept[0].Value == "" {
			t.Fatalf("the browser would forget where it stands: %v", kept)
		}
		if again := scan("north/or-1").Result().Cookies(); len(again) != 0 {
			t.Fatalf("the cookie is set at each scan: %v", again)
		}
	}
	h.serve(t)
	if w := scan("north/or-1"); w.Code != http.StatusOK {
		t.Errorf("after a restart: %d %s", w.Code, w.Body)
	}
	h.admin = h.signedIn(t, "administers")
	_, text = h.admin.get(t, "/people")
	m := regexp.MustCompile(`action="/people/station-end"><input type="hidden" name="id" value="([^"]+)"`).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no browser is listed: %s", text)
	}
	h.admin.post(t, "/people/station-end", url.Values{"id": {m[1]}})
	w = scan("north/or-1")
	// The page's sender ends an entry on "refused" and "too-large" alone (station.js).
	if w.Code != http.StatusUnauthorized || !strings.Contains(w.Body.String(), `"why":"not-let-in"`) {
		t.Errorf("a lost tablet: %d %s", w.Code, w.Body)
	}
}

// TestTokensEnd: by their date and by hand, and are kept as a digest alone.
func TestTokensEnd(t *testing.T) {
	h := newHouse(t)
	c := &caller{h: h, token: h.tokens[door.Audits]}
	if code, _ := c.get(t, "/metrics"); code != http.StatusOK {
		t.Fatal(code)
	}
	if code, _ := (&caller{h: h, head: http.Header{"Authorization": {"Basic " + h.tokens[door.Audits]}}}).get(t,
		"/metrics"); code != http.StatusUnauthorized {
		t.Errorf("another scheme: %d", code)
	}
	// A session beside a token that has ended counts for nothing: the program said who it is.
	both := h.signedIn(t, "audits")
	both.token = "x"
	if code, _ := both.get(t, "/metrics"); code != http.StatusUnauthorized {
		t.Errorf("a wrong token with a session: %d", code)
	}
	ended := &caller{h: h, token: h.token(t, door.Audits, "")}
	if code, _ := ended.get(t, "/metrics"); code != http.StatusOK {
		t.Fatal(code)
	}
	tokens := h.accounts(t).Tokens
	if code, text := h.admin.post(t, "/people/token-end", url.Values{"id": {tokens[len(tokens)-1].ID}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	if code, _ := ended.get(t, "/metrics"); code != http.StatusUnauthorized {
		t.Errorf("a token that somebody ended: %d", code)
	}
	if code, _ := c.get(t, "/metrics"); code != http.StatusOK {
		t.Errorf("the one beside it: %d", code)
	}
	h.clock.move(30 * 24 * time.Hour)
	if code, _ := c.get(t, "/metrics"); code != http.StatusUnauthorized {
		t.Errorf("thirty days later: %d", code)
	}
	for _, days := range []string{"0", "-1", "367", "", "999999999999"} {
		h.admin = h.signedIn(t, "administers")
		if code, _ := h.admin.post(t, "/people/token", url.Values{"role": {"audits"}, "name": {"x"},
			"days": {days}}); code != http.StatusUnprocessableEntity {
			t.Errorf("a token of %q days: %d", days, code)
		}
	}
	if code, _ := h.admin.post(t, "/people/token", url.Values{"role": {"records"}, "name": {"x"},
		"days": {"3"}}); code != http.StatusUnprocessableEntity {
		t.Errorf("a token that records nowhere: %d", code)
	}
}

// TestAnAdministratorIsLeft: the last one can neither go nor lose the role.
func TestAnAdministratorIsLeft(t *testing.T) {
	h := newHouse(t)
	id := h.idOf(t, "administers")
	for path, form := range map[string]url.Values{
		"/people/end": {"id": {id}}, "/people/roles": {"id": {id}, "role": {"leads"}},
	} {
		if code, _ := h.admin.post(t, path, form); code != http.StatusUnprocessableEntity || !h.door.HasAdministrator() {
			t.Errorf("%s: %d", path, code)
		}
	}
	// One who has not used the code yet is none.
	if code, text := h.admin.post(t, "/people/add", url.Values{"login": {"zoe"}, "name": {"Zoe"},
		"role": {"administers"}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	if code, _ := h.admin.post(t, "/people/end", url.Values{"id": {id}}); code != http.StatusUnprocessableEntity {
		t.Errorf("the last who can sign in: %d", code)
	}
}

// TestOwnBadge: what a person with a badge records while signed in is under that badge.
func TestOwnBadge(t *testing.T) {
	h := newHouse(t)
	_, text := h.admin.post(t, "/people/add", url.Values{"login": {"zoe"}, "name": {"Zoe"}, "badge": {"B-77"}, "role": {"leads"}})
	c := &caller{h: h}
	if code, text := c.post(t, "/code", begin(secretIn(t, text), "zoe", password, password)); code != http.StatusSeeOther {
		t.Fatalf("%d %s", code, text)
	}
	broken, err := h.site.Broken(t.Context())
	if err != nil || len(broken) == 0 {
		t.Fatalf("nothing to acknowledge: %v", err)
	}
	v := broken[0]
	size := h.site.Size()
	ack := func(badge string) (int, string) {
		return c.post(t, "/acknowledge", url.Values{"set": {v.Set}, "trip": {v.Trip}, "code": {string(v.Findings[0].Code)},
			"badge": {badge}, "reason": {"seen"}})
	}
	if code, text := ack("B-1"); code != http.StatusUnprocessableEntity || h.site.Size() > size+1 ||
		!strings.Contains(text, "under your own badge, B-77") {
		t.Errorf("under another's badge: %d, %d records more: %s", code, h.site.Size()-size, text)
	}
	size = h.site.Size()
	if code, text := ack("B-77"); code != http.StatusSeeOther || h.site.Size() != size+1 {
		t.Errorf("under her own: %d %s", code, text)
	}
}

// TestWhoReadWhat: histories, evidence and exports are written down before they are answered; what was asked stands there, and whoever
// audits sees it.
func TestWhoReadWhat(t *testing.T) {
	h := newHouse(t)
	c := h.signedIn(t, "investigates")
	c.from = "192.0.2.33"
	if _, err := h.site.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	tile := fmt.Sprintf("/log/tile/entries/000.p/%d", h.site.Signed().Size)
	for _, path := range []string{"/history?case=K-1", "/api/evidence?set=LAP-001", "/?format=csv", "/api/events?after=2", tile} {
		if code, text := c.get(t, path); code != http.StatusOK {
			t.Errorf("%s: %d %s", path, code, text)
		}
	}
	c.get(t, "/") // the board itself is no history
	if code, _ := (&caller{h: h, token: h.tokens[door.Investigates]}).get(t, "/api/history?set=LAP-001"); code != http.StatusOK {
		t.Error(code)
	}
	_, text := h.signedIn(t, "audits").get(t, "/readers")
	for _, want := range []string{"Name of investigates", "case=K-1", "GET /api/evidence", "format=csv", "after=2",
		strings.TrimPrefix(tile, "/log/tile/"), "192.0.2.33",
		"program ", "signed in", "6 years"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not told of: %s", want, text)
		}
	}
	if n := strings.Count(text, "GET /{$}"); n != 1 {
		t.Errorf("the board is told of %d times, its export was one", n)
	}
	// A question that can't be written down is answered, and the log says so.
	reads := filepath.Join(h.dir, door.Folder, "reads-2026-03.jsonl")
	if err := os.Remove(reads); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(reads, 0o700); err != nil {
		t.Fatal(err)
	}
	if code, _ := c.get(t, "/history?case=K-1"); code != http.StatusOK || !strings.Contains(h.log.String(), "who read what was not kept") {
		t.Errorf("%d, and nothing in the log", code)
	}
}

// TestAccountsThatCantBeRead: a server does not start as if there were none.
func TestAccountsThatCantBeRead(t *testing.T) {
	h := newHouse(t)
	path := filepath.Join(h.dir, door.Folder, "accounts.json")
	o := door.Options{Dir: h.dir, Clock: h.clock.now, Cost: cheap}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d, err := door.Open(o); err != nil || !d.Used() || !d.HasAdministrator() {
		t.Fatalf("%v", err)
	}
	if err := os.WriteFile(path, raw[:len(raw)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := door.Open(o); err == nil || !strings.Contains(err.Error(), "accounts.json") {
		t.Errorf("half a file: %v", err)
	}
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := door.Open(o); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a file that all can read: %v", err)
	}
}

// TestChangesAreInWords: what was changed last names roles as the rest of the page does, in its language.
func TestChangesAreInWords(t *testing.T) {
	h := newHouse(t)
	_, text := h.admin.get(t, "/people?lang=de")
	for _, want := range []string{"<td>Untersucht </td>", "<td>Zeichnet an einer Station auf north/or-1</td>"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %s", want)
		}
	}
}

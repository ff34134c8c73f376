package door_test

import (
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/zitadel/oidc/v3/example/server/exampleop"
	"github.com/zitadel/oidc/v3/example/server/storage"
	"github.com/zitadel/oidc/v3/pkg/op"

	"listbound/cmd/internal/door"
)

const backAddress = "https://desk.north.example/sign-in/openid/back"

// provider runs a real OpenID provider, certified by others than us: zitadel/oidc, with its store in memory.
func provider(t *testing.T) (issuer string) {
	t.Helper()
	usual := slog.Default()
	t.Cleanup(func() { slog.SetDefault(usual) }) // which the provider's example replaces
	srv := httptest.NewUnstartedServer(nil)
	issuer = "http://" + srv.Listener.Addr().String()
	storage.RegisterClients(storage.WebClient("listbound", "the-secret", backAddress))
	srv.Config.Handler = exampleop.SetupServer(issuer, storage.NewStorage(storage.NewUserStore(issuer)),
		slog.New(slog.DiscardHandler), false,
		op.WithAllowInsecure())
	srv.Start()
	t.Cleanup(srv.Close)
	return issuer
}

// withOpenID serves a house whose accounts may sign in by a provider.
func withOpenID(t *testing.T, h *house, o door.OpenID) {
	t.Helper()
	raw, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(h.dir, door.Folder, "openid.json"), raw, 0o600); err != nil {
		t.Fatal(err)
	}
	h.serve(t)
	h.admin = h.signedIn(t, "administers")
}

// atProvider signs in at the provider as a browser does, and returns the address that it is sent back to.
func atProvider(t *testing.T, to, user string) *url.URL {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	var back *url.URL
	c := &http.Client{Jar: jar, CheckRedirect: func(r *http.Request, _ []*http.Request) error {
		if r.URL.Host == "desk.north.example" {
			back = r.URL
			return http.ErrUseLastResponse
		}
		return nil
	}}
	res, err := c.Get(to)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	id := res.Request.URL.Query().Get("authRequestID")
	form := url.Values{"id": {id}, "username": {user}, "password": {"verysecure"}}
	res, err = c.PostForm(res.Request.URL.Scheme+"://"+res.Request.URL.Host+"/login/username", form)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if back == nil {
		text, _ := io.ReadAll(res.Body)
		t.Fatalf("the provider sends nobody back: %d %s", res.StatusCode, text)
	}
	return back
}

// TestOpenID signs in by a real provider: with an account and without, by a link that somebody else made, twice by one answer, late, and
// with a name that was given to somebody else.
func TestOpenID(t *testing.T) {
	issuer := provider(t)
	h := newHouse(t)
	h.clock.move(time.Since(h.clock.now())) // the provider's tokens are of today
	withOpenID(t, h, door.OpenID{Issuer: issuer, Client: "listbound", Secret: "the-secret", Back: backAddress, Name: "House"})
	begin := func(c *caller, next string) string {
		w := c.ask(t, t.Context(), http.MethodGet, "/sign-in/openid?next="+url.QueryEscape(next), "", "")
		if w.Code != http.StatusSeeOther {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		return w.Header().Get("Location")
	}
	back := func(c *caller, to *url.URL) *httptest.ResponseRecorder {
		return c.ask(t, t.Context(), http.MethodGet, to.RequestURI(), "", "")
	}
	if _, text := (&caller{h: h}).get(t, "/sign-in"); !strings.Contains(text, "Sign in by House") {
		t.Error("the page does not offer it")
	}
	// Known there, and nobody here.
	c := &caller{h: h}
	if w := back(c, atProvider(t, begin(c, ""), "test-user2")); w.Code != http.StatusForbidden ||
		!strings.Contains(w.Body.String(), "no account here") {
		t.Fatalf("without an account: %d %s", w.Code, w.Body)
	}
	if code, text := h.admin.post(t, "/people/add", url.Values{"login": {"test-user2"}, "name": {"Tess"},
		"role": {"leads"}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	// With an account, on to what was asked for.
	c = &caller{h: h}
	to := begin(c, "/near-misses")
	asked, err := url.Parse(to)
	if err != nil {
		t.Fatal(err)
	}
	for _, need := range []string{"state", "nonce", "code_challenge"} {
		if asked.Query().Get(need) == "" {
			t.Errorf("%s is not asked for", need)
		}
	}
	answer := atProvider(t, to, "test-user2")
	// What was not asked for here is not shown to the provider either.
	shown := func() int { return strings.Count(h.log.String(), "the sign-in elsewhere was not taken") }
	unasked := shown()
	thief := &caller{h: h}
	if w := back(thief, answer); w.Code != http.StatusUnauthorized {
		t.Errorf("an answer in another browser: %d", w.Code)
	}
	begin(thief, "")
	if w := back(thief, answer); w.Code != http.StatusUnauthorized {
		t.Errorf("an answer to another question: %d", w.Code)
	}
	if shown() != unasked {
		t.Error("an answer that was not asked for was handed to the provider")
	}
	// The code of one's answer in the answer to another: it was asked for with another verifier.
	mine, err := url.Parse(begin(thief, ""))
	if err != nil {
		t.Fatal(err)
	}
	mixed := *answer
	q := mixed.Query()
	q.Set("state", mine.Query().Get("state"))
	mixed.RawQuery = q.Encode()
	if w := back(thief, &mixed); w.Code != http.StatusUnauthorized {
		t.Errorf("somebody else's code: %d", w.Code)
	}
	answer = atProvider(t, begin(c, "/near-misses"), "test-user2")
	again := &caller{h: h, cookies: append([]*http.Cookie{}, c.cookies...)}
	w := back(c, answer)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/near-misses" {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if code, _ := c.get(t, "/near-misses"); code != http.StatusOK {
		t.Errorf("signed in: %d", code)
	}
	if code, _ := c.get(t, "/api/evidence?set=LAP-001"); code != http.StatusForbidden {
		t.Errorf("another role than the account's: %d", code)
	}
	unasked = shown()
	if w := back(again, answer); w.Code != http.StatusUnauthorized || shown() != unasked {
		t.Errorf("the answer once more: %d", w.Code)
	}
	// Somebody who takes too long.
	late := &caller{h: h}
	answer = atProvider(t, begin(late, ""), "test-user2")
	h.clock.move(10 * time.Minute)
	if w := back(late, answer); w.Code != http.StatusUnauthorized {
		t.Errorf("ten minutes later: %d", w.Code)
	}
	// What the provider let in ends as any other session does.
	h.clock.move(20 * time.Minute)
	if code, _ := c.get(t, "/near-misses"); code != http.StatusUnauthorized {
		t.Errorf("half an hour without a click: %d", code)
	}
	h.clock.move(-30 * time.Minute)
	prover := &caller{h: h}
	back(prover, atProvider(t, begin(prover, ""), "test-user2"))
	h.proveByOpenID(t, prover, "test-user2")
	// The account is the subject's now, and stays it: whoever gets the name at the provider later is somebody else.
	path := filepath.Join(h.dir, door.Folder, "accounts.json")
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(raw), issuer+" id2") {
		t.Errorf("the subject is not kept: %s", raw)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(raw), issuer+" id2", issuer+" id7", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	h.serve(t)
	c = &caller{h: h}
	if w := back(c, atProvider(t, begin(c, ""), "test-user2")); w.Code != http.StatusForbidden {
		t.Errorf("another subject with the name: %d", w.Code)
	}
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	h.serve(t)
	// Somebody who has ended here.
	h.admin = h.signedIn(t, "administers")
	h.admin.post(t, "/people/end", url.Values{"id": {h.idOf(t, "test-user2")}})
	c = &caller{h: h}
	if w := back(c, atProvider(t, begin(c, ""), "test-user2")); w.Code != http.StatusForbidden {
		t.Errorf("an ended account: %d", w.Code)
	}
	for _, secret := range []string{"the-secret", answer.Query().Get("code"), answer.Query().Get("state")} {
		if strings.Contains(h.log.String(), secret) {
			t.Errorf("%s stands in the log", secret)
		}
	}
}

// proveByOpenID: ten minutes after a sign-in elsewhere, what lets somebody in needs another one there, which is asked for in so
// many words.
func (h *house) proveByOpenID(t *testing.T, c *caller, user string) {
	t.Helper()
	h.clock.move(10 * time.Minute)
	defer h.clock.move(-10 * time.Minute)
	form := url.Values{"station": {"north/or-1"}}
	code, text := c.post(t, "/people/station-code", form)
	if code != http.StatusUnauthorized || strings.Contains(text, "password-again") ||
		!strings.Contains(text, `href="/sign-in/openid?again=yes`) {
		t.Fatalf("ten minutes later: %d %s", code, text)
	}
	w := c.ask(t, t.Context(), http.MethodGet, "/sign-in/openid?again=yes&next=/people", "", "")
	to, err := url.Parse(w.Header().Get("Location"))
	if err != nil || to.Query().Get("prompt") != "login" || to.Query().Get("max_age") != "600" {
		t.Fatalf("asked %v, %v", to, err)
	}
	h.clock.move(-10 * time.Minute) // the provider's clock is the machine's
	w = c.ask(t, t.Context(), http.MethodGet, atProvider(t, to.String(), user).RequestURI(), "", "")
	h.clock.move(9 * time.Minute)
	if code, text := c.post(t, "/people/station-code", form); code != http.StatusOK {
		t.Errorf("proved nine minutes before, by %d: %d %s", w.Code, code, text)
	}
	h.clock.move(time.Minute)
}

// TestOpenIDOfAnother: a token of another client's, or one that somebody else signed, lets nobody in, nor does a provider that is away.
func TestOpenIDOfAnother(t *testing.T) {
	issuer := provider(t)
	h := newHouse(t)
	h.clock.move(time.Since(h.clock.now()))
	o := door.OpenID{Issuer: issuer, Client: "listbound", Secret: "wrong", Back: backAddress, Name: "House"}
	withOpenID(t, h, o)
	h.admin.post(t, "/people/add", url.Values{"login": {"test-user2"}, "name": {"Tess"}, "role": {"leads"}})
	c := &caller{h: h}
	w := c.ask(t, t.Context(), http.MethodGet, "/sign-in/openid", "", "")
	answer := atProvider(t, w.Header().Get("Location"), "test-user2")
	if w := c.ask(t, t.Context(), http.MethodGet, answer.RequestURI(), "", ""); w.Code != http.StatusUnauthorized {
		t.Errorf("a server that the provider does not know: %d", w.Code)
	}
	// A clock of a year later: what the provider gives is over.
	o.Secret = "the-secret"
	withOpenID(t, h, o)
	h.clock.move(366 * 24 * time.Hour)
	c = &caller{h: h}
	w = c.ask(t, t.Context(), http.MethodGet, "/sign-in/openid", "", "")
	answer = atProvider(t, w.Header().Get("Location"), "test-user2")
	if w := c.ask(t, t.Context(), http.MethodGet, answer.RequestURI(), "", ""); w.Code != http.StatusUnauthorized {
		t.Errorf("a token that is over: %d", w.Code)
	}
	o.Issuer = "http://127.0.0.1:1"
	withOpenID(t, h, o)
	if code, text := (&caller{h: h}).get(t, "/sign-in/openid"); code != http.StatusBadGateway || !strings.Contains(text,
		"did not say who you are") {
		t.Errorf("a provider that is away: %d %s", code, text)
	}
	for name, text := range map[string]string{
		"half a file": `{"issuer":"x`, "no client": `{"issuer":"https://x","back":"` + backAddress + `","name":"x"}`,
		"another way back": `{"issuer":"https://x","client":"x","name":"x","back":"https://desk.north.example/"}`,
		"a claim":          `{"issuer":"https://x","client":"x","name":"x","back":"` + backAddress + `","claim":"sub"}`,
		"a member":         `{"issuer":"https://x","client":"x","name":"x","back":"` + backAddress + `","password":"x"}`,
	} {
		if err := os.WriteFile(filepath.Join(h.dir, door.Folder, "openid.json"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := door.Open(door.Options{Dir: h.dir, Clock: h.clock.now, Cost: cheap}); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}

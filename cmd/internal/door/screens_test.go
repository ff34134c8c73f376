package door_test

import (
	"bufio"
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
)

// screen is a wall screen's browser.
func (h *house) screen(t *testing.T) *caller {
	t.Helper()
	_, text := h.admin.post(t, "/people/screen", url.Values{"name": {"by the lift"}, "days": {"30"}})
	c := &caller{h: h}
	if code, text := c.post(t, "/screen-code", url.Values{"code": {secretIn(t, text)}}); code != http.StatusSeeOther {
		t.Fatalf("a wall screen: %d %s", code, text)
	}
	return c
}

// TestWallScreen: a screen shows the board and nothing else, by a code that works once, makes nobody an administrator and
// brings nobody to a station; it ends by its date, or when it is ended, and so does what it listens to.
func TestWallScreen(t *testing.T) {
	h := newHouse(t)
	lead := h.signedIn(t, "leads")
	_, text := lead.post(t, "/people/screen", url.Values{"name": {"corridor"}, "days": {"2"}})
	typed := secretIn(t, text)
	for path, form := range map[string]url.Values{
		"/code":         {"code": {typed}, "login": {"eva"}, "password": {password}, "again": {password}},
		"/station-code": {"code": {typed}},
	} {
		if code, text := (&caller{h: h}).post(t, path, form); code != http.StatusUnauthorized {
			t.Errorf("the code at %s: %d %s", path, code, text)
		}
	}
	c := &caller{h: h, head: http.Header{"Accept": {"text/html"}}}
	if code, text := c.post(t, "/screen-code", url.Values{"code": {typed}}); code != http.StatusSeeOther {
		t.Fatalf("%d %s", code, text)
	}
	if code, _ := (&caller{h: h}).post(t, "/screen-code", url.Values{"code": {typed}}); code != http.StatusUnauthorized {
		t.Errorf("the code once more: %d", code)
	}
	if code, text := c.get(t, "/"); code != http.StatusOK || !strings.Contains(text, "Wall screen: corridor") ||
		strings.Contains(text, `href="/people"`) || strings.Contains(text, `href="/at/"`) {
		t.Errorf("the board: %d %s", code, text)
	}
	if code, _ := c.get(t, "/?part=rows"); code != http.StatusOK {
		t.Errorf("its rows: %d", code)
	}
	for _, path := range []string{"/?format=csv", "/history?set=LAP-001", "/at/", "/people"} {
		if code, _ := c.get(t, path); code != http.StatusForbidden {
			t.Errorf("%s: %d", path, code)
		}
	}
	raw, err := os.ReadFile(filepath.Join(h.dir, door.Folder, "accounts.json"))
	if err != nil || strings.Contains(string(raw), typed) || strings.Contains(string(raw), c.cookies[0].Value) {
		t.Errorf("the code or the cookie is kept as it is: %v", err)
	}
	h.clock.move(48 * time.Hour)
	if code, _ := c.get(t, "/"); code != http.StatusUnauthorized {
		t.Errorf("after its date: %d", code)
	}
}

// TestScreenIsEnded: a screen that is ended hears nothing more.
func TestScreenIsEnded(t *testing.T) {
	h := newHouse(t)
	c := h.screen(t)
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
	lines := bufio.NewScanner(res.Body)
	if !lines.Scan() || !strings.HasPrefix(lines.Text(), "retry") {
		t.Fatalf("%d %q", res.StatusCode, lines.Text())
	}
	_, text := h.admin.get(t, "/people")
	_, id, _ := strings.Cut(text, `action="/people/screen-end"><input type="hidden" name="id" value="`)
	id, _, _ = strings.Cut(id, `"`)
	if code, text := h.admin.post(t, "/people/screen-end", url.Values{"id": {id}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	for lines.Scan() { // until the stream ends
	}
	if ctx.Err() != nil {
		t.Error("the stream goes on")
	}
	if code, _ := c.get(t, "/"); code != http.StatusUnauthorized {
		t.Errorf("ended, and shown: %d", code)
	}
}

package door_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestCodeForAKey: a code that asks for it brings a browser to its station with the key that it made, and the folder has no key
// of that station. Without a key, or with what is none, it is told why; the code is good still, and may be used without one. A code that
// doesn't ask takes no key.
func TestCodeForAKey(t *testing.T) {
	h := newHouse(t)
	public := func(b byte) string {
		return base64.StdEncoding.EncodeToString(ed25519.NewKeyFromSeed(bytes.Repeat([]byte{b}, 32)).Public().(ed25519.PublicKey))
	}
	code := func(own string) string {
		_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}, "own": {own}})
		secret := secretIn(t, text)
		if symbol, err := paper.SymbolOf(secret); err != nil || !strings.Contains(text, symbol.Path) {
			t.Errorf("its symbol is not shown: %v", err)
		}
		return secret
	}
	station := func() site.Station {
		t.Helper()
		all, err := h.site.Stations(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return all[slices.IndexFunc(all, func(s site.Station) bool { return s.Name == "north/or-1" })]
	}
	before := station()
	plain := &caller{h: h}
	if got, text := plain.post(t, "/station-code", url.Values{"code": {code("")}, "key": {public(1)}}); got != http.StatusSeeOther ||
		station().Key != before.Key {
		t.Fatalf("a code that asks for no key: %d %s, %+v", got, text, station())
	}

	own := code("yes")
	for _, form := range []url.Values{{}, {"why": {"insecure"}}, {"key": {"no key"}}, {"key": {public(1)[:40]}}} {
		form.Set("code", own)
		got, text := (&caller{h: h}).post(t, "/station-code", form)
		says := "Firefox 129"
		if form.Has("why") {
			says = "trust the server&#39;s certificate"
		}
		if got != http.StatusConflict || !strings.Contains(text, says) || !strings.Contains(text, own) || station().Key != before.Key {
			t.Errorf("%v: %d %s", form, got, text)
		}
	}
	b := &caller{h: h}
	if got, text := b.post(t, "/station-code", url.Values{"code": {own}, "key": {public(2)}}); got != http.StatusSeeOther {
		t.Fatalf("with a key: %d %s", got, text)
	}
	key, err := note.NewEd25519VerifierKey("north/or-1", ed25519.NewKeyFromSeed(bytes.Repeat([]byte{2}, 32)).Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	if s := station(); s.Here || s.Key != key {
		t.Errorf("enrolled is %+v, want %s", s, key)
	}
	if got, _ := (&caller{h: h}).post(t, "/station-code", url.Values{"code": {own}, "key": {public(3)}}); got != http.StatusUnauthorized {
		t.Errorf("the same code once more: %d", got)
	}
	if w := b.ask(t, t.Context(), http.MethodGet, "/at/north/or-1/opening", "", ""); w.Code != http.StatusOK {
		t.Errorf("at its station: %d", w.Code)
	}
	if _, text := h.admin.post(t, "/people/station-end", url.Values{"id": {"nobody"}}); strings.Count(text, "signs for itself") != 1 {
		t.Errorf("the list of browsers says so %d times", strings.Count(text, "signs for itself"))
	}
	got, text := (&caller{h: h}).post(t, "/station-code", url.Values{"code": {code("yes")}, "without": {"yes"}})
	if got != http.StatusSeeOther || station().Key != key {
		t.Errorf("without a key: %d %s", got, text)
	}
}

// TestRetireALostTablet: a lead ends a station as of the moment when its tablet was lost; its browsers are sent
// away. What is no moment that has passed, and no reason, is refused and ends nothing.
func TestRetireALostTablet(t *testing.T) {
	h := newHouse(t)
	tablet := h.atStation(t, "north/or-1")
	leads := h.signedIn(t, "leads")
	retired := func() int64 {
		t.Helper()
		all, err := h.site.Stations(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return all[slices.IndexFunc(all, func(s site.Station) bool { return s.Name == "north/or-1" })].Retired
	}
	form := func(asOf, reason string) url.Values {
		return url.Values{"station": {"north/or-1"}, "asOf": {asOf}, "reason": {reason}}
	}
	for _, f := range []url.Values{form("2026-03-02T12:01", "lost"), form("yesterday", "lost"), form("2026-03-02T11:20", " ")} {
		if code, text := leads.post(t, "/people/station-retire", f); code != http.StatusUnprocessableEntity || retired() != 0 {
			t.Errorf("%v: %d %s", f, code, text)
		}
	}
	if code, text := leads.post(t, "/people/station-retire", form("2026-03-02T11:20", "tablet lost")); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	e, err := h.site.EventAt(retired())
	if d, ok := e.Data.(*events.StationRetired); err != nil || !ok || d.AsOf != "2026-03-02T11:20:00Z" || d.Reason != "tablet lost" {
		t.Errorf("recorded is %+v, %v", e, err)
	}
	if w := tablet.ask(t, t.Context(), http.MethodGet, "/at/north/or-1/opening", "", ""); w.Code == http.StatusOK {
		t.Error("its browser still comes in")
	}
}

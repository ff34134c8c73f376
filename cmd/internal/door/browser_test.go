//go:build !race

package door_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/door"
	"listbound/events"
)

// TestPagesInTheBrowser goes the whole way in a real browser, in both languages and on a desk and a phone: the first administrator,
// a colleague, a token, a station's browser that then scans without anybody signing in; axe-core looks at every page.
func TestPagesInTheBrowser(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	ca, err := door.OpenAuthority(h.dir, "north", []string{"desk.north.example", "192.0.2.7"}, h.clock.now)
	if err != nil {
		t.Fatal(err)
	}
	h.ca = ca
	withOpenID(t, h, door.OpenID{Issuer: "https://login.north.example", Client: "listbound", Back: backAddress, Name: "House"})
	srv := httptest.NewServer(h.all)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	b := browsertest.Start(t)
	// The old workplace's size lies between the two others, and German words are the longer ones, so where there is least room.
	for lang, size := range map[string]browsertest.Size{"en": browsertest.Sizes()[0], "de": browsertest.Sizes()[2]} {
		own := b.Profile(t)
		tab := own.Tab(t, size)
		look := func(name string) {
			t.Helper()
			tab.Await(`document.readyState === "complete"`) // before its style it is as wide as it likes
			if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
				t.Errorf("%s at %s is %d pixels wider than the window", name, size.Name, wide)
			}
			if got := browsertest.Eval[string](tab, "document.documentElement.lang"); got != lang {
				t.Errorf("%s is in %q, not %q", name, got, lang)
			}
			if text := browsertest.Eval[string](tab, "document.body.innerText"); strings.Contains(text, "door.") {
				t.Errorf("%s shows the key of a text", name)
			}
			tab.Axe()
			tab.Shot("door-" + name + "-" + size.Name + "-" + lang)
		}
		for _, path := range []string{"/sign-in?", "/code?", "/code?for=station&", "/trust?", "/history?set=LAP-001&"} {
			tab.Open(srv.URL + path + "lang=" + lang)
			look("nobody" + strings.NewReplacer("/", "-", "?", "-", "&", "-", "=", "-").Replace(path))
		}
		// The page to sign in stands at the address that was asked for, so that the address alone shows nothing.
		tab.Click("#login")
		tab.Type("leads")
		tab.Click("#password")
		tab.Type(password)
		tab.Press("\r")
		tab.Await("location.pathname === '/history' && !document.getElementById('login')")
		tab.Open(srv.URL + "/sign-in?lang=" + lang)
		look("signed-in")
		tab.Open(srv.URL + "/people?lang=" + lang)
		look("stations")
		tab.Click("form[action='/people/station-code'] button")
		tab.Await("document.getElementById('secret')")
		look("station-code")
		code := tab.Text("#secret")

		tablet := b.Profile(t).Tab(t, size)
		tablet.Open(srv.URL + "/code?for=station")
		tablet.Click("#code")
		tablet.Type(strings.ToLower(strings.ReplaceAll(code, "-", " ")))
		tablet.Press("\r")
		tablet.Await("location.pathname.startsWith('/at/north/')")
		// From now on the station works as it does without accounts: nothing is asked for before a scan.
		at := browsertest.Eval[string](tablet, "location.pathname")
		tablet.Open(srv.URL + at + "storage")
		tablet.Type("LAP-001")
		tablet.Press("\r")
		tablet.AwaitText("#verdict", "LAP-001")

		if _, text := h.admin.post(t, "/people/token", url.Values{"role": {"audits"}, "name": {"Program"}, "days": {"3"}}); text == "" {
			t.Fatal("no token")
		}
		tab.Open(srv.URL + "/sign-in?lang=" + lang)
		tab.Click("form[action='/sign-out'] button")
		tab.Await("document.getElementById('login')")
		for _, login := range []string{"administers", "audits"} {
			tab.Click("#login")
			tab.Type(login)
			tab.Click("#password")
			tab.Type(password)
			tab.Press("\r")
			page := map[string]string{"administers": "/people", "audits": "/readers"}[login]
			tab.Await("!document.getElementById('login') || document.querySelector('[role=alert]')")
			tab.Open(srv.URL + page + "?lang=" + lang)
			tab.Await("document.querySelector('table')")
			look(login)
			tab.Open(srv.URL + "/sign-in?lang=" + lang)
			tab.Click("form[action='/sign-out'] button")
			tab.Await("document.getElementById('login')")
		}
	}
}

// saidAnewInTheBrowser: what such a station recorded it says anew by the form, and takes back; both are signed by the key in
// the browser. One without that key is refused, and nothing is recorded of it.
func (h *house) saidAnewInTheBrowser(t *testing.T, tablet *browsertest.Tab, server string) {
	t.Helper()
	const path = "/at/north/or-1/correct"
	label := func(kind events.ScanKind, id string) string {
		text, err := events.LabelText(kind, id)
		if err != nil {
			t.Fatal(err)
		}
		return text + "\r"
	}
	tablet.Open(server + "/at/north/or-1/storage")
	tablet.Type(label(events.ScanBadge, "B-1"))
	tablet.AwaitText("#bench", "B-1")
	tablet.Type(label(events.ScanSet, "LAP-001"))
	tablet.AwaitText("#bench", "LAP-001")
	tablet.Click(`button[data-key="F2"]`) // put aside: it was never released
	tablet.AwaitText(".last", "LAP-001")
	e, err := h.site.EventAt(h.site.Size())
	if err != nil {
		t.Fatal(err)
	}
	tablet.Click(`a[href="correct?event=` + e.ID + `"]`)
	tablet.Await(`document.getElementById("m-place")`)
	_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
	other := &caller{h: h}
	other.post(t, "/station-code", url.Values{"code": {secretIn(t, text)}})
	form := url.Values{"event": {e.ID}, "badge": {"B-1"}, "reason": {"no key here"}}
	if code, text := other.post(t, path, form); code != http.StatusForbidden || !strings.Contains(text, "signs on its own device") {
		t.Errorf("without the key: %d %s", code, text)
	}
	tablet.Axe()
	for _, say := range []struct{ reason, badge, done string }{
		{"#anew-reason", "#anew-badge", "Said anew"}, {"#reason", "#badge", "Taken back"},
	} {
		tablet.Click(say.reason)
		tablet.Type("the wrong shelf")
		if say.badge == "#anew-badge" {
			tablet.Click("#m-place")
			tablet.Type("cart-8") // of a record with a reason of its own, beside which the form has another
		}
		tablet.Click(say.badge)
		tablet.Type("B-1\r")
		tablet.AwaitText("[role=status]", say.done)
		n, err := h.site.SignedAt(h.site.Size())
		if d, ok := n.Data.(*events.EventCorrected); err != nil || !ok || n.Station != "north/or-1" || n.StationSeq < 2 || d.Event != e.ID {
			t.Errorf("recorded: %+v, %v", n, err)
		}
	}
	tablet.Axe()
}

// TestBrowserMakesItsKey: with a code that asks for it the page makes a key that can't be had out of the browser, and the station's pages
// find it, also in a tab that is opened later. A private window at the same station has none, and says so.
func TestBrowserMakesItsKey(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	srv := httptest.NewServer(h.all)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}, "own": {"yes"}})
	b := browsertest.Start(t)
	tablet := b.Tab(t, browsertest.Sizes()[2])
	tablet.Before(fmt.Sprintf("Date.now = () => %d;", h.clock.now().UnixMilli()))
	tablet.Open(srv.URL + "/code?for=station")
	// Firefox asks the person whether data is kept, and says nothing until they have answered.
	browsertest.Eval[bool](tablet, `(StorageManager.prototype.persist = () => new Promise(() => {}), true)`)
	tablet.Click("#code")
	tablet.Type(secretIn(t, text))
	tablet.Press("\r")
	tablet.Await(`location.pathname === "/at/north/or-1/" && document.body.dataset.signs === "here"`)
	tablet.Await(`document.getElementById("own-key").hidden`)
	tablet.Axe()
	taken := browsertest.Eval[string](tablet, `new Promise(done => {
		indexedDB.open("listbound").onsuccess = e => {
			e.target.result.transaction("stations").objectStore("stations").get("north/or-1").onsuccess = async e => {
				const {key} = e.target.result;
				try {
					done(JSON.stringify(await crypto.subtle.exportKey("jwk", key)));
				} catch (err) {
					done(err.name + " " + key.extractable);
				}
			};
		};
	})`)
	if taken != "InvalidAccessError false" {
		t.Errorf("the key: %s", taken)
	}
	h.saidAnewInTheBrowser(t, tablet, srv.URL)
	second := b.Tab(t, browsertest.Sizes()[2])
	second.Open(srv.URL + "/at/north/or-1/storage")
	second.Await(`document.body.dataset.signs === "here" && document.getElementById("own-key").hidden`)
	_, text = h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
	other := b.Profile(t).Tab(t, browsertest.Sizes()[2])
	other.Open(srv.URL + "/code?for=station")
	other.Click("#code")
	other.Type(secretIn(t, text))
	other.Press("\r")
	other.Await(`location.pathname === "/at/north/or-1/"`)
	other.AwaitText("#own-key", "signs on its own device")
	if browsertest.Eval[bool](other, `document.getElementById("own-key").hidden`) {
		t.Error("a browser without the key says nothing")
	}
}

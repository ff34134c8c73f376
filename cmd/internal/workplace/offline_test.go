package workplace_test

import (
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// line is the way to a house's server: a listener that is closed, and opened again
// at the same address.
type line struct {
	t       *testing.T
	addr    string
	handler atomic.Pointer[http.Handler]
	srv     *http.Server
	ended   chan error
}

// newLine puts the house at an address of its own.
func newLine(h *house) *line {
	l := &line{t: h.t, addr: "127.0.0.1:0"}
	l.serve(h.handler())
	l.mend()
	h.url = "http://" + l.addr
	h.t.Cleanup(l.cut)
	return l
}

func (l *line) serve(handler http.Handler) { l.handler.Store(&handler) }

func (l *line) mend() {
	l.t.Helper()
	ln, err := net.Listen("tcp", l.addr)
	if err != nil {
		l.t.Fatal(err)
	}
	l.addr = ln.Addr().String()
	l.srv = &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		(*l.handler.Load()).ServeHTTP(w, r)
	})}
	l.ended = make(chan error, 1)
	go func(srv *http.Server, ended chan<- error) { ended <- srv.Serve(ln) }(l.srv, l.ended)
}

func (l *line) cut() {
	if l.srv == nil {
		return
	}
	l.srv.Close()
	if err := <-l.ended; !errors.Is(err, http.ErrServerClosed) {
		l.t.Error(err)
	}
	l.srv = nil
}

// TestCountServerAway: with the server away the pages of a station load, in a tab that
// was there, in a new one and at places that were not opened before. They say how old
// is what they show, and a count goes on. When the server is back all of it is recorded
// once, in its order.
func TestCountServerAway(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.open("VAS-003", "K-1")
	l := newLine(h)
	b := browser(t)
	p, end := b.TabToClose(t, tablet)
	p.Open(h.at("opening"))
	p.Await(`document.body.dataset.kept`)
	l.cut()
	p.Open(h.at("count") + "?case=K-1")
	p.AwaitText("#away", "No connection. Shown is what was known at")
	p.AwaitText("#sum", "0 of 3")
	p.Press("\r3\r")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	p.AwaitText("#waiting", "not recorded yet: 2")
	p.Axe()
	p.Reload()
	p.AwaitText("#away", "No connection")
	p.AwaitText(`tr[data-line="1"] .cell`, "4 ✓")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	end()
	p, end = b.TabToClose(t, phone)
	p.Open(h.at("count") + "?case=K-1")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	p.Press("2\r")
	p.AwaitText(`tr[data-line="3"] .cell`, "2 ≠")
	p.AwaitText("#waiting", "not recorded yet: 3")
	before := h.size()
	end()
	l.mend()
	p = b.Tab(t, tablet)
	p.Open(h.at("count") + "?case=K-1")
	p.AwaitText("#sum", "3 of 3")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	p.Await(`document.querySelector("#away").textContent === ""`)
	if h.size() != before {
		t.Error("a count that nobody signed was recorded")
	}
	p.Type(label(t, events.ScanBadge, "B-1") + "\r")
	p.AwaitText("#counter", "B-1")
	p.Type(label(t, events.ScanBadge, "B-2") + "\r")
	p.Await(`document.querySelector(".verdict").textContent.includes("B-2") || document.body.dataset.answered`)
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:"))`)
	p.Press("\r")
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:"))`)
	got := h.events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 {
		t.Fatalf("%d counts are recorded", len(got))
	}
	var counted []int64
	for _, c := range got[0].(*events.SetCounted).Counts {
		counted = append(counted, c.Counted)
	}
	if len(counted) != 3 || counted[0] != 4 || counted[1] != 3 || counted[2] != 2 {
		t.Errorf("counted %v", counted)
	}
}

// TestSheetServerAway: the right sheet is told from another set's with the server away,
// what can't be told is said, and what answers nothing in sight is not taken. Back, the
// server has what was scanned in its order, and its own STOP is shown.
func TestSheetServerAway(t *testing.T) {
	for _, place := range []string{"opening", "storage"} {
		t.Run(place, func(t *testing.T) {
			h := newHouse(t)
			l := newLine(h)
			b := browser(t)
			p, end := b.TabToClose(t, tablet)
			p.Open(h.at(place))
			p.Await(`document.body.dataset.kept`)
			l.cut()
			p.Reload()
			p.AwaitText("#away", "No connection")
			before := h.size()
			p.Press("\r")
			p.AwaitText("#away", "This was not taken")
			p.Type(label(t, events.ScanTag, "LAP-014") + "\r")
			p.AwaitText("#verdict", "LAP-014: now scan the count sheet")
			p.Type(h.codes["LAP-014"] + "\r")
			p.AwaitText("#verdict", "By its code this count sheet belongs to LAP-014")
			p.Await(`document.querySelector("#verdict .verdict").classList.contains("open")`)
			p.Type(label(t, events.ScanTag, "VAS-003") + "\r")
			p.AwaitText("#verdict", "VAS-003 is not kept: LAP-014 still lies here")
			p.Type(h.codes["LAP-022"] + "\r")
			p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			p.Await(`document.querySelector("#verdict .verdict").classList.contains("broken") && document.body.dataset.sound === "wrong"`)
			p.AwaitText("#verdict .hands", "LAP-014")
			p.Axe()
			p.View("away-stop-" + place)
			p.Reload()
			p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			end()
			l.mend()
			// At another place of the station the STOP is shown, too.
			p = b.Tab(t, tablet)
			p.Open(h.at("packing"))
			p.AwaitText("#late", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			p.Axe()
			p.Touch("#late a")
			p.Await(`location.pathname.endsWith(` + strconv.Quote("/"+place) + `)`)
			p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			if h.size() != before {
				t.Error("something was recorded that nobody confirmed")
			}
		})
	}
}

// TestUnknownSheetServerAway: a sheet of a turn that was not known when the line went
// is not judged.
func TestUnknownSheetServerAway(t *testing.T) {
	h := newHouse(t)
	l := newLine(h)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("opening"))
	p.Await(`document.body.dataset.kept`)
	h.record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	code := h.record("north/packing-1", events.KindListSealed, "VAS-009", &events.ListSealed{Placement: events.Outside}).SheetCode
	l.cut()
	p.AwaitText("#away", "No connection")
	p.Type(label(t, events.ScanTag, "LAP-014") + "\r" + code + "\r")
	p.AwaitText("#verdict", "Not judged until the connection is back")
	l.mend()
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to VAS-009, not to LAP-014")
	p.Await(`document.body.dataset.sound === "wrong" && document.querySelector("#away").textContent === ""`)
}

// TestWorkerOfAnotherVersion: another version of the program replaces what a browser
// keeps; one whose files are not all there does not; and a program without a worker is
// rid of it.
func TestWorkerOfAnotherVersion(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.version = "1.0"
	l := newLine(h)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("opening"))
	p.Await(`document.body.dataset.kept`)
	kept := func(of string) {
		t.Helper()
		awaitAll(t, p, `caches.keys().then(k => k.length === 1 && k[0].startsWith("station /at/ `+of+`-"))`)
	}
	kept("1.0")
	h.version = "2.0"
	next := h.handler()
	l.serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/count.js") {
			http.NotFound(w, r)
			return
		}
		next.ServeHTTP(w, r)
	}))
	if browsertest.Eval[bool](p, `navigator.serviceWorker.getRegistration().then(r => r.update().then(() => new Promise(done => {
		const w = r.installing;
		if (!w) return done(false);
		w.addEventListener("statechange", () => { if (w.state !== "installing") done(w.state !== "redundant"); });
	})))`) {
		t.Error("a version with a file missing was kept")
	}
	kept("1.0")
	l.serve(next)
	p.Reload()
	kept("2.0")
	l.cut()
	p.Reload()
	p.AwaitText("#verdict", "Scan")
	l.mend()
	l.serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case strings.HasSuffix(r.URL.Path, "/sw.js"):
			http.NotFound(w, r)
			return
		case !strings.HasSuffix(r.URL.Path, "/opening"):
			next.ServeHTTP(w, r)
			return
		}
		page := httptest.NewRecorder()
		next.ServeHTTP(page, r)
		for name, values := range page.Header() {
			w.Header()[name] = values
		}
		io.WriteString(w, strings.Replace(page.Body.String(), ` data-worker="`, ` data-none="`, 1))
	}))
	p.Reload()
	// A slow answer counts as none: then it is the page of before, which asks for a worker.
	for browsertest.Eval[bool](p, `"worker" in document.getElementById("away").dataset`) {
		p.Reload()
	}
	awaitAll(t, p, `navigator.serviceWorker.getRegistration().then(r => !r)`)
	awaitAll(t, p, `caches.keys().then(k => k.length === 0)`)
}

// TestPlainHTTP: a page that can't be there without the server says so, once in a tab.
func TestPlainHTTP(t *testing.T) {
	h := newHouse(t, "VAS-003")
	p := browser(t).Tab(t, tablet)
	at := strings.Replace(h.at("opening"), "127.0.0.1", "station.test", 1)
	p.Open(at)
	p.AwaitText("#away", "Without the server this page can’t be loaded here")
	p.Axe()
	p.Open(at)
	p.Await(`document.activeElement.id === "code" && document.getElementById("scan").dataset.ready`)
	if got := p.Text("#away"); got != "" {
		t.Errorf("it is told again: %s", got)
	}
}

// awaitAll waits until a promise of the page comes true.
func awaitAll(t *testing.T, p *browsertest.Tab, promise string) {
	t.Helper()
	browsertest.Eval[bool](p,
		`(window.came = false, (async () => { while (!await (`+promise+`)) await new Promise(r => setTimeout(r, 10)); window.came = true; })(), true)`)
	p.Await(`window.came`)
}

// TestKnownOfSets: of each set the turn it is on is known, of its last packing; of one
// whose last packing was corrected nothing is, nor of people or cases.
func TestKnownOfSets(t *testing.T) {
	h := newHouse(t)
	h.open("LAP-014", "K-1")
	h.record("north/packing-1", events.KindSetPacked, "LAP-014", &events.SetPacked{List: "LAP-MAJOR", Version: 1})
	again := h.record("north/packing-1", events.KindListSealed, "LAP-014", &events.ListSealed{Placement: events.Outside})
	packed := h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.record("north/packing-1", events.KindEventCorrected, "", &events.EventCorrected{Event: packed.ID,
		Action: "void", Reason: "another set"})
	want := `{"sets":{"LAP-014":"` + again.SheetCode[1:26] + `","LAP-022":"` + h.codes["LAP-022"][1:26] + `"}}`
	if got := strings.TrimSpace(h.get("/at/north/or-3/known")); got != want {
		t.Errorf("known is %s, not %s", got, want)
	}
}

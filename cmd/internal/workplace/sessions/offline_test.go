package sessions_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestUnknownSheetServerAway: a sheet of a turn that was not known when the line went
// is not judged.
func TestUnknownSheetServerAway(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	l := workplacetest.NewLine(h)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Await(`document.body.dataset.kept`)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	code := h.Record("north/packing-1", events.KindListSealed, "VAS-009", &events.ListSealed{Placement: events.Outside}).SheetCode
	l.Cut()
	p.AwaitText("#away", "No connection")
	p.Type(workplacetest.Label(t, events.ScanTag, "LAP-014") + "\r" + code + "\r")
	p.AwaitText("#verdict", "Not judged until the connection is back")
	l.Mend()
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to VAS-009, not to LAP-014")
	p.Await(`document.body.dataset.sound === "wrong" && document.querySelector("#away").textContent === ""`)
}

// TestWorkerOfAnotherVersion: another version of the program replaces what a browser
// keeps; one whose files are not all there does not; and a program without a worker is
// rid of it.
func TestWorkerOfAnotherVersion(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Version = "1.0"
	l := workplacetest.NewLine(h)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Await(`document.body.dataset.kept`)
	kept := func(of string) {
		t.Helper()
		awaitAll(t, p, `caches.keys().then(k => k.length === 1 && k[0].startsWith("station /at/ `+of+`-"))`)
	}
	kept("1.0")
	h.Version = "2.0"
	next := h.Handler()
	l.Serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
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
	l.Serve(next)
	p.Reload()
	kept("2.0")
	awaitAll(t, p, `navigator.serviceWorker.getRegistration().then(r => !r.installing && !r.waiting && r.active?.state === "activated")`)
	l.Cut()
	p.Reload()
	p.AwaitText("#verdict", "Scan")
	l.Mend()
	l.Serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
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
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	at := strings.Replace(h.At("opening"), "127.0.0.1", "station.test", 1)
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
		`(window.came = false, (async () => {
			while (!await (`+promise+`)) await new Promise(r => setTimeout(r, 10));
			window.came = true;
		})(), true)`)
	p.Await(`window.came`)
}

// TestKnownOfSets: of each set the turn it is on is known, of its last packing; of one
// whose last packing was corrected nothing is, nor of people or cases.
func TestKnownOfSets(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-1")
	h.Record("north/packing-1", events.KindSetPacked, "LAP-014", &events.SetPacked{List: "LAP-MAJOR", Version: 1})
	again := h.Record("north/packing-1", events.KindListSealed, "LAP-014", &events.ListSealed{Placement: events.Outside})
	packed := h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Record("north/packing-1", events.KindEventCorrected, "", &events.EventCorrected{Event: packed.ID,
		Action: "void", Reason: "another set"})
	want := map[string]map[string]string{"sets": {
		"LAP-014": again.SheetCode[1:26], "LAP-022": h.Codes["LAP-022"][1:26],
	}}
	var got map[string]map[string]string // in any order, and nothing besides
	if err := json.Unmarshal([]byte(h.Get("/at/north/or-3/known")), &got); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("known is %v (%v), not %v", got, err, want)
	}
}

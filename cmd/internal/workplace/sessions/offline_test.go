package sessions_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
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

// fetchAgain has an open page fetch the others, as it does every few minutes.
const fetchAgain = `(document.body.dataset.kept = "", navigator.serviceWorker.dispatchEvent(new Event("controllerchange")))`

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
	for _, spoilt := range []func(w http.ResponseWriter, r *http.Request){
		http.NotFound,
		func(w http.ResponseWriter, _ *http.Request) { // the one that was started in its place
			w.Header().Set("Content-Type", "text/javascript")
			io.WriteString(w, "// of version 3.0")
		},
	} {
		l.Serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if strings.HasSuffix(r.URL.Path, "/count.js") {
				spoilt(w, r)
				return
			}
			next.ServeHTTP(w, r)
		}))
		if browsertest.Eval[bool](p, `navigator.serviceWorker.getRegistration().then(r => r.update().then(() => new Promise(done => {
			const w = r.installing;
			if (!w) return done(false);
			w.addEventListener("statechange", () => { if (w.state !== "installing") done(w.state !== "redundant"); });
		})))`) {
			t.Error("a version with a file missing, or another's, was kept")
		}
		kept("1.0")
	}
	l.Serve(next)
	browsertest.Eval[bool](p, fetchAgain)
	kept("2.0") // though nobody opened a page
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

// otherBuild serves the same program as another build: its files have other sums, and by those of before they are answered,
// and not kept. Its first script says in the page that it ran; what the worker holds it against says otherwise, so that the
// worker can't be had.
func otherBuild(h http.Handler) http.Handler {
	const flip = "0123456789abcdef"
	sums := regexp.MustCompile(`/(assets|workplace)/([0-9a-f]{16})/`)
	other := func(text string) string {
		return sums.ReplaceAllStringFunc(text, func(part string) string {
			m := sums.FindStringSubmatch(part)
			turned := []byte(m[2])
			for i, c := range turned {
				turned[i] = flip[15-strings.IndexByte(flip, c)]
			}
			return "/" + m[1] + "/" + string(turned) + "/"
		})
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/changes") {
			h.ServeHTTP(w, r)
			return
		}
		mine, rec := r.Clone(r.Context()), httptest.NewRecorder()
		mine.URL.Path = other(r.URL.Path)
		h.ServeHTTP(rec, mine)
		for name, values := range rec.Header() {
			if name != "Content-Length" {
				w.Header()[name] = values
			}
		}
		w.WriteHeader(rec.Code)
		io.WriteString(w, other(rec.Body.String()))
		if strings.HasSuffix(r.URL.Path, "/early.js") {
			io.WriteString(w, `document.documentElement.dataset.build = "other";`)
		}
	})
}

// TestPageBeforeItsWorker: a page of another build than the worker's has its scripts when the server is away, its own where
// it was opened before, the worker's where it was only fetched for that.
func TestPageBeforeItsWorker(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Version = "1.0"
	l := workplacetest.NewLine(h)
	p := workplacetest.Browser(t).Profile(t).Tab(t, workplacetest.Tablet)
	forget := func() { // what the browser keeps beside the worker, which it may throw away at any time
		t.Helper()
		p.Do(func(ctx context.Context, tg *chromedp.Target) (none chromedp.Void, err error) {
			return none, tg.Call(ctx, network.CommandClearBrowserCache, cdp.Empty{}, nil)
		})
	}
	const runs = `document.getElementById("scan")?.dataset.ready`
	const early = `document.querySelector("script[src$='/early.js']").src`
	p.Open(h.At("opening"))
	p.Await(`document.body.dataset.kept`)
	old := browsertest.Eval[string](p, early)
	h.Version = "2.0"
	l.Serve(otherBuild(h.Handler()))
	// The page that is open fetches all others again.
	browsertest.Eval[bool](p, fetchAgain)
	p.Await(`document.body.dataset.kept`)
	l.Cut()
	forget()
	p.Reload()
	p.Await(runs)
	if got := browsertest.Eval[string](p, early); got == old {
		t.Error("the page is of the build before")
	}
	l.Mend()
	p.Reload()
	p.Await(runs + ` && document.documentElement.dataset.build === "other"`)
	const unknown = `"/assets/0123456789abcdef/shell.css"`
	if !browsertest.Eval[bool](p, `fetch(`+unknown+`).then(async r => r.ok && !await caches.match(`+unknown+`))`) {
		t.Error("what is answered under a sum that the server doesn't know is kept")
	}
	l.Cut()
	forget()
	p.Reload()
	p.Await(runs + ` && document.documentElement.dataset.build === "other" && document.getElementById("away").textContent`)
}

// TestScriptsOfThePage: a page that is answered from what was kept runs the scripts that were kept with it, whatever a server
// of another version answers under their names.
func TestScriptsOfThePage(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	l := workplacetest.NewLine(h)
	whole := h.Handler()
	l.Serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { // behind a proxy that lets nothing be kept
		whole.ServeHTTP(keepsNothing{w}, r)
	}))
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Await(`document.body.dataset.kept`)
	l.Serve(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasSuffix(r.URL.Path, ".js") {
			panic(http.ErrAbortHandler)
		}
		w.Header().Set("Content-Type", "text/javascript")
		w.Header().Set("Cache-Control", "no-store")
		io.WriteString(w, `document.documentElement.dataset.build = "other";`)
	}))
	p.Reload()
	p.Await(`document.getElementById("scan").dataset.ready`)
	if browsertest.Eval[bool](p, `document.documentElement.dataset.build === "other"`) {
		t.Error("the page ran another version's script")
	}
}

// keepsNothing is an answer that a proxy marks as not to be kept.
type keepsNothing struct{ http.ResponseWriter }

func (k keepsNothing) WriteHeader(code int) {
	k.Header().Set("Cache-Control", "no-store")
	k.ResponseWriter.WriteHeader(code)
}

func (k keepsNothing) Write(b []byte) (int, error) {
	k.Header().Set("Cache-Control", "no-store")
	return k.ResponseWriter.Write(b)
}

func (k keepsNothing) Unwrap() http.ResponseWriter { return k.ResponseWriter }

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

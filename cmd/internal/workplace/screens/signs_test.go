//go:build !race

package screens_test

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// houseNow is a house whose clock shows what the browser's shows: a station signs what is of this moment.
func houseNow(t *testing.T, sets ...string) *workplacetest.House {
	t.Helper()
	h := workplacetest.NewHouse(t, sets...)
	h.Now.Store(time.Now().UnixNano())
	return h
}

// clockOf is run in each page of a tab that shows the house's time and is set ahead with it: a test that goes through a day must not
// run into another one, whenever it is run.
func clockOf(h *workplacetest.House) string {
	return fmt.Sprintf(`{ const now = Date.now; Date.now = () => now() + %d + Number(localStorage.getItem("ahead") || 0); }`,
		time.Until(h.Clock()).Milliseconds())
}

// TestTripSignedInTheBrowser takes a set through every workplace at two stations whose keys are in the browser. It takes the
// same keys and scans as with the server's keys, the chain is whole, and the server has no key that signed any of it.
func TestTripSignedInTheBrowser(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(24 * time.Hour)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Before(clockOf(h))
	h.MakesKey(p, "north/sterilizer-1")
	h.MakesKey(p, "north/or-3")
	badge := func(id string) string { return workplacetest.Label(t, events.ScanBadge, id) + "\r" }
	set := workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r"
	first := h.Size()

	p.Open(h.At("packing"))
	p.Type(set)
	p.AwaitText("#verdict", "is not opened")
	p.Touch(`[data-do="anew"]`)
	for _, line := range []string{"4 × Forceps, mosquito", "2 × Clamp, vascular", "3 × Probe"} {
		p.AwaitText("#verdict", line)
		p.Press("\r")
	}
	p.AwaitText("#verdict", "Weigh it")
	p.Type("8,4\r")
	p.AwaitText("#verdict", "Scan your badge")
	p.Type(badge("B-1182"))
	p.AwaitText("#bench", "B-1182")
	p.Press("\r")
	p.AwaitText("#bench", "VAS-003 packed")
	p.Press("\r")
	p.Await(`location.pathname.endsWith("/sealing")`)
	p.AwaitText("#verdict", "where does the count sheet go?")
	p.Click(`[data-placement="outside"]`) // when the page's scripts have run
	p.AwaitText("#bench", "B-1182")
	h.Ahead(p, 20*time.Minute)
	p.Press("\r")
	p.AwaitText("#bench", "VAS-003 closed")
	sealed := h.Events(site.Query{Set: "VAS-003"}, events.KindListSealed)
	code := sealed[len(sealed)-1].(*events.ListSealed).Code

	p.Open(h.URL + "/at/north/sterilizer-1/sterilizer")
	browsertest.Eval[bool](p, `(document.querySelector("#sterilizer").value = "S1", document.querySelector("#run").value = "2",
		document.querySelector("#cycle").value = "dynamic-air-132", document.querySelector("[data-do=begin]").requestSubmit(), true)`)
	p.AwaitText("#verdict", "Scan sets into S1-")
	p.Type(set)
	p.AwaitText("#verdict", "VAS-003 in load S1-")
	p.Type(badge("B-2043"))
	p.AwaitText("#bench", "B-2043")
	p.Touch(`[data-do="start"]`)
	p.Await(`document.querySelector("[data-result='failed']")`)
	h.Ahead(p, 20*time.Minute)
	p.Touch(`[data-result="passed"][data-released="yes"]`)
	p.AwaitText("#verdict", "is released (sets: 1)")

	h.Ahead(p, 20*time.Minute)
	p.Open(h.At("opening"))
	p.Type(set + "(8004)VAS-003\r" + code + "\r")
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Type("1\r" + workplacetest.Label(t, events.ScanCase, "K-77") + "\r" + badge("B-3310"))
	p.AwaitText("#bench", "B-3310")
	p.Touch(`[data-indicator="pass"]`)
	p.Await(`document.querySelector("[data-indicator='pass']").getAttribute("aria-pressed") === "true"`)
	p.Press("\r")
	p.AwaitText(".last", "VAS-003 opened for K-77")

	for _, stage := range []string{"First count", "Final count"} {
		h.Ahead(p, 20*time.Minute)
		p.Open(h.At("count") + "?case=K-77")
		p.AwaitText("h1", stage)
		if stage == "Final count" {
			p.Press("\r")
			p.AwaitText("#verdict", "Begin: Final count")
			p.Touch(`[data-do="begin"]`)
		}
		p.Await(`document.querySelector("tr.now")?.dataset.line === "1"`)
		p.Press("\r\r\r" + badge("B-3310") + badge("B-3322"))
		p.AwaitText("#verdict", stage+" recorded")
	}
	h.Ahead(p, 20*time.Minute)
	p.Open(h.At("close") + "?case=K-77")
	p.AwaitText("#verdict", "The counts of K-77 come out")
	p.Type(badge("B-3322"))
	p.AwaitText("#verdict", "second person")
	p.Type(badge("B-3310"))
	p.AwaitText("#verdict", "Case K-77 closed, counts come out")

	if v := h.Verdict("VAS-003", h.Trip("VAS-003")); v.Status != projections.Whole || len(v.Findings) != 0 {
		t.Errorf("the chain is %s: %+v", v.Status, v.Findings)
	}
	h.SignedElsewhere(first, events.KindSetPacked, events.KindListSealed, events.KindSetSterilized, events.KindSetOpened,
		events.KindSetCounted, events.KindSetCounted, events.KindCaseClosed)
	custody, err := h.Site.Custody(t.Context(), func(string) int64 { return h.Site.Size() + 1 })
	if err != nil || !slices.Contains(custody.Own, "north/or-3") || !slices.Contains(custody.Own, "north/sterilizer-1") {
		t.Errorf("whose key lies where: %+v, %v", custody, err)
	}
}

// TestSignedOnceThroughCuts: of what two tabs of one browser record while answers are lost, requests are cut and a tab dies between
// signature and answer, each is recorded once, in one numbering without a hole.
func TestSignedOnceThroughCuts(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014", "LAP-022", "LAP-030")
	h.Open("LAP-014", "K-1")
	h.Open("LAP-030", "K-2")
	h.Now.Store(time.Now().UnixNano())
	b := workplacetest.Browser(t)
	p, end := b.TabToClose(t, workplacetest.Tablet)
	h.MakesKey(p, "north/or-3")
	size, handler := h.Size(), h.Handler()
	badge := workplacetest.Label(t, events.ScanBadge, "B-2051") + "\r"
	enters := func(p *browsertest.Tab, set string) {
		t.Helper()
		p.Type(workplacetest.Label(t, events.ScanSet, set) + "\r")
		p.AwaitText("#verdict", set)
		p.Await(`!document.querySelector("#waiting").textContent && document.getElementById("bench").textContent.includes("` + set + `")`)
	}
	// through hands a request on, or not, and its answer back, or not.
	through := func(reaches, answered func(signed bool) bool) {
		proxy := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			raw, err := io.ReadAll(r.Body)
			if err != nil {
				t.Error(err)
			}
			signed := bytes.Contains(raw, []byte(`"signed":[`))
			r.Body = io.NopCloser(bytes.NewReader(raw))
			rec := httptest.NewRecorder()
			if reaches(signed) {
				handler.ServeHTTP(rec, r)
			}
			if !answered(signed) {
				if c, _, err := http.NewResponseController(w).Hijack(); err == nil {
					c.Close()
				}
				return
			}
			maps.Copy(w.Header(), rec.Header())
			w.WriteHeader(rec.Code)
			w.Write(rec.Body.Bytes())
		})
		h.Proxy.Store(&proxy)
	}
	always := func(bool) bool { return true }
	p.Open(h.At("storage"))
	p.Type(badge)
	p.AwaitText("#bench", "B-2051")

	// Each of the two answers is lost once.
	enters(p, "VAS-003")
	var asked, recorded atomic.Int64
	through(always, func(signed bool) bool {
		if signed {
			return recorded.Add(1) > 1
		}
		return asked.Add(1) > 1
	})
	p.Press("\r")
	p.AwaitText(".last", "VAS-003 checked")
	if got := h.ChainOf("north/or-3", size); got != 1 || asked.Load() < 2 || recorded.Load() < 1 {
		t.Errorf("%d records after %d and %d requests", got, asked.Load(), recorded.Load())
	}

	// What is signed does not reach the server, and the tab dies. The text beside the record has its salt.
	h.Proxy.Store(nil)
	missing := func(p *browsertest.Tab, set string) {
		t.Helper()
		p.Open(h.At("pieces"))
		p.Type(badge + workplacetest.Label(t, events.ScanSet, set) + "\r")
		p.AwaitText("#verdict", "which line?")
		p.Type("1\r")
		p.AwaitText("#verdict", "what became of it?")
		p.Touch(`[data-do="became"]`)
		p.Await(`document.querySelector("[data-do=became]").getAttribute("aria-pressed") === "true"`)
		browsertest.Eval[bool](p, `(document.querySelector("#piece-note").value = "tip gone",
			document.querySelector("[data-do=about]").requestSubmit(), true)`)
		p.Await(`document.querySelector("#piece-note").getAttribute("value") === "tip gone"`)
	}
	missing(p, "LAP-014")
	var tried atomic.Int64
	through(func(signed bool) bool { return !signed }, func(signed bool) bool {
		if signed {
			tried.Add(1)
		}
		return !signed
	})
	p.Press("\r")
	p.AwaitText("#waiting", "not recorded yet: 1")
	pending := browsertest.Eval[string](p, row+`.then(r => r.pending.records[0].signed)`)
	end()
	if h.ChainOf("north/or-3", size) != 1 || tried.Load() == 0 {
		t.Fatal("recorded without the signed record")
	}
	h.Proxy.Store(nil)
	// Another tab finds it.
	p = b.Tab(t, workplacetest.Tablet)
	p.Open(h.At("return"))
	p.Await(row + `.then(r => !r.pending) && !Object.keys(localStorage).some(k => k.startsWith("waiting:"))`)
	if got := h.ChainOf("north/or-3", size); got != 2 {
		t.Fatalf("%d records", got)
	}
	if got := h.NoteAt(h.Size()); string(got) != pending {
		t.Errorf("recorded is %q, signed was %q", got, pending)
	}

	// Two tabs at once.
	one, two := p, b.Tab(t, workplacetest.Tablet)
	one.Open(h.At("storage"))
	missing(two, "LAP-030")
	enters(one, "LAP-022")
	// Neither record reaches the server before both tabs have been asked to sign.
	both := make(chan struct{})
	var asking atomic.Int64
	through(func(signed bool) bool {
		if signed {
			<-both
		}
		return true
	}, func(signed bool) bool {
		if !signed && asking.Add(1) == 2 {
			close(both)
		}
		return true
	})
	one.Press("\r")
	two.Press("\r")
	one.AwaitText(".last", "LAP-022 checked")
	two.AwaitText(".last", "LAP-030")
	if got := h.ChainOf("north/or-3", size); got != 4 {
		t.Errorf("%d records of two tabs", got)
	}
}

// row is what the browser keeps of its station.
const row = `new Promise(done => {
	indexedDB.open("listbound").onsuccess = e => {
		const got = e.target.result.transaction("stations").objectStore("stations").get("north/or-3");
		got.onsuccess = () => { e.target.result.close(); done(got.result); };
	};
})`

// TestCopiedProfile: a browser whose data was put back to an earlier time, or copied, signs nothing more: the server is ahead of it. What
// waits stays, and is recorded once the browser has made another key; that one begins with 1.
func TestCopiedProfile(t *testing.T) {
	t.Parallel()
	h := houseNow(t, "VAS-003", "LAP-014")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	h.MakesKey(p, "north/or-3")
	checks := func(set string) {
		t.Helper()
		p.Type(workplacetest.Label(t, events.ScanSet, set) + "\r")
		p.AwaitText("#bench", set)
		p.Press("\r")
	}
	keep := func(from, to string) {
		t.Helper()
		browsertest.Eval[bool](p, fmt.Sprintf(`new Promise(done => {
			indexedDB.open("listbound").onsuccess = e => {
				const tx = e.target.result.transaction("stations", "readwrite"), s = tx.objectStore("stations");
				s.get(%q).onsuccess = e => s.put(e.target.result, %q);
				tx.oncomplete = () => { e.target.result.close(); done(true); };
			};
		})`, from, to))
	}
	p.Open(h.At("storage"))
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-2051") + "\r")
	p.AwaitText("#bench", "B-2051")
	keep("north/or-3", "copy")
	checks("VAS-003")
	p.AwaitText(".last", "VAS-003 checked")
	keep("copy", "north/or-3")
	size := h.Size()
	checks("LAP-014")
	p.AwaitText("#own-key", "its data was copied or put back")
	p.AwaitText("#waiting", "Not signed, and so not recorded yet: 1")
	p.Axe()
	if h.Size() != size {
		t.Fatal("recorded")
	}
	h.MakesKey(p, "north/or-3")
	begins := h.Size()
	p.Open(h.At("storage"))
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:"))`)
	if got := h.ChainOf("north/or-3", begins); got != 1 {
		t.Errorf("%d records by the new key", got)
	}
}

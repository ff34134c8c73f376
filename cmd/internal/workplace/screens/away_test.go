//go:build !race

package screens_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestCountServerAway: with the server away the pages of a station load, in a tab that
// was there, in a new one and at places that were not opened before. They say how old
// is what they show, and a count goes on. When the server is back all of it is recorded
// once, in its order.
func TestCountServerAway(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-1")
	l := workplacetest.NewLine(h)
	b := workplacetest.Browser(t)
	p, end := b.TabToClose(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Await(`document.body.dataset.kept`)
	l.Cut()
	p.Open(h.At("count") + "?case=K-1")
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
	p, end = b.TabToClose(t, workplacetest.Phone)
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	p.Press("2\r")
	p.AwaitText(`tr[data-line="3"] .cell`, "2 ≠")
	p.AwaitText("#waiting", "not recorded yet: 3")
	before := h.Size()
	end()
	l.Mend()
	p = b.Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#sum", "3 of 3")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	p.Await(`document.querySelector("#away").textContent === ""`)
	if h.Size() != before {
		t.Error("a count that nobody signed was recorded")
	}
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r")
	p.AwaitText("#counter", "B-1")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-2") + "\r")
	p.Await(`document.querySelector(".verdict").textContent.includes("B-2") || document.body.dataset.answered`)
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:"))`)
	p.Press("\r")
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:"))`)
	got := h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)
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
	t.Parallel()
	for _, place := range []string{"opening", "storage"} {
		t.Run(place, func(t *testing.T) {
			h := workplacetest.NewHouse(t)
			l := workplacetest.NewLine(h)
			b := workplacetest.Browser(t)
			p, end := b.TabToClose(t, workplacetest.Tablet)
			p.Open(h.At(place))
			p.Await(`document.body.dataset.kept`)
			l.Cut()
			p.Reload()
			p.AwaitText("#away", "No connection")
			before := h.Size()
			p.Press("\r")
			p.AwaitText("#away", "This was not taken")
			p.Type(workplacetest.Label(t, events.ScanTag, "LAP-014") + "\r")
			p.AwaitText("#verdict", "LAP-014: now scan the count sheet")
			p.Type(h.Codes["LAP-014"] + "\r")
			p.AwaitText("#verdict", "By its code this count sheet belongs to LAP-014")
			p.Await(`document.querySelector("#verdict .verdict").classList.contains("open")`)
			p.Type(workplacetest.Label(t, events.ScanTag, "VAS-003") + "\r")
			p.AwaitText("#verdict", "VAS-003 is not kept: LAP-014 still lies here")
			// It stays in sight when the page asks for the server again.
			const asked = `performance.getEntriesByType("resource").filter(e => e.name.endsWith("/state")).length`
			p.Await(`(globalThis.had ??= ` + asked + `) < ` + asked)
			p.AwaitText("#verdict", "VAS-003 is not kept: LAP-014 still lies here")
			p.Type(h.Codes["LAP-022"] + "\r")
			p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			p.Await(`document.querySelector("#verdict .verdict").classList.contains("broken") && document.body.dataset.sound === "wrong"`)
			p.AwaitText("#verdict .hands", "LAP-014")
			p.Axe()
			p.View("away-stop-" + place)
			p.Reload()
			p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			end()
			l.Mend()
			// At another place of the station the STOP is shown, too.
			p = b.Tab(t, workplacetest.Tablet)
			p.Open(h.At("packing"))
			p.AwaitText("#late", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			p.Axe()
			p.Touch("#late a")
			p.Await(`location.pathname.endsWith(` + strconv.Quote("/"+place) + `)`)
			p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014")
			if h.Size() != before {
				t.Error("something was recorded that nobody confirmed")
			}
		})
	}
}

// TestTenSecondsOffline: what is entered meanwhile is shown as waiting and goes
// out in order, once, when the line is back; also over a reload.
func TestTenSecondsOffline(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0600")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Open(h.At("count") + "?case=K-0600")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r")
	p.AwaitText("#sum", "2 of 60")
	h.Cut.Store(true)
	p.Press("\r9\r")
	p.Press("\r") // sooner it would be the second Enter of a scanner
	p.AwaitText("#waiting", "not recorded yet: 3")
	p.AwaitText(`tr[data-line="4"] .cell`, "waits")
	p.View("count-offline-phone")
	p.Axe()
	wait := 10 * time.Second
	if testing.Short() {
		wait = 2 * time.Second
	}
	browsertest.Eval[bool](p, fmt.Sprintf(`new Promise(done => setTimeout(() => done(true), %d))`, wait.Milliseconds()))
	if got := p.Text("#waiting"); !strings.Contains(got, "not recorded yet: 3") {
		t.Errorf("after %s the page says %q", wait, got)
	}
	h.Cut.Store(false)
	p.AwaitText("#sum", "5 of 60")
	p.AwaitText(`tr[data-line="4"] .cell`, "9 ≠")
	p.Await(`document.querySelector("#waiting").textContent === ""`)
	h.Cut.Store(true)
	p.Press("\r")
	p.AwaitText("#waiting", "not recorded yet: 1")
	h.Cut.Store(false)
	p.Reload()
	p.AwaitText("#sum", "6 of 60")
}

// TestOldEntriesAreAsked: what waited for longer than a shift is shown with its time at
// each page of the station, and sent once somebody says that it is still meant, as of
// then; else it is thrown away. What is entered meanwhile doesn't wait for that.
func TestOldEntriesAreAsked(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Worker.Store(true)
	h.After(48 * time.Hour)
	b := workplacetest.Browser(t)
	p := b.Tab(t, workplacetest.Tablet)
	const at = "/at/north/or-3/storage"
	tag, sheet := workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-014"]
	p.Open(h.At("packing"))
	workplacetest.Waiting(p, at, 1, 20*time.Hour, tag, sheet, "")
	p.Reload()
	p.AwaitText("#old", "Are these still meant?")
	p.AwaitText("#old", "Storage · LAP-014")
	p.AwaitText("#old", "Count sheet code "+sheet[:8]+"…")
	p.AwaitText("#old", "Enter")
	p.Axe()
	p.View("old-entries-tablet")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-2") + "\r")
	p.AwaitText("#bench", "B-2")
	before := h.Size()
	p.Open(h.At("storage"))
	p.AwaitText("#old", "LAP-014")
	p.Touch(`#old [data-act="take"]`)
	p.Await(`document.querySelector("#old").hidden`)
	p.AwaitText("#verdict", "This count sheet belongs to LAP-014")
	p.AwaitText("#untaken", "Enter") // the screen had not asked anything
	p.AwaitText("#verdict", "Where was the count sheet?")
	if h.Size() != before {
		t.Error("something was recorded that nobody was asked")
	}
	workplacetest.Waiting(p, at, 1, 20*time.Hour, workplacetest.Label(t, events.ScanTag, "VAS-003"))
	p.Reload()
	p.AwaitText("#old", "VAS-003")
	p.Touch(`#old [data-act="drop"]`)
	p.Await(`document.querySelector("#old").hidden`)
	p.Reload()
	p.Await(`document.body.dataset.kept && document.querySelector("#old").hidden`)
	if got := p.Text("#bench"); strings.Contains(got, "VAS-003") {
		t.Errorf("thrown away, and here: %s", got)
	}
}

// TestUntakenEntriesAreTold: what waited and is not taken, since another screen went on
// here meanwhile, is listed: somebody scanned it.
func TestUntakenEntriesAreTold(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Open(h.At("packing"))
	h.After(2 * time.Minute)
	now := h.Post("/at/north/or-3/storage/scan", fmt.Sprintf(`{"client":"alive","n":1,"rev":1,"text":%q}`,
		workplacetest.Label(t, events.ScanTag, "LAP-014")))
	h.Post("/at/north/or-3/storage/scan", fmt.Sprintf(`{"client":"alive","n":2,"rev":%v,"text":%q}`, now["rev"], h.Codes["LAP-014"]))
	tag := workplacetest.Label(t, events.ScanTag, "LAP-022")
	workplacetest.Waiting(p, "/at/north/or-3/storage", 1, time.Minute, tag, h.Codes["LAP-022"])
	p.Open(h.At("storage"))
	p.AwaitText("#untaken", "These were not taken")
	p.AwaitText("#untaken", "Count sheet code "+h.Codes["LAP-022"][:8])
	p.AwaitText("#untaken", "LAP-022")
	p.AwaitText("#verdict", "This count sheet belongs to LAP-014")
	p.Axe()
	p.View("untaken-phone")
	p.Touch(`#untaken [data-act="seen"]`)
	p.Await(`document.querySelector("#untaken").hidden`)
}

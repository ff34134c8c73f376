//go:build !race

package screens_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestAnswersInView: all answers of a question are in view together with it, without scrolling: on the tablet, the phone,
// at 200 % zoom and on a desk, in both languages.
func TestAnswersInView(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "LAP-014", "LAP-022", "VAS-003", "VAS-009")
	h.Used("K-0", "LAP-022")
	h.Record("north/sterilizer-1", events.KindSetSterilized, "LAP-014", &events.SetSterilized{Load: "S1-0304-05", Sterilizer: "S1",
		Run: 5, Cycle: "c-134", Result: "failed"})
	at := func(place string) *workplacetest.Scanner {
		return &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
	}
	questions := []struct {
		name, path string
		answers    int
		ask        func()
	}{
		{"packed already", "or-3/packing", 2, func() { at("packing").Scan(workplacetest.Label(t, events.ScanTag, "VAS-009")) }},
		{"open in a case", "storage/packing", 2, func() {
			h.Open("VAS-003", "K-0304-123456")
			(&workplacetest.Scanner{House: h, Path: "/at/north/storage/packing"}).Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		}},
		{"issued anew", "packing-1/packing", 2, func() {
			s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
			s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-022"))
			s.Scan("")
			l := workplacetest.List60()
			l.Version = 2
			h.Record("north/packing-1", events.KindListIssued, "", l)
		}},
		{"which step", "or-3/return", 4, func() { at("return").Scan(workplacetest.Label(t, events.ScanTag, "LAP-022")) }},
		{"ready, and goes back", "storage/return", 2, func() {
			s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/return"}
			s.Do("step", "value", "left-room")
			s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-009"))
		}},
		{"was in a failed load", "or-3/sterilizer", 2, func() {
			s := at("sterilizer")
			s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
			s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
		}},
		{"indicator", "storage/sterilizer", 2, func() {
			(&workplacetest.Scanner{House: h, Path: "/at/north/storage/sterilizer"}).Scan(workplacetest.Label(t,
				events.ScanLoad, "S1-0304-01"))
		}},
	}
	for _, q := range questions {
		q.ask()
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	zoom, desk := browsertest.Size{Name: "zoom", Width: 512, Height: 384}, browsertest.Size{Name: "desk", Width: 1440, Height: 900}
	for _, size := range []browsertest.Size{workplacetest.Tablet, workplacetest.Phone, zoom, desk} {
		p.Do(chromedp.EmulateViewport(size.Width, size.Height))
		for _, lang := range []string{"en", "de"} {
			for _, q := range questions {
				p.Open(h.URL + "/at/north/" + q.path + "?lang=" + lang)
				p.Await(fmt.Sprintf(`document.querySelectorAll("#verdict .choices button").length === %d`, q.answers))
				for _, out := range browsertest.Eval[[]string](p, workplacetest.NotInView) {
					t.Errorf("%s, %s, %s: out of view: %s", q.name, size.Name, lang, out)
				}
				p.View("answers-" + strings.ReplaceAll(q.name, " ", "-") + "-" + size.Name + "-" + lang)
			}
		}
	}
}

// TestClosedTabLosesNothing: what waited in a tab that was closed while the line
// was down is found by the next page at the station, told, and sent once.
func TestClosedTabLosesNothing(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	b := workplacetest.Browser(t)
	p, gone := b.TabToClose(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.Await(`document.querySelector("tr.now")`)
	h.Cut.Store(true)
	p.Type("\r3\r")
	p.AwaitText("#waiting", "not recorded yet: 2")
	gone()
	h.Cut.Store(false)
	p = b.Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#sum", "2 of 3")
	p.AwaitText("#waiting", "Entries of a page that was closed, found and sent from here: 2")
	p.AwaitText(`tr[data-line="2"] .cell`, "3 ≠")
	if left := browsertest.Eval[int](p, `Object.keys(localStorage).filter(k => k.startsWith("waiting:")).length`); left != 0 {
		t.Errorf("%d entries are kept after they were sent", left)
	}
}

// TestPrintedSheetIsScanned: the next set is begun once the count sheet that was
// printed for the last was scanned, or somebody said why it was not.
func TestPrintedSheetIsScanned(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("sealing"))
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1182") + "\r")
	p.AwaitText("#bench", "B-1182")
	begin := func(set string) {
		h.After(2 * time.Minute)
		p.Type(workplacetest.Label(t, events.ScanSet, set) + "\r")
	}
	seal := func(set string) string {
		p.AwaitText("#verdict", set+": where does the count sheet go?")
		p.Type("3\r")
		p.AwaitText("#verdict", "Enter binds the count sheet to "+set)
		p.Press("\r")
		p.AwaitText("#bench", set+" closed. Short code")
		all := h.Events(site.Query{Set: set}, events.KindListSealed)
		return all[len(all)-1].(*events.ListSealed).Code
	}
	begin("LAP-014")
	code := seal("LAP-014")
	size := h.Size()
	begin("VAS-003")
	p.AwaitText("#verdict", "LAP-014: first scan the count sheet that was printed")
	p.Axe()
	p.View("sealing-scan-printed-tablet")
	p.Press("\r")
	p.Reload()
	p.AwaitText("#verdict", "LAP-014: first scan the count sheet that was printed")
	// The sheets of the twins were exchanged in the printer's tray.
	p.Type(h.Codes["LAP-022"] + "\r")
	p.AwaitText("#verdict", "count sheet of LAP-022")
	p.AwaitText("#verdict", "Where was the count sheet that lay with LAP-014?")
	p.Type("2\r")
	p.AwaitText("#verdict", "The count sheet that lay with LAP-014 is recorded")
	begin("VAS-003")
	p.AwaitText("#verdict", "LAP-014: first scan the count sheet that was printed")
	p.Type(code + "\r")
	p.AwaitText("#verdict", "belongs to LAP-014")
	seal("VAS-003")
	// One key says why it is not scanned, and records nothing.
	begin("LAP-022")
	p.AwaitText("#verdict", "VAS-003: first scan")
	p.Press(kb.F4)
	p.AwaitText("#verdict", "LAP-022: outside, in the holder, as the last time")
	p.AwaitText("#verdict", "it was out of reach")
	if n := h.Size(); n != size+2 {
		t.Errorf("%d records since the first was closed, want the sheet that was read and the second's", n-size)
	}
	// A list on the screen has no paper to scan, and a policy may ask for none.
	p.Type("4\r")
	p.AwaitText("#verdict", "Enter binds the count sheet to LAP-022")
	p.Press("\r")
	p.AwaitText("#bench", "LAP-022 closed. Short code")
	begin("VAS-003")
	p.AwaitText("#verdict", "VAS-003: ")
	policy := events.DefaultPolicy()
	policy.SheetScan = events.Optional
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	p.AwaitText("#verdict", "outside, in the holder, as the last time")
	p.Press("\r")
	p.AwaitText("#verdict", "Enter binds")
	p.Press("\r")
	p.AwaitText("#bench", "VAS-003 closed. Short code")
	begin("LAP-014")
	p.AwaitText("#verdict", "LAP-014: ")
}

// TestLongWords: a description of one long word, as compounds are, stays in its column: it doesn't lie over the number beside it
// or over the next set, nor push what is counted out of sight.
func TestLongWords(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	l := workplacetest.ListShort()
	l.List = "VAS-DE"
	l.Lines[0].Description = "Gefäßklemmenanlegezange"
	l.Lines[1].Description = "Donaudampfschifffahrtsgesellschaftskapitänsmützenabzeichenhalterungsklammerverschlussvorrichtung"
	h.Record("north/packing-1", events.KindListIssued, "", l)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: l.List, Version: 1, WeightGrams: 8400})
	seal := &events.ListSealed{Placement: events.Outside}
	h.Codes["VAS-009"] = h.Record("north/packing-1", events.KindListSealed, "VAS-009", seal).SheetCode
	packer := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	packer.Scan(workplacetest.Label(t, events.ScanTag, "VAS-010"))
	packer.Do("list", "list", l.List)
	h.Open("VAS-009", "K-1")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	for _, size := range []browsertest.Size{workplacetest.Phone, workplacetest.Tablet, {Name: "desk", Width: 1280, Height: 800}} {
		p.Do(chromedp.EmulateViewport(size.Width, size.Height))
		for _, path := range []string{"or-3/count?case=K-1", "packing-1/packing", "or-3/opening?set=VAS-009"} {
			p.Open(h.URL + "/at/north/" + path)
			p.AwaitText("main", "Gefäßklemmenanlegezange")
			for _, wrong := range browsertest.Eval[[]string](p, `[
				...(document.documentElement.scrollWidth > innerWidth ? ["the page is too wide"] : []),
				...[...document.querySelectorAll(".lines tbody th, .scroll")].filter(e => e.scrollWidth > e.clientWidth)
					.map(e => "too wide: " + e.innerText.slice(0, 60))]`) {
				t.Errorf("%s at %d pixels: %s", path, size.Width, wrong)
			}
			p.View("longwords-" + strings.NewReplacer("/", "_", "?", "_").Replace(path) + "-" + size.Name)
		}
	}
}

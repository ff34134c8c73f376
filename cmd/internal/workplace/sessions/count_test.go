package sessions_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// Operator times of the keystroke-level model: Card, Moran and Newell 1980
// ("The keystroke-level model for user performance time with interactive
// systems", CACM 23:396-410). From memory: K 0.28 s for an average
// non-secretary typist, M 1.35 s, H 0.4 s, P 1.1 s.
const (
	opK = 0.28
	opM = 1.35
	opH = 0.40
	opP = 1.10
)

// TestCountTakesFewInputs drives the real page: a set of 60 lines that comes
// out takes at most 63 inputs, the choice of the set, badges and signing
// included, and no pointer.
func TestCountTakesFewInputs(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0412")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Wall)
	p.Open(h.At("count"))
	const most = 63
	inputs := 0
	scan := func(text string) { inputs++; p.Type(text + "\r") }
	scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
	p.Await(`document.querySelectorAll("tr[data-line]").length === 60 && document.querySelector("tr.now")`)
	p.Await(`!document.body.dataset.early`)
	if n := browsertest.Eval[int](p, `[...document.querySelectorAll(".cell")].filter(c => c.textContent !== "").length`); n != 0 {
		t.Fatalf("%d lines are filled in before anything was counted", n)
	}
	for i := range workplacetest.Lines60 {
		inputs++
		if i == 0 {
			p.Press("\r")
		} else {
			p.Type("\r")
		}
		if i == 30 {
			p.Await(`document.querySelector("tr.now")?.dataset.line === "32"`)
			p.View("count-middle-wall")
		}
	}
	p.AwaitText("#sum", "60 of 60")
	scan(workplacetest.Label(t, events.ScanBadge, "B-3310"))
	scan(workplacetest.Label(t, events.ScanBadge, "B-3322"))
	p.AwaitText("#verdict", "First count recorded")
	if inputs > most {
		t.Errorf("%d inputs, at most %d", inputs, most)
	}
	got := h.Events(site.Query{Case: "K-0412"}, events.KindSetCounted)
	if len(got) != 1 {
		t.Fatalf("%d counts are recorded", len(got))
	}
	d := got[0].(*events.SetCounted)
	if d.Counter != "B-3310" || d.Witness != "B-3322" || d.Sheet != events.SheetScreen ||
		d.Stage != events.StageFirst || len(d.Counts) != workplacetest.Lines60 {
		t.Errorf("recorded %+v", d)
	}
	for i, c := range d.Counts {
		if want := int64(1 + i%6); c.Line != int64(i+1) || c.Counted != want {
			t.Errorf("line %d: %d counted, want %d", c.Line, c.Counted, want)
		}
	}
	// Looking at an instrument and saying its number is the same with paper and
	// is left out of both; M is one per line, to find the line and decide.
	screen := 4*opM + 3*opK + workplacetest.Lines60*(opM+opK)
	// Paper: pen to the box of each line (P), one stroke (K); at the end two
	// signatures with time, of ten strokes each, and the pen taken up once (H).
	paper := opH + workplacetest.Lines60*(opM+opP+opK) + 2*(opM+10*opK)
	t.Logf("60 lines that come out: %d inputs, no pointer; "+
		"keystroke-level estimate %.0f s, paper list %.0f s (without the counting itself)", inputs, screen, paper)
	if screen > paper {
		t.Errorf("the page is slower than paper: %.0f s and %.0f s", screen, paper)
	}
}

// TestCountOtherNumberAndBack: another number, back, correct; a reload in the
// middle loses nothing; what differs is said, and where the piece may be.
func TestCountOtherNumberAndBack(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0412")
	h.Open("VAS-003", "K-0412")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-0412")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Type("7\r") // of 1
	p.AwaitText("#open", "6 × Forceps, mosquito, curved, 12.5 cm (1) over in LAP-014")
	p.Type(" ") // space: as expected
	p.Await(`document.querySelector("tr.now")?.dataset.line === "3"`)
	p.Type(kb.ArrowUp + kb.ArrowUp)
	p.Await(`document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Type("2\r")
	p.AwaitText("#open", "1 × Forceps, mosquito, curved, 12.5 cm (1) over in LAP-014")
	p.Reload()
	p.Await(`document.querySelector("tr.now")?.dataset.line === "3"`)
	p.AwaitText(`tr[data-line="1"] .cell`, "2 ≠")
	p.AwaitText(`tr[data-line="2"] .cell`, "2 ✓")
	// The same item is one short in the other set: it is one misplaced piece.
	p.Type(workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r")
	p.Await(`document.querySelector("tr.now")?.dataset.set === "VAS-003"`)
	p.Type("3\r")
	p.AwaitText("#open", "1 × Forceps, mosquito, curved, 12.5 cm (1) short in VAS-003: one over in LAP-014, look there first.")
	p.Axe()
	p.View("count-differs-tablet")
	// An item's number goes to its line.
	p.Type("INS-017\r")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "17"`)
	// One person can't be both.
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#counter", "B-3310")
	// Sooner it would be one badge read twice.
	browsertest.Eval[bool](p, `new Promise(done => setTimeout(() => done(true), 2100))`)
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#verdict", "is the same badge")
	p.Await(`document.body.dataset.sound === "wrong"`)
	if n := len(h.Events(site.Query{Case: "K-0412"}, events.KindSetCounted)); n != 0 {
		t.Errorf("%d counts recorded before anyone signed", n)
	}
	p.Touch(`[data-do="interrupted"][data-set="LAP-014"]`)
	p.AwaitText("#verdict", "Begin again?")
	p.Touch(`#verdict [data-do="interrupted"]`)
	p.AwaitText("#verdict", "Begun again")
	p.AwaitText(`section[data-set="LAP-014"] .setsum`, "0 of 60")
	p.AwaitText(`section[data-set="VAS-003"] .setsum`, "1 of 3")
}

// TestTwoBrowsersOneCase: each sees the other's lines; two numbers for one
// line, said without knowing of each other, leave the line open.
func TestTwoBrowsersOneCase(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("VAS-003", "K-0500")
	b := workplacetest.Browser(t)
	one, two := b.Tab(t, workplacetest.Tablet), b.Tab(t, workplacetest.Tablet)
	for _, p := range []*browsertest.Tab{one, two} {
		p.Open(h.At("count") + "?case=K-0500")
		p.Await(`document.querySelector("tr.now")`)
	}
	one.Press("\r")
	two.AwaitText(`tr[data-line="1"] .cell`, "4 ✓")
	two.Press("\r")
	one.AwaitText(`tr[data-line="2"] .cell`, "2 ✓")
	// Both count line 3 while the line to the server is dead.
	h.Cut.Store(true)
	one.Type("3\r")
	two.Type("2\r")
	one.AwaitText("#waiting", "not recorded yet: 1")
	two.AwaitText("#waiting", "not recorded yet: 1")
	h.Cut.Store(false)
	one.AwaitText(`tr[data-line="3"] .flag`, "Two people say")
	two.AwaitText(`tr[data-line="3"] .flag`, "Two people say")
	two.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-2") + "\r")
	two.AwaitText("#witness", "B-2")
	if n := len(h.Events(site.Query{Case: "K-0500"}, events.KindSetCounted)); n != 0 {
		t.Fatal("a disputed line was signed")
	}
	one.Type("3\r")
	two.AwaitText(`tr[data-line="3"] .cell`, "3 ✓")
	two.Press("\r") // the badges were scanned before the last line: no key signs for the second person
	two.AwaitText("#verdict", "Scan your badge (B-2) once more")
	two.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r")
	two.AwaitText("#verdict", "the same badge")
	two.Type(workplacetest.Label(t, events.ScanBadge, "B-2") + "\r")
	two.AwaitText("#verdict", "First count recorded")
}

// TestDraftIsNoRecord: lines of a draft are in no ledger, and a count without
// the second badge is refused.
func TestDraftIsNoRecord(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("VAS-003", "K-0700")
	before := h.Size()
	lines := ""
	for i, n := range []int{4, 2, 3} {
		lines = fmt.Sprintf(`{"set":"VAS-003","line":%d,"counted":%d,"place":"","seen":0,"clear":false,"reason":""}`, i+1, n)
		h.Post("/at/north/or-3/count/enter", fmt.Sprintf(`{"client":"c","n":%d,"case":"K-0700","stage":"first","lines":[%s]}`, i+1, lines))
	}
	scan := func(n int, text string) map[string]any {
		return h.Post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"c","n":%d,"case":"K-0700","stage":"first","text":%q}`, n, text))
	}
	scan(10, workplacetest.Label(t, events.ScanBadge, "B-1"))
	if a := scan(11, ""); h.Size() != before || !strings.Contains(a["words"].(string), "Circulating nurse") {
		t.Fatalf("with one badge: %d records more, %v", h.Size()-before, a["words"])
	}
	// Both badges do not sign what is not counted.
	h.Open("LAP-014", "K-0701")
	other := func(n int, text string) {
		h.Post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"c","n":%d,"case":"K-0701","stage":"first","text":%q}`, n, text))
	}
	h.Post("/at/north/or-3/count/enter",
		`{"client":"c","n":1,"case":"K-0701","stage":"first",`+
			`"lines":[{"set":"LAP-014","line":1,"counted":1,"place":"","seen":0,"clear":false,"reason":""}]}`)
	before++ // the opening
	for i, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanBadge, "B-2"), "", ""} {
		other(10+i, text)
	}
	if h.Size() != before {
		t.Fatal("a count of one line of sixty was signed")
	}
	// The last line sent again counts once and changes nothing.
	h.Post("/at/north/or-3/count/enter",
		fmt.Sprintf(`{"client":"c","n":3,"case":"K-0700","stage":"first","lines":[%s]}`, strings.Replace(lines,
			`"counted":3`, `"counted":1`, 1)))
	scan(12, workplacetest.Label(t, events.ScanBadge, "B-2"))
	if h.Size() != before+1 {
		t.Fatalf("%d records more, want 1", h.Size()-before)
	}
	if d := h.Events(site.Query{Case: "K-0700"}, events.KindSetCounted)[0].(*events.SetCounted); d.Counts[2].Counted != 3 {
		t.Errorf("line 3 was counted again: %+v", d.Counts)
	}
}

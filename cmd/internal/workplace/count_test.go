package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
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
	h := newHouse(t)
	h.open("LAP-014", "K-0412")
	p := browser(t).Tab(t, wall)
	p.Open(h.at("count"))
	const most = 63
	inputs := 0
	scan := func(text string) { inputs++; p.Type(text + "\r") }
	scan(label(t, events.ScanSet, "LAP-014"))
	p.Await(`document.querySelectorAll("tr[data-line]").length === 60 && document.querySelector("tr.now")`)
	if n := browsertest.Eval[int](p, `[...document.querySelectorAll(".cell")].filter(c => c.textContent !== "").length`); n != 0 {
		t.Fatalf("%d lines are filled in before anything was counted", n)
	}
	for i := range lines60 {
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
	scan(label(t, events.ScanBadge, "B-3310"))
	scan(label(t, events.ScanBadge, "B-3322"))
	p.AwaitText("#verdict", "First count recorded")
	if inputs > most {
		t.Errorf("%d inputs, at most %d", inputs, most)
	}
	got := h.events(site.Query{Case: "K-0412"}, events.KindSetCounted)
	if len(got) != 1 {
		t.Fatalf("%d counts are recorded", len(got))
	}
	d := got[0].(*events.SetCounted)
	if d.Counter != "B-3310" || d.Witness != "B-3322" || d.Sheet != events.SheetScreen ||
		d.Stage != events.StageFirst || len(d.Counts) != lines60 {
		t.Errorf("recorded %+v", d)
	}
	for i, c := range d.Counts {
		if want := int64(1 + i%6); c.Line != int64(i+1) || c.Counted != want {
			t.Errorf("line %d: %d counted, want %d", c.Line, c.Counted, want)
		}
	}
	// Looking at an instrument and saying its number is the same with paper and
	// is left out of both; M is one per line, to find the line and decide.
	screen := 4*opM + 3*opK + lines60*(opM+opK)
	// Paper: pen to the box of each line (P), one stroke (K); at the end two
	// signatures with time, of ten strokes each, and the pen taken up once (H).
	paper := opH + lines60*(opM+opP+opK) + 2*(opM+10*opK)
	t.Logf("60 lines that come out: %d inputs, no pointer; "+
		"keystroke-level estimate %.0f s, paper list %.0f s (without the counting itself)", inputs, screen, paper)
	if screen > paper {
		t.Errorf("the page is slower than paper: %.0f s and %.0f s", screen, paper)
	}
}

// TestCountOtherNumberAndBack: another number, back, correct; a reload in the
// middle loses nothing; what differs is said, and where the piece may be.
func TestCountOtherNumberAndBack(t *testing.T) {
	h := newHouse(t)
	h.open("LAP-014", "K-0412")
	h.open("VAS-003", "K-0412")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("count") + "?case=K-0412")
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
	p.Type(label(t, events.ScanSet, "VAS-003") + "\r")
	p.Await(`document.querySelector("tr.now")?.dataset.set === "VAS-003"`)
	p.Type("3\r")
	p.AwaitText("#open", "1 × Forceps, mosquito, curved, 12.5 cm (1) short in VAS-003: one over in LAP-014, look there first.")
	p.Axe()
	p.View("count-differs-tablet")
	// An item's number goes to its line.
	p.Type("INS-017\r")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "17"`)
	// One person can't be both.
	p.Type(label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#counter", "B-3310")
	// Sooner it would be one badge read twice.
	browsertest.Eval[bool](p, `new Promise(done => setTimeout(() => done(true), 2100))`)
	p.Type(label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#verdict", "is the same badge")
	p.Await(`document.body.dataset.sound === "wrong"`)
	if n := len(h.events(site.Query{Case: "K-0412"}, events.KindSetCounted)); n != 0 {
		t.Errorf("%d counts recorded before anyone signed", n)
	}
	p.Touch(`[data-do="interrupted"][data-set="LAP-014"]`)
	p.AwaitText("#verdict", "Begun again")
	p.AwaitText(`section[data-set="LAP-014"] .setsum`, "0 of 60")
	p.AwaitText(`section[data-set="VAS-003"] .setsum`, "1 of 3")
}

// TestTwoBrowsersOneCase: each sees the other's lines; two numbers for one
// line, said without knowing of each other, leave the line open.
func TestTwoBrowsersOneCase(t *testing.T) {
	h := newHouse(t)
	h.open("VAS-003", "K-0500")
	b := browser(t)
	one, two := b.Tab(t, tablet), b.Tab(t, tablet)
	for _, p := range []*browsertest.Tab{one, two} {
		p.Open(h.at("count") + "?case=K-0500")
		p.Await(`document.querySelector("tr.now")`)
	}
	one.Press("\r")
	two.AwaitText(`tr[data-line="1"] .cell`, "4 ✓")
	two.Press("\r")
	one.AwaitText(`tr[data-line="2"] .cell`, "2 ✓")
	// Both count line 3 while the line to the server is dead.
	h.cut.Store(true)
	one.Type("3\r")
	two.Type("2\r")
	one.AwaitText("#waiting", "not recorded yet: 1")
	two.AwaitText("#waiting", "not recorded yet: 1")
	h.cut.Store(false)
	one.AwaitText(`tr[data-line="3"] .flag`, "Two people say")
	two.AwaitText(`tr[data-line="3"] .flag`, "Two people say")
	two.Type(label(t, events.ScanBadge, "B-1") + "\r" + label(t, events.ScanBadge, "B-2") + "\r")
	two.AwaitText("#witness", "B-2")
	if n := len(h.events(site.Query{Case: "K-0500"}, events.KindSetCounted)); n != 0 {
		t.Fatal("a disputed line was signed")
	}
	one.Type("3\r")
	two.AwaitText(`tr[data-line="3"] .cell`, "3 ✓")
	two.Press("\r")
	two.AwaitText("#verdict", "First count recorded")
}

// TestTenSecondsOffline: what is entered meanwhile is shown as waiting and goes
// out in order, once, when the line is back; also over a reload.
func TestTenSecondsOffline(t *testing.T) {
	h := newHouse(t)
	h.open("LAP-014", "K-0600")
	p := browser(t).Tab(t, phone)
	p.Open(h.at("count") + "?case=K-0600")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r")
	p.AwaitText("#sum", "2 of 60")
	h.cut.Store(true)
	p.Press("\r9\r\r")
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
	h.cut.Store(false)
	p.AwaitText("#sum", "5 of 60")
	p.AwaitText(`tr[data-line="4"] .cell`, "9 ≠")
	p.Await(`document.querySelector("#waiting").textContent === ""`)
	h.cut.Store(true)
	p.Press("\r")
	p.AwaitText("#waiting", "not recorded yet: 1")
	h.cut.Store(false)
	p.Reload()
	p.AwaitText("#sum", "6 of 60")
}

// TestDraftIsNoRecord: lines of a draft are in no ledger, and a count without
// the second badge is refused.
func TestDraftIsNoRecord(t *testing.T) {
	h := newHouse(t)
	h.open("VAS-003", "K-0700")
	before := h.size()
	lines := ""
	for i, n := range []int{4, 2, 3} {
		lines = fmt.Sprintf(`{"set":"VAS-003","line":%d,"counted":%d,"place":"","seen":0,"clear":false,"reason":""}`, i+1, n)
		h.post("/at/north/or-3/count/enter", fmt.Sprintf(`{"client":"c","n":%d,"case":"K-0700","stage":"first","lines":[%s]}`, i+1, lines))
	}
	scan := func(n int, text string) map[string]any {
		return h.post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"c","n":%d,"case":"K-0700","stage":"first","text":%q}`, n, text))
	}
	scan(10, label(t, events.ScanBadge, "B-1"))
	if a := scan(11, ""); h.size() != before || !strings.Contains(a["words"].(string), "Circulating nurse") {
		t.Fatalf("with one badge: %d records more, %v", h.size()-before, a["words"])
	}
	// Both badges do not sign what is not counted.
	h.open("LAP-014", "K-0701")
	other := func(n int, text string) {
		h.post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"c","n":%d,"case":"K-0701","stage":"first","text":%q}`, n, text))
	}
	h.post("/at/north/or-3/count/enter",
		`{"client":"c","n":1,"case":"K-0701","stage":"first",`+
			`"lines":[{"set":"LAP-014","line":1,"counted":1,"place":"","seen":0,"clear":false,"reason":""}]}`)
	before++ // the opening
	for i, text := range []string{label(t, events.ScanBadge, "B-1"), label(t, events.ScanBadge, "B-2"), "", ""} {
		other(10+i, text)
	}
	if h.size() != before {
		t.Fatal("a count of one line of sixty was signed")
	}
	// The last line sent again counts once and changes nothing.
	h.post("/at/north/or-3/count/enter",
		fmt.Sprintf(`{"client":"c","n":3,"case":"K-0700","stage":"first","lines":[%s]}`, strings.Replace(lines,
			`"counted":3`, `"counted":1`, 1)))
	scan(12, label(t, events.ScanBadge, "B-2"))
	if h.size() != before+1 {
		t.Fatalf("%d records more, want 1", h.size()-before)
	}
	if d := h.events(site.Query{Case: "K-0700"}, events.KindSetCounted)[0].(*events.SetCounted); d.Counts[2].Counted != 3 {
		t.Errorf("line 3 was counted again: %+v", d.Counts)
	}
}

// TestStagesOfACase: first, added, removed, by place with an interruption,
// relief and final; what each records.
func TestStagesOfACase(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-90")
	p := browser(t).Tab(t, tablet)
	sign := label(t, events.ScanBadge, "B-3310") + "\r" + label(t, events.ScanBadge, "B-3322") + "\r"
	at := func(stage string) {
		h.after(10 * time.Minute)
		p.Open(h.at("count") + "?case=K-90&stage=" + stage)
		if stage != "first" {
			p.Touch(`[data-do="begin"]`)
		}
		p.Await(`document.querySelectorAll("tr[data-line]").length > 0 &&
			document.querySelector(".cell").getAttribute("aria-label").includes(": ")`)
	}
	at("first")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r\r" + sign)
	p.AwaitText("#verdict", "First count recorded")

	at("added")
	p.AwaitText("#verdict", "the line that was added")
	p.Press("\r")
	p.AwaitText("#verdict", "the line that was added")
	p.Type(kb.ArrowDown + kb.ArrowDown)
	p.Await(`document.querySelector("tr.now")?.dataset.line === "2"`)
	p.Type("3\r")
	p.AwaitText(`tr[data-line="2"] .cell`, "3")
	p.Type(sign)
	p.AwaitText("#verdict", "Added during the procedure recorded")

	at("closing")
	p.AwaitText(`tr[data-line="2"]`, "5") // 2 + 3
	// One clamp leaves the field on purpose.
	browsertest.Eval[bool](p,
		`(document.querySelector(".removed").open = true, document.querySelector("#rline").value = "2",
			document.querySelector("#rwhy").value = "sent for repair", document.querySelector("[data-do=removed]").requestSubmit(), true)`)
	p.AwaitText(`tr[data-line="2"] .flag`, "1 was passed off")
	p.Await(`document.querySelector('tr[data-line="2"]').children[2].textContent === "4"`)
	// By place: two on the field, the rest on the back table; interrupted there.
	p.Touch(`[data-do="by-place"]`)
	p.Await(`document.querySelector("[data-do='by-place']").getAttribute("aria-pressed") === "true"`)
	p.Axe()
	p.Type("1\r")
	p.AwaitText(`tr[data-line="1"] .cell`, "1 …")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "2"`)
	p.Touch(`[data-place="back-table"]`)
	p.AwaitText("#verdict", "Now counting: back table")
	p.Type("2\r")
	p.AwaitText(`tr[data-line="2"] .cell`, "2 …")
	p.Touch(`[data-do="interrupted"]:not([data-set])`)
	p.AwaitText("#verdict", "Begun again")
	p.Await(`document.querySelector('tr[data-line="2"] .cell').textContent === ""`)
	p.AwaitText(`tr[data-line="1"] .cell`, "1 …") // the field stays counted
	p.Type(kb.ArrowUp)
	p.Await(`document.querySelector("tr.now")?.dataset.line === "2" || document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Type("INS-001\r")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Press("\r\r\r") // all the rest is on the back table
	p.AwaitText("#sum", "3 of 3")
	p.Type(sign)
	p.AwaitText("#verdict", "Closing count recorded")

	at("relief")
	p.AwaitText(`tr[data-line="2"]`, "4")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r\r" + label(t, events.ScanBadge, "B-4000") + "\r" + label(t, events.ScanBadge, "B-3322") + "\r")
	p.AwaitText("#verdict", "Relief count recorded")
	at("final")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r3\r")
	p.AwaitText("#verdict", "Line 2: 3 counted, 4 expected")
	p.Press("\r" + sign)
	p.AwaitText("#verdict", "Final count recorded. Differences: 1")
	p.Axe()

	got := h.events(site.Query{Case: "K-90"}, events.KindSetCounted)
	if len(got) != 5 {
		t.Fatalf("%d counts", len(got))
	}
	counts := func(i int) *events.SetCounted { return got[i].(*events.SetCounted) }
	if d := counts(1); d.Stage != events.StageAdded || len(d.Counts) != 1 || d.Counts[0] != (events.Count{Line: 2, Counted: 3}) {
		t.Errorf("added: %+v", d)
	}
	if d := counts(2); d.Stage != events.StageClosing || len(d.Removed) != 1 ||
		d.Removed[0] != (events.Removed{Line: 2, Quantity: 1, Reason: "sent for repair"}) ||
		d.Counts[0].Counted != 4 || d.Counts[1].Counted != 4 {
		t.Errorf("closing: %+v", d)
	}
	if d := counts(3); d.Stage != events.StageRelief || d.Counter != "B-4000" || len(d.Counts) != 3 {
		t.Errorf("relief: %+v", d)
	}
	if d := counts(4); d.Counts[1].Counted != 3 || len(d.Removed) != 0 {
		t.Errorf("final: %+v", d)
	}
}

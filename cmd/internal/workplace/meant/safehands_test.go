//go:build !race

package meant_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestNumberIsNoBadge: in a case with two sets the number that a person types
// after the first set is the second set's first line, never a badge; half a count
// is signed only after a question.
func TestNumberIsNoBadge(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#sum", "0 of 6 lines")
	p.Press("\r\r\r")
	p.AwaitText("#sum", "3 of 6 lines")
	p.Await(`document.querySelector("tr.now")?.dataset.set === "VAS-004"`)
	if got := p.Text("#verdict"); strings.Contains(got, "All counted") {
		t.Errorf("with one of two sets counted the page says %q", got)
	}
	p.Type("4\r")
	p.AwaitText(`tr[data-set="VAS-004"][data-line="1"] .cell`, "4 ✓")
	p.AwaitText("#counter", "–")
	before := h.Size()
	badges := workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-3322") + "\r"
	p.Type(badges)
	p.AwaitText("#witness", "B-3322")
	if h.Size() != before {
		t.Fatal("half a count was signed by the second badge")
	}
	p.Touch(`[data-do="sign"]`)
	p.AwaitText("#verdict", "Sign without VAS-004?")
	p.Axe()
	p.Touch(`[data-do="count-on"]`)
	p.AwaitText("#verdict", "Count aloud")
	p.Press("\r\r")
	p.AwaitText("#sum", "6 of 6 lines")
	if h.Size() != before {
		t.Fatal("a count was signed without anybody saying so")
	}
	p.Type("4\r")
	p.AwaitText("#verdict", "4 is not taken for a badge")
	p.Press("\r")
	p.AwaitText("#verdict", "Scan your badge (B-3322) once more")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-3322") + "\r")
	p.AwaitText("#verdict", "First count recorded (sets: 2), signed by B-3310 and B-3322")
}

// TestSignWithoutASet: who says so signs one set of two; the other stays open.
func TestSignWithoutASet(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Lines("VAS-004", 4)
	for text, says := range map[string]string{"4": "not taken for a badge", "04012345678901": "not taken for a badge", "B7": "not taken"} {
		if a := c.Scan(text); !strings.Contains(a["words"].(string), says) {
			t.Errorf("%q: %v", text, a["words"])
		}
	}
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	before := h.Size()
	if a := c.Do("sign-without", "value", "VAS-003"); h.Size() != before {
		t.Fatalf("signed without another set than the one asked about: %v", a["words"])
	}
	c.Do("sign-without", "value", "VAS-004")
	got := h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || h.Size() != before+1 {
		t.Fatalf("%d counts recorded, want that of VAS-003", len(got))
	}
	if a := c.Scan(""); a["state"].(map[string]any)["done"] != float64(1) {
		t.Errorf("the line of the other set is lost: %v", a["state"])
	}
}

// TestPackingAsksUntilAnswered: a line that is asked about isn't passed by Enter
// or by another number, and the answers are in sight at the tablet's height.
func TestPackingAsksUntilAnswered(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003") // what lies ready is asked about
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("packing"))
	p.Type(workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r")
	p.AwaitText("#verdict", "4 × Forceps, mosquito")
	p.Type("3\r")
	p.AwaitText("#verdict", "Line 1: 3 of 4. Why?")
	for _, text := range []string{"\r", "7\r", "\r", "0\r"} {
		p.Type(text)
		p.Await(`document.body.dataset.sound === "ask" && document.querySelector("#waiting").textContent === ""`)
	}
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r") // answered after all of them
	p.AwaitText("#bench", "B-1")
	p.AwaitText("#verdict", "Line 1: 3 of 4. Why?")
	if got := p.Text("#l2"); strings.Contains(got, "✓") || strings.Contains(got, "≠") {
		t.Fatalf("a line that nobody was shown is packed: %s", got)
	}
	if n := visible(p, ".choices button"); n != 5 { // four reasons, since more than listed is none of them, and again
		t.Errorf("%d answers are in view, want 5", n)
	}
	p.Axe()
	p.Touch(`[data-do="again"]`)
	p.AwaitText("#verdict", "4 × Forceps, mosquito")
	p.Type("3\r")
	p.AwaitText("#verdict", "Line 1: 3 of 4. Why?")
	p.Type("1\r")
	p.AwaitText("#verdict", "2 × Clamp, vascular")
	p.AwaitText("#l1", "missing")
}

// visible counts what a selector finds and a person sees without scrolling.
func visible(p *browsertest.Tab, selector string) int {
	return browsertest.Eval[int](p, `[...document.querySelectorAll(`+strconv.Quote(selector)+`)].filter(e => {
		const r = e.getBoundingClientRect();
		return e.checkVisibility() && r.top >= 0 && r.bottom <= innerHeight && r.height > 0;
	}).length`)
}

// TestObeyingStopIsRecorded: who doesn't open a set with a wrong sheet records it
// with one press and a badge, and the twin is in doubt at once. STOP stays until
// it is answered.
func TestObeyingStopIsRecorded(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	before := h.Size()
	inputs := 0
	scan := func(text string) { inputs++; p.Type(text + "\r") }
	scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
	p.AwaitText("#verdict", "There is no tag to read")
	scan("(8004)LAP-014")
	p.AwaitText("#verdict", "scan the count sheet")
	scan(h.Codes["LAP-022"])
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022")
	p.AwaitText("#verdict .hands", "Do not open LAP-014. Put it aside")
	p.AwaitText("#verdict .choices .main", "Not opened: put aside")
	p.Await(`!document.querySelector('[data-do="record"]')`)
	if n := visible(p, ".choices .main"); n != 1 {
		t.Error("the answer to STOP is not in view")
	}
	p.Axe()
	p.Shot("opening-stop-tablet")
	p.Press("\r")
	p.Press("\r\r")
	workplacetest.Settled(p)
	p.Touch(`[data-do="clear"]`)
	p.AwaitText("#verdict", "Answer the STOP first")
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022")
	p.Type(workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r")
	p.AwaitText("#verdict", "third set")
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022")
	if h.Size() != before {
		t.Fatal("something was recorded before STOP was answered")
	}
	inputs++
	p.Touch(`[data-do="put-aside"]`)
	p.AwaitText("#verdict", "Where was the count sheet?")
	scan("1")
	p.AwaitText("#verdict", "Scan your badge: it records that LAP-014 is put aside")
	scan(workplacetest.Label(t, events.ScanBadge, "B-3310"))
	p.AwaitText("#verdict", "LAP-014 is put aside and recorded.")
	// A right set takes tag, label, sheet, place, case, badge and Enter.
	const right = 7
	if inputs > right {
		t.Errorf("%d inputs, a right set takes %d", inputs, right)
	}
	got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetChecked)
	if len(got) != 1 || h.Size() != before+1 {
		t.Fatalf("%d checks recorded", len(got))
	}
	d := got[0].(*events.SetChecked)
	if d.Tag != "LAP-014" || d.Sheet == nil || d.Sheet.Code != h.Codes["LAP-022"] || d.Sheet.Found != "outside" {
		t.Errorf("recorded %+v", d)
	}
	for _, set := range []string{"LAP-014", "LAP-022"} {
		v := h.Verdict(set, h.Trips[set])
		if v == nil || v.Status == projections.Whole || v.Status == projections.Open {
			t.Errorf("%s is not on the board: %+v", set, v)
		}
	}
	if n := len(h.Events(site.Query{Set: "LAP-014"}, events.KindSetOpened)); n != 0 {
		t.Errorf("%d openings are recorded", n)
	}
}

// TestAnyCodeIsNoBadge: a plain code signs nothing before a person has said that
// it is a badge; a supply's code and what is too short never does.
func TestAnyCodeIsNoBadge(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.Await(`document.querySelector("tr.now")`)
	p.Type("\r\r\r")
	p.AwaitText("#sum", "3 of 3")
	before := h.Size()
	for text, says := range map[string]string{"04012345678901": "is not taken for a badge", "12": "is not taken for a badge",
		"P47110815": "P47110815: is this a badge?"} {
		p.Type(text + "\r")
		p.AwaitText("#verdict", text)
		p.AwaitText("#verdict", says)
		p.AwaitText("#counter", "–")
	}
	p.Type("P47110815\r") // an answer is a button, never another scan of the same
	p.Axe()
	for _, code := range []string{"3310", "3322"} {
		p.Type(code + "\r")
		p.AwaitText("#verdict", code+": is this a badge?")
		if h.Size() != before {
			t.Fatalf("a code nobody said is a badge signed: %s", code)
		}
		p.Touch(`[data-do="badge"]`)
	}
	p.AwaitText("#verdict", "First count recorded (sets: 1), signed by 3310 and 3322")
	// They are remembered, at other workplaces too.
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	if a := s.Scan("3310"); a["kind"] != "badge" {
		t.Errorf("a badge known from the count is taken for %v: %v", a["kind"], a["words"])
	}
	if a := s.Scan("P47110815"); a["kind"] == "badge" || !strings.Contains(a["words"].(string), "what is it?") {
		t.Errorf("a wristband at storage: %v %v", a["kind"], a["words"])
	}
}

// TestSecondCaseOfTheDay: a case with the hospital's own plain number is asked
// about once; the next ones of its shape are taken, also while a case or a set is
// there. A seal's number isn't taken for a case.
func TestSecondCaseOfTheDay(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	open := func(set, ref string, asked bool) {
		t.Helper()
		s.Scan(workplacetest.Label(t, events.ScanSet, set))
		s.Scan("(8004)" + set)
		s.Scan(h.Codes[set])
		s.Scan("1")
		a := s.Scan(ref)
		if got := strings.Contains(a["words"].(string), "what is it?"); got != asked {
			t.Fatalf("%s: asked %v: %v", ref, got, a["words"])
		}
		if asked {
			s.Do("take-as", "value", "case")
		}
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		h.After(time.Minute)
		if a := s.Scan(""); !strings.Contains(a["words"].(string), set+" opened for "+ref) {
			t.Fatalf("%s for %s: %v", set, ref, a["words"])
		}
	}
	open("LAP-014", "2026-0412", true)
	open("LAP-022", "2026-0413", false)
	open("VAS-003", "2026-0414", false)
	if a := s.Scan("483920"); !strings.Contains(a["words"].(string), "483920: what is it?") {
		t.Errorf("a code of another shape: %v", a["words"])
	}
	if a := s.Do("take-as", "value", ""); strings.Contains(a["words"].(string), "what is it?") {
		t.Errorf("“none of these” asks on: %v", a["words"])
	}
	if a := s.Scan("04012345678901"); strings.Contains(fmt.Sprint(a["choices"]), "badge") ||
		strings.Contains(fmt.Sprint(a["choices"]), "case") {
		t.Errorf("a supply's code may be %v", a["choices"])
	}
}

// TestReadTwice: one symbol read twice within two seconds is one scan; two
// seconds later, or with another code between, it is another.
func TestReadTwice(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	const tag = "LAP-014" // a plain code, which does not say what it is on
	s.Scan(tag)
	a := s.Scan(tag)
	if a["sound"] != "low" || !strings.Contains(a["words"].(string), "scan the outer label") ||
		!strings.Contains(a["aside"].(string), "Read twice") {
		t.Fatalf("one label read twice: %v", a)
	}
	h.After(2 * time.Second)
	if a := s.Scan(tag); a["sound"] == "low" || !strings.Contains(a["words"].(string), "scan the count sheet") {
		t.Errorf("the second label: %v", a)
	}
	// The browser's clock tells two scans apart that the server gets together.
	h.Post(s.Path+"/do", `{"client":"b","n":1,"action":"clear","fields":{}}`)
	for i, at := range []int{1_000, 1_900, 4_000} {
		a = h.Post(s.Path+"/scan", fmt.Sprintf(`{"client":"b","n":%d,"at":%d,"text":%q}`, i+2, at, tag))
		if got := a["sound"] == "low"; got != (i == 1) {
			t.Errorf("scan %d at %d: %v", i, at, a["words"])
		}
	}
	// A badge read twice isn't the second person's.
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	if a := c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); a["sound"] != "low" ||
		strings.Contains(a["words"].(string), "same badge") {
		t.Errorf("a badge read twice at the count: %v", a)
	}
}

// TestEnterSaysOneThing: a scanner that ends with two Enters and a key that is held
// down record and count nothing that nobody meant.
func TestEnterSaysOneThing(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	before := h.Size()
	p.Type(workplacetest.Label(t, events.ScanCase, "K-1") + "\r\r" + workplacetest.Label(t, events.ScanBadge, "B-1") + "\r\r")
	p.Type(workplacetest.Label(t, events.ScanSet, "LAP-014") + "\r\r(8004)LAP-014\r\r" + h.Codes["LAP-014"] + "\r\r")
	p.AwaitText("#verdict", "This count sheet belongs to LAP-014")
	p.Type("1\r")
	p.AwaitText("#verdict", "Enter records: LAP-014 opened for K-1")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-2") + "\r\r")
	p.AwaitText("#bench", "B-2")
	if h.Size() != before {
		t.Fatal("the second Enter of a scan recorded an opening")
	}
	p.Press("\r")
	p.AwaitText("#bench", "LAP-014 opened for K-1")
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#sum", "0 of 60")
	p.Hold("\r", 12)
	p.AwaitText("#sum", "1 of 60")
	p.Hold(" ", 12)
	p.AwaitText("#sum", "2 of 60")
	if got := browsertest.Eval[int](p, `[...document.querySelectorAll(".cell")].filter(c => c.textContent !== "").length`); got != 2 {
		t.Errorf("two keys held down counted %d lines", got)
	}
	// A touch chooses a line; it doesn't count it.
	p.Touch(`tr.now`)
	p.Touch(`tr.now`)
	p.Press("5\r")
	p.AwaitText(`tr[data-line="3"] .cell`, "5 ≠")
	p.AwaitText("#sum", "3 of 60")
}

// TestTapChoosesALine: a tap on a line, also on the one that is asked for, counts
// nothing; the number that is typed then is that line's.
func TestTapChoosesALine(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Open(h.At("count") + "?case=K-1")
	p.Await(`document.querySelector('tr.now[data-line="1"]')`)
	p.Touch(`tr[data-line="1"]`)
	p.Type("5\r")
	p.AwaitText(`tr[data-line="1"] .cell`, "5 ≠")
	p.Touch(`tr[data-line="3"]`)
	p.Touch(`tr[data-line="3"]`)
	p.Type("2\r")
	p.AwaitText(`tr[data-line="3"] .cell`, "2 ≠")
	p.AwaitText("#sum", "2 of 3 lines")
	if got := strings.TrimSpace(p.Text(`tr[data-line="2"] .cell`)); strings.ContainsAny(got, "0123456789✓") {
		t.Errorf("a line that nobody counted shows %q", got)
	}
}

// TestWhoAndWhichCaseAgain: a badge is asked for again after a while, on another
// day and for the next person; a case that was closed is dropped, and opening for
// a closed case is a question.
func TestWhoAndWhichCaseAgain(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	begin := func(set string) map[string]any {
		s.Scan(workplacetest.Label(t, events.ScanSet, set))
		s.Scan("(8004)" + set)
		s.Scan(h.Codes[set])
		return s.Scan("1")
	}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	if a := begin("LAP-014"); !strings.Contains(a["next"].(string), "Enter records: LAP-014 opened for K-1") {
		t.Fatalf("badge and case are known: %v", a)
	}
	h.After(21 * time.Minute)
	before := h.Size()
	if a := s.Scan(""); h.Size() != before || !strings.Contains(fmt.Sprint(a["words"], a["next"]), "was read here at") {
		t.Fatalf("after 21 minutes of nothing: %v", a)
	}
	s.Do("read-again")
	if a := begin("LAP-014"); !strings.Contains(a["next"].(string), "Scan the case") {
		t.Fatalf("after 21 minutes of nothing: %v", a)
	}
	if a := s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")); !strings.Contains(fmt.Sprint(a["words"], a["next"]),
		"Scan your badge") {
		t.Fatalf("after 21 minutes of nothing: %v", a)
	}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	if s.Scan(""); h.Size() != before+1 {
		t.Fatal("not recorded with the badge")
	}
	s.Do("next-person")
	if a := begin("LAP-022"); !strings.Contains(a["next"].(string), "Scan the case") {
		t.Fatalf("after “next person”: %v", a)
	}
	if a := s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")); !strings.Contains(fmt.Sprint(a["words"], a["next"]),
		"Scan your badge") {
		t.Fatalf("after “next person”: %v", a)
	}
	s.Do("forget")
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{},
		Witness: "B-2"})
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	if a := begin("LAP-022"); !strings.Contains(a["next"].(string), "Scan the case") {
		t.Fatalf("the closed case is still here: %v", a)
	}
	if a := s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")); !strings.Contains(fmt.Sprint(a["words"],
		a["aside"]), "Case K-1 is closed") {
		t.Fatalf("a closed case was scanned: %v", a)
	}
	before = h.Size()
	if a := s.Scan(""); h.Size() != before || a["status"] != "doubtful" || !strings.Contains(fmt.Sprint(a["next"]), "Case K-1 is closed") {
		t.Fatalf("opened for a closed case without a question: %v", a)
	}
	s.Do("closed-case", "value", "K-1")
	s.Do("anyway") // judgement says STOP then: the steps are out of order
	if a := s.Scan(""); h.Size() != before+1 {
		t.Errorf("it was said that it is the right case: %v", a)
	}
	// Another day: neither badge nor case is yesterday's.
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-2"))
	h.After(24 * time.Hour)
	if a := begin("VAS-003"); !strings.Contains(a["next"].(string), "Scan the case") {
		t.Errorf("the next morning: %v", a)
	}
}

// TestPolicySaysHowLongABadgeHolds: the minutes are the policy's, also for who counts
// a case, and what the site's plain codes look like is not asked.
func TestPolicySaysHowLongABadgeHolds(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	policy := events.DefaultPolicy()
	policy.BadgeMinutes = 5
	policy.Codes = []events.CodePattern{
		{Kind: events.ScanBadge, Like: "N9999"}, {Kind: events.ScanCase, Like: "OP-99-999"}, {Kind: events.ScanSeal, Like: "999999"},
	}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	for code, kind := range map[string]string{"N3310": "badge", "OP-26-017": "case", "483923": "seal", "OP-26-18": "", "P3310": ""} {
		if a := s.Scan(code); a["kind"] != kind && (kind != "" || a["kind"] != nil) {
			t.Errorf("%s is taken for %v, want %q: %v", code, a["kind"], kind, a["words"])
		}
		s.Do("take-as", "value", "")
	}
	s.Do("forget")
	read := func(first ...string) {
		for _, text := range append(first, workplacetest.Label(t, events.ScanSet, "VAS-003"), "(8004)VAS-003", h.Codes["VAS-003"], "1") {
			s.Scan(text)
			h.After(3 * time.Second)
		}
	}
	read("N3310", "OP-26-017")
	before := h.Size()
	h.After(6 * time.Minute)
	if a := s.Scan(""); h.Size() != before || !strings.Contains(fmt.Sprint(a["words"], a["next"]), "was read here at") {
		t.Fatalf("after six minutes, of five: %v", a)
	}
	s.Do("read-again")
	read("OP-26-017")
	if a := s.Scan(""); h.Size() != before || !strings.Contains(fmt.Sprint(a["words"], a["next"]), "Scan your badge") {
		t.Fatalf("after six minutes, of five: %v", a)
	}
	s.Scan("N3310")
	if s.Scan(""); h.Size() != before+1 {
		t.Fatal("not recorded with the badge")
	}
	c := &workplacetest.Counter{House: h, Ref: "OP-26-017", Stage: "first"}
	c.Scan("N3310")
	c.Lines("VAS-003", 4, 2, 3)
	h.After(6 * time.Minute)
	before = h.Size()
	a := c.Scan("N3322")
	workplacetest.Must(t, a, "this count was left at")
	c.Do("left-on", "value", workplacetest.ChoiceOf(a, "still holds"))
	if a := c.Scan("N3322"); h.Size() != before || a["state"].(map[string]any)["counter"] != "N3322" {
		t.Fatalf("a badge of six minutes ago counts with the next one: %v", a["words"])
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("storage"))
	p.Type("N3310\r")
	p.AwaitText(".slots", "N3310")
	p.Type(kb.F8)
	p.Await(`!document.querySelector(".slots").textContent.includes("N3310")`)
}

// TestWhereTheSheetWas: a sheet in the hand of a set that was closed with the
// sheet inside is a moved sheet; nothing fills in that it was read inside.
func TestWhereTheSheetWas(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Trips["VAS-003"] = h.Record("north/packing-1", events.KindSetPacked, "VAS-003",
		&events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 2400}).Trip
	code := h.Record("north/packing-1", events.KindListSealed, "VAS-003",
		&events.ListSealed{Placement: events.InsideBag, BagLot: "BG-1"}).SheetCode
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan("VAS-003")
	a := s.Scan(code)
	if a["status"] != "doubtful" || !strings.Contains(a["words"].(string), "VAS-003 was closed with its count sheet inside") ||
		!strings.Contains(a["next"].(string), "Where was the count sheet?") {
		t.Fatalf("its own sheet: %v", a)
	}
	before := h.Size()
	if s.Scan(""); h.Size() != before {
		t.Fatal("recorded without anybody saying where the sheet was")
	}
	if a := s.Scan("1"); !strings.Contains(fmt.Sprint(a["words"], a["older"]), "in another place than recorded") {
		t.Errorf("a sheet in the hand, sealed inside: %v", a)
	}
	s.Scan("")
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetChecked)
	if len(got) != 1 || got[0].(*events.SetChecked).Sheet.Found != "outside" {
		t.Errorf("recorded %+v", got)
	}
}

// TestNextCountIsBegun: after a signature, and after going back, a key pressed once
// too often counts nothing; the next count begins when a person says so.
func TestNextCountIsBegun(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count"))
	badges := workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-3322") + "\r"
	p.Type(workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r")
	p.Await(`document.querySelector("tr.now") && !document.body.dataset.early`)
	p.Press("\r\r\r" + badges)
	p.AwaitText("#verdict", "First count recorded")
	drafts := func() int {
		names, err := filepath.Glob(filepath.Join(h.Site.Dir(), "drafts", "count", "K-1", "*.json"))
		if err != nil {
			t.Fatal(err)
		}
		return len(names)
	}
	before := drafts() // what was said
	p.Press("\r\r\r")
	p.Press("4\r")
	p.AwaitText("#verdict", "Begin: Final count")
	if got := drafts(); got > before+1 {
		t.Errorf("%d drafts: a stray Enter began the final count", got)
	}
	p.Axe()
	browsertest.Eval[bool](p, "(history.back(), true)")
	p.Await(`location.search === ""`)
	p.Press("\r\r")
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:"))`) // else their answers come to the next page
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	for _, stage := range []string{"first", "closing", "final"} {
		c.Stage = stage
		if a := c.Lines("VAS-003", 4); a["error"] == nil {
			t.Errorf("a line of the %s count is taken, which nobody began", stage)
		}
	}
	if st := (&workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}).Scan(workplacetest.Label(t,
		events.ScanCase, "K-1")); strings.Contains(
		fmt.Sprint(st["more"]), "is begun and not signed") {
		t.Errorf("the case shows a count that nobody began: %v", st["more"])
	}
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#verdict", "Begin: Final count")
	p.Touch(`[data-do="begin"]`)
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r\r" + badges)
	p.AwaitText("#verdict", "Final count recorded")
	p.AwaitText("#verdict .main", "Close case K-1")
}

// TestCountKnowsTheWrongSheet: the count of a set that was opened with another
// set's sheet says so, and that the list on the screen is the right one.
func TestCountKnowsTheWrongSheet(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Record("north/or-3", events.KindSetOpened, "LAP-014", &events.SetOpened{Case: "K-1", Tag: "LAP-014", OuterLabel: "LAP-014",
		Sheet: &events.Reading{Found: "outside", Code: h.Codes["LAP-022"]}, Indicator: "pass"})
	h.Open("VAS-003", "K-1")
	body := h.Get("/at/north/or-3/count?case=K-1&lang=en")
	for _, want := range []string{"WRONG COUNT SHEET: it belongs to LAP-022, not to LAP-014", "Count LAP-014 by this screen"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(body, "Count VAS-003 by this screen") {
		t.Error("the page warns of a set whose sheet is right")
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#warn", "LAP-014")
	h.Record("north/or-3", events.KindSetChecked, "VAS-003", &events.SetChecked{Place: "OR 3", Tag: "VAS-003", OuterLabel: "VAS-003",
		Sheet: &events.Reading{Found: "outside", Code: h.Codes["LAP-014"]}})
	p.AwaitText("#warn", "Count VAS-003 by this screen") // while it is open
	p.Axe()
}

// TestCloseFollowsTheCounts: what the closing page says is asked anew, live and on
// loading, and in the page's language.
func TestCloseFollowsTheCounts(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	count := func(stage events.Stage, clamps int64) {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2,
				Counted: clamps}, {Line: 3, Counted: 3}}})
	}
	count(events.StageFirst, 2)
	count(events.StageFinal, 1)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("close") + "?case=K-1")
	p.AwaitText("#verdict", "Case K-1 is open. Not accounted for: 1")
	p.AwaitText(".acts .main", "Back to the count")
	count(events.StageFinal, 2) // the piece is found
	p.AwaitText("#verdict", "The counts of K-1 come out")
	p.Reload()
	p.AwaitText("#verdict", "The counts of K-1 come out")
	count(events.StageFinal, 1)
	p.AwaitText("#verdict", "Case K-1 is open. Not accounted for: 1")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-2") + "\r")
	p.AwaitText("#bench", "B-2") // what follows goes past the page, and must not come before it
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Do("action", "action", "recounted")
	s.Do("record", "reason", "not found")
	p.AwaitText(".last", "Case K-1 closed. Not accounted for: 1")
	count(events.StageFinal, 2) // found after all
	p.AwaitText(".last", "By now: The counts of K-1 come out")
	p.AwaitText("#verdict", "By now: The counts of K-1 come out")
	p.Axe()
	p.Open(h.At("close") + "?lang=de")
	p.Await(`document.documentElement.lang === "de"`)
	if got := p.Text("#verdict"); strings.Contains(got, "come out") {
		t.Errorf("English on a German page: %s", got)
	}
	if got := p.Text(".last"); !strings.Contains(got, "K-1 abgeschlossen") || strings.Contains(got, "closed") {
		t.Errorf("what was recorded, on a German page: %s", got)
	}
}

// TestOlderFindingHidesNoAnswer: with a recall on the trip a scan is still
// answered: whose sheet it is, and what comes next. The recall is a STOP.
func TestOlderFindingHidesNoAnswer(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: "S1-0304-01",
		Sterilizer: "S1", Result: "positive"})
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	a := s.Scan("LAP-014")
	if a["answer"] != nil || !strings.Contains(fmt.Sprint(a["then"]), "LAP-014: scan the count sheet") {
		t.Errorf("what is scanned next stands above the STOP: %v / %v / %v", a["answer"], a["words"], a["then"])
	}
	a = s.Scan(h.Codes["LAP-014"])
	if a["status"] != "broken" || !strings.Contains(a["words"].(string), "RECALLED") ||
		!strings.Contains(fmt.Sprint(a["answer"]), "This count sheet belongs to LAP-014") {
		t.Errorf("its own sheet, under recall: %v / %v / %v", a["status"], a["words"], a["answer"])
	}
	a = s.Scan(h.Codes["LAP-022"])
	if !strings.Contains(a["words"].(string), "WRONG COUNT SHEET: it belongs to LAP-022") ||
		!strings.Contains(fmt.Sprint(a["older"]), "RECALLED") {
		t.Errorf("the twin's sheet, under recall: %v / %v", a["words"], a["older"])
	}
}

// TestTrayOpenedAsAnother: a set whose tray was opened under another's name is
// stopped at storage and opening, in words that say so.
func TestTrayOpenedAsAnother(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/or-3", events.KindSetOpened, "LAP-022", &events.SetOpened{Case: "K-0412", Tag: "LAP-014"})
	h.After(time.Hour)
	for _, path := range []string{"/at/north/storage/storage", "/at/north/or-3/opening"} {
		s := &workplacetest.Scanner{House: h, Path: path}
		s.Scan("LAP-014")
		a := s.Scan(h.Codes["LAP-014"])
		if a["status"] != "broken" || !strings.Contains(a["words"].(string), "LAP-014 was OPENED under the name of LAP-022") ||
			!strings.Contains(fmt.Sprint(a["more"]), "K-0412") {
			t.Errorf("%s: %v / %v / %v", path, a["status"], a["words"], a["more"])
		}
	}
}

// TestFailedLoad: a failed load names its sets, and none of them is green in the
// next load before it was packed again.
func TestFailedLoad(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Packed("LAP-022")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	a := s.Load("5", "failed", "LAP-014", "VAS-003")
	if a["status"] != "broken" || !strings.Contains(a["more"].(string), "Pull back: LAP-014, VAS-003") {
		t.Errorf("the load failed: %v / %v", a["words"], a["more"])
	}
	s.Do("begin", "sterilizer", "S1", "run", "6", "cycle", "c-134")
	if a := s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-022")); a["status"] != "whole" {
		t.Errorf("a set of another load: %v", a["words"])
	}
	a = s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	if a["status"] != "broken" || !strings.Contains(a["words"].(string), "VAS-003 was in load S1-0304-05, which FAILED") {
		t.Errorf("a set of the failed load: %v %v", a["status"], a["words"])
	}
	if body := h.Get("/at/north/sterilizer-1/sterilizer"); strings.Contains(body, `data-do="take-out" data-set="VAS-003"`) {
		t.Error("it was loaded without anybody saying so")
	}
	if a := s.Do("put", "value", "VAS-003"); a["status"] != "broken" {
		t.Errorf("loaded all the same, it is %v: %v", a["status"], a["words"])
	}
	h.Record("north/packing-1", events.KindSetPacked, "LAP-014", &events.SetPacked{List: "LAP-MAJOR", Version: 1, WeightGrams: 8400})
	if a := s.Put("LAP-014"); strings.Contains(a["words"].(string), "FAILED") {
		t.Errorf("packed again since: %v", a["words"])
	}
}

// TestLoadSaysWhenItWasStarted: start and loader are recorded, and the label can
// be printed before the cycle.
func TestLoadSaysWhenItWasStarted(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "9", "cycle", "c-134")
	s.Put("VAS-003")
	if body := h.Get("/print/load-label.pdf?load=S1-0304-09&at=north%2Fsterilizer-1"); !strings.HasPrefix(body, "%PDF-") {
		t.Errorf("no label before the cycle: %.100s", body)
	}
	if a := s.Do("start"); !strings.Contains(a["words"].(string), "Scan your badge") {
		t.Errorf("started by nobody: %v", a["words"])
	}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2043"))
	started := h.Clock()
	s.Do("start")
	h.After(time.Hour)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2044"))
	s.Do("result", "result", "passed", "released", "yes")
	got := h.Events(site.Query{Load: "S1-0304-09"}, events.KindSetSterilized)
	if len(got) != 1 {
		t.Fatalf("%d results", len(got))
	}
	if d := got[0].(*events.SetSterilized); d.Started != started.Format(time.RFC3339) || d.Loader != "B-2043" {
		t.Errorf("recorded: %+v", d)
	}
}

// TestStartedOnce: a load that runs is not started again: when it was started and by
// whom stay.
func TestStartedOnce(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "dynamic-air-132")
	s.Put("LAP-014")
	started := h.Clock()
	s.Do("start")
	h.After(10 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	s.Do("start")
	s.Do("result", "result", "passed", "released", "yes")
	got := h.Events(site.Query{Load: "S1-0304-07"}, events.KindSetSterilized)
	if d := got[0].(*events.SetSterilized); d.Loader != "B-1" || d.Started != started.Format(time.RFC3339) {
		t.Errorf("started by %s at %s, want B-1 at %s", d.Loader, d.Started, started)
	}
}

// TestIndicatorHasNoPreset: what an indicator showed is said, never preset; its
// load is found by scanning its label.
func TestIndicatorHasNoPreset(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	before := h.Size()
	if a := s.Do("indicator", "load", "S1-0304-01", "result", ""); h.Size() != before ||
		!strings.Contains(a["words"].(string), "what does it show?") {
		t.Fatalf("recorded without a result: %v", a["words"])
	}
	s.Do("clear")
	a := s.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-01"))
	if h.Size() != before || !strings.Contains(a["words"].(string), "Biological indicator of S1-0304-01: what does it show?") {
		t.Fatalf("the load's label: %v", a["words"])
	}
	s.Scan("")
	if h.Size() != before {
		t.Fatal("Enter recorded an indicator")
	}
	for _, wrong := range []string{"3 h", "-1", "20161", "99999999999999999999"} {
		a := s.Do("indicator", "load", "S1-0304-01", "result", "negative", "incubated", wrong)
		if h.Size() != before || !strings.Contains(fmt.Sprint(a), wrong+" is no number of minutes") {
			t.Errorf("incubated for %q: %v", wrong, a)
		}
	}
	s.Do("indicator", "load", "S1-0304-01", "result", "negative", "lot", "BI-77", "control", "positive", "incubated", " 180 ")
	got := h.Events(site.Query{Load: "S1-0304-01"}, events.KindIndicatorRead)
	if len(got) != 1 {
		t.Fatalf("%d indicators", len(got))
	}
	if d := got[0].(*events.IndicatorRead); d.Result != "negative" || d.Lot != "BI-77" || d.Control != "positive" || d.Sterilizer != "S1" ||
		d.IncubatedMinutes != 180 {
		t.Errorf("recorded: %+v", d)
	}
	// A positive one leads to what the load touched.
	s.Scan(workplacetest.Label(t, events.ScanLoad, "S1-0304-01"))
	if a := s.Do("indicator", "value", "positive"); !strings.Contains(a["words"].(string),
		"Biological indicator of S1-0304-01: POSITIVE") ||
		!strings.Contains(a["bench"].(string), `href="/touched?load=S1-0304-01"`) {
		t.Errorf("a positive indicator: %v %v", a["words"], a["bench"])
	}
}

// TestMistakesAreTakenBack: a seal, the last scan and a recorded step are taken
// back in two inputs; what was recorded stays in the history with its correction.
func TestMistakesAreTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
	s.Scan("(8004)LAP-014")
	s.Scan(workplacetest.Label(t, events.ScanSeal, "483924"))
	a := s.Scan(workplacetest.Label(t, events.ScanSeal, "2"))
	if !strings.Contains(a["bench"].(string), `data-value="2"`) {
		t.Fatalf("the seal isn't on the bench")
	}
	if a = s.Do("seal-off", "value", "2"); strings.Contains(a["bench"].(string), `data-value="2"`) ||
		!strings.Contains(a["bench"].(string), `data-value="483924"`) {
		t.Error("the wrong seal stays, or the right one went")
	}
	if a = s.Scan(h.Codes["LAP-022"]); !strings.Contains(a["words"].(string), "WRONG COUNT SHEET") {
		t.Fatalf("%v", a["words"])
	}
	if a = s.Do("undo"); !strings.Contains(a["words"].(string), "scan the count sheet") {
		t.Errorf("after taking the sheet back: %v", a["words"])
	}
	if a = s.Do("undo"); !strings.Contains(fmt.Sprint(a["words"], a["aside"]), "nothing to take back") {
		t.Errorf("twice: %v", a["words"])
	}
	s.Scan(h.Codes["LAP-014"])
	s.Scan("1")
	h.After(time.Minute)
	if a = s.Scan(""); !strings.Contains(a["words"].(string), "LAP-014 opened for K-1") {
		t.Fatalf("%v", a["words"])
	}
	before := h.Size()
	h.After(time.Minute)
	if a = s.Do("take-back"); h.Size() != before || !strings.Contains(a["words"].(string), "Why is this taken back?") {
		t.Fatalf("taken back without a reason: %v", a["words"])
	}
	if a = s.Do("take-back", "value", "by-mistake"); h.Size() != before+1 || !strings.Contains(a["words"].(string), "Taken back") {
		t.Fatalf("%d records more: %v", h.Size()-before, a["words"])
	}
	if n := len(h.Events(site.Query{Set: "LAP-014"}, events.KindSetOpened)); n != 1 {
		t.Errorf("the history has %d openings, want the one that was taken back", n)
	}
	st, err := site.Answer(h.Site, func(m *site.View) (*projections.Verdict, error) {
		return m.Verdict(t.Context(), projections.TripKey{Set: "LAP-014", Trip: h.Trips["LAP-014"]})
	})
	if err != nil || st.Opened {
		t.Errorf("it still counts as opened: %+v, %v", st, err)
	}
}

// TestSecondTabTakesNothingAway: Enter in a tab that shows another set than lies
// on the bench by now records nothing.
func TestSecondTabTakesNothingAway(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Used("K-0", "LAP-014", "VAS-003")
	post := func(client string, n int, rev float64, text string) map[string]any {
		return h.Post("/at/north/packing-1/packing/scan", fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,"text":%q}`, client, n, rev, text))
	}
	shown := post("one", 1, 0, workplacetest.Label(t, events.ScanSet, "LAP-014"))
	// The bench is not taken from the other screen until that is said.
	for n := range 2 { // as a scanner that reads twice
		a := post("two", 1+n, shown["rev"].(float64), workplacetest.Label(t, events.ScanSet, "VAS-003"))
		if !strings.Contains(fmt.Sprint(a["aside"]), "Another screen works on LAP-014") ||
			!strings.Contains(a["words"].(string), "Forceps") {
			t.Fatalf("a scan in another tab took the bench: %v %v", a["words"], a["aside"])
		}
	}
	h.After(3 * time.Second)
	shown = post("one", 9, shown["rev"].(float64), workplacetest.Label(t, events.ScanSet, "LAP-014"))
	h.After(3 * time.Second)
	post("two", 3, shown["rev"].(float64), workplacetest.Label(t, events.ScanSet, "VAS-003"))
	h.After(3 * time.Second)
	if a := post("two", 4, shown["rev"].(float64), workplacetest.Label(t, events.ScanSet,
		"VAS-003")); !strings.Contains(fmt.Sprint(a["bench"]), "VAS-003") {
		t.Fatalf("said twice, it is taken: %v", a["aside"])
	}
	for i, text := range []string{"", "4"} {
		if a := post("one", 12+i, shown["rev"].(float64), text); !strings.Contains(fmt.Sprint(a["words"],
			a["aside"]), "Another screen has changed this bench") ||
			strings.Contains(a["bench"].(string), "✓") {
			t.Errorf("%q of a tab that shows LAP-014 packed a line of VAS-003: %v", text, a["words"])
		}
	}
	// Enter before the answer came says yes to nothing that was shown.
	a := post("two", 5, shown["rev"].(float64), "")
	early := strings.Contains(fmt.Sprint(a["aside"]), "entered before this was shown")
	if a["sound"] != "low" || !early || strings.Contains(a["bench"].(string), "✓") {
		t.Errorf("a line that was not shown is packed: %v %v", a["words"], a["aside"])
	}
	if a = post("two", 6, a["rev"].(float64), ""); !strings.Contains(a["bench"].(string), "✓") {
		t.Errorf("the tab that shows VAS-003: %v", a["words"])
	}
}

// TestLeftoverCharacters: a label behind characters that were left in the field,
// or in another field, is the label.
func TestLeftoverCharacters(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	tag := workplacetest.Label(t, events.ScanSet, "LAP-014")
	if a := s.Scan("12" + tag); a["kind"] != "set" || a["what"] != "LAP-014" {
		t.Errorf("12 and a label: %v %v %v", a["kind"], a["what"], a["words"])
	}
	if a := s.Do("where", "where", "OR"+h.Codes["LAP-014"]); a["kind"] != "sheet code" ||
		strings.Contains(a["bench"].(string), `value="OR`) {
		t.Errorf("a sheet scanned into the field of the room: %v %v", a["kind"], a["words"])
	}
	// The code of a count sheet that broke off, and whose end is a badge by chance.
	if a := s.Scan("106EBW8XWF1WEH7GP8ZJFG9KX9BG78QBR9Y9H"); a["kind"] == "badge" ||
		!strings.Contains(workplacetest.Tells(a), "broke off") {
		t.Errorf("half a sheet's code is taken for the badge at its end: %v", workplacetest.Tells(a))
	}
}

// TestScanBeforeTheScript: scans that come before the page's script is there are kept
// for it, in order, also a short one, and don't load the page anew; Enter and a number,
// which answer nothing that was asked, are not.
func TestScanBeforeTheScript(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(20 * time.Minute)
	late, asked := make(chan struct{}), make(chan struct{}, 9)
	var held atomic.Bool
	inner := h.Handler()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/station.js") {
			if held.Load() {
				asked <- struct{}{}
				<-late
			}
			r.URL.Path = "/workplace/station.js" // by which no browser keeps it: else the page has it at once
		}
		inner.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { srv.CloseClientConnections(); srv.Close() })
	run := sync.OnceFunc(func() { close(late) })
	t.Cleanup(run) // before the server closes, which waits for its requests
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(srv.URL + "/at/north/or-3/opening")
	p.Type(strings.Join([]string{workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanBadge, "B-1"),
		workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t, events.ScanOuter, "VAS-003"),
		h.Codes["VAS-003"], ""}, "\r"))
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Type("1\r")
	p.AwaitText("#verdict", "Enter records: VAS-003 opened for K-1")
	before := h.Size()
	held.Store(true)
	browsertest.Eval[bool](p, `(location.href = location.pathname + "?again", true)`)
	<-asked
	// A browser whose pictures nobody sees draws none while it waits for a script, and gives the field no focus before.
	p.Await(`location.search === "?again" && (document.getElementById("code")?.focus(), document.activeElement.id === "code")`)
	p.Type("\r4\r" + workplacetest.Label(t, events.ScanCase, "K-3") + "\r\rK-2\r\r")
	run()
	p.AwaitText("#bench", "K-3")
	p.AwaitText("#verdict", "K-2: what is it?")
	if n := h.Size() - before; n != 0 {
		t.Errorf("%d records by Enter and a number that came before the script", n)
	}
	if got := p.Address(); got != "/at/north/or-3/opening?again" {
		t.Errorf("the page went to %s", got)
	}
	held.Store(false)
}

// TestCyclesComeFromAList: a cycle is chosen from what the policy names, or what ran
// here, in one spelling; what was entered of a load that can't be begun stays.
func TestCyclesComeFromAList(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "5", "cycle", "Dynamic-Air-132")
	s.Do("give-up")
	a := s.Do("begin", "sterilizer", "S1", "run", "six", "cycle", "dynamic-air-132")
	if bench := a["bench"].(string); !strings.Contains(bench, `name="run" inputmode="numeric" maxlength="6" value="six"`) ||
		!strings.Contains(bench, "<option selected>Dynamic-Air-132</option>") && !strings.Contains(bench,
			"<option>Dynamic-Air-132</option>") {
		t.Errorf("the fields are empty, or the cycle that ran is not offered: %s", bench)
	}
	if a = s.Do("begin", "sterilizer", "S1", "run", "6", "other", "dynamic-air 132"); a["error"] != nil {
		t.Fatal(a)
	}
	if a = s.Do("begin", "sterilizer", "S1", "run", "7", "other",
		"dynamic-AIR-132"); !strings.Contains(a["bench"].(string), "cycle number 7, Dynamic-Air-132") {
		t.Errorf("another spelling is another cycle: %v", a["bench"])
	}
	policy := events.DefaultPolicy()
	policy.Cycles = []string{"c-134", "c-121"}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	if a = s.Do("begin", "sterilizer", "S1", "run", "8", "cycle", "c-135"); !strings.Contains(fmt.Sprint(a["words"],
		a["aside"]), "c-134, c-121") {
		t.Errorf("a cycle that the policy doesn't name: %v", a["words"])
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.URL + "/at/north/sterilizer-1/sterilizer")
	p.AwaitText("#cycle", "c-134")
	p.Axe()
}

// TestLastLineIsTakenBack: Undo at packing takes back what was entered last, be it a
// line, why it is not as listed, or a scan, and nothing else.
func TestLastLineIsTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	enter := func(text, want string) {
		t.Helper()
		h.After(3 * time.Second)
		if a := s.Scan(text); !strings.Contains(fmt.Sprint(a["words"]), want) {
			t.Fatalf("after %q: %v, want %s", text, a["words"], want)
		}
	}
	undo := func(want string) {
		t.Helper()
		h.After(3 * time.Second)
		if a := s.Do("undo"); !strings.Contains(fmt.Sprint(a["words"]), want) {
			t.Fatalf("after undo: %v, want %s", a["words"], want)
		}
	}
	enter(workplacetest.Label(t, events.ScanTag, "VAS-003"), "4 × Forceps")
	enter("", "2 × Clamp")
	undo("4 × Forceps")
	undo("nothing to take back")
	enter("", "4 × Forceps") // Enter on that asks again
	enter("3", "Line 1: 3 of 4. Why?")
	s.Do("again") // and no line is left
	undo("Line 1: 3 of 4. Why?")
	s.Do("again")
	enter("", "2 × Clamp")
	enter("1", "Line 2: 1 of 2. Why?")
	enter("3", "3 × Probe")
	undo("Line 2: 1 of 2. Why?")
	s.Do("again")
	undo("Line 2: 1 of 2. Why?")
	enter("2", "3 × Probe")
	enter(workplacetest.Label(t, events.ScanBadge, "B-1"), "3 × Probe")
	undo("3 × Probe") // the badge alone
	enter("", "Weigh it")
	undo("3 × Probe")
	enter("", "Weigh it")
	enter("8.2", "Scan your badge")
	undo("Weigh it")
	enter("8.3", "Scan your badge")
	enter(workplacetest.Label(t, events.ScanBadge, "B-1"), "Enter records")
	enter("", "VAS-003 packed")
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	d := got[len(got)-1].(*events.SetPacked)
	want := []events.Exception{{Line: 2, Counted: 1, Reason: "substituted"}}
	if !slices.Equal(d.Exceptions, want) || d.WeightGrams != 8300 {
		t.Errorf("recorded %+v, %d g", d.Exceptions, d.WeightGrams)
	}
}

// TestWhatAnotherScreenWorksOn: a screen that would take over says what the other one
// works on, by the label where no tag was read, and no empty name where only a sheet
// lies there.
func TestWhatAnotherScreenWorksOn(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	n := 0
	for _, test := range []struct{ scan, want string }{
		{h.Codes["LAP-014"], "Another screen works here."},
		{workplacetest.Label(t, events.ScanOuter, "LAP-014"), "Another screen works on LAP-014 here."},
	} {
		send := func(client, verb, rest string) map[string]any {
			n++
			h.After(3 * time.Second)
			return h.Post("/at/north/or-3/storage/"+verb, fmt.Sprintf(`{"client":%q,"n":%d,%s}`, client, n, rest))
		}
		send("a", "scan", `"text":`+workplacetest.JSONText(test.scan))
		a := send("b", "scan", `"rev":1,"text":`+workplacetest.JSONText(workplacetest.Label(t, events.ScanTag, "VAS-003")))
		if !strings.HasPrefix(fmt.Sprint(a["aside"]), test.want) {
			t.Errorf("after %.20s: %q, want %s", test.scan, a["aside"], test.want)
		}
		send("a", "do", `"action":"clear","fields":{}`)
	}
}

// TestWaitedScanIsTaken: a scan that waited while the line was down can't be scanned
// again, so it is taken where its screen showed what lies here, though the screen
// that began there is another one: a tablet's battery died, and the next went on.
func TestWaitedScanIsTaken(t *testing.T) {
	for _, test := range []struct {
		name  string
		ago   string
		since string // what another screen scans in between
		taken bool
	}{
		{"waited", `"ago":60000,`, "", true},
		{"did not wait", "", "", false},
		{"waited, and somebody went on", `"ago":60000,`, workplacetest.Label(t, events.ScanSeal, "200"), false},
	} {
		h := workplacetest.NewHouse(t, "LAP-014")
		n := 0
		send := func(client, rest, text string) map[string]any {
			n++
			h.After(3 * time.Second)
			return h.Post("/at/north/or-3/sealing/scan", fmt.Sprintf(`{"client":%q,"n":%d,%s"text":%s}`, client, n,
				rest, workplacetest.JSONText(text)))
		}
		a := send("a", "", workplacetest.Label(t, events.ScanTag, "LAP-014"))
		rev := fmt.Sprintf(`"rev":%v,`, a["rev"])
		if test.since != "" {
			send("a", "", test.since)
		}
		a = send("b", rev+test.ago, workplacetest.Label(t, events.ScanSeal, "100"))
		if taken := a["stale"] != true && strings.Contains(fmt.Sprint(a["bench"]), "100"); taken != test.taken {
			t.Errorf("%s: taken %t: %v", test.name, taken, a["aside"])
		}
	}
}

// TestNotTakenIsInSight: on a screen that is not high, too, a person who scans where
// another screen is at work sees that the scan was not taken.
func TestNotTakenIsInSight(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "LAP-014")
	b := workplacetest.Browser(t)
	one, two := b.Tab(t, workplacetest.Tablet), b.Tab(t, workplacetest.Tablet)
	for _, p := range []*browsertest.Tab{one, two} {
		p.Open(h.At("sealing"))
		p.Await(`document.getElementById("scan").dataset.ready`)
	}
	one.Type(workplacetest.Label(t, events.ScanTag, "LAP-014") + "\r")
	for _, p := range []*browsertest.Tab{one, two} {
		p.AwaitText("#verdict", "where does the count sheet go")
	}
	two.Type(workplacetest.Label(t, events.ScanSeal, "100") + "\r")
	two.Await(`document.getElementById("verdict").innerText.includes("Another screen works on LAP-014")`)
}

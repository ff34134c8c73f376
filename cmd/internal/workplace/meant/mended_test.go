//go:build !race

package meant_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// inGerman asks a place what it says, in German.
func inGerman(h *workplacetest.House, place string) map[string]any {
	h.T.Helper()
	return workplacetest.JSON(h, "/at/north/or-3/"+place+"/state?lang=de")
}

// TestFindingOutlivesLanguage: what a scan or a record showed is still there, large, for whoever reads another language
// next, and after a reload in that one.
func TestFindingOutlivesLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-0412")
	h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageFinal,
		Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
		Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}})
	h.After(5 * time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	for _, text := range []string{workplacetest.Label(t, events.ScanSet, "VAS-003"), "3", "1", "", "", "8.2",
		workplacetest.Label(t, events.ScanBadge, "B-1182")} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	workplacetest.Must(t, s.Scan(""), "VAS-003 packed", "came back SHORT from its case")
	for range 2 {
		workplacetest.Must(t, inGerman(h, "packing"), "broken", "VAS-003 gepackt",
			"VAS-003: kam mit ZU WENIG aus seinem Eingriff zurück", "K-0412")
	}
	workplacetest.Must(t, workplacetest.JSON(h, "/at/north/or-3/packing/state?lang=en"), "came back SHORT from its case")

	h.Open("LAP-014", "K-1")
	s = &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-014")), "broken", "was opened and not packed since")
	workplacetest.Must(t, inGerman(h, "sterilizer"), "broken", "LAP-014 wurde geöffnet und seither nicht gepackt")
	// A refusal, and the time in a question.
	workplacetest.Must(t, s.Do("begin", "sterilizer", "S1", "run", "1", "cycle", "c-134"), "S1-0304-01 was recorded already")
	workplacetest.Must(t, inGerman(h, "sterilizer"), "S1-0304-01", "04.03.2026")
}

// TestCountInAnotherLanguage: what was said when a count was signed, and why it is taken back, is said in the language of
// whoever reads it.
func TestCountInAnotherLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, a, "First count recorded (sets: 1), signed by B-1 and B-2")
	page := h.Get(fmt.Sprint(a["go"], "&lang=de"))
	said := "Erste Zählung aufgezeichnet (Siebe: 1), unterschrieben von B-1 und B-2"
	if !strings.Contains(page, said) || strings.Contains(page, "A count that comes out") {
		t.Error("the German page says it in English")
	}
	h.After(3 * time.Second)
	workplacetest.Must(t, h.Post("/at/north/or-3/count/do?lang=de",
		`{"client":"t","n":50,"case":"K-1","stage":"final","action":"take-back","fields":{}}`), "Warum wird das zurückgenommen? "+said)
	c.Stage = "final"
	c.Do("begin")
	workplacetest.Must(t, c.Scan("P47110815"), "P47110815")
	workplacetest.Must(t, h.Post("/at/north/or-3/count/scan?lang=de", `{"client":"t","n":60,"case":"K-1","stage":"final","text":""}`),
		"P47110815", "Ausweis")
}

// TestPackingAnOpenSetIsAsked: that a set is open in a case that is not closed is a question, before anything is counted.
// Neither Enter nor a number answers it; what is recorded then says it, as does the page.
func TestPackingAnOpenSetIsAsked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	at := h.Clock()
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	asks := "VAS-003 is open in case K-1 since " + at.Format("2 Jan 2006 15:04")
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "open", asks)
	for _, a := range []map[string]any{scan(""), scan("4"), s.Do("line", "line", "1"), s.Do("record"), s.Do("open", "value", "K-2")} {
		workplacetest.Must(t, a, asks)
	}
	workplacetest.Must(t, s.Do("open", "value", "K-1"), "4 × Forceps")
	for range 3 {
		scan("")
	}
	before := h.Size()
	workplacetest.Must(t, scan("8.2"), "doubtful", "VAS-003 was opened for case K-1, which is not closed", "Enter records: VAS-003 packed")
	workplacetest.Must(t, scan(""), "doubtful", "VAS-003 packed", "VAS-003 was opened for case K-1, which is not closed")
	if h.Size() != before+1 {
		t.Errorf("%d records", h.Size()-before)
	}
	// It is asked of each set anew, and it can be left as it is.
	h.Open("VAS-003", "K-2")
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanTag, "VAS-003")), "VAS-003 is open in case K-2 since")
	workplacetest.Must(t, s.Do("leave"), "Scan the tag")
}

// TestNewestVersionIsTakenBack: who goes on by the newest version and takes that back has all counts again, and is asked
// again.
func TestNewestVersionIsTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanTag, "VAS-003"), "", "1", "1"} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	h.Reissued(2)
	workplacetest.Must(t, s.Scan(""), "was issued anew")
	a := s.Do("newest", "value", "2")
	again := strings.Count(fmt.Sprint(a["bench"]), `data-clear="1"`)
	workplacetest.Must(t, s.Do("undo"), "was issued anew: version 2")
	a = s.Do("stay", "value", "2")
	if lines := strings.Count(fmt.Sprint(a["bench"]), `data-clear="1"`); lines != 2 || again != 1 {
		t.Errorf("counted lines: %d by the newest version, then %d, want 1 and 2", again, lines)
	}
}

// TestWhyTakenBack: the reasons for taking a record back fit what was recorded.
func TestWhyTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "Case K-1 closed")
	h.After(3 * time.Second)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := s.Do("take-back")
	if all := fmt.Sprint(a["choices"]); strings.Contains(all, "another set") || !strings.Contains(all, "another case") {
		t.Errorf("offered are %s", all)
	}
	workplacetest.Must(t, s.Do("take-back", "value", "wrong-set"), "Why is this taken back?")
	workplacetest.Must(t, s.Do("take-back", "value", "wrong-case"), "Taken back: Case K-1 closed")
}

// TestLotIsNothingKnown: what is known here as a badge, a set, a case, a load or a station is no lot, at an indicator and
// at a bag, in whatever letters; a pattern of the site may say that it is one.
func TestLotIsNothingKnown(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan("B-3310")
	s.Do("take-as", "value", "badge")
	s.Do("next-person")
	seal := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	seal.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	seal.Do("placement", "placement", "inside-bag")
	for _, x := range []struct{ code, kind string }{
		{"B-3310", "Badge"}, {"b-3310", "Badge"}, {"VAS-003", "Set"}, {"K-0412", "Case"}, {"S1-0304-01", "Load"}, {"OR-3", "Station"},
	} {
		no := x.code + " is no lot here. It is known as: " + x.kind
		if a := s.Do("indicator", "load", "S1-0304-01", "lot", x.code, "result", "negative"); a["off"] != "lot" {
			t.Errorf("%s stays in the field", x.code)
		} else {
			workplacetest.Must(t, a, no)
		}
		workplacetest.Must(t, seal.Do("lot", "lot", x.code), no)
		workplacetest.Must(t, seal.Do("nonsense"), "means nothing here", "")
		if bench := fmt.Sprint(seal.Do("nothing")["bench"]); strings.Contains(bench, `value="`+x.code+`"`) {
			t.Errorf("%s is the lot of the bag", x.code)
		}
	}
	h.After(time.Minute)
	asked := seal.Do("placement", "placement", "inside-bag")
	seal.Do("unpacked", "value", workplacetest.ChoiceOf(asked, "all the same")) // else the lot is not what is asked for
	if a := seal.Scan("K-0412"); !strings.Contains(workplacetest.Tells(a), "no lot here") {
		t.Errorf("scanned as a lot: %s", workplacetest.Tells(a))
	}
	seal.Do("nothing")
	seal.Do("clear")
	policy := events.DefaultPolicy()
	policy.Codes = []events.CodePattern{{Kind: events.ScanLot, Like: "K-9999"}}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Do("indicator", "load", "S1-0304-01", "lot", "K-0412", "result", "negative"), "S1-0304-01: negative")
}

// TestBadgeInTheLotsField: a badge that a scanner typed there doesn't stay, in a real browser; what else was entered does.
func TestBadgeInTheLotsField(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan("B-3310")
	s.Do("take-as", "value", "badge")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("sterilizer"))
	p.Await(`(document.querySelector("#bi-load").value = "S1-0304-01", document.querySelector("#bi-result").value = "positive",
		document.querySelector("#bi-lot").focus(), true)`)
	before := h.Size()
	p.Press("B-3310\r")
	p.AwaitText("#verdict", "B-3310 is no lot here")
	p.Await(`document.querySelector("#bi-lot").value === "" && document.querySelector("#bi-result").value === "positive"`)
	if h.Size() != before {
		t.Error("recorded")
	}
}

// TestCycleIsChosen: which cycle ran is chosen by a person, by one key; only where the site has one alone is it there.
func TestCycleIsChosen(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	for _, cycle := range []string{"c-121", "c-134"} {
		s.Do("begin", "sterilizer", "S1", "run", "5", "cycle", "", "other", cycle)
		s.Do("give-up")
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("sterilizer"))
	chosen := func() string { return browsertest.Eval[string](p, `document.querySelector("#cycle").value`) }
	if c := chosen(); c != "" {
		t.Fatalf("%q is chosen by nobody", c)
	}
	p.Await(`(document.querySelector("#sterilizer").value = "S1", document.querySelector("#run").focus(), true)`)
	p.Type("6\r")
	p.AwaitText("#verdict", "A load needs the sterilizer, the cycle number and the cycle")
	workplacetest.Settled(p)
	p.Await(`document.querySelector("#run").value === "6" && (document.querySelector("#cycle").focus(), true)`)
	p.Type(kb.ArrowDown)
	if c := chosen(); c != "c-134" {
		t.Errorf("one key chooses %q, want what ran last", c)
	}
	p.Touch(`form[data-do="begin"] button`)
	p.AwaitText("#bench", "cycle number 6, c-134")
	policy := events.DefaultPolicy()
	policy.Cycles = []string{"c-134"}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	p.Open(h.At("sterilizer"))
	if c := chosen(); c != "c-134" {
		t.Errorf("of one cycle %q is chosen", c)
	}
}

// TestNoPatientInForms: what identifies a patient is taken by no field of a form, and does not stay there.
func TestNoPatientInForms(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	before, n := h.Size(), 0
	for _, x := range []struct{ place, action, field string }{
		{"opening", "case", "case"}, {"sealing", "lot", "lot"}, {"sealing", "seal", "seal"}, {"return", "basket", "basket"},
		{"return", "washer", "washer"}, {"pieces", "item", "item"}, {"sterilizer", "indicator", "lot"}, {"sterilizer", "begin", "for"},
		{"close", "case", "case"},
	} {
		for _, code := range []string{"]C1801804012345000000022", "(8018)040123450000000221", "483920, (8018)040123450000000221"} {
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + x.place, Number: n}
			s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
			h.After(3 * time.Second)
			a := s.Do(x.action, x.field, code)
			if workplacetest.Must(t, a, "broken", "This symbol names a patient"); a["off"] != x.field {
				t.Errorf("%s, %s: the number stays in %v", x.place, x.action, x.field)
			}
			s.Do("clear")
			n = s.Number
		}
	}
	if h.Size() != before {
		t.Error("recorded")
	}
}

// TestExpiredEntriesAreKept: what is too old to be recorded is not offered to be sent. It stays in sight, also after a
// reload, and can be copied, until a person says that it is done.
func TestExpiredEntriesAreKept(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Worker.Store(true)
	h.After(48 * time.Hour)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	const at = "/at/north/or-3/storage"
	p.Open(h.At("packing"))
	workplacetest.Waiting(p, at, 1, 32*24*time.Hour, workplacetest.Label(t, events.ScanTag, "LAP-014"), "7")
	browsertest.Eval[bool](p, fmt.Sprintf(`(localStorage.setItem("waiting:other:%s", JSON.stringify([{verb: "scan", at: Date.now() - %d,
		body: {client: "other", n: 1, rev: 1, text: %q}}])), true)`, at, (30*24*time.Hour).Milliseconds(),
		workplacetest.Label(t, events.ScanTag, "VAS-003")))
	before := h.Size()
	for range 2 {
		p.Reload()
		p.AwaitText("#old", "VAS-003")
		p.AwaitText("#expired", "Storage · LAP-014")
		p.AwaitText("#expired", "Storage · 7")
		if got := p.Text("#old"); strings.Contains(got, "LAP-014") {
			t.Fatalf("offered to be sent: %s", got)
		}
	}
	p.Axe()
	p.Click(`#expired [data-act="copy"]`)
	p.AwaitText("#expired", "Copied")
	p.Touch(`#old [data-act="take"]`)
	p.Await(`document.querySelector("#old").hidden`)
	workplacetest.Settled(p)
	p.AwaitText("#expired", "LAP-014")
	if untaken := p.Text("#untaken"); strings.Contains(untaken, "LAP-014") || h.Size() != before {
		t.Errorf("sent, and refused: %s", untaken)
	}
	browsertest.Eval[bool](p, `(window.print = () => {
		window.printed = getComputedStyle(document.querySelector("#expired")).display + document.body.dataset.print;
	}, true)`)
	p.Touch(`#expired [data-act="print"]`)
	p.Await(`window.printed === "blockexpired"`)
	p.Touch(`#expired [data-act="aside"]`)
	p.Await(`document.querySelector("#expired").hidden`)
	p.Reload()
	p.Await(`document.body.dataset.kept && document.querySelector("#expired").hidden`)
}

// TestTakingACountBackIsAnswered: the badge that takes a signed count back is scanned where it was asked for, while that is
// in sight, soon. Any other badge, at another screen, hours later or after something else, takes nothing back.
func TestTakingACountBackIsAnswered(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "First count recorded")
	before := h.Size()
	c.Stage = "final" // the next page
	asked := func() {
		h.After(3 * time.Second)
		workplacetest.Must(t, c.Do("take-back", "value", "not-done"), "Scan your badge: it records that the count is taken back")
		h.After(3 * time.Second)
	}
	badge := workplacetest.Label(t, events.ScanBadge, "B-77")
	scans := func(client string, rev any) map[string]any {
		c.Number++
		return h.Post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,"case":"K-1","stage":"final","text":%q}`,
			client, c.Number, rev, badge))
	}
	asked()
	scans("other", c.Asks) // another screen, which shows nothing of it
	scans("t", 0)          // the page was loaded anew
	c.Scan("P47110815")    // something else was said, and is in sight
	h.After(3 * time.Second)
	c.Scan(badge)
	asked()
	h.After(2 * time.Hour)
	c.Scan(badge)
	asked()
	asks := c.Asks
	c.Do("begin")
	scans("t", asks)
	if h.Size() != before {
		t.Fatal("taken back by somebody whom nobody asked")
	}
	h.After(time.Minute)
	c = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "relief", Number: 100}
	asked()
	if workplacetest.Must(t, c.Scan(badge), "Taken back: First count recorded"); h.Size() != before+1 {
		t.Errorf("%d records", h.Size()-before)
	}
}

// TestTwoPersonsCloseEachCase: a badge that was scanned for one case closes no other: not the one who closed the case
// before, and not one whose screen was taken by another case's address.
func TestTwoPersonsCloseEachCase(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	for set, ref := range map[string]string{"VAS-003": "K-1", "VAS-004": "K-2"} {
		h.Open(set, ref)
		for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
			h.Record("north/or-3", events.KindSetCounted, set, &events.SetCounted{Case: ref, Stage: stage, Sheet: "screen",
				Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2},
					{Line: 3, Counted: 3}}})
		}
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	scan := func(kind events.ScanKind, id string) map[string]any {
		h.After(3 * time.Second)
		return s.Scan(workplacetest.Label(t, kind, id))
	}
	scan(events.ScanCase, "K-1")
	scan(events.ScanBadge, "B-1")
	h.Get("/at/north/or-3/close?case=K-2") // takes nothing away from who is at work for K-1
	before := h.Size()
	workplacetest.Must(t, scan(events.ScanBadge, "B-2"), "Case K-1 closed")
	h.After(15 * time.Minute)
	scan(events.ScanCase, "K-2")
	workplacetest.Must(t, scan(events.ScanBadge, "B-3"), "The counts of K-2 come out", "Scan the second person")
	if h.Size() != before+1 {
		t.Fatal("K-2 is closed by one person")
	}
	workplacetest.Must(t, scan(events.ScanBadge, "B-4"), "Case K-2 closed")
}

// TestSignWithoutSignsNoMore: the button that signs without a set does not sign that set, though it was completed meanwhile.
func TestSignWithoutSignsNoMore(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Lines("VAS-004", 4, 2)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	workplacetest.Must(t, c.Do("sign"), "VAS-004")
	h.Post("/at/north/or-3/count/enter", `{"client":"other","n":1,"case":"K-1","stage":"first",
		"lines":[{"set":"VAS-004","line":3,"counted":3,"seen":0}]}`)
	before := h.Size()
	a := c.Do("sign-without", "value", "VAS-004")
	if h.Size() != before {
		t.Fatal("VAS-004 was signed by the button that leaves it out")
	}
	workplacetest.Must(t, a, "Scan your badge (B-2) once more") // the last line was not in sight when it was scanned
	h.After(3 * time.Second)
	if c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")); h.Size() != before+2 {
		t.Errorf("%d records, want both counts", h.Size()-before)
	}
}

// TestOldSheetAtTheCount: a sheet of an earlier turn of a set of the case is said to be that.
func TestOldSheetAtTheCount(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	old := h.Codes["VAS-003"]
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Codes["VAS-003"] = h.Record("north/packing-1", events.KindListSealed, "VAS-003",
		&events.ListSealed{Placement: events.Outside}).SheetCode
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	a := c.Scan(old)
	workplacetest.Must(t, a, "broken", "An earlier count sheet of VAS-003", "Count by the list on this screen")
	if strings.Contains(workplacetest.Tells(a), "not on this case") {
		t.Errorf("the set is on the case: %s", workplacetest.Tells(a))
	}
}

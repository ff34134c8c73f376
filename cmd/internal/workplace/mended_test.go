package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/browsertest"
	"listbound/events"
)

// inGerman asks a place what it says, in German.
func inGerman(h *house, place string) map[string]any {
	h.t.Helper()
	return getJSON(h, "/at/north/or-3/"+place+"/state?lang=de")
}

func getJSON(h *house, path string) (out map[string]any) {
	h.t.Helper()
	if err := json.Unmarshal([]byte(h.get(path)), &out); err != nil {
		h.t.Fatal(err)
	}
	return out
}

// TestFindingOutlivesLanguage: what a scan or a record showed is still there, large, for whoever reads another language
// next, and after a reload in that one.
func TestFindingOutlivesLanguage(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	h.open("VAS-003", "K-0412")
	h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageFinal,
		Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
		Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}})
	h.after(5 * time.Hour)
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	for _, text := range []string{label(t, events.ScanSet, "VAS-003"), "3", "1", "", "", "8.2", label(t, events.ScanBadge, "B-1182")} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	must(t, s.scan(""), "VAS-003 packed", "came back SHORT from its case")
	for range 2 {
		must(t, inGerman(h, "packing"), "broken", "VAS-003 gepackt", "VAS-003: kam mit ZU WENIG aus seinem Eingriff zurück", "K-0412")
	}
	must(t, getJSON(h, "/at/north/or-3/packing/state?lang=en"), "came back SHORT from its case")

	h.open("LAP-014", "K-1")
	s = &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	must(t, s.scan(label(t, events.ScanSet, "LAP-014")), "broken", "was opened and not packed since")
	must(t, inGerman(h, "sterilizer"), "broken", "LAP-014 wurde geöffnet und seither nicht gepackt")
	// A refusal, and the time in a question.
	must(t, s.do("begin", "sterilizer", "S1", "run", "1", "cycle", "c-134"), "S1-0304-01 was recorded already")
	must(t, inGerman(h, "sterilizer"), "S1-0304-01", "04.03.2026")
}

// TestCountInAnotherLanguage: what was said when a count was signed, and why it is taken back, is said in the language of
// whoever reads it.
func TestCountInAnotherLanguage(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-1"))
	a := c.scan(label(t, events.ScanBadge, "B-2"))
	must(t, a, "First count recorded (sets: 1), signed by B-1 and B-2")
	page := h.get(fmt.Sprint(a["go"], "&lang=de"))
	said := "Erste Zählung aufgezeichnet (Siebe: 1), unterschrieben von B-1 und B-2"
	if !strings.Contains(page, said) || strings.Contains(page, "A count that comes out") {
		t.Error("the German page says it in English")
	}
	h.after(3 * time.Second)
	must(t, h.post("/at/north/or-3/count/do?lang=de",
		`{"client":"t","n":50,"case":"K-1","stage":"final","action":"take-back","fields":{}}`), "Warum wird das zurückgenommen? "+said)
	c.stage = "final"
	c.do("begin")
	must(t, c.scan("P47110815"), "P47110815")
	must(t, h.post("/at/north/or-3/count/scan?lang=de", `{"client":"t","n":60,"case":"K-1","stage":"final","text":""}`),
		"P47110815", "Ausweis")
}

// TestPackingAnOpenSetIsAsked: that a set is open in a case that is not closed is a question, before anything is counted.
// Neither Enter nor a number answers it; what is recorded then says it, as does the page.
func TestPackingAnOpenSetIsAsked(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	at := h.clock()
	h.after(time.Hour)
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	scan := func(text string) map[string]any { h.after(3 * time.Second); return s.scan(text) }
	scan(label(t, events.ScanBadge, "B-1"))
	asks := "VAS-003 is open in case K-1 since " + at.Format("2 Jan 2006 15:04")
	must(t, scan(label(t, events.ScanTag, "VAS-003")), "open", asks)
	for _, a := range []map[string]any{scan(""), scan("4"), s.do("line", "line", "1"), s.do("record"), s.do("open", "value", "K-2")} {
		must(t, a, asks)
	}
	must(t, s.do("open", "value", "K-1"), "4 × Forceps")
	for range 3 {
		scan("")
	}
	before := h.size()
	must(t, scan("8.2"), "doubtful", "VAS-003 was opened for case K-1, which is not closed", "Enter records: VAS-003 packed")
	must(t, scan(""), "doubtful", "VAS-003 packed", "VAS-003 was opened for case K-1, which is not closed")
	if h.size() != before+1 {
		t.Errorf("%d records", h.size()-before)
	}
	// It is asked of each set anew, and it can be left as it is.
	h.open("VAS-003", "K-2")
	must(t, scan(label(t, events.ScanTag, "VAS-003")), "VAS-003 is open in case K-2 since")
	must(t, s.do("leave"), "Scan the tag")
}

// TestNewestVersionIsTakenBack: who goes on by the newest version and takes that back has all counts again, and is asked
// again.
func TestNewestVersionIsTakenBack(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-0", "VAS-003")
	s := &scanner{h: h, path: "/at/north/packing-1/packing"}
	for _, text := range []string{label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), "", "1", "1"} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	h.reissued(2)
	must(t, s.scan(""), "was issued anew")
	a := s.do("newest", "value", "2")
	again := strings.Count(fmt.Sprint(a["bench"]), `data-clear="1"`)
	must(t, s.do("undo"), "was issued anew: version 2")
	a = s.do("stay", "value", "2")
	if lines := strings.Count(fmt.Sprint(a["bench"]), `data-clear="1"`); lines != 2 || again != 1 {
		t.Errorf("counted lines: %d by the newest version, then %d, want 1 and 2", again, lines)
	}
}

// TestWhyTakenBack: the reasons for taking a record back fit what was recorded.
func TestWhyTakenBack(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	s.scan(label(t, events.ScanCase, "K-1"))
	s.scan(label(t, events.ScanBadge, "B-1"))
	must(t, s.scan(label(t, events.ScanBadge, "B-2")), "Case K-1 closed")
	h.after(3 * time.Second)
	s.scan(label(t, events.ScanBadge, "B-1"))
	a := s.do("take-back")
	if all := fmt.Sprint(a["choices"]); strings.Contains(all, "another set") || !strings.Contains(all, "another case") {
		t.Errorf("offered are %s", all)
	}
	must(t, s.do("take-back", "value", "wrong-set"), "Why is this taken back?")
	must(t, s.do("take-back", "value", "wrong-case"), "Taken back: Case K-1 closed")
}

// TestLotIsNothingKnown: what is known here as a badge, a set, a case, a load or a station is no lot, at an indicator and
// at a bag, in whatever letters; a pattern of the site may say that it is one.
func TestLotIsNothingKnown(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-0412")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan("B-3310")
	s.do("take-as", "value", "badge")
	s.do("next-person")
	seal := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	seal.scan(label(t, events.ScanTag, "VAS-003"))
	seal.do("placement", "placement", "inside-bag")
	for _, x := range []struct{ code, kind string }{
		{"B-3310", "Badge"}, {"b-3310", "Badge"}, {"VAS-003", "Set"}, {"K-0412", "Case"}, {"S1-0304-01", "Load"}, {"OR-3", "Station"},
	} {
		no := x.code + " is no lot here. It is known as: " + x.kind
		if a := s.do("indicator", "load", "S1-0304-01", "lot", x.code, "result", "negative"); a["off"] != "lot" {
			t.Errorf("%s stays in the field", x.code)
		} else {
			must(t, a, no)
		}
		must(t, seal.do("lot", "lot", x.code), no)
		must(t, seal.do("nonsense"), "means nothing here", "")
		if bench := fmt.Sprint(seal.do("nothing")["bench"]); strings.Contains(bench, `value="`+x.code+`"`) {
			t.Errorf("%s is the lot of the bag", x.code)
		}
	}
	h.after(time.Minute)
	seal.do("placement", "placement", "inside-bag")
	if a := seal.scan("K-0412"); !strings.Contains(tells(a), "no lot here") {
		t.Errorf("scanned as a lot: %s", tells(a))
	}
	seal.do("nothing")
	seal.do("clear")
	policy := events.DefaultPolicy()
	policy.Codes = []events.CodePattern{{Kind: events.ScanLot, Like: "K-9999"}}
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	s.scan(label(t, events.ScanBadge, "B-1"))
	must(t, s.do("indicator", "load", "S1-0304-01", "lot", "K-0412", "result", "negative"), "S1-0304-01: negative")
}

// TestBadgeInTheLotsField: a badge that a scanner typed there doesn't stay, in a real browser; what else was entered does.
func TestBadgeInTheLotsField(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.scan("B-3310")
	s.do("take-as", "value", "badge")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("sterilizer"))
	p.Await(`(document.querySelector("#bi-load").value = "S1-0304-01", document.querySelector("#bi-result").value = "positive",
		document.querySelector("#bi-lot").focus(), true)`)
	before := h.size()
	p.Press("B-3310\r")
	p.AwaitText("#verdict", "B-3310 is no lot here")
	p.Await(`document.querySelector("#bi-lot").value === "" && document.querySelector("#bi-result").value === "positive"`)
	if h.size() != before {
		t.Error("recorded")
	}
}

// TestCycleIsChosen: which cycle ran is chosen by a person, by one key; only where the site has one alone is it there.
func TestCycleIsChosen(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	for _, cycle := range []string{"c-121", "c-134"} {
		s.do("begin", "sterilizer", "S1", "run", "5", "cycle", "", "other", cycle)
		s.do("give-up")
	}
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("sterilizer"))
	chosen := func() string { return browsertest.Eval[string](p, `document.querySelector("#cycle").value`) }
	if c := chosen(); c != "" {
		t.Fatalf("%q is chosen by nobody", c)
	}
	p.Await(`(document.querySelector("#sterilizer").value = "S1", document.querySelector("#run").focus(), true)`)
	p.Type("6\r")
	p.AwaitText("#verdict", "A load needs the sterilizer, the cycle number and the cycle")
	settled(p)
	p.Await(`document.querySelector("#run").value === "6" && (document.querySelector("#cycle").focus(), true)`)
	p.Type(kb.ArrowDown)
	if c := chosen(); c != "c-134" {
		t.Errorf("one key chooses %q, want what ran last", c)
	}
	p.Touch(`form[data-do="begin"] button`)
	p.AwaitText("#bench", "cycle number 6, c-134")
	policy := events.DefaultPolicy()
	policy.Cycles = []string{"c-134"}
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	p.Open(h.at("sterilizer"))
	if c := chosen(); c != "c-134" {
		t.Errorf("of one cycle %q is chosen", c)
	}
}

// TestNoPatientInForms: what identifies a patient is taken by no field of a form, and does not stay there.
func TestNoPatientInForms(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	before, n := h.size(), 0
	for _, x := range []struct{ place, action, field string }{
		{"opening", "case", "case"}, {"sealing", "lot", "lot"}, {"sealing", "seal", "seal"}, {"return", "basket", "basket"},
		{"return", "washer", "washer"}, {"pieces", "item", "item"}, {"sterilizer", "indicator", "lot"}, {"sterilizer", "begin", "for"},
		{"close", "case", "case"},
	} {
		for _, code := range []string{"]C1801804012345000000022", "(8018)040123450000000221", "483920, (8018)040123450000000221"} {
			s := &scanner{h: h, path: "/at/north/or-3/" + x.place, n: n}
			s.scan(label(t, events.ScanTag, "VAS-003"))
			h.after(3 * time.Second)
			a := s.do(x.action, x.field, code)
			if must(t, a, "broken", "This symbol names a patient"); a["off"] != x.field {
				t.Errorf("%s, %s: the number stays in %v", x.place, x.action, x.field)
			}
			s.do("clear")
			n = s.n
		}
	}
	if h.size() != before {
		t.Error("recorded")
	}
}

// TestExpiredEntriesAreKept: what is too old to be recorded is not offered to be sent. It stays in sight, also after a
// reload, and can be copied, until a person says that it is done.
func TestExpiredEntriesAreKept(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.worker.Store(true)
	h.after(48 * time.Hour)
	p := browser(t).Tab(t, tablet)
	const at = "/at/north/or-3/storage"
	p.Open(h.at("packing"))
	waiting(p, at, 1, 32*24*time.Hour, label(t, events.ScanTag, "LAP-014"), "7")
	browsertest.Eval[bool](p, fmt.Sprintf(`(localStorage.setItem("waiting:other:%s", JSON.stringify([{verb: "scan", at: Date.now() - %d,
		body: {client: "other", n: 1, rev: 1, text: %q}}])), true)`, at, (30*24*time.Hour).Milliseconds(), label(t, events.ScanTag, "VAS-003")))
	before := h.size()
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
	settled(p)
	p.AwaitText("#expired", "LAP-014")
	if untaken := p.Text("#untaken"); strings.Contains(untaken, "LAP-014") || h.size() != before {
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

// notInView names the answers of the question in sight that a person doesn't see whole without scrolling, and the question
// itself where its first line is out of sight.
const notInView = `(() => {
	const box = document.querySelector("#verdict").getBoundingClientRect();
	const seen = r => r.height > 0 && r.top >= Math.max(0, box.top) - 1 && r.bottom <= Math.min(innerHeight, box.bottom) + 1;
	const all = [...document.querySelectorAll("#verdict .choices button")];
	const out = all.filter(b => !seen(b.getBoundingClientRect())).map(b => b.textContent);
	const tells = document.querySelector("#verdict .tells").getBoundingClientRect();
	if (tells.top < box.top - 1 || tells.top + 24 > innerHeight) out.push("the question");
	return out;
})()`

// TestTakingACountBackIsAnswered: the badge that takes a signed count back is scanned where it was asked for, while that is
// in sight, soon. Any other badge, at another screen, hours later or after something else, takes nothing back.
func TestTakingACountBackIsAnswered(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-1"))
	must(t, c.scan(label(t, events.ScanBadge, "B-2")), "First count recorded")
	before := h.size()
	c.stage = "final" // the next page
	asked := func() {
		h.after(3 * time.Second)
		must(t, c.do("take-back", "value", "not-done"), "Scan your badge: it records that the count is taken back")
		h.after(3 * time.Second)
	}
	badge := label(t, events.ScanBadge, "B-77")
	scans := func(client string, rev any) map[string]any {
		c.n++
		return h.post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,"case":"K-1","stage":"final","text":%q}`,
			client, c.n, rev, badge))
	}
	asked()
	scans("other", c.asks) // another screen, which shows nothing of it
	scans("t", 0)          // the page was loaded anew
	c.scan("P47110815")    // something else was said, and is in sight
	h.after(3 * time.Second)
	c.scan(badge)
	asked()
	h.after(2 * time.Hour)
	c.scan(badge)
	asked()
	asks := c.asks
	c.do("begin")
	scans("t", asks)
	if h.size() != before {
		t.Fatal("taken back by somebody whom nobody asked")
	}
	h.after(time.Minute)
	c = &counter{h: h, ref: "K-1", stage: "relief", n: 100}
	asked()
	if must(t, c.scan(badge), "Taken back: First count recorded"); h.size() != before+1 {
		t.Errorf("%d records", h.size()-before)
	}
}

// TestTwoPersonsCloseEachCase: a badge that was scanned for one case closes no other: not the one who closed the case
// before, and not one whose screen was taken by another case's address.
func TestTwoPersonsCloseEachCase(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	for set, ref := range map[string]string{"VAS-003": "K-1", "VAS-004": "K-2"} {
		h.open(set, ref)
		for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
			h.record("north/or-3", events.KindSetCounted, set, &events.SetCounted{Case: ref, Stage: stage, Sheet: "screen",
				Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
		}
	}
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	scan := func(kind events.ScanKind, id string) map[string]any {
		h.after(3 * time.Second)
		return s.scan(label(t, kind, id))
	}
	scan(events.ScanCase, "K-1")
	scan(events.ScanBadge, "B-1")
	h.get("/at/north/or-3/close?case=K-2") // takes nothing away from who is at work for K-1
	before := h.size()
	must(t, scan(events.ScanBadge, "B-2"), "Case K-1 closed")
	h.after(15 * time.Minute)
	scan(events.ScanCase, "K-2")
	must(t, scan(events.ScanBadge, "B-3"), "The counts of K-2 come out", "Scan the second person")
	if h.size() != before+1 {
		t.Fatal("K-2 is closed by one person")
	}
	must(t, scan(events.ScanBadge, "B-4"), "Case K-2 closed")
}

// TestSignWithoutSignsNoMore: the button that signs without a set does not sign that set, though it was completed meanwhile.
func TestSignWithoutSignsNoMore(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.lines("VAS-004", 4, 2)
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.scan(label(t, events.ScanBadge, "B-2"))
	must(t, c.do("sign"), "VAS-004")
	h.post("/at/north/or-3/count/enter", `{"client":"other","n":1,"case":"K-1","stage":"first",
		"lines":[{"set":"VAS-004","line":3,"counted":3,"seen":0}]}`)
	before := h.size()
	a := c.do("sign-without", "value", "VAS-004")
	if h.size() != before {
		t.Fatal("VAS-004 was signed by the button that leaves it out")
	}
	must(t, a, "Scan your badge (B-2) once more") // the last line was not in sight when it was scanned
	h.after(3 * time.Second)
	if c.scan(label(t, events.ScanBadge, "B-2")); h.size() != before+2 {
		t.Errorf("%d records, want both counts", h.size()-before)
	}
}

// TestOldSheetAtTheCount: a sheet of an earlier turn of a set of the case is said to be that.
func TestOldSheetAtTheCount(t *testing.T) {
	h := newHouse(t, "VAS-003")
	old := h.codes["VAS-003"]
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.codes["VAS-003"] = h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside}).SheetCode
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	a := c.scan(old)
	must(t, a, "broken", "An earlier count sheet of VAS-003", "Count by the list on this screen")
	if strings.Contains(tells(a), "not on this case") {
		t.Errorf("the set is on the case: %s", tells(a))
	}
}

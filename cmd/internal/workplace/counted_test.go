package workplace_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// signs counts a set of a case as expected at a stage, by two badges.
func (h *house) signs(ref, set string, stage events.Stage) {
	h.record("north/or-3", events.KindSetCounted, set, &events.SetCounted{Case: ref, Stage: stage, Sheet: "screen", Counter: "B-1",
		Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
}

// TestPassedOffAndNotSigned: what was passed off in a count that nobody signed is told before the case is closed.
func TestPassedOffAndNotSigned(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.signs("K-1", "VAS-003", stage)
	}
	c := &counter{h: h, ref: "K-1", stage: "relief"}
	c.do("begin")
	c.do("removed", "set", "VAS-003", "line", "1", "quantity", "1", "reason", "sent to pathology")
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "Relief count of VAS-003 is begun and not signed")
	before := h.size()
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanBadge, "B-2"))
	if h.size() != before {
		t.Error("closed, and what was passed off is nowhere")
	}
}

// TestOpeningTakenBack: a count that was begun of a set whose opening was taken back holds up no case, and is told.
func TestOpeningTakenBack(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-004", "K-1")
	h.open("VAS-003", "K-1")
	opened := h.size()
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2)
	e, err := h.site.EventAt(opened)
	if err != nil {
		t.Fatal(err)
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.signs("K-1", "VAS-004", stage)
	}
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "First count of VAS-003 is begun and not signed")
	s.do("clear")
	h.record("north/or-3", events.KindEventCorrected, "", &events.EventCorrected{Event: e.ID, Action: "void", Reason: "another set"})
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "The counts of K-1 come out")
	if page := h.get("/at/north/or-3/close"); !strings.Contains(page, "First count of VAS-003 was begun and not signed; no opening") {
		t.Error("the lines of VAS-003 are not told of any more")
	}
	before := h.size()
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanBadge, "B-2"))
	if h.size() != before+1 {
		t.Error("can't be closed, and nothing is missing")
	}
}

// cutWhileRecording sends an input whose request ends after the draft holds when it was observed, and before it is stored.
func (h *house) cutWhileRecording(path, body string) {
	h.t.Helper()
	drafts := os.DirFS(filepath.Join(h.site.Dir(), "drafts"))
	fixed := func() bool {
		found := false
		err := fs.WalkDir(drafts, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || found {
				return err
			}
			raw, err := fs.ReadFile(drafts, name)
			found = bytes.Contains(raw, []byte("\n \"at\": "))
			return err
		})
		return err == nil && found
	}
	before := h.size()
	w := httptest.NewRecorder()
	h.handler().ServeHTTP(w, httptest.NewRequestWithContext(trap{h.t.Context(), fixed}, http.MethodPost, path, strings.NewReader(body)))
	if w.Code < 400 || h.size() != before {
		h.t.Fatalf("answered %d, recorded %d", w.Code, h.size()-before)
	}
}

// TestRecordedAsOfItsOwnTime: what another person counts or records hours after a try that failed is of then, not of the try.
func TestRecordedAsOfItsOwnTime(t *testing.T) {
	last := func(h *house) *events.Event {
		t.Helper()
		e, err := h.site.EventAt(h.size())
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 2)
	c.scan(label(t, events.ScanBadge, "B-1"))
	second := `{"client":"t","n":99,"case":"K-1","stage":"first","text":` + jsonText(label(t, events.ScanBadge, "B-2")) + `}`
	h.cutWhileRecording("/at/north/or-3/count/scan", second)
	h.after(2 * time.Hour)
	c.n = 200
	c.do("left-anew")
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-5"))
	c.scan(label(t, events.ScanBadge, "B-6"))
	if e := last(h); e.Kind() != events.KindSetCounted || !e.Time.Equal(h.clock()) {
		t.Errorf("%s signed at %s is recorded as of %s", e.Kind(), h.clock(), e.Time)
	}

	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.scan(label(t, events.ScanTag, "VAS-004"))
	s.scan(h.codes["VAS-004"])
	s.do("found", "value", "outside")
	s.scan(label(t, events.ScanBadge, "B-1"))
	h.cutWhileRecording("/at/north/storage/storage/scan", `{"client":"t","n":99,"text":""}`)
	h.after(19 * time.Minute)
	s.n = 200
	s.scan("")
	if e := last(h); e.Kind() != events.KindSetChecked || !e.Time.Equal(h.clock()) {
		t.Errorf("%s entered at %s is recorded as of %s", e.Kind(), h.clock(), e.Time)
	}
}

// TestSignedOnceThoughTheServerFailed: the same count, signed again after a try that failed, is the observation of the try.
func TestSignedOnceThoughTheServerFailed(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-1"))
	tried := h.clock()
	second := `{"client":"t","n":99,"case":"K-1","stage":"first","text":` + jsonText(label(t, events.ScanBadge, "B-2")) + `}`
	h.cutWhileRecording("/at/north/or-3/count/scan", second)
	h.after(time.Minute)
	c.n = 200
	c.scan("")
	if e, err := h.site.EventAt(h.size()); err != nil || e.Kind() != events.KindSetCounted || !e.Time.Equal(tried) {
		t.Errorf("recorded as of %s, tried at %s: %v", e.Time, tried, err)
	}
}

// TestOneBadgeInOtherLetters: a badge in capitals and in small letters is one person, who can't be two.
func TestOneBadgeInOtherLetters(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.scan("B-3310")
	c.do("badge", "value", "B-3310")
	before := h.size()
	c.scan("b-3310")
	must(t, c.do("badge", "value", "b-3310"), "the same badge")
	if h.size() != before {
		t.Error("one person signed a count as two")
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.signs("K-1", "VAS-003", stage)
	}
	before = h.size()
	c.interrupt()
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	s.scan(label(t, events.ScanCase, "K-1"))
	s.scan(label(t, events.ScanBadge, "B-3310"))
	must(t, s.scan("b-3310"), "the same badge")
	if h.size() != before {
		t.Error("one person closed a case as two")
	}
}

// TestSecondLookByTwo: both who packed a set and who looked it over scan their badge for this set, and what was looked over
// had this weight.
func TestSecondLookByTwo(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.used("K-0", "VAS-003", "VAS-004")
	p := events.DefaultPolicy()
	p.SecondLook = []string{"VAS-MINOR"}
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	scan := func(texts ...string) (a map[string]any) {
		for _, text := range texts {
			h.after(3 * time.Second)
			a = s.scan(text)
		}
		return a
	}
	scan(label(t, events.ScanBadge, "B-0"), label(t, events.ScanTag, "VAS-004"), "", "", "", "8.4")
	must(t, scan(label(t, events.ScanBadge, "B-9"), ""), "VAS-004 packed")
	h.after(15 * time.Minute)
	must(t, scan(label(t, events.ScanTag, "VAS-003"), "", "", "", "8.4"), "the badge of who packed it")
	must(t, scan(label(t, events.ScanBadge, "B-1")), "second badge")
	before := h.size()
	if must(t, scan(label(t, events.ScanBadge, "b-1"), ""), "second badge"); h.size() != before {
		t.Fatal("looked over by who packed it, or by nobody")
	}
	must(t, scan(label(t, events.ScanBadge, "B-2")), "Enter records")
	must(t, s.do("weight", "weight", "8.1"), "second badge")
	if s.do("record"); h.size() != before {
		t.Fatal("recorded with a weight that nobody looked over")
	}
	scan(label(t, events.ScanBadge, "B-2"), "")
	got := h.events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	e, err := h.site.EventAt(h.size())
	if d := got[len(got)-1].(*events.SetPacked); err != nil || h.size() != before+1 || e.Operator != "B-1" || d.SecondLook != "B-2" {
		t.Errorf("recorded %+v by %s", d, e.Operator)
	}
}

// TestLongCases: no text that is given as a case blocks the page, and a case of long letters can be counted and closed.
func TestLongCases(t *testing.T) {
	h := newHouse(t, "VAS-003")
	long := strings.Repeat("Ä", 50)
	h.open("VAS-003", long)
	c := &counter{h: h, ref: long, stage: "first"}
	must(t, c.lines("VAS-003", 4, 2, 2), "Line 3: 2 counted") // a draft is kept
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	must(t, s.do("case", "case", long), "First count of VAS-003 is begun and not signed")
	must(t, s.do("clear"), "Scan")
	for _, ref := range []string{strings.Repeat("A", 256), strings.Repeat("A", 9000), "K 1"} {
		if a := s.do("case", "case", ref); a["no"] != true {
			t.Errorf("%.9s… is taken as a case: %s", ref, tells(a))
		}
		for address, want := range map[string]int{"?case=" + url.QueryEscape(ref): http.StatusBadRequest, "": http.StatusOK} {
			res, err := http.Get(h.at("close") + address)
			if err != nil {
				t.Fatal(err)
			}
			if res.Body.Close(); res.StatusCode != want {
				t.Errorf("%.20s… is answered %d, want %d", address, res.StatusCode, want)
			}
		}
	}
}

// TestSecondPersonSignsWhatIsCounted: a badge that was scanned before the last line, or that came in late from a screen that
// had not shown what another one counted, says who counts; that person signs with it once more, and no key does.
func TestSecondPersonSignsWhatIsCounted(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	one := func(n, seen int, badge string) map[string]any {
		h.after(3 * time.Second)
		return h.post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"one","n":%d,"ago":600000,"case":"K-1","stage":"first",
			"seen":{"VAS-003":%d},"text":%s}`, n, seen, jsonText(label(t, events.ScanBadge, badge))))
	}
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.scan(label(t, events.ScanBadge, "B-5"))
	before := h.size()
	one(1, 0, "B-1") // entered at one screen while it was away, before the other one counted
	h.after(3 * time.Second)
	must(t, c.scan(""), "Scan your badge (B-1) once more")
	must(t, c.do("sign"), "Scan your badge (B-1) once more")
	if h.size() != before {
		t.Fatal("signed by one person for two")
	}
	if c.scan(label(t, events.ScanBadge, "B-1")); h.size() != before+1 {
		t.Fatal("not signed by the second person's badge")
	}

	c = &counter{h: h, ref: "K-1", stage: "closing", n: 100}
	c.do("begin")
	c.scan(label(t, events.ScanBadge, "B-5"))
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.lines("VAS-003", 4, 2, 3)
	h.after(15 * time.Minute)
	must(t, c.scan(""), "Scan your badge (B-1) once more")
	if h.size() != before+1 {
		t.Fatal("signed by one person for two")
	}
	h.after(3 * time.Second)
	if c.scan(label(t, events.ScanBadge, "B-1")); h.size() != before+2 {
		t.Fatal("not signed by the second person's badge")
	}
}

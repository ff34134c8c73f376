//go:build !race

package counts_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPassedOffAndNotSigned: what was passed off in a count that nobody signed is told before the case is closed.
func TestPassedOffAndNotSigned(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-003", stage)
	}
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "relief"}
	c.Do("begin")
	c.Do("removed", "set", "VAS-003", "line", "1", "quantity", "1", "reason", "sent to pathology")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "Relief count of VAS-003 is begun and not signed")
	before := h.Size()
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	if h.Size() != before {
		t.Error("closed, and what was passed off is nowhere")
	}
}

// TestOpeningTakenBack: a count that was begun of a set whose opening was taken back holds up no case, and is told.
func TestOpeningTakenBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-004", "K-1")
	h.Open("VAS-003", "K-1")
	opened := h.Size()
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2)
	e, err := h.Site.EventAt(opened)
	if err != nil {
		t.Fatal(err)
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-004", stage)
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "First count of VAS-003 is begun and not signed")
	s.Do("clear")
	h.Record("north/or-3", events.KindEventCorrected, "", &events.EventCorrected{Event: e.ID, Action: "void", Reason: "another set"})
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "The counts of K-1 come out")
	if page := h.Get("/at/north/or-3/close"); !strings.Contains(page, "First count of VAS-003 was begun and not signed; no opening") {
		t.Error("the lines of VAS-003 are not told of any more")
	}
	before := h.Size()
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	if h.Size() != before+1 {
		t.Error("can't be closed, and nothing is missing")
	}
}

// TestRecordedAsOfItsOwnTime: what another person counts or records hours after a try that failed is of then, not of the try.
func TestRecordedAsOfItsOwnTime(t *testing.T) {
	last := func(h *workplacetest.House) *events.Event {
		t.Helper()
		e, err := h.Site.EventAt(h.Size())
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 2)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	second := `{"client":"t","n":99,"case":"K-1","stage":"first","text":` +
		workplacetest.JSONText(workplacetest.Label(t, events.ScanBadge, "B-2")) + `}`
	h.CutWhileRecording("/at/north/or-3/count/scan", second)
	h.After(2 * time.Hour)
	c.Number = 200
	c.LeftAnew()
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-5"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-6"))
	if e := last(h); e.Kind() != events.KindSetCounted || !e.Time.Equal(h.Clock()) {
		t.Errorf("%s signed at %s is recorded as of %s", e.Kind(), h.Clock(), e.Time)
	}

	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-004"))
	s.Scan(h.Codes["VAS-004"])
	s.Do("found", "value", "outside")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	h.CutWhileRecording("/at/north/storage/storage/scan", `{"client":"t","n":99,"text":""}`)
	h.After(19 * time.Minute)
	s.Number = 200
	s.Scan("")
	if e := last(h); e.Kind() != events.KindSetChecked || !e.Time.Equal(h.Clock()) {
		t.Errorf("%s entered at %s is recorded as of %s", e.Kind(), h.Clock(), e.Time)
	}
}

// TestSignedOnceThoughTheServerFailed: the same count, signed again after a try that failed, is the observation of the try.
func TestSignedOnceThoughTheServerFailed(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	tried := h.Clock()
	second := `{"client":"t","n":99,"case":"K-1","stage":"first","text":` +
		workplacetest.JSONText(workplacetest.Label(t, events.ScanBadge, "B-2")) + `}`
	h.CutWhileRecording("/at/north/or-3/count/scan", second)
	h.After(time.Minute)
	c.Number = 200
	c.Scan("")
	if e, err := h.Site.EventAt(h.Size()); err != nil || e.Kind() != events.KindSetCounted || !e.Time.Equal(tried) {
		t.Errorf("recorded as of %s, tried at %s: %v", e.Time, tried, err)
	}
}

// TestOneBadgeInOtherLetters: a badge in capitals and in small letters is one person, who can't be two.
func TestOneBadgeInOtherLetters(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan("B-3310")
	c.Do("badge", "value", "B-3310")
	before := h.Size()
	c.Scan("b-3310")
	workplacetest.Must(t, c.Do("badge", "value", "b-3310"), "the same badge")
	if h.Size() != before {
		t.Error("one person signed a count as two")
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-003", stage)
	}
	before = h.Size()
	c.Interrupt()
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-3310"))
	workplacetest.Must(t, s.Scan("b-3310"), "the same badge")
	if h.Size() != before {
		t.Error("one person closed a case as two")
	}
}

// TestSecondLookByTwo: both who packed a set and who looked it over scan their badge for this set, and what was looked over
// had this weight.
func TestSecondLookByTwo(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Used("K-0", "VAS-003", "VAS-004")
	p := events.DefaultPolicy()
	p.SecondLook = []string{"VAS-MINOR"}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	scan := func(texts ...string) (a map[string]any) {
		for _, text := range texts {
			h.After(3 * time.Second)
			a = s.Scan(text)
		}
		return a
	}
	scan(workplacetest.Label(t, events.ScanBadge, "B-0"), workplacetest.Label(t, events.ScanTag, "VAS-004"), "", "", "", "8.4")
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanBadge, "B-9"), ""), "VAS-004 packed")
	h.After(15 * time.Minute)
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanTag, "VAS-003"), "", "", "", "8.4"), "the badge of who packed it")
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanBadge, "B-1")), "second badge")
	before := h.Size()
	if workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanBadge, "b-1"), ""), "second badge"); h.Size() != before {
		t.Fatal("looked over by who packed it, or by nobody")
	}
	workplacetest.Must(t, scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "Enter records")
	workplacetest.Must(t, s.Do("weight", "weight", "8.1"), "second badge")
	if s.Do("record"); h.Size() != before {
		t.Fatal("recorded with a weight that nobody looked over")
	}
	scan(workplacetest.Label(t, events.ScanBadge, "B-2"), "")
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	e, err := h.Site.EventAt(h.Size())
	if d := got[len(got)-1].(*events.SetPacked); err != nil || h.Size() != before+1 || e.Operator != "B-1" || d.SecondLook != "B-2" {
		t.Errorf("recorded %+v by %s", d, e.Operator)
	}
}

// TestLongCases: no text that is given as a case blocks the page, and a case of long letters can be counted and closed.
func TestLongCases(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	long := strings.Repeat("Ä", 50)
	h.Open("VAS-003", long)
	c := &workplacetest.Counter{House: h, Ref: long, Stage: "first"}
	workplacetest.Must(t, c.Lines("VAS-003", 4, 2, 2), "Line 3: 2 counted") // a draft is kept
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.Do("case", "case", long), "First count of VAS-003 is begun and not signed")
	workplacetest.Must(t, s.Do("clear"), "Scan")
	for _, ref := range []string{strings.Repeat("A", 256), strings.Repeat("A", 9000), "K 1"} {
		if a := s.Do("case", "case", ref); a["no"] != true {
			t.Errorf("%.9s… is taken as a case: %s", ref, workplacetest.Tells(a))
		}
		for address, want := range map[string]int{"?case=" + url.QueryEscape(ref): http.StatusBadRequest, "": http.StatusOK} {
			res, err := http.Get(h.At("close") + address)
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
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	one := func(n, seen int, badge string) map[string]any {
		h.After(3 * time.Second)
		return h.Post("/at/north/or-3/count/scan", fmt.Sprintf(`{"client":"one","n":%d,"ago":600000,"case":"K-1","stage":"first",
			"seen":{"VAS-003":%d},"text":%s}`, n, seen, workplacetest.JSONText(workplacetest.Label(t, events.ScanBadge, badge))))
	}
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Lines("VAS-003", 4, 2, 3)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-5"))
	before := h.Size()
	one(1, 0, "B-1") // entered at one screen while it was away, before the other one counted
	h.After(3 * time.Second)
	workplacetest.Must(t, c.Scan(""), "Scan your badge (B-1) once more")
	workplacetest.Must(t, c.Do("sign"), "Scan your badge (B-1) once more")
	if h.Size() != before {
		t.Fatal("signed by one person for two")
	}
	if c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); h.Size() != before+1 {
		t.Fatal("not signed by the second person's badge")
	}

	c = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "closing", Number: 100}
	c.Do("begin")
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-5"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Lines("VAS-003", 4, 2, 3)
	h.After(15 * time.Minute)
	workplacetest.Must(t, c.Scan(""), "Scan your badge (B-1) once more")
	if h.Size() != before+1 {
		t.Fatal("signed by one person for two")
	}
	h.After(3 * time.Second)
	if c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); h.Size() != before+2 {
		t.Fatal("not signed by the second person's badge")
	}
}

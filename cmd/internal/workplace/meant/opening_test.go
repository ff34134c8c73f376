//go:build !race

package meant_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestOpeningWithTwinsSheet: the page says at once whose sheet it is and where
// that set is; recorded only by Enter, and what was wrong is recorded too.
func TestOpeningWithTwinsSheet(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Wall)
	p.Open(h.At("opening"))
	before := h.Size()
	p.Type(workplacetest.Label(t, events.ScanSet, "LAP-014") + "\r")
	p.AwaitText("#verdict", "There is no tag to read")
	p.Type("(8004)LAP-014\r") // a label of another kind
	p.AwaitText("#verdict", "scan the count sheet")
	p.Type(h.Codes["LAP-022"] + "\r")
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022")
	p.AwaitText("#verdict", "LAP-022 was last seen at")
	p.Await(`document.body.dataset.sound === "wrong"`)
	p.AwaitText("#bench", "INS-060")
	p.Shot("opening-twin-wall")
	if h.Size() != before {
		t.Fatal("a scan was recorded without Enter")
	}
	p.Type(workplacetest.Label(t, events.ScanCase, "K-0412") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#bench", "K-0412")
	p.AwaitText("#bench", "B-3310")
	p.Press("\r")
	p.Press("\r")
	workplacetest.Settled(p)
	p.AwaitText("#verdict", "WRONG COUNT SHEET: it belongs to LAP-022")
	p.Touch(`[data-do="anyway"]`)
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Type("1\r")
	p.AwaitText("#verdict", "Enter records: LAP-014 opened for K-0412")
	if h.Size() != before {
		t.Fatal("something was recorded before anybody confirmed it")
	}
	p.Press("\r")
	p.AwaitText("#bench", "LAP-014 opened for K-0412")
	got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetOpened)
	if len(got) != 1 {
		t.Fatalf("%d openings", len(got))
	}
	if d := got[0].(*events.SetOpened); d.Sheet == nil || d.Sheet.Code != h.Codes["LAP-022"] ||
		d.Case != "K-0412" || d.Tag != "LAP-014" || d.OuterLabel != "LAP-014" {
		t.Errorf("recorded %+v", d)
	}
	p.Press("\r")
	p.Await(`location.pathname.endsWith("/count")`)
}

// TestStopSaysItIsNotOpen: under STOP a set that nobody has opened is not said to be
// open, whatever would be found once it was.
func TestStopSaysItIsNotOpen(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/packing-1", events.KindSetPacked, "LAP-014", &events.SetPacked{List: "LAP-MAJOR", Version: 1, WeightGrams: 8400})
	h.After(time.Minute)
	h.Record("north/packing-1", events.KindListSealed, "LAP-014", &events.ListSealed{Placement: events.Outside, Seals: []string{"1", "2"}})
	h.After(time.Minute)
	h.Record("north/sterilizer-1", events.KindSetSterilized, "LAP-014", &events.SetSterilized{Load: "S1-0304-09", Sterilizer: "S1",
		Run: 9, Cycle: "dynamic-air-132", Result: "passed"})
	h.After(time.Hour)
	all := h.Events(site.Query{Set: "LAP-014"}, events.KindListSealed)
	code := all[len(all)-1].(*events.ListSealed).Code
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	s.Scan(workplacetest.Label(t, events.ScanOuter, "LAP-014"))
	a := s.Scan(code)
	more := fmt.Sprint(a["more"])
	if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "NOT RELEASED") ||
		!strings.HasPrefix(more, "If it is opened now, the record will say: LAP-014 was opened") {
		t.Errorf("not released: %v / %v", a["words"], more)
	}
	// Nor is it in what is told below the first finding.
	s.Do("forget")
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	a = s.Scan(h.Codes["LAP-022"])
	older := fmt.Sprint(a["older"])
	if !strings.Contains(fmt.Sprint(a["words"]), "WRONG COUNT SHEET") || !strings.Contains(older, "NOT RELEASED") {
		t.Fatalf("a wrong sheet, not released: %v / %s", a["words"], older)
	}
	for _, o := range a["older"].([]any) {
		says := o.(map[string]any)["says"].(string)
		if strings.Contains(says, "opened for") && !strings.HasPrefix(says, "If it is opened now, the record will say: ") {
			t.Errorf("told as if it were open: %s", says)
		}
	}
	// Without a case none is named.
	s.Do("forget")
	s.Do("next-case")
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	if all := fmt.Sprint(s.Scan(h.Codes["LAP-022"])); !strings.Contains(all, "NOT RELEASED") || strings.Contains(all, "case –") {
		t.Errorf("a case that nobody scanned is named: %s", all)
	}
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	// Used before: that is so, and what the record would say begins with it.
	s.Do("forget")
	h.Record("north/or-1", events.KindSetOpened, "LAP-022", &events.SetOpened{Case: "K-0412", Tag: "LAP-022"})
	h.After(time.Hour)
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-022"))
	a = s.Scan(h.Codes["LAP-022"])
	if more := fmt.Sprint(a["more"]); a["status"] != "broken" ||
		!strings.HasPrefix(more, "If it is opened now, the record will say: LAP-022 was opened for case K-0412") {
		t.Errorf("used again: %v / %v", a["words"], more)
	}
}

// TestOpeningRight: the right sheet is called right, and two scans typed fast
// one after the other are both taken.
func TestOpeningRight(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	set := workplacetest.Label(t, events.ScanSet, "LAP-014")
	p.Type(set + "\r" + "(8004)LAP-014\r" + h.Codes["LAP-014"] + "\r")
	p.AwaitText("#verdict", "This count sheet belongs to LAP-014, this turn")
	p.Await(`document.body.dataset.sound === "good"`)
	p.Axe()
	p.Shot("opening-right-tablet")
	p.Type("NONSENSE!!\r")
	p.AwaitText("#verdict", "what is it?")
	p.Axe()
}

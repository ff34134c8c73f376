//go:build !race

package meant_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// TestEnterAnswersWhatIsAsked: as long as an opening asks for something, Enter and the
// button record nothing, whatever it is that is missing: the tag, the outer label, the
// sheet, where that was, the case or the badge. Also of a set that was never packed here.
func TestEnterAnswersWhatIsAsked(t *testing.T) {
	h := workplacetest.NewHouse(t)
	inputs := map[string]string{
		"tag": workplacetest.Label(t, events.ScanTag, "LAP-014"), "outer label": workplacetest.Label(t, events.ScanOuter, "LAP-014"),
		"count sheet": h.Codes["LAP-014"], "case": workplacetest.Label(t, events.ScanCase, "K-1"),
		"badge": workplacetest.Label(t, events.ScanBadge, "B-1"),
	}
	asks := map[string]string{"tag": "Scan the tag on the tray", "outer label": "scan the outer label",
		"count sheet": "scan the count sheet", "case": "Scan the case", "badge": "Scan your badge"}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/opening"}
	for missing := range inputs {
		h.After(30 * time.Minute) // the badge is forgotten
		s.Do("forget")
		s.Do("next-case")
		for what, text := range inputs {
			if what != missing {
				s.Scan(text)
			}
		}
		before := h.Size()
		if missing != "count sheet" {
			if a := s.Scan(""); !strings.Contains(fmt.Sprint(a["words"], a["next"]), "Where was the count sheet?") {
				t.Errorf("without the %s the page asks %v | %v", missing, a["words"], a["next"])
			}
			s.Scan("1")
		}
		for range 2 {
			if a := s.Scan(""); !strings.Contains(fmt.Sprint(a["words"], a["next"]), asks[missing]) {
				t.Errorf("without the %s the page asks %v | %v", missing, a["words"], a["next"])
			}
		}
		if s.Do("record"); h.Size() != before {
			t.Errorf("opened without the %s", missing)
		}
	}
	s = &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	var a map[string]any
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "NEW-9"), inputs["badge"], inputs["case"],
		workplacetest.Label(t, events.ScanOuter, "NEW-9")} {
		a = s.Scan(text)
		if !strings.Contains(a["words"].(string), "NEW-9 was never packed here") {
			t.Errorf("a set that was never packed: %v", a["words"])
		}
	}
	before := h.Size()
	if s.Scan(""); h.Size() != before {
		t.Errorf("Enter recorded %d of a set that nobody packed", h.Size()-before)
	}
	s.Do("found", "value", "none")
	if a = s.Scan(""); h.Size() != before || a["status"] != "broken" {
		t.Errorf("Enter opened a set that was never packed: %v", a["words"])
	}
	if a = s.Do("anyway"); !strings.Contains(a["next"].(string), "Enter records: NEW-9 opened for K-1") {
		t.Errorf("all is said of a set that was never packed: %v", a["next"])
	}
	if s.Scan(""); h.Size() != before+1 {
		t.Errorf("Enter recorded %d, want the opening", h.Size()-before)
	}
}

// TestNumberUnderStop: a number says where the sheet was when that is asked, and
// nothing while a STOP waits for its answer; a lot is taken when the page asks for one.
func TestNumberUnderStop(t *testing.T) {
	h := workplacetest.NewHouse(t)
	for _, place := range []string{"opening", "storage"} {
		h.After(time.Minute)
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
		for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
			events.ScanTag, "LAP-014"), h.Codes["LAP-022"]} {
			s.Scan(text)
		}
		before := h.Size()
		if a := s.Scan("1"); a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["aside"]), "Answer the STOP first") {
			t.Errorf("%s: a number under STOP: %v | %v", place, a["words"], a["aside"])
		}
		if a := s.Do("put-aside"); h.Size() != before || !strings.Contains(fmt.Sprint(a["next"]), "Where was the count sheet?") {
			t.Errorf("%s: put aside, and asked is %v", place, a["next"])
		}
		if a := s.Scan("1"); h.Size() != before+1 {
			t.Errorf("%s: recorded %d: %v | %v", place, h.Size()-before, a["words"], a["next"])
		}
	}
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"), "1"} {
		s.Scan(text)
	}
	s.Do("nonsense")
	if a := s.Scan("QQ-7"); !strings.Contains(fmt.Sprint(a["words"]), "QQ-7: what is it?") {
		t.Errorf("a code where no lot is asked for: %v", a["words"])
	}
	s.Do("take-as", "value", "")
	s.Scan("BG-70718")
	if a := s.Do("bag-lot", "value", "BG-70718"); !strings.Contains(fmt.Sprint(a["words"]), "Enter binds") {
		t.Errorf("the lot: %v", a["words"])
	}
}

// TestNoSheetOnPaper: of a set whose list is on the screen alone no sheet is asked for.
func TestNoSheetOnPaper(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Record("north/packing-1", events.KindListSealed, "VAS-009", &events.ListSealed{Placement: events.Screen})
	h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-009", &events.SetSterilized{Load: "S1-0304-02",
		Sterilizer: "S1", Run: 2, Cycle: "dynamic-air-132", Result: "passed", Released: true})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "VAS-009"), workplacetest.Label(t, events.ScanOuter, "VAS-009")} {
		s.Scan(text)
	}
	if a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); !strings.Contains(a["next"].(string), "Scan the case") {
		t.Errorf("asked is %v", a["next"])
	}
	if a := s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")); !strings.Contains(a["next"].(string), "Enter records: VAS-009") {
		t.Errorf("asked is %v", a["next"])
	}
}

// TestNothingToRead: by keyboard and by touch a person says that a tray has no tag that
// can be read, that there is no outer label, and no count sheet. Each is shown, can be
// taken back, and is recorded as what it is.
func TestNothingToRead(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening") + "?lang=en")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r" + workplacetest.Label(t, events.ScanCase, "K-1") +
		"\r" + workplacetest.Label(t, events.ScanOuter, "LAP-014") + "\r")
	p.AwaitText("#verdict .choices", "There is no tag to read F4")
	before := h.Size()
	p.Press("\r")
	workplacetest.Settled(p)
	p.AwaitText("#verdict", "Scan the tag on the tray")
	p.Type(kb.F4)
	p.AwaitText(".slots", "none to read")
	p.AwaitText("#verdict", "scan the count sheet")
	p.Axe()
	p.Shot("opening-no-tag-tablet")
	p.Do(chromedp.EmulateViewport(workplacetest.Phone.Width, workplacetest.Phone.Height))
	p.Await(`document.querySelector("#verdict .next span").getBoundingClientRect().bottom <
		document.querySelector("#verdict").getBoundingClientRect().bottom`) // what is asked comes before why it is doubtful
	p.Do(chromedp.EmulateViewport(workplacetest.Tablet.Width, workplacetest.Tablet.Height))
	p.Type(workplacetest.Label(t, events.ScanTag, "LAP-014") + "\r") // found after all
	p.AwaitText("#bench", "LAP-014")
	p.Await(`!document.querySelector('[data-do="no-tag"]')`)
	p.Touch(`[data-do="undo"]`)
	p.AwaitText(".slots", "none to read")
	p.Touch(`.slots [data-do="no-tag"]`)
	p.AwaitText("#verdict .choices", "There is no tag to read")
	p.Touch(`#verdict [data-do="no-tag"]`)
	p.AwaitText("#verdict .choices", "no count sheet found F4")
	workplacetest.Settled(p)
	p.Press(kb.F4)
	p.AwaitText("#verdict", "NO COUNT SHEET")
	p.Touch(`[data-do="anyway"]`)
	p.AwaitText("#verdict", "Enter records: LAP-014 opened for K-1")
	if h.Size() != before {
		t.Fatal("recorded before anybody said so")
	}
	p.Press("\r")
	p.AwaitText("#bench", "LAP-014 opened for K-1")
	got := h.Events(site.Query{Case: "K-1"}, events.KindSetOpened)
	if len(got) != 1 {
		t.Fatalf("%d openings", len(got))
	}
	if d := got[0].(*events.SetOpened); d.Tag != "" || d.OuterLabel != "LAP-014" || d.Sheet == nil || d.Sheet.Found != events.FoundNone {
		t.Errorf("recorded %+v", d)
	}
	if v := h.Verdict("LAP-014", h.Trips["LAP-014"]); !hasCode(v, projections.TagUnread) {
		t.Errorf("nothing is found in an opening whose tag nobody read: %+v", v.Findings)
	}

	p.Open(h.At("opening") + "?lang=de")
	p.Type(workplacetest.Label(t, events.ScanTag, "LAP-022") + "\r")
	p.AwaitText("#verdict .choices", "Kein lesbares Außenetikett F4")
	p.Type(kb.F4)
	p.AwaitText(".slots", "keines lesbar")
	p.Type(h.Codes["LAP-022"] + "\r")
	p.AwaitText("#verdict", "Wo war die Zählliste?")
	p.Type("1\r")
	p.AwaitText("#verdict", "LAP-022 geöffnet für K-1")
	p.Press("\r")
	p.AwaitText(".last", "LAP-022 geöffnet für K-1")
	got = h.Events(site.Query{Set: "LAP-022"}, events.KindSetOpened)
	if d := got[0].(*events.SetOpened); d.Tag != "LAP-022" || d.OuterLabel != "" {
		t.Errorf("recorded %+v", d)
	}
}

func hasCode(v *projections.Verdict, code projections.Code) bool {
	for i := range v.Findings {
		if v.Findings[i].Code == code {
			return true
		}
	}
	return false
}

// TestSetThatLooksLikeAnother: a set that comes for the first time, by a name that looks
// like another set's, is asked about at packing; it lies on the bench once somebody has
// said that it is another set, and the record says so.
func TestSetThatLooksLikeAnother(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003") // what lies ready is asked about
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "VAS-O03"), ""} {
		scan(text)
	}
	a := scan(workplacetest.Label(t, events.ScanTag, "VAS-O03"))
	if !strings.Contains(fmt.Sprint(a["words"]), "VAS-O03 is new here, and VAS-003 looks like it") ||
		strings.Contains(fmt.Sprint(a["bench"]), "choose") {
		t.Fatalf("asked: %v / %v", a["words"], a["choices"])
	}
	if a := scan(""); !strings.Contains(fmt.Sprint(a["words"]), "VAS-O03 is new here") {
		t.Fatalf("Enter has answered the question: %v", a["words"])
	}
	if a := scan(workplacetest.Label(t, events.ScanTag, "VAS-003")); !strings.Contains(fmt.Sprint(a["words"]), "4 × Forceps") {
		t.Fatalf("the other one: %v", a["words"])
	}
	s.Do("clear")
	scan(workplacetest.Label(t, events.ScanTag, "VAS-O03"))
	if a := s.Do("new", "value", "VAS-O03"); !strings.Contains(fmt.Sprint(a["words"]), "choose its list") {
		t.Fatalf("another set: %v", a["words"])
	}
	s.Do("list", "list", "VAS-MINOR")
	for _, text := range []string{"", "", "", "8.2", workplacetest.Label(t, events.ScanBadge, "B-1"), ""} {
		a = scan(text)
	}
	got := h.Events(site.Query{Set: "VAS-O03"}, events.KindSetPacked)
	if len(got) != 1 || !got[0].(*events.SetPacked).NewSet {
		t.Fatalf("recorded %v: %v", got, a["words"])
	}
	if a := scan(workplacetest.Label(t, events.ScanTag, "VAS-O03")); !strings.Contains(fmt.Sprint(a["words"]), "VAS-O03 was packed") {
		t.Errorf("packed before: %v", a["words"])
	}
}

package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestPrintedSheetIsScanned: the next set is begun once the count sheet that was
// printed for the last was scanned, or somebody said why it was not.
func TestPrintedSheetIsScanned(t *testing.T) {
	h := newHouse(t)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("sealing"))
	p.Type(label(t, events.ScanBadge, "B-1182") + "\r")
	p.AwaitText("#bench", "B-1182")
	begin := func(set string) {
		h.after(2 * time.Minute)
		p.Type(label(t, events.ScanSet, set) + "\r")
	}
	seal := func(set string) string {
		p.AwaitText("#verdict", set+": where does the count sheet go?")
		p.Type("3\r")
		p.AwaitText("#verdict", "Enter binds the count sheet to "+set)
		p.Press("\r")
		p.AwaitText("#bench", set+" closed. Short code")
		all := h.events(site.Query{Set: set}, events.KindListSealed)
		return all[len(all)-1].(*events.ListSealed).Code
	}
	begin("LAP-014")
	code := seal("LAP-014")
	size := h.size()
	begin("VAS-003")
	p.AwaitText("#verdict", "LAP-014: first scan the count sheet that was printed")
	p.Axe()
	p.View("sealing-scan-printed-tablet")
	p.Press("\r")
	p.Reload()
	p.AwaitText("#verdict", "LAP-014: first scan the count sheet that was printed")
	// The sheets of the twins were exchanged in the printer's tray.
	p.Type(h.codes["LAP-022"] + "\r")
	p.AwaitText("#verdict", "count sheet of LAP-022")
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
	if n := h.size(); n != size+1 {
		t.Errorf("%d records since the first was closed, want that of the second", n-size)
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
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	p.AwaitText("#verdict", "outside, in the holder, as the last time")
	p.Press("\r")
	p.AwaitText("#verdict", "Enter binds")
	p.Press("\r")
	p.AwaitText("#bench", "VAS-003 closed. Short code")
	begin("LAP-014")
	p.AwaitText("#verdict", "LAP-014: ")
}

// TestPrintedSheetStaysAsked: whatever is scanned meanwhile, the question for the
// printed sheet stays, also when the last set is scanned once more or its work cleared;
// after the answer the page asks about the set that waited.
func TestPrintedSheetStaysAsked(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/sealing"}
	said := func(a map[string]any) string { return fmt.Sprint(a["words"], " ", a["next"], " ", a["aside"]) }
	scan := func(text string) string {
		h.after(3 * time.Second)
		return said(s.scan(text))
	}
	scan(label(t, events.ScanBadge, "B-1182"))
	scan(label(t, events.ScanSet, "LAP-014"))
	s.do("placement", "placement", "outside")
	scan("")
	all := h.events(site.Query{Set: "LAP-014"}, events.KindListSealed)
	code, question := all[len(all)-1].(*events.ListSealed).Code, "LAP-014: first scan the count sheet that was printed"
	size := h.size()
	for _, text := range []string{label(t, events.ScanSet, "VAS-003"), label(t, events.ScanBadge, "B-1183"), "",
		label(t, events.ScanSeal, "1001"), label(t, events.ScanSet, "VAS-003")} {
		if got := scan(text); !strings.Contains(got, question) {
			t.Errorf("after %q: %s", text, got)
		}
	}
	if got := said(s.do("undo")); strings.Contains(got, "nothing to take back") {
		t.Errorf("the last scan is not taken back: %s", got)
	}
	scan(label(t, events.ScanSet, "LAP-014")) // looked at once more
	s.do("clear")
	if got := scan(label(t, events.ScanSet, "VAS-003")); !strings.Contains(got, question) {
		t.Errorf("the question is forgotten: %s", got)
	}
	if got := scan(code); !strings.Contains(got, "VAS-003: where does the count sheet go?") ||
		!strings.Contains(got, "belongs to LAP-014") {
		t.Errorf("after the answer: %s", got)
	}
	s.do("undo")
	if got := scan(""); !strings.Contains(got, question) {
		t.Errorf("the answer is taken back, and the question not asked: %s", got)
	}
	if h.size() != size {
		t.Errorf("recorded: %d", h.size()-size)
	}
}

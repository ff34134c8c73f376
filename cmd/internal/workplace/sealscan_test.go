package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

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

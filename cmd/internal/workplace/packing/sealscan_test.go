//go:build !race

package packing_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPrintedSheetStaysAsked: whatever is scanned meanwhile, the question for the
// printed sheet stays, also when the last set is scanned once more or its work cleared;
// after the answer the page asks about the set that waited.
func TestPrintedSheetStaysAsked(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sealing"}
	said := func(a map[string]any) string { return fmt.Sprint(a["words"], " ", a["next"], " ", a["aside"]) }
	scan := func(text string) string {
		h.After(3 * time.Second)
		return said(s.Scan(text))
	}
	scan(workplacetest.Label(t, events.ScanBadge, "B-1182"))
	scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
	s.Do("placement", "placement", "outside")
	scan("")
	all := h.Events(site.Query{Set: "LAP-014"}, events.KindListSealed)
	code, question := all[len(all)-1].(*events.ListSealed).Code, "LAP-014: first scan the count sheet that was printed"
	size := h.Size()
	for _, text := range []string{workplacetest.Label(t, events.ScanSet, "VAS-003"), workplacetest.Label(t, events.ScanBadge, "B-1183"), "",
		workplacetest.Label(t, events.ScanSeal, "1001"), workplacetest.Label(t, events.ScanSet, "VAS-003")} {
		if got := scan(text); !strings.Contains(got, question) {
			t.Errorf("after %q: %s", text, got)
		}
	}
	if got := said(s.Do("undo")); strings.Contains(got, "nothing to take back") {
		t.Errorf("the last scan is not taken back: %s", got)
	}
	scan(workplacetest.Label(t, events.ScanSet, "LAP-014")) // looked at once more
	s.Do("clear")
	if got := scan(workplacetest.Label(t, events.ScanSet, "VAS-003")); !strings.Contains(got, question) {
		t.Errorf("the question is forgotten: %s", got)
	}
	if got := scan(code); !strings.Contains(got, "VAS-003: where does the count sheet go?") ||
		!strings.Contains(got, "belongs to LAP-014") {
		t.Errorf("after the answer: %s", got)
	}
	s.Do("undo")
	if got := scan(""); !strings.Contains(got, question) {
		t.Errorf("the answer is taken back, and the question not asked: %s", got)
	}
	if h.Size() != size {
		t.Errorf("recorded: %d", h.Size()-size)
	}
}

//go:build !race

package meant_test

import (
	"fmt"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestLateBadgeAtClose: a badge whose screen lost the line comes to the page on which a case was closed for a while. As long as
// that case is in hand it is not taken for it; once the case went with who had scanned it, it says who is there and closes nothing.
func TestLateBadgeAtClose(t *testing.T) {
	for away, says := range map[time.Duration]string{5 * time.Minute: "Another screen", 40 * time.Minute: "Scan a set of the case"} {
		h := workplacetest.NewHouse(t, "VAS-003")
		for _, ref := range []string{"K-1", "K-2"} {
			h.Open("VAS-003", ref)
		}
		n := 0
		send := func(client, text string, rev any, ago time.Duration) map[string]any {
			n++
			return h.Post("/at/north/or-3/close/scan", fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,"ago":%d,"text":%q}`, client, n, rev,
				ago.Milliseconds(), text))
		}
		was := send("a", workplacetest.Label(t, events.ScanCase, "K-1"), 1, 0)
		for range 2 { // the first says that another screen is at work here
			h.After(time.Minute)
			send("b", workplacetest.Label(t, events.ScanCase, "K-2"), was["rev"], 0)
		}
		h.After(away)
		size := h.Size()
		a := send("a", workplacetest.Label(t, events.ScanBadge, "B-1"), was["rev"], time.Minute)
		workplacetest.Must(t, a, says)
		workplacetest.Must(t, send("a", workplacetest.Label(t, events.ScanBadge, "B-2"), was["rev"], 0), "")
		if h.Size() != size {
			t.Errorf("after %s: a case was closed by a badge that was scanned for another: %+v", away, h.Last())
		}
	}
}

// TestLateScanKeepsTheQuestion: what another screen scanned before a set came here, and could not send, takes away nothing that is
// asked about it: it looks at what lies here as of now, not as of when the set was in another turn.
func TestLateScanKeepsTheQuestion(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.After(5 * time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), "", "")
	workplacetest.Must(t, s.Do("next-person"), "VAS-003 was left at")
	h.After(time.Minute)
	late := fmt.Sprintf(`{"client":"late","n":1,"rev":1,"ago":%d,"text":%q}`, (20 * time.Minute).Milliseconds(),
		workplacetest.Label(t, events.ScanTag, "LAP-022"))
	workplacetest.Must(t, h.Post("/at/north/packing-1/packing/scan", late), "VAS-003 was left at", "Another screen")
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-7")), "VAS-003 was left at")
}

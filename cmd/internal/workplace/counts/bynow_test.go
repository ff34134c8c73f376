//go:build !race

package counts_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestVerdictFollowsBesideAHeldField: a green verdict must not stay in sight because somebody's cursor rests in a field of
// the page; what is written there stays.
func TestVerdictFollowsBesideAHeldField(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(time.Hour)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"),
		workplacetest.Label(t, events.ScanOuter, "VAS-003"), h.Codes["VAS-003"], "1"} {
		p.Type(text + "\r")
		workplacetest.Settled(p)
	}
	p.AwaitText("#verdict", "Locks not read: 483923")
	p.AwaitText("#bench", "read, outside, in the holder") // the bench is drawn after its verdict
	p.Click("#where")
	p.Type("OR 3")
	h.Recalled()
	p.AwaitText("#verdict", "RECALLED: VAS-003")
	p.Await(`document.activeElement.id === "where" && document.activeElement.value === "OR 3"`)
}

// TestRoomIsTold: what becomes known of a set on the table is told where it is used: at the opening, the count and
// the closing of its case.
func TestRoomIsTold(t *testing.T) {
	for name, learn := range map[string]func(h *workplacetest.House){
		"RECALLED: VAS-003": (*workplacetest.House).Recalled,
		"VAS-003 is NOT RELEASED as sterile": func(h *workplacetest.House) {
			h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-01",
				Sterilizer: "S1", Run: 1, Cycle: "dynamic-air-132", Result: "failed"})
		},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.After(time.Hour)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
			s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"),
				workplacetest.Label(t, events.ScanTag, "VAS-003"),
				workplacetest.Label(t, events.ScanOuter, "VAS-003"), h.Codes["VAS-003"], "1")
			workplacetest.Must(t, s.Scan(""), "whole", "VAS-003 opened for K-1")
			count, closing := "/at/north/or-3/count?case=K-1", "/at/north/or-3/close"
			c := &workplacetest.Scanner{House: h, Path: closing}
			c.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
			for _, path := range []string{count, closing} {
				if page := h.Get(path); strings.Contains(page, "tell the surgeon now") {
					t.Errorf("%s tells of nothing known", path)
				}
			}
			learn(h)
			for _, path := range []string{count, closing, "/at/north/or-3/opening"} {
				page := h.Get(path)
				if !strings.Contains(page, name) || strings.Contains(path, "opening") != strings.Contains(page, "By now: ") {
					t.Errorf("%s doesn't say that %s: %s", path, name, page)
				}
			}
			for _, path := range []string{count, closing} {
				if page := h.Get(path); !strings.Contains(page, "VAS-003 was opened for this case: tell the surgeon now") {
					t.Errorf("%s doesn't say what to do", path)
				}
			}
		})
	}
}

// TestClosedCaseByNow: the large words of a closed case are those of now. Its record says what was known then.
func TestClosedCaseByNow(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-003", stage)
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.All(workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanBadge, "B-1"),
		workplacetest.Label(t, events.ScanBadge, "B-2"))
	if n := len(h.Events(site.Query{Case: "K-1"}, events.KindCaseClosed)); n != 1 {
		t.Fatalf("closed %d times", n)
	}
	if page := h.Get(s.Path); !strings.Contains(page, "Case K-1 closed, counts come out") {
		t.Fatalf("just closed: %s", page)
	}
	h.After(5 * time.Minute)
	h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1", Stage: events.StageFinal,
		Sheet: "screen", Counter: "B-1", Witness: "B-2",
		Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 2}}})
	page := h.Get(s.Path)
	verdict := page[strings.Index(page, `id="verdict"`):]
	if !strings.Contains(verdict[:strings.Index(verdict, "</p>")], "By now: Case K-1 closed. Not accounted for: 1") ||
		!strings.Contains(verdict, "verdict broken") {
		t.Errorf("the large words are of then: %s", verdict[:1500])
	}
}

// TestShelfLifeAtStorage: who stands at the shelf with the scanner is told that a set may be kept no longer, before it is
// handed out.
func TestShelfLifeAtStorage(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	p := events.DefaultPolicy()
	p.ShelfLifeDays = 30
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	look := func() map[string]any {
		s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"), h.Codes["VAS-003"])
		return s.Scan("1")
	}
	if a := look(); a["status"] == "doubtful" {
		t.Errorf("within its shelf life: %s", workplacetest.Tells(a))
	}
	s.Do("clear")
	h.After(40 * 24 * time.Hour)
	workplacetest.Must(t, look(), "doubtful", "PACKAGE of VAS-003 is not fit", "30 days")
}

// TestClosedCaseCameBackShort: a case is no longer in order once the next assembly misses a piece that its final count had.
func TestClosedCaseCameBackShort(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-003", stage)
	}
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "whole", "Case K-1 is closed")
	h.After(5 * time.Hour)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1,
		Exceptions: []events.Exception{{Line: 1, Counted: 3, Reason: "missing"}}})
	s.Do("clear")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "broken", "VAS-003: came back SHORT",
		"Tell the charge nurse")
}

// TestTakenBackOnceStopped: an opening of a set that is stopped since is taken back as any other: what it has come to by now
// doesn't hide the question and its answers.
func TestTakenBackOnceStopped(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"),
		workplacetest.Label(t, events.ScanTag, "VAS-003"),
		workplacetest.Label(t, events.ScanOuter, "VAS-003"), h.Codes["VAS-003"], "1")
	workplacetest.Must(t, s.Scan(""), "whole", "VAS-003 opened for K-1")
	h.Recalled()
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := s.Do("take-back")
	workplacetest.Must(t, a, "broken", "By now: RECALLED: VAS-003")
	if !strings.Contains(a["aside"].(string), "Why is this taken back?") {
		t.Errorf("it is not asked why: %v", a["aside"])
	}
	workplacetest.Must(t, s.Answer(a, "take-back"), "Taken back: VAS-003 opened for K-1")
}

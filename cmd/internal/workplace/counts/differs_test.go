//go:build !race

package counts_test

import (
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestShortCountStaysStop: a count that was signed short is STOP at every page of the case until a count comes out.
func TestShortCountStaysStop(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.ChangesPolicy(func(p *events.Policy) {
		p.Stages = []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal}
	})
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	verdict := func(query string) string {
		page := h.Get("/at/north/or-3/count?case=K-1" + query)
		page = page[strings.Index(page, `id="verdict"`):]
		return page[:strings.Index(page, "</div>\n")]
	}
	stop := func(query, short string) {
		t.Helper()
		if got := verdict(query); !strings.Contains(got, "Case K-1: differences in the counts: 1") || !strings.Contains(got, short) ||
			!strings.Contains(got, "verdict broken") || !strings.Contains(got, "Tell the team, count again, search.") ||
			strings.Contains(got, `class="main"`) {
			t.Errorf("%q is no STOP: %s", query, got)
		}
	}
	h.Counts("K-1", "VAS-003", events.StageFirst, 3, 2, 3)
	h.Counts("K-1", "VAS-004", events.StageFirst, 4, 2, 3)
	for _, query := range []string{"", "&stage=closing", "&stage=final", "&done=first"} {
		stop(query, "1 × Forceps, mosquito, curved, 12.5 cm (1) short in VAS-003")
	}
	h.Counts("K-1", "VAS-003", events.StageClosing, 3, 2, 2)
	h.Counts("K-1", "VAS-004", events.StageClosing, 4, 2, 3)
	for _, query := range []string{"", "&stage=closing", "&stage=final", "&done=closing"} {
		stop(query, "1 × Probe, olive tip, 14 cm short in VAS-003")
	}
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final"}
	if a := c.Scan(""); a["status"] != "broken" { // Enter says it once more, and begins nothing
		t.Errorf("Enter: %v %v", a["status"], a["words"])
	}
	c.Do("begin")
	if page := h.Get("/at/north/or-3/count?case=K-1&stage=final"); !strings.Contains(page,
		"By the counts signed so far: 1 × Probe, olive tip, 14 cm short in VAS-003") {
		t.Error("the final count does not say what the closing count lacked")
	}
	h.Counts("K-1", "VAS-003", events.StageClosing, 3, 2, 3)
	if got := verdict("&stage=closing"); strings.Contains(got, "verdict broken") || !strings.Contains(got, "Begin: Closing count") {
		t.Errorf("counted again, and it comes out: %s", got)
	}
}

// TestWhatDifferedAtTheOpening: counts that come out after a first count that did not say so where the case is closed.
func TestWhatDifferedAtTheOpening(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.Counts("K-1", "VAS-003", stage, 3, 2, 3)
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	a := s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	const want = "is not what packing recorded: "
	if more, _ := a["more"].(string); !strings.Contains(more, want) || !strings.Contains(more, "Forceps, mosquito") {
		t.Errorf("the close page says %v, %v", a["words"], more)
	}
	for _, path := range []string{s.Path, "/at/north/or-3/count?case=K-1"} {
		page := h.Get(path)
		_, warn, _ := strings.Cut(page, "openlines warn")
		if !strings.Contains(warn, want) {
			t.Errorf("%s does not warn of it", path)
		}
	}
}

// TestShortCountAtTheSecondScreen: the other screen at the table turns to STOP when the count that it shows is signed short.
func TestShortCountAtTheSecondScreen(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	h.Signs("K-1", "VAS-003", events.StageFirst)
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "closing"}
	c.Do("begin")
	b := workplacetest.Browser(t)
	open, paused := b.Tab(t, workplacetest.Phone), b.Tab(t, workplacetest.Phone)
	open.Open(h.At("count?case=K-1&stage=closing"))
	open.Await(`document.querySelector("tr.now")`)
	paused.Open(h.At("count?case=K-1&stage=final"))
	paused.AwaitText("#verdict", "Begin: Final count")
	c.Lines("VAS-003", 4, 2, 2)
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	if n := len(h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)); n != 2 {
		t.Fatalf("%d counts", n)
	}
	open.AwaitText("#verdict", "Case K-1: differences in the counts: 1")
	paused.AwaitText("#verdict", "Case K-1: differences in the counts: 1")
	paused.AwaitText("#verdict", "1 × Probe, olive tip, 14 cm short in VAS-003")
	paused.Axe()
}

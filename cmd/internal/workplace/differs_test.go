//go:build !race

package workplace_test

import (
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// counts records a signed count of the short list, made elsewhere.
func (h *house) counts(ref, set string, stage events.Stage, n ...int64) {
	d := &events.SetCounted{Case: ref, Stage: stage, Sheet: "screen", Counter: "B-1", Witness: "B-2"}
	for i, x := range n {
		d.Counts = append(d.Counts, events.Count{Line: int64(i + 1), Counted: x})
	}
	h.record("north/or-3", events.KindSetCounted, set, d)
}

// TestShortCountStaysStop: a count that was signed short is STOP at every page of the case until a count comes out.
func TestShortCountStaysStop(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.changesPolicy(func(p *events.Policy) {
		p.Stages = []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal}
	})
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-1")
	verdict := func(query string) string {
		page := h.get("/at/north/or-3/count?case=K-1" + query)
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
	h.counts("K-1", "VAS-003", events.StageFirst, 3, 2, 3)
	h.counts("K-1", "VAS-004", events.StageFirst, 4, 2, 3)
	for _, query := range []string{"", "&stage=closing", "&stage=final", "&done=first"} {
		stop(query, "1 × Forceps, mosquito, curved, 12.5 cm (1) short in VAS-003")
	}
	h.counts("K-1", "VAS-003", events.StageClosing, 3, 2, 2)
	h.counts("K-1", "VAS-004", events.StageClosing, 4, 2, 3)
	for _, query := range []string{"", "&stage=closing", "&stage=final", "&done=closing"} {
		stop(query, "1 × Probe, olive tip, 14 cm short in VAS-003")
	}
	c := &counter{h: h, ref: "K-1", stage: "final"}
	if a := c.scan(""); a["status"] != "broken" { // Enter says it once more, and begins nothing
		t.Errorf("Enter: %v %v", a["status"], a["words"])
	}
	c.do("begin")
	if page := h.get("/at/north/or-3/count?case=K-1&stage=final"); !strings.Contains(page,
		"By the counts signed so far: 1 × Probe, olive tip, 14 cm short in VAS-003") {
		t.Error("the final count does not say what the closing count lacked")
	}
	h.counts("K-1", "VAS-003", events.StageClosing, 3, 2, 3)
	if got := verdict("&stage=closing"); strings.Contains(got, "verdict broken") || !strings.Contains(got, "Begin: Closing count") {
		t.Errorf("counted again, and it comes out: %s", got)
	}
}

// TestWhatDifferedAtTheOpening: counts that come out after a first count that did not say so where the case is closed.
func TestWhatDifferedAtTheOpening(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	for _, stage := range []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal} {
		h.counts("K-1", "VAS-003", stage, 3, 2, 3)
	}
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	a := s.scan(label(t, events.ScanCase, "K-1"))
	const want = "is not what packing recorded: "
	if more, _ := a["more"].(string); !strings.Contains(more, want) || !strings.Contains(more, "Forceps, mosquito") {
		t.Errorf("the close page says %v, %v", a["words"], more)
	}
	for _, path := range []string{s.path, "/at/north/or-3/count?case=K-1"} {
		page := h.get(path)
		_, warn, _ := strings.Cut(page, "openlines warn")
		if !strings.Contains(warn, want) {
			t.Errorf("%s does not warn of it", path)
		}
	}
}

// TestShortCountAtTheSecondScreen: the other screen at the table turns to STOP when the count that it shows is signed short.
func TestShortCountAtTheSecondScreen(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	h.signs("K-1", "VAS-003", events.StageFirst)
	c := &counter{h: h, ref: "K-1", stage: "closing"}
	c.do("begin")
	b := browser(t)
	open, paused := b.Tab(t, phone), b.Tab(t, phone)
	open.Open(h.at("count?case=K-1&stage=closing"))
	open.Await(`document.querySelector("tr.now")`)
	paused.Open(h.at("count?case=K-1&stage=final"))
	paused.AwaitText("#verdict", "Begin: Final count")
	c.lines("VAS-003", 4, 2, 2)
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.scan(label(t, events.ScanBadge, "B-2"))
	if n := len(h.events(site.Query{Case: "K-1"}, events.KindSetCounted)); n != 2 {
		t.Fatalf("%d counts", n)
	}
	open.AwaitText("#verdict", "Case K-1: differences in the counts: 1")
	paused.AwaitText("#verdict", "Case K-1: differences in the counts: 1")
	paused.AwaitText("#verdict", "1 × Probe, olive tip, 14 cm short in VAS-003")
	paused.Axe()
}

package workplace_test

import (
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestCloseUnreconciled: a case that does not come out stays open in sight, and
// closes only with reason, actions and a second badge.
func TestCloseUnreconciled(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-88")
	for _, c := range []struct {
		stage events.Stage
		n     int64
	}{{events.StageFirst, 2}, {events.StageFinal, 1}} {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-88", Stage: c.stage,
			Sheet: "screen", Counter: "B-1", Witness: "B-2",
			Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: c.n}, {Line: 3, Counted: 3}}})
	}
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Open(h.At("close"))
	p.Type(workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r")
	p.AwaitText("#verdict", "Case K-88 is open. Not accounted for: 1")
	p.AwaitText(".openlines", "1 × Clamp, vascular, angled, 22 cm short in VAS-003")
	p.Axe()
	p.Shot("close-open-phone")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-3322") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#bench", "B-3310")
	before := h.Size()
	p.Press("\r")
	p.AwaitText("#verdict", "say why")
	browsertest.Eval[bool](p,
		`(document.querySelector("#reason").value = "image negative, surgeon decides",
			document.querySelector("[data-do=reason]").requestSubmit(), true)`)
	// That the case is open is said all the time; the reason is taken when nothing asks for it any more.
	p.Await(`!document.querySelector("#verdict").textContent.includes("say why")`)
	p.AwaitText("#verdict", "Case K-88 is open")
	p.Press("\r")
	p.AwaitText("#verdict", "what was done")
	if h.Size() != before {
		t.Fatal("an open case was closed without actions")
	}
	p.Touch(`[data-action="recounted"]`)
	p.Await(`document.querySelector("[data-action='recounted']").getAttribute("aria-pressed") === "true"`)
	p.Touch(`[data-action="image-taken"]`)
	p.Await(`document.querySelector("[data-action='image-taken']").getAttribute("aria-pressed") === "true"`)
	p.Press("\r")
	p.AwaitText("#verdict", "Case K-88 closed. Not accounted for: 1")
	got := h.Events(site.Query{Case: "K-88"}, events.KindCaseClosed)
	if len(got) != 1 {
		t.Fatalf("%d closings", len(got))
	}
	if d := got[0].(*events.CaseClosed); d.Outcome != "unreconciled" || d.Reason == "" || len(d.Actions) != 2 || d.Witness != "B-3310" ||
		!slices.Contains(d.Actions, "image-taken") { // the action itself, and not what a language calls it
		t.Errorf("closed: %+v", d)
	}
	if text := p.Text("body"); strings.Contains(text, "nothing was retained") {
		t.Error("the page says that nothing was retained")
	}
}

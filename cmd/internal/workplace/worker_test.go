package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestBadgeGoesOnToTheNextPlace: who goes from packing to closing with the same
// browser is not asked for the badge anew; anybody else is.
func TestBadgeGoesOnToTheNextPlace(t *testing.T) {
	h := workplacetest.NewHouse(t)
	n := 0
	send := func(client, place, verb, rest string) map[string]any {
		n++
		h.After(3 * time.Second) // sooner it would be one scan read twice
		return h.Post("/at/north/or-3/"+place+"/"+verb, fmt.Sprintf(`{"client":%q,"n":%d,%s}`, client, n, rest))
	}
	scan := func(client, place, text string) map[string]any {
		return send(client, place, "scan", fmt.Sprintf(`"text":%q`, text))
	}
	do := func(client, place, action string) map[string]any {
		return send(client, place, "do", fmt.Sprintf(`"action":%q,"fields":{}`, action))
	}
	// badge reports whether the page of closing shows the badge after a set was scanned.
	badge := func(client, set string) bool {
		a := scan(client, "sealing", workplacetest.Label(t, events.ScanSet, set))
		return strings.Contains(a["bench"].(string), "B-1182")
	}
	scan("one", "packing", workplacetest.Label(t, events.ScanBadge, "B-1182"))
	if badge("two", "LAP-014") {
		t.Error("another browser works by the badge")
	}
	do("two", "sealing", "clear")
	if !badge("one", "LAP-022") {
		t.Fatal("the badge is asked for anew")
	}
	do("one", "sealing", "next-person")
	if badge("one", "LAP-014") {
		t.Error("the badge came back after the next person was said to be here")
	}
	do("one", "packing", "next-person") // there is one still
	do("one", "sealing", "next-person")
	if badge("one", "LAP-022") {
		t.Error("the badge came back after the next person was said to be here, at the other place")
	}
	do("one", "sealing", "clear")
	scan("one", "packing", workplacetest.Label(t, events.ScanBadge, "B-1182"))
	policy := events.DefaultPolicy()
	h.After(policy.BadgeHolds() + time.Minute)
	if badge("one", "LAP-014") {
		t.Error("the badge held longer than the policy's minutes")
	}
	// What Enter records was shown before: the badge comes after the first.
	scan("one", "packing", workplacetest.Label(t, events.ScanBadge, "B-1182"))
	scan("two", "sealing", workplacetest.Label(t, events.ScanSet, "VAS-003"))
	send("two", "sealing", "do", `"action":"placement","fields":{"placement":"outside"}`)
	h.After(time.Minute)
	size := h.Size()
	a := scan("one", "sealing", "")
	if h.Size() != size || !strings.Contains(a["bench"].(string), "B-1182") {
		t.Fatalf("Enter by a badge that nobody saw here: %d records, %v", h.Size()-size, a["words"])
	}
	scan("one", "sealing", "")
	if h.Size() != size+1 {
		t.Fatalf("after the badge was shown: %d records, %v", h.Size()-size, a["words"])
	}
	if hist, err := h.Site.History(t.Context(), site.Query{Set: "VAS-003"}); err != nil ||
		hist.Events[len(hist.Events)-1].Kind != string(events.KindListSealed) {
		t.Errorf("%v, %v", hist.Events, err)
	}
}

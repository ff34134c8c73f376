package workplace_test

import (
	"strings"
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestDraftsOfEarlierVersions: a draft of the version that had one struct for all
// benches is taken over; one that can't be read is forgotten, and the page says so.
func TestDraftsOfEarlierVersions(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	h.DraftFile(`{"rev":7,"said":{"status":"open","words":"earlier","sound":""},"operator":"B-7","case":"K-1","tag":"LAP-014",
		"outer":"LAP-014","loads":[{"load":"S1-1","sterilizer":"S1","run":1,"cycle":"c","sets":["LAP-014"],"started":true}],
		"load":"S1-1","list":"LAP-MAJOR","version":1,"weightGrams":12,"placement":"outside","actions":["recounted"]}`,
		"bench", "north%2For-3", "sterilizer")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	if a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); !strings.Contains(a["more"].(string), "S1-1: record the result") {
		t.Errorf("a load that runs is not taken over: %v", a["words"])
	}
	for name, text := range map[string]string{"torn": `{"rev":7,"said":`,
		"another form": `{"rev":"seven","tag":["LAP-014"]}`, "empty": ""} {
		for _, place := range []string{"packing", "sealing", "sterilizer", "storage", "opening", "close"} {
			h.DraftFile(text, "bench", "north%2For-3", place)
			if body := h.Get("/at/north/or-3/" + place); !strings.Contains(body, "is forgotten") {
				t.Errorf("%s, %s: the page does not say that the draft is forgotten: %.300s", place, name, body)
			}
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
			if a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); a["error"] != nil {
				t.Errorf("%s, %s: afterwards: %v", place, name, a["error"])
			}
		}
	}
	h.Open("LAP-014", "K-1")
	h.DraftFile(`{"lines":{"1":`, "count", "K-1", "LAP-014%20first")
	if body := h.Get("/at/north/or-3/count?case=K-1"); !strings.Contains(body, "counted of LAP-014 could not be read") {
		t.Errorf("count: the page does not say that the draft is forgotten")
	}
	if body := h.Get("/at/north/or-3/close?case=K-1"); !strings.Contains(body, "First count of LAP-014 is begun and not signed") {
		t.Errorf("close: the damaged count is not open: %s", body)
	}
}

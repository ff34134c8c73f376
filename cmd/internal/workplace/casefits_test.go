package workplace_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestCaseAtAPageDoesNotFit: where the policy says how cases are written, what is written otherwise is taken for none at any
// place, however it comes, and stands in no file afterwards. A case that was recorded before goes on.
func TestCaseAtAPageDoesNotFit(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("LAP-022", "OLD/77")
	const wrong = "MRN-12345678"
	label, err := events.LabelText(events.ScanCase, wrong)
	if err != nil {
		t.Fatal(err)
	}
	opening, closing := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"},
		&workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	sterilizer := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	// Somebody has said that codes like it are cases, before the policy did.
	closing.Scan("MRN-12345670")
	closing.Do("take-as", "value", "case")
	closing.Do("clear")
	h.ChangesPolicy(func(p *events.Policy) { p.Codes = []events.CodePattern{{Kind: events.ScanCase, Like: "K-9999"}} })
	size := h.Size()
	opening.Scan("LAP-014")
	for _, try := range []struct {
		how  string
		took map[string]any
	}{
		{"its label at an opening", opening.Scan(label)},
		{"the code at an opening", opening.Scan(wrong)},
		{"in a form at an opening", opening.Do("case", "case", wrong)},
		{"in a form, by its label", opening.Do("case", "case", label)},
		{"its label at a closing", closing.Scan(label)},
		{"the code at a closing", closing.Scan(wrong)},
		{"the case that a load is for", sterilizer.Do("begin", "sterilizer", "S1", "run", "4", "cycle", "c-134",
			"immediate", "fell down", "for", wrong)},
	} {
		if says := workplacetest.Tells(try.took); !strings.Contains(says, "This is no case as this site writes them (K-9999;") {
			t.Errorf("%s: %s", try.how, says)
		}
	}
	h.Post("/at/north/or-3/count/scan", `{"client":"t","n":1,"text":"`+label+`"}`)
	if a := opening.Scan("PAT-7"); a["choices"] == nil || strings.Contains(fmt.Sprint(a["choices"]), "case") {
		t.Errorf("what is no case may be one: %s", workplacetest.Tells(a))
	}
	opening.Do("take-as", "value", "")
	for _, path := range []string{"opening", "close", "count"} {
		res, err := http.Get(h.At(path) + "?case=" + url.QueryEscape(wrong))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode < http.StatusBadRequest {
			t.Errorf("in the address of %s: %d", path, res.StatusCode)
		}
	}
	h.Nowhere(wrong)
	h.Nowhere(label)
	if h.Size() != size {
		t.Error("something was recorded")
	}
	if a := opening.Scan("K-0412"); strings.Contains(workplacetest.Tells(a), "no case as") {
		t.Errorf("one that fits: %s", workplacetest.Tells(a))
	}
	if a := closing.Scan("OLD/77"); strings.Contains(workplacetest.Tells(a), "no case as") {
		t.Errorf("one that was recorded before: %s", workplacetest.Tells(a))
	}
	h.Get("/at/north/or-3/count?case=" + url.QueryEscape("OLD/77"))
}

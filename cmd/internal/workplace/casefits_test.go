package workplace_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/events"
)

// nowhere fails where a text is in a file of the folder or in its name.
func (h *house) nowhere(text string) {
	h.t.Helper()
	err := filepath.WalkDir(h.site.Dir(), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		var raw []byte
		if d.Type().IsRegular() {
			raw, err = os.ReadFile(path)
		}
		for _, form := range []string{text, url.QueryEscape(text), url.PathEscape(text)} {
			if strings.Contains(path, form) || bytes.Contains(raw, []byte(form)) {
				h.t.Errorf("%s has %q", path, form)
			}
		}
		return err
	})
	if err != nil {
		h.t.Fatal(err)
	}
}

// TestCaseThatDoesNotFit: where the policy says how cases are written, what is written otherwise is taken for none at any
// place, however it comes, and stands in no file afterwards. A case that was recorded before goes on.
func TestCaseThatDoesNotFit(t *testing.T) {
	h := newHouse(t)
	h.open("LAP-022", "OLD/77")
	const wrong = "MRN-12345678"
	label, err := events.LabelText(events.ScanCase, wrong)
	if err != nil {
		t.Fatal(err)
	}
	opening, closing := &scanner{h: h, path: "/at/north/or-3/opening"}, &scanner{h: h, path: "/at/north/or-3/close"}
	sterilizer := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	// Somebody has said that codes like it are cases, before the policy did.
	closing.scan("MRN-12345670")
	closing.do("take-as", "value", "case")
	closing.do("clear")
	h.changesPolicy(func(p *events.Policy) { p.Codes = []events.CodePattern{{Kind: events.ScanCase, Like: "K-9999"}} })
	size := h.size()
	opening.scan("LAP-014")
	for _, try := range []struct {
		how  string
		took map[string]any
	}{
		{"its label at an opening", opening.scan(label)},
		{"the code at an opening", opening.scan(wrong)},
		{"in a form at an opening", opening.do("case", "case", wrong)},
		{"in a form, by its label", opening.do("case", "case", label)},
		{"its label at a closing", closing.scan(label)},
		{"the code at a closing", closing.scan(wrong)},
		{"the case that a load is for", sterilizer.do("begin", "sterilizer", "S1", "run", "4", "cycle", "c-134",
			"immediate", "fell down", "for", wrong)},
	} {
		if says := tells(try.took); !strings.Contains(says, "This is no case as this site writes them (K-9999;") {
			t.Errorf("%s: %s", try.how, says)
		}
	}
	h.post("/at/north/or-3/count/scan", `{"client":"t","n":1,"text":"`+label+`"}`)
	if a := opening.scan("PAT-7"); a["choices"] == nil || strings.Contains(fmt.Sprint(a["choices"]), "case") {
		t.Errorf("what is no case may be one: %s", tells(a))
	}
	opening.do("take-as", "value", "")
	for _, path := range []string{"opening", "close", "count"} {
		res, err := http.Get(h.at(path) + "?case=" + url.QueryEscape(wrong))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode < http.StatusBadRequest {
			t.Errorf("in the address of %s: %d", path, res.StatusCode)
		}
	}
	h.nowhere(wrong)
	h.nowhere(label)
	if h.size() != size {
		t.Error("something was recorded")
	}
	if a := opening.scan("K-0412"); strings.Contains(tells(a), "no case as") {
		t.Errorf("one that fits: %s", tells(a))
	}
	if a := closing.scan("OLD/77"); strings.Contains(tells(a), "no case as") {
		t.Errorf("one that was recorded before: %s", tells(a))
	}
	h.get("/at/north/or-3/count?case=" + url.QueryEscape("OLD/77"))
}

package workplace_test

import (
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// english are words that no German sentence has.
var english = regexp.MustCompile(`(?i)\b(the|is|not|this|again|which|with|known|characters|record|read|it)\b`)

// TestRefusedInThePagesLanguage: whatever a station's page refuses, it says why in the
// page's language.
func TestRefusedInThePagesLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	n := 0
	post := func(lang, place, verb, rest string) map[string]any {
		n++
		h.After(3 * time.Second)
		client := lang + place
		return h.Post("/at/north/or-3/"+place+"/"+verb+"?lang="+lang, fmt.Sprintf(`{"client":%q,"n":%d,%s}`, client, n, rest))
	}
	scan := func(text string) string { return `"text":` + workplacetest.JSONText(text) }
	do := func(action, fields string) string { return fmt.Sprintf(`"action":%q,"fields":{%s}`, action, fields) }
	code := h.Codes["LAP-014"]
	damaged := code[:len(code)-1] + string("0123456789"[(strings.IndexByte("0123456789", code[len(code)-1])+1)%10])
	long := strings.Repeat("K", 3000)
	tests := []struct{ place, verb, rest string }{
		{"storage", "scan", scan(damaged)},
		{"storage", "scan", scan(code[:53])},
		{"storage", "scan", scan("]C18018950600013435000012")},
		{"storage", "scan", scan("X9SLAP-01")},
		{"storage", "scan", scan("X9ZLAP-014")},
		{"storage", "scan", scan("]C1")},
		{"storage", "scan", scan("]d2" + "9999999999")},
		{"storage", "scan", scan("(8004)" + strings.Repeat("9", 60))},
		{"storage", "scan", scan("https://example.test/01/123")},
		{"storage", "scan", scan(long)},
		{"storage", "scan", scan("LAP\u0001014")},
		{"storage", "do", do("no-such", "")},
		{"packing", "do", do("list", `"list":"NO-SUCH"`)},
		{"packing", "do", do("weight", `"weight":"-1"`)},
		{"packing", "do", do("line", `"line":"77"`)},
		{"close", "scan", scan("X9SLAP-01")},
		{"count", "scan", scan("X9SLAP-01")},
		{"sterilizer", "do", do("begin", `"sterilizer":"`+strings.Repeat("S", 200)+`","run":"1","cycle":"c"`)},
	}
	refused := 0
	for _, test := range tests {
		a := post("de", test.place, test.verb, test.rest)
		said := fmt.Sprint(a["words"], " ", a["more"], " ", a["next"], " ", a["aside"], " ", a["error"])
		if a["status"] == "broken" || a["error"] != nil {
			refused++
		}
		if found := english.FindString(strings.NewReplacer(long, "", "<nil>", "").Replace(said)); found != "" {
			t.Errorf("%s %.60s: English %q in: %.300s", test.place, test.rest, found, said)
		}
	}
	if refused < len(tests)*2/3 {
		t.Errorf("%d of %d inputs were refused: the test tries too little", refused, len(tests))
	}
}

// TestNothingToShowInThePagesLanguage: an address of which there is nothing, and a print
// that can't be made, are refused in the page's language.
func TestNothingToShowInThePagesLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	for path, code := range map[string]int{
		"/print/sheet.pdf":                               http.StatusBadRequest,
		"/print/sheet.pdf?set=NOPE":                      http.StatusNotFound,
		"/print/sheet.pdf?set=VAS-009":                   http.StatusBadRequest,
		"/print/sheet.pdf?set=LAP-014&size=a9":           http.StatusBadRequest,
		"/print/load-label.pdf?load=NOPE":                http.StatusNotFound,
		"/print/list.pdf?list=NOPE":                      http.StatusNotFound,
		"/print/list.pdf?list=LAP-MAJOR&version=9":       http.StatusNotFound,
		"/print/list.pdf?list=LAP-MAJOR&version=x":       http.StatusBadRequest,
		"/print/loan.pdf?set=NOPE":                       http.StatusNotFound,
		"/print/loan.pdf?set=LAP-014":                    http.StatusNotFound,
		"/print/labels.pdf?kind=x":                       http.StatusBadRequest,
		"/print/labels.pdf?kind=tag&id=A1&count=901":     http.StatusBadRequest,
		"/print/labels.pdf?kind=tag&id=AB&count=9":       http.StatusBadRequest,
		"/print/labels.pdf?kind=seal&id=99&count=9":      http.StatusBadRequest,
		"/lists/NOPE":                                    http.StatusNotFound,
		"/at/north/or-3/count?case=NOPE":                 http.StatusNotFound,
		"/print/sheet.pdf?set=LAP-014&trip=no-such-trip": http.StatusNotFound,
	} {
		for _, lang := range []string{"de", "en"} {
			r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, h.URL+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Accept-Language", lang)
			res, err := http.DefaultClient.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			raw, err := io.ReadAll(res.Body)
			res.Body.Close()
			if err != nil || res.StatusCode != code {
				t.Errorf("%s: %d, want %d: %v", path, res.StatusCode, code, err)
			}
			said := string(raw)
			if _, page, ok := strings.Cut(said, `role="alert">`); ok {
				said, _, _ = strings.Cut(page, "<")
			}
			if found := english.FindString(said); found != "" && lang == "de" || said == "" {
				t.Errorf("%s in %s: %q", path, lang, said)
			}
		}
	}
}

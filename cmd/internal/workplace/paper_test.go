package workplace_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// pageOf is what the symbol on a page of a set's sheet says.
func (h *house) pageOf(set string, page, pages int) string {
	h.t.Helper()
	c, err := events.ParseSheetCode(h.codes[set])
	if err != nil {
		h.t.Fatal(err)
	}
	s, err := events.SheetPage{Code: c, Page: page, Pages: pages, Layout: 2}.Text()
	if err != nil {
		h.t.Fatal(err)
	}
	return s
}

// TestPageOfTheTwin: among the pages of a set's own sheet one of its twin's shows,
// in whichever order they are read, and what was read is recorded with its page.
func TestPageOfTheTwin(t *testing.T) {
	for _, order := range []string{"twin last", "twin first"} {
		h := newHouse(t, "LAP-014", "LAP-015")
		s := &scanner{h: h, path: "/at/north/or-3/opening"}
		own, twin := h.pageOf("LAP-014", 1, 3), h.pageOf("LAP-015", 2, 3)
		s.scan(label(t, events.ScanSet, "LAP-014"))
		h.after(3 * time.Second)
		pages := []string{own, twin}
		if order == "twin first" {
			pages = []string{twin, own}
		}
		a := s.scan(pages[0])
		if order == "twin last" && !strings.Contains(fmt.Sprint(a["more"]), "Page 1 of 3 was read.") {
			t.Errorf("the page is not said: %v", a["more"])
		}
		a = s.scan(pages[1])
		if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a), "LAP-015") {
			t.Fatalf("%s: a page of the twin passes: %v, %v", order, a["status"], a["words"])
		}
		s.do("found", "value", "outside")
		s.scan(label(t, events.ScanBadge, "B-3310"))
		before := h.size()
		if s.do("put-aside"); h.size() != before+1 {
			t.Fatal("what was read is not recorded")
		}
		got := h.lastReading("LAP-014")
		if got.Code != h.codes["LAP-015"] || fmt.Sprint(got.Pages, got.Of) != "[2] 3" {
			t.Errorf("%s: recorded is %+v", order, got)
		}
	}
}

func (h *house) lastReading(set string) *events.Reading {
	h.t.Helper()
	var out *events.Reading
	for _, k := range []events.Kind{events.KindSetChecked, events.KindSetOpened} {
		for _, d := range h.events(site.Query{Set: set}, k) {
			switch d := d.(type) {
			case *events.SetChecked:
				out = d.Sheet
			case *events.SetOpened:
				out = d.Sheet
			}
		}
	}
	if out == nil {
		h.t.Fatalf("no reading of %s is recorded", set)
	}
	return out
}

// TestAllPagesByPolicy: one page is enough unless policy says otherwise; then the
// others are asked for, and who doesn't find them says so.
func TestAllPagesByPolicy(t *testing.T) {
	h := newHouse(t, "LAP-014", "LAP-022")
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	scan := func(set string, pages ...int) {
		s.do("forget")
		for _, text := range []string{label(t, events.ScanBadge, "B-3310"), label(t, events.ScanCase, "K-7"),
			label(t, events.ScanSet, set), "(8004)" + set} {
			s.scan(text)
			h.after(3 * time.Second)
		}
		for _, n := range pages {
			s.scan(h.pageOf(set, n, 3))
			h.after(3 * time.Second)
		}
		s.do("found", "value", "outside")
	}
	before := h.size()
	if scan("LAP-014", 2); s.scan("")["status"] == "broken" || h.size() != before+1 {
		t.Fatal("one page is not enough without a policy")
	}
	if got := h.lastReading("LAP-014"); fmt.Sprint(got.Pages, got.Of) != "[2] 3" {
		t.Errorf("recorded is %+v", got)
	}
	policy := events.DefaultPolicy()
	policy.AllPages = true
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	before = h.size()
	scan("LAP-022", 2)
	if a := s.scan(""); h.size() != before || !strings.Contains(fmt.Sprint(a["next"]), "Scan page 1 of 3") {
		t.Fatalf("with two pages unread: %v", a)
	}
	s.scan(h.pageOf("LAP-022", 1, 3))
	if a := s.scan(""); h.size() != before || !strings.Contains(fmt.Sprint(a["next"]), "Scan page 3 of 3") {
		t.Fatalf("with one page unread: %v", a)
	}
	s.do("few-pages")
	if a := s.scan(""); h.size() != before+1 {
		t.Fatalf("a page that is not there can't be said: %v", a)
	}
	if got := h.lastReading("LAP-022"); fmt.Sprint(got.Pages, got.Of) != "[1 2] 3" {
		t.Errorf("recorded is %+v", got)
	}
}

// TestPracticePaper: what is printed for practice says so, is read where people
// practise, and is refused by name at every other workplace, in both languages.
func TestPracticePaper(t *testing.T) {
	h := newHouse(t, "VAS-003")
	practice := httptest.NewServer(h.handlerFor(true))
	defer practice.Close()
	pdf := func(server, path string) []byte {
		res, err := http.Get(server + path)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		raw, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("%s: %v %s", path, err, raw)
		}
		return raw
	}
	for _, path := range []string{
		"/print/sheet.pdf?set=VAS-003", "/print/set-label.pdf?set=VAS-003", "/print/load-label.pdf?load=S1-0304-01",
		"/print/labels.pdf?kind=badge&id=B-1182", "/print/sheet.pdf?set=VAS-003&size=letter",
	} {
		for lang, word := range map[string]string{"en": "PRACTICE", "de": "ÜBUNG"} {
			if got := pdfText(t, pdf(practice.URL, "/practice"+path+"&lang="+lang)); strings.Count(got, word) < 3 {
				t.Errorf("%s, %s: %q", path, lang, got)
			}
			if got := pdfText(t, pdf(h.url, path+"&lang="+lang)); strings.Contains(got, word) {
				t.Errorf("the real %s says %s", path, word)
			}
		}
	}
	codes := map[string]string{"sheet": h.codes["VAS-003"], "page": h.pageOf("VAS-003", 1, 1), "set": label(t,
		events.ScanSet, "VAS-003"), "badge": label(t, events.ScanBadge, "B-1182")}
	before := h.size()
	learner := &scanner{h: h, path: "/practice/at/north/storage/opening"}
	for kind, text := range codes {
		code, err := events.PracticeText(text)
		if err != nil {
			t.Fatal(err)
		}
		h.after(time.Minute)
		for place, scan := range map[string]string{
			"opening": code, "storage": code, "sealing": code, "packing": code, "sterilizer": code, "close": code, "count": "12" + code,
		} {
			s := &scanner{h: h, path: "/at/north/or-3/" + place, n: len(kind) * 10}
			for _, a := range []map[string]any{s.scan(scan), s.scan(strings.ToLower(code))} {
				if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "PRACTICE") {
					t.Errorf("%s of a %s for practice: %v, %v", place, kind, a["status"], a["words"])
				}
			}
		}
		url := h.url
		h.url = practice.URL
		a := learner.scan(code)
		h.url = url
		if strings.Contains(fmt.Sprint(a["words"]), "PRACTICE") || a["kind"] == nil {
			t.Errorf("a %s for practice, where people practise: %v", kind, a)
		}
		h.url = practice.URL
		for _, place := range []string{"opening", "storage", "sealing", "packing", "sterilizer", "close", "count", "return", "pieces"} {
			s := &scanner{h: h, path: "/practice/at/north/or-3/" + place, n: len(kind)*10 + 5}
			for _, a := range []map[string]any{s.scan(text), s.scan(strings.ToLower(text)), s.scan("12" + text)} {
				if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "this page is PRACTICE") {
					t.Errorf("%s of a real %s, where people practise: %v, %v", place, kind, a["status"], a["words"])
				}
			}
		}
		h.url = url
	}
	if h.size() != before {
		t.Error("something was recorded")
	}
}

func pdfText(t *testing.T, pdf []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "print.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-raw", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext, of the Debian package poppler-utils: %v", err)
	}
	return string(out)
}

// TestLabelsPage: tags, badges, cases and a lot of seals print from one page.
func TestLabelsPage(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	p := browser(t).Tab(t, tablet)
	for _, lang := range []string{"en", "de"} {
		p.Open(h.url + "/labels/?lang=" + lang)
		p.Axe()
	}
	p.Open(h.url + "/labels/?lang=en")
	if got := p.Text("main"); !strings.Contains(got, "Tamper-evident lock") {
		t.Errorf("the page says %q", got)
	}
	form := browsertest.Eval[string](p, `new URLSearchParams(new FormData(document.querySelector("form.labels"))).toString()`)
	if !strings.HasPrefix(form, "kind=tag&id=&count=&size=100x50") {
		t.Errorf("the form sends %q", form)
	}
	for query, says := range map[string][]string{
		"kind=seal&id=0483920&count=3":        {"0483920", "0483921", "0483922"},
		"kind=badge&id=B-1,+B-2&size=62x29":   {"B-1", "B-2", "BADGE"},
		"kind=case&id=K-099&count=2&lang=de":  {"K-099", "K-100", "EINGRIFF"},
		"kind=tag&id=LAP-014&count=1&lang=de": {"LAP-014"},
	} {
		res, err := http.Get(h.url + "/print/labels.pdf?" + query)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("%s: %v %s", query, err, raw)
		}
		got := pdfText(t, raw)
		for _, want := range says {
			if !strings.Contains(got, want) {
				t.Errorf("%s does not say %s: %q", query, want, got)
			}
		}
	}
	for _, query := range []string{"kind=load&id=S1", "id=B-1", "kind=badge", "kind=badge&id=B-1&count=0",
		"kind=badge&id=B-1&count=501", "kind=badge&id=B-9&count=2", "kind=badge&id=B&count=2"} {
		res, err := http.Get(h.url + "/print/labels.pdf?" + query)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != http.StatusBadRequest {
			t.Errorf("%s: %s", query, res.Status)
		}
	}
}

// TestSetLabelSaysWhoAndLoad: the packer and the load, once it is known.
func TestSetLabelSaysWhoAndLoad(t *testing.T) {
	h := newHouse(t, "VAS-003")
	got := pdfText(t, []byte(h.get("/print/set-label.pdf?set=VAS-003&lang=en")))
	for _, want := range []string{"by B-1182", "Load S1-0304-01", "Packed 04 Mar 2026"} {
		if !strings.Contains(got, want) {
			t.Errorf("the label does not say %q: %q", want, got)
		}
	}
}

// TestHideExpected: where policy says so, the number expected is not on the screen
// before a line is counted, and Enter agrees to nothing.
func TestHideExpected(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	policy := events.DefaultPolicy()
	policy.HideExpected = true
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	h.open("VAS-003", "K-1")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("count") + "?case=K-1")
	p.AwaitText("#sum", "0 of 3 lines")
	for _, selector := range []string{"#now-expected", `tr[data-line="1"] td:nth-child(3)`} {
		if got := p.Text(selector); got != "–" {
			t.Errorf("%s says %q", selector, got)
		}
	}
	p.Press("\r")
	p.Touch(`tr[data-line="2"] .cell`)
	p.AwaitText("#now-line", "Line 2")
	p.AwaitText("#sum", "0 of 3 lines")
	p.Touch(`tr[data-line="1"] .cell`)
	p.Type("3\r")
	p.AwaitText("#sum", "1 of 3 lines")
	p.AwaitText(`tr[data-line="1"] td:nth-child(3)`, "4")
	p.AwaitText(`tr[data-line="2"] td:nth-child(3)`, "–")
	p.Axe()
}

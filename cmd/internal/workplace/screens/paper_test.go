//go:build !race

package screens_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPageOfTheTwin: among the pages of a set's own sheet one of its twin's shows,
// in whichever order they are read, and what was read is recorded with its page.
func TestPageOfTheTwin(t *testing.T) {
	for _, order := range []string{"twin last", "twin first"} {
		h := workplacetest.NewHouse(t, "LAP-014", "LAP-015")
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
		own, twin := h.PageOf("LAP-014", 1, 3), h.PageOf("LAP-015", 2, 3)
		s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
		h.After(3 * time.Second)
		pages := []string{own, twin}
		if order == "twin first" {
			pages = []string{twin, own}
		}
		a := s.Scan(pages[0])
		if order == "twin last" && !strings.Contains(fmt.Sprint(a["more"]), "Page 1 of 3 was read.") {
			t.Errorf("the page is not said: %v", a["more"])
		}
		a = s.Scan(pages[1])
		if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a), "LAP-015") {
			t.Fatalf("%s: a page of the twin passes: %v, %v", order, a["status"], a["words"])
		}
		s.Do("found", "value", "outside")
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-3310"))
		before := h.Size()
		if s.Do("put-aside"); h.Size() != before+1 {
			t.Fatal("what was read is not recorded")
		}
		got := h.LastReading("LAP-014")
		if got.Code != h.Codes["LAP-015"] || fmt.Sprint(got.Pages, got.Of) != "[2] 3" {
			t.Errorf("%s: recorded is %+v", order, got)
		}
	}
}

// TestAllPagesByPolicy: one page is enough unless policy says otherwise; then the
// others are asked for, and who doesn't find them says so.
func TestAllPagesByPolicy(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014", "LAP-022")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	scan := func(set string, pages ...int) {
		s.Do("forget")
		for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-3310"), workplacetest.Label(t, events.ScanCase, "K-7"),
			workplacetest.Label(t, events.ScanSet, set), "(8004)" + set} {
			s.Scan(text)
			h.After(3 * time.Second)
		}
		for _, n := range pages {
			s.Scan(h.PageOf(set, n, 3))
			h.After(3 * time.Second)
		}
		s.Do("found", "value", "outside")
	}
	before := h.Size()
	if scan("LAP-014", 2); s.Scan("")["status"] == "broken" || h.Size() != before+1 {
		t.Fatal("one page is not enough without a policy")
	}
	if got := h.LastReading("LAP-014"); fmt.Sprint(got.Pages, got.Of) != "[2] 3" {
		t.Errorf("recorded is %+v", got)
	}
	policy := events.DefaultPolicy()
	policy.AllPages = true
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	before = h.Size()
	scan("LAP-022", 2)
	if a := s.Scan(""); h.Size() != before || !strings.Contains(fmt.Sprint(a["next"]), "Scan page 1 of 3") {
		t.Fatalf("with two pages unread: %v", a)
	}
	s.Scan(h.PageOf("LAP-022", 1, 3))
	if a := s.Scan(""); h.Size() != before || !strings.Contains(fmt.Sprint(a["next"]), "Scan page 3 of 3") {
		t.Fatalf("with one page unread: %v", a)
	}
	s.Do("few-pages")
	if a := s.Scan(""); h.Size() != before+1 {
		t.Fatalf("a page that is not there can't be said: %v", a)
	}
	if got := h.LastReading("LAP-022"); fmt.Sprint(got.Pages, got.Of) != "[1 2] 3" {
		t.Errorf("recorded is %+v", got)
	}
}

// TestPracticePaper: what is printed for practice says so, is read where people
// practise, and is refused by name at every other workplace, in both languages.
func TestPracticePaper(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	practice := httptest.NewServer(h.HandlerFor(true))
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
			if got := workplacetest.PDFText(t, pdf(practice.URL, "/practice"+path+"&lang="+lang)); strings.Count(got, word) < 3 {
				t.Errorf("%s, %s: %q", path, lang, got)
			}
			if got := workplacetest.PDFText(t, pdf(h.URL, path+"&lang="+lang)); strings.Contains(got, word) {
				t.Errorf("the real %s says %s", path, word)
			}
		}
	}
	codes := map[string]string{"sheet": h.Codes["VAS-003"], "page": h.PageOf("VAS-003", 1, 1), "set": workplacetest.Label(t,
		events.ScanSet, "VAS-003"), "badge": workplacetest.Label(t, events.ScanBadge, "B-1182")}
	before := h.Size()
	learner := &workplacetest.Scanner{House: h, Path: "/practice/at/north/storage/opening"}
	for kind, text := range codes {
		code, err := events.PracticeText(text)
		if err != nil {
			t.Fatal(err)
		}
		h.After(time.Minute)
		for place, scan := range map[string]string{
			"opening": code, "storage": code, "sealing": code, "packing": code, "sterilizer": code, "close": code, "count": "12" + code,
		} {
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place, Number: len(kind) * 10}
			for _, a := range []map[string]any{s.Scan(scan), s.Scan(strings.ToLower(code))} {
				if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "PRACTICE") {
					t.Errorf("%s of a %s for practice: %v, %v", place, kind, a["status"], a["words"])
				}
			}
		}
		url := h.URL
		h.URL = practice.URL
		a := learner.Scan(code)
		h.URL = url
		if strings.Contains(fmt.Sprint(a["words"]), "PRACTICE") || a["kind"] == nil {
			t.Errorf("a %s for practice, where people practise: %v", kind, a)
		}
		h.URL = practice.URL
		for _, place := range []string{"opening", "storage", "sealing", "packing", "sterilizer", "close", "count", "return", "pieces"} {
			s := &workplacetest.Scanner{House: h, Path: "/practice/at/north/or-3/" + place, Number: len(kind)*10 + 5}
			for _, a := range []map[string]any{s.Scan(text), s.Scan(strings.ToLower(text)), s.Scan("12" + text)} {
				if a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "this page is PRACTICE") {
					t.Errorf("%s of a real %s, where people practise: %v, %v", place, kind, a["status"], a["words"])
				}
			}
		}
		h.URL = url
	}
	if h.Size() != before {
		t.Error("something was recorded")
	}
}

// TestLabelsPage: tags, badges, cases and a lot of seals print from one page.
func TestLabelsPage(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	for _, lang := range []string{"en", "de"} {
		p.Open(h.URL + "/labels/?lang=" + lang)
		p.Axe()
	}
	p.Open(h.URL + "/labels/?lang=en")
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
		res, err := http.Get(h.URL + "/print/labels.pdf?" + query)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("%s: %v %s", query, err, raw)
		}
		got := workplacetest.PDFText(t, raw)
		for _, want := range says {
			if !strings.Contains(got, want) {
				t.Errorf("%s does not say %s: %q", query, want, got)
			}
		}
	}
	for _, query := range []string{"kind=load&id=S1", "id=B-1", "kind=badge", "kind=badge&id=B-1&count=0",
		"kind=badge&id=B-1&count=501", "kind=badge&id=B-9&count=2", "kind=badge&id=B&count=2"} {
		res, err := http.Get(h.URL + "/print/labels.pdf?" + query)
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
	h := workplacetest.NewHouse(t, "VAS-003")
	got := workplacetest.PDFText(t, []byte(h.Get("/print/set-label.pdf?set=VAS-003&lang=en")))
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
	h := workplacetest.NewHouse(t, "VAS-003")
	policy := events.DefaultPolicy()
	policy.HideExpected = true
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
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

//go:build !race

package board_test

import (
	"encoding/xml"
	"errors"
	"io"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

var svgs = regexp.MustCompile(`(?s)<svg class="picture".*?</svg>`)

var (
	pairOf = regexp.MustCompile(`id="pair-1[^"]*"`)
	marks  = regexp.MustCompile(`<circle [^>]*r="5.0"`)
)

// TestSightings: the picture of two exchanged sheets has a mark for each
// observation of either set, and nowhere says that a set stayed.
func TestSightings(t *testing.T) {
	srv, s := weekServer(t)
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	held := 0
	for _, v := range all {
		i := slices.IndexFunc(v.Findings, func(f projections.Finding) bool { return f.Code == projections.SheetSwapped && f.Other != nil })
		if i < 0 {
			continue
		}
		want := 0
		for _, trip := range []string{v.Trip, v.Findings[i].Other.Trip} {
			h, err := s.History(t.Context(), site.Query{Trip: trip})
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range h.Events {
				if k := events.Kind(e.Kind); k.AboutSet() && k != events.KindFindingAcknowledged &&
					k != events.KindIncidentHandled && !e.Void && e.Trip == trip {
					want++
				}
			}
		}
		for _, p := range svgs.FindAllString(page(t, srv.URL+"/history?trip="+url.QueryEscape(v.Trip)), -1) {
			if !pairOf.MatchString(p) {
				continue
			}
			held++
			if got := len(marks.FindAllString(p, -1)); got != want {
				t.Errorf("%s: %d sightings drawn, %d recorded", v.Set, got, want)
			}
			if d := described(t, v.Set, p); !strings.Contains(d, v.Set+" was seen at ") || strings.Contains(d, " was at ") {
				t.Errorf("%s: %s", v.Set, d)
			}
		}
	}
	if held < 2 {
		t.Errorf("%d pictures of two sets", held)
	}
}

// TestPictures holds of every trip on the board: each picture is well-formed,
// says in words what it shows, and needs no style and no script.
func TestPictures(t *testing.T) {
	srv, s := weekServer(t)
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	pictures := 0
	shapes := make(map[string]int)
	for _, v := range all {
		at := "/history?trip=" + url.QueryEscape(v.Trip)
		if v.Trip == "" {
			at = "/station?name=" + url.QueryEscape(v.Station)
		}
		body := page(t, srv.URL+at)
		found := svgs.FindAllString(body, -1)
		if len(found) == 0 {
			t.Errorf("%s has no picture", at)
		}
		for _, p := range found {
			pictures++
			desc := described(t, at, p)
			if len(desc) < 60 {
				t.Errorf("%s: a picture says only %q", at, desc)
			}
			if strings.Contains(p, "style=") || strings.Contains(p, "<a ") || strings.Contains(p, "NaN") {
				t.Errorf("%s: a picture with a style, a link or a place that is no number", at)
			}
		}
		if v.Trip == "" {
			continue
		}
		chain := described(t, at, found[0])
		for _, f := range v.Findings {
			if f.Severity != projections.SeverityNoted && !strings.Contains(chain, f.Says) && !f.From.IsZero() {
				t.Errorf("%s: the chain's words lack %q", at, f.Says)
			}
		}
		for name, mark := range map[string]string{"missing": `stroke-dasharray="10 7"`,
			"due": `stroke-dasharray="1 6"`, "torn": "l-5-6 4-5-5-4z"} {
			if strings.Contains(found[0], mark) {
				shapes[name]++
			}
		}
	}
	if pictures < 50 || shapes["missing"] == 0 || shapes["due"] == 0 || shapes["torn"] < 10 {
		t.Errorf("%d pictures, shapes %v", pictures, shapes)
	}
	// A chain that is whole has no torn ring and nothing missing.
	h, err := s.History(t.Context(), site.Query{Load: "S2-0302-05"})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(h.Verdicts, func(v projections.Verdict) bool { return v.Status == projections.Whole && len(v.Findings) == 0 })
	if i < 0 {
		t.Fatal("no whole chain in the load")
	}
	p := svgs.FindString(page(t, srv.URL+"/history?trip="+h.Verdicts[i].Trip))
	if p == "" || strings.Contains(p, "l-5-6 4-5-5-4z") || strings.Contains(p, `stroke-dasharray="10 7"`) ||
		strings.Contains(p, "missing") {
		t.Error("a whole chain is drawn with a fault")
	}
}

// described returns a picture's words, and reports one that is not well-formed.
func described(t *testing.T, at, svg string) string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	desc, in := "", false
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return desc
		}
		if err != nil {
			t.Fatalf("%s: a picture is not well-formed: %v", at, err)
		}
		switch x := tok.(type) {
		case xml.StartElement:
			in = x.Name.Local == "desc"
		case xml.EndElement:
			in = false
		case xml.CharData:
			if in {
				desc += string(x)
			}
		}
	}
}

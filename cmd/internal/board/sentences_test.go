//go:build !race

package board_test

import (
	"html"
	"net/url"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/words"
)

// TestSentencesInThePagesLanguage: a German page says what was found and what
// happened in German, the English one in English, and neither in both.
func TestSentencesInThePagesLanguage(t *testing.T) {
	srv, s := weekServer(t)
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	said := 0
	holds := func(at, body, is, not string) {
		t.Helper()
		said++
		if !strings.Contains(body, is) {
			t.Errorf("%s lacks %q", at, is)
		}
		if strings.Contains(body, not) {
			t.Errorf("%s says %q", at, not)
		}
	}
	both := func(at string, check func(at, body, lang, other string)) {
		t.Helper()
		for lang, other := range map[string]string{"de": "en", "en": "de"} {
			join := "?"
			if strings.Contains(at, "?") {
				join = "&"
			}
			at := at + join + "lang=" + lang
			check(at, html.UnescapeString(page(t, srv.URL+at)), lang, other)
		}
	}
	codes := make(map[projections.Code]bool)
	for _, v := range all {
		if len(v.Findings) == 0 || v.Trip != "" && codes[v.Findings[0].Code] { // one page for each kind will do
			continue
		}
		at := "/history?trip=" + url.QueryEscape(v.Trip)
		var lines []projections.HistoryEvent
		if v.Trip == "" {
			at = "/station?name=" + url.QueryEscape(v.Station)
		} else {
			h, err := s.History(t.Context(), site.Query{Trip: v.Trip})
			if err != nil {
				t.Fatal(err)
			}
			lines = h.Events
		}
		both(at, func(at, body, lang, other string) {
			for _, f := range v.Findings {
				codes[f.Code] = true
				holds(at, body, words.Embedded().Finding(lang, &f).Says, words.Embedded().Finding(other, &f).Says)
				holds(at, body, words.Embedded().Finding(lang, &f).Next, words.Embedded().Finding(other, &f).Next)
			}
			for _, e := range lines {
				holds(at, body, words.Embedded().HistoryLine(lang, &e), words.Embedded().HistoryLine(other, &e))
			}
		})
		if v.Trip != "" {
			f := v.Findings[0]
			both("/acknowledge?set="+v.Set+"&trip="+v.Trip+"&code="+string(f.Code), func(at, body, lang, other string) {
				holds(at, body, words.Embedded().Finding(lang, &f).Says, words.Embedded().Finding(other, &f).Says)
			})
		}
	}
	if len(codes) < 10 || said < 200 {
		t.Fatalf("%d sentences of %d codes", said, len(codes))
	}
	for _, v := range all {
		f := v.Findings[0]
		if f.Code != projections.SheetSwapped {
			continue
		}
		both("/incident?key="+f.Incident, func(at, body, lang, other string) { // the board's row says it of the worst of its sets
			holds(at, body, words.Embedded().Finding(lang, &f).Says, words.Embedded().Finding(other, &f).Says)
		})
	}
	both("/history?set=MIN-006&then=2026-03-05+12:00", func(at, body, lang, other string) {
		own := map[string]string{"de": "Die Regelung der Einrichtung entscheidet.", "en": "The facility's own policy decides."}
		holds(at, body, own[lang], own[other])
	})
	both("/station?name=north/or-5", func(at, body, lang, other string) {
		holds(at, body, words.Embedded().Remarks(lang, events.RemarkGap)[0], words.Embedded().Remarks(other, events.RemarkGap)[0])
	})
	_, en := rows(t, srv.URL+"/?format=csv&table=board&lang=en")
	_, de := rows(t, srv.URL+"/?format=csv&table=board&lang=de")
	if len(en) == 0 || len(en) != len(de) {
		t.Fatalf("%d and %d rows", len(en), len(de))
	}
	for i := range en {
		k := slices.IndexFunc(all, func(v projections.Verdict) bool { return v.Trip == de[i][1] })
		if k < 0 {
			t.Fatalf("no verdict of %s", de[i][1])
		}
		n := slices.IndexFunc(all[k].Findings, func(f projections.Finding) bool { return f.Says == en[i][5] })
		if n < 0 {
			t.Errorf("row %d says %q, which was not found", i, en[i][5])
			continue
		}
		f := all[k].Findings[n]
		if de[i][5] != words.Embedded().Finding("de", &f).Says || de[i][6] != words.Embedded().Finding("de", &f).Next ||
			en[i][6] != f.Next {
			t.Errorf("row %d says %q and %q", i, en[i][5:7], de[i][5:7])
		}
	}
}

//go:build !race

package board_test

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/projections/rates"
)

// TestRatesPage: each figure of the report stands in its table, opens the sets behind it,
// and none seen is not a rate of none; in both languages.
func TestRatesPage(t *testing.T) {
	srv, s := weekServer(t)
	r, err := s.Rates(t.Context(), site.RatesQuery{Openings: true})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(page(t, srv.URL+"/"), `href="/rates"`) {
		t.Error("no way leads from the board to the rates")
	}
	groupsOfRates(t, srv.URL, r)
	chartsOfRates(t, srv.URL, r)
	trip := r.Tables[0].Groups[len(r.Tables[0].Groups)-2].Trips[0] // outside
	for lang, says := range map[string][]string{
		"en": {"Wrong or missing lists: how often", "Can&#39;t tell yet.", "none seen", "45.1", "inside, in a paper bag"},
		"de": {"Falsche oder fehlende Listen: wie oft", "Noch nicht zu sagen.", "keines bemerkt", "45,1", "innen, im Papierbeutel"},
	} {
		body := page(t, srv.URL+"/rates?lang="+lang)
		for _, w := range append(says, `href="/history?trip=`+trip.Trip) {
			if !strings.Contains(body, w) {
				t.Errorf("%s: the page lacks %q", lang, w)
			}
		}
	}
	_, all := rows(t, srv.URL+"/rates?format=csv&table=rates-incidents")
	_, none := rows(t, srv.URL+"/rates?format=csv&table=rates-incidents&by=placement&group=nowhere")
	if len(all) != len(r.All.Trips) || len(none) != len(all) {
		t.Errorf("%d sets behind all, %d of a group that there is not, want %d", len(all), len(none), len(r.All.Trips))
	}
	if body := page(t, srv.URL+"/rates?from=2030-01-01"); !strings.Contains(body, "No set was opened in this time.") {
		t.Error("a time without openings has something")
	}
	for _, q := range []string{"from=soon", "from=2026-03-05&to=2026-03-04"} {
		if code, _, _ := get(t, srv.URL+"/rates?"+q); code != http.StatusBadRequest {
			t.Errorf("%s: %d", q, code)
		}
	}
}

// chartsOfRates holds the page's charts against the report: each with all its points beside it.
func chartsOfRates(t *testing.T, base string, r *rates.Report) {
	t.Helper()
	body := page(t, base+"/rates")
	_, signals := rows(t, base+"/rates?format=csv&table=rates-signals")
	if len(signals) != len(r.Watch.Signals) || len(signals) == 0 || signals[0][2] != r.Watch.At[0].Trip {
		t.Errorf("signals %q, want %v", signals, r.Watch.At)
	}
	for id, c := range map[string]*rates.Chart{"gaps": r.Charts.Gaps, "days": r.Charts.Days} {
		_, found := rows(t, base+"/rates?format=csv&table=rates-chart-"+id)
		if c == nil || len(found) != len(c.Points) || len(c.Points) < 5 {
			t.Fatalf("%s: %d rows", id, len(found))
		}
		if n := strings.Count(body, `aria-labelledby="rates-chart-`+id+`-t`); n != 1 {
			t.Errorf("%s: %d pictures", id, n)
		}
		for i, row := range found {
			if signal := len(c.Points[i].Signals) > 0; signal != (row[5] != "") ||
				signal && !slices.ContainsFunc([]string{"Nelson", "Benneyan"}, func(a string) bool { return strings.Contains(row[5], a) }) {
				t.Errorf("%s, point %d: %q", id, i+1, row)
			}
		}
	}
}

// groupsOfRates holds the page's groups against the report, and what lies behind each.
func groupsOfRates(t *testing.T, base string, r *rates.Report) {
	t.Helper()
	body := page(t, base+"/rates")
	for i := range r.Tables {
		x := &r.Tables[i]
		header, found := rows(t, base+"/rates?format=csv&table=rates-"+string(x.By))
		if len(found) != len(x.Groups) || header[3] != "Incidents" {
			t.Fatalf("%s: %d rows under %q", x.By, len(found), header)
		}
		for k, row := range found {
			g := &x.Groups[k]
			if none := g.Incidents == 0; none != (row[4] == "none seen") || row[5] == "" || none && row[5] != "0" || row[6] == "0" {
				t.Errorf("%s %s: %q", x.By, g.Name, row)
			}
			if !strings.Contains(body, strings.ReplaceAll(url.Values{"by": {string(x.By)}, "group": {g.Name}}.Encode(), "&", "&amp;")) {
				t.Errorf("%s %s: nothing leads to its sets", x.By, g.Name)
			}
			if x.By != rates.ByPlacement {
				continue // the others are told apart in the same way
			}
			link := url.Values{"by": {string(x.By)}, "group": {g.Name}}
			_, behind := rows(t, base+"/rates?format=csv&table=rates-incidents&"+link.Encode())
			if len(behind) != len(g.Trips) {
				t.Errorf("%s %s: %d sets behind %d incidents, want %d", x.By, g.Name, len(behind), g.Incidents, len(g.Trips))
			}
			_, all := rows(t, base+"/rates?format=csv&table=rates-openings&"+link.Encode())
			if len(all) != int(g.Openings) {
				t.Errorf("%s %s: %d openings, want %d", x.By, g.Name, len(all), g.Openings)
			}
		}
	}
}

package report_test

import (
	"strings"
	"testing"

	"listbound/cmd/internal/report"
	"listbound/projections/rates"
)

// TestRatesSayNoMore: where no more openings are named it is said why. What would have been told by now, what no number of
// openings tells and what is told at once are three things.
func TestRatesSayNoMore(t *testing.T) {
	rate := 1000.0
	r := &rates.Report{All: rates.Group{Openings: 3}, Tables: []rates.Table{{By: rates.ByList,
		Groups: []rates.Group{
			{Name: "A", Openings: 1, Read: 1, Incidents: 1, Weighed: 1,
				PerThousand: rates.Rates{Rate: &rate, Exact: rates.Interval{Low: 25, High: 1000}}},
			{Name: "B", Openings: 1, Read: 1, Weighed: 1, PerThousand: rates.Rates{Exact: rates.Interval{High: 999.6}}},
		},
		Differences: []rates.Difference{
			{A: "A", B: "B", Told: rates.CantTell, For: rates.Threefold},
			{A: "A", B: "C", Told: rates.CantTell, For: rates.AsSeen},
			{A: "B", B: "C", Told: rates.CantTell},
		}}}}
	var b strings.Builder
	if err := report.Rates(&b, r, rates.ByList); err != nil {
		t.Fatal(err)
	}
	said := strings.Join(strings.Fields(b.String()), " ")
	for pair, want := range map[string]string{
		"A and B": "There were enough openings to tell a threefold rate four times in five, and none was told.",
		"A and C": "Were it as it looks, these openings would have told it four times in five.",
		"B and C": "So small a difference can't be told by any number of openings that a site will see.",
	} {
		_, after, _ := strings.Cut(said, pair+": ")
		if _, after, _ = strings.Cut(after, "). "); !strings.HasPrefix(after, want) {
			t.Errorf("%s: %q, want %q", pair, after, want)
		}
	}
	for _, want := range []string{" 1000 (25 to 1000) ", " none seen; up to 1000 "} {
		if !strings.Contains(said, want) {
			t.Errorf("%q lacks %q", said, want)
		}
	}
}

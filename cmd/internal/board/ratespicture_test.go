//go:build !race

package board

import (
	"strings"
	"testing"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/texts"
	"listbound/projections/rates"
)

// TestChartsSayWhatSignals: a share above the limits is more often, a gap above them less
// often; the rule and who described it are named, the point has a ring and its number,
// and limits step where they do.
func TestChartsSayWhatSignals(t *testing.T) {
	j, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	v := ratesView{words: shell.WordsIn(j, "en"), r: new(rates.Report)}
	shares := rates.P([]rates.Count{{Seen: 10, Of: 100}, {Seen: 40, Of: 400}, {Seen: 30, Of: 100}, {Seen: 8, Of: 100}})
	gaps := rates.G([]int64{9000, 8000, 3, 7000, 9500, 11000}, rates.ByProbability)
	v.r.Charts = rates.Charts{Months: []string{"2026-01", "2026-02", "2026-03", "2026-04"}, Shares: &shares}
	charts := v.charts()
	if len(charts) != 1 || !strings.Contains(string(charts[0].Picture), `r="9.0" fill="none"`) ||
		!strings.Contains(string(charts[0].Picture), ">3</text>") {
		t.Fatalf("%+v", charts)
	}
	row := charts[0].Points.Rows[2]
	if row[1].Text != "2026-03" || row[2].Text != "300" || row[5].Text != "Outside the limits: more often (Nelson 1984, test 1)." {
		t.Errorf("%+v", row)
	}
	if a, b := charts[0].Points.Rows[0][4].Text, charts[0].Points.Rows[1][4].Text; a == b {
		t.Errorf("100 and 400 openings have one limit, %s", a)
	}
	soon := v.points("gaps", &gaps, make([]string, 6), make([]string, 6), false, 1).Rows[2]
	if soon[5].Text != "Outside the limits: more often (Nelson 1984, test 1)." {
		t.Errorf("%+v", soon)
	}
	flipped := v.points("gaps", &gaps, make([]string, 6), make([]string, 6), true, 1).Rows[2]
	if flipped[5].Text != "Outside the limits: less often (Nelson 1984, test 1)." {
		t.Errorf("%+v", flipped)
	}
}

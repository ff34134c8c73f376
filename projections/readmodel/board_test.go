package readmodel

import (
	"slices"
	"testing"

	"listbound/projections"
)

// TestBoardRank: what can still be prevented or put right stands above what is
// over, however bad that was; in each, broken above doubtful; in each, what
// nobody has opened above what is in use; then the more findings.
func TestBoardRank(t *testing.T) {
	v := func(s projections.Status, opened, over bool, findings ...projections.Severity) *projections.Verdict {
		v := &projections.Verdict{Status: s, Opened: opened, Over: over}
		for _, f := range findings {
			v.Findings = append(v.Findings, projections.Finding{Severity: f})
		}
		return v
	}
	const b, d, n = projections.SeverityBroken, projections.SeverityDoubtful, projections.SeverityNoted
	order := []*projections.Verdict{
		v(projections.Broken, false, false, b, b),
		v(projections.Broken, false, false, b, d),
		v(projections.Broken, false, false, b, n),
		v(projections.Broken, true, false, b),
		v(projections.Doubtful, false, false, d, d),
		v(projections.Doubtful, false, false, d),
		v(projections.Doubtful, true, false, d),
		v(projections.Broken, false, true, b),
		v(projections.Broken, true, true, b, b, b),
		v(projections.Doubtful, true, true, d),
	}
	var ranks []int64
	for _, x := range order {
		ranks = append(ranks, boardRank(x))
	}
	for i := 1; i < len(ranks); i++ {
		if ranks[i] <= ranks[i-1] {
			t.Errorf("%+v does not stand below %+v", order[i], order[i-1])
		}
	}
	many := v(projections.Doubtful, true, true)
	for range 5000 {
		many.Findings = append(many.Findings, projections.Finding{Severity: b})
	}
	if r := boardRank(many); r <= ranks[len(ranks)-2] || !slices.IsSorted(ranks) {
		t.Error("many findings lift a trip out of its group")
	}
}

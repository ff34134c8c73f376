package judge

import (
	"testing"

	"listbound/events"
	"listbound/projections"
)

// TestCorrectedInTheCase: a missing piece that only a correction of another set's
// count explains is told of with the set that it is missing from.
func TestCorrectedInTheCase(t *testing.T) {
	for counted, want := range map[int64]string{
		7: "count-short:doubtful corrected:doubtful", // the same badge lets the piece turn up
		6: "count-short:broken",                      // and here it changes nothing for the set
	} {
		s, x := plain()
		y := newTurn("LAP-015", 0, x.list).forCase(x.ref)
		x.final.Counts[0].Counted = 5
		x.closed = nil
		s.live(y)
		f := *s.last(events.KindSetCounted)
		s.live(x)
		c := *y.final
		c.Counts = countAll(x.list)
		c.Counts[0].Counted = counted
		s.correct(&f, clock(1, 12, 0), &c)
		v := judge(t, s.world(), x.key())
		if got := codes(v); got != want {
			t.Errorf("%d: %s, want %s", counted, got, want)
		}
		checkVerdict(t, v)
		for _, f := range find(v, projections.Corrected) {
			if d := f.Detail.(*projections.RestsOnCorrection); d.Set != y.set || len(d.Hides) != 1 || d.Hides[0] != projections.CountShort {
				t.Errorf("%+v", d)
			}
		}
	}
}

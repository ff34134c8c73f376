package judge

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// TestClockAheadLeadsNothing: a scan dated 2199 by a station's clock stands in doubt, and is where the set was when it was
// recorded: what was recorded of the set since is what it was last seen by, and what is waited for since the scan becomes due.
func TestClockAheadLeadsNothing(t *testing.T) {
	recorded, dated := clock(1, 7, 0), time.Date(2199, 1, 1, 8, 0, 0, 0, time.UTC)
	ahead := func(s *story, x *turn) {
		f := s.tell("ster-1", dated, x.set, x.trip(), &events.SetChecked{Place: "Corridor"})
		f.Recorded, f.Remarks = recorded, events.RemarkAhead
	}
	s, x := plain()
	ahead(s, x)
	s.live(x)
	v := judge(t, s.world(), x.key())
	if v.Where != "north/or-3" || !v.Since.Equal(x.finalAt()) {
		t.Errorf("last seen at %s, %s", v.Where, v.Since)
	}
	if v.Status != projections.Doubtful || codes(v) != "clock-doubtful:doubtful" {
		t.Errorf("the clock: %s", show(v))
	}
	trace, err := s.world().Trace(x.key())
	if err != nil {
		t.Fatal(err)
	}
	if last := trace.Stays[len(trace.Stays)-1]; last.Place != "north/or-3" || last.To.Year() == 2199 {
		t.Errorf("the last stay is %+v", last)
	}

	s, x = plain()
	s.upTo(x, 4)
	ahead(s, x)
	v = judge(t, s.world(), x.key())
	if v.Where != "Corridor" || !v.Since.Equal(recorded) {
		t.Errorf("alone: last seen at %s, %s", v.Where, v.Since)
	}
	s.waits(events.Waits{Seen: 72})
	s.now = recorded.Add(90 * 24 * time.Hour)
	for _, f := range judge(t, s.world(), x.key()).Findings {
		if d, ok := f.Detail.(*projections.SeenOverdue); ok && d.Since.At.Equal(recorded) {
			return
		}
	}
	t.Errorf("never overdue: %s", show(judge(t, s.world(), x.key())))
}

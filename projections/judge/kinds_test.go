package judge

import (
	"testing"

	"listbound/events"
	"listbound/projections"
)

// TestEveryKindIsInTheHistory: an event of every kind that is about a set, or
// that names its trip, stands in the history of that trip, whatever it says.
// What a kind means is told in rules; none is swallowed for want of one.
func TestEveryKindIsInTheHistory(t *testing.T) {
	looked := 0
	for _, k := range events.Kinds() {
		info, _ := k.Info()
		if !k.AboutSet() && !k.HoldsTrip() {
			continue
		}
		looked++
		for name, trip := range map[string]string{"trip named": tripOf("LAP-014", 0), "none named": ""} {
			if trip == "" && !k.AboutSet() {
				continue
			}
			s, x := plain()
			s.live(x)
			f := s.tell("north/or-3", clock(1, 8, 0), x.set, trip, info.New())
			want := x.key()
			if k == events.KindSetPacked && trip == "" {
				want.Trip = "" // an own turn, which intake names
				continue
			}
			h, err := s.world().History(projections.HistoryOf{Set: want.Set, Trip: want.Trip})
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for _, e := range h.Events {
				found = found || e.Seq == f.Seq
			}
			if !found {
				t.Errorf("%s, %s: not in the history of its set", k, name)
			}
		}
	}
	if looked < 8 {
		t.Fatalf("%d kinds looked at", looked)
	}
}

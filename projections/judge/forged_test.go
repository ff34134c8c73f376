package judge

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// TestForgedChangesNothing: a correction, an acknowledgement or a policy that its station did not sign is told of, and
// changes nothing of what others said, whether it comes before or after; signed, each does.
func TestForgedChangesNothing(t *testing.T) {
	short := func() (*story, *turn) {
		s, x := plain()
		x.final.Counts[1].Counted, x.run = 1, nil
		s.live(x)
		return s, x
	}
	later := clock(9, 0, 0)
	for _, test := range []struct {
		name string
		tell func(s *story, x *turn)
		// what a signed one changes of the missing piece
		changed func(v projections.Verdict) bool
	}{
		{"a count taken back", func(s *story, _ *turn) { s.correct(s.last(events.KindSetCounted), later, nil) },
			func(v projections.Verdict) bool { return len(find(v, projections.CountShort)) == 0 }},
		{"a count replaced", func(s *story, x *turn) {
			d := *x.final
			d.Counts = slices.Clone(d.Counts)
			d.Counts[1].Counted = 2
			s.correct(s.last(events.KindSetCounted), later, &d)
		}, func(v projections.Verdict) bool { return len(find(v, projections.CountShort)) == 0 }},
		{"a finding acknowledged", func(s *story, x *turn) {
			s.tell("or-3", later, x.set, x.trip(), &events.FindingAcknowledged{Code: string(projections.CountShort), Reason: "seen"})
		}, func(v projections.Verdict) bool {
			fs := find(v, projections.CountShort)
			return len(fs) == 1 && len(fs[0].Acknowledged) == 1
		}},
		{"a policy that asks for no run", func(s *story, _ *turn) {
			s.policy(func(p *events.Policy) {
				p.Links = slices.DeleteFunc(p.Links, func(k events.Kind) bool { return k == events.KindSetSterilized })
			})
		}, func(v projections.Verdict) bool { return len(find(v, projections.LinkMissing)) == 0 }},
	} {
		for _, forged := range []bool{false, true} {
			s, x := short()
			was := judge(t, s.world(), x.key())
			if len(find(was, projections.CountShort)) != 1 || test.changed(was) {
				t.Fatalf("%s: nothing to change: %s", test.name, show(was))
			}
			test.tell(s, x)
			f := &s.all[len(s.all)-1]
			f.Recorded = f.Recorded.Add(time.Second)
			if forged {
				f.Remarks = events.RemarkSignature
			}
			v := judge(t, s.world(), x.key())
			if test.changed(v) == forged {
				t.Errorf("%s, forged %t: %s", test.name, forged, show(v))
			}
			if inTrip := f.Event.Trip != ""; inTrip && (len(find(v, projections.SignatureBad)) > 0) != forged {
				t.Errorf("%s, forged %t, told of: %s", test.name, forged, show(v))
			}
		}
	}
}

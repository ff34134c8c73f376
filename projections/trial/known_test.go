//go:build !race

package trial

import (
	"os"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/simulate"
)

// weeksOf is how many weeks a test over many is of: all where LISTBOUND_WEEKS is set, else a sample.
func weeksOf(all, sample int) int {
	if os.Getenv("LISTBOUND_WEEKS") != "" {
		return all
	}
	return sample
}

// arrived is what came of a week: a world of it all, and a source of which one can ask what was known at a moment.
func arrived(t *testing.T, c simulate.Config, n int) (w *judge.World, all []facts.Fact, end time.Time) {
	t.Helper()
	w = judge.NewWorld(nil)
	for i, rec := range slices.Concat(c.Setup(), c.Week(n).Records) {
		all = append(all, facts.Fact{Seq: int64(i + 1), Recorded: rec.Recorded, Event: rec.Event})
		w.Add(all[i])
		end = facts.Latest(end, rec.Recorded)
	}
	w.SetMoment(end)
	return w, all, end
}

// TestFirstKnownInWeeks: a finding of random weeks is there as known at the moment at which it is said to have been first
// known, and not as known at any moment before at which anything of its set or its case came, nor at others between.
func TestFirstKnownInWeeks(t *testing.T) {
	c := simulate.Drill()
	if os.Getenv("LISTBOUND_WEEKS") == "" {
		c.Sets, c.Cases = 16, 3
	}
	told, moments := 0, 0
	for n := range weeksOf(50, 1) {
		c.Read = []float64{0, 0.25, 0.5, 0.75, 1}[(n+2)%5]
		w, all, end := arrived(t, c, n)
		src := facts.NewMemory(all)
		for _, k := range w.Trips() {
			v, err := w.Judge(k)
			if err != nil {
				t.Fatal(err)
			}
			vs := []projections.Verdict{v}
			if err := judge.TellKnown(src, end, vs); err != nil {
				t.Fatal(err)
			}
			for i := range vs[0].Findings {
				told++
				moments += firstThen(t, src, all, &vs[0], &vs[0].Findings[i])
			}
		}
	}
	if told < 10 {
		t.Errorf("%d findings were tried", told)
	}
	t.Logf("%d findings as known at %d moments", told, moments)
}

// firstThen looks at a finding as known at moments, and returns at how many.
func firstThen(t *testing.T, src facts.Source, all []facts.Fact, v *projections.Verdict, f *projections.Finding) int {
	t.Helper()
	k := projections.TripKey{Set: v.Set, Trip: v.Trip}
	if f.Known.IsZero() {
		t.Fatalf("%+v: %s was never known", k, f.Code)
	}
	at := []time.Time{f.Known, f.Known.Add(-1)}
	const others = 30
	for i, x := range all {
		if x.Recorded.Before(f.Known) && (x.Event.Subject == v.Set || x.Event.Trip == v.Trip ||
			v.Case != "" && events.CaseOf(x.Event.Data) == v.Case || i%max(1, len(all)/others) == 0) {
			at = append(at, x.Recorded)
		}
	}
	for _, moment := range at {
		w := judge.NewWorld(facts.AsKnownAt(src, moment))
		w.SetMoment(moment)
		then, err := w.Judge(k)
		if err != nil {
			t.Fatal(err)
		}
		is := slices.ContainsFunc(then.Findings, func(g projections.Finding) bool { return f.KnownAs(&g) })
		if is != moment.Equal(f.Known) {
			t.Errorf("%+v: %s is first known at %s; as known at %s it is there: %v", k, f.Code, f.Known, moment, is)
		}
	}
	return len(at)
}

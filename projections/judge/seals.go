package judge

import (
	"slices"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
)

func sealRules() []Rule {
	return []Rule{
		{"seals", []projections.Code{projections.SealDiffers}, (*judgement).seals},
		{"lock on two", []projections.Code{projections.SealDiffers}, (*judgement).lockTwice},
	}
}

// seals compares the seal numbers read with those recorded.
func (j *judgement) seals() {
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if !r.SealBroken && len(r.Seals) == 0 {
			continue
		}
		var want []string
		if s := facts.SealOf(r.Seal); s != nil {
			want = s.Seals
		}
		var gone, strange []string
		if len(r.Seals) > 0 { // none given: nobody read them
			gone, strange = lacking(want, r.Seals), lacking(r.Seals, want)
		}
		if !r.SealBroken && len(gone) == 0 && len(strange) == 0 {
			continue
		}
		// Other numbers may be a slip in reading them; a broken seal is a fact.
		sev := projections.SeverityDoubtful
		if r.SealBroken {
			sev = projections.SeverityBroken
		}
		f := j.add(projections.SealDiffers, sev, &projections.SealsDiffer{
			Set: j.c.Key.Set, At: moment(r.It), Broken: r.SealBroken, Gone: gone, Strange: strange,
		}, r.It, r.Seal)
		f.To = r.It.At()
		if r.Seal != nil {
			f.From = r.Seal.At()
		}
	}
}

// lacking returns what of a is not in b.
func lacking(a, b []string) []string {
	var out []string
	for _, s := range a {
		if !slices.Contains(b, s) {
			out = append(out, s)
		}
	}
	return out
}

// lockTwice finds a lock whose number is recorded of two sets that were closed at the same time: it was read off the other
// container, or one of the two has no lock that anybody knows.
func (j *judgement) lockTwice() {
	var told []string
	for _, s := range j.c.Sealed {
		for _, lock := range facts.SealOf(s).Seals {
			for _, o := range j.w.LocksOf(lock) {
				k := j.w.TripOfItem(o)
				if k.Set == j.c.Key.Set || k.Trip == "" || slices.Contains(told, lock+" "+k.Set) || !j.closedTogether(s, o, lock) {
					continue
				}
				told = append(told, lock+" "+k.Set)
				f := j.add(projections.SealDiffers, projections.SeverityDoubtful, &projections.LockTwice{Set: j.c.Key.Set, Lock: lock,
					At: moment(s), OtherSet: k.Set, OtherAt: moment(o)}, s, o)
				f.From, f.To = facts.Earliest(s.At(), o.At()), facts.Latest(s.At(), o.At())
				f.Other = &projections.TripKey{Set: k.Set, Trip: k.Trip}
			}
		}
	}
}

// closedTogether reports whether two sets were closed with a lock of one number at one time, by more than the clocks may differ.
func (j *judgement) closedTogether(s, o *facts.Item, lock string) bool {
	limit := facts.Seconds(j.w.PolicyFor(s).ClockToleranceSeconds)
	own := closedUntil(j.c, s, lock)
	if !own.IsZero() && own.Sub(o.At()) <= limit {
		return false
	}
	other := closedUntil(j.w.Trip(j.w.TripOfItem(o)), o, lock)
	return other.IsZero() || other.Sub(s.At()) > limit
}

// closedUntil is when a set was opened, packed or closed with other locks after it was closed with a lock; zero for not yet.
func closedUntil(c *facts.Trip, s *facts.Item, lock string) (until time.Time) {
	end := func(it *facts.Item) {
		if s.Less(it) && (until.IsZero() || it.At().Before(until)) {
			until = it.At()
		}
	}
	for _, it := range c.Opened {
		end(it)
	}
	for _, it := range c.Sealed {
		if !slices.Contains(facts.SealOf(it).Seals, lock) {
			end(it)
		}
	}
	if c.Next != nil {
		end(c.Next)
	}
	return until
}

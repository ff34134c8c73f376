package facts

import (
	"slices"
	"testing"
	"time"

	"listbound/events"
)

// TestStretch: what was returned around one moment answers for another where it has the packings nearest to that one, and does
// where it has all there are.
func TestStretch(t *testing.T) {
	const all = 9
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	at := func(half int) time.Time { return day.Add(time.Duration(half) * 30 * time.Minute) } // packings are at even ones
	around := func(half, n int) (out []Fact) {
		first := max(0, half/2+1-n)
		for i := first; i < min(all, half/2+1+n); i++ {
			out = append(out, Fact{Seq: int64(i), Event: &events.Event{Subject: "LAP-1", Trip: "t", Time: at(2 * i), Data: &events.SetPacked{}}})
		}
		return out
	}
	has, more := 0, 0
	for from := range 2 * all {
		for wide := 1; wide <= all+1; wide++ {
			s := NewStretch(around(from, wide), "LAP-1", at(from), wide)
			if !s.Has(at(from), wide) {
				t.Fatalf("%d around %d aren't in what was returned for that", wide, from)
			}
			for half := range 2 * all {
				for n := 1; n <= all; n++ {
					near := !slices.ContainsFunc(around(half, n), func(f Fact) bool {
						return !slices.ContainsFunc(s.Facts, func(g Fact) bool { return g.Seq == f.Seq })
					})
					if s.Has(at(half), n) {
						has++
						if !near {
							t.Fatalf("%d around %d are said to be in what was returned for %d around %d", n, half, wide, from)
						}
					} else if near && wide > all {
						more++
					}
				}
			}
		}
	}
	if has < 1000 || more > 0 {
		t.Errorf("%d were there, %d others were all the same", has, more)
	}
	if s := NewStretch(around(0, 1), "LAP-1", time.Time{}, 1); !s.Has(time.Time{}, 1) {
		t.Error("there is something before all times")
	}
}

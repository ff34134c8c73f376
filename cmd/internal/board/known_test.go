//go:build !race

package board_test

import (
	"errors"
	"os"
	"slices"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections"
)

// TestFirstKnownOfTheWeek: a finding of the demo's week is in the history as known at the moment at which it is said to have
// been first known, and in none as known before. All of them where LISTBOUND_WEEKS is set, else a sample.
func TestFirstKnownOfTheWeek(t *testing.T) {
	_, s := weekServer(t)
	vs, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	each := 9
	before := []time.Duration{0, 1, time.Hour}
	if os.Getenv("LISTBOUND_WEEKS") != "" {
		each = 1
		before = append(before, time.Second, time.Minute, 10*time.Minute, 4*time.Hour, 24*time.Hour, 48*time.Hour)
	}
	told := 0
	for i := range vs {
		v := &vs[i]
		if v.Trip == "" || i%each != 0 {
			continue
		}
		for _, f := range v.Findings {
			told++
			for _, d := range before {
				if is := knownAt(t, s, v, &f, f.Known.Add(-d)); is != (d == 0) {
					t.Errorf("%s: %s is first known at %s; %s before it is there: %v", v.Set, f.Code, f.Known, d, is)
				}
			}
		}
	}
	if told < 3 {
		t.Errorf("%d findings were tried", told)
	}
	t.Logf("%d findings", told)
}

// knownAt reports whether a turn's history as known at a moment has a finding.
func knownAt(t *testing.T, s *site.Site, v *projections.Verdict, f *projections.Finding, at time.Time) bool {
	t.Helper()
	h, err := s.History(t.Context(), site.Query{Set: v.Set, Trip: v.Trip, AsOf: at})
	if errors.Is(err, site.ErrNotFound) {
		return false
	}
	if err != nil {
		t.Fatal(err)
	}
	return slices.ContainsFunc(h.Verdicts, func(then projections.Verdict) bool {
		return then.Set == v.Set && then.Trip == v.Trip &&
			slices.ContainsFunc(then.Findings, func(g projections.Finding) bool { return f.KnownAs(&g) })
	})
}

//go:build !race

package site_test

import (
	"slices"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/assess"
)

// TestPlacementsAdopted: an assessment goes by the policy that changed last where count sheets travel, not by one adopted since that
// leaves that as it is; and what is signed of it has no sets in it.
func TestPlacementsAdopted(t *testing.T) {
	now := noon
	s := open(t, t.TempDir(), site.Options{Name: "north", Clock: func() time.Time { return now }})
	adopt := func(at time.Time, places ...events.Placement) {
		t.Helper()
		now = at
		p := events.DefaultPolicy()
		p.Placements, p.ShelfLifeDays = places, at.Unix()%3000
		line, err := events.FormatObservation(&events.Observation{Station: "north/ledger", Kind: events.KindPolicyAdopted, Time: at,
			Data: &events.PolicyAdopted{Policy: p}})
		if err != nil {
			t.Fatal(err)
		}
		if r := record(t, s, string(line)+"\n"); r[0].Error != "" {
			t.Fatal(r[0].Error)
		}
	}
	adopted := func() *assess.Adopted {
		t.Helper()
		a, err := s.Assess(t.Context(), site.AssessQuery{Choices: assess.Choices{Placements: assess.Placements(),
			Dependence: assess.DependenceHigh}, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := site.AssessmentDocument(a); err != nil {
			t.Error(err)
		}
		return a.Ledger.Adopted
	}
	adopt(noon.Add(-5 * time.Hour))
	if a := adopted(); a != nil {
		t.Errorf("nothing is said of places: %+v", a)
	}
	adopt(noon.Add(-4*time.Hour), events.Outside)
	adopt(noon.Add(-3*time.Hour), events.InsideBag, events.Screen)
	adopt(noon.Add(-2*time.Hour), events.Screen, events.InsideBag)
	a := adopted()
	if a == nil || !a.At.Equal(noon.Add(-3*time.Hour)) || a.Halves != nil ||
		!slices.Equal(a.Placements, []events.Placement{events.InsideBag, events.Screen}) ||
		!slices.Equal(a.Was, []events.Placement{events.Outside}) {
		t.Errorf("%+v", a)
	}
	adopt(noon.Add(-time.Hour))
	if a := adopted(); a == nil || len(a.Placements) != 0 || !a.At.Equal(noon.Add(-time.Hour)) {
		t.Errorf("anywhere again: %+v", a)
	}
}

//go:build !race

package site_test

import (
	"strings"
	"testing"

	"listbound/cmd/internal/site"
)

// TestZoneStaysInTheFolder: zone and unit of weight are said once and hold at the
// next start; a folder without them is in UTC and kilograms.
func TestZoneStaysInTheFolder(t *testing.T) {
	dir := t.TempDir()
	for _, tt := range []struct {
		zone, weight   string
		where, measure string
	}{
		{"", "", "UTC", "kg"}, {"Europe/Berlin", "", "Europe/Berlin", "kg"}, {"", "lb", "Europe/Berlin", "lb"},
		{"", "", "Europe/Berlin", "lb"}, {"America/Chicago", "kg", "America/Chicago", "kg"},
	} {
		s := open(t, dir, site.Options{EnrolOnSight: true, Zone: tt.zone, Weight: tt.weight})
		if got := s.Zone().String(); got != tt.where || s.WeightUnit() != tt.measure {
			t.Errorf("%q, %q: %s, %s", tt.zone, tt.weight, got, s.WeightUnit())
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestZoneRefuses(t *testing.T) {
	for says, o := range map[string]site.Options{
		`the zone "Mars/Olympus" is not known`: {Zone: "Mars/Olympus"}, "not Local": {Zone: "Local"},
		`kg or lb, not "stone"`: {Weight: "stone"},
	} {
		o.Dir, o.Clock, o.Name = t.TempDir(), fixed(noon), "north"
		if s, err := site.Open(t.Context(), o); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v, %v", o, s, err)
		}
	}
}

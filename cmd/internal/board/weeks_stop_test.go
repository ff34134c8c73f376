//go:build !race

package board

import (
	"testing"
	"time"

	"listbound/projections"
)

// TestFirstKnownBroken: a set is not to be used from when a broken finding of it was known, however long it was in doubt
// before by another.
func TestFirstKnownBroken(t *testing.T) {
	day := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	found := []projections.Finding{
		{Severity: projections.SeverityDoubtful, Known: day, KnownBy: 3},
		{Severity: projections.SeverityBroken, Known: day.Add(50 * time.Hour), KnownBy: 9},
		{Severity: projections.SeverityBroken, Known: day.Add(60 * time.Hour), KnownBy: 12},
		{Severity: projections.SeverityBroken}, // of which nobody can say since when
	}
	if at, by := firstKnown(found, projections.SeverityBroken); !at.Equal(day.Add(50*time.Hour)) || by != 9 {
		t.Errorf("broken from %v, record %d", at, by)
	}
	if at, by := firstKnown(found, ""); !at.Equal(day) || by != 3 {
		t.Errorf("known from %v, record %d", at, by)
	}
}

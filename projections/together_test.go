package projections_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/projections"
)

// TestRows: each row stands at the place of its first verdict, in the order given,
// and every verdict is in one.
func TestRows(t *testing.T) {
	or3 := &projections.Together{Room: "north/or-3", Week: "2026-03-02"}
	again := *or3
	later := &projections.Together{Room: "north/or-3", Week: "2026-03-09"}
	or4 := &projections.Together{Room: "north/or-4", Week: "2026-03-02"}
	vs := []projections.Verdict{{Set: "A"}, {Set: "B", Together: or3}, {Set: "C"}, {Set: "D", Together: later},
		{Set: "E", Together: &again}, {Set: "F", Together: or4}, {Set: "G", Together: or3}}
	var got []string
	for _, row := range projections.Rows(vs) {
		var sets []string
		for _, v := range row {
			sets = append(sets, v.Set)
		}
		got = append(got, strings.Join(sets, ""))
	}
	if want := []string{"A", "BEG", "C", "D", "F"}; !slices.Equal(got, want) {
		t.Errorf("rows %q, want %q", got, want)
	}
}

// TestWeekOf: a week begins with Monday in UTC, wherever the clock stood.
func TestWeekOf(t *testing.T) {
	east := time.FixedZone("", 2*3600)
	for at, want := range map[time.Time]string{
		time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC):         "2026-03-02", // a Monday
		time.Date(2026, 3, 8, 23, 59, 59, 0, time.UTC):      "2026-03-02",
		time.Date(2026, 3, 9, 1, 0, 0, 0, east):             "2026-03-02",
		time.Date(2026, 3, 9, 2, 0, 0, 0, east):             "2026-03-09",
		time.Date(2025, 12, 31, 12, 0, 0, 0, time.UTC):      "2025-12-29",
		time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC):        "2025-12-29",
		time.Date(2028, 2, 29, 12, 0, 0, 0, time.UTC):       "2028-02-28",
		time.Date(2026, 11, 29, 23, 0, 0, 999, time.UTC):    "2026-11-23",
		time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC):       "2026-11-30",
		time.Date(2026, 3, 4, 12, 0, 0, 123456, time.UTC):   "2026-03-02",
		time.Date(2026, 3, 7, 12, 0, 0, 123456, time.UTC):   "2026-03-02",
		time.Date(2026, 3, 8, 0, 0, 0, 0, time.UTC):         "2026-03-02",
		time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC).Add(-1): "2026-03-02",
	} {
		if got := projections.WeekOf(at); got != want {
			t.Errorf("%s is in the week of %s, want %s", at, got, want)
		}
	}
}

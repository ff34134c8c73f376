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

// TestAboutRoom: what weighs is only how a room counts, and the case is over.
func TestAboutRoom(t *testing.T) {
	doubtful := func(fs ...projections.Finding) projections.Verdict {
		return projections.Verdict{Status: projections.Doubtful, Opened: true, Over: true, Findings: fs}
	}
	alone := projections.Finding{Code: projections.CountOnePerson, Severity: projections.SeverityDoubtful,
		Detail: &projections.NoSecondPerson{}}
	stages := projections.Finding{Code: projections.CountMissing, Severity: projections.SeverityDoubtful,
		Detail: &projections.StagesMissing{}}
	lines := projections.Finding{Code: projections.CountMissing, Severity: projections.SeverityDoubtful,
		Detail: &projections.LinesUncounted{}}
	short := projections.Finding{Code: projections.CountShort, Severity: projections.SeverityDoubtful,
		Detail: &projections.Midway{}}
	noted := short
	noted.Severity = projections.SeverityNoted
	unopened, running, broken := doubtful(alone), doubtful(alone), doubtful(alone)
	unopened.Opened, running.Over, broken.Status = false, false, projections.Broken
	for name, x := range map[string]struct {
		v    projections.Verdict
		want bool
	}{
		"counted alone":                     {doubtful(alone), true},
		"a stage that nobody recorded":      {doubtful(stages), true},
		"both, and something noted":         {doubtful(alone, noted, stages), true},
		"lines left out":                    {doubtful(alone, lines), false},
		"short as well":                     {doubtful(short, alone), false},
		"not opened":                        {unopened, false},
		"the case runs, and may be counted": {running, false},
		"broken":                            {broken, false},
	} {
		if got := projections.AboutRoom(&x.v); got != x.want {
			t.Errorf("%s: about a room %v, want %v", name, got, x.want)
		}
	}
}

// TestDetailsTell: what sentences ask a detail beyond its members.
func TestDetailsTell(t *testing.T) {
	early := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	late := early.Add(time.Hour)
	for _, s := range []projections.SeenBoth{{At: early, OtherAt: late}, {At: late, OtherAt: early}} {
		if !s.First().Equal(early) || !s.Last().Equal(late) {
			t.Errorf("%+v: first %s, last %s", s, s.First(), s.Last())
		}
	}
	if d := (&projections.UsedAgain{FirstCase: "K-1", SecondCase: "K-2"}); !d.TwoCases() {
		t.Error("K-1 and K-2 are not two cases")
	}
	if d := (&projections.UsedAgain{FirstCase: "K-1", SecondCase: "K-1"}); d.TwoCases() {
		t.Error("K-1 and K-1 are two cases")
	}
	for badges, alone := range map[[2]string]bool{
		{"B-1", "B-2"}: false, {"B-1", "b-1"}: true, {"", "B-2"}: true, {"B-1", ""}: true, {"", ""}: true,
	} {
		if d := (&projections.RestsOnCorrection{First: badges[0], By: badges[1]}); d.Alone() != alone {
			t.Errorf("badges %q: alone %v, want %v", badges, d.Alone(), alone)
		}
	}
}

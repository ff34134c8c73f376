package report_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/report"
	"listbound/projections"
)

// TestTogether: sets that stand together are one row with each of them named, and
// what is usually done stands in it once.
func TestTogether(t *testing.T) {
	alone := func(set, ref string, g *projections.Together) projections.Verdict {
		return projections.Verdict{Set: set, Trip: "trip of " + set, Case: ref, Status: projections.Doubtful, Opened: true,
			Over: true, Together: g, Findings: []projections.Finding{{
				Code: projections.CountOnePerson, Severity: projections.SeverityDoubtful, Events: []int64{7},
				Says: set + " was counted by one person.", Next: "Two count.",
				Acknowledged: []projections.Acknowledgement{{By: "B-1", Reason: "asked " + set, Time: time.Unix(0, 0), Seq: 9}},
			}}}
	}
	or3 := &projections.Together{Room: "north/or-3", Week: "2026-03-02"}
	var b strings.Builder
	if err := report.Broken(&b, []projections.Verdict{alone("A", "K-1", or3), alone("B", "K-2", nil), alone("C", "K-3", or3)}); err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(b.String(), "\n\n")
	if len(rows) != 3 { // and the caution
		t.Fatalf("%d rows: %s", len(rows)-1, b.String())
	}
	for _, want := range []string{
		"[?] doubtful 2 sets opened at north/or-3, week from Monday 2026-03-02\n",
		"set A, case K-1, trip trip of A\n", "set C, case K-3, trip trip of C\n", "A was counted by one person.",
		"C was counted by one person.", "count-one-person (doubtful), records 7", "asked A", "asked C",
	} {
		if !strings.Contains(rows[0], want) {
			t.Errorf("the row lacks %q: %s", want, rows[0])
		}
	}
	if n := strings.Count(rows[0], "Next: Two count."); n != 1 {
		t.Errorf("what is usually done stands in the row %d times", n)
	}
	if !strings.Contains(rows[1], "set B, case K-2") {
		t.Errorf("the second row is %s", rows[1])
	}
}

// TestHistoryNamesOtherSets: what is of another set than asked for names it; of a
// case, all that is of a set does.
func TestHistoryNamesOtherSets(t *testing.T) {
	all := []projections.HistoryEvent{
		{Seq: 1, Set: "A", Says: "packed"}, {Seq: 2, Set: "B", Says: "opened for case K-1"}, {Seq: 3, Says: "case closed"},
	}
	for of, want := range map[*projections.History][]string{
		{Set: "A", Events: all}:    {"  packed\n", "  B: opened for case K-1\n", "  case closed\n"},
		{Case: "K-1", Events: all}: {"  A: packed\n", "  B: opened for case K-1\n", "  case closed\n"},
	} {
		var b strings.Builder
		if err := report.History(&b, of); err != nil {
			t.Fatal(err)
		}
		for _, says := range want {
			if !strings.Contains(b.String(), says) {
				t.Errorf("%q is not in:\n%s", says, b.String())
			}
		}
	}
}

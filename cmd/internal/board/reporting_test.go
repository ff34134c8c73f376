//go:build !race

package board_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/projections"
)

// reportingCopy writes the week's copy, and returns a way of asking it with SQLite's own client.
func reportingCopy(t *testing.T, s *site.Site) func(q string) []map[string]any {
	t.Helper()
	var raw bytes.Buffer
	var last, all int64
	if err := s.ReportingCopy(t.Context(), &raw, time.Time{}, func(done, total int64) { last, all = done, total }); err != nil {
		t.Fatal(err)
	}
	if last != all || all < 250 {
		t.Errorf("%d of %d turns written", last, all)
	}
	file := filepath.Join(t.TempDir(), "a copy #1?.sqlite")
	if err := os.WriteFile(file, raw.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return func(q string) (out []map[string]any) {
		t.Helper()
		got, err := exec.CommandContext(t.Context(), "sqlite3", "-readonly", "-json", file, q).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s in\n%s", err, got, q)
		}
		if len(bytes.TrimSpace(got)) > 0 {
			if err := json.Unmarshal(got, &out); err != nil {
				t.Fatalf("%v in %s", err, got)
			}
		}
		return out
	}
}

// TestReportingCopy: SQLite's own client finds in the copy what the program itself says.
func TestReportingCopy(t *testing.T) {
	_, s := weekServer(t)
	ask := reportingCopy(t, s)
	t.Run("turns and findings", func(t *testing.T) { holdTurns(t, s, ask) })
	t.Run("rates", func(t *testing.T) { holdRates(t, s, ask) })
	t.Run("described", func(t *testing.T) { holdDescription(t, ask) })
	one := func(q string) any {
		t.Helper()
		for _, v := range ask(q)[0] {
			return v
		}
		return nil
	}
	for q, want := range map[string]float64{
		// As the week's observations have it: badges that only counted, lines that differed, loads with a positive indicator.
		`SELECT count(*) FROM work_by_badge WHERE badge = 'B-3342' AND role = 'counter' AND kind = 'set.counted'`: 21,
		`SELECT count(*) FROM differing_lines d JOIN counts c USING (seq) WHERE c.set_id = 'LAP-004' AND c.case_ref = 'K-0409'
			AND d.line = 21 AND d.listed = 10 AND d.counted = 9`: 2,
		// When each finding was first known, before or after its set was opened.
		`SELECT count(*) FROM first_known WHERE (known IS NULL) + (known_local IS NULL) > 0`:        0,
		`SELECT count(*) FROM first_known WHERE code = 'tag-unread' AND minutes_before_opening > 0`: 0,
		`SELECT count(*) FROM first_known WHERE set_id = 'MIN-006' AND code = 'sheet-in-doubt' AND known_by = 2135
			AND known = '2026-03-06 10:33:22'`: 1,
		`SELECT count(*) FROM loads WHERE indicator = 'positive'`:                                                 3,
		`SELECT count(*) FROM cases WHERE outcome = 'unreconciled'`:                                               2,
		`SELECT count(*) FROM corrections WHERE action = 'void'`:                                                  1,
		`SELECT count(*) FROM records WHERE in_force = 0`:                                                         1,
		`SELECT count(*) = max(seq) FROM records`:                                                                 1,
		`SELECT count(*) FROM turns WHERE placement IS NULL AND sealed IS NOT NULL`:                               0,
		`SELECT count(*) FROM turns t LEFT JOIN loads l USING (load) WHERE t.load IS NOT NULL AND l.load IS NULL`: 0,
	} {
		if got := one(q); got != want {
			t.Errorf("%s: %v, wanted %v", q, got, want)
		}
	}
}

// holdTurns holds statuses and findings against the read model's own.
func holdTurns(t *testing.T, s *site.Site, ask func(string) []map[string]any) {
	all, err := site.Answer(s, func(v *site.View) ([]projections.Verdict, error) { return v.Verdicts(t.Context()) })
	if err != nil {
		t.Fatal(err)
	}
	want := make(map[string]string)
	for _, v := range all {
		codes := make([]string, len(v.Findings))
		for i, f := range v.Findings {
			codes[i] = string(f.Code)
		}
		want[v.Set+" "+v.Trip] = string(v.Status) + " " + strings.Join(codes, " ")
	}
	rows := ask(`SELECT t.set_id || ' ' || t.turn AS k, t.status || ' ' || coalesce((SELECT group_concat(code, ' ')
		FROM (SELECT code FROM findings f WHERE f.set_id = t.set_id AND f.turn = t.turn ORDER BY n)), '') AS v FROM turns t`)
	if len(rows) != len(want) {
		t.Fatalf("%d turns, the program has %d", len(rows), len(want))
	}
	for _, r := range rows {
		if got := r["v"].(string); got != want[r["k"].(string)] {
			t.Errorf("%s is %q, the program says %q", r["k"], got, want[r["k"].(string)])
		}
	}
}

// holdRates holds the view by placement against the rates of the program.
func holdRates(t *testing.T, s *site.Site, ask func(string) []map[string]any) {
	r, err := s.Rates(t.Context(), site.RatesQuery{})
	if err != nil {
		t.Fatal(err)
	}
	var want, got []string
	unread := false
	for _, g := range r.Tables[0].Groups {
		rate := "none seen"
		if x := g.PerThousand.Rate; x != nil {
			rate = fmt.Sprintf("%.2f", *x)
		}
		unread = unread || g.Read < g.Openings && g.Incidents > 0
		want = append(want, fmt.Sprint(g.Name, " ", g.Openings, " ", g.Read, " ", g.Incidents, " ", g.Weighed, " ", rate))
	}
	for _, x := range ask(`SELECT placement, openings AS o, sheets_read AS s, incidents AS i, weighed AS w,
		iif(per_thousand IS NULL, 'none seen', printf('%.2f', per_thousand)) AS r
		FROM monthly_by_placement ORDER BY 2 DESC`) { // the week is of one month
		got = append(got, fmt.Sprint(x["placement"], " ", x["o"], " ", x["s"], " ", x["i"], " ", x["w"], " ", x["r"]))
	}
	for _, w := range want {
		if !strings.Contains(strings.Join(got, "\n")+"\n", w+"\n") {
			t.Errorf("rates have %q, the copy %q", w, got)
		}
	}
	if len(want) < 4 || len(got) != len(want) || !unread {
		t.Errorf("%d placements, the copy has %d; one with incidents has openings that nobody read: %v", len(want), len(got), unread)
	}
}

// holdDescription: TABLES.md names every table, view and column there is, and its questions have answers.
func holdDescription(t *testing.T, ask func(string) []map[string]any) {
	raw, err := os.ReadFile(filepath.Join(browsertest.Root(t), "projections", "reporting", "TABLES.md"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(raw)
	columns := ask(`SELECT m.name AS t, p.name AS c FROM sqlite_master m JOIN pragma_table_info(m.name) p WHERE m.type IN ('table', 'view')`)
	if len(columns) < 100 {
		t.Fatalf("%d columns", len(columns))
	}
	for _, c := range columns {
		row := regexp.MustCompile("(?m)^\\| `" + c["t"].(string) + "` \\|.*$").FindString(text)
		if !strings.Contains(row, "`"+c["c"].(string)+"`") {
			t.Errorf("column %s of %s is not described", c["c"], c["t"])
		}
	}
	questions := regexp.MustCompile("(?s)```sql\n(.*?)```").FindAllStringSubmatch(text, -1)
	if len(questions) != 6 {
		t.Fatalf("%d questions", len(questions))
	}
	for _, q := range questions {
		if len(ask(q[1])) == 0 {
			t.Errorf("no answer in the week to\n%s", q[1])
		}
	}
}

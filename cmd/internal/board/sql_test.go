//go:build !race

package board_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	_ "modernc.org/sqlite" // reads the tables as anybody with a SQLite client may

	"listbound/cmd/internal/browsertest"
	"listbound/projections"
)

// sqlRows runs one query on the week's read model, read-only.
func sqlRows(t *testing.T, q string) (columns []string, out [][]any) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(week.dir, "readmodel.db")+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rs, err := db.QueryContext(t.Context(), q)
	if err != nil {
		t.Fatalf("%v in\n%s", err, q)
	}
	defer rs.Close()
	if columns, err = rs.Columns(); err != nil {
		t.Fatal(err)
	}
	for rs.Next() {
		row, at := make([]any, len(columns)), make([]any, len(columns))
		for i := range row {
			at[i] = &row[i]
		}
		if err := rs.Scan(at...); err != nil {
			t.Fatal(err)
		}
		out = append(out, row)
	}
	if err := rs.Err(); err != nil {
		t.Fatal(err)
	}
	return columns, out
}

// TestAskingInSQL runs the worked questions of SQL.md on the week and holds
// their answers against what the program itself says.
func TestAskingInSQL(t *testing.T) {
	srv, s := weekServer(t)
	raw, err := os.ReadFile(filepath.Join(browsertest.Root(t), "projections", "readmodel", "SQL.md"))
	if err != nil {
		t.Fatal(err)
	}
	var questions []string
	for _, m := range regexp.MustCompile("(?s)```sql\n(.*?)```").FindAllStringSubmatch(string(raw), -1) {
		questions = append(questions, m[1])
	}
	if len(questions) != 5 {
		t.Fatalf("%d questions in SQL.md", len(questions))
	}
	answers := make([][][]any, len(questions))
	for i, q := range questions {
		if _, answers[i] = sqlRows(t, q); len(answers[i]) == 0 {
			t.Errorf("question %d has no answer in the week", i+1)
		}
	}
	column := func(q, c int) []string {
		var out []string
		for _, r := range answers[q] {
			s, ok := r[c].(string)
			if !ok {
				t.Fatalf("question %d: column %d is %T", q+1, c, r[c])
			}
			out = append(out, s)
		}
		return out
	}
	_, unopened := rows(t, srv.URL+"/?format=csv&table=board")
	var want []string
	for _, r := range unopened {
		if r[3] == "Not opened yet" {
			want = append(want, r[0])
		}
	}
	if got := column(0, 0); !slices.Equal(got, want) {
		t.Errorf("not opened: %q, the board says %q", got, want)
	}
	all, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	swapped, recalled := make(map[string]bool), make(map[string]bool)
	for _, v := range all {
		for _, f := range v.Findings {
			switch f.Code {
			case projections.SheetSwapped:
				swapped[v.Set] = true
			case projections.LoadRecalled:
				recalled[v.Set] = true
			}
		}
	}
	for set := range swapped {
		if !slices.Contains(column(2, 1), set) {
			t.Errorf("%s was found with another's sheet; SQL does not say so", set)
		}
	}
	got := column(3, 1)
	slices.Sort(got)
	for set := range recalled {
		if !slices.Contains(got, set) {
			t.Errorf("%s is recalled; SQL does not say so: %q", set, got)
		}
	}
	if len(swapped) < 4 || len(recalled) < 3 {
		t.Fatalf("the week has %d swapped and %d recalled", len(swapped), len(recalled))
	}
	// The documentation names every table and column there is, and none that is not.
	text := string(raw)
	_, tables := sqlRows(t, `SELECT m.name, p.name FROM sqlite_master m JOIN pragma_table_info(m.name) p WHERE m.type = 'table'`)
	if len(tables) < 40 {
		t.Fatalf("%d columns", len(tables))
	}
	for _, r := range tables {
		table, col := r[0].(string), r[1].(string)
		row := regexp.MustCompile("(?m)^\\| `" + table + "` \\|.*$").FindString(text)
		if row == "" {
			t.Errorf("table %s is not described", table)
		} else if !strings.Contains(row, "`"+col+"`") && table != "meta" {
			t.Errorf("column %s of %s is not described", col, table)
		}
	}
	// And nobody can write.
	db, err := sql.Open("sqlite", "file:"+filepath.Join(week.dir, "readmodel.db")+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(t.Context(), `DELETE FROM events`); err == nil {
		t.Error("a read-only client could delete")
	}
}

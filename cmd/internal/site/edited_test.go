//go:build !race

package site_test

import (
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
)

// edits are what a hand in the read model may do, and the table that verify must name.
var edits = []struct{ table, statement string }{
	{"trips", "UPDATE trips SET status = 'whole'"},
	{"trips", "DELETE FROM trips"},
	{"trips", "UPDATE trips SET verdict = replace(CAST(verdict AS TEXT), 'broken', 'noted')"},
	{"trips", "UPDATE trips SET case_ref = 'K-9'"},
	{"findings", "DELETE FROM findings"},
	{"findings", "UPDATE findings SET severity = 'noted'"},
	{"findings", "UPDATE findings SET says = 'Nothing was wrong.'"},
	{"openings", "UPDATE openings SET read = 1 - read"},
	{"board", "DELETE FROM board"},
	{"board", "UPDATE board SET seen = 1"},
	{"events", "DELETE FROM events WHERE seq = 3"},
	{"events", "UPDATE events SET trip = NULL WHERE trip IS NOT NULL"},
	{"events", "INSERT INTO events (seq, id, kind, station, subject, observed, recorded, remarks) " +
		"VALUES (999, x'00', 'set.checked', 'north/or-3', 'LAP-001', 0, 0, 0)"},
	{"events", "UPDATE events SET operator = 'B-9' WHERE operator IS NOT NULL"},
	{"stations", "UPDATE stations SET count = count + 1"},
	{"stations", "UPDATE stations SET retired = 0, key = ''"},
	{"marks", "DELETE FROM marks"},
	{"spans", "DELETE FROM spans"},
	{"rests_on", "DELETE FROM rests_on"},
	{"sqlite_master", "CREATE TRIGGER quiet BEFORE INSERT ON board BEGIN SELECT RAISE(IGNORE); END"},
}

// Rows that somebody changed by hand are named by verify, whichever they are, and a rebuild mends them. Without a change
// verify finds nothing, also while records come.
func TestVerifyHoldsTheReadModel(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t)[:450], "\n")+"\n")
	mustVerify(t, s, "")
	for _, e := range edits {
		edit(t, dir, e.statement)
		mustVerify(t, s, "readmodel.db: table "+e.table)
		if _, err := s.Rebuild(t.Context(), nil); err != nil {
			t.Fatalf("rebuild after %s: %v", e.statement, err)
		}
		if found, err := s.CheckModel(t.Context()); err != nil || len(found) > 0 { // the records are as they were
			t.Errorf("rebuilt after %s: %v, %v", e.statement, found, err)
		}
	}
	mustVerify(t, s, "")
	left, err := filepath.Glob(filepath.Join(dir, "checking-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %q, %v", left, err)
	}
}

// TestKeysRowDeleted: where the read model's row of a replacement of the ledger's key is deleted by hand, a start says so
// and makes the read model anew, so that the keys of before are known again.
func TestKeysRowDeleted(t *testing.T) {
	r := replacedFolder(t)
	at := fixed(noon.AddDate(0, 0, 9))
	second, err := site.ReplaceKey(t.Context(), site.Options{Dir: r.dir, Clock: at}, "B-1182", "as often as the rules ask")
	if err != nil {
		t.Fatal(err)
	}
	inFolder(t, site.Options{Dir: r.dir, Clock: at}, func(*site.Site) {}) // makes the read model under the new key
	for _, which := range []string{"", fmt.Sprintf(" AND seq = %d", r.change.Seq), fmt.Sprintf(" AND seq = %d", second.Seq)} {
		dir := copyFolder(t, r.dir)
		edit(t, dir, "DELETE FROM events WHERE kind = 'key.replaced'"+which)
		var said strings.Builder
		o := site.Options{Dir: dir, Clock: fixed(noon.AddDate(0, 0, 10)), Logger: slog.New(slog.NewTextHandler(&said, nil))}
		inFolder(t, o, func(s *site.Site) {
			if !strings.Contains(said.String(), "somebody has edited it; it is made anew") {
				t.Errorf("without the row%s the start says %q", which, said.String())
			}
			if keys := s.Keys(); len(keys) != 3 || keys[0].Text != r.change.Former || keys[2].Text != second.Key {
				t.Errorf("without the row%s these are the keys: %+v", which, keys)
			}
			mustBeIntact(t, "made anew", s)
		})
		said.Reset()
		inFolder(t, o, func(*site.Site) {})
		if strings.Contains(said.String(), "edited") {
			t.Errorf("the next start says %q", said.String())
		}
	}
}

// TestLastRowsEdited: where the read model's last rows were deleted by hand, or one was put behind them, a start says so and makes it anew:
// no record could follow it.
func TestLastRowsEdited(t *testing.T) {
	for _, statement := range []string{
		"DELETE FROM events WHERE seq > 2", "DELETE FROM events",
		"INSERT INTO events (seq, id, kind, station, subject, observed, recorded, remarks) " +
			"VALUES (999, x'00', 'set.checked', 'north/or-3', 'LAP-001', 0, 0, 0)",
	} {
		var said strings.Builder
		o := site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: fixed(noon),
			Logger: slog.New(slog.NewTextHandler(&said, nil))}
		inFolder(t, o, func(s *site.Site) { record(t, s, oneList) })
		edit(t, o.Dir, statement)
		said.Reset()
		inFolder(t, o, func(s *site.Site) {
			if !strings.Contains(said.String(), "somebody has edited it; it is made anew") {
				t.Errorf("after %s the start says %q", statement, said.String())
			}
			if rs, err := s.Observe(t.Context(), packed("B")); err != nil || rs[0].Behind {
				t.Errorf("after %s: %+v, %v", statement, rs, err)
			}
			mustBeIntact(t, "made anew", s)
		})
	}
}

// TestMadeAnewAtTheStart: a start behind another version of the program makes the read model anew, tells how far it is, and says that it
// did so; any other start doesn't.
func TestMadeAnewAtTheStart(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t)[:100], "\n")+"\n")
	size := s.Size()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		by   string
		anew bool
	}{
		{"", false},
		{"UPDATE meta SET value = 'of another program' WHERE key = 'judgement'", true},
		{"DELETE FROM events WHERE seq = (SELECT max(seq) FROM events)", true},
	} {
		if x.by != "" {
			edit(t, dir, x.by)
		}
		told := [2]int64{}
		s, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon), Logger: slog.New(slog.DiscardHandler),
			Progress: func(done, total int64) { told = [2]int64{done, total} }})
		if err != nil {
			t.Fatal(err)
		}
		if s.MadeAnew() != x.anew || (told == [2]int64{size, size}) != x.anew {
			t.Errorf("%q: made anew %t, told %d", x.by, s.MadeAnew(), told)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestVerifyWithoutATable: where a table is taken out meanwhile, verify says what to do, and that mends it.
func TestVerifyWithoutATable(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t)[:100], "\n")+"\n")
	mustVerify(t, s, "") // all of it is written
	edit(t, dir, "CREATE TABLE gone (x); DROP TABLE gone; DROP TABLE findings")
	if _, err := s.Verify(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "listbound rebuild makes it anew") {
		t.Errorf("without its findings: %v", err)
	}
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	mustVerify(t, s, "")
}

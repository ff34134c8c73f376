//go:build !race

package site_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
)

// recordError records a line that is refused as a whole.
func recordError(t *testing.T, s *site.Site, line string) error {
	t.Helper()
	return s.Record(t.Context(), strings.NewReader(line+"\n"), func(site.Receipt) error { return nil })
}

// TestDeclareLoss: a ledger that was put back from an older copy takes nothing until the missing part is back or its
// loss is declared; that is a record, and stands in the history of every set.
func TestDeclareLoss(t *testing.T) {
	for name, memory := range map[string]func(dir string) error{
		"known by the folder's checkpoint": func(string) error { return nil },
		"known by the read model":          func(dir string) error { return os.Remove(filepath.Join(dir, "newest.checkpoint")) },
		"known by the checkpoint alone":    func(dir string) error { return os.Remove(filepath.Join(dir, "readmodel.db")) },
	} {
		t.Run(name, func(t *testing.T) {
			dir, old := t.TempDir(), t.TempDir()
			o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true}
			s := open(t, dir, o)
			record(t, s, oneList)
			size := s.Size()
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			o.Clock = fixed(noon)
			if _, err := site.DeclareLoss(t.Context(), o, "B-1", "none"); !errors.Is(err, site.ErrNothingLost) {
				t.Errorf("nothing is missing: %v", err)
			}
			if err := os.CopyFS(old, os.DirFS(dir)); err != nil {
				t.Fatal(err)
			}
			s = open(t, dir, o)
			record(t, s, loaned)
			had := s.Size()
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			for _, f := range []string{"stream", "log", "stream.clean"} {
				if err := errors.Join(os.RemoveAll(filepath.Join(dir, f)),
					os.Rename(filepath.Join(old, f), filepath.Join(dir, f))); err != nil {
					t.Fatal(err)
				}
			}
			if err := memory(dir); err != nil {
				t.Fatal(err)
			}
			s, err := site.Open(t.Context(), o)
			if err != nil {
				t.Fatal(err)
			}
			line := strings.SplitAfter(loaned, "\n")[0]
			if err := recordError(t, s, line); err == nil || !strings.Contains(err.Error(), "are missing") ||
				!strings.Contains(err.Error(), "listbound declare-loss") {
				t.Errorf("recorded: %v", err)
			}
			if s.Ready(t.Context()) == nil || len(s.Damage()) == 0 {
				t.Error("it is ready")
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			loss, err := site.DeclareLoss(t.Context(), o, "B-1182", "the disk failed; the copy is of the night before")
			if err != nil {
				t.Fatal(err)
			}
			if loss.Size != size || loss.Had != had || loss.Seq != size+1 {
				t.Errorf("%+v; %d records, there had been %d", loss, size, had)
			}
			s = open(t, dir, o)
			record(t, s, loaned)
			for _, set := range []string{"LAP-014", "LAP-099"} {
				h, err := s.History(t.Context(), site.Query{Set: set})
				if err != nil {
					t.Fatal(err)
				}
				found := 0
				for _, e := range h.Events {
					if d, ok := e.Data.(*events.RecordsLost); ok && d.Had == had && e.Seq == loss.Seq && e.Operator == "B-1182" {
						found++
						if !strings.Contains(e.Says, "the disk failed") {
							t.Errorf("%q", e.Says)
						}
					}
				}
				if found != 1 {
					t.Errorf("the history of %s shows the loss %d times", set, found)
				}
			}
			if _, err := site.DeclareLoss(t.Context(), o, "B-1", "again"); err == nil {
				t.Error("a folder in use was opened a second time")
			}
		})
	}
}

// TestLossIsTheLedgersToDeclare: no file and no page declares a loss.
func TestLossIsTheLedgersToDeclare(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	for _, station := range []string{"north/ledger", "north/or-3"} {
		r := record(t, s, `{"station":"`+station+`","kind":"records.lost","time":"2026-03-02T09:00:00Z","data":{"size":0,"had":5,"reason":"x"}}`)
		if r[0].Error == "" {
			t.Errorf("%s declared a loss", station)
		}
	}
	if err := s.Ready(t.Context()); err != nil || errors.Is(err, ledger.ErrStopped) {
		t.Error(err)
	}
}

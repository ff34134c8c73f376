//go:build !race

package site_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
)

// The check in the background reads every record and the read model, rests between its pieces, and what it found is kept
// and told on every page.
func TestCheckSlowly(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, strings.Join(weekLines(t)[:600], "\n")+"\n")
	if s.Checked() != nil {
		t.Error("checked before it was checked")
	}
	rests := 0
	rest := func(context.Context, time.Duration) error { rests++; return nil }
	if err := s.CheckSlowly(t.Context(), rest); err != nil {
		t.Fatal(err)
	}
	c := s.Checked()
	if c == nil || c.Records != s.Size() || len(c.Problems) > 0 || !c.At.Equal(noon) || rests < 3 {
		t.Errorf("%+v after %d rests", c, rests)
	}
	stopped := errors.New("stopped")
	if err := s.CheckSlowly(t.Context(), func(context.Context, time.Duration) error { return stopped }); !errors.Is(err, stopped) {
		t.Errorf("a check that was stopped: %v", err)
	}
	edit(t, dir, "DELETE FROM board")
	if err := s.CheckSlowly(t.Context(), rest); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)})
	if err != nil {
		t.Fatal(err)
	}
	if c := s.Checked(); c == nil || len(c.Problems) < 2 || !strings.HasPrefix(c.Problems[0].What, "readmodel.db: table board") {
		t.Errorf("kept: %+v", c)
	}
	if n := s.Notices(); len(n) != 1 || n[0].What != site.NoticedCheck || !strings.Contains(n[0].First, "table board") {
		t.Errorf("told: %+v", n)
	}
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if err := s.CheckSlowly(t.Context(), rest); err != nil || len(s.Checked().Problems) > 0 || len(s.Notices()) > 0 {
		t.Errorf("after a rebuild: %v, %+v", err, s.Checked())
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// A check leaves the processors to those who record.
func TestSlowCheckRests(t *testing.T) {
	if got, want := site.RestTimes(5, 5, 6, 6, 9), []int{9, 99, 9, 99}; !slices.Equal(got, want) {
		t.Errorf("it rests %d times as long as it works, want %d", got, want)
	}
}

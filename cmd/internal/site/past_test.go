//go:build !race

package site_test

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/simulate"
)

func inJSON(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// played records a simulated week hour by hour, the clock with it, and calls at after some of the hours.
func played(t *testing.T, s *site.Site, now *time.Time, at func()) {
	t.Helper()
	c := simulate.Drill()
	c.Sets, c.Cases, c.Offline = 24, 4, 0
	all := slices.Concat(c.Setup(), c.Week(0).Records)
	slices.SortStableFunc(all, func(a, b simulate.Record) int { return a.Time.Compare(b.Time) })
	var lines strings.Builder
	for i := range all {
		raw, err := events.FormatObservation(&all[i].Observation)
		if err != nil {
			t.Fatal(err)
		}
		lines.Write(append(raw, '\n'))
		const every = 40
		if i%every == every-1 || i == len(all)-1 {
			*now = all[i].Time.Add(time.Minute)
			if err := s.Advance(t.Context()); err != nil {
				t.Fatal(err)
			}
			record(t, s, lines.String())
			lines.Reset()
			at()
		}
	}
}

// TestAsKnownAtIsWhatWasShown: what is said of an earlier moment is, to the letter, what was said then; and it stays so after
// a new start.
func TestAsKnownAtIsWhatWasShown(t *testing.T) {
	now := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }}
	s := open(t, dir, o)
	type shown struct {
		at                 time.Time
		broken, near, stat string
	}
	var all []shown
	look := func(at time.Time) shown {
		broken, err := s.BrokenAt(t.Context(), at)
		if err != nil {
			t.Fatal(err)
		}
		near, err := s.NearMissesAt(t.Context(), at)
		if err != nil {
			t.Fatal(err)
		}
		stat, err := site.AnswerAt(t.Context(), s, at, func(v *site.View) (map[projections.Status]int, error) {
			return v.Status(context.Background())
		})
		if err != nil {
			t.Fatal(err)
		}
		return shown{at, inJSON(t, broken), inJSON(t, near), inJSON(t, stat)}
	}
	played(t, s, &now, func() {
		x := look(time.Time{})
		x.at = now
		all = append(all, x)
	})
	if len(all) < 5 || all[len(all)-1].broken == all[len(all)/2].broken {
		t.Fatalf("%d moments, and nothing changes", len(all))
	}
	now = now.Add(24 * time.Hour)
	held := func() {
		t.Helper()
		for _, want := range all {
			if got := look(want.at); got != want {
				t.Errorf("as known at %s:\n%.600s\nshown then:\n%.600s", want.at, got.broken, want.broken)
			}
		}
	}
	held()
	if left, err := filepath.Glob(filepath.Join(dir, "checking-*")); err != nil || len(left) != 3 {
		t.Errorf("%d moments are kept (%v)", len(left), err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "checking-*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
	s = open(t, dir, o)
	all = all[len(all)/2:][:1]
	held()
}

// TestAsKnownAtItsEnds: before the first record nothing was known, and of a moment to come nothing is said.
func TestAsKnownAtItsEnds(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, oneList)
	vs, err := s.BrokenAt(t.Context(), noon.Add(-24*365*time.Hour))
	if err != nil || len(vs) != 0 {
		t.Errorf("before there was anything: %v, %v", vs, err)
	}
	if _, err := s.BrokenAt(t.Context(), noon.Add(time.Second)); err == nil || !strings.Contains(err.Error(), "still to come") {
		t.Errorf("of what is to come: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := s.BrokenAt(t.Context(), noon.Add(-time.Hour)); err == nil {
		t.Error("asked after the end")
	}
}

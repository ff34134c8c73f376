//go:build !race

package site_test

import (
	"errors"
	"io"
	"iter"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

// arriving are the first lines of the built-in week, and when each arrives.
func arriving(t *testing.T, most int) iter.Seq2[site.Arrived, error] {
	t.Helper()
	w, err := scenario.Load()
	if err != nil {
		t.Fatal(err)
	}
	return func(yield func(site.Arrived, error) bool) {
		n := 0
		for a, err := range sitetest.Arriving(w) {
			if n++; n > most || !yield(a, err) {
				return
			}
		}
	}
}

// TestPlayedAsItArrived: a week that is played becomes the very records, to the byte, and the verdicts that it had become line by
// line as it arrived.
func TestPlayedAsItArrived(t *testing.T) {
	const lines = 400
	record := func(keysOf string, play bool) (*site.Site, string) {
		dir := t.TempDir()
		if keysOf != "" {
			sitetest.CopyKeys(t, keysOf, dir)
		}
		now := noon
		s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now },
			Random: rand.NewChaCha8([32]byte{1})})
		taken := func(r site.Receipt) error {
			if r.Error != "" {
				return errors.New(r.Error)
			}
			return nil
		}
		var err error
		if play {
			err = s.Play(t.Context(), arriving(t, lines), func(at time.Time) { now = at }, taken)
		} else {
			for l := range arriving(t, lines) {
				now = l.At
				if err = s.Record(t.Context(), strings.NewReader(string(l.Line)), taken); err != nil {
					break
				}
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		return s, dir
	}
	played, a := record("", true)
	arrived, b := record(a, false)
	if played.Size() != arrived.Size() || played.Size() < lines {
		t.Fatalf("%d and %d records", played.Size(), arrived.Size())
	}
	one, err := played.RootAt(t.Context(), played.Size())
	if err != nil {
		t.Fatal(err)
	}
	other, err := arrived.RootAt(t.Context(), arrived.Size())
	if err != nil {
		t.Fatal(err)
	}
	if one != other {
		t.Error("the records differ")
	}
	if x, y := dump(t, settled(t, played, a)), dump(t, settled(t, arrived, b)); x != y {
		t.Error("the verdicts differ")
	}
}

// TestPlayedLongLines: of long lines fewer go in at once, as of those of a file: one append takes no more bytes than it did.
func TestPlayedLongLines(t *testing.T) {
	const line = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T06:10:00Z","set":"LAP-014","data":{"place":"A4"}}`
	a := site.Arrived{At: noon, Line: []byte(line + strings.Repeat(" ", 50_000))}
	lines := func(yield func(site.Arrived, error) bool) {
		for range 200 {
			if !yield(a, nil) {
				return
			}
		}
	}
	if parts := site.PlayedParts(lines, 4000); !slices.Equal(parts, []int{84, 84, 32}) {
		t.Errorf("200 lines of 50,000 bytes go in as %v", parts)
	}
	if parts := site.PlayedParts(lines, 50); !slices.Equal(parts, []int{50, 50, 50, 50, 0}) {
		t.Errorf("by fifties they go in as %v", parts)
	}
}

// TestPlayStops: what can't be read ends a play, and so does somebody who wants no more receipts; what has a receipt is recorded.
func TestPlayStops(t *testing.T) {
	enough := errors.New("enough")
	for name, lines := range map[string]func(yield func(site.Arrived, error) bool){
		"an error": func(yield func(site.Arrived, error) bool) {
			for l := range arriving(t, 5) {
				if !yield(l, nil) {
					return
				}
			}
			yield(site.Arrived{}, enough)
		},
		"no observation": func(yield func(site.Arrived, error) bool) {
			_ = yield(site.Arrived{Line: []byte(`{"station":"north/or-1"}`), At: noon}, nil)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Batch: 2})
			before, receipts := s.Size(), 0
			err := s.Play(t.Context(), lines, func(time.Time) {}, func(r site.Receipt) error {
				receipts++
				if s.Size() < r.Seq || r.Seq == 0 {
					t.Errorf("%+v of %d records", r, s.Size())
				}
				return nil
			})
			if err == nil || errors.Is(err, io.EOF) {
				t.Error("it did not end with an error")
			}
			if name == "an error" && (!errors.Is(err, enough) || receipts != 4) {
				t.Errorf("%v after %d receipts", err, receipts)
			}
			if name != "an error" && (!strings.Contains(err.Error(), "line 1") || s.Size() != before) {
				t.Error(err)
			}
		})
	}
}

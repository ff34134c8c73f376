package site_test

import (
	"errors"
	"strings"
	"testing"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
)

func checked(t *testing.T, set string) *events.Observation {
	t.Helper()
	return &events.Observation{
		Station: "north/storage", Kind: events.KindSetChecked, Time: noon, Set: set, Operator: "B-1182",
		Data: &events.SetChecked{Place: "storage A4", Tag: set},
	}
}

// TestObserveTwice: one observation handed in twice at once is stored once, and
// both are answered with where it lies.
func TestObserveTwice(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	o := checked(t, "LAP-014")
	rs, err := s.Observe(t.Context(), o, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(rs) != 2 || rs[0].Seq == 0 || rs[0].Seq != rs[1].Seq || rs[0].Known || !rs[1].Known || rs[0].ID != rs[1].ID {
		t.Fatalf("%+v", rs)
	}
	if s.Size() != rs[0].Seq {
		t.Errorf("%d records, the last one at %d", s.Size(), rs[0].Seq)
	}
}

// TestAllOrNone: of observations that are recorded together one that is refused
// refuses all, and nothing of them is stored.
func TestAllOrNone(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	bad := checked(t, "LAP-014")
	bad.Kind, bad.Data = events.KindSetCounted, &events.SetCounted{
		Case: "K-1", Stage: events.StageFirst, Sheet: "screen", Counter: "B-1", Witness: "B-2",
		Counts: []events.Count{{Line: 1, Counted: 1}},
	}
	before := s.Size()
	_, err := s.Observe(t.Context(), checked(t, "LAP-014"), bad)
	if !refusal.Is(err) || !strings.Contains(err.Error(), "record set.packed first") {
		t.Fatalf("a count without a trip: %v", err)
	}
	if s.Size() != before {
		t.Errorf("%d records stored of what was refused", s.Size()-before)
	}
	// One line of a file, on the other hand, refuses only itself.
	lines := ""
	for _, o := range []*events.Observation{checked(t, "LAP-014"), bad} {
		raw, err := events.FormatObservation(o)
		if err != nil {
			t.Fatal(err)
		}
		lines += string(raw) + "\n"
	}
	rs := record(t, s, lines)
	if len(rs) != 2 || rs[0].Error != "" || rs[0].Seq == 0 || rs[1].Error == "" || rs[1].Line != 2 {
		t.Errorf("%+v", rs)
	}
}

// TestAnswersHoldNoLock: a client that does not take its receipts keeps nobody
// else from recording.
func TestAnswersHoldNoLock(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	raw, err := events.FormatObservation(checked(t, "LAP-014"))
	if err != nil {
		t.Fatal(err)
	}
	stop := errors.New("stop")
	err = s.Record(t.Context(), strings.NewReader(string(raw)+"\n"), func(site.Receipt) error {
		if _, err := s.Observe(t.Context(), checked(t, "LAP-022")); err != nil {
			t.Error(err)
		}
		return stop
	})
	if !errors.Is(err, stop) {
		t.Errorf("%v", err)
	}
}

package site_test

import (
	"errors"
	"strings"
	"testing"
	"time"

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
	bad.Kind, bad.Data = events.KindListSealed, &events.ListSealed{Placement: events.Outside}
	before := s.Size()
	_, err := s.Observe(t.Context(), checked(t, "LAP-014"), bad)
	if !refusal.Is(err) || !strings.Contains(err.Error(), "record set.packed first") {
		t.Fatalf("a seal without a trip: %v", err)
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

// TestObserveChecks: a page can record nothing that a file couldn't, and what it records is what a file would have.
func TestObserveChecks(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Batch: 3})
	o := func(change func(*events.Observation)) *events.Observation {
		out := checked(t, "LAP-014")
		change(out)
		return out
	}
	for _, test := range []struct {
		what string
		obs  []*events.Observation
		want string
	}{
		{"nothing", nil, "0 observations"},
		{"more than one batch", make([]*events.Observation, 4), "from 1 to 3"},
		{"another kind than its data",
			[]*events.Observation{o(func(o *events.Observation) { o.Kind = events.KindSetOpened })}, "set.opened"},
		{"no data", []*events.Observation{o(func(o *events.Observation) { o.Data = nil })}, "data is missing"},
		{"no set", []*events.Observation{o(func(o *events.Observation) { o.Set = "" })}, "set"},
		{"no station", []*events.Observation{o(func(o *events.Observation) { o.Station = "storage" })}, "station"},
		{"no time", []*events.Observation{o(func(o *events.Observation) { o.Time = time.Time{} })}, "time"},
		{"data that no scan gives", []*events.Observation{o(func(o *events.Observation) {
			o.Data = &events.SetChecked{Sheet: &events.Reading{Found: "in the bin"}}
		})}, "found"},
	} {
		if rs, err := s.Observe(t.Context(), test.obs...); rs != nil || !refusal.Is(err) ||
			!strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %+v, %v; want a refusal with %q", test.what, rs, err, test.want)
		}
	}
	if s.Size() != 0 {
		t.Fatalf("%d records of what was refused", s.Size())
	}

	// The wall clock of a page may be in any zone; the record is in UTC, and known again from a file.
	berlin := time.FixedZone("CET", 60*60)
	rs, err := s.Observe(t.Context(), o(func(o *events.Observation) { o.Time = noon.In(berlin) }))
	if err != nil {
		t.Fatal(err)
	}
	e, err := s.EventAt(rs[0].Seq)
	if err != nil || !e.Time.Equal(noon) || e.Time.Location() != time.UTC {
		t.Errorf("%v, %v", e, err)
	}
	raw, err := events.FormatObservation(checked(t, "LAP-014"))
	if err != nil {
		t.Fatal(err)
	}
	if again := record(t, s, string(raw)); !again[0].Known || again[0].Seq != rs[0].Seq {
		t.Errorf("from a file: %+v, first %+v", again[0], rs[0])
	}
}

package site_test

import (
	"errors"
	"slices"
	"testing"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/projections"
	"listbound/projections/facts"
)

// TestModelStaysWhileAsked: a rebuild puts another read model in place, but not under a question, nor does closing the
// folder.
func TestModelStaysWhileAsked(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, oneList)
	for _, test := range []struct {
		what string
		do   func(done chan<- error, read chan<- struct{})
	}{
		{"rebuilding", func(done chan<- error, read chan<- struct{}) {
			_, err := s.Rebuild(t.Context(), func(n, total int64) {
				if n == total {
					close(read) // the new model is all but in place
				}
			})
			done <- err
		}},
		{"closing", func(done chan<- error, read chan<- struct{}) {
			close(read)
			done <- s.Close()
		}},
	} {
		done, read := make(chan error, 1), make(chan struct{})
		err := s.Ask(func(v *site.View) error {
			go test.do(done, read)
			<-read
			for range 200 {
				if trips, err := v.TripsOfSet(t.Context(), "LAP-014"); err != nil || len(trips) != 1 {
					return errors.Join(errors.New("the model was taken away"), err)
				}
			}
			return nil
		})
		if err := errors.Join(err, <-done); err != nil {
			t.Errorf("%s: %v", test.what, err)
		}
	}
	err := s.Ask(func(*site.View) error { t.Error("a closed folder answers"); return nil })
	if !errors.Is(err, refusal.ErrClosed) {
		t.Errorf("a closed folder: %v", err)
	}
}

// TestRecordingGoesOnDuringARebuild records and is judged while a read model is being filled, and refuses to fill
// another one meanwhile.
func TestRecordingGoesOnDuringARebuild(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, oneList)
	recorded := false
	n, err := s.Rebuild(t.Context(), func(int64, int64) {
		if recorded {
			return
		}
		recorded = true
		record(t, s, `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T11:00:00Z","set":"LAP-014",`+
			`"data":{}}`)
		if _, err := s.Rebuild(t.Context(), nil); !errors.Is(err, site.ErrRebuilding) {
			t.Errorf("a second rebuild beside the first: %v", err)
		}
	})
	if err != nil || !recorded || n != s.Size() {
		t.Fatalf("rebuilt %d of %d records, recorded meanwhile: %t, %v", n, s.Size(), recorded, err)
	}
	running := dump(t, settled(t, s, dir))
	if n, err := s.Rebuild(t.Context(), nil); err != nil || n != s.Size() {
		t.Fatal(n, err)
	}
	if again := dump(t, settled(t, s, dir)); again != running {
		t.Errorf("what was recorded during a rebuild is judged otherwise: %s", diffLines(running, again))
	}
}

// TestViewQuestions: what pages ask besides the read model's own questions.
func TestViewQuestions(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	trip := record(t, s, oneList)[1].Trip
	err := s.Ask(func(v *site.View) error {
		now, err := v.TripNow(t.Context(), "LAP-014", noon)
		before, err2 := v.TripNow(t.Context(), "LAP-014", noon.AddDate(0, 0, -1))
		if now != trip || before != "" {
			t.Errorf("its trip is %s at noon and %q the day before, packed was %s", now, before, trip)
		}
		found, err3 := v.Facts(t.Context(), facts.DimTrip, trip)
		if len(found) != 2 || found[0].Trip != trip {
			t.Errorf("facts: %+v", found)
		}
		list, err4 := v.List(t.Context(), "LAP-MAJOR", 0)
		if list == nil || list.Version != 3 || list.LineRows[0].Quantity != 6 {
			t.Errorf("list: %+v", list)
		}
		if _, err := v.List(t.Context(), "LAP-MAJOR", 2); !errors.Is(err, site.ErrNoList) || !refusal.Is(err) {
			t.Errorf("a version nobody issued: %v", err)
		}
		return errors.Join(err, err2, err3, err4)
	})
	if err != nil {
		t.Error(err)
	}
}

// TestPreview: an observation is judged before it is recorded, leaves nothing, and comes to the same when
// it is recorded.
func TestPreview(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	key := projections.TripKey{Set: "LAP-014", Trip: record(t, s, oneList)[1].Trip}
	o := checked(t, "LAP-022") // the other set's tag is on it
	o.Set, o.Time = "LAP-014", noon.Add(-1)
	size := s.Size()
	codes := func(question func(*site.View) (*projections.Verdict, error)) (out []projections.Code) {
		t.Helper()
		v, err := site.Answer(s, question)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range v.Findings {
			out = append(out, f.Code)
		}
		return out
	}
	stored := func(v *site.View) (*projections.Verdict, error) { return v.Verdict(t.Context(), key) }
	previewed := func(v *site.View) (*projections.Verdict, error) { return v.Preview(t.Context(), o) }
	before, shown := codes(stored), codes(previewed)
	if len(shown) == len(before) || s.Size() != size {
		t.Fatalf("found %v, in the preview %v; %d records, had %d", before, shown, s.Size(), size)
	}
	if now := codes(stored); len(now) != len(before) {
		t.Errorf("the preview left %v", now)
	}
	if _, err := s.Observe(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	after := codes(stored)
	if len(after) != len(shown) {
		t.Fatalf("recorded it comes to %v, previewed to %v", after, shown)
	}
	for i := range after {
		if after[i] != shown[i] {
			t.Errorf("recorded it comes to %v, previewed to %v", after, shown)
		}
	}
	// What intake would refuse has no preview.
	o.Trip = "019cad2b-e120-7427-aa0f-366993127450"
	if _, err := site.Answer(s, previewed); !refusal.Is(err) {
		t.Errorf("of a trip nobody knows: %v", err)
	}
}

// TestAnsweredFrom: a question whose answer says up to which record it is has no less than that, whatever is recorded while it is
// asked.
func TestAnsweredFrom(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	if _, err := s.Observe(t.Context(), checked(t, "LAP-014")); err != nil {
		t.Fatal(err)
	}
	if err := s.Ask(func(v *site.View) error {
		before := v.Position()
		if before != s.Size() {
			t.Errorf("answered from %d of %d records", before, s.Size())
		}
		rs, err := s.Observe(t.Context(), checked(t, "LAP-022"))
		if err != nil {
			return err
		}
		to := v.Position()
		if to < before {
			t.Errorf("answered from %d records, and %d before", to, before)
		}
		h, err := v.RecordsOf(t.Context(), "station", "north/storage", 0, 10)
		if err == nil && to >= rs[0].Seq && !slices.Contains(h, rs[0].Seq) {
			t.Errorf("answered from %d records, and the tables have %v of the station's", to, h)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

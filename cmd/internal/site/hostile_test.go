//go:build !race

package site_test

import (
	"crypto/rand"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// ownKey is a station that signs for itself, and says what it likes.
type ownKey struct {
	t      *testing.T
	name   string
	signer note.Signer
	public string
	count  int64
}

func enrolOwnKey(t *testing.T, s *site.Site, name string) *ownKey {
	t.Helper()
	secret, public, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(secret)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Enrol(t.Context(), name, public, "keeps its own key"); err != nil {
		t.Fatal(err)
	}
	return &ownKey{t: t, name: name, signer: signer, public: public}
}

// line returns an event of the station as a line for record.
func (k *ownKey) line(e *events.Event) string {
	k.t.Helper()
	k.count++
	e.Station, e.StationSeq = k.name, k.count
	n, err := events.Sign(e, k.signer)
	if err != nil {
		k.t.Fatal(err)
	}
	raw, err := json.Marshal(map[string]string{"signed": string(n)})
	if err != nil {
		k.t.Fatal(err)
	}
	return string(raw) + "\n"
}

// TestForeignID: an id is computed from what everybody may know. A station that gives its own event the id of another's
// observation to come does not keep that observation out, neither before nor in the same batch, and both are known when
// they come again.
func TestForeignID(t *testing.T) {
	for _, together := range []bool{false, true} {
		s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
		evil := enrolOwnKey(t, s, "north/or-9")
		lines := strings.SplitAfter(oneList, "\n")
		var packed *events.Observation
		for _, r := range events.Observations(strings.NewReader(lines[1])) {
			packed = r.Observation
		}
		id, err := packed.ID()
		if err != nil {
			t.Fatal(err)
		}
		foreign := evil.line(&events.Event{ID: id, Subject: "LAP-099", Time: packed.Time, Data: &events.SetChecked{}})
		var got []site.Receipt
		if together {
			got = record(t, s, foreign+oneList)
		} else {
			got = append(record(t, s, foreign), record(t, s, oneList)...)
		}
		for i, r := range got {
			if r.Error != "" || r.Known {
				t.Fatalf("together %t, line %d: %+v", together, i+1, r)
			}
		}
		if got[2].ID != id || got[2].Set != packed.Set {
			t.Errorf("together %t: the packing became %+v", together, got[2])
		}
		size := s.Size()
		for i, r := range record(t, s, foreign+oneList) {
			if !r.Known || r.Seq != got[i].Seq {
				t.Errorf("together %t, again, line %d: %+v, was %+v", together, i+1, r, got[i])
			}
		}
		if s.Size() != size {
			t.Errorf("together %t: %d records, had %d", together, s.Size(), size)
		}
	}
}

// TestOneIDTwoRecords: a station that signs for itself gives two records one id. Both are kept, in one batch or in
// two, and each is known when it comes again: an answer that the second was known would have the station forget it.
func TestOneIDTwoRecords(t *testing.T) {
	for _, together := range []bool{false, true} {
		s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
		own := enrolOwnKey(t, s, "north/or-9")
		at := noon.Add(-time.Hour)
		id := events.DerivedID(at, [32]byte{1})
		var lines []string
		for _, place := range []string{"case cart 3", "case cart 4"} {
			e := &events.Event{ID: id, Subject: "LAP-001", Time: at, Data: &events.SetChecked{Place: place}}
			lines = append(lines, own.line(e))
		}
		var got []site.Receipt
		if together {
			got = record(t, s, lines[0]+lines[1])
		} else {
			got = append(record(t, s, lines[0]), record(t, s, lines[1])...)
		}
		for i, place := range []string{"case cart 3", "case cart 4"} {
			if got[i].Error != "" || got[i].Known {
				t.Fatalf("together %t, line %d: %+v", together, i+1, got[i])
			}
			e, err := s.EventAt(got[i].Seq)
			if err != nil || e.Data.(*events.SetChecked).Place != place {
				t.Errorf("together %t, record %d: %+v, %v; want %s", together, got[i].Seq, e, err, place)
			}
		}
		for i, r := range record(t, s, lines[0]+lines[1]) {
			if !r.Known || r.Seq != got[i].Seq {
				t.Errorf("together %t, again, line %d: %+v, was %+v", together, i+1, r, got[i])
			}
		}
	}
}

// TestSignedRegistry: a station that signs its own enrolments and retirements is refused, and the ledger stays intact.
func TestSignedRegistry(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	evil := enrolOwnKey(t, s, "north/or-9")
	at := noon.Add(-time.Hour)
	r := record(t, s, evil.line(&events.Event{ID: events.DerivedID(at, [32]byte{1}), Subject: "north/or-1", Time: at,
		Data: &events.StationRetired{Station: "north/or-1", Reason: "because"}}))
	if !strings.Contains(r[0].Error, "signed by the ledger alone") {
		t.Errorf("a retirement of its own: %+v", r[0])
	}
	if _, err := s.Retire(t.Context(), "north/ledger", "x", time.Time{}); err == nil ||
		!strings.Contains(err.Error(), "ledger itself") {
		t.Errorf("the ledger was retired: %v", err)
	}
	if _, err := s.Retire(t.Context(), "north/or-9", "x", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Retire(t.Context(), "north/or-9", "again", time.Time{}); err == nil ||
		!strings.Contains(err.Error(), "was retired by record 2") {
		t.Errorf("retired twice: %v", err)
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK || v.Size != 2 {
		t.Errorf("%+v, %v", v, err)
	}
}

// TestRefusedListIsNotKnown: what was refused leaves nothing that later lines of the same batch could refer to.
func TestRefusedListIsNotKnown(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	got := record(t, s, strings.Replace(oneList, `"title":"`, `"title":"`+strings.Repeat("x", 59_990), 1))
	for i, want := range []string{"60000", "not known here", "no trip"} {
		if !strings.Contains(got[i].Error, want) {
			t.Errorf("line %d: %+v", i+1, got[i])
		}
	}
	if s.Size() != 0 {
		t.Errorf("%d records", s.Size())
	}
}

// TestTwoSubjects: a question about a set and a case is two questions.
func TestTwoSubjects(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, oneList)
	if _, err := s.History(t.Context(), site.Query{Set: "LAP-014", Case: "K-1"}); err == nil ||
		!strings.Contains(err.Error(), "ask for one of") {
		t.Errorf("a set and a case: %v", err)
	}
}

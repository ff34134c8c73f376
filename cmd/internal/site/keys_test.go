//go:build !race

package site_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
)

// TestStationKeyIsReadOnce: a station's key is read when it is first needed, and never used for another enrolment than
// its own.
func TestStationKeyIsReadOnce(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	observe := func(minute int) error {
		o := checked(t, "LAP-014")
		o.Time = o.Time.Add(time.Duration(minute-30) * time.Minute)
		_, err := s.Observe(t.Context(), o)
		return err
	}
	if err := observe(0); err != nil {
		t.Fatal(err)
	}
	key := filepath.Join(dir, "keys", "north_storage.key")
	if err := observe(1); err != nil { // read by now, if not before
		t.Fatal(err)
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	if err := observe(2); err != nil {
		t.Errorf("the key is gone from the folder, not from memory: %v", err)
	}

	other := enrolOwnKey(t, s, "north/storage") // the station now keeps its own key
	if err := observe(3); !refusal.Is(err) || !strings.Contains(err.Error(), "keeps its own key") {
		t.Errorf("signed for a station that keeps its own key: %v", err)
	}
	if _, err := s.Enrol(t.Context(), "north/storage", "", "key lost"); err != nil {
		t.Fatal(err)
	}
	if err := observe(4); err != nil {
		t.Errorf("enrolled with a new key that is kept here: %v", err)
	}
	if _, err := s.Enrol(t.Context(), "north/storage", other.public, "again"); err != nil {
		t.Fatal(err)
	}
	if err := observe(5); !refusal.Is(err) || !strings.Contains(err.Error(), "keeps its own key") {
		t.Errorf("signed by a key that is no longer enrolled: %v", err)
	}
	if _, err := s.Retire(t.Context(), "north/storage", "closed", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if err := observe(6); !refusal.Is(err) || !strings.Contains(err.Error(), "was retired") {
		t.Errorf("signed for a retired station: %v", err)
	}
	if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK || len(v.Remarks) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
}

// TestRegistryRefusals: who may not be enrolled or retired, and that it is a refusal and not a failure.
func TestRegistryRefusals(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	if _, err := s.Enrol(t.Context(), "north/or-1", "", ""); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		what string
		do   func() (*site.Receipt, error)
		want string
	}{
		{"no station's name", func() (*site.Receipt, error) { return s.Enrol(t.Context(), "OR 1", "", "") }, "station"},
		{"a ledger's name", func() (*site.Receipt, error) { return s.Enrol(t.Context(), "south/ledger", "", "") },
			"ledger's name"},
		{"no key", func() (*site.Receipt, error) { return s.Enrol(t.Context(), "north/or-2", "secret", "") },
			"verifier key"},
		{"no reason", func() (*site.Receipt, error) { return s.Retire(t.Context(), "north/or-1", "", time.Time{}) }, "reason"},
		{"a stranger", func() (*site.Receipt, error) { return s.Retire(t.Context(), "north/or-9", "x", time.Time{}) },
			"not enrolled"},
		{"too long a reason", func() (*site.Receipt, error) {
			return s.Enrol(t.Context(), "north/or-2", "", strings.Repeat("x", 60_000))
		}, "400 characters"},
	} {
		if r, err := test.do(); r != nil || !refusal.Is(err) || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %+v, %v; want a refusal with %q", test.what, r, err, test.want)
		}
	}
	if s.Size() != 1 {
		t.Errorf("%d records, want the one enrolment", s.Size())
	}
}

//go:build !race

package bundle_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

// openLedger opens a ledger whose keys are those of another folder, where one is given.
func openLedger(t *testing.T, keysOf string) (s *site.Site, dir string) {
	t.Helper()
	dir = t.TempDir()
	if keysOf != "" {
		keys := filepath.Join(dir, "keys")
		if err := os.Mkdir(keys, 0o700); err != nil {
			t.Fatal(err)
		}
		files, err := filepath.Glob(filepath.Join(keysOf, "keys", "*"))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			raw, err := os.ReadFile(f)
			if err == nil {
				err = os.WriteFile(filepath.Join(keys, filepath.Base(f)), raw, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	return sitetest.Open(t, site.Options{
		Dir: dir, Name: "north", Clock: func() time.Time { return at }, EnrolOnSight: true,
	}), dir
}

func recordLines(t *testing.T, s *site.Site, lines string) {
	t.Helper()
	err := s.Record(t.Context(), strings.NewReader(lines), func(r site.Receipt) error {
		if r.Error != "" {
			return fmt.Errorf("line %d: %s", r.Line, r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func bundleOf(t *testing.T, s *site.Site, earlier ...int64) []byte {
	t.Helper()
	var raw bytes.Buffer
	if err := s.Evidence(t.Context(), site.Query{Set: "LAP-001", Earlier: earlier}, &raw); err != nil {
		t.Fatal(err)
	}
	return raw.Bytes()
}

const scan = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T07:%02d:00Z",` +
	`"set":"LAP-001","data":{}}` + "\n"

// TestCompare holds bundles and checkpoints of a ledger that only grew against each other, and against those of one
// that was recorded anew with all its keys and one badge changed.
func TestCompare(t *testing.T) {
	s, dir := openLedger(t, "")
	recordLines(t, s, observations)
	old, oldNote, oldSize := bundleOf(t, s), s.SignedNote(), s.Size()
	for i := range 20 {
		recordLines(t, s, fmt.Sprintf(scan, i))
	}
	plain, proving := bundleOf(t, s), bundleOf(t, s, oldSize)
	now, key := s.SignedNote(), s.Key()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	forged, _ := openLedger(t, dir)
	// What a person would look at is the same but for one badge, and it goes on from there.
	badge := strings.NewReplacer(`"set":"LAP-001","data":{"list"`, `"set":"LAP-001","operator":"B-9","data":{"list"`)
	recordLines(t, forged, badge.Replace(observations))
	sameSize := bundleOf(t, forged)
	for i := range 30 {
		recordLines(t, forged, fmt.Sprintf(scan, i))
	}
	longer := bundleOf(t, forged, oldSize)
	other, _ := openLedger(t, "")
	recordLines(t, other, observations)

	if forged.Key() != key || other.Key() == key {
		t.Fatal("the keys are not as the test needs them")
	}
	for _, test := range []struct {
		name        string
		a, b        []byte
		same, known bool
		says        string
	}{
		{"a bundle and itself", old, old, true, true, "one history"},
		{"a bundle and its checkpoint", old, oldNote, true, true, "one history"},
		{"two bundles, the later proves it", old, proving, true, true, fmt.Sprintf("the %d records of then", oldSize)},
		{"in the other order", proving, old, true, true, "one history"},
		{"a checkpoint, and a bundle that proves it", oldNote, proving, true, true, "one history"},
		{"two bundles without a proof", old, plain, false, false, "evidence --earlier FILE"},
		{"two checkpoints of two sizes", oldNote, now, false, false, "nothing here shows"},
		{"rewritten, of the same size", old, sameSize, false, true, "TWO HISTORIES"},
		{"rewritten, of the same size, against a checkpoint", oldNote, sameSize, false, true, "it signed the roots"},
		{"rewritten and longer", old, longer, false, true, "TWO HISTORIES"},
		{"rewritten and longer, against a checkpoint", oldNote, longer, false, true, "are not the first of"},
		{"rewritten, without a proof: shared records differ", plain, longer, false, true, "says different things"},
	} {
		c, err := bundle.Compare(test.a, test.b, key)
		if err != nil || c.Same != test.same || c.Known != test.known || !strings.Contains(c.Says, test.says) {
			t.Errorf("%s: %+v, %v", test.name, c, err)
		}
	}
	for name, raw := range map[string][]byte{
		"another ledger's": bundleOf(t, other), "nothing": nil, "cut": old[:len(old)/2],
		"not signed": []byte("north/ledger\n3\n"),
	} {
		if c, err := bundle.Compare(old, raw, key); err == nil {
			t.Errorf("%s: %+v", name, c)
		}
	}
	if r := bundle.Check(proving, key); !r.OK {
		t.Errorf("a bundle with a proof: %+v", r.Problems)
	}
}

// TestCompareNow asks the ledger itself.
func TestCompareNow(t *testing.T) {
	s, _ := openLedger(t, "")
	recordLines(t, s, observations)
	if _, err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	old, size := s.SignedNote(), s.Size()
	recordLines(t, s, fmt.Sprintf(scan, 1)+fmt.Sprintf(scan, 2))
	p, err := s.Consistency(t.Context(), size)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := bundle.CompareNow(old, p, s.Keys()); err != nil || !c.Same || c.Later != s.Size() {
		t.Errorf("%+v, %v", c, err)
	}
	if len(p.Hashes) == 0 {
		t.Fatal("a proof without hashes")
	}
	p.Hashes[0][0] ^= 1
	c, err := bundle.CompareNow(old, p, s.Keys())
	if err != nil || c.Same || !strings.Contains(c.Says, "TWO HISTORIES") {
		t.Errorf("with a wrong proof: %+v, %v", c, err)
	}
	if _, err := s.Consistency(t.Context(), s.Size()+1); err == nil || !strings.Contains(err.Error(), "never had") {
		t.Errorf("of a size that it never had: %v", err)
	}
}

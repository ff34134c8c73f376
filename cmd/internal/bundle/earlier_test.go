//go:build !race

package bundle_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

const testdata = "../../../testdata"

// TestEarlierVersions: a bundle of an earlier version holds, and is said to show nothing of what was left out; so is one
// made by this version of a folder that an earlier one recorded.
func TestEarlierVersions(t *testing.T) {
	key, err := os.ReadFile(filepath.Join(testdata, "bundles", "44e5aec.vkey"))
	if err != nil {
		t.Fatal(err)
	}
	old, err := os.ReadFile(filepath.Join(testdata, "bundles", "44e5aec-K-0104.zip"))
	if err != nil {
		t.Fatal(err)
	}
	if r := bundle.Check(old, string(key)); !r.OK || r.Records != 33 || r.Coverage != nil || r.History != "" {
		t.Errorf("the bundle from before: %v, %d records, %+v", r.Problems, r.Records, r.Coverage)
	}
	dir := sitetest.Unpack(t, filepath.Join(testdata, "folders", "44e5aec.tar.gz"))
	s := sitetest.Open(t, site.Options{Dir: dir, Clock: func() time.Time { return time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC) }})
	size := s.Size()
	var raw bytes.Buffer
	if err := s.Evidence(t.Context(), site.Query{Case: "K-0104"}, &raw); err != nil {
		t.Fatal(err)
	}
	r := bundle.Check(raw.Bytes(), string(key))
	if !r.OK || r.Coverage == nil || r.Coverage.Proven || r.Coverage.Earlier != size+1 || r.History == "" {
		t.Errorf("a bundle of the folder from before: %v, %+v", r.Problems, r.Coverage)
	}
	c, err := bundle.Compare(old, raw.Bytes(), string(key))
	if err != nil || c.Known {
		t.Errorf("beside each other: %+v, %v", c, err)
	}
}

//go:build !race

package readmodel

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// TestFingerprintCoversEverything: every source file of the packages that
// judge is in it, and no test.
func TestFingerprintCoversEverything(t *testing.T) {
	for _, s := range sources() {
		if !strings.HasPrefix(s.dir, "projections") && s.dir != "events" || s.dir == "projections/words" {
			continue
		}
		var want []string
		files, err := os.ReadDir(filepath.Join("..", "..", s.dir))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if strings.HasSuffix(f.Name(), ".go") && !strings.HasSuffix(f.Name(), "_test.go") {
				want = append(want, f.Name())
			}
		}
		var got []string
		embedded, err := fs.ReadDir(s.files, ".")
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range embedded {
			got = append(got, f.Name())
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: the fingerprint covers %q, the folder has %q: see the go:embed line in source_text.go", s.dir, got, want)
		}
	}
}

func TestFingerprintChanges(t *testing.T) {
	sum := func(files fstest.MapFS) string {
		s, err := hashSources([]sourceText{{"events", fstest.MapFS{"a.go": {Data: []byte("a")}}}, {"projections/judge", files}})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	is := sum(fstest.MapFS{"a.go": {Data: []byte("rule")}, "b.go": {Data: []byte("x")}})
	for name, other := range map[string]fstest.MapFS{
		"another rule":      {"a.go": {Data: []byte("ruse")}, "b.go": {Data: []byte("x")}},
		"another name":      {"a.go": {Data: []byte("rule")}, "c.go": {Data: []byte("x")}},
		"the border moved":  {"a.go": {Data: []byte("rul")}, "b.go": {Data: []byte("ex")}},
		"one file less":     {"a.go": {Data: []byte("rule")}},
		"a file in between": {"a.go": {Data: []byte("rule")}, "aa.go": {}, "b.go": {Data: []byte("x")}},
	} {
		if sum(other) == is {
			t.Errorf("%s: the same fingerprint", name)
		}
	}
	again, err := hashSources(sources())
	if err != nil {
		t.Fatal(err)
	}
	if again != Fingerprint() || len(again) != 32 {
		t.Errorf("fingerprint %q", Fingerprint())
	}
}

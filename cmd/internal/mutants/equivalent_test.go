package main

import (
	"path"
	"slices"
	"strings"
	"testing"
	"time"
)

// What stands in the list is there, with a reason, and is little.
func TestEquivalents(t *testing.T) {
	entries, err := parseEquivalents(equivalentText)
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) > 12 {
		t.Errorf("%d are listed, more than a dozen: simplify the code or test it", len(entries))
	}
	var patterns []string
	for _, e := range entries {
		if len(e.reason) < 20 {
			t.Errorf("%s: the reason is %q", e, e.reason)
		}
		if dir := path.Dir(e.file); !slices.Contains(patterns, dir) {
			patterns = append(patterns, dir)
		}
	}
	packages, err := load(t.Context(), patterns, "listbound/ledger/proof")
	if err != nil || len(packages) != len(patterns) {
		t.Fatalf("%d packages of %q: %v", len(packages), patterns, err)
	}
	for _, p := range packages {
		if err := mark(p, find(p, never), entries, never); err != nil {
			t.Error(err)
		}
	}
}

// One that is listed is counted apart, wherever its line has moved to; one that is gone, fits two or is told apart by a test
// is an error.
func TestEquivalentApart(t *testing.T) {
	entry := func(line, what string) string {
		return "# why\n\nexample/sample.go\n\t" + line + "\n\t" + what + "\n\tthe same\n"
	}
	module(t, map[string]string{"sample.go": `package sample

func Clamp(n, low int) int {
	if n < low {
		return low
	}
	return n
}

func Both(n, m int) (int, int) {
	n = max(n, 7)
	n = max(n, 7)
	return n, m
}
`, "sample_test.go": `package sample

import "testing"

func Test(t *testing.T) {
	if Clamp(3, 2) != 3 || Clamp(1, 2) != 2 {
		t.Error("no")
	}
	if n, _ := Both(9, 1); n != 9 {
		t.Error("no")
	}
}
`})
	for _, test := range []struct{ list, want, err string }{
		{entry("if n < low {", "<= for <: n < low") + "\nexample/other/sample.go\nx\ny\nz\n", "1 can't be told apart", ""},
		{entry("if n < most {", "<= for <: n < most"), "", "is 0 mutants"},
		{entry("if n < low {", "<= for <: n < most"), "", "is 0 mutants"},
		{entry("n = max(n, 7)", "8 for 7 in max(n, 7)"), "", "is 2 mutants"},
		{entry("if n < low {", "negated: n < low"), "", "a test tells it apart"},
		{"example/sample.go\nif n < low {\n<= for <: n < low\n", "", "ends 3 lines"},
	} {
		var out strings.Builder
		o := options{seed: 1, workers: 2, factor: 1, memory: 4096, grace: 5 * time.Second}
		var err error
		if o.same, err = parseEquivalents(test.list); err == nil {
			_, err = run(t.Context(), o, []string{"."}, &out)
		}
		if test.err == "" && err != nil || test.err != "" && (err == nil || !strings.Contains(err.Error(), test.err)) {
			t.Errorf("%s: %v, want %q", test.list, err, test.err)
		}
		if !strings.Contains(out.String(), test.want) || test.want != "" && strings.Contains(out.String(), "n < low\n") {
			t.Errorf("%s: %s", test.list, out.String())
		}
	}
}

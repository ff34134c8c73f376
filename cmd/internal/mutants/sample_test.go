//go:build !race

package main

import (
	"regexp"
	"strings"
	"testing"
	"time"
)

// A score below the one asked for is a failure, a sample is as large as asked for, and the same seed draws the same
// one.
func TestSample(t *testing.T) {
	module(t, map[string]string{"sample.go": subject, "sample_test.go": subjectTest})
	draw := func(seed uint64) string {
		t.Helper()
		var out strings.Builder
		o := options{sample: 5, seed: seed, workers: 2, factor: 1, memory: 4096, grace: 5 * time.Second, atLeast: 101,
			match: `:(4|7|22|24):`} // none that hangs until its time is over
		if ok, err := run(t.Context(), o, []string{"."}, &out); err != nil || ok {
			t.Fatalf("a score of 101 %% was reached: %t, %v", ok, err)
		}
		if !strings.Contains(out.String(), "5 tried, ") {
			t.Errorf("not a sample of 5: %s", out.String())
		}
		return regexp.MustCompile(` in \S+\n$`).ReplaceAllString(out.String(), "")
	}
	first := draw(1)
	if again := draw(1); again != first {
		t.Errorf("the same seed gave another sample:\n%s\n%s", first, again)
	}
	if other := draw(2); other == first {
		t.Errorf("another seed gave the same sample:\n%s", first)
	}
}

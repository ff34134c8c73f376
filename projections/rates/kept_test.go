package rates

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestKept: the ways that Plan rejects are those whose p-value by Fisher's test is no more than the level, and nothing between two
// that are kept is rejected.
func TestKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		na, nb := rapid.Int64Range(1, 400).Draw(t, "first"), rapid.Int64Range(1, 400).Draw(t, "second")
		seen := rapid.Int64Range(0, na+nb).Draw(t, "seen")
		level := rapid.SampledFrom([]float64{0.001, 0.05, 0.3, 0.9}).Draw(t, "level")
		from, to := kept(na, nb, seen, level)
		h := sharing(na, nb, seen)
		for x := h.from; x <= h.to(); x++ {
			p := h.twoSided(x)
			if math.Abs(p-level) < 1e-9 {
				continue // rounding decides
			}
			if keeps := x >= from && x <= to; keeps != (p > level) {
				t.Fatalf("%d of %d, %d of %d: p %v, level %v; kept from %d to %d", x, na, seen-x, nb, p, level, from, to)
			}
		}
	})
}

func BenchmarkOpenings(b *testing.B) {
	for b.Loop() {
		Plan{A: 0.01, B: 0.03, Weight: 1, Level: 0.05, Power: 0.8}.Openings()
	}
}

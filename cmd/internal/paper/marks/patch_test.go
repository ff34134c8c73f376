package marks

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestClosing: what closing and opening give for windows of all sizes, also larger than the picture, is what looking at each
// window gives.
func TestClosing(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 400 {
		w, h, n := 1+r.IntN(14), 1+r.IntN(14), 1+r.IntN(17)
		v := make([]float32, w*h)
		for i := range v {
			v[i] = float32(r.IntN(9)) / 8
		}
		before, size := slices.Clone(v), fmt.Sprintf("%d by %d, windows of %d", w, h, n)
		if got, want := closing(v, w, h, n), each(each(v, w, h, n, slices.Max[[]float32]), w, h, n, slices.Min[[]float32]); !slices.Equal(got, want) {
			t.Fatalf("%s: %v is closed as %v, want %v", size, v, got, want)
		}
		if got, want := opening(v, w, h, n), each(each(v, w, h, n, slices.Min[[]float32]), w, h, n, slices.Max[[]float32]); !slices.Equal(got, want) {
			t.Fatalf("%s: %v is opened as %v, want %v", size, v, got, want)
		}
		if !slices.Equal(v, before) {
			t.Fatalf("%s: the picture itself was changed", size)
		}
	}
}

// each puts in place of each pixel what pick takes of the window around it.
func each(v []float32, w, h, n int, pick func([]float32) float32) []float32 {
	out, half := make([]float32, len(v)), n/2
	for j := range h {
		for i := range w {
			var in []float32
			for y := max(j-half, 0); y <= min(j+half, h-1); y++ {
				in = append(in, v[y*w+max(i-half, 0):y*w+min(i+half, w-1)+1]...)
			}
			out[j*w+i] = pick(in)
		}
	}
	return out
}

package marks

import (
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
)

// BenchmarkRead reads a full page as a scan with 200 dpi, and as a phone's twelve megapixels.
func BenchmarkRead(b *testing.B) {
	s := sheet(b, 60, nil)
	drawn, g := printed(b, s, paper.A4)
	full := markstest.Over(b, drawn[0], markstest.SVG(g, 1, written(g, 1, 900), 900))
	for _, way := range []markstest.Way{markstest.Ways()[0], markstest.TwelveMegapixels()} {
		m := markstest.Degraded(b, full, way, 900)
		b.Run(way.Name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Read(m, of(s)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

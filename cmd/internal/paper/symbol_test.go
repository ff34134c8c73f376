package paper

import (
	"fmt"
	"image"
	"image/color"
	"strings"
	"testing"
)

// TestSymbolOf: the symbol that a page draws is read by another decoder, of capitals and
// digits as of a key with small letters.
func TestSymbolOf(t *testing.T) {
	for _, want := range []string{"0000T7Q5M2WX8RJ4K9VZC3HB6NEGYDSAP1F2",
		"north/ledger+67552fa3+AbHfyEBu8IQV6IylZRsjldls5LJ4J4wQSVPOGnqORp/o"} {
		s, err := SymbolOf(want)
		if err != nil {
			t.Errorf("%s: %v", want, err)
			continue
		}
		const scale = 5
		g := image.NewGray(image.Rect(0, 0, s.Side*scale, s.Side*scale))
		for i := range g.Pix {
			g.Pix[i] = 255
		}
		for module := range strings.SplitSeq(strings.TrimPrefix(s.Path, "M"), "M") {
			var x, y int
			if _, err := fmt.Sscanf(module, "%d %dh1v1h-1z", &x, &y); err != nil {
				t.Fatalf("%q: %v", module, err)
			}
			for i := range scale * scale {
				g.SetGray(x*scale+i%scale, y*scale+i/scale, color.Gray{})
			}
		}
		if got := decode(t, g); got != "QR-Code:"+want && got != want {
			t.Errorf("read %q, want %q", got, want)
		}
	}
}

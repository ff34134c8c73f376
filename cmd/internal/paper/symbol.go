package paper

import (
	"fmt"
	"strings"
)

// Symbol is a QR symbol for a screen: the data of an SVG path in which a module is
// one unit wide, and the side of its square, with the quiet zone.
type Symbol struct {
	Path string
	Side int
}

// SymbolOf draws the symbol that paper has of a text.
func SymbolOf(text string) (Symbol, error) {
	b, err := symbolOf(text)
	if err != nil {
		return Symbol{}, err
	}
	n := b.Bounds().Dx()
	var path strings.Builder
	for j := range n {
		for i := range n {
			if r, _, _, _ := b.At(i, j).RGBA(); r == 0 {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", i+quiet, j+quiet)
			}
		}
	}
	return Symbol{Path: path.String(), Side: n + 2*quiet}, nil
}

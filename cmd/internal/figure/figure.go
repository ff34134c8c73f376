// Package figure is pictures that pages and prints have alike: lines, boxes, discs and texts in ink on white, told
// apart by shape, dash and shade and never by colour, so that they say the same in grey.
package figure

// Wide is how wide a picture is; its other measures are in the same unit. Text of size 13 is read well at that width
// on a page of A4.
const Wide = 720.0

// Figure is a picture. What it shows stands in a table beside it as well.
type Figure struct {
	ID, Title, Says string // Says tells how it is read
	H               float64
	Boxes           []Box // drawn first, then lines, discs and texts
	Lines           []Line
	Discs           []Disc
	Texts           []Text
}

// Box is a rectangle.
type Box struct {
	X, Y, W, H float64
	Shade      Shade
}

// Line is a straight line.
type Line struct {
	X1, Y1, X2, Y2 float64
	Thick          float64
	Dashed         bool
}

// Disc is a round mark.
type Disc struct {
	X, Y, R float64
	Shade   Shade
}

// Shade is how dark something is.
type Shade int

// The shades.
const (
	White Shade = iota
	Pale
	Black
)

// Anchor is which part of a text stands at its place.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Text is a line of text on its base line.
type Text struct {
	X, Y   float64
	Says   string
	Size   float64
	Anchor Anchor
	Bold   bool
	Room   float64 // it must not get wider
}

// Line draws one.
func (f *Figure) Line(x1, y1, x2, y2, thick float64, dashed bool) {
	f.Lines = append(f.Lines, Line{x1, y1, x2, y2, thick, dashed})
}

// Box draws one.
func (f *Figure) Box(x, y, w, h float64, s Shade) { f.Boxes = append(f.Boxes, Box{x, y, w, h, s}) }

// Disc draws one.
func (f *Figure) Disc(x, y, r float64, s Shade) { f.Discs = append(f.Discs, Disc{x, y, r, s}) }

// Text writes one.
func (f *Figure) Text(x, y, room float64, a Anchor, bold bool, says string) {
	const size = 13
	f.Texts = append(f.Texts, Text{X: x, Y: y, Says: says, Size: size, Anchor: a, Bold: bold, Room: room})
}

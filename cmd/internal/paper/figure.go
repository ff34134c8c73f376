package paper

import (
	"listbound/cmd/internal/figure"
)

// figure draws a picture with its upper left corner at x, y; scale is in millimetres by its unit.
func (c *canvas) figure(f *figure.Figure, x, y, scale float64) {
	at := func(px, py float64) (float64, float64) { return x + px*scale, y + py*scale }
	for _, b := range f.Boxes {
		bx, by := at(b.X, b.Y)
		switch b.Shade {
		case figure.White:
			c.white(bx, by, b.W*scale, b.H*scale)
		case figure.Pale:
			c.grey(bx, by, b.W*scale, b.H*scale)
			c.box(bx, by, b.W*scale, b.H*scale, 0.2)
		case figure.Black:
			c.pdf.Rect(bx, by, b.W*scale, b.H*scale, "F")
		}
	}
	for _, l := range f.Lines {
		x1, y1 := at(l.X1, l.Y1)
		x2, y2 := at(l.X2, l.Y2)
		if l.Dashed {
			const dash, gap = 1.6, 1.0
			c.pdf.SetDashPattern([]float64{dash, gap}, 0)
		}
		c.line(x1, y1, x2, y2, l.Thick*scale)
		if l.Dashed {
			c.pdf.SetDashPattern(nil, 0)
		}
	}
	for _, d := range f.Discs {
		dx, dy := at(d.X, d.Y)
		c.pdf.SetLineWidth(1.5 * scale)
		style := "D"
		switch d.Shade {
		case figure.White:
			c.pdf.SetFillColor(255, 255, 255)
			style = "FD"
		case figure.Black:
			style = "F"
		}
		c.pdf.Circle(dx, dy, d.R*scale, style)
		c.black()
	}
	for i := range f.Texts {
		c.figureText(&f.Texts[i], x, y, scale)
	}
}

// white takes away what lies below.
func (c *canvas) white(x, y, w, h float64) {
	c.pdf.SetFillColor(255, 255, 255)
	c.pdf.Rect(x, y, w, h, "F")
	c.black()
}

// figureText writes a text of a picture: smaller, where it would be wider than its room.
func (c *canvas) figureText(t *figure.Text, x, y, scale float64) {
	face, says := regular, shown(t.Says)
	if t.Bold {
		face = bold
	}
	size := t.Size * scale / mmPerPoint
	c.font(face, size)
	if w := c.width(says); t.Room > 0 && w > t.Room*scale {
		size *= t.Room * scale / w
		c.font(face, size)
	}
	left := x + t.X*scale
	switch t.Anchor {
	case figure.Middle:
		left -= c.width(says) / 2
	case figure.End:
		left -= c.width(says)
	}
	c.text(left, y+t.Y*scale-0.95*size*mmPerPoint, says)
}

package board

import (
	"html/template"
	"unicode/utf8"

	drawing "listbound/cmd/internal/figure"
)

// drawFigure is a picture that prints have too.
func drawFigure(f *drawing.Figure) template.HTML {
	s := &svg{w: drawing.Wide, h: f.H}
	fills := map[drawing.Shade]string{drawing.White: white, drawing.Pale: pale, drawing.Black: ink}
	for _, b := range f.Boxes {
		stroke := ink
		if b.Shade == drawing.White {
			stroke = "none"
		}
		s.rect(b.X, b.Y, b.W, b.H, fills[b.Shade], stroke)
	}
	for _, l := range f.Lines {
		if l.Dashed {
			s.line(l.X1, l.Y1, l.X2, l.Y2, ink, l.Thick, `stroke-dasharray="7 4"`)
		} else {
			s.line(l.X1, l.Y1, l.X2, l.Y2, ink, l.Thick)
		}
	}
	for _, d := range f.Discs {
		s.circle(d.X, d.Y, d.R, fills[d.Shade], ink, 1.5)
	}
	anchors := map[drawing.Anchor]string{drawing.Start: "start", drawing.Middle: "middle", drawing.End: "end"}
	for _, t := range f.Texts {
		const share = 0.56 // of its size, a letter on average
		size := t.Size
		if n := float64(utf8.RuneCountInString(t.Says)) * share; t.Room > 0 && n*size > t.Room {
			size = max(t.Room/n, 9)
		}
		var more []string
		if t.Bold {
			more = append(more, bold)
		}
		s.text(t.X, t.Y, anchors[t.Anchor], size, ink, t.Says, more...)
	}
	return s.picture(f.ID, f.Title, f.Says)
}

package markstest

import (
	"fmt"
	"math"

	"listbound/cmd/internal/paper"
)

// strokes is a sign as a hand draws it, in a square from the upper left corner; several strokes, each of points.
type strokes [][][2]float64

// digits are the figures as several hands write them, the last of each in a hurry: strokes lean, overshoot and don't
// quite meet. They were drawn for this test from memory of how people write, not taken from a collection of
// handwriting.
var digits = map[byte][]strokes{
	'0': {{arc(0.5, 0.5, 0.5, 0.5, -90, 270)}, {arc(0.5, 0.5, 0.36, 0.5, -70, 275)}, {arc(0.5, 0.5, 0.5, 0.5, -60, 250)},
		{arc(0.5, 0.5, 0.5, 0.5, -90, 280), {{0.85, 0.1}, {0.15, 0.9}}},
		{{{0.75, 0.08}, {0.3, 0.15}, {0.1, 0.7}, {0.4, 1}, {0.8, 0.75}, {0.9, 0.3}, {0.55, 0}}}},
	'1': {{{{0.5, 0}, {0.5, 1}}}, {{{0.62, 0}, {0.38, 1}}}, {{{0.1, 0.4}, {0.6, 0}, {0.55, 1}}},
		{{{0.25, 0.25}, {0.55, 0}, {0.5, 1}}, {{0.2, 1}, {0.8, 1}}}, {{{0.05, 0.6}, {0.65, 0}, {0.5, 1}}},
		{{{0, 0.8}, {0.75, 0}, {0.65, 1}}}},
	'2': {{{{0.05, 0.25}, {0.3, 0}, {0.75, 0.03}, {0.9, 0.3}, {0.5, 0.65}, {0, 1}}, {{0, 1}, {1, 0.97}}},
		{{{0.1, 0.2}, {0.5, 0}, {0.85, 0.25}, {0.6, 0.6}, {0.2, 0.9}, {0.1, 0.8}, {0.4, 0.8}, {1, 1}}},
		{{{0, 0.05}, {0.9, 0}, {0, 1}, {0.95, 1}}},
		{{{0.05, 0.3}, {0.4, 0}, {0.8, 0.2}, {0.05, 1}, {1, 0.85}}}},
	'3': {{{{0.1, 0.1}, {0.5, 0}, {0.9, 0.2}, {0.7, 0.45}, {0.4, 0.48}}, {{0.4, 0.48}, {0.9, 0.6}, {0.85, 0.9}, {0.4, 1}, {0, 0.85}}},
		{{{0.1, 0}, {0.9, 0}, {0.45, 0.42}, {0.9, 0.7}, {0.6, 1}, {0.05, 0.9}}},
		{{{0.05, 0.2}, {0.55, 0}, {0.75, 0.25}, {0.35, 0.5}, {0.85, 0.65}, {0.5, 1}, {0, 0.92}}}},
	'4': {{{{0.6, 0}, {0, 0.65}, {1, 0.65}}, {{0.7, 0.2}, {0.68, 1}}}, {{{0.2, 0}, {0.1, 0.5}, {0.9, 0.5}}, {{0.8, 0}, {0.75, 1}}},
		{{{0.7, 1}, {0.72, 0}, {0, 0.7}, {1, 0.7}}},
		{{{0.4, 0}, {0, 0.6}, {0.95, 0.52}}, {{0.8, 0.25}, {0.5, 1}}},
		{{{0.15, 0.05}, {0.05, 0.5}, {0.9, 0.45}}, {{0.95, 0}, {0.6, 1}}}},
	'5': {{{{0.9, 0}, {0.2, 0.02}, {0.15, 0.42}, {0.7, 0.4}, {0.95, 0.7}, {0.6, 1}, {0, 0.93}}},
		{{{0.25, 0}, {0.2, 0.45}, {0.8, 0.5}, {0.85, 0.85}, {0.1, 1}}, {{0.25, 0}, {1, 0}}},
		{{{1, 0}, {0.35, 0.03}, {0.15, 0.45}, {0.65, 0.42}, {0.8, 0.75}, {0, 0.95}}}},
	'6': {{{{0.8, 0}, {0.25, 0.35}, {0.05, 0.75}, {0.45, 1}, {0.9, 0.78}, {0.6, 0.5}, {0.1, 0.7}}},
		{{{0.6, 0}, {0.1, 0.5}, {0.2, 0.95}, {0.8, 0.95}, {0.85, 0.6}, {0.4, 0.55}, {0.12, 0.75}}},
		{{{0.8, 0}, {0.15, 0.6}, {0.15, 0.95}, {0.6, 0.98}, {0.75, 0.65}, {0.35, 0.65}}}},
	'7': {{{{0, 0}, {1, 0}, {0.35, 1}}}, {{{0.05, 0.05}, {0.95, 0}, {0.4, 1}}, {{0.3, 0.5}, {0.95, 0.48}}}, {{{0, 0.2},
		{0, 0}, {0.9, 0}, {0.6, 1}}}, {{{0.05, 0.12}, {0.95, 0}, {0.3, 1}}, {{0.2, 0.6}, {0.85, 0.4}}}},
	'8': {{arc(0.5, 0.25, 0.35, 0.25, 90, 450), arc(0.5, 0.75, 0.45, 0.25, -90, 270)},
		{{{0.85, 0.1}, {0.4, 0}, {0.15, 0.25}, {0.8, 0.7}, {0.5, 1}, {0.1, 0.8}, {0.8, 0.3}, {0.85, 0.1}}},
		{{{0.8, 0.15}, {0.3, 0}, {0.2, 0.25}, {0.8, 0.75}, {0.4, 1}, {0.15, 0.75}, {0.9, 0.1}}}},
	'9': {{arc(0.5, 0.28, 0.4, 0.28, 0, 360), {{0.9, 0.28}, {0.85, 0.7}, {0.6, 1}}},
		{{{0.9, 0.1}, {0.4, 0}, {0.05, 0.3}, {0.45, 0.52}, {0.9, 0.15}, {0.9, 1}}}, {arc(0.5, 0.25, 0.4, 0.25, -20,
			320), {{0.9, 0.15}, {0.3, 1}}}, {{{0.8, 0.12}, {0.35, 0}, {0.1, 0.35}, {0.45, 0.5}, {0.85, 0.05}, {0.5, 1}}}},
	'-': {{{{0, 0.5}, {1, 0.5}}}, {{{0, 0.55}, {1, 0.42}}}},
}

// arc is a part of an ellipse.
func arc(cx, cy, rx, ry, from, to float64) (out [][2]float64) {
	for a := from; a < to+1; a += 22.5 {
		s, c := math.Sincos(min(a, to) * math.Pi / 180)
		out = append(out, [2]float64{cx + rx*c, cy + ry*s})
	}
	return out
}

// inBox writes a number into the box, by hand or, now and then, typeset in italics.
func (p *pen) inBox(text string, box paper.Rect) {
	cx, cy := p.wobble(box.X+box.W/2, 0.3), p.wobble(box.Y+box.H/2, 0.3)
	height := box.H * (0.55 + 0.35*p.Float64())
	if p.IntN(4) == 0 && text != "-" {
		fmt.Fprintf(p.out, `<text x="%.3f" y="%.3f" text-anchor="middle" font-family="DejaVu %s" font-style="italic" font-size="%.2f" `+
			`fill="rgb(%d,%d,%d)">%s</text>`+"\n", cx, cy+height/2, []string{"Sans", "Serif"}[p.IntN(2)], height*1.37,
			p.grey, p.grey, p.grey, text)
		return
	}
	slant := 0.3 * p.Float64()
	width := height * (0.5 + 0.25*p.Float64())
	if len(text) > 1 {
		width = height * 0.42
	}
	was := p.width
	p.width = min(p.width, 0.55) // nobody gets a figure into so small a box with a marker
	for i := range len(text) {
		hands := digits[text[i]]
		left := cx + (float64(i)-float64(len(text))/2)*1.2*width + 0.1*width
		for _, s := range hands[p.IntN(len(hands))] {
			points := make([][2]float64, len(s))
			for k, q := range s {
				points[k] = [2]float64{left + q[0]*width + slant*(0.5-q[1])*height, cy + (q[1]-0.5)*height}
			}
			p.line(points)
		}
	}
	p.width = was
}

// line goes through points with less of a wobble than stroke: it is one figure.
func (p *pen) line(points [][2]float64) {
	fmt.Fprintf(p.out,
		`<polyline fill="none" stroke-linecap="round" stroke-linejoin="round" stroke="rgb(%d,%d,%d)" stroke-width="%.3f" points="`,
		p.grey, p.grey, p.grey, p.width)
	for _, q := range points {
		fmt.Fprintf(p.out, "%.3f,%.3f ", p.wobble(q[0], 0.06), p.wobble(q[1], 0.06))
	}
	p.out.WriteString("\"/>\n")
}

// taken takes a mark in a box back without leaving it: crossed out, scribbled over, or with a ring round it.
func (p *pen) taken(kind Kind, x, y, side float64) {
	s := side / 2
	switch kind {
	case CrossedOut:
		for _, k := range []float64{-0.3, 0.25} {
			p.stroke([2]float64{x - 0.85*s, y + (k-0.35)*s}, [2]float64{x + 0.85*s, y + (k+0.35)*s})
		}
	case Scribbled:
		at := [][2]float64{}
		for k := range 9 {
			at = append(at, [2]float64{x + s*float64(k%2*2-1)*1.25, y + s*(-1.2+0.3*float64(k))})
		}
		p.line(at)
	case Ringed:
		r := s * (1.35 + 0.4*p.Float64())
		p.line(arc(x, y, 1.1*r, r, -100, 270))
	}
}

// Through is how a whole column is struck out.
type Through string

// The ways of it.
const (
	LineDown Through = "line down"
	Wave     Through = "wave"
	BigX     Through = "big X"
)

// StruckColumn is what strikes the rows of a page out in columns that follow each other, to be laid over SVG's.
func StruckColumn(g paper.Geometry, page int, how Through, columns ...paper.Field) string {
	rows := g.Pages[page-1].Rows
	top, bottom := rows[0].Y+1, rows[len(rows)-1].Y+5
	first, last := columns[0], columns[len(columns)-1]
	x := first.X + 3.7 // through the boxes
	path := func(d string) string {
		return `<path fill="none" stroke="rgb(30,30,30)" stroke-linecap="round" stroke-width="0.5" d="` + d + `"/>` + "\n"
	}
	switch how {
	case Wave:
		d := fmt.Sprintf("M%.2f %.2f", x, top)
		for i, y := 0, top; y < bottom; i, y = i+1, y+9 {
			d += fmt.Sprintf(" Q%.2f %.2f %.2f %.2f", x+float64(i%2*2-1)*2.6, y+4.5, x, min(y+9, bottom))
		}
		return path(d)
	case BigX:
		return path(fmt.Sprintf("M%.2f %.2f L%.2f %.2f", first.X+1, top, last.X+last.W-1, bottom)) +
			path(fmt.Sprintf("M%.2f %.2f L%.2f %.2f", last.X+last.W-1, top, first.X+1, bottom))
	default:
		return path(fmt.Sprintf("M%.2f %.2f L%.2f %.2f", x, top, x+0.6, bottom))
	}
}

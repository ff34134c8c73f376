// Package markstest fills printed sheets in by program and makes pictures of them, for tests. It shares nothing with
// what reads them: librsvg draws the marks, poppler the pages, ImageMagick bends, blurs and copies. Nothing here was
// ever on paper; what real pens, printers and cameras do is left to a site's own test page.
package markstest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

// Kind is what somebody did with a box.
type Kind string

// The kinds. The first ones mean that all is as expected; of the others a person has to be asked.
const (
	Tick     Kind = "tick"
	Cross    Kind = "cross"
	Blob     Kind = "blob"
	Overlong Kind = "overlong"
	Slash    Kind = "slash"
	Pencil   Kind = "pencil" // thin, half as dark
	Pale     Kind = "pale"   // ballpoint at 30 % grey

	Nothing Kind = "empty"
	Dot     Kind = "dot"    // of a pen that rested there
	Erased  Kind = "erased" // half
	Struck  Kind = "struck" // ticked, and a line through it
	Beside  Kind = "beside" // a tick next to the box
	Number  Kind = "number" // written on the line, the box left empty
	Both    Kind = "both"   // ticked, and a number beside it

	InBox      Kind = "in box"      // the number stands in the box
	CrossedOut Kind = "crossed out" // a tick, within its box
	Scribbled  Kind = "scribbled"   // over a tick
	Ringed     Kind = "ringed"      // a ring round a tick
)

// Clear are the kinds that nobody who looks would doubt.
var Clear = []Kind{Tick, Cross, Blob, Overlong, Slash, Pencil, Pale}

// Doubtful are the kinds that look like a tick to who measures ink only.
var Doubtful = []Kind{InBox, CrossedOut, Scribbled, Ringed}

// Mark is what is drawn for one line and stage; of goods with the line of their row.
type Mark struct {
	Line  int64
	Stage events.Stage
	Kind  Kind
	Hand  Kind   // how this person ticks, for kinds that hold a tick
	Text  string // the number
}

// pen draws wobbly strokes.
type pen struct {
	*rand.Rand
	out   *strings.Builder
	width float64
	grey  int // 0 is black
}

func (p *pen) wobble(v, by float64) float64 { return v + by*(2*p.Float64()-1) }

// stroke is a smooth line through points, each a little off.
func (p *pen) stroke(points ...[2]float64) {
	fmt.Fprintf(p.out, `<path fill="none" stroke-linecap="round" stroke="rgb(%d,%d,%d)" stroke-width="%.3f" d="`,
		p.grey, p.grey, p.grey, p.width)
	last := points[0]
	for i, q := range points {
		q = [2]float64{p.wobble(q[0], 0.12), p.wobble(q[1], 0.12)}
		if i == 0 {
			fmt.Fprintf(p.out, "M%.3f %.3f", q[0], q[1])
		} else {
			m := [2]float64{p.wobble((q[0]+last[0])/2, 0.2), p.wobble((q[1]+last[1])/2, 0.2)}
			fmt.Fprintf(p.out, "Q%.3f %.3f %.3f %.3f", m[0], m[1], q[0], q[1])
		}
		last = q
	}
	p.out.WriteString("\"/>\n")
}

// SVG is what was written on a page, in millimetres of it.
func SVG(g paper.Geometry, page int, marks []Mark, seed uint64) string {
	var out strings.Builder
	fmt.Fprintf(&out, `<svg xmlns="http://www.w3.org/2000/svg" width="%.2fmm" height="%.2fmm" viewBox="0 0 %.2f %.2f">`+"\n",
		g.Width, g.Height, g.Width, g.Height)
	random := rand.New(rand.NewPCG(seed, 77))
	width := []float64{0.35, 0.45, 0.55, 0.7}[random.IntN(4)]
	for _, m := range marks {
		for _, r := range g.Pages[page-1].AllRows() {
			if r.Line != m.Line {
				continue
			}
			for _, f := range g.FieldsOf(r) {
				if f.Stage == m.Stage {
					p := &pen{Rand: random, out: &out, width: width, grey: random.IntN(60)}
					p.draw(m, r.Tick(f), r.Write(f))
				}
			}
		}
	}
	out.WriteString("</svg>\n")
	return out.String()
}

func (p *pen) draw(m Mark, box, line paper.Rect) {
	hand := m.Kind
	switch m.Kind {
	case Nothing:
		return
	case Struck, Both, Beside, Erased, CrossedOut, Scribbled, Ringed:
		hand = m.Hand
	}
	cx, cy := p.wobble(box.X+box.W/2, 0.4), p.wobble(box.Y+box.H/2, 0.4)
	switch m.Kind {
	case Number:
		p.number(m.Text, line)
		return
	case InBox:
		p.inBox(m.Text, box)
		return
	case Dot:
		fmt.Fprintf(p.out, `<circle cx="%.3f" cy="%.3f" r="%.3f" fill="rgb(%d,%d,%d)"/>`+"\n", p.wobble(cx, 0.8), p.wobble(cy, 0.8),
			0.22+0.1*p.Float64(), p.grey, p.grey, p.grey)
		return
	case Beside:
		cx = box.X + box.W + 2.6
	case Erased:
		p.erased(cx, cy)
		return
	}
	p.tick(hand, cx, cy, box.W)
	p.taken(m.Kind, cx, cy, box.W)
	if m.Kind == Struck {
		y := p.wobble(cy, 0.6)
		p.stroke([2]float64{box.X - 1.2, y + 0.2}, [2]float64{cx, y}, [2]float64{box.X + box.W + 1.6, y - 0.2})
	}
	if m.Kind == Both {
		p.number(m.Text, line)
	}
}

// tick draws how a hand says yes.
func (p *pen) tick(hand Kind, x, y, side float64) {
	s := side / 2 * (0.75 + 0.2*p.Float64())
	switch hand {
	case Cross:
		p.stroke([2]float64{x - s, y - s}, [2]float64{x + s, y + s})
		p.stroke([2]float64{x + s, y - s}, [2]float64{x - s, y + s})
	case Blob:
		for k := -0.8; k <= 0.8; k += 0.2 {
			p.stroke([2]float64{x - 0.85*s, y + k*s}, [2]float64{x + 0.85*s, y + (k+0.1)*s})
		}
	case Overlong:
		p.stroke([2]float64{x - s, y}, [2]float64{x - 0.3*s, y + s}, [2]float64{x + s + 2.4*p.Float64(), y - s - 1.2})
	case Slash:
		p.stroke([2]float64{x - s, y + s}, [2]float64{x + s, y - s})
	case Pencil, Pale:
		was, grey := p.width, p.grey
		if hand == Pencil {
			p.width, p.grey = 0.3, 128
		} else {
			p.width, p.grey = max(p.width, 0.4), 178
		}
		p.tick(Tick, x, y, side)
		p.width, p.grey = was, grey
	default:
		p.stroke([2]float64{x - s, y - 0.1*s}, [2]float64{x - 0.3*s, y + 0.9*s}, [2]float64{x + s, y - s})
	}
}

// erased is a tick that was rubbed out badly: faint bits of it, smeared.
func (p *pen) erased(x, y float64) {
	was, grey := p.width, p.grey
	p.width, p.grey = 0.5, 205+p.IntN(12)
	for range 3 {
		dx, dy := p.wobble(0, 1), p.wobble(0, 1)
		p.stroke([2]float64{x + dx - 0.6, y + dy}, [2]float64{x + dx + 0.6, y + dy - 0.5})
	}
	p.stroke([2]float64{x - 0.8, y + 0.3}, [2]float64{x - 0.2, y + 1.1}, [2]float64{x + 1.2, y - 1.1})
	p.width, p.grey = was, grey
}

func (p *pen) number(text string, line paper.Rect) {
	size := 4.4 + p.Float64()
	x := line.X + 1.2 + math.Max(0, line.W-8)*p.Float64()
	fmt.Fprintf(p.out, `<text x="%.3f" y="%.3f" font-family="DejaVu Sans" font-style="italic" font-size="%.2f" `+
		`fill="rgb(%d,%d,%d)">%s</text>`+"\n", x, p.wobble(line.Y+line.H-1.3, 0.3), size, p.grey, p.grey, p.grey, text)
}

// Text is something typed or written, with its lower left corner in millimetres of the page.
func Text(s string, x, y, size float64) string {
	return fmt.Sprintf(`<text x="%.2f" y="%.2f" font-family="DejaVu Sans" font-style="italic" font-size="%.2f">%s</text>`+"\n",
		x, y, size, s)
}

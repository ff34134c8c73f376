package marks

import (
	"image"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

const (
	cutPerMM   = 10.0 // pixels of a cut-out
	goodsPerMM = 7.0  // of one of a whole row
	stripPerMM = 6.0
)

// cutOuts gives cells, places and the strip their pictures. They are made when they are asked for.
func (p *Page) cutOuts(g *gray, w *warp, layout paper.Geometry, page paper.Page, m *sheetMarks) {
	cut := func(at paper.Rect, perMM float64) func() image.Image {
		return func() image.Image { return straightened(g, w, at, perMM) }
	}
	for i := range p.Rows {
		for k := range p.Rows[i].Cells {
			c := m.cells[i][k].cell
			p.Rows[i].Cells[k].cut = cut(paper.Rect{X: c.X - 1, Y: c.Y - 1.5, W: c.W + 2, H: c.H + 3}, cutPerMM)
		}
	}
	for i, r := range page.Goods {
		first, last := layout.GoodsFields[0], layout.GoodsFields[len(layout.GoodsFields)-1]
		at := paper.Rect{X: first.X - 0.5, Y: r.Y - 1, W: last.X + last.W - first.X + 1, H: r.H + 2}
		p.Goods[i].cut = cut(at, goodsPerMM)
		for k := range p.Goods[i].Cells {
			c := m.cells[len(page.Rows)+i][k].cell
			p.Goods[i].Cells[k].cut = cut(paper.Rect{X: c.X - 1, Y: c.Y - 1.5, W: c.W + 2, H: c.H + 3}, cutPerMM)
		}
	}
	for _, at := range page.Places {
		if at.Name != paper.PlacePatient {
			p.Fields = append(p.Fields, field(g, w, at, m, cut(at.Rect, cutPerMM)))
		}
	}
	for k, s := range page.Signs {
		for _, f := range m.fields {
			if f.Stage != events.StageAdded {
				at := paper.Place{Name: [3]string{SignCounter, SignWitness, SignTime}[k] + string(f.Stage),
					Rect: paper.Rect{X: f.X, Y: s.Y, W: f.W, H: s.H}}
				p.Fields = append(p.Fields, field(g, w, at, m, cut(at.Rect, cutPerMM)))
			}
		}
	}
	first, last := m.fields[0], m.fields[len(m.fields)-1]
	end := m.rows[len(m.rows)-1]
	p.strip = cut(paper.Rect{X: first.X, Y: page.Table.Y, W: last.X + last.W - first.X, H: end.Y + end.H - page.Table.Y}, stripPerMM)
}

// The names of fields below the columns begin so; the stage's name follows.
const (
	SignCounter = "counter-"
	SignWitness = "witness-"
	SignTime    = "time-"
)

// field looks whether something is in a place, below its caption.
func field(g *gray, w *warp, at paper.Place, m *sheetMarks, cut func() image.Image) Field {
	const caption = 3.2
	r := at.Rect.Inset(0.6)
	if _, isSign := signed(at.Name); !isSign {
		r.Y, r.H = r.Y+caption, r.H-caption
	}
	s := &seen{at: at.Rect}
	p := straighten(g, w, at.Rect, perMM)
	p.smooth()
	s.w, s.h = p.w, p.h
	white := p.white()
	s.dark = make([]float32, len(p.v))
	for i, v := range p.v {
		s.dark[i] = max(0, 1-v/white[i])
	}
	s.stroke = s.dark
	in := s.ink(r, m.frame, max(threshold, noiseFactor*m.noise/m.frame))
	f := Field{Name: at.Name, Written: in.longest >= longWritten, cut: cut}
	if f.Written && (at.Name == paper.PlaceCounter || at.Name == paper.PlaceWitness) {
		f.Symbol = labelIn(straightened(g, w, at.Rect, cutPerMM))
	}
	return f
}

func signed(name string) (string, bool) {
	for _, s := range []string{SignCounter, SignWitness, SignTime} {
		if len(name) > len(s) && name[:len(s)] == s {
			return name[len(s):], true
		}
	}
	return "", false
}

// labelIn reads the symbol of a label that was stuck into a place, "" where none can be read.
func labelIn(m *image.Gray) string {
	d, ok := detect(&gray{pix: m.Pix, w: m.Rect.Dx(), h: m.Rect.Dy()})
	if !ok {
		return ""
	}
	return d.text
}

func straightened(g *gray, w *warp, at paper.Rect, perMM float64) *image.Gray {
	out := image.NewGray(image.Rect(0, 0, int(at.W*perMM), int(at.H*perMM)))
	for j := range out.Rect.Dy() {
		for i := range out.Rect.Dx() {
			v, _ := g.at(w.apply(paper.Point{X: at.X + (float64(i)+0.5)/perMM, Y: at.Y + (float64(j)+0.5)/perMM}))
			out.Pix[j*out.Stride+i] = uint8(v + 0.5)
		}
	}
	return out
}

package marks

import (
	"errors"
	"image"
	"math"

	"listbound/cmd/internal/paper"
)

// What a picture must have for its marks to be told from paper. Below it the errors began that read a struck-out box as
// ticked (see the tests' table).
const (
	leastPixels   = 2.9 // a millimetre
	leastDarkness = 0.22
	leastSharp    = 0.40 // a blur of 1.5 pixels at 150 dpi leaves 0.46, one of 2.5 leaves 0.37
	leastDots     = 0.6  // share of the edge's
	widestGap     = 4    // dots in a row that are not seen
)

// Read finds one printed sheet's page in a picture and reads its marks. Find is asked for the sheet that the page's
// symbol names, once and before a box is looked at; its error is returned as it is. A picture that can't be read is
// refused with a *Refusal.
func Read(picture image.Image, find Find) (*Page, error) {
	full, g, p, err := locate(picture)
	if err != nil {
		return nil, err
	}
	if others := furtherSheets(g, p); others != nil {
		return nil, &Refusal{Cause: SeveralSheets, Symbols: append([]Symbol{p.symbol}, others.read...)}
	}
	refuse := func(c Cause, has, needs float64) error {
		return &Refusal{Cause: c, Symbols: []Symbol{p.symbol}, Has: has, Needs: needs}
	}
	density := math.Inf(1)
	middle := paper.Point{X: p.layout.Width / 2, Y: p.layout.Height / 2}
	for _, c := range []paper.Point{p.layout.Dots.Top[0], p.layout.Rings[2], p.layout.Rings[3], middle} {
		density = min(density, p.pixelsPerMillimetre(c)*full)
	}
	if density < leastPixels {
		return nil, refuse(TooCoarse, density, leastPixels)
	}
	sheet, err := find(p.symbol)
	if err != nil {
		return nil, err
	}
	geometry, err := paper.GeometryOf(sheet, p.symbol.Layout)
	if err != nil {
		return nil, err
	}
	if len(geometry.Pages) != p.symbol.Pages {
		return nil, refuse(OldLayout, float64(len(geometry.Pages)), float64(p.symbol.Pages))
	}
	w := unbend(g, p)
	if float64(w.found) < leastDots*float64(w.printed) || w.widest > widestGap {
		return nil, refuse(Bent, float64(w.found), float64(w.printed))
	}
	at := geometry.Pages[p.symbol.Page-1]
	m := lookAll(g, w, geometry, at)
	if m.frame < leastDarkness {
		return nil, refuse(TooPale, m.frame, leastDarkness)
	}
	if m.sharp < leastSharp {
		return nil, refuse(TooPale, m.sharp, leastSharp)
	}
	if m.misplaced(g, w) {
		return nil, refuse(OtherPrint, 0, 0)
	}
	m.measure()
	out := &Page{Symbol: p.symbol, PixelsPerMillimetre: density, Darkness: m.frame, Sharpness: m.sharp, Dots: w.found, DotsOf: w.printed}
	for _, f := range m.fields {
		out.Stages = append(out.Stages, f.Stage)
	}
	m.greyLost = m.shade(g, w, at) < leastShade
	out.GreyLost = m.greyLost
	out.Rows, out.Goods, out.Blank = m.verdicts()
	if out.GreyLost && m.faint(out.Rows) {
		return nil, refuse(PaleInk, 0, 0)
	}
	out.cutOuts(g, w, geometry, at, m)
	return out, nil
}

// locate finds the page, in a picture made so coarse that it costs no more than it tells. full is by how much.
func locate(picture image.Image) (full float64, g *gray, p *pose, err error) {
	b := picture.Bounds()
	if b.Dx() < 100 || b.Dy() < 100 {
		return 0, nil, nil, &Refusal{Cause: NoSheet}
	}
	g = brightness(picture, 1)
	found := rings(g)
	out, seen, ok := findPage(g, found, false)
	if !ok {
		if out, err = bySymbol(g, found, seen); err != nil {
			return 0, nil, nil, coarse(g, err)
		}
	}
	n := max(1, int(out.pixelsPerMillimetre(paper.Point{X: out.layout.Width / 2, Y: out.layout.Height / 2})/5.5))
	if n > 1 {
		g = g.shrunk(n)
		for i := range 6 {
			out.homography[i] /= float64(n)
		}
	}
	return float64(n), g, &out, nil
}

// bySymbol finds the page from its symbol where its corner marks were not enough, or says what is wrong.
func bySymbol(g *gray, found []ring, seen bool) (out pose, err error) {
	d, ok := detect(g.without(found))
	if !ok {
		if seen {
			if _, _, turned := findPage(g, found, true); turned {
				return out, &Refusal{Cause: Mirrored}
			}
			return out, &Refusal{Cause: SymbolUnread}
		}
		round := 0
		for _, r := range found {
			if r.round {
				round++
			}
		}
		if round >= 2 {
			return out, &Refusal{Cause: SymbolUnread}
		}
		return out, &Refusal{Cause: NoSheet}
	}
	s, ok := symbolOf(d.text)
	switch {
	case !ok && d.text == paper.BlankFormSymbol:
		return out, &Refusal{Cause: BlankForm}
	case !ok:
		return out, &Refusal{Cause: NoSheet}
	}
	if d.mirrored {
		return out, &Refusal{Cause: Mirrored, Symbols: []Symbol{s}}
	}
	layout, known := paper.Skeleton(s.Layout)
	if !known {
		return out, &Refusal{Cause: OldLayout, Symbols: []Symbol{s}}
	}
	if out, ok = poseBySymbol(g, found, d, s); ok {
		return out, nil
	}
	if leaves(g, layout, d) {
		return out, &Refusal{Cause: CutOff, Symbols: []Symbol{s}}
	}
	return out, &Refusal{Cause: CornersUnseen, Symbols: []Symbol{s}}
}

// coarse says of a picture that is too small for any page why nothing was found in it.
func coarse(g *gray, err error) error {
	long := math.Inf(1) // the shortest of the pages
	for _, l := range skeletons() {
		long = min(long, l.Height)
	}
	r, refused := errors.AsType[*Refusal](err)
	has := float64(max(g.w, g.h)) / long
	if !refused || has >= leastPixels || r.Cause != NoSheet && r.Cause != SymbolUnread && r.Cause != CornersUnseen {
		return err
	}
	return &Refusal{Cause: TooCoarse, Symbols: r.Symbols, Has: has, Needs: leastPixels}
}

// leaves reports whether a corner of the page lies outside the picture, as far as one symbol tells.
func leaves(g *gray, layout paper.Geometry, d detected) bool {
	inside := func(at paper.Rect, size float64) bool {
		m := at.W / (size + 2*quietZone)
		near, far := quietZone*m+3.5*m, quietZone*m+(size-3.5)*m
		h := affine([]pair{{paper.Point{X: at.X + near, Y: at.Y + near}, d.finders[0][0], d.finders[0][1]},
			{paper.Point{X: at.X + far, Y: at.Y + near}, d.finders[1][0], d.finders[1][1]},
			{paper.Point{X: at.X + near, Y: at.Y + far}, d.finders[2][0], d.finders[2][1]}})
		for _, c := range layout.Rings {
			x, y := h.apply(c)
			slack := 8 * h.pixelsPerMillimetre(c) // perspective is not in it
			if x < -slack || y < -slack || x > float64(g.w)+slack || y > float64(g.h)+slack {
				return false
			}
		}
		return true
	}
	return !inside(layout.Symbol, firstSize) && !inside(layout.Second, secondSize)
}

// others are signs of a further sheet in the picture.
type others struct{ read []Symbol }

// furtherSheets looks for corner marks where this page has none, and for symbols beside it.
func furtherSheets(g *gray, p *pose) *others {
	back := p.inverse()
	size := paper.RingDiameters[0] * p.pixelsPerMillimetre(paper.Point{X: p.layout.Width / 2, Y: p.layout.Height / 2})
	strange, all := 0, rings(g)
	for _, r := range all {
		if r.diameter < 0.6*size || r.diameter > 1.7*size {
			continue
		}
		x, y := back.apply(paper.Point{X: r.x, Y: r.y})
		on := x > -6 && y > -6 && x < p.layout.Width+6 && y < p.layout.Height+6
		own := false
		for _, c := range p.layout.Rings {
			own = own || math.Hypot(x-c.X, y-c.Y) < 8
		}
		if !on || r.round && !own && !within(p.layout.Symbol, x, y) && !within(p.layout.Second, x, y) {
			strange++
		}
	}
	if strange == 0 {
		return nil
	}
	// Without this page, whatever symbol is left is another's.
	rest := g.without(all)
	for j := range rest.h {
		for i := range rest.w {
			x, y := back.apply(paper.Point{X: float64(i) + 0.5, Y: float64(j) + 0.5})
			if within(p.layout.Symbol, x, y) || within(p.layout.Second, x, y) {
				rest.pix[j*rest.w+i] = 255
			}
		}
	}
	out := &others{}
	if d, ok := detect(rest); ok {
		if s, ok := symbolOf(d.text); ok {
			out.read = append(out.read, s)
		}
	}
	if strange < 2 && len(out.read) == 0 {
		return nil
	}
	return out
}

func within(r paper.Rect, x, y float64) bool { return x > r.X && y > r.Y && x < r.X+r.W && y < r.Y+r.H }

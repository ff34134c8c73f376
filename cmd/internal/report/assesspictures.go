package report

import (
	"math"
	"slices"

	"listbound/cmd/internal/figure"
	"listbound/projections/assess"
)

// The pictures of an assessment: intervals of what a tree says at each placement, the tree itself, and from where to
// where the answer goes by one thing alone. Each stands beside the table that says the same.

const (
	pictureLeft  = 20.0
	pictureRight = figure.Wide - 70
	pictureRow   = 44.0
)

// pictures are those of a hazard.
func (v *assessed) pictures(h *assess.Analysed) []figure.Figure {
	var out []figure.Figure
	if f, ok := v.intervals(h); ok {
		out = append(out, f)
	}
	for i := range h.At {
		c := &h.At[i]
		if c.Best() == nil {
			continue
		}
		out = append(out, v.treePicture(h, c))
		if f, ok := v.tornado(h, c); ok {
			out = append(out, f)
		}
	}
	return out
}

// scaled is a scale by tenfold steps.
type scaled struct{ low, high float64 }

// decades is the scale that holds what is positive of some values.
func decades(xs []float64) scaled {
	s := scaled{math.Inf(1), math.Inf(-1)}
	for _, x := range xs {
		if x > 0 {
			s.low, s.high = min(s.low, math.Floor(math.Log10(x))), max(s.high, math.Ceil(math.Log10(x)))
		}
	}
	if s.high <= s.low {
		s.high = s.low + 1
	}
	return s
}

func (s scaled) at(x float64) float64 {
	share := (math.Log10(max(x, math.Pow(10, s.low))) - s.low) / (s.high - s.low)
	return pictureLeft + min(share, 1)*(pictureRight-pictureLeft)
}

// interval is a row of a picture of intervals.
type interval struct {
	name           string
	low, mid, high float64
	counted        bool
}

// intervals shows at each placement between what the tree's answer lies: by start values dashed with an open dot, by the
// ledger's counts drawn through with a full one.
func (v *assessed) intervals(h *assess.Analysed) (figure.Figure, bool) {
	var rows []interval
	var all []float64
	for i := range h.At {
		c := &h.At[i]
		for _, r := range []*assess.Result{c.FromStart, c.Counted} {
			if r == nil || r.Sampled == nil {
				continue
			}
			x := interval{low: r.Sampled.Low * perMillion, mid: r.Top.Exact * perMillion, high: r.Sampled.High * perMillion, counted: r == c.Counted}
			key := "board.column-assess-start"
			if x.counted {
				key = "board.column-assess-counted"
			}
			x.name = v.placement(c.Placement) + ": " + v.l.Say(key) + ", " + v.chance(r)
			rows, all = append(rows, x), append(all, x.low, x.mid, x.high)
		}
	}
	if len(rows) == 0 {
		return figure.Figure{}, false
	}
	f := figure.Figure{ID: "assess-intervals-" + h.ID, Title: v.l.Say("board.assess-rates", v.hazard(h.ID)),
		Says: v.l.Say("board.assess-intervals-say"), H: pictureRow*float64(len(rows)) + 40}
	rowAt := func(i int) float64 { return pictureRow*float64(i) + 34 }
	s := decades(all)
	for d := s.low; d <= s.high; d++ {
		x := s.at(math.Pow(10, d))
		for i := range rows { // beside the marks, and not through the names above them
			y := rowAt(i)
			f.Line(x, y-9, x, y+9, 0.5, false)
		}
		f.Text(x, f.H-8, 90, figure.Middle, false, v.l.Figures(math.Pow(10, d), 3))
	}
	for i, x := range rows {
		y := rowAt(i)
		f.Text(pictureLeft, y-12, figure.Wide-pictureLeft, figure.Start, false, x.name)
		f.Line(s.at(x.low), y, s.at(x.high), y, 2, !x.counted)
		f.Line(s.at(x.low), y-5, s.at(x.low), y+5, 2, false)
		f.Line(s.at(x.high), y-5, s.at(x.high), y+5, 2, false)
		shade := figure.White
		if x.counted {
			shade = figure.Black
		}
		f.Disc(s.at(x.mid), y, 5, shade)
	}
	return f, true
}

// tornado shows what the answer turns on at a placement, the widest bar first; the line is the answer as it stands.
func (v *assessed) tornado(h *assess.Analysed, c *assess.Cell) (figure.Figure, bool) {
	r := c.Best()
	most := r.Top.Exact
	for _, b := range r.Tornado {
		most = max(most, b.High)
	}
	if len(r.Tornado) == 0 || most == 0 {
		return figure.Figure{}, false
	}
	f := figure.Figure{ID: "assess-tornado-" + h.ID + "-" + c.Placement,
		Title: v.l.Say("board.assess-turns-at", v.hazard(h.ID), v.placement(c.Placement)),
		Says:  v.l.Say("board.assess-tornado-says"), H: pictureRow*float64(len(r.Tornado)) + 30}
	const left, right = pictureLeft + 50, pictureRight - 20
	at := func(x float64) float64 { return left + x/most*(right-left) }
	for i := range r.Tornado {
		b := &r.Tornado[i]
		y := pictureRow*float64(i) + 6
		f.Text(pictureLeft, y+12, figure.Wide-pictureLeft, figure.Start, false, v.bar(b))
		f.Box(at(b.Low), y+18, max(at(b.High)-at(b.Low), 1), 14, figure.Pale)
		f.Text(at(b.Low)-5, y+30, 60, figure.End, false, v.million(b.Low))
		f.Text(at(b.High)+5, y+30, 60, figure.Start, false, v.million(b.High))
		f.Line(at(r.Top.Exact), y+16, at(r.Top.Exact), y+34, 2, false)
	}
	f.Text(at(r.Top.Exact), f.H-8, 200, figure.Middle, true, v.million(r.Top.Exact))
	return f, true
}

// treePicture is the fault tree of a placement: each gate with what it takes, and what leads to it set in below.
func (v *assessed) treePicture(h *assess.Analysed, c *assess.Cell) figure.Figure {
	f := figure.Figure{ID: "assess-tree-" + h.ID + "-" + c.Placement,
		Title: v.l.Say("board.assess-tree-at", v.hazard(h.ID), v.placement(c.Placement)), Says: v.l.Say("board.assess-tree-says")}
	d := drawnTree{v: v, r: c.Best(), f: &f}
	d.draw(d.r.Tree.Top, 0)
	f.H = float64(d.rows)*treeRow + 10
	return f
}

const (
	treeRow = 30.0
	treeIn  = 34.0
)

// drawnTree is a tree on its way into a picture, row by row.
type drawnTree struct {
	v    *assessed
	r    *assess.Result
	f    *figure.Figure
	rows int
}

// draw puts a gate or event, and what leads to it, and returns the middle of its row.
func (d *drawnTree) draw(id string, depth int) float64 {
	x, y := pictureLeft+treeIn*float64(depth), treeRow*float64(d.rows)+20
	d.rows++
	i := slices.IndexFunc(d.r.Tree.Gates, func(g assess.Gate) bool { return g.ID == id })
	if i < 0 {
		d.f.Disc(x+8, y, 7, figure.White)
		d.f.Text(x+22, y+5, figure.Wide-x-24, figure.Start, false, d.v.event(id)+": "+d.value(id))
		return y
	}
	g := &d.r.Tree.Gates[i]
	says := d.v.l.Say("board.assess-gate-" + string(g.Op))
	if g.Op == assess.AtLeast {
		says = d.v.l.Say("board.assess-gate-at-least", g.Least)
	}
	const wide = 74
	d.f.Box(x, y-11, wide, 22, figure.Pale)
	d.f.Text(x+wide/2, y+5, wide-6, figure.Middle, true, says)
	d.f.Text(x+wide+8, y+5, figure.Wide-x-wide-10, figure.Start, depth == 0, d.named(g))
	last := y
	for _, of := range g.Of {
		last = d.draw(of, depth+1)
		d.f.Line(x+12, last, x+treeIn, last, 1, false)
	}
	d.f.Line(x+12, y+11, x+12, last, 1, false)
	return y
}

// named is what a gate is about; the top one's with what it comes to.
func (d *drawnTree) named(g *assess.Gate) string {
	if g.ID == d.r.Tree.Top {
		if d.r.Sampled == nil {
			return d.v.hazard(g.ID)
		}
		return d.v.hazard(g.ID) + ": " + d.v.million(d.r.Top.Exact)
	}
	return d.v.l.Say("board.assess-gate-of-" + g.ID)
}

// value is the probability of an event, in the unit of trees.
func (d *drawnTree) value(id string) string {
	for _, w := range d.r.Weights {
		if w.Event == id {
			return d.v.million(w.Value)
		}
	}
	return d.v.l.Say("board.assess-no-number")
}

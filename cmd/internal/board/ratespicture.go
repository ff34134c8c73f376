package board

import (
	"fmt"
	"html/template"
	"strings"

	"listbound/projections/rates"
)

const (
	ratesWide  = 720.0
	ratesLeft  = 190.0 // of the scale, with room for names before it
	ratesRight = ratesWide - 20
	ratesRow   = 26.0
)

// intervals draws the rate of each group with its bounds: a line from the one to the
// other, and a dot where something was seen.
func (v *ratesView) intervals(t *rates.Table, title string) template.HTML {
	most := 0.0
	for i := range t.Groups {
		if g := &t.Groups[i]; g.Weighed > 0 {
			most = max(most, g.PerThousand.Exact.High)
		}
	}
	if most == 0 {
		return ""
	}
	s := &svg{w: ratesWide, h: ratesRow*float64(len(t.Groups)) + 50}
	at := func(x float64) float64 { return ratesLeft + min(x/most, 1)*(ratesRight-ratesLeft) }
	for i := range t.Groups {
		g := &t.Groups[i]
		y := ratesRow*float64(i) + 20
		s.text(ratesLeft-10, y+5, "end", 14, ink, cut(v.name(g.Name, t.By), ratesLeft-15, 14))
		x := g.PerThousand
		low, high := at(x.Exact.Low), at(x.Exact.High)
		s.line(low, y, high, y, ink, 2)
		s.line(low, y-6, low, y+6, ink, 2)
		if x.Exact.High <= most {
			s.line(high, y-6, high, y+6, ink, 2)
		}
		if x.Rate != nil {
			s.circle(at(*x.Rate), y, 5, ink, white, 1.5)
		}
	}
	bottom := s.h - 28
	s.line(ratesLeft, bottom, ratesRight, bottom, soft, 1)
	s.text(ratesLeft, bottom+20, "start", 13, soft, "0")
	s.text(ratesRight, bottom+20, "end", 13, soft, v.words.T("board.rates-scale", v.figures(most, 3)))
	return s.picture("rates-"+string(t.By), title, v.words.T("board.rates-intervals-say"))
}

// control draws a control chart: the points joined, the centre, and limits in steps,
// since they belong to the points. What signals has a ring.
func (v *ratesView) control(id, title string, c *rates.Chart, unit float64) template.HTML {
	const top, bottom, left = 20.0, 230.0, 70.0
	s := &svg{w: ratesWide, h: 270}
	most := 0.0
	for _, p := range c.Points {
		most = max(most, p.Value, p.High)
	}
	if most == 0 {
		most = 1
	}
	step := (ratesRight - left) / float64(len(c.Points))
	x := func(i int) float64 { return left + step*(float64(i)+0.5) }
	y := func(value float64) float64 { return bottom - value/most*(bottom-top) }
	s.line(left, bottom, ratesRight, bottom, soft, 1)
	s.line(left, y(c.Center), ratesRight, y(c.Center), soft, 1.5)
	var high, low, through strings.Builder
	for i, p := range c.Points {
		a, b := x(i)-step/2, x(i)+step/2
		move := "L"
		if i == 0 {
			move = "M"
		}
		fmt.Fprintf(&high, "%s%.1f %.1fL%.1f %.1f", move, a, y(p.High), b, y(p.High))
		fmt.Fprintf(&low, "%s%.1f %.1fL%.1f %.1f", move, a, y(p.Low), b, y(p.Low))
		fmt.Fprintf(&through, "%s%.1f %.1f", move, x(i), y(p.Value))
	}
	s.path(high.String(), "none", ink, 1.5, `stroke-dasharray="7 4"`)
	s.path(low.String(), "none", ink, 1.5, `stroke-dasharray="7 4"`)
	s.path(through.String(), "none", faint, 1.5)
	for i, p := range c.Points {
		s.circle(x(i), y(p.Value), 4, ink, white, 1)
		if len(p.Signals) > 0 {
			s.circle(x(i), y(p.Value), 9, "none", ink, 2)
			s.text(x(i), y(p.Value)-13, "middle", 13, ink, fmt.Sprint(i+1), bold)
		}
	}
	s.text(left-8, y(most)+5, "end", 13, soft, v.figures(most*unit, 3))
	s.text(left-8, y(c.Center)+5, "end", 13, soft, v.figures(c.Center*unit, 3))
	s.text(left-8, bottom+5, "end", 13, soft, "0")
	s.text(left, bottom+24, "start", 13, soft, "1")
	s.text(ratesRight, bottom+24, "end", 13, soft, fmt.Sprint(len(c.Points)))
	return s.picture("rates-chart-"+id, title, v.words.T("board.rates-control-says"))
}

package board

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/projections"
)

// drawPair shows two sets whose sheets were exchanged, one above the other on
// one axis: where each was seen, each look at its sheet, and the window in which it
// can have happened.
func drawPair(words *shell.Words, x pair, n int) template.HTML {
	var at []time.Time
	traces := []projections.Trace{x.Mine, x.Hers}
	for _, t := range traces {
		for _, s := range t.Stays {
			at = append(at, s.From, s.To)
		}
		for _, r := range t.Readings {
			at = append(at, r.At)
		}
	}
	at = append(at, x.Finding.From, x.Finding.To)
	p := &chainPicture{words: words, axis: newAxis(laneLeft, laneRight, at)}
	p.w = pictureWidth
	const head, lane = 46.0, 132.0
	bottom := head + lane*2
	from, to := p.axis.x(x.Finding.From), p.axis.x(x.Finding.To)
	p.f(`<defs><pattern id="hatch-%d" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="8" height="8" fill="#fbf1e6"/><line x1="0" y1="0" x2="0" y2="8" stroke="%s" stroke-width="1.6"/></pattern></defs>`, n+1, "#c98a4b")
	p.rect(from, head-8, max(to-from, 4), bottom-head+8, fmt.Sprintf("url(#hatch-%d)", n+1), red, `stroke-width="1.5"`,
		`stroke-dasharray="6 4"`)
	label := words.T("board.window", words.Time(x.Finding.From), words.Time(x.Finding.To))
	mid := min(max((from+to)/2, laneLeft+240), laneRight-240)
	p.text(mid, 18, "middle", 14, red, label, bold)
	p.said = append(p.said, label+".")
	if where := bothAt(words, x.Finding); where != "" {
		p.text(mid, 35, "middle", 13, ink, where)
		p.said = append(p.said, where+".")
	}
	for i, t := range traces {
		p.pairLane(t, head+lane*float64(i)+16, traces[1-i].Key)
	}
	p.y = bottom + 16
	p.scale(p.y)
	note := words.T("board.sightings")
	p.text(laneLeft, p.y+56, "start", 12, soft, note)
	p.said = append(p.said, note)
	p.h = p.y + 66
	return p.picture(fmt.Sprintf("pair-%d", n+1), words.T("board.pair-of", x.Mine.Key.Set, x.Hers.Key.Set),
		strings.Join(p.said, " "))
}

// bothAt says where both sets were, or were last seen; "" where that is not known.
func bothAt(words *shell.Words, f projections.Finding) string {
	if len(f.Places) > 0 {
		return words.T("board.both-at", strings.Join(f.Places, ", "))
	}
	var seen *projections.SeenBoth
	switch d := f.Detail.(type) {
	case *projections.AnotherSetsSheet:
		seen = d.Window.Seen
	case *projections.ProbablyWrong:
		seen = d.Window.Seen
	}
	switch {
	case seen == nil:
		return ""
	case seen.Together:
		return words.T("board.together-at", seen.Place.String(), words.Time(seen.Last()))
	}
	return words.T("board.both-seen-at", seen.Place.String(), words.Time(seen.First()), words.Time(seen.Last()))
}

func (p *chainPicture) pairLane(t projections.Trace, y float64, other projections.TripKey) {
	p.text(8, y+16, "start", 17, ink, cut(t.Key.Set, laneLeft-16, 17), bold)
	p.text(8, y+36, "start", 12, soft, cut(t.List, laneLeft-16, 12))
	p.sightings(t, y)
	var rows rowsOf
	if len(t.Readings) == 0 {
		p.text(laneLeft, y+60, "start", 13, soft, p.words.T("board.never-read"), bold)
	}
	for _, r := range t.Readings {
		label := p.words.T("board.result-" + string(r.Result))
		if r.Owner != nil {
			label = p.words.T("board.sheet-of", r.Owner.Set)
		}
		w := float64(len([]rune(label)))*7.4 + 30
		x := p.axis.x(r.At)
		left := max(min(x, laneRight-w), laneLeft)
		row := rows.place(left-8, left+w)
		if row > 1 {
			continue // the table beneath has them all
		}
		ry := y + 58 + float64(row)*32
		p.line(x, y+28, left, ry-12, faint, 1)
		p.group(label, func() { p.page(left, ry, r.Result) })
		p.text(left+16, ry+5, "start", 13, inkOf(r.Result), label, bold)
		p.said = append(p.said, p.words.T("board.desc-set-reading", t.Key.Set, p.words.Time(r.At), r.Place, label))
	}
}

// sightings draws where a set was seen: a mark for each sighting, and a line
// between two at one place, dashed where they are at two: somewhere between them it
// was moved. Where it was meanwhile nobody saw.
func (p *chainPicture) sightings(t projections.Trace, y float64) {
	mid := y + 20
	for i, s := range t.Stays {
		first, last := s.Seen[0], s.Seen[len(s.Seen)-1]
		x1, x2, room := p.axis.x(first), p.axis.x(last), laneRight
		switch {
		case i+1 < len(t.Stays):
			room = p.axis.x(t.Stays[i+1].From)
			p.line(x2, mid, room, mid, faint, 1.2, `stroke-dasharray="3 5"`)
		case !t.Over: // for all that is known it is there still
			p.line(x2, mid, laneRight, mid, faint, 1.2, `stroke-dasharray="3 5"`)
		}
		said := p.words.T("board.desc-set-seen", t.Key.Set, s.Place, p.words.Time(first))
		if n := len(s.Seen); n > 1 {
			said = p.words.T("board.desc-set-seen-often", t.Key.Set, s.Place, n, p.words.Time(first), p.words.Time(last))
		}
		p.group(said, func() {
			if len(s.Seen) > 1 {
				p.line(x1, mid, x2, mid, soft, 1.6)
			}
			for _, at := range s.Seen {
				p.circle(p.axis.x(at), mid, 5, white, ink, 2)
			}
			if c := cut(s.Place, room-x1-4, 12); c != "" {
				p.text(x1-5, y+8, "start", 12, ink, c)
			}
		})
		p.said = append(p.said, said)
	}
}

// drawExchange shows who has whose sheet: an arrow runs from the set whose sheet
// it is to the set it was found on. A ring is a circle; an open path ends at
// the set that has not been read.
func drawExchange(words *shell.Words, x projections.Exchange) template.HTML {
	p := &svg{w: pictureWidth}
	var nodes []projections.TripKey
	for _, c := range x.Carries {
		nodes = append(nodes, c.Set)
	}
	if !x.Closed {
		nodes = append(nodes, x.Last)
	}
	n := len(nodes)
	type point struct{ x, y float64 }
	at := make(map[projections.TripKey]point, n)
	p.h = 240
	for i, k := range nodes {
		at[k] = point{140 + (pictureWidth-280)*float64(i)/float64(max(n-1, 1)), 130}
	}
	if x.Closed && n > 2 {
		p.h = 0
		for i, k := range nodes {
			a := 2*math.Pi*float64(i)/float64(n) - math.Pi/2
			at[k] = point{pictureWidth/2 + 340*math.Cos(a), 215 + 165*math.Sin(a)}
			p.h = max(p.h, at[k].y+60)
		}
	}
	p.f(`<defs><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="8" markerHeight="8" orient="auto-start-reverse"><path d="M0 0L10 5L0 10z" fill="%s"/></marker></defs>`, ink)
	var said []string
	arrow := func(from, to point, bend float64, label string, dash string) {
		dx, dy := to.x-from.x, to.y-from.y
		d := math.Hypot(dx, dy)
		if d == 0 {
			return
		}
		ux, uy := dx/d, dy/d
		const rx, ry = 84.0, 30.0
		// The arrow starts and ends at the edge of the plates.
		edge := func(px, py, vx, vy float64) (float64, float64) {
			s := math.Min(rx/math.Max(math.Abs(vx), 1e-6), ry/math.Max(math.Abs(vy), 1e-6))
			return px + vx*s, py + vy*s
		}
		x1, y1 := edge(from.x, from.y, ux, uy)
		x2, y2 := edge(to.x, to.y, -ux, -uy)
		mx, my := (x1+x2)/2-uy*bend, (y1+y2)/2+ux*bend
		if bend != 0 && math.Abs(uy) < 0.3 { // along a row the arrow leaves and arrives at the plates' long sides
			side := math.Copysign(ry, ux*bend)
			x1, y1 = from.x+ux*30, from.y+side
			x2, y2 = to.x-ux*30, to.y+side
		}
		p.path(fmt.Sprintf("M%.1f %.1fQ%.1f %.1f %.1f %.1f", x1, y1, mx, my, x2, y2), "none", ink, 2.5, dash,
			`marker-end="url(#tip)"`)
		lx, ly := (x1+2*mx+x2)/4, (y1+2*my+y2)/4
		off := -8.0
		if ly > from.y+20 {
			off = 18
		}
		p.text(lx, ly+off, "middle", 13, ink, label, `paint-order="stroke"`, `stroke="#ffffff"`, `stroke-width="4"`)
	}
	for _, c := range x.Carries {
		label := words.T("board.found-on", c.Sheet.Set, c.Set.Set, c.At.In(words.Zone()).Format("2 Jan 15:04"))
		bend := -70.0
		if x.Closed && n > 2 {
			bend = -30
		}
		arrow(at[c.Sheet], at[c.Set], bend, label, "")
		said = append(said, words.T("board.desc-carry", c.Sheet.Set, c.Set.Set, c.Place, words.Time(c.At)))
	}
	if !x.Closed {
		label := words.T("board.probably-on", x.First.Set, x.Last.Set)
		arrow(at[x.First], at[x.Last], -70, label, `stroke-dasharray="8 6"`)
		said = append(said, words.T("board.desc-unread", x.Last.Set, x.First.Set))
	}
	for _, k := range nodes {
		pt := at[k]
		more := []string{`rx="12"`, `stroke-width="3"`}
		note := ""
		if !x.Closed && k == x.Last {
			more = append(more, `stroke-dasharray="8 5"`)
			note = words.T("board.not-read-since")
		}
		p.rect(pt.x-84, pt.y-30, 168, 60, white, ink, more...)
		if note == "" {
			p.text(pt.x, pt.y+6, "middle", 17, ink, cut(k.Set, 156, 17), bold)
		} else {
			p.text(pt.x, pt.y-2, "middle", 17, ink, cut(k.Set, 156, 17), bold)
			p.text(pt.x, pt.y+18, "middle", 12, red, note, bold)
		}
	}
	title := words.T("board.path")
	if x.Closed {
		title = words.T("board.ring", n)
	}
	return p.picture("exchange", title, strings.Join(said, " "))
}

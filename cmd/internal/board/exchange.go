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
	p.f(`<defs><pattern id="hatch-%d" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">`, n+1)
	p.f(`<rect width="8" height="8" fill="#fbf1e6"/>`)
	p.f(`<line x1="0" y1="0" x2="0" y2="8" stroke="%s" stroke-width="1.6"/></pattern></defs>`, "#c98a4b")
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
		var places []string
		for _, place := range f.Places {
			places = append(places, words.Place(place))
		}
		return words.T("board.both-at", strings.Join(places, ", "))
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
		return words.T("board.together-at", words.Place(seen.Place.String()), words.Time(seen.Last()))
	}
	return words.T("board.both-seen-at", words.Place(seen.Place.String()), words.Time(seen.First()), words.Time(seen.Last()))
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
		p.said = append(p.said, p.words.T("board.desc-set-reading", t.Key.Set, p.words.Time(r.At), p.words.Place(r.Place), label))
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
		place := p.words.Place(s.Place)
		said := p.words.T("board.desc-set-seen", t.Key.Set, place, p.words.Time(first))
		if n := len(s.Seen); n > 1 {
			said = p.words.T("board.desc-set-seen-often", t.Key.Set, place, n, p.words.Time(first), p.words.Time(last))
		}
		p.group(said, func() {
			if len(s.Seen) > 1 {
				p.line(x1, mid, x2, mid, soft, 1.6)
			}
			for _, at := range s.Seen {
				p.circle(p.axis.x(at), mid, 5, white, ink, 2)
			}
			if c := cut(place, room-x1-4, 12); c != "" {
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
	var nodes []projections.TripKey
	for _, c := range x.Carries {
		nodes = append(nodes, c.Set)
	}
	if !x.Closed {
		nodes = append(nodes, x.Last)
	}
	ring := x.Closed && len(nodes) > 2
	p := newPlates(nodes, ring)
	var said []string
	for _, c := range x.Carries {
		label := words.T("board.found-on", c.Sheet.Set, c.Set.Set, words.Short(c.At))
		bend := -70.0
		if ring {
			bend = -30
		}
		p.arrow(p.at[c.Sheet], p.at[c.Set], bend, label, "")
		said = append(said, words.T("board.desc-carry", c.Sheet.Set, c.Set.Set, words.Place(c.Place), words.Time(c.At)))
	}
	title := words.T("board.ring", len(nodes))
	if !x.Closed {
		label := words.T("board.probably-on", x.First.Set, x.Last.Set)
		p.arrow(p.at[x.First], p.at[x.Last], -70, label, `stroke-dasharray="8 6"`)
		said = append(said, words.T("board.desc-unread", x.Last.Set, x.First.Set))
		title = words.T("board.path")
	}
	for _, k := range nodes {
		if !x.Closed && k == x.Last {
			p.plate(k, words.T("board.not-read-since"), `stroke-dasharray="8 5"`)
			continue
		}
		p.plate(k, "")
	}
	return p.picture("exchange", title, strings.Join(said, " "))
}

// point is a place in a picture.
type point struct{ x, y float64 }

// plates is a picture of sets, each on a plate.
type plates struct {
	*svg
	at map[projections.TripKey]point // the middle of each plate
}

// Half the width and height of a plate.
const plateX, plateY = 84.0, 30.0

// newPlates places sets in a row, or on a ring.
func newPlates(sets []projections.TripKey, ring bool) *plates {
	n := len(sets)
	p := &plates{svg: &svg{w: pictureWidth, h: 240}, at: make(map[projections.TripKey]point, n)}
	for i, k := range sets {
		p.at[k] = point{140 + (pictureWidth-280)*float64(i)/float64(max(n-1, 1)), 130}
	}
	if ring {
		p.h = 0
		for i, k := range sets {
			a := 2*math.Pi*float64(i)/float64(n) - math.Pi/2
			p.at[k] = point{pictureWidth/2 + 340*math.Cos(a), 215 + 165*math.Sin(a)}
			p.h = max(p.h, p.at[k].y+60)
		}
	}
	p.f(`<defs><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="8" markerHeight="8" `+
		`orient="auto-start-reverse"><path d="M0 0L10 5L0 10z" fill="%s"/></marker></defs>`, ink)
	return p
}

// arrow draws an arrow from plate to plate, from the edge of one to the edge of the other.
func (p *plates) arrow(from, to point, bend float64, label string, dash string) {
	dx, dy := to.x-from.x, to.y-from.y
	d := math.Hypot(dx, dy)
	if d == 0 {
		return
	}
	ux, uy := dx/d, dy/d
	edge := func(px, py, vx, vy float64) (float64, float64) {
		s := math.Min(plateX/math.Max(math.Abs(vx), 1e-6), plateY/math.Max(math.Abs(vy), 1e-6))
		return px + vx*s, py + vy*s
	}
	x1, y1 := edge(from.x, from.y, ux, uy)
	x2, y2 := edge(to.x, to.y, -ux, -uy)
	mx, my := (x1+x2)/2-uy*bend, (y1+y2)/2+ux*bend
	if bend != 0 && math.Abs(uy) < 0.3 { // along a row the arrow leaves and arrives at the plates' long sides
		side := math.Copysign(plateY, ux*bend)
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

// plate draws the plate of a set, with a note below its name if one is given.
func (p *plates) plate(k projections.TripKey, note string, more ...string) {
	pt := p.at[k]
	more = append([]string{`rx="12"`, `stroke-width="3"`}, more...)
	p.rect(pt.x-plateX, pt.y-plateY, 2*plateX, 2*plateY, white, ink, more...)
	if note == "" {
		p.text(pt.x, pt.y+6, "middle", 17, ink, cut(k.Set, 156, 17), bold)
		return
	}
	p.text(pt.x, pt.y-2, "middle", 17, ink, cut(k.Set, 156, 17), bold)
	p.text(pt.x, pt.y+18, "middle", 12, red, note, bold)
}

package board

import (
	"slices"
	"time"
)

// axis places moments from left to right: true to scale while something
// happens, and cut where nothing does for long. A cut is marked and says how
// long it is.
type axis struct {
	left, right float64
	pieces      []piece
}

// piece is a stretch of time drawn to one scale.
type piece struct {
	from, to time.Time
	x1, x2   float64
}

const (
	cutWidth  = 46.0 // of a cut, with room for its mark
	mostCuts  = 6
	leastSpan = time.Minute
)

// quiet are the lengths of silence that are cut, the shortest that leaves few
// enough cuts.
var quiet = []time.Duration{2 * time.Hour, 4 * time.Hour, 8 * time.Hour, 16 * time.Hour, 48 * time.Hour,
	7 * 24 * time.Hour, 60 * 24 * time.Hour}

func newAxis(left, right float64, at []time.Time) *axis {
	a := &axis{left: left, right: right}
	at = slices.DeleteFunc(slices.Clone(at), time.Time.IsZero)
	if len(at) == 0 {
		return a
	}
	slices.SortFunc(at, time.Time.Compare)
	longest := quiet[len(quiet)-1]
	for _, q := range quiet {
		if cuts(at, q) <= mostCuts {
			longest = q
			break
		}
	}
	from := at[0]
	for i := 1; i <= len(at); i++ {
		if i == len(at) || at[i].Sub(at[i-1]) > longest {
			a.pieces = append(a.pieces, piece{from: from, to: at[i-1]})
			if i < len(at) {
				from = at[i]
			}
		}
	}
	a.scale()
	return a
}

func cuts(at []time.Time, longest time.Duration) int {
	n := 0
	for i := 1; i < len(at); i++ {
		if at[i].Sub(at[i-1]) > longest {
			n++
		}
	}
	return n
}

// scale gives every piece its width: one scale for all of them, but each wide
// enough to be seen.
func (a *axis) scale() {
	const narrowest = 34.0
	total := time.Duration(0)
	for _, p := range a.pieces {
		total += max(p.to.Sub(p.from), leastSpan)
	}
	room := a.right - a.left - cutWidth*float64(len(a.pieces)-1)
	widths := make([]float64, len(a.pieces))
	short, rest := 0.0, time.Duration(0)
	for i, p := range a.pieces {
		d := max(p.to.Sub(p.from), leastSpan)
		if room*float64(d)/float64(total) < narrowest && len(a.pieces) > 1 {
			widths[i] = narrowest
			short += narrowest
		} else {
			rest += d
		}
	}
	x := a.left
	for i := range a.pieces {
		p := &a.pieces[i]
		if widths[i] == 0 {
			widths[i] = (room - short) * float64(max(p.to.Sub(p.from), leastSpan)) / float64(rest)
		}
		p.x1, p.x2 = x, x+widths[i]
		x = p.x2 + cutWidth
	}
}

// x places a moment. One within a cut stands in its middle, one outside of all
// at the edge.
func (a *axis) x(t time.Time) float64 {
	for i, p := range a.pieces {
		if t.Before(p.from) {
			if i == 0 {
				return p.x1
			}
			return p.x1 - cutWidth/2
		}
		if !t.After(p.to) {
			d := p.to.Sub(p.from)
			if d == 0 {
				return (p.x1 + p.x2) / 2
			}
			return p.x1 + (p.x2-p.x1)*float64(t.Sub(p.from))/float64(d)
		}
	}
	if n := len(a.pieces); n > 0 {
		return a.pieces[n-1].x2
	}
	return a.left
}

// steps are the distances between ticks that a clock has.
var steps = []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute,
	30 * time.Minute,
	time.Hour, 2 * time.Hour, 4 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 48 * time.Hour,
	7 * 24 * time.Hour, 28 * 24 * time.Hour}

// ticks returns round moments of a piece, far enough apart to be written.
func (p piece) ticks() []time.Time {
	const apart = 64.0
	d := p.to.Sub(p.from)
	if d < leastSpan {
		return []time.Time{p.from}
	}
	for _, s := range steps {
		if (p.x2-p.x1)*float64(s)/float64(d) < apart {
			continue
		}
		var out []time.Time
		for t := p.from.Truncate(s); !t.After(p.to); t = t.Add(s) {
			if !t.Before(p.from) {
				out = append(out, t)
			}
		}
		if len(out) > 0 {
			return out
		}
		break
	}
	return []time.Time{p.from}
}

package marks

import (
	"math"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// TestPens: boxes that a thin pen filled and left gaps in are ticked, and so is a column of pale ink that a blur makes
// paler still; a column of ticks that were rubbed out is asked, in whatever picture.
func TestPens(t *testing.T) {
	s := sheet(t, 25, nil)
	drawn, g := printedAt(t, s, paper.A4, flatDPI)
	for _, tt := range []struct {
		seed  uint64 // of a pen of 0.35 mm, and of 0.55
		blur  string
		first markstest.Kind
		most  int // asked of it; a thin pen leaves some gaps as wide as a figure's
	}{{547, "0x0.3", markstest.Blob, 4}, {542, "0x1.5", markstest.Pale, 3}} {
		rubbed := penned(g, func(stage events.Stage, _ int64) markstest.Kind {
			if stage == events.StageFirst {
				return markstest.Nothing
			}
			return markstest.Pale
		})
		page := markstest.Over(t, drawn[0], strings.ReplaceAll(markstest.SVG(g, 1, rubbed, tt.seed), "178", "200"))
		page = markstest.Over(t, page, markstest.SVG(g, 1, penned(g, func(stage events.Stage, _ int64) markstest.Kind {
			if stage == events.StageFirst {
				return tt.first
			}
			return markstest.Nothing
		}), tt.seed))
		p, err := Read(changed(t, flat(page), "-blur", tt.blur), of(s))
		if err != nil {
			t.Fatal(err)
		}
		asked := 0
		for _, r := range p.Rows {
			for _, c := range r.Cells {
				switch {
				case c.Stage == events.StageAdded:
				case c.Stage != events.StageFirst && c.Verdict != Ask:
					t.Errorf("%s: line %d %s: a tick that was rubbed out is %s (dark %.2f)", tt.first, r.Line, c.Stage, c.Verdict, c.Dark)
				case c.Stage == events.StageFirst && c.Verdict != Ticked:
					asked++
					t.Logf("%s: line %d is %s %s (ink %.2f, dark %.2f)", tt.first, r.Line, c.Verdict, c.Why, c.Ink, c.Dark)
				}
			}
		}
		if asked > tt.most {
			t.Errorf("%s: %d of %d are asked", tt.first, asked, len(p.Rows))
		}
	}
}

// TestHand: a column tells its pen only by enough ticks that are nearly all of what is in it.
func TestHand(t *testing.T) {
	const none = 1
	for _, tt := range []struct {
		name         string
		dark         float64
		ticks, other int
		want         float64
	}{
		{"pale", 0.34, 8, 1, 0.78 * 0.34},
		{"no darker than what an eraser leaves", 0.22, 8, 0, 0.25},
		{"too few", 0.3, 3, 0, none},
		{"other marks among them", 0.3, 8, 3, none},
		{"erased", 0.2, 0, 8, none},
	} {
		m := &sheetMarks{sharp: 0.8, darkEnough: 0.285, fields: []paper.Field{{Stage: events.StageFinal}}}
		for i := range tt.ticks + tt.other + 1 {
			c := &seen{whole: true, usual: i < tt.ticks}
			if i < tt.ticks+tt.other {
				c.inside = inkIn{share: 0.3, longest: 4, dark: tt.dark, middle: true}
			}
			m.cells = append(m.cells, []*seen{c})
		}
		if got := m.hand(0, threshold); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: %.3f, not %.3f", tt.name, got, tt.want)
		}
		m.hands(threshold)
		if got := m.cells[0][0].enough; math.Abs(got-min(tt.want, 0.285)) > 1e-9 {
			t.Errorf("%s: a tick must be %.3f dark", tt.name, got)
		}
	}
}

// TestWedge: a blurred "1" whose upstroke is one with its stem is no tick, though a tick's arms lie on all of it; there
// is paper between a tick's arms.
func TestWedge(t *testing.T) {
	for _, tt := range []struct {
		name, rows string
		usual      bool
	}{
		{"a one", `
.........................
.........................
..................####...
.................#####...
................#######..
...............########..
..............########...
.............#########...
............##########...
...........##########....
..........###########....
.........############....
........############.....
........############.....
.......############......
......#############......
.....#############.......
....##############.......
....#############........
....#############........
....####...######........
...........#####.........
...........#####.........
...........####..........`, false},
		{"a tick", `
.........................
.........................
..................####...
.................#####...
................#######..
...............########..
..............########...
..............#######....
.............########....
............########.....
...###......#######......
...#####...########......
....####...#######.......
....#####.########.......
.....####.#######........
.....############........
......##########.........
......##########.........
.......########..........
........######...........
.........####............
.........................
.........................
.........................`, true},
	} {
		rows := strings.Fields(tt.rows)
		m := &mask{w: len(rows[0]), h: len(rows), half: 3.15, sharp: 0.5}
		for y, row := range rows {
			for x, c := range row {
				m.on = append(m.on, c == '#')
				if c == '#' {
					m.ink = append(m.ink, point{float64(x) + 0.5, float64(y) + 0.5})
				}
			}
		}
		if _, ok := m.usual(); ok != tt.usual {
			t.Errorf("%s is taken for a mark that people tick with: %v", tt.name, ok)
		}
	}
}

package marks

import (
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// TestGoodsRows: numbers of goods are asked, boxes are read, an empty box of goods that have a number is asked where that count was
// made, and rows that nobody used ask nothing; on a page with lines and on one that has goods alone, of either size.
func TestGoodsRows(t *testing.T) {
	for _, tt := range []struct {
		lines, goods int
		size         paper.Size
		alone        bool
	}{{5, 2, paper.A4, false}, {10, 11, paper.Letter, true}} {
		s := sheet(t, tt.lines, func(s *paper.Sheet) { s.Goods, s.Relief, s.Cavity = goods(tt.goods), tt.alone, tt.alone })
		drawn, g := printed(t, s, tt.size)
		n := len(drawn)
		if alone := len(g.Pages[n-1].Rows) == 0; alone != tt.alone || len(g.Pages[n-1].Goods) != tt.goods+2 {
			t.Fatalf("page %d has %d lines and %d rows for goods", n, len(g.Pages[n-1].Rows), len(g.Pages[n-1].Goods))
		}
		var drew []markstest.Mark
		draw := func(line int64, stage events.Stage, kind markstest.Kind, text string) {
			drew = append(drew, markstest.Mark{Line: line, Stage: stage, Kind: kind, Hand: kind, Text: text})
		}
		draw(-1, events.StageFirst, markstest.Number, "20")
		draw(-1, events.StageAdded, markstest.Number, "10 5")
		draw(-1, events.StageFinal, markstest.Tick, "")
		draw(-2, events.StageFirst, markstest.Number, "12")
		draw(-4, events.StageFirst, markstest.Number, "3")
		draw(-4, events.StageFinal, markstest.Number, "2")
		x := newTable()
		for _, way := range markstest.Ways()[:2] {
			m := markstest.Degraded(t, markstest.Over(t, drawn[n-1], markstest.SVG(g, n, drew, 41)), way, 41)
			x.secondDecoder(t, m, s, n, way.Name)
			p, err := Read(m, of(s))
			if err != nil {
				t.Fatalf("%d lines, %s: %v", tt.lines, way.Name, err)
			}
			goodsRead(t, p, tt.goods+2, way.Name)
		}
	}
}

// goodsRead holds the rows of TestGoodsRows against what was drawn: of each its cells as first, added and final.
func goodsRead(t *testing.T, p *Page, rows int, way string) {
	t.Helper()
	if len(p.Goods) != rows {
		t.Fatalf("%s: %d rows for goods", way, len(p.Goods))
	}
	want := map[int64][3]Why{1: {Number, Number, ""}, 2: {Number, "", Unmarked}, 4: {Number, "", Number}}
	for _, r := range p.Goods {
		last := len(r.Cells) - 1
		if got := [3]Why{r.Cells[0].Why, r.Cells[1].Why, r.Cells[last].Why}; got != want[r.Line] {
			t.Errorf("%s, row %d: asked %q, want %q", way, r.Line, got, want[r.Line])
		}
		_, used := want[r.Line]
		if r.Used() != used || r.CutOut() == nil {
			t.Errorf("%s, row %d is used: %v", way, r.Line, r.Used())
		}
		for k, c := range r.Cells {
			if tick := r.Line == 1 && k == last; (c.Verdict == Ticked) != tick {
				t.Errorf("%s, row %d, %s: %s %s", way, r.Line, c.Stage, c.Verdict, c.Why)
			}
		}
	}
}

package marks

import (
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

// TestColumnOfPaleMarks: what is asked is there, pale or smudged; an empty box among enough of it is asked as it is among ticks.
func TestColumnOfPaleMarks(t *testing.T) {
	for _, tt := range []struct {
		why   Why
		n     int
		asked bool
	}{{Pale, 4, true}, {Smudged, 4, true}, {Pale, 2, false}} {
		m := &sheetMarks{fields: []paper.Field{{Stage: events.StageFinal}}}
		if !m.fields[0].Ticked() {
			t.Fatal("the column has no boxes")
		}
		rows := make([]Row, 10)
		for i := range rows {
			rows[i].Cells = []Cell{{Verdict: Empty}}
			if i < tt.n {
				rows[i].Cells[0] = Cell{Verdict: Ask, Why: tt.why}
			}
		}
		m.column(rows, 0)
		if c := rows[9].Cells[0]; (c.Verdict == Ask && c.Why == Unmarked) != tt.asked {
			t.Errorf("beside %d of ten that are %s an empty box is %s %s", tt.n, tt.why, c.Verdict, c.Why)
		}
	}
}

package marks

import (
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

// TestColumnOfPaleMarks: marks that are asked since they are pale are marks; an empty box among them is asked as it is among ticks.
func TestColumnOfPaleMarks(t *testing.T) {
	for why, asked := range map[Why]bool{Pale: true, Smudged: false} {
		m := &sheetMarks{fields: []paper.Field{{Stage: events.StageFinal}}}
		if !m.fields[0].Ticked() {
			t.Fatal("the column has no boxes")
		}
		rows := make([]Row, 10)
		for i := range rows {
			rows[i].Cells = []Cell{{Verdict: Empty}}
			if i < 4 {
				rows[i].Cells[0] = Cell{Verdict: Ask, Why: why}
			}
		}
		m.column(rows, 0)
		if c := rows[9].Cells[0]; (c.Verdict == Ask && c.Why == Unmarked) != asked {
			t.Errorf("beside four of ten that are %s an empty box is %s %s", why, c.Verdict, c.Why)
		}
	}
}

package judge

import "testing"

// TestTogether: only how counts were made is told of a room and week; whatever else
// weighs, and what can still be made good, stands alone.
func TestTogether(t *testing.T) {
	for _, tt := range []struct {
		name string
		with func(s *story, x *turn)
		want bool
	}{
		{"a lone count at the end", func(_ *story, x *turn) { x.final.Witness = "" }, true},
		{"one badge in both roles", func(_ *story, x *turn) { x.final.Witness = x.final.Counter }, true},
		{"no final count recorded", func(_ *story, x *turn) { x.final = nil }, true},
		{"a lone first count and no final one", func(_ *story, x *turn) { x.final, x.first.Witness = nil, "" }, true},
		{"a lone count, the case not closed", func(_ *story, x *turn) { x.final.Witness, x.closed = "", nil }, false},
		{"a lone count, and one piece short", func(_ *story, x *turn) {
			x.final.Witness = ""
			x.final.Counts[0].Counted = 5
		}, false},
		{"a lone count, the sheet not read", func(_ *story, x *turn) {
			x.final.Witness, x.open.Sheet, x.first.Sheet = "", nil, "screen"
		}, false},
		{"a line left out of the final count", func(_ *story, x *turn) { x.final.Counts = x.final.Counts[1:] }, false},
		{"nothing found", func(*story, *turn) {}, false},
		{"a lone first count that two people confirmed", func(_ *story, x *turn) { x.first.Witness = "" }, false},
	} {
		s, x := plain()
		tt.with(s, x)
		s.live(x)
		v := judge(t, s.world(), x.key())
		switch {
		case tt.want && (v.Together == nil || v.Together.Room != "north/or-3" || v.Together.Week != "2026-03-02" ||
			!v.Together.Opened.Equal(x.openedAt())):
			t.Errorf("%s: stands with %+v, want the others of or-3 in that week: %+v", tt.name, v.Together, v.Findings)
		case !tt.want && v.Together != nil:
			t.Errorf("%s: stands with the others of %+v, want it alone", tt.name, v.Together)
		}
	}
}

//go:build !race

package board

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestAxis: later moments stand further right, all within the picture; what is
// cut is silent, and what is not cut is to one scale.
func TestAxis(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
		minutes := rapid.SliceOfN(rapid.IntRange(0, 60*24*40), 1, 40).Draw(t, "minutes")
		var at []time.Time
		for _, m := range minutes {
			at = append(at, start.Add(time.Duration(m)*time.Minute))
		}
		a := newAxis(laneLeft, laneRight, at)
		slices.SortFunc(at, time.Time.Compare)
		for i, m := range at {
			x := a.x(m)
			if x < laneLeft-0.01 || x > laneRight+0.01 || math.IsNaN(x) {
				t.Fatalf("%v stands at %f", m, x)
			}
			if i > 0 && x < a.x(at[i-1])-0.001 {
				t.Fatalf("%v stands left of %v", m, at[i-1])
			}
		}
		if len(a.pieces) > mostCuts+1 {
			t.Fatalf("%d pieces", len(a.pieces))
		}
		for i, p := range a.pieces {
			if i > 0 && !p.from.After(a.pieces[i-1].to) {
				t.Fatalf("piece %d begins before the last has ended", i)
			}
			if i > 0 && slices.ContainsFunc(at, func(m time.Time) bool { return m.After(a.pieces[i-1].to) && m.Before(p.from) }) {
				t.Fatal("something is cut away that happened")
			}
			for _, tick := range p.ticks() {
				if x := a.x(tick); tick.Before(p.from) || tick.After(p.to) || x < p.x1-0.01 || x > p.x2+0.01 {
					t.Fatalf("tick %v of a piece from %v to %v", tick, p.from, p.to)
				}
			}
			d := p.to.Sub(p.from)
			if d > 0 {
				half := a.x(p.from.Add(d / 2))
				if math.Abs(half-(p.x1+p.x2)/2) > 0.5 {
					t.Fatalf("half of a piece stands at %f, between %f and %f", half, p.x1, p.x2)
				}
			}
		}
	})
}

// TestAxisCutsSilence: two bursts a week apart are drawn wide, the week narrow.
func TestAxisCutsSilence(t *testing.T) {
	start := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	a := newAxis(0, 1000, []time.Time{start, start.Add(time.Hour), start.Add(7 * 24 * time.Hour), start.Add(7*24*time.Hour + time.Hour)})
	if len(a.pieces) != 2 {
		t.Fatalf("%d pieces", len(a.pieces))
	}
	hour, week := a.pieces[0].x2-a.pieces[0].x1, a.pieces[1].x1-a.pieces[0].x2
	if hour < 400 || week != cutWidth {
		t.Errorf("an hour is %f wide, the silent week %f", hour, week)
	}
}

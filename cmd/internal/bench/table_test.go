//go:build !race

package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

func TestTable(t *testing.T) {
	var x table
	x.add(row{"things a second", []float64{1234.5, 900, 2000}, []float64{1000, 1800, 1000}, "a rival", "1.0 x"})
	x.add(row{"others, ms", []float64{0.01234, 0.02}, nil, (&bench{no: "no PostgreSQL here"}).without("a rival"), ""})
	var out bytes.Buffer
	if err := x.print(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"| things a second | 3 | 1,230 [900-2,000] | 1,000 [1,000-1,800] | a rival | 1.23 [0.500-2.00] | 1.0 x |",
		"| others, ms | 2 | 0.0162 [0.0123-0.0200] |  | missing: no PostgreSQL here |  |  |",
	} {
		if !strings.Contains(out.String(), want+"\n") {
			t.Errorf("no line %q in:\n%s", want, &out)
		}
	}
	if got := percentile([]float64{5, 1, 4, 2, 3}, 99); got != 5 {
		t.Errorf("99 %% don't exceed %v", got)
	}
}

// TestTurns: what is handed in are a policy, a list and turns: observations, each another one, in order of time at each station.
func TestTurns(t *testing.T) {
	var file bytes.Buffer
	if err := writeTurns(&file, time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC), 3, 100); err != nil {
		t.Fatal(err)
	}
	seen, last, n := make(map[string]bool), make(map[string]time.Time), 0
	for _, r := range events.Observations(&file) {
		if r.Err != nil {
			t.Fatal(r.Err)
		}
		id, err := r.Observation.ID()
		if err != nil || seen[id] {
			t.Fatalf("%s twice: %v", id, err)
		}
		o := r.Observation
		if !o.Time.After(last[o.Station]) {
			t.Fatalf("%s goes back to %v", o.Station, o.Time)
		}
		seen[id], last[o.Station], n = true, o.Time, n+1
	}
	if want := 2 + 4*3*stepsOfTurn; n != want {
		t.Errorf("%d observations, want %d", n, want)
	}
}

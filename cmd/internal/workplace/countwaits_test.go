//go:build !race

package workplace_test

import (
	"fmt"
	"testing"
	"time"

	"listbound/events"
)

// waits enters the next lines of a set, as sent some time after they were counted: the line to the server was down.
func (c *counter) waits(ago time.Duration, set string, from int, counts ...int) (a map[string]any) {
	for i, n := range counts {
		a = c.post("enter", fmt.Sprintf(`"ago":%d,"lines":[{"set":%q,"line":%d,"counted":%d}]`, ago.Milliseconds(), set, from+i, n))
	}
	return a
}

// TestLinesThatWaitedAreKept: what was counted while the line was down is kept, however long after the line before it, past
// midnight too; whether that line still holds is asked then, and the answer is for all of them.
func TestLinesThatWaitedAreKept(t *testing.T) {
	for name, c := range map[string]struct {
		until, gap time.Duration // how long after the house opens the first line is counted, and the next one after that
		lines      int           // that are counted before the line is down
		stage      string
	}{
		"a badge ago": {time.Hour, 25 * time.Minute, 1, "final"},
		"midnight":    {17*time.Hour + 50*time.Minute, 12 * time.Minute, 1, "final"},
		"only begun":  {time.Hour, 25 * time.Minute, 0, "final"},
		"first":       {time.Hour, 25 * time.Minute, 1, "first"},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.t = t
			h.open("VAS-003", "K-1")
			if c.stage != "first" {
				h.signs("K-1", "VAS-003", events.StageFirst)
			}
			h.after(c.until - h.clock().Sub(morning))
			k := &counter{h: h, ref: "K-1", stage: c.stage}
			if c.stage != "first" {
				k.do("begin")
			}
			all := []int{4, 2, 3}
			k.lines("VAS-003", all[:c.lines]...)
			h.after(c.gap + 5*time.Minute)
			state := func(stage string, done int, asked bool) {
				t.Helper()
				a := getJSON(h, "/at/north/or-3/count/state?case=K-1&stage="+stage)
				if a["done"] != float64(done) || (a["pause"] != nil) != asked {
					t.Fatalf("%v lines are counted, want %d; asked: %v, want %v", a["done"], done, a["pause"] != nil, asked)
				}
			}
			a := k.waits(5*time.Minute, "VAS-003", c.lines+1, all[c.lines:]...)
			state(c.stage, 3, c.lines > 0)
			if c.lines == 0 {
				return
			}
			must(t, a, "Does it still hold?")
			h.after(time.Minute)
			must(t, k.scan(label(t, events.ScanBadge, "B-1")), "Does it still hold?")
			k.do("left-on", "value", a["choices"].([]any)[1].(map[string]any)["value"].(string))
			state(c.stage, 3, false)
			k.scan(label(t, events.ScanBadge, "B-1"))
			h.after(3 * time.Second)
			must(t, k.scan(label(t, events.ScanBadge, "B-2")), "count recorded")

			k = &counter{h: h, ref: "K-1", stage: "relief", n: 500}
			k.do("begin")
			k.lines("VAS-003", 4)
			h.after(30 * time.Minute)
			k.waits(5*time.Minute, "VAS-003", 2, 2, 3)
			k.do("left-anew")
			state("relief", 0, false)
		})
	}
}

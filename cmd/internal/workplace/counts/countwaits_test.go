//go:build !race

package counts_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

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
			h := workplacetest.NewHouse(t, "VAS-003")
			h.T = t
			h.Open("VAS-003", "K-1")
			if c.stage != "first" {
				h.Signs("K-1", "VAS-003", events.StageFirst)
			}
			h.After(c.until - h.Clock().Sub(workplacetest.Morning))
			k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: c.stage}
			if c.stage != "first" {
				k.Do("begin")
			}
			all := []int{4, 2, 3}
			k.Lines("VAS-003", all[:c.lines]...)
			h.After(c.gap + 5*time.Minute)
			state := func(stage string, done int, asked bool) {
				t.Helper()
				a := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage="+stage)
				if a["done"] != float64(done) || (a["pause"] != nil) != asked {
					t.Fatalf("%v lines are counted, want %d; asked: %v, want %v", a["done"], done, a["pause"] != nil, asked)
				}
			}
			a := k.Waits(5*time.Minute, "VAS-003", c.lines+1, all[c.lines:]...)
			state(c.stage, 3, c.lines > 0)
			if c.lines == 0 {
				return
			}
			workplacetest.Must(t, a, "Does it still hold?")
			h.After(time.Minute)
			workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")), "Does it still hold?")
			k.Do("left-on", "value", a["choices"].([]any)[1].(map[string]any)["value"].(string))
			state(c.stage, 3, false)
			k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			h.After(3 * time.Second)
			workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "count recorded")

			k = &workplacetest.Counter{House: h, Ref: "K-1", Stage: "relief", Number: 500}
			k.Do("begin")
			k.Lines("VAS-003", 4)
			h.After(30 * time.Minute)
			k.Waits(5*time.Minute, "VAS-003", 2, 2, 3)
			k.LeftAnew()
			state("relief", 0, false)
		})
	}
}

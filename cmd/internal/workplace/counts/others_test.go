//go:build !race

package counts_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestOthersWhoCounted: a count names who signs it. Of what somebody else entered before, the answer says so: the record has no
// field for that.
func TestOthersWhoCounted(t *testing.T) {
	goesOn := func(k *workplacetest.Counter) {
		a := workplacetest.Answer(k.Scan(""))
		k.Do("left-on", "value", a.Choice("left-on")["value"])
	}
	for name, c := range map[string]struct {
		between func(*workplacetest.Counter)
		signs   [2]string
		told    bool
	}{
		"signs who counted":      {func(*workplacetest.Counter) {}, [2]string{"", "B-2"}, false},
		"taken off":              {func(k *workplacetest.Counter) { k.Do("badges-clear") }, [2]string{"B-3", "B-4"}, true},
		"taken off, and is back": {func(k *workplacetest.Counter) { k.Do("badges-clear") }, [2]string{"B-3", "B-1"}, false},
		"left": {func(k *workplacetest.Counter) {
			k.House.After(30 * time.Minute)
			goesOn(k)
		}, [2]string{"B-3", "B-4"}, true},
		"from the start": {func(k *workplacetest.Counter) {
			k.House.After(30 * time.Minute)
			k.LeftAnew()
			k.Lines("VAS-003", 4)
		}, [2]string{"B-3", "B-4"}, false},
		"from the start, and what they passed off stays": {func(k *workplacetest.Counter) {
			k.Do("removed", "set", "VAS-003", "line", "1", "quantity", "1", "reason", "to repair")
			k.House.After(30 * time.Minute)
			k.LeftAnew()
			k.Lines("VAS-003", 3)
		}, [2]string{"B-3", "B-4"}, true},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Open("VAS-003", "K-1")
			k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
			k.Do("begin")
			k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			k.Lines("VAS-003", 4)
			h.After(3 * time.Second)
			c.between(k)
			k.Waits(0, "VAS-003", 2, 2, 3)
			var a map[string]any
			for _, badge := range c.signs {
				if h.After(3 * time.Second); badge != "" {
					a = k.Scan(workplacetest.Label(t, events.ScanBadge, badge))
				}
			}
			counted := h.Events(site.Query{Set: "VAS-003"}, events.KindSetCounted)
			if len(counted) != 1 {
				t.Fatalf("%d counts are recorded: %s", len(counted), workplacetest.Tells(a))
			}
			d := counted[0].(*events.SetCounted)
			if !slices.Contains(c.signs[:], d.Witness) {
				t.Errorf("signed by %s and %s", d.Counter, d.Witness)
			}
			told := strings.Contains(workplacetest.Tells(a), "Badges scanned at this count before: B-1. The record names only who signed.")
			if told != c.told {
				t.Errorf("told that B-1 counted before: %t; %s", told, workplacetest.Tells(a))
			}
		})
	}
}

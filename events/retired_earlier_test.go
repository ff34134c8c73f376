package events

import (
	"testing"
	"time"
)

// TestRetiredAsOf: what was recorded already, and was observed after the moment as of which a station is retired, is remarked
// on, whoever remembers it.
func TestRetiredAsOf(t *testing.T) {
	t.Parallel()
	for _, asked := range []bool{false, true} {
		ledger, k := newTestKey(t, LedgerName("north"), 1), newTestKey(t, "north/or-3", 2)
		h := listen(ledger)
		own := h.enrolled(t, ledger, k)
		c := &chain{t: t, key: k}
		at := testTime.Add(2 * time.Hour)
		h.take("at", c.note(at, &SetChecked{}, ""), at)
		late := testTime.Add(3 * time.Hour)
		h.take("after", c.note(late, &SetChecked{}, ""), late)
		if asked {
			h.audit.Since = func(station string, after time.Time) []int64 {
				if station != k.name || !after.Equal(at) {
					t.Errorf("asked for %s after %s", station, after)
				}
				return []int64{h.seq - 1} // of those before this one the last
			}
		}
		now := testTime.Add(5 * time.Hour)
		h.take("retired", own.note(now, &StationRetired{Station: k.name, Reason: "lost", AsOf: at.Format(time.RFC3339)}, ""), now)
		if h.now["at"] != 0 || h.now["after"] != RemarkRetired || h.now["retired"] != 0 {
			t.Errorf("asked %v: %v", asked, h.now)
		}
	}
}

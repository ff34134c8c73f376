//go:build !race

package ledger_test

import (
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// As TestEveryDurableStepFails, and the ledger is killed where it stands and started again.
func TestEveryDurableStepKills(t *testing.T) { everyDurableStep(t, true) }

// As TestNeverEquivocates. Each history waits for the disk most of the time, so a few run side by side.
func TestNeverEquivocatesOften(t *testing.T) {
	groups := 3
	if testing.Short() {
		groups = 1
	}
	for i := range groups {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(rt *rapid.T) { neverEquivocates(t, rt) })
		})
	}
}

// As TestKillWhilePacking, killed and started again a few times.
func TestKillWhilePackingOften(t *testing.T) { killedWhilePacking(t, 3, 150) }

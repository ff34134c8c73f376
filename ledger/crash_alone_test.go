//go:build !race

package ledger_test

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"listbound/ledger/ledgertest"
)

// As TestEveryDurableStepFails, and the ledger is killed where it stands and started again.
func TestEveryDurableStepKills(t *testing.T) {
	everyDurableStep(t, false, true)
	everyDurableStep(t, true, true)
}

// As TestEveryDurableStepFails, and what fails was done.
func TestEveryDurableStepFailsDone(t *testing.T) { everyDurableStep(t, true, false) }

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

// A disk that takes no more: the append says so, nothing is half there, and the next start goes on.
func TestDiskFull(t *testing.T) {
	opts := ledgertest.Options(t)
	opts.Clock = time.Now
	last, reason, writable := fillDisk(t, opts)
	if last < 500 {
		t.Errorf("only %d records fitted", last)
	}
	if !strings.Contains(reason, "there is no room on the disk") {
		t.Errorf("the reason given is: %s", reason)
	}
	if !strings.Contains(writable, "there is no room on the disk") {
		t.Errorf("after it the ledger is %s", writable)
	}
	l := ledgertest.Open(t, opts)
	if l.Size() < last || l.Size() > last+1 {
		t.Errorf("%d records, %d were acknowledged", l.Size(), last)
	}
	mustCheck(t, l)
	prev, _, err := l.Last(context.Background(), "north/station-0")
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, l, entry(t, "north/station-0", "goes on", prev))
	if _, err := os.Stat(filepath.Join(opts.Dir, "log", "checkpoint")); err != nil {
		t.Error(err)
	}
}

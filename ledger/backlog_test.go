//go:build !race

package ledger_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// A log folder that cannot be written holds nothing up until too much waits; nothing recorded is lost.
func TestLogCannotBeWritten(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	broken := true
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if broken && step == "write files" {
			return errFault
		}
		return nil
	}, nil))
	l := ledgertest.Open(t, opts)
	prev := int64(0)
	var err error
	for range 100 {
		one := entry(t, "north/or-3", strings.Repeat("x", 20_000), prev)
		batch := slices.Repeat([]ledger.Entry{one}, 100)
		var out []ledger.Appended
		if out, err = l.Append(ctx, batch...); err != nil {
			break
		}
		prev = out[len(out)-1].Seq
	}
	if !errors.Is(err, errFault) || !strings.HasPrefix(err.Error(), "not recorded: ") {
		t.Fatalf("append with too much waiting: %v", err)
	}
	if l.Size() != prev {
		t.Errorf("%d records, %d were acknowledged", l.Size(), prev)
	}
	broken = false
	fill(t, l, "north/or-3", prev, 1, 0)
}

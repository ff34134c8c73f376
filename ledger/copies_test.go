//go:build !race

package ledger_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// keptNames lists what lies beside a ledger.
func keptNames(t *testing.T, dir string) []string {
	t.Helper()
	kept, err := ledger.KeptCopies(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, k := range kept {
		names = append(names, k.Name)
		if k.Bytes == 0 || k.At.IsZero() || !strings.Contains(k.What, "deleted") {
			t.Errorf("%+v", k)
		}
	}
	return names
}

// Each unclean stop that tore its last record leaves a copy, and they stay few.
func TestFewCopiesFromBeforeRecoveries(t *testing.T) {
	opts := ledgertest.Options(t)
	for n := range 9 {
		l := ledgertest.Open(t, opts)
		prev, _, err := l.Last(t.Context(), "north/or-3")
		if err != nil {
			t.Fatal(err)
		}
		fill(t, l, "north/or-3", prev, 3, 100)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		block := blockPath(opts.Dir, blocks(t, opts.Dir)[0])
		change(t, block, func(data []byte) []byte { return append(data, make([]byte, 50+n)...) })
		if err := os.Remove(filepath.Join(opts.Dir, "stream.clean")); err != nil {
			t.Fatal(err)
		}
	}
	l := ledgertest.Open(t, opts)
	if l.Size() != 27 {
		t.Errorf("%d records", l.Size())
	}
	want := "[before-recovery-5 before-recovery-6 before-recovery-7 before-recovery-8 before-recovery-9]"
	if got := fmt.Sprint(keptNames(t, opts.Dir)); got != want {
		t.Errorf("kept %s, want %s", got, want)
	}
}

// Repairs leave few damaged streams, the newest of them, and are bounded by bytes too.
func TestFewDamagedStreams(t *testing.T) {
	opts := wholeLedger(t)
	opts.SetPlain() // so that each repaired stream can be damaged as the first one
	for range 7 {
		flip(1, false)(t, opts.Dir)
		if _, err := ledger.Repair(t.Context(), opts, ledger.RepairOptions{Route: route}); err != nil {
			t.Fatal(err)
		}
	}
	want := "[damaged-stream-3 damaged-stream-4 damaged-stream-5 damaged-stream-6 damaged-stream-7]"
	if got := fmt.Sprint(keptNames(t, opts.Dir)); got != want {
		t.Errorf("kept %s, want %s", got, want)
	}
	if err := ledger.BoundCopies(opts.Dir, "damaged-stream-", 5, 1); err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(keptNames(t, opts.Dir)); got != "[damaged-stream-7]" {
		t.Errorf("kept %s where one is too many bytes", got)
	}
	ledgertest.Open(t, opts)
}

// Where whole records were cut off, no copy is removed: one of them may be all there is of them.
func TestCopiesOfADamagedLedgerStay(t *testing.T) {
	opts := killedWithTail(t)
	for n := 1; n <= 8; n++ {
		dir := filepath.Join(opts.Dir, fmt.Sprintf("before-recovery-%d", n))
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "1.blk"), []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	flipSmall(t, opts.Dir, 30)
	l := ledgertest.OpenDamaged(t, opts)
	if len(l.Damage()) == 0 {
		t.Fatal("not damaged")
	}
	if got := keptNames(t, opts.Dir); len(got) != 9 {
		t.Errorf("kept %s", got)
	}
}

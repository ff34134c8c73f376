//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

func TestDamageIsFound(t *testing.T) {
	if len(damages) < 25 {
		t.Fatalf("only %d kinds of damage", len(damages))
	}
	ctx := context.Background()
	for i, d := range damages {
		if testing.Short() && i%4 != 0 {
			continue
		}
		t.Run(d.name, func(t *testing.T) {
			t.Parallel()
			opts := wholeLedger(t)
			d.do(t, opts.Dir)
			l := ledgertest.OpenDamaged(t, opts)
			problems := l.Damage()
			if d.found != either && (d.found == atStart) != (len(problems) > 0) {
				t.Fatalf("found at the start: %v", problems)
			}
			if len(problems) > 0 {
				var damaged *ledger.DamagedError
				if _, err := l.Append(ctx, entry(t, "north/or-9", "x", 0)); !errors.As(err, &damaged) ||
					len(damaged.Problems) == 0 {
					t.Errorf("Append on a damaged ledger: %v", err)
				}
			}
			report, err := l.Verify(ctx, ledger.VerifyOptions{})
			if err != nil {
				t.Fatal(err)
			}
			if len(problems) == 0 {
				problems = report.Problems
			}
			named := false
			for _, p := range problems {
				named = named || (d.seq == 0 || p.Seq == d.seq) && strings.Contains(p.What, d.what)
			}
			if !named {
				t.Errorf("want record %d, %q, got: %v", d.seq, d.what, problems)
			}
			if len(report.Problems) == 0 {
				t.Error("Verify found nothing")
			}
			again, err := l.Verify(ctx, ledger.VerifyOptions{})
			if err != nil || len(again.Problems) != len(report.Problems) {
				t.Errorf("a second verification found %d problems, the first %d: %v", len(again.Problems),
					len(report.Problems), err)
			}
			for i := range again.Problems {
				if again.Problems[i] != report.Problems[i] || i > 0 && again.Problems[i].Seq < again.Problems[i-1].Seq {
					t.Errorf("problem %d: %v, before %v", i, again.Problems[i], report.Problems[i])
				}
			}
		})
	}
}

// A scan that is asked to compare names the record, wherever it begins.
func TestScanHashedNamesTheRecord(t *testing.T) {
	opts := wholeLedger(t)
	forgeInBundle(20)(t, opts.Dir)
	l := ledgertest.OpenDamaged(t, opts)
	for _, from := range []int64{1, 5} {
		err := l.ScanHashed(context.Background(), from, func(int64, []byte) error { return nil })
		if err == nil ||
			!strings.Contains(err.Error(), "the stored bytes of record 20 do not have the hash in the tree") {
			t.Errorf("from %d: %v", from, err)
		}
	}
}

// The subject is not in the record, so nothing that is hashed covers it. Somebody who moves a record to another
// station, checksum included, would let its own station number on as if it were not there.
func TestMovedToAnotherSubject(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	opts := wholeLedger(t)
	inBlock(t, opts.Dir, 10, func(block int, data []byte, s stored) []byte {
		subject := data[s.start+22 : s.payload]
		at := bytes.Index(subject, []byte("or-3"))
		subject[at+3] = '4'
		forge(t, data, s, block)
		return data
	})
	l := ledgertest.Open(t, opts)
	verify := func(l *ledgertest.Ledger) []ledger.Problem {
		t.Helper()
		report, err := l.Verify(ctx, ledger.VerifyOptions{Look: ledger.Route(route).Look})
		if err != nil {
			t.Fatal(err)
		}
		return report.Problems
	}
	problems := verify(l)
	want := "under the subject custody.north.or-4.set.opened, but it is set.opened of north/or-3"
	if len(problems) != 1 || problems[0].Seq != 10 || !strings.Contains(problems[0].What, want) {
		t.Errorf("problems: %v", problems)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Repair(ctx, opts, ledger.RepairOptions{Route: route}); err != nil {
		t.Fatal(err)
	}
	if problems := verify(ledgertest.Open(t, opts)); len(problems) > 0 {
		t.Errorf("after the repair: %v", problems)
	}
}

// Somebody who rewrites a record in every place it is kept, checksum and tile included, still cannot make it lead to
// the signed root.
func TestForgedEverywhere(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	opts := wholeLedger(t)
	var forged []byte
	inBlock(t, opts.Dir, 10, func(block int, data []byte, s stored) []byte {
		data[s.payload+100] ^= 1
		forge(t, data, s, block)
		forged = bytes.Clone(data[s.payload : s.end-8])
		return data
	})
	inBundle(func(records [][]byte) { records[9] = forged })(t, opts.Dir)
	change(t, filepath.Join(opts.Dir, "log/tile/0/000"), func(data []byte) []byte {
		leaf := proof.LeafHash(forged)
		copy(data[9*tlog.HashSize:], leaf[:])
		return data
	})
	l := ledgertest.OpenDamaged(t, opts)
	if got, err := l.Read(10); err != nil || !bytes.Equal(got, forged) {
		t.Fatalf("the forgery is not in place: %v", err)
	}
	if err := l.ScanHashed(ctx, 1, func(int64, []byte) error { return nil }); err == nil ||
		!strings.Contains(err.Error(), "have the root") {
		t.Errorf("ScanHashed gave %v", err)
	}
	report, err := l.Verify(ctx, ledger.VerifyOptions{})
	if err != nil {
		t.Fatal(err)
	}
	found := ""
	for _, p := range report.Problems {
		found += p.String() + "\n"
	}
	for _, want := range []string{"have the root", "tile/1/000.p/1 does not hold the hashes of its records"} {
		if !strings.Contains(found, want) {
			t.Errorf("Verify does not say %q:\n%s", want, found)
		}
	}
	if _, err := l.Prove(ctx, 10); err == nil {
		t.Error("the forgery was proved")
	}
}

// Damage that costs nothing must not stop anybody.
func TestHarmlessChanges(t *testing.T) {
	tests := []struct {
		name string
		do   func(*testing.T, string)
	}{
		{"nothing", func(*testing.T, string) {}},
		{"index removed", func(t *testing.T, dir string) {
			if err := os.Remove(filepath.Join(msgsDir(dir), "index.db")); err != nil {
				t.Fatal(err)
			}
		}},
		{"unclean stop", unclean},
		{"owner file left behind", func(t *testing.T, dir string) {
			if err := os.WriteFile(filepath.Join(dir, "owner.json"), []byte(`{"pid":1,"command":"gone"}`),
				0o600); err != nil {
				t.Fatal(err)
			}
		}},
		{"torn tiles of a tree that was never signed", func(t *testing.T, dir string) {
			for _, name := range []string{"log/tile/entries/001.p/50", "log/tile/0/001.p/50",
				"log/tile/0/001", "log/checkpoint.tmp"} {
				if err := os.WriteFile(filepath.Join(dir, name), []byte("torn"), 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			opts := wholeLedger(t)
			tt.do(t, opts.Dir)
			l := ledgertest.Open(t, opts)
			fill(t, l, "north/or-3", wholeSize, 220, 0)
			mustCheck(t, l)
			if kept, err := filepath.Glob(filepath.Join(opts.Dir, "before-recovery-*")); err != nil || len(kept) > 0 {
				t.Errorf("a copy of an unharmed stream was kept: %v, %v", kept, err)
			}
		})
	}
}

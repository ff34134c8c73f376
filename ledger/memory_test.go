//go:build !race

package ledger_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// putBack puts stream/ and log/ of one folder in the place of another's.
func putBack(t *testing.T, dir, from string) {
	t.Helper()
	for _, name := range []string{"stream", "log"} {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		if from != "" {
			copyTree(t, filepath.Join(dir, name), filepath.Join(from, name))
		}
	}
}

// TestBehindItsMemory: a folder whose ledger was put back from an older copy, or is gone, takes no record that would get
// a number given out before; once the loss is declared it goes on, and remembers the ledger as it is.
func TestBehindItsMemory(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name string
		// away does it to a folder with 8 records, of which copy has the first 5
		away func(t *testing.T, opts ledger.Options, copied string)
		says string
		size int64
	}{
		{"an older copy", func(t *testing.T, opts ledger.Options, copied string) { putBack(t, opts.Dir, copied) },
			"there are 5 records here, and this folder has had 8: records 6 to 8 are missing", 5},
		{"an older copy, memory and all, beside the marker of the last stop",
			func(t *testing.T, opts ledger.Options, copied string) {
				putBack(t, opts.Dir, copied)
				raw, err := os.ReadFile(filepath.Join(copied, "newest.checkpoint"))
				if err == nil {
					err = os.WriteFile(filepath.Join(opts.Dir, "newest.checkpoint"), raw, 0o600)
				}
				if err != nil {
					t.Fatal(err)
				}
			},
			"there are 5 records here, and this folder has had 8: records 6 to 8 are missing", 5},
		{"all gone", func(t *testing.T, opts ledger.Options, _ string) { putBack(t, opts.Dir, "") },
			"this folder has had 8 records", 0},
		{"an older copy that was recorded in elsewhere", func(t *testing.T, opts ledger.Options, copied string) {
			other := opts
			other.Dir = copied
			l, err := ledger.Open(t.Context(), other)
			if err != nil {
				t.Fatal(err)
			}
			for i, line := range []string{"a", "b", "c", "d"} {
				if _, err := l.Append(t.Context(), entry(t, "north/or-3", line, int64(5+i))); err != nil {
					t.Fatal(err)
				}
			}
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			putBack(t, opts.Dir, copied)
		}, "the first 8 records are not those that this folder has had", 9},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			opts, copied := ledgertest.Options(t), t.TempDir()
			for _, n := range []int{5, 3} {
				l, err := ledger.Open(t.Context(), opts)
				if err != nil {
					t.Fatal(err)
				}
				for range n {
					if _, err := l.Append(t.Context(), entry(t, "north/or-3", "x", l.Size())); err != nil {
						t.Fatal(err)
					}
				}
				if err := l.Close(); err != nil {
					t.Fatal(err)
				}
				if n == 5 {
					copyTree(t, copied, opts.Dir)
				}
			}
			test.away(t, opts, copied)
			for range 2 { // looking changes nothing
				l, err := ledger.Open(t.Context(), opts)
				if err != nil {
					t.Fatal(err)
				}
				var damaged *ledger.DamagedError
				_, err = l.Append(t.Context(), entry(t, "north/or-3", "x", test.size))
				if !errors.As(err, &damaged) || !strings.Contains(err.Error(), test.says) {
					t.Errorf("recorded behind what there was: %v", err)
				}
				if loss := l.Loss(); loss == nil || loss.Had != 8 {
					t.Errorf("loss: %+v", loss)
				}
				if err := l.Close(); err != nil {
					t.Error(err)
				}
			}
			accept := opts
			accept.AcceptLoss = true
			l, err := ledger.Open(t.Context(), accept)
			if err != nil {
				t.Fatal(err)
			}
			if loss := l.Loss(); loss == nil || loss.Size != test.size || loss.Had != 8 || len(loss.Note) == 0 {
				t.Fatalf("loss: %+v", loss)
			}
			if _, err := l.Append(t.Context(), entry(t, "north/ledger", "lost", 0)); err != nil {
				t.Fatal(err)
			}
			if err := l.LossDeclared(t.Context()); err != nil {
				t.Fatal(err)
			}
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			again := ledgertest.Open(t, opts)
			if again.Loss() != nil || again.Size() != test.size+1 {
				t.Errorf("after the declaration: %d records, %+v", again.Size(), again.Loss())
			}
			fill(t, again, "north/or-4", 0, 3, 0)
		})
	}
}

// TestLossCutShort: a loss that was accepted and not declared is still one at the next start, whatever was signed.
func TestLossCutShort(t *testing.T) {
	t.Parallel()
	opts, copied := ledgertest.Options(t), t.TempDir()
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 5, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	copyTree(t, copied, opts.Dir)
	l = ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 5, 3, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	putBack(t, opts.Dir, copied)
	accept := opts
	accept.AcceptLoss = true
	cut, err := ledger.Open(t.Context(), accept)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := cut.Append(t.Context(), entry(t, "north/ledger", "lost", 0)); err != nil {
		t.Fatal(err)
	}
	if _, err := cut.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := cut.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := ledger.Open(t.Context(), opts)
	if err != nil {
		t.Fatal(err)
	}
	if loss := again.Loss(); loss == nil || loss.Had != 8 || loss.Size != 6 {
		t.Errorf("loss: %+v", loss)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
}

// TestRepairTakesTheKeptCheckpoint: a checkpoint that is lost or damaged is put back from the folder's own copy.
func TestRepairTakesTheKeptCheckpoint(t *testing.T) {
	t.Parallel()
	for name, damage := range map[string]func(path string) error{
		"removed": os.Remove,
		"damaged": func(path string) error { return os.WriteFile(path, []byte("north/ledger\n8\n"), 0o600) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			opts := ledgertest.Options(t)
			l := ledgertest.Open(t, opts)
			fill(t, l, "north/or-3", 0, 300, 0)
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(opts.Dir, "log", "checkpoint")
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := damage(path); err != nil {
				t.Fatal(err)
			}
			bad, err := ledger.Open(t.Context(), opts)
			if err != nil {
				t.Fatal(err)
			}
			if len(bad.Damage()) == 0 {
				t.Error("not noticed")
			}
			if err := bad.Close(); err != nil {
				t.Error(err)
			}
			if _, err := ledger.Repair(t.Context(), opts, ledger.RepairOptions{Route: route}); err != nil {
				t.Fatal(err)
			}
			if got, err := os.ReadFile(path); err != nil || string(got) != string(want) {
				t.Errorf("%q, %v", got, err)
			}
			if again := ledgertest.Open(t, opts); again.Size() != 300 {
				t.Errorf("%d records", again.Size())
			}
		})
	}
}

// TestOlderCheckpointAlone: an older copy of log/checkpoint is all that was put back. Everything that was signed is there,
// so the start signs it again, also where the tiles of then have been replaced by larger ones, and verify is content. In a
// folder that can't be written the older copy is named.
func TestOlderCheckpointAlone(t *testing.T) {
	t.Parallel()
	for _, sizes := range [][2]int64{{5, 8}, {200, 300}, {300, 700}, {256, 300}} {
		opts := ledgertest.Options(t)
		path := filepath.Join(opts.Dir, "log", "checkpoint")
		var old, now []byte
		prev := int64(0)
		for i, size := range sizes {
			l := ledgertest.Open(t, opts)
			prev = fill(t, l, "north/or-3", prev, int(size-prev), 0)
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if now = raw; i == 0 {
				old = raw
			}
		}
		if err := os.WriteFile(path, old, 0o600); err != nil {
			t.Fatal(err)
		}
		reading := opts
		reading.Reading = true
		l, err := ledger.Open(t.Context(), reading)
		if err != nil {
			t.Fatal(err)
		}
		report, err := l.Verify(t.Context(), ledger.VerifyOptions{Look: ledger.Route(route).Look})
		if err != nil || len(report.Problems) != 1 || !strings.Contains(report.Problems[0].What,
			"an older copy of that file was put back") {
			t.Errorf("%v, reading: %+v, %v", sizes, report.Problems, err)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		again := ledgertest.Open(t, opts)
		if again.Size() != sizes[1] || len(again.Damage()) > 0 {
			t.Errorf("%v: %d records, %v", sizes, again.Size(), again.Damage())
		}
		mustCheck(t, again)
		if err := again.Close(); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != string(now) {
			t.Errorf("%v: %q, %v", sizes, got, err)
		}
	}
}

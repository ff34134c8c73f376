//go:build !race

package main

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// kill kills a command after a while, and reports whether it was still at work.
func kill(t *testing.T, after time.Duration, args ...string) bool {
	t.Helper()
	c := run(args...)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(after, func() { c.Process.Kill() }) // it may have ended already
	err := c.Wait()
	timer.Stop()
	return err != nil
}

// A backup that is killed leaves the earlier one whole, whenever that happens, and a restore that is killed says so and
// is done again.
func TestBackupAndRestoreAreKilled(t *testing.T) {
	lines, err := weekLines()
	if err != nil {
		t.Fatal(err)
	}
	dir, to, file := filepath.Join(t.TempDir(), "d"), filepath.Join(t.TempDir(), "b"), filepath.Join(t.TempDir(), "week.jsonl")
	must := func(args ...string) string {
		t.Helper()
		out, err := run(args...).CombinedOutput()
		if err != nil {
			t.Fatalf("%q: %v %s", args, err, out)
		}
		return string(out)
	}
	recorded := func(n int) {
		t.Helper()
		if err := os.WriteFile(file, []byte(strings.Join(lines[:n], "\n")+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		lines = lines[n:]
		must("record", "--data", dir, file)
	}
	recorded(300)
	began := time.Now()
	must("backup", "--data", dir, to)
	took := time.Since(began)
	tries := 8
	if testing.Short() {
		tries = 3
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 1))
	cut := 0
	for range tries {
		recorded(60)
		if kill(t, time.Duration(rnd.Int64N(int64(took))), "backup", "--data", dir, to) {
			cut++
		}
		restored, whole := filepath.Join(t.TempDir(), "r"), ""
		if kill(t, time.Duration(rnd.Int64N(int64(took))), "restore", to, "--data", restored) {
			cut++
			if _, err := os.Stat(filepath.Join(restored, "log")); err == nil {
				out, err := run("verify", "--data", restored).CombinedOutput()
				if err == nil {
					whole = string(out)
				} else if !strings.Contains(string(out), "run listbound restore again") {
					t.Errorf("after a restore that was cut off: %v %s", err, out)
				}
			}
		}
		if err := os.RemoveAll(restored); err != nil {
			t.Fatal(err)
		}
		must("restore", to, "--data", restored)
		out := must("verify", "--data", restored)
		if !strings.Contains(out, "intact: ") {
			t.Errorf("restored from a backup whose next one was killed: %s", out)
		}
		if whole != "" && whole != out { // killed right behind its last step it is whole
			t.Errorf("a restore that was cut off passes for one that was not:\n%s\n%s", whole, out)
		}
	}
	if cut < tries/2 {
		t.Errorf("only %d of %d were cut off", cut, 2*tries)
	}
	must("backup", "--data", dir, to)
	restored := filepath.Join(t.TempDir(), "last")
	must("restore", to, "--data", restored)
	if got, want := must("broken", "--data", restored), must("broken", "--data", dir); got != want {
		t.Error("the restored folder judges otherwise")
	}
}

//go:build !race

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestRecordIsKilled kills "record" at random moments, each time going on with the
// same file: whatever had a receipt keeps its place, nothing is lost, nothing is
// there twice.
func TestRecordIsKilled(t *testing.T) {
	kills := 30
	if testing.Short() {
		kills = 5
	}
	lines, err := weekLines()
	if err != nil {
		t.Fatal(err)
	}
	lines = lines[:1000] // its first days: enough for a kill at any step
	dir, file := t.TempDir(), filepath.Join(t.TempDir(), "week.jsonl")
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 1))
	placed := make(map[string]int64) // by event id, from receipts
	cut, tried := 0, 0
	// Once all is recorded, a run reads only what is known, and one that is killed is like the next: a few of them are enough.
	for known := 0; tried < kills && known < 4; tried++ {
		if len(placed) == len(lines) {
			known++
		}
		// The moment is a number of receipts, so that a slow machine is killed at work too; none means before the first.
		if killAfter(t, run("record", "--data", dir, file), rnd.IntN(len(lines)), time.Duration(rnd.IntN(2000))*time.Microsecond, placed) {
			cut++
		}
	}
	if cut < tried/4 {
		t.Errorf("only %d of %d runs were cut off", cut, tried)
	}
	out, err := run("record", "--data", dir, file).Output()
	if err != nil {
		t.Fatalf("the last run: %v", err)
	}
	seqs := make(map[int64]bool)
	n := 0
	for line := range bytes.Lines(out) {
		r := parse(t, line, placed)
		if r.Error != "" {
			t.Fatalf("a line was refused after the kills: %s", r.Error)
		}
		if seqs[r.Seq] {
			t.Errorf("two lines stand at record %d", r.Seq)
		}
		seqs[r.Seq] = true
		n++
	}
	if n != len(lines) {
		t.Errorf("%d receipts for %d lines", n, len(lines))
	}
	checkWhole(t, dir, len(lines))
}

// killAfter kills a process when it has printed some receipts and a little
// time has passed, and keeps the receipts. It says whether the kill came in time.
func killAfter(t *testing.T, c *exec.Cmd, receipts int, more time.Duration, placed map[string]int64) bool {
	t.Helper()
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	sc := bufio.NewScanner(out)
	for i := 0; i < receipts && sc.Scan(); i++ {
		parse(t, sc.Bytes(), placed)
	}
	timer := time.AfterFunc(more, func() { c.Process.Kill() })
	defer timer.Stop()
	for sc.Scan() {
		// A last line may be cut short by the kill: then nobody has got that receipt.
		if json.Valid(sc.Bytes()) {
			parse(t, sc.Bytes(), placed)
		}
	}
	err = c.Wait()
	var exit *exec.ExitError
	return errors.As(err, &exit) && !exit.Exited()
}

func parse(t *testing.T, line []byte, placed map[string]int64) receipt {
	t.Helper()
	var r receipt
	if err := json.Unmarshal(line, &r); err != nil {
		t.Fatalf("receipt %q: %v", line, err)
	}
	if was, ok := placed[r.ID]; ok && was != r.Seq {
		t.Errorf("event %s was acknowledged as record %d and is now record %d", r.ID, was, r.Seq)
	}
	placed[r.ID] = r.Seq
	return r
}

// checkWhole verifies the ledger and that it holds the lines and the
// enrolments, and nothing else.
func checkWhole(t *testing.T, dir string, lines int) {
	t.Helper()
	out, err := run("verify", "--data", dir, "--json").Output()
	if err != nil {
		t.Fatalf("verify: %v: %s", err, out)
	}
	var v struct {
		OK   bool
		Size int64
	}
	if err := json.Unmarshal(out, &v); err != nil || !v.OK {
		t.Fatalf("verify: %v: %s", err, out)
	}
	out, err = run("stations", "--data", dir, "--json").Output()
	if err != nil {
		t.Fatal(err)
	}
	var stations []struct {
		Name     string
		Here     bool
		Enrolled int64
	}
	if err := json.Unmarshal(out, &stations); err != nil {
		t.Fatal(err)
	}
	var own int64
	for _, s := range stations {
		if s.Here && s.Enrolled > 0 {
			own++ // enrolled on sight: one record of the ledger's that no line asked for
		}
	}
	if v.Size != int64(lines)+own {
		t.Errorf("the ledger holds %d records for %d lines and %d enrolments", v.Size, lines, own)
	}
	if len(stations) == 0 {
		t.Error("no stations")
	}
}

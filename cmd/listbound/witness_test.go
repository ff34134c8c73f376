//go:build !race

package main

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// until reads lines until one holds all the words.
func until(t *testing.T, r io.Reader, words ...string) string {
	t.Helper()
	lines := bufio.NewScanner(r)
	var all strings.Builder
next:
	for lines.Scan() {
		all.WriteString(lines.Text() + "\n")
		for _, w := range words {
			if !strings.Contains(lines.Text(), w) {
				continue next
			}
		}
		return lines.Text()
	}
	t.Fatalf("it never said %q:\n%s", words, &all)
	return ""
}

func end(t *testing.T, c *exec.Cmd) {
	t.Helper()
	if err := c.Process.Signal(syscall.SIGTERM); err != nil {
		t.Error(err)
	}
	if err := c.Wait(); err != nil {
		t.Errorf("%v: %v", c.Args[1], err)
	}
}

// TestWitness runs a witness and a server as people would: the line that the witness prints goes into the ledger's
// folder, the server asks, and a folder put back from a copy is not served as if nothing had been.
func TestWitness(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	observe := func(name string) {
		t.Helper()
		file := filepath.Join("../../testdata/observations", name)
		if said, err := run("record", "--data", dir, file).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, said)
		}
	}
	observe("one-trip.jsonl")
	stations, err := run("stations", "--data", dir).Output()
	if err != nil {
		t.Fatal(err)
	}
	var key string
	for _, word := range strings.Fields(string(stations)) {
		if strings.HasPrefix(word, "north/ledger+") {
			key = word
		}
	}
	if said, err := run("witness", "--data", dir, "--name", "w", "--ledger", key).CombinedOutput(); err == nil ||
		!strings.Contains(string(said), "would share its fate") {
		t.Errorf("a witness in the ledger's own folder: %v\n%s", err, said)
	}
	w := run("witness", "--data", other, "--name", "south.example/witness", "--ledger", key, "--address", "127.0.0.1:0")
	out, err := w.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	log, err := w.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Start(); err != nil {
		t.Fatal(err)
	}
	line := until(t, out, "witness south.example/witness south.example/witness+", "http://127.0.0.1:")
	policy := line + "\nquorum south.example/witness\n"
	if err := os.WriteFile(filepath.Join(dir, "witnesses.txt"), []byte(policy), 0o600); err != nil {
		t.Fatal(err)
	}
	srv := run("serve", "--data", dir, "--address", "127.0.0.1:0")
	told, err := srv.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := srv.Start(); err != nil {
		t.Fatal(err)
	}
	until(t, log, "signed", "ledger=north/ledger", "records=20")
	until(t, told, "signed by the witnesses")
	end(t, srv)
	kept, err := filepath.Glob(filepath.Join(dir, "witnesses", "*.checkpoint"))
	if err != nil || len(kept) != 1 {
		t.Errorf("kept: %v, %v", kept, err)
	}
	// The ledger's records are lost, the rest of the folder is not.
	for _, part := range []string{"stream", "log", "stream.clean"} {
		if err := os.RemoveAll(filepath.Join(dir, part)); err != nil {
			t.Fatal(err)
		}
	}
	said, err := run("record", "--data", dir, "../../testdata/observations/one-trip.jsonl").CombinedOutput()
	if err == nil || !strings.Contains(string(said), "has seen 20: records 1 to 20 are missing") {
		t.Errorf("recorded into a ledger that lost its records: %v\n%s", err, said)
	}
	end(t, w)
}

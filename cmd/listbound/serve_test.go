//go:build !race

package main

import (
	"bufio"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
)

// TestServe runs the server as its own process and asks it with every command
// that takes --server; the folder is its own meanwhile.
func TestServe(t *testing.T) {
	dir, work := t.TempDir(), t.TempDir()
	// The set below is packed and in no load, which is not late yet by then.
	if err := os.WriteFile(filepath.Join(dir, "as-of"), []byte("2026-03-02T12:00:00Z\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	srv := run("serve", "--data", dir, "--site", "north", "--address", "127.0.0.1:0")
	out, err := srv.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	srv.Stderr = os.Stderr
	if err := srv.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	var url string
	for url == "" && lines.Scan() {
		url = regexp.MustCompile(`http://[0-9.:]+`).FindString(lines.Text())
	}
	if url == "" {
		t.Fatal("the server did not say where it serves")
	}
	obs := filepath.Join(work, "obs.jsonl")
	if err := os.WriteFile(obs, []byte(`{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z",`+
		`"data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
`), 0o600); err != nil {
		t.Fatal(err)
	}
	zip, pdf := filepath.Join(work, "e.zip"), filepath.Join(work, "e.pdf")
	for _, c := range []struct {
		args []string
		ok   bool
		says string
	}{
		{[]string{"record", "--server", url, obs}, false, "not enrolled"},
		{[]string{"stations", "enrol", "north/packing-1", "--server", url}, true, "enrolled by record 1"},
		{[]string{"record", "--server", url, obs}, true, `"seq":3`},
		{[]string{"broken", "--server", url}, true, "No set has a broken"},
		{[]string{"history", "--server", url, "--set", "LAP-001"}, true, "packed by version 1"},
		{[]string{"verify", "--server", url}, true, "intact: 3 records"},
		{[]string{"evidence", "--server", url, "--set", "LAP-001", "--out", zip, "--report", pdf}, true, pdf + " written"},
		{[]string{"rebuild", "--server", url}, true, "rebuilt from 4 records"},
		{[]string{"lists", "--server", url}, true, "Laparotomy"},
		{[]string{"stations", "--server", url}, true, "north/packing-1"},
		{[]string{"policy", "--server", url}, true, `"adopted": false`},
		{[]string{"stations", "retire", "north/packing-1", "--reason", "done", "--server", url}, true, "retired by record 5"},
		{[]string{"broken", "--data", dir}, false, "listbound serve (process"},
		{[]string{"broken", "--data", dir}, false, "--server " + url},
		{[]string{"broken", "--data", dir, "--server", url}, false, "give --data or --server, not both"},
	} {
		said, err := run(c.args...).CombinedOutput()
		if (err == nil) != c.ok || !strings.Contains(string(said), c.says) {
			t.Errorf("%v: %v\n%s\nshould say %q", c.args, err, said, c.says)
		}
	}
	for name, begins := range map[string]string{zip: "PK", pdf: "%PDF-"} {
		if raw, err := os.ReadFile(name); err != nil || !strings.HasPrefix(string(raw), begins) {
			t.Errorf("%s: %.20q, %v", name, raw, err)
		}
	}
	if err := srv.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for lines.Scan() { // until it has closed its output
	}
	if err := srv.Wait(); err != nil {
		t.Errorf("ending the server: %v", err)
	}
	if said, err := run("verify", "--data", dir).CombinedOutput(); err != nil || !strings.Contains(string(said), "intact: 5 records") {
		t.Errorf("afterwards: %v\n%s", err, said)
	}
}

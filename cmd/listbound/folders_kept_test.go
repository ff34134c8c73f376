//go:build !race

package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/sitetest"
)

// TestKeptFolder opens a folder that an earlier version left whose ledger has had two keys, of which a witness has seen both:
// it is judged and verified as then, evidence of it leads from the first key to the one of now, and it goes on.
func TestKeptFolder(t *testing.T) {
	const kept, records = "kept-a18a92c", 105
	dir := sitetest.Unpack(t, filepath.Join(folders, kept+".tar.gz"))
	read := func(suffix string) []byte {
		t.Helper()
		raw, err := os.ReadFile(filepath.Join(folders, kept+suffix))
		if err != nil {
			t.Fatal(err)
		}
		return raw
	}
	first := strings.TrimSpace(string(read(".vkey")))
	for _, when := range []string{"as it lies there", "rebuilt"} {
		if when == "rebuilt" {
			answer(t, dir, "rebuild")
		}
		if err := covers(decoded(t, read(".json")), decoded(t, answer(t, dir, "broken"))); err != nil {
			t.Errorf("%s: the answer has changed: %v", when, err)
		}
		verified(t, dir, records)
	}
	file := filepath.Join(t.TempDir(), "all.zip")
	if said, err := run("evidence", "--data", dir, "--all", "--out", file).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r := bundle.Check(raw, first)
	if !r.Whole || !r.KeyTrusted || len(r.Former) != 1 || r.Former[0].Key != first || len(r.Custody.Witnesses) != 1 ||
		r.Custody.Witnesses[0].Size != records {
		t.Errorf("evidence: %+v", r)
	}
	line := `{"station":"north/storage","kind":"set.checked","time":"2026-03-05T05:00:00Z","set":"NEW-001","data":{"place":"A1"}}`
	c := run("record", "--data", dir, "-")
	c.Stdin = strings.NewReader(line + "\n")
	if said, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	verified(t, dir, records+1)

	// Whoever has the folder writes nothing else unseen: what the witness signed lies in it.
	if err := os.RemoveAll(filepath.Join(dir, "log")); err != nil {
		t.Fatal(err)
	}
	said, err := run("verify", "--data", dir).CombinedOutput()
	if err == nil || !strings.Contains(string(said), "the witness south has seen 105") {
		t.Errorf("without its log: %v, %s", err, said)
	}
}

// verified holds that a folder's records are intact, and nothing is remarked that wasn't.
func verified(t *testing.T, dir string, records int64) {
	t.Helper()
	var v struct {
		OK       bool
		Size     int64
		Problems []struct{ What string }
	}
	if err := json.Unmarshal(answer(t, dir, "verify"), &v); err != nil {
		t.Fatal(err)
	}
	if !v.OK || v.Size != records {
		t.Errorf("verify: ok %v, %d records, want %d; problems %v", v.OK, v.Size, records, v.Problems)
	}
}

//go:build !race

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/version"
)

const observations = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T06:14:00Z","set":"LAP-001","data":{"placement":"outside"}}
`

// makeBundle records three observations and returns their evidence and the
// ledger's key.
func makeBundle(t *testing.T) (raw []byte, key string) {
	t.Helper()
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", Clock: func() time.Time { return at }, EnrolOnSight: true})
	if err := s.Record(t.Context(), strings.NewReader(observations), func(r site.Receipt) error {
		if r.Error != "" {
			t.Error(r.Error)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := s.Evidence(t.Context(), site.Query{Set: "LAP-001"}, &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), s.Key()
}

func TestExit(t *testing.T) {
	raw, key := makeBundle(t)
	good, bad := filepath.Join(t.TempDir(), "e.zip"), filepath.Join(t.TempDir(), "b.zip")
	if err := os.WriteFile(good, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	raw[len(raw)/2] ^= 1
	if err := os.WriteFile(bad, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	other := strings.Replace(key, "north", "south", 1)
	another, _ := makeBundle(t)
	stranger := filepath.Join(t.TempDir(), "s.zip")
	if err := os.WriteFile(stranger, another, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{good}, exitNoKey, "WHOSE LEDGER THIS IS, ISN'T KNOWN"},
		{[]string{"--key", key, good}, exitOK, "ok: 5 records"},
		{[]string{"--json", good}, exitNoKey, `"keyTrusted": false`},
		{[]string{"--json", good}, exitNoKey, `"ok": false`},
		{[]string{"--json", good}, exitNoKey, `"whole": true`},
		{[]string{"--json", "--key", key, good}, exitOK, `"ok": true`},
		{[]string{"--key", key, "--earlier", good, good}, exitOK, "one history"},
		{[]string{"--earlier", good, good}, exitNoKey, "one history"},
		{[]string{"--key", key, "--earlier", stranger, good}, exitProblem, "no signature by a known key"},
		{[]string{"--key", key, "--earlier", "nosuch.zip", good}, exitProblem, "no such file"},
		{[]string{"--key", key, "--earlier", "", good}, exitUsage, "names no file"},
		{[]string{bad}, exitProblem, "problem: byte"},
		{[]string{"--json", bad}, exitProblem, `"ok": false`},
		{[]string{"--key", other, good}, exitProblem, "no usable key"},
		{[]string{"nosuch.zip"}, exitUsage, "no such file"},
		{nil, exitUsage, "usage:"},
		{[]string{"--help"}, exitOK, "usage:"},
		{[]string{"--version"}, exitOK, "listbound-verify " + version.Number},
		{[]string{"--nosuch"}, exitUsage, "not defined"},
	} {
		var out, errOut bytes.Buffer
		if code := run(c.args, &out, &errOut); code != c.code {
			t.Errorf("%v: exit %d, want %d\n%s%s", c.args, code, c.code, out.String(), errOut.String())
		}
		if said := out.String() + errOut.String(); !strings.Contains(said, c.says) {
			t.Errorf("%v: %q does not say %q", c.args, said, c.says)
		}
	}
}

// TestHostile: no bytes make the checker fail otherwise than by saying no.
func TestHostile(t *testing.T) {
	raw, _ := makeBundle(t)
	for _, b := range [][]byte{nil, []byte("PK"), []byte("not a zip"), raw[:len(raw)/3], raw[len(raw)/3:],
		bytes.Repeat(raw, 2), append([]byte("x"), raw...), append(bytes.Clone(raw), 'x')} {
		if r := bundle.Check(b, ""); r.Whole {
			t.Errorf("%d strange bytes were accepted", len(b))
		}
	}
}

// TestNeedsNothing: the checker is built from neither server nor database.
func TestNeedsNothing(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "listbound/cmd/listbound-verify").Output()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, path := range strings.Fields(string(out)) {
		seen[path] = true
	}
	if !seen["listbound/ledger/proof"] || !seen["listbound/events"] {
		t.Fatalf("it has only %d packages", len(seen))
	}
	for path := range seen {
		// It judges the records itself, so it needs judgement; not what keeps verdicts.
		for _, no := range []string{"nats", "sqlite", "listbound/projections/readmodel", "listbound/cmd/internal/site"} {
			if strings.Contains(path, no) {
				t.Errorf("the checker needs %s", path)
			}
		}
		if path == "net/http" || path == "database/sql" || path == "listbound/ledger" {
			t.Errorf("the checker needs %s", path)
		}
	}
}

// TestKeysShown: who gave a key that was replaced is led on from it, and told what that is worth.
func TestKeysShown(t *testing.T) {
	r := bundle.Report{
		Whole: true, KeyTrusted: true, Key: "north/ledger+2", Known: "north/ledger+1",
		Former: []bundle.Replaced{{Key: "north/ledger+1", By: 6}},
	}
	var out strings.Builder
	if err := show(&out, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"record 6 replaced a key of the ledger, and that key signed it: north/ledger+1, the key that you know\n",
		"the ledger's key now: north/ledger+2\n", "WHOEVER HAS THE KEY THAT YOU KNOW",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in:\n%s", want, out.String())
		}
	}
	out.Reset()
	r.Known = ""
	if err := show(&out, r); err != nil || strings.Contains(out.String(), "you know") || strings.Contains(out.String(), "WHOEVER") {
		t.Errorf("known by the key of now:\n%s%v", out.String(), err)
	}
}

// TestHoles: numbers that are missing in a bundle of the whole ledger never came to it; in an excerpt they may be elsewhere.
func TestHoles(t *testing.T) {
	hole := bundle.Hole{Station: "north/or-5", Numbers: "39", Count: 1, Outside: true}
	for says, of := range map[string]string{"north/or-5: numbers 39 between its first and last record are in no record": bundle.Everything,
		"about nothing that the bundle covers: 1 other records": "case K-0409"} {
		var b strings.Builder
		holes(&b, bundle.Report{Coverage: &bundle.Coverage{Of: of, Proven: true}, Holes: []bundle.Hole{hole}})
		if !strings.Contains(b.String(), says) || strings.Count(b.String(), "\n") != 1 {
			t.Errorf("%s: %q", of, &b)
		}
	}
}

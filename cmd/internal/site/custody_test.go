//go:build !race

package site_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// TestCustody: a bundle says whose key lies where, and holds the newest timestamp, which openssl checks and the checker
// ties to the bundle's own checkpoint.
func TestCustody(t *testing.T) {
	dir, authority, _ := stamped(t, "%s every 24h\n")
	o := site.Options{Dir: dir, EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 8))}
	var raw []byte
	var key, set string
	inFolder(t, o, func(s *site.Site) {
		key = s.Key()
		askTimestamp(t, s)
		own := enrolOwnKey(t, s, "north/own")
		set = "LAP-001"
		record(t, s, own.line(&events.Event{
			ID: events.DerivedID(noon, [32]byte{1}), Subject: set, Time: noon, Data: &events.SetChecked{Place: "A1"},
		}))
		raw = caseEvidence(t, s, site.Query{Set: set})
	})
	r := bundle.Check(raw, key)
	if !r.OK {
		t.Fatalf("%+v", r.Problems)
	}
	if c := r.Custody; c == nil || !slices.Equal(c.Own, []string{"north/own"}) || len(c.Server) == 0 || c.Timestamp == nil {
		t.Errorf("%+v", r.Custody)
	}
	if len(r.Stamped) != 1 || r.Stamped[0].Size != r.Custody.Timestamp.Size || r.Stamped[0].Size >= r.Size {
		t.Fatalf("%+v of %d records", r.Stamped, r.Size)
	}
	signer, v, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, filepath.FromSlash(ledgerKey)), "north/ledger")
	if err != nil {
		t.Fatal(err)
	}
	b, problems := proof.ReadBundle(raw, v)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	at := t.TempDir()
	for _, f := range b.Files {
		put(t, at, f.Path, f.Data)
	}
	how := strings.Replace(r.Stamped[0].HowToCheck(), "CA.pem", filepath.Join(authority.Dir, "ca.pem"), 1)
	cmd := exec.CommandContext(t.Context(), "sh", "-c", how)
	cmd.Dir = at
	if out, err := cmd.CombinedOutput(); err != nil || !strings.Contains(string(out), "Verification: OK") {
		t.Errorf("%s: %v\n%s", how, err, out)
	}
	stamp := strings.TrimSuffix(r.Stamped[0].File, ".tsr")
	checkpoint, _ := b.File(stamp + ".checkpoint")
	digest := sha256.Sum256(checkpoint)
	// What is done to it with the ledger's key in hand is named.
	for what, c := range map[string]struct {
		change func(f proof.File) (proof.File, bool)
		says   string
	}{
		"no checkpoint": {func(f proof.File) (proof.File, bool) { return f, f.Path != stamp+".checkpoint" }, "is of is missing"},
		"no timestamp":  {func(f proof.File) (proof.File, bool) { return f, f.Path != stamp+".tsr" }, "its timestamp is missing"},
		"no way on":     {func(f proof.File) (proof.File, bool) { return f, !strings.HasPrefix(f.Path, "earlier/") }, "went on from there"},
		"of something else": {func(f proof.File) (proof.File, bool) {
			if f.Path == stamp+".tsr" {
				f.Data = bytes.Replace(f.Data, digest[:], make([]byte, len(digest)), 1)
			}
			return f, true
		}, "not of the checkpoint beside it"},
		"a station that is not named": {func(f proof.File) (proof.File, bool) {
			if f.Path == "keys" {
				f.Data = bytes.Replace(f.Data, []byte("own north/own\n"), nil, 1)
			}
			return f, true
		}, "where the key of north/own lies"},
		"another spelling": {func(f proof.File) (proof.File, bool) {
			if f.Path == "keys" {
				f.Data = append(f.Data, "nobody has any key\n"...)
			}
			return f, true
		}, "says nothing that is known here"},
	} {
		var files []proof.File
		for _, f := range b.Files {
			f.Data = bytes.Clone(f.Data)
			if f, ok := c.change(f); ok {
				files = append(files, f)
			}
		}
		var out bytes.Buffer
		if err := proof.WriteBundle(&out, files, signer); err != nil {
			t.Fatal(err)
		}
		r := bundle.Check(out.Bytes(), key)
		if r.OK || len(r.Problems) == 0 || !strings.Contains(r.Problems[0].What, c.says) {
			t.Errorf("%s: %+v, want %q", what, r.Problems, c.says)
		}
	}
}

// TestKeyThatLayHere: a station that comes to keep its own key leaves none behind, and a bundle with records of before says that
// these were signed at the server, one with later records alone that they weren't.
func TestKeyThatLayHere(t *testing.T) {
	dir := t.TempDir()
	at := noon
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return at }}
	custody := func(s *site.Site, set string) (c bundle.Custody) {
		t.Helper()
		r := bundle.Check(caseEvidence(t, s, site.Query{Set: set}), s.Key())
		if !r.OK || r.Custody == nil {
			t.Fatalf("%+v", r.Problems)
		}
		return *r.Custody
	}
	inFolder(t, o, func(s *site.Site) {
		record(t, s, `{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T11:00:00Z","set":"LAP-001","data":{"place":"A1"}}`)
		file := filepath.Join(dir, "keys", "north_or-1.key")
		if c := custody(s, "LAP-001"); !slices.Contains(c.Server, "north/or-1") {
			t.Errorf("%+v", c)
		}
		at = at.Add(time.Hour)
		own := enrolOwnKey(t, s, "north/or-1")
		if _, err := os.Stat(file); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("the former key lies here still: %v", err)
		}
		at = at.Add(time.Hour)
		record(t, s, own.line(&events.Event{
			ID: events.DerivedID(at, [32]byte{1}), Subject: "LAP-002", Time: at, Data: &events.SetChecked{Place: "A1"},
		}))
		if c := custody(s, "LAP-001"); !slices.Contains(c.Server, "north/or-1") || slices.Contains(c.Own, "north/or-1") {
			t.Errorf("records of before: %+v", c)
		}
		if c := custody(s, "LAP-002"); !slices.Contains(c.Own, "north/or-1") || slices.Contains(c.Server, "north/or-1") {
			t.Errorf("records of afterwards: %+v", c)
		}
		raw, err := os.ReadFile(strings.TrimSuffix(file, ".key") + ".former")
		if err != nil || strings.Contains(string(raw), "PRIVATE") || !strings.HasPrefix(string(raw), "north/or-1+") {
			t.Errorf("%v: %q", err, raw)
		}
	})
	inFolder(t, o, func(s *site.Site) {
		if p, err := s.Verify(t.Context(), nil); err != nil || !p.OK {
			t.Errorf("%+v, %v", p, err)
		}
	})
}

//go:build !race

package site_test

import (
	"crypto/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestTwoIDsOfACase: a folder in which an earlier program let two stations give one case two ids. They are one case as long as its
// reference is there, verify says that they are two ids, and so does whoever takes the reference out, of which nothing is left.
func TestTwoIDsOfACase(t *testing.T) {
	const reference = "K-Moreau-9"
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north"})
	a, b := newSignsThere(t, s, "north/or-8"), newSignsThere(t, s, "north/or-9")
	a.observe(at(a.name, "LAP-001", 0, &events.SetOpened{Case: reference, Tag: "LAP-001"}))
	x, err := events.NewAddendum(rand.Reader, events.AddendumCase, reference)
	if err != nil {
		t.Fatal(err)
	}
	own, err := x.Disclosure()
	if err != nil {
		t.Fatal(err)
	}
	b.sign(b.asks(at(b.name, "VAS-001", 1, &events.SetOpened{Case: reference, Tag: "VAS-001"})), func(e *events.Event) {
		e.Data.(*events.SetOpened).Case = events.Mark(own)
	})
	b.records[0].Addenda = nil // the text comes as it did then, beside the intake that refuses it
	line, err := json.Marshal(b.records[0])
	if err != nil {
		t.Fatal(err)
	}
	if r := record(t, s, string(line)+"\n")[0]; r.Error != "" {
		t.Fatal(r.Error)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "addenda")
	texts, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, append(texts, own+"\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "readmodel.db")); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Name: "north"})
	ids := func() (remarks []string) {
		v, err := s.Verify(t.Context(), nil)
		if err != nil || !v.OK {
			t.Fatalf("%+v, %v", v, err)
		}
		for _, r := range v.Remarks {
			if strings.Contains(r.What, "one case has 2 ids") && strings.Contains(r.What, events.Mark(own)) {
				remarks = append(remarks, r.What)
			}
		}
		return remarks
	}
	h, err := s.History(t.Context(), site.Query{Case: reference})
	if err != nil || len(h.Events) != 2 || len(ids()) != 1 {
		t.Errorf("%d records of the case, %v; verify says %q", len(h.Events), err, ids())
	}
	for _, check := range []bool{true, false} {
		out, err := s.Redact(t.Context(), site.Redaction{Case: reference, Reason: "asked for", Check: check})
		if err != nil || out.CaseIDs != 2 || !check && (len(out.Left) > 0 || out.Texts != 2) {
			t.Errorf("taken out: %+v, %v", out, err)
		}
	}
	if found := holding(t, dir, reference); len(found) > 0 || len(ids()) > 0 {
		t.Errorf("still in %s; verify says %q", found, ids())
	}
}

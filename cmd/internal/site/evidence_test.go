//go:build !race

package site_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/version"
	"listbound/ledger/proof"
)

// evidenceOf returns the files of a bundle, which must hold.
func evidenceOf(t *testing.T, s *site.Site, q site.Query) *proof.Bundle {
	t.Helper()
	var raw bytes.Buffer
	if err := s.Evidence(t.Context(), q, &raw); err != nil {
		t.Fatal(err)
	}
	if r := bundle.Check(raw.Bytes(), s.Key()); !r.OK {
		t.Fatalf("the bundle does not hold: %v", r.Problems)
	}
	v, err := note.NewVerifier(s.Key())
	if err != nil {
		t.Fatal(err)
	}
	b, _ := proof.ReadBundle(raw.Bytes(), v)
	return b
}

// TestEvidence: a bundle holds each record that the verdict rests on, of what came after the moment asked about only the
// next record, which shows that none before it is left out and of which the history tells nothing, and says which
// program judged.
func TestEvidence(t *testing.T) {
	now := noon
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }})
	list := strings.SplitAfter(oneList, "\n")[0]
	packed := func(set string, minute int) string {
		return fmt.Sprintf(`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:%02d:00Z","set":%q,`+
			`"data":{"list":"LAP-MAJOR","version":3}}`+"\n", minute, set)
	}
	const scanned = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T06:25:00Z","set":"LAP-014",` +
		`"data":{"place":"A4"}}`
	rs := record(t, s, list+packed("LAP-022", 5)+packed("LAP-014", 10)+packed("LAP-014", 20)+scanned)
	now = noon.Add(time.Hour)
	later := record(t, s, packed("LAP-014", 30))[0].Seq
	latest := record(t, s, packed("LAP-014", 40))[0].Seq
	issue, other, before, its, scan := rs[0].Seq, rs[1].Seq, rs[2].Seq, rs[3].Seq, rs[4].Seq

	for _, test := range []struct {
		what     string
		q        site.Query
		in, left []int64
	}{
		// Which of its trips the scan belongs to, the packings about it say.
		{"now", site.Query{Trip: rs[3].Trip}, []int64{issue, before, its, scan, later}, []int64{other}},
		{"as known at noon", site.Query{Trip: rs[3].Trip, AsOf: noon}, []int64{issue, before, its, scan, later},
			[]int64{other, latest}},
	} {
		b := evidenceOf(t, s, test.q)
		var seqs []int64
		for _, f := range b.Files {
			var seq int64
			if n, err := fmt.Sscanf(f.Path, "records/%d.note", &seq); n == 1 && err == nil {
				seqs = append(seqs, seq)
			}
		}
		for _, seq := range test.in {
			if !slices.Contains(seqs, seq) {
				t.Errorf("%s: record %d is not in it: %v", test.what, seq, seqs)
			}
		}
		for _, seq := range test.left {
			if slices.Contains(seqs, seq) {
				t.Errorf("%s: record %d is in it: %v", test.what, seq, seqs)
			}
		}
		told, _ := b.File("history.json")
		if tells := bytes.Contains(told, fmt.Appendf(nil, `"seq": %d,`, later)); tells && !test.q.AsOf.IsZero() ||
			!bytes.Contains(told, fmt.Appendf(nil, `"seq": %d,`, scan)) {
			t.Errorf("%s: the history tells of record %d: %t, and of record %d: %s", test.what, later, tells, scan, told)
		}
		text, _ := b.File("history.txt")
		dated := bytes.Contains(told, []byte(`"known": `)) && bytes.Contains(text, []byte("; first known "))
		if bytes.Contains(told, []byte(`"code": `)) && !dated {
			t.Errorf("%s: of findings the history does not say when they were first known: %s", test.what, text)
		}
		if want := "Judged by listbound " + version.String(); !bytes.Contains(text, []byte(want)) {
			t.Errorf("%s: the history does not say %q", test.what, want)
		}
	}
}

// TestNoEvidenceBehind: where what was recorded last can't be written to the read model, no bundle is handed out that lacks it.
func TestNoEvidenceBehind(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, LockWait: time.Millisecond})
	record(t, s, oneList)
	q := site.Query{Set: "LAP-014"}
	evidence := func() error { return s.Evidence(t.Context(), q, io.Discard) }
	if err := evidence(); err != nil {
		t.Fatal(err)
	}
	settled(t, s, dir)
	end := locked(t, dir)
	o := checked(t, q.Set)
	o.Time = noon.Add(-time.Hour)
	if _, err := s.Observe(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	err := evidence()
	end()
	if err == nil || !strings.Contains(err.Error(), "not judged yet") {
		t.Errorf("evidence without the last record: %v", err)
	}
	if err := errors.Join(s.Advance(t.Context()), evidence()); err != nil { // as KeepTime does
		t.Errorf("once it can be written: %v", err)
	}
}

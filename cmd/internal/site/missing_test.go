//go:build !race

package site_test

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
)

// TestTextsThatAreGone: where the file of texts is lost, or an older one lies there, verify and each start say whose texts are
// missing, also once the read model was made anew without them and new records have begun another file; after a redaction,
// and with the file put back, they say nothing.
func TestTextsThatAreGone(t *testing.T) {
	dir := t.TempDir()
	now := noon
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }}
	missing := func(s *site.Site, want []int64) {
		t.Helper()
		v, err := s.Verify(t.Context(), nil)
		if err != nil || !v.OK || !slices.Equal(v.TextsMissing, want) {
			t.Errorf("verify: missing %v, want %v: %+v, %v", v.TextsMissing, want, v, err)
		}
		said := slices.ContainsFunc(v.Remarks, func(p ledger.Problem) bool { return strings.Contains(p.What, "are not in the file addenda") })
		noticed := slices.ContainsFunc(s.Notices(), func(n site.Notice) bool { return n.What == site.NoticedTexts && n.More == len(want) })
		if said != (len(want) > 0) || noticed != (len(want) > 0) {
			t.Errorf("missing %v: said %v, noticed %v", want, said, noticed)
		}
	}
	noticed := func(s *site.Site) bool {
		return slices.ContainsFunc(s.Notices(), func(n site.Notice) bool { return n.What == site.NoticedTexts })
	}
	s, rs := told(t, o)
	if _, err := s.Redact(t.Context(), site.Redaction{Records: []int64{rs[1].Seq}, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	missing(s, nil)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "addenda")
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if !noticed(s) {
		t.Error("the start says nothing")
	}
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	// Another file is begun, and after many records a start sees none that lacks its text.
	for range 2 {
		var many []*events.Observation
		for range 150 {
			now = now.Add(time.Second)
			many = append(many, closing(now)[0])
		}
		if _, err := s.Observe(t.Context(), many...); err != nil {
			t.Fatal(err)
		}
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !slices.Contains(v.TextsMissing, rs[0].Seq) || v.TextsMissing[len(v.TextsMissing)-1] > rs[len(rs)-1].Seq+5 {
		t.Fatalf("verify: %+v, %v", v, err)
	}
	missing(s, v.TextsMissing)
	if err := s.CheckSlowly(t.Context(), func(context.Context, time.Duration) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if !noticed(s) {
		t.Error("the next start says nothing of what the check found")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	begun, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	_, more, _ := strings.Cut(string(begun), "\n")
	if err := os.WriteFile(file, append(whole, more...), 0o600); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if noticed(s) {
		t.Error("the file is back, and a start says that it isn't")
	}
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	missing(s, nil)
}

// TestAnotherKeyOfIDs: where the first line of the file of texts is another than it was, so that what is handed in again is stored
// twice, verify and a start say so; a line that can't be read is named with what to do.
func TestAnotherKeyOfIDs(t *testing.T) {
	dir := t.TempDir()
	var log strings.Builder
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon },
		Logger: slog.New(slog.NewTextHandler(&log, nil))}
	s, _ := told(t, o)
	size := func(s *site.Site) int64 {
		v, err := s.Verify(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		return v.Size
	}
	before := size(s)
	if _, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...); err != nil || size(s) != before {
		t.Fatalf("%d records, then %d, %v", before, size(s), err)
	}
	if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
		t.Fatalf("%+v, %v", v, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "addenda")
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	changed := slices.Clone(whole)
	at := strings.Index(string(whole), " v1 ") + 6
	if changed[at] = 'A'; whole[at] == 'A' {
		changed[at] = 'B'
	}
	if err := os.WriteFile(file, changed, 0o600); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(log.String(), "by the folder's key") {
		t.Error("said of the right key")
	}
	s = open(t, dir, o)
	if !strings.Contains(log.String(), "by the folder's key") {
		t.Error("the start says nothing")
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || v.OK || len(v.Problems) != 1 || !strings.Contains(v.Problems[0].What, "stored twice") {
		t.Errorf("verify: %+v, %v", v, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, append(slices.Clone(whole), "not an addendum\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := site.Open(t.Context(), o); err == nil || !strings.Contains(err.Error(), "put the file back from a copy") {
		t.Errorf("a line that can't be read: %v", err)
	}
	if err := os.WriteFile(file, whole, 0o600); err != nil { // the folder is verified at the end
		t.Fatal(err)
	}
}

// TestTextsGoneAndModelKept: where the file of texts is gone, the read model still has what stood in it, and verify says that the
// file comes first.
func TestTextsGoneAndModelKept(t *testing.T) {
	o := site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
	s, _ := told(t, o)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(o.Dir, "addenda")
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	s = open(t, o.Dir, o)
	v, err := s.Verify(t.Context(), nil)
	said := slices.ContainsFunc(v.Problems, func(p ledger.Problem) bool { return strings.Contains(p.What, "put back first") })
	if err != nil || v.OK || !said {
		t.Errorf("%+v, %v", v, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	s = open(t, o.Dir, o)
	if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
		t.Errorf("put back: %+v, %v", v, err)
	}
}

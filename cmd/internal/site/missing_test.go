//go:build !race

package site_test

import (
	"context"
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

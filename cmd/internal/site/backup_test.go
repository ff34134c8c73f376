package site_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/projections"
	"listbound/projections/words"
)

// A backup is made while records come, and holds all that was acknowledged before it began.
func TestBackupWhileRecording(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "backup")
	o := site.Options{Name: "north", EnrolOnSight: true}
	s := open(t, dir, o)
	lines := weekLines(t)[:450]
	record(t, s, strings.Join(lines[:150], "\n")+"\n")
	done := make(chan struct{})
	go func() {
		defer close(done)
		for at := 150; at < len(lines); at += 10 {
			err := s.Record(t.Context(), strings.NewReader(strings.Join(lines[at:at+10], "\n")+"\n"),
				func(site.Receipt) error { return nil })
			if err != nil {
				t.Error(err)
				return
			}
		}
	}()
	for n := range 4 {
		before := s.Size()
		b, err := site.Backup(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)}, to, nil)
		if err != nil || b.Records < before {
			t.Fatalf("backup %d: %+v of at least %d records: %v", n, b, before, err)
		}
	}
	<-done
	last, err := site.Backup(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)}, to, nil)
	if err != nil || last.Records != s.Size() {
		t.Fatalf("%+v of %d records: %v", last, s.Size(), err)
	}
	elsewhere := filepath.Join(t.TempDir(), "restored")
	if _, err := site.Restore(t.Context(), site.Options{Dir: elsewhere, Clock: fixed(noon)}, to, nil); err != nil {
		t.Fatal(err)
	}
	restored := open(t, elsewhere, o)
	if restored.Size() != last.Records {
		t.Errorf("%d records were restored of %d", restored.Size(), last.Records)
	}
	sameVerdicts(t, "restored", verdictsOf(t, restored), verdictsOf(t, s))
}

// verdictsOf returns every trip's verdict in words, without the numbers of records.
func verdictsOf(t *testing.T, s *site.Site) map[string]string {
	t.Helper()
	vs, err := site.Answer(s, func(v *site.View) ([]projections.Verdict, error) { return v.Verdicts(t.Context()) })
	if err != nil {
		t.Fatal(err)
	}
	out := make(map[string]string)
	for _, v := range vs {
		words.Embedded().Tell(&v)
		told := fmt.Sprintf("%s %s opened %t\n", v.Status, v.Case, v.Opened)
		for _, f := range v.Findings {
			told += fmt.Sprintf("%s %s %s %d: %s\n", f.Code, f.Severity, f.Way, len(f.Acknowledged), f.Says)
		}
		out[v.Set+" "+v.Trip] = told
	}
	return out
}

func sameVerdicts(t *testing.T, when string, got, want map[string]string) {
	t.Helper()
	for k, v := range want {
		if got[k] != v {
			t.Errorf("%s, %s is\n%s\nand should be\n%s", when, k, got[k], v)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%s, there are %d verdicts, should be %d", when, len(got), len(want))
	}
}

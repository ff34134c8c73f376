//go:build !race

package site_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/projections"
)

const folders = "../../../testdata/folders"

// lateLines are the observations of the folders in which a bench hands in last,
// in the order in which they were made.
func lateLines(t *testing.T) []string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(folders, "late.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(string(raw)), "\n")
}

// afterLate are lines that go on with that story: a look at a set that came out
// of the bench, a correction of an opening recorded before the bench handed in, a
// word on a count, and a third packing, handed in later still.
const afterLate = `{"station":"north/storage","kind":"set.checked","time":"2026-03-03T15:00:00Z","set":"LAP-014","operator":"B-2051",` +
	`"data":{"place":"sterile storage A4","tag":"LAP-014","outerLabel":"LAP-014"}}` + "\n" +
	`{"station":"north/or-3","kind":"event.corrected","time":"2026-03-04T11:00:00Z","operator":"B-3322",` +
	`"data":{"event":"019cb7ae-9d40-722d-9a23-7d879e298b69","action":"replace","reason":"the room was typed wrong",` +
	`"data":{"case":"K-0202","room":"OR 4","tag":"LAP-014","outerLabel":"LAP-014","seals":["48314"],"indicator":"pass"}}}` + "\n" +
	`{"station":"north/office","kind":"finding.acknowledged","time":"2026-03-04T12:00:00Z","set":"LAP-014","operator":"B-1001",` +
	`"data":{"code":"link-missing","reason":"the sheet was seen by the whole team"}}` + "\n" +
	`{"station":"north/packing-9","kind":"set.packed","time":"2026-03-03T18:00:00Z","set":"LAP-022","operator":"B-1182",` +
	`"data":{"list":"LAP-MAJOR","version":1}}`

// TestEarlierFolderLateBench: a folder in which an earlier program wrote the
// trips that it had looked up, before a bench handed in the packings that what
// was seen belongs to, is judged as if all had been handed in in order: at once,
// after a rebuild, and when more is recorded in it.
func TestEarlierFolderLateBench(t *testing.T) {
	now := fixed(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))
	inOrder := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: now})
	record(t, inOrder, strings.Join(lateLines(t), "\n"))
	want := verdictsOf(t, inOrder)
	for k, v := range want {
		if !strings.HasPrefix(v, "whole") {
			t.Errorf("in order, %s is %s", k, v)
		}
	}
	if len(want) != 5 {
		t.Fatalf("%d turns, should be 5", len(want))
	}

	dir := sitetest.Unpack(t, filepath.Join(folders, "late-44e5aec.tar.gz"))
	path := filepath.Join(dir, "readmodel.db")
	s := open(t, dir, site.Options{Clock: now, EnrolOnSight: true})
	sameVerdicts(t, "opened", verdictsOf(t, s), want)
	earlierHistory(t, s)
	for _, where := range []*site.Site{s, inOrder} {
		for _, r := range record(t, where, afterLate) {
			if r.Error != "" {
				t.Fatal(r.Error)
			}
		}
	}
	sameVerdicts(t, "with more recorded", verdictsOf(t, s), verdictsOf(t, inOrder))
	running := dump(t, path)
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if rebuilt := dump(t, path); rebuilt != running {
		t.Errorf("a rebuild differs: %s", diffLines(running, rebuilt))
	}
}

// earlierHistory holds what the board and histories say to the same trips.
func earlierHistory(t *testing.T, s *site.Site) {
	t.Helper()
	const before, after = "019cad21-cf00-7e1c-8cb5-7c6664c57b09", "019cb248-2b00-76b4-a282-c9e76edfeaad" // of LAP-014
	shared, err := site.Answer(s, func(v *site.View) ([]projections.TripKey, error) {
		return v.Shares(t.Context(), "load", "S2-0303-01", time.Time{}, time.Time{}, 10)
	})
	if err != nil || len(shared) != 2 || shared[0].Trip == before || shared[1].Trip == before {
		t.Errorf("in the load were %v (%v)", shared, err)
	}
	h, err := s.History(t.Context(), site.Query{Trip: after})
	if err != nil {
		t.Fatal(err)
	}
	var handedIn time.Time
	kinds := make(map[string]int)
	for _, e := range h.Events {
		if e.Set == "LAP-014" && e.Trip != after {
			t.Errorf("record %d is of trip %s", e.Seq, e.Trip)
		}
		if e.Kind == "set.packed" {
			handedIn = e.Recorded
		}
		kinds[e.Kind]++
	}
	if got, want := fmt.Sprint(kinds), "map[case.closed:1 event.corrected:1 list.sealed:1 set.checked:1 set.counted:2 "+
		"set.opened:1 set.packed:1 set.sterilized:1]"; got != want {
		t.Errorf("of the trip are %s, want %s", got, want)
	}
	// As known before the bench had handed in, the set's last known trip has all of it.
	h, err = s.History(t.Context(), site.Query{Set: "LAP-014", AsOf: handedIn.Add(-time.Millisecond)})
	if err != nil {
		t.Fatal(err)
	}
	opened := 0
	for _, e := range h.Events {
		if e.Kind == "set.opened" && e.Trip == before {
			opened++
		}
	}
	if len(h.Verdicts) != 1 || opened != 2 {
		t.Errorf("before the bench handed in: %d verdicts, %d openings of the trip", len(h.Verdicts), opened)
	}
}

//go:build !race

package site_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// policyLine adopts the default policy but for the number of people, as of a moment.
func policyLine(t *testing.T, at time.Time) string {
	t.Helper()
	line, err := events.FormatObservation(&events.Observation{
		Station: "north/ledger", Kind: events.KindPolicyAdopted, Time: at, Data: &events.PolicyAdopted{Policy: events.DefaultPolicy()},
	})
	if err != nil {
		t.Fatal(err)
	}
	return string(line) + "\n"
}

// TestPolicyHoldsFromRecording: at a server a policy that is backdated by months is refused, and so is a change of one that
// is there, directly or by taking back an earlier change: each would judge anew what had been observed. What is recorded of
// now is in force from then on. In one's own folder a file of former times is recorded with its policies.
func TestPolicyHoldsFromRecording(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	old := noon.AddDate(0, -3, 0)
	got := record(t, s, policyLine(t, old))
	correct := func(id string, at time.Time) string {
		return fmt.Sprintf(`{"station":"north/ledger","kind":"event.corrected","time":%q,"data":{"event":%q,"action":"void",`+
			`"reason":"another one"}}`+"\n", at.Format(time.RFC3339), id)
	}
	fix := record(t, s, correct(got[0].ID, old.Add(time.Hour)))
	if got[0].Error != "" || fix[0].Error != "" {
		t.Fatalf("in one's own folder: %+v %+v", got, fix)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Name: "north"})
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	signed := func(at time.Time) string {
		return signedLine(t, own.note(&events.Observation{Time: at, Data: &events.PolicyAdopted{Policy: events.DefaultPolicy()}}))
	}
	size := s.Size()
	for name, line := range map[string]string{
		"months ago": policyLine(t, noon.AddDate(0, -2, 0)), "an hour ago": policyLine(t, noon.Add(-time.Hour)),
		"signed by a station": signed(noon.Add(-time.Hour)), "a policy taken back": correct(got[0].ID, noon),
		"a correction taken back": correct(fix[0].ID, noon),
	} {
		if r := record(t, s, line); !strings.Contains(r[0].Error, "policy") || s.Size() != size {
			t.Errorf("%s: %+v", name, r[0])
		}
	}
	r := record(t, s, policyLine(t, noon)+policyLine(t, old)) // the last one is there already
	if r[0].Error != "" || r[0].Known || r[1].Error != "" || !r[1].Known {
		t.Errorf("of now, and known: %+v", r)
	}
	p, err := s.Policy(t.Context())
	if err != nil || !p.Adopted || p.Seq != r[0].Seq {
		t.Errorf("in force is %+v, %v", p, err)
	}
}

// TestNothingOfTomorrow: a server refuses what is dated more than a day ahead, unless its station has signed it, and takes what is
// ahead by less; in one's own folder it is recorded as it is.
func TestNothingOfTomorrow(t *testing.T) {
	dir := t.TempDir()
	line := func(at time.Time) string {
		return fmt.Sprintf(`{"station":"north/or-3","kind":"set.checked","time":%q,"set":"LAP-1","data":{"place":"A1"}}`+"\n",
			at.Format(time.RFC3339))
	}
	far := time.Date(2199, 1, 1, 8, 0, 0, 0, time.UTC)
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	if r := record(t, s, line(far)); r[0].Error != "" {
		t.Errorf("in one's own folder: %+v", r[0])
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Name: "north"})
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	size := s.Size()
	for _, at := range []time.Time{far, noon.Add(24*time.Hour + time.Second)} {
		if r := record(t, s, line(at.Add(time.Minute))); !strings.Contains(r[0].Error, "set the clock") || s.Size() != size {
			t.Errorf("%s: %+v", at, r[0])
		}
	}
	o := &events.Observation{Time: far, Set: "LAP-1", Data: &events.SetChecked{Place: "A1"}}
	if r := record(t, s, line(noon.Add(24*time.Hour))+signedLine(t, own.note(o))); r[0].Error != "" || r[1].Error != "" {
		t.Errorf("a day ahead, and signed by its station: %+v", r)
	}
}

// TestOwnWithinTime: where policy limits it, a station corrects what it observed itself within so many minutes, and nothing of
// another; the ledger itself, as which a lead corrects, corrects all. Without a limit, and in one's own folder, nobody is asked.
func TestOwnWithinTime(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	look := func(station string, at time.Time) string {
		return fmt.Sprintf(`{"station":%q,"kind":"set.checked","time":%q,"set":"LAP-001","data":{"place":"A1"}}`+"\n",
			station, at.Format(time.RFC3339))
	}
	correct := func(station, id string, at time.Time) string {
		return fmt.Sprintf(`{"station":%q,"kind":"event.corrected","time":%q,"data":{"event":%q,"action":"void",`+
			`"reason":"the neighbour"}}`+"\n", station, at.Format(time.RFC3339), id)
	}
	at := noon.Add(-2 * time.Hour)
	var looks string
	for n := range 5 {
		looks += look("north/or-1", at.Add(time.Duration(n)*time.Second))
	}
	seen := record(t, s, looks+look("north/or-2", at))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Name: "north"})
	tryIt := func(line, refused string) {
		t.Helper()
		size := s.Size()
		r := record(t, s, line)
		if !strings.Contains(r[0].Error, refused) || (refused == "") != (r[0].Error == "") || (refused == "") != (s.Size() > size) {
			t.Errorf("%s: %+v, want refused: %q", line, r[0], refused)
		}
	}
	tryIt(correct("north/or-1", seen[0].ID, noon), "") // no policy, no limit
	adopt := func(minutes int64) {
		t.Helper()
		p := events.DefaultPolicy()
		p.MendMinutes = minutes
		line, err := events.FormatObservation(&events.Observation{Station: "north/ledger", Kind: events.KindPolicyAdopted, Time: noon,
			Data: &events.PolicyAdopted{Policy: p}})
		if err != nil {
			t.Fatal(err)
		}
		tryIt(string(line)+"\n", "")
	}
	adopt(60)
	tryIt(correct("north/or-1", seen[1].ID, at.Add(time.Hour+time.Second)), "") // it stood an hour before
	tryIt(correct("north/or-1", seen[2].ID, at.Add(time.Hour+3*time.Second)), "within 60 minutes")
	tryIt(correct("north/or-2", seen[2].ID, at.Add(time.Minute)), "this is of north/or-1")
	tryIt(correct("north/ledger", seen[2].ID, noon), "")
	adopt(0)
	tryIt(correct("north/or-1", seen[3].ID, noon), "")
	adopt(30)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	tryIt(correct("north/or-2", seen[4].ID, noon), "")
}

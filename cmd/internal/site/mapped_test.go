//go:build !race

package site_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// linksOf returns what a record says it is about.
func linksOf(t *testing.T, s *site.Site, seq int64) string {
	t.Helper()
	rec, err := s.ReadRecord(seq)
	if err != nil {
		t.Fatal(err)
	}
	links, err := proof.Links(s.Name(), rec)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, l := range links {
		key := l.Key
		for _, ref := range []string{"K-0412", "K-0413"} {
			for _, k := range s.KeysOf(site.Query{Case: ref}) {
				if k == key && key != "case "+ref {
					key = "case " + ref
				}
			}
		}
		if key == l.Key && strings.HasPrefix(key, "case ") {
			t.Errorf("record %d has the link %q, which is not of a case's id", seq, key)
		}
		out = append(out, fmt.Sprintf("%s %d %d", key, l.Prev, l.Count))
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

// TestMappedWhenDue: the newest about each key are put on record after so many records, also where the folder was opened in between:
// the first scan after a start doesn't wait for a mapping that isn't due.
func TestMappedWhenDue(t *testing.T) {
	dir, o := t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
	o.SetMapEvery(6)
	s := open(t, dir, o)
	scans, since := 0, 0
	scan := func() (mapped bool) {
		t.Helper()
		scans++
		before := s.Size()
		r, err := s.Observe(t.Context(), &events.Observation{Station: "north/or-3", Kind: events.KindSetOpened,
			Time: noon.Add(-time.Hour), Set: fmt.Sprint("LAP-", scans), Data: &events.SetOpened{Case: "K-0412"}})
		if err != nil {
			t.Fatal(err)
		}
		for seq := max(before, r[0].Seq) + 1; seq <= s.Size(); seq++ {
			e, err := s.SignedAt(seq)
			if err != nil {
				t.Fatal(err)
			}
			mapped = mapped || e.Kind() == events.KindRecordsMapped
		}
		return mapped
	}
	var got []int // after how many scans there was one
	for range 20 {
		if since++; scan() {
			got, since = append(got, since), 0
		}
		if since == 3 {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			s = open(t, dir, o)
		}
	}
	if len(got) < 3 || got[1] != 6 || got[2] != 6 {
		t.Errorf("mapped after %v scans", got)
	}
}

// TestLinksOfRecords: a record names what it is about, a correction what the corrected one is about and what it puts in its place,
// also within one batch.
func TestLinksOfRecords(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	opened := &events.Observation{Station: "north/or-3", Kind: events.KindSetOpened,
		Time: noon.Add(-time.Hour), Set: "LAP-014", Data: &events.SetOpened{Case: "K-0412", Tag: "LAP-022"}}
	id, err := opened.ID()
	if err != nil {
		t.Fatal(err)
	}
	fix := &events.Observation{Station: "north/or-3", Kind: events.KindEventCorrected, Time: noon.Add(-time.Minute),
		Data: &events.EventCorrected{Event: id, Action: "replace", Reason: "wrong case", Data: jsontext.Value(`{"case":"K-0413"}`)}}
	both, err := s.Observe(t.Context(), opened, fix)
	if err != nil {
		t.Fatal(err)
	}
	fixID := both[1].ID
	void, err := s.Observe(t.Context(), &events.Observation{Station: "north/or-3", Kind: events.KindEventCorrected, Time: noon,
		Data: &events.EventCorrected{Event: fixID, Action: "void", Reason: "it was right"}})
	if err != nil {
		t.Fatal(err)
	}
	for seq, want := range map[int64]string{
		both[0].Seq - 1: "station north/or-3 0 1",
		both[0].Seq:     "case K-0412 0 1, set LAP-014 0 1, set LAP-022 0 1",
		both[1].Seq:     "case K-0412 2 2, case K-0413 0 1, set LAP-014 2 2, set LAP-022 2 2",
		void[0].Seq:     "case K-0412 3 3, case K-0413 3 2, set LAP-014 3 3, set LAP-022 3 3",
	} {
		if got := linksOf(t, s, seq); got != want {
			t.Errorf("record %d is about %s, want %s", seq, got, want)
		}
	}
	if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
		t.Errorf("verify: %v, %v", v, err)
	}
}

// TestVerifyLinks: with the ledger's key links can be written that lie, or a record of the newest that does; verify
// names each.
func TestVerifyLinks(t *testing.T) {
	dir := t.TempDir()
	options := site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
	first := options
	first.Dir = dir
	s, err := site.Open(t.Context(), first) // not one that is verified at the end
	if err != nil {
		t.Fatal(err)
	}
	record(t, s, oneList)
	size, name := s.Size(), s.Name()
	station := "north/packing-1"
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	key := func(name string) (string, string) {
		return filepath.Join(dir, "keys", strings.Replace(name, "/", "_", 1)+".key"), name
	}
	signer, verifier, _, err := ledger.LoadOrCreateKey(key(name))
	if err != nil {
		t.Fatal(err)
	}
	its, _, _, err := ledger.LoadOrCreateKey(key(station))
	if err != nil {
		t.Fatal(err)
	}
	l, err := ledger.Open(t.Context(), ledger.Options{Dir: dir, Origin: name, Signer: signer, Verifier: verifier, Clock: options.Clock})
	if err != nil {
		t.Fatal(err)
	}
	// numbered by the records that are there
	next := func(station string) (prev, count int64, hash string) {
		prev, raw, err := l.Last(t.Context(), station)
		if err != nil {
			t.Fatal(err)
		}
		n, _, _, err := proof.SplitArrival(name, raw)
		if err != nil {
			t.Fatal(err)
		}
		e, err := events.ParseNote(n)
		if err != nil {
			t.Fatal(err)
		}
		return prev, e.StationSeq, events.NoteHash(n)
	}
	lie := func(station string, d events.Data, subject string, about ...string) int64 {
		o := &events.Observation{Station: station, Kind: d.Kind(), Time: noon, Data: d}
		if d.Kind().AboutSet() {
			o.Set = subject
		}
		id, err := o.ID()
		if err != nil {
			t.Fatal(err)
		}
		prev, count, hash := next(station)
		by := its
		if station == name {
			by = signer
		}
		n, err := events.Sign(&events.Event{ID: id, Station: station, Subject: subject, Time: noon, StationSeq: count + 1,
			StationPrev: hash, Data: d}, by)
		if err != nil {
			t.Fatal(err)
		}
		out, err := l.Append(t.Context(), ledger.Entry{Station: station, Kind: string(d.Kind()), Note: n, ExpectPrev: prev, About: about})
		if err != nil {
			t.Fatal(err)
		}
		return out[0].Seq
	}
	hidden := lie(station, &events.SetChecked{Place: "A4"}, "LAP-014")
	misfiled := lie(station, &events.SetChecked{Place: "A5"}, "LAP-014", "set LAP-022")
	hs, err := l.Heads()
	if err != nil {
		t.Fatal(err)
	}
	root := hs.Root()
	mapped := lie(name, &events.RecordsMapped{Upto: hs.Upto, From: hs.First, Size: int64(hs.Len()),
		Root: fmt.Sprintf("%x", root[:])}, "north")
	older := lie(name, &events.RecordsMapped{Upto: hs.Upto, From: hs.First, Size: int64(hs.Len()),
		Root: fmt.Sprintf("%x", root[:])}, "north")
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: options.Clock})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	v, err := again.Verify(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	told := map[int64]string{}
	for _, p := range v.Problems {
		told[p.Seq] += p.What + "\n"
	}
	for seq, want := range map[int64]string{
		hidden: "about nothing; it is about set LAP-014", misfiled: "about set LAP-022; it is about set LAP-014",
		mapped: "is not so", older: "not up to the one before it",
	} {
		if !strings.Contains(told[seq], want) {
			t.Errorf("of record %d %q is said, want %q", seq, told[seq], want)
		}
		delete(told, seq)
	}
	if len(told) > 0 || size < 3 || !slices.IsSorted([]int64{hidden, misfiled, mapped, older}) {
		t.Errorf("told besides: %v", told)
	}
}

//go:build !race

package site_test

import (
	"bytes"
	"fmt"
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
	"listbound/projections"
)

// TestDayTestsInBundle: the page of a load has the tests of its sterilizer's day and no others, and a bundle of its set
// proves that all of them are in it, also where the release itself names no day.
func TestDayTestsInBundle(t *testing.T) {
	now := noon.Add(-5 * time.Hour)
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }})
	p := events.DefaultPolicy()
	p.DayTests = events.DayTests()[:1]
	observe := func(station, set string, kind events.Kind, d events.Data) site.Receipt {
		t.Helper()
		now = now.Add(time.Minute)
		rs, err := s.Observe(t.Context(), &events.Observation{Station: station, Kind: kind, Time: now, Set: set,
			Operator: "B-1", Data: d})
		if err != nil || rs[0].Error != "" {
			t.Fatal(kind, rs, err)
		}
		return rs[0]
	}
	tested := func(sterilizer string, day time.Time) int64 {
		return observe("north/sterilizer-2", "", events.KindSterilizerTested, &events.SterilizerTested{Sterilizer: sterilizer,
			Day: day.Format(time.DateOnly), Test: events.BowieDick, Result: events.TestPassed}).Seq
	}
	if _, err := s.Observe(t.Context(), &events.Observation{Station: "north/ledger", Kind: events.KindPolicyAdopted,
		Time: now, Data: &events.PolicyAdopted{Policy: p}}); err != nil {
		t.Fatal(err)
	}
	ours := tested("S2", noon)
	tested("S3", noon)
	tested("S2", noon.AddDate(0, 0, -1))
	record(t, s, strings.SplitAfter(oneList, "\n")[0])
	packed := observe("north/packing-1", "LAP-014", events.KindSetPacked, &events.SetPacked{List: "LAP-MAJOR", Version: 3})
	now = now.Add(time.Hour)
	began := now.Add(-50 * time.Minute).Format(time.RFC3339)
	observe("north/sterilizer-2", "LAP-014", events.KindSetSterilized, &events.SetSterilized{Load: "S2-1",
		Sterilizer: "S2", Run: 1, Cycle: "c-134", Result: "passed", Released: true, Started: began})

	h, err := s.History(t.Context(), site.Query{Load: "S2-1"})
	if err != nil {
		t.Fatal(err)
	}
	var of []int64
	for _, e := range h.Events {
		if e.Kind == string(events.KindSterilizerTested) {
			of = append(of, e.Seq)
		}
	}
	if !slices.Equal(of, []int64{ours}) {
		t.Errorf("the load's page has the tests %d, want %d alone", of, ours)
	}
	for _, f := range h.Verdicts[0].Findings {
		if f.Code == projections.NotReleased {
			t.Errorf("its test passed: %+v", f)
		}
	}
	other := observe("north/packing-1", "LAP-022", events.KindSetPacked, &events.SetPacked{List: "LAP-MAJOR", Version: 3})
	now = now.Add(time.Hour)
	observe("north/sterilizer-2", "LAP-022", events.KindSetSterilized, &events.SetSterilized{Load: "S4-1",
		Sterilizer: "S4", Run: 1, Cycle: "c-134", Result: "passed", Released: true})
	evidenceOf(t, s, site.Query{Trip: other.Trip}) // whose day has none, as its bundle proves

	b := evidenceOf(t, s, site.Query{Trip: packed.Trip})
	tests := events.AboutTests("S2", noon.Format(time.DateOnly))
	line := "whole " + tests + "\n"
	claimed := false // an operator who leaves that out, and signs anew, is found out
	for i, f := range b.Files {
		if f.Path == "covers" {
			claimed = bytes.Contains(f.Data, []byte(line))
			b.Files[i].Data = bytes.Replace(f.Data, []byte(line), nil, 1)
		}
	}
	if !claimed {
		t.Errorf("the bundle does not say that it has all: %s", line)
	}
	signer, _, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "north_ledger.key"), "north/ledger")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := proof.WriteBundle(&out, b.Files, signer); err != nil {
		t.Fatal(err)
	}
	if r := bundle.Check(out.Bytes(), s.Key()); r.OK || !strings.Contains(fmt.Sprint(r.Problems), tests) {
		t.Errorf("nothing misses the day's tests: %v", r.Problems)
	}
}

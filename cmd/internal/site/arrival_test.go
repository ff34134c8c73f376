//go:build !race

package site_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/simulate"
)

// handedIn records what each station observed, one station after the other in
// some order. One whose line is refused, because what it refers to has not
// arrived, waits until the others have handed in.
func handedIn(t *testing.T, all []simulate.Record, order *rand.Rand) map[string]string {
	t.Helper()
	c := simulate.Drill()
	now := c.Start.Add(8 * 24 * time.Hour)
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }})
	lines := make(map[string][]string)
	var stations []string
	for i := range all {
		raw, err := events.FormatObservation(&all[i].Observation)
		if err != nil {
			t.Fatal(err)
		}
		if lines[all[i].Station] == nil {
			stations = append(stations, all[i].Station)
		}
		lines[all[i].Station] = append(lines[all[i].Station], string(raw))
	}
	if order != nil {
		order.Shuffle(len(stations), func(i, j int) { stations[i], stations[j] = stations[j], stations[i] })
	}
	for len(stations) > 0 {
		var waiting []string
		recorded := 0
		for _, st := range stations {
			for len(lines[st]) > 0 && record(t, s, lines[st][0])[0].Error == "" {
				lines[st] = lines[st][1:]
				recorded++
			}
			if len(lines[st]) > 0 {
				waiting = append(waiting, st)
			}
		}
		if recorded == 0 {
			t.Fatalf("%d stations wait for each other, one with %s", len(waiting), lines[waiting[0]][0])
		}
		stations = waiting
	}
	return said(t, s)
}

// said returns what is found wrong with each turn of each set.
func said(t *testing.T, s *site.Site) map[string]string {
	t.Helper()
	vs, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	out := make(map[string]string)
	for _, v := range vs {
		var b bytes.Buffer
		for _, f := range v.Findings {
			fmt.Fprintf(&b, "%s %s %s: %s\n", f.Code, f.Severity, f.Way, f.Says)
		}
		out[v.Set+" "+v.Trip] = string(v.Status) + "\n" + b.String()
	}
	return out
}

// TestArrivalChangesNothing: whichever station hands in first, and with no line
// naming a trip, the verdicts are the same.
func TestArrivalChangesNothing(t *testing.T) {
	c := simulate.Drill()
	c.Sets, c.Cases, c.Offline = 24, 4, 0
	all := slices.Concat(c.Setup(), c.Week(0).Records)
	want := handedIn(t, all, nil)
	if len(want) < 5 {
		t.Fatalf("only %d verdicts", len(want))
	}
	orders := 4
	if testing.Short() {
		orders = 1
	}
	for seed := range orders {
		got := handedIn(t, all, rand.New(rand.NewPCG(uint64(seed), 1)))
		for k, v := range want {
			if got[k] != v {
				t.Errorf("order %d: %s is\n%s\nin the order of observation\n%s", seed, k, got[k], v)
			}
		}
		if len(got) != len(want) {
			t.Errorf("order %d: %d verdicts, in the order of observation %d", seed, len(got), len(want))
		}
	}
}

// TestLateBench: a packing that its bench hands in last takes to itself what was
// seen of the set after it, and the receipts name what was known when they were given.
func TestLateBench(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	first := record(t, s, oneList)
	trip := first[len(first)-1].Trip
	opened := record(t, s,
		`{"station":"north/or-1","kind":"set.opened","time":"2026-03-04T09:00:00Z","set":"LAP-014","data":{"case":"K-1"}}`)[0]
	if opened.Trip != trip {
		t.Fatalf("the receipt names %q, the set's last known trip is %s", opened.Trip, trip)
	}
	if e, err := s.EventAt(opened.Seq); err != nil || e.Trip != "" {
		t.Errorf("the record names the trip %q, which nobody observed (%v)", e.Trip, err)
	}
	late := record(t, s,
		`{"station":"north/packing-9","kind":"set.packed","time":"2026-03-04T06:00:00Z","set":"LAP-014","data":{"list":"LAP-MAJOR","version":3}}`)[0]
	h, err := s.History(t.Context(), site.Query{Trip: late.Trip})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(h.Events, func(e projections.HistoryEvent) bool { return e.Seq == opened.Seq && e.Trip == late.Trip }) {
		t.Errorf("the opening is not in the trip that it belongs to: %+v", h.Events)
	}
	again := record(t, s,
		`{"station":"north/or-1","kind":"set.opened","time":"2026-03-04T09:00:00Z","set":"LAP-014","data":{"case":"K-1"}}`)[0]
	if !again.Known || again.Trip != late.Trip {
		t.Errorf("recorded again, the receipt is %+v", again)
	}
}

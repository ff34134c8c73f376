//go:build !race

package readmodel_test

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// TestManyRecords: more records than one statement or one stretch takes, more trips that rest on one thing than
// a row of a rebuild takes, and more hits than are shown.
func TestManyRecords(t *testing.T) {
	ctx := t.Context()
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	const n = 2100
	for i := range n {
		set := fmt.Sprintf("LAP-%04d", i)
		if seq := len(h.facts) + 1; seq == 1024 ||
			seq == 1025 { // the last of the first stretch, and the first of the second
			h.badge = fmt.Sprint("B-of-", seq)
		}
		h.record("north/packing-1", clock(0, 6, 0).Add(time.Duration(i)*time.Second), set, id(clock(0, 6, 0), set),
			&events.SetPacked{List: "LAP", Version: 1})
	}
	for i := range 150 {
		set := fmt.Sprintf("LAP-%04d", i)
		h.record("north/storage", clock(0, 9, 0).Add(time.Duration(i)*time.Second), set, id(clock(0, 6, 0), set),
			&events.ListSealed{Placement: events.Outside, List: "LAP", Version: 1,
				Seals: []string{fmt.Sprint(49000 + i), "49"}}) // a number that is on every set
	}
	h.record("south/or-1", clock(1, 6, 0), "LAP-0007", "", &events.SetChecked{Place: "OR 1"})
	for how, m := range map[string]*readmodel.Model{"at once": h.filled(), "in bulk": func() *readmodel.Model {
		m := open(t, h.book, t.TempDir()+"/r.db")
		t.Cleanup(func() { m.Close() })
		inBulk(t, h, m, int64(len(h.facts)))
		return m
	}()} {
		if s := got[map[projections.Status]int](t)(m.Status(ctx)); s[projections.Open] != n {
			t.Errorf("%s: %v", how, s)
		}
		records := got[[]int64](t)(m.RecordsOf(ctx, "station", "north/packing-1", 0, 5000))
		first := int64(len(h.stations) + 1) // after the enrolments stands the list
		if len(records) != n+1 || records[0] != first+n-1 || records[n] != first-1 ||
			!slices.IsSortedFunc(records, func(a, b int64) int { return cmp.Compare(b, a) }) {
			t.Errorf("%s: %d records, from %d to %d", how, len(records), records[0], records[len(records)-1])
		}
		sameStrings(t, how+", below", fields(got[[]int64](t)(m.RecordsOf(ctx, "station", "north/packing-1", 1030, 3))),
			[]string{"1029", "1028", "1027"})
		sameStrings(t, how+", badges", fields(got[[]int64](t)(m.RecordsOf(ctx, "badge", "B-1182", 1026, 1))),
			[]string{"1023"})
		for _, seq := range []string{"1024", "1025"} {
			sameStrings(t, how+", one badge", fields(got[[]int64](t)(m.RecordsOf(ctx, "badge", "B-of-"+seq, 0, 9))),
				[]string{seq})
		}
		if hits := got[[]readmodel.Hit](t)(m.Find(ctx, "49149", false)); len(hits) != 1 || hits[0].Set != "LAP-0149" {
			t.Errorf("%s: the last seal is on %+v", how, hits)
		}
		if hits := got[[]readmodel.Hit](t)(m.Find(ctx, "LAP-0", true)); len(hits) != 20 || hits[0].ID != "LAP-0000" ||
			hits[19].ID != "LAP-0019" {
			t.Errorf("%s: %d hits", how, len(hits))
		}
		hits := got[[]readmodel.Hit](t)(m.Find(ctx, "49", false))
		if len(hits) != 20 || hits[0].Set != "LAP-0149" || hits[19].Set != "LAP-0130" {
			t.Errorf("%s: the seal that is on every set is on %d, from %+v to %+v", how, len(hits), hits[0],
				hits[len(hits)-1])
		}
		v := got[*projections.Verdict](t)(m.Verdict(ctx, projections.TripKey{Set: "LAP-0007",
			Trip: id(clock(0, 6, 0), "LAP-0007")}))
		if v == nil || v.Where != "OR 1" {
			t.Errorf("%s: what was seen without a trip lies in %+v", how, v)
		}
		// A new version of the list touches every trip that was packed by it.
		if how == "in bulk" {
			if _, _, most, err := m.Rests(ctx); err != nil || most < 20 || most > 30 {
				t.Errorf("%s: the fullest row of rests_on has %d trips, %v", how, most, err)
			}
			h.list(clock(-1, 6, 0), "LAP", 2, 7)
			h.apply(m, int64(len(h.facts)))
			sameStrings(t, how+", a new version", asJSON(t, got[[]projections.Verdict](t)(m.Verdicts(ctx))),
				asJSON(t, h.verdicts()))
		}
	}
}

// TestFullMemory: a working memory that is emptied again and again changes no verdict.
func TestFullMemory(t *testing.T) {
	const most = 20
	for seed := range seeds(4) {
		h := week(t, seed)
		n := int64(len(h.facts))
		for _, bulk := range []bool{false, true} {
			path := filepath.Join(t.TempDir(), "r.db")
			m := open(t, h.book, path)
			t.Cleanup(func() { m.Close() })
			m.SetMaxWorld(most)
			if bulk {
				if err := m.BeginBulk(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			for emptied := false; m.Position() < n; emptied = true {
				h.apply(m, min(m.Position()+most/2, n))
				// What a judgement reads comes into it besides, so after the first time it may hold more.
				held := m.Held()
				if !emptied && held > most || emptied && m.Position() > most && held >= int(m.Position()) {
					t.Errorf("seed %d: after %d records it holds %d", seed, m.Position(), held)
				}
			}
			if bulk {
				if err := m.EndBulk(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			if held := m.Held(); bulk && held != 0 {
				t.Errorf("seed %d: after the bulk it holds %d", seed, held)
			}
			sameVerdicts(t, fmt.Sprintf("seed %d, bulk %t", seed, bulk), h, m)
		}
	}
}

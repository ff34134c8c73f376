//go:build !race

package readmodel_test

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/readmodel"
)

// TestBoard: the rows, their order, the counts and the pages of the board are
// those of the verdicts in memory, whatever is asked for.
func TestBoard(t *testing.T) {
	for seed := range few(4) {
		h := week(t, seed)
		seen := h.rows()[0] // by somebody, all of it
		for code := range seen.codes() {
			h.record("north/or-3", clock(11, 8, 0), seen.v.Set, seen.v.Trip,
				&events.FindingAcknowledged{Code: code, Reason: "seen"})
		}
		for code := range seen.codes() { // the station's clock does not run backwards
			h.record("north/or-3", clock(11, 9, 0), seen.v.Set, seen.v.Trip,
				&events.IncidentHandled{Code: code, Step: events.IncidentNoted, Text: "asked", Assignee: "B-1"})
		}
		m, all := h.filled(), h.rows()
		if !slices.ContainsFunc(all, func(r row) bool { return !r.unseen() }) {
			t.Errorf("seed %d: nothing on the board has been seen", seed)
		}
		if len(all) < 4 {
			t.Fatalf("seed %d has %d rows", seed, len(all))
		}
		filters := []readmodel.BoardFilter{{}, {Unseen: true}, {Site: "nort"}, {List: "none"}}
		for _, r := range all {
			filters = append(filters, readmodel.BoardFilter{Site: r.site()}, readmodel.BoardFilter{List: r.trace.List},
				readmodel.BoardFilter{Placement: string(r.trace.Placement), Unseen: true},
				readmodel.BoardFilter{Station: r.trace.Station},
				readmodel.BoardFilter{Since: r.v.Since}, readmodel.BoardFilter{Until: r.v.Since, List: r.trace.List})
			for code := range r.codes() {
				filters = append(filters, readmodel.BoardFilter{Code: code},
					readmodel.BoardFilter{Code: code, Until: r.v.Since.Add(1)})
			}
		}
		for _, f := range filters {
			sameBoard(t, fmt.Sprintf("seed %d, %+v", seed, f), m, all, f)
		}
		sameIncidents(t, m, all)
		if _, err := m.BoardTallies(t.Context(), readmodel.BoardFilter{}, "weather"); err == nil {
			t.Error("the board is counted by the weather")
		}
	}
}

func sameBoard(t *testing.T, how string, m *readmodel.Model, all []row, f readmodel.BoardFilter) {
	t.Helper()
	ctx := t.Context()
	var want []string
	for _, r := range all {
		if r.meets(f) {
			want = append(want, fmt.Sprint(r.v.Set, r.v.Trip, r.trace.List, r.trace.Placement, r.trace.Station,
				len(r.v.Findings)))
		}
	}
	show := func(rows []readmodel.BoardRow) (out []string) {
		for _, r := range rows {
			out = append(out, fmt.Sprint(r.Set, r.Trip, r.List, r.Placement, r.AtStation, len(r.Findings)))
		}
		return out
	}
	sameStrings(t, how, show(got[[]readmodel.BoardRow](t)(m.Board(ctx, f, nil, 1000))), want)
	var paged []string
	var after *readmodel.BoardCursor
	for range len(all) + 1 {
		page := got[[]readmodel.BoardRow](t)(m.Board(ctx, f, after, 2))
		if len(page) == 0 {
			break
		}
		paged, after = append(paged, show(page)...), &page[len(page)-1].Place
	}
	sameStrings(t, how+", by pages", paged, want)
	if keys := got[map[projections.TripKey]bool](t)(m.BoardKeys(ctx, f)); len(keys) != len(want) {
		t.Errorf("%s: %d turns are meant, want %d", how, len(keys), len(want))
	}
	if n := got[int](t)(m.BoardCount(ctx, f)); n != len(want) {
		t.Errorf("%s: counted %d, want %d", how, n, len(want))
	}
	sameTallies(t, how, m, all, f)
}

// sameIncidents: incidents of what is kept are those of the verdicts, and every row is in one.
func sameIncidents(t *testing.T, m *readmodel.Model, all []row) {
	t.Helper()
	var parts []projections.IncidentPart
	for _, r := range all {
		parts = append(parts, projections.PartOf(&r.v))
	}
	show := func(ins []projections.Incident) (out []string) {
		for _, in := range ins {
			s := fmt.Sprint(in.Key, in.Kind, in.CanAct, in.State, in.Marks, in.Steps)
			for _, x := range in.Members {
				s += fmt.Sprint(" ", x.Set, x.Trip, x.Findings)
			}
			out = append(out, s)
		}
		return out
	}
	sameStrings(t, "incidents", show(got[[]projections.Incident](t)(m.Incidents(t.Context()))), show(projections.Incidents(parts, projections.Calendar{Now: m.Moment()})))
}

func sameTallies(t *testing.T, how string, m *readmodel.Model, all []row, f readmodel.BoardFilter) {
	t.Helper()
	for by, values := range map[string]func(row) []string{
		"code":      func(r row) []string { return slices.Collect(maps.Keys(r.codes())) },
		"list":      func(r row) []string { return []string{r.trace.List} },
		"placement": func(r row) []string { return []string{string(r.trace.Placement)} },
		"station":   func(r row) []string { return []string{r.trace.Station} },
		"site":      func(r row) []string { return []string{r.site()} },
	} {
		others := f
		switch by { // the choice itself is set aside
		case "code":
			others.Code = ""
		case "list":
			others.List = ""
		case "placement":
			others.Placement = ""
		case "station":
			others.Station = ""
		case "site":
			others.Site = ""
		}
		counts := make(map[string]int)
		for _, r := range all {
			if r.meets(others) {
				for _, v := range values(r) {
					counts[v]++
				}
			}
		}
		var want, found []string
		for _, v := range slices.SortedFunc(maps.Keys(counts), func(a, b string) int {
			return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a, b))
		}) {
			want = append(want, fmt.Sprint(v, " ", counts[v]))
		}
		for _, x := range got[[]readmodel.Tally](t)(m.BoardTallies(t.Context(), f, by)) {
			found = append(found, fmt.Sprint(x.Value, " ", x.N))
		}
		sameStrings(t, how+", counted by "+by, found, want)
	}
}

// TestQuestions: what the tables answer about trips, loads, cases and stations
// is what a walk over all records gives.
func TestQuestions(t *testing.T) {
	ctx := t.Context()
	for seed := range seeds(6) {
		h := week(t, seed)
		m, vs := h.filled(), h.verdicts()
		status := make(map[projections.Status]int)
		worst := got[[]projections.Verdict](t)(m.StationVerdicts(ctx))
		worst = slices.DeleteFunc(worst, func(v projections.Verdict) bool {
			return v.Status != projections.Broken && v.Status != projections.Doubtful
		})
		for _, v := range vs {
			status[v.Status]++
			if v.Status == projections.Broken || v.Status == projections.Doubtful {
				worst = append(worst, v)
			}
			k := projections.TripKey{Set: v.Set, Trip: v.Trip}
			kept := got[*projections.Verdict](t)(m.Verdict(ctx, k))
			if kept == nil {
				t.Errorf("seed %d: no verdict of %v", seed, k)
				continue
			}
			sameStrings(t, "verdict", asJSON(t, []projections.Verdict{*kept}), asJSON(t, []projections.Verdict{v}))
			set, ok, err := m.JudgedTrip(ctx, v.Trip)
			if err != nil || ok != (v.Trip != "") || ok && set != v.Set {
				t.Errorf("seed %d: %v was judged for %q, %v, %v", seed, k, set, ok, err)
			}
		}
		projections.Sort(worst)
		if d, want := got[[]projections.Verdict](t)(m.Worst(ctx)), worst; len(d) != len(want) ||
			fmt.Sprint(names(d)) != fmt.Sprint(names(want)) {
			t.Errorf("seed %d: worst are %v, want %v", seed, names(d), names(want))
		}
		for s, n := range got[map[projections.Status]int](t)(m.Status(ctx)) {
			if n != status[s] {
				t.Errorf("seed %d: %d are %s, want %d", seed, n, s, status[s])
			}
		}
		if v := got[*projections.Verdict](t)(m.Verdict(ctx, projections.TripKey{Set: "LAP-014",
			Trip: id(clock(0, 0, 0), "none")})); v != nil {
			t.Errorf("a trip nobody knows has the verdict %+v", v)
		}
		if set, ok, err := m.JudgedTrip(ctx, id(clock(0, 0, 0), "none")); ok || err != nil {
			t.Errorf("a trip nobody knows was judged for %q, %v", set, err)
		}
		sameTrips(t, h, m, vs)
		sameShares(t, h, m)
		sameStations(t, h, m)
	}
}

func sameTrips(t *testing.T, h *hospital, m *readmodel.Model, vs []projections.Verdict) {
	t.Helper()
	ctx := t.Context()
	for _, set := range []string{"LAP-014", "EYE-3", "nobody's"} {
		var want []string
		for _, v := range vs {
			if v.Set == set {
				want = append(want, v.Set+" "+v.Trip)
			}
		}
		slices.Sort(want)
		sameStrings(t, "trips of "+set, keyStrings(got[[]projections.TripKey](t)(m.TripsOfSet(ctx, set))), want)
	}
	packed, lists := make(map[string]string), make(map[string]bool)
	for _, f := range h.facts {
		if f.Event == nil {
			continue
		}
		if seq := got[int64](t)(m.FindEvent(ctx, f.Event.ID)); seq != f.Seq {
			t.Errorf("%s is at %d, want %d", f.Event.ID, seq, f.Seq)
		}
		if r := got[events.Remark](t)(m.RemarksOf(ctx, f.Seq)); r != f.Remarks {
			t.Errorf("record %d has remarks %v, want %v", f.Seq, r, f.Remarks)
		}
		switch d := f.Event.Data.(type) {
		case *events.SetPacked:
			packed[f.Event.Trip] = f.Event.Subject
		case *events.ListIssued:
			lists[d.List] = true
		case *events.EventCorrected:
			if strings.Contains(string(d.Data), "LAP-RENAMED") {
				lists["LAP-RENAMED"] = true
			}
		}
	}
	if _, err := m.RemarksOf(ctx, int64(len(h.facts)+1)); err == nil {
		t.Error("a record that is not there has remarks")
	}
	for trip, set := range packed {
		if s, ok, err := m.SetOfTrip(ctx, trip); err != nil || !ok || s != set {
			t.Errorf("trip %s is %q's, %v, %v", trip, s, ok, err)
		}
	}
	if s, ok, err := m.SetOfTrip(ctx, id(clock(0, 0, 0), "none")); ok || err != nil {
		t.Errorf("a trip nobody knows is %q's, %v", s, err)
	}
	sameStrings(t, "lists", got[[]string](t)(m.Lists(ctx)), slices.Sorted(maps.Keys(lists)))
	sameOpenCases(t, h, m)
	sameUnopened(t, h, m, vs)
}

// openedFor reports whether the opening of any set for a case is recorded.
func (h *hospital) openedFor(ref string) bool {
	return slices.ContainsFunc(h.facts, func(f facts.Fact) bool {
		return f.Event != nil && f.Event.Kind() == events.KindSetOpened && events.CaseOf(f.Event.Data) == ref
	})
}

// sameOpenCases: the cases for which a station has opened sets lately, or counted what nobody opened, and that
// nobody has closed.
func sameOpenCases(t *testing.T, h *hospital, m *readmodel.Model) {
	t.Helper()
	opened := make(map[string]time.Time) // at north/or-3
	for _, f := range h.facts {
		if f.Event == nil || f.Event.Station != "north/or-3" {
			continue
		}
		ref := events.CaseOf(f.Event.Data)
		begins := f.Event.Kind() == events.KindSetOpened || f.Event.Kind() == events.KindSetCounted && !h.openedFor(ref)
		if begins && f.Event.Time.After(opened[ref]) {
			opened[ref] = f.Event.Time
		}
	}
	since := clock(4, 7, 12)
	var cases []string
	for ref, at := range opened {
		closed := slices.ContainsFunc(h.facts, func(f facts.Fact) bool {
			return f.Event != nil && f.Event.Kind() == events.KindCaseClosed && events.CaseOf(f.Event.Data) == ref
		})
		if !closed && !at.Before(since) {
			cases = append(cases, ref)
		}
	}
	found := got[[]string](t)(m.OpenCases(t.Context(), "north/or-3", since))
	if !slices.IsSortedFunc(found, func(a, b string) int { return opened[b].Compare(opened[a]) }) {
		t.Errorf("open cases are not the latest first: %q", found)
	}
	slices.Sort(found)
	slices.Sort(cases)
	sameStrings(t, "open cases", found, cases)
}

func sameUnopened(t *testing.T, h *hospital, m *readmodel.Model, vs []projections.Verdict) {
	t.Helper()
	for _, list := range []string{"LAP-MAJOR", "EYE"} {
		last := make(map[string]*events.Event)
		for _, f := range h.facts {
			if f.Event != nil && f.Event.Kind() == events.KindSetPacked &&
				(last[f.Event.Subject] == nil || f.Event.Time.After(last[f.Event.Subject].Time)) {
				last[f.Event.Subject] = f.Event
			}
		}
		var want []string
		for set, e := range last {
			if e.Data.(*events.SetPacked).List == list &&
				slices.ContainsFunc(vs,
					func(v projections.Verdict) bool { return v.Trip == e.Trip && v.Set == set && !v.Opened }) {
				want = append(want, set+" "+e.Trip)
			}
		}
		slices.Sort(want)
		sameStrings(t, "unopened", keyStrings(got[[]projections.TripKey](t)(m.Unopened(t.Context(), list))), want)
	}
}

// sameShares: the trips that share a thing are those whose records name it,
// within the time asked for, the latest first.
func sameShares(t *testing.T, h *hospital, m *readmodel.Model) {
	t.Helper()
	ctx := t.Context()
	for _, x := range []struct {
		what, key string
		names     func(e *events.Event) bool
	}{
		{"load", "S2-03", func(e *events.Event) bool {
			return e.Kind() == events.KindSetSterilized && events.LoadOf(e.Data) == "S2-03"
		}},
		{"sterilizer", "S2", func(e *events.Event) bool { return e.Kind() == events.KindSetSterilized }},
		{"list", "EYE", func(e *events.Event) bool {
			return e.Kind() == events.KindSetPacked &&
				events.ListOf(e.Data) == "EYE"
		}},
		{"bag", "BAG-7", func(e *events.Event) bool {
			d, ok := e.Data.(*events.ListSealed)
			return ok &&
				d.BagLot == "BAG-7"
		}},
		{"station", "north/or-3", func(e *events.Event) bool { return e.Station == "north/or-3" && e.Kind().AboutSet() }},
		{"badge", "B-3310", func(e *events.Event) bool { return e.Operator == "B-3310" && e.Kind().AboutSet() }},
	} {
		for _, from := range []time.Time{{}, clock(0, 8, 2), clock(3, 8, 2).Add(1)} {
			for _, to := range []time.Time{{}, clock(6, 8, 2), clock(6, 8, 2).Add(-1)} {
				want := make(map[string]bool)
				latest := time.Time{}
				for _, f := range h.facts {
					if e := f.Event; e != nil && x.names(e) && (from.IsZero() || !e.Time.Before(from)) &&
						(to.IsZero() || !e.Time.After(to)) {
						want[e.Subject+" "+h.tripOf(e)] = true
						if e.Time.After(latest) {
							latest = e.Time
						}
					}
				}
				how := fmt.Sprintf("%s %s from %s to %s", x.what, x.key, from, to)
				found := keyStrings(got[[]projections.TripKey](t)(m.Shares(ctx, x.what, x.key, from, to, 1000)))
				slices.Sort(found)
				sameStrings(t, how, found, slices.Sorted(maps.Keys(want)))
				one := got[[]projections.TripKey](t)(m.Shares(ctx, x.what, x.key, from, to, 1))
				if len(one) != min(len(want), 1) {
					t.Errorf("%s: %d of one", how, len(one))
				}
				if x.what == "load" || x.what == "sterilizer" || x.what == "list" || x.what == "bag" {
					ok := len(one) == 0 || slices.ContainsFunc(h.facts, func(f facts.Fact) bool {
						return f.Event != nil && x.names(f.Event) && f.Event.Time.Equal(latest) &&
							f.Event.Subject == one[0].Set && h.tripOf(f.Event) == one[0].Trip
					})
					if !ok {
						t.Errorf("%s: %v is not the latest", how, one)
					}
				}
			}
		}
	}
	if _, err := m.Shares(ctx, "weather", "rain", time.Time{}, time.Time{}, 9); err == nil {
		t.Error("trips share the weather")
	}
	sameLoads(t, h, m)
}

func sameLoads(t *testing.T, h *hospital, m *readmodel.Model) {
	t.Helper()
	ctx := t.Context()
	for _, load := range []string{"S2-00", "S2-03"} {
		want := make(map[string]bool)
		for _, f := range h.facts {
			if f.Event != nil && f.Event.Kind() == events.KindSetSterilized && events.LoadOf(f.Event.Data) == load {
				want[f.Event.Subject+" "+h.tripOf(f.Event)] = true
			}
		}
		sameStrings(t, "load "+load, keyStrings(got[[]projections.TripKey](t)(m.TripsOfLoad(ctx, load))),
			slices.Sorted(maps.Keys(want)))
	}
	for _, x := range [][2]string{{"48010", "48017"}, {"48007", "48007"}, {"1", "9"}, {"48", "49"}} {
		want := make(map[string]bool)
		for _, f := range h.facts {
			if f.Event == nil {
				continue
			}
			if d, ok := f.Event.Data.(*events.ListSealed); ok && slices.ContainsFunc(d.Seals, func(s string) bool {
				return s >= x[0] && s <= x[1] && len(s) == len(x[0])
			}) {
				want[f.Event.Subject+" "+h.tripOf(f.Event)] = true
			}
		}
		found := keyStrings(got[[]projections.TripKey](t)(m.SharesSeals(ctx, x[0], x[1], 1000)))
		slices.Sort(found)
		sameStrings(t, fmt.Sprint("seals ", x), found, slices.Sorted(maps.Keys(want)))
		if n := len(got[[]projections.TripKey](t)(m.SharesSeals(ctx, x[0], x[1], 1))); n != min(len(want), 1) {
			t.Errorf("seals %v: %d of one", x, n)
		}
	}
}

func sameStations(t *testing.T, h *hospital, m *readmodel.Model) {
	t.Helper()
	ctx := t.Context()
	seqs := func(ns []int64) (out []string) {
		for _, n := range ns {
			out = append(out, fmt.Sprint(n))
		}
		return out
	}
	for name := range h.stations {
		var all, remarked, enrolled []int64
		for _, f := range slices.Backward(h.facts) {
			if f.Event == nil {
				continue
			}
			if f.Event.Station == name {
				all = append(all, f.Seq)
				if f.Remarks != 0 {
					remarked = append(remarked, f.Seq)
				}
			}
			if k := f.Event.Kind(); f.Event.Subject == name &&
				(k == events.KindStationEnrolled || k == events.KindStationRetired) {
				enrolled = append([]int64{f.Seq}, enrolled...)
			}
		}
		sameStrings(t, name, seqs(got[[]int64](t)(m.RecordsOf(ctx, "station", name, 0, 1000))), seqs(all))
		if len(all) > 2 {
			sameStrings(t, name+" below", seqs(got[[]int64](t)(m.RecordsOf(ctx, "station", name, all[0], 1))),
				seqs(all[1:2]))
		}
		sameStrings(t, name+" remarked", seqs(got[[]int64](t)(m.Remarked(ctx, name, 1000))), seqs(remarked))
		if len(remarked) > 1 {
			sameStrings(t, name+" remarked last", seqs(got[[]int64](t)(m.Remarked(ctx, name, 1))), seqs(remarked[:1]))
		}
		sameStrings(t, name+" enrolled", seqs(got[[]int64](t)(m.Enrolments(ctx, name))), seqs(enrolled))
	}
	if m.Station("nobody/there") != nil {
		t.Error("a station is known that never recorded")
	}
	if _, err := m.RecordsOf(ctx, "weather", "rain", 0, 9); err == nil {
		t.Error("records are listed by the weather")
	}
}

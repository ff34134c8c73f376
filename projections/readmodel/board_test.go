package readmodel_test

import (
	"cmp"
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
	"listbound/projections/words"
)

// row is a trip as it belongs on the board, by the verdicts in memory.
type row struct {
	v     projections.Verdict
	trace projections.Trace
}

func (r row) site() string { s, _, _ := strings.Cut(r.trace.Station, "/"); return s }

func (r row) codes() map[string]bool {
	out := make(map[string]bool)
	for _, f := range r.v.Findings {
		if f.Severity != projections.SeverityNoted {
			out[string(f.Code)] = true
		}
	}
	return out
}

func (r row) unseen() bool {
	return slices.ContainsFunc(r.v.Findings, func(f projections.Finding) bool {
		return f.Severity != projections.SeverityNoted && len(f.Acknowledged) == 0
	})
}

// rows are those of the board, in its order.
func (h *hospital) rows() (out []row) {
	w := h.world()
	for _, v := range h.verdicts() {
		if v.Status == projections.Broken || v.Status == projections.Doubtful {
			tr, err := w.Trace(projections.TripKey{Set: v.Set, Trip: v.Trip})
			if err != nil {
				h.t.Fatal(err)
			}
			out = append(out, row{v, tr})
		}
	}
	slices.SortFunc(out, func(a, b row) int {
		return cmp.Or(cmp.Compare(projections.Rank(&a.v), projections.Rank(&b.v)), b.v.Since.Compare(a.v.Since),
			cmp.Compare(a.v.Set, b.v.Set), cmp.Compare(a.v.Trip, b.v.Trip))
	})
	return out
}

func (r row) meets(f readmodel.BoardFilter) bool {
	return (f.Site == "" || f.Site == r.site()) && (f.List == "" || f.List == r.trace.List) &&
		(f.Code == "" || r.codes()[f.Code]) &&
		(f.Placement == "" || f.Placement == string(r.trace.Placement)) &&
		(f.Station == "" || f.Station == r.trace.Station) &&
		(f.Since.IsZero() || !r.v.Since.Before(f.Since)) && (f.Until.IsZero() || r.v.Since.Before(f.Until)) &&
		(!f.Unseen || r.unseen())
}

// tripOf returns an event's trip: its own, else that of its set's last packing by then.
func (h *hospital) tripOf(e *events.Event) string {
	trip, at := e.Trip, time.Time{}
	for _, f := range h.facts {
		p := f.Event
		if e.Trip == "" && p != nil && p.Kind() == events.KindSetPacked && p.Subject == e.Subject && p.Trip != "" &&
			!p.Time.After(e.Time) && !p.Time.Before(at) {
			trip, at = p.Trip, p.Time
		}
	}
	return trip
}

// TestFind: what a person types or scans is found as all that it may name; what
// only begins so, where that is asked for.
func TestFind(t *testing.T) {
	ctx := t.Context()
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6, 2, 4)
	l, trip := h.lists[0], tripOf("LAP-014", 0)
	code := h.code(l, "LAP-014", trip)
	h.record("north/packing-1", clock(0, 6, 11), "LAP-014", trip, &events.SetPacked{List: "LAP", Version: 1})
	seal := h.record("north/packing-1", clock(0, 6, 14), "LAP-014", trip,
		&events.ListSealed{Placement: events.InsideBag, List: "LAP", Version: 1,
			Seals: []string{"48101", "48102"}, BagLot: "BAG-7", Code: code})
	h.record("north/packing-1", clock(0, 6, 20), "LAP-022", tripOf("LAP-022", 0),
		&events.SetPacked{List: "LAP", Version: 1})
	h.record("north/sterilizer-2", clock(0, 8, 0), "LAP-014", trip,
		&events.SetSterilized{Load: "S2-04", Sterilizer: "S2", Run: 4, Cycle: "c", Result: "passed"})
	h.record("north/or-3", clock(1, 7, 0), "LAP-014", trip, &events.SetOpened{Case: "K-0412"})
	at := int64(len(h.facts) - 3)
	if h.facts[at-1].Event.ID != seal.ID {
		t.Fatalf("the seal is not record %d", at)
	}
	m := h.filled()
	parsed, err := events.ParseSheetCode(code)
	if err != nil {
		t.Fatal(err)
	}
	short := parsed.Short()
	for text, want := range map[string][2][]readmodel.Hit{ // exactly, and what begins so
		"LAP-014": {{{What: "set", ID: "LAP-014", Set: "LAP-014"}},
			{{What: "set", ID: "LAP-014", Set: "LAP-014"}}},
		"LAP-": {nil, {{What: "set", ID: "LAP-014", Set: "LAP-014"},
			{What: "set", ID: "LAP-022", Set: "LAP-022"}}},
		"K-0412": {{{What: "case", ID: "K-0412"}}, {{What: "case", ID: "K-0412"}}},
		"K":      {nil, {{What: "case", ID: "K-0412"}}},
		"S2-0":   {nil, {{What: "load", ID: "S2-04"}}},
		"S2-04":  {{{What: "load", ID: "S2-04"}}, {{What: "load", ID: "S2-04"}}},
		"LAP": {{{What: "list", ID: "LAP"}}, {{What: "set", ID: "LAP-014", Set: "LAP-014"},
			{What: "set", ID: "LAP-022", Set: "LAP-022"}, {What: "list", ID: "LAP"}}},
		"north/or-3": {{{What: "station", ID: "north/or-3"}}, {{What: "station", ID: "north/or-3"}}},
		"B-1182":     {{{What: "badge", ID: "B-1182"}}, {{What: "badge", ID: "B-1182"}}},
		"B-":         {nil, {{What: "badge", ID: "B-1182"}, {What: "badge", ID: "B-3310"}}},
		"48102": {{{What: "seal", ID: "48102", Set: "LAP-014", Trip: trip, Seq: at}},
			{{What: "seal", ID: "48102", Set: "LAP-014", Trip: trip, Seq: at}}},
		"BAG-7": {{{What: "bag", ID: "BAG-7"}}, {{What: "bag", ID: "BAG-7"}}},
		short: {{{What: "short", ID: short, Set: "LAP-014", Trip: trip, Seq: at}},
			{{What: "short", ID: short, Set: "LAP-014", Trip: trip, Seq: at}}},
		trip: {{{What: "trip", ID: trip, Set: "LAP-014", Trip: trip}},
			{{What: "trip", ID: trip, Set: "LAP-014", Trip: trip}}},
		"no such text": {nil, nil},
	} {
		for i, begins := range []bool{false, true} {
			if found := got[[]readmodel.Hit](t)(m.Find(ctx, text, begins)); !slices.Equal(found, want[i]) {
				t.Errorf("%q (begins: %v) finds %+v, want %+v", text, begins, found, want[i])
			}
		}
	}
	upper := strings.ToUpper(trip)
	if found := got[[]readmodel.Hit](t)(m.Find(ctx, upper, false)); len(found) != 1 || found[0].ID != trip {
		t.Errorf("%s finds %+v", upper, found)
	}
}

func fields(ns []int64) (out []string) {
	for _, n := range ns {
		out = append(out, fmt.Sprint(n))
	}
	return out
}

// TestTables: what people read in SQL is what judgement found.
func TestTables(t *testing.T) {
	h := week(t, 1)
	path := filepath.Join(t.TempDir(), "r.db")
	m := open(t, h.book, path)
	h.apply(m, int64(len(h.facts)))
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	read := func(q string) (out []string) {
		rows, err := db.QueryContext(t.Context(), q)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		for rows.Next() {
			var s string
			if err := rows.Scan(&s); err != nil {
				t.Fatal(err)
			}
			out = append(out, s)
		}
		slices.Sort(out)
		return out
	}
	var trips, findings []string
	for _, v := range h.verdicts() {
		opened, since := 0, int64(0)
		if v.Opened {
			opened = 1
		}
		if !v.Since.IsZero() {
			since = v.Since.UnixNano()
		}
		trips = append(trips, fmt.Sprint(v.Set, "|", v.Case, "|", v.Status, "|", opened, "|", since))
		for n, f := range v.Findings {
			told := words.Embedded().Finding("en", &f)
			findings = append(findings, fmt.Sprint(v.Set, "|", n, "|", f.Code, "|", f.Severity, "|", f.Way, "|",
				told.Says, "|", told.Next))
		}
	}
	slices.Sort(trips)
	slices.Sort(findings)
	sameStrings(t, "trips",
		read(`SELECT set_id||'|'||coalesce(case_ref, '')||'|'||status||'|'||opened||'|'||since FROM trips`), trips)
	sameStrings(t, "findings",
		read(`SELECT set_id||'|'||n||'|'||code||'|'||severity||'|'||way||'|'||says||'|'||next FROM findings`), findings)
	// A model of another judgement is not gone on with.
	if _, err := db.ExecContext(t.Context(), `UPDATE meta SET value = 'another' WHERE key = 'judgement'`); err != nil {
		t.Fatal(err)
	}
	m = open(t, h.book, path)
	defer m.Close()
	if p := m.Position(); p != 0 {
		t.Errorf("what another judgement kept goes on at %d", p)
	}
}

//go:build !race

package readmodel_test

import (
	"path/filepath"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// TestDue: the model says when its next verdict changes by itself, and changes
// it then and not before. A clock that goes back changes nothing.
func TestDue(t *testing.T) {
	ctx := t.Context()
	h := newHospital(t, 1)
	impatient(h)
	for _, name := range []string{"north/or-3", "south/or-1"} {
		h.record(name, clock(0, 8, 0), "LAP-MAJOR", "", &events.ListIssued{List: "LAP-MAJOR", Version: 7, Title: "x",
			Lines: []events.Line{{Line: 1, Item: "i", Description: "d", Quantity: 1}}})
	}
	m := h.filled()
	due := got[time.Time](t)(m.Due(ctx))
	if want := clock(1, 4, 0); !due.Equal(want) { // south has no policy of its own, and waits for ever
		t.Fatalf("due at %s, want %s", due, want)
	}
	for _, step := range []struct {
		to      time.Time
		changed bool
	}{{due.Add(-1), false}, {due, true}, {due, false}, {due.Add(-time.Hour), false}} {
		if changed := got[bool](t)(m.Advance(ctx, step.to)); changed != step.changed {
			t.Errorf("at %s: changed %t", step.to, changed)
		}
	}
	vs := got[[]projections.Verdict](t)(m.Worst(ctx))
	if len(vs) != 1 || vs[0].Station != "north/or-3" || vs[0].Findings[0].Code != projections.StationSilent {
		t.Errorf("worst: %+v", vs)
	}
	if !m.Moment().Equal(due) || !got[time.Time](t)(m.Due(ctx)).IsZero() {
		t.Errorf("at %s, due at %s", m.Moment(), got[time.Time](t)(m.Due(ctx)))
	}
}

// TestClockThatWasAhead: what a clock years ahead made overdue is judged anew once
// the clock is right and the file is opened again.
func TestClockThatWasAhead(t *testing.T) {
	h := week(t, 1, impatient)
	path := filepath.Join(t.TempDir(), "r.db")
	right, ahead := clock(2, 12, 0), clock(1000, 0, 0)
	for how, fill := range map[string]func(m *readmodel.Model){
		"followed": func(m *readmodel.Model) { h.apply(m, int64(len(h.facts))) },
		"advanced": func(m *readmodel.Model) {
			h.apply(m, int64(len(h.facts)))
			if !got[bool](t)(m.Advance(t.Context(), ahead)) {
				t.Error("nothing became overdue in three years")
			}
		},
		"rebuilt": func(m *readmodel.Model) { inBulk(t, h, m, int64(len(h.facts))) },
	} {
		begin := ahead
		if how == "advanced" {
			begin = right
		}
		m := got[*readmodel.Model](t)(readmodel.Open(t.Context(),
			readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book, Moment: begin}))
		fill(m)
		if err := m.Close(); err != nil {
			t.Fatal(err)
		}
		for _, at := range []time.Time{ahead, right} {
			m = got[*readmodel.Model](t)(readmodel.Open(t.Context(),
				readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book, Moment: at}))
			if kept := m.Position() > 0; kept != at.Equal(ahead) {
				t.Errorf("%s, opened at %s: kept is %t", how, at, kept)
			}
			if at.Equal(right) {
				h.now = right
				h.apply(m, int64(len(h.facts)))
				sameVerdicts(t, how, h, m)
			}
			if err := m.Close(); err != nil {
				t.Fatal(err)
			}
		}
		if err := readmodel.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
}

//go:build !race

package readmodel_test

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// TestMayHave: of all that was recorded a model says that it may have it, however it came by it; of what is later, and of
// another station at the same moment, that it doesn't.
func TestMayHave(t *testing.T) {
	h := newHospital(t, 1)
	for n := range 12 {
		h.record("north/packing-1", clock(3*n, 8, 0), "LAP-014", tripOf("LAP-014", n), &events.SetPacked{List: "LAP", Version: 1})
	}
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	var last time.Time
	has := func(how string, to int) {
		t.Helper()
		for _, f := range h.facts[:to] {
			if f.Event == nil {
				continue
			}
			if last.Before(f.Event.Time) {
				last = f.Event.Time
			}
			if seqs, err := m.FindEvents(t.Context(), f.Event.ID); err != nil || len(seqs) > 0 && !m.MayHaveID(f.Event.ID) {
				t.Errorf("%s: the id of record %d is said not to be there: %v", how, f.Seq, err)
			}
			if f.Event.Trip != "" && !m.MayHaveTrip(f.Event.Trip) {
				t.Errorf("%s: the trip of record %d is said not to be there", how, f.Seq)
			}
			if !m.MayHave(f.Event.Station, f.Event.Time) {
				t.Errorf("%s: record %d, of %s at %s, is said not to be there", how, f.Seq, f.Event.Station, f.Event.Time)
			}
		}
		if m.MayHaveID(events.DerivedID(last.Add(time.Second), events.Digest{1})) {
			t.Errorf("%s: an id that is later than all may be there", how)
		}
		if m.MayHaveTrip(events.DerivedID(last.Add(time.Second), events.Digest{1})) {
			t.Errorf("%s: a trip that is later than all may be there", how)
		}
		if m.MayHave("north/or-9", last.Add(1)) {
			t.Errorf("%s: what is later than all may be there", how)
		}
	}
	all := len(h.facts)
	h.apply(m, int64(all/2))
	has("applied", all/2)
	if m.MayHaveID(events.DerivedID(h.facts[0].Event.Time, events.Digest{1})) {
		t.Error("an id of no record may be there")
	}
	if m.MayHaveTrip(events.DerivedID(h.facts[0].Event.Time, events.Digest{1})) {
		t.Error("a trip that nobody packed may be there")
	}
	if at := h.facts[0].Event.Time; m.MayHave("nobody/else", at) {
		t.Error("what another station observed then may be there")
	}
	m = h.again(m, path)
	has("opened again", all/2)
	h.apply(m, int64(all/2+3))
	m.FillObserved()
	h.apply(m, int64(all))
	has("with more than are kept", all)
	// What the ledger recorded itself is known as well, though it is later than all that stations observed.
	h.record(h.book.signer.Name(), clock(50, 0, 0), "north", "", &events.PolicyAdopted{Policy: events.DefaultPolicy()})
	h.apply(m, int64(all+1))
	m = h.again(m, path)
	has("the ledger's own", all+1)
	m.FillObserved()
	h.record("north/storage", clock(49, 0, 0), "LAP-014", "", &events.SetChecked{Place: "A1"})
	h.apply(m, int64(all+2))
	has("the ledger's own, with more than are kept", all+2)
	all += 2
	m = open(t, h.book, filepath.Join(t.TempDir(), "bulk.db"))
	t.Cleanup(func() { m.Close() })
	inBulk(t, h, m, int64(all))
	for _, f := range h.facts {
		if f.Event != nil && (!m.MayHave(f.Event.Station, f.Event.Time) || f.Event.Trip != "" && !m.MayHaveTrip(f.Event.Trip)) {
			t.Errorf("in bulk: record %d is said not to be there", f.Seq)
		}
	}
}

// TestTripOfAFarFuture: a trip that somebody named by a moment beyond all clocks hides none of those before it.
func TestTripOfAFarFuture(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(0, 6, 0), "LAP", 1, 2, 3)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	trip := tripOf("LAP-014", 0)
	h.record("north/packing-1", clock(0, 8, 0), "LAP-014", trip, &events.SetPacked{List: "LAP", Version: 1})
	for n, year := range []int{2300, 2900, 9000} {
		h.record("north/packing-1", clock(1, 8+n, 0), "LAP-022", events.DerivedID(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC), events.Digest{1}),
			&events.SetPacked{List: "LAP", Version: 1})
		h.apply(m, int64(len(h.facts)))
		m = h.again(m, path)
		if !m.MayHaveTrip(trip) {
			t.Errorf("with a trip of the year %d, one of before is said not to be there", year)
		}
		h.record("north/storage", clock(1, 9+n, 0), "LAP-014", trip, &events.SetChecked{Place: "A1"})
		h.apply(m, int64(len(h.facts)))
		sameVerdicts(t, "after it", h, m)
	}
}

// TestSameIDAgain: a record under an id that one had before the model was opened is known for the second one.
func TestSameIDAgain(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(0, 6, 0), "LAP", 1, 2, 3)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	st := h.stations["north/storage"]
	say := func(set string) string {
		at := clock(0, 8, 0)
		st.n++
		e := &events.Event{ID: id(at, "twice"), Station: "north/storage", Subject: set, Time: at, Trip: tripOf(set, 0),
			StationSeq: st.n, StationPrev: st.hash, Data: &events.SetChecked{Place: "A1"}}
		raw := got[[]byte](t)(events.Sign(e, st.signer))
		st.hash = events.NoteHash(raw)
		h.take(raw, at, 0)
		h.apply(m, int64(len(h.facts)))
		return e.ID
	}
	of := say("LAP-014")
	m = h.again(m, path)
	say("LAP-022")
	h.record("north/packing-1", clock(0, 9, 0), "LAP-022", tripOf("LAP-022", 0), &events.EventCorrected{Event: of, Action: "void", Reason: "typed wrong"})
	h.apply(m, int64(len(h.facts)))
	sameVerdicts(t, "corrected", h, m)
}

// TestSheetReadFirst: a trip whose sheet another set's record read before anything of the trip was recorded is judged with that
// record, also where that is in the tables alone.
func TestSheetReadFirst(t *testing.T) {
	for _, corrected := range []bool{false, true} {
		for _, reopened := range []bool{false, true} {
			how := fmt.Sprintf("by a correction %t, opened again %t", corrected, reopened)
			h := newHospital(t, 1)
			h.list(clock(0, 5, 0), "LAP", 1, 2, 3)
			own, other := tripOf("LAP-014", 0), tripOf("LAP-022", 1)
			theirs := &events.Reading{Found: "outside", Code: h.code(h.lists[0], "LAP-022", other)}
			path := filepath.Join(t.TempDir(), "r.db")
			m := open(t, h.book, path)
			t.Cleanup(func() { m.Close() })
			m.SetMaxWorld(1) // nothing is in memory from one record to the next
			say := func(hour int, set, trip string, d events.Data) *events.Event {
				e := h.record("north/packing-1", clock(0, hour, 0), set, trip, d)
				h.apply(m, int64(len(h.facts)))
				return e
			}
			say(6, "LAP-014", own, &events.SetPacked{List: "LAP", Version: 1})
			checked := &events.SetChecked{Place: "A1", Sheet: theirs}
			if corrected {
				raw := got[[]byte](t)(json.Marshal(checked))
				e := say(7, "LAP-014", own, &events.SetChecked{Place: "A1"})
				say(8, "LAP-014", own, &events.EventCorrected{Event: e.ID, Action: "replace", Reason: "typed wrong", Data: raw})
			} else {
				say(7, "LAP-014", own, checked)
			}
			if reopened {
				m = h.again(m, path)
				m.SetMaxWorld(1)
			}
			say(9, "LAP-022", other, &events.SetPacked{List: "LAP", Version: 1})
			sameVerdicts(t, how, h, m)
			for _, v := range got[[]projections.Verdict](t)(m.Verdicts(t.Context())) {
				if v.Set == "LAP-022" && (len(v.Findings) != 1 || v.Findings[0].Code != "sheet-in-doubt") {
					t.Errorf("%s: %+v", how, v.Findings)
				}
			}
		}
	}
}

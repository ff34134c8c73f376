package readmodel_test

import (
	"context"
	"path/filepath"
	"reflect"
	"testing"

	"listbound/projections"
	"listbound/projections/readmodel"
)

// TestBoardKept: what is kept of the board is what its table has after each record, and only the turns that were written are read.
func TestBoardKept(t *testing.T) {
	ctx, h := t.Context(), week(t, 4)
	m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
	t.Cleanup(func() { m.Close() })
	on, left, changed := make(map[projections.TripKey]uint64), 0, 0
	for n := int64(0); n < int64(len(h.facts)); {
		n = min(n+2, int64(len(h.facts)))
		h.apply(m, n)
		asAnew(t, m, n)
		rows := got[[]readmodel.BoardRow](t)(m.Board(ctx, readmodel.BoardFilter{}, nil, -1))
		now := make(map[projections.TripKey]uint64)
		var keys []projections.TripKey
		for _, r := range rows {
			keys, now[r.Place.Key] = append(keys, r.Place.Key), r.Sum
			if sum, ok := on[r.Place.Key]; ok && sum != r.Sum {
				changed++
			}
		}
		for k := range on {
			if _, ok := now[k]; !ok {
				left++
				keys = append(keys, k)
			}
		}
		on = now
		for range 2 { // as they are read, and as they are kept
			if of := got[[]readmodel.BoardRow](t)(m.BoardRowsOf(ctx, keys)); !reflect.DeepEqual(of, rows) {
				t.Fatalf("after %d records the rows are %+v, the table has %+v", n, of, rows)
			}
		}
		for i := range rows { // who asks fills in what is no one else's
			of := got[[]readmodel.BoardRow](t)(m.BoardRowsOf(ctx, keys[i:i+1]))
			for j := range of[0].Findings {
				of[0].Findings[j].KnownBy = 1
			}
		}
	}
	if left == 0 || changed == 0 {
		t.Errorf("%d turns have left the board, %d rows have changed", left, changed)
	}
	if whole, alone := m.Boards(); whole != 1 || alone == 0 || alone > 3*len(h.facts) {
		t.Errorf("after %d records the board was read whole %d times, and %d turns alone", len(h.facts), whole, alone)
	}
}

// TestBoardKeptBesides: what a transaction wrote is read again by who asks next although somebody asked before it was over; and more
// turns than are noted have all of the board read.
func TestBoardKeptBesides(t *testing.T) {
	ctx, m := t.Context(), week(t, 1).filled()
	asked := func() (whole, alone int) {
		if _, err := m.BoardRowsOf(ctx, nil); err != nil {
			t.Fatal(err)
		}
		return m.Boards()
	}
	whole, alone := asked()
	m.Touch(3, func() {
		if _, n := asked(); n < alone+3 {
			t.Errorf("of 3 turns that are being written %d were read", n-alone)
		}
		_, alone = asked()
	})
	if w, n := asked(); w != whole || n != alone+3 {
		t.Errorf("of 3 turns that were written %d were read, all of it %d times", n-alone, w-whole)
	}
	if w, n := asked(); w != whole || n != alone+3 {
		t.Errorf("of none that were written %d were read, all of it %d times", n-alone-3, w-whole)
	}
	m.Touch(5000, func() {})
	if w, n := asked(); w != whole+1 || n != alone+3 {
		t.Errorf("of 5,000 turns that were written %d were read, all of it %d times", n-alone-3, w-whole)
	}
}

// TestBoardKeptWhileWritten: whoever can't read some turns without others being written meanwhile reads all of the board at once.
func TestBoardKeptWhileWritten(t *testing.T) {
	m := week(t, 1).filled()
	for want := range 3 {
		if whole, _ := m.Boards(); whole != want {
			t.Errorf("asked %d times while turns were written, all of the board was read %d times", want, whole)
		}
		if _, err := m.BoardRowsOf(busy{t.Context(), m}, nil); err != nil {
			t.Fatal(err)
		}
	}
}

// busy is a context of a question in whose course turns are written: whenever it is looked at.
type busy struct {
	context.Context
	m *readmodel.Model
}

func (b busy) Err() error {
	b.m.Touch(1, func() {})
	return b.Context.Err()
}

// TestBoardKeptInBulk: whoever looked at an empty board sees what fills it in bulk.
func TestBoardKeptInBulk(t *testing.T) {
	h := week(t, 4)
	m := open(t, h.book, filepath.Join(t.TempDir(), "r.db"))
	t.Cleanup(func() { m.Close() })
	asAnew(t, m, 0)
	if err := m.BeginBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.apply(m, int64(len(h.facts)))
	if err := m.EndBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	if asAnew(t, m, int64(len(h.facts))) == 0 {
		t.Error("nothing is on the board")
	}
}

// asAnew holds the incidents against those of the table, and returns how many there are.
func asAnew(t *testing.T, m *readmodel.Model, n int64) int {
	t.Helper()
	is, want := got[[]projections.Incident](t)(m.Incidents(t.Context())), got[[]projections.Incident](t)(m.Anew(t.Context()))
	if len(is)+len(want) > 0 && !reflect.DeepEqual(is, want) {
		t.Fatalf("after %d records there are %d incidents, of the table %d: %+v, %+v", n, len(is), len(want), is, want)
	}
	return len(is)
}

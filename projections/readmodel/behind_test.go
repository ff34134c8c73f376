package readmodel_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/readmodel"
)

// openLater opens a model that writes later than any test lasts, unless it is asked to.
func openLater(t *testing.T, h *hospital, path string, o readmodel.Options) *readmodel.Model {
	t.Helper()
	o.Path, o.Ledger, o.Records, o.Moment, o.Delay = path, h.book.verifier, h.book, h.now, time.Hour
	m := got[*readmodel.Model](t)(readmodel.Open(t.Context(), o))
	t.Cleanup(func() { m.Close() })
	return m
}

func settle(t *testing.T, m *readmodel.Model) {
	t.Helper()
	if err := m.Settle(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// TestWrittenLater: however many batches are written at once, and wherever a model is opened again between them and knows no more
// than its tables, the tables are in the end what they are where each batch is written as it comes; and what is asked on the way
// is answered with all that was applied. It makes no difference which batches were foreseen, and whether they came.
func TestWrittenLater(t *testing.T) {
	waited := 0
	var came [2]int
	for seed := range few(6) {
		h := week(t, seed, impatient)
		n := int64(len(h.facts))
		r := rand.New(rand.NewPCG(seed, 7))
		path := filepath.Join(t.TempDir(), "r.db")
		m := openLater(t, h, path, readmodel.Options{})
		for m.Position() < n {
			to := min(m.Position()+1+r.Int64N(9), n)
			if r.IntN(3) == 0 {
				b := h.foresee(m, to)
				if r.IntN(2) == 0 {
					settle(t, m)
				}
				switch r.IntN(4) {
				case 0:
					m.Unexpect(t.Context())
					came[1]++
				case 1: // another one comes
					to = max(to-1, m.Position()+1)
					came[1]++
				default:
					if err := m.Apply(t.Context(), b); err != nil {
						t.Fatal(err)
					}
					came[0]++
				}
			}
			h.apply(m, max(to, m.Position()))
			waited = max(waited, m.Unwritten())
			switch r.IntN(31) {
			case 0:
				settle(t, m)
			case 1:
				m = h.againLater(m, path)
			case 2:
				got[bool](t)(m.Advance(t.Context(), h.now))
			case 3:
				m.SetMaxWorld(20) // it is emptied again and again from here on
			case 4:
				m.SetUnwritten(5, 20)
			case 5:
				m.SetMostAsks(10)
			case 6:
				m.SetMostResting(3)
			}
		}
		settle(t, m)
		what := fmt.Sprintf("seed %d", seed)
		sameVerdicts(t, what, h, m)
		if found, many := differences(t, m, h.fresh(), 5); many > 0 {
			t.Errorf("%s: %d rows differ: %v", what, many, found)
		}
	}
	if waited < 20 || min(came[0], came[1]) < 10 {
		t.Errorf("no more than %d records waited to be written; of what was foreseen came and didn't: %v", waited, came)
	}
}

// foresee has a model foresee what comes next, of which nobody sees anything before it is applied.
func (h *hospital) foresee(m *readmodel.Model, to int64) *readmodel.Batch {
	h.t.Helper()
	pos, was := m.Position(), make(map[string]*events.Station)
	b := h.book.batch(h.t, pos+1, to)
	for _, r := range b.Records {
		if e := r.Event; e != nil {
			was[e.Station] = m.Station(e.Station)
			if d, ok := e.Data.(*events.StationEnrolled); ok {
				was[d.Station] = m.Station(d.Station)
			}
		}
	}
	if err := m.Foresee(h.t.Context(), b); err != nil {
		h.t.Fatal(err)
	}
	for name, st := range was {
		if is := m.Station(name); !reflect.DeepEqual(is, st) {
			h.t.Errorf("%s was %+v, and before what is foreseen has come it is %+v", name, st, is)
		}
	}
	if m.Position() != pos || m.WrittenTo() > pos {
		h.t.Errorf("at %d, written to %d, where %d was foreseen behind %d", m.Position(), m.WrittenTo(), to, pos)
	}
	if m.Foresee(h.t.Context(), b) == nil {
		h.t.Error("foreseen twice")
	}
	return b
}

// againLater opens a model's file once more.
func (h *hospital) againLater(m *readmodel.Model, path string) *readmodel.Model {
	h.t.Helper()
	if err := m.Close(); err != nil {
		h.t.Fatal(err)
	}
	return openLater(h.t, h, path, readmodel.Options{})
}

// TestCannotBeWritten: what can't be written when it is due is forgotten down to what is, whoever finds out, and is applied again.
func TestCannotBeWritten(t *testing.T) {
	h := week(t, 3)
	n := int64(len(h.facts))
	path := filepath.Join(t.TempDir(), "r.db")
	var told, at atomic.Int64
	var m *readmodel.Model
	m = openLater(t, h, path, readmodel.Options{LockWait: time.Millisecond, Failed: func(why error, pos int64) {
		if !strings.Contains(why.Error(), "could not be written") {
			t.Errorf("told %v", why)
		}
		if m.Settled() {
			t.Error("who asked before this was told was answered without what was applied, and not told so")
		}
		told.Add(1)
		at.Store(pos)
	}})
	h.apply(m, n/2)
	settle(t, m)
	begin, end := h.locks(path)
	for i, ask := range []func() error{
		func() error { return m.Settle(t.Context()) },
		func() error { _, err := m.Snapshot(t.Context()); return err },
		func() error {
			m.SetMaxWorld(1)
			defer m.SetMaxWorld(1_000_000)
			return m.Apply(t.Context(), h.book.batch(t, n/2+11, n/2+12))
		},
		func() error { m.SetUnwritten(1, 3); return m.Apply(t.Context(), h.book.batch(t, n/2+11, n/2+13)) },
	} {
		h.apply(m, n/2+10)
		begin()
		if err := ask(); err == nil || !strings.Contains(err.Error(), "could not be written") {
			t.Errorf("%d: the file is locked, and %v", i, err)
		}
		end()
		if p := m.Position(); p != n/2 {
			t.Errorf("%d: position %d, and %d are written", i, p, n/2)
		}
	}
	if told.Load() != 4 || at.Load() != n/2 {
		t.Errorf("told %d times, of position %d", told.Load(), at.Load())
	}
	h.apply(m, n)
	settle(t, m)
	sameVerdicts(t, "applied again", h, m)
}

// locks keeps everybody else from writing to a file between begin and end.
func (h *hospital) locks(path string) (begin, end func()) {
	db := beside(h.t, path)
	db.SetMaxOpenConns(1)
	return func() { change(h.t, db, `BEGIN IMMEDIATE`) }, func() { change(h.t, db, `ROLLBACK`) }
}

// TestWrittenByItself: what nobody asks for is written all the same, when its time has come or when it is much.
func TestWrittenByItself(t *testing.T) {
	h := week(t, 4)
	for how, o := range map[string]struct {
		delay time.Duration
		many  int
	}{"in time": {time.Millisecond, 1000}, "much": {time.Hour, 10}} {
		path := filepath.Join(t.TempDir(), "r.db")
		m := got[*readmodel.Model](t)(readmodel.Open(t.Context(), readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book,
			Delay: o.delay, Failed: func(err error, _ int64) { t.Error(err) }}))
		t.Cleanup(func() { m.Close() })
		m.SetUnwritten(o.many, 1000)
		db := beside(t, path)
		h.apply(m, 20)
		for {
			if p := column(t, db, `SELECT value FROM meta WHERE key = 'position'`); p[0] == "20" {
				break
			}
			if t.Context().Err() != nil {
				t.Fatalf("%s: nothing was written", how)
			}
		}
	}
}

// TestLongRecordsCountForMore: what waits to be written is bounded by its bytes, too.
func TestLongRecordsCountForMore(t *testing.T) {
	h := newHospital(t, 1)
	first := int64(len(h.facts))
	for n := range 4 {
		h.record("north/ledger", clock(1, 6, n), "LAP-014", "", &events.SetChecked{Place: "A1"})
	}
	for n := range 3 {
		h.list(clock(1, 7, n), fmt.Sprint("LIST-", n), 1, make([]int64, 300)...)
	}
	long := len(h.book.records[first+4]) / (2 << 10) // and what was signed is hardly shorter
	path := filepath.Join(t.TempDir(), "r.db")
	m := got[*readmodel.Model](t)(readmodel.Open(t.Context(), readmodel.Options{Path: path, Ledger: h.book.verifier, Records: h.book,
		Delay: time.Hour}))
	t.Cleanup(func() { m.Close() })
	h.apply(m, first)
	settle(t, m)
	m.SetUnwritten(1000, 4+3*long)
	for i, want := range []int{1, 2, 3, 4, 4 + long, 4 + 2*long, 0} {
		h.apply(m, first+int64(i)+1)
		if n := m.Unwritten(); n < want || n > want+2 || long < 5 {
			t.Errorf("after %d records %d wait, should be %d; long ones count as %d", i+1, n, want, long)
		}
	}
}

// TestClosedBetween: a model that is closed has written what it could.
func TestClosedBetween(t *testing.T) {
	h := week(t, 5)
	n := int64(len(h.facts))
	path := filepath.Join(t.TempDir(), "r.db")
	m := openLater(t, h, path, readmodel.Options{LockWait: time.Millisecond})
	h.apply(m, n/2)
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	m = openLater(t, h, path, readmodel.Options{LockWait: time.Millisecond})
	if p := m.Position(); p != n/2 {
		t.Errorf("position %d, and %d were applied", p, n/2)
	}
	h.apply(m, n/2+2)
	dead, cancel := context.WithCancel(t.Context())
	cancel()
	if err := m.Apply(dead, h.book.batch(t, n/2+3, n/2+3)); !errors.Is(err, context.Canceled) {
		t.Errorf("applied by somebody who had gone: %v", err)
	}
	if p := m.Position(); p != n/2+2 {
		t.Errorf("position %d, and %d were applied", p, n/2+2)
	}
	h.apply(m, n)
	begin, end := h.locks(path)
	begin()
	if err := m.Close(); err != nil {
		t.Errorf("a model that can't be written closes: %v", err)
	}
	end()
	m = openLater(t, h, path, readmodel.Options{})
	if p := m.Position(); p != n/2+2 {
		t.Errorf("position %d, and %d could be written", p, n/2+2)
	}
	h.apply(m, n)
	settle(t, m)
	sameVerdicts(t, "opened again", h, m)
}

// TestUnwrittenIsKnown: what waits to be written is judged anew where something else changes it, as what is in the tables is,
// also while it is being written.
func TestUnwrittenIsKnown(t *testing.T) {
	trip := tripOf("LAP-014", 0)
	packed := func(h *hospital) {
		h.record("north/packing-1", clock(0, 8, 0), "LAP-014", trip, &events.SetPacked{List: "NEW", Version: 1})
	}
	var late [][]byte
	for name, x := range map[string]struct {
		first, then func(h *hospital)
		asks        bool // the tables are asked, which waits for what is being written
	}{
		"its list comes late": {first: packed, then: func(h *hospital) { h.list(clock(0, 9, 0), "NEW", 1, 2, 3) }},
		"its sheet is read elsewhere": {first: packed, then: func(h *hospital) {
			code := h.code(h.lists[0], "LAP-014", trip)
			h.record("north/or-3", clock(0, 9, 0), "LAP-022", tripOf("LAP-022", 0),
				&events.SetOpened{Case: "K-1", Tag: "LAP-022", Indicator: "pass", Sheet: &events.Reading{Found: "outside", Code: code}})
		}},
		"its station is retired as of before": {asks: true, first: func(h *hospital) {
			packed(h)
			h.record("north/storage", clock(0, 9, 0), "LAP-014", trip, &events.SetChecked{Place: "A4"})
		}, then: func(h *hospital) {
			h.record(h.book.signer.Name(), clock(0, 10, 0), "north/storage", "", &events.StationRetired{Station: "north/storage",
				Reason: "lost", AsOf: clock(0, 8, 30).Format(time.RFC3339)})
		}},
		"what its station recorded between comes late": {asks: true, first: func(h *hospital) { late = h.sentLate(clock(0, 8, 0)) },
			then: func(h *hospital) {
				for _, raw := range late {
					h.take(raw, clock(0, 10, 0), 0)
				}
			}},
		"its time has come": {asks: true, first: func(h *hospital) { impatient(h); packed(h) }, then: func(h *hospital) { h.now = clock(1, 4, 0) }},
	} {
		for i := range 4 {
			during, forgets := i%2 == 1, i > 1
			if during && x.asks {
				continue
			}
			h := newHospital(t, 1)
			h.list(clock(0, 6, 0), "LAP", 1, 2, 3)
			path := filepath.Join(t.TempDir(), "r.db")
			m := openLater(t, h, path, readmodel.Options{})
			h.apply(m, int64(len(h.facts)))
			m = h.againLater(m, path) // it doesn't know all that there is
			if forgets {
				m.SetMostAsks(1)
			}
			x.first(h)
			h.apply(m, int64(len(h.facts)))
			end := func() {}
			if during {
				end = h.writing(m, path)
			}
			before := m.Position()
			x.then(h)
			if n := int64(len(h.facts)); n > before {
				h.apply(m, n)
			} else if !got[bool](t)(m.Advance(t.Context(), h.now)) {
				t.Errorf("%s: nothing is due", name)
			}
			end()
			settle(t, m)
			what := fmt.Sprintf("%s, during: %t, forgets: %t", name, during, forgets)
			if n := m.AsksKept(); forgets && n > 1 {
				t.Errorf("%s: %d questions are kept", what, n)
			}
			sameVerdicts(t, what, h, m)
			if found, n := differences(t, m, h.fresh(), 5); n > 0 {
				t.Errorf("%s: %d rows differ: %v", what, n, found)
			}
		}
	}
}

// writing has a model write what it has, and returns what lets it end.
func (h *hospital) writing(m *readmodel.Model, path string) (end func()) {
	h.t.Helper()
	begin, unlock := h.locks(path)
	begin()
	written := make(chan error, 1)
	go func() { written <- m.Settle(context.Background()) }()
	for !m.Writing() {
		runtime.Gosched()
	}
	return func() {
		unlock()
		if err := <-written; err != nil {
			h.t.Error(err)
		}
	}
}

// fresh is a model to which all records came at once, as of the same moment.
func (h *hospital) fresh() *readmodel.Model {
	h.t.Helper()
	m := got[*readmodel.Model](h.t)(readmodel.Open(h.t.Context(), readmodel.Options{Path: filepath.Join(h.t.TempDir(), "f.db"),
		Ledger: h.book.verifier, Records: h.book, Moment: h.now}))
	h.t.Cleanup(func() { m.Close() })
	h.apply(m, int64(len(h.facts)))
	return m
}

// TestRunsThatGo: of the runs of a station that changed more than once before they were written, what is so in the end is written.
func TestRunsThatGo(t *testing.T) {
	first := readmodel.UnwrittenRuns{Changed: map[int64]int64{1: 5, 7: 8}, Gone: []int64{3}}
	then := readmodel.UnwrittenRuns{Changed: map[int64]int64{1: 9}, Gone: []int64{7}}
	for i, x := range [][3]readmodel.UnwrittenRuns{
		{first, then, {Changed: map[int64]int64{1: 9}, Gone: []int64{3, 7}}},
		{{}, then, then},
		{first, {}, first},
		{then, first, {Changed: map[int64]int64{1: 5, 7: 8}, Gone: []int64{3, 7}}}, // taken out, then put back
	} {
		if got := x[0].Then(x[1]); !reflect.DeepEqual(got, x[2]) {
			t.Errorf("%d: %+v, want %+v", i, got, x[2])
		}
	}
}

// TestOldVerdictsDontRest: what a verdict asked for that was judged anew since says nothing any more, wherever it stands.
func TestOldVerdictsDontRest(t *testing.T) {
	for _, first := range []string{"is unwritten", "is being written", "is in the tables"} {
		h := newHospital(t, 1)
		h.list(clock(0, 6, 0), "LAP", 1, 2, 3)
		path := filepath.Join(t.TempDir(), "r.db")
		m := openLater(t, h, path, readmodel.Options{})
		turn := func(n int) {
			h.record("north/packing-1", clock(3*n, 8, 0), "LAP-014", tripOf("LAP-014", n), &events.SetPacked{List: "LAP", Version: 1})
			h.apply(m, int64(len(h.facts)))
		}
		before := m.WrittenTo()
		turn(0)
		end := func() {}
		switch first {
		case "is being written":
			end = h.writing(m, path)
		case "is in the tables":
			settle(t, m)
			before = m.Position()
		}
		if n := m.WrittenTo(); n != before {
			t.Errorf("%s: %d records are written, not %d", first, n, before)
		}
		later := clock(4, 0, 0)
		sameStrings(t, first+", alone", got[[]string](t)(m.Resting(t.Context(), "LAP-014", later)), []string{tripOf("LAP-014", 0)})
		turn(1)
		sameStrings(t, first, got[[]string](t)(m.Resting(t.Context(), "LAP-014", later)), []string{tripOf("LAP-014", 1)})
		end()
		m = h.againLater(m, path)
		sameStrings(t, first+", again", got[[]string](t)(m.Resting(t.Context(), "LAP-014", later)), []string{tripOf("LAP-014", 1)})
		both := got[[]string](t)(m.Resting(t.Context(), "LAP-014", clock(1, 0, 0)))
		slices.Sort(both)
		sameStrings(t, first+", before", both, []string{tripOf("LAP-014", 0), tripOf("LAP-014", 1)})
	}
}

// TestHoldsAMonth: outside a rebuild the working memory is emptied before it holds what a rebuild may.
func TestHoldsAMonth(t *testing.T) {
	h := newHospital(t, 1)
	m := openLater(t, h, filepath.Join(t.TempDir(), "r.db"), readmodel.Options{})
	if n := m.MayHold(); n > 200_000 {
		t.Errorf("it may hold %d facts", n)
	}
	m.SetMaxWorld(20)
	if n := m.MayHold(); n != 20 {
		t.Errorf("it may hold %d facts, not 20", n)
	}
	b := open(t, h.book, filepath.Join(t.TempDir(), "b.db"))
	t.Cleanup(func() { b.Close() })
	if err := b.BeginBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := b.MayHold(); n < 1_000_000 {
		t.Errorf("in a rebuild it may hold %d facts", n)
	}
}

// TestManyRest: on what few verdicts rested when it was asked about, many may later, and all of them are judged anew all the same.
func TestManyRest(t *testing.T) {
	h := newHospital(t, 1)
	path := filepath.Join(t.TempDir(), "r.db")
	m := openLater(t, h, path, readmodel.Options{})
	const most, turns = 5, 20
	m.SetMostResting(most)
	h.list(clock(0, 6, 0), "LAP", 1, 2, 3)
	for n := range turns {
		h.record("north/packing-1", clock(3*n, 8, 0), "LAP-014", tripOf("LAP-014", n), &events.SetPacked{List: "LAP", Version: 2})
	}
	for m.Position() < int64(len(h.facts)) {
		h.apply(m, m.Position()+1)
	}
	if n := m.MostResting(); n > most {
		t.Errorf("of one question %d trips are kept", n)
	}
	h.list(clock(0, 7, 0), "LAP", 2, 3, 4)
	h.apply(m, int64(len(h.facts)))
	settle(t, m)
	sameVerdicts(t, "many rest", h, m)
}

// TestClosedWhileTold: a model is closed when it has told what could not be written, and tells nothing later: whoever closed it may
// have another one in its place.
func TestClosedWhileTold(t *testing.T) {
	h := week(t, 5)
	path := filepath.Join(t.TempDir(), "r.db")
	telling, closed := make(chan struct{}), new(atomic.Bool)
	m := openLater(t, h, path, readmodel.Options{LockWait: time.Millisecond, Failed: func(error, int64) {
		close(telling)
		for range 100_000 {
			if closed.Load() {
				t.Error("closed, and told afterwards")
				return
			}
			runtime.Gosched()
		}
	}})
	h.apply(m, 20)
	begin, end := h.locks(path)
	begin()
	failed := make(chan error, 1)
	go func() { failed <- m.Settle(context.Background()) }()
	<-telling
	if err := m.Close(); err != nil {
		t.Error(err)
	}
	closed.Store(true)
	if err := <-failed; err == nil {
		t.Error("the file is locked, and all is written")
	}
	end()
}

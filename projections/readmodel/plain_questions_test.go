//go:build !race

package readmodel_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/readmodel"
)

// asked is one record of each sort that the plain questions look for, with what is not to be found beside it.
func asked(t *testing.T) (h *hospital, seqs map[string]int64) {
	t.Helper()
	h, seqs = newHospital(t, 1), make(map[string]int64)
	ledger := h.book.signer.Name()
	add := func(as, station string, at time.Time, subject, trip string, d events.Data) *events.Event {
		e := h.record(station, at, subject, trip, d)
		seqs[as] = int64(len(h.facts))
		return e
	}
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	seqs["list"] = int64(len(h.facts))
	for i, load := range []string{"S2-01", "S2-02", "S2-03"} {
		sterilizer := []string{"S2", "S2", "S3"}[i]
		add("run "+load, "north/sterilizer-2", clock(0, 5, i), load, "", &events.RunLogged{Load: load, Sterilizer: sterilizer,
			Started: "2026-03-02T05:00:00Z", Cycle: events.RunCycle{Name: "c-134", Source: "s", LowMilliC: 134_000, HoldSeconds: 180},
			Figures: events.RunFigures{Points: 1, HoldMillis: 200_000, MinMilliC: 134_000, MaxMilliC: 135_000}})
	}
	booked := func(ref, start string) *events.CaseScheduled {
		return &events.CaseScheduled{Case: ref, State: events.ScheduleBooked, Start: start}
	}
	add("planned", "north/or-3", clock(0, 6, 0), "K-1", "", booked("K-1", "2026-03-05T07:00:00Z"))
	moved := add("moved", "north/or-3", clock(0, 6, 1), "K-2", "", booked("K-2", "2026-03-05T08:00:00Z"))
	add("moving", "north/or-3", clock(0, 6, 2), "K-2", "", &events.EventCorrected{Event: moved.ID, Action: "replace", Reason: "x",
		Data: []byte(`{"case":"K-2","start":"2026-03-06T08:00:00Z","state":"changed"}`)})
	add("void", "north/or-3", clock(0, 6, 3), "K-2", "", &events.EventCorrected{Event: moved.ID, Action: "void", Reason: "x"})
	add("entry", ledger, clock(0, 6, 4), "sets/LAP-014", "", &events.SetEntered{Set: "LAP-014", Tags: []string{"T-1", "T-2"}})
	add("entry again", ledger, clock(0, 6, 5), "sets/LAP-014", "", &events.SetEntered{Set: "LAP-014", Tags: []string{"T-1"}})
	add("another entry", ledger, clock(0, 6, 6), "sets/EYE-3", "", &events.SetEntered{Set: "EYE-3", Tags: []string{"T-3"}})
	add("person", ledger, clock(0, 6, 7), "people/B-1", "", &events.PersonEntered{Badge: "B-1", Roles: events.Roles()[:1]})
	add("claim", "north/or-3", clock(0, 6, 8), "people/B-9", "", &events.AccessClaimed{Badge: "B-9", Reason: "x"})
	add("later claim", "north/or-3", clock(0, 6, 9), "people/B-8", "", &events.AccessClaimed{Badge: "B-8", Reason: "x"})
	h.badge = "B-7"
	add("opened", "north/or-3", clock(0, 7, 0), "LAP-014", "", &events.SetOpened{Case: "K-1"})
	h.badge = "B-7"
	add("counted", "north/or-3", clock(0, 7, 1), "LAP-014", "", &events.SetCounted{Case: "K-3", Stage: events.StageFirst,
		Sheet: events.SheetScreen, Counter: "B-7", Witness: "B-6"})
	add("closed", "north/or-3", clock(0, 7, 2), "K-4", "", &events.CaseClosed{Case: "K-4", Outcome: "reconciled", Witness: "B-7"})
	add("sealed", "north/packing-1", clock(0, 7, 3), "LAP-014", tripOf("LAP-014", 0), &events.ListSealed{Placement: events.Outside})
	return h, seqs
}

// TestPlainQuestions: what is looked up by its kind, day, code or badge is found, and nothing beside it.
func TestPlainQuestions(t *testing.T) {
	ctx := t.Context()
	h, seqs := asked(t)
	m := h.filled()
	texts := func(name string, got []string, err error, want ...string) {
		t.Helper()
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %q, %v, want %q", name, got, err, want)
		}
	}
	for most, want := range map[int][]string{9: {"S2-02", "S2-01"}, 1: {"S2-02"}} {
		loads, err := m.LoggedLoads(ctx, "S2", most)
		texts("logged loads", loads, err, want...)
	}
	day := func(d, hour int) time.Time { return time.Date(2026, 3, d, hour, 0, 0, 0, time.UTC) }
	for _, x := range []struct {
		from, until time.Time
		want        []string
	}{
		{day(5, 7), day(5, 8), []string{"K-1"}}, {day(5, 7), day(7, 0), []string{"K-1", "K-2"}}, {day(5, 9), day(6, 8), nil},
		{day(6, 8), day(6, 9), []string{"K-2"}},
	} {
		cases, err := m.CasesPlanned(ctx, x.from, x.until)
		texts(fmt.Sprint("planned ", x.from, x.until), cases, err, x.want...)
	}
	cases, err := m.CasesSince(ctx, clock(0, 7, 0))
	texts("cases since 7:00", cases, err, "K-3", "K-1")
	cases, err = m.CasesSince(ctx, clock(0, 7, 1))
	texts("cases since 7:01", cases, err, "K-3")
	for register, want := range map[string][]string{"sets": {"EYE-3", "LAP-014"}, "people": {"B-1"}, "places": nil, "set": nil} {
		names, err := m.EntryNames(ctx, register)
		texts("entries of "+register, names, err, want...)
	}
	for tag, want := range map[string][]string{"T-1": {"LAP-014"}, "T-2": {"LAP-014"}, "T-3": {"EYE-3"}, "T-4": nil} {
		sets, err := m.TaggedSets(ctx, tag)
		texts("sets with "+tag, sets, err, want...)
	}
	for badge, want := range map[string]bool{"B-7": true, "B-6": false, "B-9": false} {
		if was, err := m.WasBadge(ctx, badge); err != nil || was != want {
			t.Errorf("%s recorded something: %v, %v", badge, was, err)
		}
	}
	numbers := func(name string, got []int64, err error, want ...string) {
		t.Helper()
		var ns []int64
		for _, as := range want {
			ns = append(ns, seqs[as])
		}
		if err != nil || !slices.Equal(got, ns) {
			t.Errorf("%s: %v, %v, want %v", name, got, err, ns)
		}
	}
	claims, err := m.ClaimsSince(ctx, clock(0, 6, 8))
	numbers("claims", claims, err, "later claim", "claim")
	claims, err = m.ClaimsSince(ctx, clock(0, 6, 9))
	numbers("later claims", claims, err, "later claim")
	if n, err := m.ListsChanged(ctx); err != nil || n != seqs["void"] {
		t.Errorf("lists changed with record %d, %v, want %d", n, err, seqs["void"])
	}
	for register, want := range map[string][]string{
		"sets": {"entry", "entry again", "another entry"}, "people": {"person", "claim", "later claim"}, "places": nil,
	} {
		var got []int64
		fs, err := m.RegisterFacts(ctx, register)
		for _, f := range fs {
			got = append(got, f.Seq)
		}
		numbers("facts of "+register, got, err, want...)
	}
}

// TestPlainQuestionsOfPeople: what is recorded of a badge, and each record as the tables have it.
func TestPlainQuestionsOfPeople(t *testing.T) {
	ctx := t.Context()
	h, seqs := asked(t)
	m := h.filled()
	want := []readmodel.Held{
		{As: "operator", Kind: events.KindSetCounted, Records: 1, First: clock(0, 7, 1), Last: clock(0, 7, 1)},
		{As: "operator", Kind: events.KindSetOpened, Records: 1, First: clock(0, 7, 0), Last: clock(0, 7, 0)},
		{As: "counter", Kind: events.KindSetCounted, Records: 1, First: clock(0, 7, 1), Last: clock(0, 7, 1)},
		{As: "witness", Kind: events.KindCaseClosed, Records: 1, First: clock(0, 7, 2), Last: clock(0, 7, 2)},
	}
	if held := got[[]readmodel.Held](t)(m.HeldAbout(ctx, "B-7")); fmt.Sprint(held) != fmt.Sprint(want) {
		t.Errorf("held about B-7: %v, want %v", held, want)
	}
	last := int64(len(h.facts))
	rows := got[[]readmodel.Recorded](t)(m.RecordedAfter(ctx, 0, int(last)+1))
	if len(rows) != len(h.facts) {
		t.Fatalf("%d rows of %d records", len(rows), last)
	}
	for i, r := range rows {
		e := h.facts[i].Event
		if r.Seq != h.facts[i].Seq || r.Kind != e.Kind() || r.Station != e.Station || r.Subject != e.Subject ||
			r.Trip != e.Trip || !r.Observed.Equal(e.Time) || !r.Arrived.Equal(h.facts[i].Recorded) || r.Operator != e.Operator ||
			!slices.Equal(r.Named, events.BadgesIn(e.Data)) {
			t.Errorf("record %d is there as %+v", h.facts[i].Seq, r)
		}
	}
	if some := got[[]readmodel.Recorded](t)(m.RecordedAfter(ctx, seqs["opened"], 1)); len(some) != 1 || some[0].Seq != seqs["counted"] {
		t.Errorf("after record %d: %+v", seqs["opened"], some)
	}
	// A batch gives each record with its number, and stops when it is told to.
	b := h.book.batch(t, 2, last)
	var numbers []int64
	for seq, r := range b.Records {
		if r.Event == nil || r.Event.ID != h.facts[seq-1].Event.ID {
			t.Errorf("record %d of a batch is %+v", seq, r)
		}
		if numbers = append(numbers, seq); len(numbers) == 3 {
			break
		}
	}
	if !slices.Equal(numbers, []int64{2, 3, 4}) || b.Len() != int(last)-1 {
		t.Errorf("records %v of a batch of %d", numbers, b.Len())
	}
}

// TestExpected: what is about to be recorded is in the working memory until it is recorded or given up, and what comes
// otherwise is judged as it came.
func TestExpected(t *testing.T) {
	ctx := t.Context()
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	m := h.filled()
	before := m.World()
	trip := tripOf("LAP-014", 0)
	h.record("north/packing-1", clock(0, 6, 0), "LAP-014", trip, &events.SetPacked{List: "LAP", Version: 1})
	packed := h.facts[len(h.facts)-1]
	m.Unexpect(ctx)
	if m.World() != before {
		t.Error("nothing was expected, and the working memory was emptied")
	}
	m.Expect(packed)
	m.Unexpect(ctx)
	if m.World() == before {
		t.Error("what was given up is still in the working memory")
	}
	before = m.World()
	m.Expect(packed)
	h.apply(m, packed.Seq)
	if m.World() != before {
		t.Error("what came as expected has emptied the working memory")
	}
	sameVerdicts(t, "as expected", h, m)
	m.Unexpect(ctx)
	if m.World() != before {
		t.Error("what was recorded was still expected")
	}
	h.record("north/storage", clock(0, 8, 0), "LAP-014", trip, &events.SetChecked{Place: "A4"})
	other := *h.facts[len(h.facts)-1].Event
	other.Data = &events.SetChecked{Place: "B7"}
	f := h.facts[len(h.facts)-1]
	m.Expect(facts.Fact{Seq: f.Seq, Event: &other, Recorded: f.Recorded})
	h.apply(m, f.Seq)
	sameVerdicts(t, "otherwise than expected", h, m)
}

// TestNothingLeftOfAForgottenTrip: what was found of a set without a trip is gone from every table once its packing is
// recorded late.
func TestNothingLeftOfAForgottenTrip(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	path := filepath.Join(t.TempDir(), "r.db")
	m := open(t, h.book, path)
	t.Cleanup(func() { m.Close() })
	h.record("north/or-3", clock(0, 8, 0), "LAP-014", "", &events.SetOpened{Case: "K-1", Indicator: "fail"})
	h.apply(m, int64(len(h.facts)))
	db := beside(t, path)
	left := func() (out []string) {
		for _, table := range []string{"trips", "findings", "board", "openings"} {
			out = append(out, table+" "+column(t, db, `SELECT count(*) > 0 FROM `+table+` WHERE set_id = 'LAP-014' AND trip = x''`)[0])
		}
		return out
	}
	sameStrings(t, "before", left(), []string{"trips 1", "findings 1", "board 1", "openings 1"})
	h.record("north/packing-1", clock(0, 6, 0), "LAP-014", tripOf("LAP-014", 0), &events.SetPacked{List: "LAP", Version: 1})
	h.apply(m, int64(len(h.facts)))
	sameStrings(t, "after", left(), []string{"trips 0", "findings 0", "board 0", "openings 0"})
	sameVerdicts(t, "packed late", h, m)
}

// TestSameIndexes: a model that was filled in bulk has the indexes of one that took record after record.
func TestSameIndexes(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	var indexes [2][]string
	for i, fill := range []func(*readmodel.Model){
		func(m *readmodel.Model) { inBulk(t, h, m, int64(len(h.facts))) },
		func(m *readmodel.Model) { h.apply(m, int64(len(h.facts))) },
	} {
		path := filepath.Join(t.TempDir(), "r.db")
		m := open(t, h.book, path)
		t.Cleanup(func() { m.Close() })
		fill(m)
		indexes[i] = column(t, beside(t, path), `SELECT name FROM sqlite_master WHERE type = 'index' ORDER BY name`)
	}
	if sameStrings(t, "indexes", indexes[0], indexes[1]); len(indexes[0]) == 0 {
		t.Error("there are none")
	}
}

// TestDifferenceSaid: the columns are named where some differ.
func TestDifferenceSaid(t *testing.T) {
	for want, d := range map[string]readmodel.Difference{
		"table trips: the row of A 1 is missing": {Table: "trips", Row: "A 1", How: "missing"},
		"table trips: the row of A 1 is changed in status, since": {Table: "trips", Row: "A 1", How: "changed",
			In: []string{"status", "since"}},
	} {
		if got := d.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

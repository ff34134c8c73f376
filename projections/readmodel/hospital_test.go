package readmodel_test

import (
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/rates"
	"listbound/projections/readmodel"
)

// hospital is a ledger's records, and the facts they give when all of them are
// held in memory: what the tables say is compared with these.
type hospital struct {
	t        *testing.T
	r        *rand.Rand
	old      *rand.Rand // which records are an earlier program's
	tags     *rand.Rand // which tags are another set's
	book     *book
	audit    *events.Audit
	facts    []facts.Fact
	stations map[string]*station
	badge    string // of the next record about a set, where it matters
	turns    int    // of each set; less than three are three
	lists    []*events.ListIssued
	now      time.Time                // as of when is judged
	lookedUp map[*events.Event]string // by fact, the trip that an earlier program wrote into its record
}

type station struct {
	signer note.Signer
	vkey   string
	n      int64
	hash   string
}

// bareHospital has no station but the ledger's own, and no record.
func bareHospital(t *testing.T, seed uint64) *hospital {
	t.Helper()
	dir := t.TempDir()
	h := &hospital{t: t, r: rand.New(rand.NewPCG(seed, 8)), old: rand.New(rand.NewPCG(seed, 9)),
		tags: rand.New(rand.NewPCG(seed, 10)), book: newBook(t, dir),
		stations: make(map[string]*station), lookedUp: make(map[*events.Event]string)}
	h.audit = events.NewAudit(h.book.verifier, readmodel.Tolerance())
	h.stations[h.book.signer.Name()] = &station{signer: h.book.signer}
	return h
}

func newHospital(t *testing.T, seed uint64) *hospital {
	t.Helper()
	h := bareHospital(t, seed)
	for i, name := range []string{"north/packing-1", "north/sterilizer-2", "north/storage", "north/or-3", "south/or-1",
		"south/spare"} {
		h.stations[name] = h.key(name)
		h.record(h.book.signer.Name(), clock(-2, 8, i), name, "",
			&events.StationEnrolled{Station: name, Key: h.stations[name].vkey})
	}
	return h
}

// key makes a station's key.
func (h *hospital) key(name string) *station {
	h.t.Helper()
	path := filepath.Join(h.t.TempDir(), "key")
	s, _, _, err := ledger.LoadOrCreateKey(path, name)
	if err != nil {
		h.t.Fatal(err)
	}
	vkey, err := ledger.VerifierKey(path)
	if err != nil {
		h.t.Fatal(err)
	}
	return &station{signer: s, vkey: vkey}
}

// clock is an hour and minute of a day of the story, which begins on a Monday.
func clock(day, hour, minute int) time.Time {
	return time.Date(2026, 3, 2+day, hour, minute, 0, 0, time.UTC)
}

// one reports whether something happens that does so once in so many times.
func (h *hospital) one(in int) bool { return h.r.IntN(in) == 0 }

func id(at time.Time, name string) string { return events.DerivedID(at, sha256.Sum256([]byte(name))) }

func tripOf(set string, n int) string { return id(clock(3*n, 6, 0), fmt.Sprint("trip ", set, n)) }

// record adds an event as its station signs it, recorded a second later.
func (h *hospital) record(name string, at time.Time, subject, trip string, d events.Data) *events.Event {
	h.t.Helper()
	st := h.stations[name]
	st.n++
	e := &events.Event{ID: id(at, fmt.Sprint("event ", len(h.facts))), Station: name, Subject: subject, Time: at,
		Trip:       trip,
		StationSeq: st.n, StationPrev: st.hash, Data: d}
	if d.Kind().AboutSet() {
		e.Operator, h.badge = cmp.Or(h.badge, []string{"B-1182", "B-3310"}[len(h.facts)%2]), ""
	}
	as := *e
	if trip == "" && h.old.IntN(2) == 0 {
		h.lookUp(&as)
		e.ID = as.ID
	}
	raw, err := events.Sign(&as, st.signer)
	if err != nil {
		h.t.Fatalf("%s: %v", d.Kind(), err)
	}
	st.hash = events.NoteHash(raw)
	h.take(raw, at.Add(time.Second), 0)
	f := h.facts[len(h.facts)-1].Event
	if f.Trip = trip; as.Trip != trip { // what was looked up is no fact
		h.lookedUp[f] = as.Trip
	}
	return e
}

// outdated counts the records whose trip was looked up and is another by now.
func (h *hospital) outdated() (n int) {
	for e, was := range h.lookedUp {
		if e.Kind().AboutSet() && h.tripOf(e) != was {
			n++
		}
	}
	return n
}

// lookUp writes the set's last known trip into an event, as earlier programs did
// with an observation that named none.
func (h *hospital) lookUp(e *events.Event) {
	o := events.Observation{Station: e.Station, Kind: e.Kind(), Time: e.Time, Set: e.Subject, Operator: e.Operator, Data: e.Data}
	if !e.Kind().AboutSet() {
		o.Set = ""
		if e.Kind() != events.KindEventCorrected {
			return
		}
	}
	id, err := o.ID()
	if err != nil {
		h.t.Fatal(err)
	}
	e.ID, e.Trip = id, h.tripOf(e)
}

// take puts a note into the ledger as it is.
func (h *hospital) take(raw []byte, at time.Time, remark events.Remark) {
	h.t.Helper()
	seq := int64(len(h.book.records) + 1)
	p := events.Parse(raw)
	c := h.audit.Check(seq, p, at, remark)
	h.facts = append(h.facts, facts.Fact{Seq: seq, Recorded: at, Remarks: c.Remark, Event: p.Event})
	for _, ch := range c.Earlier {
		f := &h.facts[ch.Seq-1]
		if r := f.Remarks&^ch.Clear | ch.Set; r != f.Remarks {
			*f = f.Change(r, at)
		}
	}
	h.book.records = append(h.book.records, proof.AddArrival(h.book.signer.Name(), raw, at, byte(remark)))
}

func (h *hospital) list(at time.Time, name string, version int64, quantities ...int64) {
	l := &events.ListIssued{List: name, Version: version, Title: name}
	for i, q := range quantities {
		l.Lines = append(l.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprint("ITEM-", i), Description: "forceps",
			Quantity: q})
	}
	h.lists = append(h.lists, l)
	h.record("north/packing-1", at, name, "", l)
}

func (h *hospital) code(l *events.ListIssued, set, trip string) string {
	d, err := l.Digest()
	if err != nil {
		h.t.Fatal(err)
	}
	b, err := events.Binding(d, set, trip)
	if err != nil {
		h.t.Fatal(err)
	}
	c, err := events.NewSheetCode(trip, b)
	if err != nil {
		h.t.Fatal(err)
	}
	return c.String()
}

// turn records one turn of a set, with a fault here and there.
func (h *hospital) turn(set string, n int, l *events.ListIssued) {
	trip, day := tripOf(set, n), 3*n
	own := h.code(l, set, trip)
	ref, room := fmt.Sprintf("K-%s-%d", set, n), "north/or-3"
	if h.one(3) {
		ref = fmt.Sprintf("K-LAP-014-%d", n) // one case with another set
	}
	if h.one(3) {
		room = "south/or-1"
	}
	read := func() *events.Reading {
		switch {
		case h.one(5):
			other := []string{"LAP-014", "LAP-022", "EYE-3"}[h.r.IntN(3)]
			return &events.Reading{Found: "outside", Code: h.code(l, other, tripOf(other, n))}
		case h.one(8):
			return &events.Reading{Found: "none"}
		case h.one(8):
			return nil
		}
		return &events.Reading{Found: "outside", Code: own}
	}
	var counts []events.Count
	for _, x := range l.Lines {
		counts = append(counts, events.Count{Line: x.Line, Counted: x.Quantity})
	}
	seal := &events.ListSealed{Placement: []events.Placement{events.Outside, events.InsideBag}[h.r.IntN(2)],
		List: l.List, Version: l.Version,
		Seals: []string{fmt.Sprint(48000 + 10*n + len(set)), fmt.Sprint(48001 + 10*n + len(set))}, Code: own}
	if seal.Placement == events.InsideBag {
		seal.BagLot = "BAG-7"
	}
	final := slices.Clone(counts)
	if h.one(4) {
		final[0].Counted--
	}
	type step struct {
		station string
		at      time.Time
		data    events.Data
	}
	steps := []step{
		{"north/packing-1", clock(day, 6, 11), &events.SetPacked{List: l.List, Version: l.Version}},
		{"north/packing-1", clock(day, 6, 14), seal},
		{"north/sterilizer-2", clock(day, 8, 2),
			&events.SetSterilized{Load: fmt.Sprintf("S2-%02d", day), Sterilizer: "S2", Run: 4,
				Cycle: "dynamic-air-132", Result: "passed", Released: true}},
		{"north/storage", clock(day, 12, 0), &events.SetChecked{Place: "storage A4", Tag: h.tag(set), Sheet: read()}},
		{room, clock(day+1, 7, 12), &events.SetOpened{Case: ref, Tag: h.tag(set), Sheet: read()}},
		{room, clock(day+1, 7, 20), &events.SetCounted{Case: ref, Stage: events.StageFirst, Sheet: own, Counter: "B-1",
			Witness: "B-2", Counts: counts}},
		{room, clock(day+1, 9, 30),
			&events.SetCounted{Case: ref, Stage: events.StageFinal, Sheet: "screen", Counter: "B-1", Witness: "B-2",
				Counts: final}},
		{room, clock(day+1, 9, 40), &events.CaseClosed{Case: ref, Outcome: "reconciled", Actions: []string{}}},
	}
	late := h.old.IntN(4) == 0
	if late { // the bench hands in last, and nobody else can name the trip
		steps = append(slices.Clone(steps[2:]), steps[:2]...)
	}
	for _, step := range steps {
		if h.one(12) {
			continue
		}
		subject, of := set, trip
		switch {
		case step.data.Kind() == events.KindCaseClosed:
			subject, of = ref, ""
		case (h.one(15) || late) && step.data.Kind() != events.KindSetPacked && step.data.Kind() != events.KindListSealed:
			of = ""
		}
		h.record(step.station, step.at, subject, of, step.data)
	}
	if h.one(3) {
		h.record("north/or-3", clock(day+2, 8, 0), set, trip, &events.FindingAcknowledged{
			Code: string(projections.Codes()[h.r.IntN(len(projections.Codes()))]), Reason: "seen"})
	}
}

// tag is what is read on a set's tray: its own tag as a rule.
func (h *hospital) tag(set string) string {
	if h.tags.IntN(4) == 0 {
		return []string{"", "LAP-014", "LAP-022", "EYE-3"}[h.tags.IntN(4)]
	}
	return set
}

// retag corrects the tag in some looks at trays, days later.
func (h *hospital) retag() {
	for i, f := range slices.Clone(h.facts) {
		if f.Event == nil || h.tags.IntN(3) != 0 {
			continue
		}
		var put events.Data
		switch d := f.Event.Data.(type) {
		case *events.SetChecked:
			x := *d
			x.Tag = h.tag("LAP-014")
			put = &x
		case *events.SetOpened:
			x := *d
			x.Tag = h.tag("LAP-022")
			put = &x
		default:
			continue
		}
		raw, err := json.Marshal(put)
		if err != nil {
			h.t.Fatal(err)
		}
		h.record("north/packing-1", clock(11, 8+i/60, i%60), f.Event.Subject, f.Event.Trip,
			&events.EventCorrected{Event: f.Event.ID, Action: "replace", Reason: "the tag of another tray", Data: raw})
	}
}

// mistakes corrects some of what was recorded, and corrections too.
func (h *hospital) mistakes() {
	for i := range 5 {
		f := h.facts[h.r.IntN(len(h.facts))]
		if f.Event == nil || f.Event.Kind() == events.KindStationEnrolled {
			continue
		}
		c := &events.EventCorrected{Event: f.Event.ID, Action: "void", Reason: "typed wrong"}
		if d := h.instead(f.Event.Data); d != nil {
			raw, err := json.Marshal(d)
			if err != nil {
				h.t.Fatal(err)
			}
			c.Action, c.Data = "replace", raw
		}
		h.record("north/packing-1", clock(10, 13, i), f.Event.Subject, f.Event.Trip, c)
	}
}

// instead is what a correction puts in place, nil to take an event back.
func (h *hospital) instead(d events.Data) events.Data {
	n := h.r.IntN(3)
	switch d := d.(type) {
	case *events.SetSterilized:
		x := *d
		x.Load, x.Sterilizer = fmt.Sprintf("S2-%02d", 3*n), "S2"
		return &x
	case *events.SetOpened:
		x := *d
		x.Case, x.Sheet = fmt.Sprintf("K-LAP-014-%d", n), &events.Reading{Found: "outside",
			Code: h.code(h.lists[0], "LAP-022", tripOf("LAP-022", n))}
		return &x
	case *events.SetCounted:
		x := *d
		x.Case, x.Sheet = fmt.Sprintf("K-LAP-022-%d", n), h.code(h.lists[0], "EYE-3", tripOf("EYE-3", n))
		return &x
	case *events.ListIssued:
		x := *d
		x.List = "LAP-RENAMED"
		return &x
	case *events.IndicatorRead:
		x := *d
		x.Result = "positive"
		return &x
	}
	return nil
}

// week records three turns of three sets with all that goes wrong in them.
func week(t *testing.T, seed uint64, first ...func(*hospital)) *hospital {
	h := newHospital(t, seed)
	for _, f := range first {
		f(h)
	}
	h.list(clock(-1, 5, 1), "LAP-MAJOR", 1, 6, 2, 4)
	h.list(clock(-1, 5, 2), "EYE", 1, 6, 2, 4) // the same lines
	if h.one(2) {
		p := events.DefaultPolicy()
		p.Recall = events.RecallAll
		h.record("north/ledger", clock(1, 5, 0), "north", "", &events.PolicyAdopted{Policy: p})
	}
	for n := range max(3, h.turns) {
		for i, set := range []string{"LAP-014", "LAP-022", "EYE-3"} {
			h.turn(set, n, h.lists[i/2])
		}
		if !h.one(4) {
			h.record("north/sterilizer-2", clock(3*n+2, 9, 0), fmt.Sprintf("S2-%02d", 3*n), "", &events.IndicatorRead{
				Load: fmt.Sprintf("S2-%02d", 3*n), Sterilizer: "S2", Result: []string{"negative", "negative",
					"positive"}[h.r.IntN(3)]})
		}
	}
	h.mistakes()
	late := h.sentLate(clock(8, 7, 0))
	h.retag()
	if seed%2 == 0 { // a reading that was typed wrong
		e := h.record("north/sterilizer-2", clock(9, 6, 0), "S2-06", "",
			&events.IndicatorRead{Load: "S2-06", Sterilizer: "S2", Result: "negative"})
		h.record("north/sterilizer-2", clock(9, 6, 5), "S2-06", "",
			&events.EventCorrected{Event: e.ID, Action: "replace", Reason: "typed wrong",
				Data: []byte(`{"load":"S2-06","sterilizer":"S2","result":"positive"}`)})
	}
	for _, name := range []string{"north/sterilizer-2",
		"north/packing-1"} { // records that never came, before some of no trip
		h.stations[name].n++
		h.record(name, clock(9, 6, 30), "LAP-MAJOR", "", &events.ListIssued{List: "LAP-MAJOR", Version: 7, Title: "x",
			Lines: []events.Line{{Line: 1, Item: "i", Description: "d", Quantity: 1}}})
	}
	h.stations["north/storage"].n++ // a record that never came
	h.record("north/storage", clock(9, 7, 0), "LAP-014", tripOf("LAP-014", 2), &events.SetChecked{Place: "storage B1"})
	h.record("north/or-3", clock(9, 8, 0), "LAP-022", tripOf("LAP-022", 2), &events.SetChecked{Place: "OR 3"})
	h.nonsense(clock(9, 9, 0))
	for i, raw := range late {
		h.take(raw, clock(9, 9, 1+i), 0)
	}
	h.record("north/ledger", clock(9, 10, 0), "north/storage", "",
		&events.StationRetired{Station: "north/storage", Reason: "sold"})
	h.record("north/storage", clock(9, 11, 0), "EYE-3", tripOf("EYE-3", 2), &events.SetChecked{Place: "storage A4"})
	return h
}

// sentLate takes every other record that a station makes, one of them badly signed, and returns those that it sends
// later, the last first.
func (h *hospital) sentLate(at time.Time) (late [][]byte) {
	h.t.Helper()
	st := h.stations["south/or-1"]
	for i := range 6 {
		st.n++
		e := &events.Event{
			ID: id(at, fmt.Sprint("late ", i)), Station: "south/or-1", Subject: "LAP-014", Time: at.Add(time.Duration(i%4) * time.Minute),
			Trip: tripOf("LAP-014", 2), StationSeq: st.n, StationPrev: st.hash, Data: &events.SetChecked{Place: fmt.Sprint("OR 1 ", i)},
		}
		e.ID = id(e.Time, fmt.Sprint("late ", i))
		signer := st.signer
		if i == 2 {
			signer = h.key(e.Station).signer
		}
		raw, err := events.Sign(e, signer)
		if err != nil {
			h.t.Fatal(err)
		}
		st.hash = events.NoteHash(raw)
		if i%2 == 1 {
			h.take(raw, at.Add(time.Hour), 0)
			continue
		}
		late = append(late, raw)
	}
	slices.Reverse(late)
	return late
}

// nonsense takes a signed note that is no event.
func (h *hospital) nonsense(at time.Time) {
	raw, err := note.Sign(&note.Note{Text: "no event\n"}, h.stations["north/or-3"].signer)
	if err != nil {
		h.t.Fatal(err)
	}
	h.take(raw, at, 0)
}

// world judges all facts in memory.
func (h *hospital) world() *judge.World {
	w := judge.NewWorld(nil)
	w.SetMoment(h.now)
	for _, f := range h.facts {
		if f.Event != nil {
			w.Add(f)
		}
	}
	return w
}

// verdicts are those of all trips, by memory alone.
func (h *hospital) verdicts() []projections.Verdict {
	w := h.world()
	var out []projections.Verdict
	for _, k := range w.Trips() {
		v, err := w.Judge(k)
		if err != nil {
			h.t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// apply hands the records after the model's position to it, up to one.
func (h *hospital) apply(m *readmodel.Model, to int64) {
	h.t.Helper()
	if err := m.Apply(h.t.Context(), h.book.batch(h.t, m.Position()+1, to)); err != nil {
		h.t.Fatal(err)
	}
}

// filled returns a model that took all records at once.
func (h *hospital) filled() *readmodel.Model {
	h.t.Helper()
	m := open(h.t, h.book, filepath.Join(h.t.TempDir(), "r.db"))
	h.t.Cleanup(func() { m.Close() })
	h.apply(m, int64(len(h.facts)))
	return m
}

// asJSON makes verdicts comparable: sorted, as they are written.
func asJSON(t *testing.T, vs []projections.Verdict) (out []string) {
	t.Helper()
	for _, v := range vs {
		raw, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, string(raw))
	}
	slices.Sort(out)
	return out
}

func got[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func sameStrings(t *testing.T, what string, got, want []string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: got\n%q\nwant\n%q", what, got, want)
	}
}

func keyStrings(ks []projections.TripKey) (out []string) {
	for _, k := range ks {
		out = append(out, k.Set+" "+k.Trip)
	}
	return out
}

// few is how many weeks are invented where each is gone through many times over: one where a test is to be short.
func few(n uint64) uint64 {
	if testing.Short() {
		return 1
	}
	return n
}

// seeds is how many weeks are invented: fewer where a test is to be short.
func seeds(n uint64) uint64 {
	if testing.Short() {
		return n / 2
	}
	return n
}

func inBulk(t *testing.T, h *hospital, m *readmodel.Model, to int64) {
	t.Helper()
	if err := m.BeginBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.apply(m, to/2)
	if vs := got[[]projections.Verdict](t)(m.Verdicts(t.Context())); len(vs) != 0 {
		t.Errorf("%d trips are judged before the end of the bulk", len(vs))
	}
	h.apply(m, to)
	if err := m.EndBulk(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := m.BeginBulk(t.Context()); err == nil {
		t.Error("a model with records is filled in bulk")
	}
}

func sameVerdicts(t *testing.T, how string, h *hospital, m *readmodel.Model) {
	t.Helper()
	ctx := t.Context()
	if p := m.Position(); p != int64(len(h.facts)) {
		t.Errorf("%s: position %d", how, p)
	}
	sameStrings(t, how, asJSON(t, got[[]projections.Verdict](t)(m.Verdicts(ctx))), asJSON(t, h.verdicts()))
	want, opened := h.openings(got[[]rates.Opening](t)(m.Openings(ctx, time.Time{}, time.Time{})))
	sameStrings(t, how+", openings", opened, want)
	var stations []projections.Verdict
	w := h.world()
	for name := range h.stations {
		st := events.Station{Name: name}
		if known := h.audit.Station(name); known != nil {
			st = *known
		}
		v, err := w.JudgeStation(st)
		if err != nil {
			t.Fatal(err)
		}
		if len(v.Findings) > 0 {
			stations = append(stations, v)
		}
	}
	projections.Sort(stations)
	kept := got[[]projections.Verdict](t)(m.StationVerdicts(ctx))
	sameStrings(t, how+", the order of stations", names(kept), names(stations))
	sameStrings(t, how+", stations", asJSON(t, kept), asJSON(t, stations))
	var rows, board []string
	for _, r := range h.rows() {
		rows = append(rows, r.v.Set+" "+r.v.Trip)
	}
	for _, r := range got[[]readmodel.BoardRow](t)(m.Board(ctx, readmodel.BoardFilter{}, nil, 1000)) {
		board = append(board, r.Set+" "+r.Trip)
	}
	sameStrings(t, how+", board", board, rows)
	known := got[[]events.Station](t)(m.Stations(ctx))
	if len(known) != len(h.stations) {
		t.Errorf("%s: %d stations, want %d", how, len(known), len(h.stations))
	}
	for _, s := range known {
		kept, want := m.Station(s.Name), h.audit.Station(s.Name)
		if d := [...]any{s.Key, s.Enrolled, s.Retired, s.Last, s.Count, s.Hash}; d != [...]any{want.Key, want.Enrolled,
			want.Retired, want.Last, want.Count, want.Hash} ||
			!s.Time.Equal(want.Time) || kept.Hash != want.Hash || kept.Retired != want.Retired {
			t.Errorf("%s: station %+v, want %+v", how, s, want)
		}
	}
}

// sameFacts: of every place under which a fact is filed, the tables give the
// facts that memory has there, with their corrections.
func sameFacts(ctx context.Context, t *testing.T, how string, h *hospital, m *readmodel.Model) {
	t.Helper()
	want := make(map[facts.DimKey]map[int64]bool)
	starts := make(map[any]bool)
	put := func(k facts.DimKey, f facts.Fact) {
		if k.Dim == facts.DimSet || k.Dim == facts.DimPackings || k.Dim == facts.DimVersion { // asked for by Around, and of no Source
			return
		}
		if d, ok := f.Event.Data.(*events.SetSterilized); ok && k.Dim == facts.DimStarts { // one of each start
			start := [...]any{d.Load, d.Sterilizer, d.Run, d.Started}
			if starts[start] {
				return
			}
			starts[start] = true
		}
		if d, ok := f.Event.Data.(*events.SetSterilized); ok && k.Dim == facts.DimBegun {
			start := [...]any{k.Key, d.Load, d.Run, d.Started}
			if starts[start] {
				return
			}
			starts[start] = true
		}
		if want[k] == nil {
			want[k] = make(map[int64]bool)
		}
		want[k][f.Seq] = true
	}
	byID := make(map[string]facts.Fact)
	for _, f := range h.facts {
		if f.Event == nil {
			continue
		}
		byID[f.Event.ID] = f
		for _, k := range facts.Keys(f.Event, f.Event.Data) {
			put(k, f)
		}
		if f.Remarks != 0 && facts.OfNoTrip(f.Event) {
			put(facts.DimKey{Dim: facts.DimStation, Key: f.Event.Station}, f)
		}
	}
	src := m.Source(ctx)
	for k, seqs := range want {
		if k.Dim == facts.DimSterilizer && !slices.ContainsFunc(h.facts, positive) {
			seqs = nil
		}
		found := make(map[int64]bool)
		for _, f := range got[[]facts.Fact](t)(src.Facts(k.Dim, k.Key)) {
			if found[f.Seq] {
				t.Errorf("%s: %s %s has %d twice", how, k.Dim, k.Key, f.Seq)
			}
			found[f.Seq] = true
			if w := h.facts[f.Seq-1]; f.Remarks != w.Remarks || !f.Recorded.Equal(w.Recorded) ||
				f.Event.ID != w.Event.ID {
				t.Errorf("%s: %d is %+v, want %+v", how, f.Seq, f, w)
			}
		}
		for seq := range seqs {
			if !found[seq] {
				t.Errorf("%s: %s %s lacks %d", how, k.Dim, k.Key, seq)
			}
		}
		// What is corrected comes with its correction, and that with what it corrects.
		for _, f := range h.facts {
			if f.Event == nil {
				continue
			}
			if c, ok := f.Event.Data.(*events.EventCorrected); ok && found[byID[c.Event].Seq] && !found[f.Seq] {
				t.Errorf("%s: %s %s has %d without its correction %d", how, k.Dim, k.Key, byID[c.Event].Seq, f.Seq)
			} else if ok && found[f.Seq] && !found[byID[c.Event].Seq] {
				t.Errorf("%s: %s %s has %d without %d, which it corrects", how, k.Dim, k.Key, f.Seq, byID[c.Event].Seq)
			}
		}
	}
	if _, err := src.Facts("no dimension", "x"); err == nil {
		t.Errorf("%s: facts are found by what they are not filed by", how)
	}
	if fs := got[[]facts.Fact](t)(src.Facts(facts.DimEvent, "no id")); len(fs) != 0 {
		t.Errorf("%s: %d facts without an id", how, len(fs))
	}
	sameAround(t, how, h, src)
}

func positive(f facts.Fact) bool {
	if f.Event == nil {
		return false
	}
	switch d := f.Event.Data.(type) {
	case *events.IndicatorRead:
		return d.Result == "positive"
	case *events.EventCorrected:
		var r events.IndicatorRead
		return json.Unmarshal(d.Data, &r) == nil && r.Result == "positive"
	}
	return false
}

// sameAround: a set's nearest packings, and what was seen of it without a trip
// between these.
func sameAround(t *testing.T, how string, h *hospital, src facts.Source) {
	t.Helper()
	for _, set := range []string{"LAP-014", "LAP-022", "EYE-3"} {
		var packs, loose []*events.Event
		for _, f := range h.facts {
			switch {
			case f.Event == nil || f.Event.Subject != set || !f.Event.Kind().AboutSet():
			case f.Event.Trip == "":
				loose = append(loose, f.Event)
			case f.Event.Kind() == events.KindSetPacked:
				packs = append(packs, f.Event)
			}
		}
		slices.SortFunc(packs,
			func(a, b *events.Event) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.ID, b.ID)) })
		for _, n := range []int{1, 2, 9} {
			for _, at := range []time.Time{{}, clock(-5, 0, 0), clock(0, 6, 11), clock(1, 0, 0), clock(3, 6, 11),
				clock(20, 0, 0)} {
				split := 0
				for split < len(packs) && !packs[split].Time.After(at) {
					split++
				}
				want := slices.Clone(packs[max(split-n, 0):min(split+n, len(packs))])
				for _, e := range loose {
					if (split < n || !e.Time.Before(packs[split-n].Time)) &&
						(split+n > len(packs) || !e.Time.After(packs[split+n-1].Time)) {
						want = append(want, e)
					}
				}
				found := make(map[string]bool)
				for _, f := range got[[]facts.Fact](t)(src.Around(set, at, n)) {
					found[f.Event.ID] = true
				}
				for _, e := range want {
					if !found[e.ID] {
						t.Errorf("%s: %d packings of %s around %s lack %s %s", how, n, set, at, e.Kind(), e.ID)
					}
				}
				for _, e := range slices.Concat(packs, loose) {
					if found[e.ID] && !slices.Contains(want, e) && !corrected(h, e) {
						t.Errorf("%s: %d packings of %s around %s have %s %s too", how, n, set, at, e.Kind(), e.ID)
					}
				}
			}
		}
	}
}

// corrected reports whether an event comes along with a correction of it.
func corrected(h *hospital, e *events.Event) bool {
	return slices.ContainsFunc(h.facts, func(f facts.Fact) bool {
		if f.Event == nil {
			return false
		}
		c, ok := f.Event.Data.(*events.EventCorrected)
		return ok && (c.Event == e.ID || f.Event.ID == e.ID)
	})
}

func names(vs []projections.Verdict) (out []string) {
	for _, v := range vs {
		out = append(out, v.Set+v.Trip+v.Station)
	}
	return out
}

// differences holds the file of one model against another of the same records, and looks whether it is whole.
func differences(t *testing.T, m, fresh *readmodel.Model, most int) (found []readmodel.Difference, n int) {
	t.Helper()
	s := got[*readmodel.Snapshot](t)(m.Snapshot(t.Context()))
	defer s.Close()
	found, n, err := s.Differences(t.Context(), fresh, most)
	if err != nil {
		t.Fatal(err)
	}
	damage := got[[]readmodel.Difference](t)(m.CheckFile(t.Context()))
	return append(found, damage...), n + len(damage)
}

// impatient puts a policy in force that waits for nothing for long.
func impatient(h *hospital) {
	p := events.DefaultPolicy()
	p.Waits = events.Waits{Run: 3, Release: 4, Indicator: 30, Seen: 24, Count: 2, Close: 1, Station: 20}
	h.record("north/ledger", clock(-2, 9, 0), "north", "", &events.PolicyAdopted{Policy: p})
}

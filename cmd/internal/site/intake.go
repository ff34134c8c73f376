package site

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/readmodel"
)

// Record implements Service.
func (s *Site) Record(ctx context.Context, lines io.Reader, emit func(Receipt) error) error {
	var batch []line
	for n, r := range events.Observations(lines) {
		if n == 0 {
			return errors.Join(s.record(ctx, batch, emit), r.Err)
		}
		batch = append(batch, line{n: n, obs: r.Observation, err: refusal.Because(r.Err)})
		if len(batch) < s.opts.Batch {
			continue
		}
		if err := s.record(ctx, batch, emit); err != nil {
			return err
		}
		batch = batch[:0]
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("interrupted after line %d; what has a receipt is recorded, and the same file can be recorded again", n)
		}
	}
	return s.record(ctx, batch, emit)
}

// line is one line of a file on its way.
type line struct {
	n   int
	obs *events.Observation
	err error

	prepared *prepared
	receipt  Receipt
}

// prepared is an observation turned into the record it will be.
type prepared struct {
	event   *events.Event
	note    []byte
	remark  events.Remark
	entries int // how many entries this line put into the batch: 1, or 2 with an enrolment
}

// record takes some lines as one atomic append and answers each. No lock is
// held while the answers go out.
func (s *Site) record(ctx context.Context, batch []line, emit func(Receipt) error) error {
	if len(batch) == 0 {
		return nil
	}
	if err := s.take(ctx, batch, false); err != nil {
		return err
	}
	for i := range batch {
		if err := emit(batch[i].receipt); err != nil {
			return err
		}
	}
	return nil
}

// take brings lines into the ledger, in steps that can be told apart: each is
// checked and signed on its own (intake), all are appended as one, the verdicts
// follow, and each line gets its receipt. Where all is asked for, one refused
// line refuses all. What is no refusal stops everything before anything is stored.
func (s *Site) take(ctx context.Context, batch []line, all bool) error {
	s.intake.Lock()
	defer s.intake.Unlock()
	// Before a line is looked at: a damaged ledger may not even have what the lines refer to.
	if problems := s.ledger.Damage(); len(problems) > 0 {
		return s.damaged(&ledger.DamagedError{Dir: s.opts.Dir, Problems: problems})
	}
	if err := s.catchUp(ctx, nil); err != nil {
		return err
	}
	in := s.newIntake(ctx)
	for i := range batch {
		l := &batch[i]
		in.take(l)
		if l.err != nil && (all || !refusal.Is(l.err)) {
			return l.err
		}
	}
	stored, err := s.append(ctx, in.entries)
	if err != nil {
		return err
	}
	in.receipts(batch, stored)
	return nil
}

// receipts completes the receipts of lines that are stored.
func (in *intake) receipts(batch []line, stored []ledger.Appended) {
	for i := range batch {
		l := &batch[i]
		if l.prepared != nil {
			l.receipt.Seq = stored[l.prepared.entries-1].Seq
		}
		if l.err != nil {
			l.receipt = Receipt{Line: l.n, Error: l.err.Error()}
		}
	}
	// A line that repeats another of the same batch is answered like it.
	for i := range batch {
		if twin := in.twins[i]; batch[i].receipt.Known && twin != nil {
			batch[i].receipt.Seq = twin.receipt.Seq
		}
	}
}

// damaged says what to do about a damaged ledger.
func (s *Site) damaged(err error) error {
	return fmt.Errorf("%w; keep a copy of the folder, then run: listbound repair --data %s", err, s.opts.Dir)
}

// append stores entries and lets judgement follow.
func (s *Site) append(ctx context.Context, entries []ledger.Entry) ([]ledger.Appended, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	stored, err := s.ledger.Append(ctx, entries...)
	var damaged *ledger.DamagedError
	if errors.As(err, &damaged) {
		return nil, s.damaged(err)
	}
	if err != nil {
		return nil, err
	}
	// What is stored is acknowledged whatever becomes of the read model, which
	// catches up before the next line.
	if err := s.catchUp(context.WithoutCancel(ctx), nil); err != nil {
		s.opts.Logger.Error("the read model lags behind the ledger", "error", err)
	}
	s.listen.tell()
	return stored, nil
}

// intake turns the lines of one batch into entries. It sees what the ledger
// holds, and the lines before in the same batch.
type intake struct {
	s       *Site
	ctx     context.Context
	m       *readmodel.Model
	entries []ledger.Entry

	index    int
	ids      map[string]*line // by identity, of this batch
	twins    map[int]*line
	stations map[string]*chain
	packed   map[string][]*events.Event // set.packed of this batch, by set
	byID     map[string]*events.Event

	// world holds what the ledger holds and what of this batch may be referred to, corrections applied.
	world   *judge.World
	learned int64
}

func (s *Site) newIntake(ctx context.Context) *intake {
	m := s.current()
	return &intake{
		s: s, ctx: ctx, m: m, world: judge.NewWorld(m.Source(ctx)),
		ids: make(map[string]*line), twins: make(map[int]*line), stations: make(map[string]*chain),
		packed: make(map[string][]*events.Event), byID: make(map[string]*events.Event),
	}
}

// take prepares one line. A refused line leaves nothing behind.
func (in *intake) take(l *line) {
	i := in.index
	in.index++
	if l.err != nil {
		return
	}
	id, err := l.obs.ID()
	if err != nil {
		l.err = refusal.Because(err)
		return
	}
	self := identity(id, l.obs)
	if twin := in.ids[self]; twin != nil {
		l.receipt = twin.receipt
		l.receipt.Known = true
		in.twins[i] = twin
		return
	}
	known, err := in.known(id, l)
	if err != nil || known {
		l.err = err
		return
	}
	before, chains := len(in.entries), in.save(l.obs)
	if err := in.prepare(id, l); err != nil {
		in.entries = in.entries[:before]
		in.restore(chains)
		l.err, l.prepared, l.receipt = err, nil, Receipt{}
		return
	}
	in.ids[self] = l
	if in.byID[id] == nil {
		in.byID[id] = l.prepared.event
	}
}

// save keeps the chains that a line may move on, so that a refusal can put them back.
func (in *intake) save(o *events.Observation) map[string]*chain {
	out := make(map[string]*chain)
	names := []string{o.Station, in.s.Name()}
	switch d := o.Data.(type) {
	case *events.StationEnrolled:
		names = append(names, d.Station)
	case *events.StationRetired:
		names = append(names, d.Station)
	}
	for _, name := range names {
		if c := in.stations[name]; c != nil {
			copied := *c
			out[name] = &copied
		} else {
			out[name] = nil
		}
	}
	return out
}

func (in *intake) restore(chains map[string]*chain) {
	for name, c := range chains {
		if c == nil {
			delete(in.stations, name)
		} else {
			in.stations[name] = c
		}
	}
}

// known answers a line that the ledger already holds.
func (in *intake) known(id string, l *line) (bool, error) {
	seqs, err := in.m.FindEvents(in.ctx, id)
	if err != nil {
		return false, err
	}
	for _, seq := range seqs {
		e, err := in.s.EventAt(seq)
		if err != nil {
			return false, err
		}
		if e.Station != l.obs.Station || e.Kind() != l.obs.Kind || !e.Time.Equal(l.obs.Time) {
			continue // a station that signs for itself gave it this id; that must not keep another's observation out
		}
		l.receipt = receiptOf(e)
		l.receipt.Seq, l.receipt.Known = seq, true
		return true, nil
	}
	return false, nil
}

// identity tells observations apart within a batch. The id alone does not: see known.
func identity(id string, o *events.Observation) string {
	return strings.Join([]string{id, o.Station, string(o.Kind), o.Time.UTC().Format(time.RFC3339Nano)}, " ")
}

func receiptOf(e *events.Event) Receipt {
	r := Receipt{ID: e.ID, Trip: e.Trip}
	if e.Kind().AboutSet() {
		r.Set = e.Subject
	}
	if d, ok := e.Data.(*events.ListSealed); ok {
		r.SheetCode = d.Code
	}
	return r
}

// EventAt reads the event of one record.
func (s *Site) EventAt(seq int64) (*events.Event, error) {
	rec, err := s.ledger.Read(seq)
	if err != nil {
		return nil, err
	}
	n, _, _, err := proof.SplitArrival(s.Name(), rec)
	if err != nil {
		return nil, fmt.Errorf("record %d: %w", seq, err)
	}
	return events.ParseNote(n)
}

func (in *intake) prepare(id string, l *line) error {
	o := l.obs
	if o.Signed != nil {
		return in.prepareSigned(l)
	}
	c, enrolled, err := in.chain(o)
	if err != nil {
		return err
	}
	e := &events.Event{ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator, Data: o.Data}
	if err := in.resolve(o, e); err != nil {
		return err
	}
	if err := in.put(l, e, c); err != nil {
		return err
	}
	if enrolled {
		l.receipt.Enrolled = o.Station
	}
	return nil
}

// put numbers, signs and queues an event.
func (in *intake) put(l *line, e *events.Event, c *chain) error {
	e.StationSeq, e.StationPrev = c.count+1, c.hash
	n, err := events.Sign(e, c.signer)
	if err != nil {
		return refusal.Because(err) // too large, or what no record may hold
	}
	in.queue(e, n, c, 0)
	in.learn(e)
	l.prepared = &prepared{event: e, note: n, entries: len(in.entries)}
	l.receipt = receiptOf(e)
	return nil
}

// learn keeps what later lines of the batch may refer to. The event is in its
// final form by now; what is refused leaves nothing to refer to.
func (in *intake) learn(e *events.Event) {
	switch e.Data.(type) {
	case *events.SetPacked:
		in.packed[e.Subject] = append(in.packed[e.Subject], e)
	case *events.ListIssued, *events.EventCorrected:
	default:
		return
	}
	in.learned++
	in.world.Add(facts.Fact{Seq: in.s.ledger.Size() + in.learned, Recorded: in.s.Clock(), Event: e})
}

func (in *intake) queue(e *events.Event, n []byte, c *chain, remark events.Remark) {
	in.entries = append(in.entries, ledger.Entry{Station: e.Station, Kind: string(e.Kind()), Note: n, Remark: byte(remark), ExpectPrev: c.last})
	c.count, c.hash = e.StationSeq, events.NoteHash(n)
}

// prepareSigned takes a note from a station that keeps its own key, as it is:
// out of number or badly signed, it is recorded and judged, since refusing it
// would lose what it says. Only a station nobody enrolled is refused.
func (in *intake) prepareSigned(l *line) error {
	o := l.obs
	c, err := in.find(o.Station)
	if err != nil {
		return err
	}
	if c.verifier == nil {
		return in.notEnrolled(o.Station)
	}
	if o.Station == in.s.Name() {
		return refusal.New("%s is the ledger itself; nobody else signs as it", o.Station)
	}
	e, err := events.ParseNote(o.Signed)
	if err != nil {
		return refusal.Because(err)
	}
	if !e.Kind().RecordedBy(o.Station) {
		// Only the ledger's word counts here, and a record that claims it would look as if the ledger had been
		// tampered with.
		return refusal.New("a %s is signed by the ledger alone; use the command stations, or ask whoever runs the ledger", e.Kind())
	}
	var remark events.Remark
	if c.retired != 0 || events.VerifyNote(o.Signed, c.verifier) != nil {
		remark = events.RemarkSignature
	}
	in.queue(e, o.Signed, c, remark)
	in.learn(e)
	l.prepared = &prepared{event: e, note: o.Signed, remark: remark, entries: len(in.entries)}
	l.receipt = receiptOf(e)
	if remark != 0 {
		l.receipt.Remark = remark.String()
	}
	return nil
}

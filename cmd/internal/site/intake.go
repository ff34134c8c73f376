package site

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
	"listbound/projections/readmodel"
)

// Record implements Service.
func (s *Site) Record(ctx context.Context, lines io.Reader, emit func(Receipt) error) error {
	parts := partsOf(lines, s.opts.Batch, s.addenda.idKey)
	if s.opts.Alone {
		parts = ahead(parts)
	}
	for p := range parts {
		if err := s.record(ctx, p.lines, emit); err != nil || p.last {
			return errors.Join(err, p.err)
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("interrupted after line %d; what has a receipt is recorded, "+
				"and the same file can be recorded again", p.lines[len(p.lines)-1].n)
		}
	}
	return nil
}

// part is some lines of a file, which are recorded at once.
type part struct {
	lines []line
	last  bool
	err   error // why the file could not be read on
}

// partsOf reads a file, and takes the ids of its lines where the folder has its key.
func partsOf(lines io.Reader, most int, key func() []byte) iter.Seq[part] {
	return func(yield func(part) bool) {
		var batch []line
		read, before := &counted{Reader: lines}, int64(0)
		for n, r := range events.Observations(read) {
			if n == 0 {
				yield(part{batch, true, r.Err})
				return
			}
			l := line{n: n, obs: r.Observation, unread: refusal.Because(r.Err)}
			l.identify(key())
			batch = append(batch, l)
			if len(batch) < most && read.n-before < bytesAlone {
				continue
			}
			if !yield(part{lines: batch}) {
				return
			}
			batch, before = make([]line, 0, len(batch)), read.n // what was handed on is somebody else's
		}
		yield(part{lines: batch, last: true})
	}
}

// counted counts what is read.
type counted struct {
	io.Reader
	n int64
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.n += int64(n)
	return n, err
}

// ahead reads the next part while the one before it is recorded.
func ahead(parts iter.Seq[part]) iter.Seq[part] {
	return func(yield func(part) bool) {
		read, over := make(chan part), make(chan struct{})
		defer close(over)
		go func() {
			defer close(read)
			for p := range parts {
				select {
				case read <- p:
				case <-over:
					return
				}
			}
		}()
		for p := range read {
			if !yield(p) {
				return
			}
		}
	}
}

// Observe records observations as one append. If one of them is refused, none is
// recorded. The receipts stand in their order. After a crash, or an error that wraps
// [ledger.ErrUnknownOutcome], the first ones may be recorded without the others:
// recorded again, those are known by their ids, and the others are added.
func (s *Site) Observe(ctx context.Context, obs ...*events.Observation) ([]Receipt, error) {
	if most := min(s.opts.Batch, mostInBatch); len(obs) == 0 || len(obs) > most {
		return nil, refusal.New("%d observations at once; from 1 to %d are recorded together", len(obs), most)
	}
	batch := make([]line, len(obs))
	for i, o := range obs {
		// A page can record nothing that a file couldn't.
		if err := o.Check(); err != nil {
			return nil, refusal.Because(err)
		}
		batch[i] = line{n: i + 1, obs: o}
		batch[i].identify(s.addenda.idKey())
	}
	if err := s.take(ctx, batch, true); err != nil {
		return nil, err
	}
	out := make([]Receipt, len(batch))
	for i := range batch {
		out[i] = batch[i].receipt
	}
	return out, nil
}

// line is one line of a file on its way into the ledger.
type line struct {
	n      int
	at     time.Time // when it arrived, in a week that is played; zero: now
	obs    *events.Observation
	unread error // why it is no observation, or could not be read

	id           string // of the event that it becomes; "" until it is taken
	unidentified error  // why it has none

	err     error // why it is refused
	twin    *line // the line before it in the round that says the same
	entries int   // length of the round up to and with what is stored for this line; 0: nothing is
	receipt Receipt
}

// record takes some lines, in one or a few appends, and answers each. No lock is
// held while the answers go out.
func (s *Site) record(ctx context.Context, batch []line, emit func(Receipt) error) error {
	if len(batch) == 0 {
		return nil
	}
	if !slices.ContainsFunc(batch, func(l line) bool { return l.unread == nil || !refusal.Is(l.unread) }) {
		// Nothing of it is for the ledger, and nobody who has something for it waits for these.
		for i := range batch {
			batch[i].err = batch[i].unread
			batch[i].complete(nil, false)
		}
		return answer(batch, emit)
	}
	if len(batch) <= fewest { // as scans are
		if err := s.take(ctx, batch, false); err != nil {
			return err
		}
		return answer(batch, emit)
	}
	for len(batch) > 0 {
		n, rest, err := s.takeSome(ctx, batch)
		if err := errors.Join(err, answer(batch[:n], emit)); err != nil {
			return err
		}
		batch = batch[n:]
		pause(ctx, rest)
	}
	return nil
}

// pause waits, for no longer than the context lasts.
func pause(ctx context.Context, d time.Duration) {
	if d <= 0 {
		return
	}
	over := time.NewTimer(d)
	defer over.Stop()
	select {
	case <-over.C:
	case <-ctx.Done():
	}
}

func answer(lines []line, emit func(Receipt) error) error {
	for i := range lines {
		if err := emit(lines[i].receipt); err != nil {
			return err
		}
	}
	return nil
}

// patience is how long a station that scans may have to wait for lines of a file. What it waits for is a part of these that was
// begun before; how long one takes is known only from those before, and on a machine with much else to do it may be several
// times as long. So behind each part the file rests for a few times what that took: most scans find nobody, and the system
// gives them the processor before those who have just used it. Where nobody had to wait lately, parts may take longer, since
// each costs the same beside its lines, and there is no rest.
const (
	fewest        = 5 // with fewer lines in a part, most of the time would be spent on what each round costs
	patience      = 10 * time.Millisecond
	patienceAlone = 25 * time.Millisecond
	lately        = time.Minute
	longestRest   = 200 * time.Millisecond
	restsFor      = 3
)

// takeSome takes as many of a file's lines as keep others waiting for no longer than that, by how long those before took, and
// says for how long it should rest then. With an error it says how many have their receipts all the same.
func (s *Site) takeSome(ctx context.Context, batch []line) (n int, rest time.Duration, err error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	if s.together == 0 {
		s.together = s.opts.Batch
	}
	n = min(len(batch), max(s.together, fewest))
	if s.opts.Alone { // nobody waits
		n = len(batch)
	}
	begun := s.opts.Clock()
	r := &request{ctx: ctx, lines: batch[:n]}
	s.round([]*request{r})
	if r.err != nil {
		return r.done, 0, r.err
	}
	now := s.opts.Clock()
	took, may := now.Sub(begun), patienceAlone
	if s.intake.wasAskedFor() {
		s.waited = now
	}
	if !s.waited.IsZero() && now.Sub(s.waited) < lately {
		may, rest = patience, min(restsFor*took, longestRest)
	}
	inTime := 2 * s.together // so many would have been in time, and not many more at once: later lines may take longer
	if took > 0 {
		inTime = int(min(int64(inTime), int64(n)*int64(may)/int64(took)))
	}
	if took > may || n >= s.together { // a few lines that went quickly say nothing of many
		s.together = min(max(fewest, inTime), s.opts.Batch)
	}
	return n, rest, nil
}

// begin starts an intake that knows all there is. The caller holds s.intake.
func (s *Site) begin(ctx context.Context) (*intake, error) {
	if err := s.followsElsewhere(); err != nil {
		return nil, err
	}
	// Before a line is looked at: a damaged ledger may not even have what the lines refer to.
	if problems := s.ledger.Damage(); len(problems) > 0 {
		return nil, s.damaged(&ledger.DamagedError{Dir: s.opts.Dir, Problems: problems})
	}
	if err := s.stoppedError(); err != nil {
		return nil, err
	}
	if err := s.ledger.Recording(); errors.Is(err, ledger.ErrNoRoom) {
		return nil, err // before judgement says the same in other words
	}
	if err := s.catchUp(ctx, nil); err != nil {
		return nil, err
	}
	// What an earlier batch took in and did not store was refused with it.
	s.addenda.forget(0)
	if err := s.addenda.begin(); err != nil {
		return nil, s.notKept(err)
	}
	m := s.current()
	return &intake{
		signing: newSigning(ctx, s, m), refs: newReferences(s, m, m.World()), seen: make(map[string]*line),
	}, nil
}

// complete finishes the receipt of a line when the batch is stored. Where judgement
// could not follow, it is behind all that was stored.
func (l *line) complete(stored []ledger.Appended, behind bool) {
	switch {
	case l.err != nil:
		l.receipt = Receipt{Line: l.n, Error: l.err.Error()}
	case l.twin != nil:
		// It stands before this line, so its receipt is complete.
		l.receipt = l.twin.receipt
		l.receipt.Known = true
	case l.entries > 0:
		l.receipt.Seq, l.receipt.Behind = stored[l.entries-1].Seq, behind
	}
}

// damaged says what to do, if an error is about a damaged ledger.
func (s *Site) damaged(err error) error {
	var damaged *ledger.DamagedError
	if !errors.As(err, &damaged) {
		return err
	}
	if s.ledger.Loss() != nil {
		return fmt.Errorf("%w. %s", err, s.waysOut())
	}
	if s.opts.Cluster != nil {
		return fmt.Errorf("%w; keep a copy of the folder, and see whether it or the cluster has what was acknowledged. An empty folder with "+
			"the same keys takes all from the cluster", err)
	}
	return fmt.Errorf("%w; keep a copy of the folder, then run: listbound repair --data %s", err, s.opts.Dir)
}

// notKept says why texts could not be kept beside the ledger, as where the ledger itself can't be written.
func (s *Site) notKept(err error) error {
	if why := s.writable(); why != nil {
		return why
	}
	if disk.This().IsNoRoom(err) {
		return fmt.Errorf("%w: %w", ledger.ErrNoRoom, err)
	}
	return err
}

// append stores entries and lets judgement follow. With an error it returns the first ones, if they are stored.
func (s *Site) append(ctx context.Context, entries []ledger.Entry) ([]ledger.Appended, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	if err := s.knowsAll(); err != nil {
		return nil, err
	}
	// A record's texts are on disk before it is: no mark is ever acknowledged that nothing is known of.
	if err := s.addenda.flush(); err != nil {
		return nil, s.notKept(err)
	}
	var coming *readmodel.Batch
	ahead := func(records []ledger.Appended) { coming = s.foresee(context.WithoutCancel(ctx), records) }
	stored, err := appendAll(ctx, s.ledger, ahead, entries)
	if err != nil { // what the others say was expected, or judged already
		coming = nil
		s.current().Unexpect(context.WithoutCancel(ctx))
	}
	if len(stored) == 0 {
		return nil, s.damaged(err)
	}
	// What is stored is acknowledged whatever becomes of the read model, which
	// catches up before the next line: the receipt says where it is behind.
	if err := s.applyStored(context.WithoutCancel(ctx), stored, coming); err != nil {
		s.opts.Logger.Error("the read model lags behind the ledger", "error", err)
	}
	s.listen.tell()
	if err != nil {
		return stored, s.damaged(err)
	}
	s.mapWhenDue(ctx, len(stored))
	return stored, nil
}

// appender is what appendAll needs of a ledger.
type appender interface {
	AtOnce() int
	Append(ctx context.Context, entries ...ledger.Entry) ([]ledger.Appended, error)
	AppendAhead(ctx context.Context, ahead func([]ledger.Appended), entries ...ledger.Entry) ([]ledger.Appended, error)
}

// appendAll stores entries, by several calls where they are too many for one: with an error it returns those of the calls before. Where
// one call takes them all, ahead is told of them while they are written.
func appendAll(ctx context.Context, l appender, ahead func([]ledger.Appended), entries []ledger.Entry) ([]ledger.Appended, error) {
	if len(entries) <= l.AtOnce() {
		return l.AppendAhead(ctx, ahead, entries...)
	}
	all, last := make([]ledger.Appended, 0, len(entries)), make(map[string]int64)
	for part := range slices.Chunk(entries, l.AtOnce()) {
		for i := range part {
			if seq, ok := last[part[i].Station]; ok {
				part[i].ExpectPrev = seq
			}
		}
		stored, err := l.Append(ctx, part...)
		if err != nil {
			return all, err
		}
		for i, a := range stored {
			last[part[i].Station] = a.Seq
		}
		all = append(all, stored...)
	}
	return all, nil
}

// intake turns the lines of one batch into entries of the ledger. It sees what
// the ledger holds, and the lines before in the same batch.
type intake struct {
	*signing
	refs *references
	seen map[string]*line // of this batch, by identity
	own  *signedThere     // of the request that is entered; nil: all of it is signed here
}

// prepare takes one line as far as it gets before it is stored. A refused line
// leaves nothing behind.
func (in *intake) prepare(ctx context.Context, l *line) {
	if l.err = l.unread; l.err != nil {
		return
	}
	// Before it is looked up: who may not say it is not told whether somebody has.
	if l.err = in.permitted(ctx, l.obs); l.err != nil {
		return
	}
	l.identify(in.site.addenda.idKey())
	if err := l.unidentified; err != nil {
		l.err = refusal.Because(err)
		return
	}
	id, self := l.id, identity(l.id, l.obs)
	if l.twin = in.seen[self]; l.twin != nil {
		return
	}
	known, err := in.isKnown(ctx, id, l)
	if err != nil || known {
		l.err = err
		return
	}
	before := in.mark(l.obs)
	e, err := in.enter(ctx, id, l)
	if err != nil {
		in.undo(before)
		l.err, l.receipt = err, Receipt{}
		return
	}
	l.entries = len(in.entries)
	in.seen[self] = l
	in.refs.learn(e, in.site.ledger.Size()+int64(l.entries+in.own.asked()))
}

// identity tells observations apart within a batch. The id alone does not: see
// known. Of a station that signs for itself it is what was signed.
func identity(id string, o *events.Observation) string {
	return strings.Join([]string{
		id, o.Station, string(o.Kind), o.Time.UTC().Format(time.RFC3339Nano), string(o.Signed),
	}, " ")
}

// isKnown answers a line that the ledger already holds: mostly it has nothing at all of that station and moment.
func (in *intake) isKnown(ctx context.Context, id string, l *line) (bool, error) {
	if !in.refs.model.MayHave(l.obs.Station, l.obs.Time) {
		return false, nil
	}
	known, err := in.known(ctx, id, l)
	if err == nil && !known && l.obs.Signed == nil {
		known, err = in.knownBefore(ctx, id, l)
	}
	return known, err
}

// known answers a line under an id that the ledger already has.
func (in *intake) known(ctx context.Context, id string, l *line) (bool, error) {
	m, err := tables(ctx, in.refs.model)
	if err != nil {
		return false, err
	}
	seqs, err := m.FindEvents(ctx, id)
	if err != nil {
		return false, err
	}
	for _, seq := range seqs {
		note, e, err := in.site.noteAt(seq)
		if err != nil {
			return false, err
		}
		if l.obs.Signed != nil && !bytes.Equal(note, l.obs.Signed) {
			// It says something else under an id that was given before. Both are kept: to answer that this
			// one is known would lose what it says.
			continue
		}
		if e.Station != l.obs.Station || e.Kind() != l.obs.Kind || !e.Time.Equal(l.obs.Time) {
			continue // a station that signs for itself gave it this id; that must not keep another's observation out
		}
		l.receipt, err = in.receiptOf(e)
		l.receipt.Seq, l.receipt.Known = seq, true
		if l.obs.Signed != nil {
			l.receipt.Hash = events.NoteHash(note)
		}
		return err == nil, err
	}
	return false, nil
}

// named returns the records of an event by its id; also by that which whoever made a file takes from the observation, as
// long as its texts are there.
func (s *Site) named(ctx context.Context, m *readmodel.Model, id string) ([]int64, error) {
	if err := m.Settle(ctx); err != nil {
		return nil, err
	}
	seqs, err := m.FindEvents(ctx, id)
	if err != nil || len(seqs) > 0 {
		return seqs, err
	}
	at, err := events.IDTime(id)
	if err != nil {
		return nil, nil //nolint:nilerr // nothing is recorded under what is no id
	}
	if seqs, err = m.ObservedAt(ctx, at); err != nil {
		return nil, err
	}
	for _, seq := range seqs {
		e, err := s.EventAt(seq)
		if err != nil {
			return nil, err
		}
		if e.HasID(id) {
			return []int64{seq}, nil
		}
	}
	return nil, nil
}

// knownBefore answers a line that an earlier program recorded, whose ids were taken from the texts themselves.
func (in *intake) knownBefore(ctx context.Context, id string, l *line) (bool, error) {
	former, err := l.obs.ID()
	if err != nil || former == id {
		return false, err
	}
	return in.known(ctx, former, l)
}

// identify takes a line's id from what it says, once; key is the folder's. It needs nothing of anybody.
func (l *line) identify(key []byte) {
	if l.obs == nil || len(key) == 0 || l.id != "" || l.unidentified != nil {
		return
	}
	id, marked, err := l.obs.Identify(key)
	if err == nil && marked {
		err = refuseMarks(l.obs)
	}
	l.id, l.unidentified = id, err
}

// refuseMarks refuses an observation that says a mark where a text belongs: it would be shown as another text.
func refuseMarks(o *events.Observation) error {
	if o.Signed != nil {
		return nil
	}
	raw, err := events.FormatObservation(o)
	if err != nil {
		return err
	}
	if o.Kind == events.KindTextsRedacted {
		return nil // it is about marks
	}
	named := 0 // a case whose reference was taken out is named by its id
	if _, err := events.Texts(o.Data, "", func(name, text string) (string, error) {
		if name == events.AddendumCase && events.IsMark(text) {
			named++
		}
		return text, nil
	}); err != nil {
		return err
	}
	if marks := events.Marks(raw); len(marks) > named {
		return fmt.Errorf("%s is what the ledger writes in the place of a text, and is no text", marks[0])
	}
	return nil
}

// enter makes a line the event that is stored, signed and in its place among
// its station's, and begins its receipt.
func (in *intake) enter(ctx context.Context, id string, l *line) (*events.Event, error) {
	if err := in.policyHolds(l.obs); err != nil {
		return nil, err
	}
	if l.obs.Signed != nil {
		return in.enterSigned(ctx, l, l.obs)
	}
	if err := in.notAhead(l.obs); err != nil {
		return nil, err
	}
	if own, err := in.there(ctx, l.obs); err != nil || own != nil {
		if err != nil {
			return nil, err
		}
		return in.enterThere(ctx, id, l, own)
	}
	c, enrolled, err := in.chainOf(l.obs)
	if err != nil {
		return nil, err
	}
	e, err := in.observed(ctx, id, l.obs)
	if err != nil {
		return nil, err
	}
	if l.receipt, err = in.receiptOf(e); err != nil {
		return nil, err
	}
	if err := in.sign(e, c); err != nil {
		return nil, err
	}
	if enrolled {
		l.receipt.Enrolled = e.Station
	}
	return e, nil
}

// observed returns the event that an observation becomes, with what it refers to, less its number.
func (in *intake) observed(ctx context.Context, id string, o *events.Observation) (*events.Event, error) {
	e := eventOf(id, o)
	if err := in.resolve(ctx, o, e); err != nil {
		return nil, err
	}
	return e, in.checkCases(ctx, e)
}

// policyHolds refuses, at a server, a policy that would judge anew what was
// observed before it was recorded: one that is backdated, and a change of one
// that is in the ledger. A file of what was observed elsewhere is recorded in
// one's own folder, with the policies of then.
func (in *intake) policyHolds(o *events.Observation) error {
	if in.site.opts.EnrolOnSight {
		return nil
	}
	switch d := o.Data.(type) {
	case *events.PolicyAdopted:
		if in.backdated(o) {
			return refusal.New("a policy holds from its recording on, and this one would hold since %s; "+
				"give it the present time", o.Time.UTC().Format(time.RFC3339))
		}
	case events.Entry, *events.RegistersAdopted:
		if in.backdated(o) {
			return refusal.New("a register's entry holds from its recording on, and this one would hold since %s; "+
				"give it the present time", o.Time.UTC().Format(time.RFC3339))
		}
	case *events.EventCorrected:
		const longest = 16 // corrections of corrections
		for n := range longest {
			of, err := in.firstOf(d.Event)
			if err != nil || of == nil {
				return err
			}
			if n == 0 {
				if err := in.mayMend(o, of); err != nil {
					return err
				}
			}
			next, ok := of.Data.(*events.EventCorrected)
			switch {
			case of.Kind() == events.KindPolicyAdopted:
				return refusal.New("a policy is not corrected, since what was observed under it would be judged anew; " +
					"adopt another one, which holds from then on")
			case !ok:
				return nil
			}
			d = next
		}
	}
	return nil
}

// mayMend refuses a correction that the policy in force leaves to a lead: by a station, of what another one observed or of
// what is longer ago than the policy says. A lead's is recorded by the ledger itself.
func (in *intake) mayMend(o *events.Observation, of *events.Event) error {
	if o.Station == in.site.Name() {
		return nil
	}
	p, _, err := in.refs.world.PolicyAt(SiteOf(o.Station), in.site.opts.Clock())
	if err != nil {
		return err
	}
	within, limited := p.MayMend()
	switch {
	case !limited || of.Station == o.Station && o.Time.Sub(of.Time) <= within:
		return nil
	case of.Station != o.Station:
		return refusal.Keyed("mend-another", "a station corrects what it recorded itself, and this is of %s; a lead corrects it: "+
			"on the board, in the history, by the name of the event", of.Station)
	}
	return refusal.Keyed("mend-late", "a station corrects its own within %d minutes, and this is longer ago; a lead corrects it: "+
		"on the board, in the history, by the name of the event", p.MendMinutes)
}

// backdated reports whether an observation is of a time that is past, beyond what clocks differ.
func (in *intake) backdated(o *events.Observation) bool {
	return in.site.opts.Clock().Sub(o.Time) > readmodel.Tolerance()
}

// mostAhead is how far the clock of what hands in records may be ahead of the server's: a policy lets clocks differ by no more.
const mostAhead = 24 * time.Hour

// notAhead refuses, at a server, what is of a day to come. A packing dated 2199 would be its set's latest turn until somebody took it
// back; whoever handed it in still has it and can say it again with the right time. What a station has signed is taken as it is,
// since it can't be said otherwise, and stands in doubt.
func (in *intake) notAhead(o *events.Observation) error {
	if in.site.opts.EnrolOnSight {
		return nil
	}
	now := in.site.opts.Clock()
	if o.Time.Sub(now) <= mostAhead {
		return nil
	}
	return refusal.New("this is dated %s, and it is %s here: set the clock of what sent it, and send it again with the right time",
		o.Time.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
}

// eventOf returns the event that an observation says, without what the ledger adds.
func eventOf(id string, o *events.Observation) *events.Event {
	return &events.Event{
		ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator,
		Medium: o.Medium, Data: o.Data,
	}
}

// resolve settles what an observation refers to: stations, or what has been recorded.
func (in *intake) resolve(ctx context.Context, o *events.Observation, e *events.Event) error {
	switch d := o.Data.(type) {
	case *events.StationEnrolled:
		return in.enrolStation(d)
	case *events.StationRetired:
		return in.retireStation(d)
	}
	return in.refs.resolve(ctx, o, e)
}

// enterSigned takes a note from a station that keeps its own key, as it is:
// out of number or badly signed, it is recorded and judged, since refusing it
// would lose what it says. Only a station nobody enrolled is refused.
func (in *intake) enterSigned(ctx context.Context, l *line, o *events.Observation) (*events.Event, error) {
	c, err := in.find(o.Station)
	if err != nil {
		return nil, err
	}
	if c.verifier == nil {
		return nil, notEnrolled(o.Station)
	}
	if o.Station == in.site.Name() {
		return nil, refusal.New("%s is the ledger itself; nobody else signs as it", o.Station)
	}
	e, err := events.ParseNote(o.Signed)
	if err != nil {
		return nil, refusal.Because(err)
	}
	if !e.Kind().RecordedBy(o.Station) {
		// Only the ledger's word counts here, and a record that claims it would look as if the ledger had been
		// tampered with.
		return nil, refusal.New("a %s is signed by the ledger alone; use the command stations, or ask whoever runs the ledger",
			e.Kind())
	}
	if err := in.takeTexts(ctx, o.Addenda); err != nil {
		return nil, err
	}
	var remark events.Remark
	if !c.signed(e, o.Signed) {
		remark = events.RemarkSignature
	}
	if l.receipt, err = in.receiptOf(e); err != nil {
		return nil, err
	}
	if err := in.queue(e, &signature{note: o.Signed}, c, remark); err != nil {
		return nil, err
	}
	l.receipt.Hash = events.NoteHash(o.Signed)
	if remark != 0 {
		l.receipt.Remark = remark.String()
	}
	return events.RevealNote(o.Signed, e, in.site.addenda.disclosed), nil
}

// receiptOf begins an event's receipt. It names the trip that the event belongs
// to as far as is known now, also where the record names none.
func (in *intake) receiptOf(e *events.Event) (Receipt, error) {
	trip, err := in.refs.tripOf(e)
	r := Receipt{ID: e.ID, Trip: trip}
	if e.Kind().AboutSet() {
		r.Set = e.Subject
	}
	if d, ok := e.Data.(*events.ListSealed); ok {
		r.SheetCode = d.Code
	}
	return r, err
}

// EventAt reads the event of one record, with the texts that stand beside it.
func (s *Site) EventAt(seq int64) (*events.Event, error) {
	n, e, err := s.noteAt(seq)
	if err != nil {
		return nil, err
	}
	return events.RevealNote(n, e, s.addenda.disclosed), nil
}

// SignedAt reads the event of one record as it is signed, without them.
func (s *Site) SignedAt(seq int64) (*events.Event, error) {
	_, e, err := s.noteAt(seq)
	return e, err
}

// noteAt reads one record as its station signed it, and the event that it says,
// without a trip that was only looked up (events.Observed).
func (s *Site) noteAt(seq int64) ([]byte, *events.Event, error) {
	rec, err := s.ledger.Read(seq)
	if err != nil {
		return nil, nil, err
	}
	n, _, _, err := proof.SplitArrival(s.Name(), rec)
	if err != nil {
		return nil, nil, fmt.Errorf("record %d: %w", seq, err)
	}
	e, err := events.ParseNote(n)
	if err != nil {
		return n, nil, err
	}
	return n, events.Observed(n, e), nil
}

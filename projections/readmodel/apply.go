package readmodel

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/events"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/words"
)

// Raw is one record as the ledger stores it.
type Raw struct {
	Seq    int64
	Record []byte
}

// Batch is a run of records read ahead of applying them.
type Batch struct {
	first   int64
	records []record
}

// Len returns the number of records in the batch.
func (b *Batch) Len() int { return len(b.records) }

// Records goes through the batch: each record's sequence, what it says, and
// when the ledger took it.
func (b *Batch) Records(yield func(seq int64, r Record) bool) {
	for i := range b.records {
		r := &b.records[i]
		if !yield(b.first+int64(i), Record{Parsed: r.parsed, Recorded: r.recorded}) {
			return
		}
	}
}

// Record is one record of a batch.
type Record struct {
	events.Parsed
	Recorded time.Time
}

type record struct {
	parsed   events.Parsed
	recorded time.Time
	arrival  events.Remark
}

// Parse reads records for Apply. It needs no order and no lock, so a rebuild
// does it on one processor while the other applies. Disclosed finds the texts beside
// the records; nil: there are none.
func Parse(origin string, disclosed events.Disclosed, raws []Raw) (*Batch, error) {
	b := &Batch{records: make([]record, len(raws))}
	rd := events.NewReader()
	for i, r := range raws {
		if i == 0 {
			b.first = r.Seq
		} else if r.Seq != b.first+int64(i) {
			return nil, fmt.Errorf("record %d came where %d was due", r.Seq, b.first+int64(i))
		}
		n, at, remark, err := proof.ReadArrival(origin, r.Record)
		if err != nil {
			return nil, fmt.Errorf("record %d: %w", r.Seq, err)
		}
		b.records[i] = record{parsed: parseObserved(rd, disclosed, n), recorded: at, arrival: events.Remark(remark)}
	}
	return b, nil
}

// parseObserved reads a note as judgement takes it: without a trip that an
// earlier program looked up, so that a folder of its is judged like one of today, and with the texts that stand beside
// it: this is where judgement, tables and pages get these from.
func parseObserved(rd *events.Reader, disclosed events.Disclosed, n []byte) events.Parsed {
	p := rd.Parse(n)
	if p.Event != nil {
		p.Event = rd.Reveal(n, rd.Observed(n, p.Event), disclosed)
	}
	return p
}

// ErrStopped reports that a read model could not go back to what it had before an error. It follows the ledger again
// after the next start.
var ErrStopped = errors.New("the read model stopped after an earlier error; start again")

// Apply takes the next records, which must follow the position without a gap.
// It is all or nothing: rows, verdicts and position are one transaction, which may be a later one (Options.Delay).
func (m *Model) Apply(ctx context.Context, b *Batch) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if b.Len() == 0 {
		return nil
	}
	if m.foreseen != nil && m.foreseen.batch != b { // something else was foreseen
		m.forget(ctx)
	}
	if err := m.isNext(b); err != nil {
		return err
	}
	if err := m.apply(ctx, b); err != nil {
		m.forget(ctx)
		return fmt.Errorf("read model: %w", err)
	}
	m.pos += int64(b.Len())
	m.remember(b)
	if m.bulk {
		if err := m.judgeStill(ctx, b); err != nil {
			m.forget(ctx)
			return fmt.Errorf("read model: %w", err)
		}
	}
	switch {
	case m.world.Len() > m.mayHold():
		return m.endBulk(ctx)
	case m.bulk:
		return nil
	}
	if err := m.bound(ctx); err != nil {
		m.forget(ctx)
		return fmt.Errorf("read model: %w", err)
	}
	return m.index(ctx)
}

// isNext returns an error where a batch can't be applied next.
func (m *Model) isNext(b *Batch) error {
	if m.pos < 0 {
		return ErrStopped
	}
	if b.first != m.pos+1 {
		return fmt.Errorf("read model: record %d came where %d was due", b.first, m.pos+1)
	}
	return nil
}

// mayHold is how many facts the working memory may hold.
func (m *Model) mayHold() int {
	if m.bulk {
		return m.maxWorld
	}
	return min(m.maxWorld, mostHeld)
}

// remember keeps what was applied for those who will ask for it. A rebuild has no use for that.
func (m *Model) remember(b *Batch) {
	if m.bulk {
		return
	}
	for i := max(0, b.Len()-recentLen); i < b.Len(); i++ {
		r := &b.records[i]
		if r.parsed.Err == nil && r.parsed.Event != nil {
			m.recent.put(facts.Fact{Seq: b.first + int64(i), Recorded: r.recorded, Event: r.parsed.Event})
		}
	}
}

// forget goes back to what is committed after a failed batch: the audit and
// the working memory have already seen its records. In bulk there is no way back,
// since no journal is kept.
func (m *Model) forget(ctx context.Context) {
	m.foreseen = nil
	_ = m.settle(ctx) // what was applied before the failure; where that is what failed, it is lost with the rest
	m.letGo()
	if m.bulk || m.load(context.WithoutCancel(ctx)) != nil {
		m.pos = -1
	}
}

// madeAhead is how many verdicts may wait to be written.
const madeAhead = 64

func (m *Model) apply(ctx context.Context, b *Batch) error {
	f := m.foreseen
	if m.foreseen = nil; f == nil {
		var err error
		if f, err = m.foresee(ctx, b); err != nil {
			return err
		}
	}
	if f.judged {
		return m.applyLater(f)
	}
	added, changed := f.added, f.changed
	if err := m.settle(ctx); err != nil {
		return err
	}
	return m.transact(ctx, func(w *writer) error {
		// The rows go in while the judgement is made, and each verdict while the next one is: they need nothing of each other, as
		// judgement reads what is committed.
		made, written := make(chan judged, madeAhead), make(chan error)
		go func() {
			err := m.insertRows(ctx, w, b, added)
			if err == nil { // else SQLite may have ended the transaction, and each statement would be one of its own
				err = w.writeRemarks(added, changed)
			}
			for j := range made {
				if err == nil {
					err = verdictWriter{w: w}.one(&j)
				}
			}
			written <- err
		}()
		stations, judgeErr := m.judge(ctx, added, changed, func(j judged) { made <- j })
		close(made)
		if err := <-written; err != nil {
			return err
		}
		if judgeErr != nil {
			return judgeErr
		}
		if err := w.writeStations(m.stationRows(added), stations); err != nil {
			return err
		}
		return w.writePosition(b.first+int64(b.Len())-1, m.moment)
	})
}

// note keeps which rare kinds there are, before their rows are committed: that errs on the side of asking for them.
func (m *Model) note(added []facts.Fact) {
	for i := range added {
		if added[i].Event == nil {
			continue
		}
		switch added[i].Event.Data.(type) {
		case *events.RegistersAdopted:
			m.registers.Store(true)
		case *events.EventCorrected:
			m.corrections.Store(true)
		}
	}
}

// writePosition says how far the tables are, and as of when was judged last, so that a file judged by a clock that was ahead is
// known by it.
func (w *writer) writePosition(pos int64, moment time.Time) error {
	if err := w.exec(`UPDATE meta SET value = ?1 WHERE key = 'position'`, strconv.FormatInt(pos, 10)); err != nil {
		return err
	}
	return w.writeMoment(moment)
}

// audited holds each record against its station's key, numbering and clock, in
// order. Records that are no events have no fact. Changed are the facts before
// this batch of which something else is said now.
func (m *Model) audited(ctx context.Context, b *Batch) (added, changed []facts.Fact, err error) {
	added = make([]facts.Fact, len(b.records))
	m.audit.Since = func(station string, after time.Time) []int64 {
		seqs, e := m.observedSince(ctx, station, after, b.first)
		err = errors.Join(err, e)
		for _, f := range added {
			if f.Event != nil && f.Event.Station == station && f.Event.Time.After(after) && f.Remarks&events.Remark(unsigned) == 0 {
				seqs = append(seqs, f.Seq)
			}
		}
		return seqs
	}
	earlier := make(map[int64]facts.Fact)
	for i := range b.records {
		r := &b.records[i]
		seq := b.first + int64(i)
		c := m.audit.Check(seq, r.parsed, r.recorded, r.arrival)
		if err != nil {
			return nil, nil, err
		}
		added[i] = facts.Fact{Seq: seq, Recorded: r.recorded, Remarks: c.Remark, Event: r.parsed.Event}
		for _, ch := range c.Earlier {
			if ch.Seq >= b.first {
				f := &added[ch.Seq-b.first]
				*f = changedBy(*f, ch, r.recorded)
				continue
			}
			f, ok := earlier[ch.Seq]
			if !ok {
				if f, err = m.factAt(ctx, ch.Seq); err != nil {
					return nil, nil, err
				}
			}
			earlier[ch.Seq] = changedBy(f, ch, r.recorded)
		}
	}
	for _, seq := range slices.Sorted(maps.Keys(earlier)) {
		changed = append(changed, earlier[seq])
	}
	return added, changed, nil
}

// unsigned are remarks of which a record is nobody's.
const unsigned = int64(events.RemarkSignature | events.RemarkForm)

// observedSince returns a station's signed records before one that were observed after a moment.
func (m *Model) observedSince(ctx context.Context, station string, after time.Time, before int64) ([]int64, error) {
	if err := m.settle(ctx); err != nil {
		return nil, err
	}
	return m.seqs(ctx, `SELECT seq FROM events WHERE station = ? AND observed > ? AND seq < ? AND remarks & ? = 0 ORDER BY seq`,
		station, after.UnixNano(), before, unsigned)
}

func changedBy(f facts.Fact, c events.Change, at time.Time) facts.Fact {
	if r := f.Remarks&^c.Clear | c.Set; r != f.Remarks {
		return f.Change(r, at)
	}
	return f
}

// factAt returns a fact that was taken in an earlier batch.
func (m *Model) factAt(ctx context.Context, seq int64) (facts.Fact, error) {
	if it := m.world.FactBySeq(seq); it != nil {
		return it.Fact, nil
	}
	var remarks int64
	if err := m.read.QueryRowContext(ctx, `SELECT remarks FROM events WHERE seq = ?`, seq).Scan(&remarks); err != nil {
		return facts.Fact{}, err
	}
	return m.source(ctx).fact(seq, remarks)
}

// judge adds the added to the working memory and judges what they touch. It hands on each trip's verdict as it is made, and returns
// those of stations.
func (m *Model) judge(ctx context.Context, added, changed []facts.Fact, made func(judged)) ([]projections.Verdict, error) {
	if err := m.takeIn(ctx, added); err != nil {
		return nil, err
	}
	for _, f := range changed {
		if m.early == nil || m.world.FactBySeq(f.Seq) != nil {
			m.world.Remark(f)
		}
	}
	if m.bulk {
		m.noteLate(added)
		m.noteLate(changed)
		return nil, nil
	}
	touched := make(map[projections.TripKey]struct{})
	stations := make(map[string]struct{})
	if err := m.touch(ctx, slices.Concat(added, changed), touched, stations); err != nil {
		return nil, err
	}
	return m.verdicts(touched, stations, made)
}

// touch adds the trips and stations whose verdicts facts of the working memory can change.
func (m *Model) touch(
	ctx context.Context, fs []facts.Fact, touched map[projections.TripKey]struct{}, stations map[string]struct{},
) error {
	for _, f := range fs {
		if f.Event == nil {
			continue
		}
		touch, err := m.world.Touched(f)
		if err != nil {
			return err
		}
		for _, k := range touch.Trips {
			touched[k] = struct{}{}
		}
		for _, a := range touch.Asked {
			if err := m.addResting(ctx, a, touched); err != nil {
				return err
			}
			if a.Dim == facts.DimPolicy { // it says how long a station may be silent
				for _, st := range m.audit.Stations() {
					if strings.HasPrefix(st.Name, a.Key+"/") {
						stations[st.Name] = struct{}{}
					}
				}
			}
		}
		stations[f.Event.Station] = struct{}{}
		if d, ok := f.Event.Data.(*events.StationRetired); ok {
			stations[d.Station] = struct{}{}
		}
	}
	return nil
}

// takeIn adds facts to the working memory, or confirms those that were expected.
func (m *Model) takeIn(ctx context.Context, added []facts.Fact) error {
	asExpected := true
	for _, f := range added {
		if f.Event != nil {
			asExpected = m.world.Confirm(f) && asExpected
		}
	}
	if m.hopes = 0; asExpected {
		return nil
	}
	if err := m.resetWorld(ctx); err != nil { // it asks the tables, which have none of these yet
		return err
	}
	for _, f := range added {
		if f.Event != nil {
			m.world.Add(f)
		}
	}
	return nil
}

// verdicts judges trips, each of which it hands on, and stations.
func (m *Model) verdicts(
	touched map[projections.TripKey]struct{}, stations map[string]struct{}, made func(judged),
) (sts []projections.Verdict, err error) {
	for k := range touched {
		v, err := m.judgeTrip(m.world, k)
		if err != nil {
			return nil, err
		}
		m.noteTripDue(&v)
		m.resting.judged(&v)
		made(v)
	}
	for name := range stations {
		st := events.Station{Name: name}
		if known := m.audit.Station(name); known != nil {
			st = *known
		}
		v, err := m.world.JudgeStation(st)
		if err != nil {
			return nil, err
		}
		m.noteDue(v.Until)
		sts = append(sts, v)
	}
	return sts, nil
}

// endBulk judges all trips that were not judged early, of a working memory that asks nobody, then empties it.
// Until then the trips' rows lag behind the events' rows, so a bulk fill that
// is cut off must not be taken for a model: the caller fills a file of another
// name and renames it at the end.
func (m *Model) endBulk(ctx context.Context) error {
	if !m.bulk {
		if err := m.index(ctx); err != nil {
			return err
		}
		if err := m.resetWorld(ctx); err != nil {
			m.forget(ctx)
			return fmt.Errorf("read model: %w", err)
		}
		return nil
	}
	err := m.judgeAll(ctx)
	if err == nil { // from here on others may read while the rest is taken
		_, err = m.write.ExecContext(ctx, usualPragmas)
	}
	if err == nil {
		err = m.transact(ctx, func(w *writer) error { return w.writeMoment(m.moment) })
	}
	if err != nil {
		m.forget(ctx)
		return fmt.Errorf("read model: %w", err)
	}
	m.read.SetMaxIdleConns(readers)
	m.bulk = false
	if err = m.resetWorld(ctx); err == nil {
		err = m.judgeAgain(ctx)
	}
	if err != nil {
		m.forget(ctx)
		return fmt.Errorf("read model: %w", err)
	}
	return nil
}

// eventColumns are the columns of events, in the order in which appendRow fills them, without seq: SQLite gives each row the number
// behind the last one, which is its record's. Where it is told the number, it looks for a row that has it, and keeps each page that a
// statement of several rows changes as it was, in a file of its own, as it does where a row could be refused without all of them
// being taken back (OR FAIL says that need not be).
const eventColumns = `id, kind, station, subject, trip, observed, recorded, remarks,
	case_ref, load, sterilizer, positive, list, sheet_trip, tray, corrects, operator, named, entry, washer_load, ran, begun`

var eventColumnCount = 1 + strings.Count(eventColumns, ",")

func (m *Model) insertRows(ctx context.Context, w *writer, b *Batch, added []facts.Fact) error {
	codes := make(codeTrips)
	const into = `INSERT OR FAIL INTO events (` + eventColumns + `) VALUES `
	err := w.insertNumbered(ctx, b.first, into, eventColumnCount, func(yield func([]any) bool) {
		var row []any
		for i := range added {
			if row = m.appendRow(row[:0], &added[i], b, codes); !yield(row) {
				return
			}
		}
	})
	if err != nil {
		return err
	}
	if err := insertMarks(ctx, w, added); err != nil {
		return err
	}
	if err := insertSchedule(ctx, w, added); err != nil {
		return err
	}
	return insertSpans(ctx, w, added)
}

func (m *Model) appendRow(args []any, f *facts.Fact, b *Batch, codes codeTrips) []any {
	e := f.Event
	if e == nil {
		// Kept in place, so that nothing is skipped silently; its remark says what it is.
		r := b.records[f.Seq-b.first]
		return append(args, []byte{}, "", "", "", nil, r.recorded.UnixNano(), r.recorded.UnixNano(),
			remarksOf(f), nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil)
	}
	keys := e.Data.Keys()
	caseRef, load, sterilizer := text(keys[events.KeyCase]), text(keys[events.KeyLoad]), text(keys[events.KeySterilizer])
	list, sheetTrip := text(keys[events.KeyList]), codes.other(e, keys[events.KeySheet])
	var positive, corrects, ran, begun any
	washed := text(keys[events.KeyWash])
	tray := ""
	if tag := facts.TagOf(e.Data); tag != e.Subject {
		tray = tag
	}
	switch d := e.Data.(type) {
	case *events.SetSterilized:
		ran = strconv.FormatInt(d.Run, 10) + " " + d.Started
		begun = text(facts.BegunOn(d))
	case *events.SterilizerTested:
		begun = text(facts.TestsOn(d.Sterilizer, d.Day))
	case *events.IndicatorRead:
		positive = truth(d.Result == "positive")
	case *events.EventCorrected:
		corrects = idBytes(d.Event)
		caseRef, load, sterilizer, positive, list, sheetTrip, tray, washed, begun = codes.replaced(e, d)
	}
	var trip any
	if e.Trip != "" {
		trip = idBytes(e.Trip)
	}
	return append(args, idBytes(e.ID), string(e.Kind()), e.Station, e.Subject, trip, e.Time.UnixNano(), f.Recorded.UnixNano(),
		remarksOf(f), caseRef, load, sterilizer, positive, list, sheetTrip, text(tray), corrects, text(e.Operator),
		text(namedLines(e.Data)), text(keys[events.KeyEntry]), washed, ran, begun)
}

// namedLines are the badges that data names, each in a line of its own, which begins and ends with a line feed: no badge has
// one.
func namedLines(d events.Data) string {
	var out strings.Builder
	for _, b := range events.BadgesIn(d) {
		if out.Len() == 0 {
			out.WriteByte('\n')
		}
		out.WriteString(b.As + " " + b.Badge + "\n")
	}
	return out.String()
}

// text gives a column its text, NULL where there is none.
func text(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// truth gives a column 1 or 0.
func truth(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// replaced returns what a correction puts in place, whatever the kind of the
// event it corrects: the members have one meaning in all kinds.
func (codes codeTrips) replaced(e *events.Event, d *events.EventCorrected) (caseRef, load, sterilizer, positive,
	list, sheetTrip any, tray string, washed, begun any) {
	var r struct {
		Case       string         `json:"case"`
		Load       string         `json:"load"`
		Sterilizer string         `json:"sterilizer"`
		Result     string         `json:"result"`
		List       string         `json:"list"`
		Tag        string         `json:"tag"`
		Sheet      jsontext.Value `json:"sheet"`
		WasherLoad string         `json:"washerLoad"`
		Started    jsontext.Value `json:"started"`
		Day        jsontext.Value `json:"day"`
		Test       string         `json:"test"`
	}
	if len(d.Data) == 0 || json.Unmarshal(d.Data, &r) != nil {
		return
	}
	caseRef, load, sterilizer, list = text(r.Case), text(r.Load), text(r.Sterilizer), text(r.List)
	tray, washed = r.Tag, text(r.WasherLoad)
	if r.Result == "positive" || r.Result == "negative" {
		positive = truth(r.Result == "positive")
	}
	var started string
	if (r.Result == "passed" || r.Result == "failed") && json.Unmarshal(r.Started, &started) == nil {
		begun = text(facts.BegunOn(&events.SetSterilized{Sterilizer: r.Sterilizer, Started: started}))
	}
	var day string
	if r.Test != "" && json.Unmarshal(r.Day, &day) == nil {
		begun = text(facts.TestsOn(r.Sterilizer, day))
	}
	// The code read stands in an object, the code counted against alone.
	var code string
	var reading events.Reading
	if json.Unmarshal(r.Sheet, &code) != nil && json.Unmarshal(r.Sheet, &reading) == nil {
		code = reading.Code
	}
	sheetTrip = codes.other(e, code)
	return
}

// codeTrips are the trips in sheet codes, "" in what is none. The same code is
// read at every station of a trip.
type codeTrips map[string]string

// other returns the trip in a code, nil where it is the event's own or there is
// no code.
func (codes codeTrips) other(e *events.Event, code string) any {
	if code == "" {
		return nil
	}
	trip, ok := codes[code]
	if !ok {
		if c, err := events.ParseSheetCode(code); err == nil {
			trip = c.Trip
		}
		codes[code] = trip
	}
	if trip == "" || trip == e.Trip {
		return nil
	}
	return idBytes(trip)
}

// read returns the trip whose sheet was read by an event, as its row has it; nil where it has none.
func (codes codeTrips) read(e *events.Event) []byte {
	var other any
	if d, ok := e.Data.(*events.EventCorrected); ok {
		_, _, _, _, _, other, _, _, _ = codes.replaced(e, d) //nolint:dogsled // as appendRow
	} else {
		other = codes.other(e, events.SheetCodeOf(e.Data))
	}
	trip, _ := other.([]byte)
	return trip
}

// verdictWriter keeps verdicts.
type verdictWriter struct {
	w     *writer
	fresh bool // no trip has a verdict yet: nothing to take out first
}

func (v verdictWriter) write(vs []judged) error {
	for i := range vs {
		if err := v.one(&vs[i]); err != nil {
			return err
		}
	}
	return nil
}

func (v verdictWriter) one(j *judged) error {
	if j.none {
		return v.forget(j.Set, idBytes(j.Trip))
	}
	return v.put(j)
}

func (v verdictWriter) put(j *judged) error {
	raw, err := json.Marshal(&j.Verdict)
	if err != nil {
		return err
	}
	trip, key := idBytes(j.Trip), projections.TripKey{Set: j.Set, Trip: j.Trip}
	was, last, err := v.before(key, trip)
	if err != nil {
		return err
	}
	is := &written{board: onBoard(&j.Verdict), opening: j.open, verdict: raw}
	is.trip = tripRow{j.Case, j.Status, j.Opened}
	if is.rests, err = restsWriter(v).write(j.Set, trip, j.rests, last); err != nil {
		return err
	}
	if err = v.trip(j, trip, was, is); err == nil {
		is.findings, err = v.findings(&j.Verdict, trip, was)
	}
	if err == nil {
		err = v.opening(j, was)
	}
	if err == nil {
		err = v.board(j, was)
	}
	if err == nil && !v.fresh {
		v.w.wrote(key, is)
	}
	return err
}

// before returns what the tables have of a trip, nil where that isn't known, and what they have of its rests, as far as these are asked
// for. A trip without a row has none in any table: nothing need be taken out.
func (v verdictWriter) before(k projections.TripKey, trip []byte) (was, last *written, err error) {
	if was = v.w.written[k]; was != nil || v.fresh {
		return was, was, nil
	}
	rests, found, err := restsWriter(v).stored(k.Set, trip)
	if !found {
		was = new(written)
		return was, was, err
	}
	return nil, &written{rests: rests}, err
}

// trip writes the trip's own row: of one that is there already, what no index is of, as long as the rest stays. To take a row out of
// three indexes and put it back costs more than the row.
func (v verdictWriter) trip(j *judged, trip []byte, was, is *written) error {
	since := unixNano(j.Since)
	switch {
	case was == nil || was.trip != is.trip:
		return v.w.exec(`INSERT OR REPLACE INTO trips (set_id, trip, case_ref, status, opened, since, verdict, rests)
			VALUES (?,?,?,?,?,?,?,?)`, j.Set, trip, text(j.Case), string(j.Status), truth(j.Opened), since, is.verdict, is.rests)
	case bytes.Equal(was.verdict, is.verdict) && bytes.Equal(was.rests, is.rests): // since is in the verdict
		return nil
	}
	return v.w.exec(`UPDATE trips SET since = ?, verdict = ?, rests = ? WHERE set_id = ? AND trip = ?`,
		since, is.verdict, is.rests, j.Set, trip)
}

const (
	deleteFindings = `DELETE FROM findings WHERE set_id = ? AND trip = ? AND n >= ?`
	deleteBoard    = `DELETE FROM board WHERE set_id = ? AND trip = ?`
	deleteOpening  = `DELETE FROM openings WHERE set_id = ? AND trip = ?`
)

// forget takes out what is kept of a trip to which nothing belongs: what was seen
// of a set without a trip, say, before its packing was recorded late.
func (v verdictWriter) forget(set string, trip []byte) error {
	if _, err := restsWriter(v).write(set, trip, nil, nil); err != nil {
		return err
	}
	k := projections.TripKey{Set: set, Trip: idString(trip)}
	delete(v.w.written, k)
	v.w.touch(k)
	for _, text := range []string{`DELETE FROM trips WHERE set_id = ? AND trip = ?`, deleteBoard, deleteOpening} {
		if err := v.w.exec(text, set, trip); err != nil {
			return err
		}
	}
	return v.w.exec(deleteFindings, set, trip, int64(0))
}

// findings writes the rows from the first on that is not there already, and returns what they are made of.
func (v verdictWriter) findings(verdict *projections.Verdict, trip []byte, was *written) ([]string, error) {
	details, is := make([]string, len(verdict.Findings)), make([]string, len(verdict.Findings))
	for n := range verdict.Findings {
		f := &verdict.Findings[n]
		detail, err := json.Marshal(f.Detail)
		if err != nil {
			return nil, err
		}
		details[n] = string(detail)
		is[n] = string(f.Code) + " " + string(f.Severity) + " " + f.Way + " " + details[n]
	}
	first := 0
	if was != nil {
		first = same(was.findings, is)
	}
	if !v.fresh && (was == nil || first < len(was.findings)) {
		if err := v.w.exec(deleteFindings, verdict.Set, trip, int64(first)); err != nil {
			return nil, err
		}
	}
	for n := first; n < len(is); n++ {
		f := &verdict.Findings[n]
		told := v.w.told.finding(f, details[n])
		err := v.w.exec(`INSERT INTO findings (set_id, trip, n, code, severity, way, detail, says, next) VALUES (?,?,?,?,?,?,?,?,?)`,
			verdict.Set, trip, int64(n), string(f.Code), string(f.Severity), f.Way, details[n], told.Says, told.Next)
		if err != nil {
			return nil, err
		}
	}
	return is, nil
}

// tellings keeps the sentences of findings that were written lately: most verdicts are written again at each step of a set,
// with the findings that they had.
type tellings map[string]projections.Text

// mostTold is how many are kept; then it begins anew.
const mostTold = 4096

// finding puts a finding into words, which its code, way and detail alone decide.
func (t tellings) finding(f *projections.Finding, detail string) projections.Text {
	key := string(f.Code) + "/" + f.Way + " " + detail
	told, ok := t[key]
	if !ok {
		if len(t) >= mostTold {
			clear(t)
		}
		told = words.Embedded().Finding(words.Reference, f)
		t[key] = told
	}
	return told
}

// stationRows are the audit's state of the stations a batch touched: those
// that recorded in it, and those it enrolled or retired.
func (m *Model) stationRows(added []facts.Fact) map[string]*stationRow {
	out := make(map[string]*stationRow)
	add := func(name string) {
		if out[name] != nil {
			return
		}
		if s := m.audit.Station(name); s != nil { // else it is named in an enrolment that does not count
			out[name] = stationRowOf(s)
		}
	}
	for i := range added {
		for _, name := range stationsOf(added[i].Event) {
			add(name)
		}
	}
	return out
}

// stationsOf returns the stations that an event changes: that which recorded it, and that which it enrols or retires.
func stationsOf(e *events.Event) []string {
	if e == nil {
		return nil
	}
	switch d := e.Data.(type) {
	case *events.StationEnrolled:
		return []string{e.Station, d.Station}
	case *events.StationRetired:
		return []string{e.Station, d.Station}
	}
	return []string{e.Station}
}

func (w *writer) writeStations(rows map[string]*stationRow, verdicts []projections.Verdict) error {
	for _, row := range rows {
		if err := w.writeStation(row); err != nil {
			return err
		}
	}
	for _, v := range verdicts {
		if err := w.writeStationVerdict(v); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) writeStation(s *stationRow) error {
	keys, err := json.Marshal(s.Keys)
	if err != nil {
		return err
	}
	err = w.exec(`INSERT INTO stations VALUES (?,?,?,?,?,?,?,?,?,?,0,NULL)
		ON CONFLICT (name) DO UPDATE SET key=excluded.key, enrolled=excluded.enrolled, retired=excluded.retired,
		last=excluded.last, count=excluded.count, hash=excluded.hash, observed=excluded.observed, signed=excluded.signed,
		keys=excluded.keys`,
		s.Name, s.Key, s.Enrolled, s.Retired, s.Last, s.Count, s.Hash, unixNano(s.Time), s.Signed, string(keys))
	if err != nil {
		return err
	}
	w.rows[s.Name] = true
	for first := range s.gone {
		if err := w.exec(`DELETE FROM runs WHERE station = ? AND first = ?`, s.Name, first); err != nil {
			return err
		}
	}
	for _, r := range s.runs {
		raw, err := json.Marshal(&r)
		if err != nil {
			return err
		}
		if err := w.exec(`INSERT OR REPLACE INTO runs VALUES (?,?,?)`, s.Name, r.First, string(raw)); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) writeStationVerdict(v projections.Verdict) error {
	is := stationVerdict{until: unixNano(v.Until)}
	var raw any
	if len(v.Findings) > 0 {
		b, err := json.Marshal(v)
		if err != nil {
			return err
		}
		raw, is.verdict = b, string(b)
	}
	if was, ok := w.stations[v.Station]; ok && was == is {
		return nil
	}
	if w.rows[v.Station] { // else there may be no row yet that has it
		w.stations[v.Station] = is
	}
	return w.exec(`UPDATE stations SET verdict = ?, until = ? WHERE name = ?`, raw, unixNano(v.Until), v.Station)
}

func unixNano(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixNano()
}

func fromNano(n int64) time.Time {
	if n == 0 {
		return time.Time{}
	}
	return time.Unix(0, n).UTC()
}

package readmodel

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"listbound/events"
	"listbound/ledger/proof"
	"listbound/projections/facts"
)

// Records gives single records by sequence; the ledger reads them from its
// entry bundles.
type Records interface {
	Read(seq int64) ([]byte, error)
}

// source finds the added that a judgement needs: which, from SQLite; what they
// say, from the ledger's own records. It sees what is committed.
type source struct {
	ctx    context.Context
	model  *Model
	recs   Records
	origin string
	// disclosed finds the texts that stand beside the records.
	disclosed events.Disclosed
	// seen keeps what was read: the dimensions of one judgement overlap.
	seen   map[int64]facts.Fact
	reader *events.Reader
}

// factRows says which rows of events a dimension means. '?1' is the key. The
// row of a correction that replaces data carries what it puts in place, so that
// the corrected fact is found under that too.
var factRows = map[facts.Dim]string{
	facts.DimTrip: `trip = ?1`,
	facts.DimCase: `case_ref = ?1 AND kind <> 'case.scheduled'`,
	facts.DimLoad: `load = ?1 AND kind IN ('set.sterilized', 'event.corrected')`,
	// One of each start, the first recorded, so that it is known as of any moment at which one of them is.
	facts.DimStarts: `load = ?1 AND (kind = 'event.corrected' OR kind = 'set.sterilized' AND seq IN (SELECT min(seq) FROM events
		WHERE load = ?1 AND kind = 'set.sterilized' GROUP BY sterilizer, ran))`,
	facts.DimLock: `seq IN (SELECT seq FROM marks WHERE mark = ?1 AND what IN ('seal', 'said') ORDER BY seq LIMIT 12)`,
	facts.DimBegun: `begun = ?1 AND (kind = 'event.corrected' OR seq IN (SELECT min(seq) FROM events
		WHERE begun = ?1 AND kind = 'set.sterilized' GROUP BY load, ran))`,
	facts.DimTests:  `begun = ?1 AND kind IN ('sterilizer.tested', 'event.corrected')`,
	facts.DimList:   `list = ?1 AND kind IN ('list.issued', 'event.corrected')`,
	facts.DimSheet:  `sheet_trip = ?1`,
	facts.DimPolicy: `subject = ?1 AND kind IN ('policy.adopted', 'records.lost', 'registers.adopted')`,
	facts.DimEntry:  `entry = ?1`,
	// As facts.OfNoTrip says.
	facts.DimStation: `station = ?1 AND remarks <> 0 AND kind NOT IN ` + kindsOfSet + `
		AND (trip IS NULL OR kind IN ` + kindsOfNoTrip + `)`,
	// Negative readings say nothing without a positive one, and there is one a day.
	facts.DimSterilizer: `sterilizer = ?1 AND kind IN ('indicator.read', 'event.corrected')
		AND EXISTS (SELECT 1 FROM events WHERE sterilizer = ?1 AND positive = 1)`,
	facts.DimReadings:     `sterilizer = ?1 AND kind IN ('indicator.read', 'event.corrected')`,
	facts.DimLoadReadings: `load = ?1 AND kind IN ('indicator.read', 'event.corrected')`,
	facts.DimWash:         `washer_load = ?1 AND kind IN ('set.returned', 'event.corrected')`,
	facts.DimRunLogs:      `load = ?1 AND kind IN ('run.logged', 'event.corrected')`,
	facts.DimSchedule:     `case_ref = ?1 AND kind IN ('case.scheduled', 'event.corrected')`,
	// A day's records, since an index of packings by station would be made for the few of them that are asked about.
	facts.DimBench: `station = ?1 AND observed >= ?2 AND observed < ?3 AND kind = 'set.packed' AND trip IS NOT NULL`,
	facts.DimEvent: `id = ?1 AND observed >= ?2 AND observed < ?3`,
}

// Facts implements facts.Source.
func (s *source) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	where, ok := factRows[dim]
	if !ok {
		return nil, fmt.Errorf("no such dimension: %q", dim)
	}
	args := []any{key}
	switch dim {
	case facts.DimTrip, facts.DimSheet:
		args[0] = idBytes(key)
	case facts.DimEvent:
		found, err := s.byID(key)
		if err != nil {
			return nil, err
		}
		return s.corrected(found)
	case facts.DimBench:
		station, from, to, ok := facts.ReadBench(key)
		if !ok {
			return nil, fmt.Errorf("no such bench: %q", key)
		}
		args = []any{station, from.UnixNano(), to.UnixNano()}
	}
	found, err := s.query(`SELECT seq, remarks FROM events WHERE `+where, args...)
	if err != nil {
		return nil, err
	}
	return s.corrected(found)
}

// Around implements facts.Source.
func (s *source) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	const packed = `subject = ?1 AND kind = 'set.packed' AND trip IS NOT NULL`
	t := int64(math.MinInt64)
	if !at.IsZero() {
		t = at.UnixNano()
	}
	// Of packings at one moment the ids have another order than judgement (facts.Compare), so all of the last moment come along.
	before, err := s.query(`SELECT seq, remarks FROM events WHERE `+packed+` AND observed <= ?2 AND observed >= coalesce((SELECT observed
		FROM events WHERE `+packed+` AND observed <= ?2 ORDER BY observed DESC LIMIT 1 OFFSET ?3), ?4) ORDER BY observed DESC, id DESC`,
		set, t, n-1, int64(math.MinInt64))
	if err != nil {
		return nil, err
	}
	after, err := s.query(`SELECT seq, remarks FROM events WHERE `+packed+` AND observed > ?2 AND observed <= coalesce((SELECT observed
		FROM events WHERE `+packed+` AND observed > ?2 ORDER BY observed LIMIT 1 OFFSET ?3), ?4) ORDER BY observed, id`,
		set, t, n-1, int64(math.MaxInt64))
	if err != nil {
		return nil, err
	}
	from, to := int64(math.MinInt64), int64(math.MaxInt64)
	if len(before) >= n {
		from = before[len(before)-1].Event.Time.UnixNano()
	}
	if len(after) >= n {
		to = after[len(after)-1].Event.Time.UnixNano()
	}
	loose, err := s.query(`SELECT seq, remarks FROM events WHERE subject = ?1 AND trip IS NULL AND observed BETWEEN ?2 AND ?3
		AND kind IN `+kindsOfSet, set, from, to)
	if err != nil {
		return nil, err
	}
	// A correction was observed at another time than what it gives the set's tag.
	trays,
		err := s.query(`SELECT seq, remarks FROM events WHERE tray = ?1 AND (observed BETWEEN ?2 AND ?3 OR kind = 'event.corrected')`,
		set, from, to)
	if err != nil {
		return nil, err
	}
	return s.corrected(slices.Concat(before, after, loose, trays))
}

// kindsOfSet are the kinds whose subject is a set, and kindsOfNoTrip those that belong to no trip though they name one, as SQL has lists.
var (
	kindsOfSet    = kindsThat(events.Kind.AboutSet)
	kindsOfNoTrip = kindsThat(func(k events.Kind) bool { return !k.HoldsTrip() })
)

func kindsThat(are func(events.Kind) bool) string {
	var quoted []string
	for _, k := range events.Kinds() {
		if are(k) {
			quoted = append(quoted, "'"+string(k)+"'")
		}
	}
	return "(" + strings.Join(quoted, ", ") + ")"
}

// corrected adds, for each fact, its corrections, theirs, and what corrections
// among the added are about. While nothing has ever been corrected it does not ask.
func (s *source) corrected(found []facts.Fact) ([]facts.Fact, error) {
	if !s.model.corrections.Load() {
		return found, nil
	}
	have := make(map[int64]bool, len(found))
	out := make([]facts.Fact, 0, len(found))
	for todo := found; len(todo) > 0; {
		var next []facts.Fact
		for _, f := range todo {
			if have[f.Seq] {
				continue
			}
			have[f.Seq] = true
			out = append(out, f)
			more, err := s.query(`SELECT seq, remarks FROM events WHERE corrects = ?1`, idBytes(f.Event.ID))
			if err != nil {
				return nil, err
			}
			next = append(next, more...)
			if c, ok := f.Event.Data.(*events.EventCorrected); ok {
				about, err := s.byID(c.Event)
				if err != nil {
					return nil, err
				}
				next = append(next, about...)
			}
		}
		todo = next
	}
	return out, nil
}

func (s *source) byID(id string) ([]facts.Fact, error) {
	args, ok := eventArgs(id)
	if !ok || !s.model.mayHaveID(args[0].([]byte), args[1].(int64)) {
		return nil, nil
	}
	return s.query(`SELECT seq, remarks FROM events WHERE `+factRows[facts.DimEvent], args...)
}

// eventArgs are those of the dimension of events: an id has its event's time to the
// millisecond. ok is false for what is no id: nothing has it.
func eventArgs(id string) (args []any, ok bool) {
	at, err := events.IDTime(id)
	if err != nil {
		return nil, false
	}
	return []any{idBytes(id), at.UnixNano(), at.Add(time.Millisecond).UnixNano()}, true
}

func (s *source) query(q string, args ...any) ([]facts.Fact, error) {
	type ref struct{ seq, remarks int64 }
	rows, err := s.model.query(s.ctx, q, args...)
	refs, err := scanAll(rows, err, func(r *ref) []any { return []any{&r.seq, &r.remarks} })
	if err != nil {
		return nil, err
	}
	out := make([]facts.Fact, 0, len(refs))
	for _, r := range refs {
		f, err := s.fact(r.seq, r.remarks)
		if err != nil {
			return nil, err
		}
		if f.Event != nil {
			out = append(out, f)
		}
	}
	return out, nil
}

// maxSeen bounds what a source keeps: a World holds the added besides.
const maxSeen = 10_000

// fact reads one fact; remarks are as the column has them.
func (s *source) fact(seq, remarks int64) (facts.Fact, error) {
	if f, ok := s.seen[seq]; ok {
		return f, nil
	}
	f, ok := s.model.recent.get(seq)
	if !ok {
		var err error
		if f, err = s.read(seq); err != nil || f.Event == nil {
			return facts.Fact{}, err
		}
		s.model.recent.put(f)
	}
	f.Remarks = events.Remark(remarks & allRemarks)
	if remarks&remarkedBefore != 0 {
		was, err := s.model.was(s.ctx, seq)
		if err != nil {
			return facts.Fact{}, err
		}
		f.Was = was
	}
	if len(s.seen) >= maxSeen {
		clear(s.seen)
		s.reader = events.NewReader() // it keeps strings
	}
	s.seen[seq] = f
	return f, nil
}

// read reads one fact from the ledger, less its remarks. It has no event where the record is none: that is kept and
// reported by its remark; no judgement can use it.
func (s *source) read(seq int64) (facts.Fact, error) {
	rec, err := s.recs.Read(seq)
	if err != nil {
		return facts.Fact{}, err // which names the record
	}
	n, at, _, err := proof.ReadArrival(s.origin, rec)
	if err != nil {
		return facts.Fact{}, fmt.Errorf("reading record %d: %w", seq, err)
	}
	p := parseObserved(s.reader, s.disclosed, n)
	if p.Err != nil {
		return facts.Fact{}, nil
	}
	return facts.Fact{Seq: seq, Recorded: at, Event: p.Event}, nil
}

// recentFacts keeps facts that were read or applied lately, less their remarks, for all who ask: the pages of a day ask
// for the same ones again and again, and the newest bundle of records is read whole for each. Nobody changes an event.
type recentFacts struct {
	mu          sync.Mutex
	now, before map[int64]facts.Fact // before was full
}

// recentLen is how many are kept at least; twice as many at most.
const recentLen = 4096

func (r *recentFacts) get(seq int64) (facts.Fact, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f, ok := r.now[seq]
	if !ok {
		if f, ok = r.before[seq]; ok {
			r.keep(f)
		}
	}
	return f, ok
}

func (r *recentFacts) put(f facts.Fact) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f.Remarks, f.Was = 0, nil
	r.keep(f)
}

func (r *recentFacts) keep(f facts.Fact) {
	if r.now == nil || len(r.now) >= recentLen {
		r.now, r.before = make(map[int64]facts.Fact), r.now
	}
	r.now[f.Seq] = f
}

// idBytes returns a UUID's 16 bytes; empty for "" and for what is no UUID.
func idBytes(s string) []byte {
	u, err := uuid.Parse(s)
	if err != nil {
		return []byte{}
	}
	return u[:]
}

func idString(b []byte) string {
	u, err := uuid.FromBytes(b)
	if err != nil {
		return ""
	}
	return u.String()
}

// Package readmodel keeps what judgement found in SQLite, for questions that
// must be answered at once. It holds nothing that the ledger does not: delete
// it and it is rebuilt. Its position in the ledger is saved in the same
// transaction as its rows, so that no record is applied twice or missed.
package readmodel

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/mod/sumdb/note"
	"modernc.org/sqlite" // also the driver "sqlite": SQLite in pure Go
	sqlite3 "modernc.org/sqlite/lib"

	"listbound/events"
	"listbound/ledger/disk"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// Tolerance is how far the clock of a record may be off before the record is
// remarked on. It is the default policy's, since remarks are on records, which
// belong to no policy yet.
func Tolerance() time.Duration {
	return time.Duration(events.DefaultPolicy().ClockToleranceSeconds) * time.Second
}

// maxWorld is how many added the working memory holds before it is emptied:
// about 1 GB at the size of real records. A rebuild lets facts go before that, where it may: see early.go.
const maxWorld = 1_500_000

// mostHeld is how many it holds outside a rebuild, a month of a hospital: all that is under way is among them, and what is older is
// read again when it is asked for. With all of a million held each record took 414 us of processor time instead of 220, as all that is
// held is looked through for garbage, and 2 GB.
const mostHeld = 100_000

// readers is how many questions are answered at once.
const readers = 4

// Options say whose records a model reads.
type Options struct {
	Path    string        // the SQLite file
	Ledger  note.Verifier // the ledger's key; its name is the ledger's origin
	Records Records
	// Disclosed finds the texts that stand beside the records; nil: there are none.
	Disclosed events.Disclosed
	Moment    time.Time      // as of when is judged, until Advance names a later one
	Zone      *time.Location // where the site is; nil: UTC

	// Delay is how long what was applied may wait to be written, so that much of it is written at once; zero: Apply writes it. Who asks
	// a model that writes later calls Settle first.
	Delay time.Duration
	// Failed is told why what was applied could not be written, and the last record that is, before anybody who asks is answered by that.
	// It must not ask the model.
	Failed func(why error, at int64)

	// LockWait is how long is waited for another program that has the file locked
	// before Apply fails; zero: 10 s.
	LockWait time.Duration
}

const usualLockWait = 10 * time.Second

// pagesOfWAL is after how many pages SQLite copies its write-ahead log into the file and syncs both: 16 MB. A step of a set writes
// thirty pages, most of them those of the step before, which are copied once this way instead of every thirty steps. Nothing that
// was acknowledged lies in it alone: the ledger has it all.
const pagesOfWAL = 4000

// writersCache is how much of the file the connection that writes keeps, in kB: the inner pages of all indexes of a million records, of
// which each new record changes a leaf.
const writersCache = "-16000"

// Model is an open read model. Apply must not run twice at once; everything
// else may.
type Model struct {
	opts  Options
	write *sql.DB // one connection
	read  *sql.DB

	mu       sync.Mutex
	pos      int64
	moment   time.Time
	audit    *events.Audit
	world    *judge.World
	hopes    int       // facts in world that are not recorded yet
	foreseen *foreseen // what audit and world have besides; nil: nothing
	due      time.Time // no verdict changes by time alone before it; zero: not known
	indexed  bool
	bulk     bool // judge once at the end: the working memory is complete

	maxWorld    int          // maxWorld, less in tests
	bulkWorld   int          // bulkWorld, less in tests
	stillFor    int64        // stillFor, less in tests
	mostRests   int          // mostRests, less in tests
	early       *early       // in bulk, what was judged before its end; nil where nothing was
	marks       []bulkMark   // in bulk, of the last batches
	corrections atomic.Bool  // an event.corrected has been applied
	registers   atomic.Bool  // a registers.adopted has been applied
	changes     atomic.Int64 // of what is kept
	reckoned    atomic.Pointer[reckoned]
	touched     touched
	kept        keptBoard
	recent      recentFacts
	observed    observed
	behind      behind
	resting     resting
	writer      *writer // nil before the first transaction
	stmtMu      sync.Mutex
	stmts       map[string]*sql.Stmt // of read, by text
}

// Open opens the model at a path. A missing file, one that another judgement
// filled (Fingerprint), of another ledger, judged as of a later moment or without
// one of its tables starts empty, at position 0.
func Open(ctx context.Context, o Options) (*Model, error) {
	m := &Model{opts: o, moment: o.Moment, maxWorld: maxWorld, bulkWorld: bulkWorld, stillFor: stillFor, mostRests: mostRests,
		stmts: make(map[string]*sql.Stmt), behind: behind{many: manyUnwritten, most: mostUnwritten},
		resting: resting{most: mostAsks, many: mostResting}}
	kept, err := m.openKept(ctx)
	if err != nil {
		return nil, errors.Join(err, m.Close())
	}
	if !kept {
		if err := m.Close(); err != nil {
			return nil, err
		}
		if err := Remove(o.Path); err != nil {
			return nil, err
		}
		if err := m.open(ctx); err != nil {
			return nil, errors.Join(err, m.Close())
		}
		if err := m.create(ctx); err != nil {
			return nil, errors.Join(err, m.Close())
		}
	}
	if err := m.load(ctx); err != nil {
		return nil, errors.Join(err, m.Close())
	}
	if m.pos > 0 {
		if err := m.index(ctx); err != nil {
			return nil, errors.Join(err, m.Close())
		}
	}
	return m, nil
}

// openKept opens the file that is there, and reports whether it can be used: a new one has nothing to look at.
func (m *Model) openKept(ctx context.Context) (bool, error) {
	if _, err := os.Stat(m.opts.Path); errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	if err := m.open(ctx); err != nil {
		if unreadable(err) {
			err = nil
		}
		return false, err
	}
	return m.usable(ctx), nil
}

// usable reports whether the file holds what this program would judge of this ledger
// as of now. What a clock that was ahead has made overdue isn't told from the rest.
func (m *Model) usable(ctx context.Context) bool {
	var judgement, origin string
	var moment int64
	err := m.read.QueryRowContext(ctx, `SELECT (SELECT value FROM meta WHERE key='judgement'),
		(SELECT value FROM meta WHERE key='ledger'), (SELECT value FROM meta WHERE key='moment')`).Scan(&judgement, &origin, &moment)
	return err == nil && judgement == Fingerprint() && origin == keyName(m.opts.Ledger) && moment <= momentNumber(m.moment) &&
		m.hasTables(ctx)
}

// tableNames are those of all tables.
var tableNames = sync.OnceValue(func() (names []string) {
	for _, made := range regexp.MustCompile(`CREATE TABLE (\w+)`).FindAllStringSubmatch(tables, -1) {
		names = append(names, made[1])
	}
	return names
})

// hasTables reports whether all tables are there: somebody may have taken one out by hand.
func (m *Model) hasTables(ctx context.Context) bool {
	names := tableNames()
	var n int
	err := m.read.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name IN ('`+
		strings.Join(names, "', '")+`')`).Scan(&n)
	return err == nil && n == len(names)
}

// LastRow returns the number of the last record that has a row. Where all that was applied is written and nobody has edited the file it is
// the position's: behind any other, no row would get its record's number, and nothing could be applied.
func (m *Model) LastRow(ctx context.Context) (last int64, err error) {
	if err = m.read.QueryRowContext(ctx, `SELECT ifnull(max(seq), 0) FROM events`).Scan(&last); err != nil {
		err = fmt.Errorf("read model: %w", err)
	}
	return last, err
}

// unreadable reports whether the file is no database, or a damaged one. Nothing is
// lost with it. A full disk or a missing right is another matter.
func unreadable(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	code := e.Code() & 0xff // without the extension
	return code == sqlite3.SQLITE_NOTADB || code == sqlite3.SQLITE_CORRUPT
}

func keyName(v note.Verifier) string { return fmt.Sprintf("%s+%08x", v.Name(), v.KeyHash()) }

// Remove deletes a model's files.
func Remove(path string) error {
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(path + suffix); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("read model: %w", err)
		}
	}
	return nil
}

func (m *Model) open(ctx context.Context) (err error) {
	if err := ownFile(m.opts.Path); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	dsn := fmt.Sprintf("%s?_pragma=journal_mode(WAL)&_pragma=busy_timeout(%d)&_pragma=synchronous(NORMAL)&_txlock=immediate"+
		"&_pragma=wal_autocheckpoint(%d)", fileURI(m.opts.Path), cmp.Or(m.opts.LockWait, usualLockWait).Milliseconds(), pagesOfWAL)
	if m.write, err = sql.Open("sqlite", dsn+"&_pragma=cache_size("+writersCache+")"); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	m.write.SetMaxOpenConns(1)
	if m.read, err = sql.Open("sqlite", dsn+"&_pragma=cache_size(-32000)"); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	m.read.SetMaxOpenConns(readers)
	m.read.SetMaxIdleConns(readers)
	if err := m.write.PingContext(ctx); err != nil {
		return fmt.Errorf("read model %s: %w", m.opts.Path, err)
	}
	return nil
}

// fileURI names a file to SQLite, for which a name of its own ends at ? or # and % begins a character
// (sqlite.org/uri.html). Unescaped, the model of /srv/a#1 would be that of /srv/a#2: both /srv/a.
func fileURI(path string) string {
	return "file:" + strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(path)
}

// ownFile makes the file its owner's alone: it holds badges and cases. SQLite gives those beside it the same rights.
func ownFile(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(disk.This().MakeOwners(f), f.Close())
}

func (m *Model) create(ctx context.Context) error {
	_, err := m.write.ExecContext(ctx, "BEGIN;"+tables+rareIndexes+`
		INSERT INTO meta (key, value) VALUES ('judgement', ?1), ('position', '0'), ('moment', '0'), ('ledger', ?2); COMMIT;`,
		Fingerprint(), keyName(m.opts.Ledger))
	if err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	return nil
}

// load takes up position and audit where the last transaction left them.
func (m *Model) load(ctx context.Context) error {
	if err := m.read.QueryRowContext(ctx, `SELECT value FROM meta WHERE key='position'`).Scan(&m.pos); err != nil {
		return fmt.Errorf("read model: position: %w", err)
	}
	var corrections bool
	if err := m.read.QueryRowContext(ctx,
		`SELECT EXISTS (SELECT 1 FROM events WHERE corrects IS NOT NULL)`).Scan(&corrections); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	m.corrections.Store(corrections)
	var registers bool
	if err := m.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM events WHERE kind = 'registers.adopted'
		AND kind IN ('policy.adopted', 'records.lost', 'registers.adopted'))`).Scan(&registers); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	m.registers.Store(registers)
	m.audit = events.NewAudit(m.opts.Ledger, Tolerance())
	stations, err := m.Stations(ctx)
	if err != nil {
		return err
	}
	runs, err := m.runs(ctx)
	if err != nil {
		return err
	}
	for _, s := range stations {
		s.Runs = runs[s.Name]
		if err := m.audit.Restore(s); err != nil {
			return fmt.Errorf("read model: %w", err)
		}
	}
	m.due = time.Time{}
	if err := m.resetWorld(ctx); err != nil {
		return err
	}
	return m.beginObserved(ctx)
}

// resetWorld empties the working memory. At position 0 it is complete, since
// everything will pass through it; later it asks the tables for what it lacks.
func (m *Model) resetWorld(ctx context.Context) error {
	if err := m.settle(ctx); err != nil {
		return err
	}
	if m.pos == 0 {
		m.world = judge.NewWorld(nil)
	} else {
		m.world = judge.NewWorld(m.source(context.WithoutCancel(ctx)))
	}
	m.world.SetMoment(m.moment)
	m.resting.begin()
	m.hopes = 0
	return nil
}

// World returns the working memory that judges, so that what is asked of a line before it is recorded need not be fetched for
// its judgement again. Whoever asks it keeps Apply and Advance away meanwhile.
func (m *Model) World() *judge.World {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.world
}

// Expect adds to the working memory what is about to be recorded, so that what comes with it may refer to it. Apply holds it
// against what was recorded.
func (m *Model) Expect(f facts.Fact) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.world.Add(f)
	m.hopes++
}

// Unexpect forgets what was expected or foreseen and has not been applied.
func (m *Model) Unexpect(ctx context.Context) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.foreseen != nil {
		m.forget(ctx)
	} else if m.hopes > 0 && m.resetWorld(ctx) != nil {
		m.giveUp(ctx)
	}
}

func (m *Model) source(ctx context.Context) *source {
	return &source{ctx: ctx, model: m, recs: m.opts.Records, origin: m.opts.Ledger.Name(),
		disclosed: m.opts.Disclosed, seen: make(map[int64]facts.Fact), reader: events.NewReader()}
}

func (m *Model) index(ctx context.Context) error {
	if m.indexed {
		return nil
	}
	if _, err := m.write.ExecContext(ctx, indexes+verdictIndexes); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	m.indexed = true
	return nil
}

// statement returns a query prepared once.
func (m *Model) statement(ctx context.Context, q string) (*sql.Stmt, error) {
	m.stmtMu.Lock()
	defer m.stmtMu.Unlock()
	if st := m.stmts[q]; st != nil {
		return st, nil
	}
	st, err := m.read.PrepareContext(ctx, q)
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	m.stmts[q] = st
	return st, nil
}

// query asks by a statement that stays prepared, so the text must be one of few. It is for questions whose answers are short: they
// are not interrupted, which would cost a goroutine each.
func (m *Model) query(ctx context.Context, q string, args ...any) (*sql.Rows, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	ctx = context.WithoutCancel(ctx)
	st, err := m.statement(ctx, q)
	if err != nil {
		return nil, err
	}
	return st.QueryContext(ctx, args...)
}

// Close closes the files, and with them what was prepared for them.
func (m *Model) Close() error {
	m.mu.Lock() // whoever could not write goes back to what is written, and tells so, before it
	defer m.mu.Unlock()
	if m.write != nil && m.read != nil {
		_ = m.settle(context.Background()) // what can't be written is applied again when it is opened
		m.behind.forget()
	}
	errs := []error{m.writer.close()}
	for _, db := range []*sql.DB{m.write, m.read} {
		if db != nil { // nil where opening failed before it
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// Position is the sequence of the last record applied, which may not be written yet: see WrittenTo.
func (m *Model) Position() int64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.pos
}

// bulkPragmas are for a file that is thrown away if its filling is cut off: no
// journal, no waiting for the disk, and room for the pages that are written to all over a table.
const bulkPragmas = `PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -64000; PRAGMA temp_store = MEMORY;`

// usualPragmas put a filled file into service. The checkpoint waits until
// everything is on disk.
const usualPragmas = `PRAGMA journal_mode = WAL; PRAGMA synchronous = NORMAL; PRAGMA cache_size = ` + writersCache + `; PRAGMA temp_store = DEFAULT;
	UPDATE meta SET value = value WHERE key = 'position'; PRAGMA wal_checkpoint(TRUNCATE);`

// BeginBulk puts off judging until EndBulk, but for turns that have been still for long: for a model at position 0 that is
// about to take a whole ledger, in a file that its caller throws away if that fails.
func (m *Model) BeginBulk(ctx context.Context) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.pos != 0 {
		return errors.New("read model: only an empty one is filled in bulk")
	}
	// The journal is changed only while no other connection is open.
	m.read.SetMaxIdleConns(0)
	if _, err := m.write.ExecContext(ctx, bulkPragmas); err != nil {
		return fmt.Errorf("read model: %w", err)
	}
	m.bulk, m.early, m.marks = true, nil, nil
	m.observed.begin(math.MaxInt64, math.MaxInt64, math.MaxInt64) // who fills in bulk asks for nothing meanwhile
	return nil
}

// EndBulk judges what was taken since BeginBulk and not judged yet, and makes the indexes.
func (m *Model) EndBulk(ctx context.Context) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.endBulk(ctx)
}

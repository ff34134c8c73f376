package ledger

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger/proof"
)

// MaxNote is the longest note a station may append. Entry bundles hold 65,535 bytes; the rest is room for the arrival
// line with its links.
const MaxNote = 60_000

// Options configure a ledger. Dir, Origin, Signer, Verifier and Clock are required.
type Options struct {
	Dir      string
	Origin   string // name of the ledger and of its key, first line of its checkpoints
	Signer   note.Signer
	Verifier note.Verifier
	Clock    func() time.Time
	Logger   *slog.Logger // default: discard

	// Command names this program to others that want to open the folder. Default: the name of the running program.
	Command string
	// CheckpointEvery is the shortest time between two checkpoints that nobody asked for. Default 200 ms.
	CheckpointEvery time.Duration
	// SyncAlways makes the server sync every record itself. That is as safe as the default, where one sync serves all
	// records that came together, and several times slower with many writers. It is always on under a server version
	// whose files this package does not know.
	SyncAlways bool
	// Next is the key that a record of the ledger hands it on to; nil while no other key takes over.
	Next *Successor
	// HandsOn reports whether a record hands the ledger on to another key. One that isn't signed yet, and whose key isn't
	// Next's, is damage: nothing may be signed by the key before it any more.
	HandsOn func(record []byte) bool
	// AcceptLoss opens a ledger that is behind its own memory, so that the loss can be recorded; see [Ledger.Loss].
	AcceptLoss bool
	// Reading opens a ledger for questions only: nothing is written, so the folder may be one where nothing can be.
	// Nobody is kept from opening it for writing meanwhile.
	Reading bool
	// Cluster says where the stream lives if that is not in this process. Open then waits until no other process writes it.
	Cluster *Cluster
	// Copy says that the ledger is written elsewhere and copied here; Signer and Verifier are not needed then. nil: it is
	// written here.
	Copy *Copy
	// Audit is called with each record, in order, before it goes into the tree. An error is logged and counted, and
	// stops nothing: what was recorded stays recorded.
	Audit func(seq int64, record []byte) error

	faults      *faults
	plainBlocks bool // the server does not pack them
}

// Ledger is an open ledger. Its methods may be called from many goroutines.
type Ledger struct {
	opts  Options
	log   *slog.Logger
	owner *ownership
	home  home // nil while the stream is closed
	files logFiles

	// committing is held while records are stored, and while a stream that was closed for lack of room is opened again.
	committing sync.Mutex

	mu        sync.Mutex
	size      int64            // number of records stored
	tail      [][]byte         // records signed.Size+1 … size
	tailSize  int64            // bytes in tail
	epoch     int64            // number of the first record stored by this process
	stations  map[string]int64 // sequence of each station's last record, for stations looked up so far
	lastAt    time.Time        // arrival of the last record
	signed    proof.Checkpoint
	floor     proof.Checkpoint // what a copy has had, where that is more than there is
	floorNote []byte           // floor, as a signed note
	note      []byte           // signed, as a signed note
	handed    bool             // Options.Next has taken over
	grown     chan struct{}    // closed and replaced when size grows
	damage    []Problem
	failed    error // why the stream takes nothing until the next start
	noStream  bool  // the server did not find the stream at the start
	unsynced  bool  // the stream was read from its files: what is unsigned of it need not be on disk
	loss      *Loss // what is missing and not declared yet

	looked    *looked // what is known of the blocks that are full
	allLooked *looked // that with the last block, nil where the server's own index is good, or must be made by itself

	loading sync.Mutex // held while the heads are read
	heads   heads
	queue   queue
	inDoubt *doubtfulRound // nil if the outcome of every round is known; used by the committer only

	build       builder
	auditErrors atomic.Int64

	stop   chan struct{}
	wg     sync.WaitGroup
	closed sync.Once
}

// Entry is one note to append.
type Entry struct {
	Station string // site/station
	Kind    string // last part of the subject, such as set.packed
	Note    []byte // signed note of the station
	Remark  byte   // for the arrival line: what the caller noticed about the note, 0 for nothing
	// ExpectPrev is the sequence of the station's previous record, 0 if it has none. Later entries of the same station
	// in one call repeat it.
	ExpectPrev int64
	// About names what the record is about, such as "set LAP-014": the record then says which one before it was about
	// the same. In the order of the bytes, each once; see [proof.Link].
	About []string
	// At is when it arrived where that is not now, as of a week that is played: not before the record in front of it and not
	// after now, or it is taken to be the one or the other. Zero: now.
	At time.Time
}

// Appended is one stored record.
type Appended struct {
	Seq    int64
	At     time.Time
	Record []byte // the note with its arrival line
}

// Open opens the ledger in a folder, or starts one if the folder is empty. The error is an *OwnedError if another
// process has it open. A damaged ledger opens read-only; see [Ledger.Damage].
func Open(ctx context.Context, opts Options) (*Ledger, error) {
	if err := opts.check(); err != nil {
		return nil, err
	}
	if opts.Cluster != nil {
		if err := opts.signBefore(ctx); err != nil {
			return nil, err
		}
	}
	owner, err := opts.own()
	if err != nil {
		return nil, err
	}
	if err := refuseInCluster(opts.Dir); err != nil && opts.Cluster == nil {
		return nil, errors.Join(err, owner.release())
	}
	l := &Ledger{
		opts:     opts,
		log:      opts.Logger,
		owner:    owner,
		files:    logFiles{root: filepath.Join(opts.Dir, "log"), faults: opts.faults},
		stations: map[string]int64{},
		grown:    make(chan struct{}),
		stop:     make(chan struct{}),
	}
	l.queue.init(opts.atOnce())
	l.build.much = make(chan struct{}, 1)
	if err := l.start(ctx); err != nil {
		return nil, errors.Join(err, l.closeStream(), owner.release())
	}
	return l, nil
}

// atOnce returns how many entries one call of Append takes.
func (o *Options) atOnce() int {
	if o.Cluster != nil || serverSyncs(o.SyncAlways) {
		return MaxBatch
	}
	return mostAtOnce
}

// own makes the folder this process's alone. For reading that is not needed; it only must not be another's.
func (o *Options) own() (*ownership, error) {
	if o.Reading {
		return nil, lookForOwner(o.Dir)
	}
	if err := os.MkdirAll(o.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make the ledger's folder: %w", err)
	}
	return takeOwnership(o.Dir, Owner{PID: os.Getpid(), Command: o.Command, Since: o.Clock().UTC()})
}

func (o *Options) check() error {
	switch {
	case o.Dir == "":
		return errors.New("a ledger needs a folder")
	case o.Copy != nil && o.Copy.key().Name() != o.Origin:
		return fmt.Errorf("the key is named %q and the ledger %q; use the key made for this ledger", o.Copy.key().Name(), o.Origin)
	case o.Clock == nil:
		return errors.New("a ledger needs a clock")
	case o.Copy != nil:
	case o.Signer == nil || o.Verifier == nil:
		return errors.New("a ledger needs its key: signer and verifier")
	case o.Signer.Name() != o.Origin || o.Verifier.Name() != o.Origin:
		return fmt.Errorf("the key is named %q and the ledger %q; use the key made for this ledger",
			o.Signer.Name(), o.Origin)
	case o.Signer.KeyHash() != o.Verifier.KeyHash():
		return fmt.Errorf("signer and verifier of %q are two different keys", o.Origin)
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.CheckpointEvery <= 0 {
		o.CheckpointEvery = 200 * time.Millisecond
	}
	if o.Command == "" {
		o.Command = filepath.Base(os.Args[0])
	}
	return nil
}

// SetURL publishes the address of this process for programs that find the folder in use.
func (l *Ledger) SetURL(url string) error {
	return l.owner.setURL(url)
}

// Origin returns the ledger's name.
func (l *Ledger) Origin() string { return l.opts.Origin }

// Dir returns the ledger's folder.
func (l *Ledger) Dir() string { return l.opts.Dir }

// Size returns the number of records stored. It is the sequence of the last one.
func (l *Ledger) Size() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.size
}

// Signed returns the newest checkpoint.
func (l *Ledger) Signed() proof.Checkpoint {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.signed
}

// SignedNote returns the newest checkpoint with its signature.
func (l *Ledger) SignedNote() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.note
}

// Damage returns what is wrong with the ledger. While there is damage nothing can be appended.
func (l *Ledger) Damage() []Problem {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]Problem(nil), l.damage...)
}

// AuditErrors returns the number of records that Options.Audit has rejected since the start.
func (l *Ledger) AuditErrors() int64 { return l.auditErrors.Load() }

// Close signs a last checkpoint, stops the server and releases the folder. Appends that are still queued are refused.
func (l *Ledger) Close() error {
	var err error
	l.closed.Do(func() { err = l.close() })
	return err
}

func (l *Ledger) close() error {
	l.queue.close()
	close(l.stop)
	l.wg.Wait()
	l.mu.Lock()
	healthy := len(l.damage) == 0 && !l.unsynced
	l.mu.Unlock()
	var errs []error
	if healthy {
		if err := l.integrate(); err != nil {
			errs = append(errs, fmt.Errorf("the last checkpoint is missing %d records; they are stored, and the next "+
				"start signs them: %w",
				l.Size()-l.Signed().Size, err))
		}
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	errs = append(errs, l.closeStream())
	l.mu.Lock()
	close(l.grown)
	l.grown = nil
	clean := healthy && l.failed == nil && l.inDoubt == nil
	note := l.note
	l.mu.Unlock()
	if healthy {
		l.keepHeads()
	}
	if clean {
		// Crash here: the next start takes the stop for an unclean one and looks harder. No harm.
		if err := replaceFile(l.opts.faults, "clean marker", l.cleanMarker(), note); err != nil {
			errs = append(errs, err)
		}
	}
	errs = append(errs, l.owner.release())
	return errors.Join(errs...)
}

func (l *Ledger) cleanMarker() string { return filepath.Join(l.opts.Dir, cleanMarkerName) }

const cleanMarkerName = "stream.clean"

func (l *Ledger) stopped() bool {
	select {
	case <-l.stop:
		return true
	default:
		return false
	}
}

func (e Entry) check(origin string) error {
	site, station, ok := strings.Cut(e.Station, "/")
	if !ok || !validToken(site) || !validToken(station) {
		return fmt.Errorf("not recorded: the station %q is not of the form site/station in small letters, digits "+
			"and hyphens", e.Station)
	}
	if !validKind(e.Kind) {
		return fmt.Errorf("not recorded: the kind %q is not small letters in parts joined by dots", e.Kind)
	}
	if len(e.Note) > MaxNote {
		return fmt.Errorf("not recorded: the note has %d bytes, more than the %d a record may have",
			len(e.Note), MaxNote)
	}
	if e.ExpectPrev < 0 {
		return fmt.Errorf("not recorded: the previous record of station %s cannot be number %d",
			e.Station, e.ExpectPrev)
	}
	if err := proof.CheckStationNote(origin, e.Note); err != nil {
		return fmt.Errorf("not recorded: %w", err)
	}
	if len(e.About) > proof.MaxLinks {
		return fmt.Errorf("not recorded: the note is about %d things, at most %d are linked", len(e.About), proof.MaxLinks)
	}
	for i, key := range e.About {
		if err := proof.CheckKey(key); err != nil {
			return fmt.Errorf("not recorded: %w", err)
		}
		if i > 0 && e.About[i-1] >= key {
			return fmt.Errorf("not recorded: what the note is about is not in order: %q, %q", e.About[i-1], key)
		}
	}
	return nil
}

func validToken(s string) bool {
	for _, c := range []byte(s) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return s != ""
}

func validKind(s string) bool {
	for part := range strings.SplitSeq(s, ".") {
		if part == "" {
			return false
		}
		for _, c := range []byte(part) {
			if c < 'a' || c > 'z' {
				return false
			}
		}
	}
	return true
}

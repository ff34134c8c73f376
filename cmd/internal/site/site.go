// Package site is one hospital's listbound: a data folder with the ledger, the
// read model and the keys, and what people do with them. Pages, commands and
// the server all come here.
package site

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
	"listbound/projections/readmodel"
	"listbound/projections/words"
)

// Options say which folder, and how.
type Options struct {
	Dir   string
	Name  string           // site of a new folder, such as north; an old one has its own
	Clock func() time.Time // the ledger's clock
	// After is how KeepTime waits; nil: time.After.
	After func(time.Duration) <-chan time.Time
	// AsOf is as of when is judged; zero: as of now, or as the folder says.
	AsOf time.Time
	// EnrolOnSight enrols a station that is met for the first time, with a key
	// made here. A server does not: it takes only enrolled stations.
	EnrolOnSight bool
	// Existing refuses a folder that holds no ledger yet: for questions.
	Existing bool
	// Batch is how many lines of a file are recorded at once at most, 1 to 500. More is
	// faster; they then share one time of arrival. Default 200, alone 4000. Where so many hold up others for long, it is fewer.
	Batch int
	// Alone says that nobody else hands in while a file is recorded, as in a command's own folder: no part of it is kept short
	// for others, and the next one is read meanwhile.
	Alone   bool
	Command string
	Logger  *slog.Logger
	HTTP    *http.Client // for the witnesses; nil: http.DefaultClient
	Random  io.Reader    // of salts and of the key of ids; nil: crypto/rand.Reader
	// Zone is the site's time zone, such as Europe/Berlin, and Weight its unit of
	// weight, kg or lb. Both stay in the folder; empty leaves what is there.
	Zone, Weight string
	// Progress is told how far the read model is where Open makes it anew, as behind another version of this program; nil: nobody is.
	Progress Progress
	// Followers are kept up to date beside the read model.
	Followers []Follower
	// LockWait is how long judgement waits for another program that has the read
	// model locked; zero: 10 s.
	LockWait time.Duration

	// Cluster keeps the ledger's stream; nil: this process does. Open then waits until no other process writes.
	Cluster *ledger.Cluster
	// Follow makes the folder a follower's; nil: the ledger is written here.
	Follow *Following

	acceptLoss bool // open a folder that is behind its memory, to declare the loss
	replaceKey bool // make a key beside the ledger's, which is to take over

	meanwhile func()          // in tests: what others do before the folder is this program's
	reading   func(seq int64) // in tests: called with each record that is read for a redaction, and with 0 before stations wait
	mapEvery  int64           // zero: as the constant says
}

// Site is an open data folder. Its methods may be called from many goroutines.
type Site struct {
	opts      Options
	own       *ownKey
	vkey      string // the public half of the ledger's key
	opening   bool   // Open has not ended
	madeAnew  bool   // it made the read model anew
	keys      proof.Keys
	ledger    *ledger.Ledger
	following *following // nil: the ledger is written here
	addenda   *addenda
	gone      map[string]bool // marks of texts that were taken out; nil: not asked for yet. See takenOut

	// intake is held while observations are turned into records: each needs to
	// know what came before it. Judgement follows before it is let go, so a
	// receipt means that the verdicts are up to date too, or says that they aren't.
	intake     turn
	requests   requests               // that wait for intake
	together   int                    // so many lines of files are recorded at once for now
	waited     time.Time              // when somebody last had to wait for lines of a file
	signers    map[string]note.Signer // of the stations whose keys are kept here, as far as used
	rebuilding sync.Mutex             // held by the one rebuild that runs
	redacting  sync.Mutex             // held by the one redaction that runs; taken before the locks above
	scheduling sync.Mutex             // held by the one schedule that is taken in, which asks what stands before it records
	compares   compares
	pasts      pasts // what was known at earlier moments, as far as asked for
	asideMu    sync.Mutex
	aside      []func() (release func()) // see Aside
	// modelMu guards the pointer; a rebuild puts another model in its place.
	modelMu sync.RWMutex
	model   *readmodel.Model
	// elsewhere is where the read model lies while nothing can be written in the folder.
	elsewhere string
	lag       atomic.Pointer[lag] // nil: the last attempt to catch up with the ledger succeeded
	mapped    int64               // the last record of a mapping, as far as known; held with intake
	mapping   bool                // one is being recorded
	listen    listeners
	words     *words.Judgement
	local     *words.Judgement

	keysHere sync.Map // readKey, by station

	badges  map[string]bool // codes that stood for people: whether each is a set's; held with intake
	namesMu sync.Mutex      //  held while the names of people are read or written

	firsts firsts // when findings were first known

	checked atomic.Pointer[Check]   // the last one in the background
	lost    []Notice                // what was declared lost
	missing atomic.Pointer[[]int64] // records whose texts are not there; see missing.go

	witnesses  *witnesses
	timestamps *timestamps
	stopMu     sync.Mutex
	asOf       time.Time        // see fixMoment
	had        int64            // how many records others have seen, where that is not what there is
	stopped    []ledger.Problem // why nothing may be written although the ledger itself is whole
}

// A line is stored as one record, or as two where it enrols its station, and a batch is one append. Where nobody waits it is a few:
// a set whose steps are in one round is judged once for all of them. It ends earlier with lines of so many bytes.
const (
	mostInBatch = ledger.MaxBatch / 2
	usualBatch  = 200
	batchAlone  = 4 * ledger.MaxBatch
	bytesAlone  = 4 << 20
)

// Open opens a data folder, or starts one.
func Open(ctx context.Context, o Options) (*Site, error) {
	if o.Clock == nil {
		return nil, errors.New("a site needs a clock")
	}
	if o.After == nil {
		o.After = time.After
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	o.mapEvery = cmp.Or(o.mapEvery, mapEvery)
	if o.Batch < 1 || o.Batch > mostInBatch {
		o.Batch = usualBatch
		if o.Alone {
			o.Batch = batchAlone
		}
	}
	if err := errors.Join(mayLook(o.Dir), restored(o.Dir), refuseFollower(o)); err != nil {
		return nil, err
	}
	var follower *following
	if o.Follow != nil {
		var err error
		if follower, err = openFollowing(&o); err != nil {
			return nil, err
		}
	}
	texts, err := readWords(o)
	if err != nil {
		return nil, err
	}
	if follower != nil {
		texts.Catalogue().Elsewhere(follower.elsewhere)
	}
	settings, err := readSettings(o)
	if err != nil {
		return nil, err
	}
	s := &Site{opts: o, words: texts, local: texts.For(settings.local), signers: make(map[string]note.Signer), opening: true,
		following: follower}
	if err := s.openLedger(ctx); err != nil {
		return nil, err
	}
	if err := s.openBeside(ctx, settings); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	s.opening = false
	if err := s.beginWriting(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// openLedger opens the ledger under its key, or the copy of one that is written elsewhere.
func (s *Site) openLedger(ctx context.Context) error {
	if s.following != nil {
		err := s.openCopy(ctx)
		if err != nil && s.ledger != nil {
			err = errors.Join(err, s.ledger.Close())
		}
		return err
	}
	if err := s.openUnder(ctx); err != nil {
		return err
	}
	if err := s.settleKey(ctx, s.own, s.opts.replaceKey); err != nil {
		return errors.Join(err, s.Close())
	}
	return nil
}

// openBeside opens what stands beside the ledger and follows it, and holds the
// ledger against all that remembers it.
func (s *Site) openBeside(ctx context.Context, settings *settings) (err error) {
	if s.ledger.FilesOnly() {
		err = s.moveOut()
	} else if s.following != nil {
		err = errors.Join(readmodel.Remove(s.modelPath()+".new"), s.removeChecks())
	} else { // a rebuild that was cut off leaves half a read model, and nobody else has the folder now
		err = errors.Join(readmodel.Remove(s.modelPath()+".new"), s.removeChecks(), s.dropHalfKeys())
	}
	if err != nil {
		return err
	}
	if err := s.fixMoment(); err != nil {
		return err
	}
	if err := settings.keep(s.opts.Dir); err != nil {
		return err
	}
	if s.addenda, err = readAddenda(s.opts.Dir, s.opts.Random); err != nil {
		return err
	}
	s.keepIndex()
	if s.model, err = readmodel.Open(ctx, s.inUse(s.modelOptions(s.modelPath()))); err != nil {
		return err
	}
	if err := s.follow(ctx); err != nil {
		if problems := s.ledger.Damage(); len(problems) > 0 { // which is why, and says what to do
			err = fmt.Errorf("%w: %w", err, s.damaged(&ledger.DamagedError{Dir: s.opts.Dir, Problems: problems}))
		}
		return err
	}
	if s.following != nil {
		err = s.readGone(ctx)
	} else {
		err = s.endRedaction(ctx)
	}
	if err != nil {
		return err
	}
	if err := s.readKeys(ctx); err != nil {
		return err
	}
	if s.witnesses, err = s.readWitnesses(); err != nil {
		return err
	}
	if s.timestamps, err = s.readTimestamps(); err != nil {
		return err
	}
	if err := s.remember(ctx); err != nil {
		return err
	}
	s.readChecked()
	return errors.Join(s.readLost(ctx), s.lookForTexts(ctx))
}

// stoppedError refuses to write to a ledger that is whole but not the one that
// others have seen.
func (s *Site) stoppedError() error {
	s.stopMu.Lock()
	defer s.stopMu.Unlock()
	if len(s.stopped) == 0 {
		return nil
	}
	var what []string
	for _, p := range s.stopped {
		what = append(what, p.What)
	}
	return fmt.Errorf("%w: %s. %s", ledger.ErrStopped, strings.Join(what, "; "), s.waysOut())
}

// writable returns nil if the ledger takes records, and otherwise why not and what to do.
func (s *Site) writable() error {
	if err := s.followsElsewhere(); err != nil {
		return err
	}
	if err := s.stoppedError(); err != nil {
		return err
	}
	return s.damaged(s.ledger.Writable())
}

// stop lets nothing more be written, until the folder is opened again.
func (s *Site) stop(p ledger.Problem) {
	s.opts.Logger.Error("the ledger takes no more records", "problem", p.What)
	s.stopMu.Lock()
	defer s.stopMu.Unlock()
	if !slices.Contains(s.stopped, p) {
		s.stopped = append(s.stopped, p)
	}
}

// follow brings everything that follows the ledger up to date. A read model
// that is new, or was filled by another judgement and so starts empty, is filled
// as a rebuild fills it, which is many times quicker than record by record. So is
// one that is ahead of the ledger, as where only the ledger was put back from a
// copy: it has verdicts on records that are gone, and would pass over those to come. And so is one to which no row can be added.
func (s *Site) follow(ctx context.Context) error {
	size, pos := s.ledger.Size(), s.current().Position()
	if s.following == nil { // a follower has given out no numbers
		if err := s.behind(pos); err != nil {
			return err
		}
	}
	if pos > size || pos == 0 && size > 0 {
		s.opts.Logger.Info("the read model is made anew", "records", size)
		if err := s.refill(ctx, s.opts.Progress); err != nil {
			return err
		}
		s.madeAnew = true
	} else if last, err := s.current().LastRow(ctx); err != nil {
		return err
	} else if last != pos {
		s.opts.Logger.Warn("rows at the end of the read model are missing, or are too many, so somebody has edited it; it is made anew of the records, "+
			"and nothing that was recorded is lost",
			"row", last, "record", pos)
		if err := s.refill(ctx, s.opts.Progress); err != nil {
			return err
		}
		s.madeAnew = true
	}
	return s.catchUp(ctx, nil)
}

// Close writes a last checkpoint and lets the folder go, when what is being
// recorded or asked has ended.
func (s *Site) Close() error {
	s.intake.Lock()
	defer s.intake.Unlock()
	errs := []error{s.pasts.close()}
	s.listen.close()
	s.modelMu.Lock()
	if s.model != nil {
		errs = append(errs, s.model.Close())
		s.model = nil
	}
	s.modelMu.Unlock()
	if s.ledger != nil {
		s.keepIndex()
		errs = append(errs, s.ledger.Close())
	}
	errs = append(errs, s.following.close())
	if s.elsewhere != "" {
		errs = append(errs, os.RemoveAll(s.elsewhere))
	}
	return errors.Join(errs...)
}

// Name returns the ledger's name, <site>/ledger.
func (s *Site) Name() string { return s.own.verifier.Name() }

// Key returns the ledger's public key in the form that is handed out.
func (s *Site) Key() string { return s.vkey }

// Size returns the number of records.
func (s *Site) Size() int64 { return s.ledger.Size() }

// Damage says what is wrong with the ledger, nothing while it takes records.
func (s *Site) Damage() []ledger.Problem {
	s.stopMu.Lock()
	defer s.stopMu.Unlock()
	return slices.Concat(s.ledger.Damage(), s.stopped)
}

// Ready returns nil if observations can be recorded and questions answered, and otherwise why not. Where judgement lags
// behind the ledger after a failure, it is tried once more.
func (s *Site) Ready(ctx context.Context) error {
	if p := s.Position(); p != nil && p.Silent {
		return refusal.WithCode(http.StatusServiceUnavailable, "nothing has been heard from the ledger since %s: what was recorded "+
			"since is not known here", p.Heard.UTC().Format(time.RFC3339))
	} else if err := s.writable(); err != nil && p == nil {
		return err
	}
	s.settle()
	lag := s.lag.Load()
	if lag == nil {
		return s.Ask(func(*View) error { return nil })
	}
	if !s.intake.TryLock() {
		return lag.why // whoever holds it tries to catch up
	}
	defer s.intake.Unlock()
	return s.catchUp(ctx, nil)
}

// SetURL tells other programs where this folder is served.
func (s *Site) SetURL(url string) error { return s.ledger.SetURL(url) }

const modelName = "readmodel.db"

func (s *Site) modelPath() string { return filepath.Join(cmp.Or(s.elsewhere, s.opts.Dir), modelName) }

func (s *Site) current() *readmodel.Model {
	s.modelMu.RLock()
	defer s.modelMu.RUnlock()
	return s.model
}

// Keys lie in one folder, named after whom they belong to.
const keySuffix = ".key"

func (s *Site) keyPath(station string) string {
	return filepath.Join(s.opts.Dir, "keys", strings.Replace(station, "/", "_", 1)+keySuffix)
}

// Holds reports whether a folder has a ledger already.
func Holds(dir string) (bool, error) {
	_, err := (&Site{opts: Options{Dir: dir, Existing: true}}).ledgerName()
	if errors.Is(err, errNoLedger) {
		return false, nil
	}
	return err == nil, err
}

var errNoLedger = errors.New("holds no ledger yet")

// ledgerName finds the name of the folder's ledger by its key, or makes the
// name of a new one.
func (s *Site) ledgerName() (string, error) {
	if err := mayLook(s.opts.Dir); err != nil {
		return "", err
	}
	found, err := disk.Glob(filepath.Split(s.keyPath(events.LedgerName("*"))))
	if err != nil {
		return "", fmt.Errorf("looking for the ledger's key: %w", err)
	}
	switch {
	case len(found) > 1:
		return "", fmt.Errorf("%s holds the keys of %d ledgers; a folder holds one", filepath.Join(s.opts.Dir, "keys"), len(found))
	case len(found) == 1:
		site := strings.TrimSuffix(filepath.Base(found[0]), strings.Replace(events.LedgerName(""), "/", "_", 1)+keySuffix)
		return events.LedgerName(site), nil
	}
	if _, err := os.Stat(filepath.Join(s.opts.Dir, "stream")); err == nil {
		return "", fmt.Errorf("%s holds records but not the ledger's key; put back the folder keys from a copy", s.opts.Dir)
	}
	if s.opts.Existing {
		return "", fmt.Errorf("%s %w; record something there first, or name another folder with --data", s.opts.Dir, errNoLedger)
	}
	site := s.opts.Name
	if site == "" {
		site = "site"
	}
	name := events.LedgerName(site)
	if err := events.CheckStation(name); err != nil {
		return "", fmt.Errorf("%q can't be the name of a site: small letters, digits and hyphens", site)
	}
	return name, nil
}

// ErrRebuilding refuses a second rebuild while one runs.
var ErrRebuilding = refusal.WithCode(http.StatusConflict, "the read model is being made anew already; wait until that is done")

// MadeAnew reports whether Open has made the folder's read model afresh, so that whoever opened it for that need not ask for it. One that
// was made elsewhere, for the questions alone, is not the folder's.
func (s *Site) MadeAnew() bool { return s.madeAnew && !s.ledger.FilesOnly() }

// Rebuild makes the read model afresh and has the other followers begin again.
// It returns the number of records read. Recording goes on meanwhile; it waits
// only while the new model takes the old one's place and the records that came
// meanwhile.
func (s *Site) Rebuild(ctx context.Context, progress Progress) (int64, error) {
	if s.ledger.FilesOnly() {
		return 0, s.writable()
	}
	if !s.rebuilding.TryLock() {
		return 0, ErrRebuilding
	}
	defer s.rebuilding.Unlock()
	return s.rebuild(ctx, progress)
}

// rebuildAfterOthers is Rebuild that waits for one that runs: that one may have read what is gone since.
func (s *Site) rebuildAfterOthers(ctx context.Context) (int64, error) {
	s.rebuilding.Lock()
	defer s.rebuilding.Unlock()
	return s.rebuild(ctx, nil)
}

// rebuild is Rebuild. The caller holds rebuilding.
func (s *Site) rebuild(ctx context.Context, progress Progress) (int64, error) {
	path, err := s.fillAnew(ctx, progress)
	if err != nil {
		return 0, err
	}
	s.intake.Lock()
	defer s.intake.Unlock()
	if err := ctx.Err(); err != nil {
		return 0, errors.Join(err, readmodel.Remove(path))
	}
	if err := s.putInPlace(ctx, path); err != nil {
		return 0, err
	}
	if err := s.catchUp(context.WithoutCancel(ctx), nil); err != nil { // else it could lack what was recorded meanwhile, unsaid
		return 0, err
	}
	return s.current().Position(), s.restart(ctx)
}

// refill makes the read model afresh and puts it in its place.
func (s *Site) refill(ctx context.Context, progress Progress) error {
	path, err := s.fillAnew(ctx, progress)
	if err != nil {
		return err
	}
	return s.putInPlace(ctx, path)
}

// fillAnew makes a read model of the whole ledger beside the one in use, and
// returns where it lies.
func (s *Site) fillAnew(ctx context.Context, progress Progress) (string, error) {
	path := s.modelPath() + ".new"
	if err := readmodel.Remove(path); err != nil {
		return "", err
	}
	m, err := Fill(ctx, s.ledger, s.modelOptions(path), progress)
	if err == nil {
		// Closing folds the write-ahead log into the one file that is renamed.
		err = m.Close()
	}
	if err != nil {
		return "", errors.Join(err, readmodel.Remove(path))
	}
	return path, nil
}

// putInPlace puts a new read model in the place of the old one. It isn't cut off halfway: without a model nothing would be judged or
// answered until the next start. So what lies there in the end is opened, also where the new one could not be put there.
func (s *Site) putInPlace(ctx context.Context, path string) error {
	s.modelMu.Lock()
	defer s.modelMu.Unlock()
	if s.model == nil { // closed meanwhile, or before
		return errors.Join(refusal.ErrClosed, readmodel.Remove(path))
	}
	err := s.model.Close()
	if err == nil {
		err = readmodel.Remove(s.modelPath())
	}
	if err == nil {
		if err = os.Rename(path, s.modelPath()); err != nil {
			err = fmt.Errorf("putting the new read model in place: %w", err)
		}
	}
	m, cannot := readmodel.Open(context.WithoutCancel(ctx), s.inUse(s.modelOptions(s.modelPath())))
	if cannot == nil {
		s.model = m
	}
	if err = errors.Join(err, cannot); err != nil {
		s.lag.Store(&lag{err, max(s.model.Position(), 0)})
	}
	return err
}

// removeChecks removes read models that were made to compare with by a program that was killed.
func (s *Site) removeChecks() error {
	left, err := disk.Glob(s.opts.Dir, checkPrefix+"*")
	for _, dir := range left {
		err = errors.Join(err, os.RemoveAll(dir))
	}
	return err
}

func (s *Site) modelOptions(path string) readmodel.Options {
	return readmodel.Options{
		Path: path, Ledger: s.ledger.Verifier(), Records: s.ledger, Moment: s.moment(), LockWait: s.opts.LockWait,
		Disclosed: s.addenda.disclosed, Zone: s.Zone(),
	}
}

// writeDelay is how long what was judged may wait to be written to the read model's tables, so that a set that is scanned again
// meanwhile has its verdict written once, and many rows are written at once. Who asks does not wait for it: see Ask.
const writeDelay = 500 * time.Millisecond

// inUse are the options of the read model that judges.
func (s *Site) inUse(o readmodel.Options) readmodel.Options {
	o.Delay = writeDelay
	o.Failed = func(why error, at int64) {
		s.lag.Store(&lag{why, at})
		s.opts.Logger.Error("the read model lags behind the ledger", "error", why)
		s.listen.tell() // boards say so
	}
	return o
}

// rebuildBatch is larger than batchLen: nobody waits for single rows meanwhile. Some of them are held at once.
const rebuildBatch = 8000

// Fill makes a read model of a whole ledger in an empty file.
func Fill(ctx context.Context, l *ledger.Ledger, o readmodel.Options, progress Progress) (*readmodel.Model, error) {
	return fill(ctx, l, o, l.Size(), progress)
}

// fill is Fill of the first so many records.
func fill(ctx context.Context, l *ledger.Ledger, o readmodel.Options, upto int64, progress Progress) (*readmodel.Model, error) {
	m, err := readmodel.Open(ctx, o)
	if err != nil {
		return nil, err
	}
	if err = m.BeginBulk(ctx); err == nil {
		err = feedTo(ctx, l, m, o.Disclosed, upto, progress, rebuildBatch)
	}
	if err == nil {
		err = m.EndBulk(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, m.Close())
	}
	return m, nil
}

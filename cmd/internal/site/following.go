package site

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// A follower is a folder that holds a copy of a ledger which another server writes. It takes in what that server's log
// shows, judges it as the writer does, and answers questions. It records nothing and has no private key.

// Following says of which ledger a folder is a follower.
type Following struct {
	Of  string // the address of the server that writes
	Key string // the ledger's public key; "" where the folder knows it
	Log ledger.Log
	// Asks reports whether that server wants to know who somebody is before it shows its log.
	Asks func(context.Context) (bool, error)
	// Age is how old the last checkpoint of Log was when it was shown, as whoever showed it says: a cache between, or a follower
	// that is followed. nil: 0.
	Age func() time.Duration
	// Silence is after how long without a word of the ledger a page says so loudly. Default 15 s.
	Silence time.Duration
	// Tell is told once when a page begins to say why nothing is heard, when it says something else, and when it no longer does:
	// Unheard is empty then. It may be nil.
	Tell func(*Position)
}

// Unheard is why nothing is heard of a ledger.
type Unheard string

// The reasons.
const (
	UnheardAway        Unheard = "away"        // nobody answers at the address
	UnheardCertificate Unheard = "certificate" // who answers is not trusted here
	UnheardBarred      Unheard = "barred"      // the log is not shown to this follower
	UnheardAnswer      Unheard = "answer"      // what answers has no log, or fails
	UnheardKey         Unheard = "key"         // the checkpoint is not signed by the ledger
	UnheardBack        Unheard = "back"        // there are fewer records than there were
	UnheardTwo         Unheard = "two"         // there are others than there were
	UnheardChanged     Unheard = "changed"     // they are not those that the checkpoint was signed for
	UnheardHere        Unheard = "here"        // what was shown can't be kept or judged here
	UnheardBehind      Unheard = "behind"      // what answers has heard nothing itself: it is a follower, or a cache
	UnheardTaking      Unheard = "taking"      // it is being taken in
)

// Refused reports whether something was shown and not taken in.
func (u Unheard) Refused() bool {
	return u == UnheardKey || u == UnheardBack || u == UnheardTwo || u == UnheardChanged
}

// passing reports whether it often is over in a moment, so that nobody is told before it has lasted.
func (u Unheard) passing() bool {
	return u == UnheardAway || u == UnheardAnswer || u == UnheardBehind || u == UnheardTaking
}

// LogError says why a log could not be asked. Says is for a person: the status of an answer, or why there was none.
type LogError struct {
	Why  Unheard
	Says string
	Err  error
}

func (e *LogError) Error() string { return e.Err.Error() }

// Unwrap returns what it was.
func (e *LogError) Unwrap() error { return e.Err }

// unheard says why nothing is heard where taking in ended with an error.
func unheard(err error) Unheard {
	var asked *LogError
	var key *ledger.NotSignedError
	var back *ledger.WentBackError
	var two *ledger.TwoHistoriesError
	var changed *ledger.ChangedError
	switch {
	case err == nil:
		return ""
	case errors.As(err, &two):
		return UnheardTwo
	case errors.As(err, &back):
		return UnheardBack
	case errors.As(err, &key):
		return UnheardKey
	case errors.As(err, &changed):
		return UnheardChanged
	case errors.As(err, &asked):
		return asked.Why
	case errors.Is(err, os.ErrNotExist): // the log says that it has none of a file
		return UnheardAnswer
	}
	return UnheardHere
}

const (
	followsName     = "follows.json"
	historiesName   = "two-histories.txt"
	followEvery     = 500 * time.Millisecond
	followMost      = 8 * time.Second // between two attempts while the writer is away
	followPatience  = 10 * time.Second
	askEvery        = time.Minute // whether the writer asks who somebody is
	defaultSilence  = 15 * time.Second
	keepHeardEvery  = time.Minute
	historiesBehind = "\n\nThe other one:\n\n"
)

// ErrHandedOn ends a follower of a ledger whose key was replaced: it is to be opened anew, under the new one.
var ErrHandedOn = errors.New("the ledger's key was replaced; the follower starts anew under the new one")

// follows is what a follower's folder knows beside its copy.
type follows struct {
	Of    string    `json:"of"`
	Keys  []string  `json:"keys"` // that the ledger has had, the newest last
	Heard time.Time `json:"heard,omitzero"`
	Asks  bool      `json:"asks,omitzero"`
}

// following is the state of a follower.
type following struct {
	Following
	dir   string
	clock func() time.Time // that of this machine; the site's own stands still while nothing is heard

	mu      sync.Mutex
	kept    follows
	saved   time.Time
	heard   time.Time // when the writer's log was seen last, and was what it should be
	asOf    time.Time // as of when is judged
	failed  error     // why nothing is heard
	taking  bool      // the log is being asked
	spoke   time.Time // when it answered last
	loud    bool      // that it has been silent for long was told
	told    Unheard   // why, as Tell was told
	asked   time.Time // when it was asked last whether the writer asks
	running bool

	arrivedOf int64 // arrivedAt is of this record
	arrivedAt time.Time

	gone   atomic.Pointer[map[string]bool] // the marks of texts that the ledger says were taken out
	goneTo int64                           // up to which record; under the site's intake
}

// Follows reports whether a folder is a follower's, and of which server.
func Follows(dir string) (of string, ok bool, err error) {
	raw, err := os.ReadFile(filepath.Join(dir, followsName))
	if errors.Is(err, os.ErrNotExist) {
		return "", false, nil
	}
	var kept follows
	if err == nil {
		err = json.Unmarshal(raw, &kept)
	}
	if err != nil {
		return "", false, fmt.Errorf("whose follower %s is: %w", dir, err)
	}
	return kept.Of, true, nil
}

// refuseFollower keeps a follower's folder from being written as a ledger's own.
func refuseFollower(o Options) error {
	of, is, err := Follows(o.Dir)
	if err != nil || !is || o.Follow != nil {
		return err
	}
	return refusal.New("%s holds a copy of the ledger at %s: open it with listbound follow --server %s --data %s, and ask that with "+
		"--server", o.Dir, of, of, o.Dir)
}

// openFollowing reads what a follower's folder knows, and makes the site's clock one that stands still while nothing is
// heard of the ledger: what is late is told as of then, since the record that it was in time may not have come.
func openFollowing(o *Options) (*following, error) {
	f := &following{Following: *o.Follow, dir: o.Dir, clock: o.Clock}
	if f.Silence <= 0 {
		f.Silence = defaultSilence
	}
	raw, err := os.ReadFile(filepath.Join(o.Dir, followsName))
	switch {
	case errors.Is(err, os.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("whose follower the folder is: %w", err)
	default:
		if err := json.Unmarshal(raw, &f.kept); err != nil {
			return nil, fmt.Errorf("%s: %w", followsName, err)
		}
	}
	known := len(f.kept.Keys) > 0
	switch {
	case !known && f.Key == "":
		return nil, refusal.New("a follower must know the ledger's key, by which it tells that what it takes in is the ledger's: give it " +
			"with --ledger, as listbound key prints it where the ledger is written")
	case !known:
		f.kept.Keys = []string{f.Key}
	case f.Key != "" && !slices.Contains(f.kept.Keys, f.Key):
		return nil, refusal.New("%s holds a copy of the ledger under the key %s, not under the one given; a follower finds out by "+
			"itself when the key is replaced. For another ledger name another folder", o.Dir, f.kept.Keys[len(f.kept.Keys)-1])
	}
	f.kept.Of = f.Of
	if !f.kept.Heard.After(f.clock()) { // else this machine's clock was set back since
		f.heard, f.asOf = f.kept.Heard, f.kept.Heard
	}
	o.Clock = f.now
	return f, nil
}

// now is as of when a follower knows the ledger.
func (f *following) now() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.asOf.IsZero() {
		return f.clock()
	}
	return f.asOf
}

// verifiers are the keys that the ledger has had.
func (f *following) verifiers() (out []note.Verifier, err error) {
	for _, text := range f.kept.Keys {
		v, err := note.NewVerifier(text)
		if err != nil {
			return nil, refusal.New("the ledger's key %q can't be read; it begins with the ledger's name, as in "+
				"north/ledger+1a2b3c4d+…", text)
		}
		out = append(out, v)
	}
	return out, nil
}

// key is the text of the newest one.
func (f *following) key() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.kept.Keys[len(f.kept.Keys)-1]
}

// keep writes what the folder knows. The caller holds mu.
func (f *following) keep() error {
	raw, err := json.Marshal(&f.kept, jsontext.WithIndent("  "))
	if err == nil {
		err = os.MkdirAll(f.dir, 0o700)
	}
	if err == nil {
		err = disk.Write(f.dir, followsName, append(raw, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keeping whose follower the folder is: %w", err)
	}
	return nil
}

// begin keeps whose follower the folder is.
func (f *following) begin() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.keep()
}

// forget leaves a folder that has taken nothing in without a key: the one given may have been wrong.
func (f *following) forget() error {
	err := os.Remove(filepath.Join(f.dir, followsName))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

// handedOn keeps a key that has taken over. A follower that is running ends then: what was opened under the one before is
// opened anew.
func (f *following) handedOn(text string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.kept.Keys = append(f.kept.Keys, text)
	if err := f.keep(); err != nil {
		return err
	}
	if f.running {
		return ErrHandedOn
	}
	return nil
}

// openCopy opens the copy of a ledger, and takes in what there is of it. Where there is nothing yet, it must be to be had.
func (s *Site) openCopy(ctx context.Context) error {
	f := s.following
	keys, err := f.verifiers()
	if err != nil {
		return err
	}
	newest := keys[len(keys)-1]
	name := newest.Name()
	c := ledger.NewCopy(keys...)
	texts := make(map[note.Verifier]string)
	c.Replaces = func(record []byte, key note.Verifier) note.Verifier {
		d := bundle.Replacing(name, record)
		if d == nil {
			return nil
		}
		former, err := note.NewVerifier(d.Former)
		if err != nil || former.KeyHash() != key.KeyHash() {
			return nil
		}
		next, err := note.NewVerifier(d.Key)
		if err != nil || next.Name() != name {
			return nil
		}
		texts[next] = d.Key
		return next
	}
	c.HandedOn = func(key note.Verifier) error { return f.handedOn(texts[key]) }
	s.own = &ownKey{verifier: newest, text: f.key()}
	s.ledger, err = ledger.Open(ctx, ledger.Options{Dir: s.opts.Dir, Origin: name, Copy: c, Clock: f.clock, Logger: s.opts.Logger,
		Command: s.opts.Command})
	if err != nil {
		return err
	}
	// Not before: a folder that isn't a copy, and is refused, must stay what it is.
	if err := f.begin(); err != nil {
		return err
	}
	_, at, err := s.takeShown(ctx)
	if err != nil && s.ledger.Size() == 0 {
		return errors.Join(fmt.Errorf("nothing is known yet of the ledger at %s: %w", f.Of, err), f.forget())
	}
	f.hear(at, s.lastArrival(), err)
	f.judgeAsOf(s.lastArrival()) // all of it is judged before anybody is answered
	s.ask(ctx)
	s.vkey, s.own.verifier = f.key(), s.ledger.Verifier()
	f.mu.Lock()
	defer f.mu.Unlock()
	f.running = true
	return nil
}

// spoken is a log that notes when it answered.
type spoken struct {
	ledger.Log
	f *following
}

func (l spoken) Tile(ctx context.Context, name string) ([]byte, error) {
	data, err := l.Log.Tile(ctx, name)
	if err == nil {
		l.f.note(true)
	}
	return data, err
}

// note notes that the log is being asked, and has answered just now.
func (f *following) note(taking bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.taking = taking; taking {
		f.spoke = f.clock()
	}
}

// takeShown takes in what the log shows. It returns as of when that is the ledger: the checkpoint was asked for after that.
func (s *Site) takeShown(ctx context.Context) (grew bool, at time.Time, err error) {
	f := s.following
	at = f.clock()
	defer f.note(false)
	grew, err = s.ledger.Take(ctx, spoken{f.Log, f})
	if f.Age != nil {
		at = at.Add(-max(f.Age(), 0))
	}
	return grew, at, s.keepHistories(err)
}

// hear keeps when the ledger was heard of, or why it was not. arrived is when its last record was recorded.
func (f *following) hear(at, arrived time.Time, failed error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.failed = failed; failed == nil {
		if at.After(f.heard) { // an answer that is older than the last one tells nothing
			f.heard = at
		}
		f.loud = f.loud && f.silent()
	}
	if f.heard.IsZero() {
		f.heard = arrived // it was heard of then, as its record is here
	}
	if now := f.clock(); failed == nil && now.Sub(f.saved) >= keepHeardEvery {
		f.kept.Heard, f.saved = f.heard, now
		_ = f.keep() // it only saves a start from knowing less
	}
}

// judgeAsOf lets verdicts be as of when the ledger was heard of last, once they rest on all that was taken in then: before, what
// is recorded in what comes would be called late. arrived is when the last record was recorded.
func (f *following) judgeAsOf(arrived time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.asOf = f.heard; f.asOf.Before(arrived) { // no verdict is as of before what it rests on
		f.asOf = arrived
	}
}

func (f *following) silent() bool { return f.clock().Sub(f.heard) >= f.Silence }

// close keeps when the ledger was heard of last.
func (f *following) close() error {
	if f == nil {
		return nil
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.kept.Heard = f.heard
	return f.keep()
}

// turnedLoud reports whether the ledger has been silent for long since the last call.
func (f *following) turnedLoud() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.loud || !f.silent() {
		return false
	}
	f.loud = true
	return true
}

// lastArrival is when the last record was recorded; zero where there is none.
func (s *Site) lastArrival() time.Time {
	at, _ := s.arrivalOf(s.ledger.Size())
	return at
}

func (s *Site) arrivalOf(seq int64) (time.Time, error) {
	if seq < 1 {
		return time.Time{}, nil
	}
	record, err := s.ledger.Read(seq)
	if err != nil {
		return time.Time{}, err
	}
	_, at, _, err := proof.SplitArrival(s.Name(), record)
	return at, err
}

// KeepFollowing takes in what the ledger's log shows, until the context ends or the ledger's key is replaced. While the
// writer is away it asks less often.
func (s *Site) KeepFollowing(ctx context.Context) error {
	wait := followEvery
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-s.opts.After(wait):
		}
		err := s.TakeIn(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, ErrHandedOn):
			return err
		case err != nil:
			wait = min(2*wait, followMost)
		default:
			wait = followEvery
		}
	}
}

// TakeIn takes in once what the ledger's log shows beyond what is here.
func (s *Site) TakeIn(ctx context.Context) error {
	f := s.following
	grew, at, err := s.takeShown(ctx)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	was := f.failure()
	f.hear(at, s.lastArrival(), err)
	if err == nil {
		err = s.judgeTaken(ctx, grew)
	}
	if f.turnedLoud() || unheard(was) != unheard(f.failure()) {
		s.listen.tell()
	}
	s.tellUnheard()
	s.ask(ctx)
	return err
}

// judgeTaken judges what was taken in.
func (s *Site) judgeTaken(ctx context.Context, grew bool) error {
	if !grew && s.lagging() == 0 {
		s.following.judgeAsOf(s.lastArrival()) // what has become overdue is judged by KeepTime
		return nil
	}
	s.intake.Lock()
	defer s.intake.Unlock()
	err := s.catchUp(ctx, nil)
	if err == nil {
		s.following.judgeAsOf(s.lastArrival())
		err = errors.Join(s.readGone(ctx), s.catchUp(ctx, nil))
	}
	s.listen.tell()
	return err
}

// tellUnheard says once why nothing is heard.
func (s *Site) tellUnheard() {
	f, p := s.following, s.Position()
	f.mu.Lock()
	was := f.told
	f.told = p.Unheard
	f.mu.Unlock()
	if was != p.Unheard && f.Tell != nil {
		f.Tell(p)
	}
}

func (f *following) failure() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.failed
}

// ask finds out now and then whether the writer asks who somebody is: a follower must not show more than that.
func (s *Site) ask(ctx context.Context) {
	f := s.following
	now := f.clock()
	f.mu.Lock()
	due := f.Asks != nil && (f.asked.IsZero() || now.Sub(f.asked) >= askEvery)
	f.mu.Unlock()
	if !due {
		return
	}
	asks, err := f.Asks(ctx)
	if err != nil {
		return // what was known stands
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.asked = now; f.kept.Asks != asks {
		f.kept.Asks = asks
		_ = f.keep() // it is asked again at the next start
	}
}

// elsewhere reports whether a text is where the ledger is written: nothing here says that it was taken out there.
func (f *following) elsewhere(mark string) bool {
	gone := f.gone.Load()
	return gone == nil || !(*gone)[mark]
}

// readGone reads which texts the ledger says were taken out. The caller holds s.intake, or is Open.
func (s *Site) readGone(ctx context.Context) error {
	f := s.following
	seqs, err := Answer(s, func(v *View) ([]int64, error) { return v.SaidOfTexts(ctx) })
	if err != nil || len(seqs) == 0 || seqs[len(seqs)-1] <= f.goneTo {
		return err
	}
	gone := make(map[string]bool)
	if had := f.gone.Load(); had != nil {
		maps.Copy(gone, *had)
	}
	for _, seq := range seqs {
		if seq <= f.goneTo {
			continue
		}
		e, err := s.EventAt(seq)
		if err != nil {
			return err
		}
		if d, ok := e.Data.(*events.TextsRedacted); ok {
			for _, mark := range d.Marks {
				gone[mark] = true
			}
		}
	}
	f.goneTo = seqs[len(seqs)-1]
	f.gone.Store(&gone)
	return nil
}

// keepHistories keeps both checkpoints where the ledger has signed two histories: who has its key can't deny either.
func (s *Site) keepHistories(err error) error {
	var two *ledger.TwoHistoriesError
	if !errors.As(err, &two) || s.twoHistories() {
		return err
	}
	text := string(two.Taken) + historiesBehind + string(two.Shown)
	return errors.Join(err, disk.Write(s.opts.Dir, historiesName, []byte(text)))
}

func (s *Site) twoHistories() bool {
	_, err := os.Stat(filepath.Join(s.opts.Dir, historiesName))
	return err == nil
}

// Position is up to where a follower answers.
type Position struct {
	Of       string    // the server that writes
	Record   int64     // the last record that is answered from
	Recorded time.Time // when the ledger took it
	Heard    time.Time // when the ledger was heard of last
	Ago      time.Duration
	Silent   bool    // that is long ago
	Unheard  Unheard // why, once people are to know; "" while all is well
	Why      error   // what was wrong since; may be nil
	Two      bool    // the ledger has shown two histories
	Asks     bool    // the writer asks who somebody is
}

// Position returns up to where a follower answers, nil where the ledger is written here.
func (s *Site) Position() *Position {
	f := s.following
	if f == nil {
		return nil
	}
	p := &Position{Of: f.Of, Two: s.twoHistories()}
	if m := s.current(); m != nil {
		p.Record = max(m.Position(), 0)
	}
	p.Recorded = f.arrival(s, p.Record)
	f.mu.Lock()
	defer f.mu.Unlock()
	p.Heard, p.Why, p.Asks = f.heard, f.failed, f.kept.Asks
	p.Ago = max(f.clock().Sub(f.heard), 0)
	p.Silent = f.silent()
	if p.Unheard = f.unheard(); p.Unheard.passing() && !p.Silent {
		p.Unheard = ""
	}
	return p
}

// unheard is why nothing is heard now, or would be if it lasted.
func (f *following) unheard() Unheard {
	switch {
	case f.taking && f.clock().Sub(f.spoke) < f.Silence:
		return UnheardTaking
	case f.failed == nil && f.silent():
		return UnheardBehind
	}
	return unheard(f.failed)
}

// arrival is when a record was recorded, as far as that can be read. The last one asked for is asked for again and again.
func (f *following) arrival(s *Site, seq int64) time.Time {
	f.mu.Lock()
	of, at := f.arrivedOf, f.arrivedAt
	f.mu.Unlock()
	if of == seq {
		return at
	}
	at, err := s.arrivalOf(seq)
	if err == nil {
		f.mu.Lock()
		f.arrivedOf, f.arrivedAt = seq, at
		f.mu.Unlock()
	}
	return at
}

// followsElsewhere says where to record, nil where the ledger is written here.
func (s *Site) followsElsewhere() error {
	if s.following == nil {
		return nil
	}
	return refusal.WithCode(http.StatusForbidden, "this is a follower of the ledger %s, which records nothing; record where the ledger is "+
		"written, at %s", events.LedgerName(SiteOf(s.Name())), s.following.Of)
}

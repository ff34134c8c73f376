// Package ledgertest gives tests a real ledger in a temporary folder, with a fixed key and a clock that the test moves.
package ledgertest

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/proof"
)

// Origin is the name of the test ledger.
const Origin = "ledger.example/north"

// Start is the first time the test clock shows.
var Start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// Clock is a clock that moves only when told to.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// NewClock returns a clock that shows Start.
func NewClock() *Clock { return &Clock{now: Start} }

// Now returns the time shown.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Add moves the clock, also backwards.
func (c *Clock) Add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

type keyPair struct {
	signer   note.Signer
	verifier note.Verifier
}

// keys has the pairs that were made, by name: making one costs twice as much as a signature by it.
var keys sync.Map

// Key returns the Ed25519 key pair that belongs to a name, always the same one. It is for tests only: anyone can
// compute it.
func Key(tb testing.TB, name string) (note.Signer, note.Verifier) {
	tb.Helper()
	if k, ok := keys.Load(name); ok {
		return k.(keyPair).signer, k.(keyPair).verifier
	}
	seed := sha256.Sum256([]byte("listbound test key " + name))
	public := ed25519.NewKeyFromSeed(seed[:]).Public().(ed25519.PublicKey)
	vkey, err := note.NewEd25519VerifierKey(name, public)
	if err != nil {
		tb.Fatal(err)
	}
	verifier, err := note.NewVerifier(vkey)
	if err != nil {
		tb.Fatal(err)
	}
	// The text form of a note signing key: PRIVATE+KEY+<name>+<key hash>+<base64 of algorithm and seed>.
	skey := fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, verifier.KeyHash(),
		base64.StdEncoding.EncodeToString(append([]byte{1}, seed[:]...)))
	signer, err := note.NewSigner(skey)
	if err != nil {
		tb.Fatal(err)
	}
	keys.Store(name, keyPair{signer, verifier})
	return signer, verifier
}

// Options returns what New opens with: a fresh folder, the test key, a clock at Start.
func Options(tb testing.TB) ledger.Options {
	tb.Helper()
	signer, verifier := Key(tb, Origin)
	return ledger.Options{Dir: tb.TempDir(), Origin: Origin, Signer: signer, Verifier: verifier,
		Clock: NewClock().Now, Command: "ledgertest"}
}

// Ledger is a test's open ledger. Closing it verifies it first, and the end of the test closes what is still open, so
// no test leaves a ledger behind that does not hold what it says.
type Ledger struct {
	*ledger.Ledger
	damaged bool
	closed  bool
}

// New opens a ledger in a fresh folder. Each change may adjust the options.
func New(tb testing.TB, change ...func(*ledger.Options)) *Ledger {
	tb.Helper()
	opts := Options(tb)
	for _, c := range change {
		c(&opts)
	}
	return Open(tb, opts)
}

// Open opens a ledger that must be whole when it is closed, at the end of the test at the latest.
func Open(tb testing.TB, opts ledger.Options) *Ledger {
	tb.Helper()
	return open(tb, opts, false)
}

// OpenDamaged opens a ledger that the test damages on purpose. When it is closed, verification must find the damage: a
// test that no longer damages anything fails.
func OpenDamaged(tb testing.TB, opts ledger.Options) *Ledger {
	tb.Helper()
	return open(tb, opts, true)
}

func open(tb testing.TB, opts ledger.Options, damaged bool) *Ledger {
	tb.Helper()
	inner, err := ledger.Open(context.Background(), opts)
	if err != nil {
		tb.Fatal(err)
	}
	l := &Ledger{Ledger: inner, damaged: damaged}
	tb.Cleanup(func() {
		if err := l.Close(); err != nil {
			tb.Errorf("at the end of the test: %v", err)
		}
	})
	return l
}

// Close verifies the ledger and closes it. A ledger that its test has killed holds nothing to verify; whoever opens the
// folder next does.
func (l *Ledger) Close() error {
	if l.closed {
		return nil
	}
	l.closed = true
	err := Verify(context.Background(), l.Ledger)
	switch {
	case errors.Is(err, ledger.ErrClosed):
		err = nil
	case l.damaged && err == nil:
		err = errors.New("the test says that it damages the ledger, and verification finds nothing wrong with it")
	case l.damaged:
		err = nil
	}
	return errors.Join(err, l.Ledger.Close())
}

// CloseUnverified closes the ledger as it is, for a test that has taken away what verification needs.
func (l *Ledger) CloseUnverified() error {
	l.closed = true
	return l.Ledger.Close()
}

// Verify reports what is wrong with an open ledger, as an error: damage found when it was opened, any problem that a
// complete verification finds, and any record that a scan against the signed tree does not reach.
func Verify(ctx context.Context, l *ledger.Ledger) error {
	size := l.Size()
	report, err := l.Verify(ctx, ledger.VerifyOptions{})
	if err != nil {
		return fmt.Errorf("verifying the ledger: %w", err)
	}
	if len(report.Problems) > 0 {
		return fmt.Errorf("verifying the ledger: %v", report.Problems)
	}
	if report.Size < size {
		return fmt.Errorf("verified %d of %d records", report.Size, size)
	}
	last := int64(0)
	if err := l.ScanHashed(ctx, 1, func(seq int64, _ []byte) error { last = seq; return nil }); err != nil {
		return fmt.Errorf("scanning the ledger: %w", err)
	}
	if last < size {
		return fmt.Errorf("scanned %d of %d records", last, size)
	}
	return nil
}

// Note returns a note with the given text line, signed by the station's test key.
func Note(tb testing.TB, station, line string) []byte {
	tb.Helper()
	signer, _ := Key(tb, station)
	msg, err := proof.SignNote(fmt.Sprintf("%s\n", line), signer)
	if err != nil {
		tb.Fatal(err)
	}
	return msg
}

// Package ledgertest gives other packages' tests a real ledger in a temporary folder, with a fixed key and a clock that the test
// moves.
package ledgertest

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
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

// Key returns the Ed25519 key pair that belongs to a name, always the same one. It is for tests only: anyone can compute it.
func Key(tb testing.TB, name string) (note.Signer, note.Verifier) {
	tb.Helper()
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
	skey := fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, verifier.KeyHash(), base64.StdEncoding.EncodeToString(append([]byte{1}, seed[:]...)))
	signer, err := note.NewSigner(skey)
	if err != nil {
		tb.Fatal(err)
	}
	return signer, verifier
}

// Options returns what New opens with: a fresh folder, the test key, a clock at Start.
func Options(tb testing.TB) ledger.Options {
	tb.Helper()
	signer, verifier := Key(tb, Origin)
	return ledger.Options{Dir: tb.TempDir(), Origin: Origin, Signer: signer, Verifier: verifier, Clock: NewClock().Now, Command: "ledgertest"}
}

// New returns an open ledger that is closed when the test ends. Each change may adjust the options.
func New(tb testing.TB, change ...func(*ledger.Options)) *ledger.Ledger {
	tb.Helper()
	opts := Options(tb)
	for _, c := range change {
		c(&opts)
	}
	return Open(tb, opts)
}

// Open opens a ledger that is closed when the test ends.
func Open(tb testing.TB, opts ledger.Options) *ledger.Ledger {
	tb.Helper()
	l, err := ledger.Open(context.Background(), opts)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := l.Close(); err != nil {
			tb.Errorf("closing the ledger: %v", err)
		}
	})
	return l
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

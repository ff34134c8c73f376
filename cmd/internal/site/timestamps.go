package site

import (
	"context"
	"crypto/rand"
	"crypto/x509"
	"errors"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
	"listbound/ledger/timestamp"
)

// What an authority for timestamps is asked by lies in a folder of the data
// folder, and so does what it answered: for a checkpoint of N records
// N.checkpoint, and N.tsr as RFC 3161 has it.
const (
	timestampDir   = "timestamps"
	authorityFile  = "authority.txt" // the line: URL [every DURATION]
	authorityRoots = "ca.pem"        // whose certificates are trusted
	stampSuffix    = ".tsr"
	stampedSuffix  = ".checkpoint"
)

// stampEvery is how often a ledger that grows is timestamped where the site says nothing else.
const stampEvery = 24 * time.Hour

// oneTimestamp bounds how long the authority may take to answer.
const oneTimestamp = 20 * time.Second

// timestamps asks an authority when the ledger had how many records, and keeps what it answers.
type timestamps struct {
	authority *timestamp.Authority // nil: nobody is asked
	every     time.Duration
	dir       string

	round sync.Mutex // one request at a time
	mu    sync.Mutex
	state TimestampState
	keys  proof.Keys // that the ledger has had
}

// TimestampState is what an authority outside said last of the ledger.
type TimestampState struct {
	Authority string    `json:"authority"`   // its address
	Size      int64     `json:"size"`        // of the ledger that it timestamped last; 0: none
	At        time.Time `json:"at,omitzero"` // the time it gave
	Asked     time.Time `json:"asked,omitzero"`
	Error     string    `json:"error,omitempty"` // why there was no timestamp then
}

func (s *Site) readTimestamps() (*timestamps, error) {
	t := &timestamps{dir: filepath.Join(s.opts.Dir, timestampDir), every: stampEvery, keys: s.keys}
	path := filepath.Join(t.dir, authorityFile)
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return t, nil
	case err != nil:
		return nil, fmt.Errorf("who timestamps the ledger: %w", err)
	}
	words := strings.Fields(string(text))
	if len(words) == 3 && words[1] == "every" {
		if t.every, err = time.ParseDuration(words[2]); err != nil || t.every <= 0 {
			return nil, fmt.Errorf("who timestamps the ledger, %s: %q is no duration such as 24h", path, words[2])
		}
	} else if len(words) != 1 {
		return nil, fmt.Errorf("who timestamps the ledger, %s: it holds one line, "+
			"the authority's address, and behind it if need be: every 24h", path)
	}
	pem, err := os.ReadFile(filepath.Join(t.dir, authorityRoots))
	if err != nil {
		return nil, fmt.Errorf("the certificates trusted for timestamps: %w", err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("%s holds no certificate in PEM", filepath.Join(t.dir, authorityRoots))
	}
	t.authority = &timestamp.Authority{URL: words[0], Roots: roots, HTTP: s.opts.HTTP}
	t.state.Authority = words[0]
	sizes, err := t.sizes(stampSuffix)
	if err != nil || len(sizes) == 0 {
		return t, err
	}
	// One that can't be read stops nothing: the next one takes its place, and verify names it.
	newest := sizes[len(sizes)-1]
	got, _, err := t.load(newest, s.Name(), s.ledger)
	if err != nil {
		s.opts.Logger.Warn("a timestamp of the ledger is of no use", "error", err)
		return t, nil
	}
	t.state.Size, t.state.At = newest, got.At
	return t, nil
}

// sizes returns of which sizes of the ledger there are files with a suffix, in order.
func (t *timestamps) sizes(suffix string) ([]int64, error) {
	found, err := os.ReadDir(t.dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the ledger's timestamps: %w", err)
	}
	var out []int64
	for _, f := range found {
		name, is := strings.CutSuffix(f.Name(), suffix)
		if n, err := strconv.ParseInt(name, 10, 64); is && err == nil && n > 0 {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out, nil
}

func (t *timestamps) file(size int64, suffix string) string {
	return strconv.FormatInt(size, 10) + suffix
}

// load reads a timestamp and holds it against its checkpoint, and that against
// the ledger's key.
func (t *timestamps) load(size int64, origin string, l *ledger.Ledger) (timestamp.Timestamp, proof.Checkpoint, error) {
	fail := func(err error) (timestamp.Timestamp, proof.Checkpoint, error) {
		return timestamp.Timestamp{}, proof.Checkpoint{}, fmt.Errorf("%s: %w",
			filepath.Join(timestampDir, t.file(size, stampSuffix)), err)
	}
	msg, err := os.ReadFile(filepath.Join(t.dir, t.file(size, stampedSuffix)))
	if err != nil {
		return fail(err)
	}
	c, err := t.keys.OpenCheckpoint(msg, origin)
	if err != nil {
		return fail(err)
	}
	response, err := os.ReadFile(filepath.Join(t.dir, t.file(size, stampSuffix)))
	if err != nil {
		return fail(err)
	}
	got, err := timestamp.Check(response, msg, t.authority.Roots)
	if err != nil {
		return fail(err)
	}
	return got, c, nil
}

// compare holds the ledger against the checkpoints of some sizes that were
// timestamped. useless are the timestamps that say nothing.
func (t *timestamps) compare(origin string, l *ledger.Ledger, sizes []int64) (bad []contradicting, useless []string, err error) {
	for _, size := range sizes {
		got, c, err := t.load(size, origin, l)
		if err != nil {
			useless = append(useless, "this timestamp says nothing: "+err.Error())
			continue
		}
		p, found, err := contradiction(l, fmt.Sprintf("authority %s at %s", got.Signer, got.At.Format(time.RFC3339)), c)
		if err != nil {
			return nil, nil, err
		}
		if found {
			bad = append(bad, contradicting{p, c})
		}
	}
	return bad, useless, nil
}

// newest returns the size of the timestamp that counts, none where there is none.
func (t *timestamps) newest() []int64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.state.Size == 0 {
		return nil
	}
	return []int64{t.state.Size}
}

// verifyTimestamps holds the ledger against all its timestamps.
func (s *Site) verifyTimestamps(ctx context.Context, v *Verification) error {
	t := s.timestamps
	sizes, err := t.sizes(stampSuffix)
	if err != nil {
		return err
	}
	remark := func(format string, args ...any) {
		v.Remarks = append(v.Remarks, ledger.Problem{What: fmt.Sprintf(format, args...)})
	}
	if v.Timestamp = s.Timestamps(); v.Timestamp == nil {
		if len(sizes) > 0 {
			remark("%s holds timestamps, and the file %s, which says whose they are, is gone: they were not looked at, and "+
				"nobody is asked for more", timestampDir, authorityFile)
		}
		return nil
	}
	stamped, err := t.sizes(stampedSuffix)
	if err != nil {
		return err
	}
	for _, size := range stamped {
		if !slices.Contains(sizes, size) {
			remark("%s: the timestamp of this checkpoint is gone, or was never written to the end",
				filepath.Join(timestampDir, t.file(size, stampedSuffix)))
		}
	}
	bad, useless, err := t.compare(s.Name(), s.ledger, sizes)
	if err != nil {
		return err
	}
	for _, what := range useless {
		remark("%s", what)
	}
	declared, err := s.losses(ctx)
	if err != nil {
		return err
	}
	for _, p := range bad {
		if !p.declaredIn(declared) && !slices.Contains(v.Problems, p.Problem) {
			v.Problems = append(v.Problems, p.Problem)
		}
	}
	return nil
}

// Timestamps says when an authority outside timestamped the ledger last; nil where none is asked.
func (s *Site) Timestamps() *TimestampState {
	t := s.timestamps
	if t.authority == nil {
		return nil
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	state := t.state
	return &state
}

// AskTimestamp has the ledger as it is now timestamped, where it has grown and
// that was long enough ago.
func (s *Site) AskTimestamp(ctx context.Context) error {
	t := s.timestamps
	if t.authority == nil || len(s.Damage()) > 0 {
		return nil
	}
	t.round.Lock()
	defer t.round.Unlock()
	last, now := s.Timestamps(), s.opts.Clock().UTC()
	if s.Size() == 0 || s.Size() == last.Size || now.Sub(last.At) < t.every {
		return nil
	}
	size, got, err := s.stamp(ctx)
	t.mu.Lock()
	defer t.mu.Unlock()
	t.state.Asked, t.state.Error = now, ""
	if err != nil {
		t.state.Error = err.Error()
		return err
	}
	t.state.Size, t.state.At = size, got.At
	return nil
}

func (s *Site) stamp(ctx context.Context) (int64, timestamp.Timestamp, error) {
	t := s.timestamps
	fail := func(err error) (int64, timestamp.Timestamp, error) { return 0, timestamp.Timestamp{}, err }
	msg, err := s.ledger.Checkpoint(ctx)
	if err != nil {
		return fail(err)
	}
	c, err := proof.OpenCheckpoint(msg, s.Name(), s.ledger.Verifier())
	if err != nil {
		return fail(err)
	}
	nonce, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 64))
	if err != nil {
		return fail(err)
	}
	ctx, cancel := context.WithTimeout(ctx, oneTimestamp)
	defer cancel()
	response, got, err := t.authority.Ask(ctx, msg, nonce)
	if err != nil {
		return fail(err)
	}
	if err := disk.Write(t.dir, t.file(c.Size, stampedSuffix), msg); err != nil {
		return fail(err)
	}
	return c.Size, got, disk.Write(t.dir, t.file(c.Size, stampSuffix), response)
}

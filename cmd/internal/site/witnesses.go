package site

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
	"listbound/ledger/witness"
)

// Who witnesses the ledger stands in a file of the data folder, in the form of
// c2sp.org/tlog-policy; what each has signed last lies in a folder beside it.
const (
	witnessPolicy = "witnesses.txt"
	witnessDir    = "witnesses"
)

// witnesses asks those of the policy for their signatures, and remembers them.
type witnesses struct {
	policy *witness.Policy // nil: nobody is asked
	dir    string
	http   *http.Client

	round sync.Mutex // one round at a time
	mu    sync.Mutex
	seen  map[string]*WitnessState // by name within the policy
}

// WitnessState is what is known of one witness.
type WitnessState struct {
	Name string    `json:"name"` // within the policy
	Key  string    `json:"key"`  // the name of its key
	Size int64     `json:"size"` // of the ledger when it signed last; 0: never
	At   time.Time `json:"at,omitzero"`
	// Asked is when it was asked last, Error why it did not sign then, or what else was wrong with what it or this folder
	// remembers.
	Asked time.Time `json:"asked,omitzero"`
	Error string    `json:"error,omitempty"`
	// Contradicts says that it saw more of this ledger than there is, or another history.
	Contradicts bool `json:"contradicts,omitzero"`

	note []byte
	root tlog.Hash
}

// WitnessReport says how far the ledger was seen by others.
type WitnessReport struct {
	Witnesses []WitnessState `json:"witnesses"`
	// Enough is the newest time at which so many had signed as the policy asks for; zero: never.
	Enough time.Time `json:"enough,omitzero"`
}

func (s *Site) readWitnesses() (*witnesses, error) {
	w := &witnesses{dir: filepath.Join(s.opts.Dir, witnessDir), http: s.opts.HTTP, seen: make(map[string]*WitnessState)}
	path := filepath.Join(s.opts.Dir, witnessPolicy)
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return w, nil
	case err != nil:
		return nil, fmt.Errorf("who witnesses the ledger: %w", err)
	}
	if w.policy, err = witness.ParsePolicy(text); err != nil {
		return nil, fmt.Errorf("who witnesses the ledger, %s: %w", path, err)
	}
	if ls := w.policy.Ledgers; len(ls) > 0 {
		is := false
		for _, l := range ls {
			is = is || slices.ContainsFunc(s.keys, func(k proof.KeySince) bool {
				return l.Name() == k.Key.Name() && l.KeyHash() == k.Key.KeyHash()
			})
		}
		if !is {
			return nil, fmt.Errorf("who witnesses the ledger, %s: its log lines name other ledgers than this one, %s",
				path, s.vkey)
		}
	}
	for _, k := range w.policy.Witnesses {
		st := &WitnessState{Name: k.Name, Key: k.Key.Name()}
		w.seen[k.Name] = st
		err := w.load(k, s.ledger, s.Name(), s.keys)
		var useless *uselessError
		switch {
		case err == nil:
		case errors.As(err, &useless) || len(s.ledger.Damage()) > 0:
			// Nothing is lost for good, since the witness itself remembers it, and nobody's recording has to wait: it is asked
			// as if for the first time, and where it contradicts, it shows the checkpoint. In a damaged ledger, which takes no
			// records, the keys it has had may not be known.
			st.Error = fmt.Sprintf("what it signed last can't be read, so it is asked anew: %v", err)
			s.opts.Logger.Warn("what a witness signed last can't be read, so it is asked anew", "witness", k.Name, "error", err)
		default:
			return nil, fmt.Errorf("what the witness %s signed last: %w", k.Name, err)
		}
	}
	return w, nil
}

// file is where the last signature of a witness lies, by its key: a witness
// under another key is another witness.
func (w *witnesses) file(k witness.Known) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %08x", k.Key.Name(), k.Key.KeyHash()))
	return filepath.Join(w.dir, fmt.Sprintf("%x.checkpoint", sum[:8]))
}

// uselessError is about a file that holds no signature of its witness: it is damaged.
type uselessError struct {
	file string
	err  error
}

func (e *uselessError) Error() string { return e.file + ": " + e.err.Error() }
func (e *uselessError) Unwrap() error { return e.err }

func (w *witnesses) load(k witness.Known, l *ledger.Ledger, origin string, keys proof.Keys) error {
	msg, err := os.ReadFile(w.file(k))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	n, err := proof.OpenNote(msg, note.VerifierList(k.Key))
	if err != nil {
		return &uselessError{w.file(k), err}
	}
	at, err := proof.CosignedAt(n.Sigs[0])
	if err != nil {
		return &uselessError{w.file(k), err}
	}
	c, err := keys.OpenCheckpoint(msg, origin)
	if err != nil {
		// The witness has signed it, so the text is what it saw. Where this is the ledger that it saw, the ledger's own signature
		// is damaged; where it isn't, this ledger took another one's place, under another key.
		seen, bad := proof.ParseCheckpoint(n.Text)
		if bad == nil && seen.Origin == origin {
			if _, found, failed := contradiction(l, "witness "+k.Name, seen); failed == nil && !found {
				return &uselessError{w.file(k), err}
			}
		}
		return fmt.Errorf("%s: %w", w.file(k), err)
	}
	st := w.seen[k.Name]
	st.Size, st.At, st.note, st.root = c.Size, at, msg, c.Root
	return nil
}

// contradictions holds the ledger against what its witnesses signed.
func (w *witnesses) contradictions(l *ledger.Ledger) ([]contradicting, error) {
	var problems []contradicting
	if w.policy == nil {
		return nil, nil
	}
	for _, k := range w.policy.Witnesses {
		st := w.seen[k.Name]
		if st.note == nil {
			continue
		}
		seen := proof.Checkpoint{Size: st.Size, Root: st.root}
		p, found, err := contradiction(l, "witness "+st.Name, seen)
		if err != nil {
			return nil, err
		}
		if found {
			problems = append(problems, contradicting{p, seen})
		}
	}
	return problems, nil
}

// contradiction holds the ledger against a checkpoint that it signed and somebody
// else has seen.
func contradiction(l *ledger.Ledger, who string, seen proof.Checkpoint) (ledger.Problem, bool, error) {
	size := l.Signed().Size
	if seen.Size > size {
		return ledger.Problem{Seq: size + 1, What: fmt.Sprintf(
			"there are %d records here, and the %s has seen %d: %s",
			size, who, seen.Size, ledger.MissingText(size+1, seen.Size))}, true, nil
	}
	root, err := l.RootAt(seen.Size)
	if err != nil || root == seen.Root {
		return ledger.Problem{}, false, err
	}
	return ledger.Problem{Seq: 1, What: fmt.Sprintf(
		"the first %d records are not those that the %s has seen: this ledger was rewritten, or is another one",
		seen.Size, who)}, true, nil
}

// Witnesses says how far the ledger was seen by others; nil where nobody is asked.
func (s *Site) Witnesses() *WitnessReport {
	w := s.witnesses
	if w.policy == nil {
		return nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	r := &WitnessReport{}
	for _, k := range w.policy.Witnesses {
		r.Witnesses = append(r.Witnesses, *w.seen[k.Name])
	}
	for _, at := range r.Witnesses {
		enough := w.policy.Enough(func(name string) bool {
			return w.seen[name].note != nil && !w.seen[name].At.Before(at.At)
		})
		if enough && at.At.After(r.Enough) {
			r.Enough = at.At
		}
	}
	return r
}

// oneWitness bounds how long one witness may take to answer.
const oneWitness = 20 * time.Second

// AskWitnesses has the ledger as it is now signed by every witness of its
// policy that has not signed it yet. One that doesn't answer keeps no other from
// being asked; one that saw another history, or more of this one, stops the
// ledger from being written.
func (s *Site) AskWitnesses(ctx context.Context) error {
	w := s.witnesses
	if w.policy == nil || len(s.Damage()) > 0 {
		return nil
	}
	w.round.Lock()
	defer w.round.Unlock()
	msg, err := s.ledger.Checkpoint(ctx)
	if err != nil {
		return err
	}
	c, err := proof.OpenCheckpoint(msg, s.Name(), s.ledger.Verifier())
	if err != nil {
		return err
	}
	var errs []error
	for _, k := range w.policy.Witnesses {
		if k.URL == "" {
			continue // its signatures come another way
		}
		if err := s.askWitness(ctx, k, msg, c); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

func (s *Site) askWitness(ctx context.Context, k witness.Known, msg []byte, c proof.Checkpoint) error {
	w := s.witnesses
	w.mu.Lock()
	old := w.seen[k.Name].Size
	w.mu.Unlock()
	if old == c.Size && old > 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, oneWitness)
	defer cancel()
	client := &witness.Client{URL: k.URL, Key: k.Key, HTTP: w.http}
	signed, err := client.Ask(ctx, msg, old, func(from int64) ([]tlog.Hash, error) {
		return s.ledger.Consistency(from, c.Size)
	})
	if err == nil {
		err = w.save(k, signed)
	}
	contradicts := false
	var behind *witness.BehindError
	var two *witness.TwoHistoriesError
	if errors.As(err, &behind) || errors.As(err, &two) {
		contradicts = true
		err = errors.Join(err, s.stopIfShown(ctx, client, k))
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	st := w.seen[k.Name]
	st.Asked, st.Error, st.Contradicts = s.opts.Clock().UTC(), "", contradicts
	if err != nil {
		st.Error = err.Error()
		return err
	}
	st.Size, st.At, st.note, st.root = signed.Checkpoint.Size, signed.At, signed.Note, signed.Checkpoint.Root
	if signed.Forgot {
		// It may have signed another history meanwhile as if it had never seen this one.
		st.Error = fmt.Sprintf("it had signed %d records and remembered only %d: its memory was lost, or an old one put back",
			old, signed.Remembered)
		return fmt.Errorf("the witness %s: %s", k.Name, st.Error)
	}
	return nil
}

// verifyWitnesses says what is wrong with what the folder remembers of its witnesses.
func (s *Site) verifyWitnesses(v *Verification) error {
	w := s.witnesses
	if w.policy == nil {
		kept, err := disk.Glob(w.dir, "*"+stampedSuffix)
		if err == nil && len(kept) > 0 {
			v.Remarks = append(v.Remarks, ledger.Problem{What: fmt.Sprintf("%s holds what witnesses have signed, and the file %s, "+
				"which says who they are, is gone: nobody is asked", witnessDir, witnessPolicy)})
		}
		return err
	}
	for _, st := range s.Witnesses().Witnesses {
		if st.Error != "" {
			v.Remarks = append(v.Remarks, ledger.Problem{What: fmt.Sprintf("witness %s: %s", st.Name, st.Error)})
		}
	}
	return nil
}

// stopIfShown stops the ledger where a witness shows what the ledger itself
// signed and doesn't hold now. Its word alone is not enough: a witness could say
// so of any ledger, and stop a hospital's recording by it. What it shows is kept as what it signed last, so that the next
// start and an offline verification know it as well.
func (s *Site) stopIfShown(ctx context.Context, c *witness.Client, k witness.Known) error {
	shown, err := c.Newest(ctx, s.Name())
	if err != nil {
		return err
	}
	seen, err := s.keys.OpenCheckpoint(shown, s.Name())
	if err != nil {
		return err
	}
	problem, proven, err := contradiction(s.ledger, "witness "+k.Name, seen)
	if err != nil || !proven {
		return err
	}
	declared, err := s.losses(ctx)
	if by := (&contradicting{problem, seen}); err == nil && !by.declaredIn(declared) {
		s.stop(problem)
		if _, unsigned := proof.OpenNote(shown, note.VerifierList(k.Key)); unsigned == nil {
			err = s.witnesses.save(k, &witness.Signed{Note: shown})
		}
	}
	return err
}

// save keeps a signature durably: it is what the ledger is held against at the
// next start.
func (w *witnesses) save(k witness.Known, signed *witness.Signed) error {
	if err := os.MkdirAll(w.dir, 0o700); err != nil {
		return err
	}
	return disk.Write(w.dir, filepath.Base(w.file(k)), signed.Note)
}

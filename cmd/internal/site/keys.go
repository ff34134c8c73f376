package site

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// The ledger's key is replaced in steps, of which each may be the last before the power fails. The new key is made beside
// the old one; a record says so, signed by the old one; the next checkpoint, which covers it, is signed by the new one
// (ledger.Successor); and the new file takes the place of the old one. A start that finds both files goes on where it
// stopped. Where no record speaks of the new key it was never used, and is removed.

// ownKey is the ledger's key as it lies in a folder.
type ownKey struct {
	path     string
	signer   note.Signer
	verifier note.Verifier
	text     string // the public half
	next     *ledger.Successor
	nextText string
}

// readKey reads the key of the folder's ledger, or makes that of a new one. With replace a next one is made.
func (s *Site) readKey(replace bool) (*ownKey, error) {
	name, err := s.ledgerName()
	if err != nil {
		return nil, err
	}
	k := &ownKey{path: s.keyPath(name)}
	if k.signer, k.verifier, _, err = ledger.LoadOrCreateKey(k.path, name); err != nil {
		return nil, err
	}
	if k.text, err = ledger.VerifierKey(k.path); err != nil {
		return nil, err
	}
	next := ledger.NextKey(k.path)
	if _, err := os.Stat(next); errors.Is(err, os.ErrNotExist) && !replace {
		return k, nil
	}
	signer, verifier, _, err := ledger.LoadOrCreateKey(next, name)
	if err != nil {
		return nil, err
	}
	if k.nextText, err = ledger.VerifierKey(next); err != nil {
		return nil, err
	}
	k.next = &ledger.Successor{Signer: signer, Verifier: verifier, Takes: func(record []byte) bool {
		d := bundle.Replacing(name, record)
		return d != nil && d.Key == k.nextText && d.Former == k.text
	}}
	return k, nil
}

// openUnder opens the ledger under the key that lies in the folder. Who had the folder before may have replaced it after it
// was read here, or removed a next one that was never used; what lies there once the folder is this program's stays.
func (s *Site) openUnder(ctx context.Context) error {
	const most = 3 // each time somebody else has had the folder meanwhile
	for n := 1; ; n++ {
		k, err := s.readKey(s.opts.replaceKey)
		if err != nil {
			return err
		}
		if s.opts.meanwhile != nil {
			s.opts.meanwhile()
		}
		l, opened := openLedger(ctx, s.opts, k.options(s.opts))
		now, err := s.readKey(false)
		same := err == nil && now.text == k.text && now.nextText == k.nextText
		if same || n == most {
			s.own, s.vkey, s.ledger = k, k.text, l
			if opened == nil && !same {
				return errors.Join(err, l.Close(), refusal.New("the ledger's key in %s changes all the time; try again", s.opts.Dir))
			}
			return opened
		}
		if opened == nil {
			if err := l.Close(); err != nil {
				return err
			}
		}
	}
}

// dropHalfKeys removes what is left of keys whose making was cut off: a second copy of a private key, or one never used.
// The folder is this program's.
func (s *Site) dropHalfKeys() error {
	left, err := disk.Glob(filepath.Dir(s.own.path), ledger.HalfKeys)
	for _, path := range left {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// verifiers returns the keys that can have signed the newest checkpoint.
func (k *ownKey) verifiers() []note.Verifier {
	if k.next == nil {
		return []note.Verifier{k.verifier}
	}
	return []note.Verifier{k.verifier, k.next.Verifier}
}

// options returns those of a folder's ledger under this key.
func (k *ownKey) options(o Options) ledger.Options {
	cluster := o.Cluster
	if cluster != nil {
		with := *cluster
		with.Route = routeOf(k.signer.Name())
		cluster = &with
	}
	return ledger.Options{
		Cluster: cluster,
		Dir:     o.Dir, Origin: k.signer.Name(), Signer: k.signer, Verifier: k.verifier, Next: k.next, Clock: o.Clock, Logger: o.Logger,
		Command: o.Command, AcceptLoss: o.acceptLoss,
		HandsOn: func(record []byte) bool { return bundle.Replacing(k.signer.Name(), record) != nil },
	}
}

// replacedBy is bundle.Replacing for a repair.
func replacedBy(name string) func(record []byte) (former, key note.Verifier, ok bool) {
	return func(record []byte) (former, key note.Verifier, ok bool) {
		d := bundle.Replacing(name, record)
		if d == nil {
			return nil, nil, false
		}
		former, err := note.NewVerifier(d.Former)
		if err != nil {
			return nil, nil, false
		}
		key, err = note.NewVerifier(d.Key)
		return former, key, err == nil
	}
}

// settleKey goes on with a replacement of the key that was begun. The ledger has just been opened.
func (s *Site) settleKey(ctx context.Context, k *ownKey, replace bool) error {
	if k.next == nil {
		return nil
	}
	writable := s.ledger.Writable() == nil
	if writable {
		if _, err := s.ledger.Checkpoint(ctx); err != nil {
			return err
		}
	}
	switch {
	case s.ledger.HandedOn():
		s.vkey = k.nextText
		if !writable {
			return nil
		}
		return ledger.TakeNextKey(k.path)
	case writable && !replace:
		return os.Remove(ledger.NextKey(k.path))
	}
	return nil
}

// readKeys finds the keys that the ledger has had, from the records by which they were replaced. Which these are the read
// model says; where it leaves one out, the first key it leads to did not sign what the ledger recorded first.
func (s *Site) readKeys(ctx context.Context) error {
	if err := s.keysRecorded(ctx); err != nil || s.beganUnder(s.keys[0].Key) {
		return err
	}
	s.opts.Logger.Warn("the read model leaves out a key that the ledger has had, so somebody has edited it; it is made anew")
	if err := s.refill(ctx, nil); err != nil {
		return err
	}
	return s.keysRecorded(ctx)
}

// beganUnder reports whether the ledger's first own record is signed by a key, as far as that can be read.
func (s *Site) beganUnder(key note.Verifier) bool {
	const soon = 16 // it enrols the first station
	for seq := int64(1); seq <= min(soon, s.ledger.Size()); seq++ {
		_, err := s.ledger.ReadHashed(seq)
		if err != nil {
			return true // it is damaged, which says nothing of keys; verify and repair tell of it
		}
		n, e, err := s.noteAt(seq)
		if err != nil {
			return true // what is wrong with it is said elsewhere
		}
		if e.Station == s.Name() {
			return events.VerifyNote(n, key) == nil
		}
	}
	return true
}

func (s *Site) keysRecorded(ctx context.Context) error {
	s.keys = proof.Keys{{Text: s.vkey, Key: s.ledger.Verifier()}}
	seqs, err := Answer(s, func(v *View) ([]int64, error) { return v.KeysReplaced(ctx, SiteOf(s.Name())) })
	if err != nil || len(seqs) == 0 {
		return err
	}
	replaced := make(map[int64]*events.KeyReplaced)
	for _, seq := range seqs {
		record, err := s.ledger.Read(seq)
		if err != nil {
			s.opts.Logger.Warn("which keys the ledger has had is not known", "error", err)
			return nil
		}
		if d := bundle.Replacing(s.Name(), record); d != nil {
			replaced[seq] = d
		}
	}
	keys, err := bundle.KeysFrom(replaced, s.vkey)
	if err != nil {
		s.opts.Logger.Warn("which keys the ledger has had is not known", "error", err)
		return nil
	}
	s.keys = keys
	return nil
}

// Keys returns the keys that the ledger has had, the one of now last.
func (s *Site) Keys() proof.Keys { return s.keys }

// KeyChange is a replacement of the ledger's key.
type KeyChange struct {
	Seq         int64 // the record of it
	Former, Key string
	Finished    bool // it was begun before, and cut off
}

// ReplaceKey makes a new key for the ledger of a folder that nobody has open, and hands the ledger on to it for good. The
// old private key is gone then, from this folder.
func ReplaceKey(ctx context.Context, o Options, operator, reason string) (out KeyChange, err error) {
	o.Existing, o.replaceKey = true, true
	s, err := Open(ctx, o)
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.writable(); err != nil {
		return out, err
	}
	if s.ledger.HandedOn() {
		last := s.keys.Newest()
		return KeyChange{Seq: last.Since, Former: s.keys[len(s.keys)-2].Text, Key: last.Text, Finished: true}, nil
	}
	k := s.own
	s.mapping = true // what the ledger itself records from here on is the new key's to sign
	receipts, err := s.Observe(ctx, &events.Observation{
		Station: s.Name(), Kind: events.KindKeyReplaced, Time: o.Clock().UTC(), Operator: operator,
		Data: &events.KeyReplaced{Former: k.text, Key: k.nextText, Reason: reason},
	})
	if err != nil {
		return out, err
	}
	if e := receipts[0].Error; e != "" {
		return out, refusal.New("%s", e)
	}
	// Crash here, or anywhere before the new file takes the old one's place: the next start goes on.
	if err := s.settleKey(ctx, k, true); err != nil {
		return out, err
	}
	if !s.ledger.HandedOn() {
		return out, fmt.Errorf("record %d replaces the key, and the ledger did not take it", receipts[0].Seq)
	}
	return KeyChange{Seq: receipts[0].Seq, Former: k.text, Key: k.nextText}, nil
}

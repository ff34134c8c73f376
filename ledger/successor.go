package ledger

import (
	"golang.org/x/mod/sumdb/note"

	"listbound/ledger/proof"
)

// Successor is a key that is to take over from the ledger's. It does so with the record that says so, signed by the key
// before it: every checkpoint that covers that record is signed by the new key, and none before. The record and the first
// checkpoint under the new key can't become durable in one step, so a start that finds the record unsigned goes on with
// what was begun.
type Successor struct {
	Signer   note.Signer
	Verifier note.Verifier
	// Takes reports whether a record hands the ledger on to this key.
	Takes func(record []byte) bool
}

// HandedOn reports whether [Options.Next] has taken over.
func (l *Ledger) HandedOn() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.handed
}

// Verifier returns the public key of the ledger.
func (l *Ledger) Verifier() note.Verifier {
	if l.opts.Copy != nil {
		return l.opts.Copy.key()
	}
	if l.HandedOn() {
		return l.opts.Next.Verifier
	}
	return l.opts.Verifier
}

// Signer returns the private key of the ledger, which signs evidence manifests as well.
func (l *Ledger) Signer() note.Signer {
	if l.HandedOn() {
		return l.opts.Next.Signer
	}
	return l.opts.Signer
}

// verifiers returns the keys that can have signed the newest checkpoint.
func (o *Options) verifiers() []note.Verifier {
	if o.Next == nil {
		return []note.Verifier{o.Verifier}
	}
	return []note.Verifier{o.Verifier, o.Next.Verifier}
}

// keyLost reports whether an unsigned record hands the ledger on to a key that isn't here.
func (o *Options) keyLost(record []byte) bool {
	return o.HandsOn != nil && o.HandsOn(record) && (o.Next == nil || !o.Next.Takes(record))
}

// openNewest opens a checkpoint of the time of now, and reports whether the next key has signed it.
func (o *Options) openNewest(msg []byte) (c proof.Checkpoint, next bool, err error) {
	if o.Copy != nil {
		c, err = proof.OpenCheckpoint(msg, o.Origin, o.Copy.all()...)
		return c, false, err
	}
	c, err = proof.OpenCheckpoint(msg, o.Origin, o.Verifier)
	if err == nil || o.Next == nil {
		return c, false, err
	}
	if c, nextErr := proof.OpenCheckpoint(msg, o.Origin, o.Next.Verifier); nextErr == nil {
		return c, true, nil
	}
	return c, false, err
}

// untilHandover returns how many records the next checkpoint may cover: those before the one that hands the ledger on.
// Where that is the first of them, the key changes.
func (l *Ledger) untilHandover(records [][]byte) int {
	if l.opts.Next == nil || l.HandedOn() {
		return len(records)
	}
	for i, record := range records {
		if !l.opts.Next.Takes(record) {
			continue
		}
		if i > 0 {
			return i
		}
		l.mu.Lock()
		l.handed = true
		l.mu.Unlock()
		break
	}
	return len(records)
}

package bundle

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"strings"

	"listbound/ledger/proof"
)

const (
	stampDir      = "timestamp/"
	stampSuffix   = ".tsr"
	stampedSuffix = ".checkpoint"
)

// Timestamp is what an authority outside (RFC 3161) said of a checkpoint, to lie in a bundle.
type Timestamp struct {
	Size       int64
	Checkpoint []byte
	Response   []byte
}

// Stamped is a timestamp in a bundle. When it was made, and by whom, openssl tells who has the authority's certificate.
type Stamped struct {
	Size int64  `json:"size"`
	File string `json:"file"`
}

func stampPath(size int64, suffix string) string {
	return fmt.Sprintf("%s%09d%s", stampDir, size, suffix)
}

func stampName(path string) (size int64, suffix string, ok bool) {
	for _, suffix := range []string{stampSuffix, stampedSuffix} {
		if n, ok := numbered(path, stampDir, suffix); ok {
			return n, suffix, true
		}
	}
	return 0, "", false
}

// timestamp checks what can be without the authority's certificate: that the timestamp is of the checkpoint beside it,
// that the ledger has signed that one, and that the bundle's own goes on from it.
func (r *Report) timestamp(b *proof.Bundle, keys proof.Keys, cp proof.Checkpoint) {
	for _, f := range b.Files {
		size, suffix, ok := stampName(f.Path)
		if !ok {
			continue
		}
		if suffix == stampedSuffix {
			if _, ok := b.File(stampPath(size, stampSuffix)); !ok {
				r.add(-1, f.Path, "its timestamp is missing")
			}
			continue
		}
		if err := stamped(b, f, size, keys, cp); err != nil {
			r.add(-1, f.Path, err.Error())
			continue
		}
		r.Stamped = append(r.Stamped, Stamped{size, f.Path})
	}
}

func stamped(b *proof.Bundle, f proof.File, size int64, keys proof.Keys, cp proof.Checkpoint) error {
	msg, ok := b.File(stampPath(size, stampedSuffix))
	if !ok {
		return fmt.Errorf("the checkpoint that it is of is missing")
	}
	digest := sha256.Sum256(msg)
	if !bytes.Contains(f.Data, digest[:]) {
		return fmt.Errorf("it is not of the checkpoint beside it")
	}
	at, err := keys.OpenCheckpoint(msg, cp.Origin)
	if err != nil {
		return err
	}
	if at.Size != size {
		return fmt.Errorf("the checkpoint beside it is of %d records", at.Size)
	}
	var path proof.Consistency
	if size < cp.Size {
		data, ok := b.File(fmt.Sprintf("%s%09d", earlierDir, size))
		if !ok {
			return fmt.Errorf("the proof that the ledger went on from there, %s%09d, is missing", earlierDir, size)
		}
		if path, err = proof.ParseConsistency(data); err != nil {
			return err
		}
	}
	return proof.SameHistory(at, cp, path.Hashes)
}

// HowToCheck is the command for the part of the check that needs the authority's certificate.
func (s Stamped) HowToCheck() string {
	return fmt.Sprintf("openssl ts -verify -data %s -in %s -CAfile CA.pem", strings.TrimSuffix(s.File, stampSuffix)+stampedSuffix, s.File)
}

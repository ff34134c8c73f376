package bundle

import (
	"archive/zip"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
	"listbound/ledger/proof"
)

// Replacing returns what a record says that hands the ledger on to another key, and is signed by the one before; nil for
// any other record.
func Replacing(name string, record []byte) *events.KeyReplaced {
	if !bytes.Contains(record, []byte(events.KindKeyReplaced)) {
		return nil // of a million records hardly any need be read
	}
	n, _, _, err := proof.SplitArrival(name, record)
	if err != nil {
		return nil
	}
	e, err := events.ParseNote(n)
	if err != nil || e.Station != name {
		return nil
	}
	d, ok := e.Data.(*events.KeyReplaced)
	if !ok || d.Check() != nil {
		return nil
	}
	former, err := note.NewVerifier(d.Former)
	if err != nil || former.Name() != name || events.VerifyNote(n, former) != nil {
		return nil
	}
	return d
}

// KeysFrom returns the keys of a ledger by the records that replaced them, in their order, and the key of now.
func KeysFrom(replaced map[int64]*events.KeyReplaced, now string) (proof.Keys, error) {
	var keys proof.Keys
	add := func(since int64, text string) error {
		k, err := proof.NewKeySince(since, text)
		keys = append(keys, k)
		return err
	}
	order := make([]int64, 0, len(replaced))
	for seq := range replaced {
		order = append(order, seq)
	}
	slices.SortFunc(order, cmp.Compare)
	for _, seq := range order {
		d := replaced[seq]
		if len(keys) == 0 {
			if err := add(0, d.Former); err != nil {
				return nil, err
			}
		}
		if keys.Newest().Text != d.Former {
			return nil, fmt.Errorf("record %d hands on a key that was not the ledger's", seq)
		}
		if err := add(seq, d.Key); err != nil {
			return nil, err
		}
	}
	if len(keys) == 0 {
		err := add(0, now)
		return keys, err
	}
	if keys.Newest().Text != now {
		return nil, fmt.Errorf("the records hand the ledger on to the key %s, and its key is said to be %s", keys.Newest().Text, now)
	}
	return keys, nil
}

// keysInside reads the keys that a bundle leads to, of which nothing is known yet but that each signed for the next.
func keysInside(raw []byte) (proof.Keys, error) {
	now := strings.TrimSpace(keyInside(raw))
	v, err := note.NewVerifier(now)
	if err != nil {
		return nil, err
	}
	replaced := make(map[int64]*events.KeyReplaced)
	if bytes.Contains(raw, []byte(events.KindKeyReplaced)) {
		z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
		if err != nil {
			return nil, err
		}
		for _, f := range z.File {
			seq, ok := seqOf(f.Name)
			if !ok {
				continue
			}
			record, err := recordInside(f)
			if err != nil {
				return nil, err
			}
			if d := Replacing(v.Name(), record); d != nil {
				replaced[seq] = d
			}
		}
	}
	return KeysFrom(replaced, now)
}

func recordInside(f *zip.File) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	const longest = 64 << 10
	return io.ReadAll(io.LimitReader(r, longest))
}

// keysFor returns the keys that a bundle is checked with where one of them is known from outside; that one alone where the
// bundle doesn't lead from it to its own, or was made before it.
func keysFor(raw []byte, known string) (keys proof.Keys, err error) {
	inside, err := keysInside(raw)
	if err == nil && (known == "" || slices.ContainsFunc(inside, func(k proof.KeySince) bool { return k.Text == known })) {
		return inside, nil
	}
	if known == "" {
		known = strings.TrimSpace(keyInside(raw))
	}
	k, knownErr := proof.NewKeySince(0, known)
	if knownErr != nil {
		return nil, knownErr
	}
	return proof.Keys{k}, err
}

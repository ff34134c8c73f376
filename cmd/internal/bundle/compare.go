package bundle

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"listbound/ledger/proof"
)

// Comparison says whether a bundle and something that the same ledger gave out
// at another time are of one history.
type Comparison struct {
	Same    bool  `json:"same"`
	Known   bool  `json:"known"` // false: nothing at hand shows either
	Earlier int64 `json:"earlier"`
	Later   int64 `json:"later"` // the two sizes of the ledger
	// Shared is how many records lie in both bundles.
	Shared int    `json:"shared"`
	Says   string `json:"says"`
}

// given is one of the two sides of a comparison.
type given struct {
	cp     proof.Checkpoint
	msg    []byte
	bundle *proof.Bundle // nil for a checkpoint alone
}

var zipHead = []byte("PK")

// open opens one side by the keys of the ledger. A bundle is signed by the one that was the ledger's then.
func open(raw []byte, keys proof.Keys) (*given, error) {
	g := &given{msg: raw}
	name := keys[0].Key.Name()
	if bytes.HasPrefix(raw, zipHead) {
		v := keys.Newest().Key
		if c, err := CheckpointOf(raw); err == nil {
			v = keys.ForCheckpoint(c.Size).Key
			for i, k := range keys[1:] {
				if c.Size >= k.Since && strings.TrimSpace(keyInside(raw)) == keys[i].Text {
					return nil, fmt.Errorf("a bundle of %d records: %w: record %d replaced it; whoever has that key can have made this",
						c.Size, proof.ErrReplacedKey, k.Since)
				}
			}
		}
		b, problems := proof.ReadBundle(raw, v)
		if len(problems) > 0 {
			return nil, fmt.Errorf("%s", problems[0])
		}
		g.bundle = b
		g.msg, _ = b.File(checkpointFile)
	}
	var err error
	g.cp, err = keys.OpenCheckpoint(g.msg, name)
	return g, err
}

// CheckpointOf returns the checkpoint in a bundle, or a checkpoint as it is. It
// checks nothing.
func CheckpointOf(raw []byte) (proof.Checkpoint, error) {
	msg := raw
	if bytes.HasPrefix(raw, zipHead) {
		var err error
		if msg, err = fileInside(raw, checkpointFile); err != nil {
			return proof.Checkpoint{}, fmt.Errorf("the bundle has no checkpoint: %w", err)
		}
	}
	text, _, ok := strings.Cut(string(msg), "\n\n")
	if !ok {
		return proof.Checkpoint{}, errors.New("this is neither an evidence bundle nor a signed checkpoint")
	}
	return proof.ParseCheckpoint(text + "\n")
}

// Compare holds two things that a ledger gave out against each other: evidence
// bundles or signed checkpoints, in either order. The key is the ledger's, or
// empty for that in the first bundle.
func Compare(a, b []byte, key string) (Comparison, error) {
	keys, err := keysOfBoth(a, b, strings.TrimSpace(key))
	if errors.Is(err, proof.ErrTwoHistories) {
		return Comparison{}.judged(err), nil
	}
	if err != nil {
		return Comparison{}, err
	}
	x, err := open(a, keys)
	if err != nil {
		return Comparison{}, fmt.Errorf("the first: %w", err)
	}
	y, err := open(b, keys)
	if err != nil {
		return Comparison{}, fmt.Errorf("the second: %w", err)
	}
	if x.cp.Size > y.cp.Size {
		x, y = y, x
	}
	c := Comparison{Earlier: x.cp.Size, Later: y.cp.Size}
	var differ []string
	c.Shared, differ = shared(x.bundle, y.bundle)
	err = oneHistory(x, y)
	if len(differ) > 0 {
		err = fmt.Errorf("%w: the same record says different things in the two: %s",
			proof.ErrTwoHistories, strings.Join(differ, ", "))
	}
	return c.judged(err), nil
}

// keysOfBoth returns the keys of the ledger by which two things are compared: those that either of them leads to.
func keysOfBoth(a, b []byte, known string) (proof.Keys, error) {
	var longer proof.Keys
	for _, raw := range [][]byte{a, b} {
		if !bytes.HasPrefix(raw, zipHead) {
			continue
		}
		keys, err := keysInside(raw)
		if err != nil {
			continue // told when it is opened
		}
		if len(longer) == 0 {
			longer = keys
			continue
		}
		shorter := keys
		if len(longer) < len(shorter) {
			longer, shorter = shorter, longer
		}
		for i, k := range shorter {
			if k.Text != longer[i].Text && i > 0 {
				return nil, fmt.Errorf("%w: two keys took over from the same one, %s", proof.ErrTwoHistories, longer[i-1].Text)
			}
			if k.Text != longer[i].Text && len(shorter) > 1 {
				return nil, errors.New("the two are of ledgers with different keys")
			}
		}
	}
	if known == "" && len(longer) == 0 {
		return nil, errors.New("the ledger's key is needed: give it with --key")
	}
	if known == "" || slices.ContainsFunc(longer, func(k proof.KeySince) bool { return k.Text == known }) {
		return longer, nil
	}
	k, err := proof.NewKeySince(0, known)
	if err != nil {
		return nil, errors.New("the ledger's key is needed: give it with --key")
	}
	return proof.Keys{k}, nil
}

// CompareNow holds something that a ledger gave out against the ledger itself, by a proof that it makes now. The keys
// are all that the ledger has had.
func CompareNow(earlier []byte, now *proof.Consistency, keys proof.Keys) (Comparison, error) {
	then, err := open(earlier, keys)
	if err != nil {
		return Comparison{}, err
	}
	cp, err := keys.OpenCheckpoint(now.Checkpoint, keys[0].Key.Name())
	if err != nil {
		return Comparison{}, err
	}
	c := Comparison{Earlier: then.cp.Size, Later: cp.Size}
	err = proof.SameHistory(then.cp, cp, now.Hashes)
	return c.judged(err), nil
}

// judged says what a comparison came to.
func (c Comparison) judged(err error) Comparison {
	switch {
	case err == nil:
		c.Same, c.Known = true, true
		c.Says = fmt.Sprintf("one history: the %d records of then are the first of %d", c.Earlier, c.Later)
	case errors.Is(err, proof.ErrTwoHistories):
		c.Known, c.Says = true, err.Error()
	default:
		c.Says = err.Error()
	}
	return c
}

// oneHistory looks in the later bundle for the proof that leads from the earlier
// checkpoint to its own.
func oneHistory(earlier, later *given) error {
	if earlier.cp.Size == later.cp.Size || earlier.cp.Size == 0 {
		return proof.SameHistory(earlier.cp, later.cp, nil)
	}
	if later.bundle != nil {
		if data, ok := later.bundle.File(fmt.Sprintf("%s%09d", earlierDir, earlier.cp.Size)); ok {
			p, err := proof.ParseConsistency(data)
			if err != nil {
				return err
			}
			return proof.SameHistory(earlier.cp, later.cp, p.Hashes)
		}
	}
	return fmt.Errorf("%w: ask the ledger's keeper for the later bundle once more, made with: "+
		"evidence --earlier FILE, where FILE is the earlier bundle or checkpoint", proof.ErrNoComparison)
}

// shared counts the records in both bundles and names those that differ.
func shared(a, b *proof.Bundle) (n int, differ []string) {
	if a == nil || b == nil {
		return 0, nil
	}
	for _, f := range a.Files {
		if !strings.HasPrefix(f.Path, recordsDir) {
			continue
		}
		other, ok := b.File(f.Path)
		if !ok {
			continue
		}
		n++
		if !bytes.Equal(f.Data, other) {
			differ = append(differ, f.Path)
		}
	}
	return n, differ
}

// earlier checks the proofs that lead from earlier sizes to the bundle's checkpoint.
// What they begin at is not in the bundle, so nothing can be compared yet.
func (r *Report) earlier(b *proof.Bundle, signed []byte, cp proof.Checkpoint) {
	for _, f := range b.Files {
		if !strings.HasPrefix(f.Path, earlierDir) {
			continue
		}
		p, err := proof.ParseConsistency(f.Data)
		switch {
		case err != nil:
			r.add(-1, f.Path, err.Error())
		case f.Path != fmt.Sprintf("%s%09d", earlierDir, p.From) || p.From > cp.Size:
			r.add(-1, f.Path, "it is the proof of another size than it is named after")
		case !bytes.Equal(p.Checkpoint, signed):
			r.add(-1, f.Path, "its proof leads to another checkpoint")
		}
	}
}

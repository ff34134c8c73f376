package proof_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// TestSameHistory: of two checkpoints of a tree of 8 leaves one is the beginning
// of the other; a checkpoint with another root never is.
func TestSameHistory(t *testing.T) {
	stored, _, whole := tree8(t)
	at := func(size int64) proof.Checkpoint {
		root, err := tlog.TreeHash(size, stored)
		if err != nil {
			t.Fatal(err)
		}
		return proof.Checkpoint{Origin: whole.Origin, Size: size, Root: root}
	}
	other := func(c proof.Checkpoint) proof.Checkpoint { c.Root[0] ^= 1; return c }
	path := func(from, to int64) []tlog.Hash {
		p, err := proof.ProveConsistency(from, to, stored)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	empty := proof.Checkpoint{Origin: whole.Origin, Root: proof.EmptyRoot}
	for from := int64(0); from <= 8; from++ {
		for to := from; to <= 8; to++ {
			early, late := empty, empty
			if from > 0 {
				early = at(from)
			}
			if to > 0 {
				late = at(to)
			}
			if err := proof.SameHistory(early, late, path(from, to)); err != nil {
				t.Errorf("from %d to %d: %v", from, to, err)
			}
			for _, pair := range [][2]proof.Checkpoint{{other(early), late}, {early, other(late)}} {
				err := proof.SameHistory(pair[0], pair[1], path(from, to))
				if from == 0 && to > 0 && pair[0].Root == proof.EmptyRoot { // of nothing, everything is the continuation
					if err != nil {
						t.Errorf("from none to %d: %v", to, err)
					}
				} else if !errors.Is(err, proof.ErrTwoHistories) {
					t.Errorf("from %d to %d with another root: %v", from, to, err)
				}
			}
		}
	}
	stranger := at(8)
	stranger.Origin = "south/ledger"
	wantError(t, "another ledger", proof.SameHistory(at(8), stranger, nil),
		"one is of the ledger "+whole.Origin+", the other of south/ledger")
	wantError(t, "backwards", proof.SameHistory(at(8), at(5), nil), "the earlier checkpoint has 8 records, the later one 5")
}

// TestConsistencyForm writes and reads the body of a request to a witness as
// c2sp.org/tlog-witness has it, and refuses what is none.
func TestConsistencyForm(t *testing.T) {
	var many []tlog.Hash
	for i := range 63 {
		many = append(many, tlog.Hash{byte(i + 1)})
	}
	note := []byte("north/ledger\n8\nroot\n\n— north/ledger sig\n")
	for _, c := range []proof.Consistency{
		{From: 0, Checkpoint: note}, {From: 5, Hashes: many[:2], Checkpoint: note}, {From: 1<<62 + 1, Hashes: many, Checkpoint: note},
	} {
		want := fmt.Sprintf("old %d\n", c.From)
		for _, h := range c.Hashes {
			want += h.String() + "\n"
		}
		want += "\n" + string(note)
		if got := string(c.Marshal()); got != want {
			t.Errorf("written\n%s\nwant\n%s", got, want)
		}
		back, err := proof.ParseConsistency([]byte(want))
		if err != nil || back.From != c.From || len(back.Hashes) != len(c.Hashes) || !bytes.Equal(back.Checkpoint, note) {
			t.Errorf("read %+v, %v", back, err)
		}
		for i, h := range back.Hashes {
			if h != c.Hashes[i] {
				t.Errorf("hash %d is %s, want %s", i, h, c.Hashes[i])
			}
		}
	}
	long := "old 5\n" + strings.Repeat(many[0].String()+"\n", 64) + "\n"
	for text, says := range map[string]string{
		"old 5\n":                                "there is no empty line before the checkpoint",
		"new 5\n\n":                              `the first line is "new 5", not the old size, as in: old 5`,
		"5\n\n":                                  `the first line is "5", not the old size, as in: old 5`,
		"old five\n\n":                           `the first line is "old five", not the old size, as in: old 5`,
		"old -1\n\n":                             `the first line is "old -1", not the old size, as in: old 5`,
		"old 05\n\n":                             `the first line is "old 05", not the old size, as in: old 5`,
		"old +5\n\n":                             `the first line is "old +5", not the old size, as in: old 5`,
		"old 9223372036854775808\n\n":            `the first line is "old 9223372036854775808", not the old size, as in: old 5`,
		long:                                     "the proof has more than 63 lines",
		"old 5\nnothing\n\n":                     "line 1 of the proof: ",
		"old 5\n" + many[0].String() + "\nx\n\n": "line 2 of the proof: ",
	} {
		if _, err := proof.ParseConsistency([]byte(text)); err == nil || !strings.HasPrefix(err.Error(), says) {
			t.Errorf("%.40q: %v, want %s", text, err, says)
		}
	}
}

package proof_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// wantError fails unless err says exactly this.
func wantError(t *testing.T, what string, err error, says string) {
	t.Helper()
	if err == nil || err.Error() != says {
		t.Errorf("%s: %v, want %s", what, err, says)
	}
}

// A signature line by the ledger's own key is no arrival line, and neither is one with its mark under another name.
func TestArrivalIsNoSignature(t *testing.T) {
	signer, _ := testKey(origin)
	signed, err := proof.SignNote("x\n", signer)
	if err != nil {
		t.Fatal(err)
	}
	mark := proof.ArrivalKeyID(origin)
	foreign := append(bytes.Clone(signed), "— somebody "+base64.StdEncoding.EncodeToString(append(mark[:], 1))+"\n"...)
	for name, station := range map[string][]byte{"signed by the ledger": signed,
		"the mark under another name": foreign} {
		if err := proof.CheckStationNote(origin, station); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		record := proof.AddArrival(origin, station, testTime, 0)
		if got, _, _, err := proof.SplitArrival(origin, record); err != nil || !bytes.Equal(got, station) {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
}

func TestArrivalLimits(t *testing.T) {
	signer, _ := testKey("north/or-3")
	station, err := proof.SignNote("x\n", signer)
	if err != nil {
		t.Fatal(err)
	}
	latest := time.Unix(0, math.MaxInt64)
	_, at, _, err := proof.SplitArrival(origin, proof.AddArrival(origin, station, latest, 0))
	if err != nil || !at.Equal(latest) {
		t.Errorf("the latest time there is: %s, %v", at, err)
	}
	_, _, _, err = proof.SplitArrival(origin, proof.AddArrival(origin, station, time.Unix(0, math.MinInt64), 0))
	wantError(t, "one nanosecond more", err, "arrival time of 9223372036854775808 ns is out of range")
	record := proof.AddArrival(origin, station, testTime, 0)
	_, _, _, err = proof.SplitArrival(origin, append(record[:len(record)-1], "AAAA\n"...))
	wantError(t, "three bytes more", err, "arrival line of "+origin+" has 24 characters of base64, want 20")
	_, err = proof.Links(origin, append(record[:len(record)-5:len(record)-5], '\n'))
	wantError(t, "three bytes fewer", err, "arrival line of "+origin+" has 16 characters of base64, want 20")
}

func TestCheckpointLimits(t *testing.T) {
	root := base64.StdEncoding.EncodeToString(make([]byte, 32))
	for _, size := range []int64{0, 1, math.MaxInt64} {
		text := fmt.Sprintf("%s\n%d\n%s\n", origin, size, root)
		if c, err := proof.ParseCheckpoint(text); err != nil || c.Size != size {
			t.Errorf("%d records: %d, %v", size, c.Size, err)
		}
	}
	for _, size := range []string{"-1", "-0", "9223372036854775808", "+1", ""} {
		_, err := proof.ParseCheckpoint(fmt.Sprintf("%s\n%s\n%s\n", origin, size, root))
		wantError(t, "a wrong size", err, fmt.Sprintf("checkpoint size %q is not a plain decimal number", size))
	}
}

func TestInclusionLimits(t *testing.T) {
	signer, _ := testKey(origin)
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: origin, Size: 1, Root: proof.LeafHash(nil)}, signer)
	if err != nil {
		t.Fatal(err)
	}
	const header = "c2sp.org/tlog-proof@v1"
	hash := base64.StdEncoding.EncodeToString(make([]byte, 32))
	parse := func(lines ...string) (proof.Inclusion, error) {
		return proof.ParseInclusion([]byte(strings.Join(lines, "\n") + "\n\n" + string(msg)))
	}
	for _, index := range []int64{0, 9, 10, 11, 700, math.MaxInt64 - 1} {
		if p, err := parse(header, fmt.Sprintf("index %d", index)); err != nil || p.Index != index {
			t.Errorf("index %d: %d, %v", index, p.Index, err)
		}
	}
	for _, line := range []string{"5", "index", "index x", "index 9223372036854775807", "index 9223372036854775808"} {
		_, err := parse(header, line)
		wantError(t, line, err, fmt.Sprintf("proof has %q where its index line should be", line))
	}
	_, err = parse("c2sp.org/tlog-proof@v2", "index 0")
	wantError(t, "another version", err, `proof begins with "c2sp.org/tlog-proof@v2", want "c2sp.org/tlog-proof@v1"`)
	_, err = parse(header)
	wantError(t, "nothing behind the header", err, "proof has no index line")
	_, err = parse(header, "extra AAAA")
	wantError(t, "nothing behind the extra line", err, "proof has no index line")
	_, err = parse(header, "index 0", hash, "x")
	wantError(t, "a line that is no hash", err,
		`hash 2 of the proof: "x" is not a hash of 32 bytes in canonical base64`)
	_, err = parse(append([]string{header, "index 0"}, strings.Split(strings.Repeat(hash+"\n", 63)+hash, "\n")...)...)
	wantError(t, "a long path", err, "proof has 64 hashes, more than any tree needs")
}

func TestNoteLimits(t *testing.T) {
	line := func(name string, n int) string {
		return "— " + name + " " + base64.StdEncoding.EncodeToString(make([]byte, n)) + "\n"
	}
	for name, msg := range map[string]string{
		"empty text":                      "\n\n" + line("x", 5),
		"five bytes: key id and one more": "x\n\n" + line("x", 5),
		"256 bytes":                       "x\n\n" + line("x", 256),
		"257 bytes":                       "x\n\n" + line("x", 257),
		"258 bytes":                       "x\n\n" + line("x", 258),
		"a post-quantum signature":        "x\n\n" + line("x", 4+2420),
		"100 signatures":                  "x\n\n" + strings.Repeat(line("x", 68), 100),
	} {
		if err := proof.CheckNote([]byte(msg)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	tests := []struct{ name, msg, want string }{
		{"four bytes", "x\n\n" + line("x", 4), `signature line 1: signature by "x" is too short`},
		{"second line", "x\n\n" + line("x", 68) + "— x\n", "signature line 2: has no space between key name and " +
			"signature"},
		{"101 signatures", "x\n\n" + strings.Repeat(line("x", 68), 101), "note has more than 100 signature lines"},
		{"space first", "x\n\n" + line("\u00a0x", 68), "signature line 1: key name \"\\u00a0x\" is empty or holds a " +
			"space or a plus sign"},
		{"space last", "x\n\n" + line("x\u2003", 68), "signature line 1: key name \"x\\u2003\" is empty or holds a " +
			"space or a plus sign"},
		{"plus", "x\n\n" + line("x+y", 68),
			`signature line 1: key name "x+y" is empty or holds a space or a plus sign`},
		{"control character", "a\tb\n\n" + line("x", 68), "note has control character 0x09 at byte 1"},
	}
	for _, tt := range tests {
		wantError(t, tt.name, proof.CheckNote([]byte(tt.msg)), tt.want)
	}
}

// Whose signatures a note has, where none is by a known key.
func TestOpenNoteNamesTheSigners(t *testing.T) {
	one, _ := testKey("north/or-3")
	two, _ := testKey("north/or-4")
	_, known := testKey(origin)
	msg, err := proof.SignNote("x\n", one, two)
	if err != nil {
		t.Fatal(err)
	}
	_, err = proof.OpenNote(msg, note.VerifierList(known))
	wantError(t, "two strangers", err, "no signature by a known key; it is signed by north/or-3, north/or-4")
}

func TestTileLimits(t *testing.T) {
	hashes := make([]tlog.Hash, 257)
	for i := range hashes {
		binary.BigEndian.PutUint32(hashes[i][28:], uint32(i))
	}
	for _, width := range []int{1, 2, 255, 256} {
		data := proof.EncodeTile(hashes[:width])
		if len(data) != 32*width {
			t.Fatalf("%d hashes are %d bytes", width, len(data))
		}
		got, err := proof.DecodeTile(data, width)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got {
			if got[i] != hashes[i] {
				t.Errorf("width %d: hash %d is %x", width, i, got[i][:])
			}
		}
		_, err = proof.DecodeTile(data, width+1)
		wantError(t, "a hash too few", err,
			fmt.Sprintf("tile has %d bytes, want %d hashes of 32 bytes", 32*width, width+1))
	}
	for _, width := range []int{-1, 0, 257} {
		_, err := proof.DecodeTile(make([]byte, max(0, 32*width)), width)
		wantError(t, "a width that no tile has", err,
			fmt.Sprintf("tile has %d bytes, want %d hashes of 32 bytes", max(0, 32*width), width))
	}
}

func TestEntriesLimits(t *testing.T) {
	for _, width := range []int{1, 255, 256} {
		if records, err := proof.DecodeEntries(make([]byte, 2*width), width); err != nil || len(records) != width {
			t.Errorf("%d empty records: %d, %v", width, len(records), err)
		}
	}
	for _, width := range []int{-1, 0, 257} {
		_, err := proof.DecodeEntries(make([]byte, max(0, 2*width)), width)
		wantError(t, "a width that no bundle has", err,
			fmt.Sprintf("an entry bundle holds 1 to 256 records, not %d", width))
	}
	two := []byte{0, 1, 'a', 0, 2, 'b', 'c'}
	records, err := proof.DecodeEntries(two, 2)
	if err != nil || string(records[0]) != "a" || string(records[1]) != "bc" {
		t.Fatalf("%q, %v", records, err)
	}
	if _ = append(records[0], 'x'); two[3] != 0 {
		t.Error("who appends to a record writes into the next one")
	}
	for _, tt := range []struct {
		data  []byte
		width int
		want  string
	}{
		{two, 3, "entry bundle ends before record 3 of 3"},
		{two[:4], 2, "entry bundle ends before record 2 of 2"},
		{two[:6], 2, "entry bundle ends inside record 2 of 2"},
		{append(bytes.Clone(two), 0), 2, "entry bundle has 1 bytes after its 2 records"},
	} {
		_, err := proof.DecodeEntries(tt.data, tt.width)
		wantError(t, fmt.Sprintf("% x as %d records", tt.data, tt.width), err, tt.want)
	}
	_, err = proof.AppendEntry(nil, make([]byte, 65_536))
	wantError(t, "a long record", err, "record of 65536 bytes is too long for an entry bundle, which holds up to 65535")
}

// The tiles at the right edge of a tree, with their places.
func TestPartialTiles(t *testing.T) {
	tree := &proof.Tree{}
	want := map[int64][]string{
		0:                    nil,
		255:                  {"tile/0/000.p/255"},
		256:                  {"tile/1/000.p/1"},
		300:                  {"tile/0/001.p/44", "tile/1/000.p/1"},
		65_536:               {"tile/2/000.p/1"},
		65_536 + 256:         {"tile/1/001.p/1", "tile/2/000.p/1"},
		2*65_536 + 2*256:     {"tile/1/002.p/2", "tile/2/000.p/2"},
		2*65_536 + 2*256 + 1: {"tile/0/514.p/1", "tile/1/002.p/2", "tile/2/000.p/2"},
	}
	for size := int64(0); size <= 2*65_536+2*256+1; size++ {
		if paths, ok := want[size]; ok {
			var got []string
			tree.Partial(func(level int, index int64, hashes []tlog.Hash) {
				got = append(got, proof.TilePath(level, index, len(hashes)))
			})
			if fmt.Sprint(got) != fmt.Sprint(paths) {
				t.Errorf("%d leaves: %v, want %v", size, got, paths)
			}
		}
		tree.Append(proof.LeafHash(nil), nil)
	}
	_, err := proof.LoadTree(700, func(level int, index int64, width int) ([]tlog.Hash, error) {
		return make([]tlog.Hash, width+1), nil
	})
	wantError(t, "a tile too wide", err, "tile tile/0/002.p/188 holds 189 hashes, want 188")
}

// Questions that no tree can answer are refused in words, before anything is read.
func TestProofLimits(t *testing.T) {
	stored, records, c := tree8(t)
	for _, index := range []int64{-1, 8, 9} {
		says := fmt.Sprintf("leaf %d is not in a tree of 8 leaves", index)
		_, err := proof.ProveInclusion(8, index, stored)
		wantError(t, "ProveInclusion", err, says)
		wantError(t, "CheckInclusion", proof.CheckInclusion(nil, 8, c.Root, index, proof.LeafHash(records[0])), says)
	}
	for _, tt := range []struct{ from, to int64 }{{-1, 8}, {9, 8}, {-1, -1}, {1, 0}} {
		says := fmt.Sprintf("a tree of %d leaves cannot be a prefix of one of %d", tt.from, tt.to)
		_, err := proof.ProveConsistency(tt.from, tt.to, stored)
		wantError(t, "ProveConsistency", err, says)
		wantError(t, "CheckConsistency", proof.CheckConsistency(nil, tt.from, c.Root, tt.to, c.Root), says)
	}
	for _, tt := range []struct{ from, to int64 }{{0, 8}, {8, 8}, {0, 0}} {
		if path, err := proof.ProveConsistency(tt.from, tt.to, stored); err != nil || path != nil {
			t.Errorf("from %d to %d: %v, %v", tt.from, tt.to, path, err)
		}
	}
	wantError(t, "an empty tree with a root", proof.CheckConsistency(nil, 0, c.Root, 8, c.Root),
		"the root of the empty tree is wrong")
	wantError(t, "two empty trees with a root", proof.CheckConsistency(nil, 0, c.Root, 0, c.Root),
		"the root of the empty tree is wrong")
	wantError(t, "two roots", proof.CheckConsistency(nil, 8, proof.EmptyRoot, 8, c.Root),
		"two different roots for 8 leaves")
	wantError(t, "a root for nothing", proof.CheckConsistency(nil, 0, proof.EmptyRoot, 0, c.Root),
		"two different roots for 0 leaves")
	wantError(t, "a needless path", proof.CheckConsistency([]tlog.Hash{c.Root}, 8, c.Root, 8, c.Root),
		"the proof is longer than it may be: none is needed here")
	if err := proof.CheckConsistency(nil, 8, c.Root, 8, c.Root); err != nil {
		t.Error(err)
	}
	if err := proof.CheckConsistency(nil, 0, proof.EmptyRoot, 8, c.Root); err != nil {
		t.Error(err)
	}
}

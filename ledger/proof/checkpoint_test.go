package proof_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"strings"
	"testing"
	"time"

	tdlog "github.com/transparency-dev/formats/log"
	tdproof "github.com/transparency-dev/formats/proof"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

const origin = "ledger.example/north"

// Source: C2SP tlog-checkpoint, the size and root of its example.
const exampleText = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"

func TestParseCheckpoint(t *testing.T) {
	c, err := proof.ParseCheckpoint(exampleText)
	if err != nil {
		t.Fatal(err)
	}
	if c.Origin != "example.com/behind-the-sofa" || c.Size != 20852163 ||
		c.Root.String() != "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=" {
		t.Errorf("read %+v", c)
	}
	if c.Text() != exampleText {
		t.Errorf("text is %q, want %q", c.Text(), exampleText)
	}
	extended, err := proof.ParseCheckpoint(exampleText + "more\n")
	if err != nil || len(extended.Extensions) != 1 || extended.Text() != exampleText+"more\n" {
		t.Errorf("extension line: %+v, %v", extended, err)
	}
}

func TestParseCheckpointRefuses(t *testing.T) {
	tests := []struct{ name, text string }{
		{"nothing", ""},
		{"no last newline", strings.TrimSuffix(exampleText, "\n")},
		{"root missing", "o\n5\n"},
		{"size missing", "o\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"},
		{"empty origin", strings.Replace(exampleText, "example.com/behind-the-sofa", "", 1)},
		{"leading zero", strings.Replace(exampleText, "20852163", "020852163", 1)},
		{"plus sign", strings.Replace(exampleText, "20852163", "+20852163", 1)},
		{"negative size", strings.Replace(exampleText, "20852163", "-1", 1)},
		{"hex size", strings.Replace(exampleText, "20852163", "0x10", 1)},
		{"size with a space", strings.Replace(exampleText, "20852163", "20852163 ", 1)},
		{"size beyond 63 bits", strings.Replace(exampleText, "20852163", "9223372036854775808", 1)},
		{"spare bits in the root", strings.Replace(exampleText, "q2I=", "q2J=", 1)},
		{"root without padding", strings.Replace(exampleText, "q2I=", "q2I", 1)},
		{"root in the URL alphabet", strings.Replace(exampleText, "om/X", "om_X", 1)},
		{"root too short", "o\n5\nAAAA\n"},
		{"line break inside the root", strings.Replace(exampleText, "om/X", "om\n/X", 1)},
		{"carriage return inside the root", strings.Replace(exampleText, "om/X", "om\r/X", 1)},
		{"empty extension line", exampleText + "\n"},
	}
	for _, tt := range tests {
		if c, err := proof.ParseCheckpoint(tt.text); err == nil {
			t.Errorf("%s: accepted as %+v", tt.name, c)
		}
	}
}

// The second implementation is transparency-dev/formats.
func TestCheckpointAgainstFormats(t *testing.T) {
	signer, verifier := testKey(origin)
	root := proof.LeafHash([]byte("x"))
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: origin, Size: 1, Root: root}, signer)
	if err != nil {
		t.Fatal(err)
	}
	theirs, _, _, err := tdlog.ParseCheckpoint(msg, origin, verifier)
	if err != nil {
		t.Fatal(err)
	}
	if theirs.Size != 1 || !bytes.Equal(theirs.Hash, root[:]) ||
		string(theirs.Marshal()) != (proof.Checkpoint{Origin: origin, Size: 1, Root: root}).Text() {
		t.Errorf("second implementation reads %+v", theirs)
	}
	// A signature by somebody we do not know, such as a witness, must not disturb us.
	witness, _ := testKey("witness.example")
	opened, err := proof.OpenNote(msg, note.VerifierList(verifier))
	if err != nil {
		t.Fatal(err)
	}
	cosigned, err := note.Sign(opened, signer, witness)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := proof.OpenCheckpoint(cosigned, origin, verifier); err != nil || c.Root != root {
		t.Errorf("cosigned checkpoint: %+v, %v", c, err)
	}
}

func TestOpenCheckpointRefuses(t *testing.T) {
	signer, verifier := testKey(origin)
	other, otherVerifier := testKey("ledger.example/south")
	c := proof.Checkpoint{Origin: origin, Size: 1, Root: proof.LeafHash(nil)}
	msg, err := proof.SignCheckpoint(c, signer)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := proof.OpenCheckpoint(msg, origin, otherVerifier); err == nil {
		t.Error("accepted without a signature by the key asked for")
	}
	if _, err := proof.OpenCheckpoint(msg, "ledger.example/south", verifier); err == nil {
		t.Error("accepted as another ledger's checkpoint")
	}
	foreign, err := proof.SignCheckpoint(c, other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := proof.OpenCheckpoint(foreign, origin, verifier); err == nil {
		t.Error("accepted another key's signature")
	}
	if _, err := proof.SignCheckpoint(proof.Checkpoint{Origin: "", Size: 1}, signer); err == nil {
		t.Error("signed a checkpoint without an origin")
	}
}

// Base64 has spare bits and a note several ways to be read, so every single change is tried.
func TestEveryChangedByteOfACheckpointIsNoticed(t *testing.T) {
	signer, verifier := testKey(origin)
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: origin, Size: 8, Root: proof.LeafHash([]byte("y"))},
		signer)
	if err != nil {
		t.Fatal(err)
	}
	for i := range msg {
		for bit := range 8 {
			changed := bytes.Clone(msg)
			changed[i] ^= 1 << bit
			if _, err := proof.OpenCheckpoint(changed, origin, verifier); err == nil {
				t.Errorf("bit %d of byte %d (%q) changed and not noticed", bit, i, msg[i])
			}
		}
		if _, err := proof.OpenCheckpoint(append(bytes.Clone(msg[:i]), msg[i+1:]...), origin, verifier); err == nil {
			t.Errorf("byte %d (%q) removed and not noticed", i, msg[i])
		}
	}
	if _, err := proof.OpenCheckpoint(append(bytes.Clone(msg), '\n'), origin, verifier); err == nil {
		t.Error("a newline added and not noticed")
	}
}

func TestCheckNote(t *testing.T) {
	signer, _ := testKey("north/or-3")
	good, err := proof.SignNote("{\"a\":1}\n", signer)
	if err != nil {
		t.Fatal(err)
	}
	if err := proof.CheckNote(good); err != nil {
		t.Errorf("good note: %v", err)
	}
	line := string(good[bytes.LastIndex(good, []byte("—")):])
	tests := []struct{ name, msg string }{
		{"empty", ""},
		{"no signature", "text\n\n"},
		{"no empty line", "text\n" + line},
		{"cut off", strings.TrimSuffix(string(good), "\n")},
		{"tab", "a\tb\n\n" + line},
		{"invalid UTF-8", "a\xffb\n\n" + line},
		{"hyphen for the dash", "text\n\n- " + strings.TrimPrefix(line, "— ")},
		{"name with a plus", "text\n\n— a+b AAAAAAAA\n"},
		{"no name", "text\n\n—  AAAAAAAA\n"},
		{"key ID alone", "text\n\n— a AAAAAA==\n"},
		{"spare bits", "text\n\n— a AAAAAAB=\n"},
		{"too many signatures", "text\n\n" + strings.Repeat(line, 101)},
	}
	for _, tt := range tests {
		if err := proof.CheckNote([]byte(tt.msg)); err == nil {
			t.Errorf("%s: accepted", tt.name)
		}
	}
	if err := proof.CheckNote([]byte("text\n\n" + strings.Repeat(line, 16))); err != nil {
		t.Errorf("16 signatures, which the format asks for: %v", err)
	}
}

func TestArrival(t *testing.T) {
	signer, _ := testKey("north/or-3")
	station, err := proof.SignNote("{\"a\":1}\n", signer)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 3, 4, 7, 12, 0, 123456789, time.UTC)
	record := proof.AddArrival(origin, station, at, 3)
	if err := proof.CheckNote(record); err != nil {
		t.Errorf("a record is not a note any more: %v", err)
	}
	got, gotAt, remark, err := proof.SplitArrival(origin, record)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, station) || !gotAt.Equal(at) || remark != 3 {
		t.Errorf("split into %q, %s, %d", got, gotAt, remark)
	}
	if err := proof.CheckStationNote(origin, station); err != nil {
		t.Errorf("a station's note: %v", err)
	}
	if err := proof.CheckStationNote(origin, record); err == nil {
		t.Error("took a record for a station's note")
	}
	if err := proof.CheckStationNote("ledger.example/south", record); err != nil {
		t.Errorf("another ledger's record is a note like any other: %v", err)
	}
	refused := []struct {
		name   string
		origin string
		record []byte
	}{
		{"no arrival line", origin, station},
		{"another ledger", "ledger.example/south", record},
		{"twice", origin, proof.AddArrival(origin, record, at, 0)},
		{"not last", origin, append(bytes.Clone(record), station[bytes.LastIndex(station, []byte("—")):]...)},
		{"without the note", origin, record[len(station):]},
		{"empty", origin, nil},
		{"one newline", origin, []byte("\n")},
		{"time out of range", origin, proof.AddArrival(origin, station, time.Unix(-1, 0), 0)},
	}
	for _, tt := range refused {
		if _, _, _, err := proof.SplitArrival(tt.origin, tt.record); err == nil {
			t.Errorf("%s: accepted", tt.name)
		}
	}
	// Any other line either is refused or says something else: no two spellings mean the same.
	for i := len(station); i < len(record); i++ {
		for bit := range 8 {
			changed := bytes.Clone(record)
			changed[i] ^= 1 << bit
			n, when, r, err := proof.SplitArrival(origin, changed)
			if err == nil && bytes.Equal(n, station) && when.Equal(at) && r == remark {
				t.Errorf("bit %d of byte %d changed and read as the same", bit, i)
			}
		}
	}
}

func tree8(tb testing.TB) (memHashes, [][]byte, proof.Checkpoint) {
	tb.Helper()
	var stored memHashes
	tree := &proof.Tree{}
	var records [][]byte
	for i := range 8 {
		records = append(records, fmt.Appendf(nil, "record %d", i))
		stored.add(tb, int64(i), records[i])
		tree.Append(proof.LeafHash(records[i]), nil)
	}
	return stored, records, proof.Checkpoint{Origin: origin, Size: 8, Root: tree.Root()}
}

// The second implementation of the text form is transparency-dev/formats.
func TestInclusionText(t *testing.T) {
	signer, verifier := testKey(origin)
	stored, records, c := tree8(t)
	msg, err := proof.SignCheckpoint(c, signer)
	if err != nil {
		t.Fatal(err)
	}
	for index := range int64(8) {
		for _, extra := range [][]byte{nil, {}, []byte("case K-0412")} {
			path, err := proof.ProveInclusion(8, index, stored)
			if err != nil {
				t.Fatal(err)
			}
			p := proof.Inclusion{Extra: extra, Index: index, Hashes: path, Checkpoint: msg}
			text := p.Marshal()
			var theirs tdproof.TLogProof
			if err := theirs.Unmarshal(text); err != nil {
				t.Fatalf("second implementation: %v", err)
			}
			if theirs.Index != uint64(index) || len(theirs.Hashes) != len(path) ||
				!bytes.Equal(theirs.Checkpoint, msg) || !bytes.Equal(theirs.ExtraData, extra) {
				t.Errorf("second implementation reads %+v", theirs)
			}
			theirs.ExtraData = extra
			if !bytes.Equal(theirs.Marshal(), text) {
				t.Errorf("second implementation writes\n%s\nwant\n%s", theirs.Marshal(), text)
			}
			got, err := proof.ParseInclusion(text)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got.Marshal(), text) {
				t.Errorf("read and written again:\n%s\nwant\n%s", got.Marshal(), text)
			}
			if _, err := got.Check(records[index], origin, verifier); err != nil {
				t.Errorf("record %d: %v", index, err)
			}
			if _, err := got.Check(records[(index+1)%8], origin, verifier); err == nil {
				t.Errorf("the proof of leaf %d also proves its neighbour", index)
			}
		}
	}
	if _, err := proof.ProveInclusion(8, 8, stored); err == nil {
		t.Error("proved a leaf that is not there")
	}
}

func TestEveryChangedByteOfAProofIsNoticed(t *testing.T) {
	signer, verifier := testKey(origin)
	stored, records, c := tree8(t)
	msg, err := proof.SignCheckpoint(c, signer)
	if err != nil {
		t.Fatal(err)
	}
	path, err := proof.ProveInclusion(8, 5, stored)
	if err != nil {
		t.Fatal(err)
	}
	text := proof.Inclusion{Index: 5, Hashes: path, Checkpoint: msg}.Marshal()
	for i := range text {
		for bit := range 8 {
			changed := bytes.Clone(text)
			changed[i] ^= 1 << bit
			p, err := proof.ParseInclusion(changed)
			if err == nil {
				_, err = p.Check(records[5], origin, verifier)
			}
			if err == nil {
				t.Errorf("bit %d of byte %d (%q) changed and not noticed", bit, i, text[i])
			}
		}
	}
}

func TestParseInclusionRefuses(t *testing.T) {
	signer, _ := testKey(origin)
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: origin, Size: 1, Root: proof.LeafHash(nil)}, signer)
	if err != nil {
		t.Fatal(err)
	}
	cp := "\n" + string(msg)
	hash := base64.StdEncoding.EncodeToString(make([]byte, 32)) + "\n"
	tests := []struct{ name, text string }{
		{"empty", ""},
		{"other version", "c2sp.org/tlog-proof@v2\nindex 0\n" + cp},
		{"no index", "c2sp.org/tlog-proof@v1\n" + cp},
		{"no index but extra", "c2sp.org/tlog-proof@v1\nextra AAAA\n" + cp},
		{"leading zero", "c2sp.org/tlog-proof@v1\nindex 00\n" + cp},
		{"negative", "c2sp.org/tlog-proof@v1\nindex -1\n" + cp},
		{"extra after index", "c2sp.org/tlog-proof@v1\nindex 0\nextra AAAA\n" + cp},
		{"extra with spare bits", "c2sp.org/tlog-proof@v1\nextra AB==\nindex 0\n" + cp},
		{"hash with spare bits", "c2sp.org/tlog-proof@v1\nindex 0\n" + strings.Replace(hash, "A=", "B=", 1) + cp},
		{"hash too short", "c2sp.org/tlog-proof@v1\nindex 0\nAAAA\n" + cp},
		{"no checkpoint", "c2sp.org/tlog-proof@v1\nindex 0\n\n"},
		{"64 hashes", "c2sp.org/tlog-proof@v1\nindex 0\n" + strings.Repeat(hash, 64) + cp},
	}
	for _, tt := range tests {
		if _, err := proof.ParseInclusion([]byte(tt.text)); err == nil {
			t.Errorf("%s: accepted", tt.name)
		}
	}
	if _, err := proof.ParseInclusion([]byte("c2sp.org/tlog-proof@v1\nindex 0\n" +
		strings.Repeat(hash, 63) + cp)); err != nil {
		t.Errorf("63 hashes: %v", err)
	}
}

func TestEntries(t *testing.T) {
	var records [][]byte
	var data []byte
	for i := range proof.TileWidth {
		record := bytes.Repeat([]byte{byte(i)}, i*7)
		var err error
		if data, err = proof.AppendEntry(data, record); err != nil {
			t.Fatal(err)
		}
		records = append(records, record)
	}
	// Source: C2SP tlog-tiles: a big-endian uint16 length, then the entry.
	if !bytes.HasPrefix(data, []byte{0, 0, 0, 7, 1, 1, 1, 1, 1, 1, 1, 0, 14, 2}) {
		t.Errorf("bundle begins % x", data[:14])
	}
	got, err := proof.DecodeEntries(data, proof.TileWidth)
	if err != nil {
		t.Fatal(err)
	}
	for i := range records {
		if !bytes.Equal(got[i], records[i]) {
			t.Errorf("record %d differs", i)
		}
	}
	for _, width := range []int{0, -1, 255, 257} {
		if _, err := proof.DecodeEntries(data, width); err == nil {
			t.Errorf("read as %d records", width)
		}
	}
	if _, err := proof.DecodeEntries(data[:len(data)-1], proof.TileWidth); err == nil {
		t.Error("read although cut off")
	}
	if _, err := proof.AppendEntry(nil, make([]byte, proof.MaxRecord+1)); err == nil {
		t.Error("took a record that the length cannot say")
	}
	if _, err := proof.AppendEntry(nil, make([]byte, proof.MaxRecord)); err != nil {
		t.Errorf("the longest record: %v", err)
	}
	if _, err := proof.DecodeTile(make([]byte, 33), 1); err == nil {
		t.Error("read a tile with a byte too many")
	}
}

func TestLoadTree(t *testing.T) {
	for _, size := range []int64{0, 1, 255, 256, 257, 70_000} {
		tree := &proof.Tree{}
		tiles := map[string][]tlog.Hash{}
		for i := range size {
			tree.Append(proof.LeafHash(fmt.Append(nil, i)), nil)
		}
		tree.Partial(func(level int, index int64, hashes []tlog.Hash) {
			tiles[proof.TilePath(level, index, len(hashes))] = append([]tlog.Hash(nil), hashes...)
		})
		load := func(level int, index int64, width int) ([]tlog.Hash, error) {
			hs, ok := tiles[proof.TilePath(level, index, width)]
			if !ok {
				return nil, fmt.Errorf("no tile %s", proof.TilePath(level, index, width))
			}
			return hs, nil
		}
		loaded, err := proof.LoadTree(size, load)
		if err != nil {
			t.Fatal(err)
		}
		if loaded.Root() != tree.Root() || loaded.Size() != size {
			t.Errorf("tree of %d leaves has another root after loading", size)
		}
		clone := loaded.Clone()
		clone.Append(proof.LeafHash([]byte("next")), nil)
		if loaded.Root() != tree.Root() {
			t.Errorf("a clone of the tree of %d leaves changed the original", size)
		}
		tree.Append(proof.LeafHash([]byte("next")), nil)
		if clone.Root() != tree.Root() {
			t.Errorf("tree of %d leaves grows differently after loading", size)
		}
		if size > 0 {
			tiles = nil
			if _, err := proof.LoadTree(size, load); err == nil {
				t.Errorf("tree of %d leaves loaded without its tiles", size)
			}
		}
	}
}

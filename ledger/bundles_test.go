package ledger_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// someRecords are those of a full bundle: texts, of any length, the longest and the shortest among them.
func someRecords(seed uint64) [][]byte {
	r := rand.New(rand.NewPCG(seed, 1))
	records := make([][]byte, proof.TileWidth)
	for i := range records {
		length := r.IntN(900)
		switch r.IntN(40) {
		case 0:
			length = 0
		case 1:
			length = proof.MaxRecord
		}
		records[i] = make([]byte, length)
		for j := range records[i] {
			records[i][j] = byte("0123456789abcdef{}:,"[r.IntN(20)])
		}
	}
	return records
}

func plain(t testing.TB, records [][]byte) (out []byte) {
	t.Helper()
	var err error
	for _, record := range records {
		if out, err = proof.AppendEntry(out, record); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// A packed bundle is what its records are in the form of c2sp.org/tlog-tiles, as the reference implementation of RFC 8878 unpacks
// it (zstd, of the Debian package of that name).
func TestPackBundle(t *testing.T) {
	for seed := range uint64(5) {
		records := someRecords(seed)
		packed, err := ledger.PackBundle(records)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ledger.UnpackBundle(0, packed); err != nil || !slices.EqualFunc(got, records, bytes.Equal) {
			t.Fatalf("seed %d: other records than were packed: %v", seed, err)
		}
		reference := exec.Command("zstd", "-d", "-c")
		reference.Stdin = bytes.NewReader(packed)
		if whole, err := reference.Output(); err != nil || !bytes.Equal(whole, plain(t, records)) {
			t.Errorf("seed %d: unpacked by zstd it is not the bundle, which make test installs it for: %v", seed, err)
		}
	}
}

// A flipped byte is noticed or changes nothing, and costs the records of its frame at most.
func TestFlippedInPackedBundle(t *testing.T) {
	records := someRecords(7)
	for i := range records {
		records[i] = records[i][:min(len(records[i]), 60)] // so that each byte's turn comes
	}
	packed, err := ledger.PackBundle(records)
	if err != nil {
		t.Fatal(err)
	}
	unnoticed := 0
	for at := range packed {
		data := bytes.Clone(packed)
		data[at] ^= 1 << (at % 8)
		got, err := ledger.UnpackBundle(0, data)
		if err == nil {
			if unnoticed++; !slices.EqualFunc(got, records, bytes.Equal) {
				t.Fatalf("flipped at %d: other records, and no error", at)
			}
			continue
		}
		lost := 0
		for i := range records {
			if got == nil || !bytes.Equal(got[i], records[i]) {
				lost++
			}
		}
		if lost > ledger.RecordsInFrame {
			t.Errorf("flipped at %d of %d: %d records lost: %v", at, len(packed), lost, err)
		}
	}
	// RFC 8878, 3.1.1.1.1: a decoder passes over one bit of a frame's head.
	if unnoticed > proof.TileWidth/ledger.RecordsInFrame {
		t.Errorf("%d flips of %d were not noticed", unnoticed, len(packed))
	}
}

// Whoever meets a damaged bundle is told which of the ledger's records are, and what to do.
func TestDamagedBundleSaysWhich(t *testing.T) {
	opts := wholeLedger(t)
	flipFile(fullBundle, 500)(t, opts.Dir)
	data, err := os.ReadFile(filepath.Join(opts.Dir, fullBundle))
	if err != nil {
		t.Fatal(err)
	}
	far := filepath.Join(opts.Dir, "log/tile/entries/x001")
	if err := errors.Join(os.MkdirAll(far, 0o700), os.WriteFile(filepath.Join(far, "234.zst"), data, 0o600)); err != nil {
		t.Fatal(err)
	}
	l := ledgertest.OpenDamaged(t, opts)
	_, one := l.Read(7)
	_, near := l.Tile("tile/entries/000")
	_, away := l.Tile("tile/entries/x001/234")
	for err, want := range map[error]string{
		one: "record 7: tile/entries/000.zst: records 1 to 16 in it are damaged; nothing is lost if the other copy has it: " +
			"stop whatever records here, run listbound repair, then listbound verify",
		near: "tile/entries/000.zst: records 1 to 16 in it are damaged",
		away: "tile/entries/x001/234.zst: records 315905 to 315920 in it are damaged",
	} {
		if err == nil || err.Error() != want {
			t.Errorf("%v, want %s", err, want)
		}
	}
	if _, err := l.Read(17); err != nil {
		t.Errorf("a record of another frame: %v", err)
	}
}

// What is no packed bundle is refused, and takes no memory for what it claims to be.
func TestUnpackBundleRefuses(t *testing.T) {
	packed, err := ledger.PackBundle(someRecords(3))
	if err != nil {
		t.Fatal(err)
	}
	const table, frames = 8 + 16*12 + 9, 16
	entry := func(data []byte, frame int) []byte { return data[len(data)-table+8+frame*12:] }
	bomb, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	huge := bomb.EncodeAll(make([]byte, 64<<20), nil)
	for name, data := range map[string][]byte{
		"nothing":       nil,
		"cut":           packed[:len(packed)-1],
		"without table": packed[:len(packed)-table],
		"more behind":   append(bytes.Clone(packed), 0),
		"more before":   append([]byte{0}, packed...),
		"text":          bytes.Repeat([]byte("no bundle "), 100),
		"a frame that is longer than it may be": func() []byte {
			d := bytes.Clone(packed)
			binary.LittleEndian.PutUint32(entry(d, frames-1)[4:], 1<<31)
			return d
		}(),
		"frames that end elsewhere": func() []byte {
			d := bytes.Clone(packed)
			binary.LittleEndian.PutUint32(entry(d, 0), binary.LittleEndian.Uint32(entry(d, 0))+1)
			return d
		}(),
		"a frame that unpacks to more": func() []byte {
			d := append(bytes.Clone(huge), packed[len(packed)-table:]...)
			for frame := range frames {
				binary.LittleEndian.PutUint32(entry(d, frame), 0)
			}
			binary.LittleEndian.PutUint32(entry(d, 0), uint32(len(huge)))
			return d
		}(),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := ledger.UnpackBundle(0, data)
		runtime.ReadMemStats(&after)
		if took := after.TotalAlloc - before.TotalAlloc; err == nil || took > 256<<20 {
			t.Errorf("%s: %d bytes were taken for it: %v", name, took, err)
		}
	}
	if _, err := ledger.PackBundle([][]byte{make([]byte, proof.MaxRecord+1)}); err == nil {
		t.Error("a record that is too long was packed")
	}
}

// However full bundles lie on the disk, what is read and served of them is the same, and they may lie there both ways at once.
func TestBundlesPackedAndPlain(t *testing.T) {
	opts := wholeLedger(t)
	tell := func() (all []string) {
		l := ledgertest.Open(t, opts)
		for _, seq := range []int64{1, 16, 17, 200, 256, 257} {
			record, err := l.Read(seq)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, string(record))
		}
		served, err := l.Tile("tile/entries/000")
		if err != nil {
			t.Fatal(err)
		}
		records, err := proof.DecodeEntries(served, proof.TileWidth)
		if err != nil || string(records[199]) != all[3] {
			t.Errorf("served: %v", err)
		}
		mustCheck(t, l)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		return append(all, string(served))
	}
	packed := tell()
	if on, err := os.ReadDir(filepath.Join(opts.Dir, "log/tile/entries")); err != nil || fmt.Sprint(on) != "[- 000.zst d 001.p/]" {
		t.Errorf("in the folder are %v: %v", on, err)
	}
	plainBundles(t, opts.Dir)
	if plain := tell(); !slices.Equal(plain, packed) {
		t.Error("bundles that aren't packed are read as others")
	}
	// What is recorded from now on is packed, beside what isn't.
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", wholeSize, 300, 0)
	if _, err := l.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	mustCheck(t, l)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if on, err := os.ReadDir(filepath.Join(opts.Dir, "log/tile/entries")); err != nil ||
		fmt.Sprint(on) != "[- 000 - 001.zst d 002.p/]" {
		t.Errorf("in the folder are %v: %v", on, err)
	}
}

// A damaged bundle that isn't packed makes place for the packed one that a repair or a later backup writes.
func TestPlainBundleReplaced(t *testing.T) {
	opts := wholeLedger(t)
	plainBundles(t, opts.Dir)
	to := t.TempDir()
	back := func() {
		t.Helper()
		if _, err := ledger.Backup(t.Context(), opts.Dir, to, []note.Verifier{opts.Verifier}, nil); err != nil {
			t.Fatal(err)
		}
	}
	back()
	entries := func(dir string) string {
		on, err := filepath.Glob(filepath.Join(dir, "log/tile/entries/000*"))
		if err != nil {
			t.Fatal(err)
		}
		return strings.ReplaceAll(fmt.Sprint(on), dir+"/", "")
	}
	if got := entries(to); got != "[log/tile/entries/000]" {
		t.Errorf("a backup has %s", got)
	}
	flipFile("log/tile/entries/000", 500)(t, to)
	back()
	flipFile("log/tile/entries/000", 500)(t, opts.Dir)
	if _, err := ledger.Repair(t.Context(), opts, ledger.RepairOptions{Route: route}); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{to, opts.Dir} {
		if got := entries(dir); got != "["+fullBundle+"]" {
			t.Errorf("left are %s", got)
		}
	}
	back() // over the one that was made of plain bundles
	mustCheck(t, ledgertest.Open(t, opts))
}

// Where a packed bundle is damaged and the stream can't help, the bundle is put back from a copy. That may be a backup of an earlier
// program, which has it plain: it then lies beside the damaged one, and a repair takes what is right of it.
func TestPlainBundlePutBackBesidePacked(t *testing.T) {
	for name, tt := range map[string]struct {
		damage  func(*testing.T, string) // of the packed one
		beside  func([]byte) []byte      // what the copy has
		refused string
	}{
		"a flipped byte": {damage: flipFile(fullBundle, 500)},
		"another record": {damage: forgeInBundle(20)},
		"and its tile":   {damage: both(flipFile(fullBundle, 500), remove("log/tile/0/000"))},
		"the copy is damaged as well": {damage: flipFile(fullBundle, 500), beside: func(data []byte) []byte { data[100] ^= 1; return data },
			refused: "put this bundle back from a copy"},
		"the copy is none": {damage: flipFile(fullBundle, 500), beside: func([]byte) []byte { return []byte("none") },
			refused: "put this bundle back from a copy"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			opts := wholeLedger(t)
			data, err := os.ReadFile(filepath.Join(opts.Dir, fullBundle))
			if err != nil {
				t.Fatal(err)
			}
			records, err := ledger.UnpackBundle(0, data)
			if err != nil {
				t.Fatal(err)
			}
			whole := plain(t, records)
			if tt.beside != nil {
				whole = tt.beside(whole)
			}
			both(tt.damage, remove("stream"))(t, opts.Dir)
			if _, err := ledger.Repair(t.Context(), opts, ledger.RepairOptions{Route: route}); err == nil {
				t.Fatal("repaired without the records")
			}
			if err := os.WriteFile(filepath.Join(opts.Dir, "log/tile/entries/000"), whole, 0o600); err != nil {
				t.Fatal(err)
			}
			_, err = ledger.Repair(t.Context(), opts, ledger.RepairOptions{Route: route})
			if tt.refused != "" {
				if err == nil || !strings.Contains(err.Error(), tt.refused) {
					t.Errorf("repaired of a copy that is damaged: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if on, err := os.ReadDir(filepath.Join(opts.Dir, "log/tile/entries")); err != nil || fmt.Sprint(on) != "[- 000.zst d 001.p/]" {
				t.Errorf("left are %v: %v", on, err)
			}
			mustCheck(t, ledgertest.Open(t, opts))
		})
	}
}

// A backup of a ledger whose bundle is damaged says what to do, whichever way the bundle lies there, and has no checkpoint.
func TestBackupOfDamagedBundle(t *testing.T) {
	for name, damage := range map[string]func(*testing.T, string){
		"packed":   flipFile(fullBundle, 500),
		"a record": forgeInBundle(20),
		"plain":    both(plainBundles, flipFile("log/tile/entries/000", 500)),
	} {
		opts := wholeLedger(t)
		damage(t, opts.Dir)
		to := t.TempDir()
		_, err := ledger.Backup(t.Context(), opts.Dir, to, []note.Verifier{opts.Verifier}, nil)
		if said := fmt.Sprint(err); !strings.Contains(said, "tile/entries/000") || !strings.Contains(said, "run listbound verify on") {
			t.Errorf("%s: %s", name, said)
		}
		if _, err := os.Stat(filepath.Join(to, "log/checkpoint")); !os.IsNotExist(err) {
			t.Errorf("%s: it has a checkpoint: %v", name, err)
		}
	}
}

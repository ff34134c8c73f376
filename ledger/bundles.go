package ledger

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"

	seekable "github.com/SaveTheRbtz/zstd-seekable-format-go/pkg"
	"github.com/cespare/xxhash/v2"
	"github.com/klauspost/compress/zstd"

	"listbound/ledger/proof"
)

// A full entry bundle never changes again, so it is packed when it is written: in Zstandard (RFC 8878), as any tool unpacks it
// into what c2sp.org/tlog-tiles calls the bundle. Of each sixteen records it has a frame of its own, and at the end a table of
// the frames, in the seekable format that is published with the reference implementation. So one record is read without the
// others, and a flipped byte costs sixteen records and not the bundle. The other copy, the stream, is packed in S2, by other
// code: what is wrong in one is not in both.
//
// Partial bundles are not packed: each is replaced within seconds. Nor are full ones that were written before this was
// done; they are read as they are.
const (
	packedSuffix    = ".zst"
	recordsInFrame  = 16
	framesInBundle  = proof.TileWidth / recordsInFrame
	largestFrame    = recordsInFrame * (2 + proof.MaxRecord)
	frameTableBytes = 8 + framesInBundle*12 + 9 // the head of a skippable frame, an entry for each frame, the footer
)

// packer and unpacker may be used by many goroutines at once.
var (
	packer = sync.OnceValues(func() (*zstd.Encoder, error) {
		// The quickest level: the slower ones take longer by up to twenty times and pack no better, since most of a record is
		// hashes and signatures.
		return zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	})
	unpacker = sync.OnceValues(func() (*zstd.Decoder, error) {
		return zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(proof.TileWidth*(2+proof.MaxRecord)))
	})
)

// bundleFile returns the file of an entry bundle.
func bundleFile(index int64, records [][]byte) (outFile, error) {
	name := proof.EntriesPath(index, len(records))
	if len(records) == proof.TileWidth {
		data, err := packBundle(records)
		return outFile{name + packedSuffix, data}, err
	}
	data, err := appendEntries(nil, records)
	return outFile{name, data}, err
}

func appendEntries(data []byte, records [][]byte) (_ []byte, err error) {
	for _, record := range records {
		if data, err = proof.AppendEntry(data, record); err != nil {
			return nil, err
		}
	}
	return data, nil
}

func packBundle(records [][]byte) ([]byte, error) {
	zstandard, err := packer()
	if err != nil {
		return nil, err
	}
	frames, err := seekable.NewEncoder(zstandard)
	if err != nil {
		return nil, err
	}
	var packed, entries []byte
	for some := range slices.Chunk(records, recordsInFrame) {
		if entries, err = appendEntries(entries[:0], some); err != nil {
			return nil, err
		}
		frame, err := frames.Encode(entries)
		if err != nil {
			return nil, err
		}
		packed = append(packed, frame...)
	}
	table, err := frames.EndStream()
	return append(packed, table...), err
}

// packedBundle is a packed entry bundle as it is on the disk.
type packedBundle struct {
	before int64 // records of the ledger before those of the bundle
	on     io.ReaderAt
	table  *seekable.SeekTable
	packed []byte // one frame, or before that the table, in a buffer for all
}

var errFrameTable = errors.New("its table of frames is damaged")

// openPacked looks at the table of packed bundle index, of so many bytes. A buffer may be used again, once the bundle isn't.
func openPacked(index int64, on io.ReaderAt, size int64, buf []byte) (*packedBundle, error) {
	frames := size - frameTableBytes
	if frames < 0 {
		return nil, errors.New("it is cut short")
	}
	buf = slices.Grow(buf[:0], frameTableBytes)[:frameTableBytes]
	if _, err := on.ReadAt(buf, frames); err != nil {
		return nil, cause(err)
	}
	table, err := seekable.NewSeekTable(buf)
	if err != nil {
		return nil, errFrameTable
	}
	last, ok := table.EntryByID(framesInBundle - 1)
	if !ok || table.NumFrames() != framesInBundle || last.CompressedOffset+uint64(last.CompressedSize) != uint64(frames) {
		return nil, errFrameTable
	}
	return &packedBundle{before: index * proof.TileWidth, on: on, table: table, packed: buf}, nil
}

// frame returns the bytes of one frame, appended to out.
func (p *packedBundle) frame(out []byte, n int) ([]byte, error) {
	zstandard, err := unpacker()
	if err != nil {
		return out, err
	}
	at, ok := p.table.EntryByID(int64(n))
	if !ok || at.DecompressedSize > largestFrame {
		return out, errFrameTable
	}
	p.packed = slices.Grow(p.packed[:0], int(at.CompressedSize))[:at.CompressedSize]
	if _, err := p.on.ReadAt(p.packed, int64(at.CompressedOffset)); err != nil {
		return out, cause(err)
	}
	begins := len(out)
	out, err = zstandard.DecodeAll(p.packed, slices.Grow(out, int(at.DecompressedSize)))
	if err != nil || len(out)-begins != int(at.DecompressedSize) || uint32(xxhash.Sum64(out[begins:])) != at.Checksum {
		first := p.before + int64(n*recordsInFrame) + 1
		return out, fmt.Errorf("records %d to %d in it are damaged", first, first+recordsInFrame-1)
	}
	return out, nil
}

// records returns those of one frame. They share memory with what it appended to out.
func (p *packedBundle) records(out []byte, n int) (records [][]byte, _ []byte, err error) {
	begins := len(out)
	if out, err = p.frame(out, n); err == nil {
		records, err = proof.DecodeEntries(out[begins:], recordsInFrame)
	}
	return records, out, err
}

// unpackedSize is how many bytes all frames have together, as the table says.
func (p *packedBundle) unpackedSize() int {
	size := 0
	for n := range framesInBundle {
		if at, ok := p.table.EntryByID(int64(n)); ok {
			size += int(min(at.DecompressedSize, largestFrame))
		}
	}
	return size
}

// unpackBundle returns the records of packed bundle index. With an error come those that could be had all the same, nil for each
// other; whether they are the right ones, their hashes tell.
func unpackBundle(index int64, data []byte) ([][]byte, error) {
	p, err := openPacked(index, bytes.NewReader(data), int64(len(data)), nil)
	if err != nil {
		return withoutTable(data), err
	}
	all, out := make([][]byte, 0, proof.TileWidth), make([]byte, 0, p.unpackedSize())
	for n := range framesInBundle {
		records, grown, frameErr := p.records(out, n)
		if frameErr != nil {
			records, err = make([][]byte, recordsInFrame), errors.Join(err, frameErr)
		} else {
			out = grown
		}
		all = append(all, records...)
	}
	return all, err
}

// withoutTable returns the records of a packed bundle whose frames are whole, one behind the other, and nil where they aren't.
func withoutTable(data []byte) [][]byte {
	zstandard, err := unpacker()
	if err != nil {
		return nil
	}
	entries, _ := zstandard.DecodeAll(data, nil) // an error may be of the table's frame
	records, err := proof.DecodeEntries(entries, proof.TileWidth)
	if err != nil {
		return nil
	}
	return records
}

// readFull returns the records of a full bundle. With an error come those that could be had all the same, nil for each other.
func (l logFiles) readFull(index int64) ([][]byte, error) {
	name := proof.EntriesPath(index, proof.TileWidth)
	data, err := os.ReadFile(l.path(name + packedSuffix))
	if errors.Is(err, os.ErrNotExist) {
		return l.readPlain(name, proof.TileWidth)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read %s: %w", name+packedSuffix, cause(err))
	}
	records, err := unpackBundle(index, data)
	if err != nil {
		err = fmt.Errorf("%s: %w", name+packedSuffix, err)
	}
	return records, err
}

// readPlain returns the records of a bundle that isn't packed.
func (l logFiles) readPlain(name string, width int) ([][]byte, error) {
	data, err := os.ReadFile(l.path(name))
	if err != nil {
		return nil, fmt.Errorf("cannot read %s: %w", name, cause(err))
	}
	records, err := proof.DecodeEntries(data, width)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return records, nil
}

// readOne returns record n, from 0, of a full bundle. A history consists of records from everywhere, so no more than a frame is
// read for it.
func (l logFiles) readOne(index int64, n int) ([]byte, error) {
	name := proof.EntriesPath(index, proof.TileWidth)
	f, err := os.Open(l.path(name + packedSuffix))
	if errors.Is(err, os.ErrNotExist) {
		return l.readOnePlain(name, n)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read %s: %w", name+packedSuffix, cause(err))
	}
	defer f.Close()
	record, err := onePacked(f, index, n)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name+packedSuffix, err)
	}
	return record, nil
}

// oneFrame are buffers for what is read of a packed bundle for one record: most of what a history allocated was these.
type oneFrame struct{ packed, plain []byte }

var oneFrames = sync.Pool{New: func() any { return new(oneFrame) }}

func onePacked(f *os.File, index int64, n int) ([]byte, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, cause(err)
	}
	buf := oneFrames.Get().(*oneFrame)
	defer oneFrames.Put(buf)
	p, err := openPacked(index, f, info.Size(), buf.packed)
	if err != nil {
		return nil, err
	}
	var records [][]byte
	records, buf.plain, err = p.records(buf.plain[:0], n/recordsInFrame)
	buf.packed = p.packed
	if err != nil {
		return nil, err
	}
	return bytes.Clone(records[n%recordsInFrame]), nil
}

// plainBundles are buffers for bundles that are not packed, of which one record is wanted.
var plainBundles = sync.Pool{New: func() any { return new([]byte) }}

func (l logFiles) readOnePlain(name string, n int) ([]byte, error) {
	buf := plainBundles.Get().(*[]byte)
	defer plainBundles.Put(buf)
	var err error
	if *buf, err = readInto(*buf, l.path(name)); err != nil {
		return nil, fmt.Errorf("cannot read %s: %w", name, cause(err))
	}
	records, err := proof.DecodeEntries(*buf, proof.TileWidth)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return bytes.Clone(records[n]), nil
}

// plainBundle returns a full bundle in the form of c2sp.org/tlog-tiles, however it lies on the disk.
func (l logFiles) plainBundle(name string) ([]byte, error) {
	data, err := os.ReadFile(l.path(name + packedSuffix))
	if errors.Is(err, os.ErrNotExist) {
		return os.ReadFile(l.path(name))
	}
	if err != nil {
		return nil, err
	}
	// The name is of three digits at a time, all but the last three behind an x.
	index, err := strconv.ParseInt(strings.NewReplacer("x", "", "/", "").Replace(strings.TrimPrefix(name, "tile/entries/")), 10, 64)
	if err != nil {
		return nil, os.ErrNotExist
	}
	p, err := openPacked(index, bytes.NewReader(data), int64(len(data)), nil)
	var out []byte
	for n := 0; err == nil && n < framesInBundle; n++ {
		out, err = p.frame(out, n)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name+packedSuffix, err)
	}
	return out, nil
}

// hasFull reports whether a full bundle or tile of that name is there.
func (l logFiles) hasFull(name string) (bool, error) {
	_, err := os.Stat(l.path(name + packedSuffix))
	if errors.Is(err, os.ErrNotExist) {
		_, err = os.Stat(l.path(name))
	}
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

// fullAsItIs returns a full bundle or tile as the bytes of a file, and how that is called.
func (l logFiles) fullAsItIs(name string) (string, []byte, error) {
	data, err := os.ReadFile(l.path(name + packedSuffix))
	if !errors.Is(err, os.ErrNotExist) {
		return name + packedSuffix, data, err
	}
	data, err = os.ReadFile(l.path(name))
	return name, data, err
}

// writeBundles writes entry bundles, and removes what they take the place of: full ones that were not packed.
func (l logFiles) writeBundles(files []outFile) error {
	if err := l.writeDurably(files); err != nil {
		return err
	}
	for _, file := range files {
		plain, packed := strings.CutSuffix(file.name, packedSuffix)
		if !packed {
			continue
		}
		if err := os.Remove(l.path(plain)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

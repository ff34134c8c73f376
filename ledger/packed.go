package ledger

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/klauspost/compress/s2"

	"listbound/ledger/disk"
)

// The server packs a block of the stream once the next one has begun: a few bytes that say so, how long it was, what it held in
// the S2 format, and the last eight bytes as they were, which are the checksum of its last record. It writes the packed block
// beside the other, syncs it, and renames it over that one, so that either is there whole.
//
// S2 has chunks of a megabyte, each with a checksum, so a flipped byte is noticed. The server gives up the whole block then.
// Whoever reads the files here gets all records of it but those of the chunk behind the flipped byte.

var packedMark = []byte{'c', 'm', 'p', 1} // 1 is S2

// packedHeadMax is how long the beginning of a packed block can be.
const packedHeadMax = 4 + binary.MaxVarintLen64

// packedHead reads the beginning of a packed block: how long it is when it is unpacked, and where its contents begin. A block
// that isn't packed gives false: no record is so long that its length looks like the mark.
func packedHead(data []byte) (size int64, begins int, ok bool) {
	if !bytes.HasPrefix(data, packedMark) {
		return 0, 0, false
	}
	n, length := binary.Uvarint(data[len(packedMark):])
	return int64(n), len(packedMark) + length, length > 0 && n <= maxBlock
}

// maxBlock is more than a block ever holds.
const maxBlock = 64 << 20

func isPacked(data []byte) bool {
	_, _, ok := packedHead(data)
	return ok
}

func isPackedFile(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close() //nolint:errcheck // only read
	head := make([]byte, packedHeadMax)
	n, err := f.ReadAt(head, 0)
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return isPacked(head[:n]), err
}

var errPackedDamaged = errors.New("it can't be unpacked whole")

// unpackBlock returns the bytes of a block as they were before the server packed it, in a buffer that may be used again. Where it
// is damaged the error says so, and the bytes are those that could be had: a part of them is missing, or is something else.
func unpackBlock(buf, data []byte) ([]byte, error) {
	size, begins, ok := packedHead(data)
	if !ok {
		return data, nil
	}
	if len(data) < begins+blockSumBytes {
		return nil, errPackedDamaged
	}
	packed, sum := data[begins:len(data)-blockSumBytes], data[len(data)-blockSumBytes:]
	out, whole := unpackChunks(slices.Grow(buf[:0], int(size)), packed)
	if out = append(out, sum...); !whole || int64(len(out)) != size {
		return out, errPackedDamaged
	}
	return out, nil
}

// The chunks of the S2 format, as far as a stream that the server wrote has them: a kind, the length in three bytes, and of
// those that hold something a checksum of it.
const (
	s2ChunkHead    = 4
	s2ChunkSum     = 4
	s2Compressed   = 0x00
	s2Uncompressed = 0x01
	s2FirstSkipped = 0x80
	s2Longest      = 4 << 20
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// s2Sum is the checksum of what a chunk holds.
func s2Sum(data []byte) uint32 {
	c := crc32.Checksum(data, castagnoli)
	return (c>>15 | c<<17) + 0xa282ead8
}

// unpackChunks appends to out what is in the chunks of an S2 stream. Where not all of it is whole, it goes on with what it can
// have: the beginning of a damaged chunk, and the chunks behind it.
func unpackChunks(out, packed []byte) (_ []byte, whole bool) {
	whole = true
	for len(packed) > 0 {
		if len(packed) < s2ChunkHead {
			return out, false
		}
		kind := packed[0]
		length := int(packed[1]) | int(packed[2])<<8 | int(packed[3])<<16
		packed = packed[s2ChunkHead:]
		if length > len(packed) || kind < s2FirstSkipped && (kind > s2Uncompressed || length < s2ChunkSum) {
			return out, false
		}
		chunk := packed[:length]
		if packed = packed[length:]; kind >= s2FirstSkipped {
			continue
		}
		begins := len(out)
		if kind == s2Uncompressed {
			out = append(out, chunk[s2ChunkSum:]...)
		} else if n, err := s2.DecodedLen(chunk[s2ChunkSum:]); err != nil || n > s2Longest {
			whole = false
			continue
		} else {
			out = slices.Grow(out, n)[:begins+n]
			clear(out[begins:])
			_, _ = s2.Decode(out[begins:], chunk[s2ChunkSum:]) // what is before an error stays
		}
		whole = whole && s2Sum(out[begins:]) == binary.LittleEndian.Uint32(chunk)
	}
	return out, whole
}

// blockReader reads blocks of a stream, and needs no more memory for many than for one.
type blockReader struct{ onDisk, unpacked []byte }

// read reads and unpacks a block. The error is errPackedDamaged where it could not be unpacked whole; the bytes are then what
// could be had. They are only good until the next one is read.
func (r *blockReader) read(msgs string, number int) (data []byte, err error) {
	if r.onDisk, err = readInto(r.onDisk, filepath.Join(msgs, blockName(number))); err == nil {
		data, err = unpackBlock(r.unpacked, r.onDisk)
	}
	if isPacked(r.onDisk) {
		r.unpacked = data
	}
	if err != nil {
		err = fmt.Errorf("block %d of the stream: %w", number, cause(err))
	}
	return data, err
}

// readBlock reads and unpacks one block, as far as it can be had.
func readBlock(msgs string, number int) ([]byte, error) {
	data, err := new(blockReader).read(msgs, number)
	if errors.Is(err, errPackedDamaged) {
		err = nil
	}
	return data, err
}

// unpackLast unpacks the stream's last block, if a crash has left it packed: before the next one had its name. The server
// would write its next record into it as if it were not.
func unpackLast(msgs string) error {
	numbers, err := blockNumbers(msgs)
	if err != nil || len(numbers) == 0 {
		return err
	}
	last := numbers[len(numbers)-1]
	path := filepath.Join(msgs, blockName(last))
	if packed, err := isPackedFile(path); err != nil || !packed {
		return err
	}
	data, err := new(blockReader).read(msgs, last)
	if err != nil {
		return err
	}
	// Crash here: the packed block, or the other, and either is whole.
	return replaceFile(nil, "", path, data)
}

// removeHalfPacked removes what a crash has left of blocks that were being packed. The server would leave it there.
func removeHalfPacked(msgs string) error {
	left, err := disk.Glob(msgs, "*.blk.tmp")
	if err != nil {
		return err
	}
	for _, path := range left {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

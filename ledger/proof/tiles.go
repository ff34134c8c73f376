package proof

import (
	"encoding/binary"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

const (
	// TileHeight is the number of tree levels in one tile.
	TileHeight = 8
	// TileWidth is the number of hashes in a full tile and of records in a full entry bundle.
	TileWidth = 1 << TileHeight
	// MaxRecord is what the length prefix of an entry bundle can say.
	MaxRecord = 1<<16 - 1
)

// TilePath returns the path of a tile of hashes. A width of TileWidth names the full tile.
func TilePath(level int, index int64, width int) string {
	return fmt.Sprintf("tile/%d/%s", level, indexPath(index, width))
}

// EntriesPath returns the path of an entry bundle. A width of TileWidth names the full bundle.
func EntriesPath(index int64, width int) string {
	return "tile/entries/" + indexPath(index, width)
}

// PartialDir returns the folder that holds the partial tiles belonging to the full tile at path.
func PartialDir(path string) string { return path + ".p" }

func indexPath(index int64, width int) string {
	s := fmt.Sprintf("%03d", index%1000)
	for index /= 1000; index > 0; index /= 1000 {
		s = fmt.Sprintf("x%03d/%s", index%1000, s)
	}
	if width < TileWidth {
		s = fmt.Sprintf("%s.p/%d", s, width)
	}
	return s
}

// TileLevel says how many tiles a tree has on one level.
type TileLevel struct {
	Level   int
	Full    int64
	Partial int // width of the partial tile, 0 if there is none
}

// Layout returns the tiles of a tree of size leaves, lowest level first.
func Layout(size int64) []TileLevel {
	var levels []TileLevel
	for level, n := 0, size; n > 0; level, n = level+1, n/TileWidth {
		levels = append(levels, TileLevel{Level: level, Full: n / TileWidth, Partial: int(n % TileWidth)})
	}
	return levels
}

// EncodeTile returns the bytes of a tile.
func EncodeTile(hashes []tlog.Hash) []byte {
	data := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		data = append(data, h[:]...)
	}
	return data
}

// DecodeTile reads a tile of width hashes.
func DecodeTile(data []byte, width int) ([]tlog.Hash, error) {
	if width < 1 || width > TileWidth || len(data) != width*tlog.HashSize {
		return nil, fmt.Errorf("tile has %d bytes, want %d hashes of %d bytes", len(data), width, tlog.HashSize)
	}
	hashes := make([]tlog.Hash, width)
	for i := range hashes {
		hashes[i] = tlog.Hash(data[i*tlog.HashSize:])
	}
	return hashes, nil
}

// AppendEntry adds one record to the bytes of an entry bundle.
func AppendEntry(data, record []byte) ([]byte, error) {
	if len(record) > MaxRecord {
		return data, fmt.Errorf("record of %d bytes is too long for an entry bundle, which holds up to %d",
			len(record), MaxRecord)
	}
	data = binary.BigEndian.AppendUint16(data, uint16(len(record)))
	return append(data, record...), nil
}

// DecodeEntries reads an entry bundle of width records. The records share memory with data.
func DecodeEntries(data []byte, width int) ([][]byte, error) {
	if width < 1 || width > TileWidth {
		return nil, fmt.Errorf("an entry bundle holds 1 to %d records, not %d", TileWidth, width)
	}
	records := make([][]byte, 0, width)
	for i := range width {
		if len(data) < 2 {
			return nil, fmt.Errorf("entry bundle ends before record %d of %d", i+1, width)
		}
		n := int(binary.BigEndian.Uint16(data))
		if len(data)-2 < n {
			return nil, fmt.Errorf("entry bundle ends inside record %d of %d", i+1, width)
		}
		records = append(records, data[2:2+n:2+n])
		data = data[2+n:]
	}
	if len(data) > 0 {
		return nil, fmt.Errorf("entry bundle has %d bytes after its %d records", len(data), width)
	}
	return records, nil
}

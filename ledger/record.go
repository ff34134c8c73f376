package ledger

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"sync"

	"listbound/ledger/proof"
)

// offsets remembers where the records of full entry bundles begin, so that a single record can be read alone: a bundle
// has some hundred kilobytes, a record less than one, and a history consists of records from everywhere.
type offsets struct {
	mu  sync.Mutex
	all map[int64]*[proof.TileWidth + 1]uint32 // by bundle

	buffers sync.Pool // of *[]byte, for reading whole bundles
}

// maxOffsets bounds the memory: 1 KB for each bundle, so 5 million records in 20 MB.
const maxOffsets = 20_000

func (o *offsets) get(index int64) *[proof.TileWidth + 1]uint32 {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.all[index]
}

func (o *offsets) put(index int64, at *[proof.TileWidth + 1]uint32) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.all == nil || len(o.all) >= maxOffsets {
		o.all = make(map[int64]*[proof.TileWidth + 1]uint32)
	}
	o.all[index] = at
}

// readOne reads one record of a full bundle.
func (l *Ledger) readOne(seq int64) ([]byte, error) {
	index, n := (seq-1)/proof.TileWidth, (seq-1)%proof.TileWidth
	f, err := os.Open(l.files.path(proof.EntriesPath(index, proof.TileWidth)))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	at := l.offsets.get(index)
	if at == nil {
		if at, err = l.offsets.read(f); err != nil {
			return nil, fmt.Errorf("entry bundle %d: %w", index, err)
		}
		l.offsets.put(index, at)
	}
	const lengthBytes = 2
	record := make([]byte, at[n+1]-at[n]-lengthBytes)
	if _, err := f.ReadAt(record, int64(at[n])+lengthBytes); err != nil {
		return nil, fmt.Errorf("entry bundle %d: %w", index, err)
	}
	return record, nil
}

// read collects the offsets by walking over the lengths in a bundle.
func (o *offsets) read(f *os.File) (*[proof.TileWidth + 1]uint32, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	buf, ok := o.buffers.Get().(*[]byte)
	if !ok {
		buf = new([]byte)
	}
	defer o.buffers.Put(buf)
	if int64(cap(*buf)) < info.Size() {
		*buf = make([]byte, info.Size())
	}
	data := (*buf)[:info.Size()]
	if _, err := io.ReadFull(f, data); err != nil {
		return nil, err
	}
	at := new([proof.TileWidth + 1]uint32)
	pos := 0
	for i := range proof.TileWidth {
		at[i] = uint32(pos)
		if len(data)-pos < 2 {
			return nil, fmt.Errorf("it ends at record %d of %d", i, proof.TileWidth)
		}
		pos += 2 + int(binary.BigEndian.Uint16(data[pos:]))
		if pos > len(data) {
			return nil, fmt.Errorf("it ends at record %d of %d", i, proof.TileWidth)
		}
	}
	if pos != len(data) {
		return nil, fmt.Errorf("it has %d bytes after its last record", len(data)-pos)
	}
	at[proof.TileWidth] = uint32(pos)
	return at, nil
}

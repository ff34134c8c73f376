package ledger

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"iter"
	"os"
	"path/filepath"

	"listbound/ledger/disk"
)

// Where the stream lives in a cluster, an acknowledged record is on this machine's disk too: in the journal, until the
// entry bundle that has it is written, and from then on there. So all servers of the cluster can lose what they had only
// in memory, and it is put back; and this disk can be lost, and the cluster has it.
const journalName = "quorum.journal"

// journalKept is how long the journal grows before it begins again, once bundles hold all that is in it.
const journalKept = 4 << 20

// journalHead is what stands before each record: its number, its length and a checksum of all three.
const journalHead = 8 + 4 + 4

type journal struct {
	file   *os.File
	size   int64
	last   int64        // number of the last record in it, 0 for none
	signed func() int64 // how many records the checkpoint covers
	faults *faults
	next   int64 // number of the next record
}

func openJournal(dir string, signed func() int64, f *faults) (*journal, error) {
	path := filepath.Join(dir, journalName)
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("cannot open %s: %w", journalName, cause(err))
	}
	j := &journal{file: file, signed: signed, faults: f}
	if err := disk.SyncFolder(dir); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return j, nil
}

// read returns the whole records in the journal, by their numbers, and cuts off what was torn.
func (j *journal) read() (map[int64][]byte, error) {
	data, err := io.ReadAll(io.NewSectionReader(j.file, 0, 1<<62))
	if err != nil {
		return nil, fmt.Errorf("cannot read %s: %w", journalName, cause(err))
	}
	records := map[int64][]byte{}
	for seq, record := range wholeIn(data) {
		records[seq] = bytes.Clone(record)
		j.last = max(j.last, seq)
		j.size += journalHead + int64(len(record))
	}
	if err := j.file.Truncate(j.size); err != nil {
		return nil, fmt.Errorf("cannot cut %s: %w", journalName, cause(err))
	}
	return records, nil
}

// wholeIn yields the records of a journal's bytes with their numbers, up to what is torn.
func wholeIn(data []byte) iter.Seq2[int64, []byte] {
	return func(yield func(int64, []byte) bool) {
		for rest := data; len(rest) >= journalHead; {
			seq, n := int64(binary.BigEndian.Uint64(rest)), int64(binary.BigEndian.Uint32(rest[8:]))
			if n > int64(len(rest)-journalHead) {
				return
			}
			one := rest[:journalHead+n]
			if journalSum(one) != binary.BigEndian.Uint32(one[12:]) || !yield(seq, one[journalHead:]) {
				return
			}
			rest = rest[len(one):]
		}
	}
}

// lastInJournal returns the number of the last record in a folder's journal, which may be in use; 0 for none.
func lastInJournal(dir string) (last int64, err error) {
	data, err := os.ReadFile(filepath.Join(dir, journalName))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return 0, fmt.Errorf("cannot read %s: %w", journalName, cause(err))
	}
	for seq := range wholeIn(data) {
		last = max(last, seq)
	}
	return last, nil
}

func journalSum(one []byte) uint32 {
	return crc32.Update(crc32.ChecksumIEEE(one[:12]), crc32.IEEETable, one[journalHead:])
}

// append returns when the messages, which follow what was appended last, are on disk.
func (j *journal) append(msgs []outgoing) error {
	if j.size > journalKept && j.signed() >= j.last {
		// Crash here: the bundles have all that was in it.
		if err := j.file.Truncate(0); err != nil {
			return err
		}
		j.size = 0
	}
	var buf []byte
	seq := j.next
	for _, m := range msgs {
		at := len(buf)
		buf = binary.BigEndian.AppendUint64(buf, uint64(seq))
		buf = binary.BigEndian.AppendUint32(buf, uint32(len(m.record)))
		buf = append(buf, 0, 0, 0, 0)
		buf = append(buf, m.record...)
		binary.BigEndian.PutUint32(buf[at+12:], journalSum(buf[at:]))
		seq++
	}
	if _, err := j.file.WriteAt(buf, j.size); err != nil {
		return fmt.Errorf("cannot write %s: %w", journalName, cause(err))
	}
	if err := j.file.Sync(); err != nil {
		return fmt.Errorf("cannot sync %s: %w", journalName, cause(err))
	}
	j.size += int64(len(buf))
	j.next, j.last = seq, seq-1
	return nil
}

func (j *journal) close() error { return j.file.Close() }

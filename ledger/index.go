package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"

	"github.com/minio/highwayhash"
	"github.com/nats-io/nats-server/v2/server"
)

// The server keeps what it must know of a stream in one file, its index: how many records there are of each subject, and from
// which number to which they are in each block. It writes it at a stop and every two minutes. At a start it goes by it if it ends with
// the last record in the blocks; if not, it reads all of them. So after a stop that wasn't clean the index is made here, of what was
// found when the blocks were looked at.
//
// The format is that of the server in layoutVersion: what it writes of the same blocks is the same (TestIndex). Under any other
// version no index is made.

const (
	indexName    = "index.db"
	indexMagic   = 11
	indexVersion = 4
)

// index returns the server's index of a stream that has these blocks.
func (k *looked) index() []byte {
	first, last := k.blocks[0], k.blocks[len(k.blocks)-1]
	bytes := int64(0)
	for i := range k.blocks {
		bytes += k.blocks[i].bytes
	}
	out := []byte{indexMagic, indexVersion}
	number := func(n int64) { out = binary.AppendUvarint(out, uint64(n)) }
	moment := func(t int64) { out = binary.AppendVarint(out, t) }
	number(last.last - first.first + 1)
	number(bytes)
	number(first.first)
	moment(first.firstAt)
	number(last.last)
	moment(last.lastAt)
	number(int64(len(k.subjects)))
	for name, s := range k.subjects {
		number(int64(len(name)))
		out = append(out, name...)
		number(s.records)
		number(int64(s.first))
		number(int64(s.last))
	}
	number(int64(len(k.blocks)))
	for i := range k.blocks {
		b := &k.blocks[i]
		number(int64(b.number))
		number(b.bytes)
		number(b.first)
		moment(b.firstAt - first.firstAt)
		number(b.last)
		moment(b.lastAt - first.firstAt)
		number(0) // removed
		number(0) // with an end
		number(0) // for later
	}
	number(int64(last.number))
	out = append(out, last.end[:]...)
	key := sha256.Sum256([]byte(streamName))
	return binary.LittleEndian.AppendUint64(out, highwayhash.Sum64(out, key[:]))
}

// writeIndex puts the index of a stream in its place. It is not synced: torn or lost, it is none, and the server reads all blocks.
func (k *looked) writeIndex(msgs string) error {
	if server.VERSION != layoutVersion {
		return nil
	}
	path := filepath.Join(msgs, indexName)
	// Crash here: the old index, or the new one. Both are of this stream.
	if err := os.WriteFile(path+".tmp", k.index(), 0o600); err != nil {
		return errors.Join(err, os.Remove(path+".tmp"))
	}
	return os.Rename(path+".tmp", path)
}

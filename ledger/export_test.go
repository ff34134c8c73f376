package ledger

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// Faults stands between a ledger and its durable steps.
type Faults = faults

// NewFaults returns faults made of two functions; either may be nil.
func NewFaults(before, after func(step string) error) *Faults {
	return &faults{before: before, after: after}
}

// SetFaults puts faults into the options.
func (o *Options) SetFaults(f *Faults) { o.faults = f }

// Conn gives tests the everyday connection.
func (l *Ledger) Conn() *nats.Conn { return l.home.(*embedded).nc }

// Server gives tests the embedded server.
func (l *Ledger) Server() *server.Server { return l.home.(*embedded).srv }

// StreamDir is where the blocks lie.
func StreamDir(dir string) string { return streamDir(dir) }

// BarePublish stores data with the server's own publish and nothing around it, for comparison.
func BarePublish(nc *nats.Conn, subject string, data []byte) error {
	reply, err := nc.Request(subject, data, 30*time.Second)
	if err != nil {
		return err
	}
	_, err = readAck(streamName, reply.Data)
	return err
}

// BarePublishExpecting is BarePublish with the header that makes it exactly once.
func BarePublishExpecting(nc *nats.Conn, subject, filter string, expect int64, data []byte) (int64, error) {
	reply, err := nc.RequestMsg(&nats.Msg{Subject: subject, Data: data, Header: nats.Header{
		"Nats-Expected-Last-Subject-Sequence":         []string{strconv.FormatInt(expect, 10)},
		"Nats-Expected-Last-Subject-Sequence-Subject": []string{filter},
	}}, 30*time.Second)
	if err != nil {
		return 0, err
	}
	return readAck(streamName, reply.Data)
}

// WrongSequence reports whether the server refused an expected sequence.
func WrongSequence(err error) bool {
	var refused *refusedError
	return errors.As(err, &refused) && refused.wrongSequence()
}

// Kill leaves the ledger as a killed process would, as far as one process can: nothing is signed or marked any more,
// but the lock is given free and the server stopped so that the folder can be opened again.
func (l *Ledger) Kill() {
	l.mu.Lock()
	l.damage = append(l.damage, Problem{What: "killed"})
	l.mu.Unlock()
	l.Close() //nolint:errcheck // a killed process does not look at errors either
}

// CheckStreamConfig and StreamConfig are what the start compares.
var (
	CheckStreamConfig = checkStreamConfig
	StreamConfig      = streamConfig
)

// Waiting returns how many calls nobody has taken yet.
func (l *Ledger) Waiting() int { return l.queue.len() }

// LayoutVersion is the server version whose files blocks.go knows.
const LayoutVersion = layoutVersion

// Blocks are the blocks of a stream as the committer sees them.
type Blocks struct{ b *blocks }

// OpenBlocks opens the blocks in a folder. It calls synced for each file and folder that is synced, with its name.
func OpenBlocks(msgs string, synced func(name string)) (*Blocks, error) {
	b, err := openBlocks(msgs)
	if err != nil {
		return nil, err
	}
	b.fsync = func(f *os.File) error {
		synced(filepath.Base(f.Name()))
		return f.Sync()
	}
	return &Blocks{b}, nil
}

// Sync makes so many new records of at least so many bytes durable.
func (b *Blocks) Sync(records int, least int64) error { return b.b.sync(records, least) }

// Close closes the block.
func (b *Blocks) Close() error { return b.b.close() }

// SyncTree syncs all files and folders under root, and root's own name.
func SyncTree(root string, fsync func(*os.File) error) error { return syncTree(root, fsync) }

// BoundCopies removes the oldest of what is kept.
var BoundCopies = boundCopies

// StreamOf is the name of a ledger's stream in a cluster.
var StreamOf = streamOf

// Mute keeps those who stand by from hearing this writer.
func (l *Ledger) Mute() {
	if err := l.home.(*clustered).asked.Unsubscribe(); err != nil {
		panic(err)
	}
}

// LookForWriter looks whether another process writes.
func (l *Ledger) LookForWriter() { l.lookForWriter(l.home.(*clustered)) }

// AsksWriter is the subject on which a writer says that it writes.
func AsksWriter(origin string) string { return (&clustered{name: streamOf(origin)}).asks() }

// Window returns for how long the server looks for messages of one id.
func (l *Ledger) Window() (time.Duration, error) {
	info, err := streamInfo(l.Conn(), streamName, nil, apiTimeout)
	if err != nil {
		return 0, err
	}
	return info.Config.Duplicates, nil
}

// SetPlain keeps the server's settings as earlier programs had them: it does not pack the stream's blocks.
func (o *Options) SetPlain() { o.plainBlocks = true }

// Settle waits until the stream has dealt with all that was sent.
func (l *Ledger) Settle() {
	if _, err := l.home.settle(nil, 0); err != nil {
		panic(err)
	}
}

// UnpackBlock and BlockRecords read a block.
var (
	UnpackBlock  = unpackBlock
	BlockRecords = blockRecords
	IsPackedFile = isPackedFile
)

// Sending is a record as it goes into the stream.
type Sending struct {
	Subject string
	Record  []byte
}

// Hold compares what the blocks have grown by with what was sent behind record number last.
func (b *Blocks) Hold(last int64, sent ...Sending) error {
	var msgs []outgoing
	for _, s := range sent {
		msgs = append(msgs, outgoing{subject: s.Subject, record: s.Record})
	}
	return b.b.hold(msgs, last)
}

// PackBundle packs the records of a full entry bundle, UnpackBundle takes one apart.
var (
	PackBundle   = packBundle
	UnpackBundle = unpackBundle
)

// RecordsInFrame is how many records of a packed bundle a flipped byte can cost.
const RecordsInFrame = recordsInFrame

// IndexOf is the index that is made of a folder's stream.
func IndexOf(dir string) ([]byte, error) {
	_, all, err := jumps(filepath.Join(streamDir(dir), "msgs"), &looked{subjects: map[string]lookedSubject{}})
	if err != nil || all == nil {
		return nil, errors.Join(err, errors.New("not all blocks are in order"))
	}
	return all.index(), nil
}

// ReadStream reads the stream as Verify does, ReadServer by the server alone, and ReadKnown from the files of blocks that were looked
// at alone; it returns the record that is next.
func (l *Ledger) ReadStream(ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error) error {
	return l.readStream(ctx, from, last, fn)
}

func (l *Ledger) ReadServer(ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error) error {
	return readDirect(ctx, l.home.(*embedded).nc, streamName, apiTimeout, from, last, fn, nil)
}

func (l *Ledger) ReadKnown(
	ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error,
) (next int64, err error) {
	return l.home.(*embedded).looker.read(ctx, from, last, fn)
}

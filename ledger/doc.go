// Package ledger keeps bytes in order, with proof. It knows no kinds of event: a record is a signed note whose text may
// be anything.
//
// A ledger is one folder, owned by one process at a time:
//
//	owner.lock, owner.json    which process has it open
//	stream/                   the embedded JetStream's files: the first copy of every record
//	stream/looked             which packed blocks of it were found in order; made anew where it is missing
//	stream.clean              present only after a clean stop; holds the checkpoint of that moment
//	newest.checkpoint         the folder's memory: a copy of the newest checkpoint
//	newest.heads              which record is the newest about each key; made anew where it is missing
//	log/checkpoint            the newest signed checkpoint
//	log/tile/<level>/…        Merkle tree tiles (c2sp.org/tlog-tiles)
//	log/tile/entries/…        entry bundles: the second copy of every record under a checkpoint; full ones packed (….zst)
//	cluster.json              says that the stream lives in a cluster ([Options.Cluster]), and stream/ is not used
//	quorum.journal            then: acknowledged records that no entry bundle has yet
//	before-recovery-<n>/      the end of the stream as it was before a start after an unclean stop; kept if it differs
//	damaged-stream-<n>/       a stream that a repair replaced
//
// Of the last two the newest five are kept, up to 128 MB each; [KeptCopies] lists them.
//
// # Writing
//
// [Ledger.Append] gives each record the next sequence number, exactly once: the caller names the station's previous
// record, and a wrong answer is refused with the right one. A record that was returned is on disk. One goroutine, the
// committer, works in rounds: what arrives while it is busy goes into the stream together, record by record, each behind
// the number of the one before. What the stream's blocks have grown by is compared with what was sent, and one sync of the
// last block makes it durable (blocks.go). Only then does anybody learn that it is stored, and only then does the tree
// builder see it. If only the first records of a call came into the stream, the rest is sent once more; if that fails the
// caller is told that the outcome is unknown, and finds them ([ErrUnknownOutcome]).
//
// The server could sync every message itself, which costs many writers one sync each. It does so with
// [Options.SyncAlways], and under a server version whose files this package does not know; a round is then one atomic
// batch.
//
// Blocks that have ended are packed by the server (packed.go), and read here without it where it is stopped or the block is
// damaged. The second copy, the entry bundles, is packed by this package when a bundle is full (bundles.go), in another format:
// neither is needed to read the other, and no code is common to both.
//
// # Proof
//
// The tree builder follows behind. It writes entry bundles and tiles, makes them durable, and only then signs a
// checkpoint over them. It never signs two checkpoints that contradict each other, because it never signs what could
// still be lost.
//
// Each record says in its arrival line what it is about ([Entry.About]) and which record before it was about the same.
// [Ledger.Heads] has the newest about each; whoever records the root of those lets a reader walk back from there and see
// that nothing was left out.
//
// # Damage
//
// JetStream answers damage by skipping records or cutting them off, and starts all the same; the next record would get
// a sequence number that is already under a signed checkpoint. So Open compares the stream with the signed tree before
// anything is appended. If they differ, the ledger is read-only: [Ledger.Damage] says what is missing, Append refuses,
// reading and [Ledger.Verify] work, and [Repair] rebuilds the stream from the entry bundles, and a damaged bundle from
// the stream.
//
// The same holds where stream and tree agree and are less than the folder remembers, such as an older copy of both that
// was put back: [Ledger.Loss] says so, and [Options.AcceptLoss] with [Ledger.LossDeclared] is the way on where the
// missing part is gone for good.
package ledger

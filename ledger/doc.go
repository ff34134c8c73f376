// Package ledger keeps bytes in order, with proof. It knows no kinds of event: a record is a signed note whose text may be
// anything.
//
// A ledger is one folder, owned by one process at a time:
//
//	owner.lock, owner.json    who has it open
//	stream/                   the embedded JetStream's files: the first copy of every record
//	stream.clean              present only after a clean stop; holds the number of records at that moment
//	log/checkpoint            the newest signed checkpoint
//	log/tile/<level>/…        Merkle tree tiles (c2sp.org/tlog-tiles)
//	log/tile/entries/…        entry bundles: the second copy of every record that is under a checkpoint
//	before-recovery-<n>/      what the end of the stream looked like before a start after an unclean stop, kept only if it differs
//
// # Writing
//
// [Ledger.Append] gives each record the next sequence number, exactly once: the caller says which record of the station came
// before, and a wrong answer is refused with the right one. A returned record is on disk. One goroutine commits in rounds: what
// arrives while it is busy goes into the stream together, each call whole or not at all, and is made durable by one fsync of the
// stream's last block (blocks.go). Only then is anybody told that it is stored, and only then does the tree builder see it.
//
// The server could sync every message itself, which costs many writers an fsync each. It does so with [Options.SyncAlways], and under a
// server version whose files this package does not know; a round is then one atomic batch.
//
// # Proof
//
// The tree builder follows behind. It writes entry bundles and tiles, makes them durable, and only then signs a checkpoint over
// them. It never signs two checkpoints that contradict each other, because it never signs what could still be lost.
//
// # Damage
//
// JetStream answers damage by skipping or cutting, and starts all the same; the next record would get a sequence number that is
// already under a signed checkpoint. So Open compares the stream with the signed tree before anything is
// appended. On any difference the ledger is read-only: [Ledger.Damage] says what is missing, Append refuses, reading and
// [Ledger.Verify] work, and [Repair] rebuilds the stream from the entry bundles, and a damaged bundle from the stream.
package ledger

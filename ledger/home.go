package ledger

import "context"

// home is where the stream lives: in the server inside this process (embedded). The rest of the ledger knows no more of it
// than this, so that the two ways of publishing need not be one: what costs least on one machine is not what is safe in
// a cluster.
//
// Only the committer calls publish, durable and settle.
type home interface {
	// publish stores a round behind record number last. After an error any of it may have been stored: its first records
	// in the server of this process, all or nothing in a cluster.
	publish(r *round, last int64) error
	// durable returns when what was published last is on this machine's disk.
	durable(msgs []outgoing) error
	// settle waits until nothing of a round whose outcome is unknown is under way any more, and returns the sequence of the
	// last record there is then.
	settle(r *round, last int64) (end int64, err error)
	// read calls fn for every record that the stream still delivers, from sequence from to last, in order. It skips
	// silently what the stream has lost, so fn must look at the sequence.
	read(ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error) error
	// lastOf returns the sequence of the newest record under the filter, 0 if there is none.
	lastOf(filter string) (int64, error)
	// deleted returns the sequences the stream knows it lacks.
	deleted() ([]int64, error)
	stop() error
}

package ledger

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

const (
	// MaxBatch is how many entries one call of Append takes, wherever the stream is; see [Ledger.AtOnce] for more. It is the
	// server's limit for one atomic batch, which a round is in a cluster.
	MaxBatch = 1000
	// mostAtOnce is how many one call takes where no round is an atomic batch.
	mostAtOnce = 4 * MaxBatch
	// mostBytes is how long the notes of one call may be together: as long as those of MaxBatch. The server queues 128 MiB, and
	// of what comes beyond that, where the disk is slow, it takes nothing.
	mostBytes = MaxBatch * MaxNote
	// maxRoundBytes keeps a round well under what the server buffers for one connection. A call that is longer by
	// itself makes a round of its own.
	maxRoundBytes = 8 << 20
)

// call is one Append on its way to the committer.
type call struct {
	entries  []Entry
	firsts   map[string]int // index of each station's first entry; made when needed
	state    atomic.Int32
	numbered chan struct{} // closed when coming is set; nil where nobody waits for that
	coming   []Appended    // the records as they are on their way, numbered
	done     chan struct{} // closed when out and err are set
	out      []Appended
	err      error
}

const (
	callWaiting = iota
	callTaken
	callCancelled
)

// isFirst reports whether entry i is the first of its station in the call, the one whose expectation counts.
func (c *call) isFirst(i int) bool {
	if i == 0 {
		return true
	}
	if c.firsts == nil {
		c.firsts = map[string]int{}
		for j, e := range slices.Backward(c.entries) {
			c.firsts[e.Station] = j
		}
	}
	return c.firsts[c.entries[i].Station] == i
}

// number tells whoever waits for it how the call's records will be, before they are stored.
func (c *call) number() {
	if c.numbered != nil {
		c.coming = c.out
		close(c.numbered)
	}
}

// finish answers the call.
func (c *call) finish(err error) {
	c.err = err
	close(c.done)
}

// isDone reports whether the call has been answered.
func (c *call) isDone() bool {
	select {
	case <-c.done:
		return true
	default:
		return false
	}
}

// queue holds the calls that the committer has not taken yet.
type queue struct {
	mu     sync.Mutex
	calls  []*call
	most   int // messages of a round
	closed bool
	wake   chan struct{} // signalled when there is something to take
	quorum int           // no signal before this many calls are queued; 0 unless the committer is in await
}

func (q *queue) init(most int) { q.most, q.wake = most, make(chan struct{}, 1) }

func (q *queue) add(c *call) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed {
		return fmt.Errorf("not recorded: %w", ErrClosed)
	}
	q.calls = append(q.calls, c)
	if len(q.calls) >= q.quorum {
		q.signal()
	}
	return nil
}

func (q *queue) signal() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// await returns when n calls are queued, when the queue is closed, or when enough delivers. Meanwhile add does not
// signal, so the committer wakes once and not for every call.
func (q *queue) await(n int, enough <-chan time.Time) {
	q.setQuorum(n)
	defer q.setQuorum(0)
	for !q.reached(n) {
		select {
		case <-q.wake:
		case <-enough:
			return
		}
	}
}

func (q *queue) setQuorum(n int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.quorum = n
}

// reached reports whether there is no reason to wait for n calls any longer.
func (q *queue) reached(n int) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.closed || len(q.calls) >= n
}

func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
	q.signal()
}

func (q *queue) len() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.calls)
}

// take removes the calls for the next round, in order, and reports whether the queue is closed. A station is in a round
// at most once, because what its next call must expect is not known before the round is over. Calls that do not fit
// stay.
func (q *queue) take() (calls []*call, closed bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	messages, size := 0, 0
	busy := map[string]bool{} // stations with a call in the round or ahead in the queue
	var rest []*call
	for i, c := range q.calls {
		if c.state.Load() == callCancelled {
			continue
		}
		n := len(c.entries)
		bytes := 0
		fits := messages+n <= q.most
		for _, e := range c.entries {
			fits = fits && !busy[e.Station]
			bytes += len(e.Note)
		}
		fits = fits && (size == 0 || size+bytes <= maxRoundBytes)
		for _, e := range c.entries {
			busy[e.Station] = true
		}
		if !fits {
			rest = append(rest, c)
			continue
		}
		if !c.state.CompareAndSwap(callWaiting, callTaken) {
			continue
		}
		calls = append(calls, c)
		messages += n
		size += bytes
		if messages == q.most {
			rest = append(rest, q.calls[i+1:]...)
			break
		}
	}
	q.calls = rest
	if len(rest) > 0 {
		q.signal()
	}
	return calls, q.closed
}

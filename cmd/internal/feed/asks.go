package feed

import (
	"context"
	"strings"
	"sync"

	"github.com/nats-io/nats.go"
)

// asksAtMost is how many questions of one reader wait; a reader that keeps to the form has one.
const asksAtMost = 4

// ask is one reader's question for what it missed.
type ask struct{ inbox, after string }

// asks are the questions that wait. Each reader has a queue of its own, and they are answered in turn: one that asks without end
// keeps no other waiting.
type asks struct {
	mu      sync.Mutex
	waiting map[string][]ask // by reader
	turn    []string         // the readers of whom something waits
	more    chan struct{}
}

func newAsks() asks { return asks{waiting: make(map[string][]ask), more: make(chan struct{}, 1)} }

// take keeps a question, if it is for the inbox of who asks and not too many of theirs wait. The server let nobody ask in the
// name of another.
func (q *asks) take(m *nats.Msg) {
	parts := strings.Split(m.Subject, ".") // events, the reader, after, the sequence
	const reader, sequence, all = 1, 3, 4
	if len(parts) != all || !strings.HasPrefix(m.Reply, Inbox(parts[reader])+".") {
		return
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	key := parts[reader]
	if len(q.waiting[key]) >= asksAtMost {
		return // no answer comes, and the reader asks again
	}
	if len(q.waiting[key]) == 0 {
		q.turn = append(q.turn, key)
	}
	q.waiting[key] = append(q.waiting[key], ask{inbox: m.Reply, after: parts[sequence]})
	select {
	case q.more <- struct{}{}:
	default:
	}
}

// next takes out the question whose turn it is.
func (q *asks) next() (a ask, ok bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.turn) == 0 {
		return a, false
	}
	key := q.turn[0]
	q.turn = q.turn[1:]
	a, q.waiting[key] = q.waiting[key][0], q.waiting[key][1:]
	if len(q.waiting[key]) > 0 {
		q.turn = append(q.turn, key)
	} else {
		delete(q.waiting, key)
	}
	return a, true
}

// each answers the questions until the context ends.
func (q *asks) each(ctx context.Context, answer func(ask)) {
	for ctx.Err() == nil {
		if a, ok := q.next(); ok {
			answer(a)
			continue
		}
		select {
		case <-ctx.Done():
		case <-q.more:
		}
	}
}

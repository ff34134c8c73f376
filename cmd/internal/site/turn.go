package site

import (
	"slices"
	"sync"
)

// turn is a lock that goes to those who ask for it in the order in which they did. A mutex goes to whoever asks when it is let
// go, which is the file that had it, so a station that scans would wait for two parts of that.
type turn struct {
	mu      sync.Mutex
	taken   bool
	waiting []waiter
	asked   bool // somebody had to wait
}

// waiter is one who waits for the lock.
type waiter struct {
	mine chan struct{}   // closed when it has it
	over <-chan struct{} // closed when it wants it no more; nil: it always does
}

func (t *turn) Lock() { t.LockUnless(nil) }

// LockUnless is Lock for as long as something isn't over, and reports whether it has the lock: of many who wait for what one does for
// all of them, each would have to be let in only to see that it is done.
func (t *turn) LockUnless(over <-chan struct{}) bool {
	t.mu.Lock()
	if !t.taken {
		t.taken = true
		t.mu.Unlock()
		return true
	}
	mine := make(chan struct{})
	t.waiting, t.asked = append(t.waiting, waiter{mine, over}), true
	t.mu.Unlock()
	select {
	case <-mine:
		return true
	case <-over:
	}
	t.mu.Lock()
	t.waiting = slices.DeleteFunc(t.waiting, func(w waiter) bool { return w.mine == mine })
	has := isClosed(mine) // both happened at once
	t.mu.Unlock()
	if has {
		t.Unlock()
	}
	return false
}

func (t *turn) Unlock() {
	t.mu.Lock()
	defer t.mu.Unlock()
	for len(t.waiting) > 0 {
		next := t.waiting[0]
		if t.waiting = t.waiting[1:]; !isClosed(next.over) {
			close(next.mine)
			return
		}
	}
	t.taken = false
}

// isClosed reports whether a channel that nothing is sent to is closed.
func isClosed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// wasAskedFor reports whether somebody had to wait since it was asked last.
func (t *turn) wasAskedFor() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	was := t.asked
	t.asked = false
	return was
}

// TryLock reports whether nobody had it.
func (t *turn) TryLock() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.taken {
		return false
	}
	t.taken = true
	return true
}

package site

import "sync"

// turn is a lock that goes to those who ask for it in the order in which they did. A mutex goes to whoever asks when it is let
// go, which is the file that had it, so a station that scans would wait for two parts of that.
type turn struct {
	mu      sync.Mutex
	taken   bool
	waiting []chan struct{}
	asked   bool // somebody had to wait
}

func (t *turn) Lock() {
	t.mu.Lock()
	if !t.taken {
		t.taken = true
		t.mu.Unlock()
		return
	}
	mine := make(chan struct{})
	t.waiting, t.asked = append(t.waiting, mine), true
	t.mu.Unlock()
	<-mine
}

func (t *turn) Unlock() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.waiting) == 0 {
		t.taken = false
		return
	}
	close(t.waiting[0])
	t.waiting = t.waiting[1:]
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

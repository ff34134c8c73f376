// Package hub tells those who listen to something that it has changed: a page whose draft was changed by another screen. They are
// told that, not what, so a slow listener misses repeats and never the last.
package hub

import "sync"

// Hub is who listens to what. The zero value is ready for use, by many at once.
type Hub struct {
	mu  sync.Mutex
	all map[string]map[*Listener]struct{} // by the key that they listen to
}

// Listener is one who listens, until End.
type Listener struct {
	changed chan struct{}
	client  string
	end     func()
}

// Listen begins to listen to a key, for a client that need not hear of what it did itself; "" hears of all.
func (h *Hub) Listen(key, client string) *Listener {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.all == nil {
		h.all = make(map[string]map[*Listener]struct{})
	}
	if h.all[key] == nil {
		h.all[key] = make(map[*Listener]struct{})
	}
	l := &Listener{changed: make(chan struct{}, 1), client: client}
	h.all[key][l] = struct{}{}
	l.end = func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.all[key], l)
		if len(h.all[key]) == 0 {
			delete(h.all, key)
		}
	}
	return l
}

// Changed returns the channel that gets a value after a change.
func (l *Listener) Changed() <-chan struct{} { return l.changed }

// Nudge tells this listener alone.
func (l *Listener) Nudge() {
	select {
	case l.changed <- struct{}{}:
	default:
	}
}

// End ends listening. What was told before may still be waiting.
func (l *Listener) End() { l.end() }

// Tell tells who listens to a key, except the client whose own input it was: that one has the answer.
func (h *Hub) Tell(key, client string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for l := range h.all[key] {
		if l.client != client || client == "" {
			l.Nudge()
		}
	}
}

// TellAll tells who listens to any of the keys that a function picks.
func (h *Hub) TellAll(picks func(key string) bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for key, all := range h.all {
		if !picks(key) {
			continue
		}
		for l := range all {
			l.Nudge()
		}
	}
}

// Keys returns how many keys somebody listens to.
func (h *Hub) Keys() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.all)
}

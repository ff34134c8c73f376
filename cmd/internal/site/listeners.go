package site

import "sync"

// listeners are told when verdicts may have changed. They are told that, not
// what: a page asks again and so never shows less than the newest state.
type listeners struct {
	mu  sync.Mutex
	all map[chan struct{}]bool
}

// Changes returns a channel that gets a value after records were judged, and a
// function that ends it. A slow listener misses repeats, never the last.
func (s *Site) Changes() (<-chan struct{}, func()) {
	s.listen.mu.Lock()
	defer s.listen.mu.Unlock()
	if s.listen.all == nil {
		s.listen.all = make(map[chan struct{}]bool)
	}
	ch := make(chan struct{}, 1)
	s.listen.all[ch] = true
	return ch, func() {
		s.listen.mu.Lock()
		defer s.listen.mu.Unlock()
		delete(s.listen.all, ch)
	}
}

func (l *listeners) tell() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for ch := range l.all {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}

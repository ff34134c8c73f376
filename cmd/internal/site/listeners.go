package site

import (
	"sync"
	"time"
)

// listeners are told when verdicts may have changed. They are told that, not
// what: a page asks again and so never shows less than the newest state.
type listeners struct {
	mu      sync.Mutex
	all     map[chan struct{}]bool
	telling bool // the many are being told
	again   bool // there was more since that began
	closed  chan struct{}
}

// More listeners than this are told in pieces of so many, with a pause between: waking ten thousand at once, which any
// client may have opened, would keep the next scan waiting.
const (
	toldAtOnce = 200
	toldPause  = 20 * time.Millisecond
)

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
	if l.telling {
		l.again = true
		return
	}
	all := l.current()
	if len(all) <= toldAtOnce {
		tellThem(all)
		return
	}
	if l.closed == nil {
		l.closed = make(chan struct{})
	}
	l.telling = true
	go l.tellMany(all, l.closed)
}

func (l *listeners) current() []chan struct{} {
	all := make([]chan struct{}, 0, len(l.all))
	for ch := range l.all {
		all = append(all, ch)
	}
	return all
}

func tellThem(all []chan struct{}) {
	for _, ch := range all {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}

// tellMany tells listeners in pieces, and all of them once more where something came meanwhile.
func (l *listeners) tellMany(all []chan struct{}, closed <-chan struct{}) {
	for {
		for len(all) > 0 {
			n := min(len(all), toldAtOnce)
			tellThem(all[:n])
			all = all[n:]
			pause := time.NewTimer(toldPause)
			select {
			case <-pause.C:
			case <-closed:
				pause.Stop()
				return
			}
		}
		l.mu.Lock()
		if !l.again {
			l.telling = false
			l.mu.Unlock()
			return
		}
		l.again, all = false, l.current()
		l.mu.Unlock()
	}
}

// close ends what is still being told.
func (l *listeners) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed != nil {
		close(l.closed)
		l.closed = nil
		l.telling = true // nobody is told any more
	}
}

package site

import (
	"runtime"
	"sync"
	"sync/atomic"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
)

// A round of many lines has its records signed on other processors while its next lines are looked at: of all that is done with a line
// before it is stored, signing takes most. A record says the hash of its station's record before it, so those of one station are signed
// one after the other, by one goroutine, and those of different stations at once. Nothing else of a line waits for its signature.

// fewestBeside is from how many lines on that is worth a goroutine: a scan that comes alone is signed where it is.
const fewestBeside = 4

// mostBeside is how many sign at once: to sign takes about twice as long as all else until a line is stored.
const mostBeside = 4

// signature is a record that is signed, or will be.
type signature struct {
	signer note.Signer
	event  *events.Event // as it is signed
	said   *events.Event // the same with its texts, which others have seen already
	after  *signature    // of the station's record before it; nil: the event says its hash already

	note []byte
	hash string
	err  error
}

// make signs the event. What comes before it is signed.
func (x *signature) make() {
	if x.after != nil {
		if x.err = x.after.err; x.err != nil {
			return
		}
		x.event.StationPrev = x.after.hash
	}
	if x.note, x.err = events.Sign(x.event, x.signer); x.err == nil {
		x.hash = events.NoteHash(x.note)
	}
}

// signatures makes those of one round, on goroutines of its own.
type signatures struct {
	queues  []chan *signature
	of      map[string]chan *signature // by station
	made    sync.WaitGroup             // of those that were added
	over    sync.WaitGroup             // of the goroutines
	dropped atomic.Bool                // nobody wants them any more
}

// signBeside returns signatures that are made beside the intake of so many lines, nil where each is made where it is asked for.
func signBeside(lines int) *signatures {
	n := min(runtime.GOMAXPROCS(0), mostBeside)
	if n < 2 || lines < fewestBeside {
		return nil
	}
	s := &signatures{queues: make([]chan *signature, n), of: make(map[string]chan *signature)}
	for i := range s.queues {
		queue := make(chan *signature, lines)
		s.queues[i] = queue
		s.over.Go(func() {
			for x := range queue {
				if !s.dropped.Load() {
					x.make()
				}
				s.made.Done()
			}
		})
	}
	return s
}

// add has a signature made.
func (s *signatures) add(x *signature) {
	queue := s.of[x.event.Station]
	if queue == nil {
		queue = s.queues[len(s.of)%len(s.queues)]
		s.of[x.event.Station] = queue
	}
	s.made.Add(1)
	queue <- x
}

// wait returns when all are made that were added.
func (s *signatures) wait() {
	if s != nil {
		s.made.Wait()
	}
}

// end ends the goroutines. What is not made yet nobody wants any more.
func (s *signatures) end() {
	if s == nil {
		return
	}
	s.dropped.Store(true)
	for _, queue := range s.queues {
		close(queue)
	}
	s.over.Wait()
}

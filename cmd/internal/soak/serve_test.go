package soak

import (
	"fmt"
	"sync"
	"syscall"
	"testing"
)

// TestServerKilled ends a server at work in every way, and goes on with its folder.
func TestServerKilled(t *testing.T) {
	tb := &table{t: t}
	for _, e := range ends {
		tb.run("serve with 8 clients, "+e.name, 1, func(s *soak) { killServe(s, e) })
	}
	tb.print()
}

// killServe ends a server while eight clients record, and has all of it recorded
// again by the next one.
func killServe(s *soak, e end) {
	const clients, most, goesOn = 8, 400, 100
	dir := newFolder(s)
	v := s.serve(dir)
	for c := range clients {
		s.enrol(v, fmt.Sprintf("north/s-%d", c))
	}
	var mu sync.Mutex
	had := make(map[string]int64)
	sent := make([]int, clients) // how many scans of each
	enough, more := make(chan struct{}), make(chan struct{})
	after := 1 + s.rnd.IntN(40)
	var all sync.WaitGroup
	for c := range clients {
		all.Go(func() {
			for n := range most {
				rs, err := post(v.url, scan(c, n))
				mu.Lock()
				sent[c]++
				for _, r := range rs {
					had[r.ID] = r.Seq
				}
				if len(had) >= after && !closed(enough) {
					close(enough)
				}
				if len(had) >= after+goesOn && !closed(more) {
					close(more)
				}
				mu.Unlock()
				if err != nil || len(rs) == 0 {
					return // the server is gone
				}
			}
		})
	}
	<-enough
	s.must(e.do(s, v.cmd.Process))
	if e.goesOn {
		<-more
		s.must(v.cmd.Process.Signal(syscall.SIGTERM))
	}
	all.Wait()
	v.wait()
	s.hit++
	acknowledged := len(had)
	v = s.serve(dir)
	seqs := make(map[int64]bool)
	for c := range clients {
		var lines []string
		for n := range sent[c] + 3 { // and some that are new
			lines = append(lines, scan(c, n))
		}
		rs, err := post(v.url, lines...)
		s.must(err)
		if len(rs) != len(lines) {
			s.lose("%d receipts for %d lines", len(rs), len(lines))
		}
		for _, r := range rs {
			if was, ok := had[r.ID]; ok && (was != r.Seq || !r.Known) {
				s.lose("event %s was acknowledged as record %d and is now %+v", r.ID, was, r)
			}
			if seqs[r.Seq] {
				s.lose("two lines stand at record %d", r.Seq)
			}
			delete(had, r.ID)
			seqs[r.Seq] = true
		}
	}
	if len(had) > 0 {
		s.lose("%d of %d receipts are of nothing that is there", len(had), acknowledged)
	}
	s.must(v.cmd.Process.Signal(syscall.SIGTERM))
	v.wait()
	s.verify(dir)
}

func closed(c chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

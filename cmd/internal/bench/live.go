package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"
)

const (
	offeredLive  = 200                    // observations a second, as the board is looked at
	newRowEach   = 250 * time.Millisecond // something wrong comes up
	boardRests   = 50 * time.Millisecond  // between two questions, or four times what the answer took, as the page's script does
	mostRest     = 200 * time.Millisecond
	liveAskLimit = 5 * time.Second
)

// liveRows is how long it takes from a scan that shows something wrong until its row is on a board that somebody looks at: the
// board hears that there was a change and asks for its rows, as often as its script does. Meanwhile others hand in.
func liveRows(ctx context.Context, b *bench) error {
	p, err := b.bothServe(ctx)
	if err != nil {
		return err
	}
	s := p.ours
	var times []float64
	for round := range b.rounds {
		// A department that only packs: its sets are there before the clock runs.
		wrong := &department{n: mostClients - 1 - round}
		took, err := s.liveRound(ctx, b, wrong)
		if err != nil {
			return err
		}
		times = append(times, percentile(took, 99))
	}
	b.table.add(row{"scan to its row on the live board, 200 observations a second offered: p99, ms", times, nil,
		"none: the board is asked as its page does", "250 ms"})
	return nil
}

// board is what somebody who looks at it has seen.
type board struct {
	mu   sync.Mutex
	sent map[string]time.Time
	took []float64
}

func (v *board) send(set string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.sent[set] = time.Now()
}

func (v *board) sees(page []byte) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for set, at := range v.sent {
		if bytes.Contains(page, []byte(`data-sets="`+set+` "`)) {
			v.took = append(v.took, float64(time.Since(at))/float64(time.Millisecond))
			delete(v.sent, set)
		}
	}
}

func (v *board) waiting() int {
	v.mu.Lock()
	defer v.mu.Unlock()
	return len(v.sent)
}

func (s *system) liveRound(ctx context.Context, b *bench, wrong *department) ([]float64, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	n := int(b.seconds / newRowEach)
	at := lately().UTC().Add(time.Hour)
	for i := range n {
		if err := s.handIn(ctx, fmt.Sprintf(`{"station":"north/packing-%d","kind":"set.packed","time":%q,"set":%q,`+
			`"operator":"B-1","data":{"list":"LAP","version":1,"weightGrams":8400,"newSet":true}}`, wrong.n,
			at.Add(time.Duration(i)*time.Second).Format(time.RFC3339), wrong.wrongSet(i))); err != nil {
			return nil, err
		}
	}
	v := &board{sent: make(map[string]time.Time)}
	var all sync.WaitGroup
	var lookErr, workErr error
	all.Go(func() { lookErr = s.look(ctx, v) })
	all.Go(func() {
		const clients = 32
		_, workErr = s.together(ctx, clients, b.seconds+time.Second, offeredLive, func() time.Duration { return 0 })
	})
	time.Sleep(time.Second)
	err := s.goWrong(ctx, v, wrong, n, at.Add(time.Hour))
	for begun := time.Now(); err == nil && v.waiting() > 0; time.Sleep(10 * time.Millisecond) {
		if time.Since(begun) > liveAskLimit {
			err = fmt.Errorf("%d rows did not come up within %v", v.waiting(), liveAskLimit)
		}
	}
	cancel()
	all.Wait()
	if errors.Is(workErr, context.Canceled) {
		workErr = nil
	}
	return v.took, errors.Join(err, lookErr, workErr)
}

func (d *department) wrongSet(i int) string { return fmt.Sprintf("WRONG-%d-%d", d.n, i) }

// goWrong has sets checked whose seal is broken, one after the other.
func (s *system) goWrong(ctx context.Context, v *board, wrong *department, n int, at time.Time) error {
	tick := time.NewTicker(newRowEach)
	defer tick.Stop()
	for i := range n {
		<-tick.C
		set := wrong.wrongSet(i)
		v.send(set)
		if err := s.handIn(ctx, fmt.Sprintf(`{"station":"north/storage-%d","kind":"set.checked","time":%q,"set":%q,`+
			`"operator":"B-1","data":{"place":"A4","tag":%[3]q,"sealBroken":true}}`, wrong.n,
			at.Add(time.Duration(i)*time.Second).Format(time.RFC3339), set)); err != nil {
			return err
		}
	}
	return nil
}

// look is the board's page: it hears of changes and asks for its rows.
func (s *system) look(ctx context.Context, v *board) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+"/changes", nil)
	if err != nil {
		return err
	}
	resp, err := s.client.Do(r)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	changed := make(chan struct{}, 1)
	go func() {
		for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
			if bytes.HasPrefix(lines.Bytes(), []byte("event: change")) {
				select {
				case changed <- struct{}{}:
				default: // it will ask
				}
			}
		}
	}()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-changed:
		}
		begun := time.Now()
		if page, err := get(ctx, s.client, s.url+"/?part=rows"); err == nil { // else it stays as it is until the next change
			v.sees(page)
		}
		if len(changed) > 0 {
			time.Sleep(min(max(4*time.Since(begun), boardRests), mostRest))
		}
	}
}

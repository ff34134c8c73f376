package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"
)

// system is one of the two that take observations over HTTP.
type system struct {
	*child
	departments []*department
	client      *http.Client
}

const mostClients = 128

func newSystem(c *child, begin time.Time) *system {
	s := &system{child: c, client: &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: mostClients}}}
	for n := range mostClients {
		s.departments = append(s.departments, &department{n: n, begin: begin, turn: 1}) // the first was recorded
	}
	return s
}

// keepTime has what is handed in be observed at the time.
func (s *system) keepTime() {
	for _, d := range s.departments {
		d.clock = lately
	}
}

// handIn hands in what a department does next, and waits for the receipt.
func (s *system) handIn(ctx context.Context, line string) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.url+"/api/observations", strings.NewReader(line+"\n"))
	if err != nil {
		return err
	}
	resp, err := s.client.Do(r)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	if err != nil {
		return err
	}
	var receipt struct {
		Seq    int64  `json:"seq"`
		Error  string `json:"error"`
		Behind bool   `json:"behind"`
	}
	if err := json.Unmarshal(bytes.TrimSpace(raw), &receipt); err != nil {
		return fmt.Errorf("%q is no receipt: %w", raw, err)
	}
	if receipt.Error != "" || receipt.Seq == 0 || receipt.Behind {
		return fmt.Errorf("%s: %s", line, raw)
	}
	return nil
}

// untroubled fails where anything is found wrong with what was handed in: what is measured is a day on which all goes well.
func (s *system) untroubled(ctx context.Context) error {
	raw, err := get(ctx, s.client, s.url+"/api/broken")
	if err != nil {
		return err
	}
	var found []struct {
		Set, Status string
		Findings    []struct{ Code string }
	}
	if err := json.Unmarshal(raw, &found); err != nil {
		return fmt.Errorf("%.200q: %w", raw, err)
	}
	if len(found) > 0 {
		return fmt.Errorf("something is wrong with %d turns, of which the first is %+v", len(found), found[0])
	}
	return nil
}

// taken is what came of a round.
type taken struct {
	rate  float64   // observations a second
	times []float64 // ms until the receipt
	cpu   float64   // ms of the servers, for each
}

// together has so many clients hand in one observation after the other, for a while. With a rate so many a second are offered:
// one that waits for its turn has waited all the same.
func (s *system) together(ctx context.Context, clients int, last time.Duration, rate int, used func() time.Duration) (taken, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var (
		all   sync.WaitGroup
		mu    sync.Mutex
		out   taken
		due   = make(chan time.Time)
		begun = time.Now()
		cpu   = used()
	)
	for _, d := range s.departments[:clients] {
		all.Go(func() {
			var times []float64
			for at := range due {
				if at.IsZero() {
					at = time.Now()
				}
				if err := s.handIn(ctx, d.next()); err != nil {
					cancel(err)
					break
				}
				times = append(times, float64(time.Since(at))/float64(time.Millisecond))
			}
			mu.Lock()
			defer mu.Unlock()
			out.times = append(out.times, times...)
		})
	}
	offer(ctx, due, begun, last, rate)
	close(due)
	all.Wait()
	n := float64(len(out.times))
	out.rate, out.cpu = n/time.Since(begun).Seconds(), (used()-cpu).Seconds()*1000/n
	return out, context.Cause(ctx)
}

// offer says when each observation is due: as soon as a client is free, or so many a second whoever is free.
func offer(ctx context.Context, due chan<- time.Time, begun time.Time, last time.Duration, rate int) {
	for n := 0; ; n++ {
		var at time.Time
		if rate > 0 {
			if at = begun.Add(time.Duration(n) * time.Second / time.Duration(rate)); at.Sub(begun) >= last {
				return
			}
			time.Sleep(time.Until(at))
		}
		select {
		case due <- at:
		case <-ctx.Done():
			return
		}
		if time.Since(begun) >= last && rate == 0 {
			return
		}
	}
}

// pair are both systems, the rival nil where there is none.
type pair struct{ ours, rival *system }

// bothServe starts both, once, with empty folders in which all clients may record.
func (b *bench) bothServe(ctx context.Context) (*pair, error) {
	if b.busy != nil {
		return b.busy, nil
	}
	const name = "clients"
	f, err := b.newFolder(ctx, name, mostClients)
	if err != nil {
		return nil, err
	}
	c, err := f.serve(ctx)
	if err != nil {
		return nil, err
	}
	p := &pair{ours: newSystem(c, f.begin)}
	b.busy = p
	p.ours.keepTime()
	if b.pg == nil {
		return p, nil
	}
	r, err := b.rivalOver(ctx, name)
	if err != nil {
		return p, err
	}
	p.rival = newSystem(r, f.begin)
	p.rival.keepTime()
	if err := p.rival.handIn(ctx, theList(f.begin)); err != nil {
		return nil, err
	}
	const warm = 8 // connections, statements and files are there before anything is measured
	return p, p.measure(ctx, b, warm, 0, new(sides))
}

func (p *pair) stop() (err error) {
	if p == nil {
		return nil
	}
	for _, s := range []*system{p.ours, p.rival} {
		if s != nil {
			err = errors.Join(err, s.stop())
		}
	}
	return err
}

func (b *bench) oursUsed(s *system) func() time.Duration {
	return func() time.Duration { return cpu(s.cmd.Process.Pid) }
}

func (b *bench) rivalUsed(s *system) func() time.Duration {
	return func() time.Duration { return cpu(s.cmd.Process.Pid) + cpu(b.pg.cmd.Process.Pid) }
}

// sides are what the rounds of one pair gave.
type sides struct{ rate, p50, p99, cpu [2][]float64 }

func (x *sides) add(side int, t taken) {
	x.rate[side] = append(x.rate[side], t.rate)
	x.p50[side] = append(x.p50[side], percentile(t.times, 50))
	x.p99[side] = append(x.p99[side], percentile(t.times, 99))
	x.cpu[side] = append(x.cpu[side], t.cpu)
}

// measure has clients hand in at both, by turns.
func (p *pair) measure(ctx context.Context, b *bench, clients, rate int, x *sides) error {
	t, err := p.ours.together(ctx, clients, b.seconds, rate, b.oursUsed(p.ours))
	if err != nil {
		return err
	}
	x.add(0, t)
	if p.rival == nil {
		return nil
	}
	if t, err = p.rival.together(ctx, clients, b.seconds, rate, b.rivalUsed(p.rival)); err != nil {
		return fmt.Errorf("rival: %w", err)
	}
	x.add(1, t)
	return nil
}

// clients hand in over HTTP, each its next observation when it has the receipt of the last.
func clients(ctx context.Context, b *bench) error {
	p, err := b.bothServe(ctx)
	if err != nil {
		return err
	}
	many := []int{1, 32, mostClients}
	got := make(map[int]*sides)
	for range b.rounds {
		for _, n := range many {
			if got[n] == nil {
				got[n] = new(sides)
			}
			if err := p.measure(ctx, b, n, 0, got[n]); err != nil {
				return err
			}
		}
	}
	if err := p.ours.untroubled(ctx); err != nil {
		return err
	}
	by := b.without("web service over PostgreSQL, trigger")
	aims := map[int][3]string{1: {"1.0 x", "3 ms"}, 32: {"1.2 x"}, mostClients: {"", "", "0.5 ms"}}
	for _, n := range many {
		x := got[n]
		what := fmt.Sprintf("observations over HTTP until the judged receipt, %d clients: ", n)
		if n == 1 {
			what = "observations over HTTP until the judged receipt, 1 client: "
		}
		b.table.add(row{what + "a second", x.rate[0], x.rate[1], by, aims[n][0]})
		b.table.add(row{what + "p50, ms", x.p50[0], x.p50[1], by, aims[n][1]})
		b.table.add(row{what + "p99, ms", x.p99[0], x.p99[1], by, ""})
		b.table.add(row{what + "servers' CPU for each, ms", x.cpu[0], x.cpu[1], by, aims[n][2]})
	}
	return nil
}

// offered are a thousand a second, whether they can be taken or not.
func offered(ctx context.Context, b *bench) error {
	p, err := b.bothServe(ctx)
	if err != nil {
		return err
	}
	const rate, clients = 1000, 64
	var x sides
	for range b.rounds {
		if err := p.measure(ctx, b, clients, rate, &x); err != nil {
			return err
		}
	}
	by := b.without("web service over PostgreSQL, trigger")
	b.table.add(row{"1,000 observations a second offered: taken a second", x.rate[0], x.rate[1], by, ""})
	b.table.add(row{"1,000 observations a second offered: p99 from when each was due, ms", x.p99[0], x.p99[1], by, "100 ms"})
	return nil
}

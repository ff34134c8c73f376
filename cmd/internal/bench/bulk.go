package main

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

const departmentsOfBulk = 40

// week is the built-in week, recorded by the clock that it had, and printed.
func week(ctx context.Context, b *bench) error {
	var took []float64
	for i := range b.rounds {
		f := &folder{b: b, dir: filepath.Join(b.dir, fmt.Sprint("week-", i))}
		c := command(ctx, b.program, "demo", "--once", "--data", f.dir)
		begun := time.Now()
		if err := c.Run(); err != nil {
			return err
		}
		took = append(took, time.Since(begun).Seconds())
	}
	b.table.add(row{"the demo's week recorded and told, s", took, nil, "none", "1.5 s"})
	return nil
}

// files of observations are recorded, each round in a folder of its own. The last one stays, for what is asked of many records.
func files(ctx context.Context, b *bench) error {
	file := filepath.Join(b.dir, "bulk.jsonl")
	begin := worldBegins(b.records)
	w, err := os.Create(file)
	if err != nil {
		return err
	}
	if err := errors.Join(writeTurns(w, begin, departmentsOfBulk, b.records), w.Close()); err != nil {
		return err
	}
	var lines, spent, memory [2][]float64
	for i := range b.rounds {
		b.bulk = &folder{b: b, dir: filepath.Join(b.dir, fmt.Sprint("bulk-", i)), begin: begin}
		begun := time.Now()
		c, err := b.bulk.record(ctx, file)
		if err != nil {
			return err
		}
		n := float64(b.records)
		lines[0] = append(lines[0], n/time.Since(begun).Seconds())
		spent[0] = append(spent[0], usage(c).Seconds()*1e6/n)
		memory[0] = append(memory[0], peak(c))
		if b.pg == nil {
			continue
		}
		took, used, err := b.fillRival(ctx, fmt.Sprint("bulk-", i), file)
		if err != nil {
			return fmt.Errorf("rival: %w", err)
		}
		lines[1] = append(lines[1], n/took.Seconds())
		spent[1] = append(spent[1], used.Seconds()*1e6/n)
	}
	by := b.without("web service over PostgreSQL, trigger, 200 a transaction")
	what := fmt.Sprintf("record of %s lines: ", figure(float64(b.records)))
	b.table.add(row{what + "lines a second", lines[0], lines[1], by, "10,000/s"})
	b.table.add(row{what + "CPU for each, us", spent[0], spent[1], by, ""})
	b.table.add(row{what + "peak memory, MB", memory[0], nil, "none", "flat"})
	return nil
}

// fillRival hands the file in to a new rival, which is stopped again.
func (b *bench) fillRival(ctx context.Context, name, file string) (took, used time.Duration, err error) {
	r, err := b.rivalOver(ctx, name)
	if err != nil {
		return 0, 0, err
	}
	defer func() { err = errors.Join(err, r.stop()) }()
	in, err := os.Open(file)
	if err != nil {
		return 0, 0, err
	}
	defer in.Close()
	s := newSystem(r, worldBegins(b.records))
	before, begun := b.rivalUsed(s)(), time.Now()
	resp, err := s.client.Post(r.url+"/api/observations", "application/jsonl", in)
	if err != nil {
		return 0, 0, err
	}
	defer resp.Body.Close()
	_, err = io.Copy(io.Discard, resp.Body)
	return time.Since(begun), b.rivalUsed(s)() - before, err
}

// rebuilds make the read model from nothing.
func rebuilds(ctx context.Context, b *bench) error {
	f, err := b.filled(ctx)
	if err != nil {
		return err
	}
	var rate, memory, spent []float64
	for range b.rounds {
		c, took, err := f.run(ctx, "rebuild")
		if err != nil {
			return err
		}
		n := float64(b.records)
		rate, memory = append(rate, n/took.Seconds()), append(memory, peak(c))
		spent = append(spent, usage(c).Seconds()*1e6/n)
	}
	what := fmt.Sprintf("rebuild of %s records, start and end of the program with it: ", figure(float64(b.records)))
	b.table.add(row{what + "records a second", rate, nil, "none", "150,000/s at 1 M"})
	b.table.add(row{what + "CPU for each, us", spent, nil, "none", ""})
	b.table.add(row{what + "peak memory, MB", memory, nil, "none", "700 MB at 1 M"})
	return nil
}

// verifies check the whole ledger, by the command. The rival only checks as many signatures, on all cores.
func verifies(ctx context.Context, b *bench) error {
	f, err := b.filled(ctx)
	if err != nil {
		return err
	}
	var rate, alone, spent []float64
	for range b.rounds {
		c, took, err := f.run(ctx, "verify")
		if err != nil {
			return err
		}
		n := float64(b.records)
		rate, spent = append(rate, n/took.Seconds()), append(spent, usage(c).Seconds()*1e6/n)
		alone = append(alone, n/signatures(b.records).Seconds())
	}
	what := fmt.Sprintf("verify of %s records, the read model with it: ", figure(float64(b.records)))
	b.table.add(row{what + "records a second", rate, alone, "crypto/ed25519, signatures alone, all cores", "25,000/s at 1 M"})
	b.table.add(row{what + "CPU for each, us", spent, nil, "none", ""})
	return nil
}

func signatures(n int) time.Duration {
	private := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	public := private.Public().(ed25519.PublicKey)
	message := make([]byte, 650)
	sig := ed25519.Sign(private, message)
	var left atomic.Int64
	left.Store(int64(n))
	var all sync.WaitGroup
	begun := time.Now()
	for range runtime.NumCPU() {
		all.Go(func() {
			for left.Add(-1) >= 0 {
				ed25519.Verify(public, message, sig)
			}
		})
	}
	all.Wait()
	return time.Since(begun)
}

// diskUse is what a record takes, with all that is kept for it.
func diskUse(ctx context.Context, b *bench) error {
	f, err := b.filled(ctx)
	if err != nil {
		return err
	}
	n, err := f.size()
	if err != nil {
		return err
	}
	r := row{what: "disk for each record, bytes", ours: []float64{float64(n) / float64(b.records)},
		by: b.without("PostgreSQL, tables and indexes"), aim: "1.3 x"}
	if b.pg != nil {
		size, err := b.rivalSize(ctx, filepath.Base(f.dir))
		if err != nil {
			return err
		}
		r.rival = []float64{float64(size) / float64(b.records)}
	}
	b.table.add(r)
	return nil
}

func (b *bench) rivalSize(ctx context.Context, name string) (n int64, err error) {
	c, err := pgx.Connect(ctx, b.pg.at(name))
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, c.Close(ctx)) }()
	// As it is after its own housekeeping.
	if _, err := c.Exec(ctx, "VACUUM ANALYZE"); err != nil {
		return 0, err
	}
	err = c.QueryRow(ctx, `SELECT pg_total_relation_size('observation') + pg_total_relation_size('verdict')
		+ pg_total_relation_size('list')`).Scan(&n)
	return n, err
}

// starts are how long the first page takes from the start of the program on, after it was killed and after it was stopped.
func starts(ctx context.Context, b *bench) error {
	f, err := b.filled(ctx)
	if err != nil {
		return err
	}
	how := []struct {
		end syscall.Signal
		row row
	}{
		{syscall.SIGKILL, row{what: "start after kill -9 to the first page, ms", by: "none", aim: "5 s at 5 M"}},
		{syscall.SIGTERM, row{what: "start after a stop to the first page, ms", by: "none", aim: "200 ms"}},
	}
	for range b.rounds {
		for i := range how {
			took, err := f.startsAfter(ctx, how[i].end)
			if err != nil {
				return err
			}
			how[i].row.ours = append(how[i].row.ours, float64(took)/float64(time.Millisecond))
		}
	}
	for i := range how {
		b.table.add(how[i].row)
	}
	return nil
}

// startsAfter has a server record something, ends it, and says how long the next one takes to its first page.
func (f *folder) startsAfter(ctx context.Context, end os.Signal) (took time.Duration, err error) {
	c, err := f.serve(ctx)
	if err != nil {
		return 0, err
	}
	s := newSystem(c, f.begin)
	line := fmt.Sprintf(`{"station":"north/storage-0","kind":"set.checked","time":%q,"set":"LAP-0-0","data":{"place":"A4"}}`,
		time.Now().UTC().Format(time.RFC3339Nano))
	if err := errors.Join(s.handIn(ctx, line), c.end(end)); err != nil {
		return 0, err
	}
	begun := time.Now()
	if c, err = f.serve(ctx); err != nil {
		return 0, err
	}
	_, err = get(ctx, http.DefaultClient, c.url+"/")
	took = time.Since(begun)
	return took, errors.Join(err, c.stop())
}

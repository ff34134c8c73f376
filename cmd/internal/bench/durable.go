package main

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"time"

	_ "modernc.org/sqlite" // the rival's, and the read model's

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// noteOf is a note of about 700 bytes, as long as a signed observation is.
func noteOf(dir, station string) ([]byte, error) {
	signer, _, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "station.key"), station)
	if err != nil {
		return nil, err
	}
	return proof.SignNote(strings.Repeat("abcdefghij", 59)+"\n", signer)
}

// appends are durable when they return: the ledger's own, in this process, and by turns with it SQLite's, where all that wait
// share a transaction and each row has the hash of the one before.
func appends(ctx context.Context, b *bench) error {
	for _, writers := range []int{1, 256} {
		var rate [2][]float64
		for round := range b.rounds {
			dir := filepath.Join(b.dir, fmt.Sprintf("append-%d-%d", writers, round))
			ours, rival, err := appendRound(ctx, dir, writers)
			if err != nil {
				return err
			}
			rate[0], rate[1] = append(rate[0], ours), append(rate[1], rival)
		}
		what := fmt.Sprintf("durable append of 700 bytes, %d writers, a second", writers)
		if writers == 1 {
			what = "durable append of 700 bytes, one writer, a second"
		}
		b.table.add(row{what, rate[0], rate[1], "SQLite (modernc), group commit and chain",
			map[int]string{1: "0.9 x", 256: "0.6 x"}[writers]})
	}
	return nil
}

// appendRound has both written to by turns, so that a busy moment of the machine meets both.
func appendRound(ctx context.Context, dir string, writers int) (ours, rival float64, err error) {
	name := events.LedgerName("north")
	signer, verifier, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "ledger.key"), name)
	if err != nil {
		return 0, 0, err
	}
	note, err := noteOf(dir, "north/or-3")
	if err != nil {
		return 0, 0, err
	}
	l, err := ledger.Open(ctx, ledger.Options{Dir: dir, Origin: name, Signer: signer, Verifier: verifier, Clock: time.Now})
	if err != nil {
		return 0, 0, err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	g, err := openGroup(ctx, filepath.Join(dir, "rival.db"))
	if err != nil {
		return 0, 0, err
	}
	defer func() { err = errors.Join(err, g.close()) }()
	last := make([]int64, writers)
	const turns, turn = 5, 400 * time.Millisecond
	for range turns {
		n, err := appendFor(writers, turn, func(w int) error { return g.append(note) })
		if err != nil {
			return 0, 0, err
		}
		rival += float64(n) / (turns * turn.Seconds())
		n, err = appendFor(writers, turn, func(w int) error {
			out, err := l.Append(ctx, ledger.Entry{Station: fmt.Sprintf("north/or-%d", w), Kind: "set.opened", Note: note,
				ExpectPrev: last[w]})
			if err == nil {
				last[w] = out[0].Seq
			}
			return err
		})
		if err != nil {
			return 0, 0, err
		}
		ours += float64(n) / (turns * turn.Seconds())
	}
	return ours, rival, nil
}

// appendFor has so many write for a while, and counts.
func appendFor(writers int, last time.Duration, write func(writer int) error) (n int, err error) {
	var all sync.WaitGroup
	var mu sync.Mutex
	until := time.Now().Add(last)
	for w := range writers {
		all.Go(func() {
			done := 0
			var failed error
			for failed == nil && time.Now().Before(until) {
				if failed = write(w); failed == nil {
					done++
				}
			}
			mu.Lock()
			defer mu.Unlock()
			n, err = n+done, errors.Join(err, failed)
		})
	}
	all.Wait()
	return n, err
}

// group is a table in SQLite to which many append: whoever waits shares the next transaction.
type group struct {
	db      *sql.DB
	conn    *sql.Conn
	insert  *sql.Stmt
	chain   [sha256.Size]byte
	waiting chan appending
	ended   chan struct{}
}

type appending struct {
	note []byte
	done chan error
}

func openGroup(ctx context.Context, path string) (*group, error) {
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	if err != nil {
		return nil, err
	}
	const most = 1024
	g := &group{db: db, waiting: make(chan appending, most), ended: make(chan struct{})}
	if g.conn, err = db.Conn(ctx); err == nil {
		_, err = g.conn.ExecContext(ctx, "CREATE TABLE record (seq INTEGER PRIMARY KEY, note BLOB NOT NULL, chain BLOB NOT NULL)")
	}
	if err == nil {
		g.insert, err = g.conn.PrepareContext(ctx, "INSERT INTO record (note, chain) VALUES (?, ?)")
	}
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	go g.work()
	return g, nil
}

func (g *group) append(note []byte) error {
	a := appending{note, make(chan error, 1)}
	g.waiting <- a
	return <-a.done
}

func (g *group) work() {
	defer close(g.ended)
	for a := range g.waiting {
		all := []appending{a}
		for more := true; more && len(all) < cap(g.waiting); {
			select {
			case next, ok := <-g.waiting:
				if more = ok; ok {
					all = append(all, next)
				}
			default:
				more = false
			}
		}
		err := g.commit(all)
		for _, x := range all {
			x.done <- err
		}
	}
}

func (g *group) commit(all []appending) error {
	ctx := context.Background()
	if _, err := g.conn.ExecContext(ctx, "BEGIN IMMEDIATE"); err != nil {
		return err
	}
	for _, a := range all {
		g.chain = sha256.Sum256(append(g.chain[:], a.note...))
		if _, err := g.insert.ExecContext(ctx, a.note, g.chain[:]); err != nil {
			return err
		}
	}
	_, err := g.conn.ExecContext(ctx, "COMMIT")
	return err
}

func (g *group) close() error {
	close(g.waiting)
	<-g.ended
	return errors.Join(g.insert.Close(), g.conn.Close(), g.db.Close())
}

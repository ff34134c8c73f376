package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

//go:embed rival.sql
var rivalTables string

// rival is the small plain web service: observations in, receipts out, over PostgreSQL.
type rival struct{ db *pgxpool.Pool }

// said is one observation as it comes.
type said struct {
	Station  string          `json:"station"`
	Kind     string          `json:"kind"`
	Time     time.Time       `json:"time"`
	Set      *string         `json:"set"`
	Operator *string         `json:"operator"`
	Data     json.RawMessage `json:"data"`
}

type rivalReceipt struct {
	Seq   int64  `json:"seq,omitempty"`
	Trip  *int64 `json:"trip,omitempty"`
	Known bool   `json:"known,omitempty"`
	Error string `json:"error,omitempty"`
}

const (
	insertSaid = `INSERT INTO observation (id, station, kind, observed, set_name, operator, data)
	VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (id) DO NOTHING RETURNING seq, trip`
	findSaid = `SELECT seq, trip FROM observation WHERE id = $1`
)

// serveRival is the rival's process.
func serveRival(ctx context.Context, o options, out io.Writer) error {
	config, err := pgxpool.ParseConfig(o.rival)
	if err != nil {
		return err
	}
	const connections = 32
	config.MaxConns = connections
	db, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return err
	}
	defer db.Close()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	r := &rival{db}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /api/observations", r.record)
	mux.HandleFunc("GET /api/history", r.history)
	if _, err := fmt.Fprintf(out, "serving at http://%s\n", l.Addr()); err != nil {
		return err
	}
	go func() {
		<-ctx.Done()
		_ = l.Close() // that ends the process
	}()
	if err := http.Serve(l, mux); !errors.Is(err, net.ErrClosed) {
		return err
	}
	return nil
}

// record answers a single line by a statement of its own, and a file in transactions of two hundred lines.
func (v *rival) record(w http.ResponseWriter, r *http.Request) {
	const together = 200
	lines := bufio.NewReader(r.Body)
	answers := json.NewEncoder(w)
	if err := http.NewResponseController(w).EnableFullDuplex(); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	for more := true; more; {
		var batch [][]byte
		for len(batch) < together {
			line, err := lines.ReadBytes('\n')
			if len(line) > 1 {
				batch = append(batch, line)
			}
			if err != nil {
				more = false
				break
			}
		}
		for _, a := range v.take(r.Context(), batch) {
			if err := answers.Encode(a); err != nil {
				return
			}
		}
	}
}

func (v *rival) take(ctx context.Context, lines [][]byte) []rivalReceipt {
	out := make([]rivalReceipt, len(lines))
	failed := func(err error) []rivalReceipt {
		for i := range out {
			out[i] = rivalReceipt{Error: err.Error()}
		}
		return out
	}
	if len(lines) == 1 {
		if err := insert(ctx, v.db, lines[0], &out[0]); err != nil {
			return failed(err)
		}
		return out
	}
	if err := v.takeMany(ctx, lines, out); err != nil {
		return failed(err)
	}
	return out
}

// takeMany sends the statements of one transaction at once, without waiting for each answer.
func (v *rival) takeMany(ctx context.Context, lines [][]byte, out []rivalReceipt) error {
	return pgx.BeginFunc(ctx, v.db, func(tx pgx.Tx) error {
		var all pgx.Batch
		var again []int // known already
		for i, line := range lines {
			args, err := argsOf(line)
			if err != nil {
				out[i].Error = err.Error()
				continue
			}
			all.Queue(insertSaid, args...).QueryRow(func(row pgx.Row) error {
				err := row.Scan(&out[i].Seq, &out[i].Trip)
				if errors.Is(err, pgx.ErrNoRows) {
					again, err = append(again, i), nil
				}
				return err
			})
		}
		if err := tx.SendBatch(ctx, &all).Close(); err != nil {
			return err
		}
		for _, i := range again {
			if err := insert(ctx, tx, lines[i], &out[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

// asker is a connection of the pool or a transaction.
type asker interface {
	QueryRow(ctx context.Context, query string, args ...any) pgx.Row
}

func argsOf(line []byte) ([]any, error) {
	var s said
	if err := json.Unmarshal(line, &s); err != nil {
		return nil, err
	}
	id := sha256.Sum256(line)
	return []any{id[:], s.Station, s.Kind, s.Time, s.Set, s.Operator, s.Data}, nil
}

func insert(ctx context.Context, db asker, line []byte, r *rivalReceipt) error {
	args, err := argsOf(line)
	if err != nil {
		r.Error = err.Error()
		return nil //nolint:nilerr // the line is refused, not the others
	}
	err = db.QueryRow(ctx, insertSaid, args...).Scan(&r.Seq, &r.Trip)
	if !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	r.Known = true
	return db.QueryRow(ctx, findSaid, args[0]).Scan(&r.Seq, &r.Trip)
}

// rivalAgain starts the rival's process over a database that is there.
func (b *bench) rivalAgain(ctx context.Context, name string) (*child, error) {
	return rivalAt(ctx, b.pg.at(name))
}

func rivalAt(ctx context.Context, dsn string) (*child, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return serving(command(ctx, self, "-serve-rival", dsn))
}

// history answers with the rows of a trip, load or case and the verdicts that are stored.
func (v *rival) history(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	column, value := "trip = $1::bigint", q.Get("trip")
	query := `SELECT coalesce(json_agg(o ORDER BY observed, seq), '[]') FROM observation o WHERE `
	switch {
	case q.Has("case"):
		column, value = "case_name = $1", q.Get("case")
	case q.Has("load"):
		column, value = "load = $1", q.Get("load")
	}
	var events, verdicts json.RawMessage
	err := v.db.QueryRow(r.Context(), query+column, value).Scan(&events)
	if err == nil {
		err = v.db.QueryRow(r.Context(), `SELECT coalesce(json_agg(d), '[]') FROM verdict d WHERE trip IN
			(SELECT trip FROM observation WHERE `+column+`)`, value).Scan(&verdicts)
	}
	if err == nil {
		err = json.NewEncoder(w).Encode(map[string]json.RawMessage{"events": events, "verdicts": verdicts})
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
	}
}

// rivalOver starts the rival's process over a database of its own.
func (b *bench) rivalOver(ctx context.Context, name string) (*child, error) {
	dsn, err := b.pg.anew(ctx, name)
	if err != nil {
		return nil, err
	}
	return rivalAt(ctx, dsn)
}

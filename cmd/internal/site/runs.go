package site

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections/facts"
	"listbound/projections/run"
	"listbound/projections/run/logfile"
)

// Logs of sterilizers' runs lie in the folder runs as they came, each under its SHA-256. A record names that, so the
// ledger vouches for the log, and whoever doubts the figures works them out again.

// KeptLog is a log that is kept.
type KeptLog struct {
	Log string `json:"log"` // SHA-256, lower-case hex
}

// RunsQuery asks for the logs of a load's runs, or for the last one in force of a sterilizer: by which the next is read.
type RunsQuery struct {
	Load, Sterilizer string
	AsOf             time.Time // as known at this moment; zero: now
}

// runLogs are the logs that a folder keeps, and what verify finds wrong with them.
type runLogs struct {
	dir      string
	problems []ledger.Problem
}

func (s *Site) runLogs() *runLogs { return &runLogs{dir: filepath.Join(s.opts.Dir, "runs")} }

// read returns a log, and fails for one that is another than it was.
func (l *runLogs) read(digest string) ([]byte, error) {
	if sum, err := hex.DecodeString(digest); err != nil || len(sum) != sha256.Size {
		return nil, refusal.New("%q names no log", digest)
	}
	raw, err := os.ReadFile(filepath.Join(l.dir, digest))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, refusal.New("the log %s is not kept here", digest)
	}
	if err == nil && digestOf(raw) != digest {
		err = fmt.Errorf("the log %s is another one than was recorded", digest)
	}
	return raw, err
}

func digestOf(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// has refuses a record of a log that isn't kept: hand it in first.
func (l *runLogs) has(d *events.RunLogged) error {
	if d.Log == "" {
		return nil
	}
	_, err := l.read(d.Log)
	return err
}

// look holds the log that a record or a correction names against its digest. All others it passes over without parsing them.
func (l *runLogs) look(s *Site, seq int64, record []byte) {
	if d, ok := saidWith[*events.RunLogged](s, record, `"log":"`, events.KindRunLogged); ok {
		if err := l.has(d); err != nil {
			l.problems = append(l.problems, ledger.Problem{Seq: seq, What: fmt.Sprintf("%v; put the file back from a copy", err)})
		}
	}
}

// KeepRunLog implements Service. A log that came before is kept once.
func (s *Site) KeepRunLog(_ context.Context, raw []byte) (*KeptLog, error) {
	// The folder is in hand as long as a question is answered.
	return Answer(s, func(*View) (*KeptLog, error) { return s.keepRunLog(raw) })
}

func (s *Site) keepRunLog(raw []byte) (*KeptLog, error) {
	if len(raw) == 0 || len(raw) > logfile.MaxBytes {
		return nil, refusal.New("the log has %d bytes; it has from 1 to %d", len(raw), logfile.MaxBytes)
	}
	l := s.runLogs()
	k := &KeptLog{Log: digestOf(raw)}
	if _, err := l.read(k.Log); err == nil {
		return k, nil
	}
	if err := s.keepBeside("runs", k.Log, raw); err != nil {
		return nil, fmt.Errorf("keeping a log: %w", err)
	}
	return k, nil
}

// RunLog returns a log that is kept.
func (s *Site) RunLog(digest string) ([]byte, error) { return s.runLogs().read(digest) }

// logsOf are the logs that records name, each once. One that can't be read isn't among them: the checker says so.
func (s *Site) logsOf(records []bundle.Record) (out [][]byte) {
	var had []string
	for _, r := range records {
		e := eventWith(s, r.Record, `"log":"`)
		if e == nil {
			continue
		}
		d := bundle.RunLogIn(e)
		if d == nil || slices.Contains(had, d.Log) {
			continue
		}
		had = append(had, d.Log)
		if raw, err := s.RunLog(d.Log); err == nil {
			out = append(out, raw)
		}
	}
	return out
}

// lookedAt is how many of a sterilizer's last loads are looked at for one in force.
const lookedAt = 20

// Runs implements Service.
func (s *Site) Runs(ctx context.Context, q RunsQuery) ([]run.Recorded, error) {
	if (q.Load == "") == (q.Sterilizer == "") {
		return nil, refusal.New("ask for a load or for a sterilizer")
	}
	if q.Load != "" { // its facts as of then, and no copy of everything
		return Answer(s, func(v *View) ([]run.Recorded, error) {
			w, out := v.WorldAt(ctx, q.AsOf), []run.Recorded{}
			for _, it := range w.RunLogs(q.Load) {
				out = append(out, runRecord(it))
			}
			return out, w.Failed()
		})
	}
	return AnswerAt(ctx, s, q.AsOf, func(v *View) ([]run.Recorded, error) {
		w := v.World(ctx)
		out := []run.Recorded{}
		loads, err := v.LoggedLoads(ctx, q.Sterilizer, lookedAt)
		if err != nil {
			return nil, err
		}
		for _, load := range slices.Compact(loads) {
			for _, it := range slices.Backward(w.RunLogs(load)) {
				if facts.LogOf(it).Sterilizer == q.Sterilizer {
					return append(out, runRecord(it)), w.Failed()
				}
			}
		}
		return out, w.Failed()
	})
}

func runRecord(it *facts.Item) run.Recorded {
	d := facts.LogOf(it)
	return run.Recorded{Seq: it.Seq, ID: it.Event.ID, At: it.At(), Station: it.Event.Station, Operator: it.Event.Operator, Said: d,
		Lacks: run.Lacks(&d.Cycle, &d.Figures)}
}

// Command bench measures the ledger beside its rivals, each pair by turns in one run, and prints a table.
//
//	go run ./cmd/internal/bench
//	go run ./cmd/internal/bench -records 1000000 -rounds 5 -seconds 10
//
// What a user meets is measured from outside, on the real program: observations over HTTP until the judged receipt, files,
// a rebuild, verify, histories, the board, the start after kill -9. The rival of these is a small plain web service over
// PostgreSQL (rival.go, rival.sql) that is given the same observations and judges them in a trigger, far less than judgement
// does, unsigned and without proofs: a floor, and no equal. The rival of a durable append is SQLite with group commit and a
// hash chain, in this process as the ledger is.
//
// A figure is the median of the rounds with the least and the greatest of them; a ratio is taken round by round, since two
// that ran one after the other met the same machine. CPU is what the servers used, all of PostgreSQL's processes with them
// and the clients not, and says more than time does where others use the machine.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

// options are the flags.
type options struct {
	records int           // of the folder that is rebuilt, verified and asked
	rounds  int           // of each pair
	seconds time.Duration // that a round of clients takes
	dir     string        // where all of it is kept, on the disk that is measured
	only    string
	program string
	rival   string // this process is the rival's web service, over the database there
}

func main() {
	var o options
	seconds := 3.0
	flag.IntVar(&o.records, "records", 100_000, "how many records are recorded, rebuilt, verified and asked")
	flag.IntVar(&o.rounds, "rounds", 3, "how often each pair is measured")
	flag.Float64Var(&seconds, "seconds", seconds, "how long clients hand in in each round")
	flag.StringVar(&o.dir, "dir", "/var/tmp", "folder to work in, on the disk that counts; what is made there is removed")
	flag.StringVar(&o.only, "only", "", "measure these alone: names separated by commas, of "+strings.Join(names(), ", "))
	flag.StringVar(&o.program, "program", "", "listbound as it was built; built from this folder where it isn't given")
	flag.StringVar(&o.rival, "serve-rival", "", "be the rival's web service over this database (used by bench itself)")
	flag.Parse()
	o.seconds = time.Duration(seconds * float64(time.Second))
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	work := run
	if o.rival != "" {
		work = serveRival
	}
	if err := work(ctx, o, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// measure is one part of the table.
type measure struct {
	name string
	make func(context.Context, *bench) error
}

func measures() []measure {
	return []measure{
		{"append", appends}, {"clients", clients}, {"offered", offered}, {"live", liveRows}, {"week", week},
		{"files", files}, {"rebuild", rebuilds}, {"verify", verifies}, {"histories", histories}, {"disk", diskUse},
		{"start", starts},
	}
}

func names() (out []string) {
	for _, m := range measures() {
		out = append(out, m.name)
	}
	return out
}

// bench is one run: what it works with, and the rows that it has.
type bench struct {
	options
	table table
	log   io.Writer
	pg    *postgres // nil where there is none
	no    string    // why
	busy  *pair     // both at work, once they are
	bulk  *folder   // the folder of many records, once it is filled
}

func run(ctx context.Context, o options, out io.Writer) (err error) {
	wanted := names()
	if o.only != "" {
		wanted = strings.Split(o.only, ",")
	}
	for _, name := range wanted {
		if !slices.Contains(names(), name) {
			return fmt.Errorf("-only: %q is none of %s", name, strings.Join(names(), ", "))
		}
	}
	if o.dir, err = os.MkdirTemp(o.dir, "listbound-bench-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(o.dir)) }()
	b := &bench{options: o, log: os.Stderr}
	if b.program == "" {
		b.program = filepath.Join(o.dir, "listbound")
		if err := command(ctx, "go", "build", "-trimpath", "-o", b.program, "./cmd/listbound").Run(); err != nil {
			return fmt.Errorf("building listbound: %w", err)
		}
	}
	b.pg, b.no = startPostgres(ctx, o.dir)
	defer func() { err = errors.Join(err, b.busy.stop(), b.pg.stop()) }()
	for _, m := range measures() {
		if !slices.Contains(wanted, m.name) {
			continue
		}
		fmt.Fprintf(b.log, "%s %s\n", time.Now().Format("15:04:05"), m.name)
		if err := m.make(ctx, b); err != nil {
			return fmt.Errorf("%s: %w", m.name, err)
		}
	}
	rival := b.no
	if b.pg != nil {
		rival = b.pg.version
	}
	fmt.Fprintf(out, "%s, %d cores, load %s; %s; %d rounds of %v, %d records. Median [least-greatest].\n\n",
		processor(), runtime.NumCPU(), load(), rival, o.rounds, o.seconds, o.records)
	return b.table.print(out)
}

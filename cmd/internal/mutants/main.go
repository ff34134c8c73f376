// Command mutants measures how much the tests of a package notice. It makes small changes to the package's code, one at
// a time, and runs the package's own tests with each: a change that no test fails for is a survivor, and shows what
// nobody looks at. A package that is tested through another one is tried with that one's tests.
//
//	go run ./cmd/internal/mutants -n 50 -seed 1 ./ledger/proof
//	go run ./cmd/internal/mutants -n 50 -tests ./projections/judge ./projections/facts
//
// All sampled mutants of a package are compiled into one test binary, where an environment variable switches one of
// them on. So a package is built once and not once per mutant, and a mutant costs no more than a test run. What the
// tests never reach is not run at all: the first run, without a mutant, notes which ones are met.
//
// The changes are: a comparison is negated or moves its bound, a condition is negated, && and || change places, + and -
// change places, a constant changes by one, a statement is left out. What a compiler would refuse is not a mutant.
// Constants in constant declarations stay as they are, because a running program cannot switch them; where such a
// constant is used, its value is changed instead.
//
// A run that takes much longer than the tests take without a mutant is stopped. It counts as killed, because an endless
// loop does not go unnoticed, and is counted apart as well. A run that asks for more memory than it may have ends there
// and is killed: without a bound a loop that appends would take the machine with it.
//
// A mutant that nobody can tell from the program, such as another size of a cache, is listed in equivalent.txt with the
// reason. Those drawn are run as the others are and counted apart: an entry that a test tells apart after all is an
// error, as is one that fits no mutant any more.
package main

import (
	"cmp"
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"time"
)

// options are the flags.
type options struct {
	sample  int
	seed    uint64
	exclude string
	match   string
	tests   string
	atLeast float64
	workers int
	factor  int
	memory  int           // what a test run may take, in MB
	grace   time.Duration // what a test run may take in any case
	same    []equivalent
}

func main() {
	o := options{grace: 20 * time.Second}
	flag.IntVar(&o.sample, "n", 50, "how many mutants of each package to try; 0 tries all")
	flag.Uint64Var(&o.seed, "seed", 1, "which sample: the same number gives the same one "+
		"as long as the code stays the same")
	flag.StringVar(&o.exclude, "exclude", "", "leave out files whose names match this regular expression")
	flag.StringVar(&o.match, "match", "", "try those alone that match this regular expression, as they are printed: "+
		"\"reconcile.go:141:\", to see a survivor killed")
	flag.StringVar(&o.tests, "tests", "", "run the tests of this package as well, after each package's own")
	flag.Float64Var(&o.atLeast, "min", 0, "fail if less than this share of a package's mutants is killed, in percent")
	flag.IntVar(&o.workers, "j", runtime.NumCPU(), "how many test runs at once")
	flag.IntVar(&o.factor, "timeout", 10, "stop a run after so many times what the tests take without a mutant")
	flag.IntVar(&o.memory, "memory", 4096, "how much memory a test run may reserve, in MB")
	flag.Usage = func() {
		fmt.Fprintf(flag.CommandLine.Output(), "usage: mutants [flags] package...\n")
		flag.PrintDefaults()
	}
	flag.Parse()
	if flag.NArg() == 0 {
		flag.Usage()
		os.Exit(2)
	}
	var err error
	if o.same, err = parseEquivalents(equivalentText); err != nil {
		fmt.Fprintln(os.Stderr, "mutants:", err)
		os.Exit(1)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	ok, err := run(ctx, o, flag.Args(), os.Stdout)
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutants:", err)
		os.Exit(1)
	}
	if !ok {
		os.Exit(1)
	}
}

// run tries a sample of each package that the patterns name. It reports whether every package reached the score asked
// for.
func run(ctx context.Context, o options, patterns []string, out io.Writer) (bool, error) {
	exclude, err := regexp.Compile(cmp.Or(o.exclude, "$^")) // which is in no name
	if err != nil {
		return false, fmt.Errorf("-exclude: %w", err)
	}
	match, err := regexp.Compile(o.match)
	if err != nil {
		return false, fmt.Errorf("-match: %w", err)
	}
	packages, err := load(ctx, patterns, o.tests)
	if err != nil {
		return false, err
	}
	ok := true
	for _, p := range packages {
		begin := time.Now()
		t, err := try(ctx, o, p, exclude, match)
		if err != nil {
			return false, fmt.Errorf("%s: %w", p.ImportPath, err)
		}
		t.print(out, time.Since(begin))
		for _, m := range append(t.same[killed], t.same[timedOut]...) {
			return false, fmt.Errorf("%s: %s: it is listed as equivalent, and a test tells it apart", m.where, m.what)
		}
		ok = ok && t.score() >= o.atLeast
	}
	return ok, nil
}

// outcome is what became of a mutant.
type outcome int

const (
	killed outcome = iota
	survived
	unreached // survived, because no test executes the place
	timedOut
)

// tally is the outcome for one package.
type tally struct {
	pkg        string
	candidates int
	refused    int // by the compiler
	outcomes   map[outcome][]*mutant
	same       map[outcome][]*mutant // the outcomes of those listed as equivalent
}

// score is the share of the mutants that the tests noticed, in percent, less those that nobody can notice.
func (t *tally) score() float64 {
	noticed := len(t.outcomes[killed]) + len(t.outcomes[timedOut])
	all := noticed + len(t.outcomes[survived]) + len(t.outcomes[unreached])
	if all == 0 {
		return 100
	}
	return 100 * float64(noticed) / float64(all)
}

func (t *tally) print(w io.Writer, took time.Duration) {
	for _, m := range t.outcomes[survived] {
		fmt.Fprintf(w, "%s: survived: %s\n", m.where, m.what)
	}
	for _, m := range t.outcomes[unreached] {
		fmt.Fprintf(w, "%s: survived, no test gets there: %s\n", m.where, m.what)
	}
	for _, m := range t.outcomes[timedOut] {
		fmt.Fprintf(w, "%s: timed out: %s\n", m.where, m.what)
	}
	dead, late := len(t.outcomes[killed]), len(t.outcomes[timedOut])
	unmet, same := len(t.outcomes[unreached]), len(t.same[survived])+len(t.same[unreached])
	alive := len(t.outcomes[survived]) + unmet
	fmt.Fprintf(w, "%s: score %.0f %%: %d tried, %d killed (of them %d timed out), %d survived (of them %d never reached), "+
		"%d can't be told apart; of %d candidates in %s\n",
		t.pkg, t.score(), dead+late+alive+same, dead+late, late, alive, unmet, same, t.candidates, took.Round(time.Second))
	if t.refused > 0 {
		fmt.Fprintf(w, "%s: the compiler refused %d others, which were replaced\n", t.pkg, t.refused)
	}
}

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// The environment of a test run.
const (
	envMutant = "LISTBOUND_MUTANT"
	envMet    = "LISTBOUND_MUTANTS_MET"
)

// relative names a file as seen from the current folder.
func relative(path string) string {
	if wd, err := os.Getwd(); err == nil {
		if rel, err := filepath.Rel(wd, path); err == nil {
			return rel
		}
	}
	return path
}

// try builds a sample of a package's mutants and runs its tests with each.
func try(ctx context.Context, o options, s *source, exclude, match *regexp.Regexp) (*tally, error) {
	dir, err := os.MkdirTemp("", "mutants-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	all := find(s, exclude)
	if err := mark(s, all, o.same, exclude); err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(m *mutant) bool { return !match.MatchString(m.where + ": " + m.what) })
	t := &tally{pkg: s.ImportPath, candidates: len(all), outcomes: map[outcome][]*mutant{}, same: map[outcome][]*mutant{}}
	random := rand.New(rand.NewPCG(o.seed, 0))
	random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	size := len(all)
	if o.sample > 0 {
		size = min(size, o.sample)
	}
	sample, rest := all[:size:size], all[size:]
	r := &runs{source: s, dir: dir, memory: o.memory}
	for i, of := range s.tests {
		r.suites = append(r.suites, &suite{listed: of, bin: filepath.Join(dir, fmt.Sprintf("%d.test", i))})
	}
	for {
		refused, err := r.build(ctx, sample)
		if err != nil {
			return nil, err
		}
		if len(refused) == 0 {
			break
		}
		kept := sample[:0:0]
		for _, m := range sample {
			if !refused[m] {
				kept = append(kept, m)
			}
		}
		t.refused += len(sample) - len(kept)
		more := min(len(sample)-len(kept), len(rest))
		sample, rest = append(kept, rest[:more]...), rest[more:]
	}
	for _, of := range r.suites {
		took, err := r.baseline(ctx, of)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", of.ImportPath, err)
		}
		of.limit = max(o.grace, time.Duration(o.factor)*took)
	}
	return t, r.all(ctx, o.workers, sample, t)
}

// runs builds and runs the tests of one package, its own and others'.
type runs struct {
	*source
	dir    string
	memory int // MB
	suites []*suite
}

// suite is the tests of a package, as built with the mutants in.
type suite struct {
	listed
	bin   string
	met   map[int]bool // the mutants that they meet
	limit time.Duration
}

// build compiles the tests with the mutants in. It returns those that the compiler does not take.
func (r *runs) build(ctx context.Context, sample []*mutant) (refused map[*mutant]bool, err error) {
	overlay := struct{ Replace map[string]string }{map[string]string{}}
	put := func(path string, text []byte) error {
		to := filepath.Join(r.dir, fmt.Sprintf("%d-%s", len(overlay.Replace), filepath.Base(path)))
		overlay.Replace[path] = to
		return os.WriteFile(to, text, 0o600)
	}
	for i, file := range r.files {
		path := r.fset.File(file.Pos()).Name()
		var mine []*mutant
		for _, m := range sample {
			if m.path == path {
				mine = append(mine, m)
			}
		}
		if i > 0 && len(mine) == 0 {
			continue
		}
		text := rewrite(r.text[path], mine)
		if i == 0 { // before its package clause nothing is ever changed
			text = withSwitches(text, r.fset.Position(file.Name.End()).Offset)
		}
		if err := put(path, text); err != nil {
			return nil, err
		}
	}
	raw, err := json.Marshal(overlay)
	if err != nil {
		return nil, err
	}
	overlayPath := filepath.Join(r.dir, "overlay.json")
	if err := os.WriteFile(overlayPath, raw, 0o600); err != nil {
		return nil, err
	}
	for _, of := range r.suites {
		cmd := exec.CommandContext(ctx, "go", "test", "-c", "-vet=off", "-gcflags=-e", "-overlay", overlayPath, "-o", of.bin,
			of.ImportPath)
		cmd.Env = withoutCgo()
		out, err := cmd.CombinedOutput()
		if err == nil {
			continue
		}
		refused = r.blame(out, overlay.Replace, sample)
		if len(refused) == 0 {
			return nil, fmt.Errorf("the tests cannot be built: %w\n%s", err, out)
		}
		return refused, nil
	}
	return nil, nil
}

var compilerError = regexp.MustCompile(`(?m)^(\S+\.go):(\d+):`)

// blame finds the mutants on the lines that the compiler complains about.
func (r *runs) blame(out []byte, overlay map[string]string, sample []*mutant) map[*mutant]bool {
	bad := map[string]bool{}
	for _, m := range compilerError.FindAllSubmatch(out, -1) {
		bad[filepath.Base(string(m[1]))+":"+string(m[2])] = true
	}
	refused := map[*mutant]bool{}
	for _, m := range sample {
		line := ":" + strconv.Itoa(m.line)
		if bad[filepath.Base(m.path)+line] || bad[filepath.Base(overlay[m.path])+line] {
			refused[m] = true
		}
	}
	return refused
}

// command returns a run of the tests. It has a folder of its own for temporary files, because a test that is stopped
// does not clear up. The shell that bounds its memory becomes the test program.
func (r *runs) command(ctx context.Context, of *suite, limit time.Duration, tmp string, env ...string) *exec.Cmd {
	bounded := fmt.Sprintf(`ulimit -v %d && exec "$0" "$@"`, r.memory*1024)
	args := []string{"-c", bounded, of.bin, "-test.short", "-test.failfast", "-test.timeout", limit.String()}
	if of.usesRapid() {
		args = append(args, "-rapid.nofailfile", "-rapid.shrinktime=0s")
	}
	cmd := exec.CommandContext(ctx, "sh", args...)
	cmd.Dir = of.Dir
	cmd.Env = append(append(os.Environ(), "TMPDIR="+tmp), env...)
	cmd.WaitDelay = time.Second
	return cmd
}

// baseline runs a suite without a mutant, and notes which mutants it meets. It returns how long it takes.
func (r *runs) baseline(ctx context.Context, of *suite) (took time.Duration, err error) {
	tmp := of.bin + "-baseline"
	if err := os.Mkdir(tmp, 0o700); err != nil {
		return 0, err
	}
	list := of.bin + "-met"
	begin := time.Now()
	out, err := r.command(ctx, of, 10*time.Minute, tmp, envMet+"="+list).CombinedOutput()
	took = time.Since(begin)
	if err != nil {
		return 0, fmt.Errorf("the tests fail without a mutant: %w\n%s", err, out)
	}
	of.met = map[int]bool{}
	raw, err := os.ReadFile(list)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return 0, err
	}
	for line := range strings.FieldsSeq(string(raw)) {
		id, err := strconv.Atoi(line)
		if err != nil {
			return 0, err
		}
		of.met[id] = true
	}
	return took, nil
}

// all runs the tests with each mutant that they meet.
func (r *runs) all(ctx context.Context, workers int, sample []*mutant, t *tally) error {
	var wg sync.WaitGroup
	results := make([]outcome, len(sample))
	errs := make([]error, len(sample))
	turn := make(chan struct{}, max(workers, 1))
	for i, m := range sample {
		turn <- struct{}{}
		wg.Go(func() {
			defer func() { <-turn }()
			results[i], errs[i] = r.one(ctx, m)
		})
	}
	wg.Wait()
	for i, m := range sample {
		of := t.outcomes
		if m.same {
			of = t.same
		}
		of[results[i]] = append(of[results[i]], m)
	}
	return errors.Join(errs...)
}

// one runs the suites that meet a mutant with it, until one notices it.
func (r *runs) one(ctx context.Context, m *mutant) (outcome, error) {
	became := unreached
	for _, of := range r.suites {
		if !of.met[m.id] {
			continue
		}
		var err error
		if became, err = r.with(ctx, of, m); err != nil || became != survived {
			return became, err
		}
	}
	return became, nil
}

// with runs one suite with one mutant.
func (r *runs) with(ctx context.Context, of *suite, m *mutant) (outcome, error) {
	tmp := of.bin + "-" + strconv.Itoa(m.id)
	if err := os.Mkdir(tmp, 0o700); err != nil {
		return 0, err
	}
	defer os.RemoveAll(tmp)
	// The test program stops itself; where it cannot, this does.
	limited, cancel := context.WithTimeout(ctx, 2*of.limit)
	defer cancel()
	out, err := r.command(limited, of, of.limit, tmp, envMutant+"="+strconv.Itoa(m.id)).CombinedOutput()
	switch {
	case ctx.Err() != nil:
		return 0, ctx.Err()
	case limited.Err() != nil, bytes.Contains(out, []byte("panic: test timed out after")):
		return timedOut, nil
	case err == nil:
		return survived, nil
	}
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		return 0, err
	}
	return killed, nil
}

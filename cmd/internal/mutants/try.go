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
	r := &runs{source: s, dir: dir, bin: filepath.Join(dir, "package.test"), memory: o.memory}
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
	met, took, err := r.baseline(ctx)
	if err != nil {
		return nil, err
	}
	r.limit = max(o.grace, time.Duration(o.factor)*took)
	return t, r.all(ctx, o.workers, sample, met, t)
}

// runs builds and runs the tests of one package.
type runs struct {
	*source
	dir    string
	bin    string
	memory int // MB
	limit  time.Duration
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
	cmd := exec.CommandContext(ctx, "go", "test", "-c", "-vet=off", "-gcflags=-e", "-overlay", overlayPath, "-o", r.bin,
		r.tests.ImportPath)
	out, err := cmd.CombinedOutput()
	if err == nil {
		return nil, nil
	}
	refused = r.blame(out, overlay.Replace, sample)
	if len(refused) == 0 {
		return nil, fmt.Errorf("the tests cannot be built: %w\n%s", err, out)
	}
	return refused, nil
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
func (r *runs) command(ctx context.Context, limit time.Duration, tmp string, env ...string) *exec.Cmd {
	bounded := fmt.Sprintf(`ulimit -v %d && exec "$0" "$@"`, r.memory*1024)
	args := []string{"-c", bounded, r.bin, "-test.short", "-test.failfast", "-test.timeout", limit.String()}
	if r.tests.usesRapid() {
		args = append(args, "-rapid.nofailfile", "-rapid.shrinktime=0s")
	}
	cmd := exec.CommandContext(ctx, "sh", args...)
	cmd.Dir = r.tests.Dir
	cmd.Env = append(append(os.Environ(), "TMPDIR="+tmp), env...)
	cmd.WaitDelay = time.Second
	return cmd
}

// baseline runs the tests without a mutant. It returns the mutants they meet and how long they take.
func (r *runs) baseline(ctx context.Context) (met map[int]bool, took time.Duration, err error) {
	tmp := filepath.Join(r.dir, "baseline")
	if err := os.Mkdir(tmp, 0o700); err != nil {
		return nil, 0, err
	}
	list := filepath.Join(r.dir, "met")
	begin := time.Now()
	out, err := r.command(ctx, 10*time.Minute, tmp, envMet+"="+list).CombinedOutput()
	took = time.Since(begin)
	if err != nil {
		return nil, 0, fmt.Errorf("the tests fail without a mutant: %w\n%s", err, out)
	}
	met = map[int]bool{}
	raw, err := os.ReadFile(list)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, 0, err
	}
	for line := range strings.FieldsSeq(string(raw)) {
		id, err := strconv.Atoi(line)
		if err != nil {
			return nil, 0, err
		}
		met[id] = true
	}
	return met, took, nil
}

// all runs the tests with each mutant that they meet.
func (r *runs) all(ctx context.Context, workers int, sample []*mutant, met map[int]bool, t *tally) error {
	var wg sync.WaitGroup
	results := make([]outcome, len(sample))
	errs := make([]error, len(sample))
	turn := make(chan struct{}, max(workers, 1))
	for i, m := range sample {
		if !met[m.id] {
			results[i] = unreached
			continue
		}
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

// one runs the tests with one mutant.
func (r *runs) one(ctx context.Context, m *mutant) (outcome, error) {
	tmp := filepath.Join(r.dir, strconv.Itoa(m.id))
	if err := os.Mkdir(tmp, 0o700); err != nil {
		return 0, err
	}
	defer os.RemoveAll(tmp)
	// The test program stops itself; where it cannot, this does.
	limited, cancel := context.WithTimeout(ctx, 2*r.limit)
	defer cancel()
	out, err := r.command(limited, r.limit, tmp, envMutant+"="+strconv.Itoa(m.id)).CombinedOutput()
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

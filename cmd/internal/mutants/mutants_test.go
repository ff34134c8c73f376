package main

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

var never = regexp.MustCompile("$^")

// module makes a module of one package and steps into it.
func module(t *testing.T, files map[string]string) {
	t.Helper()
	dir := t.TempDir()
	t.Chdir(dir)
	files["go.mod"] = "module example\n\ngo 1.26\n"
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte(text), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
}

const constructs = `package sample

import "errors"

type kind uint8

const limit = 250 // a declaration stays as it is

var table = [...]int{2: 7} // the key must be a constant

func f(a []int, k kind, text string) (int, error) {
	n := 0
	if len(a) < 3 && k != 255 {
		return 0, errors.New("few" + text)
	}
outer:
	for i := range a {
		switch {
		case a[i] == 1, !ok(i):
			continue outer
		}
		n += a[i] - 1
		a[0]++
	}
	_ = k
	println(n, 1.5, limit, true)
	b := make([]int, n, n+4)
	return len(b), nil
}

func ok(i int) bool { return i >= 2 }
`

// Every kind of change is offered where it makes sense, and nowhere else.
func TestFind(t *testing.T) {
	module(t, map[string]string{"sample.go": constructs, "sample_test.go": "package sample"})
	packages, err := load(t.Context(), []string{"."}, "")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range find(packages[0], never) {
		got = append(got, strings.TrimPrefix(m.where, "sample.go:")+" "+m.what)
	}
	want := []string{
		"9:25 8 for 7 in 2: 7",
		"12:7 1 for 0 in n := 0",
		"13:5 || for &&: len(a) < 3 && k != 255",
		"13:5 <= for <: len(a) < 3",
		"13:5 negated: len(a) < 3",
		"13:14 4 for 3 in len(a) < 3",
		"13:19 negated: k != 255",
		"13:24 254 for 255 in k != 255",
		"19:20 negated: ok(i)",
		"19:8 negated: a[i] == 1",
		"19:16 2 for 1 in a[i] == 1",
		"20:4 left out: continue outer",
		"22:3 -= for +=: n += a[i] - 1",
		"22:3 left out: n += a[i] - 1",
		"23:3 -- for ++: a[0]++",
		"23:3 left out: a[0]++",
		"22:8 + for -: a[i] - 1",
		"22:15 2 for 1 in a[i] - 1",
		"23:5 1 for 0 in a[0]",
		"26:2 left out: println(n, 1.5, limit, true)",
		"26:18 251 for limit in println(n, 1.5, limit, true)",
		"26:25 negated: true",
		"31:30 > for >=: i >= 2",
		"31:30 negated: i >= 2",
		"31:35 3 for 2 in i >= 2",
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("found\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

const subject = `package sample

func Clamp(n, low, high int) int {
	if n < low {
		return low
	}
	if n > high || n < 0 && low > 0 {
		return high
	}
	return n
}

func Steps(n int) int {
	steps := 0
	for n > 0 {
		n--
		steps++
	}
	return steps
}

func Sum(a, b int) int { return a + b }

func Unused(n int) int { return n + 1 }
`

const subjectTest = `package sample_test

import (
	"testing"

	"example"
)

func Test(t *testing.T) {
	for _, tt := range [][4]int{{1, 2, 5, 2}, {9, 2, 5, 5}, {3, 2, 5, 3}, {-3, -5, 5, -3}, {4, -9, 5, 4}} {
		if got := sample.Clamp(tt[0], tt[1], tt[2]); got != tt[3] {
			t.Errorf("Clamp%v = %d", tt[:3], got)
		}
	}
	if sample.Steps(3) != 3 {
		t.Error("Steps")
	}
	if sample.Sum(4, 0) != 4 {
		t.Error("Sum")
	}
}
`

// A change that a test notices is killed, one that hangs the tests is stopped, and the rest is named with its place.
func TestRun(t *testing.T) {
	module(t, map[string]string{"sample.go": subject, "sample_test.go": subjectTest})
	var out strings.Builder
	o := options{seed: 1, workers: 2, factor: 1, memory: 4096, grace: 3 * time.Second}
	if ok, err := run(t.Context(), o, []string{"."}, &out); err != nil || !ok {
		t.Fatalf("%t, %v\n%s", ok, err, out.String())
	}
	got := strings.Split(strings.TrimSpace(out.String()), "\n")
	last := regexp.MustCompile(` in \S+$`).ReplaceAllString(got[len(got)-1], "")
	got = got[:len(got)-1]
	slices.Sort(got)
	want := []string{
		"sample.go:16:3: timed out: ++ for --: n--",
		"sample.go:16:3: timed out: left out: n--",
		"sample.go:22:33: survived: - for +: a + b",
		"sample.go:24:33: survived, no test gets there: - for +: n + 1",
		"sample.go:24:37: survived, no test gets there: 2 for 1 in n + 1",
		"sample.go:4:5: survived: <= for <: n < low", // the same
		"sample.go:7:17: survived: <= for <: n < 0",
		"sample.go:7:21: survived: 1 for 0 in n < 0",
		"sample.go:7:26: survived: >= for >: low > 0",
		"sample.go:7:32: survived: 1 for 0 in low > 0",
		"sample.go:7:5: survived: >= for >: n > high", // the same
	}
	if !slices.Equal(got, want) {
		t.Errorf("found\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	wantLast := "example: score 61 %: 23 tried, 14 killed (of them 2 timed out), 9 survived (of them 2 never reached), " +
		"0 can't be told apart; of 23 candidates"
	if last != wantLast {
		t.Errorf("the last line is %q, want %q", last, wantLast)
	}
}

// What a package's own tests don't notice, those of another may.
func TestRunWithFurtherTests(t *testing.T) {
	module(t, map[string]string{
		"sample.go": "package sample\n\nfunc Less(n int) int { return n - 1 }\n\nfunc Half(n int) int { return n / 2 }\n",
		"sample_test.go": `package sample

import "testing"

func Test(t *testing.T) {
	if Less(3) != 2 {
		t.Error("Less")
	}
}
`,
		"other/other_test.go": `package other

import (
	"testing"

	sample "example"
)

func Test(t *testing.T) {
	if sample.Half(6) != 3 {
		t.Error("Half")
	}
}
`,
	})
	var out strings.Builder
	o := options{seed: 1, workers: 1, factor: 1, memory: 4096, grace: time.Minute, tests: "./other"}
	if ok, err := run(t.Context(), o, []string{"."}, &out); err != nil || !ok {
		t.Fatalf("%t, %v\n%s", ok, err, out.String())
	}
	if !strings.Contains(out.String(), "example: score 100 %: 3 tried, 3 killed") {
		t.Errorf("%s", out.String())
	}
}

// A mutant that takes memory without end is stopped by the bound, long before its time is over.
func TestMemory(t *testing.T) {
	module(t, map[string]string{
		"sample.go": `package sample

func Grow(n int) (all [][]byte) {
	for n > 0 {
		all = append(all, make([]byte, 1<<20))
		n--
	}
	return all
}
`,
		"sample_test.go": `package sample

import "testing"

func Test(t *testing.T) {
	if len(Grow(3)) != 3 {
		t.Error("Grow")
	}
}
`})
	var out strings.Builder
	o := options{seed: 1, workers: 1, factor: 1, memory: 1024, grace: time.Minute}
	if ok, err := run(t.Context(), o, []string{"."}, &out); err != nil || !ok {
		t.Fatalf("%t, %v\n%s", ok, err, out.String())
	}
	if !strings.Contains(out.String(), "(of them 0 timed out), 1 survived") {
		t.Errorf("a run without end was stopped by its time:\n%s", out.String())
	}
}

// What the compiler refuses is left out, and the others are tried all the same. All mutants of a real package are none
// of those, and with none switched on its tests pass.
func TestBuild(t *testing.T) {
	packages, err := load(t.Context(), []string{"listbound/ledger/proof"}, "")
	if err != nil {
		t.Fatal(err)
	}
	p := packages[0]
	all := find(p, never)
	if len(all) < 500 {
		t.Errorf("only %d mutants", len(all))
	}
	r := &runs{source: p, dir: t.TempDir()}
	r.suites = []*suite{{listed: p.tests[0], bin: filepath.Join(r.dir, "package.test")}}
	refused, err := r.build(t.Context(), all)
	if err != nil || len(refused) > 0 {
		t.Fatalf("%d refused: %v", len(refused), err)
	}
	broken := *all[7]
	broken.edits = func(int) []edit { return []edit{{at: 0, end: 0, text: "!", openedBy: -1, closes: -1}} }
	broken.line = 1
	refused, err = r.build(t.Context(), []*mutant{all[3], &broken, all[9]})
	if err != nil || len(refused) != 1 || !refused[&broken] {
		t.Errorf("%d refused: %v", len(refused), err)
	}
}

package soak

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"text/tabwriter"
	"time"

	"listbound/cmd/internal/commands"
	"listbound/cmd/internal/scenario"
)

// asListbound makes the test program behave as listbound, so that a test can kill
// a real process.
const asListbound = "LISTBOUND_TEST_RUN_MAIN"

func TestMain(m *testing.M) {
	if os.Getenv(asListbound) == "" {
		os.Exit(m.Run())
	}
	onSmallDisk()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	os.Exit(commands.Run(ctx, commands.Env{Clock: time.Now, In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, os.Args[1:]))
}

// listbound is the program as a process of its own.
func listbound(args ...string) *exec.Cmd {
	c := exec.Command(os.Args[0], args...)
	c.Env = append(os.Environ(), asListbound+"=1")
	return c
}

// soak is one row's part of the time, its source of chance and its count.
type soak struct {
	*testing.T
	name string
	rnd  *rand.Rand
	seed uint64

	tried, hit, noticed, harmless, lost int
	outside                             int // noticed only by what lies elsewhere

	below string // where its tries have their folders
	dir   string // of this try
	dirs  int    // how many folders it has
	ends  []func()

	alone, beside []time.Duration // what scans took
}

// rows is how many rows each test has. Those that must try so many things whatever the time come first, by the names of
// their files: what they take longer than their share on a loaded machine is taken from the others, which try once what
// there is no time for. So the long form ends in time, and has tried all.
var rows = []struct {
	test string
	rows int
}{
	{"TestTampered", 8}, {"TestBackups", 5}, {"TestPowerFails", 2}, {"TestDamaged", 6}, {"TestServerDiskFull", 4},
	{"TestHostileClients", 7}, {"TestKilled", 20}, {"TestRewritten", 4}, {"TestServerKilled", 4},
}

// begun is when the long form began.
var begun = time.Now()

// until returns when a test has had its share of the time.
func until(test string, whole time.Duration) time.Time {
	sum, all := 0, 0
	for _, r := range rows {
		all += r.rows
	}
	for _, r := range rows {
		if sum += r.rows; r.test == test {
			break
		}
	}
	return begun.Add(whole * time.Duration(sum) / time.Duration(all))
}

// rowsOf returns how many rows a test has.
func rowsOf(test string) int {
	for _, r := range rows {
		if r.test == test {
			return r.rows
		}
	}
	return 0
}

// long reports whether this is the long form.
func long() bool { return os.Getenv("SOAK") != "" }

// table gathers the rows of one test.
type table struct {
	t    *testing.T
	rows []*soak
	// inMemory has the tries use folders in memory, where the system has such: of those in which nothing depends on what is on
	// a disk when, and which would wait for it most of their time.
	inMemory bool
}

// below returns the folder in which a row's tries have theirs.
func (tb *table) below(t *testing.T) string {
	if tb.inMemory {
		const memory = "/dev/shm"
		if dir, err := os.MkdirTemp(memory, "listbound-soak-"); err == nil {
			t.Cleanup(func() {
				if err := os.RemoveAll(dir); err != nil {
					t.Error(err)
				}
			})
			return dir
		}
	}
	return t.TempDir()
}

// run tries one thing as often as the short form asks for, or as the time allows.
// A try that leaves something lost or unnoticed is an error with the seed that
// repeats it.
func (tb *table) run(name string, short int, try func(*soak)) { tb.atLeast(name, short, short, try) }

// atLeast is run for what the long form must try so many times, whatever the time.
func (tb *table) atLeast(name string, short, most int, try func(*soak)) {
	seed := rand.Uint64()
	if s := os.Getenv("LISTBOUND_SEED"); s != "" {
		n, err := strconv.ParseUint(s, 10, 64)
		if err != nil {
			tb.t.Fatal(err)
		}
		seed = n
	}
	end := time.Now()
	if s := os.Getenv("SOAK"); s != "" {
		d, err := time.ParseDuration(s)
		if err != nil {
			tb.t.Fatalf("SOAK: %v", err)
		}
		left := max(1, rowsOf(tb.t.Name())-len(tb.rows))
		end, short = end.Add(time.Until(until(tb.t.Name(), d))/time.Duration(left)), most
	}
	if testing.Short() {
		short = max(1, short/4)
	}
	tb.t.Run(name, func(t *testing.T) {
		s := &soak{T: t, name: name, seed: seed, rnd: rand.New(rand.NewPCG(seed, 1)), below: tb.below(t)}
		tb.rows = append(tb.rows, s)
		for (s.tried < short || time.Now().Before(end)) && !t.Failed() {
			s.tried++
			s.try(try)
		}
		if t.Failed() {
			t.Logf("LISTBOUND_SEED=%d repeats it; it failed in try %d", seed, s.tried)
		}
	})
}

// try tries once, with folders that are gone afterwards: those of hundreds of tries together would fill a disk.
func (s *soak) try(do func(*soak)) {
	dir, err := os.MkdirTemp(s.below, "try")
	s.must(err)
	s.dir, s.dirs, s.ends = dir, 0, nil
	defer func() {
		for _, end := range s.ends {
			end()
		}
		s.must(os.RemoveAll(dir))
	}()
	do(s)
}

// after has something done at the end of this try.
func (s *soak) after(do func()) { s.ends = append(s.ends, do) }

// TempDir is a folder of this try alone.
func (s *soak) TempDir() string {
	s.Helper()
	s.dirs++
	dir := filepath.Join(s.dir, strconv.Itoa(s.dirs))
	s.must(os.Mkdir(dir, 0o700))
	return dir
}

// print shows the rows as a table.
func (tb *table) print() {
	some := strings.Contains(flag.Lookup("test.run").Value.String(), "/") // the person at it asks for some rows only
	if want := rowsOf(tb.t.Name()); len(tb.rows) != want && !some {
		tb.t.Errorf("%d rows; the time is shared among %d", len(tb.rows), want)
	}
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\nwhat\ttried\thit\tnoticed\tnoticed only beside what lies elsewhere\tharmless\tlost or unnoticed")
	for _, s := range tb.rows {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%d\n", s.name, s.tried, s.hit, s.noticed, s.outside, s.harmless, s.lost)
	}
	if slices.ContainsFunc(tb.rows, func(s *soak) bool { return len(s.beside) > 0 }) {
		fmt.Fprintln(w, "\na station's scans\tscans\tp50\tp99\talone: p50\tp99")
		for _, s := range tb.rows {
			fmt.Fprintf(w, "beside %s\t%d\t%s\t%s\t%s\t%s\n", s.name, len(s.beside),
				at(s.beside, 50), at(s.beside, 99), at(s.alone, 50), at(s.alone, 99))
		}
	}
	if err := w.Flush(); err != nil {
		tb.t.Error(err)
	}
	tb.t.Log(b.String())
}

// lose says that something was lost, or changed and noticed by nobody.
func (s *soak) lose(format string, args ...any) {
	s.Helper()
	s.lost++
	s.Errorf(format, args...)
}

func (s *soak) must(err error) {
	s.Helper()
	if err != nil {
		s.Fatal(err)
	}
}

// week returns the lines of the invented week, its first days.
func week(t *testing.T, n int) []string {
	t.Helper()
	w, err := scenario.Load()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for l, err := range w.Lines() {
		if err != nil {
			t.Fatal(err)
		}
		if out = append(out, string(l.Raw)); len(out) == n {
			break
		}
	}
	return out
}

// asOf is as of when the folders here are judged, so that nothing becomes late
// between two questions.
const asOf = "2026-03-09T12:00:00Z"

// newFolder returns an empty folder.
func newFolder(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "d")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "as-of"), []byte(asOf+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// filled returns a folder in which lines were recorded, by a process that ended.
func filled(t *testing.T, lines []string) string {
	t.Helper()
	dir := newFolder(t)
	c := listbound("record", "--data", dir, "-")
	c.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	c.Stderr = os.Stderr
	if err := c.Run(); err != nil {
		t.Fatal(err)
	}
	return dir
}

// copyFolder copies a folder, with the rights its files have.
func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	err := filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		if d.IsDir() {
			return os.MkdirAll(filepath.Join(to, rel), 0o700)
		}
		raw, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, rel), raw, 0o600)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// ask runs a command that must succeed and returns its output.
func (s *soak) ask(args ...string) string {
	s.Helper()
	var said strings.Builder
	c := listbound(args...)
	c.Stderr = &said
	out, err := c.Output()
	if err != nil {
		s.lose("%s: %v\n%s%s", strings.Join(args, " "), err, out, said.String())
	}
	return string(out)
}

// how a process is ended, or held up.
type end struct {
	name   string
	goesOn bool // it is not ended at all
	do     func(*soak, *os.Process) error
}

var ends = []end{
	{"kill -9", false, func(_ *soak, p *os.Process) error { return p.Kill() }},
	{"SIGTERM", false, func(_ *soak, p *os.Process) error { return p.Signal(syscall.SIGTERM) }},
	{"stop, continue, kill -9", false, func(s *soak, p *os.Process) error {
		return errors.Join(s.stopAndContinue(p), p.Kill())
	}},
	{"stop and continue", true, (*soak).stopAndContinue},
}

// stopAndContinue stops a process for up to half a second.
func (s *soak) stopAndContinue(p *os.Process) error {
	if err := p.Signal(syscall.SIGSTOP); err != nil {
		return err
	}
	done := make(chan error, 1)
	time.AfterFunc(time.Duration(s.rnd.IntN(500))*time.Millisecond, func() { done <- p.Signal(syscall.SIGCONT) })
	return <-done
}

// later ends a process in a moment, or holds it up. What it returns waits for the process, and says whether it was at work.
func (s *soak) later(c *exec.Cmd, e end, within time.Duration) (wait func() bool) {
	done := make(chan error, 1)
	time.AfterFunc(time.Duration(s.rnd.Int64N(int64(within))), func() { done <- e.do(s, c.Process) })
	return func() bool {
		ended := c.Wait()
		missed := <-done // it may have ended before
		switch {
		case !e.goesOn:
			return ended != nil
		case ended != nil:
			s.lose("it was stopped and continued, and ended with %v", ended)
		}
		return missed == nil
	}
}

type receipt struct {
	Seq   int64  `json:"seq"`
	ID    string `json:"id"`
	Known bool   `json:"known"`
	Error string `json:"error"`
}

// keep notes a receipt; one that was given before must say the same.
func (s *soak) keep(had map[string]int64, line []byte) receipt {
	s.Helper()
	var r receipt
	s.must(json.Unmarshal(line, &r))
	switch was, ok := had[r.ID]; {
	case r.Error != "":
		s.lose("a line was refused: %s", r.Error)
	case ok && was != r.Seq:
		s.lose("event %s was acknowledged as record %d and is now record %d", r.ID, was, r.Seq)
	}
	had[r.ID] = r.Seq
	return r
}

func (s *soak) verify(dir string) {
	s.Helper()
	if out := s.ask("verify", "--data", dir); !strings.Contains(out, "intact:") {
		s.lose("verify: %s", out)
	}
}

// server is listbound serve as a process.
type server struct {
	cmd *exec.Cmd
	url string
	out *bufio.Scanner
}

var address = regexp.MustCompile(`http://[0-9.:]+`)

func (s *soak) serve(dir string) *server {
	s.Helper()
	v := &server{cmd: listbound("serve", "--data", dir, "--site", "north", "--address", "127.0.0.1:0")}
	if v = s.started(v); v == nil {
		s.Fatal("the server did not say where it serves")
	}
	return v
}

// started starts a server, and returns nil where it ended before it served.
func (s *soak) started(v *server) *server {
	s.Helper()
	out, err := v.cmd.StdoutPipe()
	v.cmd.Stderr = os.Stderr
	s.must(err)
	if err := v.cmd.Start(); err != nil {
		return nil
	}
	s.Cleanup(func() { _ = v.cmd.Process.Kill() }) // it may have ended
	v.out = bufio.NewScanner(out)
	for v.url == "" && v.out.Scan() {
		v.url = address.FindString(v.out.Text())
	}
	if v.url == "" {
		v.wait()
		return nil
	}
	return v
}

// enrol lets a station record.
func (s *soak) enrol(v *server, station string) {
	s.Helper()
	resp, err := http.Post(v.url+"/api/stations/enrol?station="+station, "", nil)
	s.must(err)
	s.must(resp.Body.Close())
	if resp.StatusCode != http.StatusOK {
		s.Fatalf("enrolling %s: %s", station, resp.Status)
	}
}

// wait waits for the process to end.
func (v *server) wait() {
	for v.out.Scan() {
	}
	_ = v.cmd.Wait() // how it ended is the test's doing
}

// scan is one observation of a client's.
func scan(client, n int) string {
	return fmt.Sprintf(`{"station":"north/s-%d","kind":"set.checked","time":"2026-03-02T%02d:%02d:%02dZ","set":"LAP-%03d",`+
		`"data":{"place":"A%d"}}`, client, 6+n/3600, n/60%60, n%60, n%100, n)
}

// post records lines and returns the receipts that came.
func post(url string, lines ...string) ([]receipt, error) {
	resp, err := http.Post(url+"/api/observations", "application/jsonl", strings.NewReader(strings.Join(lines, "\n")+"\n"))
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	var out []receipt
	for line := range bytes.Lines(raw) {
		var r receipt
		if json.Unmarshal(line, &r) == nil && r.Seq > 0 {
			out = append(out, r)
		}
	}
	return out, err
}

func at(took []time.Duration, percent int) time.Duration {
	slices.Sort(took)
	return took[(len(took)-1)*percent/100].Round(100 * time.Microsecond)
}

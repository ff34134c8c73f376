package ledger_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// steps are all durable steps of a running ledger.
var steps = []string{"publish", "sync stream", "write files", "sync files", "rename files", "sync folders",
	"write checkpoint", "rename checkpoint"}

var errFault = errors.New("the disk said no")

// failingStep is a ledger one of whose durable steps is about to fail.
type failingStep struct {
	step   string
	done   bool // it fails although it was done
	killed bool // the ledger is then killed and started again; else it goes on
	opts   ledger.Options
	armed  bool
	met    int // how often the step was met
}

func newFailingStep(t *testing.T, step string, done, killed bool) *failingStep {
	f := &failingStep{step: step, done: done, killed: killed, opts: ledgertest.Options(t)}
	f.opts.CheckpointEvery = time.Hour
	fail := func(s string) error {
		if f.armed && s == step {
			f.armed = false
			f.met++
			return errFault
		}
		return nil
	}
	if done {
		f.opts.SetFaults(ledger.NewFaults(nil, fail))
	} else {
		f.opts.SetFaults(ledger.NewFaults(fail, nil))
	}
	return f
}

// Every durable step fails once. Whatever the ledger then says must be true, and it must recover by going on.
// TestEveryDurableStepFailsDone has it fail although it was done, and TestEveryDurableStepKills the ledger killed and started
// again.
func TestEveryDurableStepFails(t *testing.T) { everyDurableStep(t, false, false) }

func everyDurableStep(t *testing.T, done, killed bool) {
	for i, step := range steps {
		if testing.Short() && done != killed && i%4 != 0 {
			continue
		}
		t.Run(fmt.Sprintf("%s, done %t, killed %t", step, done, killed), func(t *testing.T) {
			t.Parallel()
			f := newFailingStep(t, step, done, killed)
			l := ledgertest.Open(t, f.opts)
			prev := fill(t, l, "north/or-3", 0, 250, 0)
			before, err := l.Checkpoint(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			f.armed = true
			if step == "sync stream" {
				f.syncFails(t, l, prev, before)
			} else {
				f.goesOn(t, l, prev, before)
			}
		})
	}
}

// syncFails: the records are in the stream, and nobody knows whether they are on disk. Nothing is built upon that
// before the next start.
func (f *failingStep) syncFails(t *testing.T, l *ledgertest.Ledger, prev int64, before []byte) {
	ctx := context.Background()
	_, err := l.Append(ctx, entry(t, "north/or-3", "a", prev), entry(t, "north/or-3", "b", prev))
	if !errors.Is(err, ledger.ErrUnknownOutcome) || l.Size() != prev {
		t.Fatalf("a sync that failed: %v, %d records", err, l.Size())
	}
	_, err = l.Append(ctx, entry(t, "north/or-4", "c", 0))
	if !errors.Is(err, errFault) || errors.Is(err, ledger.ErrUnknownOutcome) || !errors.Is(err, ledger.ErrStopped) {
		t.Fatalf("append after a sync that failed: %v", err)
	}
	if f.killed {
		l.Kill()
	} else if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	f.opts.SetFaults(nil)
	l = ledgertest.Open(t, f.opts)
	if f.met != 1 || l.Size() != prev+2 {
		t.Errorf("the step was met %d times; %d records after the next start", f.met, l.Size())
	}
	checkConsistent(t, l, [][]byte{before, l.SignedNote()})
	fill(t, l, "north/or-4", 0, 300, 0)
}

// goesOn: any other step that failed can be done again.
func (f *failingStep) goesOn(t *testing.T, l *ledgertest.Ledger, prev int64, before []byte) {
	ctx := context.Background()
	out, err := l.Append(ctx, entry(t, "north/or-3", "a", prev), entry(t, "north/or-3", "b", prev))
	if f.step == "publish" && !f.done {
		if err == nil || errors.Is(err, ledger.ErrUnknownOutcome) || l.Size() != prev {
			t.Fatalf("a publish that failed: %v, %d records", err, l.Size())
		}
		// Nothing was stored, so the same expectation still holds.
		out, err = l.Append(ctx, entry(t, "north/or-3", "a", prev), entry(t, "north/or-3", "b", prev))
	}
	if err != nil || len(out) != 2 || out[1].Seq != prev+2 {
		t.Fatalf("append: %v, %v", out, err)
	}
	prev = fill(t, l, "north/or-4", 0, 20, 0)
	_, err = l.Checkpoint(ctx)
	if f.step != "publish" && (!errors.Is(err, errFault) || l.Signed().Size != 250) {
		t.Errorf("checkpoint: %v, %d records signed", err, l.Signed().Size)
	}
	if f.met != 1 {
		t.Fatalf("the step was met %d times", f.met)
	}
	if f.killed {
		l.Kill()
		f.opts.SetFaults(nil)
		l = ledgertest.Open(t, f.opts)
	}
	if l.Size() != prev {
		t.Errorf("%d records, want %d", l.Size(), prev)
	}
	mustCheck(t, l)
	checkConsistent(t, l, [][]byte{before, l.SignedNote()})
	// The next ones land right behind.
	fill(t, l, "north/or-4", prev, 300, 0)
	if err := l.Close(); err != nil { // verified
		t.Fatal(err)
	}
	left, err := filepath.Glob(filepath.Join(f.opts.Dir, "log", "tile", "entries", "000.p"))
	if err != nil || len(left) > 0 {
		t.Errorf("partial bundles beside the full one: %v, %v", left, err)
	}
}

// failAt makes faults that fail a step whenever armed says so.
func failAt(step string, armed *bool) *ledger.Faults {
	return ledger.NewFaults(func(s string) error {
		if *armed && s == step {
			return errFault
		}
		return nil
	}, nil)
}

// The first checkpoint of a new ledger.
func TestStartFails(t *testing.T) {
	for _, step := range []string{"sync whole stream", "write checkpoint", "rename checkpoint"} {
		for _, done := range []bool{false, true} {
			f := newFailingStep(t, step, done, false)
			f.armed = true
			if _, err := ledger.Open(context.Background(), f.opts); !errors.Is(err, errFault) {
				t.Fatalf("%s, done %t: Open gave %v", step, done, err)
			}
			f.opts.SetFaults(nil)
			fill(t, ledgertest.Open(t, f.opts), "north/or-3", 0, 3, 0)
		}
	}
}

// After an unclean stop nothing is signed before the stream is on disk; after a clean one it is.
func TestUncleanStopIsSynced(t *testing.T) {
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 3, 0)
	l.Kill()
	signed := l.Signed().Size
	refuse := true
	opts.SetFaults(failAt("sync whole stream", &refuse))
	if _, err := ledger.Open(context.Background(), opts); !errors.Is(err, errFault) || signed != 0 {
		t.Errorf("Open without a sync after an unclean stop: %v, %d records were signed before", err, signed)
	}
	refuse = false
	if err := ledgertest.Open(t, opts).Close(); err != nil {
		t.Fatal(err)
	}
	refuse = true
	ledgertest.Open(t, opts)
}

// The last marks of a closing ledger.
func TestStopFails(t *testing.T) {
	for _, step := range []string{"write clean marker", "rename clean marker"} {
		opts := ledgertest.Options(t)
		refuse := true
		opts.SetFaults(failAt(step, &refuse))
		l := ledgertest.Open(t, opts)
		fill(t, l, "north/or-3", 0, 3, 0)
		if err := l.Close(); !errors.Is(err, errFault) {
			t.Errorf("%s: Close gave %v", step, err)
		}
		opts.SetFaults(nil)
		if l = ledgertest.Open(t, opts); l.Size() != 3 {
			t.Errorf("%s: %d records, want 3", step, l.Size())
		}
	}
}

// A server that cannot start is an error that says where and why.
func TestServerCannotStart(t *testing.T) {
	opts := ledgertest.Options(t)
	if err := os.WriteFile(filepath.Join(opts.Dir, "stream"), []byte("no folder"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := ledger.Open(context.Background(), opts)
	want := "the embedded server did not start on " + filepath.Join(opts.Dir, "stream")
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("Open gave %v", err)
	}
	if err := os.Remove(filepath.Join(opts.Dir, "stream")); err != nil {
		t.Fatal(err)
	}
	fill(t, ledgertest.Open(t, opts), "north/or-3", 0, 3, 0)
}

// When the answer is lost and reading back fails as well, the ledger says so, takes nothing more, and never takes a
// record twice.
func TestUnknownOutcome(t *testing.T) {
	ctx := context.Background()
	opts := ledgertest.Options(t)
	var l *ledgertest.Ledger
	lose := false
	opts.SetFaults(ledger.NewFaults(nil, func(step string) error {
		if lose && step == "publish" {
			// The server goes away right after it stored the record and before it could say so.
			l.Conn().Close()
			return errFault
		}
		return nil
	}))
	l = ledgertest.Open(t, opts)
	prev := fill(t, l, "north/or-3", 0, 3, 0)
	lose = true
	e := entry(t, "north/or-3", "x", prev)
	if _, err := l.Append(ctx, e); !errors.Is(err, ledger.ErrUnknownOutcome) || !errors.Is(err, errFault) {
		t.Errorf("append whose answer was lost: %v", err)
	}
	lose = false
	if _, err := l.Append(ctx, entry(t, "north/or-4", "y", 0)); err == nil || errors.Is(err, ledger.ErrUnknownOutcome) {
		t.Errorf("append after an unknown outcome: %v", err)
	}
	if err := l.CloseUnverified(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(opts.Dir, "stream.clean")); err == nil {
		t.Error("a stop with an unknown outcome was marked as clean")
	}
	opts.SetFaults(nil)
	l = ledgertest.Open(t, opts)
	// It was stored, as the caller finds by asking.
	seq, record, err := l.Last(ctx, "north/or-3")
	if err != nil || seq != prev+1 || !strings.HasPrefix(string(record), string(e.Note)) {
		t.Errorf("last record is %d, %q, %v", seq, record, err)
	}
}

// A file that a signed checkpoint needs is left alone.
func TestSignedFilesAreNotTouched(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	atStep := func(string) {}
	opts.SetFaults(ledger.NewFaults(func(step string) error { atStep(step); return nil }, nil))
	l := ledgertest.Open(t, opts)
	old := time.Date(2001, 2, 3, 4, 5, 6, 0, time.UTC)
	needed := 0
	for range 12 {
		fill(t, l, "north/or-3", l.Size(), 60, 0)
		if _, err := l.Checkpoint(ctx); err != nil {
			t.Fatal(err)
		}
		size := l.Size()
		var names []string
		for _, level := range proof.Layout(size) {
			if level.Partial > 0 {
				names = append(names, proof.TilePath(level.Level, level.Full, level.Partial))
			}
			for index := range level.Full {
				names = append(names, proof.TilePath(level.Level, index, proof.TileWidth))
			}
		}
		names = append(names, proof.EntriesPath(size/proof.TileWidth, int(size%proof.TileWidth)))
		for _, name := range names {
			if err := os.Chtimes(filepath.Join(opts.Dir, "log", name), old, old); err != nil {
				t.Fatal(err)
			}
		}
		// Until the next checkpoint stands, these are all there is.
		atStep = func(step string) {
			if step != "write checkpoint" {
				return
			}
			for _, name := range names {
				info, err := os.Stat(filepath.Join(opts.Dir, "log", name))
				if err != nil || !info.ModTime().Equal(old) {
					t.Errorf("%s, needed by the checkpoint of %d records, was written again: %v", name, size, err)
				}
				needed++
			}
		}
	}
	atStep = func(string) {}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if needed < 20 {
		t.Errorf("only %d files were looked at", needed)
	}
}

// A checkpoint that failed after it was on disk is not known to the builder, which then writes the same tiles again.
// They must not be seen torn meanwhile.
func TestTilesAreReplacedWhole(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	opts := ledgertest.Options(t)
	opts.CheckpointEvery = time.Hour
	fail := false
	looked := 0
	check := func(step string) error {
		onDisk, err := os.ReadFile(filepath.Join(opts.Dir, "log", "checkpoint"))
		if err != nil {
			return nil // there is none yet
		}
		c, err := proof.OpenCheckpoint(onDisk, opts.Origin, opts.Verifier)
		if err != nil {
			t.Errorf("%s: %v", step, err)
		}
		for _, level := range proof.Layout(c.Size) {
			if level.Partial == 0 {
				continue
			}
			data, err := os.ReadFile(filepath.Join(opts.Dir, "log",
				proof.TilePath(level.Level, level.Full, level.Partial)))
			if err == nil {
				_, err = proof.DecodeTile(data, level.Partial)
			}
			if err != nil {
				t.Errorf("%s: the checkpoint of %d records needs a tile that is torn: %v", step, c.Size, err)
			}
			looked++
		}
		return nil
	}
	opts.SetFaults(ledger.NewFaults(check, func(step string) error {
		if fail && step == "rename checkpoint" {
			fail = false
			return errFault
		}
		return check(step)
	}))
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 300, 0)
	fail = true
	if _, err := l.Checkpoint(ctx); !errors.Is(err, errFault) {
		t.Fatalf("checkpoint: %v", err)
	}
	names := []string{"tile/0/001.p/44", "tile/1/000.p/1", "tile/entries/001.p/44"}
	var before []os.FileInfo
	for _, name := range names {
		info, err := os.Stat(filepath.Join(opts.Dir, "log", name))
		if err != nil {
			t.Fatal(err)
		}
		before = append(before, info)
	}
	if _, err := l.Checkpoint(ctx); err != nil {
		t.Fatal(err)
	}
	for i, name := range names {
		info, err := os.Stat(filepath.Join(opts.Dir, "log", name))
		if err != nil {
			t.Fatal(err)
		}
		if os.SameFile(before[i], info) {
			t.Errorf("%s was written in place", name)
		}
	}
	if looked < 10 {
		t.Errorf("only %d tiles were looked at", looked)
	}
}

// A ledger never signs two checkpoints that contradict each other, whatever happens between them.
// TestNeverEquivocatesOften plays more such histories.
func TestNeverEquivocates(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) { neverEquivocates(t, rt) })
}

// anyHistory is a ledger to which anything happens.
type anyHistory struct {
	t     *testing.T
	opts  ledger.Options
	l     *ledgertest.Ledger
	prev  map[string]int64 // the last record of each station
	notes [][]byte         // all that was signed

	mu      sync.Mutex
	failing string // the durable step that fails next
}

func neverEquivocates(t *testing.T, rt *rapid.T) {
	dir, err := os.MkdirTemp("", "equivocation-")
	if err != nil {
		rt.Fatal(err)
	}
	defer os.RemoveAll(dir)
	h := &anyHistory{t: t, opts: ledgertest.Options(t), prev: map[string]int64{}}
	h.opts.Dir, h.opts.CheckpointEvery = dir, time.Millisecond
	h.opts.SetFaults(ledger.NewFaults(h.fails, nil))
	h.open(rt)
	defer func() { h.l.Close() }() //nolint:errcheck // the last state was checked
	rt.Repeat(map[string]func(*rapid.T){
		"append":     h.append,
		"checkpoint": h.checkpoint,
		"restart": func(rt *rapid.T) {
			if err := h.l.Close(); err != nil {
				rt.Fatal(err)
			}
			h.notes = append(h.notes, h.l.SignedNote())
			h.open(rt)
		},
		"kill": func(rt *rapid.T) {
			h.l.Kill()
			h.open(rt)
		},
		"": h.check,
	})
	mustCheck(t, h.l)
	checkConsistent(t, h.l, append(h.notes, h.l.SignedNote()))
}

func (h *anyHistory) arm(step string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.failing = step
}

func (h *anyHistory) fails(step string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if step == h.failing {
		h.failing = ""
		return errFault
	}
	return nil
}

func (h *anyHistory) open(rt *rapid.T) {
	h.l = ledgertest.Open(h.t, h.opts)
	if d := h.l.Damage(); len(d) > 0 {
		rt.Fatalf("damaged: %v", d)
	}
	h.notes = append(h.notes, h.l.SignedNote())
}

func (h *anyHistory) append(rt *rapid.T) {
	station := fmt.Sprintf("north/or-%d", rapid.IntRange(0, 3).Draw(rt, "station"))
	one := entry(h.t, station, "x", h.prev[station])
	// A ledger of a few bundles is as good as a long one, which each restart would read whole: of histories as long as some of
	// these are, one alone took half a minute.
	most := 300
	if h.l.Size() > 600 {
		most = 5
	}
	batch := slices.Repeat([]ledger.Entry{one}, rapid.IntRange(1, most).Draw(rt, "records"))
	out, err := h.l.Append(context.Background(), batch...)
	if err != nil {
		rt.Fatal(err)
	}
	h.prev[station] = out[len(out)-1].Seq
}

func (h *anyHistory) checkpoint(rt *rapid.T) {
	h.arm(rapid.SampledFrom(append([]string{""}, steps[2:]...)).Draw(rt, "failing"))
	if note, err := h.l.Checkpoint(context.Background()); err == nil {
		h.notes = append(h.notes, note)
	} else if !errors.Is(err, errFault) {
		rt.Fatal(err)
	}
	h.arm("")
}

// check holds the checkpoint on disk against what is stored.
func (h *anyHistory) check(rt *rapid.T) {
	onDisk, err := os.ReadFile(filepath.Join(h.opts.Dir, "log", "checkpoint"))
	if err != nil {
		rt.Fatal(err)
	}
	c, err := proof.OpenCheckpoint(onDisk, h.opts.Origin, h.opts.Verifier)
	if err != nil {
		rt.Fatal(err)
	}
	if c.Size > h.l.Size() {
		rt.Fatalf("the checkpoint covers %d records of %d", c.Size, h.l.Size())
	}
}

// Nothing is left running. The server keeps one goroutine of its own that ends some time after shutdown.
func TestNothingKeepsRunning(t *testing.T) {
	before := goleak.IgnoreCurrent()
	opts := ledgertest.Options(t)
	for range 2 {
		l := ledgertest.Open(t, opts)
		_, record, err := l.Last(context.Background(), "north/or-3")
		if err != nil {
			t.Fatal(err)
		}
		prev := int64(0)
		if record != nil {
			prev = l.Size()
		}
		fill(t, l, "north/or-3", prev, 300, 0)
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
	goleak.VerifyNone(t, before)
}

package ledger_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

const (
	childDir  = "LEDGER_TEST_CHILD_DIR"
	childMode = "LEDGER_TEST_CHILD_MODE"
)

// childWork is what the other process does in a mode that is no matter of appending.
var childWork = map[string]func(dir, mode string) error{}

// runChild is the other process of the tests that need one: it appends until it is killed and says on standard output
// what it was told is stored.
func runChild() (code int, child bool) {
	dir := os.Getenv(childDir)
	if dir == "" {
		return 0, false
	}
	work := childWork[os.Getenv(childMode)]
	if work == nil {
		work = appendForever
	}
	if err := work(dir, os.Getenv(childMode)); err != nil {
		fmt.Println("error", err)
		return 1, true
	}
	return 0, true
}

func appendForever(dir, mode string) error {
	signer, verifier := childKey(ledgertest.Origin)
	l, err := ledger.Open(context.Background(), ledger.Options{
		Dir: dir, Origin: ledgertest.Origin, Signer: signer, Verifier: verifier,
		Clock: time.Now, Command: "child", CheckpointEvery: 3 * time.Millisecond,
	})
	if err != nil {
		return err
	}
	if problems := l.Damage(); len(problems) > 0 {
		return fmt.Errorf("damaged: %v", problems)
	}
	writers, size := 6, 600
	if mode == "long" {
		size = 50_000
	}
	if mode == "disk-full" {
		// One at a time, so that what was stored is plain to see.
		writers = 1
		if err := limitFileSize(1<<20 - 1); err != nil {
			return err
		}
	}
	var mu sync.Mutex
	var wg sync.WaitGroup
	var failed error
	for w := range writers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			station := fmt.Sprintf("north/station-%d", w)
			key, _ := childKey(station)
			prev, _, err := l.Last(context.Background(), station)
			for i := 0; err == nil; i++ {
				var msg []byte
				msg, err = proof.SignNote(fmt.Sprintf("%s %d %s\n", station, i, strings.Repeat("x", size)), key)
				if err != nil {
					break
				}
				var out []ledger.Appended
				out, err = l.Append(context.Background(),
					ledger.Entry{Station: station, Kind: "set.opened", Note: msg, ExpectPrev: prev})
				if err != nil {
					break
				}
				prev = out[0].Seq
				mu.Lock()
				fmt.Println("stored", prev, station, i, len(out[0].Record))
				mu.Unlock()
			}
			mu.Lock()
			for why := err; why != nil; why = errors.Unwrap(why) {
				fmt.Println("because", why)
			}
			failed = errors.Join(failed, err)
			mu.Unlock()
		}()
	}
	wg.Wait()
	fmt.Println("stopped", l.Size(), l.Signed().Size)
	fmt.Println("writable", l.Writable())
	return failed
}

func childKey(name string) (note.Signer, note.Verifier) { return ledgertest.Key(noTB{}, name) }

// noTB stands in for a test where there is none.
type noTB struct{ testing.TB }

func (noTB) Helper()           {}
func (noTB) Fatal(args ...any) { fmt.Println(append([]any{"error"}, args...)...); os.Exit(1) }

// startChild runs this test program as the child and returns its output line by line.
func startChild(t *testing.T, dir, mode string) (*exec.Cmd, <-chan string) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), childDir+"="+dir, childMode+"="+mode)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := make(chan string, 1<<16)
	go func() {
		defer close(lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			lines <- s.Text()
		}
	}()
	return cmd, lines
}

// kill -9 at any moment: what was acknowledged is there, in its place, and the history before and after agree.
func TestKill(t *testing.T) {
	tries := 5
	if testing.Short() {
		tries = 2
	}
	killed(t, "", tries, 150)
}

// The same with notes of which few fill a block, so that the server packs one after the other. TestKillWhilePackingOften
// goes on.
func TestKillWhilePacking(t *testing.T) { killedWhilePacking(t, 1, 250) }

func killedWhilePacking(t *testing.T, tries, first int) {
	opts := killed(t, "long", tries, first)
	if !firstIsPacked(t, opts.Dir) {
		t.Error("no block was packed")
	}
}

func firstIsPacked(t *testing.T, dir string) bool {
	t.Helper()
	packed, err := ledger.IsPackedFile(blockPath(dir, 1))
	if err != nil {
		t.Fatal(err)
	}
	return packed
}

// killed kills the child in each try a little later than in the one before: first after so many records. Where no block of long
// notes was packed by then, as on a machine that is busy elsewhere, it goes on for a few tries.
func killed(t *testing.T, mode string, tries, first int) ledger.Options {
	opts := ledgertest.Options(t)
	opts.Clock = time.Now
	acked := map[int64]string{} // what each sequence was said to hold
	var checkpoints [][]byte
	for try := 0; try < tries || mode == "long" && try < tries+3 && !firstIsPacked(t, opts.Dir); try++ {
		cmd, lines := startChild(t, opts.Dir, mode)
		enough := first + 97*try
		n := 0
		for line := range lines {
			f := strings.Fields(line)
			if f[0] != "stored" {
				t.Fatalf("the child says: %s", line)
			}
			seq, err := strconv.ParseInt(f[1], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			if was, twice := acked[seq]; twice {
				t.Fatalf("record %d was given to %s and to %s", seq, was, f[2])
			}
			acked[seq] = f[2] + " " + f[3]
			if n++; n == enough {
				if err := cmd.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := cmd.Wait(); err == nil {
			t.Fatal("the child ended by itself")
		}
		l := ledgertest.Open(t, opts)
		if d := l.Damage(); len(d) > 0 {
			t.Fatalf("try %d: damaged after kill: %v", try, d)
		}
		if l.Size() < int64(len(acked)) {
			t.Fatalf("try %d: %d records, %d were acknowledged", try, l.Size(), len(acked))
		}
		mustHold(t, l, acked)
		checkpoints = append(checkpoints, l.SignedNote())
		now, err := l.Checkpoint(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		checkpoints = append(checkpoints, now)
		checkConsistent(t, l, checkpoints)
		if err := l.Close(); err != nil { // verified
			t.Fatal(err)
		}
	}
	if len(acked) < tries*first {
		t.Errorf("only %d records were acknowledged", len(acked))
	}
	return opts
}

// mustHold reads all records one after the other: reading each alone takes its bundle apart anew, and 256 notes of 50 kB
// make a large one.
func mustHold(t *testing.T, l *ledgertest.Ledger, acked map[int64]string) {
	t.Helper()
	met := 0
	err := l.Scan(t.Context(), 1, func(seq int64, record []byte) error {
		if want, told := acked[seq]; told {
			met++
			if !strings.HasPrefix(string(record), want+" ") {
				return fmt.Errorf("record %d is %.40q, want %s", seq, record, want)
			}
		}
		return nil
	})
	if err != nil || met != len(acked) {
		t.Fatalf("%d of %d acknowledged records are there: %v", met, len(acked), err)
	}
}

// A second process is told who has the folder, and gets it once the first is gone, however it went.
func TestOwned(t *testing.T) {
	ctx := context.Background()
	opts := ledgertest.Options(t)
	cmd, lines := startChild(t, opts.Dir, "")
	<-lines
	_, err := ledger.Open(ctx, opts)
	var owned *ledger.OwnedError
	if !errors.As(err, &owned) {
		t.Fatalf("opened twice: %v", err)
	}
	if owned.Dir != opts.Dir || owned.Owner.PID != cmd.Process.Pid || owned.Owner.Command != "child" ||
		owned.Owner.Since.IsZero() {
		t.Errorf("owner: %+v", owned)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	cmd.Wait() //nolint:errcheck // it was killed
	l := ledgertest.Open(t, opts)
	if err := l.SetURL("http://127.0.0.1:8080"); err != nil {
		t.Fatal(err)
	}
	_, err = ledger.Open(ctx, opts)
	if !errors.As(err, &owned) || owned.Owner.URL != "http://127.0.0.1:8080" {
		t.Fatalf("opened twice: %v", err)
	}
	for _, part := range []string{"ledgertest", strconv.Itoa(os.Getpid()),
		"--server http://127.0.0.1:8080", "2026-03-02"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("the message lacks %q: %v", part, err)
		}
	}
}

// fillDisk lets a child append until its disk is full. It returns the last record that was acknowledged and the error
// that the next one met, with its causes, and what Writable said after it.
func fillDisk(t *testing.T, opts ledger.Options) (last int64, reason, writable string) {
	t.Helper()
	cmd, lines := startChild(t, opts.Dir, "disk-full")
	for line := range lines {
		f := strings.Fields(line)
		switch f[0] {
		case "stored":
			seq, err := strconv.ParseInt(f[1], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			last = seq
		case "because":
			reason += line + "\n"
		case "writable":
			writable = line
		}
	}
	if err := cmd.Wait(); err == nil {
		t.Error("the child was not stopped by its full disk")
	}
	return last, reason, writable
}

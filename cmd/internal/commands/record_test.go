package commands

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestRecordCanBeInterrupted ends `record -` while it waits for a keyboard: what came by then has its receipt at the
// next try, and nothing waits for a line that nobody types.
func TestRecordCanBeInterrupted(t *testing.T) {
	const line = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T05:00:00Z","set":"LAP-001","data":{}}` + "\n"
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	keyboard, typed := io.Pipe()
	defer typed.Close()
	ctx, interrupt := context.WithCancel(t.Context())
	defer interrupt()
	var out, errs bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		env := Env{Clock: func() time.Time { return at }, In: keyboard, Out: &out, Err: &errs}
		ended <- Run(ctx, env, []string{"record", "--data", dir, "--site", "north", "-"})
	}()
	// The pipe takes what is typed only when it is read.
	if _, err := typed.Write([]byte(line)); err != nil {
		t.Fatal(err)
	}
	interrupt()
	if code := <-ended; code == ExitOK {
		t.Errorf("an interrupted command ended well: %s", out.String())
	}
	if !strings.Contains(errs.String(), "interrupted") || strings.Contains(errs.String(), "context canceled") {
		t.Errorf("it says: %s", errs.String())
	}
	code, again, _ := run(t, "record", "--data", dir, "--site", "north", "../../../testdata/observations/one-trip.jsonl")
	if code != ExitOK || !strings.Contains(again, `"seq"`) {
		t.Errorf("afterwards: %d %s", code, again)
	}
}

// TestRecordNamesTheFirstStations: of the stations that a file brings the first are named and the others counted.
func TestRecordNamesTheFirstStations(t *testing.T) {
	for n, want := range map[int]string{
		5: "", 6: "one more station was met for the first time and enrolled; listbound stations shows all",
		40: "35 more stations were met for the first time and enrolled; listbound stations shows all",
	} {
		var lines strings.Builder
		for i := range n {
			fmt.Fprintf(&lines, `{"station":"north/storage-%d","kind":"set.checked","time":"2026-03-02T05:00:00Z","set":"LAP-001",`+
				`"data":{}}`+"\n", i)
		}
		file := filepath.Join(t.TempDir(), "stations.jsonl")
		if err := os.WriteFile(file, []byte(lines.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		code, _, errs := run(t, "record", "--data", t.TempDir(), "--site", "north", file)
		named := strings.Count(errs, " was met for the first time and enrolled\n")
		if code != ExitOK || named != 5 || strings.Contains(errs, " more station") != (want != "") || !strings.Contains(errs, want) {
			t.Errorf("%d stations: %d, %d of them named: %s", n, code, named, errs)
		}
	}
}

// run runs a command line at a fixed time.
func run(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = Run(t.Context(), Env{Clock: func() time.Time { return time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC) },
		In: strings.NewReader(""), Out: &o, Err: &e}, args)
	return code, o.String(), e.String()
}

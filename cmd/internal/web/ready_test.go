//go:build unix

package web

import (
	"database/sql"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/ledger"
)

// openedAgain is an observation that failing's week does not hold.
const openedAgain = `{"station":"north/or-3","kind":"set.opened","time":"2026-03-02T08:1%d:00Z","set":"LAP-001",` +
	`"operator":"B-1",` +
	`"data":{"case":"K-2"}}`

// recordMore records one more observation and returns what became of it.
func (f *failing) recordMore(t *testing.T, n int) (receipt site.Receipt, err error) {
	t.Helper()
	lines := strings.NewReader(fmt.Sprintf(openedAgain, n))
	err = f.site.Record(t.Context(), lines, func(r site.Receipt) error {
		receipt = r
		return nil
	})
	return receipt, err
}

// mustBeReady asks whether the server is ready.
func (f *failing) mustBeReady(t *testing.T) {
	t.Helper()
	w := httptest.NewRecorder()
	f.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/readyz", nil))
	if w.Code != http.StatusOK || w.Body.String() != "ready\n" {
		t.Errorf("not ready: %d %s", w.Code, w.Body)
	}
}

// fillDisk makes the disk full for the ledger's block while do runs. The block
// is made long first: all other files that are written meanwhile are shorter.
func (f *failing) fillDisk(t *testing.T, do func()) {
	t.Helper()
	for version := 2; version < 20; version++ {
		lists := strings.NewReader(fmt.Sprintf(`{"station":"north/or-3","kind":"list.issued",`+
			`"time":"2026-03-02T05:00:00Z",`+
			`"data":{"list":"LAP","version":%d,"title":"Laparotomy","lines":[`, version) + manyLines + "]}}\n")
		err := f.site.Record(t.Context(), lists, func(r site.Receipt) error {
			if r.Error != "" {
				t.Fatal(r.Error)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	blocks, err := filepath.Glob(filepath.Join(f.dir, "stream", "jetstream", "$G",
		"streams", "CUSTODY", "msgs", "*.blk"))
	if err != nil || len(blocks) != 1 {
		t.Fatalf("blocks %q: %v", blocks, err)
	}
	info, err := os.Stat(blocks[0])
	if err != nil || info.Size() < 300_000 {
		t.Fatalf("%+v, %v", info, err)
	}
	var usual syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
		t.Fatal(err)
	}
	signal.Ignore(syscall.SIGXFSZ)
	defer signal.Reset(syscall.SIGXFSZ)
	full := syscall.Rlimit{Cur: uint64(info.Size()), Max: usual.Max}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &full); err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
			t.Fatal(err)
		}
	}()
	do()
}

// manyLines are the lines of a long list.
var manyLines = func() string {
	var lines []string
	for n := range 250 {
		lines = append(lines, fmt.Sprintf(`{"line":%d,"item":"FCP-%03d","description":"Forceps","quantity":1}`, n+1, n))
	}
	return strings.Join(lines, ",")
}()

// A full disk takes no record, and the server says so before somebody tries, in
// one sentence to whoever does. All can be asked meanwhile, and recording goes on by
// itself once there is room.
func TestNotReadyOnAFullDisk(t *testing.T) {
	f := newFailing(t)
	f.mustBeReady(t)
	f.fillDisk(t, func() {
		f.ask(t, "GET /readyz", http.StatusServiceUnavailable)
		if r, err := f.recordMore(t, 0); !errors.Is(err, ledger.ErrNoRoom) {
			t.Errorf("recorded on a full disk: %+v, %v", r, err)
		}
		f.ask(t, "GET /readyz", http.StatusServiceUnavailable)
		for _, ask := range []string{"/api/broken", "/api/verify", "/api/history?set=LAP-001", "/"} {
			w := httptest.NewRecorder()
			f.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, ask, nil))
			if w.Code != http.StatusOK || strings.Contains(w.Body.String(), `"ok":false`) {
				t.Errorf("%s on a full disk: %d %s", ask, w.Code, w.Body)
			}
		}
		w := httptest.NewRecorder()
		f.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodPost, "/api/observations",
			strings.NewReader(fmt.Sprintf(openedAgain, 1))))
		if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), `"why":"no-room"`) ||
			!strings.Contains(w.Body.String(), "Recording goes on by itself") {
			t.Errorf("an observation on a full disk: %d %s", w.Code, w.Body)
		}
	})
	f.mustBeReady(t)
	if r, err := f.recordMore(t, 1); err != nil || r.Known || r.Behind {
		t.Errorf("with room again: %+v, %v", r, err)
	}
}

// Where judgement cannot follow the ledger, the next observation is refused. The
// server is ready again by itself when it can.
func TestNotReadyWhileJudgementLags(t *testing.T) {
	f := newFailing(t)
	db, err := sql.Open("sqlite", "file:"+filepath.Join(f.dir, "readmodel.db")+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	exec := func(statement string) {
		t.Helper()
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	f.mustBeReady(t) // what was recorded so far is written
	exec("CREATE TRIGGER spoilt BEFORE INSERT ON events BEGIN SELECT RAISE(ABORT, 'no such page'); END")
	if r, err := f.recordMore(t, 0); err != nil || r.Seq == 0 {
		t.Fatalf("what the ledger stored is not acknowledged: %+v, %v", r, err)
	}
	f.ask(t, "GET /readyz", http.StatusInternalServerError)
	if r, err := f.recordMore(t, 1); err == nil {
		t.Fatalf("recorded without judgement: %+v", r)
	}
	exec("DROP TRIGGER spoilt")
	f.mustBeReady(t)
	if r, err := f.recordMore(t, 1); err != nil || r.Seq == 0 {
		t.Errorf("%+v, %v", r, err)
	}
}

// A damaged ledger is read-only. What is damaged stands in the log.
func TestNotReadyWithADamagedLedger(t *testing.T) {
	f := newFailing(t)
	if err := f.site.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(f.dir, "log", "checkpoint")); err != nil {
		t.Fatal(err)
	}
	damaged := serveFailing(t, f.dir)
	damaged.ask(t, "GET /readyz", http.StatusServiceUnavailable)
	damaged.log.Reset()
	damaged.ServeHTTP(httptest.NewRecorder(),
		httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/readyz", nil))
	for _, want := range []string{"log/checkpoint is missing", "listbound repair --data"} {
		if !strings.Contains(damaged.log.String(), want) {
			t.Errorf("the log lacks %q: %s", want, &damaged.log)
		}
	}
}

package web

import (
	"database/sql"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
)

// TestBehindALock: while another program has the read model locked, what is recorded
// is kept, and its receipt, the board and the stations say that it is not judged yet.
func TestBehindALock(t *testing.T) {
	f := newFailing(t)
	says := func(when string, want int) {
		t.Helper()
		for _, x := range []struct{ address, says string }{
			{"/", "Kept but not judged yet: 1."}, {"/?part=rows", "Kept but not judged yet: 1."},
			{"/?lang=de", "Gespeichert, aber noch nicht beurteilt: 1."}, {"/history?set=LAP-001", "Kept but not judged yet: 1."},
			{"/at/north/or-3/opening", "Kept but not judged yet: 1."}, {"/at/north/or-3/opening/state", "Kept but not judged yet: 1."},
			{"/at/north/or-3/count?case=K-1", "Kept but not judged yet: 1."},
		} {
			w := f.send(f, http.MethodGet, x.address, "", "")
			if n := strings.Count(w.Body.String(), x.says); w.Code != http.StatusOK || n != want {
				t.Errorf("%s, %s: %d, said %d times: %.200s", when, x.address, w.Code, n, w.Body)
			}
		}
	}
	says("judgement follows", 0)
	db, err := sql.Open("sqlite", "file:"+filepath.Join(f.dir, "readmodel.db")+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	lock, err := db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Rollback()
	changes, end := f.site.Changes()
	defer end()
	r, err := f.recordMore(t, 0)
	if err != nil || r.Seq == 0 {
		t.Fatalf("under a lock: %+v, %v", r, err)
	}
	<-changes // boards look again, and with that it is found out
	says("under a lock", 1)
	w := f.send(f, http.MethodPost, recordPath, "application/jsonl", strings.ReplaceAll(openedAgain, "%d", "5"))
	if w.Code < 500 || w.Header().Get("Retry-After") == "" {
		t.Errorf("another record under the lock: %d %q %s", w.Code, w.Header(), w.Body)
	}
	if err := lock.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := f.site.Advance(t.Context()); err != nil { // as KeepTime does
		t.Fatal(err)
	}
	<-changes
	says("judgement follows again", 0)
	if r, err := f.recordMore(t, 1); err != nil || r.Seq == 0 || r.Behind {
		t.Errorf("without a lock: %+v, %v", r, err)
	}
}

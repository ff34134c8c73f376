package commands

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/web"
	"listbound/events"
)

// TestPracticeIsFilledBesideTheRest: a server answers before its practice ledger is
// filled; until then the pages of practice say so, and one that was cut off while
// it was filled is filled up.
func TestPracticeIsFilledBesideTheRest(t *testing.T) {
	clock := func() time.Time { return time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC) }
	dir := t.TempDir()
	real := sitetest.Open(t, site.Options{Dir: dir, Name: "south", Clock: clock})
	if _, err := real.Enrol(t.Context(), "south/or-1", "", "test"); err != nil {
		t.Fatal(err)
	}
	a := &app{env: Env{Clock: clock, Out: io.Discard, Err: io.Discard}}
	cut, cancel := context.WithCancel(t.Context())
	const late = 2200 // lines: what is left is little, since a browser waits for it below
	if _, err := a.openPractice(cut, real, func(lines int64) {
		if lines >= late {
			cancel()
		}
	}); err == nil {
		t.Fatal("filled in spite of its end")
	}
	f := new(web.Filling)
	handler, err := web.New(real, slog.New(slog.DiscardHandler), web.PracticeWhenFilled(f))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(handler)
	tab := browsertest.Start(t).Tab(t, browsertest.Size{Name: "tablet", Width: 1024, Height: 768})
	f.Tell(17)
	tab.Open(srv.URL + "/practice/at/south/or-1/storage")
	tab.AwaitText("main", "so far: 17")
	tab.Axe()
	tab.Open(srv.URL + "/at/south/or-1/storage")
	tab.AwaitText("#verdict", "Scan")
	tab.Open(srv.URL + "/practice/at/south/or-1/storage")
	end := a.fillPractice(t.Context(), real, f)
	tab.AwaitText(".practice", "PRACTICE") // the page came by itself
	tab.Await(`document.readyState === "complete"`)
	set, err := events.LabelText(events.ScanSet, "LAP-001")
	if err != nil {
		t.Fatal(err)
	}
	tab.Type(set + "\r")
	tab.AwaitText("#bench", "LAP-001")
	tab.Open("about:blank")
	srv.CloseClientConnections()
	srv.Close()
	if err := end(); err != nil {
		t.Fatal(err)
	}
	p, err := a.openPractice(t.Context(), real, func(int64) { t.Error("filled twice") })
	if err != nil {
		t.Fatal(err)
	}
	if p.Size() < 2000 {
		t.Errorf("%d records", p.Size())
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	// One that can't be opened is said to have failed.
	f = new(web.Filling)
	if handler, err = web.New(real, slog.New(slog.DiscardHandler), web.PracticeWhenFilled(f)); err != nil {
		t.Fatal(err)
	}
	f.Failed()
	rec := httptest.NewRecorder()
	handler.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "http://127.0.0.1/practice/at/?lang=de", nil))
	if rec.Code != http.StatusServiceUnavailable || !strings.Contains(rec.Body.String(), "konnte nicht eingerichtet werden") {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
}

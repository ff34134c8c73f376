package commands

import (
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
)

// practised is a real folder with one station, whose practice ledger is not there yet.
func practised(t *testing.T) (a *app, real *site.Site) {
	t.Helper()
	clock := func() time.Time { return time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC) }
	real = sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "south", Clock: clock})
	if _, err := real.Enrol(t.Context(), "south/or-1", "", "test"); err != nil {
		t.Fatal(err)
	}
	return &app{env: Env{Clock: clock, Out: io.Discard, Err: io.Discard}}, real
}

// TestPracticeIsFilledBesideTheRest: a server answers before its practice ledger is
// filled, and while it is; until then the pages of practice say so. It can be
// stopped meanwhile.
func TestPracticeIsFilledBesideTheRest(t *testing.T) {
	a, real := practised(t)
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
	f.Tell(4711)
	tab.AwaitText("main", "so far: 4711") // the page came by itself
	end := a.fillPractice(t.Context(), real, f)
	tab.Open(srv.URL + "/at/south/or-1/storage")
	tab.AwaitText("#verdict", "Scan")
	tab.Open("about:blank")
	srv.CloseClientConnections()
	srv.Close()
	if err := end(); err != nil {
		t.Fatal(err)
	}
}

// TestPracticeThatFailed: one that can't be opened is said to have failed.
func TestPracticeThatFailed(t *testing.T) {
	_, real := practised(t)
	f := new(web.Filling)
	handler, err := web.New(real, slog.New(slog.DiscardHandler), web.PracticeWhenFilled(f))
	if err != nil {
		t.Fatal(err)
	}
	f.Failed()
	rec := httptest.NewRecorder()
	handler.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "http://127.0.0.1/practice/at/?lang=de", nil))
	if rec.Code != http.StatusServiceUnavailable || !strings.Contains(rec.Body.String(), "konnte nicht eingerichtet werden") {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
}

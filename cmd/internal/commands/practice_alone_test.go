//go:build !race

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
	"listbound/events"
)

// TestPracticeReachesNothing: a station in practice shows the same screens,
// marked on every page, and whatever is done there leaves the real ledger and
// its drafts as they were.
func TestPracticeReachesNothing(t *testing.T) {
	clock := func() time.Time { return time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC) }
	real := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "south", Clock: clock})
	if _, err := real.Enrol(t.Context(), "south/or-1", "", "test"); err != nil {
		t.Fatal(err)
	}
	a := &app{env: Env{Clock: clock, Out: io.Discard, Err: io.Discard}}
	p, err := a.openPractice(t.Context(), real, func(int64) {})
	if err != nil {
		t.Fatal(err)
	}
	handler, err := web.New(real, slog.New(slog.DiscardHandler), web.Practice(p))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(handler)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	})
	if p.Size() < 2000 || p.Name() == real.Name() {
		t.Fatalf("the practice ledger %s holds %d records", p.Name(), p.Size())
	}
	before, practised := real.Size(), p.Size()
	set, err := events.LabelText(events.ScanSet, "LAP-001")
	if err != nil {
		t.Fatal(err)
	}
	tab := browsertest.Start(t).Tab(t, browsertest.Size{Name: "tablet", Width: 1024, Height: 768})
	tab.Open(srv.URL + "/at/south/or-1/")
	if strings.Contains(tab.Text("main"), "PRACTICE") {
		t.Error("a real page is marked as practice")
	}
	tab.Open(srv.URL + "/practice/at/south/or-1/storage")
	tab.Type(set + "\r")
	tab.AwaitText("#bench", "LAP-001")
	tab.Type("X9BB-19\r")
	for _, path := range []string{"/practice/at/", "/practice/at/south/or-1/", "/practice/at/south/or-1/count",
		"/practice/at/south/or-1/opening", "/practice/at/south/or-1/close", "/practice/lists", "/practice/at/south/or-1/nowhere"} {
		tab.Open(srv.URL + path)
		tab.AwaitText(".practice", "PRACTICE")
		if title := browsertest.Eval[string](tab, "document.title"); !strings.HasPrefix(title, "PRACTICE") {
			t.Errorf("%s is titled %q", path, title)
		}
		for _, link := range browsertest.Eval[[]string](tab,
			`[...document.querySelectorAll("main a, main form")].map(a => new URL(a.href || a.action).pathname)`) {
			if !strings.HasPrefix(link, "/practice/") && link != "/at/" && link != "/at/south/or-1/" && !strings.HasPrefix(link, path) {
				t.Errorf("%s leads to %s", path, link)
			}
		}
	}
	tab.Shot("practice-tablet")
	res, err := http.Post(srv.URL+"/practice/at/south/or-1/storage/do", "application/json",
		strings.NewReader(`{"client":"t","n":9000000000000,"action":"where","fields":{"where":"shelf"}}`))
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%v %v", res, err)
	}
	if err := res.Body.Close(); err != nil {
		t.Error(err)
	}
	rec, err := p.Observe(t.Context(), &events.Observation{Station: "south/or-1", Kind: events.KindSetChecked,
		Time: clock(), Set: "LAP-001", Data: &events.SetChecked{Place: "shelf"}})
	if err != nil || p.Size() != practised+1 {
		t.Fatalf("practice did not record: %v", err)
	}
	if real.Size() != before {
		t.Errorf("the real ledger grew by %d", real.Size()-before)
	}
	// Not even a record taken over whole passes.
	h, err := p.History(t.Context(), site.Query{Set: "LAP-001", Records: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range h.Events {
		if e.Seq != rec[0].Seq {
			continue
		}
		stations, err := real.Stations(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		practice, err := p.Stations(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		keys := make(map[string]bool)
		for _, s := range practice {
			keys[s.Key] = true
		}
		if len(stations) == 0 || len(keys) == 0 {
			t.Fatal("no stations to compare")
		}
		for _, s := range stations {
			if keys[s.Key] {
				t.Errorf("station %s has one key in both ledgers", s.Name)
			}
		}
	}
}

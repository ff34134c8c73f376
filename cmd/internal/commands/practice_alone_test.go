//go:build !race

package commands

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/events"
)

// fillTwice fills the practice ledger, cut off once on the way. A browser waits for
// the rest, which comes beside the server.
func fillTwice(t *testing.T, a *app, real *site.Site, set string) {
	t.Helper()
	cut, cancel := context.WithCancel(t.Context())
	const late = 1000 // lines
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
	tab.Open(srv.URL + "/practice/at/south/or-1/storage")
	tab.AwaitText("main", "so far: 0")
	end := a.fillPractice(t.Context(), real, f)
	tab.AwaitText(".practice", "PRACTICE") // the page came by itself
	tab.Await(`document.readyState === "complete"`)
	tab.Type(set + "\r")
	tab.AwaitText("#bench", "LAP-001")
	tab.Open("about:blank")
	srv.CloseClientConnections()
	srv.Close()
	if err := end(); err != nil {
		t.Fatal(err)
	}
}

// TestPracticeReachesNothing: a practice ledger that was cut off while it was filled
// is filled up. A station in practice shows the same screens, marked on every page,
// and whatever is done there leaves the real ledger and its drafts as they were.
func TestPracticeReachesNothing(t *testing.T) {
	a, real := practised(t)
	printed := func(kind events.ScanKind, id string) string {
		t.Helper()
		text, err := events.LabelText(kind, id)
		if err == nil {
			text, err = events.PracticeText(text)
		}
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	set := printed(events.ScanSet, "LAP-001")
	fillTwice(t, a, real, set)
	p, err := a.openPractice(t.Context(), real, func(int64) { t.Error("filled again") })
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
	before, held := real.Size(), p.Size()
	tab := browsertest.Start(t).Tab(t, browsertest.Size{Name: "tablet", Width: 1024, Height: 768})
	tab.Open(srv.URL + "/at/south/or-1/")
	if strings.Contains(tab.Text("main"), "PRACTICE") {
		t.Error("a real page is marked as practice")
	}
	tab.Open(srv.URL + "/practice/at/south/or-1/storage")
	tab.AwaitText("#bench", "LAP-001") // still lies there
	tab.Type(printed(events.ScanBadge, "B-1") + "\r")
	markedEverywhere(t, tab, srv.URL)
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
		Time: real.Clock(), Set: "LAP-001", Data: &events.SetChecked{Place: "shelf"}})
	if err != nil || p.Size() != held+1 {
		t.Fatalf("practice did not record: %v", err)
	}
	if real.Size() != before {
		t.Errorf("the real ledger grew by %d", real.Size()-before)
	}
	noKeyInBoth(t, real, p, rec[0].Seq)
}

// noKeyInBoth: not even a record of practice that is taken over whole would pass in
// the real ledger.
func noKeyInBoth(t *testing.T, real, p *site.Site, seq int64) {
	t.Helper()
	h, err := p.History(t.Context(), site.Query{Set: "LAP-001", Records: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range h.Events {
		if e.Seq != seq {
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

// markedEverywhere: each page of practice says so, and leads to no other.
func markedEverywhere(t *testing.T, tab *browsertest.Tab, base string) {
	t.Helper()
	for _, path := range []string{"/practice/at/", "/practice/at/south/or-1/", "/practice/at/south/or-1/count",
		"/practice/at/south/or-1/opening", "/practice/at/south/or-1/close", "/practice/lists", "/practice/at/south/or-1/nowhere"} {
		tab.Open(base + path)
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
}

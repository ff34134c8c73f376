package board_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/ledger/timestamp/timestamptest"
)

// TestTimestampsShown: where a site has an authority for timestamps, board and metrics say when it last stamped the ledger.
func TestTimestampsShown(t *testing.T) {
	a := timestamptest.New(t, nil)
	authority := httptest.NewServer(http.HandlerFunc(a.Handler))
	t.Cleanup(authority.Close)
	dir := t.TempDir()
	ca, err := os.ReadFile(filepath.Join(a.Dir, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"ca.pem": string(ca), "authority.txt": authority.URL} {
		path := filepath.Join(dir, "timestamps", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	if _, err := s.Enrol(t.Context(), "north/or-3", "", "x"); err != nil {
		t.Fatal(err)
	}
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(srv.Close)
	shown := func(metric, words string) {
		t.Helper()
		if body := page(t, srv.URL+"/metrics"); !strings.Contains(body, metric+"\n") {
			t.Errorf("the metrics lack %q", metric)
		}
		if body := page(t, srv.URL+"/"); !strings.Contains(body, words) {
			t.Errorf("the board lacks %q", words)
		}
	}
	shown("listbound_timestamped_timestamp_seconds 0", "Timestamped by an authority outside: not yet")
	if err := s.AskTimestamp(t.Context()); err != nil {
		t.Fatal(err)
	}
	shown(fmt.Sprintf("listbound_timestamped_records %d", s.Size()), "Last timestamped by an authority outside:")
}

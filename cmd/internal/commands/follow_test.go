package commands

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/remote"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/web"
)

// TestFollowAsks: where the server asks people who they are, a follower that asks nobody isn't started.
func TestFollowAsks(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	clock := func() time.Time { return now }
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", Clock: clock})
	if _, err := s.Enrol(t.Context(), "north/or-1", "", "new"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	shown, err := web.New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "Bearer of-a-program" {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		shown.ServeHTTP(w, r)
	}))
	defer srv.Close()
	t.Setenv(remote.TokenVariable, "of-a-program")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var said bytes.Buffer
	code := Run(ctx, Env{Clock: clock, In: strings.NewReader(""), Out: io.Discard, Err: &said}, []string{"follow", "--server", srv.URL,
		"--ledger", s.Key(), "--data", filepath.Join(t.TempDir(), "copy"), "--address", "127.0.0.1:0"})
	if code == ExitOK || ctx.Err() != nil || !strings.Contains(said.String(), "give --administrator") {
		t.Errorf("it was started: %d, %s", code, &said)
	}
}

// TestTellUnheard: whoever runs a follower is told what its pages say, and when that is over.
func TestTellUnheard(t *testing.T) {
	var said bytes.Buffer
	a := &app{env: Env{Err: &said}}
	p := &site.Position{Of: "http://there", Heard: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC), Silent: true, Unheard: site.UnheardAway,
		Why: &site.LogError{Why: site.UnheardAway, Says: "connection refused", Err: errors.New("no")}}
	a.tellUnheard(p)
	p.Unheard, p.Why = "", nil
	a.tellUnheard(p)
	const want = "listbound: Nobody answers at http://there (connection refused). Is the server running there, and does the network " +
		"reach it? (last heard from: 2026-03-02T12:00:00Z)\n" +
		"listbound: the ledger at http://there is heard from again (2026-03-02T12:00:00Z)\n"
	if said.String() != want {
		t.Errorf("it is told\n%s", &said)
	}
}

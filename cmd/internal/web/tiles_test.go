package web

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"github.com/transparency-dev/tessera/api"
	"github.com/transparency-dev/tessera/client"
	"github.com/transparency-dev/tessera/fsck"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
)

// recordMany records n scans.
func recordMany(t *testing.T, s *site.Site, from, n int) {
	t.Helper()
	var lines strings.Builder
	for i := from; i < from+n; i++ {
		fmt.Fprintf(&lines, `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T%02d:%02d:%02dZ",`+
			`"set":"LAP-%03d","data":{}}`+"\n", i/3600, i/60%60, i%60, i%40)
	}
	err := s.Record(t.Context(), strings.NewReader(lines.String()), func(r site.Receipt) error {
		if r.Error != "" {
			t.Errorf("%+v", r)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestOthersReadTheLog has the client and the checker of transparency-dev/tessera, and the proofs of
// transparency-dev/merkle, read a ledger over HTTP: every tile and bundle, inclusion of records, and that it only grew.
func TestOthersReadTheLog(t *testing.T) {
	ctx := t.Context()
	s := newSite(t)
	recordMany(t, s, 0, 700)
	h, err := New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	defer srv.Close()
	at, err := url.Parse(srv.URL + "/log/")
	if err != nil {
		t.Fatal(err)
	}
	f, err := client.NewHTTPFetcher(at, nil)
	if err != nil {
		t.Fatal(err)
	}
	key, err := note.NewVerifier(s.Key())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Checkpoint(ctx); err != nil {
		t.Fatal(err)
	}
	tracker, err := client.NewLogStateTracker(ctx, f.ReadTile, nil, key, s.Name(),
		client.UnilateralConsensus(f.ReadCheckpoint))
	if err != nil {
		t.Fatal(err)
	}
	before := tracker.Latest()
	recordMany(t, s, 700, 100)
	if _, err := s.Checkpoint(ctx); err != nil {
		t.Fatal(err)
	}
	if _, _, _, err := tracker.Update(ctx); err != nil {
		t.Errorf("the ledger grew: %v", err)
	}
	now := tracker.Latest()
	if int64(now.Size) != s.Size() || now.Size <= before.Size {
		t.Errorf("from %d to %d of %d records", before.Size, now.Size, s.Size())
	}
	pb, err := client.NewProofBuilder(ctx, now.Size, f.ReadTile)
	if err != nil {
		t.Fatal(err)
	}
	for _, index := range []uint64{0, 255, 256, 511, 699, now.Size - 1} {
		path, err := pb.InclusionProof(ctx, index)
		if err != nil {
			t.Fatal(err)
		}
		record, err := s.ReadRecord(int64(index) + 1)
		if err != nil {
			t.Fatal(err)
		}
		leaf := rfc6962.DefaultHasher.HashLeaf(record)
		if err := proof.VerifyInclusion(rfc6962.DefaultHasher, index, now.Size, leaf, path, now.Hash); err != nil {
			t.Errorf("record %d: %v", index+1, err)
		}
	}
	check := fsck.New(s.Name(), key, f, func(raw []byte) ([][]byte, error) {
		var b api.EntryBundle
		if err := b.UnmarshalText(raw); err != nil {
			return nil, err
		}
		var hashes [][]byte
		for _, e := range b.Entries {
			hashes = append(hashes, rfc6962.DefaultHasher.HashLeaf(e))
		}
		return hashes, nil
	}, fsck.Opts{N: 2})
	if err := check.Check(ctx); err != nil {
		t.Errorf("checked by others: %v", err)
	}
}

// TestLogHandsOutNothingElse asks for names that are no tile, and looks at what may be kept.
func TestLogHandsOutNothingElse(t *testing.T) {
	s := newSite(t)
	recordMany(t, s, 0, 300)
	if _, err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	h, err := New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	defer srv.Close()
	for path, want := range map[string]struct {
		code  int
		cache string
	}{
		"/log/checkpoint":                {http.StatusOK, "no-store"},
		"/log/tile/0/000":                {http.StatusOK, "max-age=31536000, immutable"},
		"/log/tile/entries/000":          {http.StatusOK, "private, max-age=31536000, immutable"},
		"/log/tile/0/001":                {http.StatusNotFound, "no-store"}, // not full yet
		"/log/tile/0/000.p/3":            {http.StatusNotFound, "no-store"}, // replaced by the full one
		"/log/":                          {http.StatusNotFound, "no-store"},
		"/log/tile/":                     {http.StatusNotFound, "no-store"},
		"/log/tile/0/":                   {http.StatusNotFound, "no-store"},
		"/log/tile/0":                    {http.StatusNotFound, "no-store"},
		"/log/checkpoint.tmp":            {http.StatusNotFound, "no-store"},
		"/log/tile/0/000.tmp":            {http.StatusNotFound, "no-store"},
		"/log/tile/64/000":               {http.StatusNotFound, "no-store"},
		"/log/tile/0/..%2f..%2fkeys":     {http.StatusNotFound, "no-store"},
		"/log/tile/%2e%2e/%2e%2e/keys/x": {http.StatusNotFound, "no-store"},
	} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, srv.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil || resp.StatusCode != want.code || resp.Header.Get("Cache-Control") != want.cache {
			t.Errorf("%s: %d, %q, %v: %.60q", path, resp.StatusCode, resp.Header.Get("Cache-Control"), err, text)
		}
	}
}

// TestTileThatCannotBeRead puts a folder in a tile's place.
func TestTileThatCannotBeRead(t *testing.T) {
	f := newFailing(t)
	if _, err := f.site.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	name := fmt.Sprintf("tile/0/000.p/%d", f.site.Size())
	file := filepath.Join(f.dir, "log", filepath.FromSlash(name))
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(file, 0o700); err != nil {
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	f.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/log/"+name, nil))
	said := w.Body.String()
	if w.Code != http.StatusInternalServerError || !incidentIn.MatchString(said) || strings.Contains(said, f.dir) {
		t.Errorf("%d: %s", w.Code, w.Body)
	}
}

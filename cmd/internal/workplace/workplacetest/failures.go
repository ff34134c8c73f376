package workplacetest

import (
	"bytes"
	"context"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// CutWhileRecording sends an input whose request ends after the draft holds when it was observed, and before it is stored.
func (h *House) CutWhileRecording(path, body string) {
	h.T.Helper()
	drafts := os.DirFS(filepath.Join(h.Site.Dir(), "drafts"))
	fixed := func() bool {
		found := false
		err := fs.WalkDir(drafts, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || found {
				return err
			}
			raw, err := fs.ReadFile(drafts, name)
			found = bytes.Contains(raw, []byte("\n \"at\": "))
			return err
		})
		return err == nil && found
	}
	before := h.Size()
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, httptest.NewRequestWithContext(trap{h.T.Context(), fixed}, http.MethodPost, path, strings.NewReader(body)))
	if w.Code < 400 || h.Size() != before {
		h.T.Fatalf("answered %d, recorded %d", w.Code, h.Size()-before)
	}
}

// SpoilDrafts puts a file where the drafts lie, as a full or broken disk would
// have it, and returns what puts them back.
func (h *House) SpoilDrafts() (mend func()) {
	h.T.Helper()
	dir := filepath.Join(h.Site.Dir(), "drafts")
	must := func(err error) {
		if err != nil {
			h.T.Fatal(err)
		}
	}
	if err := os.Rename(dir, dir+"-kept"); err != nil && !os.IsNotExist(err) {
		h.T.Fatal(err)
	}
	must(os.WriteFile(dir, []byte("no folder"), 0o600))
	return func() {
		must(os.Remove(dir))
		if err := os.Rename(dir+"-kept", dir); err != nil && !os.IsNotExist(err) {
			h.T.Fatal(err)
		}
	}
}

// trap is the context of a request that fails once the draft is ready to be
// recorded: everything before it goes well.
type trap struct {
	context.Context
	ready func() bool
}

func (c trap) Err() error {
	if c.ready() {
		return context.Canceled
	}
	return c.Context.Err()
}

// FailOnce sends an input that fails while it is recorded, then the same again a
// minute later, as the page does.
func (h *House) FailOnce(path, body string) map[string]any {
	h.T.Helper()
	drafts := os.DirFS(filepath.Join(h.Site.Dir(), "drafts"))
	timed := func() (files int) { // whose draft has a time: it is fixed before recording
		err := fs.WalkDir(drafts, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			raw, err := fs.ReadFile(drafts, name)
			if bytes.Contains(raw, []byte("\n \"at\": ")) {
				files++
			}
			return err
		})
		if err != nil {
			return 0
		}
		return files
	}
	others := timed() // such as what was said of a count before
	ready := func() bool { return timed() > others }
	before := h.Size()
	r := httptest.NewRequestWithContext(trap{h.T.Context(), ready}, http.MethodPost, path, strings.NewReader(body))
	w := httptest.NewRecorder()
	h.Handler().ServeHTTP(w, r)
	if !ready() || w.Code < 400 || h.Size() != before {
		h.T.Fatalf("the trap did not shut: %d, %d records: %.300s", w.Code, h.Size()-before, w.Body)
	}
	h.After(time.Minute)
	return h.Post(path, body)
}

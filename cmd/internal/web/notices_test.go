package web

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
)

// What everybody has to know of the ledger stands on the board and at the stations, in the language of the page.
func TestNotices(t *testing.T) {
	f := newFailing(t)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	shows := func(f *failing, lang, want string) {
		t.Helper()
		for _, path := range []string{"/", "/at/north/or-3/", "/at/north/or-3/opening"} {
			w := httptest.NewRecorder()
			f.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, path+"?lang="+lang, nil))
			if w.Code != http.StatusOK || strings.Contains(w.Body.String(), `class="notice"`) != (want != "") ||
				!strings.Contains(w.Body.String(), want) {
				t.Errorf("%s: %d, without %q: %s", path, w.Code, want, w.Body)
			}
		}
	}
	shows(f, "en", "")
	old := filepath.Join(t.TempDir(), "old")
	must(f.site.Close())
	must(os.CopyFS(old, os.DirFS(f.dir)))
	f = serveFailing(t, f.dir)
	if _, err := f.recordMore(t, 1); err != nil {
		t.Fatal(err)
	}
	must(f.site.Close())
	for _, part := range []string{"stream", "log"} {
		must(os.RemoveAll(filepath.Join(f.dir, part)))
		must(os.CopyFS(filepath.Join(f.dir, part), os.DirFS(filepath.Join(old, part))))
	}
	behind := serveFailing(t, f.dir)
	shows(behind, "en", "must put back the missing part or declare it lost")
	shows(behind, "de", "für verloren erklären")
	must(behind.site.Close())
	_, err := site.DeclareLoss(t.Context(), site.Options{Dir: f.dir, Clock: behind.site.Clock}, "B-1182", "the disk failed")
	must(err)
	declared := serveFailing(t, f.dir)
	shows(declared, "en", "by badge B-1182: the disk failed")
	shows(declared, "de", "mit Ausweis B-1182: the disk failed")
	must(declared.site.Close())
	must(os.RemoveAll(filepath.Join(f.dir, "stream")))
	shows(serveFailing(t, f.dir), "en", "the ledger is not what was signed")
}

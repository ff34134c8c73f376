package web

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
)

// TestPagesNameKeptFiles: what a page loads beside itself a browser keeps, and asks no more for; and the station's worker
// keeps the same files for when the server is away.
func TestPagesNameKeptFiles(t *testing.T) {
	h := secure(newFailing(t))
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		return w
	}
	named := regexp.MustCompile(`(?:src|href)="(/[^"]+\.(?:js|css|svg))"`)
	for page, worker := range map[string]string{
		"/": "", "/weeks": "", "/at/north/or-3/opening": "/at/sw.js", "/at/north/or-3/count": "/at/sw.js",
		"/practice/at/north/or-3/opening": "/practice/at/sw.js",
	} {
		w := get(page)
		if got := w.Header().Get("Cache-Control"); got != "no-store" {
			t.Errorf("%s itself: %s", page, got)
		}
		files := named.FindAllStringSubmatch(w.Body.String(), -1)
		if len(files) < 4 {
			t.Errorf("%s names %d files", page, len(files))
		}
		for _, f := range files {
			if got := get(f[1]).Header().Get("Cache-Control"); !strings.Contains(got, "immutable") {
				t.Errorf("%s names %s, which is %s", page, f[1], got)
			}
			if worker != "" && !strings.Contains(get(worker).Body.String(), `"`+f[1]+`"`) {
				t.Errorf("%s doesn't keep %s of %s", worker, f[1], page)
			}
		}
	}
}

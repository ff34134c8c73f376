package shell_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/projections/words"
)

// A browser keeps a file for good only by the name that says what is in all files of its folder; by any other it is answered
// as it is now, each time.
func TestAssetsAreKeptByTheirSum(t *testing.T) {
	j, err := words.NewJudgement()
	if err != nil {
		t.Fatal(err)
	}
	serve := func(script string) (*shell.Shell, http.Handler) {
		sh, mux := shell.New("north/ledger", j, time.Now, nil), http.NewServeMux()
		files := fstest.MapFS{"a.js": {Data: []byte(script)}, "b.css": {Data: []byte("p {}")}}
		if err := sh.Serve(mux, "/own/", files); err != nil {
			t.Fatal(err)
		}
		return sh, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Cache-Control", "no-store") // as the server's answers have it
			mux.ServeHTTP(w, r)
		})
	}
	sh, now := serve("now()")
	old, _ := serve("old()")
	if old.Asset("/own/b.css") == sh.Asset("/own/b.css") {
		t.Error("another file of the folder leaves the name the same: they import each other")
	}
	if again, _ := serve("now()"); again.Asset("/own/a.js") != sh.Asset("/own/a.js") {
		t.Error("the same files have two names")
	}
	if got := sh.Asset("/other/a.js"); got != "/other/a.js" {
		t.Errorf("a file that isn't served is named %s", got)
	}
	other := shell.New("PRACTICE north/ledger", j, time.Now, nil)
	if other.AssetsOf(sh); other.Asset("/own/a.js") != sh.Asset("/own/a.js") {
		t.Error("another shell names the files otherwise")
	}
	for _, c := range []struct {
		path string
		code int
		kept bool
	}{
		{sh.Asset("/own/a.js"), http.StatusOK, true},
		{sh.Asset("/own/b.css"), http.StatusOK, true},
		{old.Asset("/own/a.js"), http.StatusOK, false},
		{"/own/a.js", http.StatusOK, false},
		{sh.Asset("/own/none.js"), http.StatusNotFound, false},
		{old.Asset("/own/none.js"), http.StatusNotFound, false},
		{"/own/none.js", http.StatusNotFound, false},
		{sh.Asset("/own/") + "x/a.js", http.StatusNotFound, false},
		{"/own/x/a.js", http.StatusNotFound, false},
		{"/own/", http.StatusNotFound, false},
		{sh.Asset("/own/"), http.StatusNotFound, false},
		{sh.Asset("/own/a.js") + "/", http.StatusNotFound, false},
		{sh.Asset("/own/index.html"), http.StatusNotFound, false},
		{sh.Asset("/own/") + "..%2f..%2f", http.StatusNotFound, false},
		{"/own/..%2fa.js", http.StatusNotFound, false},
		{strings.TrimSuffix(sh.Asset("/own/"), "/") + "%2fnone.js", http.StatusNotFound, false},
	} {
		rec := httptest.NewRecorder()
		now.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, c.path, nil))
		keep := rec.Header().Get("Cache-Control")
		kept := strings.Contains(keep, "immutable")
		if !kept && keep != "no-store" {
			t.Errorf("%s is kept for a while: %q", c.path, keep)
		}
		if rec.Code != c.code || kept != c.kept || c.code == http.StatusOK && strings.HasSuffix(c.path, "a.js") && rec.Body.String() != "now()" {
			t.Errorf("%s: %d, kept %t: %q", c.path, rec.Code, kept, rec.Body)
		}
	}
}

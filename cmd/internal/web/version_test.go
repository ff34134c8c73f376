package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"listbound/cmd/internal/version"
	"listbound/projections/readmodel"
)

// TestWhichProgram: whoever looks at a page, asks the interface or collects metrics learns which program it was.
func TestWhichProgram(t *testing.T) {
	h := secure(newFailing(t))
	for _, test := range []struct{ path, want string }{
		{"/", "listbound " + version.String()},
		{"/api/policy", ""},
		{"/metrics", fmt.Sprintf("listbound_build_info{judgement=%q,version=%q} 1\n",
			readmodel.Fingerprint(), version.String())},
	} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, test.path, nil))
		if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), test.want) {
			t.Errorf("%s: %d, without %q:\n%s", test.path, w.Code, test.want, w.Body)
		}
		if got, want := w.Header().Get("Server"), "listbound/"+version.String(); got != want {
			t.Errorf("%s: served by %q, want %q", test.path, got, want)
		}
	}
}

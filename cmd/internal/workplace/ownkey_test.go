package workplace_test

import (
	"crypto/rand"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/workplace"
	"listbound/cmd/internal/workplace/workplacetest"
)

// TestOwnKeyLooks: at a station that signs on its own device the pages show what is known and say that nothing can be
// recorded there; what is entered all the same is refused with that sentence.
func TestOwnKeyLooks(t *testing.T) {
	h := workplacetest.NewHouse(t)
	const name = "north/or-9"
	_, key, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Site.Enrol(t.Context(), name, key, "signs for itself"); err != nil {
		t.Fatal(err)
	}
	size, handler := h.Site.Size(), h.Handler()
	ask := func(method, path, body string) (int, string) {
		r := httptest.NewRequestWithContext(t.Context(), method, path, strings.NewReader(body))
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		raw, err := io.ReadAll(w.Result().Body)
		if err != nil {
			t.Fatal(err)
		}
		return w.Code, string(raw)
	}
	const says = "signs on its own device"
	for _, place := range append([]string{""}, workplace.Places()...) {
		code, body := ask(http.MethodGet, "/at/"+name+"/"+place, "")
		if code != http.StatusOK || !strings.Contains(body, says) {
			t.Errorf("%q: %d, says that it signs elsewhere: %t", place, code, strings.Contains(body, says))
		}
		if _, body := ask(http.MethodGet, "/at/north/or-3/"+place, ""); strings.Contains(body, says) {
			t.Errorf("%q of another station says so too", place)
		}
	}
	code, body := ask(http.MethodPost, "/at/"+name+"/opening/scan", `{"client":"c","n":1,"text":"LAP-001"}`)
	if code != http.StatusForbidden || !strings.Contains(body, says) || h.Site.Size() != size {
		t.Errorf("an input: %d %s, %d records, had %d", code, body, h.Site.Size(), size)
	}
}

package web

import (
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
)

// send asks a route for what no page sends.
func (f *failing) send(h http.Handler, method, address, contentType, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, address, strings.NewReader(body))
	r.Host = "127.0.0.1"
	r.Header.Set("Content-Type", contentType)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// insides are words by which the program's own parts, or those it is made of, would
// be told to somebody who can do nothing with them.
var insides = []string{
	"unknown object member", "cannot unmarshal", "json:", "jsontext", "strconv", "multipart:", "mime:", "base64",
	"http:", "EOF", "parsing \"", "tcp", "Go ", "%!", "net/http", "excelize", "zip:",
}

// TestRefusalsTellNothingOfTheInside: whatever nonsense a route is sent, the answer
// is a refusal in a person's words.
func TestRefusalsTellNothingOfTheInside(t *testing.T) {
	f := newFailing(t)
	const form, object = "application/x-www-form-urlencoded", "application/json"
	broken := "multipart/form-data; boundary=b"
	refused := 0
	for _, pattern := range f.patterns {
		method, a := requestOf(t, pattern)
		if method != http.MethodPost || pattern == "POST /api/rebuild" {
			continue
		}
		for _, x := range []struct{ contentType, body string }{
			{object, "{"}, {object, "[1]"}, {object, `{"nonsense":1}`}, {object, `{"client":1,"n":"x"}`}, {object, "\x00\xff"},
			{object, `{"client":"c","n":1,"fields":{"a":2}}`}, {form, "%zz=%"}, {form, ""}, {"multipart/form-data", "x"},
			{broken, "--b\r\nContent-Disposition: form-data; name=list\r\n\r\nLAP"}, {broken, "--b"},
			{broken, "--b\r\nContent-Disposition: form-data; name=raw\r\n\r\n!!\r\n--b--\r\n"},
		} {
			w := f.send(f, method, a.path, x.contentType, x.body)
			if w.Code >= 500 {
				t.Errorf("%s, sent %q: %d %.300s", pattern, x.body, w.Code, w.Body)
			}
			if w.Code >= 400 {
				refused++
			}
			for _, inside := range insides {
				if strings.Contains(w.Body.String(), inside) {
					t.Errorf("%s, sent %q, tells %q of the inside: %.300s", pattern, x.body, inside, w.Body)
				}
			}
		}
	}
	if refused < 30 {
		t.Errorf("only %d requests were refused", refused)
	}
}

// cutBody is a body whose connection breaks off.
type cutBody struct{ strings.Reader }

func (b *cutBody) Read(p []byte) (int, error) {
	if n, err := b.Reader.Read(p); err == nil {
		return n, nil
	}
	return 0, errors.New("read tcp 10.0.0.7:8080->10.0.0.9:51234: i/o timeout")
}

// TestObservationsThatBreakOff: who sends less than was begun is told so, and not
// between which addresses.
func TestObservationsThatBreakOff(t *testing.T) {
	f := newFailing(t)
	lines := strings.Replace(failingWeek, "LAP-001", "LAP-002", 1)
	r := httptest.NewRequest(http.MethodPost, recordPath, &cutBody{*strings.NewReader(lines)})
	w := httptest.NewRecorder()
	f.ServeHTTP(w, r)
	if body := w.Body.String(); !strings.Contains(body, "broke off before their end") || strings.Contains(body, "10.0.0") {
		t.Errorf("%d %s", w.Code, body)
	}
}

// TestWhatNoRouteTakes: an address that is none, and a method that an address does
// not take, are refused like everything else, in the language that was asked for.
func TestWhatNoRouteTakes(t *testing.T) {
	f := newFailing(t)
	h, err := New(f.site, slog.New(slog.DiscardHandler), Practice(f.site))
	if err != nil {
		t.Fatal(err)
	}
	for _, pattern := range f.patterns {
		_, a := requestOf(t, pattern)
		w := f.send(h, http.MethodDelete, a.path+"?lang=de", "text/plain", "")
		if w.Code != http.StatusMethodNotAllowed || w.Header().Get("Allow") == "" ||
			!strings.Contains(w.Body.String(), "nimmt DELETE nicht an, nur ") {
			t.Errorf("DELETE %s: %d %q %.200s", a.path, w.Code, w.Header(), w.Body)
		}
		if strings.HasPrefix(a.path, apiPrefix) {
			refusedAsJSON(t, w)
		}
	}
	w := f.send(h, http.MethodGet, "/api/nowhere", "", "")
	if w.Code != http.StatusNotFound || !strings.Contains(w.Body.String(), "There is nothing at /api/nowhere.") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	refusedAsJSON(t, w)
	w = f.send(h, http.MethodGet, "/nowhere?lang=de", "", "")
	if w.Code != http.StatusNotFound || w.Body.String() != "Unter /nowhere gibt es hier nichts.\n" {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	// What the mux leads elsewhere still goes there.
	w = f.send(h, http.MethodGet, "/lists/../lists", "", "")
	if !slices.Contains([]int{http.StatusMovedPermanently, http.StatusTemporaryRedirect}, w.Code) ||
		w.Header().Get("Location") != "/lists" {
		t.Errorf("%d %q", w.Code, w.Header())
	}
}

func refusedAsJSON(t *testing.T, w *httptest.ResponseRecorder) {
	t.Helper()
	var v struct{ Error, Why string }
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil || v.Error == "" || v.Why != "refused" {
		t.Errorf("%v: %s", err, w.Body)
	}
}

// TestProgramsAreToldInEnglish: what a program is told is in English whatever its headers say, since it may compare it; a
// page's script at a station is told in the page's language, and who asks for a language by name gets that.
func TestProgramsAreToldInEnglish(t *testing.T) {
	f := newFailing(t)
	if err := f.site.Close(); err != nil {
		t.Fatal(err)
	}
	english, german := "Nothing can be recorded now.", "Jetzt kann nichts aufgezeichnet werden."
	for path, want := range map[string]string{
		"/api/history?set=LAP-001": english, "/api/history?set=LAP-001&lang=de": german, "/at/north/or-3/opening/state": german,
	} {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil)
		r.Header.Set("Accept-Language", "de")
		w := httptest.NewRecorder()
		f.ServeHTTP(w, r)
		if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: %d %s, want %q", path, w.Code, w.Body, want)
		}
	}
}

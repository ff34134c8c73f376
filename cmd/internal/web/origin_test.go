package web

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// TestOriginIsChecked asks as browsers do for pages of this server, of other addresses and for people who follow a link. The
// headers are those of Fetch (https://fetch.spec.whatwg.org) and Fetch Metadata (https://www.w3.org/TR/fetch-metadata).
func TestOriginIsChecked(t *testing.T) {
	s := newSite(t)
	h, err := New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	const own, other = "http://127.0.0.1:8320", "http://127.0.0.1:9999"
	link := "Sec-Fetch-Mode: navigate|Sec-Fetch-Dest: document"
	for _, test := range []struct {
		name, method, path, head string
		want                     int
	}{
		{"a program", "GET", "/api/verify", "", 200},
		{"an address that is typed", "GET", "/", "Sec-Fetch-Site: none|" + link, 200},
		{"its own page", "GET", "/api/stations", "Sec-Fetch-Site: same-origin|Sec-Fetch-Mode: cors", 200},
		{"its own page, over plain HTTP", "POST", "/api/rebuild", "Origin: " + own, 200},
		{"a link elsewhere to a page", "GET", "/", "Sec-Fetch-Site: cross-site|" + link, 200},
		{"a link elsewhere to an answer", "GET", "/api/verify", "Sec-Fetch-Site: cross-site|" + link, 403},
		{"a page elsewhere in a frame", "GET", "/", "Sec-Fetch-Site: cross-site|Sec-Fetch-Mode: navigate|Sec-Fetch-Dest: iframe", 403},
		{"an image elsewhere", "GET", "/api/verify", "Sec-Fetch-Site: cross-site|Sec-Fetch-Mode: no-cors|Sec-Fetch-Dest: image", 403},
		{"a page at another port", "GET", "/api/history?set=X", "Sec-Fetch-Site: same-site|Sec-Fetch-Mode: cors", 403},
		{"a page at another port, over plain HTTP", "GET", "/api/stations", "Origin: " + other, 403},
		{"a page without an origin", "GET", "/api/stations", "Origin: null", 403},
		{"a form elsewhere", "POST", "/api/stations/enrol?station=north/x", "Sec-Fetch-Site: cross-site|" + link, 403},
		{"a form elsewhere, over plain HTTP", "POST", "/api/stations/enrol?station=north/x", "Origin: " + other, 403},
		{"its own page behind a proxy", "POST", "/api/rebuild", "Sec-Fetch-Site: same-origin|Origin: https://desk.north.example", 200},
	} {
		r := httptest.NewRequestWithContext(t.Context(), test.method, own+test.path, nil)
		for _, line := range strings.Split(test.head, "|") {
			if name, value, ok := strings.Cut(line, ": "); ok {
				r.Header.Set(name, value)
			}
		}
		w := httptest.NewRecorder()
		size := s.Size()
		h.ServeHTTP(w, r)
		if w.Code != test.want || test.want == http.StatusForbidden && s.Size() != size {
			t.Errorf("%s: %d, want %d: %s", test.name, w.Code, test.want, w.Body)
		}
		if w.Header().Get("Cross-Origin-Resource-Policy") != "same-origin" {
			t.Errorf("%s: a page of another origin may show the answer", test.name)
		}
	}
}

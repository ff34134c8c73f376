package web

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"

	"listbound/cmd/internal/door"

	"log/slog"
)

// TestProxies: what a proxy says of a request's sender is believed of those that were named, and of nobody else; of a list,
// the last address that is no proxy's. The addresses are those of RFC 5737 and RFC 3849, for documentation.
func TestProxies(t *testing.T) {
	proxies := []netip.Prefix{netip.MustParsePrefix("10.0.0.0/24"), netip.MustParsePrefix("127.0.0.1/32")}
	for _, test := range []struct{ name, remote, forwarded, host, want, wantHost string }{
		{"no proxy", "192.0.2.9:1", "198.51.100.1", "evil.example", "192.0.2.9:1", "localhost"},
		{"one proxy", "10.0.0.1:4711", "198.51.100.1", "desk.north.example", "198.51.100.1:0", "desk.north.example"},
		{"one that says no host", "10.0.0.1:4711", "198.51.100.1", "", "198.51.100.1:0", "localhost"},
		{"two proxies", "127.0.0.1:1", "198.51.100.1, 10.0.0.7", "", "198.51.100.1:0", "localhost"},
		{"an invented beginning", "10.0.0.1:1", "192.0.2.1, 198.51.100.1", "x.example, desk.north.example", "198.51.100.1:0",
			"desk.north.example"},
		{"with a port", "10.0.0.1:1", "198.51.100.1:5000", "", "198.51.100.1:0", "localhost"},
		{"IPv6", "[::ffff:10.0.0.1]:1", "[2001:db8::7]", "", "[2001:db8::7]:0", "localhost"},
		{"nothing said", "10.0.0.1:1", "", "", "10.0.0.1:0", "localhost"},
		{"nonsense", "10.0.0.1:1", "198.51.100.1, unknown", "", "10.0.0.1:0", "localhost"},
		{"nonsense before a proxy", "10.0.0.1:1", "unknown, 10.0.0.7", "", "10.0.0.7:0", "localhost"},
	} {
		var got *http.Request
		h := behindProxies(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { got = r }), proxies)
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "http://localhost/", nil)
		r.RemoteAddr = test.remote
		r.Header.Set(forwardedFor, test.forwarded)
		if test.host != "" {
			r.Header.Set(forwardedHost, test.host)
		}
		if h.ServeHTTP(httptest.NewRecorder(), r); got.RemoteAddr != test.want || got.Host != test.wantHost {
			t.Errorf("%s: %s at %s, want %s at %s", test.name, got.RemoteAddr, got.Host, test.want, test.wantHost)
		}
	}
}

// TestGuessingBehindAProxy: through a proxy that was named each sender's guesses are counted for themselves, an address
// that a sender invents changes nothing, a name that the server is not known by is refused, and cookies are for TLS alone.
// Where no proxy was named, all of them are one.
func TestGuessingBehindAProxy(t *testing.T) {
	s := newSite(t)
	ask := func(h http.Handler, path, forwarded, host string) *httptest.ResponseRecorder {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "http://127.0.0.1:8320"+path,
			strings.NewReader(url.Values{"code": {"0000-0000"}}.Encode()))
		r.RemoteAddr = "10.0.0.1:4711"
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set(forwardedFor, forwarded)
		r.Header.Set(forwardedProto, "https")
		if host != "" {
			r.Header.Set(forwardedHost, host)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	for _, test := range []struct {
		named bool
		other int // what somebody else is answered who guesses for the first time
	}{{true, http.StatusUnauthorized}, {false, http.StatusTooManyRequests}} {
		d, err := door.Open(door.Options{Dir: t.TempDir(), Clock: s.Clock, Cost: door.Cost{Time: 1, KiB: 8, Threads: 1}})
		if err != nil {
			t.Fatal(err)
		}
		opts := []Option{Accounts(d), Hosts("desk.north.example")}
		if test.named {
			opts = append(opts, Proxies(netip.MustParsePrefix("10.0.0.1/32")))
		}
		h, err := New(s, slog.New(slog.DiscardHandler), opts...)
		if err != nil {
			t.Fatal(err)
		}
		code := 0
		for i := range 8 {
			code = ask(h, "/station-code", "192.0.2."+string(rune('1'+i))+", 198.51.100.1", "desk.north.example").Code
		}
		if code != http.StatusTooManyRequests {
			t.Errorf("named %v: the eighth guess is answered %d", test.named, code)
		}
		if code := ask(h, "/station-code", "198.51.100.2", "").Code; code != test.other {
			t.Errorf("named %v: somebody else is answered %d", test.named, code)
		}
		out := ask(h, "/sign-out", "198.51.100.4", "").Result().Cookies()
		if len(out) != 1 || out[0].Secure != test.named || strings.HasPrefix(out[0].Name, "__Host-") != test.named {
			t.Errorf("named %v: the cookie is %v", test.named, out)
		}
		want := map[bool]int{true: http.StatusMisdirectedRequest, false: test.other}[test.named]
		if code := ask(h, "/station-code", "198.51.100.3", "evil.example").Code; code != want {
			t.Errorf("named %v: another name is answered %d, want %d", test.named, code, want)
		}
	}
}

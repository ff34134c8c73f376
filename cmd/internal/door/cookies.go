package door

import (
	"context"
	"net/http"
	"time"
)

const (
	sessionCookie = "session"
	stationCookie = "station"
)

type overTLSKey struct{}

// OverTLS returns a request that came over TLS to a proxy, which passed it on without.
func OverTLS(r *http.Request) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), overTLSKey{}, true))
}

func overTLS(r *http.Request) bool {
	at, _ := r.Context().Value(overTLSKey{}).(bool)
	return at || r.TLS != nil
}

// cookieName has the prefix by which a browser takes the cookie from this host over TLS alone, where there is TLS.
func cookieName(r *http.Request, name string) string {
	if overTLS(r) {
		return "__Host-" + name
	}
	return name
}

func cookie(r *http.Request, name string) string {
	c, err := r.Cookie(cookieName(r, name))
	if err != nil {
		return ""
	}
	return c.Value
}

// setCookie sets one, and takes it back where it lasts for no time. A session's lasts as long as the browser runs. It is
// sent with a link that somebody follows from elsewhere, as in a message; what a page elsewhere asks for is refused before
// anybody looks at it (guardOrigin in package web).
func setCookie(w http.ResponseWriter, r *http.Request, name, value string, lasts time.Duration) {
	c := &http.Cookie{Name: cookieName(r, name), Value: value, Path: "/", HttpOnly: true, Secure: overTLS(r),
		SameSite: http.SameSiteLaxMode}
	switch {
	case value == "":
		c.MaxAge = -1
	case lasts > 0:
		c.MaxAge = int(lasts / time.Second)
	}
	http.SetCookie(w, c)
}

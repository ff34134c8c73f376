package web

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"listbound/cmd/internal/door"
)

// Proxies names the reverse proxies that stand before this server: who asks, by which name and whether over TLS is taken
// from what these say, and from nobody else, since anybody can send such headers. RFC 7239's Forwarded is not read: what is
// read in two ways can differ.
func Proxies(networks ...netip.Prefix) Option {
	return func(o *options) { o.proxies = append(o.proxies, networks...) }
}

const (
	forwardedFor   = "X-Forwarded-For"
	forwardedHost  = "X-Forwarded-Host"
	forwardedProto = "X-Forwarded-Proto"
)

// behindProxies gives a request that one of the proxies passed on the address, the host and the line that its sender
// asked by. Everything behind it then counts, logs and checks the sender.
func behindProxies(next http.Handler, proxies []netip.Prefix) http.Handler {
	if len(proxies) == 0 {
		return next
	}
	trusted := func(a netip.Addr) bool {
		return slices.ContainsFunc(proxies, func(p netip.Prefix) bool { return p.Contains(a) })
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		from, err := netip.ParseAddrPort(r.RemoteAddr)
		if err != nil || !trusted(plain(from.Addr())) {
			next.ServeHTTP(w, r)
			return
		}
		c := r.WithContext(r.Context())
		c.RemoteAddr = net.JoinHostPort(sender(r, plain(from.Addr()), trusted).String(), "0")
		if host := last(r, forwardedHost); host != "" {
			c.Host = host
		}
		if strings.EqualFold(last(r, forwardedProto), "https") {
			c = door.OverTLS(c)
		}
		next.ServeHTTP(w, c)
	})
}

// sender is the last address in the list that is no proxy's: each proxy adds whom it was asked by, and what stands before
// that may be the sender's own invention. What can't be read ends the list.
func sender(r *http.Request, at netip.Addr, trusted func(netip.Addr) bool) netip.Addr {
	list := strings.Split(strings.Join(r.Header.Values(forwardedFor), ","), ",")
	for _, text := range slices.Backward(list) {
		a, err := addressIn(strings.TrimSpace(text))
		if err != nil {
			return at
		}
		if at = a; !trusted(at) {
			return at
		}
	}
	return at
}

// addressIn reads an address, with which some proxies write a port.
func addressIn(text string) (netip.Addr, error) {
	if ap, err := netip.ParseAddrPort(text); err == nil {
		return plain(ap.Addr()), nil
	}
	a, err := netip.ParseAddr(strings.Trim(text, "[]"))
	return plain(a), err
}

func plain(a netip.Addr) netip.Addr { return a.Unmap().WithZone("") }

// last is what the nearest proxy said.
func last(r *http.Request, header string) string {
	all := strings.Split(strings.Join(r.Header.Values(header), ","), ",")
	return strings.TrimSpace(all[len(all)-1])
}

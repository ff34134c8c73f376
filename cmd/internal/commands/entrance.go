package commands

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
)

// entrance is how a server is reached, and by whom.
type entrance struct {
	address, feed string
	cert, key     string
	ownCA         bool
	administrator bool
	proxy         []string

	proxies []netip.Prefix // read of proxy

	tls  *tls.Config // nil: without
	door *door.Door  // nil: nobody is asked who they are
}

// thisMachine reports whether an address can be reached from this machine alone. A name counts for what it says:
// what it stands for can change while the server runs.
func thisMachine(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false // listening will say what is wrong with it
	}
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.Unmap().IsLoopback()
}

// check refuses, before anything is opened, what would let everybody in.
func (e *entrance) check() error {
	if err := e.readProxies(); err != nil {
		return err
	}
	switch {
	case (e.cert == "") != (e.key == ""):
		return errors.New("--cert and --key belong together: the certificate and its private key")
	case e.cert != "" && e.ownCA:
		return errors.New("give --cert and --key, or --own-ca, not both")
	case e.cert != "" || e.ownCA:
		return nil
	case e.address != "" && !thisMachine(e.address):
		return fmt.Errorf("%s can be reached from other machines, and what is sent there could be read and changed on the way; "+
			"give a certificate with --cert and --key, or --own-ca to have one made, "+
			"or listen to this machine alone with --address %s", e.address, defaultAddress)
	case e.feed != "" && !thisMachine(e.feed):
		return fmt.Errorf("the feed at %s can be reached from other machines, and what is sent there could be read on the way; "+
			"give a certificate with --cert and --key, or --own-ca to have one made", e.feed)
	}
	return nil
}

// readProxies reads the addresses of proxies, each of one machine or of a network.
func (e *entrance) readProxies() error {
	for _, text := range e.proxy {
		p, err := netip.ParsePrefix(text)
		if a, alone := netip.ParseAddr(text); alone == nil {
			p, err = a.Unmap().Prefix(a.Unmap().BitLen())
		}
		if err != nil {
			return fmt.Errorf("--proxy %s: give the address of the proxy in figures, such as 10.1.2.3, "+
				"or of the network that it stands in, such as 10.1.2.0/24", text)
		}
		if p.Bits() == 0 {
			return fmt.Errorf("--proxy %s: that is every address, and anybody could say who they are", text)
		}
		e.proxies = append(e.proxies, p.Masked())
	}
	return nil
}

// openDoor opens the accounts, and prints what is shown once. Where nobody has an account and nobody else can reach the
// server, nobody is asked.
func (a *app) openDoor(s *site.Site, e *entrance, hosts []string) ([]web.Option, error) {
	o := door.Options{Dir: s.Dir(), Clock: a.env.Clock, Log: slog.New(slog.NewTextHandler(a.env.Err, nil))}
	var err error
	switch {
	case e.ownCA:
		if o.CA, err = door.OpenAuthority(s.Dir(), site.SiteOf(s.Name()), e.names(hosts), a.env.Clock); err != nil {
			return nil, err
		}
		e.tls = o.CA.TLS()
		fmt.Fprintf(a.env.Out, "the site's certificate authority has the SHA-256 fingerprint\n%s\n", o.CA.Fingerprint())
	case e.cert != "":
		pair, err := tls.LoadX509KeyPair(e.cert, e.key)
		if err != nil {
			return nil, fmt.Errorf("the server's certificate: %w", err)
		}
		e.tls = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}}
	}
	d, err := door.Open(o)
	if err != nil {
		return nil, err
	}
	beyond := !thisMachine(e.address) || len(e.proxies) > 0
	switch {
	case len(e.proxies) > 0 && !d.HasAdministrator() && !e.administrator:
		return nil, errors.New("--proxy lets others reach this server, and nobody can sign in yet; " +
			"give --administrator to have a one-time code printed with which the first administrator is made")
	case beyond && !d.HasAdministrator() && !e.administrator:
		return nil, fmt.Errorf("%s can be reached from other machines, and nobody can sign in yet; "+
			"give --administrator to have a one-time code printed with which the first administrator is made", e.address)
	case !d.Used() && !beyond && !e.administrator:
		return nil, nil
	}
	if e.administrator {
		code, err := d.AdministratorCode()
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(a.env.Out, "one-time code for an administrator, good for an hour, on the page /code: %s\n", code)
	}
	e.door = d
	return []web.Option{web.Accounts(d), web.Proxies(e.proxies...)}, nil
}

// names are those by which the server is asked: its authority vouches for these and no others.
func (e *entrance) names(hosts []string) []string {
	out := append(web.OwnNames(), hosts...)
	if host, _, err := net.SplitHostPort(e.address); err == nil {
		if ip, err := netip.ParseAddr(host); err == nil && !ip.IsUnspecified() {
			out = append(out, host)
		}
	}
	return out
}

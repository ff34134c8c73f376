package door

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/ledger/disk"
)

// Authority is a site's own small certificate authority. Its key lies in the data
// folder, and its certificate says for which names and addresses alone it vouches: a
// station that trusts it trusts nobody in another's name, not even whoever has stolen the key.
type Authority struct {
	cert  *x509.Certificate
	key   *ecdsa.PrivateKey
	names []string
	clock func() time.Time

	mu   sync.Mutex
	leaf *tls.Certificate
}

const (
	authorityFolder = "tls"
	authorityCert   = "ca.pem"
	authorityKey    = "ca.key"

	authorityYears = 10
	leafLasts      = 90 * 24 * time.Hour
	leafAnew       = 30 * 24 * time.Hour // before its end
	clocksDiffer   = 24 * time.Hour      // a tablet's may be behind
)

// OpenAuthority opens the authority of a data folder, or makes one for these names (host names and addresses).
func OpenAuthority(dir, site string, names []string, clock func() time.Time) (*Authority, error) {
	a := &Authority{names: names, clock: clock}
	folder := filepath.Join(dir, authorityFolder)
	path := filepath.Join(folder, authorityCert)
	_, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = a.begin(folder, site)
	case err == nil:
		err = a.read(folder)
	}
	if err != nil {
		return nil, fmt.Errorf("the site's certificate authority: %w", err)
	}
	for _, name := range names {
		if !a.vouches(name) {
			return nil, fmt.Errorf("the site's certificate authority in %s vouches for %s alone, not for %s; "+
				"start without that --host, or move the folder away to have another one made, "+
				"which every station must come to trust anew", folder, strings.Join(a.covers(), ", "), name)
		}
	}
	_, err = a.leafNow()
	return a, err
}

// covers lists what the authority vouches for.
func (a *Authority) covers() []string {
	out := slices.Clone(a.cert.PermittedDNSDomains)
	for _, n := range a.cert.PermittedIPRanges {
		out = append(out, n.IP.String())
	}
	return out
}

func (a *Authority) vouches(name string) bool { return slices.Contains(a.covers(), plainName(name)) }

// plainName writes a host's name or address in one form.
func plainName(name string) string {
	if ip, err := netip.ParseAddr(strings.Trim(name, "[]")); err == nil {
		return ip.Unmap().WithZone("").String()
	}
	return strings.TrimSuffix(strings.ToLower(name), ".")
}

func serial() (*big.Int, error) {
	const bits = 127 // RFC 5280: positive, at most 20 octets
	return rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), bits))
}

func (a *Authority) begin(folder, site string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	number, err := serial()
	if err != nil {
		return err
	}
	now := a.clock().UTC()
	t := &x509.Certificate{
		SerialNumber: number, Subject: pkix.Name{CommonName: "listbound " + site + " " + now.Format(time.DateOnly)},
		NotBefore: now.Add(-clocksDiffer), NotAfter: now.AddDate(authorityYears, 0, 0),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, PermittedDNSDomainsCritical: true,
	}
	// Where a kind of name is not constrained at all, any of its kind would be allowed: loopback is always there.
	for _, name := range append([]string{"localhost", "127.0.0.1", "::1"}, a.names...) {
		name = plainName(name)
		if ip, err := netip.ParseAddr(name); err == nil {
			raw := ip.AsSlice()
			whole := net.CIDRMask(len(raw)*8, len(raw)*8)
			if !slices.ContainsFunc(t.PermittedIPRanges, func(n *net.IPNet) bool { return n.IP.Equal(raw) }) {
				t.PermittedIPRanges = append(t.PermittedIPRanges, &net.IPNet{IP: raw, Mask: whole})
			}
		} else if !slices.Contains(t.PermittedDNSDomains, name) {
			t.PermittedDNSDomains = append(t.PermittedDNSDomains, name)
		}
	}
	raw, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	// The certificate comes last: without its key it would be of no use.
	if err := disk.Write(folder, authorityKey, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})); err != nil {
		return err
	}
	if err := disk.Write(folder, authorityCert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: raw})); err != nil {
		return err
	}
	return a.read(folder)
}

func (a *Authority) read(folder string) error {
	path := filepath.Join(folder, authorityKey)
	if err := disk.This().OwnersAlone(path, mode(path)); err != nil {
		return err
	}
	pair, err := tls.LoadX509KeyPair(filepath.Join(folder, authorityCert), path)
	if err != nil {
		return err
	}
	key, ok := pair.PrivateKey.(*ecdsa.PrivateKey)
	if !ok {
		return fmt.Errorf("%s is not a key that this program made", path)
	}
	a.cert, a.key = pair.Leaf, key
	return nil
}

// leafNow returns the server's certificate, made anew well before its end.
func (a *Authority) leafNow() (*tls.Certificate, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.clock().UTC()
	if a.leaf != nil && now.Before(a.leaf.Leaf.NotAfter.Add(-leafAnew)) {
		return a.leaf, nil
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("the server's certificate: %w", err)
	}
	number, err := serial()
	if err != nil {
		return nil, fmt.Errorf("the server's certificate: %w", err)
	}
	t := &x509.Certificate{
		SerialNumber: number, NotBefore: now.Add(-clocksDiffer), NotAfter: now.Add(leafLasts), DNSNames: a.cert.PermittedDNSDomains,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	for _, n := range a.cert.PermittedIPRanges {
		t.IPAddresses = append(t.IPAddresses, n.IP)
	}
	raw, err := x509.CreateCertificate(rand.Reader, t, a.cert, &key.PublicKey, a.key)
	if err != nil {
		return nil, fmt.Errorf("the server's certificate: %w", err)
	}
	leaf, err := x509.ParseCertificate(raw)
	if err != nil {
		return nil, fmt.Errorf("the server's certificate: %w", err)
	}
	a.leaf = &tls.Certificate{Certificate: [][]byte{raw, a.cert.Raw}, PrivateKey: key, Leaf: leaf}
	return a.leaf, nil
}

// TLS is what a server listens with.
func (a *Authority) TLS() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		return a.leafNow()
	}}
}

// PEM is the certificate that a station comes to trust.
func (a *Authority) PEM() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.cert.Raw})
}

// Fingerprint is by what people see that it came as it was sent: SHA-256, as browsers and systems show it.
func (a *Authority) Fingerprint() string {
	sum := sha256.Sum256(a.cert.Raw)
	var out []string
	for _, b := range sum {
		out = append(out, fmt.Sprintf("%02X", b))
	}
	return strings.Join(out, ":")
}

// trust is what the page about it shows.
type trust struct {
	Fingerprint string // of the site's own authority; empty where the certificate is another one
	Until       time.Time
	Covers      []string
}

func (d *Door) registerTrust(mux shell.Mux) {
	mux.HandleFunc("GET /trust", func(w http.ResponseWriter, r *http.Request) {
		var t trust
		if a := d.o.CA; a != nil {
			t = trust{a.Fingerprint(), a.cert.NotAfter, a.covers()}
		}
		d.render(w, r, http.StatusOK, "trust", "door.trust", t)
	})
	mux.HandleFunc("GET /trust/ca.pem", func(w http.ResponseWriter, r *http.Request) {
		if d.o.CA == nil {
			d.sh.FailText(w, r, refusal.WithCode(http.StatusNotFound, "%s", d.sh.Words(r).T("door.trust-none")))
			return
		}
		w.Header().Set("Content-Type", "application/x-x509-ca-cert")
		w.Header().Set("Content-Disposition", `attachment; filename="listbound-ca.pem"`)
		_, _ = w.Write(d.o.CA.PEM()) // a client that has gone away needs no answer
	})
}

package door_test

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
)

// TestOwnAuthority: whoever trusts the site's certificate reaches the server by each of its names without a warning, also when
// the first certificate is long over and after another start; nobody else does, and the authority can vouch for no other name.
func TestOwnAuthority(t *testing.T) {
	// Of today, since openssl and the library's handshake go by the machine's clock.
	clk := &clock{at: time.Now().UTC()}
	dir := t.TempDir()
	names := []string{"desk.north.example", "192.0.2.7", "2001:db8::7"}
	a, err := door.OpenAuthority(dir, "north", names, clk.now)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(a.PEM()) {
		t.Fatal("no certificate")
	}
	served := func(a *door.Authority, name string) error {
		here, there := net.Pipe()
		defer here.Close()
		defer there.Close()
		answered := make(chan struct{})
		go func() {
			defer close(answered)
			_ = tls.Server(there, a.TLS()).Handshake() // the client says what is wrong
			there.Close()
		}()
		err := tls.Client(here, &tls.Config{RootCAs: roots, ServerName: name, Time: clk.now}).Handshake()
		here.Close()
		<-answered
		return err
	}
	for _, name := range append(names, "localhost", "127.0.0.1", "::1") {
		if err := served(a, name); err != nil {
			t.Errorf("by %s: %v", name, err)
		}
	}
	for _, name := range []string{"evil.example", "north.example", "192.0.2.8"} {
		if err := served(a, name); err == nil {
			t.Errorf("by %s, which is not its name", name)
		}
	}
	again, err := door.OpenAuthority(dir, "north", names[:1], clk.now)
	if err != nil || again.Fingerprint() != a.Fingerprint() {
		t.Errorf("another start made another authority: %v", err)
	}
	if err := served(again, "192.0.2.7"); err != nil {
		t.Errorf("after a start: %v", err)
	}
	if _, err := door.OpenAuthority(dir, "north", []string{"new.north.example"}, clk.now); err == nil ||
		!strings.Contains(err.Error(), "new.north.example") || !strings.Contains(err.Error(), "trust anew") {
		t.Errorf("a name that it doesn't vouch for: %v", err)
	}
	for range 20 { // five years
		clk.move(91 * 24 * time.Hour)
		if err := served(a, "desk.north.example"); err != nil {
			t.Fatalf("at %s: %v", clk.now(), err)
		}
	}
	key := filepath.Join(dir, "tls", "ca.key")
	if info, err := os.Stat(key); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if err := os.Chmod(key, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := door.OpenAuthority(dir, "north", nil, clk.now); err == nil {
		t.Error("a key that others can read is used")
	}
}

// TestAuthorityCantVouchForOthers takes the authority's key, as a thief would, and has OpenSSL, which this program did not make, look at
// what it can be made to sign.
func TestAuthorityCantVouchForOthers(t *testing.T) {
	dir := t.TempDir()
	if _, err := door.OpenAuthority(dir, "north", []string{"desk.north.example"}, time.Now); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) ([]byte, error) {
		c := exec.CommandContext(t.Context(), "openssl", args...)
		c.Dir = dir
		return c.CombinedOutput()
	}
	for name, good := range map[string]bool{
		"DNS:desk.north.example": true, "IP:127.0.0.1": true, "DNS:bank.example": false, "IP:192.0.2.9": false,
		"DNS:desk.north.example.evil.example": false,
	} {
		if out, err := run("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout",
			"leaf.key", "-out", "leaf.csr",
			"-subj", "/CN=x", "-addext", "subjectAltName="+name); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		if out, err := run("x509", "-req", "-in", "leaf.csr", "-CA", "tls/ca.pem", "-CAkey", "tls/ca.key",
			"-CAcreateserial", "-copy_extensions", "copy",
			"-days", "9", "-out", "leaf.pem"); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		out, err := run("verify", "-x509_strict", "-CAfile", "tls/ca.pem", "leaf.pem")
		if (err == nil) != good {
			t.Errorf("%s: %v: %s", name, err, out)
		}
	}
}

// TestTrustPage: the page shows the fingerprint that the server printed, and the file is that certificate.
func TestTrustPage(t *testing.T) {
	h := newHouse(t)
	c := &caller{h: h}
	if _, text := c.get(t, "/trust"); !strings.Contains(text, "no authority of its own") {
		t.Errorf("without one: %s", text)
	}
	if code, _ := c.get(t, "/trust/ca.pem"); code != http.StatusNotFound {
		t.Errorf("without one: %d", code)
	}
	var err error
	if h.ca, err = door.OpenAuthority(h.dir, "north", []string{"desk.north.example"}, h.clock.now); err != nil {
		t.Fatal(err)
	}
	h.serve(t)
	if _, text := c.get(t, "/trust"); !strings.Contains(text, h.ca.Fingerprint()) || !strings.Contains(text, "desk.north.example") {
		t.Errorf("the page: %s", text)
	}
	_, file := c.get(t, "/trust/ca.pem")
	block, _ := pem.Decode([]byte(file))
	if block == nil || block.Type != "CERTIFICATE" || strings.Contains(file, "PRIVATE") {
		t.Fatalf("the file: %s", file)
	}
	cert, err := x509.ParseCertificate(block.Bytes)
	if err != nil || !cert.IsCA || !cert.PermittedDNSDomainsCritical {
		t.Errorf("%v", err)
	}
}

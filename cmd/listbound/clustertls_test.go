//go:build !race

package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// natsAuthority is a certificate authority of a test's own, and the files of what it vouches for.
type natsAuthority struct {
	t    *testing.T
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

func newNATSAuthority(t *testing.T, dir string) *natsAuthority {
	t.Helper()
	a := &natsAuthority{t: t, dir: dir}
	a.issue("ca", nil)
	return a
}

func (a *natsAuthority) must(err error) {
	a.t.Helper()
	if err != nil {
		a.t.Fatal(err)
	}
}

// file is where something of a name lies, such as server.pem.
func (a *natsAuthority) file(name string) string { return filepath.Join(a.dir, name) }

// issue makes NAME.pem and NAME.key; that of the authority itself is its first.
func (a *natsAuthority) issue(name string, use []x509.ExtKeyUsage) {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	a.must(err)
	serial, err := rand.Int(rand.Reader, big.NewInt(1<<62))
	a.must(err)
	c := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(time.Hour), ExtKeyUsage: use, KeyUsage: x509.KeyUsageDigitalSignature, BasicConstraintsValid: true,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	by, with := a.cert, a.key
	if by == nil {
		c.IsCA, c.KeyUsage = true, x509.KeyUsageCertSign
		by, with = c, key
	}
	raw, err := x509.CreateCertificate(rand.Reader, c, by, &key.PublicKey, with)
	a.must(err)
	if a.cert == nil {
		a.key = key
		a.cert, err = x509.ParseCertificate(raw)
		a.must(err)
	}
	private, err := x509.MarshalECPrivateKey(key)
	a.must(err)
	a.must(os.WriteFile(a.file(name+".pem"), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: raw}), 0o600))
	a.must(os.WriteFile(a.file(name+".key"), pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: private}), 0o600))
}

// pool is who trusts the authority.
func (a *natsAuthority) pool() *x509.CertPool {
	p := x509.NewCertPool()
	p.AddCert(a.cert)
	return p
}

// natsOperator is who says which accounts there are, and makes credentials for them.
type natsOperator struct {
	t        *testing.T
	key      nkeys.KeyPair
	accounts server.MemAccResolver
	secrets  []string // that nobody may print
}

func newNATSOperator(t *testing.T) *natsOperator {
	t.Helper()
	key, err := nkeys.CreateOperator()
	if err != nil {
		t.Fatal(err)
	}
	return &natsOperator{t: t, key: key}
}

func (o *natsOperator) must(err error) {
	o.t.Helper()
	if err != nil {
		o.t.Fatal(err)
	}
}

func public(t *testing.T, k nkeys.KeyPair) string {
	t.Helper()
	p, err := k.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// account makes an account, with a store for streams or without.
func (o *natsOperator) account(stores bool) nkeys.KeyPair {
	o.t.Helper()
	key, err := nkeys.CreateAccount()
	o.must(err)
	c := jwt.NewAccountClaims(public(o.t, key))
	if stores {
		c.Limits.JetStreamLimits = jwt.JetStreamLimits{MemoryStorage: 1 << 20, DiskStorage: 1 << 30, Streams: -1, Consumer: -1}
	}
	text, err := c.Encode(o.key)
	o.must(err)
	o.must(o.accounts.Store(public(o.t, key), text))
	return key
}

// credentials writes a file with those of a new user of an account.
func (o *natsOperator) credentials(path string, account nkeys.KeyPair) {
	o.t.Helper()
	key, err := nkeys.CreateUser()
	o.must(err)
	text, err := jwt.NewUserClaims(public(o.t, key)).Encode(account)
	o.must(err)
	seed, err := key.Seed()
	o.must(err)
	raw, err := jwt.FormatUserConfig(text, seed)
	o.must(err)
	o.secrets = append(o.secrets, string(seed), text)
	o.must(os.WriteFile(path, raw, 0o600))
}

// TestServeClusterOverTLS has a server write into NATS that wants TLS under an authority of its own, a certificate and the
// credentials of an account; and refuses whatever lacks one of these, without saying what is secret.
func TestServeClusterOverTLS(t *testing.T) {
	a := newNATSAuthority(t, t.TempDir())
	a.issue("server", []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth})
	a.issue("client", []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth})
	other := newNATSAuthority(t, t.TempDir())
	other.issue("client", []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth})
	pair, err := tls.LoadX509KeyPair(a.file("server.pem"), a.file("server.key"))
	if err != nil {
		t.Fatal(err)
	}
	o := newNATSOperator(t)
	system, ledgers, elsewhere := o.account(false), o.account(true), o.account(false)
	o.credentials(a.file("ledger.creds"), ledgers)
	o.credentials(a.file("without.creds"), elsewhere)
	operator := jwt.NewOperatorClaims(public(t, o.key))
	operator.SystemAccount = public(t, system)
	const patience = 30 // seconds; for a loaded machine
	n, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true, JetStream: true,
		StoreDir: t.TempDir(), JetStreamMaxStore: 1 << 30, JetStreamMaxMemory: 1 << 20, TrustedOperators: []*jwt.OperatorClaims{operator},
		AccountResolver: &o.accounts, SystemAccount: public(t, system), TLS: true, TLSTimeout: patience, AuthTimeout: patience,
		TLSConfig: &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}, ClientCAs: a.pool(),
			ClientAuth: tls.RequireAndVerifyClientCert}})
	if err != nil {
		t.Fatal(err)
	}
	n.Start()
	defer n.Shutdown()
	if !n.ReadyForConnections(time.Minute) {
		t.Fatal("the NATS server does not come up")
	}
	at := "tls://" + n.Addr().String()
	shown := []string{"--nats-ca", a.file("ca.pem"), "--nats-creds", a.file("ledger.creds"), "--nats-cert", a.file("client.pem"),
		"--nats-key", a.file("client.key")}
	s := serveCluster(t, t.TempDir(), at, shown...)
	url := s.until(t, `http://[0-9.:]+`)
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"stations", "enrol", "north/packing-1", "--server", url}, "enrolled by record 2"},
		{[]string{"verify", "--server", url}, "intact: 2 records"},
	} {
		if said, err := run(c.args...).CombinedOutput(); err != nil || !strings.Contains(string(said), c.says) {
			t.Errorf("%v: %v\n%s", c.args, err, said)
		}
	}
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for s.lines.Scan() { // until it has closed its output
	}
	if err := s.cmd.Wait(); err != nil {
		t.Errorf("the server ended with %v, and said\n%s", err, &s.said)
	}
	said := s.said.String()
	instead := func(flag, file string) []string {
		var out []string
		for i := 0; i < len(shown); i += 2 {
			switch {
			case shown[i] != flag:
				out = append(out, shown[i], shown[i+1])
			case file != "":
				out = append(out, flag, file)
			}
		}
		return out
	}
	for what, c := range map[string]struct {
		args []string
		says string
	}{
		"no authority":         {instead("--nats-ca", ""), "cannot be reached"},
		"another authority":    {instead("--nats-ca", other.file("ca.pem")), "cannot be reached"},
		"no credentials":       {instead("--nats-creds", ""), "the credentials file"},
		"an account of no use": {instead("--nats-creds", a.file("without.creds")), "the ledger needs JetStream"},
		"no such file":         {instead("--nats-creds", a.file("none.creds")), "cannot read what the cluster is to be shown"},
		"a certificate alone":  {instead("--nats-key", ""), "belong together"},
		"another's certificate": {append(instead("--nats-cert", other.file("client.pem"))[:6:6], "--nats-key", other.file("client.key")),
			"cannot be reached"},
	} {
		args := append([]string{"serve", "--data", t.TempDir(), "--site", "north", "--address", "127.0.0.1:0", "--nats", at}, c.args...)
		out, err := run(args...).CombinedOutput()
		if err == nil || !strings.Contains(string(out), c.says) {
			t.Errorf("%s: %v\n%s\nshould say %q", what, err, out, c.says)
		}
		said += string(out)
	}
	for _, secret := range o.secrets {
		if strings.Contains(said, secret) {
			t.Error("what is secret was said")
		}
	}
}

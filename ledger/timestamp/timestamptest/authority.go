// Package timestamptest is a time-stamping authority for tests: OpenSSL's, with
// certificates of its own.
package timestamptest

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"encoding/pem"
	"io"
	"math/big"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	rfc3161 "github.com/digitorus/timestamp"
)

// Authority is a time-stamping authority with a CA of its own.
type Authority struct {
	t    *testing.T
	Dir  string
	CA   *x509.Certificate
	Cert *x509.Certificate
	Key  *ecdsa.PrivateKey

	CAKey *ecdsa.PrivateKey
}

// New makes the certificates; with gives the authority's own other properties.
func New(t *testing.T, with func(*x509.Certificate)) *Authority {
	t.Helper()
	a := &Authority{t: t, Dir: t.TempDir()}
	caKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	root := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Invented root"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	a.CAKey = caKey
	a.CA = a.Certificate(root, root, caKey.Public(), caKey)
	if a.Key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		t.Fatal(err)
	}
	own := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "Invented time"},
		NotBefore: root.NotBefore, NotAfter: root.NotAfter, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtraExtensions: []pkix.Extension{ExtKeyUsage(t, true, OIDTimeStamping)},
	}
	if with != nil {
		with(own)
	}
	a.Cert = a.Certificate(own, a.CA, a.Key.Public(), caKey)
	key, err := x509.MarshalPKCS8PrivateKey(a.Key)
	if err != nil {
		t.Fatal(err)
	}
	a.Write("ca.pem", pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.CA.Raw}))
	a.Write("tsa.pem", pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.Cert.Raw}))
	a.Write("tsa.key", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: key}))
	a.Write("serial", []byte("01\n"))
	a.Write("ts.cnf", []byte("[tsa]\ndefault_tsa = t\n[t]\nserial = serial\ncrypto_device = builtin\nsigner_cert = tsa.pem\n"+
		"certs = ca.pem\nsigner_key = tsa.key\nsigner_digest = sha256\ndefault_policy = 1.2.3.4\ndigests = sha256\n"+
		"ordering = no\ntsa_name = no\ness_cert_id_chain = no\ness_cert_id_alg = sha256\naccuracy = secs:1\n"))
	return a
}

// What certificates can be for (RFC 5280, 4.2.1.12).
var (
	OIDTimeStamping = asn1.ObjectIdentifier{1, 3, 6, 1, 5, 5, 7, 3, 8}
	OIDCodeSigning  = asn1.ObjectIdentifier{1, 3, 6, 1, 5, 5, 7, 3, 3}
)

// ExtKeyUsage is the extension that says what a certificate is for.
func ExtKeyUsage(t *testing.T, critical bool, of ...asn1.ObjectIdentifier) pkix.Extension {
	t.Helper()
	value, err := asn1.Marshal(of)
	if err != nil {
		t.Fatal(err)
	}
	return pkix.Extension{Id: asn1.ObjectIdentifier{2, 5, 29, 37}, Critical: critical, Value: value}
}

// Certificate signs a certificate.
func (a *Authority) Certificate(c, by *x509.Certificate, key any, signer crypto.Signer) *x509.Certificate {
	a.t.Helper()
	der, err := x509.CreateCertificate(rand.Reader, c, by, key, signer)
	if err != nil {
		a.t.Fatal(err)
	}
	out, err := x509.ParseCertificate(der)
	if err != nil {
		a.t.Fatal(err)
	}
	return out
}

// Write writes a file into the authority's folder.
func (a *Authority) Write(name string, data []byte) {
	a.t.Helper()
	if err := os.WriteFile(filepath.Join(a.Dir, name), data, 0o600); err != nil {
		a.t.Fatal(err)
	}
}

// OpenSSL runs OpenSSL in the authority's folder.
func (a *Authority) OpenSSL(args ...string) string {
	a.t.Helper()
	cmd := exec.Command("openssl", args...)
	cmd.Dir = a.Dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		a.t.Fatalf("openssl %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return string(out)
}

// Handler answers as OpenSSL's own time-stamping authority does.
func (a *Authority) Handler(w http.ResponseWriter, r *http.Request) {
	query, err := io.ReadAll(r.Body)
	if err != nil || r.Header.Get("Content-Type") != "application/timestamp-query" {
		a.t.Errorf("the request: %s, %v", r.Header.Get("Content-Type"), err)
	}
	a.Write("query.tsq", query)
	a.OpenSSL("ts", "-reply", "-config", "ts.cnf", "-section", "t", "-queryfile", "query.tsq", "-out", "reply.tsr")
	reply, err := os.ReadFile(filepath.Join(a.Dir, "reply.tsr"))
	if err != nil {
		a.t.Error(err)
	}
	w.Header().Set("Content-Type", "application/timestamp-reply")
	if _, err := w.Write(reply); err != nil {
		a.t.Error(err)
	}
}

// Answer answers a request as of now, without OpenSSL.
func (a *Authority) Answer(query []byte) []byte {
	a.t.Helper()
	q, err := rfc3161.ParseRequest(query)
	if err != nil {
		a.t.Fatal(err)
	}
	return a.Reply(nil, rfc3161.Timestamp{Time: time.Now(), HashedMessage: q.HashedMessage, Nonce: q.Nonce})
}

// Roots are the certificates that whoever trusts the authority knows.
func (a *Authority) Roots() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(a.CA)
	return pool
}

// Reply is an answer made without OpenSSL, which refuses to make bad ones.
func (a *Authority) Reply(data []byte, stamp rfc3161.Timestamp) []byte {
	a.t.Helper()
	stamp.HashAlgorithm, stamp.Policy = crypto.SHA256, asn1.ObjectIdentifier{1, 2, 3, 4}
	if stamp.HashedMessage == nil {
		sum := sha256.Sum256(data)
		stamp.HashedMessage = sum[:]
	}
	stamp.AddTSACertificate = true
	out, err := stamp.CreateResponseWithOpts(a.Cert, a.Key, crypto.SHA256)
	if err != nil {
		a.t.Fatal(err)
	}
	return out
}

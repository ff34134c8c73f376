package timestamp_test

import (
	"bytes"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"math/big"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	rfc3161 "github.com/digitorus/timestamp"

	"listbound/ledger/timestamp"
	"listbound/ledger/timestamp/timestamptest"
)

var checkpoint = []byte("north/ledger\n2311\nQvKaDe==\n")

// TestOpenSSL: OpenSSL's authority timestamps a checkpoint, and OpenSSL verifies the
// answer as it was kept.
func TestOpenSSL(t *testing.T) {
	a := timestamptest.New(t, nil)
	srv := httptest.NewServer(http.HandlerFunc(a.Handler))
	defer srv.Close()
	asked := time.Now().Truncate(time.Second)
	c := &timestamp.Authority{URL: srv.URL, Roots: a.Roots()}
	response, got, err := c.Ask(t.Context(), checkpoint, big.NewInt(4711))
	if err != nil {
		t.Fatal(err)
	}
	if got.At.Before(asked) || got.At.After(time.Now()) || got.Signer != "CN=Invented time" || got.Accuracy != time.Second {
		t.Errorf("%+v", got)
	}
	a.Write("2311.tsr", response)
	a.Write("2311.checkpoint", checkpoint)
	verify := []string{"ts", "-verify", "-data", "2311.checkpoint", "-in", "2311.tsr", "-CAfile", "ca.pem"}
	if out := a.OpenSSL(verify...); !strings.Contains(out, "Verification: OK") {
		t.Errorf("openssl: %s", out)
	}
	if again, err := timestamp.Check(response, checkpoint, a.Roots()); err != nil || !again.At.Equal(got.At) {
		t.Errorf("checked again: %+v, %v", again, err)
	}
	other := append([]byte(nil), checkpoint...)
	other[15]++
	if _, err := timestamp.Check(response, other, a.Roots()); err == nil || !strings.Contains(err.Error(), "something else") {
		t.Errorf("of another checkpoint: %v", err)
	}
	if _, err := timestamp.Check(response, checkpoint, timestamptest.New(t, nil).Roots()); err == nil {
		t.Error("an authority that nobody trusts was believed")
	}
	for i := range response {
		bad := append([]byte(nil), response...)
		bad[i] ^= 1
		got, err := timestamp.Check(bad, checkpoint, a.Roots())
		if err == nil && (!got.At.Equal(again(t, a, response).At) || got.Signer != "CN=Invented time") {
			t.Errorf("with a bit of byte %d of %d turned it says %+v", i, len(response), got)
		}
	}
}

func again(t *testing.T, a *timestamptest.Authority, response []byte) timestamp.Timestamp {
	t.Helper()
	got, err := timestamp.Check(response, checkpoint, a.Roots())
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// TestBadCertificates: a certificate that RFC 3161 doesn't take for an authority's
// makes no timestamp.
func TestBadCertificates(t *testing.T) {
	now := time.Now()
	for _, c := range []struct {
		name, says string
		at         time.Time
		with       func(*x509.Certificate)
	}{
		{"good", "", now, nil},
		{"key usage not critical", "not for timestamps alone", now, func(c *x509.Certificate) {
			c.ExtraExtensions = []pkix.Extension{timestamptest.ExtKeyUsage(t, false, timestamptest.OIDTimeStamping)}
		}},
		{"for code as well", "not for timestamps alone", now, func(c *x509.Certificate) {
			c.ExtraExtensions = []pkix.Extension{timestamptest.ExtKeyUsage(t, true, timestamptest.OIDTimeStamping,
				timestamptest.OIDCodeSigning)}
		}},
		{"for code", "incompatible key usage", now, func(c *x509.Certificate) {
			c.ExtraExtensions = []pkix.Extension{timestamptest.ExtKeyUsage(t, true, timestamptest.OIDCodeSigning)}
		}},
		{"for anything", "not for timestamps alone", now, func(c *x509.Certificate) { c.ExtraExtensions = nil }},
		{"expired then", "expired", now.Add(48 * time.Hour), nil},
	} {
		a := timestamptest.New(t, c.with)
		got, err := timestamp.Check(a.Reply(checkpoint, rfc3161.Timestamp{Time: c.at}), checkpoint, a.Roots())
		switch {
		case c.says == "" && err != nil:
			t.Errorf("%s: %v", c.name, err)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: %+v, %v", c.name, got, err)
		}
	}
}

// TestOtherCertificate: another certificate of the same key, issuer and number can't be
// put in the place of the one that the signature names.
func TestOtherCertificate(t *testing.T) {
	a := timestamptest.New(t, nil)
	response := a.Reply(checkpoint, rfc3161.Timestamp{Time: time.Now()})
	own := a.Cert
	template := *own
	template.Subject.CommonName = "Inverted time"
	template.ExtraExtensions = []pkix.Extension{timestamptest.ExtKeyUsage(t, true, timestamptest.OIDTimeStamping)}
	for a.Cert = own; a.Cert.Equal(own) || len(a.Cert.Raw) != len(own.Raw); { // signatures differ in length
		a.Cert = a.Certificate(&template, a.CA, a.Key.Public(), a.CAKey)
	}
	swapped := bytes.Replace(response, own.Raw, a.Cert.Raw, 1)
	if bytes.Equal(swapped, response) {
		t.Fatal("the certificate was not found in the answer")
	}
	if got, err := timestamp.Check(swapped, checkpoint, a.Roots()); err == nil || !strings.Contains(err.Error(), "doesn't name") {
		t.Errorf("%+v, %v", got, err)
	}
}

// TestBadAnswers: what an authority answers instead of a timestamp is refused and said.
func TestBadAnswers(t *testing.T) {
	a := timestamptest.New(t, nil)
	refused, err := asn1.Marshal(struct {
		Status struct{ Status int }
	}{struct{ Status int }{2}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, says string
		status     int
		body       []byte
	}{
		{"other status", "503", http.StatusServiceUnavailable, nil},
		{"no timestamp", "no timestamp", http.StatusOK, []byte("<html>")},
		{"refused", "rejected", http.StatusOK, refused},
		{"too long", "longer", http.StatusOK, make([]byte, 2<<20)},
		{"of an older request", "another request", http.StatusOK, a.Reply(checkpoint,
			rfc3161.Timestamp{Time: time.Now(), Nonce: big.NewInt(1)})},
		{"of no request", "another request", http.StatusOK, a.Reply(checkpoint, rfc3161.Timestamp{Time: time.Now()})},
		{"of other data", "something else", http.StatusOK,
			a.Reply(checkpoint, rfc3161.Timestamp{Time: time.Now(), Nonce: big.NewInt(2), HashedMessage: make([]byte, 32)})},
	} {
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(c.status)
			_, _ = w.Write(c.body) // the client may have left
		}))
		_, _, err := (&timestamp.Authority{URL: srv.URL, Roots: a.Roots()}).Ask(t.Context(), checkpoint, big.NewInt(2))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
		srv.Close()
	}
	_, _, err = (&timestamp.Authority{URL: "http://127.0.0.1:1", Roots: a.Roots()}).Ask(t.Context(), checkpoint, big.NewInt(2))
	if err == nil || !strings.Contains(err.Error(), "can't be reached") {
		t.Errorf("nobody there: %v", err)
	}
}

// Package timestamp has an authority outside say when a checkpoint existed (RFC
// 3161, with the signing certificate's digest of RFC 5816). What it answers is
// the same file that others' programs read:
//
//	openssl ts -verify -data 2311.checkpoint -in 2311.tsr -CAfile ca.pem
package timestamp

import (
	"bytes"
	"context"
	"crypto"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/subtle"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net/http"
	"time"

	"github.com/digitorus/pkcs7"
	rfc3161 "github.com/digitorus/timestamp"
)

// maxResponse bounds what is read of an authority's answer, which is some 6 kB
// with the certificates.
const maxResponse = 1 << 20

// Authority is a time-stamping authority that somebody else runs.
type Authority struct {
	URL   string
	Roots *x509.CertPool // of its certificate
	HTTP  *http.Client   // nil: http.DefaultClient
}

// Timestamp is what an authority says of some data: that they existed at a time.
type Timestamp struct {
	At       time.Time
	Accuracy time.Duration // 0: not said
	Serial   *big.Int      // unique with the authority
	Signer   string        // the subject of the authority's certificate
}

// Ask has data timestamped and returns the answer as it came, checked. Only the
// digest of the data leaves the house. nonce is the number that the answer must
// repeat; it tells an answer to this request from an older one.
func (a *Authority) Ask(ctx context.Context, data []byte, nonce *big.Int) (response []byte, t Timestamp, err error) {
	digest := sha256.Sum256(data)
	query, err := (&rfc3161.Request{
		HashAlgorithm: crypto.SHA256, HashedMessage: digest[:], Certificates: true, Nonce: nonce,
	}).Marshal()
	if err != nil {
		return nil, t, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, a.URL, bytes.NewReader(query))
	if err != nil {
		return nil, t, err
	}
	req.Header.Set("Content-Type", "application/timestamp-query")
	client := a.HTTP
	if client == nil {
		client = http.DefaultClient
	}
	res, err := client.Do(req)
	if err != nil {
		return nil, t, fmt.Errorf("the timestamp authority can't be reached: %w", err)
	}
	defer res.Body.Close()
	response, err = io.ReadAll(io.LimitReader(res.Body, maxResponse+1))
	switch {
	case err != nil:
		return nil, t, fmt.Errorf("the timestamp authority's answer broke off: %w", err)
	case res.StatusCode != http.StatusOK:
		return nil, t, fmt.Errorf("the timestamp authority answered %s", res.Status)
	case len(response) > maxResponse:
		return nil, t, errors.New("the timestamp authority's answer is longer than any timestamp")
	}
	if t, err = check(response, data, a.Roots, nonce); err != nil {
		return nil, t, err
	}
	return response, t, nil
}

// Check holds a timestamp against the data that it is said to be of, and its
// signature against the certificates that are trusted.
func Check(response, data []byte, roots *x509.CertPool) (Timestamp, error) {
	return check(response, data, roots, nil)
}

func check(response, data []byte, roots *x509.CertPool, nonce *big.Int) (Timestamp, error) {
	r, err := rfc3161.ParseResponse(response)
	if err != nil {
		return Timestamp{}, fmt.Errorf("this is no timestamp, or it was refused: %w", err)
	}
	digest := sha256.Sum256(data)
	if r.HashAlgorithm != crypto.SHA256 || subtle.ConstantTimeCompare(r.HashedMessage, digest[:]) != 1 {
		return Timestamp{}, errors.New("the timestamp is of something else")
	}
	if nonce != nil && (r.Nonce == nil || r.Nonce.Cmp(nonce) != 0) {
		return Timestamp{}, errors.New("the timestamp answers another request")
	}
	signer, err := checkSignature(r, roots)
	if err != nil {
		return Timestamp{}, err
	}
	return Timestamp{At: r.Time.UTC(), Accuracy: r.Accuracy, Serial: r.SerialNumber, Signer: signer.Subject.String()}, nil
}

var (
	oidTimestampInfo        = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 1, 4} // id-ct-TSTInfo
	oidSigningCertificate   = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 2, 12}
	oidSigningCertificateV2 = asn1.ObjectIdentifier{1, 2, 840, 113549, 1, 9, 16, 2, 47}
	oidExtKeyUsage          = asn1.ObjectIdentifier{2, 5, 29, 37}
)

// checkSignature checks what RFC 3161 asks of the token beyond a good signature: one
// signer, whose certificate is for timestamps and nothing else, was valid at the
// time said, leads to a trusted one, and is the one that the signature names.
func checkSignature(r *rfc3161.Timestamp, roots *x509.CertPool) (*x509.Certificate, error) {
	p7, err := pkcs7.Parse(r.RawToken)
	if err != nil {
		return nil, fmt.Errorf("the timestamp's signature: %w", err)
	}
	signer := p7.GetOnlySigner()
	if signer == nil {
		return nil, errors.New("the timestamp doesn't come with the one certificate that signed it")
	}
	var content asn1.ObjectIdentifier
	if err := p7.UnmarshalSignedAttribute(pkcs7.OIDAttributeContentType, &content); err != nil || !content.Equal(oidTimestampInfo) {
		return nil, errors.New("what the authority signed is no timestamp")
	}
	between := x509.NewCertPool()
	for _, c := range p7.Certificates {
		between.AddCert(c)
	}
	err = p7.VerifyWithOpts(x509.VerifyOptions{
		Roots: roots, Intermediates: between, CurrentTime: r.Time,
		KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageTimeStamping},
	})
	if err != nil {
		return nil, fmt.Errorf("the timestamp's signature: %w", err)
	}
	if !forTimestampsAlone(signer) {
		return nil, fmt.Errorf("the certificate of %s is not for timestamps alone", signer.Subject)
	}
	if !namedBySignature(p7, signer) {
		return nil, fmt.Errorf("the signature doesn't name the certificate of %s", signer.Subject)
	}
	return signer, nil
}

// forTimestampsAlone reports whether a certificate's extended key usage is critical
// and timeStamping alone (RFC 3161, 2.3).
func forTimestampsAlone(c *x509.Certificate) bool {
	if len(c.ExtKeyUsage) != 1 || c.ExtKeyUsage[0] != x509.ExtKeyUsageTimeStamping || len(c.UnknownExtKeyUsage) > 0 {
		return false
	}
	for _, e := range c.Extensions {
		if e.Id.Equal(oidExtKeyUsage) {
			return e.Critical
		}
	}
	return false
}

// essCertID and essCertIDv2 are the digests of certificates that a signature
// covers (RFC 2634, 5.4.1; RFC 5035, 4).
type essCertID struct {
	Hash         []byte
	IssuerSerial asn1.RawValue `asn1:"optional"`
}

type essCertIDv2 struct {
	Algorithm    pkix.AlgorithmIdentifier `asn1:"optional"`
	Hash         []byte
	IssuerSerial asn1.RawValue `asn1:"optional"`
}

// namedBySignature reports whether the signed attributes hold the digest of the
// signer's certificate, so that no other one can be put in its place. A digest
// other than SHA-256 in the newer form is not looked at: none in use has one.
func namedBySignature(p7 *pkcs7.PKCS7, signer *x509.Certificate) bool {
	var v2 struct {
		Certs    []essCertIDv2
		Policies asn1.RawValue `asn1:"optional"`
	}
	if err := p7.UnmarshalSignedAttribute(oidSigningCertificateV2, &v2); err == nil {
		sum := sha256.Sum256(signer.Raw)
		return len(v2.Certs) > 0 && v2.Certs[0].Algorithm.Algorithm == nil && bytes.Equal(v2.Certs[0].Hash, sum[:])
	}
	var v1 struct {
		Certs    []essCertID
		Policies asn1.RawValue `asn1:"optional"`
	}
	if err := p7.UnmarshalSignedAttribute(oidSigningCertificate, &v1); err != nil {
		return false
	}
	sum := sha1.Sum(signer.Raw) // what RFC 3161 asks for; the signature itself is of another digest
	return len(v1.Certs) > 0 && bytes.Equal(v1.Certs[0].Hash, sum[:])
}

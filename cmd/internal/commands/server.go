package commands

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/http"
	"os"
	"strings"

	"listbound/cmd/internal/remote"
	"listbound/ledger/disk"
)

// askServer returns the service of --server, asked with the token of whoever runs the command.
func (a *app) askServer() (*remote.Client, error) {
	h := &http.Client{}
	if a.caFile != "" {
		raw, err := os.ReadFile(a.caFile)
		if err != nil {
			return nil, fmt.Errorf("the authority to trust: %w", err)
		}
		roots := x509.NewCertPool()
		if !roots.AppendCertsFromPEM(raw) {
			return nil, fmt.Errorf("%s holds no certificate (PEM)", a.caFile)
		}
		t := http.DefaultTransport.(*http.Transport).Clone() //nolint:forcetypeassert // the library's own
		t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}
		h.Transport = t
	}
	c, err := remote.New(a.server, h)
	if err != nil {
		return nil, err
	}
	token, err := a.token()
	if err != nil || token == "" {
		return c, err
	}
	return c.WithToken(token)
}

// token reads the token, "" for none.
func (a *app) token() (string, error) {
	if a.tokenFile == "" {
		return strings.TrimSpace(os.Getenv(remote.TokenVariable)), nil
	}
	info, err := os.Stat(a.tokenFile)
	if err != nil {
		return "", fmt.Errorf("the token: %w", err)
	}
	if err := disk.This().OwnersAlone(a.tokenFile, info.Mode()); err != nil {
		return "", err
	}
	raw, err := os.ReadFile(a.tokenFile)
	if err != nil {
		return "", fmt.Errorf("the token: %w", err)
	}
	token := strings.TrimSpace(string(raw))
	if token == "" {
		return "", fmt.Errorf("%s holds no token", a.tokenFile)
	}
	return token, nil
}

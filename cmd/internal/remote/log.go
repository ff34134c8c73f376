package remote

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"sync/atomic"
	"syscall"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
)

// Log is the log of a server's ledger, as a follower takes it in: checkpoints, tiles and entry bundles in the form of
// c2sp.org/tlog-tiles. It implements ledger.Log.
type Log struct {
	c    *Client
	wait time.Duration
	age  atomic.Int64
}

// Log returns the log of the server's ledger.
func (c *Client) Log() *Log { return &Log{c: c, wait: 10 * time.Second} }

// What is read of an answer at most. An entry bundle has 256 records of at most 65,535 bytes.
const (
	maxCheckpoint = 64 << 10
	maxTileBytes  = 256 * (2 + 65535)
)

// Checkpoint implements ledger.Log.
func (l *Log) Checkpoint(ctx context.Context) ([]byte, error) {
	return l.get(ctx, "checkpoint", maxCheckpoint, func(h http.Header) { l.age.Store(int64(ageOf(h))) })
}

// Age is how old the last checkpoint was when it came, as its answer says: that of a follower, or of a cache.
func (l *Log) Age() time.Duration { return time.Duration(l.age.Load()) }

// ageOf reads how many seconds ago what answers had what it answers from where it is made (RFC 9111, 5.1).
func ageOf(h http.Header) time.Duration {
	n, err := strconv.ParseInt(h.Get("Age"), 10, 32)
	if err != nil || n < 0 {
		return 0
	}
	return time.Duration(n) * time.Second
}

// Tile implements ledger.Log.
func (l *Log) Tile(ctx context.Context, name string) ([]byte, error) {
	return l.get(ctx, name, maxTileBytes, func(http.Header) {})
}

func (l *Log) get(ctx context.Context, name string, most int64, head func(http.Header)) ([]byte, error) {
	res, end, err := l.ask(ctx, name, l.c.Send)
	if err != nil {
		return nil, err
	}
	defer end()
	switch res.StatusCode {
	case http.StatusOK:
	case http.StatusNotFound:
		if name != "checkpoint" {
			return nil, os.ErrNotExist
		}
		return nil, l.answered(res.Status, "there is no ledger's log at %s, which answers %s", l.c.base, res.Status)
	case http.StatusUnauthorized, http.StatusForbidden:
		err := refusal.New("the server at %s does not let this program read the ledger's log: give it the token of a program that "+
			"may (role audits or investigates) with --token-file, or in the variable %s", l.c.base, TokenVariable)
		return nil, &site.LogError{Why: site.UnheardBarred, Says: res.Status, Err: err}
	default:
		return nil, l.answered(res.Status, "%s answered %s to %s", l.c.base, res.Status, "/log/"+name)
	}
	raw, err := io.ReadAll(io.LimitReader(res.Body, most+1))
	if err != nil {
		return nil, l.away(err, "reading %s of %s: %w", "/log/"+name, l.c.base, err)
	}
	if int64(len(raw)) > most {
		return nil, l.answered(res.Status, "%s of %s has more than %d bytes", "/log/"+name, l.c.base, most)
	}
	head(res.Header)
	return raw, nil
}

func (l *Log) answered(status, format string, args ...any) error {
	return &site.LogError{Why: site.UnheardAnswer, Says: status, Err: fmt.Errorf(format, args...)}
}

// away is an error of a server that can't be asked, for a reason that a person can do something about.
func (l *Log) away(cause error, format string, args ...any) error {
	e := &site.LogError{Why: site.UnheardAway, Err: fmt.Errorf(format, args...)}
	var certificate *tls.CertificateVerificationError
	var timeout interface{ Timeout() bool }
	var name *net.DNSError
	var number syscall.Errno
	var wrapped *url.Error
	switch {
	case errors.As(cause, &certificate):
		e.Why, e.Says = site.UnheardCertificate, certificate.Err.Error()
	case errors.As(cause, &timeout) && timeout.Timeout():
		e.Says = fmt.Sprintf("> %d s", int64(l.wait/time.Second))
	case errors.As(cause, &name):
		e.Says = name.Err + ": " + name.Name
	case errors.As(cause, &number):
		e.Says = number.Error()
	case errors.As(cause, &wrapped):
		e.Says = wrapped.Err.Error()
	default:
		e.Says = cause.Error()
	}
	return e
}

// ask asks for a file of the log. What it returns ends the answer.
func (l *Log) ask(
	ctx context.Context, name string, send func(*http.Request) (*http.Response, error),
) (*http.Response, func(), error) {
	ctx, cancel := context.WithTimeout(ctx, l.wait)
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, l.c.base+"/log/"+name, nil)
	if err != nil {
		cancel()
		return nil, nil, fmt.Errorf("asking %s: %w", l.c.base, err)
	}
	req.Header.Set("Cache-Control", "no-cache") // what stands between must not answer in the server's place
	res, err := send(req)
	if err != nil {
		cancel()
		return nil, nil, l.away(err, "the server at %s does not answer: %w", l.c.base, err)
	}
	return res, func() {
		_ = res.Body.Close()
		cancel()
	}, nil
}

// Asks reports whether the server wants to know who somebody is before it shows its log: it is asked without a token.
func (l *Log) Asks(ctx context.Context) (bool, error) {
	own := *l.c.http
	own.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse } // to where people sign in
	res, end, err := l.ask(ctx, "checkpoint", own.Do)
	if err != nil {
		return false, err
	}
	defer end()
	switch {
	case res.StatusCode == http.StatusOK:
		return false, nil
	case res.StatusCode == http.StatusUnauthorized, res.StatusCode == http.StatusForbidden,
		res.StatusCode >= 300 && res.StatusCode < 400:
		return true, nil
	}
	return false, errors.New("the server answered " + res.Status)
}

package remote

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"time"

	"listbound/cmd/internal/refusal"
)

// Log is the log of a server's ledger, as a follower takes it in: checkpoints, tiles and entry bundles in the form of
// c2sp.org/tlog-tiles. It implements ledger.Log.
type Log struct {
	c    *Client
	wait time.Duration
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
	return l.get(ctx, "checkpoint", maxCheckpoint)
}

// Tile implements ledger.Log.
func (l *Log) Tile(ctx context.Context, name string) ([]byte, error) {
	return l.get(ctx, name, maxTileBytes)
}

func (l *Log) get(ctx context.Context, name string, most int64) ([]byte, error) {
	res, end, err := l.ask(ctx, name, l.c.Send)
	if err != nil {
		return nil, err
	}
	defer end()
	switch res.StatusCode {
	case http.StatusOK:
	case http.StatusNotFound:
		return nil, os.ErrNotExist
	case http.StatusUnauthorized, http.StatusForbidden:
		return nil, refusal.New("the server at %s does not let this program read the ledger's log: give it the token of a program that "+
			"may (role audits or investigates) with --token-file, or in the variable %s", l.c.base, TokenVariable)
	default:
		return nil, fmt.Errorf("%s answered %s to %s", l.c.base, res.Status, "/log/"+name)
	}
	raw, err := io.ReadAll(io.LimitReader(res.Body, most+1))
	if err != nil {
		return nil, fmt.Errorf("reading %s of %s: %w", "/log/"+name, l.c.base, err)
	}
	if int64(len(raw)) > most {
		return nil, fmt.Errorf("%s of %s has more than %d bytes", "/log/"+name, l.c.base, most)
	}
	return raw, nil
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
	res, err := send(req)
	if err != nil {
		cancel()
		return nil, nil, fmt.Errorf("the server at %s does not answer: %w", l.c.base, err)
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

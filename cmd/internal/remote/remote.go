// Package remote answers like a data folder, by asking a listbound server.
package remote

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/assess"
	"listbound/projections/rates"
	"listbound/projections/run"
)

// TokenVariable is the environment variable that holds a token. No argument does: others on the machine can read those.
const TokenVariable = "LISTBOUND_TOKEN"

// Client asks the server at Base.
type Client struct {
	base  string
	http  *http.Client
	token string
}

// WithToken returns the client that asks with a token. It is sent to this server alone, and over TLS, or to
// this machine.
func (c *Client) WithToken(token string) (*Client, error) {
	u, err := url.Parse(c.base)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", c.base, err)
	}
	ip, err := netip.ParseAddr(u.Hostname())
	if u.Scheme != "https" && u.Hostname() != "localhost" && (err != nil || !ip.Unmap().IsLoopback()) {
		return nil, fmt.Errorf("a token is not sent to %s, where others could read it on the way; ask the server by https", c.base)
	}
	if strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }) || token == "" {
		return nil, errors.New("this is no token: a token has letters, digits, - and _, and stands alone in its file")
	}
	own := *c.http
	// An answer that leads elsewhere would take the token along.
	own.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	return &Client{base: c.base, http: &own, token: token}, nil
}

// New returns a client of the server at an address such as http://127.0.0.1:8320.
func New(base string, c *http.Client) (*Client, error) {
	u, err := url.Parse(base)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, fmt.Errorf("%q is not the address of a server (for example http://127.0.0.1:8320)", base)
	}
	return &Client{base: strings.TrimSuffix(base, "/"), http: c}, nil
}

var _ site.Service = (*Client)(nil)

// Base is the server's address.
func (c *Client) Base() string { return c.base }

// Close implements site.Service.
func (c *Client) Close() error {
	c.http.CloseIdleConnections()
	return nil
}

// Send sends a request to the server, with the token.
func (c *Client) Send(req *http.Request) (*http.Response, error) {
	if !strings.HasPrefix(req.URL.String(), c.base+"/") {
		return nil, fmt.Errorf("%s is not at the server %s", req.URL.Host, c.base)
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	return c.http.Do(req)
}

func (c *Client) do(ctx context.Context, method, path string, form url.Values, body io.Reader) (*http.Response, error) {
	u := c.base + path
	if len(form) > 0 {
		u += "?" + form.Encode()
	}
	req, err := http.NewRequestWithContext(ctx, method, u, body)
	if err != nil {
		return nil, fmt.Errorf("asking %s: %w", c.base, err)
	}
	res, err := c.Send(req)
	if err != nil {
		return nil, fmt.Errorf("asking %s: %w; is the server running there?", c.base, err)
	}
	if res.StatusCode == http.StatusOK {
		return res, nil
	}
	defer res.Body.Close()
	var f shell.Failure
	if err := json.UnmarshalRead(res.Body, &f); err != nil || f.Error == "" {
		return nil, fmt.Errorf("%s answered %s, which is no answer of a listbound server", c.base, res.Status)
	}
	return nil, failed(res.StatusCode, f)
}

// failed turns an answer back into the error that it was on the server.
func failed(code int, f shell.Failure) error {
	switch rest, unheardOf := strings.CutPrefix(f.Error, site.ErrNotFound.Error()); {
	case code == http.StatusNotFound && unheardOf:
		return fmt.Errorf("%w%s", site.ErrNotFound, rest)
	case f.Why == refusal.NotLetInHere:
		return refusal.NotLetIn(code, "%s Ask with a token of the role that may: --token-file, or the variable %s.",
			f.Error, TokenVariable)
	case f.Why == refusal.Refused, f.Why == refusal.TooLarge:
		return refusal.WithCode(code, "%s", f.Error)
	case f.Why == refusal.Unknown:
		return &serverError{f.Error, ledger.ErrUnknownOutcome}
	case f.Why == refusal.NoRoom:
		return &serverError{f.Error, errors.Join(ledger.ErrStopped, ledger.ErrNoRoom)}
	case f.Why == refusal.Unavailable:
		return &serverError{f.Error, ledger.ErrStopped}
	}
	return errors.New(f.Error)
}

// serverError is what the server said of its error, in its words.
type serverError struct {
	says string
	is   error
}

func (e *serverError) Error() string { return e.says }
func (e *serverError) Unwrap() error { return e.is }

func ask[T any](ctx context.Context, c *Client, method, path string, form url.Values) (T, error) {
	res, err := c.do(ctx, method, path, form, nil)
	if err != nil {
		var v T
		return v, err
	}
	return read[T](c, res)
}

// read reads an answer.
func read[T any](c *Client, res *http.Response) (v T, err error) {
	defer res.Body.Close()
	if err := json.UnmarshalRead(res.Body, &v); err != nil {
		return v, fmt.Errorf("%s gave an answer that can't be read: %w", c.base, err)
	}
	return v, nil
}

// Consistency implements site.Service.
func (c *Client) Consistency(ctx context.Context, from int64) (*proof.Consistency, error) {
	form := url.Values{"from": {strconv.FormatInt(from, 10)}}
	res, err := c.do(ctx, http.MethodGet, "/api/consistency", form, nil)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	const longest = 64 << 10
	raw, err := io.ReadAll(io.LimitReader(res.Body, longest))
	if err != nil {
		return nil, fmt.Errorf("asking %s: %w", c.base, err)
	}
	p, err := proof.ParseConsistency(raw)
	if err != nil {
		return nil, fmt.Errorf("%s gave a proof that can't be read: %w", c.base, err)
	}
	return &p, nil
}

// RootAt implements site.Service.
func (c *Client) RootAt(ctx context.Context, size int64) (root tlog.Hash, err error) {
	form := url.Values{"size": {strconv.FormatInt(size, 10)}}
	res, err := c.do(ctx, http.MethodGet, "/api/root", form, nil)
	if err != nil {
		return root, err
	}
	defer res.Body.Close()
	const longest = 100
	raw, err := io.ReadAll(io.LimitReader(res.Body, longest))
	if err == nil {
		root, err = proof.ParseHash(strings.TrimSpace(string(raw)))
	}
	if err != nil {
		return root, fmt.Errorf("asking %s: %w", c.base, err)
	}
	return root, nil
}

// Record implements site.Service.
func (c *Client) Record(ctx context.Context, lines io.Reader, emit func(site.Receipt) error) error {
	res, err := c.do(ctx, http.MethodPost, "/api/observations", nil, io.NopCloser(lines))
	if err != nil {
		return err
	}
	defer res.Body.Close()
	sc := bufio.NewScanner(res.Body)
	for sc.Scan() {
		var r site.Receipt
		if err := json.Unmarshal(sc.Bytes(), &r); err != nil {
			return fmt.Errorf("%s gave a receipt that can't be read: %w", c.base, err)
		}
		if r.Error != "" && r.Line == 0 { // no receipt: what stopped the recording as a whole
			var f shell.Failure
			if err := json.Unmarshal(sc.Bytes(), &f); err != nil {
				return fmt.Errorf("%s gave an answer that can't be read: %w", c.base, err)
			}
			return failed(http.StatusBadRequest, f)
		}
		if err := emit(r); err != nil {
			return err
		}
	}
	if err := sc.Err(); err != nil {
		return fmt.Errorf("the server's receipts broke off: %w; record the same file again, nothing is stored twice",
			err)
	}
	return nil
}

// Broken implements site.Service.
func (c *Client) Broken(ctx context.Context) ([]projections.Verdict, error) {
	return c.BrokenAt(ctx, time.Time{})
}

// Incidents implements site.Service.
func (c *Client) Incidents(ctx context.Context, closed bool, at time.Time) ([]projections.Incident, error) {
	q := url.Values{}
	if closed {
		q.Set("closed", "1")
	}
	return ask[[]projections.Incident](ctx, c, http.MethodGet, "/api/incidents", web.FormatAsOf(q, at))
}

// BrokenAt implements site.Service.
func (c *Client) BrokenAt(ctx context.Context, at time.Time) ([]projections.Verdict, error) {
	return ask[[]projections.Verdict](ctx, c, http.MethodGet, "/api/broken", web.FormatAsOf(url.Values{}, at))
}

// NearMissesAt implements site.Service.
func (c *Client) NearMissesAt(ctx context.Context, at time.Time) ([]projections.Verdict, error) {
	return ask[[]projections.Verdict](ctx, c, http.MethodGet, "/api/near-misses", web.FormatAsOf(url.Values{}, at))
}

// Rates implements site.Service.
func (c *Client) Rates(ctx context.Context, q site.RatesQuery) (*rates.Report, error) {
	return ask[*rates.Report](ctx, c, http.MethodGet, "/api/rates", web.FormatRatesQuery(q))
}

// Assess implements site.Service.
func (c *Client) Assess(ctx context.Context, q site.AssessQuery) (*assess.Assessment, error) {
	raw, err := json.Marshal(q)
	if err != nil {
		return nil, err
	}
	res, err := c.do(ctx, http.MethodPost, "/api/assess", nil, bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	return read[*assess.Assessment](c, res)
}

// KeepRunLog implements site.Service.
func (c *Client) KeepRunLog(ctx context.Context, raw []byte) (*site.KeptLog, error) {
	res, err := c.do(ctx, http.MethodPost, "/api/runs/logs", nil, bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	return read[*site.KeptLog](c, res)
}

// Runs implements site.Service.
func (c *Client) Runs(ctx context.Context, q site.RunsQuery) ([]run.Recorded, error) {
	return ask[[]run.Recorded](ctx, c, http.MethodGet, "/api/runs",
		web.FormatAsOf(url.Values{"load": {q.Load}, "sterilizer": {q.Sterilizer}}, q.AsOf))
}

// ImportSchedule implements site.Service.
func (c *Client) ImportSchedule(ctx context.Context, raw []byte, asked site.ScheduleAsked) (*site.ScheduleImported, error) {
	res, err := c.do(ctx, http.MethodPost, "/api/schedule", web.FormatScheduleAsked(asked), bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	return read[*site.ScheduleImported](c, res)
}

// Schedule implements site.Service.
func (c *Client) Schedule(ctx context.Context, q site.ScheduleQuery) (*site.Day, error) {
	return ask[*site.Day](ctx, c, http.MethodGet, "/api/schedule", web.FormatAsOf(url.Values{"day": {q.Day}}, q.AsOf))
}

// History implements site.Service.
func (c *Client) History(ctx context.Context, q site.Query) (*projections.History, error) {
	return ask[*projections.History](ctx, c, http.MethodGet, "/api/history", web.FormatQuery(q))
}

// Verify implements site.Service. The server does not report progress.
func (c *Client) Verify(ctx context.Context, _ site.Progress) (*site.Verification, error) {
	return ask[*site.Verification](ctx, c, http.MethodGet, "/api/verify", nil)
}

// Evidence implements site.Service.
func (c *Client) Evidence(ctx context.Context, q site.Query, w io.Writer) error {
	res, err := c.do(ctx, http.MethodGet, "/api/evidence", web.FormatQuery(q), nil)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if _, err := io.Copy(w, res.Body); err != nil {
		return fmt.Errorf("the bundle broke off: %w", err)
	}
	return nil
}

// ReportingCopy implements site.Service.
func (c *Client) ReportingCopy(ctx context.Context, w io.Writer, at time.Time, _ site.Progress) error {
	res, err := c.do(ctx, http.MethodGet, "/api/reporting-copy", web.FormatAsOf(url.Values{}, at), nil)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if _, err := io.Copy(w, res.Body); err != nil {
		return fmt.Errorf("the reporting copy broke off: %w", err)
	}
	return nil
}

// Rebuild implements site.Service.
func (c *Client) Rebuild(ctx context.Context, _ site.Progress) (int64, error) {
	r, err := ask[web.Rebuilt](ctx, c, http.MethodPost, "/api/rebuild", nil)
	return r.Records, err
}

// Lists implements site.Service.
func (c *Client) Lists(ctx context.Context, list string) ([]site.ListVersion, error) {
	return c.ListsAt(ctx, list, time.Time{})
}

// ListsAt implements site.Service.
func (c *Client) ListsAt(ctx context.Context, list string, at time.Time) ([]site.ListVersion, error) {
	form := web.FormatAsOf(url.Values{}, at)
	if list != "" {
		form.Set("list", list)
	}
	return ask[[]site.ListVersion](ctx, c, http.MethodGet, "/api/lists", form)
}

// Stations implements site.Service.
func (c *Client) Stations(ctx context.Context) ([]site.Station, error) {
	return c.StationsAt(ctx, time.Time{})
}

// StationsAt implements site.Service.
func (c *Client) StationsAt(ctx context.Context, at time.Time) ([]site.Station, error) {
	return ask[[]site.Station](ctx, c, http.MethodGet, "/api/stations", web.FormatAsOf(url.Values{}, at))
}

// Enrol implements site.Service.
func (c *Client) Enrol(ctx context.Context, station, key, reason string) (*site.Receipt, error) {
	return ask[*site.Receipt](ctx, c, http.MethodPost, "/api/stations/enrol",
		url.Values{"station": {station}, "key": {key}, "reason": {reason}})
}

// Retire implements site.Service.
func (c *Client) Retire(ctx context.Context, station, reason string, asOf time.Time) (*site.Receipt, error) {
	form := url.Values{"station": {station}, "reason": {reason}}
	if !asOf.IsZero() {
		form.Set("asOf", asOf.UTC().Format(time.RFC3339))
	}
	return ask[*site.Receipt](ctx, c, http.MethodPost, "/api/stations/retire", form)
}

// Texts implements site.Service.
func (c *Client) Texts(ctx context.Context) (*site.TextsKept, error) {
	return ask[*site.TextsKept](ctx, c, http.MethodGet, "/api/texts", nil)
}

// Redact implements site.Service. What is asked stands in the body: addresses are written down, by the server and on the way.
func (c *Client) Redact(ctx context.Context, r site.Redaction) (*site.Redacted, error) {
	raw, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	res, err := c.do(ctx, http.MethodPost, "/api/texts/redact", nil, bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	return read[*site.Redacted](c, res)
}

// Policy implements site.Service.
func (c *Client) Policy(ctx context.Context) (*site.PolicyInForce, error) {
	return c.PolicyAt(ctx, time.Time{})
}

// PolicyAt implements site.Service.
func (c *Client) PolicyAt(ctx context.Context, at time.Time) (*site.PolicyInForce, error) {
	return ask[*site.PolicyInForce](ctx, c, http.MethodGet, "/api/policy", web.FormatAsOf(url.Values{}, at))
}

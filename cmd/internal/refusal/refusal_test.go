package refusal_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"syscall"
	"testing"

	"listbound/cmd/internal/refusal"
	"listbound/ledger"
	"listbound/projections/readmodel"
)

// want is what an error must come to outside.
type want struct {
	code int
	why  refusal.Why
	text string
}

func refused(code int, text string) want { return want{code, refusal.Refused, text} }
func failed(text string) want            { return want{500, refusal.Failed, text} }
func unavailable(text string) want       { return want{503, refusal.Unavailable, text} }

var errSecret = errors.New("open /srv/data/readmodel.db: disk I/O error")

func TestAnswer(t *testing.T) {
	tooLarge := &http.MaxBytesError{Limit: 10}
	full := want{503, refusal.NoRoom, "recording goes on by itself"}
	stopped := unavailable("nothing can be recorded")
	for _, test := range []struct {
		name string
		err  error
		want want
	}{
		{"refused", refusal.New("set %s has no trip", "A"), refused(400, "set A has no trip")},
		{"refused with a status", fmt.Errorf("%w of set A", refusal.WithCode(404, "nothing is recorded here")),
			refused(404, "nothing is recorded here of set A")},
		{"made a refusal", refusal.Because(errors.New("duplicate member")), refused(400, "duplicate member")},
		{"too large", fmt.Errorf("reading: %w", tooLarge), want{413, refusal.TooLarge, "more than 10 bytes"}},
		{"a failure", fmt.Errorf("draft: %w", errSecret), failed("incident i1")},
		{"unknown outcome", fmt.Errorf("append: %w", ledger.ErrUnknownOutcome),
			want{503, refusal.Unknown, "nothing is stored twice"}},
		{"closed", ledger.ErrClosed, unavailable("incident i1")},
		{"closed folder", refusal.ErrClosed, unavailable("incident i1")},
		{"stopped", fmt.Errorf("x: %w", ledger.ErrStopped), stopped},
		{"judgement stopped", fmt.Errorf("x: %w", readmodel.ErrStopped), stopped},
		{"read-only disk", fmt.Errorf("write: %w", syscall.EROFS), stopped},
		{"a refusal joined with a failure", errors.Join(refusal.New("no such set"), errSecret), failed("incident i1")},
		{"two refusals joined", errors.Join(refusal.New("a"), refusal.WithCode(404, "b")), refused(400, "a")},
		{"too large, and refused for it", refusal.New("the form: %w", tooLarge),
			want{413, refusal.TooLarge, "more than 10 bytes"}},
		{"a failure of a kind, not of the client", context.DeadlineExceeded, failed("incident i1")},
		{"disk full", fmt.Errorf("write: %w", syscall.ENOSPC), full},
		{"quota used up", fmt.Errorf("write: %w", syscall.EDQUOT), full},
		{"the ledger's disk full", fmt.Errorf("x: %w", errors.Join(ledger.ErrStopped, ledger.ErrNoRoom)), full},
		{"damaged", fmt.Errorf("x: %w", &ledger.DamagedError{Dir: "/srv/data"}), stopped},
	} {
		t.Run(test.name, func(t *testing.T) { checkAnswer(t, test.err, test.want) })
	}
}

// checkAnswer holds the answer to an error against what it must be. What is the
// server's own fault is logged, once, under its incident.
func checkAnswer(t *testing.T, err error, want want) {
	t.Helper()
	var log bytes.Buffer
	c := refusal.Clerk{Log: slog.New(slog.NewTextHandler(&log, nil)), NewIncident: func() string { return "i1" }}
	a := c.Answer(httptest.NewRequest("POST", "/api/x", nil), err)
	if a.Code != want.code || a.Why != want.why || !strings.Contains(a.Text, want.text) {
		t.Errorf("%+v", a)
	}
	if strings.Contains(a.Text, "/srv") || strings.Contains(a.Text, "I/O") {
		t.Errorf("the answer tells of the inside: %s", a.Text)
	}
	head := make(http.Header)
	if a.Head(head); (head.Get("Retry-After") != "") != (a.Code == http.StatusServiceUnavailable) {
		t.Errorf("%d with Retry-After %q", a.Code, head.Get("Retry-After"))
	}
	logged := want.code >= 500
	lines := strings.Count(log.String(), "\n")
	if (lines == 1) != logged || lines > 1 {
		t.Errorf("%d lines in the log: %s", lines, log.String())
	}
	if logged && (!strings.Contains(log.String(), "incident=i1") || a.Incident != "i1") {
		t.Errorf("not found by its incident: %s", log.String())
	}
}

func TestRequestGivenUp(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var log bytes.Buffer
	c := refusal.Clerk{Log: slog.New(slog.NewTextHandler(&log, nil))}
	gone := httptest.NewRequest("GET", "/", nil).WithContext(ctx)
	for _, err := range []error{context.Canceled, context.DeadlineExceeded, fmt.Errorf("write: %w", syscall.EPIPE)} {
		if a := c.Answer(gone, err); a.Why != refusal.Gone || log.Len() > 0 {
			t.Errorf("a request that was given up: %+v, logged %q", a, log.String())
		}
	}
	if a := c.Answer(gone, errSecret); a.Why != refusal.Failed || log.Len() == 0 {
		t.Errorf("a failure that nobody waits for: %+v", a)
	}
	if a := c.Answer(httptest.NewRequest("GET", "/", nil), errors.New("x")); len(a.Incident) != 8 {
		t.Errorf("incident %q", a.Incident)
	}
}

func TestIs(t *testing.T) {
	if refusal.Because(nil) != nil || refusal.Is(errors.New("x")) ||
		!refusal.Is(fmt.Errorf("y: %w", refusal.New("x"))) {
		t.Error("what is a refusal")
	}
}

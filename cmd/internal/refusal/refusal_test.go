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
)

func TestAnswer(t *testing.T) {
	secret := errors.New("open /srv/data/readmodel.db: disk I/O error")
	for _, test := range []struct {
		name   string
		err    error
		code   int
		why    refusal.Why
		text   string
		logged bool
	}{
		{"refused", refusal.New("set %s has no trip", "A"), 400, refusal.Refused, "set A has no trip", false},
		{"refused with a status", fmt.Errorf("%w of set A", refusal.WithCode(404, "nothing is recorded here")), 404, refusal.Refused, "nothing is recorded here of set A", false},
		{"made a refusal", refusal.Because(errors.New("duplicate member")), 400, refusal.Refused, "duplicate member", false},
		{"too large", fmt.Errorf("reading: %w", &http.MaxBytesError{Limit: 10}), 413, refusal.TooLarge, "more than 10 bytes", false},
		{"a failure", fmt.Errorf("draft: %w", secret), 500, refusal.Failed, "incident i1", true},
		{"unknown outcome", fmt.Errorf("append: %w", ledger.ErrUnknownOutcome), 503, refusal.Unknown, "nothing is stored twice", true},
		{"closed", ledger.ErrClosed, 503, refusal.Unavailable, "incident i1", true},
		{"closed folder", refusal.ErrClosed, 503, refusal.Unavailable, "incident i1", true},
		{"stopped", fmt.Errorf("x: %w", ledger.ErrStopped), 503, refusal.Unavailable, "nothing can be recorded", true},
		{"read-only disk", fmt.Errorf("write: %w", syscall.EROFS), 503, refusal.Unavailable, "nothing can be recorded", true},
		{"a refusal joined with a failure", errors.Join(refusal.New("no such set"), secret), 500, refusal.Failed, "incident i1", true},
		{"two refusals joined", errors.Join(refusal.New("a"), refusal.WithCode(404, "b")), 400, refusal.Refused, "a", false},
		{"too large, and refused for it", refusal.New("the form: %w", &http.MaxBytesError{Limit: 10}), 413, refusal.TooLarge, "more than 10 bytes", false},
		{"a failure of a kind, not of the client", context.DeadlineExceeded, 500, refusal.Failed, "incident i1", true},
		{"disk full", fmt.Errorf("write: %w", syscall.ENOSPC), 503, refusal.Unavailable, "nothing can be recorded", true},
		{"damaged", fmt.Errorf("x: %w", &ledger.DamagedError{Dir: "/srv/data"}), 503, refusal.Unavailable, "nothing can be recorded", true},
	} {
		t.Run(test.name, func(t *testing.T) {
			var log bytes.Buffer
			c := refusal.Clerk{Log: slog.New(slog.NewTextHandler(&log, nil)), NewIncident: func() string { return "i1" }}
			a := c.Answer(httptest.NewRequest("POST", "/api/x", nil), test.err)
			if a.Code != test.code || a.Why != test.why || !strings.Contains(a.Text, test.text) {
				t.Errorf("%+v", a)
			}
			if strings.Contains(a.Text, "/srv") || strings.Contains(a.Text, "I/O") {
				t.Errorf("the answer tells of the inside: %s", a.Text)
			}
			head := make(http.Header)
			if a.Head(head); (head.Get("Retry-After") != "") != (a.Code == http.StatusServiceUnavailable) {
				t.Errorf("%d with Retry-After %q", a.Code, head.Get("Retry-After"))
			}
			lines := strings.Count(log.String(), "\n")
			if (lines == 1) != test.logged || lines > 1 {
				t.Errorf("%d lines in the log: %s", lines, log.String())
			}
			if test.logged && (!strings.Contains(log.String(), "incident=i1") || a.Incident != "i1") {
				t.Errorf("not found by its incident: %s", log.String())
			}
		})
	}
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
	if a := c.Answer(gone, secret); a.Why != refusal.Failed || log.Len() == 0 {
		t.Errorf("a failure that nobody waits for: %+v", a)
	}
	if a := c.Answer(httptest.NewRequest("GET", "/", nil), errors.New("x")); len(a.Incident) != 8 {
		t.Errorf("incident %q", a.Incident)
	}
	if refusal.Because(nil) != nil || refusal.Is(errors.New("x")) || !refusal.Is(fmt.Errorf("y: %w", refusal.New("x"))) {
		t.Error("what is a refusal")
	}
}

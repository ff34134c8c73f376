// Package refusal tells what was refused from what went wrong, and turns both
// into one answer, for pages and programs alike.
//
// A refusal is about what somebody asked or handed in: it says what, where, and
// what to do, and its text goes out as it is. Everything else is the server's
// own failure: it is logged once under an incident number, and tells the
// outside nothing about the inside. What was handed in may be handed in again.
package refusal

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"listbound/ledger"
	"log/slog"
	"net/http"
	"syscall"
)

// Error is a refusal with the HTTP status of its answer.
type Error struct {
	Code int
	err  error
}

func (e *Error) Error() string { return e.err.Error() }

// Unwrap returns what was refused.
func (e *Error) Unwrap() error { return e.err }

// New returns a refusal of a malformed or impossible request.
func New(format string, args ...any) error { return WithCode(http.StatusBadRequest, format, args...) }

// WithCode returns a refusal with a status of its own.
func WithCode(code int, format string, args ...any) error {
	return &Error{code, fmt.Errorf(format, args...)}
}

// Because makes a refusal of an error about what was handed in, nil of nil.
func Because(err error) error {
	if err == nil {
		return nil
	}
	return &Error{http.StatusBadRequest, err}
}

// Is reports whether an error is a refusal.
func Is(err error) bool {
	var e *Error
	return errors.As(err, &e)
}

// Why names what kind of answer an error gets, for pages that have words of
// their own for it.
type Why string

// The kinds of answer.
const (
	Refused     Why = "refused"     // the text says what and why
	TooLarge    Why = "too-large"   // more was sent than is taken at once
	Unavailable Why = "unavailable" // nothing can be recorded or asked now
	Unknown     Why = "unknown"     // it is not known whether it was stored: the same again stores nothing twice
	Failed      Why = "failed"      // the server's fault
	Gone        Why = "gone"        // the client has gone away
)

// Answer is what an error comes to outside.
type Answer struct {
	Code     int
	Why      Why
	Text     string // in English
	Incident string // under which the log has it; empty for a refusal
}

// Clerk makes answers of errors.
type Clerk struct {
	Log         *slog.Logger
	NewIncident func() string // nil: random
}

// Answer returns what a request is answered because of an error. What is no
// refusal is logged, here and nowhere else.
func (c *Clerk) Answer(r *http.Request, err error) Answer {
	var refused *Error
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &refused):
		return Answer{Code: refused.Code, Why: Refused, Text: err.Error()}
	case errors.As(err, &large):
		return Answer{Code: http.StatusRequestEntityTooLarge, Why: TooLarge,
			Text: fmt.Sprintf("more than %d bytes were sent; send less at once", large.Limit)}
	case r.Context().Err() != nil && errors.Is(err, context.Canceled):
		return Answer{Code: statusClientClosed, Why: Gone, Text: "the request was given up"}
	}
	a := Answer{Code: http.StatusInternalServerError, Why: Failed, Incident: c.incident()}
	switch {
	case errors.Is(err, ledger.ErrUnknownOutcome):
		a.Code, a.Why = http.StatusServiceUnavailable, Unknown
		a.Text = fmt.Sprintf("it is not known whether this was recorded (incident %s); send the same again: nothing is stored twice", a.Incident)
	case unavailable(err):
		a.Code, a.Why = http.StatusServiceUnavailable, Unavailable
		a.Text = fmt.Sprintf("nothing can be recorded now (incident %s); whoever runs the server finds in its log what to do", a.Incident)
	default:
		a.Text = fmt.Sprintf("the server failed (incident %s); nothing of this was recorded by it, so it can be sent again", a.Incident)
	}
	c.Log.ErrorContext(r.Context(), "request failed", "incident", a.Incident, "why", string(a.Why),
		"method", r.Method, "path", r.URL.Path, "error", err)
	return a
}

// unavailable reports whether an error means that the ledger takes nothing now:
// it is damaged, closed, or its disk is full.
func unavailable(err error) bool {
	var damaged *ledger.DamagedError
	return errors.As(err, &damaged) || errors.Is(err, ledger.ErrClosed) || errors.Is(err, syscall.ENOSPC)
}

// statusClientClosed is the status in the log of a request that its client gave
// up; nobody reads it.
const statusClientClosed = 499

func (c *Clerk) incident() string {
	if c.NewIncident != nil {
		return c.NewIncident()
	}
	var b [4]byte
	rand.Read(b[:]) // never fails: see its documentation
	return hex.EncodeToString(b[:])
}

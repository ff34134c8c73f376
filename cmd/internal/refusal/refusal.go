// Package refusal tells what was refused from what went wrong, and turns both
// into one answer, for pages and programs alike.
//
// A refusal is about what somebody asked or handed in: it says what, where, and
// what to do, and its text goes out as it is. Everything else is the server's
// own failure: it is logged once under an incident number, and tells the
// outside nothing about the inside. What was handed in may be handed in again.
package refusal

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"listbound/ledger"
	"listbound/projections/readmodel"
)

// Error is a refusal with the HTTP status of its answer.
type Error struct {
	Code int
	err  error
	key  string
	args []any
	why  Why // Refused where it is empty
}

func (e *Error) Error() string { return e.err.Error() }

// Unwrap returns what was refused.
func (e *Error) Unwrap() error { return e.err }

// New returns a refusal of a malformed or impossible request.
func New(format string, args ...any) error { return WithCode(http.StatusBadRequest, format, args...) }

// WithCode returns a refusal with a status of its own.
func WithCode(code int, format string, args ...any) error {
	return &Error{Code: code, err: fmt.Errorf(format, args...)}
}

// NotLetIn returns a refusal of somebody, not of what they sent: that was not looked at, and may be sent again by
// whoever may.
func NotLetIn(code int, format string, args ...any) error {
	return &Error{Code: code, err: fmt.Errorf(format, args...), why: NotLetInHere}
}

// Keyed returns a refusal that pages say in their own language: by an entry of
// their catalogue, with the same values. Programs are told the English text.
func Keyed(key, format string, args ...any) error {
	return &Error{Code: http.StatusBadRequest, err: fmt.Errorf(format, args...), key: key, args: args}
}

// Say gives a refusal an entry by which pages say it. It stays the refusal that it
// was: its status, its English text, what it wraps.
func Say(err error, key string, args ...any) error {
	out := &Error{Code: http.StatusBadRequest, err: err, key: key, args: args}
	if e := find(err); e != nil {
		out.Code, out.why = e.Code, e.why
	}
	return out
}

// InWords returns the entry by which pages say a refusal and its values, "" where
// it has none.
func InWords(err error) (key string, args []any) {
	if e := find(err); e != nil {
		return e.key, e.args
	}
	return "", nil
}

// Because makes a refusal of an error about what was handed in, nil of nil.
func Because(err error) error {
	if err == nil {
		return nil
	}
	return &Error{Code: http.StatusBadRequest, err: err}
}

// ErrClosed means that the data folder is closed: the server is going down.
var ErrClosed = errors.New("the data folder is closed")

// Is reports whether an error is a refusal.
func Is(err error) bool { return find(err) != nil }

// find returns the refusal that err is, nil where it is none. Of errors that
// were joined each must be a refusal: one does not cover up what else failed.
func find(err error) *Error {
	switch x := err.(type) {
	case *Error:
		return x
	case interface{ Unwrap() error }:
		return find(x.Unwrap())
	case interface{ Unwrap() []error }:
		var first *Error
		for _, e := range x.Unwrap() {
			found := find(e)
			if found == nil {
				return nil
			}
			if first == nil {
				first = found
			}
		}
		return first
	}
	return nil
}

// Why names what kind of answer an error gets, for pages that have words of
// their own for it.
type Why string

// The kinds of answer.
const (
	Refused      Why = "refused"     // the text says what and why
	TooLarge     Why = "too-large"   // more was sent than is taken at once
	NotLetInHere Why = "not-let-in"  // whoever asks may not; what was sent was not looked at
	Unavailable  Why = "unavailable" // nothing can be recorded or asked now
	NoRoom       Why = "no-room"     // the same, until there is room on the server's disk
	Unknown      Why = "unknown"     // it is not known whether it was stored: the same again stores nothing twice
	Failed       Why = "failed"      // the server's fault
	Gone         Why = "gone"        // the client has gone away
)

// Answer is what an error comes to outside.
type Answer struct {
	Code     int
	Why      Why
	Text     string // in English
	Incident string // under which the log has it; empty for a refusal

	// RetryAfter is when sending the same again may help, zero where nobody knows.
	RetryAfter time.Duration
}

// Head sets the headers that go with the answer.
func (a Answer) Head(h http.Header) {
	if a.RetryAfter > 0 {
		h.Set("Retry-After", strconv.Itoa(int(a.RetryAfter/time.Second)))
	}
}

// Clerk makes answers of errors.
type Clerk struct {
	Log         *slog.Logger
	NewIncident func() string // nil: random
}

// Answer returns what a request is answered because of an error. What is no
// refusal is logged, here and nowhere else.
func (c *Clerk) Answer(r *http.Request, err error) Answer {
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return Answer{Code: http.StatusRequestEntityTooLarge, Why: TooLarge,
			Text: fmt.Sprintf("more than %d bytes were sent; send less at once", large.Limit)}
	case Is(err):
		e := find(err)
		return Answer{Code: e.Code, Why: cmp.Or(e.why, Refused), Text: err.Error()}
	case r.Context().Err() != nil && gone(err):
		return Answer{Code: statusClientClosed, Why: Gone, Text: "the request was given up"}
	}
	a := Answer{Code: http.StatusInternalServerError, Why: Failed, Incident: c.incident()}
	switch {
	case errors.Is(err, ledger.ErrUnknownOutcome):
		a.Code, a.Why, a.RetryAfter = http.StatusServiceUnavailable, Unknown, time.Second
		a.Text = fmt.Sprintf("it is not known whether this was recorded (incident %s); "+
			"send the same again: nothing is stored twice", a.Incident)
	case IsNoRoom(err):
		a.Code, a.Why, a.RetryAfter = http.StatusServiceUnavailable, NoRoom, untilSeenTo
		a.Text = fmt.Sprintf("nothing was recorded: there is no room on the server's disk (incident %s); "+
			"recording goes on by itself once there is; tell whoever runs the server", a.Incident)
	case unavailable(err):
		a.Code, a.Why, a.RetryAfter = http.StatusServiceUnavailable, Unavailable, untilSeenTo
		a.Text = fmt.Sprintf("nothing can be recorded now (incident %s); "+
			"whoever runs the server finds in its log what to do", a.Incident)
	default:
		a.Text = fmt.Sprintf("the server failed (incident %s); "+
			"nothing of this was recorded by it, so it can be sent again", a.Incident)
	}
	c.Log.ErrorContext(r.Context(), "request failed", "incident", a.Incident, "why", string(a.Why),
		"method", r.Method, "path", r.URL.Path, "error", err)
	return a
}

// gone reports whether an error may come of a client that has gone away.
func gone(err error) bool {
	for _, e := range []error{
		context.Canceled, context.DeadlineExceeded, syscall.EPIPE, syscall.ECONNRESET, net.ErrClosed,
	} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// untilSeenTo is how long a client waits where a person has to act first.
const untilSeenTo = 30 * time.Second

// unavailable reports whether an error means that nothing can be recorded now:
// the ledger is damaged, stopped or closed, judgement has stopped or waits for
// another program that has its tables locked, or the disk is read-only.
func unavailable(err error) bool {
	for _, e := range []error{
		ErrClosed, ledger.ErrClosed, ledger.ErrStopped, readmodel.ErrStopped, syscall.EROFS,
	} {
		if errors.Is(err, e) {
			return true
		}
	}
	var damaged *ledger.DamagedError
	if errors.As(err, &damaged) {
		return true
	}
	return sqliteCode(err) == sqlite3.SQLITE_BUSY
}

// IsNoRoom reports whether an error means that there is no room on the disk.
func IsNoRoom(err error) bool {
	return errors.Is(err, ledger.ErrNoRoom) || ledger.IsNoRoom(err) || sqliteCode(err) == sqlite3.SQLITE_FULL
}

// sqliteCode is SQLite's code of an error, 0 of any other.
func sqliteCode(err error) int {
	const primary = 0xff // an extended code has the primary one in its low byte
	var db *sqlite.Error
	if errors.As(err, &db) {
		return db.Code() & primary
	}
	return 0
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

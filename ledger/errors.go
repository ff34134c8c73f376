package ledger

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrClosed is returned by a ledger after Close.
var ErrClosed = errors.New("the ledger is closed")

// ErrUnknownOutcome reports that a record may or may not have been stored, and of several the first ones alone. Ask Last for
// the station's newest record and compare.
var ErrUnknownOutcome = errors.New("it is not known whether this was recorded; read the station's last record " +
	"and compare")

// ErrStopped reports that nothing was recorded, and that nothing will be until somebody has seen to the disk and, as a
// rule, has started the program again.
var ErrStopped = errors.New("the ledger takes no more records until somebody has seen to it")

// ErrNoRoom reports that nothing was recorded because there is no room on the disk. The ledger goes on by itself once
// there is. It comes with [ErrStopped].
var ErrNoRoom = errors.New("there is no room on the disk")

// stoppedError carries what stopped the ledger.
type stoppedError struct{ cause error }

func (e *stoppedError) Error() string { return e.cause.Error() }
func (e *stoppedError) Unwrap() error { return e.cause }

// Is implements the interface of [errors.Is].
func (e *stoppedError) Is(target error) bool { return target == ErrStopped }

// stoppedf is fmt.Errorf for an error that wraps ErrStopped.
func stoppedf(format string, args ...any) error { return &stoppedError{fmt.Errorf(format, args...)} }

// ConflictError refuses an append because the station's previous record is not the one the caller named.
type ConflictError struct {
	Station        string
	Expected, Last int64
}

func (e *ConflictError) Error() string {
	return fmt.Sprintf("not recorded: the last record of station %s is number %d, not %d; "+
		"read it and compare, then number on from there", e.Station, e.Last, e.Expected)
}

// OwnedError refuses to open a folder that another process has open.
type OwnedError struct {
	Dir   string
	Owner Owner
}

func (e *OwnedError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "the folder %s is in use", e.Dir)
	if e.Owner.PID != 0 {
		fmt.Fprintf(&b, " by %s (process %d, since %s)", e.Owner.Command, e.Owner.PID,
			e.Owner.Since.Format(time.RFC3339))
	}
	if e.Owner.URL != "" {
		fmt.Fprintf(&b, ", which serves it at %s; use --server %s, or stop that program", e.Owner.URL, e.Owner.URL)
	} else {
		b.WriteString("; stop that program, or let it serve and use --server URL")
	}
	return b.String()
}

// Problem is one way in which the ledger differs from its signed checkpoint. Seq is 0 if it is about no single record.
type Problem struct {
	Seq  int64  `json:"seq"`
	What string `json:"what"`
}

func (p Problem) String() string {
	if p.Seq == 0 {
		return p.What
	}
	return fmt.Sprintf("record %d: %s", p.Seq, p.What)
}

// DamagedError refuses an append because the stream and the signed tree disagree.
type DamagedError struct {
	Dir      string
	Problems []Problem
}

func (e *DamagedError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "not recorded: the ledger in %s is damaged and read-only: ", e.Dir)
	for i, p := range e.Problems {
		if i == 3 {
			fmt.Fprintf(&b, "; and %d more", len(e.Problems)-i)
			break
		}
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString(p.String())
	}
	return b.String()
}

package site

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// Repair rebuilds a damaged stream of a folder that nobody has open, from the
// ledger's own second copy. What it can't prove it does not repair.
func Repair(ctx context.Context, o Options, progress Progress) (ledger.RepairReport, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	o.Existing = true
	s := &Site{opts: o}
	key, err := s.readKey(false)
	if err != nil {
		return ledger.RepairReport{}, err
	}
	lo, name := key.options(o), key.signer.Name()
	if size, err := intact(ctx, lo); err != nil {
		return ledger.RepairReport{}, err
	} else if size >= 0 {
		return ledger.RepairReport{Signed: size}, ErrIntact
	}
	return ledger.Repair(ctx, lo,
		ledger.RepairOptions{Progress: progress, Route: routeOf(name), Replaces: replacedBy(name)})
}

// ErrIntact says that a folder needs no repair.
var ErrIntact = errors.New("nothing to repair")

// intact returns the size of a ledger in which nothing is wrong, else -1.
func intact(ctx context.Context, lo ledger.Options) (size int64, err error) {
	lo.Logger = slog.New(slog.DiscardHandler) // what is wrong is what brought the user here
	l, err := ledger.Open(ctx, lo)
	var owned *ledger.OwnedError
	switch {
	case errors.As(err, &owned):
		return 0, err
	case err != nil:
		return -1, nil // repair says more of it
	}
	size = -1
	if len(l.Damage()) == 0 {
		report, err := l.Verify(ctx, ledger.VerifyOptions{Look: routeOf(lo.Origin).Look})
		if err != nil {
			return 0, errors.Join(err, l.Close())
		}
		if len(report.Problems) == 0 {
			size = report.Size
		}
	}
	// Closing signs what is unsigned; where that fails there is something to repair.
	if err := l.Close(); err != nil {
		return -1, nil //nolint:nilerr // see above
	}
	return size, nil
}

// routeOf reads from a record of the ledger of that name where it belongs.
func routeOf(ledgerName string) ledger.Route {
	return func(record []byte) (station, kind string, err error) {
		n, _, _, err := proof.SplitArrival(ledgerName, record)
		if err != nil {
			return "", "", err
		}
		e, err := events.ParseNote(n)
		if err != nil {
			return "", "", fmt.Errorf("where the record belongs can't be read: %w", err)
		}
		return routeOfEvent(e)
	}
}

func routeOfEvent(e *events.Event) (station, kind string, err error) {
	// A newer program may have written a kind that this one doesn't know: it lies under its own name.
	if u, ok := e.Data.(*events.Unknown); ok {
		if kind = u.Name(); kind == "" {
			return "", "", fmt.Errorf("where the record belongs can't be read: its type is %q", u.Type)
		}
		return e.Station, kind, nil
	}
	return e.Station, string(e.Kind()), nil
}

package site

import (
	"context"
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
	name, err := s.ledgerName()
	if err != nil {
		return ledger.RepairReport{}, err
	}
	signer, verifier, _, err := ledger.LoadOrCreateKey(s.keyPath(name), name)
	if err != nil {
		return ledger.RepairReport{}, err
	}
	return ledger.Repair(ctx, ledger.Options{Dir: o.Dir, Origin: name, Signer: signer, Verifier: verifier, Clock: o.Clock, Logger: o.Logger, Command: o.Command},
		ledger.RepairOptions{Progress: progress, Route: routeOf(name)})
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
		return e.Station, string(e.Kind()), nil
	}
}

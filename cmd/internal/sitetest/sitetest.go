// Package sitetest gives tests a real data folder whose ledger is verified when the test ends.
package sitetest

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/ledger"
)

// Open opens a data folder that must be whole when the test ends. It is closed then, if the test has not done so. A
// test that damages its folder on purpose opens it with [site.Open].
func Open(tb testing.TB, o site.Options) *site.Site {
	tb.Helper()
	s, err := site.Open(tb.Context(), o)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := verifyAndClose(context.Background(), s, o); err != nil {
			tb.Errorf("at the end of the test: %v", err)
		}
	})
	return s
}

// Close verifies a folder that Open did not open, and closes it.
func Close(tb testing.TB, s *site.Site) {
	tb.Helper()
	if err := errors.Join(Verify(context.Background(), s), s.Close()); err != nil {
		tb.Error(err)
	}
}

// verifyAndClose verifies a folder, also one that the test has closed already.
func verifyAndClose(ctx context.Context, s *site.Site, o site.Options) error {
	err := Verify(ctx, s)
	if !errors.Is(err, ledger.ErrClosed) {
		return errors.Join(err, s.Close())
	}
	s, err = site.Open(ctx, o)
	var owned *ledger.OwnedError
	switch {
	case errors.As(err, &owned):
		return nil // whoever has it open now verifies it
	case err != nil:
		return err
	}
	return errors.Join(Verify(ctx, s), s.Close())
}

// Verify reports what is wrong with an open folder's ledger, as an error. Remarks are nothing wrong: the ledger holds
// such records as they came.
func Verify(ctx context.Context, s *site.Site) error {
	v, err := s.Verify(ctx, nil)
	if err != nil {
		return fmt.Errorf("verifying the ledger: %w", err)
	}
	if !v.OK {
		return fmt.Errorf("verifying the ledger: %v", v.Problems)
	}
	return nil
}

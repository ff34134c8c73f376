//go:build !race

package door

import (
	"fmt"
	"net/http/httptest"
	"testing"
	"time"
)

// TestGuessingIsSlow: an hour of guessing at one account from one address, and from very many, is a few tries; whoever has signed
// in from a desk before still can, and another account from another address notices nothing.
func TestGuessingIsSlow(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	l := limits{clock: func() time.Time { return now }}
	guess := func(span time.Duration, keys func(i int) []key) (tries int) {
		for i, end := 0, now.Add(span); now.Before(end); i++ {
			if l.begin(keys(i)...) == 0 {
				tries++
			}
			now = now.Add(time.Second)
		}
		return tries
	}
	if n := guess(time.Hour, func(int) []key { return []key{byAddress("192.0.2.1"), byAccount("anna")} }); n < 10 || n > 30 {
		t.Errorf("%d guesses an hour from one address", n)
	}
	if n := guess(time.Hour, func(i int) []key { return []key{byAddress(fmt.Sprint(i)), byAccount("anna")} }); n > 30 {
		t.Errorf("%d guesses an hour from many addresses", n)
	}
	if wait := l.begin(byAddress("192.0.2.4"), byAccount("anna")); wait == 0 {
		t.Error("a stranger need not wait")
	}
	if wait := l.begin(byAddress("192.0.2.3"), atDesk("anna", "192.0.2.3")); wait != 0 {
		t.Errorf("anna has to wait %s at her own desk", wait)
	}
	if wait := l.begin(byAddress("192.0.2.9"), byAccount("ben")); wait != 0 {
		t.Errorf("ben has to wait %s", wait)
	}
	now = now.Add(forgetAfter)
	if wait := l.begin(byAddress("192.0.2.4"), byAccount("anna")); wait != 0 {
		t.Errorf("anna is shut for good: %s", wait)
	}
	if n := guess(time.Hour, func(i int) []key { return []key{byAddress("192.0.2.2"), byAccount(fmt.Sprint(i))} }); n > 45 {
		t.Errorf("%d guesses an hour from one address at many accounts", n)
	}
	for i := range 3 * mostKeys {
		l.begin(byAddress(fmt.Sprint("x", i)))
	}
	if len(l.all) > mostKeys {
		t.Errorf("%d keys are kept", len(l.all))
	}
}

// TestSuccessForgets: who knows the password begins anew, and can't guess at others for free by it.
func TestSuccessForgets(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	l := limits{clock: func() time.Time { return now }}
	address, mine := byAddress("192.0.2.1"), byAccount("anna")
	for range mine.free - 1 {
		l.begin(address, mine)
	}
	l.succeed(address, mine)
	for range mine.free - 1 {
		if wait := l.begin(address, mine); wait > 0 {
			t.Fatalf("her earlier slips still count: wait %s", wait)
		}
	}
	// One guess at somebody else between two sign-ins of one's own.
	guesses := 0
	for ; guesses < 100 && l.begin(address, byAccount(fmt.Sprint(guesses))) == 0; guesses++ {
		if l.begin(address, mine) == 0 {
			l.succeed(address, mine)
		}
	}
	if guesses > address.free {
		t.Errorf("%d guesses are free for whoever knows one password", guesses)
	}
}

// TestAddresses: of IPv6 a network counts, and what can't be read counts as it is.
func TestAddresses(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:1234": "192.0.2.7", "[::ffff:192.0.2.7]:1": "192.0.2.7", "[::1]:80": "::1", "pipe": "pipe",
		"[2001:db8:1:2:3:4:5:6]:99": "2001:db8:1:2::/64", "[2001:db8:1:2::1]:7": "2001:db8:1:2::/64", "[fe80::1%eth0]:7": "fe80::/64",
	} {
		r := httptest.NewRequestWithContext(t.Context(), "GET", "/", nil)
		r.RemoteAddr = remote
		if got := addressOf(r); got != want {
			t.Errorf("%s comes from %s, want %s", remote, got, want)
		}
	}
}

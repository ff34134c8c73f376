package door

import (
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// limits slow guessing down. Each key counts its failures; from a number on, each
// further try has to wait, twice as long each time.
//
// A guess counts against the address it comes from and, where nobody has signed in to
// the account from there before, against the account. So whoever guesses at an
// account shuts it for strangers, and not for its person at the usual desk.
type limits struct {
	clock func() time.Time

	mu  sync.Mutex
	all map[string]*failures
}

type failures struct {
	n    int
	last time.Time
}

const (
	forgetAfter = 30 * time.Minute // without a further failure
	longestStop = 15 * time.Minute
	mostKeys    = 20_000
)

// key names what failures are counted for, and how many are free.
type key struct {
	name string
	free int
}

func byAddress(address string) key          { return key{"address " + address, 20} }
func byAccount(login string) key            { return key{"account " + login, 10} }
func atDesk(login, address string) key      { return key{"desk " + login + " " + address, 6} }
func codeFrom(address string) key           { return key{"code " + address, 6} }
func (f *failures) stop(free int) time.Time { return f.last.Add(pauseAfter(f.n - free)) }

// pauseAfter is how long to wait after so many failures too many.
func pauseAfter(n int) time.Duration {
	if n < 0 {
		return 0
	}
	const first, doubled = 5 * time.Second, 8
	return min(first<<min(n, doubled), longestStop)
}

// begin counts a try as failed before it is looked at, so that many at once are not all free; succeed takes that
// back. Where one of the keys has to wait, nothing is counted and the wait is returned.
func (l *limits) begin(keys ...key) (wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.clock()
	for _, k := range keys {
		if f := l.all[k.name]; f != nil && now.Sub(f.last) < forgetAfter {
			wait = max(wait, f.stop(k.free).Sub(now))
		}
	}
	if wait > 0 {
		return wait
	}
	if l.all == nil {
		l.all = make(map[string]*failures)
	}
	l.makeRoom(now)
	for _, k := range keys {
		f := l.all[k.name]
		if f == nil || now.Sub(f.last) >= forgetAfter {
			f = new(failures)
			l.all[k.name] = f
		}
		f.n++
		f.last = now
	}
	return 0
}

// makeRoom forgets what is over, and then what has failed least: memory must not be what guessing costs. It leaves so
// much room that it is seldom called.
func (l *limits) makeRoom(now time.Time) {
	if len(l.all) < mostKeys {
		return
	}
	drop := func(over func(*failures) bool) {
		for name, f := range l.all {
			if len(l.all) <= mostKeys/2 {
				return
			}
			if over(f) {
				delete(l.all, name)
			}
		}
	}
	drop(func(f *failures) bool { return now.Sub(f.last) >= forgetAfter })
	drop(func(f *failures) bool { return f.n == 1 })
	drop(func(*failures) bool { return true })
}

// succeed forgets the failures of what has succeeded. An address's are lessened by the one try: whoever knows one
// password must not guess at others for free.
func (l *limits) succeed(address key, others ...key) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if f := l.all[address.name]; f != nil && f.n > 0 {
		f.n--
	}
	for _, k := range others {
		delete(l.all, k.name)
	}
}

// addressOf is where a request comes from. Of IPv6 whoever has one address has a network of them.
func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	a = a.Unmap().WithZone("")
	if a.Is6() && !a.IsLoopback() {
		const network = 64
		if p, err := a.Prefix(network); err == nil {
			return p.String()
		}
	}
	return a.String()
}

//go:build !race

package workplace

import (
	"testing"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

// TestStandsAside: while texts are taken out of drafts no bench, count, worker or known code is written, and all are
// afterwards.
func TestStandsAside(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: time.Now})
	d, err := newDesk(shell.New(s.Name(), s.Local(), s.Clock, nil), s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	free := func() (n int) {
		for i := range d.locks {
			if d.locks[i].TryLock() {
				n++
				d.locks[i].Unlock()
			}
		}
		for i := range d.sheets {
			if d.sheets[i].TryLock() {
				n++
				d.sheets[i].Unlock()
			}
		}
		if d.workers.TryLock() {
			n++
			d.workers.Unlock()
		}
		if d.knownMu.TryLock() {
			n++
			d.knownMu.Unlock()
		}
		return n
	}
	all := len(d.locks) + len(d.sheets) + 2
	release := d.standAside()
	if n := free(); n != 0 {
		t.Errorf("%d of %d may be written", n, all)
	}
	release()
	if n := free(); n != all {
		t.Errorf("afterwards %d of %d may be written", n, all)
	}
}

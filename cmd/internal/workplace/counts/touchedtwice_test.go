//go:build !race

package counts_test

import (
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
)

// TestCaseTouchedTwice: the second touch of a case on the page that asks for one lands on the count's page, and counts no line of it,
// also where some are counted already; after a pause a touch does.
func TestCaseTouchedTwice(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Lines("VAS-003", 4)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Before(`const later = window.setTimeout;
window.setTimeout = (f, ms, ...rest) => ms === 1000 ? (window.paused = f, 1) : later(f, ms, ...rest);`)
	p.Open(h.At("count"))
	p.Touch("ul.tiles a")
	p.Await(`location.search && document.querySelector("tr.now") && window.paused`)
	p.Touch("#as-expected")
	browsertest.Eval[bool](p, `(window.paused(), true)`)
	p.Touch("#as-expected")
	p.AwaitText("#sum", "2 of 3")
	p.Await(`!document.querySelector("tr.waits")`)
	if done := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=first")["done"]; done != 2.0 {
		t.Errorf("%v lines are counted, two were", done)
	}
}

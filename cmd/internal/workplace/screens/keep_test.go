//go:build !race

package screens_test

import (
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestBrowserThatKeepsNothing: where the browser's storage is full or denied, what is scanned and counted is taken all the
// same, and the page says what is lost when it is closed.
func TestBrowserThatKeepsNothing(t *testing.T) {
	t.Parallel()
	const fill = `(() => {
		let n = 0;
		for (let text = "x".repeat(1 << 20); text; text = text.slice(text.length / 2 + 1)) {
			try { for (;;) localStorage.setItem("other " + n++, text) } catch {}
		}
		return n;
	})()`
	for name, spoil := range map[string]func(p *browsertest.Tab, open func()){
		"full": func(p *browsertest.Tab, open func()) {
			open()
			if n := browsertest.Eval[int](p, fill); n < 5 {
				t.Fatalf("filled by %d", n)
			}
		},
		"denied": func(p *browsertest.Tab, open func()) {
			p.Before(`for (const name of ["localStorage", "sessionStorage"]) {
				Object.defineProperty(window, name, {get() { throw new DOMException("denied", "SecurityError") }});
			}`)
			open()
			p.AwaitText("#unkept", "This browser keeps nothing")
		},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
			h.Worker.Store(true)
			h.Open("VAS-004", "K-1")
			p := workplacetest.Browser(t).Profile(t).Tab(t, workplacetest.Tablet)
			spoil(p, func() { p.Open(h.At("opening")) })
			p.Type(workplacetest.Label(t, events.ScanTag, "VAS-003") + "\r")
			p.AwaitText("#bench", "VAS-003")
			p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r")
			p.AwaitText("#bench", "B-1")
			p.Await(`document.getElementById("unkept").checkVisibility()`)
			p.Open(h.At("count?case=K-1"))
			p.AwaitText(".nowline", "Forceps")
			p.Type("4\r")
			p.AwaitText(".nowline", "Clamp")
			p.Type("2\r")
			p.AwaitText(".nowline", "Probe")
		})
	}
}

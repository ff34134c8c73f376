package workplacetest

import (
	"os"
	"sync"
	"testing"

	"listbound/cmd/internal/browsertest"
)

// chromium is the Chromium of a package's tests: each has a tab of its own in a profile of its own, so that starting one
// takes milliseconds.
var chromium struct {
	sync.Once
	*browsertest.Browser
	stop func()
}

// Main runs a package's tests, and then ends the Chromium that they shared.
func Main(m *testing.M) {
	code := m.Run()
	if chromium.stop != nil {
		chromium.stop()
	}
	os.Exit(code)
}

// Browser is the package's Chromium, with the cookies and the storage of this test only.
func Browser(t testing.TB) *browsertest.Browser {
	t.Helper()
	chromium.Do(func() { chromium.Browser, chromium.stop = browsertest.Launch(t) })
	if chromium.Browser == nil {
		t.Fatal("Chromium did not start")
	}
	return chromium.Browser.Profile(t)
}

// NotInView names the answers of the question in sight that a person doesn't see whole without scrolling, and the question
// itself where its first line is out of sight.
const NotInView = `(() => {
	const box = document.querySelector("#verdict").getBoundingClientRect();
	const seen = r => r.height > 0 && r.top >= Math.max(0, box.top) - 1 && r.bottom <= Math.min(innerHeight, box.bottom) + 1;
	const all = [...document.querySelectorAll("#verdict .choices button")];
	const out = all.filter(b => !seen(b.getBoundingClientRect())).map(b => b.textContent);
	const tells = document.querySelector("#verdict .tells").getBoundingClientRect();
	if (tells.top < box.top - 1 || tells.top + 24 > innerHeight) out.push("the question");
	return out;
})()`

// Settled waits until the server has answered all that was entered.
func Settled(p *browsertest.Tab) {
	p.Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:")) && !document.querySelector("[aria-busy=true]")`)
}

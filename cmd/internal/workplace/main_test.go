package workplace_test

import (
	"os"
	"sync"
	"testing"

	"listbound/cmd/internal/browsertest"
)

// shared is the Chromium of this package's tests: each has a tab of its own in a
// profile of its own, so that starting one takes milliseconds.
var shared struct {
	sync.Once
	*browsertest.Browser
	stop func()
}

func TestMain(m *testing.M) {
	code := m.Run()
	if shared.stop != nil {
		shared.stop()
	}
	os.Exit(code)
}

// browser is the package's Chromium, with the cookies and the storage of this test only.
func browser(t testing.TB) *browsertest.Browser {
	t.Helper()
	shared.Do(func() { shared.Browser, shared.stop = browsertest.Launch(t) })
	if shared.Browser == nil {
		t.Fatal("Chromium did not start")
	}
	return shared.Browser.Profile(t)
}

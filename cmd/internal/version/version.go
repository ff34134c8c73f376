// Package version says which program this is: what judged, printed or answered
// must be found again years later.
package version

import (
	"runtime/debug"
	"strings"
	"sync"
)

// Number is the version that CHANGELOG.md describes. A release sets it without
// the suffix by -ldflags "-X listbound/cmd/internal/version.Number=…".
var Number = "0.2.0-dev"

// String returns the number and, where the build knows it, the commit:
// 0.2.0-dev+6a101d2, with .changed behind it where files differed from it.
func String() string { return of(Number, built()) }

// built is read once: every answer of a server says which program gave it, and to read it takes apart the list of all modules.
var built = sync.OnceValue(func() []debug.BuildSetting {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return nil
	}
	return info.Settings
})

func of(number string, settings []debug.BuildSetting) string {
	var revision, changed string
	for _, s := range settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = ".changed"
		}
	}
	const short = 7
	if len(revision) < short || strings.Trim(revision, "0123456789abcdef") != "" {
		return number
	}
	return number + "+" + revision[:short] + changed
}

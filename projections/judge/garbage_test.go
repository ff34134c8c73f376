package judge

import (
	"os"
	"runtime/debug"
)

// These tests have little in use and make much garbage: to collect it at twice what is in use took a fifth of their time.
func init() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(400)
	}
}

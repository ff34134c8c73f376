//go:build unix

package ledger_test

import (
	"os/signal"
	"syscall"
)

// limitFileSize makes every file of this process full at n bytes.
func limitFileSize(n uint64) error {
	signal.Ignore(syscall.SIGXFSZ)
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: n})
}

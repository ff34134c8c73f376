package ledger

import (
	"errors"
	"syscall"
)

// The system's own errors for a full disk, ERROR_HANDLE_DISK_FULL, ERROR_DISK_FULL and ERROR_DISK_QUOTA_EXCEEDED
// (learn.microsoft.com/windows/win32/debug/system-error-codes, from memory). Go's ENOSPC is none of them.
const (
	errHandleDiskFull    syscall.Errno = 39
	errDiskFull          syscall.Errno = 112
	errDiskQuotaExceeded syscall.Errno = 1295
)

// IsNoRoom reports whether an error says that there is no room for what was to be written: the disk is full, or what
// one user may take of it is used up.
func IsNoRoom(err error) bool {
	return errors.Is(err, errHandleDiskFull) || errors.Is(err, errDiskFull) || errors.Is(err, errDiskQuotaExceeded)
}

// noRoomTexts are how the system says so, for errors that come as text.
var noRoomTexts = []string{errHandleDiskFull.Error(), errDiskFull.Error(), errDiskQuotaExceeded.Error()}

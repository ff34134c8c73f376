//go:build !windows

package ledger

import (
	"errors"
	"syscall"
)

// IsNoRoom reports whether an error says that there is no room for what was to be written: the disk is full, or what
// one user or one file may take of it is used up.
func IsNoRoom(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG)
}

// noRoomTexts are how the system says so, for errors that come as text.
var noRoomTexts = []string{syscall.ENOSPC.Error(), syscall.EDQUOT.Error(), syscall.EFBIG.Error()}

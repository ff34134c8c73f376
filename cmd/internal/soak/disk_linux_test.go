package soak

import (
	"fmt"
	"os"
	"syscall"
)

// smallDisk names the folder that a process of the program puts a small disk on before it does anything else.
const smallDisk = "LISTBOUND_TEST_SMALL_DISK"

func onSmallDisk() {
	dir := os.Getenv(smallDisk)
	if dir == "" {
		return
	}
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=16m"); err != nil {
		fmt.Fprintln(os.Stderr, "no small disk:", err)
		os.Exit(noDisk)
	}
}

const noDisk = 77

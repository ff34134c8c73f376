// Listbound proves that each instrument set's list stayed bound to its set.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"syscall"
	"time"

	"listbound/cmd/internal/commands"
)

// ballast is memory that nobody ever touches, so that it takes none of the machine's, and that counts when the garbage collector
// asks how much there is: without it, the 20 MB that a server has in use are collected over and over, for a third of its time.
// A server has more of it than a command: its heap grows by as many megabytes more, for which it takes a twentieth to a tenth more
// observations a second where many hand in at once.
const (
	ballast        = 64 << 20
	serversBallast = 192 << 20
)

func ballastFor(args []string) []byte {
	if slices.Contains(args, "serve") || slices.Contains(args, "follow") { // flags may stand in front
		return make([]byte, serversBallast)
	}
	return make([]byte, ballast)
}

func main() {
	untouched := ballastFor(os.Args[1:])
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	signals := make(chan os.Signal, 2) // none is lost, however soon the second comes
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	go func() {
		<-signals
		stop() // the first ends the work in good order
		if (<-signals) == syscall.SIGTERM {
			os.Exit(128 + int(syscall.SIGTERM))
		}
		os.Exit(interrupted) // the second at once
	}()
	code := commands.Run(ctx, commands.Env{Clock: time.Now, In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, os.Args[1:])
	runtime.KeepAlive(untouched)
	os.Exit(code)
}

// interrupted is the exit status of a program that was interrupted, as shells have it.
const interrupted = 128 + int(syscall.SIGINT)

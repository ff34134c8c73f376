// Listbound proves that each instrument set's list stayed bound to its set.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"listbound/cmd/internal/commands"
)

// ballast is memory that nobody ever touches, so that it takes none of the machine's, and that counts when the garbage collector
// asks how much there is: without it, the 20 MB that a server has in use are collected over and over, for a third of its time.
var ballast = make([]byte, 64<<20)

func main() {
	runtime.KeepAlive(ballast)
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
	os.Exit(commands.Run(ctx, commands.Env{Clock: time.Now, In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, os.Args[1:]))
}

// interrupted is the exit status of a program that was interrupted, as shells have it.
const interrupted = 128 + int(syscall.SIGINT)

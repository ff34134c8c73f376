// Listbound proves that each instrument set's list stayed bound to its set.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"

	"listbound/cmd/internal/commands"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first signal ends the work in good order; a second one ends it at once.
	context.AfterFunc(ctx, stop)
	code := commands.Run(ctx, commands.Env{Clock: time.Now, In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, os.Args[1:])
	stop()
	os.Exit(code)
}

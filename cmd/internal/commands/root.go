// Package commands is the command line of listbound.
package commands

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"

	"listbound/cmd/internal/remote"
	"listbound/cmd/internal/site"
)

// Exit codes.
const (
	ExitOK      = 0
	ExitProblem = 1 // a line refused, a check failed, something was not found
	ExitUsage   = 2
)

// exitError ends the program with a code, after its own message if it has one.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string {
	if e.err == nil {
		return fmt.Sprintf("exit status %d", e.code)
	}
	return e.err.Error()
}

func (e *exitError) Unwrap() error { return e.err }

// errSaid ends with code 1 where what is wrong has been printed already.
var errSaid = &exitError{code: ExitProblem}

// Env is what the commands need of the world around them.
type Env struct {
	Clock func() time.Time
	In    io.Reader
	Out   io.Writer
	Err   io.Writer
}

// app carries the flags that every command shares.
type app struct {
	env    Env
	data   string
	server string
	site   string

	tokenFile, caFile string
}

// Run runs the command line and returns the exit code.
func Run(ctx context.Context, env Env, args []string) int {
	a := &app{env: env}
	root := a.root()
	root.SetArgs(args)
	root.SetIn(env.In)
	root.SetOut(env.Out)
	root.SetErr(env.Err)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return ExitOK
	}
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		// Where in the inside the work was stopped is of no use to whoever stopped it.
		fmt.Fprintln(env.Err, "listbound: interrupted; what was answered is recorded, and the same command can be run again")
		return ExitProblem
	}
	var e *exitError
	if errors.As(err, &e) {
		if e.err != nil {
			fmt.Fprintf(env.Err, "listbound: %v\n", e.err)
		}
		return e.code
	}
	fmt.Fprintf(env.Err, "listbound: %v\n", err)
	if ctx.Err() != nil {
		return ExitProblem
	}
	return ExitUsage
}

// problem marks an error of the work itself, not of how it was asked for.
func problem(err error) error {
	if err == nil {
		return nil
	}
	var e *exitError
	if errors.As(err, &e) {
		return err
	}
	return &exitError{code: ExitProblem, err: err}
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:     "listbound",
		Version: site.Program(),
		Short:   "proves that each instrument set's list stayed bound to its set",
		Long: `listbound is an audit ledger for instrument sets and their lists (count sheets).
Stations record what they observe; the ledger signs and keeps it; judgement says
which sets' lists can't be trusted, and why. A count that was called correct is
no proof that nothing was left in a patient: the facility's own policy and the
manufacturers' instructions come first.`,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.PersistentFlags().StringVar(&a.data, "data", "./listbound-data", "data folder")
	root.PersistentFlags().StringVar(&a.server, "server", "",
		"address of a listbound server to ask instead of a data folder")
	root.PersistentFlags().StringVar(&a.tokenFile, "token-file", "",
		"file with the token for --server, readable by you alone; or the variable "+remote.TokenVariable)
	root.PersistentFlags().StringVar(&a.caFile, "ca", "",
		"file with the certificate of the authority to trust for --server, such as its tls/ca.pem")
	root.AddCommand(a.demo(), a.serve(), a.follow(), a.record(), a.broken(), a.rates(), a.assess(), a.runs(), a.schedules(),
		a.history(), a.verify(), a.evidence(), a.export(),
		a.rebuild(), a.repair(), a.declareLoss(), a.backup(), a.restore(), a.key(), a.lists(), a.registers(), a.stations(), a.texts(),
		a.policy(), a.witness(), a.simulate(), a.practise(), a.codes(), a.kinds(), a.paper())
	return root
}

// command fills in what all commands have in common.
func command(use, short, long, example string, run func(cmd *cobra.Command, args []string) error) *cobra.Command {
	return &cobra.Command{
		Use: use, Short: short, Long: short + ".\n\n" + long, Example: "  " + example,
		RunE: func(cmd *cobra.Command, args []string) error { return problem(run(cmd, args)) },
	}
}

// open returns the service that --data or --server names. An existing folder
// is wanted for questions: a mistyped name must not make an empty ledger.
func (a *app) open(cmd *cobra.Command, o site.Options) (site.Service, error) {
	if a.server != "" {
		if cmd.Flags().Changed("data") {
			return nil, errors.New("give --data or --server, not both")
		}
		return a.askServer()
	}
	return a.openFolder(cmd.Context(), cmd.Name(), o)
}

func (a *app) openFolder(ctx context.Context, name string, o site.Options) (*site.Site, error) {
	dir, err := filepath.Abs(a.data)
	if err != nil {
		return nil, fmt.Errorf("data folder: %w", err)
	}
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s is a file; --data names a folder", dir)
	}
	if o.Existing {
		if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("there is no folder %s; record something there first, or name another with --data",
				dir)
		}
	}
	o.Dir, o.Command = dir, "listbound "+name
	if o.Clock == nil {
		o.Clock = a.env.Clock
	}
	o.Logger = slog.New(slog.NewTextHandler(a.env.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	var end func()
	o.Progress, end = a.progress("judged anew")
	defer end()
	return site.Open(ctx, o)
}

// with opens, does, and closes; an error of closing is an error.
func (a *app) with(cmd *cobra.Command, o site.Options, do func(site.Service) error) error {
	s, err := a.open(cmd, o)
	if err != nil {
		return err
	}
	return errors.Join(do(s), s.Close())
}

// ask is with for questions.
func (a *app) ask(cmd *cobra.Command, do func(site.Service) error) error {
	return a.with(cmd, site.Options{Existing: true}, do)
}

func (a *app) printJSON(v any) error {
	raw, err := json.Marshal(v, jsontext.WithIndent("  "))
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	_, err = a.env.Out.Write(append(raw, '\n'))
	return err
}

// progress shows long work on a terminal, and nothing in a file.
func (a *app) progress(what string) (site.Progress, func()) { return a.progressOf(what, "records") }

func (a *app) progressOf(what, of string) (site.Progress, func()) {
	f, ok := a.env.Err.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) {
		return nil, func() {}
	}
	shown := false
	var last time.Time
	return func(done, total int64) {
			const every = 200 * time.Millisecond
			if now := time.Now(); now.Sub(last) < every {
				return
			} else {
				last = now
			}
			shown = true
			fmt.Fprintf(f, "\r%s %d of %d %s", what, done, total, of)
		}, func() {
			if shown {
				fmt.Fprintln(f)
			}
		}
}

package commands

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/ledger/witness"
)

func (a *app) witness() *cobra.Command {
	var name, address string
	var ledgers []string
	c := command("witness", "signs the ledgers of others, so that nobody rewrites one unnoticed",
		`Runs in another department or hospital than the ledger, on a machine that the
ledger's keepers can't write to. It sees a ledger's checkpoints, which hold no
record, signs each that extends all it saw before, and refuses any other; two
checkpoints that contradict each other it keeps side by side in the data folder.
It prints its line for the file witnesses.txt in the ledger's data folder, whose
last line says whose signature is enough: quorum NAME. The protocol is
c2sp.org/tlog-witness, so that it works for other ledgers too.`,
		"listbound witness --data w --name south.example/witness --ledger north/ledger+1b8a… --address 0.0.0.0:8321",
		func(cmd *cobra.Command, args []string) error {
			if a.server != "" {
				return errors.New("a witness has a folder of its own; --server is for the commands that ask a ledger")
			}
			if name == "" || len(ledgers) == 0 {
				return errors.New("a witness needs --name, its own, and --ledger, the key of the ledger " +
					"that it witnesses (listbound stations prints it)")
			}
			return a.runWitness(cmd.Context(), name, ledgers, address)
		})
	c.Args = cobra.NoArgs
	c.Flags().StringVar(&name, "name", "", "name of the witness, such as south.example/witness")
	c.Flags().StringArrayVar(&ledgers, "ledger", nil, "public key of a ledger that is witnessed (repeatable;\n"+
		"of a ledger that replaced its key all, the first one first)")
	c.Flags().StringVar(&address, "address", "127.0.0.1:8321", "address to listen on")
	return c
}

func (a *app) runWitness(ctx context.Context, name string, ledgers []string, address string) error {
	dir, err := filepath.Abs(a.data)
	if err != nil {
		return fmt.Errorf("data folder: %w", err)
	}
	if holds, err := site.Holds(dir); err != nil {
		return err
	} else if holds {
		return fmt.Errorf("%s is the folder of a ledger; a witness in it would share its fate. "+
			"Name another with --data", dir)
	}
	o := witness.Options{Dir: dir, Logger: slog.New(slog.NewTextHandler(a.env.Err, nil))}
	for _, k := range ledgers {
		v, err := note.NewVerifier(k)
		if err != nil {
			return fmt.Errorf("--ledger %s: this is not the public key of a ledger", k)
		}
		o.Ledgers = append(o.Ledgers, v)
	}
	skey, err := ledger.LoadOrCreateSecret(filepath.Join(dir, "witness.key"), name)
	if err != nil {
		return err
	}
	if o.Signer, err = proof.NewCosigner(skey, a.env.Clock); err != nil {
		return err
	}
	w, err := witness.Open(o)
	if err != nil {
		return err
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return fmt.Errorf("listening on %s: %w", address, err)
	}
	fmt.Fprintf(a.env.Out, "witnessing %d ledgers (end with Ctrl-C); for witnesses.txt in a ledger's data folder:\n"+
		"witness %s %s http://%s\n", len(o.Ledgers), name, o.Signer.VerifierKey(), l.Addr())
	const most = 30 * time.Second
	srv := &http.Server{Handler: w.Handler(), ReadTimeout: most, WriteTimeout: most}
	return web.Run(ctx, srv, func() error { return srv.Serve(l) })
}

// askEvery is how long after a record its witnesses are asked at the latest.
const askEvery = time.Minute

// askWitnesses asks a ledger's witnesses again and again until the context ends.
func askWitnesses(ctx context.Context, s *site.Site, log *slog.Logger) {
	if s.Witnesses() == nil {
		return
	}
	tick := time.NewTicker(askEvery)
	defer tick.Stop()
	var enough time.Time
	for {
		if err := s.AskWitnesses(ctx); err != nil && ctx.Err() == nil {
			log.Warn("a witness did not sign", "error", err)
		}
		if at := s.Witnesses().Enough; at.After(enough) {
			enough = at
			log.Info("signed by the witnesses", "at", at)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// askTimestamps has a ledger timestamped again and again until the context ends.
func askTimestamps(ctx context.Context, s *site.Site, log *slog.Logger) {
	if s.Timestamps() == nil {
		return
	}
	tick := time.NewTicker(askEvery)
	defer tick.Stop()
	for {
		if err := s.AskTimestamp(ctx); err != nil && ctx.Err() == nil {
			log.Warn("the ledger was not timestamped", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

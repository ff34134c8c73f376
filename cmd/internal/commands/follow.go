package commands

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/texts"
	"listbound/cmd/internal/web"
	"listbound/projections/words"
)

const followHelp = `Copies the ledger of a server into a folder of its own, judges it, and answers questions
from that: the board, histories, cases, days and the programs' interface, as many followers
as are wanted. It takes nothing on trust: each checkpoint must be signed by the ledger's key,
which is given once with --ledger (listbound key prints it where the ledger is written), and
each record must have its hash in the tree of that checkpoint. A log that shows another
history than before, or fewer records, is refused; the follower goes on with what it has and
says so on each page and to whoever started it, with the reason, as it does when it has heard
nothing from the ledger for 15 seconds; /readyz answers 503 then. What a cache or another
follower answers is as old as its Age says.
Each page says up to which record it answers, and each answer has that in its head:
Listbound-Record, Listbound-Recorded, Listbound-Heard, and Age, which is how many seconds ago
the ledger was last heard from.

It records nothing and has no private key. What lies beside the ledger is not copied: texts,
photographs, logs of runs, accounts. Who may read here is said here, as for serve: to this
machine alone without asking, to others with TLS and an administrator of its own. Where the
server asks people who they are, so must its followers, and the follower needs the token of a
program that may read the log (role audits or investigates). A follower can be followed.`

func (a *app) follow() *cobra.Command {
	var address, zone, weight, key string
	var hosts []string
	var e entrance
	c := command("follow", "answers questions from a copy of a server's ledger, which it keeps up to date",
		followHelp, "listbound follow --server https://ledger.north:8320 --ledger north/ledger+1a2b3c4d+… --data copy",
		func(cmd *cobra.Command, _ []string) error {
			if a.server == "" {
				return errors.New("--server says where the ledger is written, for example --server http://127.0.0.1:8320")
			}
			e.address = address
			if err := e.check(); err != nil {
				return err
			}
			c, err := a.askServer()
			if err != nil {
				return err
			}
			defer c.Close() //nolint:errcheck // nothing of it is kept
			log := c.Log()
			for {
				err := a.followOnce(cmd.Context(), &e, hosts, address, site.Options{Zone: zone, Weight: weight,
					Follow: &site.Following{Of: c.Base(), Key: key, Log: log, Asks: log.Asks, Age: log.Age, Tell: a.tellUnheard}})
				if !errors.Is(err, site.ErrHandedOn) {
					return err
				}
				fmt.Fprintf(a.env.Out, "%s\n", site.ErrHandedOn)
			}
		})
	c.Args = cobra.NoArgs
	e.flags(c)
	c.Flags().StringVar(&address, "address", followAddress, "address to listen on")
	c.Flags().StringVar(&key, "ledger", "", "public key of the ledger, for a new folder")
	c.Flags().StringVar(&zone, "zone", "", "time zone on pages, such as Europe/Berlin; kept in the folder (first UTC)")
	c.Flags().StringVar(&weight, "weight", "", "unit of weight on pages, kg or lb; kept in the folder (first kg)")
	c.Flags().StringArrayVar(&hosts, "host", nil, "name by which browsers ask this server (repeatable)")
	return c
}

// followAddress is beside that of serve, so that both run on one machine.
const followAddress = "127.0.0.1:8321"

// followOnce follows until the context ends or the ledger's key is replaced.
func (a *app) followOnce(ctx context.Context, e *entrance, hosts []string, address string, o site.Options) error {
	s, err := a.openFolder(ctx, "follow", o)
	if err != nil {
		return err
	}
	opts, err := a.openDoor(s, e, hosts)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	if p := s.Position(); p.Asks && e.door == nil {
		err := fmt.Errorf("the server at %s asks people who they are before it shows anything, and so must its followers: give "+
			"--administrator to have a one-time code printed with which the first administrator of this follower is made", p.Of)
		return errors.Join(err, s.Close())
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := s.KeepFollowing(ctx); err != nil {
			cancel(err)
		}
	}()
	err = a.serveSite(ctx, s, address, e.tls, append(opts, web.Hosts(hosts...))...)
	cancel(nil)
	<-ended
	err = errors.Join(err, s.Close())
	if cause := context.Cause(ctx); errors.Is(cause, site.ErrHandedOn) {
		return errors.Join(cause, err)
	}
	return err
}

// tellUnheard says to whoever runs a follower why it hears nothing, and when it hears of the ledger again.
func (a *app) tellUnheard(p *site.Position) {
	at := p.Heard.UTC().Format(time.RFC3339)
	if p.Unheard == "" {
		fmt.Fprintf(a.env.Err, "listbound: the ledger at %s is heard from again (%s)\n", p.Of, at)
		return
	}
	said, err := texts.Read()
	if err != nil {
		said = words.Embedded()
	}
	english := said.Catalogue().In(words.Reference)
	fmt.Fprintf(a.env.Err, "listbound: %s (last heard from: %s)\n", web.Unheard(english.Say, p), at)
}

// background is what a server does beside answering. A follower signs and records nothing.
func (a *app) background(s *site.Site) []func(context.Context) {
	log := slog.New(slog.NewTextHandler(a.env.Err, nil))
	if s.Position() != nil {
		return []func(context.Context){s.KeepTime, s.KeepChecking}
	}
	return []func(context.Context){
		func(ctx context.Context) { askWitnesses(ctx, s, log) },
		func(ctx context.Context) { askTimestamps(ctx, s, log) },
		s.KeepTime, s.KeepRetention, s.KeepChecking,
	}
}

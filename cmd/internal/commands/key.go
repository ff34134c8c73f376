package commands

import (
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/site"
	"listbound/ledger/proof"
)

func (a *app) key() *cobra.Command {
	c := command("key", "shows the ledger's key, and those it had before",
		`Whoever checks an evidence bundle, and every witness, needs the ledger's public key
by another way than from the ledger itself. "key replace" puts another one in its place.`,
		"listbound key --data d", func(cmd *cobra.Command, _ []string) error {
			return a.ask(cmd, func(s site.Service) error {
				stations, err := s.Stations(cmd.Context())
				if err != nil {
					return err
				}
				for i := range stations {
					if st := &stations[i]; st.Here && st.Enrolled == 0 {
						keys, err := site.KeysOf(st)
						if err != nil {
							return err
						}
						return a.printKeys(keys)
					}
				}
				return errors.New("the ledger has recorded nothing of its own yet; its key is in the folder keys")
			})
		})
	c.Args = cobra.NoArgs
	c.AddCommand(a.replaceKey())
	return c
}

func (a *app) printKeys(keys proof.Keys) error {
	for i, k := range keys[:len(keys)-1] {
		fmt.Fprintf(a.env.Out, "replaced by record %d: %s\n", keys[i+1].Since, k.Text)
	}
	_, err := fmt.Fprintln(a.env.Out, keys.Newest().Text)
	return err
}

func (a *app) replaceKey() *cobra.Command {
	var operator, reason string
	c := command("replace", "makes a new key for the ledger, which the old one signs for",
		`Makes a new key and records, signed by the old one, that the ledger goes on under it:
checkpoints that cover that record are signed by the new key, those before it by the old
one. The old private key is removed from this folder. From then on whatever the old key
signs is refused, so that a key that was stolen is of use only to who meets somebody who
knows nothing newer: hand out the new public key as you did the old one, to whoever checks
bundles and to each witness, and make a backup. What was begun and cut off is finished by
the next start. The folder must not be in use.`,
		`listbound key replace --data d --operator B-1182 --reason "the server's disk went to repair unerased"`,
		func(cmd *cobra.Command, _ []string) error {
			if a.server != "" {
				return errors.New("the key is replaced while no server has the folder; use --data")
			}
			dir, err := filepath.Abs(a.data)
			if err != nil {
				return fmt.Errorf("data folder: %w", err)
			}
			o := site.Options{Dir: dir, Clock: a.env.Clock, Command: "listbound key replace"}
			k, err := site.ReplaceKey(cmd.Context(), o, operator, reason)
			if err != nil {
				return err
			}
			what := fmt.Sprintf("replaced by record %d, which the old key has signed", k.Seq)
			if k.Finished {
				what = fmt.Sprintf("finished what had been cut off: replaced by record %d, which the old key has signed", k.Seq)
			}
			_, err = fmt.Fprintf(a.env.Out, "%s\nold key: %s\nnew key: %s\n"+
				"Hand out the new key as you did the old one. Each witness of the ledger is started with both from now on:\n"+
				"  listbound witness --ledger OLD --ledger NEW …\nMake a backup: those of before have the old private key.\n",
				what, k.Former, k.Key)
			return err
		})
	c.Flags().StringVar(&operator, "operator", "", "badge of the person who replaces it")
	c.Flags().StringVar(&reason, "reason", "", "why")
	c.Args = cobra.NoArgs
	for _, f := range []string{"operator", "reason"} {
		if err := c.MarkFlagRequired(f); err != nil {
			c.RunE = func(*cobra.Command, []string) error { return err }
		}
	}
	return c
}

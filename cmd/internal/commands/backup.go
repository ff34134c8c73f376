package commands

import (
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/site"
)

func (a *app) backup() *cobra.Command {
	c := command("backup FOLDER", "copies the ledger and its keys to another disk",
		`Copies every signed record with its tree, the private keys, and the site's settings,
also while a server has the data folder; then reads every record of the copy back. A
folder that holds an earlier backup of the same ledger gets what is new, and stays as
it was until that is whole. A backup of another history, or a later one, is never
written over. Whoever has the backup has the keys: keep it as you would keep them.
The read model, the stream and the ledger for practice are not copied: the first two
are made anew.`,
		"listbound backup --data d /mnt/other-disk/ledger", func(cmd *cobra.Command, args []string) error {
			o, err := a.folderOptions("backup")
			if err != nil {
				return err
			}
			to, err := filepath.Abs(args[0])
			if err != nil {
				return err
			}
			progress, end := a.progress("copied")
			b, err := site.Backup(cmd.Context(), o, to, progress)
			end()
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.env.Out, "backed up and read back: %d records, root %s\n"+
				"%s holds %d private keys; whoever has it can sign as this ledger and its stations\n", b.Records, b.Root, to, b.Keys)
			return err
		})
	c.Args = cobra.ExactArgs(1)
	return c
}

func (a *app) restore() *cobra.Command {
	c := command("restore FOLDER", "makes a data folder of a backup",
		`Copies the records of a backup, holds them against the signed root, and makes the
stream anew; the read model follows at the next start. A data folder that has records
is refused. Run "listbound verify" afterwards. The original must not go on beside the
restored one: two histories under one key would come of it, which witnesses see, and
no folder by itself can.`,
		"listbound restore /mnt/other-disk/ledger --data d", func(cmd *cobra.Command, args []string) error {
			o, err := a.folderOptions("restore")
			if err != nil {
				return err
			}
			progress, end := a.progress("restored")
			b, err := site.Restore(cmd.Context(), o, args[0], progress)
			end()
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.env.Out, "restored: %d records, root %s\nnow run: listbound verify --data %s\n"+
				"the ledger that was backed up must not go on beside this one\n", b.Records, b.Root, a.data)
			return err
		})
	c.Args = cobra.ExactArgs(1)
	return c
}

// folderOptions are those of a command that works on the files of a folder.
func (a *app) folderOptions(name string) (site.Options, error) {
	if a.server != "" {
		return site.Options{}, errors.New("this is done where the data folder lies; use --data")
	}
	dir, err := filepath.Abs(a.data)
	if err != nil {
		return site.Options{}, fmt.Errorf("data folder: %w", err)
	}
	return site.Options{Dir: dir, Clock: a.env.Clock, Command: "listbound " + name,
		Logger: slog.New(slog.NewTextHandler(a.env.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))}, nil
}

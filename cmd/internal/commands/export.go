package commands

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/site"
)

func (a *app) export() *cobra.Command {
	var out, asOf string
	c := command("export", "writes a copy of what was found, for reports",
		`Writes one SQLite file with whole turns, counts, loads, cases and findings in readable
columns, and views such as the monthly rate by placement. It lies where you want it and
has no key in it, so that an analyst needs nothing of the data folder. It has badges and
case references in it, and keeps what is taken out of the ledger later: make it anew
then, and remove the old one. It is a copy of now, or with --as-of of what was known
then; it proves nothing by itself, as evidence does. What its tables hold is in projections/reporting/TABLES.md.`,
		"listbound export --data d --sqlite reporting.sqlite",
		func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return errors.New("--sqlite FILE says where the copy goes")
			}
			at, err := parseAsOf(asOf)
			if err != nil {
				return err
			}
			return a.ask(cmd, func(s site.Service) error {
				progress, end := a.progressOf("written", "turns")
				err := replaceFile("reporting copy", filepath.Clean(out),
					func(w io.Writer) error { return s.ReportingCopy(cmd.Context(), w, at, progress) })
				end()
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.env.Out, "%s written; ask it with: sqlite3 %s\n", out, out)
				return err
			})
		})
	c.Args = cobra.NoArgs
	addAsOf(c, &asOf)
	c.Flags().StringVar(&out, "sqlite", "", "file to write; one that is there is replaced once the copy is whole")
	return c
}

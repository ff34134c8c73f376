package commands

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/spf13/cobra"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace"
	"listbound/events"
)

func (a *app) registers() *cobra.Command {
	c := &cobra.Command{
		Use: "registers", Short: "imports and exports the registers of people, sets, places, stations and sterilizers",
		Long: `A register says who and what there is: ` + registerNames() + `. Each entry is a
record of the ledger; names of people are in none, but in people.json in the data folder.
While a site holds to a register, who and what is not in it is asked about or refused.`,
	}
	c.AddCommand(a.importRegister(), a.exportRegister(), a.holdRegisters())
	return c
}

func registerNames() string {
	var out []string
	for _, r := range events.Registers() {
		out = append(out, string(r))
	}
	return strings.Join(out, ", ")
}

func (a *app) importRegister() *cobra.Command {
	asked := workplace.ImportAsked{Headings: map[string]string{}, Words: map[string]string{}}
	var asJSON bool
	c := command("import REGISTER FILE", "enters the rows of a table, CSV or XLSX, in a register",
		`The table's columns stand in any order, below rows with a title, under names as they are usual:
  people       badge, name, first name, roles (or job), from, until
  sets         set, list, owner, home, high risk, tags, from, until
  places       place, title, from, until
  stations     station, works, sterilizers, where, from, until
  sterilizers  sterilizer, cycles, where, from, until
The first must be there. A heading or a word that is not known is given with --column and --word. Rows that say what
stands there already make no record. Nothing is entered while a row is wrong, a word unknown or a code like another one.`,
		"listbound registers import people badges.csv --data d --operator B-1001 --word 'Charge nurse=records,leads' --hold",
		func(cmd *cobra.Command, args []string) error {
			raw, err := os.ReadFile(args[1])
			if err != nil {
				return err
			}
			if asked.Operator == "" && !asked.Check {
				return errors.New("--operator is missing: an entry says who made it")
			}
			got, err := a.askImport(cmd, events.Register(args[0]), raw, asked)
			if err != nil {
				return err
			}
			if asJSON {
				err = a.printJSON(got)
			} else {
				a.showImport(events.Register(args[0]), filepath.Base(args[1]), got, asked.Check)
			}
			if err == nil && got.Entered == nil && !asked.Check {
				return errSaid
			}
			return err
		})
	c.Args = cobra.ExactArgs(2)
	f := c.Flags()
	f.StringVar(&asked.Operator, "operator", "", "badge of the person who enters it")
	f.BoolVar(&asked.Check, "check", false, "say what would change and enter nothing")
	f.BoolVar(&asked.Whole, "whole", false, "the table is all there is: what is not in it ends")
	f.BoolVar(&asked.Different, "different", false, "codes that look like others are different ones")
	f.BoolVar(&asked.Hold, "hold", false, "hold to the register from then on")
	f.StringToStringVar(&asked.Headings, "column", nil, "what a heading is, such as 'Card=badge'")
	f.StringToStringVar(&asked.Words, "word", nil, "what a word means, such as 'Nurse=records'; - for nothing")
	f.BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// askImport hands a table to the data folder or the server.
func (a *app) askImport(cmd *cobra.Command, r events.Register, raw []byte, asked workplace.ImportAsked) (*workplace.Imported, error) {
	if a.server != "" {
		return a.sendRegister(cmd.Context(), a.server, r, raw, asked)
	}
	var got *workplace.Imported
	err := a.with(cmd, site.Options{}, func(s site.Service) (err error) {
		folder, ok := s.(*site.Site)
		if !ok {
			return errors.New("a register is imported into a data folder or by a server")
		}
		got, err = workplace.ImportRegister(cmd.Context(), folder, r, raw, asked)
		return err
	})
	return got, err
}

func (a *app) sendRegister(ctx context.Context, server string, r events.Register, raw []byte, asked workplace.ImportAsked) (
	got *workplace.Imported, err error) {
	c, err := a.askServer()
	if err != nil {
		return nil, err
	}
	address := strings.TrimSuffix(server, "/") + "/api/registers/" + string(r) + "?" + asked.Query().Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/octet-stream")
	res, err := c.Send(req)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, res.Body.Close()) }()
	const most = 8 << 20
	answer, err := io.ReadAll(io.LimitReader(res.Body, most))
	if err != nil {
		return nil, err
	}
	if res.StatusCode != http.StatusOK {
		var f shell.Failure
		if json.Unmarshal(answer, &f) != nil || f.Error == "" {
			f.Error = fmt.Sprintf("%s answered %s", server, res.Status)
		}
		return nil, errors.New(f.Error)
	}
	return workplace.ParseImported(answer)
}

// meanings are what a word of a register's table can mean.
func meanings(r events.Register) (out []string) {
	if r == events.RegisterStations {
		for _, w := range events.Works() {
			out = append(out, string(w))
		}
		return out
	}
	for _, role := range events.Roles() {
		out = append(out, string(role))
	}
	return out
}

// showImport says what became of a table.
func (a *app) showImport(r events.Register, file string, got *workplace.Imported, check bool) {
	for _, w := range got.Wrong {
		fmt.Fprintf(a.env.Err, "listbound: %s: %s\n", file, w)
	}
	for _, w := range got.Unknown {
		fmt.Fprintf(a.env.Err, "listbound: %s: what does %q mean? Say it with --word '%s=…'\n", file, w, w)
	}
	if len(got.Unknown) > 0 {
		fmt.Fprintf(a.env.Err, "listbound: %s: … is one or more of %s, or - for nothing\n", file, strings.Join(meanings(r), ", "))
	}
	if c := got.RegisterChange; c != nil {
		for _, x := range c.Alike {
			fmt.Fprintf(a.env.Err, "listbound: %s: row %d: %s looks like %s; mend it, or say with --different that it is another one\n",
				file, x.Row, x.ID, x.Like)
		}
		fmt.Fprintf(a.env.Out, "new: %d, changed: %d, as before: %d\n", len(c.New), len(c.Changed), c.Same)
		if c.Past > 0 {
			fmt.Fprintf(a.env.Out, "over before today, left out: %d\n", c.Past)
		}
		if n := len(c.NotThere); n > 0 {
			fmt.Fprintf(a.env.Out, "in the register and not in the table: %d\n", n)
		}
	}
	switch {
	case got.Entered != nil:
		fmt.Fprintf(a.env.Out, "entered: %d records\n", got.Entered.Records)
		if got.Entered.Held {
			fmt.Fprintln(a.env.Out, "the site holds to the register")
		} else {
			fmt.Fprintln(a.env.Out, "the site does not hold to the register: nothing is refused by it")
		}
	case !check:
		fmt.Fprintln(a.env.Err, "listbound: nothing was entered")
	}
}

func (a *app) exportRegister() *cobra.Command {
	var out, lang string
	c := command("export REGISTER", "writes a register as a table that imports again",
		`Reads the read model. The file is CSV, or XLSX where its name ends so. What has ended is not in it.`,
		"listbound registers export people --data d --out people.xlsx", func(cmd *cobra.Command, args []string) error {
			var table bytes.Buffer
			xlsx := strings.HasSuffix(strings.ToLower(out), ".xlsx")
			var err error
			if a.server != "" {
				ending := ".csv"
				if xlsx {
					ending = ".xlsx"
				}
				err = a.fetch(cmd.Context(), strings.TrimSuffix(a.server, "/")+"/registers/"+args[0]+"/table"+ending+"?lang="+lang, &table)
			} else {
				err = a.ask(cmd, func(s site.Service) error {
					folder, ok := s.(*site.Site)
					if !ok {
						return errors.New("a register is exported from a data folder or by a server")
					}
					language, err := languageOf(folder, lang)
					if err != nil {
						return err
					}
					raw, err := workplace.ExportRegister(cmd.Context(), folder, events.Register(args[0]), xlsx,
						workplace.How{Names: folder.Words().Catalogue(), In: language})
					table.Write(raw)
					return err
				})
			}
			if err != nil {
				return err
			}
			if out == "-" {
				_, err = table.WriteTo(a.env.Out)
				return err
			}
			return writeFile(out, table.Bytes(), 0o600)
		})
	c.Args = cobra.ExactArgs(1)
	c.Flags().StringVar(&out, "out", "-", "file to write, - for standard output")
	c.Flags().StringVar(&lang, "lang", "en", "language of headings and words, such as en or de")
	return c
}

func (a *app) holdRegisters() *cobra.Command {
	var operator, reason string
	c := command("hold [REGISTER…]", "says which registers the site holds to from now on",
		`Names all of them; one that is left out is held to no longer. Without a name, to none.`,
		"listbound registers hold people sets --data d --operator B-1001", func(cmd *cobra.Command, args []string) error {
			if operator == "" {
				return errors.New("--operator is missing: the record says who decided it")
			}
			d := &events.RegistersAdopted{Registers: []events.Register{}, Reason: reason}
			for _, r := range args {
				d.Registers = append(d.Registers, events.Register(r))
			}
			if err := d.Check(); err != nil {
				return err
			}
			return a.with(cmd, site.Options{}, func(s site.Service) error {
				got, err := a.byLedger(cmd.Context(), s, operator, d)
				if err == nil {
					_, err = fmt.Fprintf(a.env.Out, "held to from now on: %s (record %d)\n",
						cmp.Or(strings.Join(args, ", "), "no register"), got.Seq)
				}
				return err
			})
		})
	c.Flags().StringVar(&operator, "operator", "", "badge of the person who decided it")
	c.Flags().StringVar(&reason, "reason", "", "why")
	return c
}

// byLedger records what the ledger itself says.
func (a *app) byLedger(ctx context.Context, s site.Service, operator string, d events.Data) (got site.Receipt, err error) {
	name, err := ledgerOf(ctx, s)
	if err != nil {
		return got, err
	}
	line, err := events.FormatObservation(&events.Observation{
		Station: name, Kind: d.Kind(), Time: a.env.Clock().UTC(), Operator: operator, Data: d,
	})
	if err != nil {
		return got, err
	}
	err = s.Record(ctx, bytes.NewReader(append(line, '\n')), func(r site.Receipt) error { got = r; return nil })
	if err == nil && got.Error != "" {
		err = errors.New(got.Error)
	}
	return got, err
}

// ledgerOf returns the name of a service's ledger, which stands among its stations.
func ledgerOf(ctx context.Context, s site.Service) (string, error) {
	all, err := s.Stations(ctx)
	if err != nil {
		return "", err
	}
	for _, st := range all {
		if events.ReservedStation(st.Name) {
			return st.Name, nil
		}
	}
	return "", errors.New("nothing is recorded there yet: import a register first")
}

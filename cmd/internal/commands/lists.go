package commands

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/go-json-experiment/json"
	"github.com/spf13/cobra"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/texts"
	"listbound/cmd/internal/workplace"
	"listbound/events"
	"listbound/projections/words"
)

// issueFlags are what a new version needs besides its lines.
type issueFlags struct {
	list, title, station, operator string
	cycles                         []string
	implants, highRisk             string // yes, no, or as before
	check                          bool
}

func (f *issueFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.station, "station", "", "station that issues the list, such as north/packing-1")
	c.Flags().StringVar(&f.operator, "operator", "", "badge of the person who wrote it")
	c.Flags().BoolVar(&f.check, "check", false, "show what would change and issue nothing")
}

func (a *app) importList() *cobra.Command {
	var f issueFlags
	c := command("import FILE", "issues a list from a table, CSV or XLSX",
		`The first row names the columns: line, item, description, quantity (or in another
language that has texts: Zeile, Artikel, Bezeichnung, Anzahl); line may be left out.
Columns mark, names, substitutes, parts and tray-place may say what helps to tell an instrument. A column sort
(sponges, sharps or small items) makes it a list of goods, which are counted in rooms and belong to no set; their
quantity is a pack's. Says for each row what is wrong, and
imports nothing until all of it is right. The list gets the next version; what
changes is shown line by line.`,
		"listbound lists import --data d --list LAP-MAJOR --station north/packing-1 --operator B-1001 lap-major.xlsx",
		func(cmd *cobra.Command, args []string) error {
			raw, err := os.ReadFile(args[0])
			if err != nil {
				return err
			}
			said, err := a.words()
			if err != nil {
				return err
			}
			t := workplace.ReadTable(raw, workplace.How{Names: said.Catalogue(), In: said.Catalogue().In("en")})
			bad := t.Wrong
			for _, b := range bad {
				fmt.Fprintf(a.env.Err, "listbound: %s: %s\n", filepath.Base(args[0]), b)
			}
			if len(bad) > 0 {
				fmt.Fprintf(a.env.Err, "listbound: nothing was imported\n")
				return errSaid
			}
			if f.list == "" {
				f.list = strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
			}
			return a.issue(cmd, f, t)
		})
	c.Args = cobra.ExactArgs(1)
	f.add(c)
	c.Flags().StringVar(&f.list, "list", "", "the list's id (default: the file's name)")
	c.Flags().StringVar(&f.title, "title", "", "the list's title (default: as before)")
	c.Flags().StringSliceVar(&f.cycles, "cycles", nil,
		"sterilizer cycles this kind of set may run (default: as before)")
	c.Flags().StringVar(&f.implants, "implants", "", "yes or no: sets of this list hold implants (default: as before)")
	c.Flags().StringVar(&f.highRisk, "high-risk", "",
		"yes or no: sets of this list are used on tissues of high risk, and their pieces are to stay in them (default: as before)")
	return c
}

func (a *app) issueList() *cobra.Command {
	var f issueFlags
	c := command("issue FILE", "issues a list that is written as JSON",
		`Reads one object as list.issued has it: list, title, lines, and cycles if only some
are allowed. The version is the next one, whatever the file says. "lists --json LIST"
prints versions in nearly this form.`,
		"listbound lists issue --data d --station north/packing-1 --operator B-1001 lap-major.json",
		func(cmd *cobra.Command, args []string) error {
			raw, err := os.ReadFile(args[0])
			if err != nil {
				return err
			}
			var d events.ListIssued
			if err := json.Unmarshal(raw, &d, json.RejectUnknownMembers(true)); err != nil {
				return fmt.Errorf("%s is not a list: %w", filepath.Base(args[0]), err)
			}
			f.list, f.title, f.cycles, f.implants, f.highRisk = d.List, d.Title, d.Cycles, "no", "no"
			if d.Implants {
				f.implants = "yes"
			}
			if d.HighRisk {
				f.highRisk = "yes"
			}
			return a.issue(cmd, f, workplace.Table{Lines: d.Lines, Photographs: true})
		})
	c.Args = cobra.ExactArgs(1)
	f.add(c)
	return c
}

// fit reports what a list can't be issued with.
func (f *issueFlags) fit() error {
	if err := events.CheckStation(f.station); err != nil {
		return fmt.Errorf("--station: %w", err)
	}
	if f.implants != "" && f.implants != "yes" && f.implants != "no" {
		return fmt.Errorf("--implants is yes or no, not %q", f.implants)
	}
	if f.highRisk != "" && f.highRisk != "yes" && f.highRisk != "no" {
		return fmt.Errorf("--high-risk is yes or no, not %q", f.highRisk)
	}
	if f.operator == "" && !f.check {
		return errors.New("--operator is missing: a list says who wrote it")
	}
	return nil
}

// issue shows what changes and records the next version.
func (a *app) issue(cmd *cobra.Command, f issueFlags, t workplace.Table) error {
	if err := f.fit(); err != nil {
		return err
	}
	return a.with(cmd, site.Options{EnrolOnSight: true, Name: site.SiteOf(f.station)}, func(s site.Service) error {
		before, err := s.Lists(cmd.Context(), "")
		if err != nil {
			return err
		}
		var own []site.ListVersion
		for _, v := range before {
			if v.List == f.list {
				own = append(own, v)
			}
		}
		if n := len(own); n > 0 {
			t.KeepPhotographs(own[n-1].LineRows)
		}
		if n := len(own); n > 0 && f.cycles == nil {
			f.cycles = own[n-1].Cycles
		}
		next := events.ListIssued{List: f.list, Title: f.title, Cycles: f.cycles, Lines: t.Lines,
			Implants: f.implants == "yes", HighRisk: f.highRisk == "yes"}
		if n := len(own); n > 0 {
			next.Implants = next.Implants || f.implants == "" && own[n-1].Implants
			next.HighRisk = next.HighRisk || f.highRisk == "" && own[n-1].HighRisk
		}
		d, err := workplace.NextVersion(own, next)
		if err != nil {
			return err
		}
		if err := a.showChanges(own, d); err != nil || f.check {
			return err
		}
		line, err := events.FormatObservation(&events.Observation{
			Station: f.station, Kind: events.KindListIssued, Time: a.env.Clock(), Operator: f.operator, Data: d,
		})
		if err != nil {
			return err
		}
		var got site.Receipt
		if err := s.Record(cmd.Context(), bytes.NewReader(append(line, '\n')),
			func(r site.Receipt) error { got = r; return nil }); err != nil {
			return err
		}
		if got.Error != "" {
			return errors.New(got.Error)
		}
		_, err = fmt.Fprintf(a.env.Out, "%s version %d is issued (record %d)\n", d.List, d.Version, got.Seq)
		return err
	})
}

func (a *app) showChanges(before []site.ListVersion, d *events.ListIssued) error {
	if len(before) == 0 {
		_, err := fmt.Fprintf(a.env.Out, "%s: first version, %d lines\n", d.List, len(d.Lines))
		return err
	}
	tw := tabwriter.NewWriter(a.env.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "line\tbefore\tafter")
	say := func(l *events.Line) string {
		if l == nil {
			return "-"
		}
		return fmt.Sprintf("%d x %s (%s)", l.Quantity, l.Description, l.Item)
	}
	for _, c := range events.DiffLines(before[len(before)-1].LineRows, d.Lines) {
		fmt.Fprintf(tw, "%d\t%s\t%s\n", c.Line, say(c.Old), say(c.New))
	}
	return tw.Flush()
}

// words are what is said to people: this program's texts, with those of the data
// folder, if it is here.
func (a *app) words() (*words.Judgement, error) {
	if a.server != "" {
		return texts.Read()
	}
	return texts.Read(os.DirFS(filepath.Join(a.data, texts.Folder)))
}

// languageOf returns the language of --lang as a data folder has it.
func languageOf(folder *site.Site, tag string) (*words.Language, error) {
	l, ok := folder.Words().Catalogue().Find(tag)
	if !ok {
		return nil, fmt.Errorf("--lang is one of %s, not %q", strings.Join(folder.Words().Languages(), ", "), tag)
	}
	return l, nil
}

func (a *app) printList() *cobra.Command {
	var trip, size, lang, out string
	c := command("print SET", "prints the sheet that is sealed for a set, as PDF",
		`Reads the read model and the ledger. The sheet is that of the set's open trip, or of
the trip named with --trip; its symbol says the code that was sealed.`,
		"listbound lists print --data d LAP-014 --out sheet.pdf", func(cmd *cobra.Command, args []string) error {
			paperSize, err := paper.ParseSize(size)
			if err != nil {
				return err
			}
			var pdf bytes.Buffer
			if a.server != "" {
				q := url.Values{"set": {args[0]}, "trip": {trip}, "size": {size}, "lang": {lang}}
				err = a.fetch(cmd.Context(), strings.TrimSuffix(a.server, "/")+"/print/sheet.pdf?"+q.Encode(), &pdf)
			} else {
				err = a.ask(cmd, func(s site.Service) error {
					folder, ok := s.(*site.Site)
					if !ok {
						return errors.New("a sheet is printed from a data folder or by a server")
					}
					language, err := languageOf(folder, lang)
					if err != nil {
						return err
					}
					return workplace.PrintSheet(cmd.Context(), folder, args[0], trip, paperSize, language, &pdf)
				})
			}
			if err != nil {
				return err
			}
			if out == "-" {
				_, err = pdf.WriteTo(a.env.Out)
				return err
			}
			return writeFile(out, pdf.Bytes(), 0o644)
		})
	c.Args = cobra.ExactArgs(1)
	c.Flags().StringVar(&trip, "trip", "", "trip (default: the open one)")
	c.Flags().StringVar(&size, "size", "A4", "paper: A4 or Letter")
	c.Flags().StringVar(&lang, "lang", "en", "language, such as en or de")
	c.Flags().StringVar(&out, "out", "sheet.pdf", "file to write, - for standard output")
	return c
}

// fetch gets a file from a server; what a server refuses, it says.
func (a *app) fetch(ctx context.Context, address string, w io.Writer) (err error) {
	c, err := a.askServer()
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return err
	}
	res, err := c.Send(req)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, res.Body.Close()) }()
	if err := refusedBy(res); err != nil {
		return err
	}
	_, err = io.Copy(w, res.Body)
	return err
}

// refusedBy is what a server says that doesn't do what it is asked, nil where it does.
func refusedBy(res *http.Response) error {
	if res.StatusCode == http.StatusOK {
		return nil
	}
	const most = 4096
	said, err := io.ReadAll(io.LimitReader(res.Body, most))
	return errors.Join(errors.New(strings.TrimSpace(string(said))), err)
}

package commands

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace"
	"listbound/projections/words"
)

// paper is about count sheets on paper: printed for a day ahead, and read back.
func (a *app) paper() *cobra.Command {
	c := &cobra.Command{Use: "paper", Short: "prints count sheets for a day ahead, and reads filled-in ones back"}
	c.AddCommand(a.paperDay(), a.paperRead(), a.paperTrial())
	return c
}

func (a *app) paperDay() *cobra.Command {
	var out, size, label, lang, date string
	var blank int
	var drill bool
	c := command("day [SET...]", "prints the count sheets of all sets that are ready, as PDFs into a folder",
		`At night, for a day on which the server may be away: for each case of the day by the
schedule a folder with a cover page (when, where, which sets) and the count sheets and
labels of its sets; then those of all other sets that are closed and not yet counted to
their end (or of those that are named), and forms for what nobody planned. They go into
a folder named by the day, below the one named with --out; contents.txt lists them, and
what has no count sheet. The day is tomorrow, before noon today, or the one named with
--day. What was filled in is read back with "paper read", or at the stations' page.

With --drill the sheets are those of the practice ledger, and say so on every page: a
downtime can be practised with them from printing to reading back.`,
		"listbound paper day --data d --out /srv/downtime --blank 10", func(cmd *cobra.Command, args []string) error {
			d := workplace.Day{Date: date, Blank: blank, Sets: args, Practice: drill}
			var err error
			if d.Size, err = paper.ParseSize(size); err != nil {
				return err
			}
			if d.Label, err = paper.ParseLabelSize(label); err != nil {
				return err
			}
			var archive bytes.Buffer
			if a.server != "" {
				q := url.Values{"size": {size}, "lang": {lang}, "blank": {strconv.Itoa(blank)}, "set": args}
				q.Set("label", label)
				if date != "" {
					q.Set("day", date)
				}
				prefix := ""
				if drill {
					prefix = "/practice"
				}
				err = a.fetch(cmd.Context(), strings.TrimSuffix(a.server, "/")+prefix+"/print/day.zip?"+q.Encode(), &archive)
			} else {
				err = a.printDay(cmd, d, lang, &archive)
			}
			if err != nil {
				return err
			}
			n, dir, err := unpack(archive.Bytes(), out)
			if err == nil {
				fmt.Fprintf(a.env.Out, "%d files in %s; contents.txt lists them\n", n, dir)
			}
			return err
		})
	c.Flags().StringVar(&out, "out", "", "folder to write to")
	c.Flags().StringVar(&date, "day", "", "day that is printed for, as 2026-03-04")
	c.Flags().StringVar(&size, "size", "A4", "paper: A4 or Letter")
	c.Flags().StringVar(&label, "label", paper.LabelSizes()[0].Name, "size of labels, such as 100x50 or 4x2in")
	c.Flags().StringVar(&lang, "lang", "en", "language, such as en or de")
	c.Flags().IntVar(&blank, "blank", 10, "how many forms for sets without a count sheet")
	c.Flags().BoolVar(&drill, "drill", false, "print those of the practice ledger, for a drill")
	if err := c.MarkFlagRequired("out"); err != nil {
		panic(err) // the flag is two lines above
	}
	return c
}

// printDay prints from a data folder.
func (a *app) printDay(cmd *cobra.Command, d workplace.Day, lang string, w io.Writer) error {
	return a.ask(cmd, func(s site.Service) (err error) {
		folder, ok := s.(*site.Site)
		if !ok {
			return errors.New("a day is printed from a data folder or by a server")
		}
		language, err := languageOf(folder, lang)
		if err != nil {
			return err
		}
		if d.Practice {
			practice, err := a.openPractice(cmd.Context(), folder, func(int64) {})
			if err != nil {
				return err
			}
			return errors.Join(workplace.PrintDay(cmd.Context(), practice, d, language, w), practice.Close())
		}
		return workplace.PrintDay(cmd.Context(), folder, d, language, w)
	})
}

// unpack writes the files of an archive into the folder of its day below another one, each whole.
func unpack(archive []byte, out string) (n int, dir string, err error) {
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return 0, "", fmt.Errorf("what the server sent is no archive: %w", err)
	}
	if _, err := time.Parse(time.DateOnly, z.Comment); err != nil {
		return 0, "", fmt.Errorf("the archive doesn't say for which day it is: %w", err)
	}
	dir = filepath.Join(out, z.Comment)
	for _, f := range z.File {
		if !filepath.IsLocal(f.Name) {
			return n, dir, fmt.Errorf("the archive names %q, which is not below a folder", f.Name)
		}
		path := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return n, dir, err
		}
		r, err := f.Open()
		if err != nil {
			return n, dir, err
		}
		raw, err := io.ReadAll(r)
		if err = errors.Join(err, r.Close()); err != nil {
			return n, dir, err
		}
		part := path + ".part"
		if err := os.WriteFile(part, raw, 0o644); err != nil {
			return n, dir, err
		}
		if err := os.Rename(part, path); err != nil {
			return n, dir, err
		}
		n++
	}
	return n, dir, nil
}

func (a *app) paperTrial() *cobra.Command {
	var out, size, lang string
	c := command("trial [FILE...]", "prints a trial sheet, or says by its picture whether printer, copier and camera will do",
		`Without a file it prints one page with marks of all kinds and a column for the site's own
pens. Print it, tick that column with the pens that are used, take its picture as count
sheets are to be taken (photo, scan, copy and scan) and hand the file in: each mark is
held against what it is, so that it is known before the first count sheet is read back
whether pale ink, a copier or a telephone is too little. No data folder is needed.`,
		"listbound paper trial --out trial.pdf", func(cmd *cobra.Command, args []string) error {
			said, err := a.words()
			if err != nil {
				return err
			}
			in, ok := said.Catalogue().Find(lang)
			if !ok {
				return fmt.Errorf("--lang is one of %s, not %q", strings.Join(said.Languages(), ", "), lang)
			}
			if len(args) == 0 {
				return a.printTrial(out, size, in)
			}
			bad := false
			for _, name := range args {
				good, err := a.readTrial(name, in)
				if err != nil {
					return err
				}
				bad = bad || !good
			}
			if bad {
				return errSaid
			}
			return nil
		})
	c.Flags().StringVar(&out, "out", "trial.pdf", "file to write")
	c.Flags().StringVar(&size, "size", "A4", "paper: A4 or Letter")
	c.Flags().StringVar(&lang, "lang", "en", "language, such as en or de")
	return c
}

func (a *app) printTrial(out, size string, in *words.Language) error {
	paperSize, err := paper.ParseSize(size)
	if err != nil {
		return err
	}
	var pdf bytes.Buffer
	if err := paper.WriteTrialSheet(&pdf, paperSize, in); err != nil {
		return err
	}
	return writeFile(out, pdf.Bytes(), 0o644)
}

// readTrial says what the pages of a file show; good is false where one of them will not do.
func (a *app) readTrial(name string, in *words.Language) (good bool, err error) {
	file, err := readBounded(name)
	if err != nil {
		return false, err
	}
	good = true
	for m, err := range pictures.Pages(file, pictures.Usual()) {
		var page *marks.Page
		if err == nil {
			page, err = marks.Read(m, func(s marks.Symbol) (*paper.Sheet, error) {
				if !paper.IsTrial(s.Code) {
					return nil, errors.New("this is a count sheet and not the trial sheet")
				}
				sheet, err := paper.TrialSheet(in)
				return &sheet, err
			})
		}
		if err != nil {
			good = false
			says := err.Error()
			if r, ok := errors.AsType[*marks.Refusal](err); ok {
				says = r.Say(in)
			}
			fmt.Fprintf(a.env.Out, "%s: %s\n", plainName(name), says)
			continue
		}
		t := marks.TrialOf(page)
		good = good && (t.Overall() == marks.Fit || t.Overall() == marks.Unasked && t.Fitness == marks.Fit)
		fmt.Fprintf(a.env.Out, "%s: %s\n", plainName(name), strings.Join(t.Say(in), "\n  "))
	}
	return good, nil
}

package commands

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/spf13/cobra"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/projections/assess"
)

// assessFlags are what an assessment is asked for with.
type assessFlags struct {
	since, until, choices, lang string
	asOf                        string
	dependence                  string
	placements                  []string
	seed                        uint64
	asJSON                      bool
	pdf                         string
}

func (f *assessFlags) query() (q site.AssessQuery, err error) {
	var times ratesFlags
	times.since, times.until, times.asOf = f.since, f.until, f.asOf
	r, err := times.query()
	if err != nil {
		return q, err
	}
	q = site.AssessQuery{Since: r.Since, Until: r.Until, AsOf: r.AsOf, Seed: f.seed}
	if f.choices != "" {
		if q.Choices, err = readChoices(f.choices); err != nil {
			return q, err
		}
	}
	if len(f.placements) > 0 || len(q.Choices.Placements) == 0 {
		q.Choices.Placements = f.placements
	}
	if len(q.Choices.Placements) == 0 {
		q.Choices.Placements = assess.Placements()
	}
	if f.dependence != "" || q.Choices.Dependence == "" {
		q.Choices.Dependence = assess.Dependence(f.dependence)
	}
	if q.Choices.Dependence == "" {
		q.Choices.Dependence = assess.DependenceHigh
	}
	return q, q.Choices.Check()
}

// readChoices reads what a site chose from a file; a member that there isn't is a slip.
func readChoices(name string) (c assess.Choices, err error) {
	f, err := os.Open(name)
	if err != nil {
		return c, err
	}
	defer f.Close() // only read from
	const most = 1 << 17
	if err := json.UnmarshalRead(io.LimitReader(f, most), &c, json.RejectUnknownMembers(true)); err != nil {
		return c, fmt.Errorf("%s: %w", name, err)
	}
	return c, nil
}

func (a *app) assess() *cobra.Command {
	var f assessFlags
	c := command("assess", "assesses where count sheets travel: hazards on both sides, and what the numbers carry",
		`Works out, for each placement that is compared, how likely a set is counted by a list
that is not its own, or with none: by a fault tree with published start values, and by
the ledger's own counts as soon as enough was read; what is enough for it, what the
answer turns on, and whether the ledger tells two placements apart. The hazards of
paper and ink are for the site to judge. --choices names a JSON file with what the
site says: placements, dependence of the second reader (zero to complete), unused,
controls, own, hazards (severity, likelihood, answers, words), residual, review,
decides; as --json prints them. It recommends nothing.`,
		"listbound assess --data d --placements inside-bag,outside --choices ours.json",
		func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			said, err := a.words()
			if err != nil {
				return err
			}
			l, ok := said.Catalogue().Find(f.lang)
			if !ok {
				return fmt.Errorf("--lang is one of %s, not %q", strings.Join(said.Languages(), ", "), f.lang)
			}
			return a.ask(cmd, func(s site.Service) error {
				x, err := s.Assess(cmd.Context(), q)
				if err != nil {
					return err
				}
				if f.pdf != "" {
					raw, err := report.AssessmentPDF(x, l, report.Signature{Site: cmp.Or(a.server, filepath.Base(a.data))}, a.env.Clock())
					if err != nil {
						return err
					}
					return replaceFile("assessment", f.pdf, func(w io.Writer) error { _, err := w.Write(raw); return err })
				}
				if f.asJSON {
					return a.printJSON(x)
				}
				report.AsOf(a.env.Out, q.AsOf)
				return report.WriteAssessment(a.env.Out, x, l)
			})
		})
	c.Args = cobra.NoArgs
	fl := c.Flags()
	fl.StringVar(&f.since, "since", "", "count openings from this moment on (RFC 3339)")
	fl.StringVar(&f.until, "until", "", "count openings before this moment (RFC 3339)")
	addAsOf(c, &f.asOf)
	fl.StringSliceVar(&f.placements, "placements", nil, "of "+strings.Join(assess.Placements(), ", ")+"; all of them if left out")
	fl.StringVar(&f.dependence, "dependence", "", "of the second reader on the first: zero, low, moderate, high (the default), complete")
	fl.StringVar(&f.choices, "choices", "", "JSON file with what the site chose")
	fl.Uint64Var(&f.seed, "seed", 1, "of what is drawn at random")
	fl.StringVar(&f.lang, "lang", "en", "language of the text")
	fl.BoolVar(&f.asJSON, "json", false, "print JSON")
	fl.StringVar(&f.pdf, "pdf", "", "write it as PDF with its pictures, marked as not signed; what was signed is printed on the page")
	return c
}

package commands

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"listbound/projections"
	"listbound/projections/words"
)

// explained is a code of findings with what it stands for.
type explained struct {
	Code projections.Code `json:"code"`
	Name string           `json:"name"`
	When string           `json:"when"`
}

func (a *app) codes() *cobra.Command {
	return explain(a, "codes", "explains the codes of findings",
		`Says of each code what it is called and when it is found, the gravest first
among findings of one severity. Reads no ledger. What a finding weighs can depend
on the policy in force; the facility's own policy decides what is done about it.`,
		func(j *words.Judgement, lang string) (all []explained) {
			for _, c := range projections.Codes() {
				all = append(all, explained{c, j.Code(lang, c), j.When(lang, c)})
			}
			return all
		}, printCodes)
}

// explain is a command that explains something in a language, from no ledger.
func explain[T any](
	a *app, use, short, long string, explained func(j *words.Judgement, lang string) []T, write func(io.Writer, []T) error,
) *cobra.Command {
	var lang string
	var asJSON bool
	c := command(use, short, long, "listbound "+use+" --lang de", func(*cobra.Command, []string) error {
		j := words.Embedded()
		if known := j.Languages(); !slices.Contains(known, lang) {
			return fmt.Errorf("there are no words in %q; there are in %s", lang, strings.Join(known, ", "))
		}
		all := explained(j, lang)
		if asJSON {
			return a.printJSON(all)
		}
		return write(a.env.Out, all)
	})
	c.Args = cobra.NoArgs
	c.Flags().StringVar(&lang, "lang", "en", "language, such as en or de")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

func printCodes(to io.Writer, all []explained) error {
	for _, x := range all {
		if _, err := fmt.Fprintf(to, "%s: %s\n%s\n", x.Code, x.Name, indented(x.When)); err != nil {
			return err
		}
	}
	return nil
}

// indented breaks a text into lines of a terminal.
func indented(text string) string {
	const indent, width = "  ", 80
	var out strings.Builder
	at := width
	for _, w := range strings.Fields(text) {
		switch n := utf8.RuneCountInString(w); {
		case at+1+n > width && out.Len() > 0:
			out.WriteString("\n")
			fallthrough
		case out.Len() == 0:
			out.WriteString(indent + w)
			at = len(indent) + n
		default:
			out.WriteString(" " + w)
			at += 1 + n
		}
	}
	return out.String()
}

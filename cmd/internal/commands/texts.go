package commands

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/site"
	"listbound/events"
)

func (a *app) texts() *cobra.Command {
	c := command("texts", "shows what keeps the texts beside the ledger, and takes texts out",
		`Case references, reasons, notes and actions stand in the file addenda in the data folder; the
ledger's records have salted digests of them. This shows the legal holds that are in force and for how long texts are
kept. "texts redact" takes texts out for good; the ledger, and every bundle made before, stays good.`,
		"listbound texts --data d", func(cmd *cobra.Command, _ []string) error {
			return a.ask(cmd, func(s site.Service) error {
				kept, err := s.Texts(cmd.Context())
				if err != nil {
					return err
				}
				if kept.Days == 0 {
					fmt.Fprintln(a.env.Out, "Texts are kept without an end.")
				} else {
					fmt.Fprintf(a.env.Out, "Texts are kept for %d days.\n", kept.Days)
				}
				if len(kept.Holds) == 0 {
					_, err = fmt.Fprintln(a.env.Out, "No legal hold is in force.")
					return err
				}
				tw := tabwriter.NewWriter(a.env.Out, 0, 0, 2, ' ', 0)
				fmt.Fprintln(tw, "legal hold\tof\treason")
				for _, h := range kept.Holds {
					of := "all texts"
					switch {
					case h.Case != "":
						of = "case " + h.Case
					case h.Set != "":
						of = "set " + h.Set
					}
					if kept.IsOfNothing(h) {
						of += " (" + holdsNothing + ")"
					}
					fmt.Fprintf(tw, "%s\t%s\t%s\n", h.Hold, of, h.Reason)
				}
				return tw.Flush()
			})
		})
	c.Args = cobra.NoArgs
	c.AddCommand(a.redact(), a.placeHold(), a.liftHold(), a.keepTexts())
	return c
}

func (a *app) redact() *cobra.Command {
	var r site.Redaction
	c := command("redact", "takes texts out for good",
		`Takes out the texts of records (--record), of a case with its reference (--case), or all that are older than
they are to be kept (--due; references of cases stay). It is a record of the ledger, which says why, and not what. Then every
file of the folder is searched; where a text is still found, that is said. --check only says what would be taken out. Backups
elsewhere, bundles that were handed out, paper, and what a station's browser keeps have it on. A legal hold refuses it. A server takes
out by itself what is due, once a day.`,
		`listbound texts redact --case K-0412 --reason "asked for by the person" --operator B-1001 --data d`,
		func(cmd *cobra.Command, _ []string) error {
			return a.ask(cmd, func(s site.Service) error {
				out, err := s.Redact(cmd.Context(), r)
				if err != nil {
					return err
				}
				return a.showRedacted(&r, out)
			})
		})
	c.Args = cobra.NoArgs
	f := c.Flags()
	f.Int64SliceVar(&r.Records, "record", nil, "number of a record")
	f.StringVar(&r.Case, "case", "", "reference of a case")
	f.BoolVar(&r.Check, "check", false, "only say what would be taken out")
	f.BoolVar(&r.Due, "due", false, "what is older than texts are kept")
	f.StringVar(&r.Reason, "reason", "", "why (needed)")
	f.StringVar(&r.Operator, "operator", "", "badge of the person who does it")
	return c
}

// showRedacted says what was taken out, or would be.
func (a *app) showRedacted(r *site.Redaction, out *site.Redacted) error {
	w := a.env.Out
	verb := "are"
	if r.Check {
		verb = "would be"
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, f := range out.Found {
			fmt.Fprintf(tw, "%d\t%s\t%s\t%s\n", f.Seq, f.Kind, f.Member, f.Text)
		}
		if err := tw.Flush(); err != nil {
			return err
		}
	}
	fmt.Fprintf(w, "%d texts %s taken out, of %d records\n", out.Texts, verb, len(out.Records))
	if len(out.By) > 0 {
		fmt.Fprintf(w, "recorded as %v\n", out.By)
	}
	if len(out.Files) > 0 {
		fmt.Fprintf(w, "drafts and lists of who read what that have one of them, too: %v; such a draft is removed\n", out.Files)
	}
	if len(out.Held) > 0 {
		fmt.Fprintf(w, "legal holds keep the texts of records %v\n", out.Held)
	}
	if len(out.Plain) > 0 {
		fmt.Fprintf(w, "records %v hold a text in themselves, and keep it: an earlier program recorded them, or a station that "+
			"signs for itself\n", out.Plain)
	}
	if out.CaseIDs > 0 {
		fmt.Fprintf(w, "the case has %d ids in its records, which an earlier program let stations give it: without its reference it is "+
			"judged as %d cases\n", out.CaseIDs, out.CaseIDs)
	}
	if len(out.Left) > 0 {
		fmt.Fprintf(w, "a text that was taken out is still found in: %v\n", out.Left)
	}
	if out.Unfinished {
		return errors.New("the folder is not rid of them yet; a server tries again each hour, and whatever opens the folder next")
	}
	return nil
}

// sayOfTexts records what becomes of texts.
func (a *app) sayOfTexts(cmd *cobra.Command, operator string, d events.Data) error {
	return a.ask(cmd, func(s site.Service) error { return a.recordOfTexts(cmd, s, operator, d) })
}

func (a *app) recordOfTexts(cmd *cobra.Command, s site.Service, operator string, d events.Data) error {
	r, err := a.byLedger(cmd.Context(), s, operator, d)
	if err == nil {
		_, err = fmt.Fprintf(a.env.Out, "recorded as %d\n", r.Seq)
	}
	return err
}

// holdsNothing is said of a hold whose case or set is in no record.
const holdsNothing = "nothing is recorded of it here: is it spelt so?"

func (a *app) placeHold() *cobra.Command {
	var d events.HoldPlaced
	var operator string
	c := command("hold NAME", "places a legal hold",
		`While it is in force no text of the case or set, or none at all, is taken out. Placed again under its name for
another case or set, it holds that as well. It is a record of the ledger.`,
		`listbound texts hold H-2026-1 --case K-0412 --reason "letter of the court" --operator B-1001 --data d`,
		func(cmd *cobra.Command, args []string) error {
			d.Hold = args[0]
			return a.ask(cmd, func(s site.Service) error {
				if err := a.recordOfTexts(cmd, s, operator, &d); err != nil {
					return err
				}
				kept, err := s.Texts(cmd.Context())
				if err == nil && kept.IsOfNothing(&d) {
					_, err = fmt.Fprintf(a.env.Out, "%s: %s\n", cmp.Or(d.Case, d.Set), holdsNothing)
				}
				return err
			})
		})
	c.Args = cobra.ExactArgs(1)
	f := c.Flags()
	f.StringVar(&d.Case, "case", "", "of the texts of this case")
	f.StringVar(&d.Set, "set", "", "of the texts about this set")
	f.StringVar(&d.Reason, "reason", "", "why (needed)")
	f.StringVar(&operator, "operator", "", "badge of the person who does it")
	return c
}

func (a *app) liftHold() *cobra.Command {
	var d events.HoldLifted
	var operator string
	c := command("lift NAME", "ends a legal hold", `All that is held under the name is free then. It is a record of the ledger.`,
		`listbound texts lift H-2026-1 --reason "the court has ruled" --operator B-1001 --data d`,
		func(cmd *cobra.Command, args []string) error {
			d.Hold = args[0]
			return a.ask(cmd, func(s site.Service) error {
				kept, err := s.Texts(cmd.Context())
				if err != nil {
					return err
				}
				if !slices.ContainsFunc(kept.Holds, func(h *events.HoldPlaced) bool { return h.Hold == d.Hold }) {
					return fmt.Errorf("no legal hold %q is in force; listbound texts shows those that are", d.Hold)
				}
				return a.recordOfTexts(cmd, s, operator, &d)
			})
		})
	c.Args = cobra.ExactArgs(1)
	c.Flags().StringVar(&d.Reason, "reason", "", "why (needed)")
	c.Flags().StringVar(&operator, "operator", "", "badge of the person who does it")
	return c
}

func (a *app) keepTexts() *cobra.Command {
	var d events.RetentionAdopted
	var operator string
	c := command("keep", "says for how long texts are kept",
		`What was observed longer ago is due: "texts redact --due" takes it out. How long it must be kept, the law says.
It is a record of the ledger.`,
		`listbound texts keep --days 3650 --reason "the house's rule" --operator B-1001 --data d`,
		func(cmd *cobra.Command, _ []string) error { return a.sayOfTexts(cmd, operator, &d) })
	c.Args = cobra.NoArgs
	c.Flags().Int64Var(&d.Days, "days", 0, "how many days; 0: without an end")
	c.Flags().StringVar(&d.Reason, "reason", "", "why")
	c.Flags().StringVar(&operator, "operator", "", "badge of the person who does it")
	return c
}

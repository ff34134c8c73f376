package commands

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/projections/schedule"
)

func (a *app) schedules() *cobra.Command {
	c := &cobra.Command{
		Use: "schedule", Short: "takes in the surgical schedule, and says whether a day's cases have their sets",
		Long: `The schedule says which case is in which room when, and which sets it wants. Patients' fields are never read: neither
the ledger nor any other file has a byte of them.`,
	}
	c.AddCommand(a.importSchedule(), a.showSchedule())
	return c
}

func (a *app) importSchedule() *cobra.Command {
	var asked site.ScheduleAsked
	var asJSON bool
	c := command("import FILE", "records what is new in a schedule: CSV, HL7 v2 SIU or FHIR R4 Appointment",
		`The form is found by what stands in the file; - is standard input. A CSV's columns stand in any order:
  case, room, start (or day and time), state (booked, changed, cancelled), sets, lists ("LAP-MAJOR x2, VAS"), as of
HL7 messages may stand one after the other or be framed (MLLP): S12, S13, S14 and S15 are read, others passed over. Of an
appointment's ids the one is the case's that the policy's pattern fits. Of what a case wants only lists and sets are kept
that are known here. Where a line is wrong nothing is recorded, and what was recorded before is not recorded twice.`,
		"listbound schedule import tomorrow.csv --data d --operator B-1001", func(cmd *cobra.Command, args []string) error {
			raw, err := readSchedule(args[0], a.env.In)
			if err != nil {
				return err
			}
			if asked.Operator == "" && !asked.Check {
				return errors.New("--operator is missing: a record says who brought the schedule")
			}
			return a.with(cmd, site.Options{}, func(s site.Service) error {
				got, err := s.ImportSchedule(cmd.Context(), raw, asked)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(got)
				}
				return sayImported(a.env.Out, got, asked.Check)
			})
		})
	c.Args = cobra.ExactArgs(1)
	f := c.Flags()
	f.StringVar(&asked.Operator, "operator", "", "badge of the person who brings it, or what the interface is called")
	f.StringVar(&asked.Days, "days", "", "what 3/4/2026 means in a CSV: mdy (in March) or dmy (in April)")
	f.BoolVar(&asked.Check, "check", false, "say what would be recorded and record nothing")
	f.BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// readSchedule reads a file, or standard input.
func readSchedule(name string, in io.Reader) ([]byte, error) {
	if name != "-" {
		return os.ReadFile(name)
	}
	return io.ReadAll(io.LimitReader(in, schedule.MaxBytes+1))
}

func (a *app) showSchedule() *cobra.Command {
	var day, asOf string
	var asJSON bool
	c := command("show", "says of each case of a day which sets it wants, where they are and what is missing",
		`Cases stand in the order in which something can still be done: those that lack something and have not begun come first,
the soonest first. Whole is said of what was recorded: it is no proof that a set may be used.`,
		"listbound schedule show --data d --day 2026-03-04", func(cmd *cobra.Command, _ []string) error {
			at, err := parseAsOf(asOf)
			if err != nil {
				return err
			}
			return a.ask(cmd, func(s site.Service) error {
				got, err := a.scheduleOf(cmd.Context(), s, day, at)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(got)
				}
				report.AsOf(a.env.Out, at)
				return sayDay(a.env.Out, got)
			})
		})
	addAsOf(c, &asOf)
	c.Flags().StringVar(&day, "day", "", "the day by the site's clocks, as 2026-03-04, today or tomorrow (default today)")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// scheduleOf asks for a day by its date or by a word.
func (a *app) scheduleOf(ctx context.Context, s site.Service, day string, asOf time.Time) (*site.Day, error) {
	switch strings.ToLower(day) {
	case "today":
		day = ""
	case "tomorrow":
		today, err := s.Schedule(ctx, site.ScheduleQuery{AsOf: asOf})
		if err != nil {
			return nil, err
		}
		at, err := time.Parse(time.DateOnly, today.Day)
		if err != nil {
			return nil, fmt.Errorf("the day of today is %q: %w", today.Day, err)
		}
		day = at.AddDate(0, 0, 1).Format(time.DateOnly)
	}
	return s.Schedule(ctx, site.ScheduleQuery{Day: day, AsOf: asOf})
}

package commands

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"maps"
	"runtime"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"listbound/events"
	"listbound/projections/simulate"
	"listbound/projections/trial"
)

// simulation is what the command simulate is asked for.
type simulation struct {
	weeks     int
	seed      uint64
	published bool
	read      float64
	scan      float64
	clock     time.Duration
	offline   float64
	out       string
	start     string
	first     time.Time // of start; zero: as the hospital has it
}

func (a *app) simulate() *cobra.Command {
	var s simulation
	c := command("simulate", "judges weeks of an invented hospital whose truth is known",
		`Lets sheets and labels be exchanged, lost and altered in an invented hospital whose
people scan some of their moves and read some of the sheets, judges what was
recorded, and holds it against what happened: how early each fault became known
where 0, 25, 50, 75 and 100 % of looks are read, and what was missed, invented or
said wrongly. The same weeks and seed give the same answer. Exit status 1: something
is wrong. With --out nothing is judged: the observations are written as JSON lines,
for "listbound record".`,
		"listbound simulate --weeks 200 --seed 1", func(cmd *cobra.Command, _ []string) error { return a.runSimulate(cmd, &s) })
	usual := simulate.Drill()
	f := c.Flags()
	f.IntVar(&s.weeks, "weeks", 20, "how many weeks")
	f.Uint64Var(&s.seed, "seed", 1, "another number, other weeks")
	f.BoolVar(&s.published, "published", false,
		"a big hospital with published rates, instead of a small one in which everything goes wrong often")
	f.Float64Var(&s.read, "read", -1, "share of looks that are read, from 0 to 1 (default: another one each week)")
	f.Float64Var(&s.scan, "scan", usual.Scan, "share of moves that are scanned, from 0 to 1")
	f.DurationVar(&s.clock, "clock", usual.Clock, "how much a station's clock is wrong at most")
	f.Float64Var(&s.offline, "offline", usual.Offline, "share of days on which a station is offline")
	f.StringVar(&s.start, "start", "", "the Monday on which the first week begins, such as 2025-03-03")
	f.StringVar(&s.out, "out", "", "write the observations to this file; - is standard output")
	return c
}

// hospital returns the hospital of a week.
func (s *simulation) hospital(n int) simulate.Config {
	c := simulate.Drill()
	if s.published {
		c = simulate.Published()
	}
	if !s.first.IsZero() {
		c.Start = s.first
	}
	c.Seed, c.Scan, c.Clock, c.Offline, c.Read = s.seed, s.scan, s.clock, s.offline, s.read
	if s.read < 0 {
		c.Read = shares[n%len(shares)]
	}
	return c
}

// shares of looks that are read, a week each.
var shares = []float64{0, 0.25, 0.5, 0.75, 1}

func (s *simulation) check() error {
	if s.weeks < 1 {
		return fmt.Errorf("--weeks is %d; at least one is needed", s.weeks)
	}
	if s.start != "" {
		var err error
		if s.first, err = time.Parse(time.DateOnly, s.start); err != nil {
			return fmt.Errorf("--start is %q; it is a day such as 2025-03-03", s.start)
		}
	}
	c := s.hospital(0)
	if err := c.Check(); err != nil {
		return err
	}
	if s.clock < 0 || s.clock > time.Hour {
		return fmt.Errorf("--clock is %s; it is from 0 to 1h", s.clock)
	}
	for _, x := range []struct {
		flag  string
		share float64
	}{{"read", max(s.read, 0)}, {"scan", s.scan}, {"offline", s.offline}} {
		if x.share < 0 || x.share > 1 {
			return fmt.Errorf("--%s is %v; it is a share from 0 to 1", x.flag, x.share)
		}
	}
	return nil
}

func (a *app) runSimulate(cmd *cobra.Command, s *simulation) error {
	if err := s.check(); err != nil {
		return err
	}
	switch s.out {
	case "":
	case "-":
		return s.write(cmd.Context(), a.env.Out)
	default:
		return replaceFile("observations", s.out, func(w io.Writer) error { return s.write(cmd.Context(), w) })
	}
	progress, end := a.progressOf("judged", "weeks")
	r, err := trial.Weeks(cmd.Context(), s.weeks, runtime.GOMAXPROCS(0), s.hospital, func(done int) {
		if progress != nil {
			progress(int64(done), int64(s.weeks))
		}
	})
	end()
	if r.Weeks > 0 {
		if err := printTrial(a.env.Out, r); err != nil {
			return err
		}
	}
	if err != nil {
		return fmt.Errorf("judged %d of %d weeks: %w", r.Weeks, s.weeks, err)
	}
	if !r.Right() {
		for _, e := range r.Examples {
			fmt.Fprintln(a.env.Err, e)
		}
		return errSaid
	}
	return nil
}

// write writes observations in the order in which they arrive.
func (s *simulation) write(ctx context.Context, to io.Writer) error {
	w := bufio.NewWriter(to)
	line := func(r *simulate.Record) error {
		raw, err := events.FormatObservation(&r.Observation)
		if err != nil {
			return err
		}
		_, err = w.Write(append(raw, '\n'))
		return err
	}
	first := s.hospital(0)
	for _, r := range first.Setup() {
		if err := line(&r); err != nil {
			return err
		}
	}
	for n := range s.weeks {
		if err := ctx.Err(); err != nil {
			return err
		}
		c := s.hospital(n)
		week := c.Week(n)
		for i := range week.Records {
			if err := line(&week.Records[i]); err != nil {
				return err
			}
		}
	}
	return w.Flush()
}

// printTrial prints when faults became known, and what was wrong.
func printTrial(to io.Writer, r *trial.Result) error {
	fmt.Fprintf(to, "%d weeks, %d sets, %d records. Known before the set was opened / at its opening / later / never, in %% (sets),\n"+
		"by the share of looks that were read:\n\n", r.Weeks, r.Trips, r.Records)
	if err := printKnown(to, r); err != nil {
		return err
	}
	fmt.Fprintln(to)
	w := tabwriter.NewWriter(to, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "held against the truth\twrong\tof")
	for _, x := range []struct {
		what  string
		tally trial.Tally
	}{
		{"read, and not found", r.Missed},
		{"found, with another set named than the sheet's", r.Named},
		{"found, and did not happen", r.Invented},
		{"found on a set without a fault, of which everything was read", r.Clean},
		{"windows that exclude the moment", r.Windows},
		{"places that exclude the place", r.Places},
		{"\"last seen together\", and were not", r.Together},
		{"excluded although no move went unscanned", r.IfScanned},
		{"\"carries a wrong sheet, or none\", and has its own", r.Doubts.Said},
	} {
		fmt.Fprintf(w, "%s\t%d\t%d\n", x.what, x.tally.Wrong, x.tally.Of)
	}
	for _, k := range simulate.BackKinds() {
		t := r.Back[k]
		if t == nil {
			t = new(trial.Tally)
		}
		fmt.Fprintf(w, "at the assembly after a case a piece %s, and not told so\t%d\t%d\n", k, t.Wrong, t.Of)
	}
	fmt.Fprintf(w, "a set with a piece exchanged for its neighbour's at packing, and not told so\t%d\t%d\n",
		r.Mispacked.Wrong, r.Mispacked.Of)
	for _, k := range simulate.Closings() {
		t := r.Closed[k]
		if t == nil {
			t = new(trial.Tally)
		}
		fmt.Fprintf(w, "a set %s, and not told so\t%d\t%d\n", k, t.Wrong, t.Of)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	d := &r.Doubts
	_, err := fmt.Fprintf(to,
		"\nof %d sets that \"probably carry the sheet of X, or none, or a third set's\": X's %d, none %d, a third set's %d,\n"+
			"its own under a wrong label %d\n", d.X+d.None+d.Third+d.Own, d.X, d.None, d.Third, d.Own)
	return err
}

// printKnown prints the table as Markdown, for the place in the docs where it stands.
func printKnown(to io.Writer, r *trial.Result) error {
	read := make(map[float64]bool)
	for c := range r.Known {
		read[c.Read] = true
	}
	columns := slices.Sorted(maps.Keys(read))
	row := func(cells ...string) { fmt.Fprintln(to, "| "+strings.Join(cells, " | ")+" |") }
	head, rule := []string{"fault", "placement"}, []string{"---", "---"}
	for _, p := range columns {
		head, rule = append(head, fmt.Sprintf("%.0f %%", 100*p)), append(rule, "---")
	}
	row(head...)
	row(rule...)
	for _, f := range simulate.SheetFaults() {
		for _, place := range []string{"outside", "inside", "screen"} {
			cells, any := []string{string(f), place}, 0
			for _, p := range columns {
				k := r.Known[trial.Cell{Fault: f, Placement: place, Read: p}]
				cells = append(cells, known(k))
				if k != nil {
					any += k.N()
				}
			}
			if any > 0 {
				row(cells...)
			}
		}
	}
	return nil
}

func known(k *trial.Known) string {
	if k == nil || k.N() == 0 {
		return "-"
	}
	n := k.N()
	percent := func(of int) string { return fmt.Sprint((100*of + n/2) / n) }
	return fmt.Sprintf("%s / %s / %s / %s (%d)", percent(k.Before), percent(k.At), percent(k.Later), percent(k.Never), n)
}

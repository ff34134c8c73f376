package report

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"listbound/events"
	"listbound/projections/run"
)

// runCaution goes with each judged run.
const runCaution = "A run that holds its cycle is no proof that its load is sterile, and one that doesn't is reason enough " +
	"not to release it. The manufacturers' instructions and the facility's own policy come first. F0 is information, " +
	"no release rests on it."

// Run writes what a log says of a run, and d decimal reductions of a spore with that D-value where it is not 0.
func Run(w io.Writer, r *run.Report, d float64) error {
	p := &printer{w: w}
	p.f("%s to %s\n", At(r.Started), At(r.Ended))
	runFigures(p, &r.Cycle, &r.Figures)
	if d > 0 {
		p.f("Decimal reductions of a spore with D121 %g min: %.1f (information)\n", d, run.Reductions(float64(r.Figures.F0Seconds)/60, d))
	}
	p.f("\n")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprint(tw, "phase\tfrom\tto\tlasts\n")
	for _, s := range r.Phases {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", s.Phase, s.From.UTC().Format(time.TimeOnly), s.To.UTC().Format(time.TimeOnly), s.To.Sub(s.From))
	}
	if err := tw.Flush(); p.err == nil {
		p.err = err
	}
	runOutcome(p, r.Lacks, &r.Figures)
	return p.err
}

// RunRecords writes what is recorded of the runs of a load.
func RunRecords(w io.Writer, rs []run.Recorded) error {
	p := &printer{w: w}
	if len(rs) == 0 {
		p.f("No log of a run is recorded.\n")
		return p.err
	}
	for i := range rs {
		r := &rs[i]
		if i > 0 {
			p.f("\n")
		}
		how := "typed off a print"
		if r.Said.Log != "" {
			how = "log " + r.Said.Log
		}
		p.f("Load %s in %s, started %s: record %d of %s, %s\n", r.Said.Load, r.Said.Sterilizer, r.Said.Started, r.Seq, r.Station, how)
		runFigures(p, &r.Said.Cycle, &r.Said.Figures)
		runOutcome(p, r.Lacks, &r.Said.Figures)
	}
	return p.err
}

// Cycles writes the published cycles.
func Cycles(w io.Writer, all []run.Published) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprint(tw, "cycle\tband\thold\tdrying\tabout\tsource\n")
	for i := range all {
		c := &all[i]
		if c.None {
			fmt.Fprintf(tw, "%s\tnot applicable\t\t\t%s\t%s\n", c.Name, c.About, c.Source)
			continue
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\n", c.Name, band(&c.RunCycle), seconds(c.HoldSeconds), seconds(c.DryingSeconds),
			c.About, c.Source)
	}
	return tw.Flush()
}

func seconds(s int64) string {
	if s == 0 {
		return "-"
	}
	return (time.Duration(s) * time.Second).String()
}

func band(c *events.RunCycle) string {
	if c.HighMilliC == 0 {
		return fmt.Sprintf("from %g C", degrees(c.LowMilliC))
	}
	return fmt.Sprintf("%g to %g C", degrees(c.LowMilliC), degrees(c.HighMilliC))
}

// degrees are thousandths as they are shown; so are pressures, of pascals in kilopascals.
func degrees(milli int64) float64 { return float64(milli) / 1000 }

func runFigures(p *printer, c *events.RunCycle, f *events.RunFigures) {
	p.f("Held to %s: %s for %s", c.Name, band(c), seconds(c.HoldSeconds))
	if c.DryingSeconds > 0 {
		p.f(", then %s of drying", seconds(c.DryingSeconds))
	}
	p.f(" (%s)\n\n", c.Source)
	p.f("In the band without a break  %s\n", f.Held())
	p.f("Coldest and hottest          %g and %g C\n", f.Min(), f.Max())
	if f.Steam() {
		p.f("Pressure                     %g to %g kPa above vacuum\n", degrees(f.MinPascal), degrees(f.MaxPascal))
		p.f("From saturated steam at it   %+g to %+g K", degrees(f.SteamLowMilliK), degrees(f.SteamHighMilliK))
		if air := run.AirOf(f); air >= 0.001 {
			p.f(" (as with %.1f %% of air)", 100*air)
		}
		p.f("\n")
	}
	if f.Points > 1 {
		p.f("Points apart                 up to %g K of %d points\n", degrees(f.ApartMilliK), f.Points)
	}
	if f.Points > 1 || f.Steam() {
		p.f("Equilibration                %s\n", time.Duration(f.EquilibrationMillis)*time.Millisecond)
	}
	if f.Dryness() {
		p.f("Drying                       %s\n", f.Dried())
	}
	if f.StepMillis > 0 {
		p.f("Longest step while held      %s\n", time.Duration(f.StepMillis)*time.Millisecond)
	}
	if f.F0Seconds > 0 {
		p.f("F0 at 121.0 C, z 10 K        %.1f min\n", float64(f.F0Seconds)/60)
	}
}

// lackText says in English what a run lacks.
var lackText = map[run.Lack]string{
	run.NeverReached: "the band was never reached at all points", run.HoldShort: "not held for long enough without a break",
	run.AirLeft: "colder than steam at its pressure: there was air in the chamber, or a sensor is wrong",
	run.TooDry:  "hotter than steam at its pressure: the steam was too dry, or a sensor is wrong", run.SensorStuck: "a sensor stood still",
	run.OverBand: "hotter than the band", run.Apart: "the points are too far apart", run.EquilibrationLong: "the last point came too late",
	run.DryingShort: "not dried for long enough", run.SteamUnknown: "without a pressure nothing is known of the steam",
	run.DryingUnknown: "nothing is known of the drying", run.SpreadUnknown: "one point says nothing of how far points are apart",
}

var troubleText = map[events.RunTrouble]string{
	events.RunGap: "nothing was read", events.RunJump: "nothing was read, as when a clock is put forward",
	events.RunBack:   "the clock ran back",
	events.RunUnread: "no number", events.RunDip: "below the band", events.RunOver: "above the band",
	events.RunStuck: "one value though another sensor moved far", events.RunFlat: "one value to the last digit",
}

func runOutcome(p *printer, lacks []run.Lack, f *events.RunFigures) {
	if len(f.Faults) > 0 {
		p.f("\nIn the log:\n")
	}
	for _, x := range f.Faults {
		p.f("  %s after the first reading, for %s: %s", time.Duration(x.AtMillis)*time.Millisecond,
			time.Duration(x.LastsMillis)*time.Millisecond, troubleText[x.What])
		if x.Sensor != "" {
			p.f(" (%s)", x.Sensor)
		}
		if x.MilliC != 0 {
			p.f(", %g C", degrees(x.MilliC))
		}
		p.f("\n")
	}
	if f.More > 0 {
		p.f("  and %d more\n", f.More)
	}
	p.f("\n")
	if len(lacks) == 0 {
		p.f("By what was measured it holds its cycle.\n")
	}
	for _, l := range lacks {
		how := "Not held"
		if l.Unknown() {
			how = "Not shown"
		}
		p.f("%s: %s.\n", how, lackText[l])
	}
	p.wrapped("", runCaution)
}

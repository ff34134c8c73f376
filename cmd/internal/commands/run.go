package commands

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/events"
	runs "listbound/projections/run"
	"listbound/projections/run/logfile"
)

// runFlags say how a log is read, and what its run is held to. What isn't said is as it was for the sterilizer's last log.
type runFlags struct {
	read              events.RunReading
	barometer         float64 // kPa
	started           string
	cycle, own        string
	source            string
	low, high         float64
	hold, equilibrate time.Duration
	drying            time.Duration
	steam, apart      float64
	sterilizer        string
	d121              float64
	asJSON            bool
}

// standard is the atmosphere at the sea, in kilopascals (ISO 2533).
const standard = 101.325

func (f *runFlags) add(fl *pflag.FlagSet) {
	fl.StringVar(&f.sterilizer, "sterilizer", "", "sterilizer that made the log; what isn't said here is as for its last log")
	fl.StringVar(&f.read.Time, "time", "Time", "heading of the column with the time, or its place as #1")
	fl.StringVar(&f.read.Date, "date", "", "heading of the column with the day, where it has one of its own")
	fl.StringVar(&f.read.Clock, "clock", "YYYY-MM-DD hh:mm:ss", "form of the time (YYYY, YY, MM, DD, hh, mm, ss); s or min since the start")
	fl.StringVar(&f.read.Zone, "zone", "UTC", "zone that the sterilizer's clock is set to, such as Europe/Berlin")
	fl.StringSliceVar(&f.read.Temperatures, "temperature", nil, "heading of the column with a temperature, the sterilizer's own first")
	fl.StringVar(&f.read.TemperatureUnit, "temperature-unit", "C", "C or F")
	fl.StringVar(&f.read.Pressure, "pressure", "", "heading of the column with the pressure")
	fl.StringVar(&f.read.PressureUnit, "pressure-unit", "kPa", "kPa, MPa, bar, mbar, psi, inHg, or psi/inHg as a compound gauge has them")
	fl.BoolVar(&f.read.Gauge, "gauge", false, "the pressure is above the atmosphere's, not above vacuum")
	fl.Float64Var(&f.barometer, "barometer", standard, "pressure of the atmosphere where the sterilizer stands, in kPa")
	fl.Int64Var(&f.read.ClockAheadSeconds, "clock-ahead", 0, "how many seconds the sterilizer's clock is ahead, below 0 behind")
	fl.BoolVar(&f.read.DecimalComma, "decimal-comma", false, "numbers are written as 134,2")
	fl.StringVar(&f.started, "started", "", "when the run was started (RFC 3339), for a clock without a day")
	fl.StringVar(&f.cycle, "cycle", "", "published cycle that the run is held to: see run cycles")
	fl.StringVar(&f.own, "own-cycle", "", "name of a cycle of your own, made of that one or alone by the values below")
	fl.StringVar(&f.source, "source", "", "who says so: the manufacturer's instructions or the facility's policy, and where")
	fl.Float64Var(&f.low, "low", 0, "where the band begins, in degrees Celsius")
	fl.Float64Var(&f.high, "high", 0, "where it ends")
	fl.DurationVar(&f.hold, "hold", 0, "how long the load is held in it at least, such as 3m30s")
	fl.DurationVar(&f.equilibrate, "equilibration", 0, "how long it takes at most until the last point is in it")
	fl.DurationVar(&f.drying, "drying", 0, "how long it is dried at least")
	fl.Float64Var(&f.steam, "steam", 0, "how far from saturated steam at its pressure at most, in kelvin")
	fl.Float64Var(&f.apart, "apart", 0, "how far points are apart at most, in kelvin")
	fl.Float64Var(&f.d121, "d121", 0, "also say decimal reductions of a spore with this D-value, in minutes")
	fl.BoolVar(&f.asJSON, "json", false, "print JSON")
}

// milli is a value in thousandths.
func milli(x float64) int64 { return int64(math.Round(1000 * x)) }

// reading is how the log is read: as is said, else as the last one was.
func (f *runFlags) reading(fl *pflag.FlagSet, last *events.RunLogged) events.RunReading {
	r := f.read
	r.BarometerPascal = milli(f.barometer)
	if last == nil || last.Read == nil {
		return r
	}
	was := *last.Read
	for name, put := range map[string]func(){
		"time": func() { was.Time = r.Time }, "date": func() { was.Date = r.Date }, "clock": func() { was.Clock = r.Clock },
		"zone": func() { was.Zone = r.Zone }, "temperature": func() { was.Temperatures = r.Temperatures },
		"temperature-unit": func() { was.TemperatureUnit = r.TemperatureUnit }, "pressure": func() { was.Pressure = r.Pressure },
		"pressure-unit": func() { was.PressureUnit = r.PressureUnit }, "gauge": func() { was.Gauge = r.Gauge },
		"clock-ahead": func() { was.ClockAheadSeconds = r.ClockAheadSeconds },
		"barometer":   func() { was.BarometerPascal = r.BarometerPascal }, "decimal-comma": func() { was.DecimalComma = r.DecimalComma },
	} {
		if fl.Changed(name) {
			put()
		}
	}
	return was
}

// heldTo is the cycle that a run is held to. Whoever changes a published one says by whose word, under a name of its own.
func (f *runFlags) heldTo(fl *pflag.FlagSet, last *events.RunLogged) (c events.RunCycle, err error) {
	switch {
	case f.cycle != "":
		if c, err = runs.Find(f.cycle); err != nil {
			return c, err
		}
	case last != nil && f.own == "":
		c = last.Cycle
	case f.own == "":
		return c, errors.New("say which cycle the run is held to: --cycle (see run cycles), or --own-cycle with its values")
	}
	changed := false
	for name, put := range map[string]func(){
		"low": func() { c.LowMilliC = milli(f.low) }, "high": func() { c.HighMilliC = milli(f.high) },
		"hold": func() { c.HoldSeconds = int64(f.hold.Seconds()) }, "drying": func() { c.DryingSeconds = int64(f.drying.Seconds()) },
		"equilibration": func() { c.EquilibrationSeconds = int64(f.equilibrate.Seconds()) },
		"steam":         func() { c.SteamMilliK = milli(f.steam) }, "apart": func() { c.ApartMilliK = milli(f.apart) },
	} {
		if fl.Changed(name) {
			put()
			changed = true
		}
	}
	if changed && (f.own == "" || f.source == "") {
		return c, errors.New("a cycle with values of your own needs --own-cycle, its name, and --source: who says so, and where")
	}
	c.Name, c.Source = cmp.Or(f.own, c.Name), cmp.Or(f.source, c.Source)
	return c, c.Check()
}

func (f *runFlags) start() (time.Time, error) {
	if f.started == "" {
		return time.Time{}, nil
	}
	at, err := time.Parse(time.RFC3339, f.started)
	if err != nil {
		return at, fmt.Errorf("--started %q is not an RFC 3339 time (for example 2026-03-04T07:24:00Z)", f.started)
	}
	return at, nil
}

// judge reads a log and holds it to its cycle.
func (f *runFlags) judge(fl *pflag.FlagSet, raw []byte, last *events.RunLogged) (*runs.Report, *events.RunReading, error) {
	how := f.reading(fl, last)
	c, err := f.heldTo(fl, last)
	if err != nil {
		return nil, nil, err
	}
	started, err := f.start()
	if err != nil {
		return nil, nil, err
	}
	l, err := logfile.Read(raw, &how, started)
	if err != nil {
		return nil, nil, err
	}
	r, err := runs.Judge(l, &c)
	return &r, &how, err
}

// lastOf returns the last log in force of a sterilizer, nil where there is none.
func lastOf(ctx context.Context, s site.Service, sterilizer string) (*events.RunLogged, error) {
	if sterilizer == "" {
		return nil, nil
	}
	rs, err := s.Runs(ctx, site.RunsQuery{Sterilizer: sterilizer})
	if err != nil || len(rs) == 0 {
		return nil, err
	}
	return rs[0].Said, nil
}

func (a *app) runs() *cobra.Command {
	c := &cobra.Command{Use: "run", Short: "judges a sterilizer's run from its own log, and records it for a load"}
	c.AddCommand(a.readRun(), a.recordRun(), a.showRuns(), a.listCycles())
	return c
}

func (a *app) readRun() *cobra.Command {
	var f runFlags
	c := command("read FILE", "judges a run's log by itself, and records nothing",
		`Reads a table of times, temperatures and a pressure, separated by comma, semicolon or
tab, and holds it to a cycle: how long the load was in the band without a break, what
was coldest and hottest, how far that was from saturated steam at its pressure, how
long it dried. Gaps, dips, sensors that stand still and clocks that jump are named,
and nothing is smoothed. With --sterilizer it is read as that one's last log was.`,
		"listbound run read s2.csv --temperature T1,T2 --pressure P --pressure-unit bar --gauge --barometer 97.2 --cycle csc-134", nil)
	c.RunE = func(cmd *cobra.Command, args []string) error { return problem(a.runReadRun(cmd, &f, args[0])) }
	c.Args = cobra.ExactArgs(1)
	f.add(c.Flags())
	return c
}

func (a *app) runReadRun(cmd *cobra.Command, f *runFlags, file string) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	var last *events.RunLogged
	if f.sterilizer != "" {
		err := a.ask(cmd, func(s site.Service) (err error) {
			last, err = lastOf(cmd.Context(), s, f.sterilizer)
			return err
		})
		if err != nil {
			return err
		}
	}
	r, _, err := f.judge(cmd.Flags(), raw, last)
	if err != nil {
		return err
	}
	if f.asJSON {
		return a.printJSON(r)
	}
	return report.Run(a.env.Out, r, f.d121)
}

// typedFlags are the printed values of a run whose sterilizer writes no log.
type typedFlags struct {
	held, equilibrated, dried time.Duration
	min, max                  float64
	minPressure, maxPressure  float64
}

func (f *typedFlags) add(fl *pflag.FlagSet) {
	fl.DurationVar(&f.held, "typed-held", 0, "without FILE, as printed: how long it was in the band, such as 3m12s")
	fl.DurationVar(&f.equilibrated, "typed-equilibration", 0, "as printed: how long it took to be in it")
	fl.DurationVar(&f.dried, "typed-drying", 0, "as printed: how long it dried")
	fl.Float64Var(&f.min, "typed-min", 0, "as printed: the lowest temperature while held, in degrees Celsius")
	fl.Float64Var(&f.max, "typed-max", 0, "as printed: the highest")
	fl.Float64Var(&f.minPressure, "typed-min-pressure", 0, "as printed: the lowest pressure while held, in kPa above vacuum")
	fl.Float64Var(&f.maxPressure, "typed-max-pressure", 0, "as printed: the highest")
}

func (f *typedFlags) figures() events.RunFigures {
	return runs.Printed{Held: f.held, Equilibrated: f.equilibrated, Dried: f.dried, Min: f.min, Max: f.max,
		MinPressure: f.minPressure, MaxPressure: f.maxPressure}.Figures()
}

func (a *app) recordRun() *cobra.Command {
	var f runFlags
	var typed typedFlags
	var load, station, operator string
	var number int64
	c := command("record [FILE]", "records a run's log, or its printed values, for a load",
		`Keeps the log beside the ledger, as it came, and records its digest with the figures
that were worked out of it, how it was read and what it was held to. Without FILE the
printed values are typed: --typed-held, --typed-min, --typed-max and so on.`,
		"listbound run record s2.csv --data d --load S2-0304-02 --sterilizer S2 --station north/sterilizer-2 --operator B-2044", nil)
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if load == "" || f.sterilizer == "" || operator == "" {
			return problem(errors.New("say --load, --sterilizer and --operator: whose badge it is"))
		}
		if err := events.CheckStation(station); err != nil {
			return problem(fmt.Errorf("--station: %w", err))
		}
		o := &events.Observation{Station: station, Kind: events.KindRunLogged, Time: a.env.Clock(), Operator: operator}
		d := &events.RunLogged{Load: load, Sterilizer: f.sterilizer, Run: number}
		o.Data = d
		return problem(a.with(cmd, site.Options{EnrolOnSight: true, Name: site.SiteOf(station)}, func(s site.Service) error {
			return a.recordOneRun(cmd, s, &f, &typed, args, o, d)
		}))
	}
	c.Args = cobra.MaximumNArgs(1)
	f.add(c.Flags())
	typed.add(c.Flags())
	c.Flags().StringVar(&load, "load", "", "load that was in the run")
	c.Flags().Int64Var(&number, "number", 0, "the sterilizer's number of the run")
	c.Flags().StringVar(&station, "station", "", "station that records it, such as north/sterilizer-2")
	c.Flags().StringVar(&operator, "operator", "", "badge of the person who does")
	return c
}

func (a *app) recordOneRun(cmd *cobra.Command, s site.Service, f *runFlags, typed *typedFlags, args []string, o *events.Observation,
	d *events.RunLogged) error {
	ctx := cmd.Context()
	last, err := lastOf(ctx, s, f.sterilizer)
	if err != nil {
		return err
	}
	if len(args) == 0 {
		at, err := f.start()
		if err != nil || at.IsZero() {
			return cmp.Or(err, errors.New("say --started: when the run was started, as printed"))
		}
		if d.Cycle, err = f.heldTo(cmd.Flags(), last); err != nil {
			return err
		}
		if typed.held == 0 || typed.min == 0 || typed.max == 0 { // else 0 °C would be recorded, and held to the cycle
			return errors.New("say at least --typed-held, --typed-min and --typed-max, as printed")
		}
		d.Started, d.Figures = at.UTC().Format(time.RFC3339), typed.figures()
	} else {
		raw, err := os.ReadFile(args[0])
		if err != nil {
			return err
		}
		r, how, err := f.judge(cmd.Flags(), raw, last)
		if err != nil {
			return err
		}
		kept, err := s.KeepRunLog(ctx, raw)
		if err != nil {
			return err
		}
		d.Started, d.Ended = r.Started.UTC().Format(time.RFC3339), r.Ended.UTC().Format(time.RFC3339)
		d.Cycle, d.Figures, d.Log, d.Read = r.Cycle, r.Figures, kept.Log, how
	}
	line, err := events.FormatObservation(o)
	if err != nil {
		return err
	}
	var got site.Receipt
	if err := s.Record(ctx, bytes.NewReader(append(line, '\n')), func(r site.Receipt) error { got = r; return nil }); err != nil {
		return err
	}
	if got.Error != "" {
		return errors.New(got.Error)
	}
	return a.printRuns(s, cmd, site.RunsQuery{Load: d.Load}, f.asJSON)
}

func (a *app) printRuns(s site.Service, cmd *cobra.Command, q site.RunsQuery, asJSON bool) error {
	rs, err := s.Runs(cmd.Context(), q)
	if err != nil {
		return err
	}
	if asJSON {
		return a.printJSON(rs)
	}
	report.AsOf(a.env.Out, q.AsOf)
	return report.RunRecords(a.env.Out, rs)
}

func (a *app) showRuns() *cobra.Command {
	var asJSON bool
	var asOf string
	c := command("show LOAD", "says what is recorded of the logs of a load's runs", `A log that was corrected counts as
corrected; with --as-of, as it was known then.`,
		"listbound run show S2-0304-02 --data d", nil)
	c.RunE = func(cmd *cobra.Command, args []string) error {
		at, err := parseAsOf(asOf)
		if err != nil {
			return problem(err)
		}
		q := site.RunsQuery{Load: args[0], AsOf: at}
		return problem(a.ask(cmd, func(s site.Service) error { return a.printRuns(s, cmd, q, asJSON) }))
	}
	c.Args = cobra.ExactArgs(1)
	addAsOf(c, &asOf)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

func (a *app) listCycles() *cobra.Command {
	var asJSON bool
	c := command("cycles", "lists the published cycles with their sources",
		`The sterilizer's and the instruments' instructions, and the facility's own policy, come
before any of these: run read and run record take their values with --own-cycle.`,
		"listbound run cycles", func(*cobra.Command, []string) error {
			all, err := runs.Cycles()
			if err != nil {
				return err
			}
			if asJSON {
				return a.printJSON(all)
			}
			return report.Cycles(a.env.Out, all)
		})
	c.Args = cobra.NoArgs
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

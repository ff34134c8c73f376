package events

import (
	"slices"
	"time"
)

// RunLogged says what a load's run was by the sterilizer's own log or print, and what it was held to. Subject: the load id.
// The figures are what a station worked out; whoever has the log works them out again.
type RunLogged struct {
	Load       string     `json:"load"`
	Sterilizer string     `json:"sterilizer"`
	Run        int64      `json:"run,omitzero"`
	Started    string     `json:"started"`         // the first reading, RFC 3339, by the sterilizer's clock
	Ended      string     `json:"ended,omitempty"` // the last one
	Cycle      RunCycle   `json:"cycle"`
	Figures    RunFigures `json:"figures"`
	// Log is the SHA-256 of the log as it came, lower-case hex, which is kept beside the ledger, and Read how it was read. Without
	// them the figures are as somebody typed them off a print.
	Log  string      `json:"log,omitempty"`
	Read *RunReading `json:"read,omitempty"`
}

// RunReading says how a log is read. It is told once for a sterilizer: the next log is read as the last one was.
type RunReading struct {
	// Columns are named by their headings, or by their place as #1 and so on.
	Time     string `json:"time"`
	Date     string `json:"date,omitempty"` // where the day stands in a column of its own
	Clock    string `json:"clock"`          // form of the time, such as YYYY-MM-DD hh:mm:ss; s or min since the start
	Zone     string `json:"zone"`           // that the clock is set to, such as Europe/Berlin
	Pressure string `json:"pressure,omitempty"`

	Temperatures    []string `json:"temperatures"`           // the sterilizer's own first
	TemperatureUnit string   `json:"temperatureUnit"`        // C, F
	PressureUnit    string   `json:"pressureUnit,omitempty"` // kPa, MPa, bar, mbar, psi, inHg, psi/inHg
	Gauge           bool     `json:"gauge,omitzero"`         // the pressure is above the atmosphere's, not above vacuum
	BarometerPascal int64    `json:"barometerPascal"`        // where the sterilizer stands
	DecimalComma    bool     `json:"decimalComma,omitzero"`
	// ClockAheadSeconds is how far the sterilizer's clock was ahead of the true time, below zero behind it.
	ClockAheadSeconds int64 `json:"clockAheadSeconds,omitzero"`
}

func (*RunLogged) Kind() Kind { return KindRunLogged }

// Keys implements Data.
func (d *RunLogged) Keys() Keys { return Keys{KeyLoad: d.Load, KeySterilizer: d.Sterilizer} }

// StartedAt returns when the run began by the sterilizer's clock.
func (d *RunLogged) StartedAt() time.Time { return timeOf(d.Started) }

// Check implements Data.
func (d *RunLogged) Check() error {
	var c checks
	c.id("load", d.Load)
	c.id("sterilizer", d.Sterilizer)
	c.inRange("run", d.Run, 0, 9999999)
	c.must(d.Started != "", "started is missing")
	c.optionalTime("started", d.Started)
	c.optionalTime("ended", d.Ended)
	d.Cycle.check(&c)
	d.Figures.check(&c)
	c.optionalDigest("log", d.Log)
	c.must((d.Log == "") == (d.Read == nil), "log and read are given together, or neither")
	if d.Read != nil {
		c.keep(d.Read.Check())
	}
	return c.err
}

// The units that a log may have.
var (
	temperatureUnits = []string{"C", "F"}
	pressureUnits    = []string{"kPa", "MPa", "bar", "mbar", "psi", "inHg", CompoundGauge}
)

// CompoundGauge is the unit of a column as a compound gauge shows it: above the atmosphere's pressure in psi, and what lies below
// zero in inches of mercury of vacuum.
const CompoundGauge = "psi/inHg"

// TemperatureUnits and PressureUnits are those that a log may have.
func TemperatureUnits() []string { return slices.Clone(temperatureUnits) }

// PressureUnits: see TemperatureUnits.
func PressureUnits() []string { return slices.Clone(pressureUnits) }

// maxClockAhead is a day: what is farther off is another day's log.
const maxClockAhead = 24 * 60 * 60

// Check refuses what no log can be read by.
func (d *RunReading) Check() error {
	var c checks
	c.text("read: time", d.Time)
	c.optionalText("read: date", d.Date)
	c.text("read: clock", d.Clock)
	c.text("read: zone", d.Zone)
	n := len(d.Temperatures)
	c.must(n >= 1 && n <= MaxRunPoints, "read: %d temperatures; a log has from 1 to %d", n, MaxRunPoints)
	c.each("read: temperature", d.Temperatures, checkText)
	oneOf(&c, "read: temperatureUnit", d.TemperatureUnit, temperatureUnits...)
	c.optionalText("read: pressure", d.Pressure)
	if d.Pressure != "" {
		oneOf(&c, "read: pressureUnit", d.PressureUnit, pressureUnits...)
	}
	c.inRange("read: barometerPascal", d.BarometerPascal, 50_000, 110_000) // from 5,500 m above the sea to below it
	c.inRange("read: clockAheadSeconds", d.ClockAheadSeconds, -maxClockAhead, maxClockAhead)
	return c.err
}

// MaxRunPoints is how many points a run is measured at, at most.
const MaxRunPoints = 99

// RunCycle is what a sterilizer's run is held to. Temperatures are in thousandths of a
// degree Celsius and differences in thousandths of a kelvin, since hashed numbers are whole.
// A limit that is left out is none.
type RunCycle struct {
	Name   string `json:"name"`
	Source string `json:"source"` // who says so, and where
	// LowMilliC and HighMilliC bound what is measured while the load is held, both included.
	LowMilliC            int64 `json:"lowMilliC"`
	HighMilliC           int64 `json:"highMilliC,omitzero"`
	HoldSeconds          int64 `json:"holdSeconds"`                   // at least, without a break
	EquilibrationSeconds int64 `json:"equilibrationSeconds,omitzero"` // at most, until the last point is in the band
	DryingSeconds        int64 `json:"dryingSeconds,omitzero"`        // at least
	SteamMilliK          int64 `json:"steamMilliK,omitzero"`          // how far from saturated steam at its pressure, at most
	ApartMilliK          int64 `json:"apartMilliK,omitzero"`          // how far the points are apart, at most
}

// Bounds of what is taken for a cycle of steam.
const (
	maxRunMilliC  = 200_000
	maxRunSeconds = 24 * 60 * 60
)

func (d *RunCycle) check(c *checks) {
	c.id("cycle: name", d.Name)
	c.text("cycle: source", d.Source)
	c.inRange("cycle: lowMilliC", d.LowMilliC, 1, maxRunMilliC)
	c.must(d.HighMilliC == 0 || d.HighMilliC > d.LowMilliC, "cycle: the band ends at %d and begins at %d thousandths of a degree",
		d.HighMilliC, d.LowMilliC)
	c.inRange("cycle: highMilliC", d.HighMilliC, 0, maxRunMilliC)
	c.inRange("cycle: holdSeconds", d.HoldSeconds, 1, maxRunSeconds)
	c.inRange("cycle: equilibrationSeconds", d.EquilibrationSeconds, 0, maxRunSeconds)
	c.inRange("cycle: dryingSeconds", d.DryingSeconds, 0, maxRunSeconds)
	c.inRange("cycle: steamMilliK", d.SteamMilliK, 0, maxRunMilliC)
	c.inRange("cycle: apartMilliK", d.ApartMilliK, 0, maxRunMilliC)
}

// Check refuses a definition that no run can be held to.
func (d *RunCycle) Check() error {
	var c checks
	d.check(&c)
	return c.err
}

// RunFigures are what was measured of a run, as they are worked out of its log or stand on its print. What isn't known is
// left out: without a pressure nothing is known of the steam, and without that or a second point nothing of equilibration.
type RunFigures struct {
	Points     int64 `json:"points"`              // how many places the temperature was measured at
	StepMillis int64 `json:"stepMillis,omitzero"` // the longest time between two readings while it was held
	HoldMillis int64 `json:"holdMillis"`          // the longest unbroken time with all points in the band

	EquilibrationMillis int64 `json:"equilibrationMillis,omitzero"`
	DryingMillis        int64 `json:"dryingMillis,omitzero"`

	// Of all points from the first moment in the band to the last one, whatever lies between. Where the band was never
	// reached: when the coldest point was hottest.
	MinMilliC int64 `json:"minMilliC"`
	MaxMilliC int64 `json:"maxMilliC"`
	MinPascal int64 `json:"minPascal,omitzero"` // absolute, of the same time
	MaxPascal int64 `json:"maxPascal,omitzero"`

	// SteamLowMilliK and SteamHighMilliK are by how much the points differed from saturated steam at the pressure while the
	// load was held, at the coldest and the hottest: below zero is air, above zero is steam too dry.
	SteamLowMilliK  int64 `json:"steamLowMilliK,omitzero"`
	SteamHighMilliK int64 `json:"steamHighMilliK,omitzero"`
	ApartMilliK     int64 `json:"apartMilliK,omitzero"` // the farthest that two points were apart while it was held

	F0Seconds int64      `json:"f0Seconds,omitzero"` // at 121.0 °C, z 10 K: information, never a reason to release
	Faults    []RunFault `json:"faults,omitempty"`
	More      int64      `json:"more,omitzero"` // faults that are not among these
}

// RunFault is what is wrong with a log, where, and for how long. It is named, and nothing is smoothed.
type RunFault struct {
	What        RunTrouble `json:"what"`
	AtMillis    int64      `json:"atMillis"`             // since the first reading
	LastsMillis int64      `json:"lastsMillis,omitzero"` // of a clock: by how much
	Sensor      string     `json:"sensor,omitempty"`     // as its column is called
	MilliC      int64      `json:"milliC,omitzero"`      // of a dip and of what lies over the band: how far it went
}

// RunTrouble is a kind of fault in a log.
type RunTrouble string

// What may be wrong with a log.
const (
	RunGap    RunTrouble = "gap"    // nothing was read for long
	RunJump   RunTrouble = "jump"   // nothing was read for whole half hours, as when a clock is put forward
	RunBack   RunTrouble = "back"   // the clock ran back
	RunUnread RunTrouble = "unread" // readings that are no numbers
	RunDip    RunTrouble = "dip"    // below the band, once it had been reached
	RunOver   RunTrouble = "over"   // above the band
	RunStuck  RunTrouble = "stuck"  // one value to the last digit, while another sensor moved far
	RunFlat   RunTrouble = "flat"   // one value to the last digit for a minute in the band, which no sensor should show
)

var runTroubles = []RunTrouble{RunGap, RunJump, RunBack, RunUnread, RunDip, RunOver, RunStuck, RunFlat}

// MaxRunFaults is how many faults stand in a record; of a log with more only their number is kept.
const MaxRunFaults = 40

const maxRunMillis = 1000 * maxRunSeconds

func (d *RunFigures) check(c *checks) {
	c.inRange("figures: points", d.Points, 1, MaxRunPoints)
	for _, x := range []struct {
		name       string
		value, max int64
	}{
		{"stepMillis", d.StepMillis, maxRunMillis}, {"holdMillis", d.HoldMillis, maxRunMillis},
		{"equilibrationMillis", d.EquilibrationMillis, maxRunMillis}, {"dryingMillis", d.DryingMillis, maxRunMillis},
		{"minPascal", d.MinPascal, maxRunPascal}, {"maxPascal", d.MaxPascal, maxRunPascal},
		{"apartMilliK", d.ApartMilliK, 10 * maxRunMilliC}, {"f0Seconds", d.F0Seconds, maxRecords}, {"more", d.More, maxRecords},
	} {
		c.inRange("figures: "+x.name, x.value, 0, x.max)
	}
	c.inRange("figures: minMilliC", d.MinMilliC, -maxRunMilliC, 10*maxRunMilliC)
	c.inRange("figures: maxMilliC", d.MaxMilliC, d.MinMilliC, 10*maxRunMilliC)
	c.must((d.MinPascal == 0) == (d.MaxPascal == 0) && d.MinPascal <= d.MaxPascal,
		"figures: the pressure is from %d to %d Pa", d.MinPascal, d.MaxPascal)
	c.inRange("figures: steamLowMilliK", d.SteamLowMilliK, -10*maxRunMilliC, d.SteamHighMilliK)
	c.inRange("figures: steamHighMilliK", d.SteamHighMilliK, d.SteamLowMilliK, 10*maxRunMilliC)
	c.must(d.MinPascal > 0 || d.SteamLowMilliK == 0 && d.SteamHighMilliK == 0,
		"figures: nothing can be said of steam without its pressure")
	c.must(len(d.Faults) <= MaxRunFaults, "figures: %d faults; a record names up to %d", len(d.Faults), MaxRunFaults)
	for _, f := range d.Faults {
		c.must(slices.Contains(runTroubles, f.What), "figures: fault %q is none that is known", f.What)
		c.inRange("figures: fault: atMillis", f.AtMillis, 0, maxRecords)
		c.inRange("figures: fault: lastsMillis", f.LastsMillis, 0, maxRecords)
		c.optionalText("figures: fault: sensor", f.Sensor)
		c.inRange("figures: fault: milliC", f.MilliC, -maxRunMilliC, 10*maxRunMilliC)
	}
}

// maxRunPascal is some ten times the pressure of steam at 138 °C.
const maxRunPascal = 4_000_000

// Held and Dried are the durations in whole seconds, never more than it was, Min and Max in degrees Celsius, for whoever
// says them.
func (d *RunFigures) Held() time.Duration {
	return (time.Duration(d.HoldMillis) * time.Millisecond).Truncate(time.Second)
}

// Dried: see Held.
func (d *RunFigures) Dried() time.Duration {
	return (time.Duration(d.DryingMillis) * time.Millisecond).Truncate(time.Second)
}

// Min: see Held.
func (d *RunFigures) Min() float64 { return float64(d.MinMilliC) / 1000 }

// Max: see Held.
func (d *RunFigures) Max() float64 { return float64(d.MaxMilliC) / 1000 }

// Named is how many faults were named.
func (d *RunFigures) Named() int64 { return int64(len(d.Faults)) + d.More }

// Steam reports whether it is known how the steam was, and Drying whether the drying time is.
func (d *RunFigures) Steam() bool   { return d.MinPascal > 0 }
func (d *RunFigures) Dryness() bool { return d.Steam() || d.DryingMillis > 0 }

package events

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

// MaxRunFaults is how many faults stand in a record; of a log with more only their number is kept.
const MaxRunFaults = 40

// Steam reports whether it is known how the steam was, and Drying whether the drying time is.
func (d *RunFigures) Steam() bool   { return d.MinPascal > 0 }
func (d *RunFigures) Dryness() bool { return d.Steam() || d.DryingMillis > 0 }

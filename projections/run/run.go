// Package run judges a steam sterilizer's run from what it logged itself: how long the
// load was held inside the band, how long it took until all points were there, what was
// the coldest and the hottest, whether the chamber held steam or steam and air, how long
// it dried. It is pure arithmetic: no clock, no file, no table.
//
// # What it does not say
//
// That a run holds its cycle is no proof that the load is sterile: instruments may be
// dirty, a package may be closed to steam, and sensors measure where they are. That it
// doesn't hold is reason enough not to release it.
//
// # Units
//
// Temperatures are in degrees Celsius, differences in kelvin, pressures in kilopascals
// above vacuum. A pressure that a gauge shows needs the barometer of the day and the
// place: 134 °C is 202.9 kPa on a gauge at the sea and 220.8 kPa at 1,600 m.
//
// # Nothing is smoothed
//
// Readings are taken as they stand. Time is counted between readings that were in the
// band, never up to where a line between two readings would cross it; what lies in a gap
// was not measured and counts for nothing. What is wrong with a log is named beside the
// figures (Fault), and the figures are of what is left.
//
// # Errors
//
// Beyond the range of a formula the result is NaN.
package run

import (
	"errors"
	"math"
	"time"

	"listbound/events"
)

// Sample is one line of a log.
type Sample struct {
	At time.Time
	// Points are the temperatures, one for each sensor of the log, NaN where none was read. The first is the sterilizer's own.
	Points   []float64
	Pressure float64 // NaN where none was read
}

// Log is what a sterilizer wrote of one run.
type Log struct {
	Sensors   []string // what the columns of temperatures are called
	Pressure  string   // what the column of the pressure is called, "" for none
	Barometer float64
	Samples   []Sample
}

// Phase is a stretch of a run.
type Phase string

// The phases, in order. Not every run has all of them.
const (
	Rise          Phase = "rise"          // all that comes before the temperature
	Equilibration Phase = "equilibration" // from the first sign of the temperature to the last point
	Hold          Phase = "hold"          // the longest unbroken stretch with all points in the band
	Exhaust       Phase = "exhaust"       // from its end to the drying
	Drying        Phase = "drying"
)

// Stretch is one phase, from one reading to another, both of them in it.
type Stretch struct {
	Phase    Phase `json:"phase"`
	from, to int   // indices of samples
	From     time.Time
	To       time.Time
}

// Report is a judged run.
type Report struct {
	Cycle   events.RunCycle   `json:"cycle"`
	Started time.Time         `json:"started"`
	Ended   time.Time         `json:"ended"`
	Figures events.RunFigures `json:"figures"`
	Phases  []Stretch         `json:"phases"`
	Lacks   []Lack            `json:"lacks"` // none: the run holds its cycle, as far as was measured

	breaks []bool
}

// Broken reports whether nothing is known of what lay between a reading, by its place in the log, and the one before.
func (r *Report) Broken(i int) bool { return r.breaks[i] }

// Recorded is the log of a run as it is recorded of a load.
type Recorded struct {
	Seq      int64             `json:"seq"`
	ID       string            `json:"id"` // of the event, to correct it by
	At       time.Time         `json:"at"`
	Station  string            `json:"station"`
	Operator string            `json:"operator,omitempty"`
	Said     *events.RunLogged `json:"said"`
	Lacks    []Lack            `json:"lacks"`
}

// Why a log can't be judged at all.
var (
	ErrTooShort = errors.New("the log has fewer than two readings")
	ErrNoClock  = errors.New("most readings have the time of the one before: the log's times are too coarse to count by")
)

// Judge holds a log to a cycle.
func Judge(l *Log, c *events.RunCycle) (Report, error) {
	if len(l.Samples) < 2 {
		return Report{}, ErrTooShort
	}
	same := 0
	for i := 1; i < len(l.Samples); i++ {
		if l.Samples[i].At.Equal(l.Samples[i-1].At) {
			same++
		}
	}
	if 2*same >= len(l.Samples) {
		return Report{}, ErrNoClock
	}
	j := &judged{log: l, cycle: c}
	j.prepare()
	j.findBreaks()
	j.findHold()
	r := Report{Cycle: *c, Started: l.Samples[0].At, Ended: l.Samples[len(l.Samples)-1].At}
	r.Phases = j.phases()
	j.findExcursions()
	j.findStuck()
	r.Figures = j.figures(r.Phases)
	r.Lacks, r.breaks = Lacks(c, &r.Figures), j.breaks
	return r, nil
}

// milli is a value in whole thousandths, as it is recorded: limits are compared in these, so that 273.2 °F is not below
// 134 °C by the last bit of a division. NaN is below all limits.
func milli(x float64) int64 {
	if math.IsNaN(x) {
		return math.MinInt64
	}
	return int64(math.Round(1000 * x))
}

// judged is a log on its way to a report.
type judged struct {
	log    *Log
	cycle  *events.RunCycle
	cold   []float64 // the coldest point of each sample, NaN where one was not read
	hot    []float64
	steam  []float64 // saturated steam at the pressure, NaN where there is none
	breaks []bool    // between this sample and the one before it nothing is known
	faults []events.RunFault

	first, last int    // the first and the last sample with all points up at the temperature, -1 for none
	hold        [2]int // the longest stretch in the band, -1 for none
}

func (j *judged) at(i int) time.Time { return j.log.Samples[i].At }

// since is a moment as it is recorded.
func (j *judged) since(i int) int64 { return j.at(i).Sub(j.at(0)).Milliseconds() }

func (j *judged) prepare() {
	for _, s := range j.log.Samples {
		cold, hot := s.Points[0], s.Points[0]
		for _, p := range s.Points[1:] {
			cold, hot = math.Min(cold, p), math.Max(hot, p) // NaN stays
		}
		j.cold, j.hot = append(j.cold, cold), append(j.hot, hot)
		j.steam = append(j.steam, SteamAt(s.Pressure))
	}
}

// in reports whether all points of a sample were read and are in the band. Nothing is true of NaN.
func (j *judged) in(i int) bool {
	return milli(j.cold[i]) >= j.cycle.LowMilliC && (j.cycle.HighMilliC == 0 || milli(j.hot[i]) <= j.cycle.HighMilliC)
}

// findHold finds the longest unbroken stretch in the band; of equally long ones the first.
func (j *judged) findHold() {
	j.first, j.last, j.hold = -1, -1, [2]int{-1, -1}
	longest, from := time.Duration(-1), -1
	for i := range j.log.Samples {
		if milli(j.cold[i]) >= j.cycle.LowMilliC {
			if j.first < 0 {
				j.first = i
			}
			j.last = i
		}
		if !j.in(i) {
			from = -1
			continue
		}
		if from < 0 || j.breaks[i] {
			from = i
		}
		if d := j.at(i).Sub(j.at(from)); d > longest {
			longest, j.hold = d, [2]int{from, i}
		}
	}
}

// phases lays the run out. Where the band was never reached all of it is rise.
func (j *judged) phases() []Stretch {
	end := len(j.log.Samples) - 1
	var out []Stretch
	add := func(p Phase, from, to int) {
		if from <= to {
			out = append(out, Stretch{p, from, to, j.at(from), j.at(to)})
		}
	}
	if j.first < 0 {
		add(Rise, 0, end)
		return out
	}
	sign := j.sign()
	add(Rise, 0, sign)
	if sign < j.first {
		add(Equilibration, sign, j.first)
	}
	if j.hold[0] >= 0 {
		add(Hold, j.hold[0], j.hold[1])
	}
	dry, dried := j.drying()
	if dry < 0 {
		add(Exhaust, j.last, end)
		return out
	}
	add(Exhaust, j.last, dry)
	add(Drying, dry, dried)
	return out
}

// sign is the first reading by which the temperature had been reached somewhere: at any point, or in the pressure of the
// steam. From the last break before the band on, since a chamber may have been that hot before.
func (j *judged) sign() int {
	sign := j.first
	for i := j.first - 1; i >= 0 && !j.breaks[i+1] && j.reached(i); i-- {
		sign = i
	}
	return sign
}

func (j *judged) reached(i int) bool {
	for _, p := range j.log.Samples[i].Points {
		if milli(p) >= j.cycle.LowMilliC {
			return true
		}
	}
	return milli(j.steam[i]) >= j.cycle.LowMilliC
}

// What is a vacuum, and what the atmosphere: shares of the barometer.
const (
	vacuum     = 0.8
	atmosphere = 1.1
)

// drying returns the first and the last reading of it, -1 where there is none or no pressure is known. It is what lies under
// a vacuum once the load was held; where none is drawn then, as in a chamber that steam fills by its weight, all from where
// the chamber is down at the atmosphere.
func (j *judged) drying() (first, last int) {
	first, last = -1, -1
	open := -1
	for i := j.last + 1; i < len(j.log.Samples); i++ {
		p := j.log.Samples[i].Pressure
		if p < vacuum*j.log.Barometer {
			if first < 0 {
				first = i
			}
			last = i
		}
		if open < 0 && p < atmosphere*j.log.Barometer {
			open = i
		}
	}
	if first < 0 && open >= 0 {
		return open, len(j.log.Samples) - 1
	}
	return first, last
}

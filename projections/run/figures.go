package run

import (
	"cmp"
	"math"
	"slices"

	"listbound/events"
)

// figures works out what is recorded of a run.
func (j *judged) figures(phases []Stretch) events.RunFigures {
	f := events.RunFigures{Points: int64(len(j.log.Sensors)), F0Seconds: j.f0()}
	for _, p := range phases {
		switch p.Phase {
		case Equilibration:
			f.EquilibrationMillis = j.lasts(p.from, p.to)
		case Drying:
			f.DryingMillis = j.proven(p.from, p.to)
		}
	}
	from, to := j.first, j.last
	if from < 0 {
		from = j.hottest()
		to = from
	}
	j.extremes(&f, from, to)
	if j.hold[0] >= 0 {
		f.HoldMillis = j.lasts(j.hold[0], j.hold[1])
		j.held(&f)
	}
	slices.SortStableFunc(j.faults, func(a, b events.RunFault) int { return cmp.Compare(a.AtMillis, b.AtMillis) })
	f.Faults = j.faults
	if n := len(f.Faults); n > events.MaxRunFaults {
		f.Faults, f.More = f.Faults[:events.MaxRunFaults], int64(n-events.MaxRunFaults)
	}
	return f
}

// hottest is the sample whose coldest point is the hottest of all, the first one where none could be read.
func (j *judged) hottest() int {
	best := 0
	for i, c := range j.cold {
		if c > j.cold[best] || math.IsNaN(j.cold[best]) {
			best = i
		}
	}
	return best
}

func (j *judged) extremes(f *events.RunFigures, from, to int) {
	low, high := math.Inf(1), math.Inf(-1)
	least, most := math.Inf(1), math.Inf(-1)
	for i := from; i <= to; i++ {
		if c := j.cold[i]; !math.IsNaN(c) {
			low, high = min(low, c), max(high, j.hot[i])
		}
		if p := j.log.Samples[i].Pressure; !math.IsNaN(p) {
			least, most = min(least, p), max(most, p)
		}
	}
	if low <= high {
		f.MinMilliC, f.MaxMilliC = milli(low), milli(high)
	}
	if least <= most {
		f.MinPascal, f.MaxPascal = milli(least), milli(most)
	}
}

// held works out what is said of the time that the load was held.
func (j *judged) held(f *events.RunFigures) {
	low, high := math.Inf(1), math.Inf(-1)
	for i := j.hold[0]; i <= j.hold[1]; i++ {
		if i > j.hold[0] {
			f.StepMillis = max(f.StepMillis, j.lasts(i-1, i))
		}
		f.ApartMilliK = max(f.ApartMilliK, milli(j.hot[i]-j.cold[i]))
		if s := j.steam[i]; !math.IsNaN(s) {
			low, high = min(low, j.cold[i]-s), max(high, j.hot[i]-s)
		}
	}
	if low <= high {
		f.SteamLowMilliK, f.SteamHighMilliK = milli(low), milli(high)
	}
}

// proven is the time between two readings without what lies in breaks.
func (j *judged) proven(from, to int) int64 {
	total := int64(0)
	for i := from + 1; i <= to; i++ {
		if !j.breaks[i] {
			total += j.lasts(i-1, i)
		}
	}
	return total
}

// f0 sums the coldest point's lethality; what lies in a break counts for nothing.
func (j *judged) f0() int64 {
	minutes := 0.0
	for i := 1; i < len(j.cold); i++ {
		if d := F0.Between(j.at(i).Sub(j.at(i-1)).Minutes(), j.cold[i-1], j.cold[i]); !j.breaks[i] && !math.IsNaN(d) {
			minutes += d
		}
	}
	return int64(math.Round(60 * minutes))
}

// AirOf is the share of air by which the coldest point was as cold as it was, from 0 to 1; 0 where the pressure isn't known.
func AirOf(f *events.RunFigures) float64 {
	if !f.Steam() || f.SteamLowMilliK >= 0 {
		return 0
	}
	steam := SteamAt(float64(f.MaxPascal) / 1000)
	return Air(steam+float64(f.SteamLowMilliK)/1000, PressureOf(steam))
}

// Lack is one way in which a run doesn't hold its cycle, or isn't shown to.
type Lack string

// The lacks, the heaviest first.
const (
	NeverReached      Lack = "never-reached"      // the band
	HoldShort         Lack = "hold-short"         // held for too short a time without a break
	AirLeft           Lack = "air"                // colder than steam at its pressure
	TooDry            Lack = "superheated"        // hotter than steam at its pressure
	SensorStuck       Lack = "stuck"              // so that the figures can't be believed
	OverBand          Lack = "over"               // hotter than the band
	Apart             Lack = "apart"              // the points are too far from each other
	EquilibrationLong Lack = "equilibration-long" // the last point came too late
	DryingShort       Lack = "drying-short"
	SteamUnknown      Lack = "steam-unknown" // no pressure was measured
	DryingUnknown     Lack = "drying-unknown"
	SpreadUnknown     Lack = "points-unknown" // one point says nothing of the distance of several, nor of equilibration
)

// Unknown reports whether it is only that something wasn't measured which the cycle asks for.
func (l Lack) Unknown() bool { return l == SteamUnknown || l == DryingUnknown || l == SpreadUnknown }

// Grave reports whether the load was not exposed as the cycle asks, or it can't be known: not only too hot, or wet.
func (l Lack) Grave() bool {
	switch l {
	case NeverReached, HoldShort, AirLeft, TooDry, SensorStuck, Apart:
		return true
	}
	return false
}

// Of returns what was measured and what bounds it: in thousandths of a second, of a degree Celsius, or of a kelvin; nothing
// for what can't be said in a number.
func (l Lack) Of(c *events.RunCycle, f *events.RunFigures) (is, bound int64) {
	switch l {
	case NeverReached:
		return f.MinMilliC, c.LowMilliC
	case HoldShort:
		return f.HoldMillis, 1000 * c.HoldSeconds
	case AirLeft:
		return -f.SteamLowMilliK, c.SteamMilliK
	case TooDry:
		return f.SteamHighMilliK, c.SteamMilliK
	case OverBand:
		return f.MaxMilliC, c.HighMilliC
	case Apart:
		return f.ApartMilliK, c.ApartMilliK
	case EquilibrationLong:
		return f.EquilibrationMillis, 1000 * c.EquilibrationSeconds
	case DryingShort:
		return f.DryingMillis, 1000 * c.DryingSeconds
	}
	return 0, 0
}

// Lacks holds figures to a cycle.
func Lacks(c *events.RunCycle, f *events.RunFigures) []Lack {
	// A print, which has no steps, may have been held for long, and have been colder meanwhile. In a log a reading may dip.
	if f.MinMilliC < c.LowMilliC && (f.HoldMillis == 0 || f.StepMillis == 0) {
		return []Lack{NeverReached} // and all else is about what came after
	}
	lacks := []Lack{}
	add := func(so bool, l Lack) {
		if so {
			lacks = append(lacks, l)
		}
	}
	add(f.HoldMillis < 1000*c.HoldSeconds, HoldShort)
	steam := c.SteamMilliK
	add(steam > 0 && f.SteamLowMilliK < -steam, AirLeft)
	add(steam > 0 && f.SteamHighMilliK > steam, TooDry)
	stuck := func(x events.RunFault) bool { return x.What == events.RunStuck }
	add(slices.ContainsFunc(f.Faults, stuck), SensorStuck)
	add(c.HighMilliC > 0 && f.MaxMilliC > c.HighMilliC, OverBand)
	add(c.ApartMilliK > 0 && f.ApartMilliK > c.ApartMilliK, Apart)
	add(c.EquilibrationSeconds > 0 && f.EquilibrationMillis > 1000*c.EquilibrationSeconds, EquilibrationLong)
	dried := f.Dryness()
	add(c.DryingSeconds > 0 && dried && f.DryingMillis < 1000*c.DryingSeconds, DryingShort)
	add(steam > 0 && !f.Steam(), SteamUnknown)
	add(c.DryingSeconds > 0 && !dried, DryingUnknown)
	one := f.Points < 2
	add(c.ApartMilliK > 0 && one || c.EquilibrationSeconds > 0 && one && !f.Steam(), SpreadUnknown)
	return lacks
}

package run

import (
	"reflect"
	"slices"
	"time"

	"listbound/events"
)

// Printed is what somebody typed off a print: times, temperatures in degrees Celsius, pressures in kilopascals above vacuum. What
// is 0 was not printed.
type Printed struct {
	Held, Equilibrated, Dried time.Duration
	Min, Max                  float64
	MinPressure, MaxPressure  float64
}

// Figures are those of a run. From steam the least and the most that the two ranges allow are known.
func (p Printed) Figures() events.RunFigures {
	x := events.RunFigures{Points: 1, HoldMillis: p.Held.Milliseconds(), EquilibrationMillis: p.Equilibrated.Milliseconds(),
		DryingMillis: p.Dried.Milliseconds(), MinMilliC: milli(p.Min), MaxMilliC: milli(p.Max),
		MinPascal: milli(p.MinPressure), MaxPascal: milli(p.MaxPressure)}
	if x.Steam() && x.MaxPascal > 0 {
		low, high := milli(p.Min-SteamAt(p.MinPressure)), milli(p.Max-SteamAt(p.MaxPressure))
		x.SteamLowMilliK, x.SteamHighMilliK = min(low, high), max(low, high)
	}
	return x
}

// SameFigures reports whether two are the same; that there are no faults may be said in two ways.
func SameFigures(a, b *events.RunFigures) bool {
	x, y := *a, *b
	if len(x.Faults) == 0 && len(y.Faults) == 0 {
		x.Faults, y.Faults = nil, nil
	}
	return reflect.DeepEqual(x, y)
}

// Fails reports whether a run doesn't hold its cycle by what was measured; what merely wasn't measured contradicts nothing.
func Fails(c *events.RunCycle, f *events.RunFigures) bool {
	return slices.ContainsFunc(Lacks(c, f), func(l Lack) bool { return !l.Unknown() })
}

package run

import "math"

// The saturation line of water, region 4 of the IAPWS Industrial Formulation 1997 (IAPWS R7-97, equations 29 to 31):
// at one pressure saturated steam has one temperature. A chamber that is colder than its pressure holds air too.
var saturation = [...]float64{0, // as the release numbers them, from 1
	1167.0521452767, -724213.16703206, -17.073846940092, 12020.824702470, -3232555.0322333,
	14.915108613530, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798}

const (
	zero        = 273.15  // K
	criticalK   = 647.096 // where there is no line between water and steam any more
	criticalKPa = 22064.0
	tripleKPa   = 0.611212677 // at 273.15 K, where the formulation begins
)

// PressureOf returns the pressure of saturated steam of a temperature.
func PressureOf(celsius float64) float64 {
	k := celsius + zero
	if !(k >= zero && k <= criticalK) {
		return math.NaN()
	}
	n := &saturation
	v := k + n[9]/(k-n[10])
	a := v*v + n[1]*v + n[2]
	b := n[3]*v*v + n[4]*v + n[5]
	c := n[6]*v*v + n[7]*v + n[8]
	return 1000 * math.Pow(2*c/(-b+math.Sqrt(b*b-4*a*c)), 4)
}

// SteamAt returns the temperature of saturated steam at a pressure.
func SteamAt(kPa float64) float64 {
	if !(kPa >= tripleKPa && kPa <= criticalKPa) {
		return math.NaN()
	}
	n := &saturation
	b := math.Pow(kPa/1000, 0.25)
	e := b*b + n[3]*b + n[6]
	f := n[1]*b*b + n[4]*b + n[7]
	g := n[2]*b*b + n[5]*b + n[8]
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return (n[10]+d-math.Sqrt((n[10]+d)*(n[10]+d)-4*(n[9]+n[10]*d)))/2 - zero
}

// Air returns the share of air in a chamber that is as hot as this at this pressure, from 0 to 1, if the steam in it is
// saturated: by Dalton's law only the steam's part of the pressure makes the temperature.
func Air(celsius, kPa float64) float64 { return max(0, 1-PressureOf(celsius)/kPa) }

// Lethality is a model of how fast spores die: in one minute at Reference as many as Z kelvin above it in six seconds.
type Lethality struct{ Reference, Z float64 }

// F0 is the model that figures are given by. Texts use 121.0, 121.1 and 121.11 °C (250 °F), which differ by up to 2.6 %.
var F0 = Lethality{Reference: 121, Z: 10}

// Rate is the minutes at the reference that a minute at a temperature is worth.
func (l Lethality) Rate(celsius float64) float64 { return math.Pow(10, (celsius-l.Reference)/l.Z) }

// Between is what the time between two readings is worth, by the trapezoid. Where the temperature rises or falls it errs
// upwards, by as much more as readings are farther apart: of a run to 134 °C and back by 2.1 % at 30 s, and 0.06 % at 5 s.
func (l Lethality) Between(minutes, from, to float64) float64 {
	return minutes * (l.Rate(from) + l.Rate(to)) / 2
}

// Reductions are by how many powers of ten it leaves fewer spores of which a tenth is left after d minutes at the
// reference. It is information: no release rests on it.
func Reductions(minutes, d float64) float64 { return minutes / d }

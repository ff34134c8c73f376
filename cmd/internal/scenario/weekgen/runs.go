package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/cmd/internal/scenario"
	"listbound/events"
	"listbound/projections/run"
)

// Two runs of which the sterilizer's log is handed in at the end of the week: a good one, and the one that failed, whose log shows
// why. Values are invented; the steam is that of IAPWS-IF97.

// loggedRun is one of them.
type loggedRun struct {
	load, operator string
	started        time.Time
	faulty         bool
}

func loggedRuns() []loggedRun {
	return []loggedRun{
		{"S1-0302-07", "B-2013", clock(monday, "17:05"), true},
		{"S1-0306-01", "B-2012", clock(monday.AddDate(0, 0, 4), "13:38"), false},
	}
}

// runFiles are their logs, and what is said of each.
func runFiles() ([]file, error) {
	var out []file
	var said []scenario.Run
	for _, x := range loggedRuns() {
		name := "run-" + x.load + ".csv"
		out = append(out, file{name, []byte(x.log())})
		said = append(said, scenario.Run{Log: name, Load: x.load, Sterilizer: "S1", Station: "north/sterilizer-1", Operator: x.operator,
			Cycle: "cdc-dynamic-132-wrapped", Read: events.RunReading{Time: "Time", Clock: "DD.MM.YYYY hh:mm:ss", Zone: "UTC",
				Temperatures: []string{"Chamber °C", "Drain °C"}, TemperatureUnit: "C", Pressure: "Chamber bar", PressureUnit: "bar",
				BarometerPascal: 100_600, DecimalComma: true}})
	}
	raw, err := json.Marshal(said, jsontext.WithIndent("  "), json.Deterministic(true))
	return append(out, file{"runs.json", append(raw, '\n')}), err
}

const runStep = 5 * time.Second

// log is what the sterilizer wrote.
func (x *loggedRun) log() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Sterilizer;S1\nCycle;dynamic air removal 132 °C\nLoad;%s\n\nTime;Chamber °C;Drain °C;Chamber bar\n", x.load)
	for at := time.Duration(0); at <= 44*time.Minute; at += runStep {
		if x.faulty && at > 30*time.Minute && at < 31*time.Minute {
			continue // nothing was read for a minute
		}
		chamber, drain, kPa := x.at(at.Seconds())
		row := fmt.Sprintf("%.1f;%.1f;%.3f", chamber, drain, kPa/100)
		fmt.Fprintf(&b, "%s;%s\n", x.started.Add(at).UTC().Format("02.01.2006 15:04:05"), strings.ReplaceAll(row, ".", ","))
	}
	return b.String()
}

// at is what there is in the chamber after so many seconds: three pulses of vacuum and steam, the rise, the time in the band, the
// exhaust, the drying in a vacuum, and air let in.
func (x *loggedRun) at(s float64) (chamber, drain, kPa float64) {
	const pulses, rise, hold, exhaust, drying = 540, 720, 975, 1080, 2520 // when each ends
	between := func(a, b, from, to float64) float64 { return a + (b-a)*(s-from)/(to-from) }
	switch {
	case s < pulses:
		kPa = 78 + 70*math.Sin(s/180*2*math.Pi)
		chamber = max(45+s/12, run.SteamAt(kPa)-4)
	case s < rise:
		kPa = between(78, run.PressureOf(133.5), pulses, rise)
		chamber = run.SteamAt(kPa) - 0.2
	case s < hold:
		kPa = run.PressureOf(133.5 + 0.15*math.Sin(s/20))
		chamber = run.SteamAt(kPa) + 0.1*math.Sin(s/13)
		if x.faulty {
			chamber -= 0.9 // some air is left
			if s > 850 && s < 885 {
				kPa = run.PressureOf(132.1)
				chamber = 131.2
			}
		}
	case s < exhaust:
		kPa = between(run.PressureOf(133.5), 7, hold, exhaust)
		chamber = between(132, 104, hold, exhaust)
	case s < drying:
		kPa = 6.5 + math.Sin(s/90)
		chamber = between(104, 92, exhaust, drying)
	default:
		kPa = min(100.6, between(7, 100.6, drying, drying+60))
		chamber = 91
	}
	drain = chamber - 0.3
	if s < rise {
		drain = chamber - 1.5
	}
	return chamber, drain, kPa
}

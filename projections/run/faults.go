package run

import (
	"math"
	"slices"
	"time"

	"listbound/events"
)

// Bounds of what is named. They are set so that a log of a sound run has nothing named, whatever its step (TestSound).
const (
	gapSteps = 2.5 // times the usual step about it: nothing was read for long
	about    = 5   // steps to either side that say what is usual

	clockStep = 30 * time.Minute // clocks are put forward by whole half hours

	// A sensor is stuck where it shows the same for so long, and another one moved so far meanwhile. Below steamBegins a
	// sensor in a pack may rightly lag behind the pressure.
	stuckFor    = 30 * time.Second
	stuckRows   = 10
	stuckWhile  = 5.0   // K
	steamBegins = 105.0 // °C, at the pressure

	flatFor  = time.Minute
	flatRows = 30
	moves    = 3 // another sensor shows something new at every third reading at least
)

// findBreaks names gaps, clocks that jumped and what could not be read.
func (j *judged) findBreaks() {
	j.breaks = make([]bool, len(j.log.Samples))
	var steps []time.Duration
	for i := 1; i < len(j.log.Samples); i++ {
		steps = append(steps, j.at(i).Sub(j.at(i-1)))
	}
	for i, d := range steps {
		usual := usualStep(steps, i)
		switch {
		case d < 0:
			j.breaks[i+1] = true
			j.fault(events.RunFault{What: events.RunBack, AtMillis: max(0, j.since(i+1)), LastsMillis: -d.Milliseconds()})
		case float64(d) > gapSteps*float64(usual):
			j.breaks[i+1] = true
			what := events.RunGap
			if off := (d + clockStep/2) % clockStep; d > clockStep/2 && (off-clockStep/2).Abs() <= 2*usual {
				what = events.RunJump
			}
			j.fault(events.RunFault{What: what, AtMillis: max(0, j.since(i)), LastsMillis: d.Milliseconds()})
		}
	}
	for k, name := range j.log.Sensors {
		j.unread(name, func(s *Sample) float64 { return s.Points[k] })
	}
	if j.log.Pressure != "" {
		j.unread(j.log.Pressure, func(s *Sample) float64 { return s.Pressure })
	}
}

// usualStep is the middle one of the steps about one: logs are often kept at another step while the load is held.
func usualStep(steps []time.Duration, i int) time.Duration {
	near := slices.Clone(steps[max(0, i-about):min(len(steps), i+about+1)])
	slices.Sort(near)
	return near[len(near)/2]
}

func (j *judged) unread(sensor string, of func(*Sample) float64) {
	j.stretches(func(i int) bool { return math.IsNaN(of(&j.log.Samples[i])) }, func(from, to int) {
		j.fault(events.RunFault{What: events.RunUnread, AtMillis: max(0, j.since(from)), Sensor: sensor,
			LastsMillis: j.lasts(from, to)})
	})
}

// stretches calls found for each stretch of samples that are so, without a break.
func (j *judged) stretches(so func(i int) bool, found func(from, to int)) {
	from := -1
	for i := range j.log.Samples {
		if from >= 0 && (!so(i) || j.breaks[i]) {
			found(from, i-1)
			from = -1
		}
		if from < 0 && so(i) {
			from = i
		}
	}
	if from >= 0 {
		found(from, len(j.log.Samples)-1)
	}
}

func (j *judged) lasts(from, to int) int64 { return max(0, j.at(to).Sub(j.at(from)).Milliseconds()) }

func (j *judged) fault(f events.RunFault) { j.faults = append(j.faults, f) }

// findExcursions names where the run left the band once it was in it, until it was in it for the last time, and where it
// was above it at all.
func (j *judged) findExcursions() {
	if high := j.cycle.HighMilliC; high > 0 {
		over := func(i int) bool { return milli(j.hot[i]) > high && !math.IsNaN(j.hot[i]) }
		j.stretches(over, func(from, to int) {
			j.fault(events.RunFault{What: events.RunOver, AtMillis: max(0, j.since(from)), LastsMillis: j.lasts(from, to),
				MilliC: milli(slices.Max(j.hot[from : to+1]))})
		})
	}
	under := func(i int) bool {
		return i > j.first && i < j.last && milli(j.cold[i]) < j.cycle.LowMilliC && !math.IsNaN(j.cold[i])
	}
	j.stretches(under, func(from, to int) {
		j.fault(events.RunFault{What: events.RunDip, AtMillis: max(0, j.since(from)), LastsMillis: j.lasts(from, to),
			MilliC: milli(slices.Min(j.cold[from : to+1]))})
	})
}

// channel is what one sensor showed, in degrees Celsius: of the pressure, that of saturated steam at it.
type channel struct {
	sensor string
	values []float64
}

func (j *judged) channels() []channel {
	var out []channel
	for k, name := range j.log.Sensors {
		c := channel{sensor: name}
		for i := range j.log.Samples {
			c.values = append(c.values, j.log.Samples[i].Points[k])
		}
		out = append(out, c)
	}
	if j.log.Pressure != "" {
		out = append(out, channel{j.log.Pressure, j.steam})
	}
	return out
}

// findStuck names sensors that show one value to the last digit where they can't: up to the end of the time in the band,
// since what a sensor in a load shows afterwards is the load's own heat.
func (j *judged) findStuck() {
	all := j.channels()
	for k, c := range all {
		start := 0
		for i := 1; i <= len(c.values); i++ {
			if i < len(c.values) && c.values[i] == c.values[start] && !j.breaks[i] {
				continue
			}
			j.same(all, k, start, i-1)
			start = i
		}
	}
}

// same looks at a stretch in which a sensor showed one value.
func (j *judged) same(all []channel, k, from, to int) {
	if j.last >= 0 {
		to = min(to, j.last)
	}
	for from <= to && !(j.steam[from] >= steamBegins || j.log.Pressure == "" && j.hot[from] >= steamBegins) {
		from++
	}
	rows, d := to-from+1, time.Duration(0)
	if rows < stuckRows {
		return
	}
	if d = j.at(to).Sub(j.at(from)); d < stuckFor {
		return
	}
	f := events.RunFault{AtMillis: max(0, j.since(from)), LastsMillis: d.Milliseconds(), Sensor: all[k].sensor}
	for o, other := range all {
		if o == k {
			continue
		}
		v := other.values[from : to+1]
		changes := len(slices.Compact(slices.Clone(v)))
		switch {
		case slices.Max(v)-slices.Min(v) > stuckWhile:
			f.What = events.RunStuck
		case f.What == "" && d >= flatFor && rows >= flatRows && from >= j.first && j.first >= 0 && moves*changes >= rows:
			f.What = events.RunFlat
		}
	}
	if f.What != "" {
		j.fault(f)
	}
}

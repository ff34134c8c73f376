// Package logfile reads what a sterilizer wrote of a run: a table of times,
// temperatures and, mostly, a pressure, as text separated by comma, semicolon or tab, in
// UTF-8, UTF-16 or Windows-1252. What its columns are called, and in which units and
// form they are, a person says once for a sterilizer (events.RunReading).
//
//	Time;T1 °C;P bar
//	04.03.2026 07:24:00;63,2;1,01
//	04.03.2026 07:24:01;63,4;1,01
//
// Rows above the headings are passed over. Of a row below them nothing is passed over but
// its being empty: a reading that is no number is one that was not read, and a time that
// is none is an error, since without it nothing after it can be told.
package logfile

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"listbound/events"
	"listbound/projections/rowtext"
	"listbound/projections/run"
)

// MaxBytes is how long a log may be: a day at ten readings a second has less.
const MaxBytes = 32 << 20

// Error is why a log can't be read.
type Error struct {
	Row  int    // the row that is wrong, from 1; 0: the log as a whole
	Key  string // what is wrong, for who says it in another language; see Says
	Args []any
	More []*Error // of further rows that are wrong, the first dozens
}

func (e *Error) Error() string {
	what := fmt.Sprintf(says[e.Key], e.Args...)
	if e.Row == 0 {
		return what
	}
	if n := len(e.More); n > 0 {
		what += fmt.Sprintf(" (and %d more rows)", n)
	}
	return fmt.Sprintf("row %d: %s", e.Row, what)
}

// says is what may be wrong, in the words of the terminal.
var says = map[string]string{
	"zone":      "the zone %q is not known",
	"reading":   "%v",
	"long":      "the log has %d bytes; it has up to %d",
	"no-text":   "the log is no text: %v",
	"year":      "the clock %q has a day without its year, or a year without a day",
	"day":       "the clock %q doesn't say on which day the run was: say when it was started",
	"split":     "%v",
	"no-table":  "there is no table with a time and values in it",
	"no-column": "no row names the columns: there is no %s",
	"pressure":  "a pressure of %.1f kPa above vacuum: is %q above the atmosphere's, and the barometer right?",
	"no-number": "the time %q is no number",
	"no-time":   "the time %q is not like %s",
}

// Says are the keys of what may be wrong.
func Says() []string { return slices.Sorted(maps.Keys(says)) }

func wrong(key string, args ...any) *Error { return &Error{Key: key, Args: args} }

// mostWrong is how many rows that are wrong are told of: more are of one cause.
const mostWrong = 20

// Read reads a log. started is when the run was started, for a clock that shows the time since then, or no day.
func Read(raw []byte, how *events.RunReading, started time.Time) (*run.Log, error) {
	if err := how.Check(); err != nil {
		return nil, wrong("reading", err)
	}
	zone, err := time.LoadLocation(how.Zone)
	if err != nil {
		return nil, wrong("zone", how.Zone)
	}
	if len(raw) > MaxBytes {
		return nil, wrong("long", len(raw), MaxBytes)
	}
	text, err := rowtext.Decode(raw)
	if err != nil {
		return nil, wrong("no-text", err)
	}
	t, bad := find(text, how)
	if bad != nil {
		return nil, bad
	}
	c := clock{layout: layout(how.Clock), zone: zone, started: started, unit: sinceStart[how.Clock],
		ahead: time.Duration(how.ClockAheadSeconds) * time.Second}
	c.dated = strings.Contains(how.Clock, "YY")
	switch {
	case strings.Contains(how.Clock, "DD") != c.dated:
		return nil, wrong("year", how.Clock)
	case !c.dated && started.IsZero():
		return nil, wrong("day", how.Clock)
	}
	l := &run.Log{Sensors: how.Temperatures, Pressure: how.Pressure, Barometer: float64(how.BarometerPascal) / 1000}
	if bad := t.samples(l, how, &c); bad != nil {
		return nil, bad
	}
	return l, nil
}

// samples reads all rows; where some are wrong, it tells of each, up to a bound.
func (t *table) samples(l *run.Log, how *events.RunReading, c *clock) *Error {
	var all []*Error
	for i, row := range t.rows {
		if empty(row) {
			continue
		}
		s, bad := t.sample(row, how, c)
		if bad == nil {
			l.Samples = append(l.Samples, s)
			continue
		}
		bad.Row = t.first + i
		if all = append(all, bad); len(all) == mostWrong {
			break
		}
	}
	if len(all) == 0 {
		return nil
	}
	all[0].More = all[1:]
	return all[0]
}

// table is a log's rows below its headings.
type table struct {
	rows  [][]string
	first int // the row of the first, from 1
	at    map[string]int
}

// find returns the table by the separator by which all columns are there.
func find(text string, how *events.RunReading) (*table, *Error) {
	var missing *Error
	for _, comma := range ";\t," {
		if comma == ',' && how.DecimalComma {
			continue // 134,2 would be two cells
		}
		t, bad := columns(text, comma, how)
		if bad == nil {
			return t, nil
		}
		if missing == nil || comma == ',' {
			missing = bad
		}
	}
	return nil, missing
}

// aboveHeadings is how many rows may stand above the headings: logs begin with what the sterilizer is and what was run.
const aboveHeadings = 60

func columns(text string, comma rune, how *events.RunReading) (*table, *Error) {
	all, err := rowtext.Split(text, comma, true)
	if err != nil {
		return nil, wrong("split", err)
	}
	names := append([]string{how.Time}, how.Temperatures...)
	for _, more := range []string{how.Date, how.Pressure} {
		if more != "" {
			names = append(names, more)
		}
	}
	missing := names
	for i, row := range all[:min(len(all), aboveHeadings)] {
		t := &table{rows: all[i+1:], first: i + 2, at: make(map[string]int)}
		var not []string
		plain := true // no column is named by a heading
		for _, name := range names {
			at, byPlace := place(name)
			if plain = plain && byPlace; !byPlace {
				at = heading(row, name)
			}
			if at < 0 || at >= len(row) {
				not = append(not, name)
				continue
			}
			t.at[name] = at
		}
		if len(not) == 0 {
			if plain {
				t.rows, t.first = all[i:], i+1
			}
			return t, nil
		}
		if len(not) < len(missing) {
			missing = not
		}
	}
	return nil, wrong("no-column", strings.Join(missing, ", "))
}

// place reads #3: the third column, which has the index 2.
func place(name string) (int, bool) {
	n, ok := strings.CutPrefix(name, "#")
	if !ok {
		return 0, false
	}
	at, err := strconv.Atoi(n)
	return at - 1, err == nil
}

func heading(row []string, name string) int {
	for i, cell := range row {
		if strings.EqualFold(strings.Join(strings.Fields(cell), " "), strings.Join(strings.Fields(name), " ")) {
			return i
		}
	}
	return -1
}

func empty(row []string) bool {
	for _, cell := range row {
		if strings.TrimSpace(cell) != "" {
			return false
		}
	}
	return true
}

func (t *table) cell(row []string, name string) string {
	if at := t.at[name]; at < len(row) {
		return strings.TrimSpace(row[at])
	}
	return ""
}

func (t *table) sample(row []string, how *events.RunReading, c *clock) (s run.Sample, bad *Error) {
	text := t.cell(row, how.Time)
	if how.Date != "" {
		text = t.cell(row, how.Date) + " " + text
	}
	if s.At, bad = c.read(text, how.DecimalComma); bad != nil {
		return s, bad
	}
	for _, name := range how.Temperatures {
		s.Points = append(s.Points, celsius(number(t.cell(row, name), how.DecimalComma), how.TemperatureUnit))
	}
	s.Pressure = math.NaN()
	if how.Pressure == "" {
		return s, nil
	}
	s.Pressure = pressure(t.cell(row, how.Pressure), how)
	if how.Gauge || how.PressureUnit == events.CompoundGauge {
		s.Pressure += float64(how.BarometerPascal) / 1000
	}
	if s.Pressure < leastKPa {
		return s, wrong("pressure", s.Pressure, how.Pressure)
	}
	return s, nil
}

// pressure reads a pressure in kilopascals, from where the column counts.
func pressure(text string, how *events.RunReading) float64 {
	if how.PressureUnit != events.CompoundGauge {
		return number(text, how.DecimalComma) * kPa[how.PressureUnit]
	}
	figure, vacuum := compound(text)
	x := number(figure, how.DecimalComma)
	if vacuum || x < 0 {
		return -math.Abs(x) * kPa["inHg"]
	}
	return x * kPa["psi"]
}

// compound takes a printed unit off a pressure. One of vacuum, "26.4 inHg", "26.4in" or "26.4V", says which side of zero it
// is of; without a unit the sign does.
func compound(text string) (figure string, vacuum bool) {
	at := strings.LastIndexAny(text, "0123456789") + 1
	figure, unit := text[:at], strings.ToLower(strings.Join(strings.FieldsFunc(text[at:], notLetter), ""))
	switch unit {
	case "":
		return text, false
	case "in", "inhg", "hg", "v", "vac", "inv", "invac", "inhgv", "inhgvac":
		return figure, true
	case "psi", "psig", "p":
		return figure, false
	}
	return text, false // another word: no number
}

func notLetter(r rune) bool { return !unicode.IsLetter(r) }

// leastKPa is how far a sensor may err below vacuum.
const leastKPa = -5

// most is beyond what any sensor shows in any unit.
const most = 1e6

// number reads a number, NaN for what is none: ---, or a word.
func number(text string, comma bool) float64 {
	if comma {
		text = strings.Replace(text, ",", ".", 1)
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(math.Abs(x) <= most) {
		return math.NaN()
	}
	return x
}

// kPa are the units of pressure in kilopascals. Of psi and of the conventional inch of mercury: NIST SP 811, appendix B.8.
var kPa = map[string]float64{"kPa": 1, "MPa": 1000, "bar": 100, "mbar": 0.1, "psi": 6.894757, "inHg": 3.386389}

func celsius(x float64, unit string) float64 {
	if unit == "F" {
		return (x - 32) / 1.8
	}
	return x
}

// sinceStart are the clocks that show the time since the start, as a number.
var sinceStart = map[string]time.Duration{"s": time.Second, "min": time.Minute}

// clock reads times.
type clock struct {
	layout  string
	zone    *time.Location
	unit    time.Duration // of the time since the start; 0 for a clock that shows the time
	dated   bool
	started time.Time
	day     time.Time     // of a clock without a day: of the reading before
	ahead   time.Duration // of the true time
}

// layout turns YYYY-MM-DD hh:mm:ss into Go's form of a time.
func layout(clock string) string {
	return strings.NewReplacer("YYYY", "2006", "YY", "06", "MM", "01", "DD", "02", "hh", "15", "mm", "04", "ss", "05").Replace(clock)
}

// read reads a time. Where the clock shows no day, a time that is half a day before the one above it is of the next day.
func (c *clock) read(text string, comma bool) (time.Time, *Error) {
	if c.unit > 0 {
		x := number(text, comma)
		if math.IsNaN(x) {
			return time.Time{}, wrong("no-number", text)
		}
		return c.started.Add(time.Duration(math.Round(x * float64(c.unit)))), nil
	}
	// A fraction of a second may follow by point or comma, whatever the layout. Commas elsewhere belong to it.
	at, err := time.ParseInLocation(c.layout, text, c.zone)
	if err != nil {
		return at, wrong("no-time", text, c.layout)
	}
	if c.dated {
		return at.Add(-c.ahead), nil
	}
	before := c.day
	if before.IsZero() {
		before = c.started.Add(c.ahead).In(c.zone) // by the sterilizer's own clock
	}
	h, m, s := at.Clock()
	at = time.Date(before.Year(), before.Month(), before.Day(), h, m, s, at.Nanosecond(), c.zone)
	const half = 12 * time.Hour
	switch d := at.Sub(before); {
	case d < -half:
		at = at.AddDate(0, 0, 1)
	case d > half:
		at = at.AddDate(0, 0, -1)
	}
	c.day = at
	return at.Add(-c.ahead), nil
}

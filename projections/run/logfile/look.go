package logfile

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections/rowtext"
)

// Looked is what a log looks like to somebody who is to say how it is read.
type Looked struct {
	Row      int        // in which the columns are named, from 1; 0: in none, so that they are #1 and so on
	Headings []string   // the columns, as a reading names them
	Rows     [][]string // the first rows below
	// Guess is how it is probably read. What can't be told is left out of it: which of 3/4 is the month, and whether a pressure
	// is above vacuum where its heading has no word of that, is for somebody to say.
	Guess events.RunReading
}

// shownRows are enough to tell columns apart, triedRows to tell how numbers are written: a run begins cold.
const (
	shownRows = 3
	triedRows = 40
)

// Look finds the columns of a log that nobody said anything of yet.
func Look(raw []byte) (*Looked, error) {
	if len(raw) > MaxBytes {
		return nil, wrong("long", len(raw), MaxBytes)
	}
	text, err := rowtext.Decode(raw)
	if err != nil {
		return nil, wrong("no-text", err)
	}
	var best *Looked
	for _, comma := range ";\t," {
		all, err := rowtext.Split(text, comma, true)
		if err != nil {
			continue
		}
		if l := lookAt(all, comma); l != nil && (best == nil || len(l.Headings) > len(best.Headings)) {
			best = l
		}
	}
	if best == nil {
		return nil, wrong("no-table")
	}
	return best, nil
}

// lookAt finds the first row below which there are measured values in at least two columns, nil where there is none.
func lookAt(all [][]string, comma rune) *Looked {
	for i := range all[:min(len(all), aboveHeadings+1)] {
		if !goesOn(all, i) {
			continue
		}
		l := &Looked{Rows: all[i:min(len(all), i+shownRows)]}
		head := i - 1
		for head >= 0 && empty(all[head]) {
			head--
		}
		named := head >= 0 && len(all[head]) >= 2 && measuredIn(all[head]) == 0
		for k := range all[i] {
			name := "#" + strconv.Itoa(k+1)
			if named && k < len(all[head]) && strings.TrimSpace(all[head][k]) != "" {
				name = strings.Join(strings.Fields(all[head][k]), " ")
			}
			l.Headings = append(l.Headings, name)
		}
		if named {
			l.Row = head + 1
		}
		l.guess(all[i:min(len(all), i+triedRows)], comma)
		return l
	}
	return nil
}

// goesOn reports whether a row has measured values, and the next one as well: a title such as "Load;7" has none below it.
func goesOn(all [][]string, i int) bool {
	if measuredIn(all[i]) < 1 || len(all[i]) < 2 {
		return false
	}
	next := i + 1
	for next < len(all) && empty(all[next]) {
		next++
	}
	return next == len(all) || len(all[next]) == len(all[i]) && measuredIn(all[next]) > 0
}

var numeral = regexp.MustCompile(`^[-+]?\d+([.,]\d+)?$`)

// measuredIn is how many cells of a row are numbers, but for the first one, which is mostly the time.
func measuredIn(row []string) (n int) {
	for _, c := range row[min(1, len(row)):] {
		if numeral.MatchString(strings.TrimSpace(c)) {
			n++
		}
	}
	return n
}

// Clocks are the forms of a time that are tried, and offered.
func Clocks() []string {
	return []string{"YYYY-MM-DD hh:mm:ss", "DD.MM.YYYY hh:mm:ss", "DD/MM/YYYY hh:mm:ss", "MM/DD/YYYY hh:mm:ss", "DD.MM.YY hh:mm:ss",
		"DD/MM/YY hh:mm:ss", "MM/DD/YY hh:mm:ss", "YYYY/MM/DD hh:mm:ss", "YYYY-MM-DDThh:mm:ss", "DD.MM.YYYY hh:mm",
		"hh:mm:ss", "hh:mm", "s", "min"}
}

func (l *Looked) guess(rows [][]string, comma rune) {
	g := &l.Guess
	g.TemperatureUnit = "C"
	column := func(k int) (out []string) {
		for _, row := range rows {
			if k < len(row) && strings.TrimSpace(row[k]) != "" {
				out = append(out, strings.TrimSpace(row[k]))
			}
		}
		return out
	}
	left := make([]int, 0, len(l.Headings))
	for k := range l.Headings {
		cells := column(k)
		switch {
		case len(cells) == 0:
		case g.Time == "" && l.clock(k, cells):
		case numeral.MatchString(cells[len(cells)-1]):
			left = append(left, k)
			g.DecimalComma = g.DecimalComma || comma != ',' && strings.Contains(strings.Join(cells, " "), ",")
		}
	}
	if g.Time == "" && len(left) > 1 && ascends(column(left[0]), g.DecimalComma) {
		g.Time, g.Clock = l.Headings[left[0]], "s"
		if strings.Contains(strings.ToLower(g.Time), "min") {
			g.Clock = "min"
		}
		left = left[1:]
	}
	for _, k := range left {
		l.measured(l.Headings[k])
	}
}

// clock takes a column for that of the time, or of the day that one beside it goes with.
func (l *Looked) clock(k int, cells []string) bool {
	g := &l.Guess
	if fits := clocksThatFit(cells, Clocks()); len(fits) > 0 {
		g.Time = l.Headings[k]
		if g.Date != "" {
			g.Clock += " " + fits[0]
			return true
		}
		if g.Clock = fits[0]; len(fits) > 1 {
			g.Clock = "" // which is the day and which the month is not known
		}
		return true
	}
	if fits := clocksThatFit(cells, []string{"YYYY-MM-DD", "DD.MM.YYYY", "DD.MM.YY", "DD/MM/YYYY", "MM/DD/YYYY", "DD/MM/YY", "MM/DD/YY",
		"YYYY/MM/DD"}); len(fits) == 1 {
		g.Date, g.Clock = l.Headings[k], fits[0]
		return true
	}
	return false
}

// clocksThatFit are the forms by which most cells can be read, and as many as by any other form: rows that are wrong are told of when
// the log is read.
func clocksThatFit(cells, among []string) (out []string) {
	most := (2*len(cells) + 2) / 3
	for _, c := range among {
		n := 0
		for _, x := range cells {
			if _, err := time.Parse(layout(c), x); err == nil && sinceStart[c] == 0 {
				n++
			}
		}
		if n > most {
			out, most = nil, n
		}
		if n == most {
			out = append(out, c)
		}
	}
	return out
}

func ascends(cells []string, comma bool) bool {
	last := math.Inf(-1)
	for _, c := range cells {
		x := number(c, comma)
		if math.IsNaN(x) || x < last {
			return false
		}
		last = x
	}
	return len(cells) > 1
}

var (
	ofPressure   = regexp.MustCompile(`(?i)\b(press\w*|druck\w*|kammerdruck|p\d*|k?pa|mpa|m?bar[ga]?|psi[ga]?|in\.?hg)\b`)
	ofDegrees    = regexp.MustCompile(`(?i)(°\s?[cf]|\btemp\w*|\bt\d*\b|grad)`)
	inFahrenheit = regexp.MustCompile(`(?i)(°\s?f\b|\bf\b|fahrenheit)`)
	aboveAir     = regexp.MustCompile(`(?i)(psig|barg|gauge|\bg\b|rel|überdruck|bar ?ü)`)
)

// measured takes a column for a pressure or a temperature, by its heading. One of which that says nothing is a temperature.
func (l *Looked) measured(name string) {
	g := &l.Guess
	if ofPressure.MatchString(name) && !ofDegrees.MatchString(name) {
		if g.Pressure == "" {
			g.Pressure, g.PressureUnit, g.Gauge = name, unitIn(name), aboveAir.MatchString(name)
		}
		return
	}
	if l.Row == 0 || ofDegrees.MatchString(name) {
		g.Temperatures = append(g.Temperatures, name)
		if inFahrenheit.MatchString(name) {
			g.TemperatureUnit = "F"
		}
	}
}

// unitIn is the unit of pressure in a heading, "" for none.
func unitIn(name string) string {
	low := strings.ToLower(name)
	if strings.Contains(low, "psi") && strings.Contains(strings.ReplaceAll(low, ".", ""), "inhg") {
		return events.CompoundGauge
	}
	for _, x := range []struct{ has, unit string }{
		{"mbar", "mbar"}, {"bar", "bar"}, {"mpa", "MPa"}, {"kpa", "kPa"}, {"psi", "psi"}, {"inhg", "inHg"}, {"in.hg", "inHg"},
	} {
		if strings.Contains(low, x.has) {
			return x.unit
		}
	}
	return ""
}

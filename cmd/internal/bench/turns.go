package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"listbound/events"
)

// Each client is a department of its own: packing, a sterilizer, a store and an operating room, whose clocks go on. So many of
// them at once are as many departments at once, and what they hand in is in order at each station, as what people scan is.
// Nothing is wrong with it, as in nearly all of a hospital's turns: since a set is at its next station within milliseconds here, the
// policy asks for no time between two places.
const (
	stepsOfTurn  = 9
	setsOfClient = 8
	linesOfList  = 20
	oneTurn      = 20 * time.Minute
)

// lately is the time of what clients hand in: what was observed long ago would be overdue in the middle of each turn, which
// nothing of a hospital's day is. An hour or two are left for what else is recorded meanwhile.
func lately() time.Time { return time.Now().Add(-2 * time.Hour) }

// worldBegins is before all that is recorded: a turn has time, and nothing of so many records lies in the future, where each would be
// remarked on.
func worldBegins(records int) time.Time {
	turns := time.Duration(records / (departmentsOfBulk * stepsOfTurn))
	return time.Now().UTC().Truncate(time.Hour).Add(-90*24*time.Hour - turns*oneTurn)
}

// department makes one client's observations, one after the other.
type department struct {
	n     int
	begin time.Time
	turn  int
	step  int
	clock func() time.Time // nil: the turns begin at begin, one every oneTurn
	last  time.Time        // the last observation by the clock
}

// next is the next observation of the turn that is under way.
func (d *department) next() string {
	s := d.observation(d.turn, d.step)
	if d.step++; d.step == stepsOfTurn {
		d.turn, d.step = d.turn+1, 0
	}
	return s
}

func (d *department) observation(turn, step int) string {
	set, caseName := fmt.Sprintf("LAP-%d-%d", d.n, turn%setsOfClient), d.caseOf(turn)
	steps := [stepsOfTurn]struct{ station, kind, data string }{
		{"packing", "set.packed", `{"list":"LAP","version":1,"weightGrams":8400,"newSet":true}`},
		{"packing", "list.sealed", `{"placement":"screen"}`},
		{"sterilizer", "set.sterilized", fmt.Sprintf(`{"load":%q,"sterilizer":"S%d","run":%d,"cycle":"c134","result":"passed",`+
			`"released":true}`, d.loadOf(turn), d.n, turn+1)},
		{"storage", "set.checked", fmt.Sprintf(`{"place":"A4","tag":%q}`, set)},
		{"or", "set.opened", fmt.Sprintf(`{"case":%q,"tag":%q,"outerLabel":%[2]q,"indicator":"pass"}`, caseName, set)},
		{"or", "set.counted", counted(caseName, "first")},
		{"or", "set.counted", counted(caseName, "closing")},
		{"or", "set.counted", counted(caseName, "final")},
		{"or", "case.closed", fmt.Sprintf(`{"case":%q,"outcome":"reconciled","actions":[]}`, caseName)},
	}
	about := fmt.Sprintf(`"set":%q,`, set)
	if step == stepsOfTurn-1 {
		about = ""
	}
	s := steps[step]
	return fmt.Sprintf(`{"station":"north/%s-%d","kind":%q,"time":%q,%s"operator":"B-1","data":%s}`,
		s.station, d.n, s.kind, d.at(turn, step).Format(time.RFC3339Nano), about, s.data)
}

// at is when something is observed: by the clock, or in the time that a turn takes.
func (d *department) at(turn, step int) time.Time {
	if d.clock == nil {
		at := d.begin.Add(time.Duration(turn)*oneTurn + time.Duration(step)*2*time.Minute + time.Duration(d.n)*time.Second/10)
		return at.Truncate(time.Second)
	}
	at := d.clock().UTC().Truncate(time.Millisecond)
	if next := d.last.Add(time.Millisecond); at.Before(next) {
		at = next
	}
	d.last = at
	return at
}

func (d *department) caseOf(turn int) string { return fmt.Sprintf("K-%d-%d", d.n, turn) }
func (d *department) loadOf(turn int) string { return fmt.Sprintf("S%d-%d", d.n, turn) }

func counted(caseName, stage string) string {
	var counts []string
	for i := range linesOfList {
		counts = append(counts, fmt.Sprintf(`{"line":%d,"counted":4}`, i+1))
	}
	return fmt.Sprintf(`{"case":%q,"stage":%q,"sheet":"screen","counter":"B-1","witness":"B-2","counts":[%s]}`,
		caseName, stage, strings.Join(counts, ","))
}

// thePolicy lets a set be at two places at once.
func thePolicy(begin time.Time) string {
	p := events.DefaultPolicy()
	p.MinimumTravelSeconds = 0
	line, err := events.FormatObservation(&events.Observation{Station: "north/ledger", Kind: events.KindPolicyAdopted,
		Time: begin.Add(-2 * time.Hour), Data: &events.PolicyAdopted{Policy: p}})
	if err != nil {
		panic(err) // texts and numbers
	}
	return string(line)
}

// theList is what all sets are packed by.
func theList(begin time.Time) string {
	type line struct {
		Line        int    `json:"line"`
		Item        string `json:"item"`
		Description string `json:"description"`
		Quantity    int    `json:"quantity"`
	}
	var lines []line
	for i := range linesOfList {
		lines = append(lines, line{i + 1, fmt.Sprintf("FCP-%03d", i), "Forceps, curved, 12.5 cm", 4})
	}
	raw, err := json.Marshal(lines)
	if err != nil {
		panic(err) // texts and numbers
	}
	return fmt.Sprintf(`{"station":"north/packing-0","kind":"list.issued","time":%q,`+
		`"data":{"list":"LAP","version":1,"title":"Laparotomy","lines":%s}}`, begin.Add(-time.Hour).Format(time.RFC3339), raw)
}

// writeTurns writes a file of turns of some departments that work side by side, of about so many lines: in order of time, as a
// day is.
func writeTurns(w io.Writer, begin time.Time, departments, lines int) error {
	for _, line := range []string{thePolicy(begin), theList(begin)} {
		if _, err := fmt.Fprintln(w, line); err != nil {
			return err
		}
	}
	for turn := 0; turn*departments*stepsOfTurn < lines; turn++ {
		for step := range stepsOfTurn {
			for n := range departments {
				d := department{n: n, begin: begin}
				if _, err := fmt.Fprintln(w, d.observation(turn, step)); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

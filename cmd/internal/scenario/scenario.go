// Package scenario holds an invented working week of one site, as files of
// observations, and hands them out line by line with the time at which the
// ledger is to have received each.
//
// The files under week/ have the form that "listbound record" takes from
// anybody: one JSON object a line. The one other form is
//
//	{"signed":"<the whole note>"}
//
// from a station that keeps its own key. What is wrong in the week is found by
// the same judgement as in a real one: the files hold observations, never
// verdicts. week/scenario.json names the files in order and says how the
// clocks of that week behaved:
//
//	{
//	  "title": "…",
//	  "site": "north",
//	  "clockErrors": {"north/handheld-1": "47m"},
//	  "delay": "2s",
//	  "files": ["0-start.jsonl", "1-monday.jsonl"]
//	}
//
// A clock error is how far that station's clock is ahead. The delay is the time
// from an observation to its arrival. A line that stands later in the file than
// its observed time suggests has arrived late, as from a station that was
// offline.
package scenario

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"path"
	"time"

	"listbound/events"
)

//go:generate go run ./weekgen

//go:embed week
var week embed.FS

// Scenario is one invented stretch of work.
type Scenario struct {
	Title       string
	Site        string
	ClockErrors map[string]time.Duration // by station: how far its clock is ahead
	Delay       time.Duration            // from an observation to its arrival
	Files       []string                 // in the order in which they are recorded

	files fs.FS
}

// Line is one observation as the file has it.
type Line struct {
	File     string
	N        int // line number, from 1
	Raw      []byte
	RecordAt time.Time // the ledger's clock when the line arrives; never runs back
}

// Load returns the week that is built into the program.
func Load() (*Scenario, error) {
	sub, err := fs.Sub(week, "week")
	if err != nil {
		return nil, fmt.Errorf("scenario: %w", err)
	}
	return load(sub)
}

func load(files fs.FS) (*Scenario, error) {
	raw, err := fs.ReadFile(files, "scenario.json")
	if err != nil {
		return nil, fmt.Errorf("scenario: %w", err)
	}
	var f struct {
		Title       string            `json:"title"`
		Site        string            `json:"site"`
		ClockErrors map[string]string `json:"clockErrors"`
		Delay       string            `json:"delay"`
		Files       []string          `json:"files"`
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return nil, fmt.Errorf("scenario.json: %w", err)
	}
	if f.Site == "" || len(f.Files) == 0 {
		return nil, fmt.Errorf("scenario.json: site and files are both needed")
	}
	s := &Scenario{Title: f.Title, Site: f.Site, ClockErrors: make(map[string]time.Duration), Files: f.Files, files: files}
	if s.Delay, err = time.ParseDuration(f.Delay); err != nil || s.Delay < 0 {
		return nil, fmt.Errorf("scenario.json: delay %q is not a duration such as 2s", f.Delay)
	}
	for station, e := range f.ClockErrors {
		if err := events.CheckStation(station); err != nil {
			return nil, fmt.Errorf("scenario.json: clockErrors: %w", err)
		}
		if s.ClockErrors[station], err = time.ParseDuration(e); err != nil {
			return nil, fmt.Errorf("scenario.json: clockErrors: %s: %q is not a duration such as 47m", station, e)
		}
	}
	for _, name := range f.Files {
		if path.Base(name) != name {
			return nil, fmt.Errorf("scenario.json: file %q is not a plain name", name)
		}
		if _, err := fs.Stat(files, name); err != nil {
			return nil, fmt.Errorf("scenario.json: %w", err)
		}
	}
	return s, nil
}

// End returns when the last line arrives. The week is judged as of then, however
// long ago it is by now.
func (s *Scenario) End() (time.Time, error) {
	var end time.Time
	for l, err := range s.Lines() {
		if err != nil {
			return time.Time{}, err
		}
		end = l.RecordAt
	}
	return end, nil
}

// Lines hands out every line of every file in order. The first line that is no
// observation ends it: a file of the scenario must be one that record takes
// whole.
func (s *Scenario) Lines() iter.Seq2[Line, error] {
	return func(yield func(Line, error) bool) {
		var clock time.Time
		for _, name := range s.Files {
			raw, err := fs.ReadFile(s.files, name)
			if err != nil {
				yield(Line{File: name}, fmt.Errorf("scenario: %w", err))
				return
			}
			n := 0
			for text := range bytes.Lines(raw) {
				n++
				text = bytes.TrimRight(text, "\r\n")
				if len(bytes.TrimSpace(text)) == 0 {
					continue
				}
				l := Line{File: name, N: n, Raw: text}
				o, err := events.ParseObservation(text)
				if err != nil {
					yield(l, fmt.Errorf("%s, line %d: %w", name, n, err))
					return
				}
				// The station's error is taken off to get at the time at which the
				// thing really happened: that is when the ledger hears of it.
				if at := o.Time.Add(s.Delay - s.ClockErrors[o.Station]); at.After(clock) {
					clock = at
				}
				l.RecordAt = clock
				if !yield(l, nil) {
					return
				}
			}
		}
	}
}

// Run is a sterilizer's run of the week whose log is handed in at its end, as somebody does who looks into a load.
type Run struct {
	Log        string            `json:"log"` // the file
	Load       string            `json:"load"`
	Sterilizer string            `json:"sterilizer"`
	Station    string            `json:"station"`
	Operator   string            `json:"operator"`
	Cycle      string            `json:"cycle"` // of the published ones
	Read       events.RunReading `json:"read"`
}

// Runs are those runs.
func (s *Scenario) Runs() (out []Run, err error) {
	raw, err := fs.ReadFile(s.files, "runs.json")
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err == nil {
		err = json.Unmarshal(raw, &out)
	}
	if err != nil {
		return nil, fmt.Errorf("scenario: runs.json: %w", err)
	}
	return out, nil
}

// RunLog returns a run's log as the sterilizer wrote it.
func (s *Scenario) RunLog(r *Run) ([]byte, error) {
	raw, err := fs.ReadFile(s.files, r.Log)
	if err != nil {
		return nil, fmt.Errorf("scenario: %w", err)
	}
	return raw, nil
}

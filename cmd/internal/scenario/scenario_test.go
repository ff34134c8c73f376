package scenario

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"listbound/events"
)

// parsed is a line and what it says.
type parsed struct {
	Line
	o *events.Observation
}

func readAll(t *testing.T) (*Scenario, []parsed) {
	t.Helper()
	s, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	var out []parsed
	for l, err := range s.Lines() {
		if err != nil {
			t.Fatal(err)
		}
		o, err := events.ParseObservation(l.Raw)
		if err != nil {
			t.Fatalf("%s, line %d: %v", l.File, l.N, err)
		}
		out = append(out, parsed{l, o})
	}
	return s, out
}

// TestSize holds the week to the size of a real one. Lists of 20 to 120 lines
// and about five sets a case: DOMAIN facts, section 8 (88 instruments a tray,
// Toor 2022; 4.84 trays a procedure, Stockert 2014).
func TestSize(t *testing.T) {
	s, lines := readAll(t)
	stations := make(map[string]int)
	kinds := make(map[events.Kind]int)
	lists := make(map[string]int)
	sets := make(map[string]bool)
	cases := make(map[string]bool)
	placements := make(map[events.Placement]int)
	stages := make(map[events.Stage]int)
	size, signed, bareTrips, ownTrips, exceptions, added, removed, heavy := 0, 0, 0, 0, 0, 0, 0, 0
	for _, l := range lines {
		size += len(l.Raw) + 1
		stations[l.o.Station]++
		kinds[l.o.Kind]++
		if l.o.Set != "" {
			sets[l.o.Set] = true
		}
		if l.o.Signed != nil {
			signed++
		}
		if l.o.Trip == "" && l.o.Set != "" {
			if l.o.Kind == events.KindSetPacked {
				ownTrips++
			} else {
				bareTrips++
			}
		}
		switch d := l.o.Data.(type) {
		case *events.ListIssued:
			lists[d.List]++
			if n := len(d.Lines); !d.Goods && (n < 20 || n > 120) {
				t.Errorf("%s version %d has %d lines, want 20 to 120", d.List, d.Version, n)
			}
			for _, x := range d.Lines {
				if strings.Contains(x.Description, "%") || x.Quantity < 1 {
					t.Errorf("%s: line %d reads %q, %d pieces", d.List, x.Line, x.Description, x.Quantity)
				}
			}
		case *events.SetPacked:
			exceptions += len(d.Exceptions)
			if d.WeightGrams > events.DefaultPolicy().WeightLimitGrams {
				heavy++
			}
		case *events.ListSealed:
			placements[d.Placement]++
		case *events.SetCounted:
			stages[d.Stage]++
			removed += len(d.Removed)
			if d.Stage == events.StageAdded {
				added += len(d.Counts)
			}
		case *events.CaseClosed:
			cases[d.Case] = true
		}
	}
	for _, c := range []struct {
		what     string
		got, min int
	}{
		{"observations", len(lines), 2000}, {"stations", len(stations), 9}, {"kinds of list", len(lists), 8}, {"sets", len(sets), 60},
		{"cases", len(cases), 30}, {"signed notes", signed, 20}, {"lines without a trip", bareTrips, 50},
		{"packings that start their own trip", ownTrips, 20},
		{"packing exceptions", exceptions, 10}, {"added pieces", added, 10}, {"removed pieces", removed, 5}, {"heavy sets", heavy, 1},
	} {
		if c.got < c.min {
			t.Errorf("%d %s, want at least %d", c.got, c.what, c.min)
		}
	}
	if size > 4<<20 {
		t.Errorf("%d bytes, want at most 4 MB", size)
	}
	if heavy*5 > kinds[events.KindSetPacked] {
		t.Errorf("%d of %d packings above the weight limit; a site packs few", heavy, kinds[events.KindSetPacked])
	}
	// Every kind that was there when the week was planned; a later one where
	// people should see it here.
	if len(kinds) < 14 {
		t.Errorf("%d kinds in the week: %v", len(kinds), kinds)
	}
	for _, p := range []events.Placement{events.InsideBag, events.InsideBare, events.Outside, events.Screen} {
		if placements[p] < 5 {
			t.Errorf("placement %s only %d times", p, placements[p])
		}
	}
	for _, g := range []events.Stage{events.StageFirst, events.StageAdded, events.StageCavity, events.StageClosing,
		events.StageFinal, events.StageRelief} {
		if stages[g] == 0 {
			t.Errorf("no count at stage %s", g)
		}
	}
	for station := range s.ClockErrors {
		if stations[station] == 0 {
			t.Errorf("%s has a clock error, and observes nothing", station)
		}
	}
}

// TestOnce: no observation stands twice, and no two have one id.
func TestOnce(t *testing.T) {
	_, lines := readAll(t)
	seen := make(map[string]string)
	for _, l := range lines {
		id, err := l.o.ID()
		if err != nil {
			t.Fatalf("%s, line %d: %v", l.File, l.N, err)
		}
		if other, ok := seen[id]; ok {
			t.Errorf("%s, line %d has the id of %s", l.File, l.N, other)
		}
		seen[id] = l.File
	}
	if len(seen) == 0 {
		t.Fatal("no lines")
	}
}

// TestCounts: a first and a final count name every line of their list, but for
// the one planned exception.
func TestCounts(t *testing.T) {
	_, lines := readAll(t)
	type key struct {
		list    string
		version int64
	}
	lists := make(map[key]int)
	packed := make(map[string]key) // by set, the latest
	full, part := 0, 0
	for _, l := range lines {
		switch d := l.o.Data.(type) {
		case *events.ListIssued:
			lists[key{d.List, d.Version}] = len(d.Lines)
		case *events.SetPacked:
			packed[l.o.Set] = key{d.List, d.Version}
		case *events.SetCounted:
			if d.Stage != events.StageFirst && d.Stage != events.StageFinal {
				continue
			}
			if n := lists[packed[l.o.Set]]; len(d.Counts)-len(d.Beyond) == n {
				full++
			} else {
				part++
				if l.o.Set != "VAS-004" || d.Stage != events.StageFinal {
					t.Errorf("%s, line %d: the %s count of %s names %d lines of %d", l.File, l.N, d.Stage, l.o.Set, len(d.Counts), n)
				}
			}
		}
	}
	if full < 200 || part != 1 {
		t.Errorf("%d full counts and %d in part; want at least 200, and 1", full, part)
	}
}

// TestClock: the ledger's clock never runs back, the fast scanner is seen to be
// fast, and the offline morning arrives after midday.
func TestClock(t *testing.T) {
	s, lines := readAll(t)
	if s.ClockErrors["north/handheld-1"] != 47*time.Minute || s.Delay != 2*time.Second {
		t.Fatalf("clock errors %v, delay %s", s.ClockErrors, s.Delay)
	}
	var last time.Time
	late, ahead := 0, 0
	for _, l := range lines {
		if l.RecordAt.Before(last) {
			t.Fatalf("%s, line %d: recorded at %s, after a line at %s", l.File, l.N, l.RecordAt, last)
		}
		last = l.RecordAt
		switch behind := l.RecordAt.Sub(l.o.Time); {
		case behind > 30*time.Minute && l.o.Station == "north/or-4":
			late++
			if l.RecordAt.Hour() < 12 {
				t.Errorf("%s, line %d of the offline station arrives at %s", l.File, l.N, l.RecordAt)
			}
		case behind < 0:
			ahead++
			if l.o.Station != "north/handheld-1" || behind != 2*time.Second-47*time.Minute {
				t.Errorf("%s, line %d of %s is %s ahead", l.File, l.N, l.o.Station, -behind)
			}
		}
	}
	if late < 20 || ahead != 2 {
		t.Errorf("%d late lines and %d ahead; want at least 20, and 2", late, ahead)
	}
}

// TestCodes: every code in the week parses, and all but the planned foreign
// one name a trip of the week.
func TestCodes(t *testing.T) {
	_, lines := readAll(t)
	trips := make(map[string]bool)
	for _, l := range lines {
		if l.o.Kind != events.KindSetPacked {
			continue
		}
		trip := l.o.Trip
		if trip == "" {
			var err error
			if trip, err = l.o.NewTrip(); err != nil {
				t.Fatal(err)
			}
		}
		trips[trip] = true
	}
	n, foreign := 0, 0
	for _, l := range lines {
		var code string
		switch d := l.o.Data.(type) {
		case *events.SetChecked:
			if d.Sheet != nil {
				code = d.Sheet.Code
			}
		case *events.SetOpened:
			if d.Sheet != nil {
				code = d.Sheet.Code
			}
		case *events.SetCounted:
			if d.Sheet != events.SheetScreen {
				code = d.Sheet
			}
		}
		if code == "" {
			continue
		}
		n++
		c, err := events.ParseSheetCode(code)
		if err != nil {
			t.Errorf("%s, line %d: %v", l.File, l.N, err)
		} else if !trips[c.Trip] {
			foreign++
		}
	}
	if n < 500 || foreign != 1 {
		t.Errorf("%d codes, %d of them foreign; want at least 500, and 1", n, foreign)
	}
}

func TestRefusals(t *testing.T) {
	const good = `{"title":"x","site":"north","delay":"2s","clockErrors":{},"files":["a.jsonl"]}`
	line := []byte(`{"station":"north/a","kind":"station.retired","time":"2026-03-02T05:00:00Z","data":{"station":"north/b","reason":"old"}}` + "\n")
	for _, c := range []struct{ name, head, file, want string }{
		{"whole", good, string(line), ""},
		{"no files", `{"site":"north","delay":"2s","files":[]}`, "", "site and files are both needed"},
		{"unknown member", `{"site":"north","delay":"2s","files":["a.jsonl"],"seed":1}`, "", `unknown field "seed"`},
		{"delay", `{"site":"north","delay":"soon","files":["a.jsonl"]}`, "", `delay "soon" is not a duration`},
		{"station", `{"site":"north","delay":"2s","clockErrors":{"or 3":"1m"},"files":["a.jsonl"]}`, "",
			`station "or 3" is not of the form`},
		{"clock", `{"site":"north","delay":"2s","clockErrors":{"north/or-3":"much"},"files":["a.jsonl"]}`, "", `"much" is not a duration`},
		{"path", `{"site":"north","delay":"2s","files":["../a.jsonl"]}`, "", "is not a plain name"},
		{"absent", `{"site":"north","delay":"2s","files":["b.jsonl"]}`, "", "b.jsonl"},
		{"bad line", good, string(line) + "\n{}\n", "a.jsonl, line 3: "},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := load(fstest.MapFS{"scenario.json": {Data: []byte(c.head)}, "a.jsonl": {Data: []byte(c.file)}})
			n := 0
			if err == nil {
				for l, e := range s.Lines() {
					if err = e; e != nil {
						break
					}
					n++
					if !bytes.Equal(append(slices.Clone(l.Raw), '\n'), line) || l.N != 1 ||
						l.RecordAt.Format(time.RFC3339) != "2026-03-02T05:00:02Z" {
						t.Errorf("line %d %s at %s", l.N, l.Raw, l.RecordAt)
					}
				}
			}
			switch {
			case c.want == "" && (err != nil || n != 1):
				t.Errorf("%d lines, error %v", n, err)
			case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
				t.Errorf("error %v, want %q in it", err, c.want)
			}
		})
	}
}

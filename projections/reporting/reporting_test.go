package reporting

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/rates"
)

const turnID = "019cac4b-b668-75a5-a222-c86ee4f17e4a"

var monday = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// berlin is an hour ahead of UTC, so that half past eleven at night is of another day there.
var berlin = time.FixedZone("CET", 3600)

func begun(t *testing.T, path string) *Copy {
	t.Helper()
	c, err := Create(t.Context(), path, About{Ledger: "north/ledger", Program: "listbound", Records: 9, Made: monday,
		Judged: monday, Zone: berlin})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func item(seq int64, at time.Time, d events.Data, change func(*facts.Item)) *facts.Item {
	it := &facts.Item{Kind: d.Kind(), Data: d}
	it.Seq, it.Recorded = seq, at.Add(time.Minute)
	it.Event = &events.Event{ID: fmt.Sprint("id-", seq), Station: "north/or-1", Subject: "LAP-001", Time: at,
		Trip: turnID, Operator: "B-1", Data: d}
	if change != nil {
		change(it)
	}
	return it
}

// oddTurn has what a usual week has not: a count from paper, one by no readable code, a line on no list, a load that was run
// twice, and a record that was taken back.
func oddTurn() Turn {
	list := &events.ListIssued{List: "LAP", Title: "Laparotomy", Lines: []events.Line{{Line: 1, Item: "F-1",
		Description: "Forceps", Quantity: 4}}}
	run := func(seq int64, result string, started string) *facts.Item {
		return item(seq, monday.Add(time.Hour), &events.SetSterilized{Load: "S1-1", Sterilizer: "S1", Run: 1, Cycle: "c", Result: result,
			Released: result == "passed", Started: started}, nil)
	}
	paper := item(5, monday.Add(17*time.Hour+30*time.Minute), &events.SetCounted{Case: "K-1", Stage: events.StageFirst, Sheet: "screen",
		Counter: "B-2", Witness: "B-3", Counts: []events.Count{{Line: 1, Counted: 3}, {Line: 2, Counted: 10}},
		Beyond: []events.Beyond{{Line: 2, Description: "Sponge"}}}, func(it *facts.Item) { it.Event.Medium = events.MediumPaper })
	unread := item(6, monday.Add(18*time.Hour), &events.SetCounted{Case: "K-1", Stage: events.StageFinal, Sheet: events.SheetUnreadable,
		Counter: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}}}, nil)
	void := item(7, monday, &events.SetPacked{List: "LAP", Version: 1}, func(it *facts.Item) { it.Void = true })
	voiding := item(8, monday.Add(time.Minute), &events.EventCorrected{Event: "id-7", Action: "void"}, nil)
	opened := item(4, monday.Add(17*time.Hour), &events.SetOpened{Case: "K-1", Room: "OR 1"}, nil)
	first, again := run(2, "failed", ""), run(3, "passed", "2026-03-02T06:30:00Z")
	trip := &facts.Trip{Key: projections.TripKey{Set: "LAP-001", Trip: turnID}, List: list, CaseRef: "K-1",
		Sterilized: []*facts.Item{first, again}, Opened: []*facts.Item{opened}, Counted: []*facts.Item{paper, unread},
		Cases: []facts.CaseUse{{Ref: "K-1", Opened: true}},
		All:   []*facts.Item{void, voiding, first, again, opened, paper, unread}}
	v := &projections.Verdict{Set: "LAP-001", Trip: turnID, Status: projections.Broken, Since: unread.At()}
	o := &rates.Counted{Opening: rates.Opening{TripKey: trip.Key, At: opened.At(), Station: "north/or-1", Read: true}, Incident: 1}
	return Turn{Verdict: v, Trip: trip, Opening: o}
}

// TestOddTurn reads back, value by value, what a usual week has not.
func TestOddTurn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.sqlite")
	c := begun(t, path)
	turn := oddTurn()
	if err := c.Turn(turn); err != nil {
		t.Fatal(err)
	}
	c.Read("S1-1", ReadOf{Result: "unproved", At: monday, Logs: 2})
	for _, it := range turn.Trip.All {
		r := Record{Seq: it.Seq, Kind: it.Kind, Station: it.Event.Station, Subject: it.Event.Subject, Turn: turnID, Observed: it.At(),
			Recorded: it.Recorded, Operator: it.Event.Operator, Named: events.BadgesIn(it.Data)}
		if err := c.Record(&r); err != nil {
			t.Fatal(err)
		}
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	for q, want := range map[string]string{
		`SELECT counted_local, medium, against, lines, differing FROM counts ORDER BY seq`: "2026-03-03 00:30:00 paper screen 2 2|" +
			"2026-03-03 01:00:00 <nil> unreadable 1 0",
		`SELECT seq, line, item, listed, counted FROM differing_lines ORDER BY line`:                          "5 1 F-1 4 3|5 2 <nil> <nil> 10",
		`SELECT run, started, result, released, sets, indicator, logs FROM loads ORDER BY started`:            "1 <nil> failed 0 1 unproved 2|1 2026-03-02 06:30:00 passed 1 1 unproved 2",
		`SELECT opened_local, placement, released, room, sheet_read, incident, case_ref, closed FROM turns`:   "2026-03-03 00:00:00 <nil> 1 OR 1 1 1 K-1 <nil>",
		`SELECT seq, in_force, medium FROM records WHERE in_force = 0 OR medium IS NOT NULL ORDER BY seq`:     "5 1 paper|7 0 <nil>",
		`SELECT corrects, action, badge FROM corrections`:                                                     "id-7 void B-1",
		`SELECT role, count(*) FROM badges GROUP BY 1 ORDER BY 1`:                                             "counter 2|recorder 7|witness 1",
		`SELECT room, sets, troubled, closed FROM cases`:                                                      "OR 1 1 1 <nil>",
		`SELECT month, placement, openings, sheets_read, incidents, per_thousand FROM monthly_by_placement`:   "2026-03  1 1 1 1000",
		`SELECT value FROM about WHERE name IN ('ledger', 'records', 'judged') ORDER BY name`:                 "2026-03-02 06:00:00|north/ledger|9",
		`SELECT count(*) FROM about WHERE name = 'caution' AND value LIKE '%no proof that nothing was left%'`: "1",
	} {
		if got := asked(t, path, q); got != want {
			t.Errorf("%s:\n%s\nwanted\n%s", q, got, want)
		}
	}
}

func asked(t *testing.T, path, q string) string {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.QueryContext(t.Context(), q)
	if err != nil {
		t.Fatalf("%v in %s", err, q)
	}
	defer rows.Close()
	columns, _ := rows.Columns()
	var out []string
	for rows.Next() {
		row, at := make([]any, len(columns)), make([]any, len(columns))
		for i := range row {
			at[i] = &row[i]
		}
		if err := rows.Scan(at...); err != nil {
			t.Fatal(err)
		}
		out = append(out, strings.TrimSuffix(fmt.Sprintln(row...), "\n"))
	}
	return strings.Join(out, "|")
}

// TestAgainst: which list a count was made by is told by its code, not by its words.
func TestAgainst(t *testing.T) {
	own := &events.SheetCode{Trip: turnID}
	other := &events.SheetCode{Trip: "019cac51-2508-7911-a726-5cd2e7e61e79"}
	trip := &facts.Trip{Key: projections.TripKey{Set: "LAP-001", Trip: turnID}}
	var got []string
	for _, x := range []struct {
		sheet string
		code  *events.SheetCode
	}{{"CODE", own}, {"CODE", other}, {"CODE", nil}, {events.SheetScreen, nil}, {events.SheetUnreadable, nil}} {
		it := item(1, monday, &events.SetCounted{Sheet: x.sheet}, nil)
		it.Code = x.code
		got = append(got, against(trip, it))
	}
	if want := []string{"own sheet", "another sheet", "unreadable", "screen", "unreadable"}; !slices.Equal(got, want) {
		t.Errorf("got %q, wanted %q", got, want)
	}
}

// TestNotOverAnything: a copy is never begun in a file that has something in it.
func TestNotOverAnything(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(path, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Create(t.Context(), path, About{Zone: time.UTC}); err == nil {
		t.Error("begun over a file")
	}
	empty := filepath.Join(t.TempDir(), "empty.sqlite")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if c := begun(t, empty); c.Close() != nil {
		t.Error("not begun in an empty file")
	}
	if err := os.WriteFile(empty, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Create(t.Context(), empty, About{Zone: time.UTC}); err == nil || !strings.Contains(err.Error(), "something in it") {
		t.Errorf("begun over one byte: %v", err)
	}
	if raw, err := os.ReadFile(path); err != nil || string(raw) != "mine" {
		t.Errorf("the file is now %q, %v", raw, err)
	}
}

// usualTurn is packed twice, sealed twice, run twice, opened late in the evening, and its case is closed twice; a finding of it is
// acknowledged by two.
func usualTurn() Turn {
	at := func(seq int64) time.Time { return monday.Add(time.Duration(seq) * time.Minute) }
	packed := func(seq int64, version int64, exceptions ...events.Exception) *facts.Item {
		return item(seq, at(seq), &events.SetPacked{List: "LAP", Version: version, Exceptions: exceptions},
			func(it *facts.Item) { it.Event.Station, it.Event.Operator = "north/packing-1", fmt.Sprint("B-", seq) })
	}
	sealed := func(seq int64, p events.Placement) *facts.Item {
		return item(seq, at(seq), &events.ListSealed{Placement: p}, nil)
	}
	ran := func(seq int64, load string, released bool) *facts.Item {
		return item(seq, at(seq), &events.SetSterilized{Load: load, Sterilizer: "S1", Run: seq, Cycle: "c",
			Result: "passed", Released: released}, nil)
	}
	closed := func(seq int64, minute int, outcome string) *facts.Item {
		return item(seq, monday.Add(time.Duration(minute)*time.Minute), &events.CaseClosed{Case: "K-1", Outcome: outcome}, nil)
	}
	opened := item(7, monday.Add(7*time.Hour), &events.SetOpened{Case: "K-1", Room: "OR 2"}, nil)
	first, last := closed(8, 500, "unreconciled"), closed(9, 520, "reconciled")
	trip := &facts.Trip{Key: projections.TripKey{Set: "LAP-001", Trip: turnID}, List: &events.ListIssued{List: "LAP", Title: "Laparotomy"},
		CaseRef: "K-1", Packed: []*facts.Item{packed(1, 1), packed(2, 2, events.Exception{Line: 1}, events.Exception{Line: 2})},
		Sealed: []*facts.Item{sealed(3, events.Outside), sealed(4, events.InsideBag)}, Sterilized: []*facts.Item{ran(5, "S1-1", true),
			ran(6, "S1-2", false)}, Opened: []*facts.Item{opened}, Closings: []*facts.Item{first, last},
		Cases: []facts.CaseUse{{Ref: "K-1", Opened: true, Closings: []*facts.Item{last, first}}, {Ref: ""}}}
	trip.All = slices.Concat(trip.Packed, trip.Sealed, trip.Sterilized, trip.Opened, trip.Closings)
	v := &projections.Verdict{Set: "LAP-001", Trip: turnID, Status: projections.Doubtful, Over: true, Since: last.At(), Where: "shelf 1"}
	v.Findings = []projections.Finding{
		{Code: projections.TooHeavy, Way: "way", Severity: projections.SeverityNoted, Says: "says", Next: "next",
			Known: monday, KnownBy: 1},
		{Code: projections.SheetSwapped, Way: "way", Severity: projections.SeverityBroken, Says: "says", Next: "next", Incident: "key",
			From: monday, To: monday.Add(time.Minute), Acknowledged: []projections.Acknowledgement{
				{By: "B-8", Time: monday.Add(2 * time.Minute)}, {By: "B-9", Time: monday.Add(3 * time.Minute)}}},
	}
	return Turn{Verdict: v, Trip: trip}
}

// TestUsualTurn reads back what is said of a turn: of its packings, seals, runs and closings the last, of its openings and
// acknowledgements the first.
func TestUsualTurn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.sqlite")
	c, err := Create(t.Context(), path, About{Ledger: "north/ledger", Made: monday, Judged: monday.Add(50 * time.Hour), Zone: berlin,
		AsKnown: monday.Add(48 * time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	turn := usualTurn()
	never := Turn{Verdict: &projections.Verdict{Set: "LAP-002", Status: projections.Open}, Trip: &facts.Trip{}}
	again := usualTurn() // another set of the case, opened before it
	again.Verdict.Set, again.Verdict.Status, again.Verdict.Findings = "LAP-003", projections.Broken, again.Verdict.Findings[1:]
	again.Verdict.Findings[0].Acknowledged = again.Verdict.Findings[0].Acknowledged[1:]
	again.Opening = &rates.Counted{Opening: rates.Opening{At: monday.Add(6 * time.Hour), Station: "north/or-2"}}
	again.Trip.Sealed, again.Trip.Closings = again.Trip.Sealed[:1], again.Trip.Closings[:1]
	// It failed, as was seen of this set later.
	again.Trip.Sterilized[0].Data.(*events.SetSterilized).Result = "failed"
	again.Trip.Sterilized[0].Event.Time = monday.Add(time.Hour)
	// One record that is laid to both turns is written once.
	both := item(10, monday, &events.EventCorrected{Event: "id-1", Action: "void"}, nil)
	turn.Trip.All, again.Trip.All = append(turn.Trip.All, both), []*facts.Item{both}
	again.Trip.Opened[0].Event.Time, again.Trip.Opened[0].Event.Station = monday.Add(6*time.Hour), "north/or-2"
	again.Trip.Opened[0].Data.(*events.SetOpened).Room = "OR 3"
	for _, x := range []Turn{turn, never, again} {
		if err := c.Turn(x); err != nil {
			t.Fatal(err)
		}
	}
	if got := c.Loads(); !slices.Equal(got, []string{"S1-1", "S1-2"}) {
		t.Errorf("loads %q", got)
	}
	station := &projections.Verdict{Station: "north/or-1", Findings: []projections.Finding{{Code: projections.TooHeavy}}}
	if err := c.Station(station); err != nil {
		t.Fatal(err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	for q, want := range map[string]string{
		`SELECT status, over, list, list_version, list_title, placement, packed, packed_local, packed_at, packer, exceptions, sealed,
			load, sterilized, released FROM turns WHERE set_id = 'LAP-001'`: "doubtful 1 LAP 2 Laparotomy inside-bag 2026-03-02 06:02:00 " +
			"2026-03-02 07:02:00 north/packing-1 B-2 2 2026-03-02 06:04:00 S1-2 2026-03-02 06:06:00 0",
		`SELECT opened, opened_at, room, case_ref, sheet_read, incident, closed, outcome, last_seen, last_seen_local, last_place FROM turns
			WHERE set_id = 'LAP-001'`: "2026-03-02 13:00:00 north/or-1 OR 2 K-1 <nil> <nil> 2026-03-02 14:40:00 reconciled " +
			"2026-03-02 14:40:00 2026-03-02 15:40:00 shelf 1",
		`SELECT status, over, list, placement, packed, packer, exceptions, sealed, load, released, opened, room, case_ref, closed, last_seen
			FROM turns WHERE set_id = 'LAP-002'`: "open 0" + strings.Repeat(" <nil>", 13),
		`SELECT n, code, severity, since, until, acknowledged, acknowledged_by, incident, known, known_by FROM findings
			WHERE set_id = 'LAP-001' ORDER BY n`: "" +
			"0 over-weight noted <nil> <nil> <nil> <nil> <nil> 2026-03-02 06:00:00 1|1 sheet-swapped broken " +
			"2026-03-02 06:00:00 2026-03-02 06:01:00 2026-03-02 06:02:00 B-8 key <nil> <nil>",
		`SELECT acknowledged_by FROM findings WHERE set_id = 'LAP-003'`:                       "B-9",
		`SELECT sheet_read, incident, placement, outcome FROM turns WHERE set_id = 'LAP-003'`: "0 <nil> outside unreconciled",
		`SELECT set_id, corrects FROM corrections`:                                            "LAP-001 id-1",
		`SELECT load, ended FROM loads ORDER BY run`: "" +
			"S1-1 2026-03-02 07:00:00|S1-2 2026-03-02 06:06:00",
		`SELECT station, code, known_by FROM findings WHERE set_id = ''`: "north/or-1 over-weight <nil>",
		`SELECT case_ref, room, station, began, closed, outcome, sets, troubled FROM cases`: "K-1 OR 3 north/or-2 2026-03-02 12:00:00 " +
			"2026-03-02 14:40:00 reconciled 2 2",
		`SELECT load, run, result, released, sets, indicator, logs FROM loads ORDER BY run`: "" +
			"S1-1 5 failed 0 2 <nil> 0|S1-2 6 passed 0 2 <nil> 0",
		`SELECT value FROM about WHERE name IN ('as_known', 'judged', 'zone') ORDER BY name`: "2026-03-04 06:00:00|2026-03-04 08:00:00|CET",
	} {
		if got := asked(t, path, q); got != want {
			t.Errorf("%s:\n%s\nwanted\n%s", q, got, want)
		}
	}
}

// TestDifferingLines: a line of the list differs by its number; one beyond it is told by what was said of it there.
func TestDifferingLines(t *testing.T) {
	trip := &facts.Trip{List: &events.ListIssued{Lines: []events.Line{{Line: 1, Item: "F-1", Description: "Forceps", Quantity: 4},
		{Line: 2, Item: "F-2", Quantity: 2}}}}
	got := differingLines(trip, &events.SetCounted{
		Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 3}, {Line: 3, Counted: 5}},
		Beyond: []events.Beyond{{Line: 3, Item: "S-1", Description: "Sponge"}}})
	want := []lineRow{{2, "F-2", "", int64(2), 3}, {3, "S-1", "Sponge", nil, 5}}
	if !slices.Equal(got, want) {
		t.Errorf("got %+v, wanted %+v", got, want)
	}
}

// TestLoadRead: positive stands before negative, and that before what shows nothing, in whichever order they were read; what was
// taken back is none.
func TestLoadRead(t *testing.T) {
	read := func(result, control string) events.Data {
		return &events.IndicatorRead{Load: "S1-1", Sterilizer: "S1", Result: result, Control: control}
	}
	log := &events.RunLogged{Load: "S1-1", Sterilizer: "S1", Run: 1}
	for i, x := range []struct {
		data []events.Data
		want ReadOf
	}{
		{nil, ReadOf{}},
		{[]events.Data{read("negative", "negative")}, ReadOf{Result: "unproved", At: monday}},
		{[]events.Data{read("negative", "negative"), read("negative", "positive")},
			ReadOf{Result: "negative", At: monday.Add(time.Minute)}},
		{[]events.Data{read("negative", "positive"), read("negative", "negative")}, ReadOf{Result: "negative", At: monday}},
		{[]events.Data{log, read("positive", ""), read("negative", "positive"), log},
			ReadOf{Result: "positive", At: monday.Add(time.Minute), Logs: 2}},
		{[]events.Data{read("negative", ""), read("negative", "")}, ReadOf{Result: "negative", At: monday}},
		{[]events.Data{log, read("negative", ""), &events.EventCorrected{Event: "id-0", Action: "void"},
			&events.EventCorrected{Event: "id-1", Action: "void"}}, ReadOf{}},
	} {
		b := facts.NewBook(nil)
		run := item(99, monday, &events.SetSterilized{Load: "S1-1", Sterilizer: "S1", Run: 1, Cycle: "c", Result: "passed"}, nil)
		b.Add(run.Fact)
		for i, d := range x.data {
			it := item(int64(i), monday.Add(time.Duration(i)*time.Minute), d, nil)
			it.Event.Trip, it.Event.Subject = "", "S1-1"
			b.Add(facts.Fact{Seq: int64(i + 1), Recorded: it.Recorded, Event: it.Event})
		}
		if got := LoadRead(b, "S1-1"); got != x.want {
			t.Errorf("%d: got %+v, wanted %+v", i, got, x.want)
		}
	}
}

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
	o := &rates.Counted{Opening: rates.Opening{TripKey: trip.Key, At: opened.At(), Station: "north/or-1", Read: true}, Incident: 2}
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
		`SELECT opened_local, placement, released, room, sheet_read, incident, case_ref, closed FROM turns`:   "2026-03-03 00:00:00 <nil> 1 OR 1 1 2 K-1 <nil>",
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
	if raw, err := os.ReadFile(path); err != nil || string(raw) != "mine" {
		t.Errorf("the file is now %q, %v", raw, err)
	}
}

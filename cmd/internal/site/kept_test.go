//go:build !race

package site_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// opening and counts of LAP-099, which nobody has packed here yet.
const loaned = `{"station":"north/or-3","kind":"set.opened","time":"2026-03-02T09:00:00Z","set":"LAP-099",` +
	`"data":{"case":"K-9","tag":"LAP-099","sheet":{"found":"outside","code":"106EATAZ"}}}
{"station":"north/or-3","kind":"set.counted","time":"2026-03-02T09:05:00Z","set":"LAP-099",` +
	`"data":{"case":"K-9","stage":"first","sheet":"screen","counter":"B-1","witness":"B-2","counts":[{"line":1,"counted":6}]}}
{"station":"north/or-3","kind":"set.counted","time":"2026-03-02T10:00:00Z","set":"LAP-099",` +
	`"data":{"case":"K-9","stage":"final","sheet":"screen","counter":"B-1","witness":"B-2","counts":[{"line":1,"counted":5}]}}
`

// TestWhatMattersIsKept: a typed code with a wrong character and the counts of a
// set that nobody packed here are recorded and judged as far as they can be; when
// the bench hands in the packing, they are of that trip.
func TestWhatMattersIsKept(t *testing.T) {
	ctx := t.Context()
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	for _, r := range record(t, s, loaned) {
		if r.Error != "" || r.Trip != "" {
			t.Fatalf("%+v", r)
		}
	}
	ways := func(trip string) (out []string) {
		h, err := s.History(ctx, site.Query{Set: "LAP-099"})
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range h.Verdicts {
			for _, f := range v.Findings {
				if v.Trip == trip {
					out = append(out, string(f.Code)+" "+f.Way)
				}
			}
		}
		return out
	}
	found := strings.Join(ways(""), ", ")
	for _, want := range []string{"count-missing no-list", "count-short ", "link-missing steps"} {
		if !strings.Contains(found, want) {
			t.Errorf("before the packing: %s; want %s", found, want)
		}
	}
	late := strings.NewReplacer("LAP-014", "LAP-099").Replace(oneList)
	var trip string
	for _, r := range record(t, s, late) {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
		trip = r.Trip
	}
	if found := ways(""); len(found) > 0 {
		t.Errorf("after the packing, of no trip: %s", found)
	}
	found = strings.Join(ways(trip), ", ")
	if strings.Contains(found, "no-list") || !strings.Contains(found, "count-short") || !strings.Contains(found,
		"sheet-unreadable damaged") {
		t.Errorf("after the packing: %s", found)
	}
	vs, err := s.Broken(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range vs {
		for _, f := range v.Findings {
			if d, ok := f.Detail.(*projections.Unreadable); ok && d.Text != "106EATAZ" {
				t.Errorf("what was typed is not kept: %+v", d)
			}
		}
	}
}

// TestCountBeyondTheList: a count of a named trip may name lines that the list has
// not, under numbers that it has not.
func TestCountBeyondTheList(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	receipts := record(t, s, oneList)
	const count = `{"station":"north/or-3","kind":"set.counted","time":"2026-03-04T09:05:00Z","set":"LAP-014","trip":"TRIP",` +
		`"data":{"case":"K-9","stage":"first","sheet":"screen","counter":"B-1","witness":"B-2",` +
		`"counts":[{"line":1,"counted":6},{"line":2,"counted":1}],"removed":[{"line":2,"quantity":1,"reason":"broken"}],` +
		`"beyond":[{"line":LINE,"description":"Clamp","added":2}]}}` + "\n"
	for line, says := range map[string]string{
		"1": "beyond: list LAP-MAJOR version 3 has a line 1; give the line a number that the list has not", "2": "",
	} {
		text := strings.NewReplacer("TRIP", receipts[1].Trip, "LINE", line).Replace(count)
		if r := record(t, s, text)[0]; !strings.Contains(r.Error, says) || (says == "") != (r.Error == "") {
			t.Errorf("line %s: %+v", line, r)
		}
	}
}

// TestCountByANewerList: a count with a line that the last known packing's list has
// not is kept, since that packing was only looked up: the bench that packed the set by
// a newer list may be offline. Until then the line is one of which none was expected.
// A count that names its trip is held to that trip's list.
func TestCountByANewerList(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	receipts := record(t, s, oneList)
	const count = `{"station":"north/or-3","kind":"set.counted","time":"2026-03-04T09:05:00Z","set":"LAP-014",TRIP` +
		`"data":{"case":"K-9","stage":"STAGE","sheet":"screen","counter":"B-1","witness":"B-2","counts":[` +
		`{"line":1,"counted":6},{"line":2,"counted":3}]}}` + "\n"
	named := strings.NewReplacer("TRIP", `"trip":"`+receipts[1].Trip+`",`, "STAGE", "first").Replace(count)
	if r := record(t, s, named)[0]; !strings.Contains(r.Error, "has no line 2") {
		t.Errorf("a count of a named trip: %+v", r)
	}
	loose := strings.NewReplacer("TRIP", "", "STAGE", "first").Replace(count) +
		strings.NewReplacer("TRIP", "", "STAGE", "final", "T09:05", "T10:05").Replace(count)
	for _, r := range record(t, s, loose) {
		if r.Error != "" || r.Trip != receipts[1].Trip {
			t.Fatalf("a count by a line that the list has not: %+v", r)
		}
	}
	differs := func(trip string) bool {
		h, err := s.History(t.Context(), site.Query{Set: "LAP-014"})
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range h.Verdicts {
			for _, f := range v.Findings {
				if v.Trip == trip && f.Code == projections.CountDiffersAtOpen && slices.Contains(f.Lines, 2) {
					return true
				}
			}
		}
		return false
	}
	if !differs(receipts[1].Trip) {
		t.Error("three pieces on a line that the list has not are not found")
	}
	newer := strings.NewReplacer(`"version":3`, `"version":4`, `"quantity":6}]`,
		`"quantity":6},{"line":2,"item":"SCI-170","description":"Scissors","quantity":3}]`,
		"2026-03-02T05:", "2026-03-03T05:", "2026-03-02T06:", "2026-03-03T06:",
		`"exceptions":[{"line":1,"counted":5,"reason":"missing"}],`, "").Replace(oneList)
	late := record(t, s, newer)
	for _, r := range late {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
	}
	if differs(late[1].Trip) || differs(receipts[1].Trip) {
		t.Error("the count still differs now that its own packing has arrived")
	}
}

// TestCountByADamagedCode: a count whose own sheet's code has a wrong character is
// recorded, as typed and as a station signed it, and is doubtful until the set is
// counted by its own code.
func TestCountByADamagedCode(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	packed := record(t, s, oneList)
	count := func(hour, stage, sheet string) string {
		return `{"station":"north/or-3","kind":"set.counted","time":"2026-03-04T` + hour + `:05:00Z","set":"LAP-014",` +
			`"data":{"case":"K-9","stage":"` + stage + `","sheet":"` + sheet + `","counter":"B-1","witness":"B-2",` +
			`"counts":[{"line":1,"counted":5}]}}` + "\n"
	}
	var code string
	for _, r := range packed {
		if r.SheetCode != "" {
			code = r.SheetCode
		}
	}
	damaged := code[:30] + string("01"[int(code[30]&1)^1]) + code[31:]
	unreadable := func() (out []string) {
		h, err := s.History(t.Context(), site.Query{Set: "LAP-014"})
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range h.Verdicts {
			for _, f := range v.Findings {
				if f.Code == projections.SheetUnreadable || f.Code == projections.CountedOnWrongList {
					out = append(out, string(f.Severity)+" "+string(f.Code)+" "+f.Way)
				}
			}
		}
		return out
	}
	for _, r := range record(t, s, count("09", "first", damaged)+count("10", "final", "unreadable")) {
		if r.Error != "" || r.Trip != packed[1].Trip {
			t.Fatalf("a count by a damaged code: %+v", r)
		}
	}
	if got := unreadable(); !slices.Equal(got, []string{"doubtful sheet-unreadable counted"}) {
		t.Errorf("counted by a damaged code: %v", got)
	}
	own := enrolOwnKey(t, s, "north/or-4")
	at := time.Date(2026, 3, 4, 10, 30, 0, 0, time.UTC)
	signed := own.line(&events.Event{
		ID: events.DerivedID(at, events.Digest{1}), Subject: "LAP-014", Time: at, Data: &events.SetCounted{
			Case: "K-9", Stage: events.StageFinal, Sheet: damaged, Counter: "B-1", Witness: "B-2",
			Counts: []events.Count{{Line: 1, Counted: 5}},
		},
	})
	for _, r := range record(t, s, signed) {
		if r.Error != "" || r.Remark != "" {
			t.Fatalf("a signed count by a damaged code: %+v", r)
		}
	}
	if got := unreadable(); !slices.Equal(got, []string{"doubtful sheet-unreadable counted"}) {
		t.Errorf("counted by a damaged code as a station signed it: %v", got)
	}
	for _, r := range record(t, s, count("11", "final", code)) {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
	}
	if got := unreadable(); !slices.Equal(got, []string{"noted sheet-unreadable counted"}) {
		t.Errorf("counted by its own code since: %v", got)
	}
}

// TestEnteredFromPaper: downtime forms entered in any order do not say that the
// station's clock ran backwards.
func TestEnteredFromPaper(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	lines := strings.SplitAfter(strings.TrimSuffix(oneList, "\n"), "\n")
	record(t, s, lines[0])
	seen := func(hour, medium string) string {
		return `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T` + hour + `:00:00Z","set":"LAP-014",` +
			medium + `"data":{"place":"storage A4"}}` + "\n"
	}
	const paper = `"medium":"paper",`
	for _, r := range record(t, s, seen("11", "")+seen("09", paper)+seen("08", paper)+seen("10", paper)+seen("07", "")) {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
	}
	h, err := s.History(t.Context(), site.Query{Set: "LAP-014"})
	if err != nil {
		t.Fatal(err)
	}
	var backwards []string
	for _, e := range h.Events {
		if len(e.Remarks) > 0 {
			backwards = append(backwards, e.Observed.Format("15"))
		}
	}
	if strings.Join(backwards, " ") != "07" {
		t.Errorf("remarked on at %v, want the scan of 07 only", backwards)
	}
}

package facts_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
	"listbound/projections/facts"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// told is a book with facts that come one by one.
type told struct {
	*facts.Book
	n int64
}

func (b *told) tell(station, subject, operator string, at time.Time, d events.Data) *events.Event {
	b.n++
	e := &events.Event{
		ID: events.DerivedID(at, events.Digest{byte(b.n)}), Station: station, Subject: subject, Time: at, Operator: operator,
		StationSeq: b.n, Data: d,
	}
	if key := events.EntryOf(d); key != "" {
		e.Subject = key
	}
	b.Add(facts.Fact{Seq: b.n, Recorded: at, Event: e})
	return e
}

func (b *told) enter(at time.Time, d events.Data) { b.tell("north/ledger", "north", "", at, d) }

func until(t time.Time) events.Held { return events.Held{Until: t.Format(time.RFC3339)} }

// TestEnteredFromTo: an entry holds from its event's time, or a later one that it names, until the next event about it,
// until a time that it names, or its end; what is entered for later leaves what holds in its place.
func TestEnteredFromTo(t *testing.T) {
	b := &told{Book: facts.NewBook(nil)}
	hour := func(n int) time.Time { return monday.Add(time.Duration(n) * time.Hour) }
	records := []events.Role{events.RoleRecords}
	both := []events.Role{events.RoleRecords, events.RoleLeads}
	b.enter(hour(1), &events.PersonEntered{Badge: "B-1", Roles: records})
	later := events.Held{From: hour(5).Format(time.RFC3339)}
	b.enter(hour(3), &events.PersonEntered{Badge: "B-1", Roles: both, Held: later})
	b.enter(hour(8), &events.PersonEntered{Badge: "B-1", Held: events.Held{Ended: true}})
	b.enter(hour(9), &events.PersonEntered{Badge: "B-1", Roles: records, Held: until(hour(11))})
	b.enter(hour(2), &events.PersonEntered{Badge: "B-2", Roles: records, Held: later})
	for _, x := range []struct {
		badge string
		at    int
		want  facts.EntryState
		roles int
	}{
		{"B-1", 0, facts.EntryUnknown, 0}, {"B-1", 1, facts.EntryHolds, 1}, {"B-1", 4, facts.EntryHolds, 1},
		{"B-1", 5, facts.EntryHolds, 2}, {"B-1", 8, facts.EntryEnded, 0}, {"B-1", 9, facts.EntryHolds, 1},
		{"B-1", 11, facts.EntryEnded, 1}, {"B-2", 4, facts.EntryToCome, 1}, {"B-2", 5, facts.EntryHolds, 1},
		{"B-3", 9, facts.EntryUnknown, 0},
	} {
		got := b.Entered(events.RegisterPeople, x.badge, hour(x.at))
		d, _ := got.Entry.(*events.PersonEntered)
		if got.State != x.want || d == nil && x.roles > 0 || d != nil && len(d.Roles) != x.roles {
			t.Errorf("%s at %d: %s %+v, want %s with %d roles", x.badge, x.at, got.State, d, x.want, x.roles)
		}
	}
}

// TestLacks: what the registers have against an observation, in each way, and nothing before they are held to or once
// they no longer are. What was recorded in an emergency bears its claim, at the station and for the time of a shift.
func TestLacks(t *testing.T) {
	b := &told{Book: facts.NewBook(nil)}
	records := []events.Role{events.RoleRecords}
	b.enter(monday, &events.PersonEntered{Badge: "B-1", Roles: records})
	b.enter(monday, &events.PersonEntered{Badge: "B-2", Roles: []events.Role{events.RoleAudits}})
	b.enter(monday, &events.PersonEntered{Badge: "B-3", Held: events.Held{Ended: true}})
	b.enter(monday, &events.SetEntered{Set: "LAP-014"})
	b.enter(monday, &events.StationEntered{Name: "north/packing-1", Works: []events.Work{events.WorkPacking}})
	b.enter(monday, &events.StationEntered{
		Name: "north/ster-2", Works: []events.Work{events.WorkSterilizer}, Sterilizers: []string{"S2"},
	})
	b.enter(monday, &events.StationEntered{Name: "north/or-3", Works: []events.Work{events.WorkRoom}})
	b.enter(monday, &events.SterilizerEntered{Sterilizer: "S2", Cycles: []string{"c-134"}})
	b.enter(monday, &events.SterilizerEntered{Sterilizer: "S3"})
	b.enter(monday.Add(time.Hour), &events.RegistersAdopted{Registers: events.Registers()})
	b.enter(monday.AddDate(0, 0, 9), &events.RegistersAdopted{Registers: []events.Register{events.RegisterSets}})
	b.tell("north/or-3", "", "", monday.Add(90*time.Minute), &events.AccessClaimed{Badge: "B-9", Reason: "at night"})
	run := func(sterilizer, cycle string) events.Data {
		return &events.SetSterilized{Load: "L", Sterilizer: sterilizer, Run: 1, Cycle: cycle, Result: "passed"}
	}
	count := func(counter, witness string) events.Data {
		return &events.SetCounted{Case: "K-1", Stage: events.StageFirst, Sheet: "screen", Counter: counter, Witness: witness}
	}
	packed := &events.SetPacked{List: "L", Version: 1}
	claimed := " claimed"
	for i, x := range []struct {
		station, set, operator string
		after                  time.Duration
		data                   events.Data
		want                   []string
	}{
		{"north/packing-1", "LAP-014", "B-1", 2 * time.Hour, packed, nil},
		{"north/packing-1", "LAP-099", "B-9", 30 * time.Minute, packed, nil}, // before they are held to
		{"north/packing-1", "LAP-099", "B-1", 2 * time.Hour, packed, []string{"sets LAP-099 unknown"}},
		{"north/packing-1", "LAP-099", "B-9", 10 * 24 * time.Hour, packed, []string{"sets LAP-099 unknown"}},
		{"north/packing-1", "LAP-014", "B-9", 2 * time.Hour, packed, []string{"people B-9 unknown"}},
		{"north/packing-1", "LAP-014", "B-2", 2 * time.Hour, packed, []string{"people B-2 role"}},
		{"north/packing-1", "LAP-014", "B-3", 2 * time.Hour, packed, []string{"people B-3 ended"}},
		{"north/packing-1", "LAP-014", "B-1", 2 * time.Hour, &events.SetPacked{List: "L", Version: 1, SecondLook: "B-8"},
			[]string{"people B-8 unknown"}},
		{"north/or-3", "LAP-014", "B-1", 2 * time.Hour, packed, []string{"stations north/or-3 work"}},
		{"north/or-3", "LAP-014", "", 2 * time.Hour, packed, []string{"stations north/or-3 work"}},
		{"north/or-7", "LAP-014", "B-1", 2 * time.Hour, count("B-1", ""), []string{"stations north/or-7 unknown"}},
		{"north/or-7", "LAP-014", "B-1", 2 * time.Hour, &events.SetChecked{}, nil}, // anybody may look
		{"north/or-3", "LAP-014", "B-1", 2 * time.Hour, count("B-1", "LAP-014"), []string{"people LAP-014 set"}},
		{"north/or-3", "LAP-014", "B-1", 2 * time.Hour, count("B-1", "B-7"), []string{"people B-7 unknown"}},
		{"north/or-3", "LAP-014", "B-9", 2 * time.Hour, count("B-9", "B-1"), []string{"people B-9 unknown" + claimed}},
		{"north/or-3", "LAP-014", "B-9", 2 * time.Hour, packed,
			[]string{"people B-9 unknown" + claimed, "stations north/or-3 work" + claimed}},
		{"north/or-3", "LAP-014", "B-9", 14 * time.Hour, count("B-9", "B-1"), []string{"people B-9 unknown"}},
		{"north/ster-2", "LAP-014", "B-1", 2 * time.Hour, run("S2", "c-134"), nil},
		{"north/ster-2", "LAP-014", "B-1", 2 * time.Hour, run("S2", "nonsense"), []string{"sterilizers S2 cycle"}},
		{"north/ster-2", "LAP-014", "B-1", 2 * time.Hour, run("S3", "any"), []string{"stations north/ster-2 load"}},
		{"north/ster-2", "LAP-014", "B-1", 2 * time.Hour, run("S9", "any"),
			[]string{"stations north/ster-2 load", "sterilizers S9 unknown"}},
		{"north/office", "", "B-2", 2 * time.Hour, &events.ListIssued{List: "L", Version: 1}, nil}, // of no set, and of no workplace
		{"north/office", "LAP-014", "B-1", 2 * time.Hour, &events.FindingAcknowledged{Code: "x"}, []string{"people B-1 role"}},
	} {
		e := &events.Event{Station: x.station, Subject: x.set, Operator: x.operator, Time: monday.Add(x.after), Data: x.data}
		var got []string
		for _, l := range b.Lacks(e) {
			s := fmt.Sprintf("%s %s %s", l.Register, l.ID, l.Way)
			if l.Claim != nil {
				s += claimed
			}
			if l.By == nil {
				s += ", by nothing"
			}
			got = append(got, s)
		}
		if !slices.Equal(got, x.want) {
			t.Errorf("%d: %q, want %q", i, got, x.want)
		}
	}
}

// TestClaimedAtItsStation: a claim of access counts at the station where it was made, for the badge that made it.
func TestClaimedAtItsStation(t *testing.T) {
	b := &told{Book: facts.NewBook(nil)}
	b.tell("north/or-3", "", "B-1", monday, &events.AccessClaimed{Badge: "B-1"})
	for _, x := range []struct {
		badge, station string
		after          time.Duration
		want           bool
	}{
		{"B-1", "north/or-3", 0, true}, {"B-1", "north/or-3", events.AccessHolds, true},
		{"B-1", "north/or-3", events.AccessHolds + 1, false}, {"B-1", "north/or-3", -1, false},
		{"B-1", "north/or-4", 0, false}, {"B-2", "north/or-3", 0, false},
	} {
		if got := b.Claimed(x.badge, x.station, monday.Add(x.after)); (got != nil) != x.want {
			t.Errorf("%s at %s, %s later: %+v", x.badge, x.station, x.after, got)
		}
	}
}

// TestPolicyCorrections: it depends on the corrections of the policy in force, and on none of one that it took the place of.
func TestPolicyCorrections(t *testing.T) {
	b := &told{Book: facts.NewBook(nil)}
	p := events.DefaultPolicy()
	adopt := func(day int) *events.Event {
		return b.tell("north/ledger", "north", "B-1", monday.AddDate(0, 0, day), &events.PolicyAdopted{Policy: p})
	}
	correct := func(e *events.Event, day int) {
		raw, err := json.Marshal(e.Data)
		if err != nil {
			t.Fatal(err)
		}
		b.tell("north/ledger", "north", "B-1", monday.AddDate(0, 0, day), &events.EventCorrected{Event: e.ID, Action: "replace",
			Reason: "typed wrongly", Data: raw})
	}
	first, second := adopt(0), adopt(4)
	correct(first, 1)
	seen := func(day int) *facts.Item {
		return b.FactByID(b.tell("north/or-3", "LAP-014", "B-1", monday.AddDate(0, 0, day), &events.SetChecked{}).ID)
	}
	if got := b.PolicyCorrections(seen(2)); len(got) != 1 || got[0].Event.ID != first.ID {
		t.Errorf("under the first: %+v", got)
	}
	if got := b.PolicyCorrections(seen(5)); len(got) != 0 {
		t.Errorf("under the second: %+v", got)
	}
	undone := adopt(10)
	b.tell("north/ledger", "north", "B-1", monday.AddDate(0, 0, 11), &events.EventCorrected{Event: undone.ID, Action: "void", Reason: "no"})
	correct(second, 6)
	if got := b.PolicyCorrections(seen(12)); len(got) != 2 || got[0].Event.ID != undone.ID || got[1].Event.ID != second.ID {
		t.Errorf("under the second, since the third was taken back: %+v", got)
	}
	if got := b.PolicyCorrections(seen(7)); len(got) != 1 || got[0].Event.ID != second.ID {
		t.Errorf("under the second once corrected: %+v", got)
	}
}

// TestReadBench: the key of a station's day is read back, and nothing else.
func TestReadBench(t *testing.T) {
	station, from, to, ok := facts.ReadBench("north/packing-1 2026-03-02")
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	if !ok || station != "north/packing-1" || !from.Equal(day) || !to.Equal(day.AddDate(0, 0, 1)) {
		t.Errorf("%q from %s to %s, %t", station, from, to, ok)
	}
	for _, bad := range []string{"", "2026-03-02", " 2026-03-02", "north/packing-1", "north/packing-1 ",
		"north/packing-1 2026-03-0", "north/packing-1 2026-02-30"} {
		if _, _, _, ok := facts.ReadBench(bad); ok {
			t.Errorf("%q was read", bad)
		}
	}
}

package projections_test

import (
	"regexp"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

func swapped(set, trip, other, otherTrip string) projections.Verdict {
	return projections.Verdict{Set: set, Trip: trip, Status: projections.Broken, Opened: true, Findings: []projections.Finding{{
		Code: projections.SheetSwapped, Severity: projections.SeverityBroken, Way: "another-set",
		Detail: &projections.AnotherSetsSheet{Set: set}, Other: &projections.TripKey{Set: other, Trip: otherTrip},
	}}}
}

func partsOf(vs ...projections.Verdict) (out []projections.IncidentPart) {
	for i := range vs {
		out = append(out, projections.PartOf(&vs[i]))
	}
	return out
}

// grouped are the incidents of parts before their week is over.
func grouped(parts []projections.IncidentPart) []projections.Incident {
	return projections.Incidents(parts, projections.Calendar{})
}

func short(set, trip, ref string, pieces int64) projections.Verdict {
	return projections.Verdict{Set: set, Trip: trip, Case: ref, Status: projections.Broken, Opened: true, Over: true,
		Findings: []projections.Finding{{Code: projections.CountShort, Severity: projections.SeverityBroken, Way: "unaccounted",
			Detail: &projections.Unaccounted{Set: set, Here: pieces}}}}
}

// TestIncidentsByCause: a ring is one incident whoever of it is read first, and keeps its name when more of it is found; so is
// what one case leaves open. What has another cause stands alone, of the same set too.
func TestIncidentsByCause(t *testing.T) {
	a, b, c := swapped("A", "1", "B", "2"), swapped("B", "2", "C", "3"), swapped("C", "3", "A", "1")
	first := grouped(partsOf(a))
	for _, order := range [][]projections.Verdict{{a, b, c}, {c, a, b}, {b, c, a}} {
		ins := grouped(partsOf(order...))
		if len(ins) != 1 || len(ins[0].Members) != 3 || !ins[0].Is(first[0].Key) || ins[0].Kind != "sheet" || !ins[0].CanAct {
			t.Errorf("a ring is %+v", ins)
		}
	}
	if was := grouped(partsOf(b)); !grouped(partsOf(a, b))[0].Is(was[0].Key) {
		t.Error("what was found first is not found by its name any more")
	}
	d := swapped("D", "4", "E", "5")
	d.Findings = append(d.Findings, short("D", "4", "K-1", 1).Findings...)
	d.Case = "K-1"
	ins := grouped(partsOf(a, d, short("F", "6", "K-1", 2), short("G", "7", "K-2", 1)))
	var kinds []string
	for _, in := range ins {
		kinds = append(kinds, in.Kind)
	}
	slices.Sort(kinds)
	if want := []string{"case", "case", "sheet", "sheet"}; !slices.Equal(kinds, want) {
		t.Errorf("kinds are %q, want %q", kinds, want)
	}
	for _, in := range ins {
		if in.Kind == "case" && in.CanAct != (in.Members[0].Set == "D") { // the turn of D is not over
			t.Errorf("somebody can act on %+v", in)
		}
	}
}

// TestLabelsThatNameEachOther: of two sets whose labels name each other, without a turn, both readings are one incident in a week; a
// third set's is another one.
func TestLabelsThatNameEachOther(t *testing.T) {
	monday := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	read := func(set, other string, at time.Time) projections.Verdict {
		v := swapped(set, set+"-1", other, "")
		v.Findings[0].Code, v.Findings[0].To = projections.LabelSwapped, at
		return v
	}
	for _, tt := range []struct {
		other projections.Verdict
		n     int
	}{
		{read("B", "A", monday.AddDate(0, 0, 6)), 1},
		{read("B", "A", monday.AddDate(0, 0, 7)), 2}, // of another week
		{read("B", "C", monday), 2}, {read("C", "A", monday), 2},
	} {
		ins := grouped(partsOf(read("A", "B", monday), tt.other))
		if len(ins) != tt.n {
			t.Errorf("%s names %s: %d incidents, want %d", tt.other.Set, tt.other.Findings[0].Other.Set, len(ins), tt.n)
		}
	}
	both := read("A", "B", monday)
	both.Findings = append(both.Findings, swapped("A", "A-1", "D", "D-1").Findings...)
	want := []projections.Code{projections.LabelSwapped, projections.SheetSwapped}
	if ins := grouped(partsOf(both, read("B", "A", monday))); len(ins) != 1 || !slices.Equal(ins[0].Codes, want) {
		t.Errorf("codes of one incident: %+v", ins)
	}
}

// TestPlacedOtherwiseIsOneIncident: sheets of one list that go the same way in a week, against the policy, are one thing to ask about.
func TestPlacedOtherwiseIsOneIncident(t *testing.T) {
	monday := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	placed := func(set, list string, at events.Placement, when time.Time) projections.Verdict {
		return projections.Verdict{Set: set, Trip: set, Status: projections.Doubtful, Findings: []projections.Finding{{
			Code: projections.PlacedOtherwise, Severity: projections.SeverityDoubtful, Way: "sealed", From: when, To: when,
			Detail: &projections.PlacedAgainstPolicy{Set: set, List: list, Placement: at}}}}
	}
	ins := grouped(partsOf(placed("A", "LAP", events.Outside, monday), placed("B", "LAP", events.Outside,
		monday.AddDate(0, 0, 6)),
		placed("C", "VAS", events.Outside, monday), placed("D", "LAP", events.InsideBare, monday),
		placed("E", "LAP", events.Outside, monday.AddDate(0, 0, 7))))
	var members []int
	for _, in := range ins {
		members = append(members, len(in.Members))
		if in.Kind != "placed" {
			t.Errorf("%+v", in)
		}
	}
	slices.Sort(members)
	if want := []int{1, 1, 1, 2}; !slices.Equal(members, want) {
		t.Errorf("incidents of %v turns, want %v", members, want)
	}
}

// TestDayTestIsOneIncident: a test that failed, or that nobody did, concerns all loads of that sterilizer's day, and none of another.
func TestDayTestIsOneIncident(t *testing.T) {
	released := func(set, sterilizer, load, day string, failed bool) projections.Verdict {
		run := projections.Run{Load: load, Sterilizer: sterilizer}
		var d projections.Detail = &projections.WithoutDayTest{Set: set, Run: run, Day: day, Lacks: []events.DayTest{events.LeakTest}}
		if failed {
			d = &projections.AfterFailedTest{Set: set, Run: run, Day: day, Test: events.BowieDick}
		}
		f := projections.Finding{Code: projections.NotReleased, Way: d.Way(), Severity: projections.SeverityBroken, Detail: d}
		return projections.Verdict{Set: set, Trip: set, Status: projections.Broken, Findings: []projections.Finding{f}}
	}
	ins := grouped(partsOf(released("A", "S1", "S1-1", "2026-03-02", true), released("B", "S1", "S1-2", "2026-03-02", true),
		released("C", "S1", "S1-3", "2026-03-02", false), released("D", "S2", "S2-1", "2026-03-02", true),
		released("E", "S1", "S1-4", "2026-03-03", true)))
	var members []int
	for _, in := range ins {
		members = append(members, len(in.Members))
	}
	if slices.Sort(members); !slices.Equal(members, []int{1, 1, 3}) {
		t.Errorf("incidents of %v turns", members)
	}
}

// TestIncidentEndsAndBegins: an incident is closed with an outcome, and what is new opens it again; what is said of another
// finding of the turn is of another incident.
func TestIncidentEndsAndBegins(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2026, 3, 4, h, 0, 0, 0, time.UTC) }
	v := short("F", "6", "K-1", 1)
	state := func() projections.IncidentState {
		return grouped(partsOf(v))[0].State
	}
	step := func(h int, s projections.Handled) {
		s.Time, s.Seq = at(h), int64(h)
		v.Handled = append(v.Handled, s)
	}
	if got := state(); got != projections.IncidentOpen {
		t.Errorf("untouched it is %s", got)
	}
	step(1, projections.Handled{Code: projections.SheetSwapped, Step: events.IncidentNoted, Assignee: "B-9"})
	if got := state(); got != projections.IncidentOpen {
		t.Errorf("with a step of another it is %s", got)
	}
	step(1, projections.Handled{Code: projections.CountShort, Step: events.IncidentNoted})
	if got := state(); got != projections.IncidentOpen {
		t.Errorf("noted, and nobody's, it is %s", got)
	}
	step(2, projections.Handled{Code: projections.CountShort, Step: events.IncidentNoted, Assignee: "B-1", Due: at(9)})
	if in := grouped(partsOf(v))[0]; in.State != projections.IncidentTaken || in.Assignee() != "B-1" ||
		!in.DueBy.Equal(at(9)) {
		t.Errorf("taken it is %+v", in)
	}
	step(3, projections.Handled{Code: projections.CountShort, Step: events.IncidentClosed, Outcome: events.OutcomeFound,
		Covers: grouped(partsOf(v))[0].Marks})
	if got := state(); got != projections.IncidentClosed {
		t.Errorf("closed it is %s", got)
	}
	closed := v
	v.Findings = short("F", "6", "K-1", 2).Findings
	if got := state(); got != projections.IncidentReopened {
		t.Errorf("with a second piece missing it is %s", got)
	}
	v = closed
	more := grouped(partsOf(v, short("G", "7", "K-1", 1)))
	if len(more) != 1 || more[0].State != projections.IncidentReopened {
		t.Errorf("with another set of the case it is %+v", more)
	}
	step(4, projections.Handled{Code: projections.CountShort, Step: events.IncidentNoted, Assignee: "B-2"})
	if got := state(); got != projections.IncidentClosed {
		t.Errorf("closed, and somebody named since, it is %s", got)
	}
	step(5, projections.Handled{Code: projections.CountShort, Step: events.IncidentReopened})
	if got := state(); got != projections.IncidentReopened {
		t.Errorf("reopened it is %s", got)
	}
}

// TestIncidentOfOwnCorrection: who corrected what was found does not close the incident of it; that is for another person, or for
// anybody once another person has looked.
func TestIncidentOfOwnCorrection(t *testing.T) {
	v := short("F", "6", "K-1", 1)
	f := &v.Findings[0]
	f.Code, f.Severity = projections.Corrected, projections.SeverityDoubtful
	f.Detail = &projections.RestsOnCorrection{Set: "F", By: "B-9", Elsewhere: true, Hides: []projections.Code{projections.CountShort}}
	closedBy := func(badge string) projections.IncidentState {
		v.Handled = []projections.Handled{{Code: projections.Corrected, Step: events.IncidentClosed, By: badge,
			Outcome: events.OutcomeFound, Covers: grouped(partsOf(v))[0].Marks, Time: time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC), Seq: 9}}
		return grouped(partsOf(v))[0].State
	}
	if got := closedBy("b-9"); got != projections.IncidentOpen {
		t.Errorf("closed by who corrected it is %s", got)
	}
	if got := closedBy("B-1"); got != projections.IncidentClosed {
		t.Errorf("closed by another it is %s", got)
	}
	f.Acknowledged = []projections.Acknowledgement{{By: "B-2"}}
	if got := closedBy("B-9"); got != projections.IncidentClosed {
		t.Errorf("closed once another had looked it is %s", got)
	}
}

// TestIncidentNamedByFirstPacked: a ring is named by its turn that was packed first, whatever its sets are called.
func TestIncidentNamedByFirstPacked(t *testing.T) {
	want := grouped(partsOf(swapped("B", "1", "C", "3")))[0].Key
	for _, v := range []projections.Verdict{swapped("B", "1", "A", "2"), swapped("A", "2", "B", "1"), swapped("C", "2", "B", "1")} {
		if ins := grouped(partsOf(v)); ins[0].Key != want {
			t.Errorf("%s: the key is %s, want %s", v.Set, ins[0].Key, want)
		}
	}
}

// TestIncidentRank: an incident of all that a verdict tells stands where the verdict does.
func TestIncidentRank(t *testing.T) {
	for _, opened := range []bool{false, true} {
		v := swapped("A", "1", "B", "2")
		v.Opened = opened
		doubt := v.Findings[0]
		doubt.Severity = projections.SeverityDoubtful
		v.Findings = append(v.Findings, v.Findings[0], doubt)
		if ins := grouped(partsOf(v)); len(ins) != 1 || ins[0].Rank != projections.Rank(&v) {
			t.Errorf("opened %t: %+v, the verdict stands at %d", opened, ins, projections.Rank(&v))
		}
	}
}

// TestSoonest: of what is alike, what a case waits for soonest stands first, by its sets that nobody has opened; what can still be
// done otherwise stays above it.
func TestSoonest(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2026, 3, 4, h, 0, 0, 0, time.UTC) }
	closed := func(set string) projections.Verdict {
		v := swapped(set, set, "", "")
		v.Opened, v.Findings[0].Other = false, nil
		return v
	}
	back := short("A", "A", "K-1", 1)
	back.Findings[0].Code = projections.CameBackShort
	opened := closed("B")
	opened.Opened = true
	ins := projections.Incidents(partsOf(back, opened, closed("C"), closed("D"), closed("E")), projections.Calendar{})
	order := func(starts map[string]time.Time) (sets string) {
		projections.Soonest(ins, starts)
		for _, in := range ins {
			sets += in.Members[0].Set
		}
		return sets
	}
	for want, starts := range map[string]map[string]time.Time{
		"ACDEB": nil,
		"AECDB": {"E": at(8), "A": at(7), "B": at(7)},
		"ADECB": {"E": at(8), "D": at(7)},
	} {
		if got := order(starts); got != want {
			t.Errorf("with %v: %s, want %s", starts, got, want)
		}
	}
}

// TestIncidentMembersWorstFirst: whichever of a ring's sets is told first, the one that somebody can still act on leads.
func TestIncidentMembersWorstFirst(t *testing.T) {
	over, closed := swapped("A", "1", "B", "2"), swapped("B", "2", "A", "1")
	over.Over, closed.Opened = true, false
	for _, vs := range [][]projections.Verdict{{over, closed}, {closed, over}} {
		if ins := projections.Incidents(partsOf(vs...), projections.Calendar{}); len(ins) != 1 || ins[0].Members[0].Set != "B" {
			t.Errorf("%+v", ins)
		}
	}
}

// found is a broken verdict of a set's only turn with one finding.
func found(set string, code projections.Code, d projections.Detail) projections.Verdict {
	return projections.Verdict{Set: set, Trip: set + "-1", Status: projections.Broken, Findings: []projections.Finding{{
		Code: code, Severity: projections.SeverityBroken, Way: d.Way(), Detail: d}}}
}

// TestTiedByWhatIsNamed: turns are one incident by what their findings name: a load that was read positive, also as another's repeat;
// the version of a list; the station. Where nothing is named each stands alone.
func TestTiedByWhatIsNamed(t *testing.T) {
	recalled := func(set, positive, other string) projections.Verdict {
		return found(set, projections.LoadRecalled, &projections.Recalled{Set: set, Positive: positive, Other: other})
	}
	old := func(set, list string, version int64) projections.Verdict {
		by := projections.ListVersion{List: list, Version: version}
		return found(set, projections.ListSuperseded, &projections.OldVersion{Set: set, By: by})
	}
	silent := func(set, station string) projections.Verdict {
		v := found(set, projections.StationSilent, &projections.Silent{})
		v.Station = station
		return v
	}
	for _, tt := range []struct {
		name string
		a, b projections.Verdict
		one  bool
	}{
		{"a load", recalled("A", "L1", ""), recalled("B", "L1", ""), true},
		{"another load", recalled("A", "L1", ""), recalled("B", "L2", ""), false},
		{"a load that repeats the other", recalled("A", "L1", "L2"), recalled("B", "L2", ""), true},
		{"no load", recalled("A", "", ""), recalled("B", "", ""), false},
		{"a version", old("A", "LAP", 1), old("B", "LAP", 1), true},
		{"another version", old("A", "LAP", 1), old("B", "LAP", 2), false},
		{"a version that nobody issued", found("A", projections.ListSuperseded,
			&projections.ListUnknown{By: projections.ListVersion{List: "LAP", Version: 9}}), old("B", "LAP", 9), true},
		{"no list", old("A", "", 0), old("B", "", 0), false},
		{"a station", silent("", "north/or-1"), silent("", "north/or-1"), true},
		{"another station", silent("", "north/or-1"), silent("", "north/or-2"), false},
		{"no station", silent("A", ""), silent("B", ""), false},
	} {
		ins := grouped(partsOf(tt.a, tt.b))
		if (len(ins) == 1) != tt.one {
			t.Errorf("%s: %d incidents", tt.name, len(ins))
		}
		if len(ins) == 2 && ins[0].Key == ins[1].Key {
			t.Errorf("%s: both are called %s", tt.name, ins[0].Key)
		}
		for i := range ins {
			if !shortName.MatchString(ins[i].Key) || !ins[i].Is(ins[i].Key) || ins[i].Is("") {
				t.Errorf("%s: called %q", tt.name, ins[i].Key)
			}
			if ins[i].Last() != nil {
				t.Errorf("%s: somebody has done %+v", tt.name, ins[i].Last())
			}
		}
	}
}

// shortName are ten of the letters and figures of Crockford's Base32.
var shortName = regexp.MustCompile(`^[0-9A-HJKMNP-TV-Z]{10}$`)

// TestCauseOfWhatNobodyRead names the opening at which nobody read.
func TestCauseOfWhatNobodyRead(t *testing.T) {
	at := projections.Moment{Seq: 17, Place: projections.Place{Name: "north/or-3"}}
	v := found("A", projections.LinkMissing, &projections.OpenedUnread{At: at})
	w := found("A", projections.ListSuperseded, &projections.OldVersion{})
	if cs := projections.CausesOf(&v); len(cs) != 1 || cs[0].Opening != 17 {
		t.Errorf("%+v", cs)
	}
	if cs := projections.CausesOf(&w); len(cs) != 1 || cs[0].Opening != 0 {
		t.Errorf("%+v", cs)
	}
}

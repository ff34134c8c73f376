package events

import (
	"reflect"
	"slices"
	"testing"
	"time"
)

// TestDefaults: what holds in each line that a policy leaves out, and that what it says in a line stands.
func TestDefaults(t *testing.T) {
	t.Parallel()
	waits := Waits{Run: 72, Release: 72, Indicator: 99999, Seen: 99999, Count: 12, Close: 12, Loan: 72, Station: 99999}
	want := Policy{TagAtOpening: Required, IndicatorAtOpening: Optional, ImplantIndicator: Required,
		Quarantine: Required, SoundPackage: Required,
		SheetScan: Required, ReadingMinutes: 30, Waits: waits, BadgeMinutes: 20}
	if got := (Policy{}).Complete(); !reflect.DeepEqual(got, want) {
		t.Errorf("the defaults are %+v", got)
	}
	said := Policy{TagAtOpening: Optional, IndicatorAtOpening: Required, ImplantIndicator: Optional,
		Quarantine:   Optional,
		SoundPackage: Optional, SheetScan: Optional, ReadingMinutes: 1, Waits: Waits{1, 2, 3, 4, 5, 6, 7, 8},
		BadgeMinutes: 2, ShelfLifeDays: 3}
	if got := said.Complete(); !reflect.DeepEqual(got, said) {
		t.Errorf("what a policy says became %+v", got)
	}
	for _, p := range []*Policy{{}, &said} {
		empty := p != &said
		for i, asks := range []func() bool{
			p.AsksTag, p.AsksImplantIndicator, p.AsksQuarantine, p.AsksSoundPackage, p.AsksSheetScan,
			func() bool { return !p.AsksIndicator() },
		} {
			if asks() != empty {
				t.Errorf("line %d of %+v asks: %v", i, p, !empty)
			}
		}
	}
	if got := (&Policy{}).MayStillRead(); got != 30*time.Minute {
		t.Errorf("a sheet may be read for %s", got)
	}
	if got := (&Policy{}).BadgeHolds(); got != 20*time.Minute {
		t.Errorf("a badge holds for %s", got)
	}
	for minutes, limited := range map[int64]bool{0: false, 1: true} {
		if d, ok := (&Policy{MendMinutes: minutes}).MayMend(); ok != limited || d != time.Duration(minutes)*time.Minute {
			t.Errorf("%d minutes to mend: %s, %v", minutes, d, ok)
		}
	}
	for hours, ever := range map[int64]bool{1: true, 99998: true, 99999: false} {
		if at, ok := Overdue(testTime, hours); ok != ever || !at.Equal(testTime.Add(time.Duration(hours)*time.Hour)) {
			t.Errorf("%d hours: %s, %v", hours, at, ok)
		}
	}
}

func TestCaseFits(t *testing.T) {
	t.Parallel()
	seal, k, m := CodePattern{ScanSeal, "9999"}, CodePattern{ScanCase, "K-9"}, CodePattern{ScanCase, "M-9"}
	for _, tt := range []struct {
		codes []CodePattern
		ref   string
		want  bool
	}{
		{nil, "x", true}, {[]CodePattern{seal}, "x", true}, {[]CodePattern{seal, k}, "x", false},
		{[]CodePattern{seal, k}, "1234", false},
		{[]CodePattern{k, seal, m}, "K-1", true}, {[]CodePattern{k, seal, m}, "M-1", true}, {[]CodePattern{k, seal},
			"M-1", false},
	} {
		if got := (&Policy{Codes: tt.codes}).CaseFits(tt.ref); got != tt.want {
			t.Errorf("%s fits %v: %v", tt.ref, tt.codes, got)
		}
	}
}

// TestMomentsSaid: the moments that data says, zero where it says none, and what follows from them.
func TestMomentsSaid(t *testing.T) {
	t.Parallel()
	const s = "2026-03-02T06:11:00Z"
	for i, at := range []func(string) time.Time{
		func(s string) time.Time { return (&IndicatorRead{Started: s}).StartedAt() },
		func(s string) time.Time { return (&SetSterilized{Started: s}).StartedAt() },
		func(s string) time.Time { return (&RunLogged{Started: s}).StartedAt() },
		func(s string) time.Time { return (&CaseScheduled{Start: s}).StartsAt() },
		func(s string) time.Time { return (&CaseScheduled{Said: s}).SaidAt() },
		func(s string) time.Time { return (&SetReturned{Due: s}).DueAt() },
		func(s string) time.Time { return (&StationRetired{AsOf: s}).Moment() },
		func(s string) time.Time { from, _ := Held{From: s}.Span(); return from },
		func(s string) time.Time { _, until := Held{Until: s}.Span(); return until },
	} {
		if !at(s).Equal(testTime) || !at("").IsZero() || !at("2026").IsZero() {
			t.Errorf("moment %d: %s, without one %s", i, at(s), at(""))
		}
	}
	for _, tt := range []struct {
		asOf string
		want time.Time
	}{{"", testTime}, {"2026-03-02T06:10:59Z", testTime.Add(-time.Second)}, {s, testTime}, {"2026-03-02T06:11:01Z",
		testTime}} {
		if got := (&StationRetired{AsOf: tt.asOf}).EndsAt(testTime); !got.Equal(tt.want) {
			t.Errorf("a key as of %q ends at %s", tt.asOf, got)
		}
	}
}

// TestIndicatorShowsNothing: a negative result that came too soon, or without a control that grew.
func TestIndicatorShowsNothing(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		result    string
		incubated int64
		after     time.Duration // from the start to the reading
		started   time.Time
		want      bool
	}{
		{"negative", 0, 3 * time.Minute, testTime, false},
		{"negative", 0, 3*time.Minute - 1, testTime, true},
		{"negative", 60, 63 * time.Minute, testTime, false},
		{"negative", 60, 63*time.Minute - 1, testTime, true},
		{"positive", 60, 0, testTime, false},
		{"negative", 60, 0, time.Time{}, false},
	} {
		d := &IndicatorRead{Result: tt.result, IncubatedMinutes: tt.incubated}
		if got := d.TooSoon(testTime.Add(tt.after), tt.started); got != tt.want {
			t.Errorf("%+v: too soon is %v", tt, got)
		}
	}
	if (&IndicatorRead{Result: "negative"}).TooSoon(time.Time{}.Add(time.Minute), time.Time{}) {
		t.Error("where nobody knows when the cycle was started, a result is too soon")
	}
	for _, d := range []IndicatorRead{{Result: "negative", Control: "negative"}, {Result: "negative",
		Control: "positive"},
		{Result: "negative"}, {Result: "positive", Control: "negative"}} {
		if got := d.Unproved(); got != (d == IndicatorRead{Result: "negative", Control: "negative"}) {
			t.Errorf("%+v shows nothing: %v", d, got)
		}
	}
}

func TestFiguresSaid(t *testing.T) {
	t.Parallel()
	f := RunFigures{HoldMillis: 179999, DryingMillis: 60999, MinMilliC: 134500, MaxMilliC: 136250,
		Faults: make([]RunFault, 2), More: 3}
	if f.Held() != 179*time.Second || f.Dried() != 60*time.Second || f.Min() != 134.5 || f.Max() != 136.25 || f.Named() != 5 {
		t.Errorf("held %s, dried %s, from %f to %f, %d faults", f.Held(), f.Dried(), f.Min(), f.Max(), f.Named())
	}
	for _, tt := range []struct {
		f              RunFigures
		steam, dryness bool
	}{{RunFigures{}, false, false}, {RunFigures{MinPascal: 1}, true, true}, {RunFigures{DryingMillis: 1}, false,
		true}} {
		if tt.f.Steam() != tt.steam || tt.f.Dryness() != tt.dryness {
			t.Errorf("%+v: steam %v, dryness %v", tt.f, tt.f.Steam(), tt.f.Dryness())
		}
	}
	for _, tt := range []struct{ size, had, first int64 }{{0, 1, 1}, {4, 5, 5}, {5, 5, 0}, {6, 5, 0}} {
		if got := (&RecordsLost{Size: tt.size, Had: tt.had}).First(); got != tt.first {
			t.Errorf("of %d there are %d, and the first missing is %d", tt.had, tt.size, got)
		}
	}
	l := Line{Line: 1, Item: "I", Description: "d", Quantity: 2, Parts: 3}
	for i, change := range []func(*Line){
		func(l *Line) { l.Line++ }, func(l *Line) { l.Item = "J" }, func(l *Line) { l.Description = "e" },
		func(l *Line) { l.Quantity++ }, func(l *Line) { l.Parts++ },
	} {
		o := l
		o.Mark = "red"
		if !l.SameToCount(&o) {
			t.Error("a mark makes another line to count")
		}
		if change(&o); l.SameToCount(&o) {
			t.Errorf("change %d makes no other line to count", i)
		}
	}
}

// TestAbout: what the ledger links a record by.
func TestAbout(t *testing.T) {
	t.Parallel()
	event := func(d Data) *Event { return testEvent(d, "north/or-3", 1, "", testTime) }
	for _, tt := range []struct {
		e    *Event
		want []string
	}{
		{event(&SetOpened{Case: "K-1", Tag: "LAP-015"}), []string{"case K-1", "set LAP-014", "set LAP-015"}},
		{event(&SetOpened{Case: "K-1", Tag: "LAP-014"}), []string{"case K-1", "set LAP-014"}},
		{event(&SetChecked{Tag: "T"}), []string{"set LAP-014", "set T"}},
		{event(&SetSterilized{Load: "L-1", Sterilizer: "S"}), []string{"load L-1", "set LAP-014"}},
		{event(&SetPacked{List: "L"}), []string{"set LAP-014"}},
		{event(&CaseClosed{Case: "K-1"}), []string{"case K-1"}},
		{event(&IndicatorRead{Load: "L-1"}), []string{"load L-1"}},
		{event(&ListIssued{List: "LAP"}), []string{"list LAP"}},
		{event(&StationEnrolled{Station: "north/or-4"}), []string{"station north/or-4"}},
		{event(&StationRetired{Station: "north/or-4"}), []string{"station north/or-4"}},
		{event(&PolicyAdopted{}), []string{"site north"}},
		{event(&RecordsLost{}), []string{"site north"}},
		{event(&KeyReplaced{}), []string{"site north"}},
		{event(&RegistersAdopted{}), []string{"site north"}},
		{event(&PlacementsAssessed{}), []string{"site north"}},
		{event(&TextsRedacted{}), []string{"site north"}},
		{event(&HoldPlaced{}), []string{"site north"}},
		{event(&HoldLifted{}), []string{"site north"}},
		{event(&RetentionAdopted{}), []string{"site north"}},
		{event(&RecordsMapped{}), nil},
		{event(&PersonEntered{Badge: "B"}), []string{"entry people/B"}},
		{event(&AccessClaimed{Badge: "B"}), []string{"entry people/B"}},
	} {
		if got := About(tt.e, nil); !slices.Equal(got, tt.want) {
			t.Errorf("%s %+v is about %q, want %q", tt.e.Kind(), tt.e.Data, got, tt.want)
		}
	}
}

// TestEntriesOf: which entries of registers an event is held to.
func TestEntriesOf(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		d    Data
		want []string
	}{
		{&SetPacked{SecondLook: "B-2"}, []string{"people/B-1182", "people/B-2", "sets/LAP-014", "stations/north/or-3"}},
		{&SetSterilized{Loader: "B-2", Sterilizer: "S"}, []string{"people/B-1182", "people/B-2",
			"stations/north/or-3", "sterilizers/S"}},
		{&SetCounted{Counter: "B-3", Witness: "B-2"}, []string{"people/B-1182", "people/B-2", "people/B-3",
			"stations/north/or-3"}},
		{&SetCounted{Counter: "B-1182"}, []string{"people/B-1182", "stations/north/or-3"}},
		{&CaseClosed{Witness: "B-2"}, []string{"people/B-1182", "people/B-2", "stations/north/or-3"}},
		{&IndicatorRead{Load: "L", Sterilizer: "S"}, []string{"people/B-1182", "stations/north/or-3", "sterilizers/S"}},
		{&SetChecked{}, []string{"people/B-1182", "stations/north/or-3"}},
		{&ListIssued{List: "L"}, nil},
		{&AccessClaimed{Badge: "B"}, nil},
	} {
		if got := EntriesOf(testEvent(tt.d, "north/or-3", 1, "", testTime)); !slices.Equal(got, tt.want) {
			t.Errorf("%s is held to %q, want %q", tt.d.Kind(), got, tt.want)
		}
	}
	if got := People("", &SetCounted{}); len(got) != 0 {
		t.Errorf("nobody is %q", got)
	}
	if r, id := SplitEntryKey("stations/north/or-3"); r != RegisterStations || id != "north/or-3" {
		t.Errorf("an entry is taken apart into %s and %s", r, id)
	}
	for k, want := range map[Kind]Role{KindSetPacked: RoleRecords, KindListIssued: RoleLeads,
		KindEventCorrected: RoleRecords, "x": RoleRecords} {
		if got := RoleFor(k); got != want {
			t.Errorf("%s is recorded by who %s", k, got)
		}
	}
}

// TestListsAreCopies: who changes a list that was asked for changes none of the program's.
func TestListsAreCopies(t *testing.T) {
	t.Parallel()
	copied(t, Registers, 5)
	copied(t, Roles, 5)
	copied(t, Works, 4)
	copied(t, PackageFaults, 6)
	copied(t, ReturnSteps, 4)
	copied(t, ReturnFaults, 3)
	copied(t, Becames, 5)
	copied(t, Sorts, 3)
}

func copied[T ~string](t *testing.T, list func() []T, n int) {
	t.Helper()
	got := list()
	if len(got) != n {
		t.Errorf("%q are not %d", got, n)
	}
	got[0] = "changed"
	if list()[0] == "changed" {
		t.Errorf("%T can be changed from outside", got)
	}
}

func TestCutSheetCode(t *testing.T) {
	t.Parallel()
	code := testCode(t).String()
	for text, want := range map[string]bool{
		code[:7]: true, code[:6]: false, "P" + code[1:7]: true, "2" + code[1:7]: false, code[:7] + "!": false,
		"": false,
	} {
		if got := CutSheetCode(text); got != want {
			t.Errorf("%s begins a sheet code: %v", text, got)
		}
	}
}

// TestDateIsMidnight: what a label says of a day is its beginning.
func TestDateIsMidnight(t *testing.T) {
	t.Parallel()
	want := time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC)
	for _, value := range []string{"260331", "260300"} {
		if got, err := (Element{AI: "17", Value: value}).Date(testTime); err != nil || !got.Equal(want) {
			t.Errorf("%s is %s, %v", value, got, err)
		}
	}
}

// TestRetiredBeforeItsFirstKey: as of a moment before its only key was enrolled, nothing that it signed counts.
func TestRetiredBeforeItsFirstKey(t *testing.T) {
	t.Parallel()
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 5)
	c.good(c.ledger, &StationRetired{Station: k.name, Reason: "lost", AsOf: testTime.Format(time.RFC3339)}, 9)
	if at := c.audit.stations[k.name].Keys[0].Ended; !at.Equal(testTime) {
		t.Errorf("its key ended at %s", at)
	}
}

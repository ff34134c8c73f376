package events

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// TestEveryMemberIsChecked puts what can't have been observed into each member
// of data of each kind. A member that is not looked at is named.
func TestEveryMemberIsChecked(t *testing.T) {
	for _, d := range wholeData() {
		if err := d.Check(); err != nil {
			t.Fatalf("%s: %v", d.Kind(), err)
		}
		members := 0
		forEachMember(reflect.ValueOf(d).Elem(), string(d.Kind()), func(name string, v reflect.Value) {
			members++
			_, sheet, _ := strings.Cut(name, ".Sheet.")
			typed := strings.HasSuffix(name, ".Paper.Typed") // excludes pages, which the example has
			if v.IsZero() && sheet != "Unreadable" && sheet != "Text" && !typed {
				t.Errorf("%s is not in the example", name)
			}
			old := reflect.ValueOf(v.Interface())
			defer v.Set(old)
			switch v.Kind() {
			case reflect.String:
				v.SetString("\xff")
			case reflect.Int64:
				v.SetInt(-1)
				if below := belowZero[name]; below {
					v.SetInt(-1 << 40)
				}
			case reflect.Bool: // either is right
				return
			default:
				v.SetZero()
			}
			if d.Check() == nil {
				t.Errorf("%s may be %q", name, v.Interface())
			}
		})
		if members == 0 {
			t.Errorf("%s has no members", d.Kind())
		}
		if err := d.Check(); err != nil {
			t.Fatalf("%s was not put back: %v", d.Kind(), err)
		}
	}
}

// belowZero are members that -1 is nothing wrong with: thousandths of a degree or kelvin, and a clock that is behind.
var belowZero = map[string]bool{"run.logged.Read.ClockAheadSeconds": true, "run.logged.Figures.MinMilliC": true,
	"run.logged.Figures.SteamLowMilliK": true, "run.logged.Figures.Faults.MilliC": true}

// forEachMember calls a function for every member that holds one value.
func forEachMember(v reflect.Value, name string, do func(string, reflect.Value)) {
	switch {
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			forEachMember(v.Field(i), name+"."+v.Type().Field(i).Name, do)
		}
	case v.Kind() == reflect.Pointer:
		forEachMember(v.Elem(), name, do)
	case v.Kind() == reflect.Slice && v.Type() != reflect.TypeFor[jsontext.Value]():
		for i := range v.Len() {
			forEachMember(v.Index(i), name, do)
		}
	default:
		do(name, v)
	}
}

// TestCheckBounds: the last that is accepted, and the first that is not.
func TestCheckBounds(t *testing.T) {
	line := Line{Line: 9999, Item: strings.Repeat("ä", maxID), Description: strings.Repeat("ä", maxText), Quantity: 9999}
	lines := make([]Line, MaxLines)
	for i := range lines {
		lines[i] = Line{Line: int64(i + 1), Item: "A", Description: "a"}
	}
	text := func(s string) Data { return &StationRetired{Station: "north/or-3", Reason: s} }
	station := func(s string) Data { return &StationRetired{Station: s, Reason: "lost"} }
	forty := strings.Repeat("a", 40)
	for _, tt := range []struct {
		good, bad Data
	}{
		{&ListIssued{List: "L", Version: 9999, Title: "t", Lines: []Line{line}},
			&ListIssued{List: "L", Version: 10000, Title: "t", Lines: []Line{line}}},
		{&ListIssued{List: "L", Version: 1, Title: "t", Lines: lines},
			&ListIssued{List: "L", Version: 1, Title: "t", Lines: append(lines[:MaxLines:MaxLines], line)}},
		{&SetPacked{List: "L", Version: 1, WeightGrams: maxGrams},
			&SetPacked{List: "L", Version: 1, WeightGrams: maxGrams + 1}},
		{&SetPacked{List: "L", Version: 1, Exceptions: []Exception{{9999, 9999, "x"}, {1, 0, "x"}}},
			&SetPacked{List: "L", Version: 1, Exceptions: []Exception{{10000, 9999, "x"}}}},
		{&ListSealed{Placement: Screen, Version: 9999}, &ListSealed{Placement: Screen, Version: 10000}},
		{&ListSealed{Placement: Screen, Version: 0}, &ListSealed{Placement: Screen, Version: -1}},
		{&SetSterilized{Load: "L", Sterilizer: "S", Run: 9999999, Cycle: "c", Result: "failed"},
			&SetSterilized{Load: "L", Sterilizer: "S", Run: 10000000, Cycle: "c", Result: "failed"}},
		{&SetSterilized{Load: "L", Sterilizer: "S", Run: 1, Cycle: "c", Result: "failed"},
			&SetSterilized{Load: "L", Sterilizer: "S", Run: 0, Cycle: "c", Result: "failed"}},
		{&SetCounted{Case: "K", Stage: StageRelief, Sheet: SheetScreen, Counter: "B", Counts: []Count{{9999, 9999}, {1, 0}}},
			&SetCounted{Case: "K", Stage: StageRelief, Sheet: SheetScreen, Counter: "B", Counts: []Count{{0, 0}}}},
		// What was typed in off a form has no pages that were read.
		{&SetCounted{Case: "K", Stage: StageFirst, Sheet: SheetUnreadable, Counter: "B", Counts: []Count{{1, 1}},
			Paper: &FromPaper{Typed: true, CheckedBy: "B-2"}},
			&SetCounted{Case: "K", Stage: StageFirst, Sheet: SheetUnreadable, Counter: "B", Counts: []Count{{1, 1}},
				Paper: &FromPaper{Typed: true, Pages: []PaperPage{{Page: 1, Of: 1, Picture: strings.Repeat("ab", 32)}}}}},
		{&SetCounted{Case: "K", Stage: StageFirst, Sheet: SheetUnreadable, Counter: "B", Counts: []Count{{1, 1}},
			Paper: &FromPaper{Typed: true}},
			&SetCounted{Case: "K", Stage: StageFirst, Sheet: SheetUnreadable, Counter: "B", Counts: []Count{{1, 1}},
				Paper: &FromPaper{CheckedBy: "B-2"}}},
		// A line may leave the field twice, for two reasons.
		{&SetCounted{Case: "K", Stage: StageFirst, Sheet: SheetScreen, Counter: "B", Counts: []Count{{1, 10}}, Goods: "GOODS",
			Beyond: []Beyond{{Line: 1, Description: "Gauze", Sort: Sponges}}},
			&SetCounted{Case: "K", Stage: StageFirst, Sheet: SheetScreen, Counter: "B", Counts: []Count{{1, 10}, {2, 5}}, Goods: "GOODS",
				Beyond: []Beyond{{Line: 1, Description: "Gauze", Sort: Sponges}}}},
		{&SetCounted{Case: "K", Stage: StageAdded, Sheet: SheetScreen, Counter: "B", Counts: []Count{{9999, 1}},
			Beyond: []Beyond{{Line: 9999, Description: "Clamp"}}},
			&SetCounted{Case: "K", Stage: StageAdded, Sheet: SheetScreen, Counter: "B", Counts: []Count{{9999, 1}},
				Beyond: []Beyond{{Line: 9999, Description: "Clamp", Added: 1}}}},
		{&SetCounted{Case: "K", Stage: StageFinal, Sheet: SheetScreen, Counter: "B", Counts: []Count{{61, 9999}},
			Beyond: []Beyond{{Line: 61, Description: "Clamp", Added: 9999}}},
			&SetCounted{Case: "K", Stage: StageFinal, Sheet: SheetScreen, Counter: "B", Counts: []Count{{61, 9999}},
				Beyond: []Beyond{{Line: 61, Description: "Clamp", Added: 10000}}}},
		{&SetCounted{Case: "K", Stage: StageFinal, Sheet: SheetScreen, Counter: "B",
			Removed: []Removed{{Line: 1, Quantity: 1, Reason: "specimen"}, {Line: 1, Quantity: 9999, Reason: "implant"}}},
			&SetCounted{Case: "K", Stage: StageFinal, Sheet: SheetScreen, Counter: "B",
				Removed: []Removed{{Line: 1, Quantity: 10000, Reason: "implant"}}}},
		{&EventCorrected{Event: testTrip(0), Action: "void", Reason: "x"},
			&EventCorrected{Event: testTrip(0), Action: "void", Reason: "x", Data: jsontext.Value("1")}},
		{text("a\u2027\u202fb\u2065\u206a"), text("\u2028")},
		{text("a\u00a0b"), text("\u202e")},
		{text("a"), text("\u2066")},
		{text("a"), text("\u2069")},
		{text("a"), text("\x7f")},
		{station(forty + "/" + forty), station(forty + "/" + forty + "a")},
		{station("a/0"), station(forty + "a/a")},
		{station("a-/a-"), station("-a/a")},
		{station("az09/z"), station("a/-a")},
		{station("a/a"), station("/a")},
		{station("a/a"), station("a/")},
		{station("a/a"), station("a")},
		{station("a/a"), station("a/a{")},
		{station("a/a"), station("a/`")},
		{station("a/a"), station("a/:")},
	} {
		if err := tt.good.Check(); err != nil {
			t.Errorf("%+v: %v", tt.good, err)
		}
		if err := tt.bad.Check(); err == nil {
			t.Errorf("%+v is accepted", tt.bad)
		}
	}
}

func TestYearBounds(t *testing.T) {
	first, last := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2199, 12, 31, 23, 59, 59, 0, time.UTC)
	for at, good := range map[time.Time]bool{
		first: true, last: true, first.Add(-time.Second): false, last.Add(time.Second): false,
	} {
		if err := checkYear(at); (err == nil) != good {
			t.Errorf("%s: %v", at, err)
		}
	}
}

// TestFirstFaultCounts: after the first fault nothing more is said, and a line
// is named where it stands.
func TestFirstFaultCounts(t *testing.T) {
	for _, tt := range []struct {
		data Data
		want string
	}{
		{&SetPacked{Version: -1, WeightGrams: -1, Exceptions: []Exception{{0, -1, ""}}}, "list is missing"},
		{&SetPacked{List: "L", Version: 1, Exceptions: []Exception{{7, -1, ""}, {7, 0, ""}}},
			"exceptions: line 7: counted is -1; it goes from 0 to 9999"},
		{&ListIssued{List: "L", Version: 1, Title: "t", Lines: []Line{{Line: 1, Item: "A", Description: "a",
			Quantity: 1}}, Cycles: []string{""}},
			"cycle is missing"},
		{&SetCounted{Case: "K", Stage: StageFinal, Sheet: SheetScreen, Counter: "B", Counts: []Count{{1, 1}},
			Removed: []Removed{{Line: 0, Quantity: 1, Reason: "x"}}}, "removed: line is 0; it goes from 1 to 9999"},
		{&ListSealed{Placement: Outside, Seals: []string{"1", "\xff", ""}}, "seal 2 is not valid UTF-8"},
		{&StationEnrolled{Station: "north", Key: "x"}, `station "north" is not of the form site/station in small ` +
			`letters, digits and hyphens (for example north/packing-1)`},
		{&PolicyAdopted{Reason: "\xff"}, `policy: recall is ""; it is "repeat-three-cycles" or "since-last-negative"`},
		{&ListIssued{List: "L", Version: 1, Title: "t", Lines: []Line{{Line: 10000, Item: "", Description: "", Quantity: -1}}},
			"line is 10000; it goes from 1 to 9999"},
	} {
		if err := tt.data.Check(); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %s", tt.data.Kind(), err, tt.want)
		}
	}
}

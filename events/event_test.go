package events

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// TestEncodeDecode: an event of any kind comes back as it was, and its text is
// canonical.
func TestEncodeDecode(t *testing.T) {
	kinds := Kinds()
	if len(kinds) < 14 { // TestKindTable has them by name
		t.Fatalf("%d kinds, want at least 14", len(kinds))
	}
	for _, k := range kinds {
		t.Run(string(k), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				d := drawData(t, k)
				if d.Kind() != k {
					t.Fatalf("data of kind %s", d.Kind())
				}
				e := testEvent(d, "north/packing-1", rapid.Int64Range(1, 1<<31-1).Draw(t, "seq"),
					rapid.SampledFrom([]string{"", NoteHash(nil)}).Draw(t, "prev"),
					testTime.Add(time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "ns"))))
				e.Trip = rapid.SampledFrom([]string{"", testTrip(1)}).Draw(t, "trip")
				text, err := Encode(e)
				if err != nil {
					t.Fatalf("%+v: %v", d, err)
				}
				if c, err := Canonical(text); err != nil || !bytes.Equal(c, text) {
					t.Fatalf("%s is not canonical: %v", text, err)
				}
				got, err := Decode(text)
				if err != nil {
					t.Fatal(err)
				}
				again, err := Encode(got)
				if err != nil || !bytes.Equal(again, text) {
					t.Fatalf("%s\nis encoded again as\n%s, %v", text, again, err)
				}
				got.Data, e.Data = normal(t, got.Data), normal(t, e.Data)
				if !reflect.DeepEqual(got, e) {
					t.Fatalf("%+v comes back as %+v", e, got)
				}
			})
		})
	}
}

// normal puts empty lists in one form: JSON can't tell nil from empty.
func normal(t *rapid.T, d Data) Data {
	v := reflect.ValueOf(d).Elem()
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Slice && f.Len() == 0 {
			f.SetZero()
		}
	}
	if p, ok := d.(*PolicyAdopted); ok && len(p.Links) == 0 {
		p.Links = nil
	}
	return d
}

func TestDecodeKeepsWhatItDoesNotKnow(t *testing.T) {
	const head = `{"data":`
	tail := `,"id":"` + testTrip(0) +
		`","operator":"B-1182","source":"//north/packing-1","specversion":"1.0","stationseq":1,"subject":"LAP-014",` +
		`"time":"2026-03-02T06:11:00Z","type":"`
	for _, tt := range []struct{ typ, data string }{
		{"listbound.set.packed.v2", `{"list":"LAP-MAJOR","version":3}`},
		{"listbound.set.polished.v1", `{"cloth":"blue","deep":[{"a":[null,true],"z":1}]}`},
		{"elsewhere.set.packed.v1", `{"list":"LAP-MAJOR","version":3}`},
		{"listbound.set.packed.v1.v1", `{}`},
		{"listbound.listbound.set.packed.v1", `{}`},
		{"set.packed", `{"list":"LAP-MAJOR","version":3}`},
		{"set.packed.v1", `"a text"`},
		{"listbound.set.packed.v1", `{"list":5,"version":3}`},
		{"listbound.set.packed.v1", `[]`},
		{"listbound.set.checked.v1", `null`},
		{"listbound..v1", `{}`},
	} {
		text := []byte(head + tt.data + tail + tt.typ + `"}`)
		e, err := Decode(text)
		if err != nil {
			t.Errorf("%s: %v", tt.typ, err)
			continue
		}
		u, ok := e.Data.(*Unknown)
		if !ok {
			t.Errorf("%s %s is read as %T", tt.typ, tt.data, e.Data)
			continue
		}
		if u.Type != tt.typ || string(u.Raw) != tt.data || e.Kind() != "" || e.Type() != tt.typ {
			t.Errorf("%s %s is kept as %q %s", tt.typ, tt.data, u.Type, u.Raw)
		}
		if again, err := Encode(e); err != nil || !bytes.Equal(again, text) {
			t.Errorf("%s\nis encoded again as\n%s, %v", text, again, err)
		}
	}
	// Members added to a known kind later do not make it unknown.
	e, err := Decode([]byte(head + `{"added":1,"list":"LAP-MAJOR","version":3}` + tail + `listbound.set.packed.v1"}`))
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := e.Data.(*SetPacked); !ok || d.List != "LAP-MAJOR" || d.Version != 3 {
		t.Errorf("a member added later: %T %+v", e.Data, e.Data)
	}
	// CloudEvents lets data be left out.
	e, err = Decode([]byte(`{` + tail[1:] + `listbound.set.checked.v1"}`))
	if err != nil {
		t.Fatal(err)
	}
	if u, ok := e.Data.(*Unknown); !ok || string(u.Raw) != "null" {
		t.Errorf("no data: %T %+v", e.Data, e.Data)
	}
}

func TestUnknownName(t *testing.T) {
	for typ, want := range map[string]string{
		"listbound.field.lit.v1":     "field.lit",
		"listbound.set.packed.v12":   "set.packed",
		"listbound.set.vented.v2":    "set.vented",
		"listbound.field.lit.v0":     "",
		"listbound.field.lit.v-1":    "",
		"listbound.field.lit.v":      "",
		"listbound.field.lit":        "",
		"listbound..v1":              "",
		"listbound.v1":               "",
		"another.field.lit.v1":       "",
		"listbound.field.lit.v1.old": "",
	} {
		if got := (&Unknown{Type: typ}).Name(); got != want {
			t.Errorf("%s names the kind %q, want %q", typ, got, want)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	good, err := Encode(testEvent(&SetChecked{Tag: "LAP-014"}, "north/storage", 1, "", testTime))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ old, new, want string }{
		{`"specversion":"1.0"`, `"specversion":"0.3"`, `specversion is "0.3", not "1.0"`},
		{`"source":"//north`, `"source":"http://north`, `source "http://north/storage" is not //site/station`},
		{`T06:11:00Z`, `T06:11:00,5Z`,
			`time "2026-03-02T06:11:00,5Z" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`T06:11:00Z`, `T6:11:00Z`, `time "2026-03-02T6:11:00Z" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`T06:11:00Z`, `T06:11:00+24:00`,
			`time "2026-03-02T06:11:00+24:00" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`T06:11:00Z`, `T06:11:00-05:60`,
			`time "2026-03-02T06:11:00-05:60" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`T06:11:00Z`, `T24:00:00Z`,
			`time "2026-03-02T24:00:00Z" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`"2026-03-02T06:11:00Z"`, `""`, `time "" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`T06:11:00Z`, ` 06:11`, `time "2026-03-02 06:11" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{`"stationseq":1`, `"stationseq":"1"`, `"stationseq" holds string, which does not fit there`},
		{`"stationseq":1`, `"stationseq":1,"stationseq":2`, `the name "stationseq" stands twice in one object`},
		{`"type":"listbound.set.checked.v1"`, `"type":""`, `type is missing`},
		{`{"tag"`, `{"tag":"X","tag"`, `the name "tag" stands twice in one object`},
		{`}`, ``, `the JSON text ends too early`},
	} {
		text := strings.Replace(string(good), tt.old, tt.new, 1)
		if text == string(good) {
			t.Fatalf("%s is not in %s", tt.old, good)
		}
		if tt.new == "" {
			text = string(good[:len(good)-1])
		}
		if e, err := Decode([]byte(text)); err == nil {
			t.Errorf("%s: accepted as %+v", tt.new, e)
		} else if err.Error() != tt.want {
			t.Errorf("%s: %q, want %q", tt.new, err, tt.want)
		}
	}
}

func TestEventCheck(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Event)
		want   string
	}{
		{"no data", func(e *Event) { e.Data = nil }, "the event has no data"},
		{"station", func(e *Event) { e.Station = "North/Packing 1" },
			`station "North/Packing 1" is not of the form site/station in small letters, digits and hyphens ` +
				`(for example north/packing-1)`},
		{"id", func(e *Event) { e.ID = strings.ToUpper(e.ID) },
			`id "` + strings.ToUpper(testTrip(0)) + `" is not a version 7 UUID in small letters`},
		{"id of version 4", func(e *Event) { e.ID = "919108f7-52d1-4320-9bac-f847db4148a8" },
			`id "919108f7-52d1-4320-9bac-f847db4148a8" is not a version 7 UUID in small letters`},
		{"id's time", func(e *Event) { e.Time = e.Time.Add(time.Millisecond) }, "the id's time is not the event's time"},
		{"year", func(e *Event) { e.Time = time.Date(1999, 12, 31, 23, 59, 59, 0, time.UTC) },
			"time 1999-12-31T23:59:59Z is not in the years 2000 to 2199"},
		{"subject missing", func(e *Event) { e.Subject = "" }, "subject is missing"},
		{"subject with a blank", func(e *Event) { e.Subject = "LAP 014" },
			`subject "LAP 014" holds a space or a character that can't be printed`},
		{"subject turned round", func(e *Event) { e.Subject = "LAP-\u202e410" },
			"subject \"LAP-\\u202e410\" holds a space or a character that can't be printed"},
		{"subject too long", func(e *Event) { e.Subject = strings.Repeat("ä", 65) }, "subject has more than 64 characters"},
		{"subject in broken UTF-8", func(e *Event) { e.Subject = "\xff" }, "subject is not valid UTF-8"},
		{"operator", func(e *Event) { e.Operator = "B 1" },
			`operator "B 1" holds a space or a character that can't be printed`},
		{"trip", func(e *Event) { e.Trip = "1" }, `trip "1" is not a version 7 UUID in small letters`},
		{"stationseq 0", func(e *Event) { e.StationSeq = 0 }, "stationseq is 0; it counts from 1"},
		{"stationseq beyond 32 bits", func(e *Event) { e.StationSeq = 1 << 31 },
			"stationseq is 2147483648; it counts from 1"},
		{"stationprev", func(e *Event) { e.StationPrev = strings.ToUpper(NoteHash(nil)) },
			"stationprev is not 64 small hexadecimal digits"},
		{"data", func(e *Event) { e.Data = &SetChecked{Tag: "A B"} },
			`tag "A B" holds a space or a character that can't be printed`},
		{"subject of a load", func(e *Event) {
			e.Data = &IndicatorRead{Load: "S2-0302-04", Sterilizer: "S2", Result: "negative"}
		}, `the subject is "LAP-014", the data speaks of "S2-0302-04"`},
	} {
		e := testEvent(&SetChecked{Tag: "LAP-014"}, "north/storage", 1, "", testTime)
		e.ID = testTrip(0)
		if err := e.Check(); err != nil {
			t.Fatal(err)
		}
		tt.change(e)
		err := e.Check()
		if err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.want)
		}
		if text, err := Encode(e); err == nil {
			t.Errorf("%s: encoded as %s", tt.name, text)
		}
	}
}

// TestTimesAreUTC: an event told in another zone has the same bytes.
func TestTimesAreUTC(t *testing.T) {
	a := testEvent(&SetChecked{}, "north/storage", 1, "", testTime)
	b := *a
	b.Time = a.Time.In(time.FixedZone("", -5*3600))
	x, err := Encode(a)
	if err != nil {
		t.Fatal(err)
	}
	y, err := Encode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(x, y) {
		t.Errorf("%s\n%s", x, y)
	}
}

func TestCheckRefuses(t *testing.T) {
	code := testCode(t).String()
	line := Line{Line: 1, Item: "FCP-125", Description: "Forceps", Quantity: 6}
	lines := func(l ...Line) *ListIssued {
		return &ListIssued{List: "LAP", Version: 1, Title: "Laparotomy", Lines: l}
	}
	many := make([]Line, MaxLines+1)
	policy := func(change func(*Policy)) *PolicyAdopted {
		p := &PolicyAdopted{Policy: DefaultPolicy()}
		change(&p.Policy)
		return p
	}
	counted := func(change func(*SetCounted)) *SetCounted {
		c := &SetCounted{Case: "K-0412", Stage: StageFirst, Sheet: SheetScreen, Counter: "B-3310", Counts: []Count{{1, 5}}}
		change(c)
		return c
	}
	beyond := func(change func(*Beyond)) *SetCounted {
		return counted(func(c *SetCounted) {
			c.Counts = append(c.Counts, Count{61, 1})
			c.Beyond = []Beyond{{Line: 61, Item: "04012345678901", Description: "Clamp", Added: 1}}
			change(&c.Beyond[0])
		})
	}
	assessed := func(document string, at ...Placement) *PlacementsAssessed { return &PlacementsAssessed{at, document} }
	opened := func(r *Reading) *SetOpened { return &SetOpened{Case: "K-0412", Sheet: r} }
	key, other := newTestKey(t, "north/packing-1", 1), newTestKey(t, "north/packing-2", 1)
	tests := []struct {
		data Data
		want string
	}{
		{assessed("x"), "placements: there are 0; there are from 1 to 4"},
		{assessed("x", Screen, Outside, Screen), `placements: "screen" stands there twice`},
		{assessed("x", "shelf"), `placements: "shelf" is not a placement`},
		{assessed("", Screen), "document is missing"},
		{assessed("\xff", Screen), "document is not valid UTF-8"},
		{assessed(strings.Repeat("x", 50001), Screen), "document: 50001 bytes; it has at most 50000"},
		{lines(), "the list has 0 lines; it has from 1 to 1000"},
		{lines(many...), "the list has 1001 lines; it has from 1 to 1000"},
		{lines(line, line), "line 1 stands twice in the list"},
		{lines(Line{Line: 0, Item: "A", Description: "a", Quantity: 1}), "line is 0; it goes from 1 to 9999"},
		{lines(Line{Line: 1, Item: "", Description: "a", Quantity: 1}), "line 1: item is missing"},
		{lines(Line{Line: 1, Item: "A", Description: " ", Quantity: 1}), "line 1: description is missing"},
		{lines(Line{Line: 1, Item: "A", Description: "one\u2028two", Quantity: 1}),
			"line 1: description holds U+2028, which breaks or turns round a line of text"},
		{lines(Line{Line: 1, Item: "A", Description: "\u202erecrof", Quantity: 1}),
			"line 1: description holds U+202E, which breaks or turns round a line of text"},
		{lines(Line{Line: 1, Item: "A", Description: "\u2066x", Quantity: 1}),
			"line 1: description holds U+2066, which breaks or turns round a line of text"},
		{lines(Line{Line: 1, Item: "A", Description: "a\tb", Quantity: 1}), "line 1: description holds a control character"},
		{lines(Line{Line: 1, Item: "A", Description: strings.Repeat("x", 401), Quantity: 1}),
			"line 1: description has more than 400 characters"},
		{lines(Line{Line: 1, Item: "A", Description: "\xff", Quantity: 1}), "line 1: description is not valid UTF-8"},
		{lines(Line{Line: 1, Item: "A", Description: "a", Quantity: -1}), "line 1: quantity is -1; it goes from 0 to 9999"},
		{lines(Line{Line: 1, Item: "A", Description: "a", Quantity: 10000}), "line 1: quantity is 10000; it goes from 0 to 9999"},
		{&ListIssued{Version: 1, Title: "x", Lines: []Line{line}}, "list is missing"},
		{&ListIssued{List: "LAP", Title: "x", Lines: []Line{line}}, "version is 0; it goes from 1 to 9999"},
		{&ListIssued{List: "LAP", Version: 1, Lines: []Line{line}}, "title is missing"},
		{&ListIssued{List: "LAP", Version: 1, Title: "x", Lines: []Line{line}, Cycles: []string{"steam 134"}},
			`cycle "steam 134" holds a space or a character that can't be printed`},
		{&SetPacked{Version: 1}, "list is missing"},
		{&SetPacked{List: "LAP"}, "version is 0; it goes from 1 to 9999"},
		{&SetPacked{List: "LAP", Version: 1, WeightGrams: 100001}, "weightGrams is 100001; it goes from 0 to 100000"},
		{&SetPacked{List: "LAP", Version: 1, WeightGrams: -1}, "weightGrams is -1; it goes from 0 to 100000"},
		{&SetPacked{List: "LAP", Version: 1, Exceptions: []Exception{{1, 5, "missing"}, {1, 4, "missing"}}},
			"exceptions: line 1 stands twice"},
		{&SetPacked{List: "LAP", Version: 1, Exceptions: []Exception{{1, -1, "missing"}}},
			"exceptions: line 1: counted is -1; it goes from 0 to 9999"},
		{&SetPacked{List: "LAP", Version: 1, Exceptions: []Exception{{0, 1, "missing"}}},
			"exceptions: line is 0; it goes from 1 to 9999"},
		{&SetPacked{List: "LAP", Version: 1, Exceptions: []Exception{{1, 1, ""}}}, "exceptions: line 1: reason is missing"},
		{&ListSealed{}, "placement is missing; it is one of inside-bag, inside-bare, outside, screen"},
		{&ListSealed{Placement: "none"}, `placement is "none"; it is one of inside-bag, inside-bare, outside, screen`},
		{&ListSealed{Placement: Outside, Seals: []string{"1", ""}}, "seal 2 is missing"},
		{&ListSealed{Placement: Outside, ListDigest: "00"}, "listDigest is not 64 small hexadecimal digits"},
		{&ListSealed{Placement: Outside, ListDigest: "x", Binding: "y"}, "listDigest is not 64 small hexadecimal digits"},
		{&ListSealed{Placement: Outside, Binding: strings.Repeat("A", 64)}, "binding is not 64 small hexadecimal digits"},
		{&ListSealed{Placement: Outside, Code: "1"},
			"sheet code has 1 characters; a sheet code has 54: scan it again, or record the sheet as unreadable"},
		{&SetSterilized{Sterilizer: "S2", Run: 1, Cycle: "c", Result: "passed"}, "load is missing"},
		{&SetSterilized{Load: "L", Sterilizer: "S2", Run: 0, Cycle: "c", Result: "passed"},
			"run is 0; it goes from 1 to 9999999"},
		{&SetSterilized{Load: "L", Sterilizer: "S2", Run: 1, Cycle: "c", Result: "ok"},
			`result is "ok"; it is one of passed, failed`},
		{opened(&Reading{}), "sheet: found is missing; it is one of inside-bag, inside-bare, outside, screen, none"},
		{opened(&Reading{Found: FoundNone, Code: code}), "sheet: found none, yet a code or a damaged code is given"},
		{opened(&Reading{Found: FoundNone, Unreadable: true}), "sheet: found none, yet a code or a damaged code is given"},
		{opened(&Reading{Found: "outside", Code: code, Unreadable: true}),
			"sheet: a code is given and called unreadable; give one of the two"},
		{opened(&Reading{Found: "outside", Text: "1"}), "sheet: text is for a code that can't be read"},
		{&SetOpened{Case: "K", Indicator: "yes"}, `indicator is "yes"; it is one of pass, fail, none`},
		{&SetOpened{}, "case is missing"},
		{opened(&Reading{Found: "outside", Pages: []int64{1}, Of: 1}), "sheet: pages are given and no code that was read on them"},
		{opened(&Reading{Found: "outside", Code: code, Pages: []int64{1}}), "sheet: pages and of are given together, or neither"},
		{opened(&Reading{Found: "outside", Code: code, Of: 2}), "sheet: pages and of are given together, or neither"},
		{opened(&Reading{Found: "outside", Code: code, Pages: []int64{2, 2}, Of: 2}), "sheet: pages are [2 2]; they go up, from 1 to 2"},
		{opened(&Reading{Found: "outside", Code: code, Pages: []int64{3}, Of: 2}), "sheet: pages are [3]; they go up, from 1 to 2"},
		{&SetChecked{Aside: AsideReleased}, "reason is missing: a set is released for a reason"},
		{&SetChecked{Aside: "hidden"}, `aside is "hidden"; it is one of put-aside, released`},
		{&SetReturned{Step: "flown"}, `step is "flown"; it is one of left-room, received, washed, inspected, arrived, handed-back`},
		{&SetReturned{Step: ReturnLeft, Treated: "perhaps"}, `treated is "perhaps"; it is one of yes, no`},
		{&SetReturned{Step: ReturnInspected, Faults: []ReturnFault{ReturnSoiled, ReturnSoiled}}, "faults: soiled stands twice"},
		{&SetReturned{Step: ReturnWashed, WasherLoad: "W 2"}, `washerLoad "W 2" holds a space or a character that can't be printed`},
		{&PieceReported{Became: BecameLost, Quantity: 1}, "line or item is missing: which piece is meant"},
		{&PieceReported{Became: "stolen", Line: 1, Quantity: 1},
			`became is "stolen"; it is one of repair, back, replaced, lost, found`},
		{&PieceReported{Became: BecameFound, Line: 1}, "quantity is 0; it goes from 1 to 9999"},
		{&SetChecked{Package: []PackageFault{PackageWet, PackageWet}}, "package: wet stands twice"},
		{&SetOpened{Case: "K", Package: []PackageFault{"soggy"}},
			`package is "soggy"; it is one of wet, torn, open, filter, gasket, dropped`},
		{&SetChecked{Sheet: &Reading{Found: "floor"}},
			`sheet: found is "floor"; it is one of inside-bag, inside-bare, outside, screen, none`},
		{counted(func(c *SetCounted) { c.Stage = "last" }),
			`stage is "last"; it is one of first, added, cavity, closing, final, relief`},
		{counted(func(c *SetCounted) { c.Sheet = "" }),
			`sheet is missing: give the code counted against, "screen" for the list on the screen, or "unreadable"`},
		{counted(func(c *SetCounted) { c.SheetText = "106EA" }), "sheetText is for a code that can't be read"},
		{counted(func(c *SetCounted) { c.Sheet, c.SheetText = SheetUnreadable, "1\x1d2" }), "sheetText holds a control character"},
		{counted(func(c *SetCounted) { c.Counter = "" }), "counter is missing"},
		{counted(func(c *SetCounted) { c.Case = "" }), "case is missing"},
		{counted(func(c *SetCounted) { c.Counts = []Count{{1, 1}, {1, 1}} }), "counts: line 1 stands twice"},
		{counted(func(c *SetCounted) { c.Counts = []Count{{1, -1}} }),
			"counts: line 1: counted is -1; it goes from 0 to 9999"},
		{counted(func(c *SetCounted) { c.Counts = []Count{{1, 10000}} }),
			"counts: line 1: counted is 10000; it goes from 0 to 9999"},
		{counted(func(c *SetCounted) { c.Removed = []Removed{{Line: 1, Quantity: 0, Reason: "specimen"}} }),
			"removed: line 1: quantity is 0; it goes from 1 to 9999"},
		{counted(func(c *SetCounted) { c.Removed = []Removed{{Line: 1, Quantity: 1, Reason: ""}} }), "removed: line 1: reason is missing"},
		{beyond(func(x *Beyond) { x.Line = 62 }), "beyond: line 62: it is not among the counts"},
		{beyond(func(x *Beyond) { x.Description = "" }), "beyond: line 61: description is missing"},
		{beyond(func(x *Beyond) { x.Item = "a b" }), `beyond: line 61: item "a b" holds a space or a character that can't be printed`},
		{beyond(func(x *Beyond) { x.Added = -1 }), "beyond: line 61: added is -1; it goes from 0 to 9999"},
		{beyond(func(x *Beyond) { x.Line = 0 }), "beyond: line is 0; it goes from 1 to 9999"},
		{counted(func(c *SetCounted) {
			c.Beyond = []Beyond{{Line: 1, Item: "", Description: "Clamp", Added: 0}, {Line: 1, Item: "", Description: "Clamp", Added: 0}}
		}), "beyond: line 1 stands twice"},
		{counted(func(c *SetCounted) {
			c.Stage, c.Beyond = StageAdded, []Beyond{{Line: 1, Item: "", Description: "Clamp", Added: 1}}
		}),
			"beyond: line 1: at stage added the counts say how many came"},
		{&CaseClosed{Case: "K", Outcome: "fine"}, `outcome is "fine"; it is one of reconciled, unreconciled`},
		{&CaseClosed{Case: "K", Outcome: "reconciled", Actions: []string{"x-ray", ""}}, "action 2 is missing"},
		{&IndicatorRead{Load: "L", Sterilizer: "S2"}, "result is missing; it is one of negative, positive"},
		{policy(func(p *Policy) { p.Links = append(p.Links, KindSetChecked) }),
			`policy: links: "set.checked" is not a link of a trip`},
		{policy(func(p *Policy) { p.Stages = []Stage{"last"} }), `policy: stages: "last" is not a stage of a count`},
		{policy(func(p *Policy) { p.MayStayUnread = []Placement{FoundNone} }),
			`policy: mayStayUnread: "none" is not a placement`},
		{policy(func(p *Policy) { p.Placements = []Placement{FoundNone} }),
			`policy: placements: "none" is not a placement`},
		{policy(func(p *Policy) { p.PlacedOtherwise = []string{" "} }),
			`policy: placedOtherwise " " holds a space or a character that can't be printed`},
		{policy(func(p *Policy) { p.ClockToleranceSeconds, p.MinimumTravelSeconds = -1, -1 }),
			"policy: clockToleranceSeconds is -1; it goes from 0 to 86400"},
		{policy(func(p *Policy) { p.MinimumTravelSeconds = 86401 }),
			"policy: minimumTravelSeconds is 86401; it goes from 0 to 86400"},
		{policy(func(p *Policy) { p.WeightLimitGrams = 100001 }),
			"policy: weightLimitGrams is 100001; it goes from 0 to 100000"},
		{policy(func(p *Policy) { p.Recall = "" }),
			`policy: recall is ""; it is "repeat-three-cycles" or "since-last-negative"`},
		{&StationEnrolled{Station: "north/packing-1", Key: other.vkey},
			`the key is named "north/packing-2", the station "north/packing-1"; a station's key carries its name`},
		{&StationEnrolled{Station: "north/packing-1", Key: key.vkey[:40]},
			"key of north/packing-1 is not a signed-note verifier key (name+hash+base64)"},
		{&StationEnrolled{Station: "north", Key: key.vkey},
			`station "north" is not of the form site/station in small letters, digits and hyphens ` +
				`(for example north/packing-1)`},
		{&KeyReplaced{Former: "x", Key: key.vkey, Reason: "x"}, "former is not a signed-note verifier key (name+hash+base64)"},
		{&KeyReplaced{Former: key.vkey, Key: "x", Reason: "x"}, "key is not a signed-note verifier key (name+hash+base64)"},
		{&KeyReplaced{Former: key.vkey, Key: key.vkey, Reason: "x"}, `the key is named "north/packing-1", which is no ledger's name`},
		{&KeyReplaced{Former: key.vkey, Key: newTestKey(t, "north/ledger", 3).vkey, Reason: "x"},
			`the keys are named "north/packing-1" and "north/ledger", and are to be of one ledger`},
		{&KeyReplaced{Former: newTestKey(t, "north/ledger", 3).vkey, Key: newTestKey(t, "north/ledger", 3).vkey, Reason: "x"},
			"the key replaces itself"},
		{&KeyReplaced{Former: newTestKey(t, "north/ledger", 3).vkey, Key: newTestKey(t, "north/ledger", 4).vkey}, "reason is missing"},
		{&StationRetired{Station: "north/packing-1"}, "reason is missing"},
		{&FindingAcknowledged{Code: "sheet-swapped"}, "reason is missing"},
		{&IncidentHandled{Code: "sheet-swapped", Step: "done", Text: "x"}, `step is "done"; it is one of noted, closed, reopened`},
		{&IncidentHandled{Code: "sheet-swapped", Step: IncidentNoted}, "text is missing"},
		{&IncidentHandled{Code: "sheet-swapped", Step: IncidentNoted, Text: "x", Outcome: OutcomeFound},
			"step noted: outcome and covers are given with closed, and only then"},
		{&IncidentHandled{Code: "sheet-swapped", Step: IncidentClosed, Text: "x", Outcome: OutcomeFound},
			"step closed: outcome and covers are given with closed, and only then"},
		{&IncidentHandled{Code: "sheet-swapped", Step: IncidentClosed, Text: "x", Outcome: "fine", Covers: []string{"M"}},
			`outcome is "fine"; it is one of put-right, found, not-found, withdrawn, record-wrong, not-to-settle`},
		{&EventCorrected{Event: "1", Action: "void", Reason: "x"}, `event "1" is not a version 7 UUID in small letters`},
		{&EventCorrected{Event: testTrip(0), Action: "delete", Reason: "x"},
			`action is "delete"; it is one of void, replace`},
		{&EventCorrected{Event: testTrip(0), Action: "replace", Reason: "x"},
			"action replace: data is given with replace, and only then"},
		{&EventCorrected{Event: testTrip(0), Action: "void", Reason: "x", Data: jsontext.Value("{}")},
			"action void: data is given with replace, and only then"},
		{&EventCorrected{Event: testTrip(0), Action: "void"}, "reason is missing"},
	}
	for _, tt := range tests {
		if err := tt.data.Check(); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %s", tt.data.Kind(), err, tt.want)
		}
	}
	if p := DefaultPolicy(); p.Check() != nil {
		t.Errorf("the default policy is refused: %v", p.Check())
	}
}

// TestDefaultPolicy: what holds where a site has adopted nothing.
func TestDefaultPolicy(t *testing.T) {
	want := Policy{
		Links: []Kind{"set.packed", "list.sealed", "set.sterilized", "set.opened", "set.counted", "case.closed"},
		// AORN has counts before the procedure and at its end, by two persons.
		Stages:        []Stage{"first", "final"},
		TwoPersons:    true,
		MayStayUnread: []Placement{"screen"},
		// The times: common practice, no source.
		ClockToleranceSeconds: 2 * 60,
		MinimumTravelSeconds:  60,
		// 25 lb (ANSI/AAMI ST77, 4.3.5) of 453.59237 g, in whole grams.
		WeightLimitGrams: 11340,
		// CDC 2008, Table 12: one positive in steam is repeated before anything is recalled.
		Recall: "repeat-three-cycles",
	}
	if d := cmp.Diff(want, DefaultPolicy()); d != "" {
		t.Error(d)
	}
}

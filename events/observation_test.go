package events

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"pgregory.net/rapid"
)

const packedLine = `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:11:00Z","set":"LAP-014",` +
	`"operator":"B-1182","data":{"list":"LAP-MAJOR","version":3,"exceptions":[{"line":1,"counted":5,` +
	`"reason":"missing"}],"weightKg":8.4}}`

// stableLines are the lines that other programs write (the shapes that stay
// stable), with a code where they have one.
func stableLines(t testing.TB) []string {
	code := testCode(t).String()
	return []string{
		`{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","operator":"B-1182",` +
			`"data":{"list":"LAP-MAJOR","version":3,"title":"Laparotomy, major","lines":[{"line":1,"item":"FCP-125",` +
			`"description":"Forceps, mosquito, curved, 12.5 cm","quantity":6}]}}`,
		packedLine,
		`{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T06:14:00Z","set":"LAP-014",` +
			`"operator":"B-1182","data":{"placement":"outside","seals":["483920"]}}`,
		`{"station":"north/sterilizer-2","kind":"set.sterilized","time":"2026-03-02T08:02:00Z","set":"LAP-014",` +
			`"operator":"B-2044","data":{"load":"S2-0302-04","sterilizer":"S2","run":4,"cycle":"dynamic-air-132",` +
			`"result":"passed","released":true}}`,
		`{"station":"north/sterilizer-2","kind":"indicator.read","time":"2026-03-03T08:00:00Z","operator":"B-2044",` +
			`"data":{"load":"S2-0302-04","sterilizer":"S2","result":"negative"}}`,
		`{"station":"north/storage","kind":"set.checked","time":"2026-03-03T09:00:00Z","set":"LAP-014",` +
			`"operator":"B-2051","data":{"place":"sterile storage A4","tag":"LAP-014",` +
			`"sheet":{"found":"outside","code":"` + code + `"}}}`,
		`{"station":"north/or-3","kind":"set.opened","time":"2026-03-04T07:12:00Z","set":"LAP-014","operator":"B-3310",` +
			`"data":{"case":"K-0412","room":"OR 3","tag":"LAP-014","outerLabel":"LAP-014",` +
			`"sheet":{"found":"outside","code":"` + code + `"},"seals":["483920"],"indicator":"pass"}}`,
		`{"station":"north/or-3","kind":"set.counted","time":"2026-03-04T07:20:00Z","set":"LAP-014","operator":"B-3310",` +
			`"data":{"case":"K-0412","stage":"first","sheet":"` + code +
			`","counter":"B-3310","witness":"B-3322","counts":[{"line":1,"counted":5}]}}`,
		`{"station":"north/or-3","kind":"case.closed","time":"2026-03-04T09:40:00Z","operator":"B-3322",` +
			`"data":{"case":"K-0412","outcome":"reconciled","actions":[]}}`,
		`{"station":"north/office","kind":"event.corrected","time":"2026-03-04T10:00:00Z","operator":"B-0001",` +
			`"data":{"event":"` + testTrip(0) +
			`","action":"void","reason":"typed for another set"}}`,
		`{"station":"north/office","kind":"finding.acknowledged","time":"2026-03-04T10:00:00Z","set":"LAP-014",` +
			`"trip":"` + testTrip(0) + `","operator":"B-0001","data":{"code":"sheet-swapped","reason":"both sets called back"}}`,
		`{"station":"north/office","kind":"policy.adopted","time":"2026-03-01T00:00:00Z","operator":"B-0001",` +
			`"data":{"links":["set.packed","list.sealed"],"stages":["first"],"twoPersons":true,"mayStayUnread":[],` +
			`"clockToleranceSeconds":60,"minimumTravelSeconds":60,"weightLimitGrams":0,"recall":"since-last-negative",` +
			`"reason":"theatre committee"}}`,
	}
}

func parse(t testing.TB, line string) *Observation {
	t.Helper()
	o, err := ParseObservation([]byte(line))
	if err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	return o
}

func idOf(t interface {
	Helper()
	Fatal(...any)
}, o *Observation) string {
	t.Helper()
	id, err := o.ID()
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func TestObservationsOfEveryShape(t *testing.T) {
	lines := stableLines(t)
	n := 0
	for i, got := range Observations(strings.NewReader(strings.Join(lines, "\n"))) {
		n++
		if got.Err != nil {
			t.Errorf("line %d: %v", i, got.Err)
			continue
		}
		id := idOf(t, got.Observation)
		if at, err := IDTime(id); err != nil || !at.Equal(got.Observation.Time) {
			t.Errorf("line %d: the id's time is %v, %v", i, at, err)
		}
		// The observation as an event: what it says is what was handed in.
		e := &Event{ID: id, Station: got.Observation.Station, Subject: got.Observation.Subject(), Time: got.Observation.Time,
			StationSeq: 1, Data: got.Observation.Data}
		if e.Kind() == KindEventCorrected {
			e.Subject = "LAP-014" // taken from the event corrected
		}
		if _, err := Encode(e); err != nil {
			t.Errorf("line %d: %v", i, err)
		}
	}
	if n != len(lines) || n < 12 {
		t.Errorf("%d of %d lines read", n, len(lines))
	}
	o := parse(t, packedLine)
	d, ok := o.Data.(*SetPacked)
	if !ok || o.Station != "north/packing-1" || o.Set != "LAP-014" || o.Operator != "B-1182" || !o.Time.Equal(testTime) ||
		o.Trip != "" ||
		d.List != "LAP-MAJOR" || d.Version != 3 || d.WeightGrams != 8400 || len(d.Exceptions) != 1 ||
		d.Exceptions[0] != (Exception{1, 5, "missing"}) {
		t.Errorf("read as %+v %+v", o, o.Data)
	}
}

func TestObservationRefuses(t *testing.T) {
	code := testCode(t).String()
	in := func(old, new string) string {
		s := strings.Replace(packedLine, old, new, 1)
		if s == packedLine {
			t.Fatalf("%s is not in the line", old)
		}
		return s
	}
	counted := func(counts string) string {
		return `{"station":"north/or-3","kind":"set.counted","time":"2026-03-04T07:20:00Z","set":"LAP-014",` +
			`"data":{"case":"K-0412","stage":"first","sheet":"screen","counter":"B-3310","counts":` + counts +
			`}}`
	}
	opened := func(sheet string) string {
		return `{"station":"north/or-3","kind":"set.opened","time":"2026-03-04T07:12:00Z","set":"LAP-014",` +
			`"data":{"case":"K-0412","sheet":` + sheet +
			`}}`
	}
	var names []string
	for _, k := range Kinds() {
		names = append(names, string(k))
	}
	kinds := strings.Join(names, ", ")
	number := "data: the number %s is not a whole number between -(2^53-1) and 2^53-1 (at byte %d)"
	for _, tt := range []struct{ name, in, want string }{
		{"no JSON", "set LAP-014 packed", "not JSON: invalid character 's' at start of value at byte 0"},
		{"cut off", packedLine[:100], "the JSON text ends too early"},
		{"an array", "[]", "not the object this kind needs"},
		{"null", "null",
			`station "" is not of the form site/station in small letters, digits and hyphens (for example north/packing-1)`},
		{"two objects", packedLine + packedLine,
			fmt.Sprintf("not JSON: invalid character '{' after top-level value at byte %d", len(packedLine))},
		{"a comma too many", in(`8.4}`, `8.4,}`),
			fmt.Sprintf("not JSON: invalid character '}' at start of string (expecting '\"') at byte %d", len(packedLine)-1)},
		{"a member twice", in(`"set":"LAP-014"`, `"set":"LAP-014","set":"LAP-015"`),
			`the name "set" stands twice in one object`},
		{"a member twice in the data", in(`"version":3`, `"version":3,"version":4`),
			`the name "version" stands twice in one object`},
		{"a member twice deep in the data", in(`"line":1`, `"line":1,"line":2`),
			`the name "line" stands twice in one object`},
		{"a member spelled wrong", in(`"operator"`, `"opperator"`), `"opperator" is not a member of this kind`},
		{"a member in capitals", in(`"set":`, `"Set":`), `"Set" is not a member of this kind`},
		{"a data member spelled wrong", in(`"version"`, `"verson"`), `data: "verson" is not a member of this kind`},
		{"a member of another kind", opened(`{"found":"none"},"stage":"first"`),
			`data: "stage" is not a member of this kind`},
		{"a deep member spelled wrong", in(`"reason"`, `"cause"`), `data: "exceptions.0.cause" is not a member of this kind`},
		{"broken UTF-8", in(`LAP-014`, "LAP\xff014"),
			fmt.Sprintf("not JSON: invalid UTF-8 at byte %d", strings.Index(packedLine, "-014"))},
		{"broken UTF-8 in the data", in(`missing`, "miss\xc3ing"),
			fmt.Sprintf("not JSON: invalid UTF-8 at byte %d", strings.Index(packedLine, "missing")+4)},
		{"a lone surrogate", in(`missing`, `miss\ud800ing`),
			fmt.Sprintf("not JSON: invalid surrogate pair `\\ud800ing\"}]` in string at byte %d",
				strings.Index(packedLine, "missing")+4)},
		{"station missing", in(`"station":"north/packing-1",`, ``),
			`station "" is not of the form site/station in small letters, digits and hyphens (for example north/packing-1)`},
		{"station in capitals", in(`north/`, `North/`),
			`station "North/packing-1" is not of the form site/station in small letters, digits and hyphens ` +
				`(for example north/packing-1)`},
		{"station of three parts", in(`north/`, `city/north/`),
			`station "city/north/packing-1" is not of the form site/station in small letters, digits and hyphens ` +
				`(for example north/packing-1)`},
		{"station that a subject would break", in(`packing-1`, `packing.>`),
			`station "north/packing.>" is not of the form site/station in small letters, digits and hyphens ` +
				`(for example north/packing-1)`},
		{"kind missing", in(`"kind":"set.packed",`, ``), "kind is missing; the kinds are " + kinds},
		{"kind unknown", in(`set.packed`, `set.polished`), `kind "set.polished" is not known; the kinds are ` + kinds},
		{"time missing", in(`"time":"2026-03-02T06:11:00Z",`, ``),
			`time "" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{"time without zone", in(`00Z`, `00`),
			`time "2026-03-02T06:11:00" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{"a day that is none", in(`03-02T`, `02-30T`),
			`time "2026-02-30T06:11:00Z" is not an RFC 3339 time (for example 2026-03-02T06:11:00Z)`},
		{"time of another century", in(`2026`, `1926`), "time 1926-03-02T06:11:00Z is not in the years 2000 to 2199"},
		{"set missing", in(`"set":"LAP-014",`, ``), "set is missing"},
		{"set with a blank", in(`LAP-014`, `LAP 014`), `set "LAP 014" holds a space or a character that can't be printed`},
		{"set for a kind that has none",
			`{"station":"north/s2","kind":"indicator.read","time":"2026-03-02T06:11:00Z","set":"LAP-014","data":{"load":"L",` +
				`"sterilizer":"S2","result":"negative"}}`,
			"set is given, but indicator.read is not about one set"},
		{"trip", in(`"operator"`, `"trip":"7","operator"`), `trip "7" is not a version 7 UUID in small letters`},
		{"operator", in(`B-1182`, `Mrs B`), `operator "Mrs B" holds a space or a character that can't be printed`},
		{"data missing", `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T06:11:00Z","set":"LAP-014"}`,
			"data is missing"},
		{"data null",
			`{"station":"north/storage","kind":"set.checked","time":"2026-03-02T06:11:00Z","set":"LAP-014","data":null}`,
			"data: not the object this kind needs"},
		{"data null of a packing",
			`{"station":"north/storage","kind":"set.packed","time":"2026-03-02T06:11:00Z","set":"LAP-014","data":null}`,
			"data: not the object this kind needs"},
		{"data an array",
			`{"station":"north/storage","kind":"set.checked","time":"2026-03-02T06:11:00Z","set":"LAP-014","data":[]}`,
			"data: not the object this kind needs"},
		{"a text for a number", in(`"version":3`, `"version":"3"`), `data: "version" holds string, which does not fit there`},
		{"a fraction for a count", in(`"counted":5`, `"counted":5.5`),
			`data: "exceptions.0.counted" holds number, which does not fit there`},
		{"a number for a text", in(`"LAP-MAJOR"`, `7`), `data: "list" holds number, which does not fit there`},
		{"2^53", counted(`[{"line":1,"counted":9007199254740992}]`), fmt.Sprintf(number, "9007199254740992", 115)},
		{"1e400", counted(`[{"line":1,"counted":1e400}]`), fmt.Sprintf(number, "1e400", 104)},
		{"minus nothing", counted(`[{"line":1,"counted":-0}]`), fmt.Sprintf(number, "-0", 101)},
		{"1e400 in a packing", in(`"counted":5`, `"counted":1e400`),
			`data: "exceptions.0.counted" holds number, which does not fit there`},
		{"2^64 in a packing", in(`"counted":5`, `"counted":18446744073709551616`),
			`data: "exceptions.0.counted" holds number, which does not fit there`},
		{"below nothing", counted(`[{"line":1,"counted":-1}]`), "counts: line 1: counted is -1; it goes from 0 to 9999"},
		{"ten thousand", counted(`[{"line":1,"counted":10000}]`), "counts: line 1: counted is 10000; it goes from 0 to 9999"},
		{"a text beside a code that was read", opened(`{"found":"outside","text":"106","code":"` + code + `"}`),
			"sheet: text is for a code that can't be read"},
		{"another medium", strings.Replace(packedLine, `"set"`, `"medium":"stone","set"`, 1),
			`medium is "stone"; it is "paper", or left out`},
		{"signed and more", `{"station":"north/or-3","signed":"x"}`,
			"a signed record says everything itself; nothing else stands beside it"},
		{"signed badly", `{"signed":"x"}`,
			"signed record: not a record: a record is one line of JSON, a blank line and signature lines"},
		{"too long", `{"station":"` + strings.Repeat("x", MaxRecord) + `"}`,
			"the line has 60014 bytes; a record has at most 60000"},
	} {
		if o, err := ParseObservation([]byte(tt.in)); err == nil {
			t.Errorf("%s: accepted as %+v %+v", tt.name, o, o.Data)
		} else if o != nil {
			t.Errorf("%s: refused and returned: %+v", tt.name, o)
		} else if err.Error() != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, err, tt.want)
		}
	}
}

// sheetSaid is what data says of a sheet that was looked at or counted against: the
// code, whether it is called unreadable, and what was typed of it.
func sheetSaid(d Data) (code string, unreadable bool, text string) {
	r := new(Reading)
	switch d := d.(type) {
	case *SetOpened:
		r = d.Sheet
	case *SetChecked:
		r = d.Sheet
	case *SetCounted:
		if d.Sheet == SheetUnreadable {
			return "", true, d.SheetText
		}
		return d.Sheet, false, d.SheetText
	}
	return r.Code, r.Unreadable, r.Text
}

// damagedLines are an opening, a check and a count by a code.
func damagedLines(code string) map[string]string {
	quoted, _ := json.Marshal(code)
	line := func(kind, data string) string {
		return `{"station":"north/or-3","kind":"` + kind + `","time":"2026-03-04T07:12:00Z","set":"LAP-014","data":` +
			strings.Replace(data, "CODE", string(quoted), 1) + `}`
	}
	return map[string]string{
		"opened":         line("set.opened", `{"case":"K-0412","sheet":{"found":"outside","code":CODE}}`),
		"opened, page 1": line("set.opened", `{"case":"K-0412","sheet":{"found":"outside","code":CODE,"pages":[1],"of":2}}`),
		"called so":      line("set.opened", `{"case":"K-0412","sheet":{"found":"outside","code":CODE,"unreadable":true}}`),
		"checked":        line("set.checked", `{"sheet":{"found":"outside","code":CODE}}`),
		"counted":        line("set.counted", `{"case":"K-0412","stage":"final","sheet":CODE,"counter":"B-1","counts":[]}`),
	}
}

// TestDamagedCode: a code with a wrong character costs nobody the opening, nor the
// count. It is an unreadable code, kept as it was typed, and so it is each time it is
// handed in.
func TestDamagedCode(t *testing.T) {
	whole := SheetCode{Trip: testTrip(1)}.String()
	for _, tt := range []struct{ typed, kept string }{
		{whole[:53] + "U", whole[:53] + "U"}, {whole[:1] + whole[2:3] + whole[1:2] + whole[3:],
			whole[:1] + whole[2:3] + whole[1:2] + whole[3:]},
		{whole[:20], whole[:20]}, {"LAP-014", "LAP-014"}, {whole[:20] + "\x1d" + whole[20:], whole[:20] + "\uFFFD" + whole[20:]},
		{whole + "\u202e\r\n", whole + "\uFFFD\uFFFD\uFFFD"}, {strings.Repeat("ä", 500), strings.Repeat("ä", 400)},
	} {
		for name, line := range damagedLines(tt.typed) {
			o, err := ParseObservation([]byte(line))
			if err != nil {
				t.Fatalf("%s with %q: %v", name, tt.typed, err)
			}
			if code, unreadable, text := sheetSaid(o.Data); code != "" || !unreadable || text != tt.kept {
				t.Errorf("%s with %q: code %q, unreadable %t, %q", name, tt.typed, code, unreadable, text)
			}
			if err := o.Check(); err != nil {
				t.Errorf("%s with %q, as it was read: %v", name, tt.typed, err)
			}
			first, err1 := o.ID()
			again, err2 := ParseObservation([]byte(line))
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			if second, err := again.ID(); err != nil || first != second {
				t.Errorf("%s with %q is another event the second time (%v)", name, tt.typed, err)
			}
		}
	}
}

// TestDamagedCodeSigned: what a station signed with a code that can't be one is kept
// as it is, passes an audit, and says what AsRead says. A program makes no such
// observation: it is told.
func TestDamagedCodeSigned(t *testing.T) {
	k := newTestKey(t, "north/or-3", 7)
	const typed = "106EATAZ\x1d1"
	for _, d := range []Data{
		&SetOpened{Case: "K-1", Sheet: &Reading{Found: "outside", Code: typed}},
		&SetChecked{Sheet: &Reading{Found: "outside", Code: typed}},
		&SetCounted{Case: "K-1", Stage: StageFinal, Sheet: typed, Counter: "B-1", Counts: []Count{}},
	} {
		line, err := FormatObservation(&Observation{Signed: sign(t, testEvent(d, k.name, 1, "", testTime), k)})
		if err != nil {
			t.Fatal(err)
		}
		o, err := ParseObservation(line)
		if err != nil {
			t.Fatalf("%s: %v", d.Kind(), err)
		}
		if !reflect.DeepEqual(o.Data, d) {
			t.Errorf("%s was signed as %+v, and is read as %+v", d.Kind(), d, o.Data)
		}
		if err := o.Check(); err != nil {
			t.Errorf("%s, signed: %v", d.Kind(), err)
		}
		if code, unreadable, text := sheetSaid(AsRead(o.Data)); code != "" || !unreadable || text != "106EATAZ\uFFFD1" {
			t.Errorf("%s says code %q, unreadable %t, %q", d.Kind(), code, unreadable, text)
		}
		o = &Observation{Station: k.name, Kind: d.Kind(), Time: testTime, Set: "LAP-014", Data: d}
		if err := o.Check(); err == nil || !strings.Contains(err.Error(), "sheet: sheet code holds") {
			t.Errorf("%s made by a program: %v", d.Kind(), err)
		}
	}
}

func TestWeightKg(t *testing.T) {
	for _, tt := range []struct {
		in   string
		want int64 // -1: refused
	}{
		{"8.4", 8400}, {"8.400", 8400}, {"8", 8000}, {"0", 0}, {"0.001", 1}, {"11.34", 11340}, {"100", 100000},
		{"99.999", 99999},
		{"8.4001", -1}, {"100.001", -1}, {"-0.001", -1}, {"-1", -1}, {"1e1", -1}, {"8.4E0", -1}, {"1e400", -1}, {`"8.4"`, -1},
		{"null", -1}, {"[]", -1}, {"true", -1},
		{"8.40000000000000000000000000", -1},
	} {
		o, err := ParseObservation([]byte(strings.Replace(packedLine, `"weightKg":8.4`, `"weightKg":`+tt.in, 1)))
		if err != nil {
			want := fmt.Sprintf("weightKg is %.20s; it is a number of kilograms from 0 to 100 with at most three decimals",
				tt.in)
			if tt.want >= 0 || err.Error() != want {
				t.Errorf("%s kg: %q, want %q", tt.in, err, want)
			}
			continue
		}
		if g := o.Data.(*SetPacked).WeightGrams; g != tt.want {
			t.Errorf("%s kg are %d g, want %d", tt.in, g, tt.want)
		}
	}
	both := func(grams int) error {
		_, err := ParseObservation(fmt.Appendf(nil, "%s",
			strings.Replace(packedLine, `"weightKg":8.4`, fmt.Sprintf(`"weightKg":8.4,"weightGrams":%d`, grams), 1)))
		return err
	}
	if err := both(8400); err != nil {
		t.Errorf("weightKg and weightGrams that agree: %v", err)
	}
	if err := both(8401); err == nil || err.Error() != "weightKg and weightGrams disagree; give one" {
		t.Errorf("weightKg and weightGrams that disagree: %v", err)
	}
	if kg, g := parse(t, packedLine),
		parse(t, strings.Replace(packedLine, `"weightKg":8.4`, `"weightGrams":8400`, 1)); idOf(t, kg) != idOf(t, g) {
		t.Error("8.4 kg and 8400 g are two observations")
	}
}

type read struct {
	line int
	what string // the set, or the error
}

func readAll(r io.Reader) []read {
	var out []read
	for n, o := range Observations(r) {
		switch {
		case o.Err != nil && o.Observation != nil:
			out = append(out, read{n, "both"})
		case o.Err != nil:
			out = append(out, read{n, o.Err.Error()})
		default:
			out = append(out, read{n, o.Observation.Set})
		}
	}
	return out
}

func setLine(set string) string { return strings.Replace(packedLine, "LAP-014", set, 1) }

func TestObservationReader(t *testing.T) {
	long := `{"station":"` + strings.Repeat("x", MaxRecord-14) + `"}` // as long as a line may be
	longError := `station "` + strings.Repeat("x", MaxRecord-14) +
		`" is not of the form site/station in small letters, digits and hyphens (for example north/packing-1)`
	broken := errors.New("the cable was pulled")
	bom := "\ufeff"
	for _, tt := range []struct {
		name string
		in   io.Reader
		want []read
	}{
		{"nothing", strings.NewReader(""), nil},
		{"blank lines", strings.NewReader("\n \r\n\t\n"), nil},
		{"no end of line at the end", strings.NewReader(setLine("A") + "\n" + setLine("B")), []read{{1, "A"}, {2, "B"}}},
		{"CR LF and blank lines between", strings.NewReader(setLine("A") + "\r\n\r\n \r\n" + setLine("B") + "\r\n"),
			[]read{{1, "A"}, {4, "B"}}},
		{"byte order mark", strings.NewReader(bom + setLine("A") + "\n" + setLine("B")), []read{{1, "A"}, {2, "B"}}},
		{"byte order mark alone", strings.NewReader(bom), nil},
		{"byte order mark further down", strings.NewReader(setLine("A") + "\n" + bom + setLine("B")),
			[]read{{1, "A"}, {2, "not JSON: invalid character '\\ufeff' at start of value at byte 0"}}},
		{"a refused line costs nothing else", strings.NewReader("{}x\n" + setLine("B") + "\n{\n" + setLine("D")),
			[]read{{1, "not JSON: invalid character 'x' after top-level value at byte 2"}, {2, "B"},
				{3, "the JSON text ends too early"}, {4, "D"}}},
		{"as long as allowed", strings.NewReader(bom + long + "\r\n" + setLine("B")), []read{{1, longError}, {2, "B"}}},
		{"one byte too long", strings.NewReader(long + " \n" + setLine("B")),
			[]read{{1, "the line has 60001 bytes; a record has at most 60000"}, {2, "B"}}},
		{"far too long",
			strings.NewReader(strings.Repeat("x", 1<<20) + "\r\n" + setLine("B") + "\n" + strings.Repeat("y", 1<<20)),
			[]read{{1, "the line has 1048576 bytes; a record has at most 60000"}, {2, "B"},
				{3, "the line has 1048576 bytes; a record has at most 60000"}}},
		{"one byte at a time", iotest.OneByteReader(strings.NewReader(setLine("A") + "\n" + setLine("B") + "\n")),
			[]read{{1, "A"}, {2, "B"}}},
		{"data and end at once", iotest.DataErrReader(strings.NewReader(setLine("A") + "\n" + setLine("B"))),
			[]read{{1, "A"}, {2, "B"}}},
		{"reading fails in a line",
			io.MultiReader(strings.NewReader(setLine("A")+"\n"+setLine("B")[:50]), iotest.ErrReader(broken)),
			[]read{{1, "A"}, {0, "reading stopped in line 2, which is not recorded: the cable was pulled"}}},
		{"reading fails after a whole object",
			io.MultiReader(strings.NewReader(setLine("A")+"\n"+setLine("B")), iotest.ErrReader(broken)),
			[]read{{1, "A"}, {0, "reading stopped in line 2, which is not recorded: the cable was pulled"}}},
		{"reading fails between lines", io.MultiReader(strings.NewReader(setLine("A")+"\n"), iotest.ErrReader(broken)),
			[]read{{1, "A"}, {0, "reading stopped in line 2, which is not recorded: the cable was pulled"}}},
	} {
		got := readAll(tt.in)
		if len(got) != len(tt.want) {
			t.Errorf("%s: %d results %.300v, want %d", tt.name, len(got), got, len(tt.want))
			continue
		}
		for i := range got {
			if got[i] != tt.want[i] {
				t.Errorf("%s: %d: %.300v, want %.300v", tt.name, i, got[i], tt.want[i])
			}
		}
	}
}

// TestObservationReaderKeepsNoLongLine: a line without end does not fill memory.
func TestObservationReaderKeepsNoLongLine(t *testing.T) {
	const size = 64 << 20
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	got := readAll(io.LimitReader(zeros{}, size))
	runtime.ReadMemStats(&after)
	if want := fmt.Sprintf("the line has %d bytes; a record has at most 60000", size); len(got) != 1 ||
		got[0] != (read{1, want}) {
		t.Errorf("%v, want %s", got, want)
	}
	if n := after.TotalAlloc - before.TotalAlloc; n > 1<<20 {
		t.Errorf("%d bytes were allocated for a line of %d", n, size)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '0'
	}
	return len(p), nil
}

// TestObservationReaderStops: who has seen enough is not given more.
func TestObservationReaderStops(t *testing.T) {
	n := 0
	for range Observations(strings.NewReader(strings.Repeat(setLine("A")+"\n", 5))) {
		if n++; n == 2 {
			break
		}
	}
	if n != 2 {
		t.Errorf("%d lines read", n)
	}
}

// TestObservationID: the same observation is the same event, however its line
// is spelled, and any other member makes another.
func TestObservationID(t *testing.T) {
	id := idOf(t, parse(t, packedLine))
	for _, same := range []string{
		` { "operator":"B-1182" , "set" :"LAP-014","kind":"set.packed","time":"2026-03-02T06:11:00Z",` +
			`"station":"north/packing-1","data":{"weightKg":8.400,"version":3,"exceptions":[{"reason":"missing","counted":5,` +
			`"line":1}],"list":"LAP-MAJOR"}}`,
		strings.Replace(packedLine, "2026-03-02T06:11:00Z", "2026-03-02T07:11:00+01:00", 1),
		strings.Replace(packedLine, "2026-03-02T06:11:00Z", "2026-03-01T20:41:00.000-09:30", 1),
		strings.Replace(packedLine, "LAP-014", `\u004cAP-014`, 1),
		strings.Replace(packedLine, `"operator"`, `"trip":"","operator"`, 1),
		strings.Replace(packedLine, `"weightKg"`, `"note":"","weightKg"`, 1),
	} {
		if got := idOf(t, parse(t, same)); got != id {
			t.Errorf("%s\nhas the id %s, want %s", same, got, id)
		}
	}
	elsewhere := parse(t, packedLine)
	elsewhere.Time = elsewhere.Time.In(time.FixedZone("", -9*3600))
	if got := idOf(t, elsewhere); got != id {
		t.Errorf("with the time in another zone the id is %s, want %s", got, id)
	}
	seen := map[string]string{id: packedLine}
	for _, tt := range []struct{ old, new string }{
		{"north/packing-1", "north/packing-2"}, {"LAP-014", "LAP-015"}, {"B-1182", "B-1183"}, {`"operator":"B-1182",`, ""},
		{"06:11:00Z", "06:11:01Z"}, {"06:11:00Z", "06:11:00.001Z"}, {"06:11:00Z", "06:11:00.000000001Z"},
		{"LAP-MAJOR", "LAP-MINOR"},
		{`"version":3`, `"version":4`}, {`"line":1`, `"line":2`}, {`"counted":5`, `"counted":4`}, {`missing`, `broken`},
		{"8.4", "8.401"}, {`,"weightKg":8.4`, ""},
		{`"operator"`, `"trip":"` + testTrip(0) + `","operator"`}, {`"weightKg"`, `"note":"x","weightKg"`},
		{`{"line":1,"counted":5,"reason":"missing"}`, ``},
	} {
		line := strings.Replace(packedLine, tt.old, tt.new, 1)
		if line == packedLine {
			t.Fatalf("%s is not in the line", tt.old)
		}
		got := idOf(t, parse(t, line))
		if other, ok := seen[got]; ok {
			t.Errorf("%s\nhas the id of\n%s", line, other)
		}
		seen[got] = line
	}
	// Same data, other kind.
	ack := `{"station":"north/office","kind":"%s","time":"2026-03-02T06:11:00Z",%s"data":{"case":"K",` +
		`"outcome":"reconciled","actions":[]}}`
	if closed := idOf(t, parse(t, fmt.Sprintf(ack, "case.closed", ""))); seen[closed] != "" {
		t.Error("another kind has the same id")
	}
}

// TestObservationIDProperty does the same for drawn data of every kind.
func TestObservationIDProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(Kinds()).Draw(t, "kind")
		a, b := drawData(t, k), drawData(t, k)
		o := &Observation{Station: "north/packing-1", Kind: k, Time: testTime, Data: a}
		p := &Observation{Station: "north/packing-1", Kind: k, Time: testTime, Data: b}
		x, err := Encode(testEvent(a, "north/packing-1", 1, "", testTime))
		if err != nil {
			t.Fatal(err)
		}
		y, err := Encode(testEvent(b, "north/packing-1", 1, "", testTime))
		if err != nil {
			t.Fatal(err)
		}
		i, err := o.ID()
		if err != nil {
			t.Fatal(err)
		}
		j, err := p.ID()
		if err != nil {
			t.Fatal(err)
		}
		if (i == j) != bytes.Equal(x, y) {
			t.Fatalf("%s\n%s\nhave the ids %s and %s", x, y, i, j)
		}
		trip, err := o.NewTrip()
		if err != nil || trip == i || checkUUID("trip", trip) != nil {
			t.Fatalf("the trip started is %s, %v, the event %s", trip, err, i)
		}
		if at, err := IDTime(trip); err != nil || !at.Equal(testTime) {
			t.Fatalf("the trip's time is %v, %v", at, err)
		}
	})
}

func TestSignedObservation(t *testing.T) {
	k := newTestKey(t, "north/packing-1", 7)
	e := testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3}, k.name, 4, NoteHash(nil), testTime)
	e.Trip = testTrip(0)
	n := sign(t, e, k)
	quoted, err := jsontext.AppendQuote(nil, n)
	if err != nil {
		t.Fatal(err)
	}
	o := parse(t, `{"signed":`+string(quoted)+`}`)
	if idOf(t, o) != e.ID || o.Station != e.Station || o.Kind != KindSetPacked || o.Set != "LAP-014" || o.Trip != e.Trip ||
		o.Operator != e.Operator || !o.Time.Equal(e.Time) || !bytes.Equal(o.Signed, n) {
		t.Errorf("read as %+v", o)
	}
	load := sign(t,
		testEvent(&IndicatorRead{Load: "S2-0302-04", Sterilizer: "S2", Result: "negative"}, k.name, 1, "", testTime), k)
	if quoted, err = jsontext.AppendQuote(nil, load); err != nil {
		t.Fatal(err)
	}
	if o := parse(t, `{"signed":`+string(quoted)+`}`); o.Set != "" || o.Subject() != "S2-0302-04" {
		t.Errorf("read as %+v", o)
	}
	if _, err := (&Observation{Signed: []byte("x")}).ID(); err == nil {
		t.Error("an id for what is no record")
	}
}

func TestSubject(t *testing.T) {
	want := map[Kind]string{
		KindListIssued: "LAP-MAJOR", KindIndicatorRead: "S2-0302-04", KindCaseClosed: "K-0412", KindPolicyAdopted: "north",
		KindEventCorrected: "",
	}
	for _, line := range stableLines(t) {
		o := parse(t, line)
		w, ok := want[o.Kind]
		if !ok {
			w = "LAP-014"
		}
		if got := o.Subject(); got != w {
			t.Errorf("%s is about %q, want %q", o.Kind, got, w)
		}
	}
	for _, d := range []Data{&StationEnrolled{Station: "north/or-3"}, &StationRetired{Station: "north/or-3"}} {
		if got := (&Observation{Station: "north/ledger", Data: d}).Subject(); got != "north/or-3" {
			t.Errorf("%s is about %q", d.Kind(), got)
		}
	}
}

// FuzzObservations: whatever is read, line numbers rise, and what is accepted
// has one id and can be signed.
func FuzzObservations(f *testing.F) {
	lines := stableLines(f)
	if len(lines) == 0 {
		f.Fatal("no seeds")
	}
	for _, l := range lines {
		f.Add([]byte(l))
	}
	f.Add([]byte("\ufeff" + strings.Join(lines, "\r\n")))
	// Found by fuzzing: refused and returned all the same.
	f.Add([]byte(`{"station":"n/p","kind":"set.packed","time":"0000-01-01T00:00:00Z","data":{"list":"0","version":1}}`))
	f.Add([]byte("{\n\x00\n[]\n\"\\ud800\"\n1e400"))
	f.Fuzz(func(t *testing.T, in []byte) {
		last := 0
		for n, r := range Observations(bytes.NewReader(in)) {
			if n <= last || n > bytes.Count(in, []byte("\n"))+1 || (r.Err == nil) == (r.Observation == nil) {
				t.Fatalf("line %d after line %d: %+v", n, last, r)
			}
			last = n
			if r.Err != nil {
				if s := r.Err.Error(); s == "" || strings.Contains(s, "\n") || strings.HasSuffix(s, ".") {
					t.Fatalf("line %d: message %q", n, s)
				}
				continue
			}
			o := r.Observation
			id, err := o.ID()
			if err != nil {
				t.Fatalf("line %d: %v", n, err)
			}
			again, err := ParseObservation([]byte(bytes.Split(bytes.TrimPrefix(in, []byte("\ufeff")), []byte("\n"))[n-1]))
			if err != nil {
				t.Fatalf("line %d: read again: %v", n, err)
			}
			if id2, err := again.ID(); err != nil || id2 != id {
				t.Fatalf("line %d: ids %s and %s, %v", n, id, id2, err)
			}
			e := &Event{ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator,
				StationSeq: 1, Data: o.Data}
			if o.Kind == KindEventCorrected {
				e.Subject = "LAP-014"
			}
			if o.Signed == nil && len(in) < MaxRecord/10 {
				if _, err := Encode(e); err != nil {
					t.Fatalf("line %d is accepted, but can't be recorded: %v", n, err)
				}
			}
		}
	})
}

// TestRecordTime: only the millisecond stands in an id; the event keeps the rest.
func TestRecordTime(t *testing.T) {
	o := parse(t, strings.Replace(packedLine, "06:11:00Z", "06:11:00.123456789Z", 1))
	if at, err := IDTime(idOf(t, o)); err != nil || !at.Equal(testTime.Add(123*time.Millisecond)) {
		t.Errorf("the id's time is %v, %v", at, err)
	}
	if o.Time.Nanosecond() != 123456789 {
		t.Errorf("the time is %v", o.Time)
	}
}

// TestLinesBesideEachOther: who reads lines while somebody else does, and stops in their middle, has his own.
func TestLinesBesideEachOther(t *testing.T) {
	line := func(set string) string {
		return fmt.Sprintf(`{"station":"north/storage","kind":"set.checked","time":"2026-03-02T11:00:00Z","set":%q,"data":{}}`+"\n", set)
	}
	read := func(set string) (next func() string, stop func()) {
		pull, stop := iter.Pull2(Observations(strings.NewReader(strings.Repeat(line(set), 3))))
		return func() string {
			_, r, ok := pull()
			if !ok || r.Err != nil {
				t.Fatalf("%s: %t, %v", set, ok, r.Err)
			}
			return r.Observation.Set
		}, stop
	}
	a, stopA := read("A-1")
	b, stopB := read("B-1")
	defer stopB()
	got := []string{a(), b(), a()}
	stopA() // with a line left
	c, stopC := read("C-1")
	defer stopC()
	got = append(got, c(), b(), c(), b(), c())
	if want := []string{"A-1", "B-1", "A-1", "C-1", "B-1", "C-1", "B-1", "C-1"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

package events

import (
	"cmp"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json/jsontext"
)

var update = flag.Bool("update", false, "write what each member of data may hold to testdata")

// TestBounds finds out what each member of data of every kind may hold, by trying: of numbers the least and the
// greatest, of texts which of some examples, of lists how many and whether one may stand twice. What that was is in
// testdata/bounds.txt: a line changes where a rule does, on purpose or not.
func TestBounds(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	for _, d := range wholeData() {
		p := prober{data: d, out: &b}
		p.member(reflect.ValueOf(d).Elem(), string(d.Kind()))
		if err := d.Check(); err != nil {
			t.Fatalf("%s was not put back: %v", d.Kind(), err)
		}
	}
	path := filepath.Join("testdata", "bounds.txt")
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Split(string(raw), "\n")
	got := strings.Split(b.String(), "\n")
	for i := range max(len(got), len(want)) {
		if i >= len(got) || i >= len(want) || got[i] != want[i] {
			t.Fatalf("line %d of %s is to be %q; if that is meant: go test ./events -run TestBounds -update",
				i+1, path, got[min(i, len(got)-1)])
		}
	}
}

// prober puts one value after the other into a member and asks whether the data is accepted.
type prober struct {
	data Data
	out  *strings.Builder
}

func (p *prober) accepts(v reflect.Value, x any) bool {
	old := reflect.ValueOf(v.Interface())
	defer v.Set(old)
	v.Set(reflect.ValueOf(x).Convert(v.Type()))
	return p.data.Check() == nil
}

func (p *prober) say(name, format string, args ...any) {
	fmt.Fprintf(p.out, "%s: %s\n", name, fmt.Sprintf(format, args...))
}

func (p *prober) member(v reflect.Value, name string) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			p.member(v.Field(i), name+"."+v.Type().Field(i).Name)
		}
	case reflect.Pointer:
		if p.accepts(v, reflect.Zero(v.Type()).Interface()) {
			p.say(name, "optional")
		}
		p.member(v.Elem(), name)
	case reflect.Slice:
		if v.Type() != reflect.TypeFor[jsontext.Value]() {
			p.list(v, name)
		}
	case reflect.Int64:
		p.number(v, name)
	case reflect.String:
		p.text(v, name)
	case reflect.Bool:
		p.say(name, "no %v, yes %v", p.accepts(v, false), p.accepts(v, true))
	default:
		p.say(name, "a %s, which is not looked at", v.Kind())
	}
}

// number looks for both ends of what is accepted around the number that is there.
func (p *prober) number(v reflect.Value, name string) {
	end := func(step int64) int64 { // the last one accepted in a direction, in steps that grow and then shrink
		good := v.Int()
		for p.accepts(v, good+step) && step > -1<<60 && step < 1<<60 {
			good, step = good+step, step*2
		}
		for ; step != 0; step /= 2 {
			if p.accepts(v, good+step) {
				good += step
			}
		}
		return good
	}
	lo, hi := end(-1), end(1)
	zero := ""
	if (lo > 0 || hi < 0) && p.accepts(v, int64(0)) {
		zero = "0 or "
	}
	p.say(name, "%s%d to %d", zero, lo, hi)
}

// list looks at how many there may be, which are like the first.
func (p *prober) list(v reflect.Value, name string) {
	var says []string
	if p.accepts(v, reflect.MakeSlice(v.Type(), 0, 0).Interface()) {
		says = append(says, "none")
	}
	if p.accepts(v, reflect.Append(v.Slice(0, v.Len()), v.Index(v.Len()-1)).Interface()) {
		says = append(says, "one twice")
	}
	const most = 1100 // more than any that is bounded may have
	good, bad := 1, most
	for bad-good > 1 {
		if mid := (good + bad) / 2; p.accepts(v, lengthened(v, mid).Interface()) {
			good = mid
		} else {
			bad = mid
		}
	}
	if good > 1 && good < most-1 {
		says = append(says, fmt.Sprintf("up to %d", good))
	}
	p.say(name, "%s", strings.Join(append(says, "some"), ", "))
	p.member(v.Index(0), name)
}

// lengthened is a list of so many that are like its first, each with a line of its own if it has one.
func lengthened(v reflect.Value, n int) reflect.Value {
	out := reflect.MakeSlice(v.Type(), n, n)
	for i := range n {
		out.Index(i).Set(v.Index(0))
		if x := out.Index(i); x.Kind() == reflect.Struct && x.FieldByName("Line").IsValid() {
			x.FieldByName("Line").SetInt(int64(i + 1))
		}
	}
	return out
}

// examples are texts that some member takes and another doesn't.
var examples = []struct{ name, text string }{
	{"empty", ""}, {"blank", " "}, {"id", "a"}, {"words", "a b"}, {"64", strings.Repeat("ä", 64)}, {"65",
		strings.Repeat("ä", 65)},
	{"400", strings.Repeat("ä", 400)}, {"401", strings.Repeat("ä", 401)}, {"no UTF-8", "\xff"}, {"line break", "a\nb"},
	{"separator", "\u2028"}, {"direction", "\u202e"}, {"digest", strings.Repeat("0a", 32)}, {"capital digest",
		strings.Repeat("0A", 32)},
	{"short digest", strings.Repeat("0a", 31)}, {"time", "2026-03-02T06:11:00Z"}, {"later", "2031-03-02T06:11:00Z"},
	{"time without zone", "2026-03-02T06:11:00"}, {"day", "2026-03-02"}, {"uuid",
		"019cad0c-7320-7000-8000-000000000000"},
	{"station", "north/packing-1"}, {"mark", Mark("one")}, {"sheet code", SheetCode{Trip: testTrip(0),
		Binding: [17]byte{7}}.String()},
}

// classes are what most members take, by the examples that these accept.
var classes = map[string]string{
	"id, " + anyID:                                      "an id",
	"empty, id, " + anyID:                               "an id or nothing",
	"id, words, 64, 65, 400, " + digestOn:               "a text",
	"empty, blank, id, words, 64, 65, 400, " + digestOn: "a text or nothing",
	"empty, " + "time, later":                           "a time or nothing",
	"empty, digest":                                     "a digest or nothing",
}

const (
	digestOn = "digest, capital digest, short digest, time, later, time without zone, day, uuid, station, mark, sheet code"
	anyID    = "64, " + digestOn
)

func (p *prober) text(v reflect.Value, name string) {
	var takes []string
	for _, x := range examples {
		if p.accepts(v, x.text) {
			takes = append(takes, x.name)
		}
	}
	if !slices.Contains(takes, "id") {
		for _, w := range words() {
			if p.accepts(v, w) {
				takes = append(takes, w)
			}
		}
	}
	s := strings.Join(takes, ", ")
	p.say(name, "%s", cmp.Or(classes[s], s))
}

// words are all that members of a few words each may hold.
func words() []string {
	out := []string{"pass", "fail", "none", "passed", "failed", "yes", "no", "void", "replace", "negative", "positive",
		"reconciled", "unreconciled", "required", "optional", "repeat-three-cycles", "since-last-negative"}
	out = appendWords(out, placements)
	out = appendWords(out, Sorts())
	out = appendWords(out, stages)
	out = appendWords(out, packageFaults)
	out = appendWords(out, []Aside{AsidePut, AsideReleased})
	out = appendWords(out, append(ReturnSteps(), LoanSteps()...))
	out = appendWords(out, returnFaults)
	out = appendWords(out, becames)
	out = appendWords(out, runTroubles)
	out = appendWords(out, append(temperatureUnits, pressureUnits...))
	out = appendWords(out, registers)
	out = appendWords(out, roles)
	out = appendWords(out, works)
	out = appendWords(out, Kinds())
	out = appendWords(out, patternKinds())
	out = appendWords(out, []ScheduleState{ScheduleBooked, ScheduleChanged, ScheduleCancelled})
	out = append(out, SheetScreen, SheetUnreadable, FoundNone)
	slices.Sort(out)
	return slices.Compact(out)
}

func appendWords[T ~string](out []string, of []T) []string {
	for _, w := range of {
		out = append(out, string(w))
	}
	return out
}

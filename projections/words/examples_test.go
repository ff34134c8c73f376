package words

import (
	"flag"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"listbound/events"
	"listbound/projections"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// update writes the sentences of the examples anew, from the details and data
// that stand there, and invents an example where there is none. What it wrote is
// for a person to read: go test ./projections/words -update; git diff.
var update = flag.Bool("update", false, "write the sentences of testdata/findings.json and events.json anew")

// exampleLanguages are those whose sentences the examples have to the letter.
var exampleLanguages = []string{"en", "de"}

const (
	findingsFile = "testdata/findings.json"
	eventsFile   = "testdata/events.json"
)

// foundExample is a finding with the sentences it makes, to the letter.
type foundExample struct {
	Code   projections.Code `json:"code"`
	Way    string           `json:"way"`
	Detail jsontext.Value   `json:"detail"`
	En     projections.Text `json:"en"`
	De     projections.Text `json:"de"`

	detail projections.Detail
}

func (x *foundExample) in(lang string) projections.Text {
	return map[string]projections.Text{"en": x.En, "de": x.De}[lang]
}

// eventExample is an event with the line it makes in a history.
type eventExample struct {
	Kind      events.Kind    `json:"kind"`
	Subject   string         `json:"subject"`
	Station   string         `json:"station"`
	Void      bool           `json:"void"`
	Corrected bool           `json:"corrected"`
	Data      jsontext.Value `json:"data"`
	En        string         `json:"en"`
	De        string         `json:"de"`

	line Line
}

func (x *eventExample) in(lang string) string { return map[string]string{"en": x.En, "de": x.De}[lang] }

func readExamples[T any](t testing.TB, file string) []T {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var out []T
	if err := json.Unmarshal(raw, &out, json.RejectUnknownMembers(true)); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	if len(out) == 0 {
		t.Fatalf("%s has no examples", file)
	}
	return out
}

func foundExamples(t testing.TB) []foundExample {
	t.Helper()
	all := readExamples[foundExample](t, findingsFile)
	for i := range all {
		x := &all[i]
		x.detail = projections.NewDetail(projections.Way{Code: x.Code, Name: x.Way})
		if x.detail == nil {
			t.Fatalf("example %d: there is no way %s of %s", i, x.Way, x.Code)
		}
		if err := json.Unmarshal(x.Detail, x.detail, json.RejectUnknownMembers(true)); err != nil {
			t.Fatalf("example %d, %s/%s: %v", i, x.Code, x.Way, err)
		}
	}
	return all
}

func eventExamples(t testing.TB) []eventExample {
	t.Helper()
	all := readExamples[eventExample](t, eventsFile)
	for i := range all {
		x := &all[i]
		x.line = Line{Kind: x.Kind, Subject: x.Subject, Station: x.Station, Void: x.Void, Corrected: x.Corrected}
		if !slices.Contains(events.Kinds(), x.Kind) {
			x.line.Data = &events.Unknown{Type: string(x.Kind)}
			continue
		}
		data, err := events.ParseObservedData(x.Kind, x.Data)
		if err != nil {
			t.Fatalf("example %d, %s: %v", i, x.Kind, err)
		}
		x.line.Data = data
	}
	return all
}

// TestExamples writes the examples anew where -update asks for it, and otherwise
// holds the files to the form in which they would be written.
func TestExamples(t *testing.T) {
	j := judgement(t)
	found, told := foundExamples(t), eventExamples(t)
	if *update {
		found, told = withInventedFindings(t, found), withInventedEvents(t, told)
		for i := range found {
			x := &found[i]
			x.En, x.De = j.Detail("en", x.Code, x.detail), j.Detail("de", x.Code, x.detail)
		}
		for i := range told {
			x := &told[i]
			x.En, x.De = j.Event("en", x.line), j.Event("de", x.line)
		}
	}
	for file, text := range map[string]string{findingsFile: formatFindings(t, found), eventsFile: formatEvents(t, told)} {
		old, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if string(old) == text {
			continue
		}
		if !*update {
			t.Errorf("%s is not written as -update writes it", file)
		} else if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// withInventedFindings adds an invented example of every way that has none.
func withInventedFindings(t *testing.T, have []foundExample) []foundExample {
	out := slices.Clone(have)
	for _, w := range projections.Ways() {
		if slices.ContainsFunc(have, func(x foundExample) bool { return x.Code == w.Code && x.Way == w.Name }) {
			continue
		}
		in := inventorOf(fmt.Sprintf("%s/%s", w.Code, w.Name))
		d := projections.NewDetail(w)
		in.fill(reflect.ValueOf(d).Elem(), "")
		in.agree(d)
		raw, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, foundExample{Code: w.Code, Way: w.Name, Detail: raw, detail: d})
	}
	return out
}

// withInventedEvents adds an invented example of every kind that has none.
func withInventedEvents(t *testing.T, have []eventExample) []eventExample {
	out := slices.Clone(have)
	for _, k := range events.Kinds() {
		if slices.ContainsFunc(have, func(x eventExample) bool { return x.Kind == k }) {
			continue
		}
		info, _ := k.Info()
		d := info.New()
		inventorOf(string(k)).fill(reflect.ValueOf(d).Elem(), "")
		raw, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		x := eventExample{Kind: k, Subject: "LAP-014", Station: "north/or-3", Data: raw}
		x.line = Line{Kind: k, Subject: x.Subject, Station: x.Station, Data: d}
		out = append(out, x)
	}
	return out
}

// inventorOf invents the same for the same name.
func inventorOf(name string) *inventor {
	seed := fnv.New64()
	seed.Write([]byte(name))
	return &inventor{rand.New(rand.NewPCG(1, seed.Sum64()))}
}

func formatFindings(t *testing.T, all []foundExample) string {
	items := make([]string, len(all))
	for i, x := range all {
		items[i] = fmt.Sprintf("  {\"code\": %s, \"way\": %s,\n    \"detail\": %s,\n    \"en\": %s,\n    \"de\": %s}",
			quote(t, x.Code), quote(t, x.Way), spaced(t, x.Detail), formatText(t, x.En), formatText(t, x.De))
	}
	return "[\n" + strings.Join(items, ",\n") + "\n]\n"
}

func formatText(t *testing.T, text projections.Text) string {
	return fmt.Sprintf("{\"says\": %s,\n      \"next\": %s}", quote(t, text.Says), quote(t, text.Next))
}

func formatEvents(t *testing.T, all []eventExample) string {
	items := make([]string, len(all))
	for i, x := range all {
		items[i] = fmt.Sprintf("  {\"kind\": %s, \"subject\": %s, \"station\": %s, \"void\": %t, \"corrected\": %t,\n"+
			"    \"data\": %s,\n    \"en\": %s,\n    \"de\": %s}", quote(t, x.Kind), quote(t, x.Subject), quote(t, x.Station),
			x.Void, x.Corrected, spaced(t, x.Data), quote(t, x.En), quote(t, x.De))
	}
	return "[\n" + strings.Join(items, ",\n") + "\n]\n"
}

func quote[T ~string](t *testing.T, s T) string {
	t.Helper()
	out, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// spaced writes a value in one line that can be read.
func spaced(t *testing.T, v jsontext.Value) string {
	t.Helper()
	out, err := jsontext.AppendFormat(nil, v, jsontext.SpaceAfterColon(true), jsontext.SpaceAfterComma(true))
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

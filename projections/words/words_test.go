package words

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"
)

// catalogue loads one from texts by language.
func catalogue(t testing.TB, files map[string]string) *Catalogue {
	t.Helper()
	c, err := Load(folder(files), "w")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func folder(files map[string]string) fstest.MapFS {
	fsys := make(fstest.MapFS)
	for lang, text := range files {
		fsys["w/"+lang+".json"] = &fstest.MapFile{Data: []byte(text)}
	}
	return fsys
}

type line struct {
	Line           int64
	Name           string
	Seen, Expected int64
}

type swapped struct {
	Set, Other string
	At         time.Time
	Times      int
	Ring       []string
	Lines      []line
	Stage      stage
	Opened     bool
}

type stage string

var at = time.Date(2026, 3, 3, 7, 20, 30, 0, time.UTC)

func TestSay(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{
		"plain": "Board",
		"braces": "{a} { } }} {123} %page%",
		"one-brace": "{a} of {0} {123} } {{if true}}yes{{end}}",
		"tenth": "{10}",
		"places": "{1} of {0}",
		"again": "{0}, {0} and {1}",
		"joined": ["one ", "two", " three {0}"],
		"in-action": "{{if eq {0} 1}}one{{else}}not one: {0}{{end}}",
		"quoted": "{{plural {0} \"one\" \"{0} line of {1}\" \"other\" \"{0} lines of {1}\"}}",
		"in-quotes": "{{print \"{0} lines\"}}",
		"values": "{{len .}}",
		"comment": "{{/* said \"{0} of a set */}}a {0}",
		"trimmed": "a {{- \" b\" -}} c {0}",
		"fields": "{{.Set}} with the sheet of {{.Other}} on {{time .At}}{{if gt .Times 1}}, {{.Times}} times{{end}}.",
		"lines": [
			"{{join \"; \" (each \"line\" (first 2 .Lines))}}",
			"{{with beyond 2 .Lines}}; {{num .}} more {{plural . \"one\" \"line\" \"other\" \"lines\"}}{{end}}"
		],
		"line": "line {{.Line}}{{with .Name}} ({{.}}){{end}}: {{.Seen}} counted, {{.Expected}} expected",
		"ring": "{{range $i, $set := .Ring}}{{if $i}}, {{end}}{{$set}} has the sheet of {{next $.Ring $i}}{{end}}",
		"listed": "{{list .Ring}}",
		"listed-args": "{{list {0} {1} \"c\"}}",
		"stage": "{{name \"stage-\" .Stage}}",
		"stage-first": "first count",
		"nested": "{{say \"fields\" .}} {{say \"places\" .Set 4}}",
		"has": "{{has \"places\"}} {{has \"no\"}}",
		"off": "{{if lt {0} 0}}{{abs {0}}} too many{{else}}{0} short{{end}}",
		"numbers": "{{num 1234567}} {{num 1.5}} {{kg 8350}}",
		"between": [
			"{{if sameDay {0} {1}}}on {{day {0}}} from {{clock {0}}} to {{clock {1}}}",
			"{{else}}{{time {0}}}{{end}}"
		],
		"took": "{{duration {0}}}",
		"letters": "2 January 2006, 15:04 MST",
		"written": "{{date \"letters\" {0}}}",
		"month": "Jan 2006",
		"month-first": "January 2",
		"told": "{{date \"month-first\" {0}}}"
	}`, "de": `{
		"places": "{0}: {1}",
		"listed": "{{list .Ring}}",
		"line": "Zeile {{.Line}}",
		"numbers": "{{num 1234567}} {{num 1.5}} {{kg 8350}}",
		"between": [
			"{{if sameDay {0} {1}}}am {{day {0}}} von {{clock {0}}} bis {{clock {1}}}",
			"{{else}}{{time {0}}}{{end}}"
		],
		"took": "{{duration {0}}}",
		"letters": "2. January 2006, 15:04 MST",
		"written": "{{date \"letters\" {0}}}",
		"month-of": "{{date \"month\" {0}}}",
		"month-first": "January 2006",
		"told": "{{date \"month-first\" {0}}}",
		"nested": "Satz: {{say \"fields\" .}} {{say \"places\" .Set 4}}"
	}`})
	c.OnError(func(err error) { t.Error(err) })
	s := swapped{Set: "LAP-014", Other: "LAP-022", At: at, Times: 3, Ring: []string{"A", "B", "C"}, Stage: "first",
		Lines: []line{{1, "Clamp", 3, 4}, {2, "", 1, 0}, {3, "", 1, 2}}}
	for _, x := range []struct {
		lang, key string
		args      []any
		want      string
	}{
		{"en", "plain", nil, "Board"},
		{"de", "plain", nil, "Board"},
		{"en", "braces", nil, "{a} { } }} {123} %page%"},
		{"en", "one-brace", []any{"A"}, "{a} of A {123} } yes"},
		{"en", "tenth", []any{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, "the eleventh"}, "the eleventh"},
		{"en", "in-quotes", []any{2}, "2 lines"},
		{"en", "values", []any{"a", "b"}, "2"},
		{"en", "places", []any{"set", 3}, "3 of set"},
		{"de", "places", []any{"set", 3}, "set: 3"},
		{"en", "places", []any{"{1}", "{{.}}"}, "{{.}} of {1}"}, // values stay as they are
		{"en", "again", []any{"a", "b", "unused"}, "a, a and b"},
		{"en", "joined", []any{3}, "one two three 3"},
		{"en", "in-action", []any{1}, "one"},
		{"en", "in-action", []any{2}, "not one: 2"},
		{"en", "quoted", []any{1, "A"}, "1 line of A"},
		{"en", "quoted", []any{2, "A"}, "2 lines of A"},
		{"en", "comment", []any{"b"}, "a b"},
		{"en", "trimmed", []any{"d"}, "a bc d"},
		{"en", "fields", []any{s}, "LAP-014 with the sheet of LAP-022 on 2026-03-03 07:20 UTC, 3 times."},
		{"en", "fields", []any{&s}, "LAP-014 with the sheet of LAP-022 on 2026-03-03 07:20 UTC, 3 times."},
		{"en", "fields", []any{map[string]any{"Set": "A", "Other": "B", "At": at, "Times": 1}},
			"A with the sheet of B on 2026-03-03 07:20 UTC."},
		{"en", "lines", []any{s}, "line 1 (Clamp): 3 counted, 4 expected; line 2: 1 counted, 0 expected; 1 more line"},
		{"en", "ring", []any{s}, "A has the sheet of B, B has the sheet of C, C has the sheet of A"},
		{"en", "listed", []any{s}, "A, B and C"},
		{"de", "listed", []any{s}, "A, B und C"},
		{"en", "listed", []any{swapped{Ring: []string{"A", "B"}}}, "A and B"},
		{"en", "listed", []any{swapped{Ring: []string{"A"}}}, "A"},
		{"en", "listed", []any{swapped{}}, ""},
		{"en", "listed-args", []any{"a", "b"}, "a, b and c"},
		{"en", "listed", []any{map[string]any{"Ring": [3]string{"A", "B", "C"}}}, "A, B and C"},
		{"en", "stage", []any{s}, "first count"},
		{"en", "stage", []any{swapped{Stage: "local"}}, "local"},
		{"en", "nested", []any{s}, "LAP-014 with the sheet of LAP-022 on 2026-03-03 07:20 UTC, 3 times. 4 of LAP-014"},
		{"de", "nested", []any{s}, "Satz: LAP-014 with the sheet of LAP-022 on 2026-03-03 07:20 UTC, 3 times. LAP-014: 4"},
		{"en", "has", nil, "true false"},
		{"en", "off", []any{-2}, "2 too many"},
		{"en", "off", []any{int64(2)}, "2 short"},
		{"en", "numbers", nil, "1,234,567 1.5 8.35"},
		{"de", "numbers", nil, "1.234.567 1,5 8,35"},
		{"en", "between", []any{at, at.Add(time.Hour)}, "on 2026-03-03 from 07:20 to 08:20"},
		{"de", "between", []any{at, at.Add(time.Hour)}, "am 03.03.2026 von 07:20 bis 08:20"},
		{"de", "between", []any{at, at.Add(25 * time.Hour)}, "03.03.2026 07:20 UTC"},
		{"en", "took", []any{90 * time.Minute}, "1 h 30 min"},
		{"en", "took", []any{-5 * time.Second}, "-5 s"},
		{"de", "took", []any{90*time.Minute + 400*time.Millisecond}, "1 Std. 30 Min."},
		{"de", "took", []any{time.Hour + time.Second}, "1 Std. 1 Sek."},
		{"de", "took", []any{time.Duration(0)}, "0 Sek."},
		{"de", "took", []any{1600 * time.Millisecond}, "2 Sek."},
		{"en", "written", []any{at}, "3 March 2026, 07:20 UTC"},
		{"de", "month-of", []any{time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)}, "Oct 2026"}, // an English layout
		{"de", "written", []any{at}, "3. März 2026, 07:20 UTC"},
		{"de", "told", []any{at}, "März 2026"},
		{"en", "told", []any{at}, "March 3"},
	} {
		if got := c.In(x.lang).Say(x.key, x.args...); got != x.want {
			t.Errorf("%s %s %v:\n got %q\nwant %q", x.lang, x.key, x.args, got, x.want)
		}
	}
}

// TestFailures: a text that fails is said in English, then as key and values;
// each failure is reported and none is a panic.
func TestFailures(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{
		"a": "set {0}", "b": "{0} {1}", "field": "{{.None}}", "type": "{{time .}}", "self": "{{say \"self\" .}}",
		"nil": "{{.Set}}", "method": "{{.Fail}}", "no-form": "{{plural {0} \"one\" \"x\"}}", "no-number": "{{num {0}}}",
		"uint": "{{kg {0}}}", "no-list": "{{join \", \" {0}}}", "next": "{{next {0} 1}}", "seq": "{{range .}}{{end}}",
		"odd": "{{plural {0} \"one\" \"x\" \"other\"}}",
		"part": "a {{say \"a\" .}}", "lacking": "{{say \"no such\"}}", "tail": "{{next {0} 7}}", "recursive": "{{list {0}}}"
	}`, "de": `{"a": "{{.None}} {0}", "b": "{{if}}", "part": "ein {{say \"a\" .}}"}`})
	for _, x := range []struct {
		lang, key string
		args      []any
		want      string
		reported  string // languages
		why       string // what the first report says
	}{
		{"en", "none", nil, "none", "en", "there is no text"},
		{"de", "none", nil, "none", "de", ""},
		{"en", "none", []any{"A", 2}, "none (A, 2)", "en", ""},
		{"de", "a", []any{"A"}, "set A", "de", ""},
		{"de", "part", []any{"A"}, "a set A", "de", ""}, // not half a German sentence
		{"de", "b", []any{"A", "B"}, "A B", "de", ""},
		{"de", "b", []any{"A"}, "b (A)", "de en", ""},
		{"en", "field", []any{line{Line: 3}}, "field ({Line:3 Name: Seen:0 Expected:0})", "en", ""},
		{"en", "field", []any{map[string]int{"a": 1}}, "field (map[a:1])", "en", ""},
		{"de", "type", []any{"no time"}, "type (no time)", "en", ""},
		{"en", "self", []any{1}, "self (1)", "en", "more than 12 deep: one includes itself"},
		{"en", "nil", []any{(*swapped)(nil)}, "nil (<nil>)", "en", ""},
		{"en", "nil", nil, "nil", "en", ""},
		{"en", "method", []any{failing{}}, "method ({})", "en", ""},
		{"en", "no-form", []any{2}, "no-form (2)", "en", "no text for \"other\", and none for other"},
		{"en", "no-number", []any{"2"}, "no-number (2)", "en", "is not a number"},
		{"en", "lacking", nil, "lacking", "en", ""},
		{"en", "tail", []any{[]int{1}}, "tail ([1])", "en", "no such place"},
		{"en", "recursive", []any{"alone"}, "alone", "", ""},
		{"en", "a", nil, "a", "en", "the value {0} was not given, only 0"},
		{"en", "uint", []any{uint64(1 << 63)}, "uint (9223372036854775808)", "en", "is not a whole number"},
		{"en", "uint", []any{uint64(1<<63 - 1)}, "9223372036854776.00", "", ""},
		{"en", "uint", []any{uint8(250)}, "0.25", "", ""},
		{"en", "uint", []any{"250"}, "uint (250)", "en", "is not a whole number"},
		{"en", "no-list", []any{"A"}, "no-list (A)", "en", "is not a list"},
		{"en", "next", []any{[]int{1}}, "next ([1])", "en", "no such place"},
		{"en", "odd", []any{2}, "odd (2)", "en", "none for other"},
		{"en", "seq", []any{walk(func(func(int) bool) { panic("no way on") })}, "seq (a walk)", "en", "the text failed: no way on"},
	} {
		var reported []string
		var why string
		c.OnError(func(err error) {
			if why == "" {
				why = err.Error()
			}
			var e *Error
			if !errors.As(err, &e) || e.Key != x.key {
				t.Errorf("%s %s: reported %v", x.lang, x.key, err)
			}
			reported = append(reported, e.Lang)
		})
		if got := c.In(x.lang).Say(x.key, x.args...); got != x.want {
			t.Errorf("%s %s: got %q, want %q", x.lang, x.key, got, x.want)
		}
		if got := strings.Join(reported, " "); got != x.reported {
			t.Errorf("%s %s: reported of %q, want %q", x.lang, x.key, got, x.reported)
		}
		if !strings.Contains(why, x.why) {
			t.Errorf("%s %s: reported %s, want %s", x.lang, x.key, why, x.why)
		}
	}
}

type failing struct{}

func (failing) Fail() string { panic("a method that fails") }

// walk is a list that fails while a text goes through it.
type walk func(yield func(int) bool)

func (walk) String() string { return "a walk" }

// TestDeepest: twelve texts may include each other; what is deeper is refused,
// before a text that includes itself fills the memory.
func TestDeepest(t *testing.T) {
	chain := func(n int, last string) string {
		var b strings.Builder
		for i := range n - 1 {
			fmt.Fprintf(&b, `"%d": "{{say \"%d\" .}}", `, i, i+1)
		}
		return fmt.Sprintf(`{%s"%d": "%s", "list": "{{list {0} {0} {0}}}", "format.list-middle": "{0}{1}", `+
			`"format.list-end": "{{say \"%d\" {0}}}."}`, b.String(), n-1, last, max(n-11, 0))
	}
	for n, want := range map[int]string{12: "A", 13: "0 (A)"} {
		c := catalogue(t, map[string]string{"en": chain(n, "{0}"), "de": `{"0": "{{say \"0\" .}} {{.None}}"}`})
		if got := c.In("en").Say("0", "A"); got != want {
			t.Errorf("%d texts: got %q, want %q", n, got, want)
		}
		if got := c.In("de").Say("0", "A"); got != want { // said in English when the German one fails
			t.Errorf("%d texts, in German: got %q, want %q", n, got, want)
		}
	}
	// A list that Go asks for stands in no text: its join is the first.
	for n, want := range map[int]string{12: "A", 13: "A, B"} {
		c := catalogue(t, map[string]string{"en": strings.TrimSuffix(chain(n, "{0}"), "}") + `, "format.list-two": "{{say \"1\" {0}}}"}`})
		if got := c.In("en").List([]string{"A", "B"}); got != want {
			t.Errorf("%d texts from Go's list: got %q, want %q", n, got, want)
		}
	}
	// A list is one inclusion, and its last join another.
	for n, want := range map[int]string{10: "AA.", 11: "list (A)"} {
		c := catalogue(t, map[string]string{"en": chain(n, "{0}")})
		if got := c.In("en").Say("list", "A"); got != want {
			t.Errorf("%d texts from a list: got %q, want %q", n, got, want)
		}
	}
}

// TestPlurals: the forms are those of each language, not those of English.
func TestPlurals(t *testing.T) {
	c := catalogue(t, map[string]string{
		"en": `{"n": "{0} {{plural {0} \"one\" \"tray\" \"other\" \"trays\"}}"}`,
		"de": `{"n": "{0} {{plural {0} \"one\" \"Sieb\" \"other\" \"Siebe\"}}"}`,
		"fr": `{"n": "{0} {{plural {0} \"one\" \"plateau\" \"other\" \"plateaux\"}}"}`,
		"pl": `{"n": "{0} {{plural {0} \"one\" \"taca\" \"few\" \"tace\" \"many\" \"tac\" \"other\" \"tacy\"}}"}`,
		"ja": `{"n": "{0} {{plural {0} \"other\" \"トレー\"}}"}`,
		"da": `{"n": "{0} {{plural {0} \"one\" \"bakke\" \"other\" \"bakker\"}}"}`,
		// Here thousands and millions end as small numbers do, which a fraction would change.
		"hr": `{"n": "{0} {{plural {0} \"one\" \"pladanj\" \"few\" \"pladnja\" \"other\" \"pladnjeva\"}}"}`,
		"is": `{"n": "{0} {{plural {0} \"one\" \"bakki\" \"other\" \"bakkar\"}}"}`,
	})
	for lang, want := range map[string][]string{
		"en": {"0 trays", "1 tray", "2 trays", "5 trays", "22 trays", "1000001 trays"},
		"de": {"0 Siebe", "1 Sieb", "2 Siebe", "5 Siebe", "22 Siebe", "1000001 Siebe"},
		"fr": {"0 plateau", "1 plateau", "2 plateaux", "5 plateaux", "22 plateaux", "1000001 plateaux"},
		"pl": {"0 tac", "1 taca", "2 tace", "5 tac", "22 tace", "1000001 tac"},
		"ja": {"0 トレー", "1 トレー", "2 トレー", "5 トレー", "22 トレー", "1000001 トレー"},
		"da": {"0 bakker", "1 bakke", "2 bakker", "5 bakker", "22 bakker", "1000001 bakker"},
		"hr": {"0 pladnjeva", "1 pladanj", "2 pladnja", "5 pladnjeva", "22 pladnja", "1000001 pladanj"},
		"is": {"0 bakkar", "1 bakki", "2 bakkar", "5 bakkar", "22 bakkar", "1000001 bakki"},
	} {
		for i, n := range []int64{0, 1, 2, 5, 22, 1_000_001} {
			if got := c.In(lang).Say("n", n); got != want[i] {
				t.Errorf("%s: got %q, want %q", lang, got, want[i])
			}
		}
	}
	if p := c.Check(); len(p) > 0 {
		t.Error(p)
	}
	// A single character between two places stays.
	c = catalogue(t, map[string]string{"en": `{"n": "{{print \"{0}-{1}\"}}"}`})
	if got := c.In("en").Say("n", "a", "b"); got != "a-b" {
		t.Errorf("got %q", got)
	}
	// A form that a text lacks is said as the rest are, wherever those stand.
	c = catalogue(t, map[string]string{"en": `{}`,
		"pl": `{"n": "{0} {{plural {0} \"one\" \"taca\" \"other\" \"tacy\" \"few\" \"tace\"}}"}`})
	for n, want := range map[int]string{1: "1 taca", 2: "2 tace", 5: "5 tacy"} {
		if got := c.In("pl").Say("n", n); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// TestLanguages: a language is a file, and a reader gets the nearest one.
func TestLanguages(t *testing.T) {
	c := catalogue(t, map[string]string{"de": `{}`, "en": `{"a": "a"}`, "pt-BR": `{"a": "b"}`,
		"nl": `{"language.name": "Nederlands"}`})
	if got := c.Languages(); !slices.Equal(got, []string{"en", "de", "nl", "pt-BR"}) {
		t.Errorf("languages %q", got)
	}
	for tag, want := range map[string]string{"de": "de", "de-AT": "de", "DE": "de", "nl": "nl", "pt": "pt-BR",
		"pt-BR": "pt-BR", "": "en", "en-US": "en", "ja": "en", "not a tag": "en"} {
		if got := c.In(tag).Tag(); got != want {
			t.Errorf("%q is said in %s, want %s", tag, got, want)
		}
	}
	for accept, want := range map[string]string{"de-AT,de;q=0.9,en;q=0.5": "de", "fr-FR,de;q=0.5": "de",
		"en;q=0.3,nl;q=0.7": "nl", "de;q=x": "en"} {
		if got := c.Match(accept).Tag(); got != want {
			t.Errorf("%q is said in %s, want %s", accept, got, want)
		}
	}
	for tag, want := range map[string]string{"en": "English", "de": "Deutsch", "nl": "Nederlands", "pt-BR": "pt-BR"} {
		if got := c.In(tag).Name(); got != want {
			t.Errorf("%s is called %q, want %q", tag, got, want)
		}
	}
	for tag, want := range map[string]bool{"nl": true, "de-CH": true, "ja": false, "lb": false, "": false, "x_": false} {
		if _, ok := c.Find(tag); ok != want {
			t.Errorf("%q is found: %v", tag, ok)
		}
	}
	if !c.In("pt-BR").Has("a") || c.In("nl").Has("a") {
		t.Error("Has does not go by the language's own texts")
	}
}

func TestLoadRefuses(t *testing.T) {
	for name, files := range map[string]map[string]string{
		"no JSON":         {"en": `{`},
		"a number":        {"en": `{"a": 1}`},
		"a key twice":     {"en": `{"a": "1", "a": "2"}`},
		"no language tag": {"german_words": `{}`},
	} {
		if _, err := Load(folder(files), "w"); err == nil || !strings.Contains(err.Error(), "w/") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestMerge: layers are one catalogue, the last one's text counts, and one
// layer's texts include those of another.
func TestMerge(t *testing.T) {
	under := catalogue(t, map[string]string{"en": `{"a": "a", "b": "b", "format.time": "15.04"}`, "de": `{"a": "ä"}`})
	over := catalogue(t, map[string]string{"en": `{"b": "B", "c": "{{say \"a\"}}{{say \"b\"}} {{time .}}"}`,
		"nl": `{"b": "bé"}`})
	c := Merge(under, over)
	c.OnError(func(err error) { t.Error(err) })
	for lang, want := range map[string]string{"en": "aB 07.20", "de": "aB 07.20", "nl": "aB 07.20"} {
		if got := c.In(lang).Say("c", at); got != want {
			t.Errorf("%s: got %q, want %q", lang, got, want)
		}
	}
	if got := c.In("nl").Say("b") + c.In("de").Say("a"); got != "béä" {
		t.Errorf("got %q", got)
	}
	if got := c.Languages(); !slices.Equal(got, []string{"en", "de", "nl"}) {
		t.Errorf("languages %q", got)
	}
}

// TestSlipInOwnWords: where words that are written over others fail, those are said, in their language, and not a key: what stops a
// set is not lost by somebody's typing error. What is told of it names the words that are wrong.
func TestSlipInOwnWords(t *testing.T) {
	under := catalogue(t, map[string]string{"en": `{"stop": "STOP: {0}", "go": "go"}`, "de": `{"stop": "HALT: {0}", "go": "los"}`})
	over := catalogue(t, map[string]string{"en": `{"stop": "Stop! {0} {1}", "go": "{{nothing}}"}`, "de": `{"stop": "Halt! {{if}}"}`})
	c := Merge(under, Merge(over))
	var reported []string
	c.OnError(func(err error) { reported = append(reported, err.Error()) })
	for lang, want := range map[string]string{"en": "STOP: A go", "de": "HALT: A los"} {
		if got := c.In(lang).Say("stop", "A") + " " + c.In(lang).Say("go"); got != want {
			t.Errorf("%s: %q, want %q", lang, got, want)
		}
	}
	if len(reported) != 3 {
		t.Errorf("reported: %q", reported)
	}
	var got []string
	for _, p := range c.Check() {
		got = append(got, strings.SplitAfter(p.String(), " template: ")[0])
	}
	want := []string{"en: go: does not parse: template: ", "en: stop: uses other values than what it is written over: has {1}",
		"de: stop: does not parse: template: "}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestZone(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{"t": "{{time .}}"}`, "de": `{"w": "{{time .}}"}`})
	l := c.In("de").InZone(time.FixedZone("CET", 3600))
	if got := l.Say("w", at); got != "03.03.2026 08:20 CET" {
		t.Errorf("got %q", got)
	}
	if got := l.Say("t", at); got != "2026-03-03 08:20 CET" { // English, in the reader's zone
		t.Errorf("got %q", got)
	}
	given := at.In(time.FixedZone("EET", 7200))
	if got := c.In("de").InZone(nil).Say("w", given); got != "03.03.2026 09:20 EET" {
		t.Errorf("got %q", got)
	}
	if got := c.In("de").Say("w", given); got != "03.03.2026 07:20 UTC" {
		t.Errorf("got %q", got)
	}
}

// TestFigures: as strconv rounds, in the language's signs; x/text's own rounding makes
// 0.1 of 0.9999.
func TestFigures(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{"t": "x"}`, "de": `{"t": "x"}`})
	for _, tt := range []struct {
		v      float64
		digits int
		en, de string
	}{
		{0.99999999, 2, "1", "1"}, {1, 2, "1", "1"}, {0.0045454, 2, "0.0045", "0,0045"}, {0.0995, 2, "0.1", "0,1"},
		{45.1127, 3, "45.1", "45,1"}, {975, 3, "975", "975"}, {16823.4, 3, "16,800", "16.800"}, {0, 3, "0", "0"},
		{0.00000123456, 3, "0.00000123", "0,00000123"}, {99.96, 3, "100", "100"}, {99.9999, 3, "100", "100"},
		{math.NaN(), 3, "NaN", "NaN"}, {math.Inf(1), 3, "+Inf", "+Inf"},
	} {
		if en, de := c.In("en").Figures(tt.v, tt.digits), c.In("de").Figures(tt.v, tt.digits); en != tt.en || de != tt.de {
			t.Errorf("%v to %d digits: %s and %s, want %s and %s", tt.v, tt.digits, en, de, tt.en, tt.de)
		}
	}
	for v := 0.0000097; v < 1e5; v *= 1.0037 {
		want, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
		if err != nil {
			t.Fatal(err)
		}
		got, err := strconv.ParseFloat(strings.ReplaceAll(c.In("en").Figures(v, 3), ",", ""), 64)
		if err != nil || got != want {
			t.Errorf("%v: %v (%v), want %v", v, got, err, want)
		}
	}
}

// TestLocal: the same texts as a place writes them. A pound is 453.59237 g
// (international agreement of 1959; from memory).
func TestLocal(t *testing.T) {
	c := catalogue(t,
		map[string]string{"en": `{"t": "{{time .}} {{weight 10000}}", "w": "{{sameMinute .From .To}}"}`,
			"de": `{"t": "{{time .}} {{weight 10000}}"}`})
	var told error
	c.OnError(func(err error) { told = err })
	local := c.For(Local{Zone: time.FixedZone("CET", 3600), Pounds: true})
	for l, want := range map[*Language]string{
		c.In("en"): "2026-03-03 07:20 UTC 10.00 kg", local.In("en"): "2026-03-03 08:20 CET 22.05 lb",
		c.In("de"): "03.03.2026 07:20 UTC 10,00 kg", local.In("de"): "03.03.2026 08:20 CET 22,05 lb",
	} {
		if got := l.Say("t", at); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if got := Grams(25); got != 11340 {
		t.Errorf("25 lb are %d g", got)
	}
	type window struct{ From, To time.Time }
	for d, want := range map[time.Duration]string{0: "true", 40 * time.Second: "true", time.Minute: "false"} {
		from := at.Truncate(time.Minute)
		if got := local.In("en").Say("w", window{from, from.Add(d)}); got != want {
			t.Errorf("%s apart: %s", d, got)
		}
	}
	if local.In("en").Say("nothing"); told == nil {
		t.Error("what fails in it is told to nobody")
	}
}

// TestGo: what Go code asks for without an entry.
func TestGo(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{}`, "de": `{}`})
	en, de := c.In("en"), c.In("de")
	for got, want := range map[string]string{
		en.Num(12345): "12,345", de.Num(12345): "12.345", de.Num(-1): "-1",
		en.Kg(8350): "8.35", de.Kg(12_345_678): "12345,68", en.Kg(0): "0.00",
		en.List([]string{"a", "b", "c"}): "a, b and c", de.List([]string{"a", "b"}): "a und b", de.List(nil): "",
		en.Time(at): "2026-03-03 07:20 UTC", de.Day(at): "03.03.2026", de.Clock(at): "07:20",
		en.Date("no-such", at): "2026-03-03T07:20:30Z",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if en.English() != en || de.English() != en {
		t.Error("English is not what is said where German lacks a text")
	}
	var failed []string
	c.OnError(func(err error) { failed = append(failed, err.Error()) })
	de.Date("no-such", at)
	if want := []string{"words of de: no-such: " + ErrNoText.Error()}; !slices.Equal(failed, want) {
		t.Errorf("reported %q, want %q", failed, want)
	}
	failed = nil
	broken := catalogue(t, map[string]string{"en": `{"format.list-two": "{{.None}}"}`})
	broken.OnError(func(err error) { failed = append(failed, err.Error()) })
	if got := broken.In("en").List([]string{"a", "b"}); got != "a, b" || len(failed) != 1 ||
		!strings.Contains(failed[0], "format.list-two") {
		t.Errorf("a list that can't be joined is %q, reported %q", got, failed)
	}
}

// TestUses: what a text takes and includes is found wherever it stands in it.
func TestUses(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{
		"all": [
			"{{if .If}}{{.Then}}{{else if .ElseIf}}{{.Or}}{{else}}{{.Else}}{{end}}{{range .Range}}{{.Item}}{{else}}{{.Empty}}{{end}}",
			"{{with $x := .With}}{{$x.Var}}{{else}}{{say \"part\" .Said}}{{end}}{{(index .Lines 0).Chain}}{{name \"stage-\" .Stage}}",
			"{{each \"part\" .Each}}{{date \"layout\" .At}}"
		],
		"part": "{0} {{.Part}}", "ten": "{10} {{print \"{3}\"}}", "layout": "2006"
	}`})
	l := c.In("en")
	want := []string{".At", ".Chain", ".Each", ".Else", ".ElseIf", ".Empty", ".If", ".Item", ".Lines", ".Or", ".Part", ".Range", ".Said",
		".Stage", ".Then", ".Var", ".With"}
	if got := l.Values("all"); !slices.Equal(got, want) {
		t.Errorf("values %q,\nwant %q", got, want)
	}
	if got := l.Values("ten"); !slices.Equal(got, []string{"{10}", "{3}"}) {
		t.Errorf("values %q", got)
	}
	if got := l.Includes("all"); !slices.Equal(got, []string{"part", "part", "layout", "stage-"}) {
		t.Errorf("includes %q", got)
	}
	if got := l.Includes("none"); len(got) != 0 {
		t.Errorf("a key without a text includes %q", got)
	}
}

// TestCheck: everything that is wrong with a language is named, and nothing else.
func TestCheck(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{
		"right": "{{.Set}} {{say \"at\" .First}}", "at": "{{.Place}} {{time .At}}", "missing": "x",
		"places": "{0} {1}", "fields": "{{range .Lines}}{{.Line}}{{end}}", "syntax": "x", "circle": "x",
		"plural": "{{plural .N \"one\" \"a\" \"other\" \"b\"}}", "lost": "{{say \"no such\"}}",
		"var": "{{with $x := .Set}}{{$x}}{{end}}", "bare": "{{say}}{{name}}"
	}`, "pl": `{
		"right": "{{.First.Place}}, {{time .First.At}}: {{.Set}}", "at": "{{time .At}} {{.Place}}",
		"places": "{1} {{if {2}}}{{end}}", "fields": "{{range .Lines}}{{.Item}}{{end}}", "syntax": "{{if}}",
		"circle": "{{say \"round\"}}", "round": "{{say \"circle\"}}", "format.list-two": "{0} i {1}", "lost": "x",
		"plural": "{{plural .N \"one\" \"a\" \"several\" \"b\"}}", "var": "{{with $x := .Set}}{{$x}}{{end}}",
		"forms": "{{plural .N \"one\" \"a\" \"few\" \"b\" \"other\" \"c\"}}",
		"spiral": "{{say \"circle\"}}", "far": "{{say \"further\"}}", "further": "{{say \"nowhere\"}}",
		"quote": "{{\"x", "comment": "{{/* x", "action": "{{.Set", "define": "{{define \"x\"}}{{end}}",
		"bare": "{{say}}{{name}}"
	}`})
	var got []string
	for _, p := range c.Check() {
		got = append(got, strings.SplitAfter(p.String(), " template: ")[0])
	}
	want := []string{
		`en: lost: includes what is not there: "no such"`,
		`pl: action: does not parse: an action is not closed with }}`,
		`pl: circle: includes what is not there: "round", which includes this one again`,
		`pl: comment: does not parse: a comment is not closed`,
		`pl: define: does not parse: a text can't define templates: make them entries of their own and include them with say`,
		`pl: far: is unknown to English`,
		`pl: fields: uses other values than English: lacks .Line, has .Item`,
		`pl: forms: is unknown to English`,
		`pl: forms: lacks plural forms: many`,
		`pl: further: includes what is not there: "nowhere"`,
		`pl: further: is unknown to English`,
		`pl: missing: is missing`,
		`pl: places: uses other values than English: lacks {0}, has {2}`,
		`pl: plural: lacks plural forms: few, many, other, "several" is no form`,
		`pl: quote: does not parse: a quoted text is not closed`,
		`pl: round: includes what is not there: "circle", which includes this one again`,
		`pl: round: is unknown to English`,
		`pl: spiral: is unknown to English`,
		`pl: syntax: does not parse: template: `,
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// TestCommon: the formats of this package are complete in every language.
func TestCommon(t *testing.T) {
	c, err := Load(commonFiles, "common")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range c.Check() {
		t.Error(p)
	}
	for _, lang := range c.Languages() {
		for _, key := range []string{"format.months", "format.months-short"} {
			if n := len(strings.Fields(c.In(lang).Say(key))); n != 12 {
				t.Errorf("%s: %s has %d names", lang, key, n)
			}
		}
	}
	if got := slices.Sorted(maps.Keys(c.common)); !slices.Equal(got, slices.Sorted(maps.Keys(c.own))) {
		t.Errorf("every catalogue has the formats of %q", got)
	}
}

// TestConcurrent: sentences are made by many at once; run it with -race.
func TestConcurrent(t *testing.T) {
	c := catalogue(t, map[string]string{"en": `{"a": "{{say \"b\" .}} {{num 1234}}",
		"b": "{{.Set}} {{list .Ring}} {{plural .Times \"other\" \"x\"}}"}`,
		"de": `{"b": "{{.Set}}: {{list .Ring}} {{num .Times}}"}`})
	s := swapped{Set: "S", Ring: []string{"A", "B"}, Times: 4321}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 200 {
				if got := c.In("en").Say("a", s); got != "S A and B x 1,234" {
					t.Errorf("got %q", got)
				}
				if got := c.In("de").Say("b", s); got != "S: A und B 4.321" {
					t.Errorf("got %q", got)
				}
			}
		})
	}
	wg.Wait()
}

func BenchmarkSay(b *testing.B) {
	c := catalogue(b, map[string]string{"en": `{
		"fields": ["{{.Set}} was found with the sheet of {{.Other}} on {{time .At}}",
			", {{.Times}} {{plural .Times \"one\" \"time\" \"other\" \"times\"}}."],
		"places": "{0} was found with the sheet of {1} on {2}, {3} times.",
		"nested": "{{join \"; \" (each \"line\" .Lines)}}",
		"line": "line {{.Line}} ({{.Name}}): {{.Seen}} counted, {{.Expected}} expected",
		"plain": "Board"
	}`})
	s := swapped{Set: "LAP-014", Other: "LAP-022", At: at, Times: 3, Lines: make([]line, 6)}
	l := c.In("en")
	for _, x := range []struct {
		key  string
		args []any
	}{{"fields", []any{s}}, {"places", []any{s.Set, s.Other, "2026-03-03", 3}}, {"nested", []any{s}}, {"plain", nil}} {
		b.Run(x.key, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				l.Say(x.key, x.args...)
			}
		})
	}
}

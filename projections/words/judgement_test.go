package words

import (
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	tree "text/template/parse"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/run"

	"github.com/go-json-experiment/json"
)

// judgement returns the sentences of this program, freshly read. What goes wrong
// in them fails the test.
func judgement(t testing.TB, further ...*Catalogue) *Judgement {
	t.Helper()
	j, err := NewJudgement(further...)
	if err != nil {
		t.Fatal(err)
	}
	j.Catalogue().OnError(func(err error) { t.Error(err) })
	return j
}

var severities = []projections.Severity{
	projections.SeverityNoted, projections.SeverityDoubtful, projections.SeverityBroken,
}

// TestFindingsAreSaid holds the examples of findings to the letter.
func TestFindingsAreSaid(t *testing.T) {
	j := judgement(t)
	for _, x := range foundExamples(t) {
		for _, lang := range exampleLanguages {
			if got, want := j.Detail(lang, x.Code, x.detail), x.in(lang); got != want {
				t.Errorf("%s/%s in %s of %s\nsays %s\nwant %s\nnext %s\nwant %s",
					x.Code, x.Way, lang, x.Detail, got.Says, want.Says, got.Next, want.Next)
			}
		}
	}
}

// TestEventsAreSaid holds the examples of lines in a history to the letter.
func TestEventsAreSaid(t *testing.T) {
	j := judgement(t)
	for _, x := range eventExamples(t) {
		for _, lang := range exampleLanguages {
			if got, want := j.Event(lang, x.line), x.in(lang); got != want {
				t.Errorf("%s in %s of %s\nsays %s\nwant %s", x.Kind, lang, x.Data, got, want)
			}
		}
	}
}

// TestCorrectedIsSaid: an event that was corrected is said as it stands, and as it was recorded first.
func TestCorrectedIsSaid(t *testing.T) {
	j := judgement(t)
	opened := func(ref string) *events.SetOpened { return &events.SetOpened{Case: ref} }
	line := func(d events.Data) string { return j.Event("en", Line{Kind: events.KindSetOpened, Data: d}) }
	first, now := line(opened("K-1")), line(opened("K-2"))
	got := j.Event("en", Line{Kind: events.KindSetOpened, Data: opened("K-2"), First: opened("K-1"), Corrected: true})
	if want := now + " (as corrected; first recorded: " + first + ")"; first == now || got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestLinePlace(t *testing.T) {
	for _, x := range []struct {
		data events.Data
		want projections.Place
	}{
		{&events.SetChecked{Place: " cart 7 "}, projections.Place{Name: "cart 7"}},
		{&events.SetChecked{Place: " "}, projections.Place{Name: "north/or-3"}},
		{&events.SetSterilized{Load: "S2-00-04"}, projections.Place{Load: "S2-00-04"}},
		{&events.SetOpened{Room: "OR 3"}, projections.Place{Name: "north/or-3"}},
	} {
		if got := (Line{Station: "north/or-3", Data: x.data}).Place(); got != x.want {
			t.Errorf("%s: place %+v, want %+v", x.data.Kind(), got, x.want)
		}
	}
	if got := (Line{Data: &events.SetChecked{Sheet: &events.Reading{Code: "no code"}}}).Code(); got != "" {
		t.Errorf("code %q", got)
	}
}

// TestEveryLanguageHasAll: the languages of this program have the same entries
// with the same values, and all of what is asked for by code, way, kind or
// severity.
func TestEveryLanguageHasAll(t *testing.T) {
	j := judgement(t)
	var want []string
	for _, c := range projections.Codes() {
		want = append(want, string(c)+"/name", string(c)+"/station", string(c)+"/when")
	}
	for _, w := range projections.Ways() {
		want = append(want, string(w.Code)+"/"+w.Name, string(w.Code)+"/"+w.Name+"/next")
	}
	for _, k := range events.Kinds() {
		want = append(want, "event/"+string(k), "event/"+string(k)+"/name")
	}
	corrected := []events.Kind{events.KindSetChecked, events.KindIndicatorRead, events.KindListIssued}
	for _, k := range append(events.DefaultPolicy().Links, corrected...) {
		want = append(want, "kind/"+string(k))
	}
	for _, s := range severities {
		want = append(want, "severity/"+string(s))
	}
	for r := events.Remark(1); r != 0; r <<= 1 {
		for _, key := range r.Keys() {
			want = append(want, "remark/"+key)
		}
	}
	for _, lang := range j.Languages() {
		for _, key := range want {
			if !j.Catalogue().In(lang).Has(key) {
				t.Errorf("judgement/%s.json has no entry %s", lang, key)
			}
		}
	}
	for _, p := range j.Catalogue().Check() {
		t.Error(p)
	}
}

// TestEveryTextIsSaid puts a mark in the place of every piece of text and says
// all examples, and an invented one of every way and kind that has none. A piece
// whose mark never shows depends on something that no example has, or nothing ever
// says it.
func TestEveryTextIsSaid(t *testing.T) {
	own, err := read(judgementFiles, "judgement") // its own: what is said of the program's files is everybody's
	if err != nil {
		t.Fatal(err)
	}
	j := &Judgement{build(own, judgement(t).Catalogue().common, Local{})}
	pieces := markTexts(j.Catalogue())
	if len(pieces) < 1000 {
		t.Errorf("only %d pieces of text are marked", len(pieces))
	}
	var out strings.Builder
	for _, lang := range j.Languages() {
		for _, x := range withInventedFindings(t, foundExamples(t)) {
			text := j.Detail(lang, x.Code, x.detail)
			out.WriteString(text.Says + text.Next)
		}
		for _, x := range withInventedEvents(t, eventExamples(t)) {
			out.WriteString(j.Event(lang, x.line))
		}
		for _, c := range projections.Codes() {
			out.WriteString(j.Detail(lang, c, nil).Says + j.Code(lang, c) + j.When(lang, c) + j.Station(lang, c, "", "LAP-014", "LAP-022"))
		}
		for _, w := range projections.Ways() {
			out.WriteString(j.Station(lang, w.Code, w.Name, "LAP-014", "LAP-022"))
		}
		for _, k := range events.Kinds() {
			out.WriteString(j.Kind(lang, k))
		}
		for _, s := range severities {
			out.WriteString(j.Severity(lang, s))
		}
		out.WriteString(strings.Join(j.Remarks(lang, ^events.Remark(0)), ""))
	}
	for _, m := range regexp.MustCompile(`⟦\d+⟧`).FindAllString(out.String(), -1) {
		delete(pieces, m)
	}
	for _, piece := range pieces {
		t.Errorf("no example says %s: add one that does to testdata; -update writes its sentences", piece)
	}
}

// markTexts replaces every piece of text of a catalogue by a mark, and returns
// what each mark stands for.
func markTexts(c *Catalogue) map[string]string {
	pieces := make(map[string]string)
	for lang, texts := range c.own {
		for key, t := range texts() {
			mark := func(s string) string {
				m := fmt.Sprintf("⟦%d⟧", len(pieces))
				pieces[m] = fmt.Sprintf("%q of %s in %s", s, key, lang)
				return m
			}
			marks := marker{mark, slices.Contains(exampleLanguages, lang)}
			switch {
			case strings.HasPrefix(key, "format."), key == "language.name": // no sentence, but how to write one
			case t.ready().tree == nil:
				t.source = mark(t.source)
			default:
				marks.node(t.tree.Root)
			}
		}
	}
	return pieces
}

// marker marks the pieces of a template.
type marker struct {
	mark func(string) string
	// eachForm: every form of a plural has a mark of its own. The examples are made
	// for the languages that have their sentences; another may have forms that none of
	// their numbers asks for, of which one that is said will do. Check names those that
	// it lacks.
	eachForm bool
}

func (m marker) node(n tree.Node) {
	switch n := n.(type) {
	case *tree.ListNode:
		if n != nil {
			for _, x := range n.Nodes {
				m.node(x)
			}
		}
	case *tree.TextNode:
		n.Text = []byte(m.mark(string(n.Text)))
	case *tree.ActionNode:
		m.node(n.Pipe)
	case *tree.IfNode:
		m.branch(&n.BranchNode)
	case *tree.RangeNode:
		m.branch(&n.BranchNode)
	case *tree.WithNode:
		m.branch(&n.BranchNode)
	case *tree.PipeNode:
		for _, c := range n.Cmds {
			m.command(c)
		}
	}
}

// command marks the forms of a plural, which are texts as well; other strings are
// keys.
func (m marker) command(c *tree.CommandNode) {
	f, _ := c.Args[0].(*tree.IdentifierNode)
	shared := ""
	for i, a := range c.Args {
		s, ok := a.(*tree.StringNode)
		if !ok || f == nil || f.Ident != "plural" || i%2 == 0 || i == 1 {
			m.node(a)
			continue
		}
		if shared == "" || m.eachForm {
			shared = m.mark(s.Text)
		}
		s.Text = shared
	}
}

func (m marker) branch(n *tree.BranchNode) {
	m.node(n.Pipe)
	m.node(n.List)
	m.node(n.ElseList)
}

// TestNothingIsProvenByACount: claims in testdata/never.json has the words with which
// a sentence of each language would say that nothing was retained. A count that
// came out right does not show that.
func TestNothingIsProvenByACount(t *testing.T) {
	j := judgement(t)
	raw, err := os.ReadFile("testdata/never.json")
	if err != nil {
		t.Fatal(err)
	}
	var never struct {
		Claims map[string][]string `json:"claims"`
	}
	if err := json.Unmarshal(raw, &never); err != nil {
		t.Fatal(err)
	}
	claims := never.Claims
	for _, lang := range j.Languages() {
		if len(claims[lang]) == 0 {
			t.Errorf("testdata/never.json lacks the words of %s that would claim that nothing was retained", lang)
		}
		for key, text := range j.Catalogue().own[lang].texts() {
			for _, bad := range claims[lang] {
				if strings.Contains(strings.ToLower(text.source), strings.ToLower(bad)) {
					t.Errorf("%s in %s claims too much: %s", key, lang, text.source)
				}
			}
		}
	}
	// Where a count came out right, what it does not prove is said with it.
	right := &projections.Midway{Set: "LAP-014", Stage: events.StageCavity, Then: projections.ThenRight, Noted: true}
	closed := Line{Kind: events.KindCaseClosed, Data: &events.CaseClosed{Case: "K-1", Outcome: "reconciled"}}
	for lang, want := range map[string]string{"en": "no proof by itself", "de": "allein ist kein Beweis"} {
		for _, said := range []string{j.Detail(lang, projections.CountShort, right).Next, j.Event(lang, closed)} {
			if !strings.Contains(said, want) {
				t.Errorf("%s does not say %q: %s", lang, want, said)
			}
		}
	}
}

// TestThirdLanguage: a language is a file that is read when the program starts. It
// is French under a tag for private use, since the program may come to speak French.
func TestThirdLanguage(t *testing.T) {
	files := fstest.MapFS{"qfr.json": {Data: []byte(`{
		"language.name": "français",
		"format.time": "02/01/2006 15:04 MST",
		"format.list-end": "{0} et {1}", "format.list-two": "{0} et {1}",
		"policy-decides": "La règle de l'établissement décide.",
		"link-missing/steps": "Il manque pour {{.Set}} : {{list (each ` + "`no-step`" + ` .Missing)}} ({{time .At}}).",
		"no-step": "{{name ` + "`kind/`" + ` .}}",
		"kind/set.sterilized": "la stérilisation", "kind/list.sealed": "le scellement de la liste",
		"link-missing/name": "une étape manque", "link-missing/station": "Il manque une étape de {0}",
		"event/station.retired": "station {{.Data.Station}} retirée : {{.Data.Reason}}",
		"event-corrected": "{0} (corrigé)",
		"remark/gap": "trou dans la numérotation",
		"severity/broken": "rompu"
	}`)}}
	french, err := Load(files, ".")
	if err != nil {
		t.Fatal(err)
	}
	j := judgement(t, french)
	if got := j.Languages(); !slices.Contains(got, "qfr") {
		t.Errorf("languages %q", got)
	}
	steps := &projections.StepsMissing{Set: "LAP-014", By: events.KindSetOpened,
		Missing: []events.Kind{events.KindListSealed, events.KindSetSterilized},
		At:      time.Date(2026, 3, 3, 7, 12, 0, 0, time.UTC)}
	retired := Line{Kind: events.KindStationRetired, Corrected: true,
		Data: &events.StationRetired{Station: "north/or-3", Reason: "x"}}
	for _, x := range []struct{ got, want string }{
		{j.Detail("qfr", projections.LinkMissing, steps).Says,
			"Il manque pour LAP-014 : le scellement de la liste et la stérilisation (03/03/2026 07:12 UTC)."},
		{j.Detail("qfr-CA", projections.LinkMissing, steps).Says, j.Detail("qfr", projections.LinkMissing, steps).Says},
		// What it lacks is said in English, in whole entries.
		{j.Detail("qfr", projections.LinkMissing, steps).Next, j.Detail("en", projections.LinkMissing, steps).Next},
		{j.Detail("it", projections.LinkMissing, steps).Says, j.Detail("en", projections.LinkMissing, steps).Says},
		{j.Detail("en", projections.SheetMoved, nil).Says,
			"count sheet in another place: this version of the program does not know how it came about."},
		{j.Detail("qfr", projections.SheetMoved, nil).Next, "La règle de l'établissement décide."},
		{j.Event("qfr", retired), "station north/or-3 retirée : x (corrigé)"},
		{j.Code("qfr", projections.LinkMissing), "une étape manque"},
		{j.Code("qfr", projections.CountShort), "count short"},
		{j.Code("qfr", "of-a-later-version"), "of-a-later-version"},
		{j.Kind("qfr", events.KindSetPacked), j.Kind("en", events.KindSetPacked)},
		{j.Kind("qfr", "set.of-a-later-version"), "set.of-a-later-version"},
		{j.Station("qfr", projections.LinkMissing, "", "LAP-014", ""), "Il manque une étape de LAP-014"},
		{j.Station("de", projections.SheetSwapped, "", "LAP-014", "LAP-022"),
			"FALSCHE ZÄHLLISTE: sie gehört zu LAP-022, nicht zu LAP-014"},
		{j.Station("qfr", "of-a-later-version", "", "LAP-014", ""), "of-a-later-version"},
		{j.Station("qfr", projections.SheetSwapped, "", "LAP-014", "LAP-022"),
			j.Station("en", projections.SheetSwapped, "", "LAP-014", "LAP-022")},
		{strings.Join(j.Remarks("qfr", events.RemarkGap|events.RemarkForm), "; "),
			"trou dans la numérotation; not in canonical form"},
		{j.Severity("qfr", projections.SeverityBroken), "rompu"},
	} {
		if x.got != x.want {
			t.Errorf("says %q\nwant %q", x.got, x.want)
		}
	}
}

// traces are what a template leaves where something went wrong.
var traces = []string{
	"{{", "}}", "`", "<no value>", "<nil>", "%!", "\x00", "0001", "  ", "..", " .", " ,", "( ",
}

func checkText(t *testing.T, j *Judgement, d projections.Detail, lang string, text projections.Text) {
	t.Helper()
	for _, s := range []string{text.Says, text.Next} {
		if s == "" || !strings.HasSuffix(s, ".") {
			t.Errorf("no sentence in %s: %q", lang, s)
		}
		for _, bad := range traces {
			if strings.Contains(s, bad) {
				t.Errorf("%q in %s: %s", bad, lang, s)
			}
		}
	}
}

var inventedTimes = []time.Time{
	time.Date(2026, 3, 2, 6, 15, 0, 0, time.UTC), time.Date(2026, 3, 2, 11, 45, 7, 0, time.UTC),
	time.Date(2026, 3, 3, 7, 12, 45, 0, time.UTC), time.Date(2026, 11, 30, 23, 59, 0, 0, time.UTC),
}

// inventedGrams are the weights of invented findings.
var inventedGrams = []int64{940, 8400, 11341, 14200}

// named returns all names and numbers of a sentence in order: every word with a
// digit. Times stand as their place among the invented ones.
func (j *Judgement) named(d projections.Detail, lang, s string) []string {
	l := j.c.In(lang)
	var from []string
	if d, ok := d.(*projections.TooFarApart); ok {
		from = append(from, l.Say("format.duration", split(d.Second.At.Sub(d.First.At))), "lapse-0")
	}
	if d, ok := d.(*projections.OverWeight); ok {
		is, errIs := l.weight(d.Grams, d.Limit)
		may, errMay := l.weight(d.Limit, d.Grams)
		if errIs != nil || errMay != nil {
			return []string{fmt.Sprint(errIs, errMay)}
		}
		from = append(from, is, "weight-0", may, "weight-1")
	}
	if d, ok := d.(*projections.LogContradicts); ok {
		for i, x := range d.Lacks {
			is, errIs := l.num(x.Shown())
			bound, errBound := l.num(x.Limit())
			if errIs != nil || errBound != nil {
				return []string{fmt.Sprint(errIs, errBound)}
			}
			from = append(from, is+" ", fmt.Sprintf("shown-%d ", i), bound+" ", fmt.Sprintf("limit-%d ", i))
		}
	}
	for i, g := range inventedGrams {
		from = append(from, l.Weight(g), fmt.Sprintf("weight-%d", i))
	}
	for i, t := range inventedTimes {
		from = append(from, l.Time(t), fmt.Sprintf("time-%d", i))
	}
	for i, t := range inventedTimes {
		from = append(from, l.Day(t), fmt.Sprintf("day-%d", i), l.Clock(t), fmt.Sprintf("clock-%d", i))
	}
	var out []string
	for _, w := range strings.Fields(strings.NewReplacer(from...).Replace(s)) {
		if w = strings.Trim(w, " .,;:()„“"); strings.ContainsAny(w, "0123456789") {
			out = append(out, w)
		}
	}
	slices.Sort(out)
	return out
}

// inventor fills details at random.
type inventor struct{ *rand.Rand }

// choices are what values of a type are taken from.
var choices = map[reflect.Type][]string{
	reflect.TypeFor[events.Placement](): {"inside-bag", "inside-bare", "outside", "screen"},
	reflect.TypeFor[events.Stage]():     {"first", "added", "cavity", "closing", "final", "relief", "stage-7"},
	reflect.TypeFor[events.Kind](): {"set.packed", "list.sealed", "set.sterilized", "set.opened", "set.counted",
		"case.closed", "set.checked", "kind-7"},
	reflect.TypeFor[projections.SheetSide]():      {"unread", "absent", "tray", "neither"},
	reflect.TypeFor[projections.Repeats]():        {"", "further-positive", "follows-positive", "negative", "awaited"},
	reflect.TypeFor[projections.CountedAgainst](): {"other-set", "other-packing", "altered", "unknown"},
	reflect.TypeFor[projections.Sequel]():         {"", "right", "differs", "leftOut", "later"},
	reflect.TypeFor[events.DayTest]():             {"bowie-dick", "leak"},
	reflect.TypeFor[events.ReleaseAsk]():          {"parameters", "indicator", "second-look"},
	reflect.TypeFor[run.Lack](): {"never-reached", "hold-short", "air", "superheated", "stuck", "over", "apart",
		"equilibration-long", "drying-short"},
	reflect.TypeFor[projections.BackWhy](): {"", "in-hand", "elsewhere", "at-count", "before", "substituted"},
}

func (in *inventor) fill(v reflect.Value, field string) {
	if of := choices[v.Type()]; of != nil {
		v.SetString(of[in.IntN(len(of))])
		return
	}
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(inventedTimes[in.IntN(len(inventedTimes))]))
		return
	case events.Remark:
		v.SetUint(1 + uint64(in.IntN(63)))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			in.fill(v.Field(i), v.Type().Field(i).Name)
		}
	case reflect.Pointer:
		if in.IntN(2) == 0 {
			v.Set(reflect.New(v.Type().Elem()))
			in.fill(v.Elem(), field)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), []int{1, 2, 3, 7, 8, 14}[in.IntN(6)], 14))
		for i := range v.Len() {
			in.fill(v.Index(i), field)
		}
	case reflect.String:
		v.SetString(in.text(field))
	case reflect.Bool:
		v.SetBool(in.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		if field == "Grams" || field == "Limit" {
			v.SetInt(inventedGrams[in.IntN(len(inventedGrams))])
			return
		}
		v.SetInt(1 + in.Int64N(20))
	default:
		panic(fmt.Sprintf("a field %s of type %s: say how to invent it", field, v.Type()))
	}
}

func (in *inventor) text(field string) string {
	switch field {
	case "Result":
		return []string{"passed", "failed"}[in.IntN(2)]
	case "Outcome":
		return []string{"reconciled", "unreconciled"}[in.IntN(2)]
	case "Station", "Reason", "Item":
		if in.IntN(3) == 0 {
			return ""
		}
	}
	return fmt.Sprintf("%s-%d", field, in.IntN(1000))
}

// agree makes the members of a detail go together where one rests on another.
func (in *inventor) agree(d projections.Detail) {
	changes := func(c *projections.Changes) {
		if c == nil {
			return
		}
		for i := range c.Lines {
			if l := &c.Lines[i]; l.OnSheet == nil && l.Right == nil {
				l.Right = &events.Line{Item: "Item-1", Description: "Description-2", Quantity: 3}
			}
		}
		if in.IntN(4) == 0 {
			c.Lines = nil
		}
	}
	window := func(w *projections.Window) {
		if in.IntN(4) == 0 {
			w.Places = nil
		}
	}
	switch d := d.(type) {
	case *projections.AnotherSetsSheet:
		changes(&d.Changes)
		window(&d.Window)
	case *projections.AnotherPacking:
		changes(&d.Changes)
		if in.IntN(3) == 0 {
			d.Packed = time.Time{}
		}
	case *projections.ProbablyWrong:
		window(&d.Window)
		if d.Carries != nil {
			d.Changes = new(projections.Changes)
		}
		changes(d.Changes)
	case *projections.WrongList:
		changes(d.Changes)
		if d.Against == projections.AgainstOtherSet && d.Sheet == nil {
			d.Sheet = &projections.TripKey{Set: "Set-4"}
		}
	case *projections.CountedAsAnother:
		changes(&d.Changes)
	case *projections.NoSheet:
		if d.Found != nil {
			d.On = &projections.TripKey{Set: "Set-5"}
		}
	case *projections.SealsDiffer:
		if d.Broken && in.IntN(2) == 0 {
			d.Gone, d.Strange = nil, nil
		}
	case *projections.ClosedOpen:
		if in.IntN(2) == 0 {
			d.Unaccounted, d.Actions = nil, nil
		}
		if in.IntN(2) == 0 {
			d.Uncounted = nil
		}
	case *projections.Recalled:
		if in.IntN(2) == 0 {
			d.Positive = d.Load
		}
	case *projections.TooFarApart:
		if d.Second.At.Before(d.First.At) {
			d.First.At, d.Second.At = d.Second.At, d.First.At
		}
	}
}

func BenchmarkFinding(b *testing.B) {
	j := judgement(b)
	all := foundExamples(b)
	for i := 0; b.Loop(); i++ {
		x := &all[i%len(all)]
		j.Detail("de", x.Code, x.detail)
	}
}

func BenchmarkEvent(b *testing.B) {
	j := judgement(b)
	all := eventExamples(b)
	for i := 0; b.Loop(); i++ {
		j.Event("de", all[i%len(all)].line)
	}
}

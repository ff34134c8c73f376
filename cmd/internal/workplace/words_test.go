//go:build !race

package workplace

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/texts"
	"listbound/events"
	"listbound/projections/facts"
)

// TestEveryWordHasAText: each key that the code or a page uses, and each that
// is put together from a name, has a text; and no text is left that nothing uses.
func TestEveryWordHasAText(t *testing.T) {
	catalogue, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	used := make(map[string]bool)
	const key = `\("([a-z0-9-]+[a-z0-9])"`
	var inGo []*regexp.Regexp // each begins with what is found without a regular expression, which takes a tenth of the time
	for _, call := range []string{`\.t`, "sayNo", "phrased"} {
		inGo = append(inGo, regexp.MustCompile(call+key))
	}
	inPages := regexp.MustCompile(`"workplace\.([a-z0-9-]+[a-z0-9])"`)
	files := 0
	for pattern, of := range map[string][]*regexp.Regexp{
		"*.go": inGo, "templates/*.html": nil, "../web/templates/*.html": nil,
	} {
		names, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			files++
			raw, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for _, re := range append(of, inPages) {
				for _, m := range re.FindAllStringSubmatch(string(raw), -1) {
					used[m[1]] = true
				}
			}
		}
	}
	if files < 15 || len(used) < 150 {
		t.Fatalf("%d keys in %d files: the search finds nothing", len(used), files)
	}
	use := func(prefix string, names ...string) {
		for _, n := range names {
			used[prefix+n] = true
		}
	}
	for _, s := range Stages() {
		use("stage-", string(s))
	}
	use("place-", Places()...)
	use("column-", mustHave...)
	for _, of := range registerColumns {
		use("column-", of...)
	}
	for _, before := range []string{"register-", "register-file-", "register-rule-", "register-hold-"} {
		use(before, text(events.Registers())...)
	}
	use("entry-", string(facts.EntryHolds), string(facts.EntryToCome), string(facts.EntryEnded))
	use("role-", text(events.Roles())...)
	use("emergency-", append(emergencies(), pinForgotten)...)
	use("do-emergency-", append(emergencies(), pinForgotten)...)
	use("sort-", text(events.Sorts())...)
	use("work-", text(events.Works())...)
	for _, k := range labelKinds {
		use("label-", k.name)
	}
	use("day-test-", text(events.DayTests())...)
	for _, before := range []string{"test-", "test-is-"} {
		use(before, events.TestPassed, events.TestFailed, events.TestNotDone)
	}
	use("about-", Places()...)
	use("begin-", Places()...)
	use("at-", CountPlaces()...)
	use("action-", Actions()...)
	use("reason-", Reasons()...)
	use("sign-", "whole", "open", "doubtful", "broken")
	for _, place := range Places() {
		use("back-", reasonsBack(place)...)
	}
	for _, c := range whyUnscanned() {
		use("unscanned-", c.Value)
		use("said-unscanned-", c.Value)
	}
	use("readback-found-", foundPlaces()...)
	use("readback-why-", append(text([]marks.Why{marks.Number, whyCorrected, whyForm, whyNoSum, marks.NumberToo, marks.Unmarked,
		marks.Pale, marks.Small, marks.StruckOut,
		marks.Smudged, marks.BesideBox, marks.Creased, marks.LineUnclear, marks.Outside, marks.Shape, marks.RunsOn}), whyBefore)...)
	use("readback-field-", paper.PlaceCase, paper.PlaceStart, paper.PlaceEnd, paper.PlaceCounter, paper.PlaceWitness,
		paper.PlaceDate, "time")
	use("readback-", "page-not", "page-read", "failed", noteSameFile, noteTwice, noteDiffers, notePackedSince, noteOldList, noteRecorded,
		noteMoreCame, noteLate)
	use("picture-", text(pictures.Causes())...)
	use("refused-", "other", "patient", "sheet-code")
	for key := range refusalKeys(t) {
		use("refused-", key)
	}
	use("task-", taskNames()...)
	for _, how := range []string{"done-", "otherwise-"} {
		use("task-"+how, taskNames()...)
	}
	use("thing-", "badge", "second-badge", "case", "tag", "outer", "sheet")
	use("hands-", "opening", "storage")
	use("do-aside-", "opening", "storage")
	use("fault-", append(events.Faults(), "line")...)
	use("value-", "cycle", "description", "item", "line", "list", "quantity", "title", "version",
		"mark", "names", "substitutes", "parts", "trayPlace", "badge", "set", "place", "sterilizer", "owner", "home", "where")
	use("readback-at-", "opened", "printed")
	use("readback-day-", "today", "yesterday")
	use("readback-twice-", "1", "2")
	use("unsay-", text([]events.ScanKind{events.ScanBadge, events.ScanCase, events.ScanSeal, events.ScanSet, events.ScanLoad})...)
	use("outcome-", "reconciled", "unreconciled")
	use("indicator-", "pass", "fail", "none")
	for _, f := range events.PackageFaults() {
		use("package-", string(f))
	}
	for _, s := range append(events.ReturnSteps(), events.LoanSteps()...) {
		use("step-", string(s))
		use("enter-returned-", string(s))
		use("recorded-returned-", string(s))
	}
	for _, f := range events.ReturnFaults() {
		use("return-", string(f))
	}
	for _, x := range events.Becames() {
		use("became-", string(x))
	}
	use("found-", "unreadable", events.FoundNone, string(events.InsideBag), string(events.InsideBare),
		string(events.Outside), string(events.Screen))
	for _, k := range []events.ScanKind{events.ScanSheet, events.ScanShort, events.ScanSet, events.ScanBadge,
		events.ScanLoad, events.ScanCase, events.ScanSeal, events.ScanItem, events.ScanPlace, events.ScanPlain, kindStation} {
		use("kind-", strings.ReplaceAll(string(k), " ", "-"))
	}
	for _, lang := range catalogue.Languages() {
		have := make(map[string]bool)
		for _, k := range catalogue.In(lang).Keys() {
			if k, ok := strings.CutPrefix(k, "workplace."); ok {
				have[k] = true
			}
		}
		for k := range used {
			if !have[k] {
				t.Errorf("%s: %q has no text", lang, k)
			}
		}
		for k := range have {
			if !used[k] {
				t.Errorf("%s: nothing uses %q", lang, k)
			}
		}
	}
}

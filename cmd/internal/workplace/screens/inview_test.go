//go:build !race

package screens_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// asker drives the places without a browser, in one language, and keeps each question with answers that a page asked.
type asker struct {
	h     *workplacetest.House
	lang  string
	place string
	n     int
	asks  any // of a count: the question that its page shows
	ref   string
	kept  map[string][]question // by place
}

// question is what a page asked. do are the actions of its answers.
type question struct {
	HTML string `json:"html"`
	Name string `json:"name"` // what to call it where something is wrong
	// Whole: on a phone all of it is to be seen without scrolling inside its panel.
	Whole bool `json:"whole"`
	do    []string
}

func (q *asker) send(verb, rest string) map[string]any {
	q.h.T.Helper()
	q.n++
	q.h.After(3 * time.Second)
	body := fmt.Sprintf(`{"client":"t","n":%d,%s}`, q.n, rest)
	if q.place == "count" {
		rev, _ := q.asks.(float64)
		body = fmt.Sprintf(`{"client":"t","n":%d,"rev":%v,"case":%q,"stage":"first",%s}`, q.n, rev, q.ref, rest)
	}
	a := q.h.Post("/at/north/or-3/"+q.place+"/"+verb+"?lang="+q.lang, body)
	q.asks = a["asks"]
	choices, _ := a["choices"].([]any)
	out := question{Name: fmt.Sprint(a["words"], " | ", a["next"]), Whole: q.place == "readback"}
	out.HTML, _ = a["verdict"].(string)
	for _, c := range choices {
		out.do = append(out.do, c.(map[string]any)["do"].(string))
	}
	known := slices.ContainsFunc(q.kept[q.place], func(o question) bool { return o.Name == out.Name && slices.Equal(o.do, out.do) })
	if len(choices) > 0 && out.HTML != "" && !known {
		q.kept[q.place] = append(q.kept[q.place], out)
	}
	return a
}

func (q *asker) scan(texts ...string) (a map[string]any) {
	q.h.T.Helper()
	for _, text := range texts {
		a = q.send("scan", `"text":`+workplacetest.JSONText(text))
	}
	return a
}

func (q *asker) do(action string, f ...string) map[string]any {
	q.h.T.Helper()
	fields := make(map[string]string)
	for i := 0; i < len(f); i += 2 {
		fields[f[i]] = f[i+1]
	}
	raw, err := json.Marshal(fields, json.Deterministic(true))
	if err != nil {
		q.h.T.Fatal(err)
	}
	return q.send("do", fmt.Sprintf(`"action":%q,"fields":%s`, action, raw))
}

func (q *asker) tag(set string) string   { return workplacetest.Label(q.h.T, events.ScanTag, set) }
func (q *asker) outer(set string) string { return workplacetest.Label(q.h.T, events.ScanOuter, set) }
func (q *asker) badge(b string) string   { return workplacetest.Label(q.h.T, events.ScanBadge, b) }

// opening asks all that is asked where sets are opened.
func (q *asker) opening() {
	h, wrong := q.h, q.h.Codes["LAP-014"]
	q.place = "opening"
	q.scan("QQ-7")
	q.do("take-as", "value", "")
	q.scan(q.outer("LAP-022"))
	q.do("clear")
	q.scan(q.tag("LAP-022"), q.outer("LAP-022"), h.Codes["LAP-022"])
	q.do("forget")
	// The twin's sheet, and each answer to it.
	q.scan(q.tag("LAP-022"), q.outer("LAP-022"), wrong)
	q.do("anyway")
	q.scan("1", workplacetest.Label(h.T, events.ScanCase, "K-7"))
	q.do("forget")
	q.scan(q.tag("LAP-022"), q.outer("LAP-022"), wrong)
	q.do("put-aside")
	q.do("found", "value", "outside")
	q.place = "storage"
	q.scan(q.badge("B-1"))
	q.place = "opening"
	q.do("found", "value", "outside") // the badge goes on here, and is shown first
	q.do("forget")
	// What was left lying.
	q.scan(q.tag("LAP-022"))
	h.After(5 * time.Hour)
	q.scan("")
	q.do("read-again")
	q.scan(q.tag("LAP-022"), q.outer("LAP-022"), wrong)
	h.After(5 * time.Hour)
	q.scan("")
	q.do("put-aside")
	q.scan("1")
	q.do("forget")
	// Cases: one that is closed, one written almost as another, a set that is open for it already.
	h.Used("K-0", "VAS-003")
	q.scan(workplacetest.Label(h.T, events.ScanCase, "K-0"))
	q.do("next-case")
	h.Open("LAP-014", "K-1")
	q.scan(workplacetest.Label(h.T, events.ScanCase, "K-I"))
	q.do("case-is", "value", "K-1")
	h.After(26 * time.Hour) // and one that was begun on another day
	q.scan(workplacetest.Label(h.T, events.ScanCase, "K-1"))
	q.do("old-case", "value", "K-1")
	q.scan(q.tag("LAP-014"), q.outer("LAP-014"), h.Codes["LAP-014"], "1", "*1", q.badge("B-1"))
	q.do("twice")
	q.scan("")
	q.do("take-back")
	policy := events.DefaultPolicy()
	policy.AllPages = true
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	q.scan(q.badge("B-1"), q.tag("LAP-022"), q.outer("LAP-022"), h.PageOf("LAP-022", 2, 3), "1")
	q.do("forget")
	h.HoldTo(events.RegisterPeople)
	q.scan(q.badge("B-99"))
}

// storage asks what is asked where sets are looked at.
func (q *asker) storage() {
	h := q.h
	q.place = "storage"
	q.scan(q.badge("B-1"), q.tag("LAP-022"), h.Codes["LAP-014"])
	q.do("put-aside")
	q.scan("1")
	q.do("take-back")
	q.do("next-person")
	q.scan(q.tag("LAP-022"), h.Codes["LAP-022"])
	q.do("release", "reason", "its own sheet was found")
	if a := q.scan("1"); a["hands"] != nil {
		h.T.Errorf("once it is released, STOP still says what to do with one's hands: %v", a["hands"])
	}
	q.do("forget")
	q.scan(q.tag("VAS-003"))
	h.After(5 * time.Hour)
	q.scan("")
	q.do("as-read")
	q.do("forget")
	q.scan(q.tag("VAS-003"))
	q.do("package", "value", "wet")
	q.do("forget")
	h.HoldTo(events.RegisterPlaces)
	_, err := h.Site.Enter(h.T.Context(), site.Entering{Register: events.RegisterPlaces, Operator: "B-1182",
		Entries: []events.Entry{&events.PlaceEntered{Place: "ST-A01", Title: "Sterile storage A"}}})
	if err != nil {
		h.T.Fatal(err)
	}
	h.After(time.Minute)
	q.do("where", "where", "ST-AO1")
}

// left asks whether what was left here still holds, and goes on with it.
func (q *asker) left() {
	q.h.After(time.Hour)
	a := q.scan("1")
	q.do("left-on", "value", workplacetest.Answer(a).Choice("left-on")["value"])
}

// packing asks what is asked where sets are packed.
func (q *asker) packing() {
	h := q.h
	q.place = "packing"
	q.scan("QQ-7")
	q.do("take-as", "value", "")
	q.scan(q.tag("LAP-014"))
	q.do("leave")
	q.scan(q.tag("VAS-O03"))
	h.Open("VAS-003", "K-1")
	q.scan(q.tag("VAS-003"))
	q.do("open", "value", "K-1")
	q.scan("3") // of four
	q.scan("1", "")
	l := workplacetest.ListShort()
	l.Version = 2
	h.Record("north/packing-1", events.KindListIssued, "", l)
	q.scan("")
	q.do("stay", "value", "2")
	q.scan("")
	q.do("clear")
	q.do("go-on")
	q.left()
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2, WeightGrams: 8400})
	h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
	h.Used("K-2", "VAS-003")
	q.scan("")
	q.do("outlived")
	q.scan("", "", "", "0.84", q.badge("B-1"), "")
	q.do("weighed", "value", "")
	q.scan("8.4", "")
	q.do("take-back")
	h.Used("K-3", "VAS-004")
	h.Record("north/or-3", events.KindSetReturned, "VAS-004", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnIncomplete}})
	q.scan(q.tag("VAS-004"))
}

// sealing asks what is asked where containers are closed.
func (q *asker) sealing() {
	h := q.h
	q.place = "sealing"
	h.Open("VAS-003", "K-1")
	q.scan(q.tag("VAS-003"))
	q.do("clear")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	q.scan(q.badge("B-1"), q.tag("LAP-014"), "2") // it is sterile since its run
	q.do("clear")
	q.scan(q.tag("VAS-003"), "1", "BG-7") // into a bag, by its lot
	q.do("lot-no")
	q.do("take-as", "value", "")
	q.scan("BG-17")
	q.do("bag-lot", "value", "BG-17")
	q.scan("")
	q.do("take-back")
	q.scan(q.tag("VAS-003"), "1")
	q.do("bag-lot", "value", "BG-17") // as the last time
	q.do("clear")
	q.scan(q.tag("VAS-003"), "3", "")
	q.do("take-back")
	q.scan(q.tag("LAP-022")) // the sheet that was printed is not scanned
	q.scan(h.Codes["LAP-014"])
	q.scan("1")
	a := q.scan(h.Codes["VAS-003"])
	q.do("sheet-none", "value", workplacetest.Answer(a).Choice("sheet-none")["value"])
	q.do("unscanned", "value", "gone")
	h.Record("north/packing-1", events.KindSetPacked, "LAP-030", &events.SetPacked{List: "LAP-MAJOR", Version: 1})
	q.scan(q.tag("LAP-030"), "4")
	h.Record("north/packing-1", events.KindListSealed, "LAP-030", &events.ListSealed{Placement: events.Screen}) // elsewhere
	a = q.scan("")
	q.do("close-again", "value", workplacetest.ChoiceOf(a, "once more"))
	q.do("leave")
	q.scan(q.tag("LAP-030"), "3", workplacetest.Label(h.T, events.ScanSeal, "483924")) // the lock of VAS-004
	q.do("seal-read", "value", "483924")
	q.do("seal-off", "value", "483924")
	q.do("clear")
	h.Record("north/storage", events.KindSetChecked, "LAP-022",
		&events.SetChecked{Tag: "LAP-022", SealBroken: true, Aside: events.AsidePut})
	a = q.scan(q.tag("LAP-022")) // it lies aside
	q.do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	q.do("clear")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	q.place = "sterilizer"
	q.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	q.scan(q.badge("B-1"), q.tag("VAS-003"))
	q.do("start")
	q.place = "sealing"
	q.scan(q.tag("VAS-003")) // it runs
	h.Record("north/storage", events.KindSetSterilized, "VAS-004", &events.SetSterilized{Load: "S1-0304-07",
		Sterilizer: "S1", Run: 7, Cycle: "c-134", Result: "failed"})
	q.place = "sterilizer"
	q.do("give-up")
}

// sterilizer asks what is asked of loads.
func (q *asker) sterilizer() {
	h := q.h
	q.place = "sterilizer"
	begin := func(run string) { q.do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134") }
	set := func(name string) string { return workplacetest.Label(h.T, events.ScanSet, name) }
	put := func(names ...string) { // sterile sets are asked about
		for _, name := range names {
			q.scan(set(name))
			q.do("put", "value", name)
		}
	}
	ended := func(result, released string) { q.do("result", "result", result, "released", released) }
	q.do("begin", "sterilizer", "S-1", "run", "7", "cycle", "c-134")
	begin("7")
	q.do("start")
	put("LAP-014", "LAP-022")
	q.scan(q.badge("B-1"))
	q.do("give-up")
	q.do("start")
	ended("passed", "yes") // so soon
	q.do("forget")
	h.After(20 * time.Minute)
	ended("passed", "yes")
	q.scan(q.badge("B-1"))
	begin("7") // a set was forgotten
	q.do("begin-too", "value", "S1-0304-07")
	put("VAS-003")
	ended("passed", "no")
	q.do("forget")
	ended("failed", "")
	q.do("ended-all", "value", "LAP-014, LAP-022")
	begin("8")
	q.scan(set("LAP-014"))
	q.do("leave-out")
	h.Open("VAS-004", "K-1")
	q.scan(set("VAS-004"))
	q.do("leave-out")
	put("VAS-009")
	h.Used("K-2", "VAS-009")
	q.do("start")
	q.do("give-up", "value", "S1-0304-08")
	// A load's indicator, with a badge and without.
	q.do("indicator", "load", "S1-0304-07")
	q.do("indicator", "load", "S1-0304-07", "result", "negative", "control", "positive", "incubated", "1")
	q.do("forget")
	q.do("next-person")
	q.do("indicator", "load", "S1-0304-01", "result", "positive", "control", "positive")
	q.place = "storage"
	q.scan(q.badge("B-2"))
	q.place = "sterilizer"
	q.do("nothing")
	q.scan("")
	q.do("forget")
	q.do("indicator", "load", "S1-0304-01", "result", "negative", "control", "positive")
	q.do("take-back")
	q.do("next-person")
	for _, result := range []string{"negative", "positive"} { // said, and left
		q.do("indicator", "load", "S1-0304-01", "result", result, "control", "positive")
		h.After(time.Hour)
		q.scan("")
		q.do("left-anew")
	}
	// Implants, and a run that another station recorded meanwhile.
	l := workplacetest.ListShort()
	l.Version, l.Implants = 2, true
	h.Record("north/packing-1", events.KindListIssued, "", l)
	for _, name := range []string{"VAS-004", "VAS-009"} {
		h.Used("K-3"+name, name)
		h.Record("north/packing-1", events.KindSetPacked, name, &events.SetPacked{List: "VAS-MINOR", Version: 2})
	}
	p := events.DefaultPolicy()
	p.ImplantIndicator = events.Required
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	begin("9")
	q.scan(q.badge("B-1"), set("VAS-004"))
	q.do("start")
	q.do("indicator", "load", "S1-0304-09", "result", "negative", "control", "positive") // so soon
	q.do("forget")
	h.After(20 * time.Minute)
	ended("passed", "yes")
	h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-009", &events.SetSterilized{Load: "S1-0304-09",
		Sterilizer: "S1", Run: 9, Cycle: "c-134", Result: "passed", Released: false})
	ended("passed", "no")
	q.scan(q.badge("B-1"))
	for _, x := range [][2]string{{"21", "VAS-003"}, {"22", "VAS-004"}} { // two in one sterilizer
		begin(x[0])
		q.scan(set(x[1]))
		q.do("put", "value", x[1])
		q.do("start")
	}
	h.After(20 * time.Minute)
	q.do("choose", "load", "S1-0304-21")
	ended("passed", "no")
	h.Record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: "S1-0304-21", Sterilizer: "S1",
		Result: "positive"})
	ended("passed", "yes") // though its indicator is positive
	q.do("forget")
	q.scan(q.badge("B-1"))
	q.do("indicator", "load", "S1-0304-01", "result", "positive", "control", "positive")
	q.do("take-back")
	q.do("take-back", "value", "wrong-load")
	// The case of a run for immediate use, and a load that was begun the day before.
	h.Open("VAS-003", "K-1")
	for run, ref := range map[string]string{"31": "K-I", "32": "QQ-8"} {
		q.do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134", "immediate", "it fell down", "for", ref)
	}
	q.do("for-none")
	begin("33")
	put("LAP-022")
	h.After(24 * time.Hour)
	q.scan(q.badge("B-1"))
	q.do("start")
	q.do("renumber", "value", "S1-0305-33")
	q.do("start", "value", "sure S1-0305-33")
	h.After(10 * time.Minute)
	q.do("undo")
	h.Used("K-3", "LAP-022")
	ended("passed", "yes")
	q.releaseAsks()
}

// releaseAsks asks what the policy asks for at the release of a load.
func (q *asker) releaseAsks() {
	h := q.h
	q.do("forget")
	h.ChangesPolicy(func(p *events.Policy) {
		p.ReleaseAsks = []events.ReleaseAsk{events.AskParameters, events.AskSecondLook}
	})
	q.do("begin", "sterilizer", "S1", "run", "34", "cycle", "c-134")
	q.scan(workplacetest.Label(h.T, events.ScanSet, "LAP-014"))
	q.do("put", "value", "LAP-014")
	q.scan(q.badge("B-1"))
	q.do("start", "value", "sure S1-0305-34")
	h.After(10 * time.Minute)
	q.do("result", "result", "passed", "released", "yes")
	q.do("parameters", "value", "S1-0305-34")
	q.do("forget")
	h.ChangesPolicy(func(p *events.Policy) { p.ReleaseAsks, p.DayTests = nil, events.DayTests() })
	q.do("result", "result", "passed", "released", "yes")
	q.do("test-why", "value", "S1-0305-34 bowie-dick")
	q.do("forget")
	q.do("result", "result", "passed", "released", "yes")
	q.do("test-failed", "value", "S1-0305-34 bowie-dick")
	q.do("result", "result", "passed", "released", "yes") // which that stops
	q.do("test", "sterilizer", "S1", "test", "leak", "result", "passed", "rate", "1.31", "unit", "mbar")
	q.do("forget")
	h.ChangesPolicy(func(p *events.Policy) { p.DayTests = nil })
}

// back asks what is asked on the way back, and of single pieces.
func (q *asker) back() {
	h := q.h
	q.place = "return"
	q.scan(q.tag("LAP-022"))
	q.do("leave")
	h.Used("K-0", "LAP-014", "VAS-003")
	q.scan(q.tag("LAP-014"))
	q.do("step", "value", "washed")
	q.do("load", "washer", "W1", "run", "3")
	q.scan(q.badge("B-1"), "")
	q.do("take-back")
	q.scan(q.badge("B-2"), q.tag("VAS-003"))
	q.do("fault", "value", "soiled")
	q.left()
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Used("K-4", "VAS-003")
	q.scan("")
	q.do("outlived")
	h.Record("north/storage", events.KindSetReturned, "VAS-003", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnSoiled}})
	q.do("clear")
	q.do("step", "value", "inspected")
	q.scan(q.tag("VAS-003"))
	q.place = "packing"
	q.scan(q.tag("VAS-003"))
	q.lacking()
	q.lent()
	q.place = "pieces"
	q.scan(q.tag("VAS-003"), "1")
	q.do("became", "value", "missed")
	q.scan(q.badge("B-1"), "")
	q.do("take-back")
	q.do("clear")
	q.scan(q.tag("LAP-022"), "1")
	q.do("became", "value", "repair")
	q.do("opened")
	q.scan("")
}

// count asks what is asked where a case is counted and closed.
func (q *asker) count() {
	h := q.h
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	q.place, q.ref = "count", "K-1"
	line := func(set string, n, counted int) {
		q.send("enter", fmt.Sprintf(`"lines":[{"set":%q,"line":%d,"counted":%d}]`, set, n, counted))
	}
	q.scan("P47110815")
	q.do("count-on")
	q.do("single", "set", "VAS-003", "what", "QX-7", "quantity", "1")
	q.do("count-on")
	a := q.scan(h.Codes["LAP-014"])
	q.do("sheet-with", "value", workplacetest.ChoiceOf(a, "VAS-003"))
	q.do("sheet-none", "value", h.Codes["LAP-014"])
	line("VAS-003", 1, 4)
	for _, why := range []string{"to pathology", "stays in situ"} {
		q.do("removed", "set", "VAS-003", "line", "1", "quantity", "1", "reason", why)
	}
	q.do("removed", "set", "VAS-003", "line", "1", "quantity", "0")
	q.do("interrupted")
	q.do("count-on")
	q.left()
	line("VAS-003", 2, 2)
	line("VAS-003", 3, 3)
	q.scan(q.badge("B-1"), q.badge("B-2"))
	q.do("sign")
	q.do("count-on")
	for i, n := range []int{4, 2, 3} {
		line("VAS-004", i+1, n)
	}
	h.After(3 * time.Second)
	q.scan(q.badge("B-2"))
	q.do("take-back")
	q.scan("")
	q.place = "close"
	q.scan(workplacetest.Label(h.T, events.ScanCase, "K-1"))
	q.do("reason", "reason", "the surgeon left")
	q.left()
	q.place = "count"
	for _, stage := range []events.Stage{events.StageClosing, events.StageFinal} {
		h.Signs("K-1", "VAS-003", stage)
		h.Signs("K-1", "VAS-004", stage)
	}
	q.scan("")
	q.place = "close"
	q.scan("QQ-7")
	q.do("take-as", "value", "")
	q.scan(workplacetest.Label(h.T, events.ScanCase, "K-1"), q.badge("B-3"), q.badge("B-4"))
	q.do("take-back")
	h.Record("north/packing-1", events.KindListIssued, "", workplacetest.Goods())
	q.place, q.ref = "count", ""
	q.scan("K-8") // no set is open for it
	h.Open("LAP-014", "K-5")
	q.place, q.ref = "count", "K-5"
	h.HoldTo(events.RegisterPeople)
	q.scan(q.badge("B-99"))
}

// lent asks how many go of a set on loan that came short, and how goods are counted in a case without a set.
func (q *asker) lent() {
	q.h.Record("north/storage", events.KindSetReturned, "LOAN-7", &events.SetReturned{Step: events.ReturnArrived, List: "VAS-MINOR",
		Version: 1, Exceptions: []events.Exception{{Line: 2, Counted: 1, Reason: events.ReasonMissing}}})
	q.h.Record("north/ledger", events.KindSetEntered, "", &events.SetEntered{Set: "LOAN-7", List: "VAS-MINOR", Owner: "Halden Loans"})
	q.place = "return"
	q.do("clear")
	q.do("step", "value", "handed-back")
	q.scan(q.badge("B-1"), q.tag("LOAN-7"))
	q.h.Record("north/packing-1", events.KindListIssued, "", workplacetest.Goods())
	q.place, q.ref = "count", ""
	q.scan("K-4711")
}

// lacking asks what is asked of a set by what it is known to lack.
func (q *asker) lacking() {
	h := q.h
	h.ClosedShort("K-6", "VAS-009")
	q.place = "return"
	q.do("clear")
	q.do("step", "value", "inspected")
	q.scan(q.badge("B-1"), q.tag("VAS-009"))
	q.do("leave")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-009", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	h.Used("K-7", "VAS-009")
	h.Record("north/storage", events.KindSetReturned, "VAS-009", &events.SetReturned{Step: events.ReturnReceived,
		Faults: []events.ReturnFault{events.ReturnDamaged}})
	q.place = "packing"
	q.do("clear")
	q.scan(q.tag("VAS-009"))
	q.do("clear")
}

// readback asks what is asked of a count sheet that is read back.
func (q *asker) readback() {
	h := q.h
	h.Open("VAS-004", "K-1")
	h.After(8 * time.Hour)
	h.LayPaper("VAS-003", "VAS-MINOR", 3,
		workplacetest.PaperPage{Page: 1, First: 1, Marks: map[events.Stage]string{events.StageFirst: "ta", events.StageClosing: "tn"}},
		workplacetest.PaperPage{Page: 2, First: 3, Marks: map[events.Stage]string{events.StageFirst: "t", events.StageClosing: "e"}})
	q.place = "readback"
	q.do("take-up", "value", h.Codes["VAS-003"])
	q.do("drop")
	q.do("again")
	q.do("without")
	q.do("case", "case", "K-2")
	q.do("case-sure", "value", "K-2")
	a := q.do("case", "case", "K-1")
	q.do("counted-by", "value", workplacetest.ChoiceOf(a, "VAS-003"))
	q.scan("0") // the date: today
	q.scan("0600")
	q.scan("0700")
	q.do("found", "value", "unknown")
	q.do("blank-page")
	q.do("not-stage")
	q.scan("0710", q.badge("B-1"))
	q.scan(q.badge("B-2"), "0800")
	q.do("enter")
	q.do("alone")
	q.do("as-printed")
	q.scan("1")
	q.scan(q.badge("B-3"))
	q.do("other-day")
	q.do("aside")
	q.recordedAlready()
}

// recordedAlready is what a sheet is asked whose count is on record already, and its case closed; and one whose date is wrong.
func (q *asker) recordedAlready() {
	h := q.h
	h.Open("VAS-009", "K-3")
	h.Record("north/or-3", events.KindSetCounted, "VAS-009", &events.SetCounted{Case: "K-3", Stage: events.StageFirst, Sheet: "screen",
		Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 1}}})
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-3", Outcome: "unreconciled",
		Actions: []string{"x-ray"}, Reason: "not found", Witness: "B-2"})
	lay := func(marks string) {
		h.LayPaper("VAS-009", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1,
			Marks: map[events.Stage]string{events.StageFirst: marks}})
		q.do("take-up", "value", h.Codes["VAS-009"])
		q.do("case", "case", "K-3")
	}
	late := func() {
		a := q.do("again")
		for _, words := range []string{"all the same", "Trotzdem"} {
			if v := workplacetest.ChoiceOf(a, words); v != "" {
				q.do("closed", "value", v)
			}
		}
	}
	q.do("form")
	q.do("form", "set", "VAS-009")
	q.do("case", "case", "K-3")
	late()
	q.do("leave-out", "value", "first")
	q.do("made")
	q.do("aside")
	lay("ttt")
	late()
	q.do("leave-out", "value", "first")
	q.do("not-stage")
	q.do("aside")
	lay("ttt")
	late()
	q.do("beside", "value", "first")
	q.do("not-stage")
	q.scan("1434", q.badge("B-1"), q.badge("B-2"))
	q.scan(q.badge("B-3"), q.badge("B-4"))
	lay("tte")
	late()
	q.do("not-stage")
	q.goods()
}

// goods asks what is asked of goods on a count sheet, and on a blank form.
func (q *asker) goods() {
	h := q.h
	h.Goods = workplacetest.Goods().Lines
	h.Record("north/packing-1", events.KindListIssued, "", workplacetest.Goods())
	h.LayPaper("VAS-004", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1, Grey: true,
		Marks: map[events.Stage]string{events.StageFirst: "ttt", events.StageClosing: "ttt", events.StageFinal: "ttt"},
		Goods: map[events.Stage]string{events.StageFirst: "nn", events.StageAdded: "ne", events.StageClosing: "te",
			events.StageFinal: "te"}})
	q.do("take-up", "value", h.Codes["VAS-004"])
	q.do("case", "case", "K-1")
	for _, at := range []string{"0710", "0800", "0900"} {
		q.scan(at, q.badge("B-1"), q.badge("B-2"))
	}
	q.do("no-goods")
	q.scan("10+10", "10")
	q.do("fewer", "value", "later")
	q.do("goods-none")
	q.do("aside")
	q.do("form", "set", "VAS-004")
	q.do("case", "case", "K-1")
	q.do("made")
	q.do("not-stage")
	q.do("not-stage")
	q.scan("0710", q.badge("B-1"), q.badge("B-2"), "4", "2", "3")
	q.do("on-form")
	q.do("aside")
	q.cameAlready()
}

// cameAlready is what a sheet is asked whose goods came by a station's count, too.
func (q *asker) cameAlready() {
	h := q.h
	x := h.Goods[0]
	h.Record("north/or-3", events.KindSetCounted, "VAS-004", &events.SetCounted{Case: "K-1", Stage: events.StageAdded, Sheet: "screen",
		Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 4, Counted: 10}},
		Beyond: []events.Beyond{{Line: 4, Item: x.Item, Description: x.Description, Sort: x.Sort}}})
	h.LayPaper("VAS-004", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1,
		Marks: map[events.Stage]string{events.StageFirst: "ttt", events.StageFinal: "ttt"},
		Goods: map[events.Stage]string{events.StageFirst: "n", events.StageAdded: "n", events.StageFinal: "t"}})
	q.do("take-up", "value", h.Codes["VAS-004"])
	q.do("case", "case", "K-1")
	for _, at := range []string{"0710", "0900"} {
		q.scan(at, q.badge("B-1"), q.badge("B-2"))
	}
	q.scan("10+10")
	q.do("came", "value", "same")
	q.do("aside")
	q.pageLate()
}

// pageLate is what is asked of a page that was read after the counts of its sheet were recorded, and where they are not added to here.
func (q *asker) pageLate() {
	h := q.h
	lay := func(page int, marks string) {
		h.LayPaper("VAS-004", "VAS-MINOR", 2, workplacetest.PaperPage{Page: page, First: int64(2*page - 1),
			Marks: map[events.Stage]string{events.StageFirst: marks, events.StageClosing: marks, events.StageFinal: marks}})
		q.do("take-up", "value", h.Codes["VAS-004"])
		q.do("without")
		q.do("case", "case", "K-1")
	}
	lay(1, "tt")
	for _, at := range []string{"0710", "0800", "0900"} {
		q.scan(at, q.badge("B-1"), q.badge("B-2"))
	}
	q.scan(q.badge("B-3"), q.badge("B-4"))
	lay(2, "t")
	h.ChangesPolicy(func(p *events.Policy) { p.MendMinutes = 1 })
	q.do("again")
	q.do("late", "value", "leave")
	q.do("aside")
}

// TestEveryQuestionIsInView: at 200 % zoom, on a phone, a tablet and a desk, in both languages, each question that a
// station asks shows its verdict, the word for it, the set, the stage, the line that is counted, the question and its
// first answer without anybody scrolling. Each answer that the code has is one of a question that was measured.
func TestEveryQuestionIsInView(t *testing.T) {
	t.Parallel()
	asked := make(map[string]map[string][]question) // by language and place
	do := make(map[string]bool)
	for _, lang := range []string{"en", "de"} {
		asked[lang] = make(map[string][]question)
		for _, tour := range []func(*asker){(*asker).opening, (*asker).storage, (*asker).packing, (*asker).sealing,
			(*asker).sterilizer, (*asker).back, (*asker).count, (*asker).readback} {
			h := workplacetest.NewHouse(t, "LAP-014", "LAP-022", "VAS-003", "VAS-004", "VAS-009")
			h.After(5 * time.Minute)
			tour(&asker{h: h, lang: lang, kept: asked[lang]})
		}
		for _, all := range asked[lang] {
			for _, q := range all {
				for _, action := range q.do {
					do[action] = true
				}
			}
		}
	}
	for _, action := range answersInCode(t) {
		if !do[action] {
			t.Errorf("no question with the answer %q was asked", action)
		}
	}

	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	sizes := []browsertest.Size{{Name: "zoom", Width: 512, Height: 384}, workplacetest.Phone, workplacetest.Tablet,
		{Name: "desk", Width: 1440, Height: 900}}
	shots := os.Getenv("LISTBOUND_SHOTS") != ""
	measured := 0
	for lang, places := range asked {
		for place, all := range places {
			address := h.At(place) + "?lang=" + lang
			if place == "count" {
				address += "&case=K-1"
			}
			p.Open(address)
			p.Await(`document.querySelector("#scan").dataset.ready`)
			if place == "count" {
				p.Await(`document.querySelector("tr.now")`)
			}
			raw, err := json.Marshal(all)
			if err != nil {
				t.Fatal(err)
			}
			for _, size := range sizes {
				p.Do(chromedp.EmulateViewport(size.Width, size.Height))
				for _, wrong := range browsertest.Eval[[]string](p, fmt.Sprintf(questionInView, raw)) {
					t.Errorf("%s, %s, %s: %s", place, size.Name, lang, wrong)
				}
				measured += len(all)
				for i := range all {
					if !shots {
						break
					}
					browsertest.Eval[bool](p,
						fmt.Sprintf(`(document.getElementById("verdict").innerHTML = %s[%d].html, scrollTo(0, 0), true)`, raw, i))
					p.View(fmt.Sprintf("question-%s-%02d-%s-%s", place, i, size.Name, lang))
				}
			}
		}
	}
	if measured < 400 {
		t.Errorf("%d questions were measured", measured)
	}
}

// answersInCode are the actions of all answers that the package's code offers.
func answersInCode(t *testing.T) (out []string) {
	t.Helper()
	files, err := filepath.Glob("../*.go")
	if err != nil {
		t.Fatal(err)
	}
	offered := regexp.MustCompile(`\b(?:choice)?\{?Do(?::|, c\.Words =) *"([a-z-]+)"`)
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		raw, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range offered.FindAllStringSubmatch(string(raw), -1) {
			out = append(out, m[1])
		}
	}
	slices.Sort(out)
	if out = slices.Compact(out); len(out) < 40 {
		t.Fatalf("only %d answers are found in the code", len(out))
	}
	return append(out, "outlived") // which has a name
}

// questionInView shows one question after the other where a page shows its verdict, and returns what a person doesn't see
// of it at once. Nothing of it is smaller than 24 CSS pixels.
const questionInView = `(questions => {
	const wrong = [], room = document.getElementById("verdict");
	const bar = document.querySelector(".bar"), shown = el => el?.checkVisibility({visibilityProperty: true});
	for (const q of questions) {
		room.innerHTML = q.html;
		room.scrollTop = 0;
		scrollTo(0, 0);
		const bottom = shown(bar) ? bar.getBoundingClientRect().top : innerHeight, inside = room.getBoundingClientRect();
		const say = what => wrong.push(q.name + ": " + what);
		if (q.whole && innerWidth < 500 && room.scrollHeight > room.clientHeight + 1) say("it scrolls by " + (room.scrollHeight - room.clientHeight));
		// All of an element, or its first lines.
		const look = (name, el, lines) => {
			if (!el || el.textContent.trim() === "") return say(name + " is not there");
			const box = el.getBoundingClientRect(), style = getComputedStyle(el), size = parseFloat(style.fontSize);
			if (size < 24 && el.tagName !== "BUTTON") say(name + " is " + size + " px");
			const end = lines ? Math.min(box.bottom, box.top + lines * 1.2 * size) : box.bottom;
			const low = room.contains(el) ? Math.min(inside.bottom, bottom) : bottom;
			if (box.top < -1 || box.left < -1 || box.right > innerWidth + 1 || end > low + 1) {
				return say(name + " ends at " + Math.round(end) + " of " + Math.round(low));
			}
			const top = document.elementFromPoint(box.left + Math.min(box.width, 60) / 2, box.top + Math.min(box.height, 30) / 2);
			if (!top || !(el.contains(top) || top.contains(el))) say(name + " is covered by " + top?.outerHTML.slice(0, 60));
		};
		const verdict = room.querySelector(".verdict"), tells = verdict.querySelector(".tells:not(.answer)");
		const next = verdict.querySelector(".next"), answers = [...verdict.querySelectorAll(".choices button")];
		look("the word", tells.querySelector(".sign"));
		look("the verdict", tells, next ? 2 : 0);
		if (verdict.querySelector(".of")) look("the name", verdict.querySelector(".of"));
		if (verdict.querySelector(".hands")) look("what to do with one's hands", verdict.querySelector(".hands"), 2);
		else if (next) look("the question", next);
		look("the stage", document.querySelector(".stick h1"));
		look("the first answer", answers[0]);
		const main = answers.find(b => b.classList.contains("main"));
		if (main) look("the main answer", main);
		for (const id of ["now-set", "now-line", "now-what"]) {
			if (document.getElementById(id)) look(id, document.getElementById(id));
		}
		if (document.documentElement.scrollWidth > innerWidth) say("the page is too wide");
	}
	return wrong;
})(%s)`

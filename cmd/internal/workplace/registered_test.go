package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// holdTo enters who and what a house has in its registers, and holds to them.
func (h *house) holdTo(rs ...events.Register) {
	h.t.Helper()
	h.after(time.Minute)
	enter := func(r events.Register, of ...events.Entry) {
		h.t.Helper()
		if _, err := h.site.Enter(h.t.Context(), site.Entering{Register: r, Entries: of, Operator: "B-1182"}); err != nil {
			h.t.Fatal(err)
		}
	}
	records := []events.Role{events.RoleRecords}
	enter(events.RegisterPeople,
		&events.PersonEntered{Badge: "B-1182", Roles: records}, &events.PersonEntered{Badge: "B-3322", Roles: records},
		&events.PersonEntered{Badge: "B-7", Roles: []events.Role{events.RoleAudits}},
		&events.PersonEntered{Badge: "B-3310", Roles: records}, &events.PersonEntered{Badge: "7788990", Roles: records})
	enter(events.RegisterPeople, &events.PersonEntered{Badge: "B-1000", Held: events.Held{Ended: true}})
	enter(events.RegisterSets, &events.SetEntered{Set: "VAS-003", Tags: []string{"70003"}}, &events.SetEntered{Set: "LAP-014"})
	enter(events.RegisterStations,
		&events.StationEntered{Name: "north/packing-1", Works: []events.Work{events.WorkPacking}},
		&events.StationEntered{Name: "north/or-3", Works: []events.Work{events.WorkRoom}},
		&events.StationEntered{Name: "north/sterilizer-1", Works: []events.Work{events.WorkSterilizer}, Sterilizers: []string{"S1"}})
	enter(events.RegisterSterilizers, &events.SterilizerEntered{Sterilizer: "S1", Cycles: []string{"dynamic-air-132"}},
		&events.SterilizerEntered{Sterilizer: "S2", Cycles: []string{"gravity-121"}})
	if err := h.site.HoldTo(h.t.Context(), rs, "B-1182", ""); err != nil {
		h.t.Fatal(err)
	}
	h.after(time.Minute)
}

// sends returns what sends what a page of a place sends, without a browser.
func (h *house) sends(station, place string) func(verb, rest string) map[string]any {
	n := 0
	return func(verb, rest string) map[string]any {
		h.t.Helper()
		n++
		h.after(3 * time.Second)
		return h.post("/at/north/"+station+"/"+place+"/"+verb, fmt.Sprintf(`{"client":"t","n":%d,%s}`, n, rest))
	}
}

func scanOf(text string) string { return `"text":` + jsonText(text) }

func pressOf(do, value string) string {
	return fmt.Sprintf(`"action":%q,"fields":{"value":%s}`, do, jsonText(value))
}

func wordsOf(a map[string]any) string {
	w, _ := a["words"].(string)
	return w
}

// choiceOf returns the value of an offered answer that says something, "" where none does.
func choiceOf(a map[string]any, says string) string {
	choices, _ := a["choices"].([]any)
	for _, c := range choices {
		if c := c.(map[string]any); strings.Contains(c["words"].(string), says) {
			return c["value"].(string)
		}
	}
	return ""
}

// TestStationsHoldToPeople: a badge that the register of people does not know or allow, a set's own code, and a station
// that is for something else are refused in one sentence when the badge is scanned. Access is claimed by a press, put on
// record with its reason before anything else, and told of; a plain badge of the register is asked about no more.
func TestStationsHoldToPeople(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.holdTo(events.RegisterPeople, events.RegisterStations)
	count := &counter{h: h, ref: "K-1", stage: "first"}
	count.lines("VAS-003", 4, 2, 3)
	size := h.size()
	for text, want := range map[string]string{
		"B-9999":                              "",
		label(t, events.ScanBadge, "B-9999"):  "B-9999 is not in the register of people",
		label(t, events.ScanBadge, "B-1000"):  "B-1000 is not, or no longer, in force",
		label(t, events.ScanBadge, "B-7"):     "By the register of people B-7 may not record here",
		label(t, events.ScanBadge, "B-11B2"):  "B-11B2 is not in the register",
		label(t, events.ScanBadge, "B-1l82"):  "B-1l82 is not in the register of people, and B-1182 looks like it",
		label(t, events.ScanBadge, "VAS-003"): "VAS-003 is a set, and can't be a person",
	} {
		h.after(time.Minute)
		if a := count.scan(text); want != "" && (!strings.Contains(wordsOf(a), want) || a["status"] != "broken") || h.size() != size {
			t.Errorf("%s: %v, want %q", text, a["words"], want)
		} else if offered := choiceOf(a, "called in") != ""; want != "" && offered != !strings.Contains(want, "is a set") {
			t.Errorf("%s: emergency access is offered: %v", text, offered)
		}
	}
	if a := count.scan("7788990"); !strings.Contains(wordsOf(a), "7788990") || a["status"] != "whole" {
		t.Errorf("a plain badge that the register has: %v", a["words"])
	}
	h.after(time.Minute)
	a := count.scan(label(t, events.ScanBadge, "B-9999"))
	if a = count.do("emergency", "value", choiceOf(a, "called in")); !strings.Contains(wordsOf(a), "recorded") {
		t.Errorf("with access the second badge signs: %v", a)
	}
	got := h.events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || got[0].(*events.SetCounted).Witness != "B-9999" || h.size() != size+2 {
		t.Fatalf("counts %+v, %d records", got, h.size()-size)
	}
	claim, err := h.site.EventAt(size + 1)
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := claim.Data.(*events.AccessClaimed); !ok || d.Badge != "B-9999" || claim.Station != "north/or-3" ||
		!strings.Contains(d.Reason, "called in") {
		t.Errorf("claimed is %+v", claim)
	}
	vs, err := h.site.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	told := 0
	for _, v := range vs {
		for _, f := range v.Findings {
			if f.Code == projections.EmergencyAccess && v.Set == "VAS-003" {
				told++
			}
		}
	}
	if told != 1 {
		t.Errorf("told of it %d times", told)
	}
	if a := count.do("emergency", "value", "because B-5"); a["status"] != "broken" || h.size() != size+2 {
		t.Errorf("an invented reason: %v", a["words"])
	}

	size = h.size()
	pack := h.sends("or-3", "packing")
	a = pack("scan", scanOf(label(t, events.ScanBadge, "B-1182")))
	if !strings.Contains(wordsOf(a), "By the register of stations north/or-3 is not for this") {
		t.Errorf("packing in an operating room: %v", a["words"])
	}
	a = pack("do", pressOf("emergency", choiceOf(a, "other device")))
	if a["status"] == "broken" || h.size() != size+1 || !strings.Contains(a["bench"].(string), "B-1182") {
		t.Errorf("in an emergency: %v, %d records", a["words"], h.size()-size)
	}
}

// TestStationsHoldToSets: a set that the register of sets does not have is asked about at its packing, and recorded as
// said; a tag that the register names is read as its set.
func TestStationsHoldToSets(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.holdTo(events.RegisterSets)
	pack := h.sends("packing-1", "packing")
	a := pack("scan", scanOf(label(t, events.ScanSet, "VAS-077")))
	if !strings.Contains(wordsOf(a), "VAS-077 is not in the register of sets") || choiceOf(a, "VAS-077") == "" {
		t.Fatalf("an unknown set: %v", a)
	}
	a = pack("do", pressOf("new", choiceOf(a, "VAS-077")))
	if strings.Contains(wordsOf(a), "not in the register") || !strings.Contains(a["bench"].(string), "VAS-077") {
		t.Errorf("said to be one: %v", a["words"])
	}
	store := h.sends("storage", "storage")
	if a := store("scan", scanOf("70003")); a["what"] != "VAS-003" || !strings.Contains(a["bench"].(string), "VAS-003") {
		t.Errorf("a tag that the register names: %v, %v", a["what"], a["words"])
	}
	if a := store("scan", scanOf("70004")); a["what"] == "VAS-004" {
		t.Errorf("a tag of nobody: %v", a["words"])
	}
}

// TestStationsHoldToSterilizers: the cycles of a station are those of its sterilizers, and a load of another one, or with
// another cycle, is not begun.
func TestStationsHoldToSterilizers(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.holdTo(events.RegisterSterilizers, events.RegisterStations)
	page := h.get("/at/north/sterilizer-1/sterilizer")
	if !strings.Contains(page, "dynamic-air-132") || strings.Contains(page, "gravity-121") {
		t.Error("the cycles offered are not those of the station's sterilizer")
	}
	load := h.sends("sterilizer-1", "sterilizer")
	begin := func(sterilizer, cycle string) map[string]any {
		return load("do", fmt.Sprintf(`"action":"begin","fields":{"sterilizer":%q,"run":"7","cycle":"","other":%q}`, sterilizer, cycle))
	}
	for _, x := range []struct{ sterilizer, cycle, want string }{
		{"S1", "nonsense", "dynamic-air-132"}, {"S2", "dynamic-air-132", "does not record loads of S2"}, {"S9", "dynamic-air-132", "S9"},
	} {
		if a := begin(x.sterilizer, x.cycle); a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"], a["more"]), x.want) {
			t.Errorf("%s, %s: %v %v", x.sterilizer, x.cycle, a["words"], a["more"])
		}
	}
	if a := begin("S1", "dynamic-air-132"); a["status"] == "broken" {
		t.Errorf("its own: %v %v", a["words"], a["more"])
	}
}

// TestRefusedBadgeOnScreen: what is said to an unknown badge is in sight at the tablet, and answered there.
func TestRefusedBadgeOnScreen(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	h.holdTo(events.RegisterPeople)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("opening"))
	p.Type(label(t, events.ScanBadge, "B-9999") + "\r")
	p.AwaitText("#verdict", "B-9999 is not in the register of people")
	p.AwaitText("#verdict", "shown on the board")
	const inSight = `(() => { const v = document.querySelector("#verdict").getBoundingClientRect();
		return [...document.querySelectorAll("#verdict p, #verdict button")].every(e => e.getBoundingClientRect().bottom <= v.bottom) })()`
	if !browsertest.Eval[bool](p, inSight) {
		t.Error("not all of it is in sight")
	}
	p.Axe()
	p.Shot("refused-badge-tablet")
	size := h.size()
	p.Touch(`#verdict [data-do="emergency"]`)
	p.AwaitText("#bench", "B-9999")
	if h.size() != size+1 {
		t.Errorf("%d records", h.size()-size)
	}
	p.Axe()
}

// TestPlacesAndLots: a place that looks like one of the register is asked about, at a scan and where it is typed, and one
// that is in it, by code or name, is not; a plain code that the policy describes as a place or a lot is taken as one.
func TestPlacesAndLots(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.holdTo(events.RegisterPlaces)
	_, err := h.site.Enter(t.Context(), site.Entering{Register: events.RegisterPlaces, Operator: "B-1182", Entries: []events.Entry{
		&events.PlaceEntered{Place: "ST-A01", Title: "Sterile storage A"}, &events.PlaceEntered{Place: "ST-A02"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	p := events.DefaultPolicy()
	p.Codes = []events.CodePattern{{Kind: events.ScanPlace, Like: "RAUM-9"}, {Kind: events.ScanLot, Like: "@@99*"},
		{Kind: events.ScanBadge, Like: "AB99-9999"}}
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	h.after(time.Minute)
	store := h.sends("storage", "storage")
	where := func(text string) map[string]any {
		return store("do", fmt.Sprintf(`"action":"where","fields":{"where":%q}`, text))
	}
	for text, like := range map[string]string{"ST-AO1": "ST-A01", "sterile storage-A": "Sterile storage A"} {
		a := where(text)
		if !strings.Contains(wordsOf(a), text+" looks like "+like) || choiceOf(a, "It is "+like) != like {
			t.Errorf("%s: %v", text, a["words"])
		}
		if a = store("do", pressOf("where", like)); !strings.Contains(a["bench"].(string), like) || strings.Contains(wordsOf(a), "looks like") {
			t.Errorf("%s, answered: %v", text, a["words"])
		}
		where(text)
		if a = store("do", pressOf("where", text)); !strings.Contains(a["bench"].(string), text) {
			t.Errorf("%s, as it is: %v", text, a["words"])
		}
	}
	for _, text := range []string{"ST-A02", "Sterile storage A", "The basement"} {
		if a := where(text); strings.Contains(wordsOf(a), "looks like") || !strings.Contains(a["bench"].(string), text) {
			t.Errorf("%s: %v", text, a["words"])
		}
	}
	for _, text := range []string{"ST-A01", "RAUM-7"} {
		if a := store("scan", scanOf(text)); a["kind"] != "place" || a["what"] != text {
			t.Errorf("%s is taken for %v %v: %v", text, a["kind"], a["what"], a["words"])
		}
	}
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	seal := h.sends("packing-1", "sealing")
	seal("scan", scanOf(label(t, events.ScanSet, "VAS-003")))
	seal("do", `"action":"placement","fields":{"placement":"inside-bag"}`)
	if a := seal("scan", scanOf("AB77-2026")); a["kind"] != "typed" || !strings.Contains(a["bench"].(string), "AB77-2026") {
		t.Errorf("a lot: %v %v", a["kind"], a["words"])
	}
}

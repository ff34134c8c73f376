//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

func scanOf(text string) string { return `"text":` + workplacetest.JSONText(text) }

func pressOf(do, value string) string {
	return fmt.Sprintf(`"action":%q,"fields":{"value":%s}`, do, workplacetest.JSONText(value))
}

func wordsOf(a map[string]any) string {
	w, _ := a["words"].(string)
	return w
}

// TestStationsHoldToPeople: a badge that the register of people does not know or allow, a set's own code, and a station
// that is for something else are refused in one sentence when the badge is scanned. Access is claimed by a press, put on
// record with its reason before anything else, and told of; a plain badge of the register is asked about no more.
func TestStationsHoldToPeople(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.HoldTo(events.RegisterPeople, events.RegisterStations)
	count := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	count.Lines("VAS-003", 4, 2, 3)
	size := h.Size()
	for text, want := range map[string]string{
		"B-9999": "",
		workplacetest.Label(t, events.ScanBadge, "B-9999"):  "B-9999 is not in the register of people",
		workplacetest.Label(t, events.ScanBadge, "B-1000"):  "B-1000 is not, or no longer, in force",
		workplacetest.Label(t, events.ScanBadge, "B-7"):     "By the register of people B-7 may not record here",
		workplacetest.Label(t, events.ScanBadge, "B-11B2"):  "B-11B2 is not in the register",
		workplacetest.Label(t, events.ScanBadge, "B-1l82"):  "B-1l82 is not in the register of people, and B-1182 looks like it",
		workplacetest.Label(t, events.ScanBadge, "VAS-003"): "VAS-003 is a set, and can't be a person",
	} {
		h.After(time.Minute)
		if a := count.Scan(text); want != "" && (!strings.Contains(wordsOf(a), want) || a["status"] != "broken") || h.Size() != size {
			t.Errorf("%s: %v, want %q", text, a["words"], want)
		} else if offered := workplacetest.ChoiceOf(a, "called in") != ""; want != "" && offered != !strings.Contains(want, "is a set") {
			t.Errorf("%s: emergency access is offered: %v", text, offered)
		}
	}
	if a := count.Scan("7788990"); !strings.Contains(wordsOf(a), "7788990") || a["status"] != "whole" {
		t.Errorf("a plain badge that the register has: %v", a["words"])
	}
	h.After(time.Minute)
	a := count.Scan(workplacetest.Label(t, events.ScanBadge, "B-9999"))
	if a = count.Do("emergency", "value", workplacetest.ChoiceOf(a, "called in")); !strings.Contains(wordsOf(a), "recorded") {
		t.Errorf("with access the second badge signs: %v", a)
	}
	got := h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || got[0].(*events.SetCounted).Witness != "B-9999" || h.Size() != size+2 {
		t.Fatalf("counts %+v, %d records", got, h.Size()-size)
	}
	claim, err := h.Site.EventAt(size + 1)
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := claim.Data.(*events.AccessClaimed); !ok || d.Badge != "B-9999" || claim.Station != "north/or-3" ||
		!strings.Contains(d.Reason, "called in") {
		t.Errorf("claimed is %+v", claim)
	}
	vs, err := h.Site.Broken(t.Context())
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
	if a := count.Do("emergency", "value", "because B-5"); a["status"] != "broken" || h.Size() != size+2 {
		t.Errorf("an invented reason: %v", a["words"])
	}

	size = h.Size()
	pack := h.Sends("or-3", "packing")
	a = pack("scan", scanOf(workplacetest.Label(t, events.ScanBadge, "B-1182")))
	if !strings.Contains(wordsOf(a), "By the register of stations north/or-3 is not for this") {
		t.Errorf("packing in an operating room: %v", a["words"])
	}
	a = pack("do", pressOf("emergency", workplacetest.ChoiceOf(a, "other device")))
	if a["status"] == "broken" || h.Size() != size+1 || !strings.Contains(a["bench"].(string), "B-1182") {
		t.Errorf("in an emergency: %v, %d records", a["words"], h.Size()-size)
	}
}

// TestStationsHoldToSets: a set that the register of sets does not have is asked about at its packing, and recorded as
// said; a tag that the register names is read as its set.
func TestStationsHoldToSets(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.HoldTo(events.RegisterSets)
	pack := h.Sends("packing-1", "packing")
	a := pack("scan", scanOf(workplacetest.Label(t, events.ScanSet, "VAS-077")))
	if !strings.Contains(wordsOf(a), "VAS-077 is not in the register of sets") || workplacetest.ChoiceOf(a, "VAS-077") == "" {
		t.Fatalf("an unknown set: %v", a)
	}
	a = pack("do", pressOf("new", workplacetest.ChoiceOf(a, "VAS-077")))
	if strings.Contains(wordsOf(a), "not in the register") || !strings.Contains(a["bench"].(string), "VAS-077") {
		t.Errorf("said to be one: %v", a["words"])
	}
	store := h.Sends("storage", "storage")
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
	h := workplacetest.NewHouse(t, "VAS-003")
	h.HoldTo(events.RegisterSterilizers, events.RegisterStations)
	page := h.Get("/at/north/sterilizer-1/sterilizer")
	if !strings.Contains(page, "dynamic-air-132") || strings.Contains(page, "gravity-121") {
		t.Error("the cycles offered are not those of the station's sterilizer")
	}
	load := h.Sends("sterilizer-1", "sterilizer")
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
	h := workplacetest.NewHouse(t, "VAS-003")
	h.HoldTo(events.RegisterPeople)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-9999") + "\r")
	p.AwaitText("#verdict", "B-9999 is not in the register of people")
	p.AwaitText("#verdict", "shown among the open incidents")
	const inSight = `(() => { const v = document.querySelector("#verdict").getBoundingClientRect();
		return [...document.querySelectorAll("#verdict p, #verdict button")].every(e => e.getBoundingClientRect().bottom <= v.bottom) })()`
	if !browsertest.Eval[bool](p, inSight) {
		t.Error("not all of it is in sight")
	}
	p.Axe()
	p.Shot("refused-badge-tablet")
	size := h.Size()
	p.Touch(`#verdict [data-do="emergency"]`)
	p.AwaitText("#bench", "B-9999")
	if h.Size() != size+1 {
		t.Errorf("%d records", h.Size()-size)
	}
	p.Axe()
	// Nobody claims what was not offered to them: a badge that was never shown here, or one whose button is gone.
	size = h.Size()
	for _, badge := range []string{"B-9998", "B-9999"} {
		h.Sends("storage", "storage")("do", `"action":"emergency","fields":{"value":"called-in `+badge+`"}`)
	}
	if h.Size() != size {
		t.Errorf("%d records of access that was not offered", h.Size()-size)
	}
}

// TestPlacesAndLots: a place that looks like one of the register is asked about, at a scan and where it is typed, and one
// that is in it, by code or name, is not; a plain code that the policy describes as a place or a lot is taken as one.
func TestPlacesAndLots(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.HoldTo(events.RegisterPlaces)
	_, err := h.Site.Enter(t.Context(), site.Entering{Register: events.RegisterPlaces, Operator: "B-1182", Entries: []events.Entry{
		&events.PlaceEntered{Place: "ST-A01", Title: "Sterile storage A"}, &events.PlaceEntered{Place: "ST-A02"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	p := events.DefaultPolicy()
	p.Codes = []events.CodePattern{{Kind: events.ScanPlace, Like: "RAUM-9"}, {Kind: events.ScanLot, Like: "@@99*"},
		{Kind: events.ScanBadge, Like: "AB99-9999"}}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	h.After(time.Minute)
	store := h.Sends("storage", "storage")
	where := func(text string) map[string]any {
		return store("do", fmt.Sprintf(`"action":"where","fields":{"where":%q}`, text))
	}
	for text, like := range map[string]string{"ST-AO1": "ST-A01", "sterile storage-A": "Sterile storage A"} {
		a := where(text)
		if !strings.Contains(wordsOf(a), text+" looks like "+like) || workplacetest.ChoiceOf(a, "It is "+like) != like {
			t.Errorf("%s: %v", text, a["words"])
		}
		if a = store("do", pressOf("where", like)); !strings.Contains(a["bench"].(string), like) ||
			strings.Contains(wordsOf(a), "looks like") {
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
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	seal := h.Sends("packing-1", "sealing")
	seal("scan", scanOf(workplacetest.Label(t, events.ScanSet, "VAS-003")))
	seal("do", `"action":"placement","fields":{"placement":"inside-bag"}`)
	if a := seal("scan", scanOf("AB77-2026")); a["kind"] != "typed" || !strings.Contains(a["bench"].(string), "AB77-2026") {
		t.Errorf("a lot: %v %v", a["kind"], a["words"])
	}
}

package sessions_test

import (
	"fmt"
	"html"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestScansAtOpening: what each scan is taken for, and what the page says.
func TestScansAtOpening(t *testing.T) {
	h := workplacetest.NewHouse(t)
	damaged := []byte(h.Codes["LAP-014"])
	damaged[20] ^= 1
	for name, c := range map[string]struct {
		scans []string
		kind  string
		sound string
		words string
	}{
		"own tag":           {[]string{workplacetest.Label(t, events.ScanTag, "LAP-014")}, "set", "ask", "outer label"},
		"the label outside": {[]string{workplacetest.Label(t, events.ScanOuter, "LAP-014")}, "set", "ask", "Scan the tag"},
		"an old label":      {[]string{workplacetest.Label(t, events.ScanSet, "LAP-014")}, "set", "ask", "Scan the tag"},
		"old and new label": {[]string{workplacetest.Label(t, events.ScanSet, "LAP-014"), workplacetest.Label(t,
			events.ScanOuter, "LAP-014")},
			"set", "ask", "Scan the tag"},
		"a second tag": {[]string{workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanTag, "LAP-022")},
			"set", "wrong", "third set"},
		"GS1 with prefix": {[]string{"]d28004LAP-014"}, "set", "ask", "outer label"},
		"GS1 in brackets": {[]string{"(8004)LAP-014"}, "set", "ask", "outer label"},
		"typed by hand":   {[]string{"LAP-014"}, "set", "ask", "outer label"},
		"a patient":       {[]string{"]C18018950600013435000012"}, "", "wrong", ""},
		"damaged code":    {[]string{string(damaged)}, "", "wrong", "Read what it says"},
		"sheet alone":     {[]string{h.Codes["LAP-022"]}, "sheet code", "ask", "This is the count sheet of LAP-022"},
		"label differs": {[]string{workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-022")},
			"set", "wrong", "LABEL"},
		"a third set":      {[]string{"LAP-014", "(8004)LAP-014", "VAS-003"}, "set", "wrong", "third set"},
		"a load":           {[]string{workplacetest.Label(t, events.ScanLoad, "S1-0304-01")}, "load", "wrong", "Read as “Load S1-0304-01”"},
		"never packed":     {[]string{workplacetest.Label(t, events.ScanSet, "ORT-9")}, "set", "wrong", "never packed"},
		"not known at all": {[]string{"QQ-1"}, "", "ask", "what is it?"},
		"both run together": {[]string{workplacetest.Label(t, events.ScanSet, "LAP-014") + h.Codes["LAP-014"]}, "sheet code",
			"good", "This count sheet belongs to LAP-014"},
	} {
		path := "/at/north/or-3/opening"
		h.Post(path+"/do", fmt.Sprintf(`{"client":%q,"n":1,"action":"forget","fields":{}}`, name))
		var a map[string]any
		for i, text := range c.scans {
			a = h.Post(path+"/scan", fmt.Sprintf(`{"client":%q,"n":%d,"text":%s}`, name, i+2, workplacetest.JSONText(text)))
		}
		kind, _ := a["kind"].(string)
		words, _ := a["words"].(string)
		if kind != c.kind || a["sound"] != c.sound || !strings.Contains(words, c.words) {
			t.Errorf("%s: taken for %q, sound %v, says %q and %q; want %q, %q, %q", name, kind, a["sound"], words,
				a["more"], c.kind, c.sound, c.words)
		}
		if next := a["next"]; name == "sheet alone" && next != "Scan the tag on the tray" {
			t.Errorf("%s: does not say what to scan next: %v", name, next)
		}
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Do("forget") // whichever of them was the last
	before := h.Size()
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanCase, "K-1"), "LAP-014", "(8004)LAP-014",
		h.Codes["LAP-014"], "1"} {
		s.Scan(text)
	}
	if h.Size() != before {
		t.Error("scans alone recorded something, though badge and case were known")
	}
	if s.Scan(""); h.Size() != before+1 {
		t.Errorf("Enter recorded %d, want the opening", h.Size()-before)
	}
}

// TestLabelIsNoTag: the label outside can't stand in for the tag on the tray,
// scanned or moved there by a button. Enter does not open a set whose tag is asked
// for; that there is none to read is said, and the opening says that it is not proved.
func TestLabelIsNoTag(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	outer := workplacetest.Label(t, events.ScanOuter, "LAP-014")
	s.Scan(outer)
	h.After(3 * time.Second)
	s.Scan(outer)
	s.Do("swap")
	for _, text := range []string{h.Codes["LAP-014"], "1", workplacetest.Label(t, events.ScanCase, "K-1"),
		workplacetest.Label(t, events.ScanBadge, "B-1")} {
		s.Scan(text)
	}
	before := h.Size()
	for range 3 {
		a := s.Scan("")
		if a["sound"] != "ask" || !strings.Contains(fmt.Sprint(a["words"], a["next"]), "Scan the tag on the tray") {
			t.Errorf("Enter, where the tag is asked for: %v | %v | %v", a["words"], a["next"], a["sound"])
		}
	}
	if s.Do("record"); h.Size() != before {
		t.Fatal("opened, though the page asks for the tag")
	}
	if a := s.Do("no-tag", "value", "yes"); !strings.Contains(fmt.Sprint(a["words"], a["next"]), "Enter records: LAP-014 opened for K-1") ||
		!strings.Contains(fmt.Sprint(a["words"]), "TAG on the tray was not read") {
		t.Errorf("no tag to read: %v | %v", a["words"], a["next"])
	}
	s.Scan("LAP-014") // the label outside once more: a plain code is no tag now
	a := s.Scan("")
	opened := h.Events(site.Query{Case: "K-1"}, events.KindSetOpened)
	if len(opened) != 1 {
		t.Fatalf("%d openings recorded: %v", len(opened), a["words"])
	}
	if d := opened[0].(*events.SetOpened); d.Tag != "" || d.OuterLabel != "LAP-014" {
		t.Errorf("recorded: tag %q, label %q", d.Tag, d.OuterLabel)
	}
	if words := fmt.Sprint(a["words"], a["more"]); a["status"] != "doubtful" || !strings.Contains(words, "TAG on the tray was not read") {
		t.Errorf("%v: %s", a["status"], words)
	}
	// In the store a closed set is seen from outside, which is said.
	s = &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	for _, text := range []string{workplacetest.Label(t, events.ScanOuter, "LAP-022"), workplacetest.Label(t, events.ScanBadge, "B-1")} {
		s.Scan(text)
	}
	if a := s.Scan(""); !strings.Contains(a["words"].(string), "which tray is inside is not proved") {
		t.Errorf("a look from outside: %v", a["words"])
	}
}

// TestShortCodeIsNoReading: a short code compares and is not recorded.
func TestShortCodeIsNoReading(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014", "LAP-022")
	short := func(set string) string {
		c, err := events.ParseSheetCode(h.Codes[set])
		if err != nil {
			t.Fatal(err)
		}
		return c.Short()
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	if a := s.Scan(short("LAP-014")); !strings.Contains(a["words"].(string), "scan the tag of the set first") {
		t.Errorf("without a set: %v", a["words"])
	}
	s.Scan("LAP-014")
	if a := s.Scan(short("LAP-014")); a["status"] != "doubtful" || !strings.Contains(a["words"].(string), "fits LAP-014") {
		t.Errorf("its own: %v", a["words"])
	}
	if a := s.Scan(short("LAP-022")); a["status"] != "broken" {
		t.Errorf("another's: %v", a["words"])
	}
}

// TestSecondLook: a list of the policy's asks for a second badge at
// packing, and the same press sent twice packs once.
func TestSecondLook(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	p := events.DefaultPolicy()
	p.SecondLook = []string{"VAS-MINOR"}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	s.Scan("VAS-003")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	for range 3 {
		s.Scan("")
	}
	if a := s.Scan("8,4"); !strings.Contains(a["words"].(string), "second look") {
		t.Fatalf("after the weight: %v", a["words"])
	}
	before := h.Size()
	if s.Scan(""); h.Size() != before {
		t.Fatal("packed without the second look")
	}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	s.Scan("")
	again := &workplacetest.Scanner{House: h, Path: s.Path, Number: s.Number - 1}
	again.Scan("")
	if h.Size() != before+1 {
		t.Errorf("%d records, want 1", h.Size()-before)
	}
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	if d := got[len(got)-1].(*events.SetPacked); d.SecondLook != "B-2" || d.WeightGrams != 8400 {
		t.Errorf("packed: %+v", d)
	}
}

// TestStationsThatMayNotRecord: an unknown station and another's key.
func TestStationsThatMayNotRecord(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-99/opening"}
	if a := s.Scan("VAS-003"); !strings.Contains(fmt.Sprint(a["error"]), "not enrolled") {
		t.Errorf("an unknown station: %v", a)
	}
	if _, err := h.Site.Retire(t.Context(), "north/or-3", "closed", time.Time{}); err != nil {
		t.Fatal(err)
	}
	s = &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	if a := s.Scan("VAS-003"); !strings.Contains(fmt.Sprint(a["error"]), "retired") {
		t.Errorf("a retired station: %v", a)
	}
}

// TestManyAtOnce: scans of many browsers at one bench and lines of many at one
// count are all answered, and every line is kept.
func TestManyAtOnce(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	h.Open("LAP-014", "K-1")
	var all sync.WaitGroup
	for i := range workplacetest.Lines60 {
		all.Go(func() {
			h.Post("/at/north/or-3/count/enter",
				fmt.Sprintf(`{"client":"c%d","n":1,"case":"K-1","stage":"first","lines":[{"set":"LAP-014","line":%d,"counted":%d,`+
					`"place":"","seen":0,"clear":false,"reason":""}]}`, i, i+1, 1+i%6))
		})
		all.Go(func() {
			h.Post("/at/north/or-3/storage/scan", fmt.Sprintf(`{"client":"c%d","n":1,"text":"LAP-014"}`, i))
		})
	}
	all.Wait()
	a := h.Post("/at/north/or-3/count/scan",
		fmt.Sprintf(`{"client":"x","n":1,"case":"K-1","stage":"first","text":"%s"}`, workplacetest.Label(t, events.ScanBadge, "B-1")))
	if st := a["state"].(map[string]any); st["done"] != float64(workplacetest.Lines60) || st["complete"] != true {
		t.Errorf("kept %v of %d lines", st["done"], workplacetest.Lines60)
	}
}

// TestWaitedInput: what had to wait for the line is observed when it was
// entered. What waited for a shift is taken once a person has said that it is still
// meant, as of then; it is never of now.
func TestWaitedInput(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.After(time.Hour)
	at := func(set string, n, ago int, more string) (waited time.Duration, recorded bool) {
		size := h.Size()
		for i, text := range []string{set, workplacetest.Label(t, events.ScanBadge, "B-1"), ""} {
			h.Post("/at/north/storage/storage/scan", fmt.Sprintf(`{"client":"t","n":%d,"ago":%d,"text":%q%s}`, n+i, ago, text, more))
		}
		if h.Size() == size {
			return 0, false
		}
		e, err := h.Site.EventAt(h.Size())
		if err != nil {
			t.Fatal(err)
		}
		if e.Kind() != events.KindSetChecked {
			t.Fatalf("the last event is a %s", e.Kind())
		}
		return h.Clock().Sub(e.Time), true
	}
	const hour = 3600_000
	if got, _ := at("VAS-003", 1, 90_000, ""); got != 90*time.Second {
		t.Errorf("a minute and a half of waiting is recorded as %s", got)
	}
	for _, ago := range []int{12 * hour, 20 * hour, 32 * 24 * hour, 1 << 40} {
		if got, recorded := at("LAP-014", 10+ago%7, ago, ""); recorded {
			t.Errorf("a wait of %d h is recorded as %s", ago/hour, got)
		}
	}
	h.After(40 * time.Hour)
	if got, recorded := at("LAP-014", 100, 20*hour, `,"sure":true`); !recorded || got != 20*time.Hour {
		t.Errorf("a wait of 20 h that somebody confirmed is recorded as %s, %v", got, recorded)
	}
	if got, recorded := at("VAS-003", 200, 32*24*hour, `,"sure":true`); recorded {
		t.Errorf("an impossible wait is recorded as %s", got)
	}
}

// TestLaterSetIsCountedFirst: a set opened while the case runs has its first
// count to come; the sets counted before are not asked for again.
func TestLaterSetIsCountedFirst(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-1")
	h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-1",
		Stage: events.StageFirst, Sheet: "screen", Counter: "B-1", Witness: "B-2",
		Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	state := func() (stage any, sets []string) {
		res, err := http.Get(h.At("count") + "/state?case=K-1")
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		var st struct {
			Stage string `json:"stage"`
			Sets  []struct {
				Set string `json:"set"`
			} `json:"sets"`
		}
		raw, err := io.ReadAll(res.Body)
		if err == nil {
			err = json.Unmarshal(raw, &st)
		}
		if err != nil {
			t.Fatalf("%v: %s", err, raw)
		}
		for _, s := range st.Sets {
			sets = append(sets, s.Set)
		}
		return st.Stage, sets
	}
	if stage, sets := state(); stage != "final" || len(sets) != 1 {
		t.Errorf("with one set counted: %v of %v", stage, sets)
	}
	h.Open("LAP-014", "K-1")
	if stage, sets := state(); stage != "first" || len(sets) != 1 || sets[0] != "LAP-014" {
		t.Errorf("with a second set opened: %v of %v", stage, sets)
	}
}

// TestDamagedCodeAtTheCount: a sheet whose code is damaged says what a count can do
// about it: there is no button for an unreadable sheet.
func TestDamagedCodeAtTheCount(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	code := []byte(h.Codes["VAS-003"])
	code[20] ^= 1
	c.Do("begin")
	a := c.Scan(string(code))
	if a["sound"] != "wrong" || !strings.Contains(fmt.Sprint(a["words"]), "can't be read") ||
		a["more"] != "Count by the list on this screen." {
		t.Errorf("a damaged code at the count: %v, %v", a["words"], a["more"])
	}
}

// TestPutAsideAndReleased: a wet package stops; the set is put aside, stops at
// the opening, and is released for a reason.
func TestPutAsideAndReleased(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	h.After(5 * time.Minute)
	shelf := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	room := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	shelf.Scan("LAP-014")
	if a := shelf.Do("package", "value", "soggy"); !strings.Contains(fmt.Sprint(a), "soggy") {
		t.Errorf("no fault of a package: %v", a)
	}
	if a := shelf.Do("package", "value", "wet"); a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["words"]), "PACKAGE") {
		t.Fatalf("wet: %v", a)
	}
	if a := shelf.Do("package", "value", "wet", "on", "no"); a["status"] == "broken" {
		t.Errorf("wet, taken back: %v", a)
	}
	shelf.Do("package", "value", "wet")
	if a := shelf.Do("put-aside"); !strings.Contains(fmt.Sprint(a["next"], a["words"]), "put aside") {
		t.Errorf("put aside without a badge: %v", a)
	}
	before := h.Size()
	if a := shelf.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); h.Size() != before+1 ||
		!strings.Contains(a["words"].(string), "is put aside and recorded") {
		t.Fatalf("put aside: %v", a)
	}
	if d := h.LastCheck("LAP-014"); d.Aside != events.AsidePut || !slices.Equal(d.Package, []events.PackageFault{events.PackageWet}) {
		t.Errorf("recorded: %+v", d)
	}
	h.After(5 * time.Minute)
	if a := room.Scan("LAP-014"); a["status"] != "broken" {
		t.Errorf("opened from where it was put aside: %v", a)
	}
	shelf.Scan("LAP-014")
	before = h.Size()
	if a := shelf.Do("release", "reason", " "); h.Size() != before || !strings.Contains(fmt.Sprint(a), "Why is LAP-014 released") {
		t.Errorf("released for nothing: %v", a)
	}
	if shelf.Do("release", "reason", "the drops came from outside"); h.Size() != before+1 {
		t.Fatalf("not released")
	}
	if d := h.LastCheck("LAP-014"); d.Aside != events.AsideReleased || d.Reason != "the drops came from outside" {
		t.Errorf("recorded: %+v", d)
	}
	h.After(5 * time.Minute)
	room.Do("forget")
	if a := room.Scan("LAP-014"); a["status"] == "broken" {
		t.Errorf("released, and opened: %v", a)
	}
}

// TestIndicatorAsked: where the policy asks for it, the opening asks what the
// indicator inside shows before it is recorded.
func TestIndicatorAsked(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	p := events.DefaultPolicy()
	p.IndicatorAtOpening = events.Required
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Scan("LAP-014")
	s.Scan("(8004)LAP-014")
	s.Scan(h.Codes["LAP-014"])
	s.Scan("1")
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	if a := s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")); !strings.Contains(fmt.Sprint(a["words"], a["next"]),
		"What does the internal chemical indicator of LAP-014 show?") {
		t.Fatalf("not asked: %v", a)
	}
	before := h.Size()
	if a := s.Scan(""); h.Size() != before || !strings.Contains(fmt.Sprint(a["choices"]), "indicator") {
		t.Fatalf("Enter, where the indicator is asked about: %v", a["choices"])
	}
	if a := s.Do("indicator", "indicator", "pass"); strings.Contains(fmt.Sprint(a["words"], a["next"]), "internal chemical indicator") {
		t.Errorf("asked again: %v", a)
	}
	s.Scan("")
	got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetOpened)
	if len(got) != 1 || got[0].(*events.SetOpened).Indicator != "pass" {
		t.Errorf("recorded: %+v", got)
	}
}

// TestKeysAtOpening: what the buttons of indicator and package say can be typed.
func TestKeysAtOpening(t *testing.T) {
	h := workplacetest.NewHouse(t, "LAP-014")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	for _, text := range []string{"LAP-014", "(8004)LAP-014", h.Codes["LAP-014"], "1", "*3", "*1", "+1", "+6", "+1"} {
		s.Scan(text)
	}
	// Typed twice it was seen all the more; a button of its own takes it off.
	s.Do("package", "value", string(events.PackageFaults()[0]), "on", "no")
	page := html.UnescapeString(h.Get("/at/north/or-3/opening"))
	for _, want := range []string{"<kbd>*1</kbd>", "<kbd>*3</kbd>", "<kbd>+1</kbd>", "<kbd>+6</kbd>"} {
		if !strings.Contains(page, want) {
			t.Errorf("no button shows %s", want)
		}
	}
	for _, text := range []string{workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanBadge, "B-1"), "", ""} {
		s.Scan(text)
	}
	s.Do("anyway")
	s.Scan("")
	got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetOpened)
	if len(got) != 1 {
		t.Fatalf("%d openings", len(got))
	}
	d := got[0].(*events.SetOpened)
	if d.Indicator != "pass" || !slices.Equal(d.Package, []events.PackageFault{events.PackageDropped}) || d.Sheet.Found != "outside" {
		t.Errorf("recorded: %+v", d)
	}
}

// TestReleasedInAnEmergency: a load that holds implants can be released before its
// indicator's result, for a reason and by somebody; another load isn't asked.
func TestReleasedInAnEmergency(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	list := workplacetest.ListShort()
	list.Version, list.Implants = 2, true
	h.Record("north/packing-1", events.KindListIssued, "", list)
	h.Record("north/packing-1", events.KindSetPacked, "IMP-1", &events.SetPacked{List: list.List, Version: 2})
	h.Record("north/packing-1", events.KindListSealed, "IMP-1", &events.ListSealed{Placement: events.Outside})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
	for run, set := range map[string]string{"7": "VAS-003", "8": "IMP-1"} {
		s.Do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134")
		s.Put(set)
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2043"))
		s.Do("start")
		if asks := strings.Contains(h.Get(s.Path), `name="emergency"`); asks != (set == "IMP-1") {
			t.Errorf("%s: asked for an emergency: %t", set, asks)
		}
		h.After(20 * time.Minute)
		s.Do("result", "result", "passed", "released", "yes", "emergency", " trauma, B-9001 ")
		got := h.Events(site.Query{Load: "S1-0304-0" + run}, events.KindSetSterilized)
		if len(got) != 1 || got[0].(*events.SetSterilized).Emergency != "trauma, B-9001" {
			t.Errorf("%s: recorded %+v", set, got)
		}
		h.After(time.Minute) // two runs of one sterilizer at one time are told of at both
	}
}

//go:build !race

package screens_test

import (
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestArmsLength: on every page of a station the verdict with its word, the name of
// the set (the load, the case), the stage and the line asked for are read from 70 cm
// and stay in view, whatever is scrolled: on the tablet, the phone, at 200 % zoom
// and on a desk, in both languages, with a list of 60 lines.
func TestArmsLength(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-1")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	open := func(path string) { p.Open(h.URL + path); p.Await(`document.querySelector(".stick #verdict .tells")`) }
	open("/at/north/or-3/packing?set=LAP-014")
	open("/at/north/or-3/sealing?set=LAP-022")
	open("/at/north/or-3/storage?set=LAP-022")
	// The twin's sheet: a STOP, with what to do with one's hands.
	open("/at/north/or-3/opening?set=LAP-022")
	p.Type(workplacetest.Label(t, events.ScanSet, "LAP-022") + "\r" + h.Codes["LAP-014"] + "\r")
	p.AwaitText("#verdict", "sheet of LAP-014")
	open("/at/north/or-3/sterilizer")
	browsertest.Eval[bool](p, `(document.querySelector("#sterilizer").value = "S1", document.querySelector("#run").value = "2",
		document.querySelector("#cycle").value = "dynamic-air-132", document.querySelector("[data-do=begin]").requestSubmit(), true)`)
	p.AwaitText("#verdict", "Scan sets into S1-0304-02")

	pages := []struct{ path, name string }{
		{"packing", "LAP-014"}, {"sealing", "LAP-022"}, {"storage", "LAP-022"}, {"opening", "LAP-022"},
		{"sterilizer", "S1-0304-02"}, {"close?case=K-1", "K-1"}, {"count?case=K-1", "LAP-014"},
	}
	desk := browsertest.Size{Name: "desk", Width: 1440, Height: 900}
	zoom := browsertest.Size{Name: "zoom", Width: 512, Height: 384}
	measured := 0
	for _, size := range []browsertest.Size{workplacetest.Tablet, workplacetest.Phone, zoom, desk} {
		p.Do(chromedp.EmulateViewport(size.Width, size.Height))
		for _, lang := range []string{"en", "de"} {
			for _, page := range pages {
				join := "?"
				if strings.Contains(page.path, "?") {
					join = "&"
				}
				open("/at/north/or-3/" + page.path + join + "lang=" + lang)
				counting := strings.HasPrefix(page.path, "count")
				if counting {
					p.Await(`(() => { const now = document.querySelector("tr.now")?.getBoundingClientRect();
						return now && now.top >= document.querySelector(".stick").getBoundingClientRect().bottom - 2 &&
							now.top + 20 <= document.querySelector(".bar").getBoundingClientRect().top; })()`)
				}
				place, _, _ := strings.Cut(page.path, "?")
				for _, end := range []bool{false, true} {
					if end {
						browsertest.Eval[bool](p, `(scrollTo(0, document.documentElement.scrollHeight), true)`)
					}
					want := map[bool]string{true: "true", false: "false"}
					wrong := browsertest.Eval[[]string](p, armsLength+`({name: "`+page.name+`", counting: `+want[counting]+
						`, row: `+want[!end]+`})`)
					for _, w := range wrong {
						t.Errorf("%s, %s, %s, scrolled to the end %t: %s", place, size.Name, lang, end, w)
					}
					measured++
					name := "arm-" + place + "-" + size.Name + "-" + lang
					if end {
						name += "-end"
					}
					p.View(name)
				}
			}
		}
	}
	if measured != 4*2*2*len(pages) {
		t.Fatalf("%d pages were measured", measured)
	}
}

// TestStagesOfACase: first, added, removed, by place with an interruption,
// relief and final; what each records.
func TestStagesOfACase(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-90")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	sign := workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r" + workplacetest.Label(t, events.ScanBadge, "B-3322") + "\r"
	at := func(stage string) {
		h.After(10 * time.Minute)
		p.Open(h.At("count") + "?case=K-90&stage=" + stage)
		if stage != "first" {
			p.Touch(`[data-do="begin"]`)
		}
		p.Await(`document.querySelectorAll("tr[data-line]").length > 0 &&
			document.querySelector(".cell").getAttribute("aria-label").includes(": ")`)
	}
	at("first")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r\r" + sign)
	p.AwaitText("#verdict", "First count recorded")

	at("added")
	p.AwaitText("#verdict", "the line that was added")
	p.Press("\r")
	p.AwaitText("#verdict", "the line that was added")
	p.Type(kb.ArrowDown + kb.ArrowDown)
	p.Await(`document.querySelector("tr.now")?.dataset.line === "2"`)
	p.Type("3\r")
	p.AwaitText(`tr[data-line="2"] .cell`, "3")
	p.Type(sign)
	p.AwaitText("#verdict", "Added during the procedure recorded")

	at("closing")
	p.AwaitText(`tr[data-line="2"]`, "5") // 2 + 3
	// One clamp leaves the field on purpose.
	browsertest.Eval[bool](p,
		`(document.querySelector(".removed").open = true, document.querySelector("#rline").value = "2",
			document.querySelector("#rwhy").value = "sent for repair", document.querySelector("[data-do=removed]").requestSubmit(), true)`)
	p.AwaitText(`tr[data-line="2"] .flag`, "1 was passed off")
	p.Await(`document.querySelector('tr[data-line="2"]').children[2].textContent === "4"`)
	// By place: two on the field, the rest on the back table; interrupted there.
	p.Touch(`[data-do="by-place"]`)
	p.Await(`document.querySelector("[data-do='by-place']").getAttribute("aria-pressed") === "true"`)
	p.Axe()
	p.Type("1\r")
	p.AwaitText(`tr[data-line="1"] .cell`, "1 …")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "2"`)
	p.Touch(`[data-place="back-table"]`)
	p.AwaitText("#verdict", "Now counting: back table")
	p.Type("2\r")
	p.AwaitText(`tr[data-line="2"] .cell`, "2 …")
	p.Touch(`[data-do="interrupted"]:not([data-set])`)
	p.AwaitText("#verdict", "Begin again? What was counted is counted once more (lines: 1)")
	p.Touch(`#verdict [data-do="interrupted"]`)
	p.AwaitText("#verdict", "Begun again")
	p.Await(`document.querySelector('tr[data-line="2"] .cell').textContent === ""`)
	p.AwaitText(`tr[data-line="1"] .cell`, "1 …") // the field stays counted
	p.Type(kb.ArrowUp)
	p.Await(`document.querySelector("tr.now")?.dataset.line === "2" || document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Type("INS-001\r")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Press("\r\r\r") // all the rest is on the back table
	p.AwaitText("#sum", "3 of 3")
	p.Type(sign)
	p.AwaitText("#verdict", "Closing count recorded")

	at("relief")
	p.AwaitText(`tr[data-line="2"]`, "4")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r\r\r" + workplacetest.Label(t, events.ScanBadge, "B-4000") + "\r" + workplacetest.Label(t,
		events.ScanBadge, "B-3322") + "\r")
	p.AwaitText("#verdict", "Relief count recorded")
	at("final")
	p.Await(`document.querySelector("tr.now")`)
	p.Press("\r3\r")
	p.AwaitText("#verdict", "Line 2: 3 counted, 4 expected")
	p.Press("\r" + sign)
	p.Await(`location.search.includes("done=final")`)
	p.AwaitText("#verdict", "Final count recorded. Differences: 1")
	p.Axe()

	got := h.Events(site.Query{Case: "K-90"}, events.KindSetCounted)
	if len(got) != 5 {
		t.Fatalf("%d counts", len(got))
	}
	counts := func(i int) *events.SetCounted { return got[i].(*events.SetCounted) }
	if d := counts(1); d.Stage != events.StageAdded || len(d.Counts) != 1 || d.Counts[0] != (events.Count{Line: 2, Counted: 3}) {
		t.Errorf("added: %+v", d)
	}
	if d := counts(2); d.Stage != events.StageClosing || len(d.Removed) != 1 ||
		d.Removed[0] != (events.Removed{Line: 2, Quantity: 1, Reason: "sent for repair"}) ||
		d.Counts[0].Counted != 4 || d.Counts[1].Counted != 4 {
		t.Errorf("closing: %+v", d)
	}
	if d := counts(3); d.Stage != events.StageRelief || d.Counter != "B-4000" || len(d.Counts) != 3 {
		t.Errorf("relief: %+v", d)
	}
	if d := counts(4); d.Counts[1].Counted != 3 || len(d.Removed) != 0 {
		t.Errorf("final: %+v", d)
	}
}

// TestPracticeTasks: a class does every task with what the page gives it to scan;
// done is what was recorded, in both outcomes.
func TestPracticeTasks(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	practice := httptest.NewServer(h.HandlerFor(true))
	t.Cleanup(func() { practice.CloseClientConnections(); practice.Close() })
	at := practice.URL + "/practice/at/north/or-3/"
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(at)
	p.Click(`.practice a[href$="/tasks"]`)
	p.AwaitText("h1", "Practice tasks")
	p.Axe()
	p.Click("main form .main")
	p.AwaitText("#right .state", "Not done yet")
	p.Axe()
	p.Shot("practice-tasks-tablet")
	for _, name := range []string{"right", "twin", "count", "failed"} {
		h.SymbolsRead(p, name)
		p.AwaitText("#"+name+" .state", "Not done yet")
	}

	h.ScanThings(p, "right")
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Axe()
	p.Shot("practice-things-tablet")
	p.Type("1\r")
	p.AwaitText("#verdict", "Enter records")
	p.Open(at + "tasks")
	p.AwaitText("#right .state", "Not done yet") // looked at is not recorded
	p.Open(at + "opening")
	p.Press("\r")
	p.AwaitText("#bench", "opened for")
	p.Open(at + "tasks")
	p.AwaitText("#right .state", "Done.")
	p.AwaitText("#twin .state", "Not done yet")

	h.ScanThings(p, "twin")
	p.AwaitText("#verdict", "WRONG COUNT SHEET")
	p.Open(at + "tasks")
	p.AwaitText("#twin .state", "Not done yet")
	p.Open(at + "opening")
	p.Click(`#verdict [data-do="put-aside"]`)
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Type("1\r")
	p.AwaitText("#bench", "put aside")
	p.Open(at + "tasks")
	p.AwaitText("#twin .state", "Done.")

	p.Click("#count .main")
	p.AwaitText("#verdict", "Final count")
	p.Click(`#verdict [data-do="begin"]`)
	p.AwaitText("#now-what", "Forceps")
	p.Press("\r")
	p.AwaitText("#now-what", "Clamp")
	p.Type("1\r")
	p.AwaitText("#now-what", "Probe")
	p.Press("\r")
	p.AwaitText("#verdict", "scan your badge")
	h.ClickThings(p)
	p.AwaitText("#verdict", "recorded")
	p.Open(at + "tasks")
	p.AwaitText("#count .state", "Done.")

	number := browsertest.Eval[string](p, `document.querySelector("#failed p").textContent.match(/number (\d+)/)[1]`)
	p.Open(at + "sterilizer")
	browsertest.Eval[bool](p, fmt.Sprintf(`(f => {
		[f.sterilizer.value, f.run.value, f.cycle.value] = ["P1", %q, "dynamic-air-132"];
		f.requestSubmit();
		return true;
	})(document.querySelector("form[data-do=begin]"))`, number))
	p.AwaitText("#bench", "P1-0304-")
	h.ClickThings(p)
	p.AwaitText("#bench", "sets: 1")
	p.Touch(`[data-do="start"]`)
	p.Await(`document.querySelector("[data-result=failed]")`)
	p.Touch(`[data-result="failed"]`)
	p.AwaitText("#bench", "Recorded")
	p.Open(at + "tasks")
	p.AwaitText("#failed .state", "Done.")
	p.Shot("practice-tasks-done-tablet")

	// Laid out afresh, nothing is done; and who opens in spite of STOP is told so.
	p.Click("main form button")
	p.AwaitText("#twin .state", "Not done yet")
	h.ScanThings(p, "twin")
	p.AwaitText("#verdict", "WRONG COUNT SHEET")
	p.Click(`#verdict [data-do="anyway"]`)
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Type("1\r")
	p.AwaitText("#verdict", "Enter records")
	p.Press("\r")
	p.AwaitText("#bench", "opened for")
	p.Open(at + "tasks?lang=de")
	p.AwaitText("#twin .state", "trotz HALT geöffnet")
	p.Axe()
	p.AwaitText("#right .state", "Noch nicht erledigt")
	p.Shot("practice-tasks-de-tablet")
}

// TestPagesFit: at 200 % zoom of a tablet and on a phone nothing has to be
// scrolled sideways, and whatever is pressed with gloves measures 44 pixels.
func TestPagesFit(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	h.Open("VAS-003", "K-1")
	h.Open("LAP-014", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	looked := 0
	for _, size := range []browsertest.Size{workplacetest.Phone, {Name: "zoom", Width: 512, Height: 384}, workplacetest.Wall} {
		p.Do(chromedp.EmulateViewport(size.Width, size.Height))
		for _, path := range []string{"/at/", "/at/north/or-3/", "/at/north/or-3/opening?set=LAP-014",
			"/at/north/or-3/packing?set=VAS-003", "/at/north/or-3/sealing?set=VAS-003",
			"/at/north/or-3/sterilizer", "/at/north/or-3/count?case=K-1", "/at/north/or-3/close?case=K-1", "/lists", "/lists/VAS-MINOR"} {
			p.Open(h.URL + path)
			p.Await(`document.querySelector("h1")`)
			if wide := browsertest.Eval[int](p, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
				t.Errorf("%s at %d pixels is %d too wide", path, size.Width, wide)
			}
			for _, small := range browsertest.Eval[[]string](p,
				`[...document.querySelectorAll("main button, main .tiles a, main select, main input:not([type=hidden])")].filter(e => {
					const height = e.getBoundingClientRect().height;
					return e.checkVisibility() && height > 1 && height < 44;
				}).map(e => e.outerHTML.slice(0, 120))`) {
				t.Errorf("%s at %d pixels is less than 44 high: %s", path, size.Width, small)
			}
			looked += browsertest.Eval[int](p, `document.querySelectorAll("main button").length`)
			p.View("fit-" + strings.NewReplacer("/", "_", "?", "_").Replace(path) + "-" + size.Name)
		}
	}
	if looked < 50 {
		t.Fatalf("only %d buttons were measured", looked)
	}
}

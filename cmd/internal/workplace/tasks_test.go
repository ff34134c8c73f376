package workplace_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestPracticeTasks: a class does every task with what the page gives it to scan;
// done is what was recorded, in both outcomes.
func TestPracticeTasks(t *testing.T) {
	h := newHouse(t)
	practice := httptest.NewServer(h.handlerFor(true))
	t.Cleanup(func() { practice.CloseClientConnections(); practice.Close() })
	at := practice.URL + "/practice/at/north/or-3/"
	p := browser(t).Tab(t, tablet)
	p.Open(at)
	p.Click(`.practice a[href$="/tasks"]`)
	p.AwaitText("h1", "Practice tasks")
	p.Axe()
	p.Click("main form .main")
	p.AwaitText("#right .state", "Not done yet")
	p.Axe()
	p.Shot("practice-tasks-tablet")
	for _, name := range []string{"right", "twin", "count", "failed"} {
		h.symbolsRead(p, name)
		p.AwaitText("#"+name+" .state", "Not done yet")
	}

	h.scanThings(p, "right")
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

	h.scanThings(p, "twin")
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
	h.clickThings(p)
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
	h.clickThings(p)
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
	h.scanThings(p, "twin")
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

// symbolsRead holds the text beside each symbol of a task against the set that it is
// about, and looks that it is for practice only.
func (h *house) symbolsRead(p *browsertest.Tab, name string) {
	h.t.Helper()
	for _, text := range h.things(p, name) {
		if _, err := events.RecogniseAll(text); err == nil {
			h.t.Errorf("%s: %s is taken outside of practice", name, text)
		}
		if _, err := events.RecognisePractice(text); err != nil {
			h.t.Errorf("%s: %v", name, err)
		}
	}
}

// things are the texts that a task's symbols say.
func (h *house) things(p *browsertest.Tab, name string) []string {
	h.t.Helper()
	texts := browsertest.Eval[[]string](p, fmt.Sprintf(`[...document.querySelectorAll("#%s .things code")].map(c => c.textContent)`, name))
	if len(texts) < 2 {
		h.t.Fatalf("%d things to scan for %s", len(texts), name)
	}
	return texts
}

// scanThings scans the symbols of a task, as a scanner does, at the page that it
// leads to.
func (h *house) scanThings(p *browsertest.Tab, name string) {
	h.t.Helper()
	texts := h.things(p, name)
	p.Click("#" + name + " .main")
	p.Await(`document.readyState === "complete" && document.querySelector("#verdict")`)
	for _, text := range texts {
		p.Type(text + "\r")
		h.after(3 * time.Second)
	}
}

// clickThings presses every button with something to scan.
func (h *house) clickThings(p *browsertest.Tab) {
	h.t.Helper()
	n := browsertest.Eval[int](p, `document.querySelectorAll("[data-scan]").length`)
	if n < 2 {
		h.t.Fatalf("%d buttons with something to scan", n)
	}
	for i := range n {
		before := browsertest.Eval[string](p, `document.body.dataset.answered || ""`)
		browsertest.Eval[bool](p, fmt.Sprintf(`document.querySelectorAll("[data-scan]")[%d].click() || true`, i))
		p.Await(fmt.Sprintf(`(document.body.dataset.answered || "") !== %q || document.querySelector("#count")`, before))
		h.after(3 * time.Second)
	}
}

// TestTasksOnlyInPractice: nowhere else can anything be laid out.
func TestTasksOnlyInPractice(t *testing.T) {
	h := newHouse(t)
	before := h.size()
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		req, err := http.NewRequest(method, h.url+"/at/north/or-3/tasks", nil)
		if err != nil {
			t.Fatal(err)
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		if err := res.Body.Close(); err != nil {
			t.Error(err)
		}
		if res.StatusCode < http.StatusBadRequest {
			t.Errorf("%s is answered %d", method, res.StatusCode)
		}
	}
	if h.size() != before {
		t.Error("something was recorded")
	}
	if got := h.events(site.Query{Set: "LAP-014"}, events.KindSetPacked); len(got) != 1 {
		t.Errorf("%d packings", len(got))
	}
}

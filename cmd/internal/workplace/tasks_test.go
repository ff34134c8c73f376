package workplace_test

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

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

//go:build !race

package meant_test

import (
	"fmt"
	"html"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestSeenTwiceIsSeen: what was seen isn't taken off by its own button, tapped once more. What takes it off is a
// button of its own, which says so.
func TestSeenTwiceIsSeen(t *testing.T) {
	for _, seen := range []struct {
		place  string
		before func(h *workplacetest.House, s *workplacetest.Scanner)
		do     []string
		says   string // where it is noted
		off    string // on the button that takes it off
	}{
		{"opening", nil, []string{"package", "value", "wet"}, "PACKAGE", "Not so: wet"},
		{"storage", nil, []string{"package", "value", "wet"}, "PACKAGE", "Not so: wet"},
		{"storage", nil, []string{"seal-broken"}, "LOCKS", "Not so: A lock is broken"},
		{"return", func(_ *workplacetest.House, s *workplacetest.Scanner) { s.Do("step", "value", "received") },
			[]string{"fault", "value", "incomplete"},
			"a piece missing", "Not so: a piece missing"},
		{"return", func(_ *workplacetest.House, s *workplacetest.Scanner) { s.Do("step", "value", "left-room") }, []string{"untreated"},
			"NOT treated", "Not so: not treated at the point of use"},
	} {
		name := seen.place + " " + strings.Join(seen.do, " ")
		h := workplacetest.NewHouse(t, "VAS-003")
		if seen.place == "return" {
			h.Used("K-0", "VAS-003")
		}
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + seen.place}
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		if seen.before != nil {
			seen.before(h, s)
		}
		press := func(on string) string {
			return workplacetest.Tells(s.Do(seen.do[0], append([]string{"on", on}, seen.do[1:]...)...))
		}
		page := func() string {
			return strings.Join(strings.Fields(html.UnescapeString(h.Get("/at/north/or-3/"+seen.place))), " ")
		}
		if strings.Contains(page(), seen.off) {
			t.Errorf("%s: what nobody saw can be taken off", name)
		}
		for range 3 {
			if got := press("yes"); !strings.Contains(got, seen.says) {
				t.Fatalf("%s: seen once more, the page says %s", name, got)
			}
		}
		if !strings.Contains(page(), seen.off) {
			t.Errorf("%s: no button says %q", name, seen.off)
		}
		if got := press("no"); strings.Contains(got, seen.says) {
			t.Errorf("%s: taken off, the page says %s", name, got)
		}
		if got := press("no"); strings.Contains(got, seen.says) {
			t.Errorf("%s: taken off twice, the page says %s", name, got)
		}
		if got := page(); strings.Contains(got, seen.off) || !strings.Contains(got, `data-on="yes" aria-pressed="false"`) {
			t.Errorf("%s: taken off, and its button is pressed", name)
		}
	}
}

// TestActionsOfACaseStay: what was done about a case that doesn't come out is no more taken off by being said twice.
func TestActionsOfACaseStay(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Do("case", "case", "K-1")
	pressed := func() bool {
		page := html.UnescapeString(h.Get("/at/north/or-3/close"))
		return strings.Contains(page, `data-action="recounted" data-on="yes" aria-pressed="true"`)
	}
	for _, on := range []string{"yes", "yes", "no", "no", "yes"} {
		s.Do("action", "action", "recounted", "on", on)
		if pressed() != (on == "yes") {
			t.Errorf("said %s, and the button shows %t", on, pressed())
		}
	}
}

// TestKeyboardTapsTwice: Enter on a button, pressed twice by a hand that trembles, is pressed once: what was seen stays,
// and where its button is gone the second Enter isn't that of the empty field.
func TestKeyboardTapsTwice(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(5 * time.Minute)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("storage"))
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r" + workplacetest.Label(t, events.ScanTag, "VAS-003") +
		"\r" + h.Codes["VAS-003"] + "\r")
	p.AwaitText("#verdict", "Where was the count sheet?")
	p.Type("1\r")
	p.AwaitText("#verdict", "Enter records")
	focus := func(on string) {
		browsertest.Eval[bool](p, fmt.Sprintf(`(document.querySelector('#bench [data-value="wet"][data-on="%s"]').focus(), true)`, on))
	}
	focus("yes")
	p.Type("\r\r")
	workplacetest.Settled(p)
	p.AwaitText("#verdict", "PACKAGE")
	p.Await(`document.querySelector('#bench [data-value="wet"][data-on="no"]')`)
	before := h.Size()
	focus("no")
	p.Press("\r")
	p.Await(`!document.querySelector('#bench [data-value="wet"][data-on="no"]')`)
	p.AwaitText("#verdict", "Enter records")
	p.Press("\r")
	workplacetest.Settled(p)
	if h.Size() != before {
		t.Error("the second Enter on a button recorded")
	}
}

// TestTwoEntersAfterANumber: a pad that ends each number with CR and LF counts one line with it, however short it is.
func TestTwoEntersAfterANumber(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.Await(`document.querySelector("tr.now")?.dataset.line === "1"`)
	p.Type("4\r\r")
	p.AwaitText(`tr[data-line="1"] .cell`, "4 ✓")
	workplacetest.Settled(p)
	if got := p.Text(`tr[data-line="2"] .cell`); got != "" {
		t.Fatalf("the second Enter counted the next line: %s", got)
	}
	p.Press("\r") // which a person does
	p.AwaitText(`tr[data-line="2"] .cell`, "2 ✓")
}

// TestClearAtPackingIsAsked: the button that throws a counted set away stands beside the one that records it, so it asks;
// nothing but the answer throws anything away. What nobody has entered anything of is cleared at once.
func TestClearAtPackingIsAsked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	workplacetest.Must(t, s.Do("clear"), "Scan")
	h.After(3 * time.Second)
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	s.Scan("")
	s.Scan("")
	workplacetest.Must(t, s.Do("clear"), "Throw away what was entered of VAS-003?", "(lines: 2)")
	workplacetest.Must(t, s.Scan("3"), "3 × Probe", "2 of 3 lines") // a number is no answer, nor one to what was asked before
	workplacetest.Must(t, s.Do("clear"), "Throw away")
	workplacetest.Must(t, s.Do("clear"), "Throw away") // the same button, tapped once more
	workplacetest.Must(t, s.Do("go-on"), "3 × Probe", "2 of 3 lines")
	workplacetest.Must(t, s.Do("clear"), "Throw away")
	workplacetest.Must(t, s.Scan(""), "3 × Probe", "2 of 3 lines") // Enter goes on
	workplacetest.Must(t, s.Scan("3"), "Weigh it")
	workplacetest.Must(t, s.Do("clear"), "(lines: 3)")
	workplacetest.Must(t, s.Scan("8.4"), "Weigh it")
	workplacetest.Must(t, s.Do("clear"), "Throw away")
	workplacetest.Must(t, s.Do("clear", "value", "VAS-003"), "Scan")
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "4 × Forceps", "0 of 3 lines")
	workplacetest.Must(t, s.Do("weight", "weight", "8.4"), "4 × Forceps")
	workplacetest.Must(t, s.Do("clear"), "Throw away what was entered of VAS-003?")
}

// TestInterruptedIsAsked: one touch doesn't throw away what was counted of all sets. What answers is one screen's answer to
// what it shows: it throws away nothing that was counted after the question.
func TestInterruptedIsAsked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	workplacetest.Must(t, c.Do("interrupted"), "Begun again") // there is nothing to throw away
	c.Lines("VAS-003", 4, 2)
	c.Lines("VAS-004", 4)
	sum := func(a map[string]any) string { return a["state"].(map[string]any)["sum"].(string) }
	for _, f := range [][]string{nil, {"set", "VAS-003"}, {"value", "sure "}, {"value", "sure VAS-003"}} {
		if a := c.Do("interrupted", f...); sum(a) != "3 of 6 lines" || !strings.Contains(workplacetest.Tells(a), "Begin again?") {
			t.Errorf("interrupted, %v: %s, %s", f, sum(a), workplacetest.Tells(a))
		}
		c.Do("count-on")
	}
	workplacetest.Must(t, c.Do("interrupted"), "(lines: 3)")
	if a := c.Scan(""); sum(a) != "3 of 6 lines" || a["sound"] != "low" {
		t.Errorf("Enter has answered: %s", workplacetest.Tells(a))
	}
	h.Post("/at/north/or-3/count/enter", `{"client":"other","n":1,"case":"K-1","stage":"first",
		"lines":[{"set":"VAS-004","line":2,"counted":2,"seen":0}]}`)
	if a := c.Do("interrupted", "value", "sure "); sum(a) != "4 of 6 lines" {
		t.Errorf("a line that was counted after the question is gone: %s, %s", sum(a), workplacetest.Tells(a))
	}
	c.Do("count-on")
	for range 2 { // the answer was lost, and the input is sent again: it is no answer to what it asked itself
		if a := c.Do("interrupted", "value", "sure "); sum(a) != "4 of 6 lines" {
			t.Errorf("sent again, it answers its own question: %s, %s", sum(a), workplacetest.Tells(a))
		}
		c.Number--
	}
	c.Number++
	workplacetest.Must(t, c.Do("interrupted", "set", "VAS-003"), "(lines: 2)")
	if a := c.Do("interrupted", "value", "sure VAS-003"); sum(a) != "2 of 6 lines" ||
		!strings.Contains(workplacetest.Tells(a), "Begun again") {
		t.Errorf("one set begun again: %s, %s", sum(a), workplacetest.Tells(a))
	}
	if a := c.Interrupt(); sum(a) != "0 of 6 lines" {
		t.Errorf("all begun again: %s", sum(a))
	}
}

// TestPlainCodeIsUnsaid: what a person said that a plain code is, is taken back by scanning it and pressing one button,
// with what came of it on the bench and the shape that was learnt with it.
func TestPlainCodeIsUnsaid(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(5 * time.Minute)
	page := func(place string) string {
		return strings.Join(strings.Fields(html.UnescapeString(h.Get("/at/north/or-3/"+place))), " ")
	}
	at := func(place string) *workplacetest.Scanner {
		return &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
	}
	again := func() { h.After(5 * time.Second) } // else it is one scan

	s := at("opening")
	workplacetest.Must(t, s.Scan("P47110815"), "P47110815: what is it?")
	s.Do("take-as", "value", "badge")
	if !strings.Contains(page("opening"), "P47110815 is no badge") || !strings.Contains(page("opening"), "<dd>P47110815") {
		t.Fatal("what was said can't be taken back")
	}
	shelf := at("storage")
	shelf.Do("nothing")
	if !strings.Contains(page("storage"), "<dd>P47110815") {
		t.Fatal("who works at the station does not go on")
	}
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	if strings.Contains(page("opening"), "is no badge") {
		t.Error("the button stays where something else was scanned since")
	}
	if a := s.Do("unsay", "value", "P47110815", "kind", "badge"); a["no"] != true {
		t.Errorf("taken back, which no page offered: %s", workplacetest.Tells(a))
	}
	again()
	workplacetest.Must(t, s.Scan("P47110815"), "scan the outer label")
	workplacetest.Must(t, s.Do("unsay", "value", "P47110815", "kind", "badge"),
		"Noted: P47110815 is no badge. Such a code is asked about again.")
	for _, place := range []string{"opening", "storage"} {
		if got := page(place); strings.Contains(got, "<dd>P47110815") || strings.Contains(got, "is no badge</button>") {
			t.Errorf("%s: P47110815 works here still", place)
		}
	}
	again()
	workplacetest.Must(t, s.Scan("P47110815"), "P47110815: what is it?")

	// A case, and with it those that were taken for one because they are alike.
	workplacetest.Must(t, s.Scan("KX-0412"), "KX-0412: what is it?")
	s.Do("take-as", "value", "case")
	s.Do("next-case")
	workplacetest.Must(t, s.Scan("KX-0977"), "scan the outer label")
	if !strings.Contains(page("opening"), "<dd>KX-0977") || !strings.Contains(page("opening"), "KX-0977 is no case") {
		t.Fatal("a code like a case is no case")
	}
	s.Do("unsay", "value", "KX-0977", "kind", "case")
	if strings.Contains(page("opening"), "<dd>KX-0977") {
		t.Error("the case stays")
	}
	for _, code := range []string{"KX-0977", "KX-0412"} {
		again()
		workplacetest.Must(t, s.Scan(code), code+": what is it?")
	}

	// A lock, on the bench where it was scanned.
	again()
	workplacetest.Must(t, s.Scan("777001"), "777001: what is it?")
	s.Do("take-as", "value", "seal")
	if got := page("opening"); !strings.Contains(got, `<span class="seal">777001`) || !strings.Contains(got, "777001 is no lock") {
		t.Fatal("the lock is not there")
	}
	s.Do("unsay", "value", "777001", "kind", "seal")
	if strings.Contains(page("opening"), `<span class="seal">777001`) {
		t.Error("the lock stays")
	}
	again()
	workplacetest.Must(t, s.Scan("777002"), "777002: what is it?")

	// Said once more, a badge is one again.
	again()
	s.Scan("P47110815")
	s.Do("take-as", "value", "badge")
	if !strings.Contains(page("opening"), "<dd>P47110815") {
		t.Error("said to be a badge after all, it is none")
	}
}

// TestBadgeOfACountIsUnsaid: the same at a count, where a touch beside "No" made a wristband the scrub person.
func TestBadgeOfACountIsUnsaid(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.Await(`document.querySelector("tr.now")`)
	for range 2 { // said, and taken back; said again it is one until that is taken back
		p.Type("P47110815\r")
		p.AwaitText("#verdict", "P47110815: is this a badge?")
		p.Touch(`[data-do="badge"]`)
		p.AwaitText("#counter", "P47110815")
		p.AwaitText("#unsay", "P47110815 is no badge")
		p.Touch(`[data-do="unsay"]`)
		p.AwaitText("#verdict", "Noted: P47110815 is no badge")
		p.AwaitText("#counter", "–")
		p.Await(`!document.querySelector("#unsay button")`)
		h.After(5 * time.Second)
		browsertest.Eval[bool](p, `new Promise(done => setTimeout(() => done(true), 2100))`) // else it is one scan
	}
	p.Axe()
}

// TestUnsaidBadgeIsShown: a code that was said to be no badge is one where it is shown as one: by its label.
func TestUnsaidBadgeIsShown(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/storage"}
	s.Scan("P471108")
	s.Do("take-as", "value", "badge")
	s.Do("unsay", "value", "P471108", "kind", "badge")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "P471108"))
	if !strings.Contains(h.Get("/at/north/or-3/storage"), "<dd>P471108") {
		t.Error("a badge that was scanned by its label works nowhere")
	}
}

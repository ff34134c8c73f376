package workplace_test

import (
	"strconv"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestNumberIsNoBadge: in a case with two sets the number that a person types
// after the first set is the second set's first line, never a badge; half a count
// is signed only after a question.
func TestNumberIsNoBadge(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-1")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("count") + "?case=K-1")
	p.AwaitText("#sum", "0 of 6 lines")
	p.Type("\r\r\r")
	p.AwaitText("#sum", "3 of 6 lines")
	p.Await(`document.querySelector("tr.now")?.dataset.set === "VAS-004"`)
	if got := p.Text("#verdict"); strings.Contains(got, "All counted") {
		t.Errorf("with one of two sets counted the page says %q", got)
	}
	p.Type("4\r")
	p.AwaitText(`tr[data-set="VAS-004"][data-line="1"] .cell`, "4 ✓")
	p.AwaitText("#counter", "–")
	before := h.size()
	badges := label(t, events.ScanBadge, "B-3310") + "\r" + label(t, events.ScanBadge, "B-3322") + "\r"
	p.Type(badges)
	p.AwaitText("#witness", "B-3322")
	if h.size() != before {
		t.Fatal("half a count was signed by the second badge")
	}
	p.Touch(`[data-do="sign"]`)
	p.AwaitText("#verdict", "Sign without VAS-004?")
	p.Axe()
	p.Touch(`[data-do="count-on"]`)
	p.AwaitText("#verdict", "Count aloud")
	p.Type("\r\r")
	p.AwaitText("#sum", "6 of 6 lines")
	if h.size() != before {
		t.Fatal("a count was signed without anybody saying so")
	}
	p.Type("4\r")
	p.AwaitText("#verdict", "4 is not taken for a badge")
	p.Type("\r")
	p.AwaitText("#verdict", "First count recorded (sets: 2), signed by B-3310 and B-3322")
}

// TestSignWithoutASet: who says so signs one set of two; the other stays open.
func TestSignWithoutASet(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.lines("VAS-003", 4, 2, 3)
	c.lines("VAS-004", 4)
	for text, says := range map[string]string{"4": "not taken for a badge", "04012345678901": "not taken for a badge", "B7": "not taken"} {
		if a := c.scan(text); !strings.Contains(a["words"].(string), says) {
			t.Errorf("%q: %v", text, a["words"])
		}
	}
	c.scan(label(t, events.ScanBadge, "B-1"))
	c.scan(label(t, events.ScanBadge, "B-2"))
	before := h.size()
	if a := c.do("sign-without", "value", "VAS-003"); h.size() != before {
		t.Fatalf("signed without another set than the one asked about: %v", a["words"])
	}
	c.do("sign-without", "value", "VAS-004")
	got := h.events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(got) != 1 || h.size() != before+1 {
		t.Fatalf("%d counts recorded, want that of VAS-003", len(got))
	}
	if a := c.scan(""); a["state"].(map[string]any)["done"] != float64(1) {
		t.Errorf("the line of the other set is lost: %v", a["state"])
	}
}

// TestPackingAsksUntilAnswered: a line that is asked about isn't passed by Enter
// or by another number, and the answers are in sight at the tablet's height.
func TestPackingAsksUntilAnswered(t *testing.T) {
	h := newHouse(t, "VAS-003")
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("packing"))
	p.Type(label(t, events.ScanSet, "VAS-003") + "\r")
	p.AwaitText("#verdict", "4 × Forceps, mosquito")
	p.Type("3\r")
	p.AwaitText("#verdict", "Line 1: 3 of 4. Why?")
	for _, text := range []string{"\r", "7\r", "\r", "0\r"} {
		p.Type(text)
		p.Await(`document.body.dataset.sound === "ask" && document.querySelector("#waiting").textContent === ""`)
	}
	p.Type(label(t, events.ScanBadge, "B-1") + "\r") // answered after all of them
	p.AwaitText("#bench", "B-1")
	p.AwaitText("#verdict", "Line 1: 3 of 4. Why?")
	if got := p.Text("#l2"); strings.Contains(got, "✓") || strings.Contains(got, "≠") {
		t.Fatalf("a line that nobody was shown is packed: %s", got)
	}
	if n := visible(p, ".choices button"); n != 5 {
		t.Errorf("%d answers are in view, want 5", n)
	}
	p.Axe()
	p.Touch(`[data-do="again"]`)
	p.AwaitText("#verdict", "4 × Forceps, mosquito")
	p.Type("3\r")
	p.AwaitText("#verdict", "Line 1: 3 of 4. Why?")
	p.Type("1\r")
	p.AwaitText("#verdict", "2 × Clamp, vascular")
	p.AwaitText("#l1", "missing")
}

// visible counts what a selector finds and a person sees without scrolling.
func visible(p *browsertest.Tab, selector string) int {
	return browsertest.Eval[int](p, `[...document.querySelectorAll(`+strconv.Quote(selector)+`)].filter(e => {
		const r = e.getBoundingClientRect();
		return e.checkVisibility() && r.top >= 0 && r.bottom <= innerHeight && r.height > 0;
	}).length`)
}

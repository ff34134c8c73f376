//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestQuarantinedLoadTakesNothingMore: a load that passed and is quarantined takes no further set, though nobody pressed
// “Start”: it would be recorded as sterile by a run that had ended.
func TestQuarantinedLoadTakesNothingMore(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.packed("VAS-003", "VAS-004")
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	must(t, s.scan(label(t, events.ScanSet, "VAS-003")), "VAS-003 in load S1-0304-02")
	must(t, s.do("result", "result", "passed", "released", "no"), "open", "S1-0304-02 passed and is quarantined (sets: 1)")
	must(t, s.scan(label(t, events.ScanSet, "VAS-004")), "S1-0304-02 has ended: nothing more goes in")
	must(t, s.do("put", "value", "VAS-004"), "S1-0304-02 has ended: nothing more goes in")
	s.do("take-out", "set", "VAS-003")
	must(t, s.do("result", "result", "passed", "released", "yes"), "S1-0304-02 passed and is released (sets: 1)")
	if all := h.ended("VAS-004"); len(all) != 1 {
		t.Errorf("VAS-004 was in no load of today but the first: %v", all)
	}
	if all := h.ended("VAS-003"); len(all) != 3 || all[2] != "S1-0304-02 passed true" {
		t.Errorf("VAS-003: %v", all)
	}
}

// TestLockOfAnotherSet: a lock that is recorded of another closed container is asked about: one of the two numbers was read
// off the other tray. Enter answers nothing of it; who read it here is not shown green.
func TestLockOfAnotherSet(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.used("K-1", "VAS-003")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.after(time.Minute)
	s := &scanner{h: h, path: "/at/north/or-3/sealing"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.scan("3")
	before := h.size()
	must(t, s.scan(label(t, events.ScanSeal, "483923")), "Enter binds") // its own of the turn before
	must(t, s.scan(label(t, events.ScanSeal, "483924")), "doubtful", "Lock 483924 is recorded of VAS-004", "On which of the two is it?")
	must(t, s.scan(""), "Lock 483924 is recorded of VAS-004")
	if must(t, s.do("record"), "Lock 483924 is recorded of VAS-004"); h.size() != before {
		t.Fatal("recorded, and nobody had said on which container the lock is")
	}
	must(t, s.do("seal-off", "value", "483924"), "open", "Enter binds")
	s.scan(label(t, events.ScanSeal, "483924"))
	must(t, s.do("seal-read", "value", "483924"), "doubtful", "Enter binds", "One lock is on one container")
	must(t, s.scan(""), "doubtful", "VAS-003 closed", "One lock is on one container")
	// A lock of a container that was opened is on none.
	h.used("K-2", "VAS-004")
	h.used("K-3", "VAS-003")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.after(time.Minute)
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.do("unscanned", "value", "gone")
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan("3")
	must(t, s.scan(label(t, events.ScanSeal, "483924")), "open", "Enter binds")
}

// TestWeightOfTheLastTime: a weight that is far from that of the set's last packing by the same list is asked about, in
// kilograms typed without their point, too; it is said to be right, or weighed again.
func TestWeightOfTheLastTime(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.after(time.Minute)
	s := &scanner{h: h, path: "/at/north/or-3/packing"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanTag, "VAS-003"))
	for range 3 {
		s.scan("")
	}
	before := h.size()
	const asks = "0.84 kg, but 8.40 kg the last time. Weigh it again?"
	must(t, s.scan("0.84"), "doubtful", asks)
	must(t, s.scan(""), asks)
	must(t, s.do("record"), asks)
	if must(t, s.do("weighed", "value", "8400"), asks); h.size() != before {
		t.Fatal("recorded, and nobody had said that the weight is right")
	}
	must(t, s.do("weighed", "value", ""), "Weigh it")
	must(t, s.scan("84"), "84.00 kg, but 8.40 kg the last time")
	must(t, s.scan("0.84"), asks) // typed anew
	must(t, s.scan("8"), "whole", "Enter records: VAS-003 packed")
	s.do("weight", "weight", "0.84")
	must(t, s.do("weighed", "value", "840"), "whole", "Enter records: VAS-003 packed")
	must(t, s.scan(""), "VAS-003 packed")
	if d := h.events(site.Query{Set: "VAS-003"}, events.KindSetPacked)[1].(*events.SetPacked); d.WeightGrams != 840 {
		t.Errorf("recorded %d g", d.WeightGrams)
	}
}

// TestNumberTypedTwice: a number that is typed twice at once answers one question about a piece, not two; found is not green
// while others of the set are missed.
func TestNumberTypedTwice(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.after(time.Minute)
	s := &scanner{h: h, path: "/at/north/or-3/pieces"}
	typed := func(text string, after time.Duration) map[string]any {
		h.after(after)
		return s.scan(text)
	}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.scan("1")
	must(t, typed("1", time.Second), "what became of it?", "Read twice, taken once")
	must(t, typed("4", time.Second), "1 of line 1", "missed")
	must(t, typed("4", time.Second), "1 of line 1", "Read twice, taken once")
	must(t, typed("4", 3*time.Second), "4 of line 1", "missed")
	must(t, s.scan(""), "4 of line 1")
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.scan("1")
	s.scan("5")
	must(t, s.scan(""), "doubtful", "1 of line 1", "found", "Not all of it is found:")
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.scan("1")
	s.scan("5")
	s.scan("3")
	must(t, s.scan(""), "whole", "3 of line 1", "found")
}

// TestKeyOfTwoQuestions: a key that answers the next question, too, and is pressed twice at once answers one.
func TestKeyOfTwoQuestions(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	h.after(5 * time.Minute)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("opening"))
	p.Type(label(t, events.ScanTag, "VAS-003") + "\r")
	p.AwaitText("#verdict", "scan the outer label")
	p.Type(kb.F4)
	p.AwaitText("#verdict", "scan the count sheet")
	p.Type(kb.F4)
	settled(p)
	p.AwaitText("#verdict", "scan the count sheet")
	if beep := browsertest.Eval[string](p, `document.body.dataset.sound`); beep != "low" {
		t.Errorf("the second F4 was not refused: %q", beep)
	}
}

// TestShortHereOverThere: a piece that is short in one case and over in another is told at both, where the count is signed
// and between two counts.
func TestShortHereOverThere(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-2")
	h.after(time.Minute)
	count := func(ref, set string, n, probes int) (c *counter, signed map[string]any) {
		c = &counter{h: h, ref: ref, stage: "first", n: n}
		c.lines(set, 4, 2, 3)
		c.scan(label(t, events.ScanBadge, "B-1"))
		c.scan(label(t, events.ScanBadge, "B-2"))
		c = &counter{h: h, ref: ref, stage: "final", n: n + 50}
		c.do("begin")
		c.lines(set, 4, 2, probes)
		c.scan(label(t, events.ScanBadge, "B-1"))
		h.after(3 * time.Second)
		signed = c.scan(label(t, events.ScanBadge, "B-2"))
		h.after(3 * time.Second)
		return c, signed
	}
	one, a := count("K-1", "VAS-003", 100, 2)
	if must(t, a, "broken", "1 × Probe", "short in VAS-003."); strings.Contains(tells(a), "K-2") {
		t.Errorf("told of K-2, which nobody has counted: %s", tells(a))
	}
	_, a = count("K-2", "VAS-004", 300, 4)
	must(t, a, "broken", "over in VAS-004.", "1 × Probe, olive tip, 14 cm short in VAS-003, case K-1: tell its room.")
	must(t, one.scan(""), "broken", "1 × Probe, olive tip, 14 cm over in VAS-004, case K-2: look there, too.")
}

// TestLotFieldAsks: what is typed into the field of the bag's lot is asked about like what is scanned: a wristband or a badge is
// as long as a lot. The one of the last time is taken.
func TestLotFieldAsks(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.after(time.Minute)
	s := &scanner{h: h, path: "/at/north/or-3/sealing"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.scan("1")
	before := h.size()
	must(t, s.do("lot", "lot", "P47110815"), "P47110815: is that the lot of the bag?")
	if must(t, s.scan(""), "P47110815: is that the lot of the bag?"); h.size() != before {
		t.Fatal("recorded with a lot that nobody said to be one")
	}
	s.do("lot-no")
	s.do("take-as", "value", "")
	must(t, s.do("lot", "lot", "BG-7"), "BG-7: is that the lot of the bag?")
	must(t, s.do("bag-lot", "value", "BG-7"), "Enter binds", "BG-7")
	must(t, s.do("lot", "lot", "BG-7"), "Enter binds")
	must(t, s.do("lot", "lot", "BG-8"), "BG-8: is that the lot of the bag?")
	must(t, s.do("bag-lot", "value", "BG-8"), "Enter binds", "BG-8")
	must(t, s.scan(""), "VAS-003 closed")
	if d := h.events(site.Query{Set: "VAS-003"}, events.KindListSealed)[1].(*events.ListSealed); d.BagLot != "BG-8" {
		t.Errorf("recorded: %+v", d)
	}
}

//go:build !race

package counts_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestQuarantinedLoadTakesNothingMore: a load that passed and is quarantined takes no further set, though nobody pressed
// “Start”: it would be recorded as sterile by a run that had ended.
func TestQuarantinedLoadTakesNothingMore(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Packed("VAS-003", "VAS-004")
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")), "VAS-003 in load S1-0304-02")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "no"), "open", "S1-0304-02 passed and is quarantined (sets: 1)")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-004")), "S1-0304-02 has ended: nothing more goes in")
	workplacetest.Must(t, s.Do("put", "value", "VAS-004"), "S1-0304-02 has ended: nothing more goes in")
	s.Do("take-out", "set", "VAS-003")
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "S1-0304-02 passed and is released (sets: 1)")
	if all := h.Ended("VAS-004"); len(all) != 1 {
		t.Errorf("VAS-004 was in no load of today but the first: %v", all)
	}
	if all := h.Ended("VAS-003"); len(all) != 3 || all[2] != "S1-0304-02 passed true" {
		t.Errorf("VAS-003: %v", all)
	}
}

// TestLockOfAnotherSet: a lock that is recorded of another closed container is asked about: one of the two numbers was read
// off the other tray. Enter answers nothing of it; who read it here is not shown green.
func TestLockOfAnotherSet(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Used("K-1", "VAS-003")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sealing"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Scan("3")
	before := h.Size()
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSeal, "483923")), "Enter binds") // its own of the turn before
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSeal, "483924")), "doubtful",
		"Lock 483924 is recorded of VAS-004", "On which of the two is it?")
	workplacetest.Must(t, s.Scan(""), "Lock 483924 is recorded of VAS-004")
	if workplacetest.Must(t, s.Do("record"), "Lock 483924 is recorded of VAS-004"); h.Size() != before {
		t.Fatal("recorded, and nobody had said on which container the lock is")
	}
	workplacetest.Must(t, s.Do("seal-off", "value", "483924"), "open", "Enter binds")
	s.Scan(workplacetest.Label(t, events.ScanSeal, "483924"))
	workplacetest.Must(t, s.Do("seal-read", "value", "483924"), "doubtful", "Enter binds", "One lock is on one container")
	workplacetest.Must(t, s.Scan(""), "doubtful", "VAS-003 closed", "One lock is on one container")
	// A lock of a container that was opened is on none.
	h.Used("K-2", "VAS-004")
	h.Used("K-3", "VAS-003")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.After(time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Do("unscanned", "value", "gone")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan("3")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanSeal, "483924")), "open", "Enter binds")
}

// TestWeightOfTheLastTime: a weight that is far from that of the set's last packing by the same list is asked about, in
// kilograms typed without their point, too; it is said to be right, or weighed again.
func TestWeightOfTheLastTime(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	for range 3 {
		s.Scan("")
	}
	before := h.Size()
	const asks = "0.84 kg, but 8.40 kg the last time. Weigh it again?"
	workplacetest.Must(t, s.Scan("0.84"), "doubtful", asks)
	workplacetest.Must(t, s.Scan(""), asks)
	workplacetest.Must(t, s.Do("record"), asks)
	if workplacetest.Must(t, s.Do("weighed", "value", "8400"), asks); h.Size() != before {
		t.Fatal("recorded, and nobody had said that the weight is right")
	}
	workplacetest.Must(t, s.Do("weighed", "value", ""), "Weigh it")
	workplacetest.Must(t, s.Scan("84"), "84.00 kg, but 8.40 kg the last time")
	workplacetest.Must(t, s.Scan("0.84"), asks) // typed anew
	workplacetest.Must(t, s.Scan("8"), "whole", "Enter records: VAS-003 packed")
	s.Do("weight", "weight", "0.84")
	workplacetest.Must(t, s.Do("weighed", "value", "840"), "whole", "Enter records: VAS-003 packed")
	workplacetest.Must(t, s.Scan(""), "VAS-003 packed")
	if d := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)[1].(*events.SetPacked); d.WeightGrams != 840 {
		t.Errorf("recorded %d g", d.WeightGrams)
	}
}

// TestNumberTypedTwice: a number that is typed twice at once answers one question about a piece, not two; found is not green
// while others of the set are missed.
func TestNumberTypedTwice(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
	typed := func(text string, after time.Duration) map[string]any {
		h.After(after)
		return s.Scan(text)
	}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Scan("1")
	workplacetest.Must(t, typed("1", time.Second), "what became of it?", "Read twice, taken once")
	workplacetest.Must(t, typed("4", time.Second), "1 of line 1", "missed")
	workplacetest.Must(t, typed("4", time.Second), "1 of line 1", "Read twice, taken once")
	workplacetest.Must(t, typed("4", 3*time.Second), "4 of line 1", "missed")
	workplacetest.Must(t, s.Scan(""), "4 of line 1")
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Scan("1")
	s.Scan("5")
	workplacetest.Must(t, s.Scan(""), "doubtful", "1 of line 1", "found", "Not all of it is found:")
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Scan("1")
	s.Scan("5")
	s.Scan("3")
	workplacetest.Must(t, s.Scan(""), "whole", "3 of line 1", "found")
}

// TestKeyOfTwoQuestions: a key that answers the next question, too, and is pressed twice at once answers one.
func TestKeyOfTwoQuestions(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(5 * time.Minute)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("opening"))
	p.Type(workplacetest.Label(t, events.ScanTag, "VAS-003") + "\r")
	p.AwaitText("#verdict", "scan the outer label")
	p.Type(kb.F4)
	p.AwaitText("#verdict", "scan the count sheet")
	p.Type(kb.F4)
	workplacetest.Settled(p)
	p.AwaitText("#verdict", "scan the count sheet")
	if beep := browsertest.Eval[string](p, `document.body.dataset.sound`); beep != "low" {
		t.Errorf("the second F4 was not refused: %q", beep)
	}
}

// TestShortHereOverThere: a piece that is short in one case and over in another is told at both, where the count is signed
// and between two counts.
func TestShortHereOverThere(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-2")
	h.After(time.Minute)
	count := func(ref, set string, n, probes int) (c *workplacetest.Counter, signed map[string]any) {
		c = &workplacetest.Counter{House: h, Ref: ref, Stage: "first", Number: n}
		c.Lines(set, 4, 2, 3)
		c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
		c = &workplacetest.Counter{House: h, Ref: ref, Stage: "final", Number: n + 50}
		c.Do("begin")
		c.Lines(set, 4, 2, probes)
		c.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		h.After(3 * time.Second)
		signed = c.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
		h.After(3 * time.Second)
		return c, signed
	}
	one, a := count("K-1", "VAS-003", 100, 2)
	if workplacetest.Must(t, a, "broken", "1 × Probe", "short in VAS-003."); strings.Contains(workplacetest.Tells(a), "K-2") {
		t.Errorf("told of K-2, which nobody has counted: %s", workplacetest.Tells(a))
	}
	_, a = count("K-2", "VAS-004", 300, 4)
	workplacetest.Must(t, a, "broken", "over in VAS-004.", "1 × Probe, olive tip, 14 cm short in VAS-003, case K-1: tell its room.")
	workplacetest.Must(t, one.Scan(""), "broken", "1 × Probe, olive tip, 14 cm over in VAS-004, case K-2: look there, too.")
}

// TestLotFieldAsks: what is typed into the field of the bag's lot is asked about like what is scanned: a wristband or a badge is
// as long as a lot. The one of the last time is taken.
func TestLotFieldAsks(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sealing"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Scan("1")
	before := h.Size()
	workplacetest.Must(t, s.Do("lot", "lot", "P47110815"), "P47110815: is that the lot of the bag?")
	if workplacetest.Must(t, s.Scan(""), "P47110815: is that the lot of the bag?"); h.Size() != before {
		t.Fatal("recorded with a lot that nobody said to be one")
	}
	s.Do("lot-no")
	s.Do("take-as", "value", "")
	workplacetest.Must(t, s.Do("lot", "lot", "BG-7"), "BG-7: is that the lot of the bag?")
	workplacetest.Must(t, s.Do("bag-lot", "value", "BG-7"), "Enter binds", "BG-7")
	workplacetest.Must(t, s.Do("lot", "lot", "BG-7"), "Enter binds")
	workplacetest.Must(t, s.Do("lot", "lot", "BG-8"), "BG-8: is that the lot of the bag?")
	workplacetest.Must(t, s.Do("bag-lot", "value", "BG-8"), "Enter binds", "BG-8")
	workplacetest.Must(t, s.Scan(""), "VAS-003 closed")
	if d := h.Events(site.Query{Set: "VAS-003"}, events.KindListSealed)[1].(*events.ListSealed); d.BagLot != "BG-8" {
		t.Errorf("recorded: %+v", d)
	}
}

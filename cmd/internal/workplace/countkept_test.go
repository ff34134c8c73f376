//go:build !race

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestWrongSheetAndOneMoreSet: a wrong count sheet that was read at a count stays STOP when a set that sorts before comes to
// the case, until it is said where it lay; the answer sent again, after one more set came, is the same record.
func TestWrongSheetAndOneMoreSet(t *testing.T) {
	h := newHouse(t, "LAP-014", "LAP-022", "VAS-003", "VAS-004")
	h.open("VAS-004", "K-1")
	k := &counter{h: h, ref: "K-1", stage: "first"}
	k.lines("VAS-004", 4, 2, 3)
	must(t, k.scan(h.codes["LAP-022"]), "broken", "Where was the count sheet that lay with VAS-004?")
	h.open("VAS-003", "K-1")
	k.lines("VAS-003", 4, 2, 3)
	k.scan(label(t, events.ScanBadge, "B-1"))
	before := h.size()
	h.after(3 * time.Second)
	must(t, k.scan(label(t, events.ScanBadge, "B-2")), "broken", "Where was the count sheet that lay with VAS-004?")
	a := k.scan("")
	if h.size() != before {
		t.Fatal("signed over a STOP that nobody answered")
	}
	must(t, (&scanner{h: h, path: "/at/north/or-3/close"}).scan(label(t, events.ScanCase, "K-1")), "a wrong count sheet was read")
	if page := h.get("/at/north/or-3/count?case=K-1&stage=first"); !strings.Contains(page, "Where was the count sheet") {
		t.Error("the page doesn't ask")
	}
	lay := choiceOf(a, "1 ")
	told := k.do("sheet-lay", "value", lay)
	must(t, told, "VAS-004")
	h.open("LAP-014", "K-1")
	k.n--
	must(t, k.do("sheet-lay", "value", lay), told["words"].(string))
	if got := h.events(site.Query{Set: "VAS-004"}, events.KindSetChecked); len(got) != 1 {
		t.Fatalf("recorded: %v", got)
	}
	if v := h.verdict("LAP-022", h.trips["LAP-022"]); v.Status == "whole" || v.Status == "open" {
		t.Errorf("LAP-022, whose sheet lay there, is %s", v.Status)
	}
}

// TestShortBeforeAndPassedOff: what was found short by a count that is signed, or by this one before its lines were counted
// again, is said to be passed off under that: amber where it is said, signed and where the case is closed.
func TestShortBeforeAndPassedOff(t *testing.T) {
	for name, short := range map[string]func(k *counter){
		"signed": func(k *counter) {
			k.h.counts("K-1", "VAS-003", events.StageFinal, 4, 2, 2)
			k.do("begin")
		},
		"interrupted": func(k *counter) {
			k.do("begin")
			k.lines("VAS-003", 4, 2, 2)
			k.interrupt()
		},
		"cleared": func(k *counter) {
			k.do("begin")
			k.lines("VAS-003", 4, 2, 2)
			k.post("enter", `"lines":[{"set":"VAS-003","line":3,"clear":true}]`)
		},
		"passed off and not so": func(k *counter) {
			k.do("begin")
			k.do("removed", "set", "VAS-003", "line", "3", "quantity", "1", "reason", "sent to pathology")
			k.lines("VAS-003", 4, 2, 2)
			k.do("removed", "set", "VAS-003", "line", "3", "quantity", "0")
			k.post("enter", `"lines":[{"set":"VAS-003","line":3,"clear":true}]`)
		},
	} {
		h := newHouse(t, "VAS-003")
		h.changesPolicy(func(p *events.Policy) { p.Stages = []events.Stage{events.StageFirst, events.StageFinal} })
		h.open("VAS-003", "K-1")
		h.signs("K-1", "VAS-003", events.StageFirst)
		h.after(time.Minute)
		k := &counter{h: h, ref: "K-1", stage: "final"}
		short(k)
		h.after(time.Minute)
		said := "said after a count had found it short"
		a := k.do("removed", "set", "VAS-003", "line", "3", "quantity", "1", "reason", "it must be somewhere")
		if !strings.Contains(tells(a), said) {
			t.Fatalf("%s: the page says %s", name, tells(a))
		}
		k.lines("VAS-003", 4, 2, 2)
		k.scan(label(t, events.ScanBadge, "B-1"))
		h.after(3 * time.Second)
		must(t, k.scan(label(t, events.ScanBadge, "B-2")), "doubtful", "Final count recorded", said)
		s := &scanner{h: h, path: "/at/north/or-3/close"}
		must(t, s.scan(label(t, events.ScanCase, "K-1")), "doubtful", "come out", said)
	}
}

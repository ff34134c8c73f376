//go:build !race

package workplace_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// reads scans all of a set but the badge.
func (s *scanner) reads(set string) map[string]any {
	return s.all(label(s.h.t, events.ScanTag, set), label(s.h.t, events.ScanOuter, set), s.h.codes[set], "1")
}

// TestCaseGoesWithTheBadge: the case at an opening is that of the person who scanned it. The next one says for which
// it is, also on the same day.
func TestCaseGoesWithTheBadge(t *testing.T) {
	for name, gone := range map[string]func(s *scanner){
		"hours later": func(s *scanner) { s.h.after(5 * time.Hour) },
		"next person": func(s *scanner) { s.do("next-person") },
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			s := &scanner{h: h, path: "/at/north/or-3/opening"}
			s.all(label(t, events.ScanBadge, "B-2"), label(t, events.ScanCase, "K-1"))
			s.reads("VAS-003")
			s.all("")
			if d, ok := h.last().Data.(*events.SetOpened); !ok || d.Case != "K-1" {
				t.Fatalf("not opened: %+v", h.last())
			}
			gone(s)
			s.reads("LAP-014")
			size := h.size()
			must(t, s.all(label(t, events.ScanBadge, "B-7")), "Scan the case")
			if s.all(""); h.size() != size {
				t.Fatalf("opened for the case of the patient before: %+v", h.last().Data)
			}
			must(t, s.all(label(t, events.ScanCase, "K-2")), "Enter records: LAP-014 opened for K-2")
		})
	}
}

// TestStopThatWasLeft: a STOP that nobody answered is one for whoever comes next, too: no scan goes past it, and what
// was read is recorded as of when it was read.
func TestStopThatWasLeft(t *testing.T) {
	for _, place := range []string{"or-3/opening", "storage/storage"} {
		t.Run(place, func(t *testing.T) {
			h := newHouse(t)
			s := &scanner{h: h, path: "/at/north/" + place}
			must(t, s.all(label(t, events.ScanBadge, "B-2"), label(t, events.ScanTag, "LAP-014"), label(t, events.ScanOuter, "LAP-014"),
				h.codes["LAP-022"]), "broken", "WRONG COUNT SHEET")
			read, size := h.clock(), h.size()
			h.after(26 * time.Hour)
			for _, text := range []string{label(t, events.ScanTag, "LAP-022"), label(t, events.ScanOuter, "LAP-022"), h.codes["LAP-014"],
				label(t, events.ScanSeal, "483924"), "", "1", label(t, events.ScanBadge, "B-7")} {
				must(t, s.all(text), "broken", "WRONG COUNT SHEET", "LAP-014 was read here at")
			}
			for _, action := range []string{"read-again", "as-read", "clear", "undo", "anyway", "record", "next-person"} {
				s.do(action)
				must(t, s.all(""), "broken", "WRONG COUNT SHEET", "LAP-014 was read here at")
			}
			if h.size() != size {
				t.Fatalf("recorded though nobody said so: %+v", h.last())
			}
			s.do("put-aside")
			must(t, s.all("1"), "as of", "put aside")
			must(t, s.all(label(t, events.ScanTag, "LAP-022")), "broken", "WRONG COUNT SHEET")
			s.all(label(t, events.ScanBadge, "B-7"))
			d, ok := h.last().Data.(*events.SetChecked)
			if !ok || h.size() != size+1 || d.Aside != events.AsidePut || d.Sheet.Code != h.codes["LAP-022"] || !h.last().Time.Equal(read) {
				t.Fatalf("recorded: %+v", h.last())
			}
			if v := h.verdict("LAP-022", h.trip("LAP-022")); v.Status == "open" {
				t.Error("the twin is unsuspected")
			}
		})
	}
}

// TestPutAsideByTheNext: what somebody said without a badge is not recorded by the badge of the next person.
func TestPutAsideByTheNext(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.all(label(t, events.ScanTag, "LAP-014"), h.codes["LAP-014"], "1")
	must(t, s.do("put-aside"), "it records that LAP-014 is put aside")
	size := h.size()
	h.after(90 * time.Minute)
	must(t, s.scan(label(t, events.ScanBadge, "B-7")), "LAP-014 was read here at")
	if h.size() != size {
		t.Errorf("recorded by who scanned a badge to begin work: %+v", h.last())
	}
}

// TestOpenedIsOfNow: what was read hours ago opens nothing, and what is read now is not of then.
func TestOpenedIsOfNow(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.all(label(t, events.ScanBadge, "B-2"), label(t, events.ScanTag, "VAS-003"), label(t, events.ScanOuter, "VAS-003"))
	h.after(5 * time.Hour)
	must(t, s.all(""), "VAS-003 was read here at")
	s.do("as-read") // of an earlier page
	s.all(h.codes["VAS-003"], "1", label(t, events.ScanCase, "K-1"), label(t, events.ScanBadge, "B-7"), "")
	if _, opened := h.last().Data.(*events.SetOpened); opened {
		t.Fatalf("opened by what was read before: %+v", h.last())
	}
	s.do("forget")
	s.reads("VAS-003")
	s.all(label(t, events.ScanCase, "K-1"), label(t, events.ScanBadge, "B-7"))
	now := h.clock()
	if s.scan(""); !h.last().Time.Equal(now) {
		t.Errorf("opened as of %s; it was at %s", h.last().Time, now)
	}

	c := &scanner{h: h, path: "/at/north/storage/storage"}
	c.all(label(t, events.ScanTag, "VAS-004"))
	h.after(5 * time.Hour)
	must(t, c.do("as-read"), "VAS-004")
	c.do("package", "value", "wet")
	c.all(h.codes["VAS-003"], "1", label(t, events.ScanBadge, "B-7"))
	size := h.size()
	if c.scan(""); h.size() > size && h.last().Subject == "VAS-004" {
		t.Errorf("recorded as of when the tag was read: %+v", h.last().Data)
	}
}

// TestCountThatWasLeft: what was counted in the morning is signed by nobody hours later unless a person says that it
// still holds; no line, badge or Enter passes that.
func TestCountThatWasLeft(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	k := &counter{h: h, ref: "K-1", stage: "first"}
	k.lines("VAS-003", 4, 2)
	k.scan(label(t, events.ScanBadge, "B-21"))
	for _, answer := range []string{"left-on", "left-anew"} {
		size := h.size()
		h.after(5 * time.Hour)
		must(t, k.post("enter", `"lines":[{"set":"VAS-003","line":3,"counted":3}]`), "this count was left at")
		badges := []string{label(t, events.ScanBadge, "B-7"), label(t, events.ScanBadge, "B-8")}
		for _, text := range append(badges, "", label(t, events.ScanSet, "VAS-003")) {
			h.after(3 * time.Second)
			must(t, k.scan(text), "this count was left at")
		}
		for _, action := range []string{"begin", "sign", "interrupted", "enter", "removed"} {
			must(t, k.do(action), "this count was left at")
		}
		if page := h.get("/at/north/or-3/count?case=K-1&stage=first"); !strings.Contains(page, "this count was left at") {
			t.Error("the page doesn't ask")
		}
		a := k.scan("")
		k.do(answer, "value", choiceOf(a, "still holds"))
		if answer == "left-anew" {
			k.lines("VAS-003", 4, 2)
		}
		k.post("enter", `"lines":[{"set":"VAS-003","line":3,"counted":3}]`)
		if answer == "left-on" {
			if h.size() != size {
				t.Fatal("recorded without a badge")
			}
			continue // and it is left again
		}
		k.scan(label(t, events.ScanBadge, "B-7"))
		h.after(3 * time.Second)
		must(t, k.scan(label(t, events.ScanBadge, "B-8")), "recorded")
		if h.size() != size+1 {
			t.Errorf("recorded: %d", h.size()-size)
		}
	}
}

// TestCountBegunBeforeAnother: lines that were counted before another count was signed are asked about, and a count of
// which nothing lies there is begun again.
func TestCountBegunBeforeAnother(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	sign := func(stage string, n int) {
		k := &counter{h: h, ref: "K-1", stage: stage, n: n}
		if stage != "first" {
			k.do("begin")
		}
		k.lines("VAS-003", 4, 2, 3)
		k.scan(label(t, events.ScanBadge, "B-1"))
		h.after(3 * time.Second)
		must(t, k.scan(label(t, events.ScanBadge, "B-2")), "recorded")
		h.after(time.Minute)
	}
	sign("first", 0)
	f := &counter{h: h, ref: "K-1", stage: "final", n: 1000}
	f.do("begin")
	f.lines("VAS-003", 4)
	h.after(time.Minute)
	sign("closing", 2000)
	must(t, f.post("enter", `"lines":[{"set":"VAS-003","line":2,"counted":2}]`), "this count was left at")
	f.do("left-anew")
	st := getJSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")
	if st["done"] != 0.0 || st["pause"] != nil {
		t.Errorf("counted anew: %v lines, %v", st["done"], st["pause"])
	}
	h.after(5 * time.Hour) // begun, and nothing counted
	st = getJSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")
	if pause, _ := st["pause"].(string); !strings.Contains(pause, "Begin: Final count") {
		t.Errorf("five hours later it is counted without being begun: %v", st["pause"])
	}
}

// TestResultThatWasLeft: what was said of a load and not recorded is recorded by nobody who scans a badge to begin work the
// next morning, but by whoever was asked and says that it holds.
func TestResultThatWasLeft(t *testing.T) {
	for name, said := range map[string]struct{ action, words, status string }{
		"released": {`result","fields":{"result":"passed","released":"yes"}`, "passed and is released", "open"},
		"failed":   {`result","fields":{"result":"failed"}`, "FAILED", "broken"},
		"negative": {`indicator","fields":{"load":"S1-0304-01","result":"negative"}`, "negative", "open"},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.used("K-1", "VAS-003")
			h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			s := &scanner{h: h, path: "/at/north/sterilizer-1/sterilizer"}
			s.scan(label(t, events.ScanBadge, "B-1"))
			s.run("2", "VAS-003")
			s.h.after(21 * time.Minute)
			s.n++
			h.post(s.path+"/do", fmt.Sprintf(`{"client":"t","n":%d,"action":"%s}`, s.n, said.action))
			size := h.size()
			h.after(16 * time.Hour)
			for _, text := range []string{label(t, events.ScanBadge, "B-7"), "", label(t, events.ScanSet, "VAS-003"), "1"} {
				a := s.all(text)
				must(t, a, said.words, "left at 4 Mar 2026")
				if a["status"] != said.status {
					t.Errorf("after %q it is %v", text, a["status"])
				}
			}
			for _, action := range []string{"enter", "forget", "undo", "take-back", "left-on", "next-person"} {
				must(t, s.do(action), said.words, "left at 4 Mar 2026")
			}
			if h.size() != size {
				t.Fatalf("recorded, and nobody said that it holds: %+v", h.last().Data)
			}
			must(t, s.do("left-on", "value", choiceOf(s.scan(""), "Go on")), said.words, "badge")
			s.all(label(t, events.ScanBadge, "B-7"))
			if h.size() != size+1 || h.last().Operator != "B-7" {
				t.Errorf("not recorded: %+v", h.last())
			}
		})
	}
}

// TestBenchThatWasLeft: what was counted, scanned or said at a bench yesterday is recorded by nobody today as if it had been
// seen now. Enter begins anew where whoever stands there can see all of it again.
func TestBenchThatWasLeft(t *testing.T) {
	reprocessed := func(h *house) { h.used("K-0", "VAS-003") }
	for name, x := range map[string]struct {
		place  string
		before func(h *house)
		enter  func(s *scanner)
		after  []string // what else it needs, by whoever comes
		again  bool     // Enter begins anew
		kind   events.Kind
	}{
		"packing": {"packing", reprocessed, func(s *scanner) { s.all("4", "2") }, []string{"3", "8.4"}, true, events.KindSetPacked},
		"packing, one is short": {"packing", reprocessed, func(s *scanner) { s.all("4", "1", "3") },
			[]string{"3", "8.4"}, false, events.KindSetPacked},
		"sealing": {"sealing", func(h *house) {
			reprocessed(h)
			h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
		}, func(s *scanner) { s.all("3", label(s.h.t, events.ScanSeal, "771001")) }, nil, true, events.KindListSealed},
		"way back": {"return", reprocessed, func(s *scanner) { s.all("2", "+1") }, []string{"2"}, false, events.KindSetReturned},
		"pieces":   {"pieces", reprocessed, func(s *scanner) { s.all("1", "4") }, nil, false, events.KindPieceReported},
		"close": {"close", func(h *house) { h.open("VAS-003", "K-1") }, func(s *scanner) {
			s.do("action", "action", "image-taken")
			s.do("reason", "reason", "the surgeon left")
		}, []string{label(t, events.ScanBadge, "B-9"), ""}, false, events.KindCaseClosed},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			x.before(h)
			s := &scanner{h: h, path: "/at/north/or-3/" + x.place}
			s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"))
			x.enter(s)
			size := h.size()
			h.after(20 * time.Hour)
			badge := label(t, events.ScanBadge, "B-7")
			noAnswers := append([]string{badge, label(t, events.ScanTag, "VAS-003"), label(t, events.ScanTag, "VAS-004"), "1", "+1"}, x.after...)
			for _, text := range slices.DeleteFunc(noAnswers, func(text string) bool { return text == "" && x.again }) {
				must(t, s.all(text), "left at", "B-1 worked here", "Does what stands here still hold?")
			}
			for _, action := range []string{"record", "clear", "leave", "undo", "next-person", "left-on"} {
				must(t, s.do(action), "left at", "Does what stands here still hold?")
			}
			h.get("/at/north/or-3/" + x.place + "?case=K-2")
			a := s.all(label(t, events.ScanTag, "VAS-004"))
			must(t, a, "left at")
			if h.size() != size {
				t.Fatalf("recorded by who did not see it: %+v", h.last().Data)
			}
			if a := s.all(""); strings.Contains(tells(a), "left at") == x.again {
				t.Errorf("after Enter the page says %s", tells(a))
			}
			if x.again {
				if s.do("undo"); h.size() != size {
					t.Errorf("recorded: %+v", h.last().Data)
				}
				if s.all(badge, ""); h.size() != size {
					t.Errorf("begun anew, and recorded all the same: %+v", h.last().Data)
				}
				return
			}
			s.do("left-on", "value", choiceOf(a, "Go on"))
			s.all(append(append([]string{badge}, x.after...), "")...)
			if h.size() != size+1 || h.last().Kind() != x.kind || h.last().Operator != "B-7" {
				t.Errorf("gone on with, and not recorded: %s", tells(s.scan("")))
			}
		})
	}
}

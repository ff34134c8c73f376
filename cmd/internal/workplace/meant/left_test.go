//go:build !race

package meant_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestCaseGoesWithTheBadge: the case at an opening is that of the person who scanned it. The next one says for which
// it is, also on the same day.
func TestCaseGoesWithTheBadge(t *testing.T) {
	for name, gone := range map[string]func(s *workplacetest.Scanner){
		"hours later": func(s *workplacetest.Scanner) { s.House.After(5 * time.Hour) },
		"next person": func(s *workplacetest.Scanner) { s.Do("next-person") },
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
			s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t, events.ScanCase, "K-1"))
			s.Reads("VAS-003")
			s.All("")
			if d, ok := h.Last().Data.(*events.SetOpened); !ok || d.Case != "K-1" {
				t.Fatalf("not opened: %+v", h.Last())
			}
			gone(s)
			s.Reads("LAP-014")
			size := h.Size()
			workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-7")), "Scan the case")
			if s.All(""); h.Size() != size {
				t.Fatalf("opened for the case of the patient before: %+v", h.Last().Data)
			}
			workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanCase, "K-2")), "Enter records: LAP-014 opened for K-2")
		})
	}
}

// TestStopThatWasLeft: a STOP that nobody answered is one for whoever comes next, too: no scan goes past it, and what
// was read is recorded as of when it was read.
func TestStopThatWasLeft(t *testing.T) {
	for _, place := range []string{"or-3/opening", "storage/storage"} {
		t.Run(place, func(t *testing.T) {
			h := workplacetest.NewHouse(t)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/" + place}
			workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t,
				events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-014"),
				h.Codes["LAP-022"]), "broken", "WRONG COUNT SHEET")
			read, size := h.Clock(), h.Size()
			h.After(26 * time.Hour)
			for _, text := range []string{workplacetest.Label(t, events.ScanTag, "LAP-022"), workplacetest.Label(t,
				events.ScanOuter, "LAP-022"), h.Codes["LAP-014"],
				workplacetest.Label(t, events.ScanSeal, "483924"), "", "1", workplacetest.Label(t, events.ScanBadge, "B-7")} {
				workplacetest.Must(t, s.All(text), "broken", "WRONG COUNT SHEET", "LAP-014 was read here at")
			}
			for _, action := range []string{"read-again", "as-read", "clear", "undo", "anyway", "record", "next-person"} {
				s.Do(action)
				workplacetest.Must(t, s.All(""), "broken", "WRONG COUNT SHEET", "LAP-014 was read here at")
			}
			if h.Size() != size {
				t.Fatalf("recorded though nobody said so: %+v", h.Last())
			}
			s.Do("put-aside")
			workplacetest.Must(t, s.All("1"), "as of", "put aside")
			workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "LAP-022")), "broken", "WRONG COUNT SHEET")
			s.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
			d, ok := h.Last().Data.(*events.SetChecked)
			if !ok || h.Size() != size+1 || d.Aside != events.AsidePut || d.Sheet.Code != h.Codes["LAP-022"] || !h.Last().Time.Equal(read) {
				t.Fatalf("recorded: %+v", h.Last())
			}
			if v := h.Verdict("LAP-022", h.Trip("LAP-022")); v.Status == "open" {
				t.Error("the twin is unsuspected")
			}
		})
	}
}

// TestPutAsideByTheNext: what somebody said without a badge is not recorded by the badge of the next person.
func TestPutAsideByTheNext(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-014"], "1")
	workplacetest.Must(t, s.Do("put-aside"), "it records that LAP-014 is put aside")
	size := h.Size()
	h.After(90 * time.Minute)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-7")), "LAP-014 was read here at")
	if h.Size() != size {
		t.Errorf("recorded by who scanned a badge to begin work: %+v", h.Last())
	}
}

// TestOpenedIsOfNow: what was read hours ago opens nothing, and what is read now is not of then.
func TestOpenedIsOfNow(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t, events.ScanTag, "VAS-003"),
		workplacetest.Label(t, events.ScanOuter, "VAS-003"))
	h.After(5 * time.Hour)
	workplacetest.Must(t, s.All(""), "VAS-003 was read here at")
	s.Do("as-read") // of an earlier page
	s.All(h.Codes["VAS-003"], "1", workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanBadge, "B-7"), "")
	if _, opened := h.Last().Data.(*events.SetOpened); opened {
		t.Fatalf("opened by what was read before: %+v", h.Last())
	}
	s.Do("forget")
	s.Reads("VAS-003")
	s.All(workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanBadge, "B-7"))
	now := h.Clock()
	if s.Scan(""); !h.Last().Time.Equal(now) {
		t.Errorf("opened as of %s; it was at %s", h.Last().Time, now)
	}

	c := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	c.All(workplacetest.Label(t, events.ScanTag, "VAS-004"))
	h.After(5 * time.Hour)
	workplacetest.Must(t, c.Do("as-read"), "VAS-004")
	c.Do("package", "value", "wet")
	c.All(h.Codes["VAS-003"], "1", workplacetest.Label(t, events.ScanBadge, "B-7"))
	size := h.Size()
	if c.Scan(""); h.Size() > size && h.Last().Subject == "VAS-004" {
		t.Errorf("recorded as of when the tag was read: %+v", h.Last().Data)
	}
}

// TestCountThatWasLeft: what was counted in the morning is signed by nobody hours later unless a person says that it
// still holds; no line, badge or Enter passes that.
func TestCountThatWasLeft(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Lines("VAS-003", 4, 2)
	k.Scan(workplacetest.Label(t, events.ScanBadge, "B-21"))
	for _, answer := range []string{"left-on", "left-anew"} {
		size := h.Size()
		h.After(5 * time.Hour)
		workplacetest.Must(t, k.Post("enter", `"lines":[{"set":"VAS-003","line":3,"counted":3}]`), "this count was left at")
		badges := []string{workplacetest.Label(t, events.ScanBadge, "B-7"), workplacetest.Label(t, events.ScanBadge, "B-8")}
		for _, text := range append(badges, "", workplacetest.Label(t, events.ScanSet, "VAS-003")) {
			h.After(3 * time.Second)
			workplacetest.Must(t, k.Scan(text), "this count was left at")
		}
		for _, action := range []string{"begin", "sign", "interrupted", "enter", "removed"} {
			workplacetest.Must(t, k.Do(action), "this count was left at")
		}
		if page := h.Get("/at/north/or-3/count?case=K-1&stage=first"); !strings.Contains(page, "this count was left at") {
			t.Error("the page doesn't ask")
		}
		a := k.Scan("")
		k.Do(answer, "value", workplacetest.Answer(a).Choice(answer)["value"])
		if answer == "left-anew" {
			k.Lines("VAS-003", 4, 2)
		}
		k.Post("enter", `"lines":[{"set":"VAS-003","line":3,"counted":3}]`)
		if answer == "left-on" {
			if h.Size() != size {
				t.Fatal("recorded without a badge")
			}
			continue // and it is left again
		}
		k.Scan(workplacetest.Label(t, events.ScanBadge, "B-7"))
		h.After(3 * time.Second)
		workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-8")), "recorded")
		if h.Size() != size+1 {
			t.Errorf("recorded: %d", h.Size()-size)
		}
	}
}

// TestCountBegunBeforeAnother: lines that were counted before another count was signed are asked about, and a count of
// which nothing lies there is begun again.
func TestCountBegunBeforeAnother(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	sign := func(stage string, n int) {
		k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: stage, Number: n}
		if stage != "first" {
			k.Do("begin")
		}
		k.Lines("VAS-003", 4, 2, 3)
		k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		h.After(3 * time.Second)
		workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "recorded")
		h.After(time.Minute)
	}
	sign("first", 0)
	f := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "final", Number: 1000}
	f.Do("begin")
	f.Lines("VAS-003", 4)
	h.After(time.Minute)
	sign("closing", 2000)
	workplacetest.Must(t, f.Post("enter", `"lines":[{"set":"VAS-003","line":2,"counted":2}]`), "this count was left at")
	f.LeftAnew()
	st := workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")
	if st["done"] != 0.0 || st["pause"] != nil {
		t.Errorf("counted anew: %v lines, %v", st["done"], st["pause"])
	}
	h.After(5 * time.Hour) // begun, and nothing counted
	st = workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=final")
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
			h := workplacetest.NewHouse(t, "VAS-003")
			h.Used("K-1", "VAS-003")
			h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			s := &workplacetest.Scanner{House: h, Path: "/at/north/sterilizer-1/sterilizer"}
			s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
			s.Run("2", "VAS-003")
			s.House.After(21 * time.Minute)
			s.Number++
			h.Post(s.Path+"/do", fmt.Sprintf(`{"client":"t","n":%d,"action":"%s}`, s.Number, said.action))
			size := h.Size()
			h.After(16 * time.Hour)
			for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-7"), "", workplacetest.Label(t,
				events.ScanSet, "VAS-003"), "1"} {
				a := s.All(text)
				workplacetest.Must(t, a, said.words, "left at 4 Mar 2026")
				if a["status"] != said.status {
					t.Errorf("after %q it is %v", text, a["status"])
				}
			}
			for _, action := range []string{"enter", "forget", "undo", "take-back", "left-on", "next-person"} {
				workplacetest.Must(t, s.Do(action), said.words, "left at 4 Mar 2026")
			}
			if h.Size() != size {
				t.Fatalf("recorded, and nobody said that it holds: %+v", h.Last().Data)
			}
			workplacetest.Must(t, s.Do("left-on", "value", workplacetest.ChoiceOf(s.Scan(""), "Go on")), said.words, "badge")
			s.All(workplacetest.Label(t, events.ScanBadge, "B-7"))
			if h.Size() != size+1 || h.Last().Operator != "B-7" {
				t.Errorf("not recorded: %+v", h.Last())
			}
		})
	}
}

// TestBenchThatWasLeft: what was counted, scanned or said at a bench yesterday is recorded by nobody today as if it had been
// seen now. Enter begins anew where whoever stands there can see all of it again.
func TestBenchThatWasLeft(t *testing.T) {
	reprocessed := func(h *workplacetest.House) { h.Used("K-0", "VAS-003") }
	for name, x := range map[string]struct {
		place  string
		before func(h *workplacetest.House)
		enter  func(s *workplacetest.Scanner)
		after  []string // what else it needs, by whoever comes
		again  bool     // Enter begins anew
		kind   events.Kind
	}{
		"packing": {"packing", reprocessed, func(s *workplacetest.Scanner) { s.All("4", "2") }, []string{"3", "8.4"},
			true, events.KindSetPacked},
		"packing, one is short": {"packing", reprocessed, func(s *workplacetest.Scanner) { s.All("4", "1", "3") },
			[]string{"3", "8.4"}, false, events.KindSetPacked},
		"sealing": {"sealing", func(h *workplacetest.House) {
			reprocessed(h)
			h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
		}, func(s *workplacetest.Scanner) { s.All("3", workplacetest.Label(s.House.T, events.ScanSeal, "771001")) },
			nil, true, events.KindListSealed},
		"way back": {"return", reprocessed, func(s *workplacetest.Scanner) { s.All("2", "+1") }, []string{"2"}, false,
			events.KindSetReturned},
		"pieces": {"pieces", reprocessed, func(s *workplacetest.Scanner) { s.All("1", "4") }, nil, false, events.KindPieceReported},
		"close": {"close", func(h *workplacetest.House) { h.Open("VAS-003", "K-1") }, func(s *workplacetest.Scanner) {
			s.Do("action", "action", "image-taken")
			s.Do("reason", "reason", "the surgeon left")
		}, []string{workplacetest.Label(t, events.ScanBadge, "B-9"), ""}, false, events.KindCaseClosed},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			x.before(h)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + x.place}
			s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
			x.enter(s)
			size := h.Size()
			h.After(20 * time.Hour)
			badge := workplacetest.Label(t, events.ScanBadge, "B-7")
			noAnswers := append([]string{badge, workplacetest.Label(t, events.ScanTag, "VAS-003"),
				workplacetest.Label(t, events.ScanTag, "VAS-004"), "1", "+1"}, x.after...)
			for _, text := range slices.DeleteFunc(noAnswers, func(text string) bool { return text == "" && x.again }) {
				workplacetest.Must(t, s.All(text), "left at", "B-1 worked here", "Does what stands here still hold?")
			}
			for _, action := range []string{"record", "clear", "leave", "undo", "next-person", "left-on"} {
				workplacetest.Must(t, s.Do(action), "left at", "Does what stands here still hold?")
			}
			h.Get("/at/north/or-3/" + x.place + "?case=K-2")
			a := s.All(workplacetest.Label(t, events.ScanTag, "VAS-004"))
			workplacetest.Must(t, a, "left at")
			if h.Size() != size {
				t.Fatalf("recorded by who did not see it: %+v", h.Last().Data)
			}
			if a := s.All(""); strings.Contains(workplacetest.Tells(a), "left at") == x.again {
				t.Errorf("after Enter the page says %s", workplacetest.Tells(a))
			}
			if x.again {
				if s.Do("undo"); h.Size() != size {
					t.Errorf("recorded: %+v", h.Last().Data)
				}
				if s.All(badge, ""); h.Size() != size {
					t.Errorf("begun anew, and recorded all the same: %+v", h.Last().Data)
				}
				return
			}
			s.Do("left-on", "value", workplacetest.ChoiceOf(a, "Go on"))
			s.All(append(append([]string{badge}, x.after...), "")...)
			if h.Size() != size+1 || h.Last().Kind() != x.kind || h.Last().Operator != "B-7" {
				t.Errorf("gone on with, and not recorded: %s", workplacetest.Tells(s.Scan("")))
			}
		})
	}
}

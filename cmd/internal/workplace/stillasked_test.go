//go:build !race

package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestPieceOfAClosedSet: a piece is taken out of a container, or put into one, that lies closed and sterile only by who
// opened it. That is asked, and the opening of the set is told of it. What is found, or replaced in a case, is not green
// where others must know of it.
func TestPieceOfAClosedSet(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	h.after(time.Hour)
	s := &scanner{h: h, path: "/at/north/or-3/pieces"}
	report := func(set, became string) map[string]any {
		h.after(5 * time.Second)
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.scan(label(t, events.ScanTag, set))
		s.do("line", "line", "1")
		return s.do("became", "value", became)
	}
	before := h.size()
	must(t, report("VAS-003", "repair"), "doubtful", "VAS-003 is packed and closed. Was it opened for that?")
	must(t, s.scan("2"), "Was it opened for that?") // a number answers nothing of it
	must(t, s.scan(""), "Was it opened for that?")
	if must(t, s.do("leave"), "Scan the tag"); h.size() != before {
		t.Fatal("recorded, and nobody said that the set was opened")
	}
	report("VAS-003", "repair")
	must(t, s.do("opened"), "doubtful", "Enter records: VAS-003, 1 of line 1", "it is not used before it is packed anew")
	must(t, s.do("became", "value", "replaced"), "Was it opened for that?") // of repair it was said
	s.do("opened")
	must(t, s.scan(""), "doubtful", "VAS-003, 1 of line 1", "it is not used before it is packed anew")
	if got := h.events(site.Query{Set: "VAS-003"}, events.KindPieceReported); len(got) != 1 {
		t.Errorf("recorded: %v", got)
	}
	h.after(time.Minute)
	o := &scanner{h: h, path: "/at/north/or-3/opening"}
	for _, text := range []string{label(t, events.ScanTag, "VAS-003"), label(t, events.ScanOuter, "VAS-003"), h.codes["VAS-003"]} {
		o.scan(text)
	}
	must(t, o.scan("1"), "doubtful", "a piece of it was changed while it was CLOSED")

	must(t, report("VAS-004", "found"), "doubtful", "Nothing of VAS-004 is recorded as missed")
	must(t, s.scan(""), "doubtful", "Nothing of VAS-004 is recorded as missed")
	report("VAS-005", "lost")
	s.scan("")
	must(t, report("VAS-005", "found"), "whole", "Enter records")
	h.open("VAS-006", "K-1")
	must(t, report("VAS-006", "replaced"), "doubtful", "VAS-006 is open in case K-1: tell its room")
	must(t, s.scan(""), "doubtful", "VAS-006 is open in case K-1: tell its room")
	if got := h.events(site.Query{Set: "VAS-006"}, events.KindPieceReported); len(got) != 1 {
		t.Errorf("recorded: %v", got)
	}
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
	if a := report("VAS-006", "repair"); strings.Contains(tells(a), "K-1") || a["status"] != "whole" {
		t.Errorf("after its case: %s", tells(a))
	}
}

// TestCaseOfAnotherDay: a case that was begun on another day and that nobody closed takes no set of today's patient
// before somebody has said that it is the same case. The answer holds for the next sets, not for the next day.
func TestCaseOfAnotherDay(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	h.open("VAS-003", "K-1")
	h.now.Store(time.Date(2026, 3, 5, 7, 0, 0, 0, time.UTC).UnixNano())
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	read := func(set string) (a map[string]any) {
		h.after(5 * time.Second)
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.all(label(t, events.ScanTag, set), label(t, events.ScanOuter, set), h.codes[set])
		return s.scan("1")
	}
	read("VAS-004")
	before := h.size()
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "doubtful", "K-1 was begun", "with VAS-003. Is it the same case?")
	must(t, s.scan(label(t, events.ScanBadge, "B-1")), "Is it the same case?") // asked until it is answered
	if must(t, s.scan(""), "Is it the same case?"); h.size() != before {
		t.Fatal("opened for a case of yesterday, and nobody said that it is the same")
	}
	must(t, s.do("next-case"), "Scan the case")
	s.scan(label(t, events.ScanCase, "K-1"))
	s.do("old-case", "value", "K-2")
	must(t, s.do("old-case", "value", ""), "Is it the same case?")
	must(t, s.do("old-case", "value", "K-1"), "whole", "Enter records: VAS-004 opened for K-1")
	must(t, s.scan(""), "VAS-004 opened for K-1")
	must(t, read("VAS-005"), "whole", "Enter records: VAS-005 opened for K-1")
	must(t, s.scan(label(t, events.ScanCase, "K-2")), "Enter records: VAS-005 opened for K-2")
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "Is it the same case?") // of the other one it was said
	s.do("old-case", "value", "K-1")
	s.scan("")
	h.now.Store(time.Date(2026, 3, 6, 7, 0, 0, 0, time.UTC).UnixNano())
	must(t, read("VAS-006"), "Scan the case")
	must(t, s.scan(label(t, events.ScanCase, "K-1")), "Is it the same case?")
}

// TestLotIsAskedOnce: a code that nobody has said to be a bag's lot is asked about before it is part of the binding for
// ever; the last one is taken by Enter, and what a pattern of the site names is not asked about.
func TestLotIsAskedOnce(t *testing.T) {
	h := newHouse(t, "VAS-003")
	pack := func(set string) {
		h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	}
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	for _, code := range []string{"P47110815", "104455", "04012345678901", "483926", "K-77", "LAP-O14"} {
		pack("VAS-009")
		s.do("clear")
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.scan(label(t, events.ScanTag, "VAS-009"))
		must(t, s.scan("1"), "Scan or type the lot of the bag")
		before := h.size()
		must(t, s.scan(code), code+": is that the lot of the bag?")
		if must(t, s.scan(""), "is that the lot of the bag?"); h.size() != before {
			t.Errorf("%s is a lot, and nobody said so", code)
		}
		s.do("lot-no")
		h.after(5 * time.Second)
	}
	must(t, s.scan("104455"), "is that the lot of the bag?")
	must(t, s.do("lot-no"), "104455: what is it?")
	s.do("take-as", "value", "badge")
	must(t, s.scan("BG-7"), "BG-7: is that the lot of the bag?")
	must(t, s.do("bag-lot", "value", "BG-7"), "Enter binds the count sheet")
	s.scan("")
	lots := func() (out []string) {
		for _, d := range h.events(site.Query{Set: "VAS-009"}, events.KindListSealed) {
			out = append(out, d.(*events.ListSealed).BagLot)
		}
		return out
	}
	next := func() {
		h.after(5 * time.Second)
		pack("VAS-009")
		s.do("unscanned", "value", "printer")
		s.scan(label(t, events.ScanTag, "VAS-009"))
		s.scan("1")
	}
	next()
	must(t, s.do("nothing"), "means nothing here")
	must(t, s.scan(""), "Lot of the bag: BG-7, as the last time?") // Enter after something else was said
	must(t, s.scan(""), "Enter binds the count sheet")
	if a := s.do("enter"); !strings.Contains(tells(a), "VAS-009 closed") {
		t.Fatal(tells(a))
	}
	next()
	must(t, s.scan("BG-7"), "Enter binds the count sheet") // scanned, it is known
	s.scan("")
	policy := events.DefaultPolicy()
	policy.Codes = []events.CodePattern{{Kind: events.ScanLot, Like: "BG-9"}}
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	next()
	must(t, s.scan("BG-8"), "Enter binds the count sheet")
	s.scan("")
	if got := strings.Join(lots(), " "); got != "BG-7 BG-7 BG-7 BG-8" {
		t.Errorf("lots: %s", got)
	}
}

// TestOneLoadAtTwoStations: a load that lies at another station is asked about when it is begun and when it is started, has
// one start, and where it failed the sets of both stations are named.
func TestOneLoadAtTwoStations(t *testing.T) {
	h := newHouse(t, "VAS-003")
	for _, set := range []string{"VAS-007", "VAS-008"} {
		h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
		h.record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside})
	}
	one, two := h.atSterilizer(), &scanner{h: h, path: "/at/north/storage/sterilizer"}
	begin := func(s *scanner, run string) map[string]any {
		s.scan(label(t, events.ScanBadge, "B-1"))
		return s.do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134")
	}
	begin(one, "2")
	one.scan(label(t, events.ScanSet, "VAS-007"))
	must(t, begin(two, "2"), "Load S1-0304-02 is being filled at north/or-3")
	must(t, two.do("begin-too", "value", "S1-0304-02"), "Scan sets into S1-0304-02")
	two.scan(label(t, events.ScanSet, "VAS-008"))
	one.do("start")
	started := h.clock()
	h.after(5 * time.Minute)
	must(t, two.do("start"), "Load S1-0304-02 runs at north/or-3 since")
	must(t, two.do("start", "value", "S1-0304-02"), "runs at north/or-3 since") // that something else was meant was not asked
	if a := two.do("start", "value", "sure S1-0304-02"); strings.Contains(tells(a), "runs at") {
		t.Fatal(tells(a))
	}
	h.after(10 * time.Minute)
	two.scan(label(t, events.ScanBadge, "B-1"))
	a := two.do("result", "result", "failed")
	if more := tells(a); !strings.Contains(a["more"].(string), "In this load at north/or-3, too: VAS-007") || a["status"] != "broken" {
		t.Errorf("failed: %s, %v", more, a["more"])
	}
	if !strings.Contains(a["bench"].(string), "In this load at north/or-3, too: VAS-007") {
		t.Error("it does not stay on the page")
	}
	d := h.events(site.Query{Set: "VAS-008"}, events.KindSetSterilized)[0].(*events.SetSterilized)
	if d.Started != started.Format(time.RFC3339) {
		t.Errorf("started %s, at the other station %s", d.Started, started)
	}
	// It runs already where it is begun: what is scanned was forgotten.
	h.after(time.Hour)
	begin(one, "3")
	one.do("start", "value", "S1-0304-03")
	must(t, one.do("start", "value", "sure S1-0304-03"), "test cycle")
	must(t, begin(two, "3"), "Load S1-0304-03 runs at north/or-3 since")
	must(t, two.do("begin-too", "value", "S1-0304-03"), "S1-0304-03")
}

// TestOneSterilizerRunsOneLoad: a second load is started in a sterilizer that runs one only by who says so.
func TestOneSterilizerRunsOneLoad(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	one, two := h.atSterilizer(), &scanner{h: h, path: "/at/north/storage/sterilizer"}
	fill := func(s *scanner, sterilizer, run, set string) {
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.do("begin", "sterilizer", sterilizer, "run", run, "cycle", "c-134")
		s.scan(label(t, events.ScanSet, set))
		s.do("put", "value", set)
	}
	fill(one, "S1", "2", "VAS-003")
	must(t, one.do("start"), "record the result")
	fill(one, "S1", "3", "VAS-004")
	for _, s := range []*scanner{one, two} {
		if s == two {
			one.do("give-up", "value", "S1-0304-03")
			fill(two, "S1", "3", "VAS-004")
		}
		must(t, s.do("start"), "Load S1-0304-02 runs in S1 since", "Has it ended?")
		must(t, s.do("start", "value", "S1-0304-03"), "Has it ended?")
		must(t, s.scan(""), "S1-0304-03") // Enter does not start it
		must(t, s.do("start"), "Has it ended?")
	}
	must(t, two.do("start", "value", "sure S1-0304-03"), "record the result")
	fill(one, "S2", "3", "VAS-005") // another one is free
	if a := one.do("start"); strings.Contains(tells(a), "Has it ended?") {
		t.Error(tells(a))
	}
}

// TestClosedAtTwoStations: a set that was closed elsewhere after it was scanned here is closed once more only by who says
// so, and that makes no count sheet void whose code stays the same.
func TestClosedAtTwoStations(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	one, two := &scanner{h: h, path: "/at/north/packing-1/sealing"}, &scanner{h: h, path: "/at/north/or-3/sealing"}
	closing := func(s *scanner) map[string]any {
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.scan(label(t, events.ScanTag, "VAS-003"))
		return s.scan("3")
	}
	for _, s := range []*scanner{one, two} {
		must(t, closing(s), "Enter binds the count sheet")
	}
	must(t, one.scan(""), "VAS-003 closed")
	h.after(3 * time.Second)
	before := h.size()
	if must(t, two.scan(""), "VAS-003 was closed at north/packing-1", "Close it once more?"); h.size() != before {
		t.Fatal("closed twice, unasked")
	}
	must(t, two.do("close-again", "value", "x"), "Close it once more?")
	must(t, two.do("leave"), "Scan the tag")
	closing(two) // it is known to be closed now
	if a := two.do("nothing"); a["no"] != true {
		t.Fatal(tells(a))
	}
	h.after(3 * time.Second)
	a := two.scan(label(t, events.ScanBadge, "B-1"))
	if more := a["more"].(string); !strings.Contains(more, "its count sheet stays the same") || strings.Contains(more, "void") {
		t.Errorf("closed just so: %s, %s", tells(a), more)
	}
	one.do("unscanned", "value", "printer")
	closing(one)
	must(t, two.scan(""), "VAS-003 closed")
	h.after(3 * time.Second)
	a = one.scan("")
	must(t, a, "Close it once more?")
	must(t, one.do("close-again", "value", choiceOf(a, "once more")), "Enter binds the count sheet")
}

// TestReasonInWords: one letter is no reason.
func TestReasonInWords(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.open("VAS-003", "K-1")
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	s.do("case", "case", "K-1")
	must(t, s.do("reason", "reason", "x"), "“x” is no reason")
	must(t, s.do("record", "reason", " ö "), "“ö” is no reason")
	if a := s.do("reason", "reason", "not found"); strings.Contains(tells(a), "is no reason") {
		t.Error(tells(a))
	}
}

// TestLabelOfAFailedLoad: no load stands on a set's label by which it is not sterile, the label of a load that failed says
// so, and a case's reference with blanks in it makes no three cases.
func TestLabelOfAFailedLoad(t *testing.T) {
	h := newHouse(t, "VAS-003")
	run := func(n int64, result string, released bool) {
		h.record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: fmt.Sprintf("S1-0304-%02d", n),
			Sterilizer: "S1", Run: n, Cycle: "c-134", Result: result, Released: released})
	}
	says := func(path, word string, want bool) {
		t.Helper()
		if got := pdfText(t, []byte(h.get(path))); strings.Contains(got, word) != want {
			t.Errorf("%s: %q is there: %v, in\n%s", path, word, !want, got)
		}
	}
	const set, load = "/print/set-label.pdf?set=VAS-003&lang=en", "/print/load-label.pdf?lang=en&load="
	says(set, "S1-0304-01", true)
	run(2, "failed", false)
	says(set, "S1-0304", false)
	says(load+"S1-0304-02", "FAILED", true)
	says(load+"S1-0304-01", "FAILED", false)
	run(3, "passed", false)
	says(set, "S1-0304", false)
	run(3, "passed", true)
	says(set, "S1-0304-03", true)
	if got := h.get("/print/labels.pdf?kind=case&id=K+2026+12"); strings.HasPrefix(got, "%PDF-") {
		if text := pdfText(t, []byte(got)); strings.Count(text, "2026") != 1 || !strings.Contains(text, "K 2026 12") {
			t.Errorf("labels of K 2026 12:\n%s", text)
		}
	}
	says("/print/labels.pdf?kind=case&id=K-1%0AK-2,K-3", "K-3", true)
}

// TestBadgeThatEndedMeanwhile: who is no longer in force when Enter is pressed is told so, with the ways out, and not that
// a code was misread.
func TestBadgeThatEndedMeanwhile(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.after(time.Minute)
	s := &scanner{h: h, path: "/at/north/or-3/storage"}
	s.all(label(t, events.ScanBadge, "B-9999"), label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"], "1")
	h.holdTo(events.RegisterPeople)
	before := h.size()
	a := s.scan("")
	if strings.Contains(tells(a), "scan again") || a["status"] != "broken" || choiceOf(a, "called in") == "" || h.size() != before {
		t.Fatalf("%s %v", tells(a), a["choices"])
	}
	must(t, a, "B-9999", "Scan your badge")
	s.do("emergency", "value", choiceOf(a, "called in"))
	must(t, s.scan(""), "VAS-003 checked")
	if h.size() != before+2 {
		t.Errorf("%d records", h.size()-before)
	}
}

//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPieceOfAClosedSet: a piece is taken out of a container, or put into one, that lies closed and sterile only by who
// opened it. That is asked, and the opening of the set is told of it. What is found, or replaced in a case, is not green
// where others must know of it.
func TestPieceOfAClosedSet(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
	report := func(set, became string) map[string]any {
		h.After(5 * time.Second)
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Scan(workplacetest.Label(t, events.ScanTag, set))
		s.Do("line", "line", "1")
		return s.Do("became", "value", became)
	}
	before := h.Size()
	workplacetest.Must(t, report("VAS-003", "repair"), "doubtful", "VAS-003 is packed and closed. Was it opened for that?")
	workplacetest.Must(t, s.Scan("2"), "Was it opened for that?") // a number answers nothing of it
	workplacetest.Must(t, s.Scan(""), "Was it opened for that?")
	if workplacetest.Must(t, s.Do("leave"), "Scan the tag"); h.Size() != before {
		t.Fatal("recorded, and nobody said that the set was opened")
	}
	report("VAS-003", "repair")
	earlier := s.Scan("")
	workplacetest.Must(t, s.Answer(earlier, "opened"), "doubtful", "Enter records: VAS-003, 1 of line 1",
		"it is not used before it is packed anew")
	asked := s.Do("became", "value", "replaced")
	workplacetest.Must(t, asked, "Was it opened for that?")                       // of repair it was said
	workplacetest.Must(t, s.Answer(earlier, "opened"), "Was it opened for that?") // on a screen that still asks of that
	s.Answer(asked, "opened")
	workplacetest.Must(t, s.Scan(""), "doubtful", "VAS-003, 1 of line 1", "it is not used before it is packed anew")
	if got := h.Events(site.Query{Set: "VAS-003"}, events.KindPieceReported); len(got) != 1 {
		t.Errorf("recorded: %v", got)
	}
	h.After(time.Minute)
	o := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	for _, text := range []string{workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t,
		events.ScanOuter, "VAS-003"), h.Codes["VAS-003"]} {
		o.Scan(text)
	}
	workplacetest.Must(t, o.Scan("1"), "doubtful", "a piece of it was changed while it was CLOSED")

	workplacetest.Must(t, report("VAS-004", "found"), "doubtful", "Nothing of VAS-004 is recorded as missed")
	workplacetest.Must(t, s.Scan(""), "doubtful", "Nothing of VAS-004 is recorded as missed")
	report("VAS-005", "lost")
	s.Scan("")
	workplacetest.Must(t, report("VAS-005", "found"), "whole", "Enter records")
	s.Do("clear")
	h.Open("VAS-006", "K-1")
	workplacetest.Must(t, report("VAS-006", "replaced"), "doubtful", "VAS-006 is open in case K-1: tell its room")
	workplacetest.Must(t, s.Scan(""), "doubtful", "VAS-006 is open in case K-1: tell its room")
	if got := h.Events(site.Query{Set: "VAS-006"}, events.KindPieceReported); len(got) != 1 {
		t.Errorf("recorded: %v", got)
	}
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
	if a := report("VAS-006", "repair"); strings.Contains(workplacetest.Tells(a), "K-1") || a["status"] != "whole" {
		t.Errorf("after its case: %s", workplacetest.Tells(a))
	}
}

// TestCaseOfAnotherDay: a case that was begun on another day and that nobody closed takes no set of today's patient
// before somebody has said that it is the same case. The answer holds for the next sets, not for the next day.
func TestCaseOfAnotherDay(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	h.Open("VAS-003", "K-1")
	h.Now.Store(time.Date(2026, 3, 5, 7, 0, 0, 0, time.UTC).UnixNano())
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	read := func(set string) (a map[string]any) {
		h.After(5 * time.Second)
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.All(workplacetest.Label(t, events.ScanTag, set), workplacetest.Label(t, events.ScanOuter, set), h.Codes[set])
		return s.Scan("1")
	}
	read("VAS-004")
	before := h.Size()
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "doubtful", "K-1 was begun",
		"with VAS-003. Is it the same case?")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")), "Is it the same case?") // asked until it is answered
	if workplacetest.Must(t, s.Scan(""), "Is it the same case?"); h.Size() != before {
		t.Fatal("opened for a case of yesterday, and nobody said that it is the same")
	}
	workplacetest.Must(t, s.Do("next-case"), "Scan the case")
	s.Scan(workplacetest.Label(t, events.ScanCase, "K-1"))
	s.Do("old-case", "value", "K-2")
	workplacetest.Must(t, s.Do("old-case", "value", ""), "Is it the same case?")
	workplacetest.Must(t, s.Do("old-case", "value", "K-1"), "whole", "Enter records: VAS-004 opened for K-1")
	workplacetest.Must(t, s.Scan(""), "VAS-004 opened for K-1")
	workplacetest.Must(t, read("VAS-005"), "whole", "Enter records: VAS-005 opened for K-1")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-2")), "Enter records: VAS-005 opened for K-2")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "Is it the same case?") // of the other one it was said
	s.Do("old-case", "value", "K-1")
	s.Scan("")
	h.Now.Store(time.Date(2026, 3, 6, 7, 0, 0, 0, time.UTC).UnixNano())
	workplacetest.Must(t, read("VAS-006"), "Scan the case")
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "K-1")), "Is it the same case?")
}

// TestLotIsAskedOnce: a code that nobody has said to be a bag's lot is asked about before it is part of the binding for
// ever; the last one is taken by Enter, and what a pattern of the site names is not asked about.
func TestLotIsAskedOnce(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	pack := func(set string) {
		h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	for _, code := range []string{"P47110815", "104455", "04012345678901", "483926", "K-77", "LAP-O14"} {
		pack("VAS-009")
		s.Do("clear")
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-009"))
		workplacetest.Must(t, s.Scan("1"), "Scan or type the lot of the bag")
		before := h.Size()
		workplacetest.Must(t, s.Scan(code), code+": is that the lot of the bag?")
		if workplacetest.Must(t, s.Scan(""), "is that the lot of the bag?"); h.Size() != before {
			t.Errorf("%s is a lot, and nobody said so", code)
		}
		s.Do("lot-no")
		h.After(5 * time.Second)
	}
	workplacetest.Must(t, s.Scan("104455"), "is that the lot of the bag?")
	workplacetest.Must(t, s.Do("lot-no"), "104455: what is it?")
	s.Do("take-as", "value", "badge")
	workplacetest.Must(t, s.Scan("BG-7"), "BG-7: is that the lot of the bag?")
	workplacetest.Must(t, s.Do("bag-lot", "value", "BG-7"), "Enter binds the count sheet")
	s.Scan("")
	lots := func() (out []string) {
		for _, d := range h.Events(site.Query{Set: "VAS-009"}, events.KindListSealed) {
			out = append(out, d.(*events.ListSealed).BagLot)
		}
		return out
	}
	next := func() {
		h.After(5 * time.Second)
		pack("VAS-009")
		s.Do("unscanned", "value", "printer")
		s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-009"))
		s.Scan("1")
	}
	next()
	workplacetest.Must(t, s.Do("nothing"), "means nothing here")
	workplacetest.Must(t, s.Scan(""), "Lot of the bag: BG-7, as the last time?") // Enter after something else was said
	workplacetest.Must(t, s.Scan(""), "Enter binds the count sheet")
	if a := s.Do("enter"); !strings.Contains(workplacetest.Tells(a), "VAS-009 closed") {
		t.Fatal(workplacetest.Tells(a))
	}
	next()
	workplacetest.Must(t, s.Scan("BG-7"), "Enter binds the count sheet") // scanned, it is known
	s.Scan("")
	policy := events.DefaultPolicy()
	policy.Codes = []events.CodePattern{{Kind: events.ScanLot, Like: "BG-9"}}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: policy})
	next()
	workplacetest.Must(t, s.Scan("BG-8"), "Enter binds the count sheet")
	s.Scan("")
	if got := strings.Join(lots(), " "); got != "BG-7 BG-7 BG-7 BG-8" {
		t.Errorf("lots: %s", got)
	}
}

// TestOneLoadAtTwoStations: a load that lies at another station is asked about when it is begun and when it is started, has
// one start, and where it failed the sets of both stations are named.
func TestOneLoadAtTwoStations(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	for _, set := range []string{"VAS-007", "VAS-008"} {
		h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
		h.Record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside})
	}
	one, two := h.AtSterilizer(), &workplacetest.Scanner{House: h, Path: "/at/north/storage/sterilizer"}
	begin := func(s *workplacetest.Scanner, run string) map[string]any {
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		return s.Do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134")
	}
	begin(one, "2")
	one.Scan(workplacetest.Label(t, events.ScanSet, "VAS-007"))
	workplacetest.Must(t, begin(two, "2"), "Load S1-0304-02 is being filled at north/or-3")
	workplacetest.Must(t, two.Do("begin-too", "value", "S1-0304-02"), "Scan sets into S1-0304-02")
	two.Scan(workplacetest.Label(t, events.ScanSet, "VAS-008"))
	one.Do("start")
	started := h.Clock()
	h.After(5 * time.Minute)
	workplacetest.Must(t, two.Do("start"), "Load S1-0304-02 runs at north/or-3 since")
	workplacetest.Must(t, two.Do("start", "value", "S1-0304-02"), "runs at north/or-3 since") // that something else was meant was not asked
	if a := two.Do("start", "value", "sure S1-0304-02"); strings.Contains(workplacetest.Tells(a), "runs at") {
		t.Fatal(workplacetest.Tells(a))
	}
	h.After(10 * time.Minute)
	two.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	a := two.Do("result", "result", "failed")
	if more := workplacetest.Tells(a); !strings.Contains(a["more"].(string),
		"In this load at north/or-3, too: VAS-007") || a["status"] != "broken" {
		t.Errorf("failed: %s, %v", more, a["more"])
	}
	if !strings.Contains(a["bench"].(string), "In this load at north/or-3, too: VAS-007") {
		t.Error("it does not stay on the page")
	}
	d := h.Events(site.Query{Set: "VAS-008"}, events.KindSetSterilized)[0].(*events.SetSterilized)
	if d.Started != started.Format(time.RFC3339) {
		t.Errorf("started %s, at the other station %s", d.Started, started)
	}
	// It runs already where it is begun: what is scanned was forgotten.
	h.After(time.Hour)
	begin(one, "3")
	one.Do("start", "value", "S1-0304-03")
	workplacetest.Must(t, one.Do("start", "value", "sure S1-0304-03"), "test cycle")
	workplacetest.Must(t, begin(two, "3"), "Load S1-0304-03 runs at north/or-3 since")
	workplacetest.Must(t, two.Do("begin-too", "value", "S1-0304-03"), "S1-0304-03")
}

// TestOneSterilizerRunsOneLoad: a second load is started in a sterilizer that runs one only by who says so.
func TestOneSterilizerRunsOneLoad(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	one, two := h.AtSterilizer(), &workplacetest.Scanner{House: h, Path: "/at/north/storage/sterilizer"}
	fill := func(s *workplacetest.Scanner, sterilizer, run, set string) {
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Do("begin", "sterilizer", sterilizer, "run", run, "cycle", "c-134")
		s.Scan(workplacetest.Label(t, events.ScanSet, set))
		s.Do("put", "value", set)
	}
	fill(one, "S1", "2", "VAS-003")
	workplacetest.Must(t, one.Do("start"), "record the result")
	fill(one, "S1", "3", "VAS-004")
	for _, s := range []*workplacetest.Scanner{one, two} {
		if s == two {
			one.Do("give-up", "value", "S1-0304-03")
			fill(two, "S1", "3", "VAS-004")
		}
		workplacetest.Must(t, s.Do("start"), "Load S1-0304-02 runs in S1 since", "Has it ended?")
		workplacetest.Must(t, s.Do("start", "value", "S1-0304-03"), "Has it ended?")
		workplacetest.Must(t, s.Scan(""), "S1-0304-03") // Enter does not start it
		workplacetest.Must(t, s.Do("start"), "Has it ended?")
	}
	workplacetest.Must(t, two.Do("start", "value", "sure S1-0304-03"), "record the result")
	fill(one, "S2", "3", "VAS-005") // another one is free
	if a := one.Do("start"); strings.Contains(workplacetest.Tells(a), "Has it ended?") {
		t.Error(workplacetest.Tells(a))
	}
}

// TestClosedAtTwoStations: a set that was closed elsewhere after it was scanned here is closed once more only by who says
// so, and that makes no count sheet void whose code stays the same.
func TestClosedAtTwoStations(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	one, two := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}, &workplacetest.Scanner{House: h,
		Path: "/at/north/or-3/sealing"}
	closing := func(s *workplacetest.Scanner) map[string]any {
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		return s.Scan("3")
	}
	for _, s := range []*workplacetest.Scanner{one, two} {
		workplacetest.Must(t, closing(s), "Enter binds the count sheet")
	}
	workplacetest.Must(t, one.Scan(""), "VAS-003 closed")
	h.After(3 * time.Second)
	before := h.Size()
	if workplacetest.Must(t, two.Scan(""), "VAS-003 was closed at north/packing-1", "Close it once more?"); h.Size() != before {
		t.Fatal("closed twice, unasked")
	}
	workplacetest.Must(t, two.Do("close-again", "value", "x"), "Close it once more?")
	workplacetest.Must(t, two.Do("leave"), "Scan the tag")
	closing(two) // it is known to be closed now
	if a := two.Do("nothing"); a["no"] != true {
		t.Fatal(workplacetest.Tells(a))
	}
	h.After(3 * time.Second)
	a := two.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	if more := a["more"].(string); !strings.Contains(more, "its count sheet stays the same") || strings.Contains(more, "void") {
		t.Errorf("closed just so: %s, %s", workplacetest.Tells(a), more)
	}
	one.Do("unscanned", "value", "printer")
	closing(one)
	workplacetest.Must(t, two.Scan(""), "VAS-003 closed")
	h.After(3 * time.Second)
	a = one.Scan("")
	workplacetest.Must(t, a, "Close it once more?")
	workplacetest.Must(t, one.Do("close-again", "value", workplacetest.ChoiceOf(a, "once more")), "Enter binds the count sheet")
}

// TestReasonInWords: one letter is no reason.
func TestReasonInWords(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.Do("case", "case", "K-1")
	workplacetest.Must(t, s.Do("reason", "reason", "x"), "“x” is no reason")
	workplacetest.Must(t, s.Do("record", "reason", " ö "), "“ö” is no reason")
	if a := s.Do("reason", "reason", "not found"); strings.Contains(workplacetest.Tells(a), "is no reason") {
		t.Error(workplacetest.Tells(a))
	}
}

// TestLabelOfAFailedLoad: no load stands on a set's label by which it is not sterile, the label of a load that failed says
// so, and a case's reference with blanks in it makes no three cases.
func TestLabelOfAFailedLoad(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	run := func(n int64, result string, released bool) {
		h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: fmt.Sprintf("S1-0304-%02d", n),
			Sterilizer: "S1", Run: n, Cycle: "c-134", Result: result, Released: released})
	}
	says := func(path, word string, want bool) {
		t.Helper()
		if got := workplacetest.PDFText(t, []byte(h.Get(path))); strings.Contains(got, word) != want {
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
	if got := h.Get("/print/labels.pdf?kind=case&id=K+2026+12"); strings.HasPrefix(got, "%PDF-") {
		if text := workplacetest.PDFText(t, []byte(got)); strings.Count(text, "2026") != 1 || !strings.Contains(text, "K 2026 12") {
			t.Errorf("labels of K 2026 12:\n%s", text)
		}
	}
	says("/print/labels.pdf?kind=case&id=K-1%0AK-2,K-3", "K-3", true)
}

// TestBadgeThatEndedMeanwhile: who is no longer in force when Enter is pressed is told so, with the ways out, and not that
// a code was misread.
func TestBadgeThatEndedMeanwhile(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(time.Minute)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/storage"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-9999"), workplacetest.Label(t, events.ScanTag, "VAS-003"), h.Codes["VAS-003"], "1")
	h.HoldTo(events.RegisterPeople)
	before := h.Size()
	a := s.Scan("")
	if strings.Contains(workplacetest.Tells(a), "scan again") || a["status"] != "broken" || workplacetest.ChoiceOf(a,
		"called in") == "" || h.Size() != before {
		t.Fatalf("%s %v", workplacetest.Tells(a), a["choices"])
	}
	workplacetest.Must(t, a, "B-9999", "Scan your badge")
	s.Do("emergency", "value", workplacetest.ChoiceOf(a, "called in"))
	workplacetest.Must(t, s.Scan(""), "VAS-003 checked")
	if h.Size() != before+2 {
		t.Errorf("%d records", h.Size()-before)
	}
}

// TestBadgeUnderAQuestion: the second person's badge signs nothing while the page asks something else, though all is counted.
func TestBadgeUnderAQuestion(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Lines("VAS-003", 4, 2, 3)
	workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1")), "It signs the count")
	h.After(3 * time.Second)
	workplacetest.Must(t, k.Do("interrupted", "set", "VAS-003"), "Begin again?")
	size, asks := h.Size(), k.Asks
	for range 2 { // the answer was lost, and the input is sent again
		k.Asks = asks
		if workplacetest.Must(t, k.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "Enter signs the count"); h.Size() != size {
			t.Fatalf("signed, and asked was whether it is begun again: %+v", h.Last())
		}
		k.Number--
	}
	k.Number++
	if workplacetest.Must(t, k.Scan(""), "First count recorded"); h.Size() != size+1 {
		t.Errorf("%d records more", h.Size()-size)
	}
}

// TestBadgeUnderAnAnsweredQuestion: nor while its page still shows a question that the answer to the last input takes away.
func TestBadgeUnderAnAnsweredQuestion(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Lines("VAS-003", 4, 2, 3)
	k.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, k.Do("single", "set", "VAS-003", "what", "QX-9"), "QX-9: is this the catalog number")
	workplacetest.Must(t, k.Lines("VAS-003", 4), "It signs the count") // and its page doesn't show that yet
	h.After(time.Second)
	size := h.Size()
	badge := `"under":true,"text":` + workplacetest.JSONText(workplacetest.Label(t, events.ScanBadge, "B-2"))
	for range 2 { // and once more: that answer was lost
		if workplacetest.Must(t, k.Post("scan", badge), "Enter signs the count"); h.Size() != size {
			t.Fatalf("signed, and shown was another question: %+v", h.Last())
		}
		k.Number--
	}
	k.Number++
	if workplacetest.Must(t, k.Post("scan", `"under":true,"text":""`), "Enter signs the count"); h.Size() != size {
		t.Fatal("Enter on another question signed")
	}
	if workplacetest.Must(t, k.Scan(""), "First count recorded"); h.Size() != size+1 {
		t.Errorf("%d records more", h.Size()-size)
	}
}

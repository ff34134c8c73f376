package workplace_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/site"
	"listbound/events"
)

func (s *scanner) all(texts ...string) (a map[string]any) {
	for _, text := range texts {
		s.h.after(3 * time.Second)
		a = s.scan(text)
	}
	return a
}

// last is the newest record.
func (h *house) last() *events.Event {
	h.t.Helper()
	e, err := h.site.EventAt(h.size())
	if err != nil {
		h.t.Fatal(err)
	}
	return e
}

// TestYesterdaysCase: the case of another day is dropped, also where a tag was left on the
// bench.
func TestYesterdaysCase(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.all(label(t, events.ScanCase, "K-1"), label(t, events.ScanTag, "LAP-014"))
	h.after(26 * time.Hour)
	s.do("clear")
	a := s.all(label(t, events.ScanTag, "VAS-003"), label(t, events.ScanOuter, "VAS-003"), h.codes["VAS-003"], "1",
		label(t, events.ScanBadge, "B-9"))
	must(t, a, "Scan the case")
}

// TestReadYesterday: what was read on another day and not recorded is asked about. It is
// recorded as of when it was read, or read again.
func TestReadYesterday(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.all(label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"], "1")
	read, size := h.clock(), h.size()
	h.after(26 * time.Hour)
	must(t, s.scan(label(t, events.ScanBadge, "B-2")), "doubtful VAS-003 was read here at", "nothing was recorded")
	if s.all("", "2"); h.size() != size {
		t.Fatal("recorded though it is asked whether it was read now")
	}
	must(t, s.do("as-read"), "Enter records: VAS-003 checked, as of")
	if s.scan(""); h.size() != size+1 || !h.last().Time.Equal(read) || h.last().Data.(*events.SetChecked).Sheet.Found != "outside" {
		t.Errorf("recorded: %+v", h.last())
	}
	s.all(label(t, events.ScanTag, "LAP-014"), h.codes["LAP-022"])
	h.after(26 * time.Hour)
	must(t, s.scan(label(t, events.ScanTag, "LAP-014")), "broken", "WRONG COUNT SHEET", "LAP-014 was read here at")
}

// TestPlaceOfTheNextPerson: where a set is seen is said by who sees it, and is in the
// sentence that Enter answers.
func TestPlaceOfTheNextPerson(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.do("where", "where", "shelf A")
	a := s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"], "1")
	must(t, a, "Enter records: VAS-003 checked at shelf A")
	s.scan("")
	for _, gone := range []func(){func() { h.after(50 * time.Hour) }, func() { s.do("next-person") }} {
		s.do("where", "where", "shelf A")
		gone()
		a = s.all(label(t, events.ScanBadge, "B-2"), label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"], "1")
		if strings.Contains(tells(a), "shelf A") {
			t.Errorf("the place that somebody else said: %s", tells(a))
		}
		s.scan("")
		if d := h.last().Data.(*events.SetChecked); d.Place != "" {
			t.Errorf("recorded at %q, which nobody said", d.Place)
		}
	}
}

// TestBadgeOfAShift: a badge ends with the shift, however busy the station is.
func TestBadgeOfAShift(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	for range 40 {
		h.after(14 * time.Minute)
		s.do("where", "where", "shelf A")
	}
	a := s.all(label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"], "1")
	must(t, a, "Scan your badge")
	other := &scanner{h: h, path: "/at/north/storage/opening"}
	must(t, other.all(label(t, events.ScanCase, "K-1"), label(t, events.ScanTag, "LAP-014"), label(t, events.ScanOuter, "LAP-014"),
		h.codes["LAP-014"], "1"), "Scan your badge")
}

// TestReleaseUnderStop: what stops a set that lies aside is not released, and is recorded.
func TestReleaseUnderStop(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	aside := func() {
		s.all(label(t, events.ScanTag, "LAP-014"), label(t, events.ScanBadge, "B-1"))
		s.do("put-aside")
		if d, ok := h.last().Data.(*events.SetChecked); !ok || d.Aside != events.AsidePut {
			t.Fatalf("not put aside: %+v", h.last())
		}
		s.do("next-person")
	}
	aside()
	size := h.size()
	must(t, s.all(label(t, events.ScanTag, "LAP-014"), h.codes["LAP-022"]), "broken")
	must(t, s.do("release", "reason", "all in order"), "broken", "is not released like this")
	s.all("", label(t, events.ScanBadge, "B-2"))
	if h.size() != size {
		t.Fatalf("released under STOP: %+v", h.last().Data)
	}
	s.do("forget")
	s.do("next-person")
	s.scan(label(t, events.ScanTag, "LAP-014"))
	s.do("release", "reason", "all in order")
	must(t, s.scan(h.codes["LAP-022"]), "broken")
	if s.scan(label(t, events.ScanBadge, "B-2")); h.size() != size {
		t.Fatal("a sheet that was read after the reason was said is dropped, and the set released")
	}
	s.do("forget")
	s.do("next-person")
	s.all(label(t, events.ScanTag, "LAP-014"), h.codes["LAP-014"])
	must(t, s.do("release", "reason", "all in order"), "Where was the count sheet?")
	s.scan("1")
	s.scan(label(t, events.ScanBadge, "B-2"))
	d, ok := h.last().Data.(*events.SetChecked)
	if !ok || d.Aside != events.AsideReleased || d.Sheet == nil || d.Sheet.Code != h.codes["LAP-014"] || d.Sheet.Found != "outside" {
		t.Errorf("released with what was read: %+v", h.last().Data)
	}
}

// TestEachStopIsAnswered: an answer to one STOP is none to the next.
func TestEachStopIsAnswered(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanCase, "K-1"))
	must(t, s.all(label(t, events.ScanTag, "LAP-014"), label(t, events.ScanOuter, "LAP-022")), "broken")
	s.scan(h.codes["LAP-014"])
	s.do("anyway")
	s.scan("1")
	must(t, s.do("indicator", "value", "fail"), "broken")
	size := h.size()
	if s.scan(""); h.size() != size {
		t.Fatalf("an indicator that had not changed was passed by the answer to a wrong label: %+v", h.last().Data)
	}
	s.do("anyway")
	if s.scan(""); h.size() != size+1 {
		t.Errorf("both were answered, and nothing was recorded: %s", tells(s.scan("")))
	}
}

// TestStorageKnowsWhatStopsASet: a set that would be stopped at its opening is not in order
// on the shelf, whatever its sheet.
func TestStorageKnowsWhatStopsASet(t *testing.T) {
	for name, c := range map[string]struct {
		says string
		done func(h *house)
	}{
		"open": {"REPROCESSED", func(h *house) { h.open("VAS-003", "K-1") }},
		"used": {"step", func(h *house) { h.used("K-1", "VAS-003") }},
		"no run": {"no sterilization is recorded", func(h *house) {
			h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			h.codes["VAS-003"] = h.record("north/packing-1", events.KindListSealed, "VAS-003",
				&events.ListSealed{Placement: events.Outside}).SheetCode
		}},
		"held": {"NOT RELEASED", func(h *house) {
			h.record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-02",
				Sterilizer: "S1", Run: 2, Cycle: "dynamic-air-132", Result: "passed"})
		}},
		"closing taken back": {"is not bound to", func(h *house) {
			r := h.record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			r = h.record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			h.codes["VAS-003"] = r.SheetCode
			h.record("north/packing-1", events.KindEventCorrected, "", &events.EventCorrected{Event: r.ID, Action: "void", Reason: "by mistake"})
		}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			c.done(h)
			h.after(time.Hour)
			s := &scanner{h: h, path: "/at/north/storage/storage"}
			a := s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), h.codes["VAS-003"], "1")
			if a["status"] != "doubtful" && a["status"] != "broken" || !strings.Contains(strings.ToLower(tells(a)), strings.ToLower(c.says)) {
				t.Errorf("the shelf: %s", tells(a))
			}
			if a["status"] == "broken" {
				return
			}
			size := h.size()
			if a = s.scan(""); h.size() != size+1 || a["status"] != "doubtful" && a["status"] != "broken" {
				t.Errorf("recorded %d: %s", h.size()-size, tells(a))
			}
		})
	}
}

// TestOpenedTwice: a set that is open for the case already is asked about.
func TestOpenedTwice(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanCase, "K-1"))
	open := func() map[string]any {
		return s.all(label(t, events.ScanTag, "VAS-003"), label(t, events.ScanOuter, "VAS-003"), h.codes["VAS-003"], "1", "")
	}
	open()
	size := h.size()
	must(t, open(), "doubtful", "is open already for K-1")
	if s.scan(""); h.size() != size {
		t.Fatal("opened again by Enter")
	}
	must(t, s.do("twice"), "Enter records")
	if s.scan(""); h.size() != size+1 {
		t.Error("it was said that it was opened again")
	}
}

// TestSealedAfterUse: a set that was opened is packed before it is closed again.
func TestSealedAfterUse(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	size := h.size()
	a := s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"))
	must(t, a, "was opened for K-1", "not been packed since")
	if s.all("3", "", ""); h.size() != size {
		t.Fatal("closed without an answer")
	}
	s.do("unpacked", "value", choiceOf(a, "all the same"))
	if s.all("3", ""); h.size() != size+1 {
		t.Errorf("it was said that it is closed all the same: %s", tells(s.scan("")))
	}
}

// TestFormsAreNoWayIn: a form's field takes no code that the scan field refuses or asks about.
func TestFormsAreNoWayIn(t *testing.T) {
	h := newHouse(t)
	const wristband = "]C1801804012345000000022"
	for _, c := range []struct{ place, action, field string }{
		{"opening", "case", "case"}, {"opening", "where", "where"}, {"sealing", "seal", "seal"}, {"sealing", "lot", "lot"},
		{"return", "item", "item"}, {"pieces", "item", "item"}, {"sterilizer", "lot", "lot"},
	} {
		s := &scanner{h: h, path: "/at/north/or-3/" + c.place}
		if a := s.do(c.action, c.field, wristband); a["no"] == nil || !strings.Contains(tells(a), "patient") {
			t.Errorf("%s %s takes a patient's code: %s", c.place, c.action, tells(a))
		}
	}
	for _, code := range []string{"04012345678901", "P47110815", "B-3310", "LAP-014", "12"} {
		s := &scanner{h: h, path: "/at/north/or-3/opening"}
		if s.do("case", "case", code); strings.Contains(h.get("/at/north/or-3/opening"), "<dd>"+code) {
			t.Errorf("%s is the case, and nobody was asked", code)
		}
		s = &scanner{h: h, path: "/at/north/packing-1/sealing", n: 100}
		s.scan(label(t, events.ScanTag, "VAS-003"))
		a := s.do("seal", "seal", code)
		if strings.Contains(fmt.Sprint(a["bench"]), code+"</") && a["no"] == nil && !strings.Contains(tells(a), "what is it?") {
			t.Errorf("%s is a lock, and nobody was asked: %s", code, tells(a))
		}
	}
}

// TestAlikeCodes: what one code is said to be holds for the next of its kind, and not for
// whatever has its shape.
func TestAlikeCodes(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	must(t, s.scan("P20260311"), "P20260311: what is it?")
	s.do("take-as", "value", "case")
	s.do("next-case")
	if a := s.scan("P20260312"); a["kind"] != "case" {
		t.Errorf("the next case is asked about: %s", tells(a))
	}
	s.do("next-case")
	h.after(3 * time.Second)
	must(t, s.scan("P47110815"), "P47110815: what is it?")
	s.do("take-as", "value", "")
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.scan("483923")
	s.do("take-as", "value", "seal")
	h.after(3 * time.Second)
	if a := s.scan("483999"); a["kind"] != "seal" {
		t.Errorf("the next lock is asked about: %s", tells(a))
	}
	h.after(3 * time.Second)
	must(t, s.scan("104455"), "104455: what is it?")
}

// TestCaseInOtherLetters: a case that is written almost as an open one is asked about.
func TestCaseInOtherLetters(t *testing.T) {
	h := newHouse(t)
	h.open("VAS-003", "K-2")
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	must(t, s.scan(label(t, events.ScanCase, "k-2")), "k-2 is not known here, K-2 is")
	s.do("case-is", "value", "K-2")
	s.all(label(t, events.ScanTag, "LAP-014"), label(t, events.ScanOuter, "LAP-014"), h.codes["LAP-014"], "1", "")
	var sets []string
	for _, e := range h.events(site.Query{Case: "K-2"}, events.KindSetOpened) {
		sets = append(sets, e.(*events.SetOpened).Tag)
	}
	if slices.Sort(sets); !slices.Equal(sets, []string{"LAP-014", "VAS-003"}) {
		t.Errorf("open for K-2 are %v", sets)
	}
	// At another station of the room, and after the case was closed.
	if _, err := h.site.Enrol(t.Context(), "north/or-4", "", "test"); err != nil {
		t.Fatal(err)
	}
	other := &scanner{h: h, path: "/at/north/or-4/opening"}
	must(t, other.scan(label(t, events.ScanCase, "k2")), "k2 is not known here, K-2 is")
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-2", Outcome: "reconciled", Actions: []string{}})
	h.after(3 * time.Second)
	must(t, other.scan(label(t, events.ScanCase, "k-2")), "k-2 is not known here, K-2 is")
	must(t, other.do("case-is", "value", "K-2"), "K-2 is closed")
}

// TestNeverPackedIsStopped: a set of which nothing is known is stopped before it is opened.
func TestNeverPackedIsStopped(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanCase, "K-1"), label(t, events.ScanTag, "LOAN-1"),
		label(t, events.ScanOuter, "LOAN-1"))
	a := s.do("found", "value", "none")
	must(t, a, "broken LOAN-1 was never packed here")
	size := h.size()
	if s.scan(""); h.size() != size {
		t.Error("opened by Enter")
	}
}

// TestSheetOfTheThirdSet: whoever scans a tag that is refused, and then its sheet, has gone on
// to the next set: nothing has moved.
func TestSheetOfTheThirdSet(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "LAP-014"))
	s.do("package", "value", string(events.PackageFaults()[0]))
	must(t, s.all(label(t, events.ScanTag, "LAP-022")), "third set")
	must(t, s.all(h.codes["LAP-022"]), "which you scanned just now")
	if a := s.all(""); strings.Contains(tells(a), "WRONG COUNT SHEET") {
		t.Errorf("the next set's sheet is this one's: %s", tells(a))
	}
	must(t, s.all(h.codes["LAP-022"]), "WRONG COUNT SHEET")
}

// TestReleaseThatIsStopped: what is still stopped is not said to be free to use.
func TestReleaseThatIsStopped(t *testing.T) {
	h := newHouse(t)
	s := &scanner{h: h, path: "/at/north/storage/storage"}
	s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "LAP-014"), h.codes["LAP-022"])
	s.do("put-aside")
	s.all("1")
	if d, ok := h.last().Data.(*events.SetChecked); !ok || d.Aside != events.AsidePut {
		t.Fatalf("not put aside: %+v", h.last().Data)
	}
	h.after(time.Minute)
	s.all(label(t, events.ScanTag, "LAP-014"))
	a := s.do("release", "reason", "sheet put right")
	if d, ok := h.last().Data.(*events.SetChecked); !ok || d.Aside != events.AsideReleased {
		t.Fatalf("not released: %s", tells(a))
	}
	must(t, a, "broken", "The release of LAP-014 is recorded. It is still stopped")
	if strings.Contains(tells(a), "may be used") {
		t.Error(tells(a))
	}
}

// TestLocksThatNobodyRead are told of at the opening.
func TestLocksThatNobodyRead(t *testing.T) {
	h := newHouse(t)
	h.after(time.Hour)
	s := &scanner{h: h, path: "/at/north/or-3/opening"}
	a := s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanCase, "K-1"), label(t, events.ScanTag, "VAS-003"),
		label(t, events.ScanOuter, "VAS-003"), h.codes["VAS-003"], "1")
	if !strings.Contains(fmt.Sprint(a["older"]), "Locks not read: 483923") || a["status"] != "whole" {
		t.Errorf("%s: %v", tells(a), a["older"])
	}
	if a = s.all("483923"); strings.Contains(fmt.Sprint(a["older"]), "Locks not read") {
		t.Errorf("read, and still: %v", a["older"])
	}
}

// TestAddressTakesNothingAway: the address of another case doesn't take the closing of one
// away from who is at work there.
func TestAddressTakesNothingAway(t *testing.T) {
	h := newHouse(t)
	for i, set := range []string{"VAS-003", "LAP-014"} {
		h.open(set, fmt.Sprint("K-", i+1))
	}
	s := &scanner{h: h, path: "/at/north/or-3/close"}
	s.all(label(t, events.ScanCase, "K-1"), label(t, events.ScanBadge, "B-1"))
	if page := h.get("/at/north/or-3/close?case=K-2"); !strings.Contains(page, "K-1 is being worked on here") {
		t.Error("K-1 was taken away by an address")
	}
	must(t, s.all(""), "K-1")
}

// TestWrongSetWithoutAPointer: a wrong set is noticed and recorded in no more inputs than a
// right one, by scanner and keyboard alone.
func TestWrongSetWithoutAPointer(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("opening"))
	for _, text := range []string{label(t, events.ScanBadge, "B-1"), label(t, events.ScanCase, "K-1"), label(t, events.ScanTag, "LAP-014"),
		label(t, events.ScanOuter, "LAP-014"), h.codes["LAP-022"]} {
		p.Type(text + "\r")
	}
	p.AwaitText("#verdict", "WRONG COUNT SHEET")
	before := h.size()
	p.Type(kb.F2)
	p.AwaitText("#verdict", "Where was the count sheet")
	p.Type("1\r") // a right set goes on with 1 and Enter
	p.Await(`document.querySelector("#verdict").textContent.includes("put aside")`)
	if h.size() != before+1 {
		t.Errorf("recorded: %d", h.size()-before)
	}
}

// TestResultIsNotExchanged: a result that waits for its badge is replaced by no other, also
// where both passed.
func TestResultIsNotExchanged(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "dynamic-air-132")
	s.put("VAS-003")
	s.do("start")
	h.after(time.Hour)
	must(t, s.do("result", "result", "passed", "released", "no"), "records that")
	s.do("result", "result", "passed", "released", "yes")
	size := h.size()
	s.all(label(t, events.ScanBadge, "B-1"))
	for ; size < h.size(); size++ {
		e, err := h.site.EventAt(size + 1)
		if err != nil {
			t.Fatal(err)
		}
		if d, ok := e.Data.(*events.SetSterilized); ok && d.Released {
			t.Fatal("the quarantined load was released")
		}
	}
	if d, ok := h.last().Data.(*events.SetSterilized); !ok || d.Released {
		t.Errorf("recorded: %+v", h.last().Data)
	}
}

// TestClosedAfterItsRun: a sterile container that is closed again was open since.
func TestClosedAfterItsRun(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.after(time.Hour)
	s := &scanner{h: h, path: "/at/north/packing-1/sealing"}
	s.all(label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"))
	s.do("placement", "placement", string(events.Outside))
	size := h.size()
	must(t, s.all("777001", ""), "777001: what is it?")
	must(t, s.do("take-as", "value", "seal"), "doubtful VAS-003 is sterile since its run. Was it opened?")
	if s.all(""); h.size() != size {
		t.Fatal("closed again by Enter")
	}
	s.do("after-run")
	if s.all(""); h.size() != size+1 {
		t.Error("it was said that it was opened")
	}
}

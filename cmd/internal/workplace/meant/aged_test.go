//go:build !race

package meant_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestYesterdaysCase: the case of another day is dropped, also where a tag was left on the
// bench.
func TestYesterdaysCase(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanTag, "LAP-014"))
	h.After(26 * time.Hour)
	s.Do("clear")
	a := s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t, events.ScanOuter, "VAS-003"),
		h.Codes["VAS-003"], "1",
		workplacetest.Label(t, events.ScanBadge, "B-9"))
	workplacetest.Must(t, a, "Scan the case")
}

// TestReadYesterday: what was read on another day and not recorded is asked about. It is
// recorded as of when it was read, or read again.
func TestReadYesterday(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), h.Codes["VAS-003"], "1")
	read, size := h.Clock(), h.Size()
	h.After(26 * time.Hour)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")), "doubtful VAS-003 was read here at",
		"nothing was recorded")
	if s.All("", "2"); h.Size() != size {
		t.Fatal("recorded though it is asked whether it was read now")
	}
	workplacetest.Must(t, s.Do("as-read"), "Enter records: VAS-003 checked, as of")
	if s.Scan(""); h.Size() != size+1 || !h.Last().Time.Equal(read) || h.Last().Data.(*events.SetChecked).Sheet.Found != "outside" {
		t.Errorf("recorded: %+v", h.Last())
	}
	s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-022"])
	h.After(26 * time.Hour)
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014")), "broken", "WRONG COUNT SHEET",
		"LAP-014 was read here at")
}

// TestPlaceOfTheNextPerson: where a set is seen is said by who sees it, and is in the
// sentence that Enter answers.
func TestPlaceOfTheNextPerson(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.Do("where", "where", "shelf A")
	a := s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"), h.Codes["VAS-003"], "1")
	workplacetest.Must(t, a, "Enter records: VAS-003 checked at shelf A")
	s.Scan("")
	for _, gone := range []func(){func() { h.After(50 * time.Hour) }, func() { s.Do("next-person") }} {
		s.Do("where", "where", "shelf A")
		gone()
		a = s.All(workplacetest.Label(t, events.ScanBadge, "B-2"), workplacetest.Label(t, events.ScanTag, "VAS-003"),
			h.Codes["VAS-003"], "1")
		if strings.Contains(workplacetest.Tells(a), "shelf A") {
			t.Errorf("the place that somebody else said: %s", workplacetest.Tells(a))
		}
		s.Scan("")
		if d := h.Last().Data.(*events.SetChecked); d.Place != "" {
			t.Errorf("recorded at %q, which nobody said", d.Place)
		}
	}
}

// TestBadgeOfAShift: a badge ends with the shift, however busy the station is.
func TestBadgeOfAShift(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	for range 40 {
		h.After(14 * time.Minute)
		s.Do("where", "where", "shelf A")
	}
	a := s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), h.Codes["VAS-003"], "1")
	workplacetest.Must(t, a, "Scan your badge")
	other := &workplacetest.Scanner{House: h, Path: "/at/north/storage/opening"}
	workplacetest.Must(t, other.All(workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t,
		events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-014"),
		h.Codes["LAP-014"], "1"), "Scan your badge")
}

// TestReleaseUnderStop: what stops a set that lies aside is not released, and is recorded.
func TestReleaseUnderStop(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	aside := func() {
		s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Do("put-aside")
		if d, ok := h.Last().Data.(*events.SetChecked); !ok || d.Aside != events.AsidePut {
			t.Fatalf("not put aside: %+v", h.Last())
		}
		s.Do("next-person")
	}
	aside()
	size := h.Size()
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-022"]), "broken")
	workplacetest.Must(t, s.Do("release", "reason", "all in order"), "broken", "is not released like this")
	s.All("", workplacetest.Label(t, events.ScanBadge, "B-2"))
	if h.Size() != size {
		t.Fatalf("released under STOP: %+v", h.Last().Data)
	}
	s.Do("forget")
	s.Do("next-person")
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	s.Do("release", "reason", "all in order")
	workplacetest.Must(t, s.Scan(h.Codes["LAP-022"]), "broken")
	if s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2")); h.Size() != size {
		t.Fatal("a sheet that was read after the reason was said is dropped, and the set released")
	}
	s.Do("forget")
	s.Do("next-person")
	s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-014"])
	workplacetest.Must(t, s.Do("release", "reason", "all in order"), "Where was the count sheet?")
	s.Scan("1")
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-2"))
	d, ok := h.Last().Data.(*events.SetChecked)
	if !ok || d.Aside != events.AsideReleased || d.Sheet == nil || d.Sheet.Code != h.Codes["LAP-014"] || d.Sheet.Found != "outside" {
		t.Errorf("released with what was read: %+v", h.Last().Data)
	}
}

// TestEachStopIsAnswered: an answer to one STOP is none to the next.
func TestEachStopIsAnswered(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"))
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t,
		events.ScanOuter, "LAP-022")), "broken")
	s.Scan(h.Codes["LAP-014"])
	s.Do("anyway")
	s.Scan("1")
	workplacetest.Must(t, s.Do("indicator", "value", "fail"), "broken")
	size := h.Size()
	if s.Scan(""); h.Size() != size {
		t.Fatalf("an indicator that had not changed was passed by the answer to a wrong label: %+v", h.Last().Data)
	}
	s.Do("anyway")
	if s.Scan(""); h.Size() != size+1 {
		t.Errorf("both were answered, and nothing was recorded: %s", workplacetest.Tells(s.Scan("")))
	}
}

// TestStorageKnowsWhatStopsASet: a set that would be stopped at its opening is not in order
// on the shelf, whatever its sheet.
func TestStorageKnowsWhatStopsASet(t *testing.T) {
	for name, c := range map[string]struct {
		says string
		done func(h *workplacetest.House)
	}{
		"open": {"REPROCESSED", func(h *workplacetest.House) { h.Open("VAS-003", "K-1") }},
		"used": {"step", func(h *workplacetest.House) { h.Used("K-1", "VAS-003") }},
		"no run": {"no sterilization is recorded", func(h *workplacetest.House) {
			h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			h.Codes["VAS-003"] = h.Record("north/packing-1", events.KindListSealed, "VAS-003",
				&events.ListSealed{Placement: events.Outside}).SheetCode
		}},
		"held": {"NOT RELEASED", func(h *workplacetest.House) {
			h.Record("north/sterilizer-1", events.KindSetSterilized, "VAS-003", &events.SetSterilized{Load: "S1-0304-02",
				Sterilizer: "S1", Run: 2, Cycle: "dynamic-air-132", Result: "passed"})
		}},
		"closing taken back": {"is not bound to", func(h *workplacetest.House) {
			r := h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
			r = h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{Placement: events.Outside})
			h.Codes["VAS-003"] = r.SheetCode
			h.Record("north/packing-1", events.KindEventCorrected, "", &events.EventCorrected{Event: r.ID,
				Action: "void", Reason: "by mistake"})
		}},
	} {
		t.Run(name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			c.done(h)
			h.After(time.Hour)
			s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
			a := s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag,
				"VAS-003"), h.Codes["VAS-003"], "1")
			if a["status"] != "doubtful" && a["status"] != "broken" ||
				!strings.Contains(strings.ToLower(workplacetest.Tells(a)), strings.ToLower(c.says)) {
				t.Errorf("the shelf: %s", workplacetest.Tells(a))
			}
			if a["status"] == "broken" {
				return
			}
			size := h.Size()
			if a = s.Scan(""); h.Size() != size+1 || a["status"] != "doubtful" && a["status"] != "broken" {
				t.Errorf("recorded %d: %s", h.Size()-size, workplacetest.Tells(a))
			}
		})
	}
}

// TestOpenedTwice: a set that is open for the case already is asked about.
func TestOpenedTwice(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"))
	open := func() map[string]any {
		return s.All(workplacetest.Label(t, events.ScanTag, "VAS-003"), workplacetest.Label(t, events.ScanOuter,
			"VAS-003"), h.Codes["VAS-003"], "1", "")
	}
	open()
	size := h.Size()
	workplacetest.Must(t, open(), "doubtful", "is open already for K-1")
	if s.Scan(""); h.Size() != size {
		t.Fatal("opened again by Enter")
	}
	workplacetest.Must(t, s.Do("twice"), "Enter records")
	if s.Scan(""); h.Size() != size+1 {
		t.Error("it was said that it was opened again")
	}
}

// TestUnpackedOpenedTwice: nor is a set that nobody packed opened for its case once more unasked.
func TestUnpackedOpenedTwice(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"))
	open := func() map[string]any {
		s.All(workplacetest.Label(t, events.ScanTag, "NEW-9"), workplacetest.Label(t, events.ScanOuter, "NEW-9"))
		s.Do("found", "value", "none")
		s.Do("anyway")
		h.After(3 * time.Second)
		return s.Scan("")
	}
	size := h.Size()
	if open(); h.Size() != size+1 {
		t.Fatalf("%d records, %+v", h.Size()-size, h.Last())
	}
	open()
	if h.Size() != size+1 {
		t.Fatal("opened again, and nobody was asked")
	}
	workplacetest.Must(t, s.Do("twice"), "Enter records: NEW-9 opened for K-1")
	if s.Scan(""); h.Size() != size+2 {
		t.Error("it was said that it was opened again")
	}
}

// TestSealedAfterUse: a set that was opened is packed before it is closed again.
func TestSealedAfterUse(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	size := h.Size()
	a := s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
	workplacetest.Must(t, a, "was opened for K-1", "not been packed since")
	if s.All("3", "", ""); h.Size() != size {
		t.Fatal("closed without an answer")
	}
	s.Do("unpacked", "value", workplacetest.ChoiceOf(a, "all the same"))
	if s.All("3", ""); h.Size() != size+1 {
		t.Errorf("it was said that it is closed all the same: %s", workplacetest.Tells(s.Scan("")))
	}
}

// TestFormsAreNoWayIn: a form's field takes no code that the scan field refuses or asks about.
func TestFormsAreNoWayIn(t *testing.T) {
	h := workplacetest.NewHouse(t)
	const wristband = "]C1801804012345000000022"
	for _, c := range []struct{ place, action, field string }{
		{"opening", "case", "case"}, {"opening", "where", "where"}, {"sealing", "seal", "seal"}, {"sealing", "lot", "lot"},
		{"return", "item", "item"}, {"pieces", "item", "item"}, {"sterilizer", "lot", "lot"},
	} {
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + c.place}
		if a := s.Do(c.action, c.field, wristband); a["no"] == nil || !strings.Contains(workplacetest.Tells(a), "patient") {
			t.Errorf("%s %s takes a patient's code: %s", c.place, c.action, workplacetest.Tells(a))
		}
	}
	for _, code := range []string{"04012345678901", "P47110815", "B-3310", "LAP-014", "12"} {
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
		if s.Do("case", "case", code); strings.Contains(h.Get("/at/north/or-3/opening"), "<dd>"+code) {
			t.Errorf("%s is the case, and nobody was asked", code)
		}
		s = &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing", Number: 100}
		s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
		a := s.Do("seal", "seal", code)
		if strings.Contains(fmt.Sprint(a["bench"]), code+"</") && a["no"] == nil &&
			!strings.Contains(workplacetest.Tells(a), "what is it?") {
			t.Errorf("%s is a lock, and nobody was asked: %s", code, workplacetest.Tells(a))
		}
	}
}

// TestAlikeCodes: what one code is said to be holds for the next of its kind, and not for
// whatever has its shape.
func TestAlikeCodes(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	workplacetest.Must(t, s.Scan("P20260311"), "P20260311: what is it?")
	s.Do("take-as", "value", "case")
	s.Do("next-case")
	if a := s.Scan("P20260312"); a["kind"] != "case" {
		t.Errorf("the next case is asked about: %s", workplacetest.Tells(a))
	}
	s.Do("next-case")
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan("P47110815"), "P47110815: what is it?")
	s.Do("take-as", "value", "")
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Scan("483923")
	s.Do("take-as", "value", "seal")
	h.After(3 * time.Second)
	if a := s.Scan("483999"); a["kind"] != "seal" {
		t.Errorf("the next lock is asked about: %s", workplacetest.Tells(a))
	}
	h.After(3 * time.Second)
	workplacetest.Must(t, s.Scan("104455"), "104455: what is it?")
}

// TestCaseInOtherLetters: a case that is written almost as an open one is asked about.
func TestCaseInOtherLetters(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Open("VAS-003", "K-2")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Scan(workplacetest.Label(t, events.ScanCase, "k-2")), "k-2 is not known here, K-2 is")
	s.Do("case-is", "value", "K-2")
	s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-014"),
		h.Codes["LAP-014"], "1", "")
	var sets []string
	for _, e := range h.Events(site.Query{Case: "K-2"}, events.KindSetOpened) {
		sets = append(sets, e.(*events.SetOpened).Tag)
	}
	if slices.Sort(sets); !slices.Equal(sets, []string{"LAP-014", "VAS-003"}) {
		t.Errorf("open for K-2 are %v", sets)
	}
	// At another station of the room, and after the case was closed.
	if _, err := h.Site.Enrol(t.Context(), "north/or-4", "", "test"); err != nil {
		t.Fatal(err)
	}
	other := &workplacetest.Scanner{House: h, Path: "/at/north/or-4/opening"}
	workplacetest.Must(t, other.Scan(workplacetest.Label(t, events.ScanCase, "k2")), "k2 is not known here, K-2 is")
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-2", Outcome: "reconciled", Actions: []string{}})
	h.After(3 * time.Second)
	workplacetest.Must(t, other.Scan(workplacetest.Label(t, events.ScanCase, "k-2")), "k-2 is not known here, K-2 is")
	workplacetest.Must(t, other.Do("case-is", "value", "K-2"), "K-2 is closed")
}

// TestNeverPackedIsStopped: a set of which nothing is known is stopped before it is opened.
func TestNeverPackedIsStopped(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"),
		workplacetest.Label(t, events.ScanTag, "LOAN-1"),
		workplacetest.Label(t, events.ScanOuter, "LOAN-1"))
	a := s.Do("found", "value", "none")
	workplacetest.Must(t, a, "broken LOAN-1 was never packed here")
	size := h.Size()
	if s.Scan(""); h.Size() != size {
		t.Error("opened by Enter")
	}
}

// TestSheetOfTheThirdSet: whoever scans a tag that is refused, and then its sheet, has gone on
// to the next set: nothing has moved.
func TestSheetOfTheThirdSet(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "LAP-014"))
	s.Do("package", "value", string(events.PackageFaults()[0]))
	workplacetest.Must(t, s.All(workplacetest.Label(t, events.ScanTag, "LAP-022")), "third set")
	workplacetest.Must(t, s.All(h.Codes["LAP-022"]), "which you scanned just now")
	if a := s.All(""); strings.Contains(workplacetest.Tells(a), "WRONG COUNT SHEET") {
		t.Errorf("the next set's sheet is this one's: %s", workplacetest.Tells(a))
	}
	workplacetest.Must(t, s.All(h.Codes["LAP-022"]), "WRONG COUNT SHEET")
}

// TestReleaseThatIsStopped: what is still stopped is not said to be free to use.
func TestReleaseThatIsStopped(t *testing.T) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/storage/storage"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "LAP-014"), h.Codes["LAP-022"])
	s.Do("put-aside")
	s.All("1")
	if d, ok := h.Last().Data.(*events.SetChecked); !ok || d.Aside != events.AsidePut {
		t.Fatalf("not put aside: %+v", h.Last().Data)
	}
	h.After(time.Minute)
	s.All(workplacetest.Label(t, events.ScanTag, "LAP-014"))
	a := s.Do("release", "reason", "sheet put right")
	if d, ok := h.Last().Data.(*events.SetChecked); !ok || d.Aside != events.AsideReleased {
		t.Fatalf("not released: %s", workplacetest.Tells(a))
	}
	workplacetest.Must(t, a, "broken", "The release of LAP-014 is recorded. It is still stopped")
	if strings.Contains(workplacetest.Tells(a), "may be used") {
		t.Error(workplacetest.Tells(a))
	}
}

// TestLocksThatNobodyRead are told of at the opening.
func TestLocksThatNobodyRead(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/opening"}
	a := s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanCase, "K-1"),
		workplacetest.Label(t, events.ScanTag, "VAS-003"),
		workplacetest.Label(t, events.ScanOuter, "VAS-003"), h.Codes["VAS-003"], "1")
	if !strings.Contains(fmt.Sprint(a["older"]), "Locks not read: 483923") || a["status"] != "whole" {
		t.Errorf("%s: %v", workplacetest.Tells(a), a["older"])
	}
	if a = s.All("483923"); strings.Contains(fmt.Sprint(a["older"]), "Locks not read") {
		t.Errorf("read, and still: %v", a["older"])
	}
}

// TestAddressTakesNothingAway: the address of another case doesn't take the closing of one
// away from who is at work there.
func TestAddressTakesNothingAway(t *testing.T) {
	h := workplacetest.NewHouse(t)
	for i, set := range []string{"VAS-003", "LAP-014"} {
		h.Open(set, fmt.Sprint("K-", i+1))
	}
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/close"}
	s.All(workplacetest.Label(t, events.ScanCase, "K-1"), workplacetest.Label(t, events.ScanBadge, "B-1"))
	if page := h.Get("/at/north/or-3/close?case=K-2"); !strings.Contains(page, "K-1 is being worked on here") {
		t.Error("K-1 was taken away by an address")
	}
	workplacetest.Must(t, s.All(""), "K-1")
}

// TestWrongSetWithoutAPointer: a wrong set is noticed and recorded in no more inputs than a
// right one, by scanner and keyboard alone.
func TestWrongSetWithoutAPointer(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	h.After(5 * time.Minute)
	inputs, before := 0, h.Size()
	enter := func(text, says string) {
		inputs++
		p.Type(text)
		p.AwaitText("#verdict", says)
	}
	reads := func(set, sheet, says string) {
		p.Open(h.At("opening"))
		inputs = 0
		enter(workplacetest.Label(t, events.ScanBadge, "B-1")+"\r", "")
		enter(workplacetest.Label(t, events.ScanCase, "K-1")+"\r", "")
		enter(workplacetest.Label(t, events.ScanTag, set)+"\r", "scan the outer label")
		enter(workplacetest.Label(t, events.ScanOuter, set)+"\r", "scan the count sheet")
		enter(h.Codes[sheet]+"\r", says)
	}
	reads("VAS-003", "VAS-003", "Where was the count sheet")
	enter("1\r", "Enter records")
	inputs++
	p.Press("\r")
	p.AwaitText("#verdict", "VAS-003 opened for K-1.")
	right := inputs
	reads("LAP-014", "LAP-022", "WRONG COUNT SHEET")
	enter(kb.F2, "Where was the count sheet")
	enter("1\r", "put aside")
	if t.Logf("inputs: %d for a right set, %d for a wrong one", right, inputs); inputs > right {
		t.Errorf("%d inputs for a wrong set, %d for a right one", inputs, right)
	}
	if h.Size() != before+2 {
		t.Errorf("recorded: %d", h.Size()-before)
	}
}

// TestResultIsNotExchanged: a result that waits for its badge is replaced by no other, also
// where both passed.
func TestResultIsNotExchanged(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "dynamic-air-132")
	s.Put("VAS-003")
	s.Do("start")
	h.After(time.Hour)
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "no"), "records that")
	s.Do("result", "result", "passed", "released", "yes")
	size := h.Size()
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"))
	for ; size < h.Size(); size++ {
		e, err := h.Site.EventAt(size + 1)
		if err != nil {
			t.Fatal(err)
		}
		if d, ok := e.Data.(*events.SetSterilized); ok && d.Released {
			t.Fatal("the quarantined load was released")
		}
	}
	if d, ok := h.Last().Data.(*events.SetSterilized); !ok || d.Released {
		t.Errorf("recorded: %+v", h.Last().Data)
	}
}

// TestClosedAfterItsRun: a sterile container that is closed again was open since.
func TestClosedAfterItsRun(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(time.Hour)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	s.All(workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Do("placement", "placement", string(events.Outside))
	size := h.Size()
	workplacetest.Must(t, s.All("777001", ""), "777001: what is it?")
	workplacetest.Must(t, s.Do("take-as", "value", "seal"), "doubtful VAS-003 is sterile since its run. Was it opened?")
	if s.All(""); h.Size() != size {
		t.Fatal("closed again by Enter")
	}
	s.Do("after-run")
	if s.All(""); h.Size() != size+1 {
		t.Error("it was said that it was opened")
	}
}

// TestAsideIsNoCheck: where it was said that a set is put aside, and whose badge that records has just been shown, Enter records no
// check in its place, and no opening.
func TestAsideIsNoCheck(t *testing.T) {
	for _, place := range []string{"storage", "opening"} {
		t.Run(place, func(t *testing.T) { asideIsNoCheck(t, place) })
	}
}

func asideIsNoCheck(t *testing.T, place string) {
	h := workplacetest.NewHouse(t)
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place}
	s.Scan(workplacetest.Label(t, events.ScanTag, "LAP-022"))
	s.Do("no-outer", "value", "yes")
	h.After(3 * time.Second)
	if s.Scan(h.Codes["LAP-022"]); place == "opening" {
		h.After(3 * time.Second)
		s.Scan(workplacetest.Label(t, events.ScanCase, "K-9"))
	}
	s.Do("put-aside")
	elsewhere := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing", Number: 100}
	elsewhere.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	h.After(3 * time.Second)
	s.Number = 200
	size := h.Size()
	workplacetest.Must(t, s.Do("found", "value", "inside-bag"), "B-1 works here", "is put aside")
	h.After(3 * time.Second)
	if s.Scan(""); h.Size() != size {
		t.Fatalf("Enter recorded %+v", h.Last().Data)
	}
	s.Do("put-aside")
	if d, ok := h.Last().Data.(*events.SetChecked); !ok || h.Size() != size+1 || d.Aside != events.AsidePut {
		t.Errorf("recorded %+v", h.Last().Data)
	}
}

//go:build !race

package paperback_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/texts"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// lay lays the sheet of a set with the short list there, as read, with its first column marked so.
func lay(h *workplacetest.House, set, first string) {
	h.LayPaper(set, "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1, Marks: map[events.Stage]string{events.StageFirst: first}})
}

// choose takes the offered answer that says something.
func (b *bench) choose(a map[string]any, do, says string) map[string]any {
	b.t.Helper()
	value := workplacetest.ChoiceOf(a, says)
	if value == "" {
		b.t.Fatalf("%q is not offered: %v", says, a["choices"])
	}
	return b.Do(do, "value", value)
}

// state is what the page shows now.
func (b *bench) again() map[string]any { return b.Do("again") }

// A case that is closed, and a count that is recorded already, are said before anybody answers for the paper, with what is there and of
// when. Enter is no answer to either.
func TestWhatIsRecordedAlreadyIsSaid(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageFirst, Sheet: "screen",
		Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 1}, {Line: 3, Counted: 3}}})
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0412", Outcome: "unreconciled",
		Actions: []string{"x-ray"}, Reason: "not found", Witness: "B-3322"})
	h.After(time.Hour)
	lay(h, "VAS-003", "ttt")
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.asks("Case K-0412 was closed on 4 Mar 2026 06:1")
	b.asks("Closed with something unaccounted for.")
	a := b.Do("enter")
	if a["status"] != "broken" {
		t.Errorf("a closed case is %v", a["status"])
	}
	b.choose(a, "closed", "Record it all the same")
	b.asks("First count of VAS-003 for case K-0412 is recorded already")
	b.asks("by B-3310 and B-3322, 3 lines. Other numbers than printed: line 2: 1 instead of 2.")
	b.Do("enter")
	a = b.again()
	b.choose(a, "leave-out", "Leave this count")
	b.Do("not-stage")
	b.asks("Nothing on this count sheet is still to be recorded")
	b.Do("aside")
	b.Do("enter")
	b.Do("enter")
	a = b.choose(b.again(), "closed", "Record it all the same")
	b.choose(a, "beside", "as well")
	b.Do("not-stage")
	b.people("0705")
	if a = b.again(); a["status"] != "broken" || !strings.Contains(fmt.Sprint(a["aside"]), "was closed on") {
		t.Errorf("what is signed doesn't say that the case is closed: %v %v", a["status"], a["aside"])
	}
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 2 {
		t.Errorf("%d counts", len(got))
	}
}

// A badge that was scanned while its page showed something else signs nothing, as the first or as the second.
func TestBadgeOfAnOldScreenSignsNothing(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.After(6 * time.Hour)
	lay(h, "VAS-003", "ttt")
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	scan := func(badge string, rev any) string {
		t.Helper()
		h.After(5 * time.Second)
		b.Number++
		return words(h.Post(place+"/scan", fmt.Sprintf(`{"client":"t","n":%d,"rev":%v,"text":%q}`, b.Number, rev,
			workplacetest.Label(t, events.ScanBadge, badge))))
	}
	shown := func() any { return b.again()["rev"] }
	old := shown()
	lay(h, "VAS-003", "tte") // read again, and nobody has loaded the page since
	if says := scan("B-2201", old); !strings.Contains(says, "Hold it against the paper, then scan your badge") {
		t.Errorf("the first badge signs marks that were not shown: %s", says)
	}
	scan("B-2201", shown())
	b.asks("A second person")
	old = shown()
	lay(h, "VAS-003", "ttt")
	scan("B-2202", old)
	scan("B-2201", shown())
	b.asks("A second person")
	if b.Do("enter"); len(counts(h, "K-0412")) != 0 {
		t.Fatal("recorded by a badge of an old screen")
	}
	scan("B-2202", shown())
	if got := counts(h, "K-0412"); len(got) != 1 || len(got[0].Counts) != 3 {
		t.Errorf("recorded %+v", got)
	}
}

// The second person's badge signs nothing while the page shows that a code was refused in place of the sum: it is scanned once more.
func TestBadgeAfterARefusalSignsNothing(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.After(6 * time.Hour)
	lay(h, "VAS-003", "ttt")
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	b.badge("B-2201")
	b.asks("A second person")
	if a := b.All(h.Codes["VAS-003"][:40]); !strings.Contains(words(a), "Read what it says and scan again.") {
		t.Fatalf("a cut code: %s", words(a))
	}
	b.badge("B-2202")
	if got := counts(h, "K-0412"); len(got) != 0 {
		t.Fatalf("recorded, and the sum was not in sight: %+v", got)
	}
	b.asks("A second person")
	b.badge("B-2202")
	if got := counts(h, "K-0412"); len(got) != 1 {
		t.Errorf("%d counts", len(got))
	}
}

// Times are of the day on the sheet: where nothing is recorded of the opening, that is asked, and where a time would be before what
// was before, it is asked again; nothing is put on another day unsaid.
func TestDaysAreAsked(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005")
	h.After(100 * time.Hour) // 8 March, 10:1x
	lay(h, "VAS-003", "ttt")
	h.LayPaper("VAS-004", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1,
		Marks: map[events.Stage]string{events.StageFirst: "ttt", events.StageFinal: "ttt"}})
	b := at(t, h)
	b.Do("take-up", "value", h.Codes["VAS-004"])
	b.Do("case", "case", "K-0412")
	b.choose(b.again(), "case-sure", "K-0412")
	b.asks("Which date is written on the count sheet of VAS-004?")
	if a := b.typed("9.3."); !strings.Contains(words(a), "is no day that has been") {
		t.Errorf("tomorrow: %s", words(a))
	}
	b.again()    // the refusal has been read
	b.typed("3") // days ago: 5 March
	b.typed("2330")
	b.Do("found", "value", "outside")
	b.asks("First count: when?")
	a := b.typed("2315")
	if !strings.Contains(words(a), "23:15 on Thu 5 Mar would be before “Opened”, 5 Mar 2026 23:30") {
		t.Fatalf("a time before the opening: %s", words(a))
	}
	b.Do("enter")
	b.typed("2345") // the paper was misread
	b.badge("B-3310")
	b.badge("B-3322")
	a = b.typed("0105")
	b.asks("would be before “First count”")
	b.choose(a, "moment", "6 Mar 2026 01:05")
	b.badge("B-3310")
	b.badge("B-3322")
	a = b.again()
	if !strings.Contains(fmt.Sprint(a["choices"]), "another day") {
		t.Errorf("%v", a["choices"])
	}
	b.sign()
	if got := paperTimes(t, h, "VAS-004"); got != "set.opened 05 23:30, set.counted 05 23:45, set.counted 06 01:05" {
		t.Errorf("recorded %s", got)
	}

	b.Do("take-up", "value", h.Codes["VAS-003"])
	b.Do("case", "case", "K-0412")
	if a = b.again(); !strings.Contains(fmt.Sprint(a["choices"]), "Thu 5 Mar, as on the count sheet before") {
		t.Errorf("the date of the sheet before: %v", a["choices"])
	}
	b.choose(a, "day", "Yesterday, Sat 7 Mar")
	b.typed("0700")
	b.Do("found", "value", "outside")
	b.Do("not-stage")
	b.people("0710")
	b.Do("other-day")
	b.asks("Which date is written")
	b.Do("day", "value", "2026-03-04")
	a = b.typed("0530")
	if !strings.Contains(words(a), "would be before “Packed”") {
		t.Errorf("before the sheet was printed: %s", words(a))
	}
	b.typed("0700")
	b.typed("0710")
	b.sign()
	if got := paperTimes(t, h, "VAS-003"); got != "set.opened 04 07:00, set.counted 04 07:10" {
		t.Errorf("recorded %s", got)
	}
}

func paperTimes(t *testing.T, h *workplacetest.House, set string) string {
	t.Helper()
	var said []string
	for _, e := range history(t, h, set).Events {
		if e.Set == set && e.Medium == events.MediumPaper {
			said = append(said, e.Kind+" "+e.Observed.In(h.Site.Zone()).Format("02 15:04"))
		}
	}
	return strings.Join(said, ", ")
}

// In the hour that clocks repeat it is asked which one was meant; in the one that they leave out there was no such time.
func TestHoursThatClocksRepeatOrLeaveOut(t *testing.T) {
	t.Parallel()
	// EU directive 2000/84/EC: summer time ends on the last Sunday of October and begins on that of March, at 01:00 UTC.
	for _, when := range []struct {
		night  time.Time
		answer string
	}{
		{time.Date(2026, 10, 24, 22, 0, 0, 0, time.UTC), "The second 02:30"},
		{time.Date(2026, 3, 28, 22, 0, 0, 0, time.UTC), ""},
	} {
		h := workplacetest.HouseWith(t, site.Options{Zone: "Europe/Berlin"}, "VAS-003")
		h.Now.Store(when.night.UnixNano())
		h.Record("north/or-3", events.KindSetOpened, "VAS-003", &events.SetOpened{Case: "K-0412"})
		h.Now.Store(when.night.Add(10 * time.Hour).UnixNano())
		lay(h, "VAS-003", "ttt")
		b := at(t, h)
		b.Do("enter")
		b.Do("enter")
		b.Do("not-stage")
		b.typed("2350") // on the day of the opening
		b.Do("other-day")
		b.Do("day", "value", when.night.Add(4*time.Hour).Format(time.DateOnly))
		a := b.typed("0230")
		if when.answer == "" {
			if !strings.Contains(words(a), "There was no 02:30") {
				t.Errorf("in March: %s", words(a))
			}
			continue
		}
		b.asks("02:30 came twice on Sun 25 Oct")
		b.choose(a, "moment", when.answer)
		b.badge("B-3310")
		b.badge("B-3322")
		b.sign()
		for _, e := range history(t, h, "VAS-003").Events {
			if e.Kind == string(events.KindSetCounted) && !e.Observed.Equal(time.Date(2026, 10, 25, 1, 30, 0, 0, time.UTC)) {
				t.Errorf("recorded of %v", e.Observed)
			}
		}
	}
}

// A case that nothing is recorded of is asked about once; what is none by the site's pattern, or is a wristband's symbol, is refused.
func TestCaseThatNothingIsRecordedOf(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(6 * time.Hour)
	lay(h, "VAS-003", "ttt")
	b := at(t, h)
	b.Do("enter")
	b.Do("case", "case", "K-9999")
	b.asks("Nothing is recorded of case K-9999 yet. Is it written so on the paper?")
	b.Do("enter")
	b.asks("Nothing is recorded of case K-9999")
	b.Do("case", "case", "K-0999")
	b.asks("Nothing is recorded of case K-0999")
	b.Do("case-sure", "value", "K-9999")
	b.asks("Nothing is recorded of case K-0999")
	b.Do("case-sure", "value", "K-0999")
	b.asks("Which date is written")
	if a := b.Do("case", "case", "]C18018123456789012345675"); !strings.Contains(words(a), "This symbol names a patient") {
		t.Errorf("a wristband: %s", words(a))
	}
	h.ChangesPolicy(func(p *events.Policy) { p.Codes = []events.CodePattern{{Kind: events.ScanCase, Like: "K-9999"}} })
	if a := b.Do("case", "case", "MRN-12345678"); !strings.Contains(words(a), "This is no case as this site writes them") {
		t.Errorf("a number of another pattern: %s", words(a))
	}
	h.Nowhere("MRN-12345678")
}

// A sheet that reads otherwise than it was recorded says which lines, and what to do; one that reads the same goes with one key.
func TestReadAgainAfterItWasRecorded(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.After(6 * time.Hour)
	lay(h, "VAS-003", "ttt")
	b := at(t, h)
	file := filepath.Join(h.Site.Dir(), "drafts", "paper", h.Codes["VAS-003"]+".json")
	waits := func() bool {
		_, err := os.Stat(file)
		return err == nil
	}
	takeUp := func() {
		b.Do("enter")
		b.Do("enter")
		b.Do("not-stage")
	}
	takeUp()
	b.people("0700")
	if b.sign(); waits() {
		t.Error("a sheet that was recorded waits")
	}
	lay(h, "VAS-003", "tte")
	takeUp()
	b.asks("reads otherwise now | First count, recorded of 4 Mar 2026 07:00: line 3 reads otherwise now. What was recorded stays.")
	if b.Do("enter"); !waits() {
		t.Error("Enter throws away what differs")
	}
	b.choose(b.again(), "drop", "Throw away")
	if waits() {
		t.Error("it waits though it was thrown away")
	}
	lay(h, "VAS-003", "ttt")
	takeUp()
	b.asks("Nothing on this count sheet is still to be recorded")
	if b.Do("enter"); waits() || len(counts(h, "K-0412")) != 1 {
		t.Error("a sheet whose counts are recorded waits")
	}
	lay(h, "VAS-003", "tte")
	if h.After(20 * 24 * time.Hour); !strings.Contains(fmt.Sprint(b.again()["bench"]), "VAS-003 · 1 of 1") {
		t.Error("after 20 days it is gone")
	}
	h.After(25 * time.Hour)
	if b.again(); waits() {
		t.Error("what nobody took up for three weeks is kept")
	}
}

// A blank form is told from other paper, and typed in: each number of it, of its own time, by whoever types it. It names no sheet.
func TestBlankFormIsTypedIn(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	h.After(6 * time.Hour)
	b := at(t, h)
	if a := b.typed(paper.BlankFormSymbol); !strings.Contains(words(a), "Of which set is the form?") {
		t.Fatal(words(a))
	}
	b.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	b.asks("Which case is written")
	b.Do("enter")
	b.asks("First count of VAS-003: is it on the form?")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	if next := b.again()["next"]; next != workplacetest.ListShort().Lines[0].Description { // what to type is in the question
		t.Errorf("%q", next)
	}
	for _, n := range []string{"4", "1"} {
		b.typed(n)
	}
	b.asks("Line 3, First count: how many? 3 were packed")
	b.Do("enter")
	b.asks("Line 3, First count: how many?") // Enter types nothing
	b.Do("not-line")
	b.sign()
	got := counts(h, "K-0412")
	if len(got) != 1 || got[0].Sheet != events.SheetUnreadable || got[0].Paper == nil || !got[0].Paper.Typed ||
		got[0].Paper.CheckedBy != "B-2202" || len(got[0].Counts) != 2 ||
		got[0].Counts[1].Counted != 1 || got[0].Counter != "B-3310" {
		t.Fatalf("%+v", got)
	}
	for _, e := range history(t, h, "VAS-003").Events {
		if e.Kind == string(events.KindSetCounted) && (e.Medium != events.MediumPaper || e.Operator != "B-2201" ||
			e.Observed.Format("15:04") != "07:00") {
			t.Errorf("%+v", e)
		}
	}
	var pdf bytes.Buffer
	catalogue, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	if err := paper.WriteBlankForms(&pdf, 1, paper.A4, nil, false, catalogue.In("de")); err != nil {
		t.Fatal(err)
	}
	m := rasterised(t, pdf.Bytes())
	if got := strings.Join(copied(t, h, encoded(t, m[0])), " "); !strings.Contains(got, "This is a blank form, which no program reads") {
		t.Error(got)
	}
}

// A time that is still to come is taken to be of the day before, and that day is named with it.
func TestTimeOfTheDayBeforeIsNamedWithItsDay(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(6 * time.Hour)
	lay(h, "VAS-003", "ttt")
	b := at(t, h)
	b.Do("take-up", "value", h.Codes["VAS-003"])
	b.Do("case", "case", "K-0412")
	b.choose(b.again(), "case-sure", "K-0412")
	b.choose(b.again(), "day", "Today, Wed 4 Mar")
	b.typed("2350")
	b.asks("23:50 on Tue 3 Mar would be before “Packed”")
}

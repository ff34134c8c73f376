//go:build !race

package paperback_test

import (
	"fmt"
	"image/color"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/boombuler/barcode/qr"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// place is where a place of the last page is.
func (s *sheet) place(name string) paper.Rect {
	s.t.Helper()
	for _, p := range s.geometry.Pages[len(s.pages)-1].Places {
		if p.Name == name {
			return p.Rect
		}
	}
	s.t.Fatalf("no place %s", name)
	return paper.Rect{}
}

// stick sticks a label with a symbol into a place of the last page, with a margin of four modules, as ISO/IEC 18004 wants it.
func (s *sheet) stick(name, text string) {
	s.t.Helper()
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		s.t.Fatal(err)
	}
	const per, module = dpi / 25.4, 3 // pixels
	r, n, m := s.place(name), code.Bounds().Dx(), s.pages[len(s.pages)-1]
	left, top := int((r.X+r.W)*per)-(n+8)*module, int(r.Y*per)+1
	for y := range (n + 8) * module {
		for x := range (n + 8) * module {
			ink := color.Gray{Y: 255}
			i, j := x/module-4, y/module-4
			if i >= 0 && j >= 0 && i < n && j < n {
				ink = color.GrayModel.Convert(code.At(i, j)).(color.Gray)
			}
			m.SetGray(left+x, top+y, ink)
		}
	}
}

// Badges' labels on the paper are proposed beside what is to be seen there, and taken by nobody but a person; a label of anything else
// proposes nothing, and nothing of what it says is kept.
func TestLabelsOnThePaper(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-0412")
	h.Open("VAS-004", "K-0413")
	s, other := printed(t, h, "VAS-003", workplacetest.ListShort()), printed(t, h, "VAS-004", workplacetest.ListShort())
	s.tick(events.StageFirst, all(3)...)
	s.stick(paper.PlaceCounter, workplacetest.Label(t, events.ScanBadge, "B-3310"))
	s.stick(paper.PlaceWitness, workplacetest.Label(t, events.ScanBadge, "B-3322"))
	other.tick(events.StageFirst, all(3)...)
	other.stick(paper.PlaceCounter, "PATIENT-8812")
	h.After(6 * time.Hour)
	copied(t, h, s.picture(0))
	h.After(time.Minute)
	copied(t, h, other.picture(0))
	b := at(t, h)
	b.Do("enter")
	b.Do("enter") // the case
	b.Do("not-stage")
	a := b.typed("0700")
	if !strings.Contains(fmt.Sprint(a), "B-3310, as on the label on the paper") || !strings.Contains(a["bench"].(string), "field=counter") {
		t.Errorf("%v", a)
	}
	b.asks("First count: who counted?")
	if a = b.Do("enter"); !strings.Contains(fmt.Sprint(a), "B-3322, as on the label on the paper") {
		t.Errorf("%v", a)
	}
	b.asks("First count: who was second?")
	b.badge("B-3399") // the paper is held against it: it is another person
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 1 || got[0].Counter != "B-3310" || got[0].Witness != "B-3399" {
		t.Fatalf("%+v", got)
	}
	raw, err := os.ReadFile(filepath.Join(h.Site.Dir(), "drafts", "paper", h.Codes["VAS-004"]+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if raw := string(raw); !strings.Contains(raw, `"counter"`) || strings.Contains(raw, "8812") {
		t.Errorf("of a label that is no badge's is kept: %s", raw)
	}
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	if a := b.typed("0700"); strings.Contains(fmt.Sprint(a), "on the label") {
		t.Errorf("%v", a)
	}
	b.asks("First count: who counted?")
	b.Do("enter")
	b.asks("First count: who counted?")
}

// Enter takes up what waits longest, of what nobody laid aside and no other station has in hand.
func TestEnterTakesTheNext(t *testing.T) {
	t.Parallel()
	sets := []string{"VAS-003", "VAS-004", "VAS-005"}
	h := workplacetest.NewHouse(t, sets...)
	for _, set := range sets {
		h.LayPaper(set, "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1,
			Marks: map[events.Stage]string{events.StageFirst: "ttt"}})
	}
	h.After(6 * time.Hour)
	here, there := at(t, h), &bench{t, &workplacetest.Scanner{House: h, Path: "/at/north/storage/readback"}}
	taken := func(b *bench) string {
		t.Helper()
		says, ok := b.Do("enter")["aside"].(string)
		if !ok {
			return ""
		}
		return strings.TrimSuffix(strings.TrimPrefix(says, "The count sheet of "), " is taken up.")
	}
	drop := func() {
		t.Helper()
		asked := here.Do("drop")
		here.Do("drop", "value", workplacetest.ChoiceOf(asked, "Throw away what was read"))
	}
	first := taken(here)
	second := taken(there)
	if first == "" || second == "" || first == second {
		t.Fatalf("taken up: %q here, %q at another station", first, second)
	}
	here.Do("aside")
	third := taken(here)
	if third == "" || third == first || third == second {
		t.Fatalf("%q, after %q was laid aside and %q lies elsewhere", third, first, second)
	}
	drop()
	if got := taken(here); got != first {
		t.Errorf("%q, at last what was laid aside: %q", got, first)
	}
	drop()
	if got := taken(here); got != "" {
		t.Errorf("%q lies elsewhere, and %q is taken up", second, got)
	}
}

// A badge is on what was shown with it: other marks ask for both again, and so does the next sheet. Two stations that have one
// sheet in hand record it once.
func TestSignedIsWhatWasShown(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-0412")
	h.Open("VAS-004", "K-0413")
	lay := func(set string, marks string) {
		h.LayPaper(set, "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1,
			Marks: map[events.Stage]string{events.StageFirst: marks}})
	}
	h.After(6 * time.Hour)
	lay("VAS-003", "ttt")
	b, there := at(t, h), &bench{t, &workplacetest.Scanner{House: h, Path: "/at/north/storage/readback"}}
	answer := func(b *bench) {
		b.Do("enter")
		b.Do("not-stage")
		b.people("0700")
	}
	b.Do("enter")
	answer(b)
	b.badge("B-2201")
	b.asks("A second person holds it against the paper")
	lay("VAS-003", "tte") // read again
	b.asks("Hold it against the paper, then scan your badge")
	if b.badge("B-2202"); len(counts(h, "K-0412")) != 0 {
		t.Fatal("a badge on other marks counts as the first")
	}
	there.Do("take-up", "value", h.Codes["VAS-003"])
	answer(there)
	there.badge("B-2201")
	b.badge("B-2201")
	if a := there.badge("B-2202"); !strings.Contains(words(a), "no longer waits here") {
		t.Errorf("a sheet that was recorded at another station: %v", words(a))
	}
	if got := counts(h, "K-0412"); len(got) != 1 || len(got[0].Counts) != 2 {
		t.Fatalf("recorded %+v", got)
	}
	lay("VAS-004", "ttt")
	b.Do("enter")
	answer(b)
	if b.badge("B-2202"); len(counts(h, "K-0413")) != 0 {
		t.Error("the badges of one sheet sign the next")
	}
	b.asks("A second person holds it against the paper")
}

// What a set was packed with is corrected: a count sheet may be of before or after that. A picture taken then is refused; where it
// was read before, a tick beside the number that was corrected is asked about.
func TestPackingCorrectedSincePrinted(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, all(3)...)
	h.After(6 * time.Hour)
	copied(t, h, s.picture(0))
	for _, e := range history(t, h, "VAS-003").Events {
		if e.Kind == string(events.KindSetPacked) {
			h.Record("north/packing-1", events.KindEventCorrected, "", &events.EventCorrected{Event: e.ID,
				Action: "replace", Reason: "typed wrong",
				Data: []byte(`{"list":"VAS-MINOR","version":1,"weightGrams":8400,"exceptions":[{"line":2,"counted":1,"reason":"missing"}]}`)})
		}
	}
	if got := strings.Join(copied(t, h, s.picture(0)), " "); !strings.Contains(got, "The packing of VAS-003 was corrected") {
		t.Errorf("a picture taken after that: %s", got)
	}
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	b.asks("what was packed on this line was corrected since")
	b.Do("enter")
	b.asks("what was packed on this line was corrected since") // Enter is no answer
	b.typed("2")
	b.asks("Other numbers than printed: line 2: 2 instead of 1.")
}

// A packing that was corrected before the set was closed: the print of the correction is read, and a tick on the line that it changed
// is asked about, since a print of before may lie there.
func TestPackingCorrectedBeforeItWasClosed(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0400", "VAS-003")
	h.Trips["VAS-003"] = h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1,
		WeightGrams: 8400}).Trip
	h.Record("north/packing-1", events.KindEventCorrected, "", &events.EventCorrected{Event: h.Last().ID, Action: "replace",
		Reason: "typed wrong", Data: []byte(`{"list":"VAS-MINOR","version":1,"weightGrams":8400,"exceptions":[{"line":2,"counted":1,` +
			`"reason":"missing"}]}`)})
	h.Codes["VAS-003"] = h.Record("north/packing-1", events.KindListSealed, "VAS-003", &events.ListSealed{
		Placement: events.Outside}).SheetCode
	h.Open("VAS-003", "K-0412")
	list := workplacetest.ListShort()
	s := printedWith(t, h, "VAS-003", list, events.Exception{Line: 2, Counted: 1, Reason: "missing"})
	s.tick(events.StageFirst, all(3)...)
	h.After(6 * time.Hour)
	if got := strings.Join(copied(t, h, s.picture(0)), " "); !strings.Contains(got, "VAS-003, page 1 of 1") {
		t.Fatal(got)
	}
	b := at(t, h)
	b.Do("enter")
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	b.asks("Line 2, First count: how many? 1 is printed | It is ticked, and what was packed on this line was corrected")
	b.typed("1")
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 1 || len(got[0].Counts) != 3 || got[0].Counts[1].Counted != 1 {
		t.Errorf("%+v", got)
	}
}

//go:build !race

package paperback_test

import (
	"bytes"
	"image"
	"image/draw"
	"image/jpeg"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// people answers who made a count and when.
func (b *bench) people(at string) {
	b.t.Helper()
	b.typed(at)
	b.badge("B-3310")
	b.badge("B-3322")
}

// sign lets two people sign.
func (b *bench) sign() map[string]any {
	b.t.Helper()
	if !strings.Contains(b.says(), "A second person") { // else whoever read the one before goes on
		b.asks("Hold it against the paper, then scan your badge")
		b.badge("B-2201")
	}
	return b.badge("B-2202")
}

// What is not sure is asked about one by one, with a cut-out; a number is typed by a person, and after another number than the
// printed one a tick may mean either.
func TestAsksAndNeverGuesses(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, 1, 3)
	s.write(events.StageFirst, 2) // 1 of 2
	s.tick(events.StageFinal, 1, 2)
	h.After(6 * time.Hour)
	if got := send(t, h, s.picture(0)); !strings.Contains(strings.Join(got, " "), "VAS-003, page 1 of 1, 2 marks to look at") {
		t.Fatalf("%q", got)
	}
	b := at(t, h)
	b.Do("enter")
	b.people("0700")
	b.people("0900")
	b.asks("Line 2, First count: how many? 2 is printed | A number is written there")
	cut := cutOut(t, h, "VAS-003", "line=2&stage=first&page=1")
	if w, d := cut.Bounds().Dx(), cut.Bounds().Dy(); w < 60 || d < 20 || w > 400 || d > 200 {
		t.Errorf("the cut-out has %d x %d pixels; it is one cell", w, d)
	}
	if a := b.Do("enter"); !strings.Contains(words(a), "Line 2, First count") {
		t.Errorf("Enter answered a number that is written: %v", words(a))
	}
	b.typed("1")
	b.asks("Line 2, Final count: how many? 2 is printed | It is ticked, and the count sheet has another number")
	b.typed("1")
	b.asks("Line 3, Final count: how many? 3 is printed | The box is empty among ticked ones")
	b.Do("not-line")
	b.asks("Other numbers than printed: line 2: 1 instead of 2. Final count")
	b.asks("Not counted: line 3")
	b.sign()
	got := counts(h, "K-0412")
	if len(got) != 2 {
		t.Fatalf("%d counts", len(got))
	}
	if c := got[0].Counts; len(c) != 3 || c[0].Counted != 4 || c[1].Counted != 1 || c[2].Counted != 3 {
		t.Errorf("first: %+v", c)
	}
	if c := got[1].Counts; len(c) != 2 || c[1].Counted != 1 {
		t.Errorf("final: %+v", c)
	}
	if p := got[1].Paper; len(p.Asked) != 1 || p.Asked[0] != 2 || p.Pages[0].Marks != "tta" ||
		len(p.Pages[0].Picture) != 64 || p.Pages[0].Kept != "" {
		t.Errorf("final, paper: %+v", p)
	}
}

func cutOut(t *testing.T, h *workplacetest.House, set, of string) image.Image {
	t.Helper()
	res, err := http.Get(h.URL + place + "/cut-out?sheet=" + h.Codes[set] + "&" + of)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	m, kind, err := image.Decode(res.Body)
	if err != nil || kind != "png" {
		t.Fatalf("%d %s: %v", res.StatusCode, kind, err)
	}
	return m
}

// The twin's sheet read back for a case is a swap found: it is said before anything is signed, and judged broken.
func TestTwinsSheet(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-004", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, all(3)...)
	h.After(6 * time.Hour)
	send(t, h, s.picture(0))
	b := at(t, h)
	b.asks("Which case is written on the count sheet of VAS-003?")
	a := b.Do("case", "case", "K-0412")
	if !strings.Contains(words(a),
		"This count sheet is of VAS-003 as it was packed then, and that was not opened for case K-0412") || a["status"] != "broken" {
		t.Fatalf("%v", words(a))
	}
	b.Do("enter")
	b.asks("This count sheet is of VAS-003") // Enter is none of the answers
	b.Do("counted-by", "value", workplacetest.ChoiceOf(a, "VAS-004 was counted by this count sheet"))
	b.asks("Column “Final count” is blank")
	b.Do("not-stage")
	b.people("0700")
	if a := b.sign(); a["status"] != "broken" {
		t.Errorf("a count by the twin's count sheet is %v: %v", a["status"], words(a))
	}
	got := counts(h, "K-0412")
	if len(got) != 1 || got[0].Sheet != h.Codes["VAS-003"] {
		t.Fatalf("%+v", got)
	}
	found := false
	for _, v := range history(t, h, "VAS-004").Verdicts {
		for _, f := range v.Findings {
			found = found || f.Code == projections.CountedOnWrongList && f.Severity == projections.SeverityBroken &&
				f.Other.Set == "VAS-003"
		}
	}
	if !found {
		t.Error("judgement doesn't find that VAS-004 was counted by the sheet of VAS-003")
	}
	if got := strings.Join(copied(t, h, s.picture(0)), " "); waiting(t, h) != 0 || !strings.Contains(got, "are recorded already") {
		t.Errorf("read once more: %s", got)
	}
	s.tick(events.StageFinal, all(3)...)
	copied(t, h, s.picture(0))
	b.Do("enter")
	b.Do("case", "case", "K-0412")
	b.people("0900") // of which set it is, is recorded
	b.sign()
	if got := counts(h, "K-0412"); len(got) != 2 || got[1].Stage != events.StageFinal || len(h.Events(site.Query{Set: "VAS-003"},
		events.KindSetOpened)) != 0 || len(h.Events(site.Query{Set: "VAS-004"}, events.KindSetCounted)) != 2 {
		t.Errorf("%+v", got)
	}
	lay(h, "VAS-003", "ttt")
	b.Do("take-up", "value", h.Codes["VAS-003"])
	b.Do("case", "case", "K-0999")
	b.Do("case-sure", "value", "K-0999")
	b.asks("Counts of this count sheet of VAS-003 are recorded") // so nothing is asked of another case
}

// After a downtime not even the opening is recorded: it is asked, and recorded from paper too, before the counts.
func TestOpeningFromPaper(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, all(3)...)
	s.tick(events.StageFinal, all(3)...)
	h.After(30 * time.Hour) // the next day, 12:1x
	send(t, h, s.picture(0))
	b := at(t, h)
	b.Do("case", "case", "K-0412")
	b.choose(b.again(), "case-sure", "K-0412")
	b.choose(b.again(), "day", "Yesterday, ")
	b.asks("When was VAS-003 opened for case K-0412?")
	b.typed("2315")
	b.asks("Where was this count sheet when VAS-003 was opened?")
	b.Do("found", "value", "outside")
	b.people("2330")
	b.choose(b.typed("0105"), "moment", "5 Mar 2026 01:05") // after midnight
	b.badge("B-3310")
	b.badge("B-3322")
	b.sign()
	if got := paperTimes(t, h, "VAS-003"); got != "set.opened 04 23:15, set.counted 04 23:30, set.counted 05 01:05" {
		t.Errorf("recorded %s", got)
	}
	opened := h.LastReading("VAS-003")
	if opened.Found != "outside" || opened.Code != h.Codes["VAS-003"] || len(opened.Pages) != 1 {
		t.Errorf("the sheet was read as %+v", opened)
	}
}

// What is wrong with a picture or a sheet is said at once, by name, and nothing comes of it.
func TestSaidAtOnce(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "LAP-014")
	one := printed(t, h, "VAS-003", workplacetest.ListShort())
	two := printed(t, h, "VAS-004", workplacetest.ListShort())
	foreign := printed(t, workplacetest.NewHouse(t, "VAS-777"), "VAS-777", workplacetest.ListShort())
	size := h.Size()
	for want, file := range map[string][]byte{
		"is not known here: it is of another ledger":  foreign.picture(0),
		"no picture that can be read here (HEIC)":     []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"),
		"The file is empty":                           nil,
		"more than one count sheet is in the picture": beside(t, one, two),
		"there is no count sheet in the picture":      blankPage(t),
		"VAS-003, page 1 of 1":                        one.picture(0),
	} {
		if got := strings.Join(send(t, h, file), " "); !strings.Contains(strings.ToLower(got), strings.ToLower(want)) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := strings.Join(send(t, h, one.picture(0)), " "); !strings.Contains(got, "This picture was read before") {
		t.Errorf("the same picture: %q", got)
	}
	one.tick(events.StageFirst, 1)
	if got := strings.Join(send(t, h, one.picture(0)), " "); !strings.Contains(got, "with other marks") {
		t.Errorf("the same page with other marks: %q", got)
	}
	h.LayPaper("LAP-014", "LAP-MAJOR", 3, workplacetest.PaperPage{Page: 1, First: 1,
		Marks: map[events.Stage]string{events.StageFirst: "ttt"}})
	b := at(t, h)
	b.Do("take-up", "value", h.Codes["LAP-014"])
	b.asks("is missing. Take it too")
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1})
	if got := strings.Join(send(t, h, one.picture(0)), " "); !strings.Contains(got, "VAS-003 has been packed again since") {
		t.Errorf("an earlier turn: %q", got)
	}
	newer := workplacetest.ListShort()
	newer.Version, newer.Lines[0].Quantity = 2, 5
	h.Record("north/packing-1", events.KindListIssued, "", newer)
	if got := strings.Join(send(t, h, two.picture(0)), " "); !strings.Contains(got, "version 1 of its list; version 2 is in force") {
		t.Errorf("an old version of the list: %q", got)
	}
	if n := h.Size() - size; n != 2 { // the packing and the list
		t.Errorf("%d records came of pictures alone", n-2)
	}
}

// beside puts two sheets into one picture.
func beside(t *testing.T, a, b *sheet) []byte {
	t.Helper()
	x, y := a.pages[0], b.pages[0]
	m := image.NewGray(image.Rect(0, 0, x.Rect.Dx()+y.Rect.Dx(), max(x.Rect.Dy(), y.Rect.Dy())))
	draw.Draw(m, x.Rect, x, image.Point{}, draw.Src)
	draw.Draw(m, y.Rect.Add(image.Pt(x.Rect.Dx(), 0)), y, image.Point{}, draw.Src)
	return encoded(t, m)
}

func blankPage(t *testing.T) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 900, 1200))
	draw.Draw(m, m.Rect, image.White, image.Point{}, draw.Src)
	return encoded(t, m)
}

func encoded(t *testing.T, m image.Image) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := jpeg.Encode(&out, m, nil); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// Where the policy says so, of each page the columns with the marks are kept, and nothing of the head or of the descriptions; what the
// record names is what is there, else verify says so.
func TestPictureKeptByPolicy(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.ChangesPolicy(func(p *events.Policy) { p.KeepPictures = true })
	h.Open("VAS-003", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, all(3)...)
	h.After(6 * time.Hour)
	send(t, h, s.picture(0))
	b := at(t, h)
	b.Do("enter")
	b.Do("not-stage")
	b.people("0700")
	b.sign()
	// Read again, it doesn't wait; with a mark that was not there it does, and that is said.
	if got := strings.Join(copied(t, h, s.picture(0)), " "); !strings.Contains(got, "recorded already") || waiting(t, h) != 0 {
		t.Errorf("%d wait: %s", waiting(t, h), got)
	}
	s.write(events.StageFirst, 2)
	if got := strings.Join(copied(t, h, s.picture(0)), " "); waiting(t, h) != 1 ||
		!strings.Contains(got, "First count, recorded of 4 Mar 2026 07:00: line 2 reads otherwise now.") {
		t.Errorf("%d wait: %s", waiting(t, h), got)
	}
	got := counts(h, "K-0412")
	if len(got) != 1 || got[0].Paper == nil || got[0].Paper.Pages[0].Kept == "" {
		t.Fatalf("%+v", got)
	}
	path := filepath.Join(h.Site.Dir(), "pictures", got[0].Paper.Pages[0].Kept+".png")
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c, kind, err := image.DecodeConfig(bytes.NewReader(raw))
	if page := s.pages[0].Rect; err != nil || kind != "png" || c.Width > page.Dx()*3/5 || c.Height > page.Dy()*4/5 {
		t.Errorf("%v %s: %d x %d of %v", err, kind, c.Width, c.Height, page)
	}
	check := func(want bool) {
		t.Helper()
		v, err := h.Site.Verify(t.Context(), nil)
		if err != nil || v.OK != want {
			t.Errorf("verified %v, want %v: %+v %v", v.OK, want, v.Problems, err)
		}
	}
	check(true)
	if err := os.WriteFile(path, append(bytes.Clone(raw), 0), 0o600); err != nil {
		t.Fatal(err)
	}
	check(false)
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
}

// waiting is how many sheets wait for a person.
func waiting(t *testing.T, h *workplacetest.House) int {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(h.Site.Dir(), "drafts", "paper", "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

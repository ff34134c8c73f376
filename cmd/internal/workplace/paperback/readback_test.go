//go:build !race

// Package paperback_test reads filled-in count sheets back through the stations' pages: printed, ticked by a drawn pen,
// scanned, read and signed.
package paperback_test

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }

const place = "/at/north/or-3/readback"

// send hands a file in as the page does, and returns what is said of its pages.
func send(t *testing.T, h *workplacetest.House, file []byte) []string {
	t.Helper()
	return sendTo(t, h.URL+place+"/pictures", file)
}

// copied hands a file in as the program does that watches a copier's folder: no sheet lies in hand at any station then.
func copied(t *testing.T, h *workplacetest.House, file []byte) []string {
	t.Helper()
	return sendTo(t, h.URL+"/api/paper", file)
}

func sendTo(t *testing.T, address string, file []byte) []string {
	t.Helper()
	res, err := http.Post(address, "image/jpeg", bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%d %v: %s", res.StatusCode, err, raw)
	}
	var out []string
	for line := range strings.Lines(string(raw)) {
		var a struct {
			Words string `json:"words"`
		}
		if err := json.Unmarshal([]byte(line), &a); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		out = append(out, a.Words)
	}
	return out
}

// bench is the page without a browser; it shows what was said last.
type bench struct {
	t *testing.T
	*workplacetest.Scanner
}

func at(t *testing.T, h *workplacetest.House) *bench {
	return &bench{t, &workplacetest.Scanner{House: h, Path: place}}
}

func words(a map[string]any) string {
	return strings.TrimSpace(fmt.Sprint(a["words"]) + " | " + fmt.Sprint(a["more"]))
}

// says is what the page says now.
func (b *bench) says() string {
	b.t.Helper()
	res, err := http.Get(b.House.URL + place + "/state")
	if err != nil {
		b.t.Fatal(err)
	}
	defer res.Body.Close()
	var a map[string]any
	if err := json.UnmarshalRead(res.Body, &a); err != nil {
		b.t.Fatal(err)
	}
	return words(a)
}

// asks fails unless the page asks something.
func (b *bench) asks(want string) {
	b.t.Helper()
	if got := b.says(); !strings.Contains(got, want) {
		b.t.Fatalf("the page says %q, want %q", got, want)
	}
}

func (b *bench) badge(code string) map[string]any {
	b.House.After(3 * time.Second)
	return b.Scan(workplacetest.Label(b.t, events.ScanBadge, code))
}

func (b *bench) typed(text string) map[string]any {
	b.House.After(3 * time.Second)
	return b.Scan(text)
}

func counts(h *workplacetest.House, ref string) (out []*events.SetCounted) {
	for _, d := range h.Events(site.Query{Case: ref}, events.KindSetCounted) {
		out = append(out, d.(*events.SetCounted))
	}
	return out
}

// Operator times of the keystroke-level model: Card, Moran and Newell 1980 ("The keystroke-level model for user performance
// time with interactive systems", CACM 23:396-410). From memory: K 0.28 s for an average non-secretary typist, M 1.35 s. A
// badge that lies ready is scanned in as long as a key takes to find and press: P 1.1 s (as pointing; no source for scanning).
// Enter for the next sheet of a pile follows from the one before, so by the model's first rule it has no M of its own.
const (
	opK    = 0.28
	opM    = 1.35
	opScan = 1.10
)

// inputs are what a person does at the page, for the estimate.
type inputs struct{ keys, scans, looks int }

// seconds are those of the model.
func (n inputs) seconds() float64 {
	return opK*float64(n.keys) + opScan*float64(n.scans) + opM*float64(n.looks)
}

// A sheet of 60 lines and two stages, on which nothing is doubtful, out of a copier's folder: its pages in any order, two times, two
// badges, two to sign.
func TestNothingAsked(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0412")
	s := printed(t, h, "LAP-014", workplacetest.List60())
	s.tick(events.StageFirst, all(60)...)
	s.tick(events.StageFinal, all(60)...)
	h.After(6 * time.Hour)
	for page := len(s.pages) - 1; page >= 0; page-- {
		if got := copied(t, h, s.picture(page)); len(got) != 1 || !strings.Contains(got[0],
			fmt.Sprintf("LAP-014, page %d of %d, 0 marks", page+1, len(s.pages))) {
			t.Fatalf("page %d: %q", page+1, got)
		}
	}
	b := at(t, h)
	b.asks("Take a picture of a filled-in count sheet")
	var n inputs
	enter := func() map[string]any { n.keys++; return b.Do("enter") }
	typed := func(text string) { b.typed(text); n.keys += len(text) + 1 }
	badge := func(code string) map[string]any { n.scans++; return b.badge(code) }
	if a := enter(); a["aside"] != "The count sheet of LAP-014 is taken up." {
		t.Errorf("Enter for the next count sheet: %v, %v", a["aside"], words(a))
	}
	b.asks("Which case is written on the count sheet of LAP-014?")
	n.looks++
	enter() // the one that it was opened for: so it stands on the paper
	b.asks("First count: when?")
	n.looks++
	typed("0655")
	b.asks("First count: who counted?")
	badge("B-3310")
	b.asks("First count: who was second?")
	badge("B-3322")
	b.asks("Final count: when?")
	n.looks++
	typed("0840")
	enter() // the same two, as the page proposes
	b.asks("Hold it against the paper, then scan your badge")
	n.looks++
	badge("B-2201")
	b.asks("A second person holds it against the paper")
	n.looks++
	a := badge("B-2202")
	t.Logf("%d keys, %d scans, %d looks: keystroke-level estimate %.1f s, with the sheet taken up", n.keys, n.scans, n.looks, n.seconds())
	if n.seconds() > 15 {
		t.Errorf("reading a count sheet back on which nothing is asked takes %.1f s by the model, at most 15", n.seconds())
	}
	if !strings.Contains(words(a), "Counts of LAP-014 for case K-0412 read back from paper: 2") {
		t.Fatalf("%v", a)
	}
	got := counts(h, "K-0412")
	if len(got) != 2 {
		t.Fatalf("%d counts are recorded", len(got))
	}
	for i, d := range got {
		want := []events.Stage{events.StageFirst, events.StageFinal}[i]
		if d.Stage != want || d.Counter != "B-3310" || d.Witness != "B-3322" || d.Sheet != h.Codes["LAP-014"] || len(d.Counts) != 60 ||
			d.Paper == nil || d.Paper.CheckedBy != "B-2202" || len(d.Paper.Asked) != 0 || len(d.Paper.Pages) != len(s.pages) {
			t.Errorf("recorded %+v %+v", d, d.Paper)
		}
		for _, c := range d.Counts {
			if c.Counted != 1+(c.Line-1)%6 {
				t.Errorf("line %d: %d", c.Line, c.Counted)
			}
		}
	}
	hist := history(t, h, "LAP-014")
	for _, e := range hist.Events {
		if e.Kind != string(events.KindSetCounted) {
			continue
		}
		at := map[string]string{"first": "06:55", "final": "08:40"}[string(e.Data.(*events.SetCounted).Stage)]
		if e.Medium != events.MediumPaper || e.Operator != "B-2201" ||
			e.Observed.In(h.Site.Zone()).Format("2006-01-02 15:04") != "2026-03-04 "+at {
			t.Errorf("%+v", e)
		}
	}
	for _, v := range hist.Verdicts {
		for _, f := range v.Findings {
			if f.Severity != projections.SeverityNoted && f.Code != projections.CountMissing && f.Code != projections.LinkMissing {
				t.Errorf("found %s: %+v", f.Code, f.Detail)
			}
		}
	}
}

func history(t *testing.T, h *workplacetest.House, set string) *projections.History {
	t.Helper()
	hist, err := h.Site.History(t.Context(), site.Query{Set: set})
	if err != nil {
		t.Fatal(err)
	}
	return hist
}

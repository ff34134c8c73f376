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
	res, err := http.Post(h.URL+place+"/pictures", "image/jpeg", bytes.NewReader(file))
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

// asks fails unless the page asks something.
func (b *bench) asks(want string) {
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
	if got := words(a); !strings.Contains(got, want) {
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

// A sheet of 60 lines and two stages, on which nothing is doubtful: its pages in any order, two times, two badges, two to sign.
func TestNothingAsked(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0412")
	s := printed(t, h, "LAP-014", workplacetest.List60())
	s.tick(events.StageFirst, all(60)...)
	s.tick(events.StageFinal, all(60)...)
	h.After(6 * time.Hour)
	for page := len(s.pages) - 1; page >= 0; page-- {
		if got := send(t, h, s.picture(page)); len(got) != 1 || !strings.Contains(got[0], fmt.Sprintf("LAP-014, page %d of %d, 0 marks", page+1, len(s.pages))) {
			t.Fatalf("page %d: %q", page+1, got)
		}
	}
	b := at(t, h)
	b.asks("First count: when?")
	b.typed("0655")
	b.asks("First count: who counted?")
	b.badge("B-3310")
	b.asks("First count: who was second?")
	b.badge("B-3322")
	b.asks("Final count: when?")
	b.typed("8:40")
	b.Do("enter") // the same two, as the page proposes
	b.Do("enter")
	b.asks("Hold it against the paper, then scan your badge")
	b.badge("B-2201")
	b.asks("A second person holds it against the paper")
	if a := b.badge("B-2202"); !strings.Contains(words(a), "Counts of LAP-014 for case K-0412 read back from paper: 2") {
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
		if e.Medium != events.MediumPaper || e.Operator != "B-2201" || e.Observed.In(h.Site.Zone()).Format("2006-01-02 15:04") != "2026-03-04 "+at {
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

package workplacetest

import (
	"bytes"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// Last is the newest record.
func (h *House) Last() *events.Event {
	h.T.Helper()
	e, err := h.Site.EventAt(h.Size())
	if err != nil {
		h.T.Fatal(err)
	}
	return e
}

// Waiting puts entries into a browser that a tab left behind which is gone: how long ago
// each was made, the revision that was shown, and what was scanned.
func Waiting(p *browsertest.Tab, base string, rev int, ago time.Duration, texts ...string) {
	var items []string
	for i, text := range texts {
		items = append(items, fmt.Sprintf(`{verb: "scan", at: Date.now() - %d, body: {client: "gone", n: %d, rev: %d, text: %q}}`,
			(ago-time.Duration(i)*time.Second).Milliseconds(), i+1, rev, text))
	}
	browsertest.Eval[bool](p, fmt.Sprintf(`(localStorage.setItem("waiting:gone:%s", JSON.stringify([%s])), true)`,
		base, strings.Join(items, ",")))
}

// RanNegative records that a load ran with a set and was read negative, both now.
func (h *House) RanNegative(run int64, set string) {
	load := fmt.Sprintf("S1-0304-%02d", run)
	h.Record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: load, Sterilizer: "S1",
		Run: run, Cycle: "c-134", Result: "passed", Released: true})
	h.Record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: load, Sterilizer: "S1", Result: "negative"})
}

// Implants packs and closes a set that holds implants, by its list.
func (h *House) Implants(sets ...string) {
	h.Record("north/packing-1", events.KindListIssued, "", &events.ListIssued{List: "IMP", Version: 1, Title: "Implants", Implants: true,
		Lines: ListShort().Lines})
	for _, set := range sets {
		h.Trips[set] = h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "IMP", Version: 1,
			WeightGrams: 8400}).Trip
		h.Codes[set] = h.Record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside}).SheetCode
	}
}

// AtSterilizer is a scanner at the sterilizer, with a badge.
func (h *House) AtSterilizer() *Scanner {
	s := &Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Scan(Label(h.T, events.ScanBadge, "B-1"))
	return s
}

// Ended are the runs that are recorded of a set, with the load's number left out: "passed true".
func (h *House) Ended(set string) (out []string) {
	for _, d := range h.Events(site.Query{Set: set}, events.KindSetSterilized) {
		d := d.(*events.SetSterilized)
		out = append(out, fmt.Sprint(d.Load, " ", d.Result, " ", d.Released))
	}
	return out
}

func (h *House) Recalled() {
	h.Record("north/sterilizer-1", events.KindIndicatorRead, "",
		&events.IndicatorRead{Load: "S1-0304-01", Sterilizer: "S1", Result: "positive"})
}

// Nowhere fails where a text is in a file of the folder or in its name.
func (h *House) Nowhere(text string) {
	h.T.Helper()
	err := filepath.WalkDir(h.Site.Dir(), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		var raw []byte
		if d.Type().IsRegular() {
			raw, err = os.ReadFile(path)
		}
		for _, form := range []string{text, url.QueryEscape(text), url.PathEscape(text)} {
			if strings.Contains(path, form) || bytes.Contains(raw, []byte(form)) {
				h.T.Errorf("%s has %q", path, form)
			}
		}
		return err
	})
	if err != nil {
		h.T.Fatal(err)
	}
}

// Closes scans a case and two badges at the close page, and returns what was said of the case, and what after the badges.
func (h *House) Closes(ref string) (before, after map[string]any, closed bool) {
	h.T.Helper()
	s := &Scanner{House: h, Path: "/at/north/or-3/close", Number: 10 * int(h.Size())}
	before = s.Scan(Label(h.T, events.ScanCase, ref))
	s.Scan(Label(h.T, events.ScanBadge, "B-7"))
	size := h.Size()
	after = s.Scan(Label(h.T, events.ScanBadge, "B-8"))
	return before, after, h.Size() > size
}

// Signs counts a set of a case as expected at a stage, by two badges.
func (h *House) Signs(ref, set string, stage events.Stage) {
	h.Record("north/or-3", events.KindSetCounted, set, &events.SetCounted{Case: ref, Stage: stage, Sheet: "screen", Counter: "B-1",
		Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
}

// Counts records a signed count of the short list, made elsewhere.
func (h *House) Counts(ref, set string, stage events.Stage, n ...int64) {
	d := &events.SetCounted{Case: ref, Stage: stage, Sheet: "screen", Counter: "B-1", Witness: "B-2"}
	for i, x := range n {
		d.Counts = append(d.Counts, events.Count{Line: int64(i + 1), Counted: x})
	}
	h.Record("north/or-3", events.KindSetCounted, set, d)
}

// DraftFile writes what is kept of a bench or a count, as an earlier version or
// a damaged disk left it.
func (h *House) DraftFile(text string, names ...string) {
	h.T.Helper()
	path := filepath.Join(append([]string{h.Site.Dir(), "drafts"}, names...)...) + ".json"
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		h.T.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		h.T.Fatal(err)
	}
}

// CountedRight tells of both counts of VAS-003 for a case, with all that is listed.
func (h *House) CountedRight(ref string) {
	h.T.Helper()
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: ref, Stage: stage,
			Sheet: events.SheetScreen, Counter: "B-1", Witness: "B-2",
			Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
}

// ClosedShort uses a set in a case that is closed short of its third line.
func (h *House) ClosedShort(ref, set string) {
	h.Open(set, ref)
	h.Counts(ref, set, events.StageFirst, 4, 2, 3)
	h.After(time.Minute)
	h.Counts(ref, set, events.StageFinal, 4, 2, 2)
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: ref, Outcome: "unreconciled", Actions: []string{},
		Reason: "searched", Witness: "B-22"})
	h.After(40 * time.Minute)
}

// Packs packs a set at the page, up to what Enter records: lines are what is typed for each.
func (h *House) Packs(set string, lines ...string) (p *Scanner, asked, a map[string]any) {
	h.T.Helper()
	p = &Scanner{House: h, Path: "/at/north/packing-1/packing", Number: int(h.Size()) * 100}
	p.Scan(Label(h.T, events.ScanBadge, "B-1"))
	asked = p.Scan(Label(h.T, events.ScanTag, set))
	if c := Answer(asked).Choice("lacks"); c["value"] != "" {
		p.Do("lacks", "value", c["value"])
	}
	for _, l := range lines {
		h.After(3 * time.Second)
		p.Scan(l)
	}
	return p, asked, p.Scan("8.4")
}

func JSON(h *House, path string) (out map[string]any) {
	h.T.Helper()
	if err := json.Unmarshal([]byte(h.Get(path)), &out); err != nil {
		h.T.Fatal(err)
	}
	return out
}

// Sender sends to one place of a station what its page sends, one input after the other.
func (h *House) Sender(place string) (scan func(string) map[string]any, do func(action, fields string) map[string]any) {
	n := 0
	send := func(verb, rest string) map[string]any {
		h.T.Helper()
		h.After(3 * time.Second) // sooner it would be one scan read twice
		n++
		return h.Post("/at/north/or-3/"+place+"/"+verb, fmt.Sprintf(`{"client":"one","n":%d,%s}`, n, rest))
	}
	return func(text string) map[string]any { return send("scan", fmt.Sprintf(`"text":%q`, text)) },
		func(action, fields string) map[string]any {
			return send("do", fmt.Sprintf(`"action":%q,"fields":%s`, action, fields))
		}
}

// LastCheck returns what the last check of a set recorded.
func (h *House) LastCheck(set string) *events.SetChecked {
	got := h.Events(site.Query{Set: set}, events.KindSetChecked)
	if len(got) == 0 {
		h.T.Fatalf("no check of %s", set)
	}
	return got[len(got)-1].(*events.SetChecked)
}

// Reprocess has a set used for a case, counted, closed, and packed anew by another station.
func (h *House) Reprocess(set, ref string) {
	h.Used(ref, set)
	h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
}

// Reissued issues the short list anew, with two lines exchanged.
func (h *House) Reissued(version int64) {
	l := ListShort()
	l.Version = version
	l.Lines[1], l.Lines[2] = l.Lines[2], l.Lines[1]
	l.Lines[1].Line, l.Lines[2].Line = 2, 3
	h.Record("north/packing-1", events.KindListIssued, "", l)
}

// Trip is the set's last trip.
func (h *House) Trip(set string) string {
	h.T.Helper()
	trip, err := site.Answer(h.Site, func(m *site.View) (string, error) {
		return m.TripNow(h.T.Context(), set, h.Clock())
	})
	if err != nil {
		h.T.Fatal(err)
	}
	return trip
}

// Verdict is the verdict of a trip as it stands, nil where there is none.
func (h *House) Verdict(set, trip string) *projections.Verdict {
	h.T.Helper()
	v, err := site.Answer(h.Site, func(m *site.View) (*projections.Verdict, error) {
		return m.Verdict(h.T.Context(), projections.TripKey{Set: set, Trip: trip})
	})
	if err != nil {
		h.T.Fatal(err)
	}
	return v
}

// GoesBack takes the set from its case to the bench where it is packed again: one scan and
// one Enter at each step, once the step and the washer's load are chosen.
func (h *House) GoesBack(p *browsertest.Tab, set string, badge func(string) string) {
	h.T.Helper()
	p.Open(h.At("return"))
	p.Axe()
	p.Type(badge("B-3310"))
	p.AwaitText("#bench", "B-3310")
	for _, step := range []events.ReturnStep{events.ReturnLeft, events.ReturnReceived, events.ReturnWashed, events.ReturnInspected} {
		h.After(10 * 60e9)
		p.Touch(`[data-do="step"][data-value="` + string(step) + `"]`)
		p.Await(`document.querySelector("[data-do=step][data-value=` + string(step) + `]").getAttribute("aria-pressed") === "true"`)
		if step == events.ReturnWashed {
			browsertest.Eval[bool](p, `(document.querySelector("#washer").value = "W2", document.querySelector("#run").value = "3",
				document.querySelector("[data-do=load]").requestSubmit(), true)`)
			p.AwaitText("#bench", "W2-0304-03")
			p.Axe()
		}
		p.Type(set)
		p.AwaitText("#verdict", "Enter records: VAS-003")
		p.Press("\r")
		p.Await(`document.querySelector(".last")`)
	}
	p.Axe()
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetReturned)
	if len(got) != 4 || got[2].(*events.SetReturned).WasherLoad != "W2-0304-03" {
		h.T.Errorf("recorded on the way back: %d %+v", len(got), got)
	}
	p.Press("\r") // from the inspection to packing
	p.Await(`location.pathname.endsWith("/packing")`)
	p.Open(h.At("pieces") + "?set=VAS-003")
	p.AwaitText("#verdict", "VAS-003: which line?")
	p.Axe()
	p.Type("2\r")
	p.AwaitText("#verdict", "what became of it?")
	p.Axe()
}

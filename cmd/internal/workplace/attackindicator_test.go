package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
)

// ranNegative records that a load ran with a set and was read negative, both now.
func (h *house) ranNegative(run int64, set string) {
	load := fmt.Sprintf("S1-0304-%02d", run)
	h.record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: load, Sterilizer: "S1",
		Run: run, Cycle: "c-134", Result: "passed", Released: true})
	h.record("north/sterilizer-1", events.KindIndicatorRead, "", &events.IndicatorRead{Load: load, Sterilizer: "S1", Result: "negative"})
}

// TestPositiveKnownLate: a positive indicator is not settled by the loads that ran before it was read. The cycles
// that are repeated settle it, and then a set of the positive load is still not simply in order.
func TestPositiveKnownLate(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014", "LAP-022")
	for run, set := range []string{2: "LAP-014", 3: "LAP-022", 4: "LAP-014"} {
		if set != "" {
			h.after(time.Hour)
			h.ranNegative(int64(run), set)
		}
	}
	h.after(3 * time.Hour)
	h.atSterilizer().do("indicator", "load", "S1-0304-01", "result", "positive")
	at := []*scanner{{h: h, path: "/at/north/storage/storage"}, {h: h, path: "/at/north/or-3/opening"}}
	looks := func() (out []map[string]any) {
		h.after(time.Hour)
		for _, s := range at {
			s.do("forget") // what the last look left
			s.scan(label(t, events.ScanTag, "VAS-003"))
			s.scan(label(t, events.ScanOuter, "VAS-003"))
			out = append(out, s.scan(h.codes["VAS-003"]))
		}
		return out
	}
	for _, a := range looks() {
		if a["status"] != "broken" || !strings.Contains(a["words"].(string), "RECALLED") {
			t.Errorf("positive, after three loads that ran before it was read: %v %v", a["status"], a["words"])
		}
	}
	for run := range int64(3) {
		h.after(time.Hour)
		h.ranNegative(5+run, "LAP-014")
	}
	for _, a := range looks() {
		told := fmt.Sprint(a["words"], a["older"])
		if a["status"] == "whole" || a["status"] == "broken" || !strings.Contains(told, "load S1-0304-01 was read POSITIVE on ") ||
			!strings.Contains(told, "settled by S1-0304-05, S1-0304-06, S1-0304-07") {
			t.Errorf("settled by three repeated cycles: %v %v %v", a["status"], a["words"], a["older"])
		}
	}
}

// implants packs and closes a set that holds implants, by its list.
func (h *house) implants(sets ...string) {
	h.record("north/packing-1", events.KindListIssued, "", &events.ListIssued{List: "IMP", Version: 1, Title: "Implants", Implants: true,
		Lines: listShort().Lines})
	for _, set := range sets {
		h.trips[set] = h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: "IMP", Version: 1, WeightGrams: 8400}).Trip
		h.codes[set] = h.record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside}).SheetCode
	}
}

// TestIndicatorReadWhileCycleRuns: an indicator can't be read before its cycle has ended and it was incubated. A
// result that is said sooner is mostly another load's, so it is asked about; and one that is recorded all the same
// lets no implants go.
func TestIndicatorReadWhileCycleRuns(t *testing.T) {
	for _, x := range []struct {
		after, incubated string
		asked, proves    bool
	}{
		{"3s", "", true, false},
		{"12m", "", true, true}, // sooner than any is incubated, but it may have been
		{"14m", "", false, true},
		{"40m", "60", true, false},
		{"64m", "60", false, true},
	} {
		h := newHouse(t, "VAS-003")
		h.implants("IMP-1")
		s := h.atSterilizer()
		s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
		s.scan(label(t, events.ScanSet, "IMP-1"))
		s.do("start")
		d, err := time.ParseDuration(x.after)
		if err != nil {
			t.Fatal(err)
		}
		h.after(d)
		before := h.size()
		s.scan(label(t, events.ScanBadge, "B-1"))
		a := s.do("indicator", "load", "S1-0304-02", "result", "negative", "incubated", x.incubated)
		asked := strings.Contains(fmt.Sprint(a["words"]), "Is this its indicator?")
		if asked != x.asked || asked != (h.size() == before) {
			t.Fatalf("%+v: asked %v, %d recorded: %v", x, asked, h.size()-before, a["words"])
		}
		if asked {
			if a = s.do("forget"); strings.Contains(fmt.Sprint(a["words"]), "indicator") || h.size() != before {
				t.Errorf("%+v: another load's: %v", x, a["words"])
			}
			s.do("indicator", "load", "S1-0304-02", "result", "negative", "incubated", x.incubated)
			a = s.do("known", "value", "S1-0304-02")
		}
		if h.size() != before+1 || (a["status"] == "whole") != x.proves {
			t.Errorf("%+v: %d recorded, %v %v", x, h.size()-before, a["status"], a["words"])
		}
		h.after(2 * time.Hour)
		s.scan(label(t, events.ScanBadge, "B-1"))
		a = s.do("result", "result", "passed", "released", "yes")
		if waits := strings.Contains(fmt.Sprint(a["words"]), "implants"); waits == x.proves || waits != (h.size() == before+1) {
			t.Errorf("%+v: released: %v %v", x, a["status"], a["words"])
		}
	}
}

// TestTestCyclesReadAtOnce: three test cycles whose indicators are said to be negative as soon as each was started
// lift no recall. They are asked about, and stay to be read.
func TestTestCyclesReadAtOnce(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.after(time.Hour)
	s := h.atSterilizer()
	s.do("indicator", "load", "S1-0304-01", "result", "positive")
	negative := func(load string) {
		s.scan(label(t, events.ScanBadge, "B-1"))
		s.do("indicator", "load", load, "result", "negative")
		s.do("known", "value", load)
	}
	severity := func() (out string) {
		for _, f := range h.verdict("VAS-003", h.trips["VAS-003"]).Findings {
			out += fmt.Sprint(f.Code, " ", f.Severity)
		}
		return out
	}
	var loads []string
	for run := 2; run < 5; run++ {
		load := fmt.Sprintf("S1-0304-%02d", run)
		loads = append(loads, load)
		h.after(12 * time.Second)
		s.do("begin", "sterilizer", "S1", "run", fmt.Sprint(run), "cycle", "c-134")
		s.do("start", "value", load)
		negative(load)
	}
	if got := severity(); got != "load-recalled doubtful" {
		t.Errorf("read seconds after they were started: %s", got)
	}
	h.after(2 * time.Hour)
	for _, load := range loads {
		negative(load)
	}
	if got := severity(); got != "load-recalled noted" {
		t.Errorf("read two hours later: %s", got)
	}
}

// TestReasonOfOneLoad: the reason for which one load is released early, typed and not sent, is not in the form of
// the next load, and one that was sent for it releases no other.
func TestReasonOfOneLoad(t *testing.T) {
	t.Parallel()
	h := newHouse(t, "VAS-003")
	h.implants("IMP-1", "IMP-2")
	s := h.atSterilizer()
	s.run("2", "IMP-1")
	s.run("3", "IMP-2")
	s.do("start", "value", "sure S1-0304-03") // the other's end is recorded later
	h.after(2 * time.Hour)
	p := browser(t).Tab(t, tablet)
	p.Open(h.at("sterilizer"))
	p.AwaitText("#bench", "S1-0304-02")
	const choose = `#bench [data-do="choose"][data-load="S1-0304-%02d"]`
	typed := func() string { return browsertest.Eval[string](p, `document.getElementById("emergency").value`) }
	p.Touch(fmt.Sprintf(choose, 2))
	p.AwaitText("section.sheet h2", "S1-0304-02")
	browsertest.Eval[bool](p, `(document.getElementById("emergency").value = "bleeds, Dr. A", true)`)
	p.Type(label(t, events.ScanBadge, "B-1") + "\r") // the page is shown anew
	p.AwaitText("#verdict", "B-1")
	settled(p)
	if got := typed(); got != "bleeds, Dr. A" {
		t.Errorf("for the same load it is gone: %q", got)
	}
	p.Touch(fmt.Sprintf(choose, 3))
	p.AwaitText("section.sheet h2", "S1-0304-03")
	settled(p)
	if got := typed(); got != "" {
		t.Errorf("the reason of load 02 is in the form of load 03: %q", got)
	}
	before := h.size()
	a := s.do("result", "load", "S1-0304-02", "result", "passed", "released", "yes", "emergency", "bleeds, Dr. A")
	if h.size() != before || !strings.Contains(fmt.Sprint(a["words"]), "That was entered for load S1-0304-02; here is S1-0304-03") {
		t.Errorf("the form of load 02, sent when 03 is in hand: %d records, %v", h.size()-before, a["words"])
	}
}

// TestCaseScannedIntoTheForm: the case of an immediate run is taken by scanning its label into the field that asks
// for it, and remembered while something else of the form is missing. A badge scanned there is a badge.
func TestCaseScannedIntoTheForm(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-0", "VAS-003")
	s := h.atSterilizer()
	ofCase := label(t, events.ScanCase, "K-0412")
	s.do("begin", "sterilizer", "S1", "run", "", "cycle", "c-134", "immediate", "fell to the floor", "for", ofCase)
	if page := h.get(s.path); !strings.Contains(page, `name="for" maxlength="64" value="K-0412"`) {
		t.Error("the case is not kept while the run is missing")
	}
	badge := label(t, events.ScanBadge, "B-7")
	a := s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134", "immediate", "fell to the floor", "for", badge)
	if !strings.Contains(fmt.Sprint(a["words"], a["aside"]), "B-7") {
		t.Errorf("a badge in the case's field: %v %v", a["words"], a["aside"])
	}
	a = s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134", "immediate", "fell to the floor", "for", ofCase)
	if !strings.Contains(fmt.Sprint(a["words"]), "S1-0304-02") {
		t.Fatalf("the case's label: %v %v", a["words"], a["aside"])
	}
	s.scan(label(t, events.ScanSet, "VAS-003"))
	s.do("start")
	h.after(15 * time.Minute)
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.do("result", "result", "passed", "released", "yes")
	err := h.site.Ask(func(m *site.View) error {
		got, err := m.Facts(t.Context(), facts.DimLoad, "S1-0304-02")
		if len(got) != 1 || got[0].Data.(*events.SetSterilized).For != "K-0412" {
			t.Errorf("recorded: %d runs", len(got))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestCycleNotAllowedIsAsked: a set that may not run the load's cycle is in the load only once a person has said so,
// and the load is not in order then.
func TestCycleNotAllowedIsAsked(t *testing.T) {
	h := newHouse(t, "VAS-003", "LAP-014")
	list := listShort()
	list.List, list.Cycles = "VAS-COLD", []string{"plasma-50"}
	h.record("north/packing-1", events.KindListIssued, "", list)
	h.record("north/packing-1", events.KindSetPacked, "VAS-007", &events.SetPacked{List: "VAS-COLD", Version: 1})
	h.record("north/packing-1", events.KindListSealed, "VAS-007", &events.ListSealed{Placement: events.Outside})
	s := h.atSterilizer()
	s.do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.scan(label(t, events.ScanSet, "LAP-014"))
	in := func() bool { return strings.Contains(h.get(s.path), `<th scope="row">VAS-007</th>`) }
	a := s.scan(label(t, events.ScanSet, "VAS-007"))
	must(t, a, "broken", "VAS-007 may not run cycle c-134", "plasma-50")
	if in() || !strings.Contains(fmt.Sprint(a["choices"]), "put") {
		t.Errorf("it is in the load: %t, asked: %v", in(), a["choices"])
	}
	if s.do("leave-out"); in() {
		t.Error("left out, it is in the load")
	}
	s.scan(label(t, events.ScanSet, "VAS-007"))
	must(t, s.do("put", "value", "VAS-007"), "broken", "VAS-007 may not run cycle c-134")
	if !in() {
		t.Error("said to be in it, it isn't")
	}
	s.do("start")
	h.after(15 * time.Minute)
	s.scan(label(t, events.ScanBadge, "B-1"))
	must(t, s.do("result", "result", "passed", "released", "yes"), "broken", "VAS-007")
}

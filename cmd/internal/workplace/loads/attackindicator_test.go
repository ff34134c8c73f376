//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections/facts"
)

// TestPositiveKnownLate: a positive indicator is not settled by the loads that ran before it was read. The cycles
// that are repeated settle it, and then a set of the positive load is still not simply in order.
func TestPositiveKnownLate(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014", "LAP-022")
	for run, set := range []string{2: "LAP-014", 3: "LAP-022", 4: "LAP-014"} {
		if set != "" {
			h.After(time.Hour)
			h.RanNegative(int64(run), set)
		}
	}
	h.After(3 * time.Hour)
	h.AtSterilizer().Do("indicator", "load", "S1-0304-01", "result", "positive")
	at := []*workplacetest.Scanner{{House: h, Path: "/at/north/storage/storage"}, {House: h, Path: "/at/north/or-3/opening"}}
	looks := func() (out []map[string]any) {
		h.After(time.Hour)
		for _, s := range at {
			s.Do("forget") // what the last look left
			s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
			s.Scan(workplacetest.Label(t, events.ScanOuter, "VAS-003"))
			out = append(out, s.Scan(h.Codes["VAS-003"]))
		}
		return out
	}
	for _, a := range looks() {
		if a["status"] != "broken" || !strings.Contains(a["words"].(string), "RECALLED") {
			t.Errorf("positive, after three loads that ran before it was read: %v %v", a["status"], a["words"])
		}
	}
	for run := range int64(3) {
		h.After(time.Hour)
		h.RanNegative(5+run, "LAP-014")
	}
	for _, a := range looks() {
		told := fmt.Sprint(a["words"], a["older"])
		if a["status"] == "whole" || a["status"] == "broken" || !strings.Contains(told, "load S1-0304-01 was read POSITIVE on ") ||
			!strings.Contains(told, "settled by S1-0304-05, S1-0304-06, S1-0304-07") {
			t.Errorf("settled by three repeated cycles: %v %v %v", a["status"], a["words"], a["older"])
		}
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
		h := workplacetest.NewHouse(t, "VAS-003")
		h.Implants("IMP-1")
		s := h.AtSterilizer()
		s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
		s.Scan(workplacetest.Label(t, events.ScanSet, "IMP-1"))
		s.Do("start")
		d, err := time.ParseDuration(x.after)
		if err != nil {
			t.Fatal(err)
		}
		h.After(d)
		before := h.Size()
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		a := s.Do("indicator", "load", "S1-0304-02", "result", "negative", "incubated", x.incubated)
		asked := strings.Contains(fmt.Sprint(a["words"]), "Is this its indicator?")
		if asked != x.asked || asked != (h.Size() == before) {
			t.Fatalf("%+v: asked %v, %d recorded: %v", x, asked, h.Size()-before, a["words"])
		}
		if asked {
			if a = s.Do("forget"); strings.Contains(fmt.Sprint(a["words"]), "indicator") || h.Size() != before {
				t.Errorf("%+v: another load's: %v", x, a["words"])
			}
			s.Do("indicator", "load", "S1-0304-02", "result", "negative", "incubated", x.incubated)
			a = s.Do("known", "value", "S1-0304-02")
		}
		if h.Size() != before+1 || (a["status"] == "whole") != x.proves {
			t.Errorf("%+v: %d recorded, %v %v", x, h.Size()-before, a["status"], a["words"])
		}
		h.After(2 * time.Hour)
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		a = s.Do("result", "result", "passed", "released", "yes")
		if waits := strings.Contains(fmt.Sprint(a["words"]), "implants"); waits == x.proves || waits != (h.Size() == before+1) {
			t.Errorf("%+v: released: %v %v", x, a["status"], a["words"])
		}
	}
}

// TestTestCyclesReadAtOnce: three test cycles whose indicators are said to be negative as soon as each was started
// lift no recall. They are asked about, and stay to be read.
func TestTestCyclesReadAtOnce(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.After(time.Hour)
	s := h.AtSterilizer()
	s.Do("indicator", "load", "S1-0304-01", "result", "positive")
	negative := func(load string) {
		s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
		s.Do("indicator", "load", load, "result", "negative")
		s.Do("known", "value", load)
	}
	severity := func() (out string) {
		for _, f := range h.Verdict("VAS-003", h.Trips["VAS-003"]).Findings {
			out += fmt.Sprint(f.Code, " ", f.Severity)
		}
		return out
	}
	var loads []string
	for run := 2; run < 5; run++ {
		load := fmt.Sprintf("S1-0304-%02d", run)
		loads = append(loads, load)
		h.After(12 * time.Second)
		s.Do("begin", "sterilizer", "S1", "run", fmt.Sprint(run), "cycle", "c-134")
		s.Do("start", "value", load)
		negative(load)
	}
	if got := severity(); got != "load-recalled doubtful" {
		t.Errorf("read seconds after they were started: %s", got)
	}
	h.After(2 * time.Hour)
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
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Implants("IMP-1", "IMP-2")
	s := h.AtSterilizer()
	s.Run("2", "IMP-1")
	s.Run("3", "IMP-2")
	s.Do("start", "value", "sure S1-0304-03") // the other's end is recorded later
	h.After(2 * time.Hour)
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.At("sterilizer"))
	p.AwaitText("#bench", "S1-0304-02")
	const choose = `#bench [data-do="choose"][data-load="S1-0304-%02d"]`
	typed := func() string { return browsertest.Eval[string](p, `document.getElementById("emergency").value`) }
	p.Touch(fmt.Sprintf(choose, 2))
	p.AwaitText("section.sheet h2", "S1-0304-02")
	browsertest.Eval[bool](p, `(document.getElementById("emergency").value = "bleeds, Dr. A", true)`)
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-1") + "\r") // the page is shown anew
	p.AwaitText("#verdict", "B-1")
	workplacetest.Settled(p)
	if got := typed(); got != "bleeds, Dr. A" {
		t.Errorf("for the same load it is gone: %q", got)
	}
	p.Touch(fmt.Sprintf(choose, 3))
	p.AwaitText("section.sheet h2", "S1-0304-03")
	workplacetest.Settled(p)
	if got := typed(); got != "" {
		t.Errorf("the reason of load 02 is in the form of load 03: %q", got)
	}
	before := h.Size()
	a := s.Do("result", "load", "S1-0304-02", "result", "passed", "released", "yes", "emergency", "bleeds, Dr. A")
	if h.Size() != before || !strings.Contains(fmt.Sprint(a["words"]), "That was entered for load S1-0304-02; here is S1-0304-03") {
		t.Errorf("the form of load 02, sent when 03 is in hand: %d records, %v", h.Size()-before, a["words"])
	}
}

// TestCaseScannedIntoTheForm: the case of an immediate run is taken by scanning its label into the field that asks
// for it, and remembered while something else of the form is missing. A badge scanned there is a badge.
func TestCaseScannedIntoTheForm(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-0", "VAS-003")
	s := h.AtSterilizer()
	ofCase := workplacetest.Label(t, events.ScanCase, "K-0412")
	s.Do("begin", "sterilizer", "S1", "run", "", "cycle", "c-134", "immediate", "fell to the floor", "for", ofCase)
	if page := h.Get(s.Path); !strings.Contains(page, `name="for" maxlength="64" value="K-0412"`) {
		t.Error("the case is not kept while the run is missing")
	}
	badge := workplacetest.Label(t, events.ScanBadge, "B-7")
	a := s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134", "immediate", "fell to the floor", "for", badge)
	if !strings.Contains(fmt.Sprint(a["words"], a["aside"]), "B-7") {
		t.Errorf("a badge in the case's field: %v %v", a["words"], a["aside"])
	}
	a = s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134", "immediate", "fell to the floor", "for", ofCase)
	if !strings.Contains(fmt.Sprint(a["words"]), "S1-0304-02") {
		t.Fatalf("the case's label: %v %v", a["words"], a["aside"])
	}
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
	s.Do("start")
	h.After(15 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Do("result", "result", "passed", "released", "yes")
	err := h.Site.Ask(func(m *site.View) error {
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
	h := workplacetest.NewHouse(t, "VAS-003", "LAP-014")
	list := workplacetest.ListShort()
	list.List, list.Cycles = "VAS-COLD", []string{"plasma-50"}
	h.Record("north/packing-1", events.KindListIssued, "", list)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-007", &events.SetPacked{List: "VAS-COLD", Version: 1})
	h.Record("north/packing-1", events.KindListSealed, "VAS-007", &events.ListSealed{Placement: events.Outside})
	s := h.AtSterilizer()
	s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
	s.Scan(workplacetest.Label(t, events.ScanSet, "LAP-014"))
	in := func() bool { return strings.Contains(h.Get(s.Path), `<th scope="row">VAS-007</th>`) }
	a := s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-007"))
	workplacetest.Must(t, a, "broken", "VAS-007 may not run cycle c-134", "plasma-50")
	if in() || !strings.Contains(fmt.Sprint(a["choices"]), "put") {
		t.Errorf("it is in the load: %t, asked: %v", in(), a["choices"])
	}
	if s.Do("leave-out"); in() {
		t.Error("left out, it is in the load")
	}
	s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-007"))
	workplacetest.Must(t, s.Do("put", "value", "VAS-007"), "broken", "VAS-007 may not run cycle c-134")
	if !in() {
		t.Error("said to be in it, it isn't")
	}
	s.Do("start")
	h.After(15 * time.Minute)
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	workplacetest.Must(t, s.Do("result", "result", "passed", "released", "yes"), "broken", "VAS-007")
}

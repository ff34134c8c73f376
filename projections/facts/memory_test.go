package facts_test

import (
	"fmt"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/facts"
)

// TestMemory: of facts that are all at hand, a sterilizer's indicators are given where one was read positive, as it was recorded or
// as it was corrected to be, and a station's where something was remarked on, now or before.
func TestMemory(t *testing.T) {
	fact := func(n int64, d events.Data) facts.Fact {
		e := &events.Event{ID: events.DerivedID(monday, events.Digest{byte(n)}), Station: "north/or-3", Subject: "S-1", Time: monday,
			StationSeq: n, Data: d}
		return facts.Fact{Seq: n, Recorded: monday.Add(time.Second), Event: e}
	}
	read := func(sterilizer, result string) events.Data {
		return &events.IndicatorRead{Load: sterilizer + "-1", Sterilizer: sterilizer, Result: result}
	}
	all := []facts.Fact{
		fact(1, read("S1", "positive")), fact(2, read("S2", "negative")), fact(3, read("S1", "negative")), fact(4, read("S3", "negative")),
	}
	corrected := fact(5, &events.EventCorrected{Event: all[3].Event.ID, Action: "replace", Reason: "typed wrong",
		Data: []byte(`{"load":"S3-1","sterilizer":"S3","result":"positive"}`)})
	all[1].Was = []facts.Was{{}}
	m := facts.NewMemory(append(all, corrected))
	for of, want := range map[facts.DimKey]int{
		{Dim: facts.DimSterilizer, Key: "S1"}: 2, {Dim: facts.DimSterilizer, Key: "S2"}: 0, {Dim: facts.DimSterilizer, Key: "S3"}: 2,
		{Dim: facts.DimStation, Key: "north/or-3"}: 1,
	} {
		if got, err := m.Facts(of.Dim, of.Key); err != nil || len(got) != want {
			t.Errorf("%v: %d facts, %v, want %d", of, len(got), err, want)
		}
	}
}

// TestRemarkedIsNewer: what was derived before a record was remarked on, or told, holds no more.
func TestRemarkedIsNewer(t *testing.T) {
	b := facts.NewBook(nil)
	e := &events.Event{ID: events.DerivedID(monday, events.Digest{1}), Station: "north/or-3", Time: monday, StationSeq: 1,
		Data: &events.SetChecked{}}
	before := b.Gen
	b.Add(facts.Fact{Seq: 1, Recorded: monday, Event: e})
	told := b.Gen
	b.Remark(facts.Fact{Seq: 1, Recorded: monday, Event: e, Remarks: events.RemarkGap})
	if before == told || told == b.Gen {
		t.Errorf("generations %d, told %d, remarked on %d", before, told, b.Gen)
	}
}

// TestUnreadableOfAStation: a record that nobody can read is its station's, where that much can be read.
func TestUnreadableOfAStation(t *testing.T) {
	b := facts.NewBook(nil)
	b.Add(facts.Fact{Seq: 1, Recorded: monday, Event: &events.Event{Station: "north/or-3"}})
	b.Add(facts.Fact{Seq: 2, Recorded: monday})
	for station, seq := range map[string]int64{"north/or-3": 1, "": 2} {
		if of := b.Remarked(station); len(of) != 1 || of[0].Seq != seq {
			t.Errorf("of %q: %v", station, of)
		}
	}
}

// TestNegativeFirstIsNotCovered: a load that was read negative before the positive one is not covered, were it the first of all.
func TestNegativeFirstIsNotCovered(t *testing.T) {
	b := &told{Book: facts.NewBook(nil)}
	for i, result := range []string{"negative", "positive"} {
		at := monday.Add(time.Duration(i) * time.Hour)
		load := fmt.Sprint("S1-", i)
		b.tell("north/ster-1", "LAP-014", "", at, &events.SetSterilized{Load: load, Sterilizer: "S1", Run: int64(i + 1), Cycle: "c-134",
			Result: "passed"})
		b.tell("north/ster-1", load, "", at.Add(3*time.Hour), &events.IndicatorRead{Load: load, Sterilizer: "S1", Result: result})
	}
	r := b.ReadLoads("S1")
	if r == nil || len(r.Loads) != 2 || !r.Loads[1].Positive {
		t.Fatalf("%+v", r)
	}
	if late := monday.Add(90 * time.Minute); r.Covers(1, 0, late) || !r.Covers(1, -1, late) {
		t.Errorf("the first: %t, one without a result after it: %t", r.Covers(1, 0, late), r.Covers(1, -1, late))
	}
}

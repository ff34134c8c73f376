package facts_test

import (
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

package judge_test

import (
	"crypto/sha256"
	"fmt"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/words"
)

// Two sets with the same list are packed; in storage the sheet of the second
// is read on the first. The second has not been read since, and nobody has
// opened it yet.
func ExampleWorld_Judge() {
	w := judge.NewWorld(nil)
	morning := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	seq := int64(0)
	tell := func(minute int, station, subject, trip string, d events.Data) {
		seq++
		at := morning.Add(time.Duration(minute) * time.Minute)
		e := &events.Event{ID: events.DerivedID(at, sha256.Sum256([]byte{byte(seq)})), Station: station,
			Subject: subject, Time: at, Trip: trip, StationSeq: seq, Data: d}
		w.Add(facts.Fact{Seq: seq, Recorded: at, Event: e})
	}

	list := &events.ListIssued{List: "LAP-MAJOR", Version: 3, Title: "Laparotomy, major",
		Lines: []events.Line{{Line: 1, Item: "FCP-125", Description: "Forceps, mosquito, curved, 12.5 cm", Quantity: 6}}}
	tell(0, "north/packing-1", "LAP-MAJOR", "", list)
	digest, _ := list.Digest()
	codes := make(map[string]string)
	trips := make(map[string]string)
	for i, set := range []string{"LAP-014", "LAP-022"} {
		trips[set] = events.DerivedID(morning, sha256.Sum256([]byte(set)))
		binding, _ := events.Binding(digest, set, trips[set])
		code, _ := events.NewSheetCode(trips[set], binding)
		codes[set] = code.String()
		tell(10+5*i, "north/packing-1", set, trips[set], &events.SetPacked{List: "LAP-MAJOR", Version: 3})
		tell(12+5*i, "north/packing-1", set, trips[set], &events.ListSealed{Placement: events.Outside,
			List: "LAP-MAJOR", Version: 3, Binding: binding.String(), Code: codes[set]})
	}
	tell(240, "north/storage", "LAP-014", trips["LAP-014"], &events.SetChecked{Place: "storage A4",
		Sheet: &events.Reading{Found: "outside", Code: codes["LAP-022"]}})

	var verdicts []projections.Verdict
	for _, k := range w.Trips() {
		v, err := w.Judge(k)
		if err != nil {
			fmt.Println(err)
			return
		}
		verdicts = append(verdicts, v)
	}
	projections.Sort(verdicts)
	for _, v := range verdicts {
		words.Embedded().Tell(&v)
		fmt.Println(v.Set, v.Status)
		for _, f := range v.Findings {
			fmt.Println(" ", f.Code, f.Severity)
			fmt.Println("  ", f.Says)
			fmt.Println("  ", f.Next)
		}
	}
	// Output:
	// LAP-014 broken
	//   sheet-swapped broken
	//    LAP-014 was found with the count sheet of LAP-022, at storage A4 on 2026-03-02 10:00 UTC. The two lists are the same word for word, so the mix-up does not show on paper. The count sheets can have been exchanged on 2026-03-02 between 06:17 and 10:00 UTC (clocks may differ by 120 s). The last place where both were seen is north/packing-1: LAP-014 on 2026-03-02 06:12 UTC, LAP-022 on 2026-03-02 06:17 UTC. If no move went unscanned and no unread set had the count sheet in between, it was between 2026-03-02 06:17 UTC and 2026-03-02 10:00 UTC, at north/packing-1.
	//    Usually both sets are kept closed, their tags and count sheets are read again side by side, and each gets its own count sheet back before use. The facility's own policy decides.
	// LAP-022 broken
	//   sheet-in-doubt broken
	//    The count sheet of LAP-022 was found on LAP-014 at storage A4 on 2026-03-02 10:00 UTC, and LAP-022 has not been read since. It probably carries the count sheet of LAP-014 now, or none, or a third set's. The two lists are the same word for word, so the mix-up does not show on paper. The tag on the tray was not read at LAP-014: if the outer labels were exchanged instead, LAP-022 has its own count sheet and a wrong outer label. The count sheets can have been exchanged on 2026-03-02 between 06:17 and 10:00 UTC (clocks may differ by 120 s). The last place where both were seen is north/packing-1: LAP-014 on 2026-03-02 06:12 UTC, LAP-022 on 2026-03-02 06:17 UTC. If no move went unscanned and no unread set had the count sheet in between, it was between 2026-03-02 06:17 UTC and 2026-03-02 10:00 UTC, at north/packing-1.
	//    Usually this set is fetched and its count sheet read before anyone opens it. The facility's own policy decides.
}

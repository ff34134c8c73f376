package events

import (
	"fmt"
	"slices"
	"testing"
)

// TestObserved: a trip that is written into a record though its observation
// named none is told from one that was named, whatever else the record says.
func TestObserved(t *testing.T) {
	north := newTestKey(t, "north/or-3", 1)
	lines := slices.Concat(stableLines(t), []string{
		`{"station":"north/or-3","kind":"set.checked","time":"2026-03-03T09:00:00.25+01:00","set":"Größe/7\"<&>","medium":"paper",` +
			`"data":{"place":"Übergabe \\ \"A4\"","tag":"LAP-014"}}`,
		`{"station":"north/or-3","kind":"set.checked","time":"2026-03-03T09:00:00Z","set":"LAP-014","data":{}}`,
		`{"station":"north/or-3","kind":"event.corrected","time":"2026-03-04T10:00:00Z","set":"LAP-014","data":{"event":"` +
			testTrip(0) + `","action":"replace","reason":"typed wrong","data":{"id":"` + testTrip(1) + `","place":"A4"}}}`,
	})
	may := []Kind{KindSetSterilized, KindSetChecked, KindSetOpened, KindSetCounted, KindEventCorrected, KindFindingAcknowledged}
	lookedUp := make(map[Kind]bool)
	for _, line := range lines {
		o, err := ParseObservation([]byte(line))
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		o.Station = north.name
		for _, named := range []string{"", testTrip(3)} {
			o.Trip = named
			e := &Event{ID: idOf(t, o), Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: testTrip(3),
				Operator: o.Operator, Medium: o.Medium, StationSeq: 1, Data: o.Data}
			if e.Subject == "" {
				e.Subject = "LAP-014" // taken from the event corrected
			}
			raw, err := Sign(e, north.signer)
			if err != nil {
				t.Fatalf("%s: %v", line, err)
			}
			read, err := ParseNote(raw)
			if err != nil {
				t.Fatal(err)
			}
			want := testTrip(3)
			if named == "" && slices.Contains(may, e.Kind()) {
				want = ""
				lookedUp[e.Kind()] = true
			}
			got := Observed(raw, read)
			if got.Trip != want || read.Trip != testTrip(3) {
				t.Errorf("%s with trip %q is read with %q, want %q", line, named, got.Trip, want)
			}
			if got.Trip = testTrip(3); fmt.Sprint(*got) != fmt.Sprint(*read) {
				t.Errorf("%s: more than the trip differs", line)
			}
			// An id that is anything else tells nothing.
			e.ID = DerivedID(e.Time, [32]byte{7})
			if raw, err = Sign(e, north.signer); err != nil {
				t.Fatal(err)
			}
			if got := Observed(raw, e); got != e {
				t.Errorf("%s: an event with an id of its own has lost its trip", line)
			}
		}
	}
	for _, k := range may {
		if !lookedUp[k] {
			t.Errorf("no %s with a trip that was looked up", k)
		}
	}
}

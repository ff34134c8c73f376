package events

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/note"
)

// commonEvents are of the shapes that the Reader takes by hand.
func commonEvents(t testing.TB) (texts [][]byte) {
	t.Helper()
	code := "106EATAZ141XQD1N2SD8B6SYSSSEDQQPH8BKARYREVWJEMJAK4E1CX"
	const trip = "019cad2b-e120-7b76-86a2-cb50b367d9ce"
	for i, d := range []Data{
		&SetPacked{List: "LAP", Version: 3, WeightGrams: 8400, Note: "rush"},
		&SetPacked{List: "LAP", Version: 3},
		&ListSealed{Placement: Outside, List: "LAP", Version: 3, Seals: []string{"1", "2"}, BagLot: "L-9", Code: code},
		&SetSterilized{Load: "S1-1", Sterilizer: "S1", Run: 12, Cycle: "dynamic-air-132", Result: "passed", Released: true},
		&SetSterilized{Load: "S1-1", Sterilizer: "S1", Run: 12, Cycle: "dynamic-air-132", Result: "failed"},
		&SetChecked{Place: "A4", Tag: "LAP-014", OuterLabel: "LAP-014", SealBroken: true, Sheet: &Reading{Found: "outside", Unreadable: true}},
		&SetChecked{},
		&SetOpened{Case: "K-1", Room: "OR 3", Tag: "LAP-014", OuterLabel: "LAP-014", Seals: []string{"1"}, Indicator: "pass", Sheet: &Reading{Found: "outside", Code: code}},
		&SetCounted{Case: "K-1", Stage: StageFirst, Sheet: code, Counter: "B-1", Witness: "B-2", Counts: []Count{{1, 5}, {2, 0}}},
		&SetCounted{Case: "K-1", Stage: StageFinal, Sheet: SheetScreen, Counter: "B-1", Counts: []Count{}},
	} {
		at := testTime
		e := &Event{ID: DerivedID(at, Digest{byte(i)}), Station: "north/or-1", Subject: "LAP-014", Time: at, Trip: trip, StationSeq: int64(i + 1), Data: d}
		if i%2 == 1 {
			e.Operator, e.StationPrev = "B-1", NoteHash([]byte("x"))
		}
		text, err := Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, text)
	}
	return texts
}

// TestReaderTakesTheCommonShape: a Reader that sent everything to the library
// would pass every comparison.
func TestReaderTakesTheCommonShape(t *testing.T) {
	for _, text := range commonEvents(t) {
		e := NewReader().event(text)
		if e == nil {
			t.Errorf("not taken by hand: %s", text)
			continue
		}
		want, err := Decode(text)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, e); d != "" {
			t.Errorf("%s", d)
		}
	}
}

// FuzzReader: whatever a Reader takes by hand, the library reads alike.
func FuzzReader(f *testing.F) {
	seeds := commonEvents(f)
	if len(seeds) == 0 {
		f.Fatal("no seeds")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Add([]byte(`{"data":{"tag":"a","tag":"b"},"id":"x","source":"//n/s","specversion":"1.0","stationseq":1,"subject":"s","time":"2026-02-30T06:11:00Z","type":"listbound.set.checked.v1"}`))
	f.Add([]byte(`{"data":{"run":007},"id":"x","source":"//n/s","specversion":"1.0","stationseq":1,"subject":"s","time":"2026-02-28T24:11:00Z","type":"listbound.set.sterilized.v1"}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		e := NewReader().event(text)
		if e == nil {
			return
		}
		want, err := Decode(text)
		if err != nil {
			t.Fatalf("taken by hand, refused by the library: %v: %s", err, text)
		}
		if d := cmp.Diff(want, e); d != "" {
			t.Fatalf("%s\n%s", text, d)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	var notes [][]byte
	for _, text := range commonEvents(b) {
		n, err := note.Sign(&note.Note{Text: string(text) + "\n"}, newTestKey(b, "north/or-1", 7).signer)
		if err != nil {
			b.Fatal(err)
		}
		notes = append(notes, n)
	}
	b.Run("by-hand", func(b *testing.B) {
		r := NewReader()
		for i := 0; b.Loop(); i++ {
			if p := r.Parse(notes[i%len(notes)]); p.Err != nil {
				b.Fatal(p.Err)
			}
		}
	})
	b.Run("library", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			if p := Parse(notes[i%len(notes)]); p.Err != nil {
				b.Fatal(p.Err)
			}
		}
	})
}

// TestBindingIsTheCanonicalText: the way without the library gives its digest.
func TestBindingIsTheCanonicalText(t *testing.T) {
	for _, set := range []string{"LAP-014", "", "A/B~{}<>&'", `quo"te`, `back\slash`, "Ärzte-1", "tab\t"} {
		got, err := Binding(Digest{1, 2, 3}, set, "019cad2b-e120-7b76-86a2-cb50b367d9ce")
		if err != nil {
			t.Fatal(err)
		}
		want, err := digest(bindingDomain, map[string]string{"list": Digest{1, 2, 3}.String(), "set": set, "trip": "019cad2b-e120-7b76-86a2-cb50b367d9ce"})
		if err != nil {
			t.Fatal(err)
		}
		if got != want {
			t.Errorf("set %q: %s, want %s", set, got, want)
		}
	}
}

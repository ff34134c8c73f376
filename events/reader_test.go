package events

import (
	"bytes"
	"crypto/sha256"
	"slices"
	"strings"
	"testing"
	"unsafe"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"
)

// commonEvents are of the shapes that nearly all records have.
func commonEvents(t testing.TB) (texts [][]byte) {
	t.Helper()
	code := "106EATAZ141XQD1N2SD8B6SYSSSEDQQPH8BKARYREVWJEMJAK4E1CX"
	const trip = "019cad2b-e120-7b76-86a2-cb50b367d9ce"
	for i, d := range []Data{
		&SetPacked{List: "LAP", Version: 3, WeightGrams: 8400, Note: "rush"},
		&SetPacked{List: "LAP", Version: 3},
		&ListSealed{Placement: Outside, List: "LAP", Version: 3, Seals: []string{"1", "2"}, BagLot: "L-9", Code: code},
		&SetSterilized{
			Load: "S1-1", Sterilizer: "S1", Run: 12, Cycle: "dynamic-air-132", Result: "passed", Released: true,
		},
		&SetSterilized{Load: "S1-1", Sterilizer: "S1", Run: 12, Cycle: "dynamic-air-132", Result: "failed"},
		&SetChecked{
			Place: "A4", Tag: "LAP-014", OuterLabel: "LAP-014", SealBroken: true,
			Sheet: &Reading{Found: "outside", Unreadable: true},
		},
		&SetChecked{},
		&SetOpened{
			Case: "K-1", Room: "OR 3", Tag: "LAP-014", OuterLabel: "LAP-014", Seals: []string{"1"}, Indicator: "pass",
			Sheet: &Reading{Found: "outside", Code: code},
		},
		&SetCounted{Case: "K-1", Stage: StageFirst, Sheet: code, Counter: "B-1", Witness: "B-2",
			Counts: []Count{{1, 5}, {2, 0}, {61, 1}}, Beyond: []Beyond{{Line: 61, Item: "", Description: "Clamp", Added: 1}}},
		&SetCounted{Case: "K-1", Stage: StageFinal, Sheet: SheetScreen, Counter: "B-1", Counts: []Count{}},
	} {
		at := testTime
		e := &Event{
			ID: DerivedID(at, Digest{byte(i)}), Station: "north/or-1", Subject: "LAP-014", Time: at, Trip: trip,
			StationSeq: int64(i + 1), Data: d,
		}
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

// TestReaderTakesTheCommonShape: a Reader that left everything to Decode would
// pass every comparison.
func TestReaderTakesTheCommonShape(t *testing.T) {
	for _, text := range commonEvents(t) {
		e := NewReader().event(text)
		if e == nil {
			t.Errorf("left to Decode: %s", text)
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

// TestReaderReadsEveryKind: a Reader reads events of all kinds as Decode does.
// It leaves to it only what is escaped, and two rare kinds.
func TestReaderReadsEveryKind(t *testing.T) {
	left := map[Kind]bool{KindPolicyAdopted: true, KindEventCorrected: true}
	r := NewReader()
	for _, k := range Kinds() {
		t.Run(string(k), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				e := testEvent(drawData(t, k), "north/packing-1", rapid.Int64Range(1, 1<<31-1).Draw(t, "seq"),
					rapid.SampledFrom([]string{"", NoteHash(nil)}).Draw(t, "prev"), testTime)
				e.Trip = rapid.SampledFrom([]string{"", testTrip(1)}).Draw(t, "trip")
				text, err := Encode(e)
				if err != nil {
					t.Fatal(err)
				}
				want, err := Decode(text)
				if err != nil {
					t.Fatal(err)
				}
				got := r.event(text)
				if got == nil {
					if !left[k] && !bytes.Contains(text, []byte(`\`)) {
						t.Fatalf("left to Decode: %s", text)
					}
					return
				}
				if d := cmp.Diff(want, got); d != "" {
					t.Fatalf("%s\n%s", text, d)
				}
			})
		})
	}
}

// TestReaderLeavesToDecode: what is not canonical, or not an event, is Decode's
// to read or to refuse.
func TestReaderLeavesToDecode(t *testing.T) {
	const data = `"data":{"case":"K-1","counter":"B-1","counts":[{"counted":5,"line":1},{"counted":0,"line":2}],` +
		`"sheet":"screen","stage":"first"}`
	const text = `{` + data + `,"id":"019cad2b-e120-7af9-9dc9-f06d116b7d76","source":"//north/or-1",` +
		`"specversion":"1.0","stationseq":1,"subject":"LAP-014","time":"2026-03-02T06:11:00Z",` +
		`"type":"listbound.set.counted.v1"}`
	if NewReader().event([]byte(text)) == nil {
		t.Fatalf("left to Decode: %s", text)
	}
	for _, tt := range []struct{ name, old, new string }{
		{"a member out of order", `"case":"K-1","counter":"B-1"`, `"counter":"B-1","case":"K-1"`},
		{"a member twice", `"case":"K-1"`, `"case":"K-1","case":"K-2"`},
		{"a member in capitals", `"case"`, `"Case"`},
		{"a member added later", `"sheet"`, `"lamp":"blue","sheet"`},
		{"a member added later, at the end", `"stage":"first"`, `"stage":"first","theatre":"3"`},
		{"an attribute added later", `,"type"`, `,"zone":"1","type"`},
		{"the type twice", `"type":`, `"type":"x","type":`},
		{"a comma at the start", `{"case"`, `{,"case"`},
		{"no comma", `"K-1","counter"`, `"K-1""counter"`},
		{"a blank", `"case":`, `"case": `},
		{"null for a text", `"K-1"`, `null`},
		{"null for a list", `[{"counted":5,"line":1},{"counted":0,"line":2}]`, `null`},
		{"a list with a comma at the start", `[{"counted":5`, `[,{"counted":5`},
		{"a list with a comma at the end", `"line":2}]`, `"line":2},]`},
		{"a list without a comma", `},{`, `}{`},
		{"a list without an end", `"line":2}],`, `"line":2},`},
		{"a leading zero", `"line":1`, `"line":01`},
		{"two zeros", `"line":1`, `"line":00`},
		{"no digit", `"line":1`, `"line":`},
		{"sixteen digits", `"line":1`, `"line":1000000000000001`},
		{"more than an int64", `"line":1`, `"line":99999999999999999999`},
		{"below nothing", `"line":1`, `"line":-1`},
		{"a fraction", `"line":1`, `"line":1.0`},
		{"an exponent", `"line":1`, `"line":1e0`},
		{"a text for a number", `"line":1`, `"line":"1"`},
		{"an escape", `K-1`, `K\u002d1`},
		{"a control character", `K-1`, "K\x1f1"},
		{"broken UTF-8", `K-1`, "K\xff1"},
		{"another version of the envelope", `"specversion":"1.0"`, `"specversion":"0.3"`},
		{"another source", `"//north`, `"http://north`},
		{"a day that is none", `03-02T`, `02-30T`},
		{"another version of the kind", `counted.v1"`, `counted.v2"`},
		{"an unknown kind", `set.counted`, `set.polished`},
		{"no type", `,"type":"listbound.set.counted.v1"`, ``},
		{"something behind it", `v1"}`, `v1"} `},
		{"no end", `v1"}`, `v1"`},
		{"nothing", text, ``},
		{"no data", `{` + data + `,"id"`, `{"id"`},
	} {
		changed := strings.Replace(text, tt.old, tt.new, 1)
		if changed == text {
			t.Fatalf("%s: %s is not in the text", tt.name, tt.old)
		}
		if e := NewReader().event([]byte(changed)); e != nil {
			t.Errorf("%s: read as %+v %+v", tt.name, e, e.Data)
		}
		n := []byte(changed + "\n\n— x y\n")
		got, want := NewReader().Parse(n), Parse(n)
		if d := cmp.Diff(want, got, cmp.Comparer(sameError), cmpopts.IgnoreUnexported(Parsed{})); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
	// What is read all the same.
	for _, tt := range []struct{ name, old, new string }{
		{"fifteen digits", `"line":1`, `"line":999999999999999`},
		{"characters beyond ASCII", `K-1`, "Käse-\x7f\U0001f602"},
		{"an empty list", `[{"counted":5,"line":1},{"counted":0,"line":2}]`, `[]`},
		{"an empty object", data, `"data":{}`},
		{"a time with a zone and a fraction", `06:11:00Z`, `06:11:00.5+02:00`},
	} {
		changed := []byte(strings.Replace(text, tt.old, tt.new, 1))
		want, err := Decode(changed)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, NewReader().event(changed)); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
	for _, n := range []string{"no record", text + "\n\n— x y\n"} {
		got, want := NewReader().Parse([]byte(n)), Parse([]byte(n))
		if d := cmp.Diff(want, got, cmp.Comparer(sameError),
			cmpopts.IgnoreUnexported(Parsed{})); d != "" || want.Hash != sha256.Sum256([]byte(n)) {
			t.Errorf("%s: %s", n, d)
		}
	}
}

// TestReaderOfHalves: of whatever a text still has behind its first part and in
// front of its last, a Reader reads what Decode reads, or leaves it.
func TestReaderOfHalves(t *testing.T) {
	for _, text := range commonEvents(t) {
		for from := range text {
			tail := bytes.LastIndexByte(text, ',')
			for _, changed := range [][]byte{
				append(bytes.Clone(text[:from]), text[tail:]...), append(bytes.Clone(text[:from]), text[tail+1:]...), text[from:],
			} {
				e := NewReader().event(slices.Clip(changed))
				if e == nil {
					continue
				}
				if want, err := Decode(changed); err != nil || !cmp.Equal(want, e) {
					t.Errorf("%s: read as %+v, want %+v, %v", changed, e, want, err)
				}
			}
		}
	}
}

func sameError(a, b error) bool {
	return (a == nil) == (b == nil) && (a == nil || a.Error() == b.Error())
}

// TestReaderKeepsOneCopy: strings that come again are held once, those that
// don't are not held at all.
func TestReaderKeepsOneCopy(t *testing.T) {
	r := NewReader()
	var subjects []*byte
	for i := range 2 {
		seal := &ListSealed{Placement: Outside, Binding: Digest{byte(i)}.String(), ListDigest: Digest{7}.String()}
		text, err := Encode(testEvent(seal, "north/packing-1", int64(i+1), Digest{byte(i + 3)}.String(), testTime))
		if err != nil {
			t.Fatal(err)
		}
		p := r.Parse(append(text, "\n\n— x y\n"...))
		if p.Err != nil || r.event(text) == nil {
			t.Fatalf("%s: %v", text, p.Err)
		}
		subjects = append(subjects, unsafe.StringData(p.Event.Subject))
		for _, once := range []string{p.Event.ID, p.Event.StationPrev, seal.Binding, "2026-03-02T06:11:00Z"} {
			if _, ok := r.cursor.interned[once]; ok {
				t.Errorf("%s is kept", once)
			}
		}
		if _, ok := r.cursor.interned[seal.ListDigest]; !ok {
			t.Error("the list digest is not kept")
		}
	}
	if subjects[0] != subjects[1] {
		t.Error("the subject is held twice")
	}
}

// FuzzReader: what a Reader reads, Decode reads alike.
func FuzzReader(f *testing.F) {
	seeds := commonEvents(f)
	if len(seeds) == 0 {
		f.Fatal("no seeds")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	const rest = `,"id":"x","source":"//n/s","specversion":"1.0","stationseq":1,"subject":"s",` +
		`"time":"2026-02-28T06:11:00Z"`
	f.Add([]byte(`{"data":{"tag":"a","tag":"b"}` + rest + `,"type":"listbound.set.checked.v1"}`))
	f.Add([]byte(`{"data":{"run":007}` + rest + `,"type":"listbound.set.sterilized.v1"}`))
	f.Add([]byte(`{"data":{"actions":["",":"],"case":"K"}` + rest + `,"type":"listbound.case.closed.v1"}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		e := NewReader().event(text)
		if e == nil {
			return
		}
		want, err := Decode(text)
		if err != nil {
			t.Fatalf("read, but refused by Decode: %v: %s", err, text)
		}
		if d := cmp.Diff(want, e); d != "" {
			t.Fatalf("%s\n%s", text, d)
		}
		if c, err := Canonical(text); err != nil || !bytes.Equal(c, text) {
			t.Fatalf("read, but not canonical: %v: %s", err, text)
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
	b.Run("reader", func(b *testing.B) {
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

package events

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"
)

// readVectors reads a file of testdata/events and fails where it is empty.
func readVectors[T any](t testing.TB, name string) []T {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "testdata", "events", name))
	if err != nil {
		t.Fatal(err)
	}
	var out []T
	if err := json.Unmarshal(raw, &out); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(out) == 0 {
		t.Fatalf("%s holds no vectors", name)
	}
	return out
}

// testKey is a note key made from a seed of one repeated byte. The key texts
// are put together here, not by the note package, so that tests that sign with
// the one and verify with the other hold the format too.
type testKey struct {
	name     string
	private  ed25519.PrivateKey
	id       [4]byte
	signer   note.Signer
	verifier note.Verifier
	vkey     string
}

func newTestKey(t testing.TB, name string, seed byte) testKey {
	t.Helper()
	k := testKey{name: name}
	s := make([]byte, ed25519.SeedSize)
	for i := range s {
		s[i] = seed
	}
	k.private = ed25519.NewKeyFromSeed(s)
	pub := append([]byte{1}, k.private.Public().(ed25519.PublicKey)...)
	h := sha256.Sum256(append([]byte(name+"\n"), pub...))
	copy(k.id[:], h[:4])
	id := binary.BigEndian.Uint32(h[:])
	b64 := base64.StdEncoding.EncodeToString
	k.vkey = fmt.Sprintf("%s+%08x+%s", name, id, b64(pub))
	var err error
	if k.signer, err = note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, id, b64(append([]byte{1}, s...)))); err != nil {
		t.Fatal(err)
	}
	if k.verifier, err = note.NewVerifier(k.vkey); err != nil {
		t.Fatal(err)
	}
	return k
}

var testTime = time.Date(2026, 3, 2, 6, 11, 0, 0, time.UTC)

// testTrip is a trip started at a minute after testTime.
func testTrip(minute int) string {
	return DerivedID(testTime.Add(time.Duration(minute)*time.Minute), sha256.Sum256([]byte{byte(minute)}))
}

func testCode(t testing.TB) SheetCode {
	t.Helper()
	b, err := Binding(Digest{1, 2, 3}, "LAP-014", testTrip(0))
	if err != nil {
		t.Fatal(err)
	}
	c, err := NewSheetCode(testTrip(0), b)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// testEvent is a valid event of any data.
func testEvent(d Data, station string, seq int64, prev string, at time.Time) *Event {
	e := &Event{
		Station: station, Subject: "LAP-014", Time: at, Operator: "B-1182", StationSeq: seq, StationPrev: prev, Data: d,
	}
	if s := subjectOf(d, station); s != "" {
		e.Subject = s
	}
	e.ID = DerivedID(at, sha256.Sum256(fmt.Appendf(nil, "%s %d", station, seq)))
	return e
}

// drawData draws valid data of a kind.
func drawData(t *rapid.T, k Kind) Data {
	id := func(what string) string { return rapid.StringMatching(`[A-Z]{2,4}-[0-9]{1,4}`).Draw(t, what) }
	maybe := func(what string) string { return rapid.SampledFrom([]string{"", id(what)}).Draw(t, what) }
	text := func(what string) string {
		return rapid.StringOfN(rapid.RuneFrom([]rune("aZ09 äßéłЖ中😂דּ<>&\"\\/'\u00a0\u0301")), 1, 30, -1).Draw(t, what) + "x"
	}
	free := func(what string) string { return rapid.SampledFrom([]string{"", text(what)}).Draw(t, what) }
	n := func(what string, lo, hi int64) int64 { return rapid.Int64Range(lo, hi).Draw(t, what) }
	flag := func(what string) bool { return rapid.Bool().Draw(t, what) }
	seals := func() []string { return rapid.SliceOfN(rapid.StringMatching(`[0-9]{6}`), 0, 3).Draw(t, "seals") }
	code := func() string {
		c := SheetCode{Trip: testTrip(int(n("trip", 0, 50)))}
		copy(c.Binding[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "binding"))
		return c.String()
	}
	reading := func() *Reading {
		switch n("reading", 0, 3) {
		case 0:
			return nil
		case 1:
			return &Reading{Found: FoundNone}
		case 2:
			return &Reading{Found: string(Outside), Unreadable: true}
		}
		return &Reading{Found: string(InsideBag), Code: code()}
	}
	lines := func(f func(line int64)) {
		for i := range n("lines", 0, 4) {
			f(i + 1)
		}
	}
	switch k {
	case KindSetPacked:
		d := &SetPacked{List: id("list"), Version: n("version", 1, 50), WeightGrams: n("weight", 0, maxGrams), Note: free("note"), SecondLook: maybe("second look")}
		lines(func(l int64) {
			d.Exceptions = append(d.Exceptions, Exception{l, n("counted", 0, maxCount), text("reason")})
		})
		return d
	case KindListSealed:
		d := &ListSealed{Placement: rapid.SampledFrom([]Placement{InsideBag, InsideBare, Outside, Screen}).Draw(t, "placement"), Seals: seals(), BagLot: maybe("lot")}
		if flag("whole") {
			d.List, d.Version, d.ListDigest, d.Binding, d.Code = id("list"), n("version", 1, 50), Digest{1}.String(), Digest{0xab}.String(), code()
		}
		return d
	case KindSetSterilized:
		return &SetSterilized{Load: id("load"), Sterilizer: id("sterilizer"), Run: n("run", 1, 9999), Cycle: id("cycle"),
			Result: rapid.SampledFrom([]string{"passed", "failed"}).Draw(t, "result"), Released: flag("released")}
	case KindSetOpened:
		return &SetOpened{Case: id("case"), Room: free("room"), Tag: maybe("tag"), OuterLabel: maybe("label"), Sheet: reading(), Seals: seals(),
			SealBroken: flag("broken"), Indicator: rapid.SampledFrom([]string{"", "pass", "fail"}).Draw(t, "indicator")}
	case KindSetCounted:
		d := &SetCounted{Case: id("case"), Stage: rapid.SampledFrom([]Stage{StageFirst, StageAdded, StageCavity, StageClosing, StageFinal, StageRelief}).Draw(t, "stage"),
			Sheet: rapid.SampledFrom([]string{SheetScreen, code()}).Draw(t, "sheet"), Counter: id("counter"), Witness: maybe("witness"), Counts: []Count{}}
		lines(func(l int64) { d.Counts = append(d.Counts, Count{l, n("counted", 0, maxCount)}) })
		lines(func(l int64) { d.Removed = append(d.Removed, Removed{l, n("quantity", 1, maxCount), text("reason")}) })
		return d
	case KindCaseClosed:
		d := &CaseClosed{Case: id("case"), Outcome: rapid.SampledFrom([]string{"reconciled", "unreconciled"}).Draw(t, "outcome"), Actions: []string{}, Reason: free("reason"), Witness: maybe("witness")}
		lines(func(int64) { d.Actions = append(d.Actions, text("action")) })
		return d
	case KindListIssued:
		d := &ListIssued{List: id("list"), Version: n("version", 1, 50), Title: text("title"), Lines: []Line{{99, "ITEM", "at least one line", 1}}}
		lines(func(l int64) {
			d.Lines = append(d.Lines, Line{l, id("item"), text("description"), n("quantity", 0, maxCount)})
		})
		lines(func(int64) { d.Cycles = append(d.Cycles, id("cycle")) })
		return d
	case KindSetChecked:
		return &SetChecked{Place: free("place"), Tag: maybe("tag"), OuterLabel: maybe("label"), Sheet: reading(), Seals: seals(), SealBroken: flag("broken")}
	case KindIndicatorRead:
		return &IndicatorRead{Load: id("load"), Sterilizer: id("sterilizer"), Result: rapid.SampledFrom([]string{"negative", "positive"}).Draw(t, "result")}
	case KindPolicyAdopted:
		d := &PolicyAdopted{Policy: DefaultPolicy(), Reason: free("reason")}
		d.TwoPersons, d.WeightLimitGrams = flag("two"), n("weight", 0, maxGrams)
		d.Links = rapid.Permutation(d.Links).Draw(t, "links")[:n("links", 0, 6)]
		lines(func(int64) { d.SecondLook = append(d.SecondLook, id("list")) })
		d.Recall = rapid.SampledFrom([]Recall{RecallAll, RecallRepeat}).Draw(t, "recall")
		return d
	case KindStationEnrolled:
		name := rapid.StringMatching(`[a-z][a-z0-9-]{0,9}/[a-z][a-z0-9-]{0,9}`).Draw(t, "station")
		key, err := note.NewEd25519VerifierKey(name, ed25519.PublicKey(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "key")))
		if err != nil {
			t.Fatal(err)
		}
		return &StationEnrolled{Station: name, Key: key, Reason: free("reason")}
	case KindStationRetired:
		return &StationRetired{Station: "north/packing-1", Reason: text("reason")}
	case KindFindingAcknowledged:
		return &FindingAcknowledged{Code: id("code"), Reason: text("reason")}
	case KindEventCorrected:
		d := &EventCorrected{Event: testTrip(3), Action: "void", Reason: text("reason")}
		if flag("replace") {
			d.Action = "replace"
			raw, err := json.Marshal(map[string]any{"z": n("z", 0, 9), "a": text("a")})
			if err != nil {
				t.Fatal(err)
			}
			if d.Data, err = Canonical(raw); err != nil {
				t.Fatal(err)
			}
		}
		return d
	}
	t.Fatalf("no data is drawn for kind %q", k)
	return nil
}

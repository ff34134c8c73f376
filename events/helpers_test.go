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
	if k.signer,
		err = note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, id, b64(append([]byte{1}, s...)))); err != nil {
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
	d := drawer{t}
	draw, ok := map[Kind]func() Data{
		KindSetPacked: d.packed, KindListSealed: d.sealed, KindSetSterilized: d.sterilized, KindSetOpened: d.opened,
		KindSetCounted: d.counted, KindCaseClosed: d.closed, KindListIssued: d.issued, KindSetChecked: d.checked,
		KindIndicatorRead: d.indicator, KindPolicyAdopted: d.policy, KindStationEnrolled: d.enrolled,
		KindStationRetired: d.retired, KindFindingAcknowledged: d.acknowledged, KindEventCorrected: d.corrected,
	}[k]
	if !ok {
		t.Fatalf("no data is drawn for kind %q", k)
	}
	return draw()
}

// drawer draws members of data. Each is named, so that a failure can be read.
type drawer struct{ t *rapid.T }

func (d drawer) id(what string) string {
	return rapid.StringMatching(`[A-Z]{2,4}-[0-9]{1,4}`).Draw(d.t, what)
}

func (d drawer) maybeID(what string) string { return d.oneOf(what, "", d.id(what)) }

func (d drawer) text(what string) string {
	const runes = "aZ09 äßéłЖ中😂דּ<>&\"\\/'\u00a0\u0301"
	return rapid.StringOfN(rapid.RuneFrom([]rune(runes)), 1, 30, -1).Draw(d.t, what) + "x"
}

func (d drawer) maybeText(what string) string { return d.oneOf(what, "", d.text(what)) }

func (d drawer) oneOf(what string, of ...string) string { return rapid.SampledFrom(of).Draw(d.t, what) }

func (d drawer) number(what string, lo, hi int64) int64 {
	return rapid.Int64Range(lo, hi).Draw(d.t, what)
}

func (d drawer) flag(what string) bool { return rapid.Bool().Draw(d.t, what) }

func (d drawer) seals() []string {
	return rapid.SliceOfN(rapid.StringMatching(`[0-9]{6}`), 0, 3).Draw(d.t, "seals")
}

func (d drawer) code() string {
	c := SheetCode{Trip: testTrip(int(d.number("trip", 0, 50)))}
	copy(c.Binding[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(d.t, "binding"))
	return c.String()
}

func (d drawer) reading() *Reading {
	switch d.number("reading", 0, 3) {
	case 0:
		return nil
	case 1:
		return &Reading{Found: FoundNone}
	case 2:
		return &Reading{Found: string(Outside), Unreadable: true}
	}
	return &Reading{Found: string(InsideBag), Code: d.code()}
}

// lines calls a function for each of up to four lines.
func (d drawer) lines(each func(line int64)) {
	for i := range d.number("lines", 0, 4) {
		each(i + 1)
	}
}

func (d drawer) packed() Data {
	p := &SetPacked{
		List: d.id("list"), Version: d.number("version", 1, 50), WeightGrams: d.number("weight", 0, maxGrams),
		Note: d.maybeText("note"), SecondLook: d.maybeID("second look"),
	}
	d.lines(func(l int64) {
		p.Exceptions = append(p.Exceptions, Exception{l, d.number("counted", 0, maxCount), d.text("reason")})
	})
	return p
}

func (d drawer) sealed() Data {
	s := &ListSealed{
		Placement: rapid.SampledFrom(placements).Draw(d.t, "placement"), Seals: d.seals(), BagLot: d.maybeID("lot"),
	}
	if d.flag("whole") {
		s.List, s.Version, s.ListDigest = d.id("list"), d.number("version", 1, 50), Digest{1}.String()
		s.Binding, s.Code = Digest{0xab}.String(), d.code()
	}
	return s
}

func (d drawer) sterilized() Data {
	return &SetSterilized{
		Load: d.id("load"), Sterilizer: d.id("sterilizer"), Run: d.number("run", 1, 9999), Cycle: d.id("cycle"),
		Result: d.oneOf("result", "passed", "failed"), Released: d.flag("released"),
	}
}

func (d drawer) opened() Data {
	return &SetOpened{
		Case: d.id("case"), Room: d.maybeText("room"), Tag: d.maybeID("tag"), OuterLabel: d.maybeID("label"),
		Sheet: d.reading(), Seals: d.seals(), SealBroken: d.flag("broken"),
		Indicator: d.oneOf("indicator", "", "pass", "fail"),
	}
}

func (d drawer) counted() Data {
	c := &SetCounted{
		Case: d.id("case"), Stage: rapid.SampledFrom(stages).Draw(d.t, "stage"),
		Sheet: d.oneOf("sheet", SheetScreen, d.code()), Counter: d.id("counter"), Witness: d.maybeID("witness"),
		Counts: []Count{},
	}
	d.lines(func(l int64) { c.Counts = append(c.Counts, Count{l, d.number("counted", 0, maxCount)}) })
	d.lines(func(l int64) {
		c.Removed = append(c.Removed, Removed{l, d.number("quantity", 1, maxCount), d.text("reason")})
	})
	return c
}

func (d drawer) closed() Data {
	c := &CaseClosed{
		Case: d.id("case"), Outcome: d.oneOf("outcome", "reconciled", "unreconciled"), Actions: []string{},
		Reason: d.maybeText("reason"), Witness: d.maybeID("witness"),
	}
	d.lines(func(int64) { c.Actions = append(c.Actions, d.text("action")) })
	return c
}

func (d drawer) issued() Data {
	l := &ListIssued{
		List: d.id("list"), Version: d.number("version", 1, 50), Title: d.text("title"),
		Lines: []Line{{99, "ITEM", "at least one line", 1}},
	}
	d.lines(func(n int64) {
		l.Lines = append(l.Lines, Line{n, d.id("item"), d.text("description"), d.number("quantity", 0, maxCount)})
	})
	d.lines(func(int64) { l.Cycles = append(l.Cycles, d.id("cycle")) })
	return l
}

func (d drawer) checked() Data {
	return &SetChecked{
		Place: d.maybeText("place"), Tag: d.maybeID("tag"), OuterLabel: d.maybeID("label"), Sheet: d.reading(),
		Seals: d.seals(), SealBroken: d.flag("broken"),
	}
}

func (d drawer) indicator() Data {
	return &IndicatorRead{
		Load: d.id("load"), Sterilizer: d.id("sterilizer"), Result: d.oneOf("result", "negative", "positive"),
	}
}

func (d drawer) policy() Data {
	p := &PolicyAdopted{Policy: DefaultPolicy(), Reason: d.maybeText("reason")}
	p.TwoPersons, p.WeightLimitGrams = d.flag("two"), d.number("weight", 0, maxGrams)
	p.Links = rapid.Permutation(p.Links).Draw(d.t, "links")[:d.number("links", 0, 6)]
	d.lines(func(int64) { p.SecondLook = append(p.SecondLook, d.id("list")) })
	p.BadgeMinutes = rapid.Int64Range(0, 60).Draw(d.t, "badgeMinutes")
	if rapid.Bool().Draw(d.t, "has cycles") {
		p.Cycles = []string{"c-134", "c-121"}
	}
	if rapid.Bool().Draw(d.t, "has codes") {
		p.Codes = []CodePattern{{Kind: rapid.SampledFrom(patternKinds()).Draw(d.t, "code kind"), Like: "K-9999"}}
	}
	p.Recall = rapid.SampledFrom([]Recall{RecallAll, RecallRepeat}).Draw(d.t, "recall")
	return p
}

func (d drawer) enrolled() Data {
	name := rapid.StringMatching(`[a-z][a-z0-9-]{0,9}/[a-z][a-z0-9-]{0,9}`).Draw(d.t, "station")
	public := ed25519.PublicKey(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(d.t, "key"))
	key, err := note.NewEd25519VerifierKey(name, public)
	if err != nil {
		d.t.Fatal(err)
	}
	return &StationEnrolled{Station: name, Key: key, Reason: d.maybeText("reason")}
}

func (d drawer) retired() Data {
	return &StationRetired{Station: "north/packing-1", Reason: d.text("reason")}
}

func (d drawer) acknowledged() Data {
	return &FindingAcknowledged{Code: d.id("code"), Reason: d.text("reason")}
}

func (d drawer) corrected() Data {
	c := &EventCorrected{Event: testTrip(3), Action: "void", Reason: d.text("reason")}
	if d.flag("replace") {
		c.Action = "replace"
		raw, err := json.Marshal(map[string]any{"z": d.number("z", 0, 9), "a": d.text("a")})
		if err != nil {
			d.t.Fatal(err)
		}
		if c.Data, err = Canonical(raw); err != nil {
			d.t.Fatal(err)
		}
	}
	return c
}

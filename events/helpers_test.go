package events

import (
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
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

// drawData draws valid data of a kind, member by member. A member that drawn
// does not name is an id, which passes for a text, or a small number.
func drawData(t *rapid.T, k Kind) Data {
	return drawer{t: t}.data(k)
}

// wholeData is valid data of every kind in which every member is there.
func wholeData() []Data {
	var out []Data
	for _, k := range Kinds() {
		out = append(out, rapid.Custom(func(t *rapid.T) Data { return drawer{t: t, whole: true}.data(k) }).Example(1))
	}
	return out
}

// drawer draws members of data. Each is named, so that a failure can be read.
type drawer struct {
	t     *rapid.T
	whole bool // nothing is left out, and no number is 0
}

func (d drawer) data(k Kind) Data {
	data := k.newData()
	v := reflect.ValueOf(data).Elem()
	v.Set(d.value(v.Type(), v.Type().Name()))
	if c, ok := data.(*SetCounted); ok {
		nameCounted(c)
	}
	if c, ok := data.(*SetCounted); ok && c.Paper != nil {
		c.Paper.Asked, c.Paper.Typed = nil, len(c.Paper.Pages) == 0
		for _, x := range c.Counts[:min(len(c.Counts), 1)] {
			c.Paper.Asked = append(c.Paper.Asked, x.Line)
		}
	}
	if p, ok := data.(*PieceReported); ok && p.Line == 0 && p.Item == "" {
		p.Line = 1 // one of the two says which piece is meant
	}
	if in, ok := data.(*IncidentHandled); ok && !d.whole && (in.Outcome == "" || len(in.Covers) == 0) {
		in.Step, in.Outcome, in.Covers = IncidentNoted, "", nil
	}
	if l, ok := data.(*RunLogged); ok {
		d.wholeRun(l)
	}
	if x, ok := data.(*SterilizerTested); ok {
		x.Reason = cmp.Or(x.Reason, "no pack")
		if d.whole {
			x.Test = LeakTest
		}
		if x.Test != LeakTest {
			x.RatePascal, x.LimitPascal = 0, 0
		} else {
			x.LimitPascal = max(x.LimitPascal, 1)
		}
	}
	if l, ok := data.(*ListIssued); ok {
		l.sortGoods()
	}
	if err := data.Check(); err != nil {
		d.t.Fatalf("%T was drawn as %+v: %v; say in drawn (helpers_test.go) what that member is drawn from", data, data, err)
	}
	return data
}

// sortGoods gives the lines of a list of goods a sort and a pack, and takes the sort from those of any other.
func (l *ListIssued) sortGoods() {
	for i := range l.Lines {
		if x := &l.Lines[i]; l.Goods {
			x.Quantity, x.Sort = max(x.Quantity, 1), cmp.Or(x.Sort, Sponges)
		} else {
			x.Sort = ""
		}
	}
}

// wholeRun gives a run what is there together or not at all.
func (d drawer) wholeRun(l *RunLogged) {
	if l.Log = ""; l.Read != nil {
		l.Log = Digest{2}.String()
		if l.Read.PressureUnit != "" {
			l.Read.Pressure = "p"
		}
	}
	if f := &l.Figures; f.MinPascal == 0 || f.MaxPascal == 0 || f.SteamLowMilliK == 0 || f.SteamHighMilliK == 0 {
		f.MinPascal, f.MaxPascal, f.SteamLowMilliK, f.SteamHighMilliK = 0, 0, 0, 0
	}
}

// nameCounted leaves no name for a line that was not counted, and lets nothing be
// said twice to have been added.
func nameCounted(c *SetCounted) {
	c.Beyond = c.Beyond[:min(len(c.Beyond), len(c.Counts))]
	if c.Goods != "" { // of which each line is named
		c.Counts = c.Counts[:len(c.Beyond)]
	}
	if len(c.Beyond) == 0 {
		c.Beyond = nil
	}
	for i := range c.Beyond {
		if c.Stage == StageAdded {
			c.Beyond[i].Added = 0
		}
	}
}

// drawn draws what has a rule of its own, by the name of a type, of a member of
// any struct, or of a member of one struct; nil: there is no such rule.
func (d drawer) drawn(name string) any {
	switch name {
	case "Placement":
		return rapid.SampledFrom(placements).Draw(d.t, "placement")
	case "Sort":
		return rapid.SampledFrom(Sorts()).Draw(d.t, "sort")
	case "Stage":
		if d.whole {
			return StageFinal // which may say what was added
		}
		return rapid.SampledFrom(stages).Draw(d.t, "stage")
	case "Aside":
		if d.whole {
			return AsideReleased // with the reason that it needs
		}
		return AsidePut
	case "PlacementsAssessed.Placements":
		return drawSome(d, placements)
	case "CaseScheduled.State":
		return rapid.SampledFrom([]ScheduleState{ScheduleBooked, ScheduleChanged, ScheduleCancelled}).Draw(d.t, "state")
	case "CaseScheduled.Start", "CaseScheduled.Said":
		return testTime.Format(time.RFC3339)
	case "WantedList.Sets":
		return d.number("sets", 1, MaxWanted)
	case "PlacementsAssessed.Document":
		return d.text("document")
	case "TextsRedacted.Marks":
		marks := []string{Mark("one"), Mark("two"), Mark("three")}
		slices.Sort(marks)
		return marks[:d.number("marks", 1, 3)]
	case "SetChecked.Package", "SetOpened.Package":
		return rapid.Permutation(packageFaults).Draw(d.t, "package")[:d.number("faults", 1, 3)]
	case "ReturnStep":
		return rapid.SampledFrom(append(ReturnSteps(), LoanSteps()...)).Draw(d.t, "step")
	case "SetReturned.Treated":
		return d.oneOf("treated", "yes", "no")
	case "SetReturned.Faults":
		return rapid.Permutation(returnFaults).Draw(d.t, "faults")[:d.number("faults", 1, 3)]
	case "SetReturned.Basket":
		return d.text("basket")
	case "Became":
		return rapid.SampledFrom(becames).Draw(d.t, "became")
	case "PieceReported.Line":
		return d.number("line", 1, maxCount)
	case "Reading":
		return d.reading()
	case "Reason", "Emergency", "Immediate", "Description", "Title", "Note", "Room", "Place", "Actions[]":
		return d.text(name)
	case "Counted":
		return d.number("counted", 0, maxCount)
	case "Quantity":
		return d.number("quantity", 1, maxCount)
	case "WeightGrams":
		return d.number("weight", 0, maxGrams)
	case "IncidentStep":
		return IncidentClosed // which may say all that there is
	case "IncidentOutcome":
		return rapid.SampledFrom(IncidentOutcomes()).Draw(d.t, "outcome")
	case "IncidentHandled.Due":
		return testTime.Format(time.RFC3339)
	case "IncidentHandled.Text":
		return d.text("text")
	case "IncidentHandled.Covers":
		return []string{"7K3F9Q2B1X", "ZZZZZZZZZZ"}[:d.number("covers", 1, 2)]
	case "CaseClosed.Outcome":
		return d.oneOf("outcome", "reconciled", "unreconciled")
	case "EventCorrected":
		return d.corrected()
	case "IndicatorRead.Control", "IndicatorRead.Result":
		return d.oneOf(name, "negative", "positive")
	case "Line.Photograph":
		return Digest{7}.String()
	case "Line.Quantity":
		return d.number("quantity", 0, maxCount)
	case "ListIssued.Lines":
		return d.slice(reflect.TypeFor[[]Line](), "lines", 1, 4).Interface()
	case "ListSealed.Binding":
		return Digest{0xab}.String()
	case "ListSealed.Code":
		return d.code()
	case "ListSealed.ListDigest", "RecordsLost.Root", "RecordsMapped.Root":
		return Digest{1}.String()
	case "PolicyAdopted.Policy":
		return d.policy()
	case "SetCounted.Sheet":
		if d.whole {
			return SheetUnreadable // with the text that no other has
		}
		return d.oneOf("sheet", SheetScreen, d.code())
	case "SetCounted.SheetText":
		if d.whole {
			return "106EATAZ"
		}
		return ""
	case "SetOpened.Indicator":
		return d.oneOf("indicator", "pass", "fail", "none")
	case "FromPaper.Pages":
		pages := []PaperPage{
			{Page: 1, Of: 2, Picture: Digest{3}.String(), Marks: "tea", Kept: Digest{4}.String()},
			{Page: 2, Of: 2, Picture: Digest{5}.String(), Marks: "t", Kept: Digest{6}.String()},
		}
		return pages[:d.number("pages", 1, 2)]
	case "SterilizerTested.Day", "SetSterilized.Day":
		return "2026-03-04"
	case "DayTest":
		return rapid.SampledFrom(dayTests).Draw(d.t, "test")
	case "SterilizerTested.Result":
		return d.oneOf("result", testResults...)
	case "SetSterilized.Parameters":
		return ParametersMet
	case "SetSterilized.Result":
		return d.oneOf("result", "passed", "failed")
	case "SetReturned.Due", "SetSterilized.Started", "IndicatorRead.Started", "StationRetired.AsOf", "RunLogged.Started", "RunLogged.Ended":
		return testTime.Format(time.RFC3339)
	case "RunCycle.HighMilliC":
		return d.number("high", 51, 60)
	case "RunFigures.MaxMilliC", "RunFigures.MaxPascal", "RunFigures.SteamHighMilliK":
		return d.number("high", 51, 60)
	case "RunFigures.MinPascal", "RunFigures.SteamLowMilliK":
		return int64(50)
	case "RunTrouble":
		return rapid.SampledFrom(runTroubles).Draw(d.t, "trouble")
	case "RunReading.Temperatures":
		return []string{d.text("temperature")}
	case "RunReading.TemperatureUnit":
		return d.oneOf("unit", temperatureUnits...)
	case "RunReading.PressureUnit":
		return d.oneOf("unit", pressureUnits...)
	case "RunReading.Pressure":
		return ""
	case "RunReading.BarometerPascal":
		return d.number("barometer", 50_000, 110_000)
	case "KeyReplaced":
		name := LedgerName(rapid.StringMatching(`[a-z][a-z0-9-]{0,9}`).Draw(d.t, "site"))
		r := KeyReplaced{Former: d.key(name), Reason: d.text("reason")}
		for r.Key = r.Former; r.Key == r.Former; {
			r.Key = d.key(name)
		}
		return r
	case "StationEnrolled":
		return d.enrolled()
	case "StationRetired.Station", "StationEntered.Name":
		return "north/packing-1"
	case "Held.From":
		return testTime.Format(time.RFC3339)
	case "Held.Until":
		return testTime.AddDate(1, 0, 0).Format(time.RFC3339)
	case "PlaceEntered.Place":
		return d.id("place")
	case "PersonEntered.Roles":
		return drawSome(d, roles)
	case "StationEntered.Works":
		return drawSome(d, works)
	case "RegistersAdopted.Registers":
		return drawSome(d, registers)
	case "SetEntered.Tags":
		return []string{"set-7", "980001234567890123"}
	case "SterilizerEntered.Cycles":
		return []string{"c-134", "c-121"}
	}
	return nil
}

// drawSome draws some of the words that there are, each once.
func drawSome[T any](d drawer, of []T) []T {
	return rapid.Permutation(of).Draw(d.t, "words")[:d.number("words", 1, int64(len(of)))]
}

// value draws a value of a type, which name says more about: the name of a
// struct, of a member after its struct's, or of a member's elements.
func (d drawer) value(typ reflect.Type, name string) reflect.Value {
	_, member, _ := strings.Cut(name, ".")
	for _, n := range []string{name, member, typ.Name()} {
		if x := d.drawn(n); x != nil {
			return reflect.ValueOf(x)
		}
	}
	v := reflect.New(typ).Elem()
	switch typ.Kind() {
	case reflect.Struct:
		d.members(v)
	case reflect.Pointer:
		v.Set(reflect.New(typ.Elem()))
		v.Elem().Set(d.value(typ.Elem(), name))
	case reflect.Slice:
		return d.slice(typ, name, 0, 4)
	case reflect.String:
		v.SetString(d.id(name))
	case reflect.Int64:
		v.SetInt(d.number(name, 1, 50))
	case reflect.Bool:
		v.SetBool(d.flag(name))
	default:
		d.t.Fatalf("%s is a %s: say in drawn (helpers_test.go) how it is drawn", name, typ)
	}
	return v
}

// members draws the members of a struct. What may be left out sometimes is.
func (d drawer) members(v reflect.Value) {
	for i := range v.NumField() {
		f := v.Type().Field(i)
		name := v.Type().Name() + "." + f.Name
		optional := strings.Contains(f.Tag.Get("json"), ",omit")
		if optional && !d.flag("has "+name) {
			continue
		}
		x := d.value(f.Type, name)
		if optional && x.Kind() == reflect.Slice && x.Len() == 0 {
			continue // as it is when it has been read
		}
		v.Field(i).Set(x)
	}
}

// slice draws a slice, whose lines are numbered from 1.
func (d drawer) slice(typ reflect.Type, name string, least, most int64) reflect.Value {
	v := reflect.MakeSlice(typ, int(d.number("length of "+name, least, most)), int(most))
	for i := range v.Len() {
		x := v.Index(i)
		if x.Kind() != reflect.Struct {
			x.Set(d.value(x.Type(), name+"[]"))
			continue
		}
		d.members(x)
		if line := x.FieldByName("Line"); line.IsValid() {
			line.SetInt(int64(i + 1))
		}
	}
	return v
}

func (d drawer) id(what string) string {
	return rapid.StringMatching(`[A-Z]{2,4}-[0-9]{1,4}`).Draw(d.t, what)
}

func (d drawer) text(what string) string {
	const runes = "aZ09 äßéłЖ中😂דּ<>&\"\\/'\u00a0\u0301"
	return rapid.StringOfN(rapid.RuneFrom([]rune(runes)), 1, 30, -1).Draw(d.t, what) + "x"
}

func (d drawer) oneOf(what string, of ...string) string { return rapid.SampledFrom(of).Draw(d.t, what) }

func (d drawer) number(what string, lo, hi int64) int64 {
	if d.whole {
		lo = max(lo, 1)
	}
	return rapid.Int64Range(lo, hi).Draw(d.t, what)
}

func (d drawer) flag(what string) bool { return rapid.Bool().Draw(d.t, what) || d.whole }

func (d drawer) code() string {
	c := SheetCode{Trip: testTrip(int(d.number("trip", 0, 50)))}
	copy(c.Binding[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(d.t, "binding"))
	return c.String()
}

func (d drawer) reading() Reading {
	switch {
	case d.flag("has code"):
		r := Reading{Found: string(InsideBag), Code: d.code()}
		if d.flag("has pages") {
			r.Pages, r.Of = []int64{1, 3}, d.number("of", 3, maxPages)
		}
		return r
	case d.flag("is unreadable"):
		r := Reading{Found: string(Outside), Unreadable: true}
		if d.flag("has text") {
			r.Text = "106EATAZ"
		}
		return r
	}
	return Reading{Found: FoundNone}
}

func (d drawer) policy() Policy {
	p := DefaultPolicy()
	p.TwoPersons, p.WeightLimitGrams = d.flag("two"), d.number("weight", 0, maxGrams)
	p.Links = rapid.Permutation(p.Links).Draw(d.t, "links")[:d.number("links", 0, 6)]
	for range d.number("second looks", 0, 4) {
		p.SecondLook = append(p.SecondLook, d.id("list"))
	}
	if d.flag("asks for the tag") {
		p.TagAtOpening = Asked(d.oneOf("tagAtOpening", string(Required), string(Optional)))
	}
	for name, line := range map[string]*Asked{"indicatorAtOpening": &p.IndicatorAtOpening, "implantIndicator": &p.ImplantIndicator,
		"quarantine": &p.Quarantine, "soundPackage": &p.SoundPackage, "sheetScan": &p.SheetScan} {
		*line = Asked(d.oneOf(name, string(Required), string(Optional)))
	}
	p.ReleaseAsks = append([]ReleaseAsk(nil), releaseAsks[:d.number("asked at release", 0, int64(len(releaseAsks)))]...) // nil for none
	p.DayTests = append([]DayTest(nil), dayTests[:d.number("tests of a day", 0, int64(len(dayTests)))]...)
	p.ShelfLifeDays = d.number("shelfLifeDays", 0, 3650)
	p.ReadingMinutes = d.number("readingMinutes", 0, 24*60)
	p.AllPages, p.HideExpected = d.flag("all pages"), d.flag("hide")
	p.KeepPictures = d.flag("keep pictures")
	p.WayBack = append([]ReturnStep(nil), returnSteps[:d.number("steps of the way back", 0, int64(len(returnSteps)))]...) // nil for none
	p.PINAtStations = d.flag("pin at stations")
	for _, line := range p.Waits.lines() {
		*line = d.number("hours", 0, WaitsForever)
	}
	p.BadgeMinutes = d.number("badgeMinutes", 0, 60)
	p.MendMinutes = d.number("mendMinutes", 0, 60)
	if d.flag("has cycles") {
		p.Cycles = []string{"c-134", "c-121"}
	}
	if d.flag("has codes") {
		p.Codes = []CodePattern{{Kind: rapid.SampledFrom(patternKinds()).Draw(d.t, "code kind"), Like: "K-9999"}}
	}
	p.Recall = rapid.SampledFrom([]Recall{RecallAll, RecallRepeat}).Draw(d.t, "recall")
	if d.flag("has placements") {
		p.Placements, p.PlacedOtherwise = []Placement{InsideBag, Screen}, []string{d.id("list")}
	}
	return p
}

func (d drawer) key(name string) string {
	public := ed25519.PublicKey(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(d.t, "key"))
	key, err := note.NewEd25519VerifierKey(name, public)
	if err != nil {
		d.t.Fatal(err)
	}
	return key
}

func (d drawer) enrolled() StationEnrolled {
	name := rapid.StringMatching(`[a-z][a-z0-9-]{0,9}/[a-z][a-z0-9-]{0,9}`).Draw(d.t, "station")
	e := StationEnrolled{Station: name, Key: d.key(name)}
	if d.flag("has reason") {
		e.Reason = d.text("reason")
	}
	return e
}

func (d drawer) corrected() EventCorrected {
	c := EventCorrected{Event: testTrip(3), Action: "void", Reason: d.text("reason")}
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

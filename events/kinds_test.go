package events

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// kindWant is what was decided about each kind that ledgers have held for years:
// their rows never change. A new kind needs no row here.
var kindWant = map[Kind]KindInfo{
	KindSetPacked: {Subject: SubjectSet, By: ByStation, Link: true, Keys: []Key{KeyList},
		Roles: []Role{"records"}, Work: "packing"},
	KindListSealed: {Subject: SubjectSet, By: ByStation, Link: true, Keys: []Key{},
		Roles: []Role{"records"}, Work: "packing"},
	KindSetSterilized: {Subject: SubjectSet, By: ByStation, Link: true, Keys: []Key{KeyLoad, KeySterilizer},
		Roles: []Role{"records"}, Work: "sterilizer"},
	KindSetOpened: {Subject: SubjectSet, By: ByStation, Link: true, Keys: []Key{KeyCase, KeySheet},
		Roles: []Role{"records"}, Work: "operating-room"},
	KindSetCounted: {Subject: SubjectSet, By: ByStation, Link: true, Keys: []Key{KeyCase, KeySheet},
		Roles: []Role{"records"}, Work: "operating-room"},
	KindCaseClosed: {Subject: SubjectCase, By: ByStation, Link: true, Keys: []Key{KeyCase},
		Roles: []Role{"records"}, Work: "operating-room"},
	KindListIssued: {Subject: SubjectList, By: ByStation, Keys: []Key{KeyList},
		Roles: []Role{"leads"}},
	KindSetChecked: {Subject: SubjectSet, By: ByStation, Keys: []Key{KeySheet},
		Roles: []Role{"records"}},
	KindSterilizerTested: {Subject: SubjectSterilizer, By: ByStation, Keys: []Key{KeySterilizer},
		Roles: []Role{RoleRecords}, Work: WorkSterilizer},
	KindIndicatorRead: {Subject: SubjectLoad, By: ByStation, Keys: []Key{KeyLoad, KeySterilizer},
		Roles: []Role{"records"}, Work: "sterilizer"},
	KindPolicyAdopted:       {Subject: SubjectSite, By: ByEither, Keys: []Key{}, Roles: []Role{"leads"}},
	KindStationEnrolled:     {Subject: SubjectStation, By: ByLedger, Keys: []Key{KeyStation}, Roles: []Role{}},
	KindStationRetired:      {Subject: SubjectStation, By: ByLedger, Keys: []Key{KeyStation}, Roles: []Role{}},
	KindFindingAcknowledged: {Subject: SubjectSet, By: ByStation, Keys: []Key{}, Roles: []Role{"leads"}},
	KindIncidentHandled:     {Subject: SubjectSet, By: ByStation, Keys: []Key{}, Roles: []Role{"leads"}},
	KindEventCorrected: {Subject: SubjectEvent, By: ByEither, Keys: []Key{KeyEvent},
		Roles: []Role{"records", "leads"}},
}

// declaredKinds reads the constants of type Kind from the source, so that one
// without a row in the table is found.
func declaredKinds(t *testing.T) map[string]Kind {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "data.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	kinds := make(map[string]Kind)
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		if typ, ok := spec.Type.(*ast.Ident); !ok || typ.Name != "Kind" {
			return true
		}
		name, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
		if err != nil {
			t.Fatal(err)
		}
		kinds[spec.Names[0].Name] = Kind(name)
		return true
	})
	return kinds
}

// TestKindTable: every kind that is declared has one row with every column
// filled, and the rows of the first kinds say what was decided.
func TestKindTable(t *testing.T) {
	declared := declaredKinds(t)
	if len(declared) < len(kindWant) || len(declared) != len(kindTable) {
		t.Errorf("data.go declares %d kinds and has %d in the table of kinds", len(declared), len(kindTable))
	}
	for name, k := range declared {
		got, ok := k.Info()
		if !ok {
			t.Errorf("%s (%s) has no row in the table of kinds (data.go)", name, k)
			continue
		}
		if got.Kind != k || got.New == nil || got.Subject == "" || got.By == "" || got.Keys == nil || got.Roles == nil {
			t.Errorf("%s: a column is missing in the table of kinds (data.go): %+v", k, got)
			continue
		}
		if d := got.New(); d.Kind() != k || d.Keys() != (Keys{}) {
			t.Errorf("%s is decoded into a %T", k, d)
		}
	}
	for k, want := range kindWant {
		got, _ := k.Info()
		want.Kind, want.New, got.New, got.Example = k, nil, nil, "" // of examples see TestExampleOfEachKind
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, want %+v", k, got, want)
		}
	}
}

// TestHoldsTrip: what is about a set, and a correction, belongs to the trip it names.
func TestHoldsTrip(t *testing.T) {
	for k := range kindWant {
		want := slices.Contains([]Kind{
			KindSetPacked, KindListSealed, KindSetSterilized, KindSetOpened, KindSetCounted, KindSetChecked,
			KindFindingAcknowledged, KindIncidentHandled, KindEventCorrected,
		}, k)
		if got := k.HoldsTrip(); got != want {
			t.Errorf("%s holds a trip: %v, want %v", k, got, want)
		}
	}
}

// TestEveryKind records an observation of every kind and finds name, decoding,
// subject and keys to agree with the table.
func TestEveryKind(t *testing.T) {
	for _, k := range Kinds() {
		t.Run(string(k), func(t *testing.T) {
			info, ok := k.Info()
			if !ok {
				t.Fatal("no row in the table of kinds")
			}
			found := make(map[Key]bool)
			rapid.Check(t, func(t *rapid.T) {
				d := drawData(t, k)
				o := &Observation{Station: "north/packing-1", Kind: k, Time: testTime, Trip: testTrip(1), Data: d}
				if k.AboutSet() || k.Subject() == SubjectEvent {
					o.Set = "LAP-014"
				}
				e := recordObservation(t, o)
				text, err := Encode(e)
				if err != nil {
					t.Fatal(err)
				}
				back, err := Decode(text)
				if err != nil {
					t.Fatal(err)
				}
				if back.Kind() != k || back.Type() != "listbound."+string(k)+".v1" || kindOfType(back.Type()) != k {
					t.Fatalf("recorded as %s, of type %s", back.Kind(), back.Type())
				}
				if got, want := reflect.TypeOf(back.Data), reflect.TypeOf(info.New()); got != want {
					t.Fatalf("decoded into %v, want %v", got, want)
				}
				if back.Data.Keys() != d.Keys() {
					t.Fatalf("keys %q, recorded with %q", back.Data.Keys(), d.Keys())
				}
				for key, name := range d.Keys() {
					found[Key(key)] = found[Key(key)] || name != ""
				}
				checkSubject(t, back)
			})
			for key := range keyCount {
				if found[key] != slices.Contains(info.Keys, key) || found[key] != k.HasKey(key) {
					t.Errorf("key %d: found %v, the table says %v", key, found[key], info.Keys)
				}
			}
		})
	}
}

// recordObservation makes an event of an observation.
func recordObservation(t *rapid.T, o *Observation) *Event {
	id, err := o.ID()
	if err != nil {
		t.Fatal(err)
	}
	return &Event{
		ID: id, Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, StationSeq: 1, Data: o.Data,
	}
}

// checkSubject holds an event's subject against what its kind is about.
func checkSubject(t *rapid.T, e *Event) {
	want := map[SubjectKind]string{
		SubjectSet: "LAP-014", SubjectEvent: "LAP-014", SubjectSite: "north", SubjectCase: CaseOf(e.Data),
		SubjectLoad: LoadOf(e.Data), SubjectSterilizer: SterilizerOf(e.Data), SubjectList: ListOf(e.Data),
		SubjectStation: e.Data.Keys()[KeyStation], SubjectEntry: EntryOf(e.Data),
	}[e.Kind().Subject()]
	if want == "" || e.Subject != want {
		t.Fatalf("the subject is %q, want the %s %q", e.Subject, e.Kind().Subject(), want)
	}
	other := *e
	other.Subject = "ANOTHER"
	switch err := other.Check(); e.Kind().Subject() {
	case SubjectSet, SubjectEvent: // named by the envelope alone
		if err != nil {
			t.Fatal(err)
		}
	default:
		if err == nil {
			t.Fatalf("a %s about %s passes for one about %s", e.Kind(), e.Subject, other.Subject)
		}
	}
}

// TestKindOrder: a policy names links by these words, and DefaultPolicy asks
// for all of them in this order.
func TestKindOrder(t *testing.T) {
	links := []Kind{"set.packed", "list.sealed", "set.sterilized", "set.opened", "set.counted", "case.closed"}
	if got := KindsWhere(Kind.IsLink); !slices.Equal(got, links) {
		t.Errorf("links %q, want %q", got, links)
	}
	if got := Kinds()[:6]; !slices.Equal(got, links) {
		t.Errorf("the first kinds are %q, want the links", got)
	}
	if got := DefaultPolicy().Links; !slices.Equal(got, links) {
		t.Errorf("the default policy's links are %q, want %q", got, links)
	}
	info, _ := KindSetOpened.Info()
	info.Keys[0] = KeyLoad
	if !KindSetOpened.HasKey(KeyCase) {
		t.Error("who changes what Info returns changes the table")
	}
}

// TestUnknownKind: what this program doesn't know may be a link of a trip, and
// is nothing else.
func TestUnknownKind(t *testing.T) {
	for _, k := range []Kind{"", "set.polished"} {
		_, ok := k.Info()
		if ok || k.Known() || !k.HoldsTrip() || k.AboutSet() || k.IsLink() || k.Subject() != "" || k.HasKey(KeyCase) ||
			k.RecordedBy("north/or-3") || k.RecordedBy("north/ledger") || k.newData() != nil {
			t.Errorf("%q is taken for a kind known here", k)
		}
	}
	d := &Unknown{Type: "listbound.set.polished.v1"}
	if d.Keys() != (Keys{}) || subjectOf(d, "north/or-3") != "" {
		t.Error("an unknown event has a subject or keys")
	}
	if CaseOf(nil) != "" || SheetCodeOf(nil) != "" {
		t.Error("no data has keys")
	}
}

func TestRecordedBy(t *testing.T) {
	for k, want := range map[Kind]struct{ station, ledger bool }{
		KindSetPacked: {true, false}, KindStationEnrolled: {false, true}, KindStationRetired: {false, true},
		KindPolicyAdopted: {true, true}, KindEventCorrected: {true, true},
	} {
		if got := k.RecordedBy("north/or-3"); got != want.station {
			t.Errorf("%s by a station: %v", k, got)
		}
		if got := k.RecordedBy(LedgerName("north")); got != want.ledger {
			t.Errorf("%s by the ledger: %v", k, got)
		}
	}
}

func TestKeysOfData(t *testing.T) {
	code := testCode(t).String()
	if k := (&SetReturned{WasherLoad: "W2-0304-03"}).Keys(); k[KeyWash] != "W2-0304-03" || k[KeyLoad] != "" {
		t.Errorf("a washer's load is no sterilizer's: %q", k)
	}
	for _, tt := range []struct {
		data                                Data
		caseRef, load, sterilizer, list, sc string
	}{
		{&SetOpened{Case: "K-1", Sheet: &Reading{Found: "outside", Code: code}}, "K-1", "", "", "", code},
		{&SetOpened{Case: "K-1"}, "K-1", "", "", "", ""},
		{&SetChecked{Sheet: &Reading{Found: "outside", Code: code}}, "", "", "", "", code},
		{&SetCounted{Case: "K-1", Sheet: code}, "K-1", "", "", "", code},
		{&SetCounted{Case: "K-1", Sheet: SheetScreen}, "K-1", "", "", "", ""},
		{&SetCounted{Case: "K-1", Sheet: SheetUnreadable}, "K-1", "", "", "", ""},
		{&CaseClosed{Case: "K-1"}, "K-1", "", "", "", ""},
		{&SetSterilized{Load: "S1-1", Sterilizer: "S1"}, "", "S1-1", "S1", "", ""},
		{&IndicatorRead{Load: "S1-1", Sterilizer: "S1"}, "", "S1-1", "S1", "", ""},
		{&SetPacked{List: "LAP"}, "", "", "", "LAP", ""},
		{&ListIssued{List: "LAP"}, "", "", "", "LAP", ""},
		{&ListSealed{List: "LAP", Code: code}, "", "", "", "", ""},
	} {
		if CaseOf(tt.data) != tt.caseRef || LoadOf(tt.data) != tt.load || SterilizerOf(tt.data) != tt.sterilizer ||
			ListOf(tt.data) != tt.list || SheetCodeOf(tt.data) != tt.sc {
			t.Errorf("%s %+v: keys %q", tt.data.Kind(), tt.data, tt.data.Keys())
		}
	}
	if got := (&EventCorrected{Event: "x"}).Keys()[KeyEvent]; got != "x" {
		t.Errorf("the event corrected is %q", got)
	}
}

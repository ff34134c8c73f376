package events

import (
	"bytes"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/events/keytable"
)

// auditCase keeps a ledger of notes and audits each as it comes.
type auditCase struct {
	t      *testing.T
	audit  *Audit
	ahead  *Audit // the same, which reads ahead
	ledger testKey
	seq    int64
	last   Checked
	seqs   map[string]int64  // last number by station
	hashes map[string]string // of its last note
}

func newAuditCase(t *testing.T) *auditCase {
	k := newTestKey(t, LedgerName("north"), 1)
	a, ahead := NewAudit(k.verifier, 2*time.Minute), NewAudit(k.verifier, 2*time.Minute)
	a.Signatures, a.Canonical = true, true
	ahead.Verifier, ahead.VerifyAll = keytable.NewVerifier, keytable.VerifyAll
	return &auditCase{t: t, audit: a, ahead: ahead, ledger: k, seqs: map[string]int64{}, hashes: map[string]string{}}
}

// check audits a note recorded at a time, by minutes after testTime.
func (c *auditCase) check(n []byte, minute int, arrival Remark) (Remark, []string) {
	c.t.Helper()
	c.seq++
	p := Parse(n)
	at := testTime.Add(time.Duration(minute) * time.Minute)
	c.ahead.Signatures, c.ahead.Canonical, c.ahead.Excerpt = c.audit.Signatures, c.audit.Canonical, c.audit.Excerpt
	got := c.audit.Check(c.seq, p, at, arrival)
	c.last = got
	if again := c.ahead.Check(c.seq, c.ahead.Parse(n), at, arrival); !reflect.DeepEqual(again, got) {
		c.t.Errorf("record %d: %+v, and read ahead %+v", c.seq, got, again)
	}
	another := slices.ContainsFunc(got.Words(), func(w string) bool {
		return strings.Contains(w, "not enrolled") || strings.Contains(w, "signed by") || strings.Contains(w, "did not verify")
	})
	if p.Event != nil && !another { // what another signed is not the station's
		c.seqs[p.Event.Station], c.hashes[p.Event.Station] = p.Event.StationSeq, NoteHash(n)
	}
	return got.Remark, got.Words()
}

// next is the note of the next record of a key's station.
func (c *auditCase) next(k testKey, d Data, minute int, change func(*Event)) []byte {
	c.t.Helper()
	e := testEvent(d, k.name, c.seqs[k.name]+1, c.hashes[k.name], testTime.Add(time.Duration(minute)*time.Minute))
	if change != nil {
		change(e)
	}
	return sign(c.t, e, k)
}

func (c *auditCase) good(k testKey, d Data, minute int) {
	c.t.Helper()
	if r, words := c.check(c.next(k, d, minute, nil), minute, 0); r != 0 {
		c.t.Fatalf("record %d: %s: %v", c.seq, r, words)
	}
}

func (c *auditCase) bad(n []byte, minute int, arrival, want Remark, words ...string) {
	c.t.Helper()
	r, got := c.check(n, minute, arrival)
	if r != want || !slices.Equal(got, words) {
		c.t.Errorf("record %d: %q %q, want %q %q", c.seq, r, got, want, words)
	}
}

func enrol(k testKey) Data { return &StationEnrolled{Station: k.name, Key: k.vkey} }

func TestAuditEnrolAndRetire(t *testing.T) {
	c := newAuditCase(t)
	k, later := newTestKey(t, "north/packing-1", 2), newTestKey(t, "north/packing-1", 3)
	packed := &SetPacked{List: "LAP-MAJOR", Version: 3}
	c.bad(c.next(k, packed, 0, nil), 0, 0, RemarkSignature, "north/packing-1 is not enrolled")
	c.good(c.ledger, enrol(k), 1)
	c.good(k, packed, 2)
	c.bad(c.next(later, packed, 3, nil), 3, 0, RemarkSignature, "not signed by the key of north/packing-1")
	c.good(k, packed, 4)
	c.good(c.ledger, &StationRetired{Station: k.name, Reason: "tablet lost"}, 5)
	if st := c.audit.Station(k.name); st.Retired != 6 {
		t.Errorf("retired by record %d", st.Retired)
	}
	c.bad(c.next(k, packed, 6, nil), 6, 0, RemarkRetired,
		"observed when this key of north/packing-1 was no longer in force (record 6)")
	c.good(c.ledger, enrol(later), 7)
	c.good(later, packed, 8)
	afterNew := c.hashes[k.name]
	c.bad(c.next(k, packed, 9, nil), 9, 0, RemarkRetired|RemarkGap,
		"observed when this key of north/packing-1 was no longer in force (record 6)",
		"north/packing-1 numbered this record 5; its last one here was 4")
	st := c.audit.Station(k.name)
	// The old key's last record is none that the new one goes on from.
	if st == nil || st.Key != later.vkey || st.Enrolled != 8 || st.Retired != 0 || st.Last != 10 || st.Count != 4 ||
		st.Hash != afterNew {
		t.Errorf("station %+v", st)
	}
	if c.audit.Station("north/or-3") != nil || len(c.audit.Stations()) != 2 {
		t.Errorf("stations %+v", c.audit.Stations())
	}
	c.good(c.ledger, &StationRetired{Station: "north/nobody", Reason: "was never there"}, 10)
}

// TestAuditChangedNote: of a station's own key the signature is verified, of a note whose text or signature was changed it
// is bad, and the next good one goes on from the one before.
func TestAuditChangedNote(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	c.good(k, &SetPacked{List: "LAP-MAJOR", Version: 3}, 1)
	n := c.next(k, &SetPacked{List: "LAP-MAJOR", Version: 3}, 2, nil)
	c.bad(bytes.Replace(n, []byte(`"version":3`), []byte(`"version":4`), 1), 2, 0, RemarkSignature,
		"not signed by the key of north/packing-1")
	end := len(n) - len("xx==\n")
	turned := bytes.Clone(n)
	if turned[end-8]++; turned[end-8] == n[end-8] || !bytes.HasSuffix(n, []byte("\n")) {
		t.Fatal("nothing changed")
	}
	c.bad(turned, 2, 0, RemarkSignature, "not signed by the key of north/packing-1")
	c.good(k, &SetPacked{List: "LAP-MAJOR", Version: 3}, 3)
}

// TestAuditImpersonation: nobody but the ledger's key enrols or retires.
func TestAuditImpersonation(t *testing.T) {
	c := newAuditCase(t)
	k, other, thief := newTestKey(t, "north/packing-1", 2), newTestKey(t, "north/or-3", 3),
		newTestKey(t, LedgerName("north"), 4)
	c.good(c.ledger, enrol(k), 0)
	c.bad(c.next(k, enrol(other), 1, nil), 1, 0, RemarkSignature,
		"an enrolment counts only with the ledger's own signature")
	c.bad(c.next(k, &StationRetired{Station: k.name, Reason: "x"}, 2, nil), 2, 0, RemarkSignature,
		"a retirement counts only with the ledger's own signature")
	c.bad(c.next(thief, enrol(other), 3, nil), 3, 0, RemarkSignature,
		"signed by another key than the ledger's", "an enrolment counts only with the ledger's own signature")
	c.bad(c.next(thief, &StationRetired{Station: k.name, Reason: "x"}, 4, nil), 4, 0, RemarkSignature,
		"signed by another key than the ledger's", "a retirement counts only with the ledger's own signature")
	// Not even the ledger's own name as a station helps: its key is not enrolled but given.
	c.good(c.ledger, enrol(thief), 5)
	c.bad(c.next(thief, enrol(other), 6, nil), 6, 0, RemarkSignature,
		"signed by another key than the ledger's", "an enrolment counts only with the ledger's own signature")
	c.bad(c.next(other, &SetChecked{}, 7, nil), 7, 0, RemarkSignature, "north/or-3 is not enrolled")
	c.good(k, &SetChecked{}, 8)
	// What the ledger noticed at arrival holds, even where signatures are not verified again.
	const came = "the signature did not verify when the record came"
	c.bad(c.next(newTestKey(t, k.name, 9), &SetChecked{}, 9, nil), 9, RemarkSignature, RemarkSignature, came)
	c.audit.Signatures = false
	c.bad(c.next(newTestKey(t, k.name, 9), &SetChecked{}, 10, nil), 10, RemarkSignature, RemarkSignature, came)
	c.bad(c.next(c.ledger, enrol(other), 11, nil), 11, RemarkSignature, RemarkSignature,
		"the signature did not verify when the record came", "an enrolment counts only with the ledger's own signature")
	if st := c.audit.Station(other.name); st == nil || st.Key != "" {
		t.Errorf("%s became a station: %+v", other.name, st)
	}
	if st := c.audit.Station(k.name); st.Retired != 0 || st.Key != k.vkey {
		t.Errorf("%s was retired: %+v", k.name, st)
	}
}

// TestAuditKeyReplaced: the ledger goes on under another key from the record on that its own key has signed, and what the
// old key signs after it counts no more. Nobody else replaces it.
func TestAuditKeyReplaced(t *testing.T) {
	c := newAuditCase(t)
	first, second, third := c.ledger, newTestKey(t, c.ledger.name, 5), newTestKey(t, c.ledger.name, 6)
	k := newTestKey(t, "north/packing-1", 2)
	replace := func(former, key testKey) Data {
		return &KeyReplaced{Former: former.vkey, Key: key.vkey, Reason: "its disk was stolen"}
	}
	const another = "signed by another key than the ledger's"
	const only = "the ledger's key is replaced only with its own signature"
	c.good(first, enrol(k), 0)
	c.bad(c.next(second, replace(first, second), 1, nil), 1, 0, RemarkSignature, another, only)
	c.bad(c.next(k, replace(first, second), 2, nil), 2, 0, RemarkSignature, only)
	c.bad(c.next(first, replace(third, second), 3, nil), 3, 0, RemarkForm, "the key that it names as the former was not the ledger's")
	c.good(first, replace(first, second), 4)
	c.bad(c.next(first, enrol(k), 5, nil), 5, 0, RemarkSignature, another, "an enrolment counts only with the ledger's own signature")
	c.bad(c.next(first, replace(first, third), 6, nil), 6, 0, RemarkSignature, another, only)
	c.good(second, enrol(k), 7)
	c.good(second, replace(second, third), 8)
	c.good(third, enrol(k), 9)
	if h := c.audit.LedgerKey().KeyHash(); h != third.verifier.KeyHash() {
		t.Errorf("the records lead to the key %08x", h)
	}
	other := newTestKey(t, "south/ledger", 7)
	c.bad(c.next(third, replace(other, newTestKey(t, "south/ledger", 8)), 10, nil), 10, 0, RemarkForm,
		"the keys named are not the ledger's")
}

// TestAuditEnrolledKeyOfAnother: a key that carries another station's name.
func TestAuditEnrolledKeyOfAnother(t *testing.T) {
	c := newAuditCase(t)
	k, other := newTestKey(t, "north/packing-1", 2), newTestKey(t, "north/or-3", 2)
	text := func(d Data) string {
		b, err := Encode(testEvent(d, c.ledger.name, 1, "", testTime))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	n, err := note.Sign(&note.Note{Text: strings.Replace(text(enrol(k)), k.vkey, other.vkey, 1) + "\n"}, c.ledger.signer)
	if err != nil {
		t.Fatal(err)
	}
	c.bad(n, 0, 0, RemarkForm,
		`the key is named "north/or-3", the station "north/packing-1"; a station's key carries its name`,
		"the key enrolled is not one of north/packing-1")
	if st := c.audit.Station(k.name); st != nil {
		t.Errorf("enrolled as %+v", st)
	}
}

func TestAuditNumbering(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	c.bad(c.next(k, &SetChecked{}, 0, func(e *Event) { e.StationSeq = 2 }), 0, 0, RemarkGap,
		"north/packing-1 numbered this record 2; its last one here was 0")
	third := c.next(k, &SetChecked{}, 1, nil)
	c.bad(third, 1, 0, 0)
	// A hole, a replay, a record whose forerunner was changed or left out.
	c.bad(c.next(k, &SetChecked{}, 2, func(e *Event) { e.StationSeq = 5 }), 2, 0, RemarkGap,
		"north/packing-1 numbered this record 5; its last one here was 3")
	c.bad(third, 3, 0, RemarkGap, "north/packing-1 numbered this record 3; its last one here was 5")
	c.bad(c.next(k, &SetChecked{}, 4, func(e *Event) { e.StationPrev = NoteHash(nil) }), 4, 0, RemarkGap,
		"north/packing-1's record 4 does not follow from its record 3")
	c.bad(c.next(k, &SetChecked{}, 5, func(e *Event) { e.StationPrev = "" }), 5, 0, RemarkGap,
		"north/packing-1's record 5 does not follow from its record 4")
	c.good(k, &SetChecked{}, 6)
	// A forged record in between is remarked, and moves nothing: the true one follows the last true one.
	own := c.next(k, &SetChecked{}, 7, nil)
	c.bad(c.next(newTestKey(t, k.name, 9), &SetChecked{Tag: "X"}, 7, nil), 7, 0, RemarkSignature,
		"not signed by the key of north/packing-1")
	c.bad(own, 7, 0, 0)
}

func TestAuditExcerpt(t *testing.T) {
	c := newAuditCase(t)
	c.audit.Excerpt = true
	k := newTestKey(t, "north/packing-1", 2)
	c.bad(c.next(c.ledger, enrol(k), 0, func(e *Event) { e.StationSeq, e.StationPrev = 7, NoteHash(nil) }), 0, 0, 0)
	c.bad(c.next(k, &SetChecked{}, 1, func(e *Event) { e.StationSeq, e.StationPrev = 40, NoteHash(nil) }), 1, 0, 0)
	c.good(k, &SetChecked{}, 2)
	c.bad(c.next(k, &SetChecked{}, 3, func(e *Event) { e.StationPrev = NoteHash(nil) }), 3, 0, RemarkGap,
		"north/packing-1's record 42 does not follow from its record 41")
	c.bad(c.next(k, &SetChecked{}, 4, func(e *Event) { e.StationSeq = 41 }), 4, 0, RemarkGap,
		"north/packing-1 numbered this record 41; its last one here was 42")
}

func TestAuditClocks(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	note := func(second int) []byte {
		return c.next(k, &SetChecked{}, 0, func(e *Event) {
			e.Time = testTime.Add(time.Duration(second) * time.Second)
			e.ID = DerivedID(e.Time, Digest{byte(second)})
		})
	}
	c.bad(note(600), 10, 0, 0)
	c.bad(note(480), 10, 0, 0) // within the tolerance of two minutes
	c.bad(note(359), 10, 0, RemarkBackwards, "north/packing-1's clock ran back by 2m1s")
	c.bad(note(360), 600, 0, 0) // late alone is no fault
	c.bad(note(720), 10, 0, 0)  // two minutes ahead of the ledger
	c.bad(note(721), 10, 0, RemarkAhead, "observed 2m1s later than recorded")
	c.bad(note(86400), 10, 0, RemarkAhead, "observed 23h50m0s later than recorded")
	c.bad(note(720), 12, 0, RemarkBackwards, "north/packing-1's clock ran back by 23h48m0s")
}

// TestAuditPaper: what is entered from paper may be of any time before, and does
// not set the station's clock back; a clock that does run back is still seen.
func TestAuditPaper(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	paper := func(e *Event) { e.Medium = MediumPaper }
	packed := &SetPacked{List: "LAP-MAJOR", Version: 3}
	c.good(c.ledger, enrol(k), 1)
	c.good(k, packed, 600)
	c.bad(c.next(k, packed, 60, paper), 601, 0, 0)
	c.bad(c.next(k, packed, 30, paper), 602, 0, 0)
	c.bad(c.next(k, packed, 599, nil), 603, 0, 0)
	c.bad(c.next(k, packed, 500, nil), 604, 0, RemarkBackwards, "north/packing-1's clock ran back by 1h39m0s")
	c.bad(c.next(k, packed, 700, paper), 605, 0, RemarkAhead, "observed 1h35m0s later than recorded")
	c.good(k, packed, 606)
}

func TestAuditForm(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	c.bad(c.next(k, &Unknown{Type: "listbound.set.packed.v2", Raw: []byte(`{}`)}, 1, nil), 1, 0, RemarkUnknown,
		`type "listbound.set.packed.v2" is not known here, or its data does not fit it`)
	c.bad([]byte("no record"), 2, 0, RemarkForm,
		"not a record: a record is one line of JSON, a blank line and signature lines")
	c.bad([]byte("{}\n\n— x y\n"), 2, 0, RemarkForm, `specversion is "", not "1.0"`)
	signed := func(old, new string) []byte {
		text, err := Encode(testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3}, k.name, c.seqs[k.name]+1, c.hashes[k.name],
			testTime.Add(2*time.Minute)))
		if err != nil {
			t.Fatal(err)
		}
		n, err := note.Sign(&note.Note{Text: strings.Replace(string(text), old, new, 1) + "\n"}, k.signer)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	c.bad(signed(`,"id"`, `, "id"`), 2, 0, RemarkForm, "the JSON is not in canonical form")
	c.bad(signed(`"version":3`, `"version":3,"weight":8.5`), 2, 0, RemarkForm,
		"the number 8.5 is not a whole number between -(2^53-1) and 2^53-1 (at byte 52)")
	c.bad(signed(`"version":3`, `"version":-3`), 2, 0, RemarkForm, "version is -3; it goes from 1 to 9999")
	// Faults of several sorts are all named.
	c.audit.Canonical = false
	c.bad(newTestNote(t, newTestKey(t, k.name, 9)), 0, 0, RemarkSignature|RemarkAhead|RemarkUnknown,
		`type "x" is not known here, or its data does not fit it`, "not signed by the key of north/packing-1",
		"observed 1h30m0s later than recorded")
	c.bad(newTestNote(t, k), 0, 0, RemarkGap|RemarkAhead|RemarkUnknown,
		`type "x" is not known here, or its data does not fit it`,
		"north/packing-1 numbered this record 90; its last one here was 4", "observed 1h30m0s later than recorded")
}

func newTestNote(t *testing.T, k testKey) []byte {
	return sign(t, testEvent(&Unknown{Type: "x", Raw: []byte("1")}, k.name, 90, "", testTime.Add(90*time.Minute)), k)
}

// TestAuditRestore: an audit that goes on where another stopped says the same.
func TestAuditRestore(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	c.good(k, &SetChecked{}, 1)
	b := NewAudit(c.ledger.verifier, c.audit.Tolerance)
	b.Signatures = true
	for _, s := range c.audit.Stations() {
		s := Station{Name: s.Name, Key: s.Key, Enrolled: s.Enrolled, Retired: s.Retired, Last: s.Last, Count: s.Count,
			Hash: s.Hash, Time: s.Time, Keys: s.Keys, Runs: s.Runs}
		for i := range s.Keys {
			s.Keys[i].verifier = nil
		}
		if err := b.Restore(s); err != nil {
			t.Fatal(err)
		}
	}
	c.audit = b
	c.good(k, &SetChecked{}, 2)
	c.good(c.ledger, &StationRetired{Station: k.name, Reason: "tablet lost"}, 3)
	c.bad(c.next(k, &SetChecked{}, 4, nil), 4, 0, RemarkRetired,
		"observed when this key of north/packing-1 was no longer in force (record 4)")
	if err := b.Restore(Station{Name: "north/or-3", Keys: []StationKey{{Key: "x"}}}); err == nil {
		t.Error("a key that is none is restored")
	}
}

// TestRemembersWhatIsSigned: a retirement as of an earlier moment makes doubtful what the station signed since, in its form.
func TestRemembersWhatIsSigned(t *testing.T) {
	t.Parallel()
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	c.good(k, &SetChecked{}, 1)
	text := bytes.Replace(c.next(k, &SetChecked{}, 2, nil), []byte(`,"id"`), []byte(`, "id"`), 1)
	unformed, err := note.Sign(&note.Note{Text: string(text[:bytes.IndexByte(text, '\n')+1])}, k.signer)
	if err != nil {
		t.Fatal(err)
	}
	c.check(unformed, 2, 0)
	for name, want := range map[string]int{k.name: 1, c.ledger.name: 1} {
		if st := c.audit.stations[name]; len(st.signed) != want {
			t.Errorf("of %s %d records are remembered as signed, want %d", name, len(st.signed), want)
		}
	}
}

func TestRemarkNames(t *testing.T) {
	all := RemarkSignature | RemarkGap | RemarkBackwards | RemarkAhead | RemarkUnknown | RemarkForm | RemarkRetired
	if all != 127 || len(all.Names()) != 7 || Remark(0).String() != "" ||
		(RemarkGap|RemarkForm).String() != "the station's numbering has a hole; not in canonical form" {
		t.Errorf("%d: %s", all, all)
	}
	if got := strings.Join(all.Keys(), " "); got != "signature gap backwards ahead unknown form retired" ||
		RemarkAhead.Keys()[0] != "ahead" {
		t.Errorf("keys: %s", got)
	}
	if !ReservedStation("north/ledger") || ReservedStation("north/ledger-2") || ReservedStation("ledger/north") {
		t.Error("reserved names")
	}
}

// TestChangeThatSets: what a later record finds of an earlier one is said of it, each remark; one that only takes back says nothing.
func TestChangeThatSets(t *testing.T) {
	for _, r := range []Remark{RemarkSignature, RemarkSignature << 1} {
		var c Checked
		c.Apply(Change{Set: r, Text: "it was so"})
		if c.Remark != r || len(c.Said) != 1 || c.Said[0] != (Said{r, "it was so"}) {
			t.Errorf("%d: %+v", r, c)
		}
		if c.Apply(Change{Clear: r}); c.Remark != 0 || len(c.Said) != 0 {
			t.Errorf("%d taken back: %+v", r, c)
		}
	}
}

// TestAuditRetiredTwice: a key that is no longer in force does not come to be in force until it is retired again, and a station
// whose enrolment an excerpt lacks has none to retire.
func TestAuditRetiredTwice(t *testing.T) {
	c := newAuditCase(t)
	c.audit.Excerpt = true
	k, unseen := newTestKey(t, "north/packing-1", 2), newTestKey(t, "north/or-3", 3)
	retired := func(k testKey) Data { return &StationRetired{Station: k.name, Reason: "tablet lost"} }
	c.good(c.ledger, enrol(k), 0)
	c.good(c.ledger, retired(k), 2)
	c.good(c.ledger, retired(k), 6)
	c.bad(c.next(k, &SetChecked{}, 4, nil), 7, 0, RemarkRetired,
		"observed when this key of north/packing-1 was no longer in force (record 2)")
	c.check(c.next(unseen, &SetChecked{}, 8, nil), 8, 0)
	c.good(c.ledger, retired(unseen), 9)
}

// TestAuditExcerptOfTwoKeys: in an excerpt, what another key of the station numbered says nothing of this key's numbers.
func TestAuditExcerptOfTwoKeys(t *testing.T) {
	c := newAuditCase(t)
	c.audit.Excerpt = true
	k, later := newTestKey(t, "north/packing-1", 2), newTestKey(t, "north/packing-1", 3)
	apart := func(n int64) func(*Event) {
		return func(e *Event) { e.StationSeq, e.StationPrev = n, NoteHash([]byte{byte(n)}) }
	}
	c.bad(c.next(c.ledger, enrol(k), 0, apart(7)), 0, 0, 0)
	c.bad(c.next(k, &SetChecked{}, 1, apart(40)), 1, 0, 0)
	c.good(k, &SetChecked{}, 2)
	c.good(k, &SetChecked{}, 3)
	c.good(c.ledger, enrol(later), 4)
	c.bad(c.next(later, &SetChecked{}, 5, apart(41)), 5, 0, 0)
	if c.last.Unseen&RemarkGap == 0 {
		t.Errorf("that what it follows from is not there can't be told from a hole: %s", c.last.Unseen)
	}
}

// TestParsedAhead: what needs no order is done before: by whose key a note is good is known of a station that is enrolled.
func TestParsedAhead(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 0)
	n := c.next(k, &SetChecked{}, 1, nil)
	for _, signatures := range []bool{true, false} {
		c.ahead.Signatures = signatures
		if p := c.ahead.Parse(n); (p.by != nil) != signatures {
			t.Errorf("signatures asked for %t: verified by %v", signatures, p.by)
		}
	}
}

// TestMissingWorksAreNamed: who leaves out what a badge's roles are is told which there are.
func TestMissingWorksAreNamed(t *testing.T) {
	err := (&PersonEntered{Badge: "B-1"}).Check()
	if err == nil || !strings.HasSuffix(err.Error(), "roles are missing: "+string(roles[0])+", "+listed(roles[1:])) {
		t.Error(err)
	}
}

// TestParseAll: what is told of notes that are read together is what is told of each alone, whoever checks the signatures.
func TestParseAll(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	c.good(c.ledger, enrol(k), 1)
	n := c.next(k, &SetPacked{List: "LAP-MAJOR", Version: 3}, 2, nil)
	other := c.next(newTestKey(t, k.name, 3), &SetPacked{List: "LAP-MAJOR", Version: 5}, 2, nil)
	line := n[bytes.LastIndexByte(n[:len(n)-1], '\n')+1:]
	notes := [][]byte{n, bytes.Replace(n, []byte(`"version":3`), []byte(`"version":4`), 1), other, slices.Concat(n, line), n,
		[]byte("no record"), nil, bytes.TrimSuffix(n, []byte("\n")), slices.Concat(other[:len(other)-len(line)], line), n}
	for _, odd := range oddSignatures(n) {
		notes = append(notes, odd)
	}
	for _, all := range []func([]note.Verifier, [][]byte, [][]byte) []bool{nil, keytable.VerifyAll} {
		c.ahead.Signatures, c.ahead.VerifyAll = true, all
		good := 0
		for i, p := range c.ahead.ParseAll(notes) {
			want := Parse(notes[i])
			if !reflect.DeepEqual(p.Event, want.Event) || (p.Err == nil) != (want.Err == nil) || p.Hash != want.Hash {
				t.Errorf("note %d is read as %+v, alone as %+v", i, p, want)
			}
			if signed := VerifyNote(notes[i], k.verifier) == nil; signed != (p.by != nil) {
				t.Errorf("note %d: taken for signed: %v; it is: %v", i, p.by != nil, signed)
			}
			if p.by != nil {
				good++
			}
		}
		if good != 3 {
			t.Errorf("%d notes are signed, should be 3", good)
		}
	}
}

// oddSignatures are a note with all but the signature line that Sign writes, and with a text that no note has.
func oddSignatures(n []byte) map[string][]byte {
	replaced := func(old, by string) []byte {
		at := bytes.LastIndex(n, []byte(old))
		return slices.Concat(n[:at], []byte(by), n[at+len(old):])
	}
	end := string(n[len(n)-6:])         // five characters of base64 and the end of the line, of which the last is =
	spare := []byte(end)                // the one before it has bits to spare
	spare[3] = spare[3] + 1             // the next letter or digit
	short, fold := end[:2], end[2:]     // a line end within is passed over
	dash, packing := "— ", "packing-1 " // of the line, not of the text
	return map[string][]byte{
		"bits to spare":       replaced(end, string(spare)),
		"folded by a return":  replaced(end, short+"\r"+fold),
		"return for a letter": replaced(end, short+"\r"+fold[1:]),
		"four returns":        replaced(string(n[len(n)-9:len(n)-5]), "\r\r\r\r"),
		"two ends of a line":  replaced(end, short+"\n"+fold),
		"no padding":          replaced(end, end[:4]+"\n"),
		"a character more":    replaced(end, "A"+end),
		"a character less":    replaced(end, end[1:]),
		"a space more":        replaced(packing, packing+" "),
		"another name":        replaced(packing, "packing-2 "),
		"a longer name":       replaced(packing, "packing-11 "),
		"no dash":             replaced(dash, "- "),
		"two dashes":          replaced(dash, dash+dash),
		"a line in front":     replaced(dash, "x\n"+dash),
		"a tab in the text":   replaced(`,"id"`, ",\t\"id\""),
		"no empty line":       replaced("\n"+dash, dash),
		"two empty lines":     replaced("\n"+dash, "\n\n"+dash),
	}
}

// FuzzSignedAs: what is taken for a note that is signed in all but that the signature need not be good is one, and its parts are those
// which golang.org/x/mod/sumdb/note finds.
func FuzzSignedAs(f *testing.F) {
	k := newTestKey(f, "north/packing-1", 2)
	for _, text := range commonEvents(f) {
		n, err := note.Sign(&note.Note{Text: string(text) + "\n"}, k.signer)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(n)
		for _, odd := range oddSignatures(n) {
			f.Add(odd)
		}
	}
	f.Fuzz(func(t *testing.T, n []byte) {
		p := NewReader().Parse(n)
		message, sig, ok := p.signedAs(k.verifier)
		if !ok {
			return
		}
		c := &caught{Verifier: k.verifier}
		if err := VerifyNote(n, c); err != nil || !bytes.Equal(message, c.message) || !bytes.Equal(sig, c.sig) {
			t.Fatalf("%q\nis taken for %q signed by %x; it is: %v, %q, %x", n, message, sig, err, c.message, c.sig)
		}
	})
}

// TestSignedAs: a note as Sign writes it is taken apart without the library, and no other.
func TestSignedAs(t *testing.T) {
	c := newAuditCase(t)
	k := newTestKey(t, "north/packing-1", 2)
	n := c.next(k, &SetPacked{List: "LAP-MAJOR", Version: 3}, 2, nil)
	taken := func(n []byte) bool {
		p := NewReader().Parse(n)
		_, _, ok := p.signedAs(k.verifier)
		return ok
	}
	if !taken(n) {
		t.Errorf("left to the library: %s", n)
	}
	for what, odd := range oddSignatures(n) {
		if taken(odd) {
			t.Errorf("taken, though it has %s: %q", what, odd)
		}
	}
	if p := NewReader().Parse(n); func() bool { _, _, ok := p.signedAs(newTestKey(t, k.name, 3).verifier); return ok }() {
		t.Error("taken for one of another key of that name")
	}
}

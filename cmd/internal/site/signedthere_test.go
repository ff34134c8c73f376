//go:build !race

package site_test

import (
	"crypto/rand"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// signsThere is a station as its browser is one: it signs what the server says that an input comes to.
type signsThere struct {
	t       *testing.T
	s       *site.Site
	name    string
	signer  note.Signer
	head    site.Head
	records []site.SignedRecord // signed last
}

func newSignsThere(t *testing.T, s *site.Site, name string) *signsThere {
	t.Helper()
	return &signsThere{t: t, s: s, name: name, signer: enrolOwnKey(t, s, name).signer}
}

// asks observes without signatures, and returns what is to be signed.
func (b *signsThere) asks(obs ...*events.Observation) []site.Unsigned {
	b.t.Helper()
	before := b.s.Size()
	_, err := b.s.Observe(site.WithOwnKey(b.t.Context(), b.name, nil), obs...)
	var unsigned *site.UnsignedError
	if !errors.As(err, &unsigned) || refusal.Is(err) || b.s.Size() != before {
		b.t.Fatalf("not asked to sign: %v; %d records, had %d", err, b.s.Size(), before)
	}
	return unsigned.Events
}

// sign signs, from where the browser is.
func (b *signsThere) sign(asked []site.Unsigned, change func(*events.Event)) {
	b.t.Helper()
	b.records = nil
	at := b.head
	for _, u := range asked {
		e, err := events.Decode(u.Event)
		if err != nil {
			b.t.Fatal(err)
		}
		e.StationSeq, e.StationPrev = at.Number+1, at.Hash
		if change != nil {
			change(e)
		}
		n, err := events.Sign(e, b.signer)
		if err != nil {
			b.t.Fatal(err)
		}
		at = site.Head{Number: e.StationSeq, Hash: events.NoteHash(n)}
		b.records = append(b.records, site.SignedRecord{Signed: string(n), Addenda: u.Addenda})
	}
}

// sends observes with what was signed last.
func (b *signsThere) sends(obs ...*events.Observation) ([]site.Receipt, error) {
	b.t.Helper()
	rs, err := b.s.Observe(site.WithOwnKey(b.t.Context(), b.name, b.records), obs...)
	head, e := b.s.Head(b.t.Context(), b.name)
	if e != nil {
		b.t.Fatal(e)
	}
	b.head = head
	return rs, err
}

func (b *signsThere) observe(obs ...*events.Observation) []site.Receipt {
	b.t.Helper()
	b.sign(b.asks(obs...), nil)
	rs, err := b.sends(obs...)
	if err != nil {
		b.t.Fatal(err)
	}
	return rs
}

func at(name, set string, minutes int, d events.Data) *events.Observation {
	return &events.Observation{
		Station: name, Kind: d.Kind(), Set: set, Time: noon.Add(time.Duration(minutes-60) * time.Minute), Operator: "B-1", Data: d,
	}
}

// TestSignedThere: what a station with a key of its own observes at the server's pages is recorded as it signed it: all of a batch or
// none, sealed with its code, its texts beside the ledger; once, whether or not its answer was lost. A bundle of it is good,
// and says that the server never had the key.
func TestSignedThere(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	b := newSignsThere(t, s, "north/or-9")
	record(t, s, `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP","version":1,`+
		`"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}`+"\n")
	packed := b.observe(at(b.name, "LAP-001", 0, &events.SetPacked{List: "LAP", Version: 1,
		Exceptions: []events.Exception{{Line: 1, Counted: 5, Reason: "bent, <and> \"odd\" é 😀"}}}))
	sealed := b.observe(at(b.name, "LAP-001", 2, &events.ListSealed{Placement: events.Outside}))
	if sealed[0].SheetCode == "" || sealed[0].Trip != packed[0].Trip || sealed[0].Hash == "" || b.head.Number != 2 {
		t.Fatalf("%+v, %+v", sealed, b.head)
	}
	opened := at(b.name, "LAP-001", 30, &events.SetOpened{Case: "K-9", Tag: "LAP-001",
		Sheet: &events.Reading{Found: string(events.Outside), Code: sealed[0].SheetCode}})
	first := at(b.name, "LAP-001", 40, &events.SetCounted{Case: "K-9", Stage: events.StageFirst, Sheet: events.SheetScreen,
		Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 5}}})
	asked := b.asks(opened, first)
	// The two name one case by one mark, though nobody has recorded it yet.
	if len(asked) != 2 || !slices.Equal(events.Marks(asked[0].Event), events.Marks(asked[1].Event)) {
		t.Fatalf("asked to sign %s", asked)
	}
	b.sign(asked, nil)
	if _, err := b.sends(opened, first); err != nil {
		t.Fatal(err)
	}
	size := s.Size()
	for range 2 { // the answer was lost: with what was signed, and without
		rs, err := b.sends(opened, first)
		if err != nil || len(rs) != 2 || !rs[0].Known || !rs[1].Known || s.Size() != size {
			t.Fatalf("sent again: %+v, %v; %d records, had %d", rs, err, s.Size(), size)
		}
		b.records = nil
	}
	final := at(b.name, "LAP-001", 50, &events.SetCounted{Case: "K-9", Stage: events.StageFinal, Sheet: events.SheetScreen,
		Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 5}}})
	if later := b.asks(final); !slices.Equal(events.Marks(later[0].Event), events.Marks(asked[0].Event)) {
		t.Errorf("the case has another mark by now: %s", later)
	}
	e, err := s.EventAt(size)
	if d, ok := e.Data.(*events.SetCounted); err != nil || !ok || d.Case != "K-9" || e.StationSeq != 4 {
		t.Errorf("the count is %+v, %v", e, err)
	}
	if got := codes(t, s); !slices.Equal(got, []projections.Code{projections.NotReleased}) { // it was in no load
		t.Errorf("found is %v", got)
	}
	var raw strings.Builder
	if err := s.Evidence(t.Context(), site.Query{Set: "LAP-001"}, &raw); err != nil {
		t.Fatal(err)
	}
	r := bundle.Check([]byte(raw.String()), s.Key())
	if !r.OK || len(r.Custody.Own) != 1 || r.Custody.Own[0] != b.name {
		t.Errorf("the bundle: %+v, %+v", r.Problems, r.Custody)
	}
}

// TestSignedOtherwise: nothing is recorded of what a station signed that says anything but what is observed, in any member, that
// another key signed, or that does not follow from the station's last record. It is refused in words, the numbering stands where it
// stood, and the station signs anew.
func TestSignedOtherwise(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	b := newSignsThere(t, s, "north/or-9")
	b.observe(at(b.name, "LAP-001", 0, &events.SetChecked{Place: "cart 1"}))
	o := at(b.name, "LAP-001", 5, &events.SetOpened{Case: "K-9", Tag: "LAP-001"})
	secret, _, err := note.GenerateKey(rand.Reader, b.name)
	if err != nil {
		t.Fatal(err)
	}
	other, err := note.NewSigner(secret)
	if err != nil {
		t.Fatal(err)
	}
	size, head := s.Size(), b.head
	refused := func(what string) {
		t.Helper()
		rs, err := b.sends(o)
		if key, _ := refusal.InWords(err); key != "signed-otherwise" && !refusal.Is(err) || s.Size() != size || b.head != head {
			t.Errorf("%s: %+v, %v; %d records, had %d", what, rs, err, s.Size(), size)
		}
	}
	for what, change := range map[string]func(*events.Event){
		"another set":      func(e *events.Event) { e.Subject = "LAP-002" },
		"another person":   func(e *events.Event) { e.Operator = "B-2" },
		"another tag":      func(e *events.Event) { e.Data.(*events.SetOpened).Tag = "LAP-002" },
		"a text more":      func(e *events.Event) { e.Data.(*events.SetOpened).Room = "OR 4" },
		"from paper":       func(e *events.Event) { e.Medium = events.MediumPaper },
		"a trip":           func(e *events.Event) { e.Trip = e.ID },
		"a hole":           func(e *events.Event) { e.StationSeq++ },
		"number again":     func(e *events.Event) { e.StationSeq = 1 },
		"another before":   func(e *events.Event) { e.StationPrev = strings.Repeat("0", 64) },
		"a millisecond on": func(e *events.Event) { e.Time = e.Time.Add(time.Microsecond) },
	} {
		b.sign(b.asks(o), change)
		refused(what)
	}
	b.sign(b.asks(o), nil)
	b.records[0].Signed = string(forge(t, []byte(b.records[0].Signed)))
	refused("a broken signature")
	b.sign(b.asks(o), nil)
	b.records[0].Addenda = nil
	refused("no text for its mark")
	b.sign(b.asks(o), nil)
	b.records = []site.SignedRecord{{Signed: "no record"}}
	refused("no record")
	mine := b.signer
	b.signer = other
	b.sign(b.asks(o), nil)
	refused("another key")
	b.signer = mine
	rs := b.observe(o)
	if s.Size() != size+1 || rs[0].Remark != "" || b.head.Number != 2 {
		t.Errorf("in the end: %+v, %+v", rs, b.head)
	}
	var raw map[string]any
	asked := b.asks(at(b.name, "LAP-001", 9, &events.SetChecked{Place: "cart 2"}))
	if err := json.Unmarshal(asked[0].Event, &raw); err != nil || raw["stationprev"] != nil {
		t.Errorf("what is to be signed has a place already: %v, %v", raw, err)
	}
}

// TestNewKeyNewNumbering: a station that is enrolled anew begins with 1 under its new key, and nothing is missing.
func TestNewKeyNewNumbering(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	b := newSignsThere(t, s, "north/or-9")
	b.observe(at(b.name, "LAP-001", 0, &events.SetChecked{Place: "cart 1"}))
	b.observe(at(b.name, "LAP-001", 1, &events.SetChecked{Place: "cart 2"}))
	again := newSignsThere(t, s, "north/or-9")
	if head, err := s.Head(t.Context(), b.name); err != nil || head != (site.Head{}) {
		t.Fatalf("the new key's numbering stands at %+v, %v", head, err)
	}
	again.observe(at(b.name, "LAP-001", 50, &events.SetChecked{Place: "cart 3"}))
	again.observe(at(b.name, "LAP-001", 51, &events.SetChecked{Place: "cart 4"}))
	if got := codes(t, s); len(got) > 0 || again.head.Number != 2 {
		t.Errorf("found is %v; %+v", got, again.head)
	}
	// The lost browser signs on: it is told that this is no longer the station's key.
	o := at(b.name, "LAP-001", 52, &events.SetChecked{Place: "cart 5"})
	b.sign(b.asks(o), nil)
	if _, err := b.sends(o); !refusal.Is(err) {
		t.Errorf("signed by the key before: %v", err)
	}
}

// TestOneIDOfACase: two stations that sign for themselves are asked at one time for a case that nobody has named yet, and give
// it one id: with two, a redaction would leave two cases of it. Of a program that signs for itself and gives a known case an id of
// its own nothing is recorded, and it is told the id.
func TestOneIDOfACase(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	a, b := newSignsThere(t, s, "north/or-8"), newSignsThere(t, s, "north/or-9")
	opened := at(a.name, "LAP-001", 0, &events.SetOpened{Case: "K-9", Tag: "LAP-001"})
	other := at(b.name, "VAS-001", 1, &events.SetOpened{Case: "K-9", Tag: "VAS-001"})
	a.sign(a.asks(opened), nil)
	b.sign(b.asks(other), nil)
	for _, x := range []struct {
		b *signsThere
		o *events.Observation
	}{{a, opened}, {b, other}} {
		if _, err := x.b.sends(x.o); err != nil {
			t.Fatal(err)
		}
	}
	first := events.Marks([]byte(a.records[0].Signed))
	if second := events.Marks([]byte(b.records[0].Signed)); len(first) != 1 || !slices.Equal(first, second) {
		t.Fatalf("one case has the ids %s and %s", first, second)
	}

	// One that was asked before the server started anew, and signs what nobody knows of any more.
	x, err := events.NewAddendum(rand.Reader, events.AddendumCase, "K-9")
	if err != nil {
		t.Fatal(err)
	}
	disclosed, err := x.Disclosure()
	if err != nil {
		t.Fatal(err)
	}
	late := at(a.name, "LAP-002", 2, &events.SetOpened{Case: "K-9", Tag: "LAP-002"})
	asked := a.asks(late)
	asked[0].Addenda = []string{disclosed}
	a.sign(asked, func(e *events.Event) { e.Data.(*events.SetOpened).Case = events.Mark(disclosed) })
	size := s.Size()
	if _, err := a.sends(late); !refusal.Is(err) || s.Size() != size {
		t.Errorf("another id at a page: %v", err)
	}
	line, err := json.Marshal(a.records[0])
	if err != nil {
		t.Fatal(err)
	}
	if r := record(t, s, string(line)+"\n")[0]; !strings.Contains(r.Error, first[0]) || s.Size() != size {
		t.Errorf("another id from a program: %+v", r)
	}
	a.observe(late)
}

// TestTakenOutStaysOut: what was taken out does not come back with a record that a station signed before, or signs with the
// old text: neither by the page nor from a program, and it is in no file. Without the text the record is taken.
func TestTakenOutStaysOut(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north"})
	b := newSignsThere(t, s, "north/or-9")
	b.observe(at(b.name, "LAP-001", 0, &events.SetOpened{Case: "K-Moreau-9", Tag: "LAP-001"}))
	disclosed := b.records[0].Addenda
	pending := at(b.name, "LAP-002", 1, &events.SetOpened{Case: "K-Moreau-9", Tag: "LAP-002"})
	b.sign(b.asks(pending), nil)
	b.records[0].Addenda = disclosed
	if _, err := s.Redact(t.Context(), site.Redaction{Case: "K-Moreau-9", Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	size := s.Size()
	if _, err := b.sends(pending); !refusal.Is(err) || s.Size() != size {
		t.Errorf("the page: %v", err)
	}
	line, err := json.Marshal(b.records[0])
	if err != nil {
		t.Fatal(err)
	}
	if r := record(t, s, string(line)+"\n")[0]; !strings.Contains(r.Error, "was taken out") || s.Size() != size {
		t.Errorf("a program: %+v", r)
	}
	if found := holding(t, dir, "Moreau"); len(found) > 0 {
		t.Errorf("the text is back in %v", found)
	}
	if r := record(t, s, signedLine(t, []byte(b.records[0].Signed)))[0]; r.Error != "" || r.Remark != "" {
		t.Errorf("without the text: %+v", r)
	}
}

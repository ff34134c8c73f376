package events

import (
	"encoding/base64"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// heard is what an audit says in the end of each note that it was given, by what was observed.
type heard struct {
	audit *Audit
	seq   int64
	names map[int64]string
	now   map[string]Remark
}

func (h *heard) take(name string, n []byte, recorded time.Time) Checked {
	h.seq++
	h.names[h.seq] = name
	c := h.audit.Check(h.seq, Parse(n), recorded, 0)
	h.now[name] |= c.Remark
	for _, ch := range c.Earlier {
		was := h.names[ch.Seq]
		h.now[was] = h.now[was]&^ch.Clear | ch.Set
	}
	return c
}

func listen(ledger testKey) *heard {
	a := NewAudit(ledger.verifier, 2*time.Minute)
	a.Signatures = true
	return &heard{audit: a, names: make(map[int64]string), now: make(map[string]Remark)}
}

// chain makes notes of a station, each following from the one before.
type chain struct {
	t    *testing.T
	key  testKey
	n    int64
	hash string
}

func (c *chain) note(at time.Time, d Data, medium string) []byte {
	c.t.Helper()
	c.n++
	e := testEvent(d, c.key.name, c.n, c.hash, at)
	e.Medium = medium
	n := sign(c.t, e, c.key)
	c.hash = NoteHash(n)
	return n
}

// enrolled is the ledger's own chain with enrolments at its head.
func (h *heard) enrolled(t *testing.T, ledger testKey, keys ...testKey) *chain {
	own := &chain{t: t, key: ledger}
	for i, k := range keys {
		if c := h.take(fmt.Sprint("enrolment ", i), own.note(testTime, enrol(k), ""), testTime); c.Remark != 0 {
			t.Fatal(c.Words())
		}
	}
	return own
}

// TestGapHeals: records sent as 2, 1, 4, 3 are all there in the end, and nothing is said of them. While one is missing,
// the one after it is said to follow a hole.
func TestGapHeals(t *testing.T) {
	ledger, k := newTestKey(t, LedgerName("north"), 1), newTestKey(t, "north/or-3", 2)
	h := listen(ledger)
	h.enrolled(t, ledger, k)
	c := &chain{t: t, key: k}
	var notes [][]byte
	for i := range 5 {
		notes = append(notes, c.note(testTime.Add(time.Duration(i)*time.Hour), &SetChecked{}, ""))
	}
	late := testTime.Add(24 * time.Hour)
	for _, step := range []struct {
		n    int
		gaps []string
	}{
		{2, []string{"2"}}, {1, nil}, {4, []string{"4"}}, {3, nil}, {5, nil},
	} {
		h.take(fmt.Sprint(step.n), notes[step.n-1], late)
		var gaps []string
		for name, r := range h.now {
			if r != 0 {
				gaps = append(gaps, name)
			}
		}
		if !slices.Equal(gaps, step.gaps) {
			t.Errorf("after record %d something is said of %v, want of %v: %v", step.n, gaps, step.gaps, h.now)
		}
	}
	st := h.audit.Station(k.name)
	if len(st.Runs) != 1 || st.Count != 5 || st.Hash != c.hash || st.Signed != 5 {
		t.Errorf("%+v", st)
	}
}

// TestBadlySignedOfItsOwn: a station goes on from a record that it signed badly. That one is told of, and is not missing.
func TestBadlySignedOfItsOwn(t *testing.T) {
	ledger, k := newTestKey(t, LedgerName("north"), 1), newTestKey(t, "north/or-3", 2)
	for _, order := range [][]int{{0, 1, 2, 3}, {2, 3, 1, 0}, {3, 0, 2, 1}} {
		h := listen(ledger)
		h.enrolled(t, ledger, k)
		c := &chain{t: t, key: k}
		var notes [][]byte
		for i := range 4 {
			c.key = k
			if i == 1 || i == 2 {
				c.key = newTestKey(t, k.name, 9)
			}
			notes = append(notes, c.note(testTime.Add(time.Duration(i)*time.Hour), &SetChecked{}, ""))
		}
		for _, i := range order {
			h.take(fmt.Sprint(i), notes[i], testTime.Add(24*time.Hour))
		}
		for i, want := range []Remark{0, RemarkSignature, RemarkSignature, 0} {
			if got := h.now[fmt.Sprint(i)]; got != want {
				t.Errorf("sent as %v: of record %d %q, want %q", order, i+1, got, want)
			}
		}
		if st := h.audit.Station(k.name); len(st.Runs) != 1 || st.Count != 4 || st.Signed != 2 {
			t.Errorf("sent as %v: %+v", order, st)
		}
	}
}

// TestForgedMovesNothing: what another key signed is said to be that and no more, and the station goes on.
func TestForgedMovesNothing(t *testing.T) {
	ledger, k := newTestKey(t, LedgerName("north"), 1), newTestKey(t, "north/or-3", 2)
	thief := newTestKey(t, k.name, 9)
	h := listen(ledger)
	h.enrolled(t, ledger, k)
	own, foreign := &chain{t: t, key: k}, &chain{t: t, key: thief}
	h.take("1", own.note(testTime, &SetChecked{}, ""), testTime)
	for i := range 3 {
		at := testTime.Add(time.Duration(9-i) * time.Hour)
		if c := h.take("forged", foreign.note(at, &SetChecked{}, ""), at); c.Remark != RemarkSignature {
			t.Errorf("of a forged record: %v", c.Words())
		}
	}
	if c := h.take("2", own.note(testTime.Add(time.Minute), &SetChecked{}, ""), testTime.Add(time.Minute)); c.Remark != 0 {
		t.Errorf("of the true record after forged ones: %v", c.Words())
	}
}

// TestNewKeyNewChain: a station that lost its data is enrolled with another key and begins with 1. The same key that
// begins again is a copy of the browser's data, or an older state of it.
func TestNewKeyNewChain(t *testing.T) {
	ledger, k, next := newTestKey(t, LedgerName("north"), 1), newTestKey(t, "north/or-3", 2), newTestKey(t, "north/or-3", 3)
	h := listen(ledger)
	own := h.enrolled(t, ledger, k)
	first := &chain{t: t, key: k}
	for i := range 3 {
		h.take("", first.note(testTime.Add(time.Duration(i)*time.Minute), &SetChecked{}, ""), testTime.Add(time.Hour))
	}
	again := &chain{t: t, key: k}
	if c := h.take("again", again.note(testTime, &SetChecked{Place: "A4"}, ""), testTime); c.Remark != RemarkGap {
		t.Errorf("the same key from 1: %v", c.Words())
	}
	at := testTime.Add(2 * time.Hour)
	h.take("", own.note(at, enrol(next), ""), at)
	if st := h.audit.Station(k.name); st.Count != 3 || st.Hash != first.hash {
		t.Errorf("with the new key it goes on from %+v", st)
	}
	fresh := &chain{t: t, key: next}
	for i := range 2 {
		if c := h.take("", fresh.note(at.Add(time.Minute), &SetChecked{Place: fmt.Sprint(i)}, ""), at.Add(time.Hour)); c.Remark != 0 {
			t.Errorf("another key from 1: %v", c.Words())
		}
	}
	if st := h.audit.Station(k.name); st.Count != 2 || st.Hash != fresh.hash || st.Signed != 6 {
		t.Errorf("after the new chain began: %+v", st)
	}
	// A server that keeps the keys goes on in the same numbering, as it always did.
	on := &chain{t: t, key: next, n: 3, hash: first.hash}
	if c := h.take("", on.note(at.Add(time.Minute), &SetChecked{Place: "B1"}, ""), at.Add(time.Hour)); c.Remark != 0 {
		t.Errorf("another key that goes on: %v", c.Words())
	}
}

// TestRetiredEarlier: what was observed before the retirement stands, whenever it comes in.
func TestRetiredEarlier(t *testing.T) {
	ledger, k := newTestKey(t, LedgerName("north"), 1), newTestKey(t, "north/or-3", 2)
	h := listen(ledger)
	own := h.enrolled(t, ledger, k)
	c := &chain{t: t, key: k}
	before, after := c.note(testTime.Add(time.Hour), &SetChecked{}, ""), c.note(testTime.Add(3*time.Hour), &SetChecked{}, "")
	at := testTime.Add(2 * time.Hour)
	h.take("", own.note(at, &StationRetired{Station: k.name, Reason: "lost"}, ""), at)
	if c := h.take("", before, testTime.Add(5*time.Hour)); c.Remark != 0 {
		t.Errorf("observed before: %v", c.Words())
	}
	// An earlier program noted in the arrival line that it did not verify, since the station was retired.
	h.seq++
	if c := h.audit.Check(h.seq, Parse(after), testTime.Add(5*time.Hour), RemarkSignature); c.Remark != RemarkRetired {
		t.Errorf("observed after: %v", c.Words())
	}
	at = testTime.Add(6 * time.Hour)
	h.take("", own.note(at, enrol(k), ""), at)
	if c := h.take("", c.note(at.Add(time.Hour), &SetChecked{}, ""), at.Add(time.Hour)); c.Remark != 0 {
		t.Errorf("observed when it was enrolled again: %v", c.Words())
	}
	if c := h.take("", c.note(at.Add(-time.Hour), &SetChecked{}, ""), at.Add(time.Hour)); c.Remark&RemarkRetired == 0 {
		t.Errorf("observed between: %v", c.Words())
	}
}

// TestAnyOrderOfRecords: whatever the order in which a station's records come, the same is said of each in the end.
func TestAnyOrderOfRecords(t *testing.T) {
	ledger := newTestKey(t, LedgerName("north"), 1)
	k, next := newTestKey(t, "north/or-3", 2), newTestKey(t, "north/or-3", 3)
	thief := newTestKey(t, k.name, 9)
	said := make(map[Remark]int)
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 1))
		notes := make(map[string][]byte)
		for _, c := range []*chain{{t: t, key: k}, {t: t, key: next}} {
			at := testTime
			for i := range 3 + r.IntN(10) {
				at = at.Add(time.Duration(r.IntN(600)-150) * time.Second)
				medium, when := "", at
				if r.IntN(4) == 0 {
					medium, when = MediumPaper, at.Add(-time.Duration(r.IntN(3600)-600)*time.Second)
				}
				before := *c
				n := c.note(when, &SetChecked{Place: fmt.Sprint(i)}, medium)
				other := chain{t: t, key: thief, n: before.n, hash: before.hash}
				switch foreign := other.note(when, &SetChecked{Place: fmt.Sprint(i)}, medium); r.IntN(8) {
				case 0: // a copy that somebody made
					notes[fmt.Sprintf("forged %x %d", c.key.signer.KeyHash(), c.n)] = foreign
				case 1: // its own record, badly signed: it goes on from it
					n, c.hash = foreign, other.hash
				}
				if r.IntN(5) > 0 { // else it never comes
					notes[fmt.Sprintf("%x %d", c.key.signer.KeyHash(), c.n)] = n
				}
			}
		}
		late := testTime.Add(24 * time.Hour)
		names := slices.Sorted(maps.Keys(notes))
		var want map[string]Remark
		for range 8 {
			h := listen(ledger)
			own := h.enrolled(t, ledger, k, next)
			h.take("retired", own.note(testTime.Add(time.Hour), &StationRetired{Station: k.name, Reason: "x"}, ""), late)
			for _, name := range names {
				h.take(name, notes[name], late)
			}
			if want == nil {
				want = h.now
				for _, rs := range want {
					said[rs]++
				}
			} else if !maps.Equal(h.now, want) {
				t.Fatalf("seed %d, as %v:\n%v\nwant\n%v", seed, names, h.now, want)
			}
			r.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		}
	}
	for _, rs := range []Remark{0, RemarkGap, RemarkBackwards, RemarkGap | RemarkBackwards, RemarkRetired,
		RemarkSignature, RemarkSignature | RemarkGap} {
		if said[rs] == 0 {
			t.Errorf("nothing was ever said to be %q", rs)
		}
	}
}

// TestSignedByAnyLength: the hash of the key is read off a signature of Ed25519 and off one that is longer or shorter; off none
// there is none.
func TestSignedByAnyLength(t *testing.T) {
	const hash = 0x01020304
	for _, rest := range []int{64, 10, 100} {
		raw := append([]byte{1, 2, 3, 4}, make([]byte, rest)...)
		line := "text\n\n— north/or-1 " + base64.StdEncoding.EncodeToString(raw) + "\n"
		if got := signedBy([]byte(line)); got != hash {
			t.Errorf("%d bytes: %08x, want %08x", rest, got, hash)
		}
	}
	for _, none := range []string{"", "nothing", "— north/or-1 AAAA", "— north/or-1 !!!!!!!!!!"} {
		if got := signedBy([]byte(none)); got != 0 {
			t.Errorf("%q: %08x", none, got)
		}
	}
}

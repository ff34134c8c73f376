package events

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// Remark says what is wrong with a record itself, apart from what it reports.
// Remarks are bits: a record may have several.
type Remark uint8

// The remarks. RemarkSignature is also the byte in a record's arrival line by
// which the ledger says what it found when the record came.
const (
	RemarkSignature Remark = 1 << iota // not signed by the station's key in force
	RemarkGap                          // the station's numbering or chain of hashes has a hole
	RemarkBackwards                    // the station's clock ran backwards
	RemarkAhead                        // observed later than it was recorded
	RemarkUnknown                      // kind or version not known here
	RemarkForm                         // not canonical, or not a record at all
)

var remarkNames = []struct {
	r         Remark
	key, name string
}{
	{RemarkSignature, "signature", "signature does not verify"},
	{RemarkGap, "gap", "the station's numbering has a hole"},
	{RemarkBackwards, "backwards", "the station's clock ran backwards"},
	{RemarkAhead, "ahead", "observed later than recorded"},
	{RemarkUnknown, "unknown", "kind or version not known"},
	{RemarkForm, "form", "not in canonical form"},
}

// Keys lists the remarks by the words under which a program looks them up.
func (r Remark) Keys() []string {
	var out []string
	for _, x := range remarkNames {
		if r&x.r != 0 {
			out = append(out, x.key)
		}
	}
	return out
}

// Names lists the remarks in words.
func (r Remark) Names() []string {
	var out []string
	for _, x := range remarkNames {
		if r&x.r != 0 {
			out = append(out, x.name)
		}
	}
	return out
}

// String joins the names.
func (r Remark) String() string { return strings.Join(r.Names(), "; ") }

// LedgerName is the name of a site's ledger. It is the origin of the ledger's
// checkpoints, the name of its key, and the station under which the ledger
// itself records: it enrols and retires stations.
func LedgerName(site string) string { return site + "/" + ledgerStation }

const ledgerStation = "ledger"

// ReservedStation reports whether a name belongs to a ledger, so that no station
// can be enrolled under it.
func ReservedStation(station string) bool {
	_, name, _ := strings.Cut(station, "/")
	return name == ledgerStation
}

// Station is what an audit knows of one station.
type Station struct {
	Name     string
	Key      string    // verifier key in force
	Enrolled int64     // sequence of the enrolment in force, 0 for the ledger's own
	Retired  int64     // sequence of the retirement, 0 while it may record
	Last     int64     // sequence of its last record
	Count    int64     // its last stationseq
	Hash     string    // NoteHash of its last record
	Time     time.Time // the clock of its last record; one entered from paper does not set it back
	verifier note.Verifier
}

// Audit reads a ledger's records in order and checks each against the station
// keys enrolled before it, the station's own numbering, and the clocks. It
// needs no server: the checker of an exported history uses the same code.
type Audit struct {
	// Tolerance is how far clocks may differ, and run back.
	Tolerance time.Duration
	// Signatures: verify them (50 µs each). Without it the arrival remark of the
	// ledger is believed, which the tree already commits to.
	Signatures bool
	// Canonical: also check the canonical form, and what Check refuses.
	Canonical bool
	// Excerpt: the records are not all of them, so a station's numbering may
	// jump ahead. Neighbours are still compared.
	Excerpt bool

	ledger   note.Verifier
	stations map[string]*Station
}

// NewAudit starts an audit of a ledger with this key.
func NewAudit(ledger note.Verifier, tolerance time.Duration) *Audit {
	return &Audit{Tolerance: tolerance, ledger: ledger, stations: make(map[string]*Station)}
}

// Station returns what is known of a station, nil for one never enrolled.
func (a *Audit) Station(name string) *Station { return a.stations[name] }

// Stations returns all, in no order.
func (a *Audit) Stations() []*Station {
	out := make([]*Station, 0, len(a.stations))
	for _, s := range a.stations {
		out = append(out, s)
	}
	return out
}

// Parsed is a station's note that was read and not yet audited. Reading is most
// of the work and needs no order, so it can be done ahead.
type Parsed struct {
	Note  []byte
	Event *Event // nil where there is none to read
	Hash  Digest // of the note, for the next record's stationprev
	Err   error  // why there is no event
}

// Parse reads a station's note for an audit.
func Parse(n []byte) Parsed {
	p := Parsed{Note: n, Hash: sha256.Sum256(n)}
	p.Event, p.Err = ParseNote(n)
	return p
}

// Check takes the next record: the station's note, when the ledger recorded it,
// and the remark byte of its arrival line. It returns what is wrong with the
// record, in words too. The event itself is in p.
func (a *Audit) Check(seq int64, p Parsed, recorded time.Time, arrival Remark) (Remark, []string) {
	if p.Err != nil {
		return RemarkForm, []string{p.Err.Error()}
	}
	var r Remark
	var words []string
	add := func(x Remark, format string, args ...any) {
		r |= x
		words = append(words, fmt.Sprintf(format, args...))
	}
	e := p.Event
	if a.Canonical {
		a.canonical(p.Note, add)
		if err := e.Check(); err != nil {
			add(RemarkForm, "%v", err)
		}
	}
	if u, ok := e.Data.(*Unknown); ok {
		add(RemarkUnknown, "type %q is not known here, or its data does not fit it", u.Type)
	}
	st := a.stations[e.Station]
	if st == nil {
		st = &Station{Name: e.Station}
		a.stations[e.Station] = st
	}
	a.signature(st, e, p.Note, arrival, add)
	if a.Excerpt && e.StationSeq > st.Count+1 {
		st.Count, st.Hash = e.StationSeq-1, e.StationPrev
	}
	if e.StationSeq != st.Count+1 {
		add(RemarkGap, "%s numbered this record %d; its last one here was %d", e.Station, e.StationSeq, st.Count)
	} else if e.StationPrev != st.Hash {
		add(RemarkGap, "%s's record %d does not follow from its record %d", e.Station, e.StationSeq, st.Count)
	}
	paper := e.Medium == MediumPaper
	if !paper && !st.Time.IsZero() && st.Time.Sub(e.Time) > a.Tolerance {
		add(RemarkBackwards, "%s's clock ran back by %s", e.Station, st.Time.Sub(e.Time).Round(time.Second))
	}
	if e.Time.Sub(recorded) > a.Tolerance {
		add(RemarkAhead, "observed %s later than recorded", e.Time.Sub(recorded).Round(time.Second))
	}
	st.Last, st.Count, st.Hash = seq, e.StationSeq, p.Hash.String()
	if !paper || e.Time.After(st.Time) && e.Time.Sub(recorded) <= a.Tolerance {
		st.Time = e.Time
	}
	a.registry(seq, e, r, add)
	return r, words
}

func (a *Audit) canonical(n []byte, add func(Remark, string, ...any)) {
	text, err := Text(n)
	if err != nil {
		add(RemarkForm, "%v", err)
		return
	}
	if c, err := Canonical(text); err != nil {
		add(RemarkForm, "%v", err)
	} else if !bytes.Equal(c, text) {
		add(RemarkForm, "the JSON is not in canonical form")
	}
}

// Restore puts back what an earlier audit knew of a station, so that a reader
// can go on where it stopped.
func (a *Audit) Restore(s Station) error {
	if s.Key != "" {
		v, err := note.NewVerifier(s.Key)
		if err != nil {
			return fmt.Errorf("key of station %s: %w", s.Name, err)
		}
		s.verifier = v
	}
	a.stations[s.Name] = &s
	return nil
}

func (a *Audit) signature(st *Station, e *Event, n []byte, arrival Remark, add func(Remark, string, ...any)) {
	switch {
	case arrival&RemarkSignature != 0:
		add(RemarkSignature, "the signature did not verify when the record came")
	case e.Station == a.ledger.Name():
		if a.Signatures && VerifyNote(n, a.ledger) != nil {
			add(RemarkSignature, "signed by another key than the ledger's")
		}
	case st.Key == "":
		add(RemarkSignature, "%s is not enrolled", e.Station)
	case st.Retired != 0:
		add(RemarkSignature, "%s was retired at sequence %d", e.Station, st.Retired)
	case a.Signatures:
		if err := VerifyNote(n, st.verifier); err != nil {
			add(RemarkSignature, "%v", err)
		}
	}
}

// registry follows the two kinds that change who may record. Only the ledger's
// own word counts, and only with a good signature.
func (a *Audit) registry(seq int64, e *Event, r Remark, add func(Remark, string, ...any)) {
	own := r&RemarkSignature == 0 && e.Station == a.ledger.Name()
	switch d := e.Data.(type) {
	case *StationEnrolled:
		if !own {
			add(RemarkSignature, "an enrolment counts only with the ledger's own signature")
			return
		}
		v, err := note.NewVerifier(d.Key)
		if err != nil || v.Name() != d.Station {
			add(RemarkForm, "the key enrolled is not one of %s", d.Station)
			return
		}
		st := a.stations[d.Station]
		if st == nil {
			st = &Station{Name: d.Station}
			a.stations[d.Station] = st
		}
		st.Key, st.verifier, st.Enrolled, st.Retired = d.Key, v, seq, 0
	case *StationRetired:
		if !own {
			add(RemarkSignature, "a retirement counts only with the ledger's own signature")
			return
		}
		if st := a.stations[d.Station]; st != nil {
			st.Retired = seq
		}
	}
}

//go:build !race

package site_test

import (
	"bytes"
	"cmp"
	"encoding/base64"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
)

// signedLine hands in a note as it is.
func signedLine(t *testing.T, n []byte) string {
	t.Helper()
	raw, err := json.Marshal(map[string]string{"signed": string(n)})
	if err != nil {
		t.Fatal(err)
	}
	return string(raw) + "\n"
}

// chained signs observations as a browser does that numbers and chains them itself.
type chained struct {
	*ownKey
	prev string
}

func (c *chained) note(o *events.Observation) []byte {
	c.t.Helper()
	const subject = "LAP-014" // of what is corrected
	o.Station, o.Kind = c.name, o.Data.Kind()
	id, err := o.ID()
	if err != nil {
		c.t.Fatal(err)
	}
	c.count++
	n, err := events.Sign(&events.Event{
		ID: id, Station: c.name, Subject: cmp.Or(o.Subject(), subject), Time: o.Time, Trip: o.Trip, Operator: o.Operator, Data: o.Data,
		StationSeq: c.count, StationPrev: c.prev,
	}, c.signer)
	if err != nil {
		c.t.Fatal(err)
	}
	c.prev = events.NoteHash(n)
	return n
}

// seen is the observation of a set at a place, by minutes before noon.
func seen(set string, minutes int) *events.Observation {
	return &events.Observation{
		Set: set, Time: noon.Add(-time.Duration(minutes) * time.Minute), Data: &events.SetChecked{Place: "case cart 3"},
	}
}

// forge breaks the signature of a note; its text stays.
func forge(t *testing.T, n []byte) []byte {
	t.Helper()
	head, sig := n[:bytes.LastIndexByte(n, ' ')+1], strings.TrimSpace(string(n[bytes.LastIndexByte(n, ' ')+1:]))
	raw, err := base64.StdEncoding.DecodeString(sig)
	if err != nil {
		t.Fatal(err)
	}
	raw[len(raw)-1] ^= 1
	return append(bytes.Clone(head), base64.StdEncoding.EncodeToString(raw)+"\n"...)
}

// remarked returns what is wrong with the records about a set, by their numbers in the history.
func remarked(t *testing.T, s *site.Site, set string) (out []string) {
	t.Helper()
	h, err := s.History(t.Context(), site.Query{Set: set})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range h.Events {
		out = append(out, strings.Join(e.Remarks, "; "))
	}
	return out
}

func codes(t *testing.T, s *site.Site) (out []projections.Code) {
	t.Helper()
	vs, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range vs {
		for _, f := range v.Findings {
			if f.Code != projections.LinkMissing { // nothing was packed
				out = append(out, f.Code)
			}
		}
	}
	return out
}

// TestForgedCopyFirst: somebody hands in a copy of a station's record whose signature is broken, before the station does.
// The true record is stored all the same and is the one that counts, and the next one follows from it.
func TestForgedCopyFirst(t *testing.T) {
	for _, together := range []bool{false, true} {
		for _, forgedFirst := range []bool{true, false} {
			s := open(t, t.TempDir(), site.Options{Name: "north"})
			own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
			first, second := own.note(seen("LAP-001", 60)), own.note(seen("LAP-001", 50))
			lines := []string{signedLine(t, forge(t, first)), signedLine(t, first), signedLine(t, second)}
			if !forgedFirst {
				lines[0], lines[1] = lines[1], lines[0]
			}
			var got []site.Receipt
			if together {
				got = record(t, s, strings.Join(lines, ""))
			} else {
				for _, l := range lines {
					got = append(got, record(t, s, l)...)
				}
			}
			for i, r := range got {
				if r.Error != "" || r.Known {
					t.Fatalf("line %d: %+v", i+1, r)
				}
			}
			h, err := s.History(t.Context(), site.Query{Set: "LAP-001"})
			if err != nil {
				t.Fatal(err)
			}
			void := 0
			for _, e := range h.Events {
				forged := len(e.Remarks) > 0
				if forged && e.Remarks[0] != events.RemarkSignature.String() || e.Void != forged {
					t.Errorf("together %t, forged first %t: record %d is void %t, %q", together, forgedFirst, e.Seq, e.Void, e.Remarks)
				}
				if e.Void {
					void++
				}
			}
			if void != 1 || len(h.Events) != 3 {
				t.Errorf("together %t: of %d records %d are void", together, len(h.Events), void)
			}
			// A station forgets what comes back with its own hash; sent again, each is known by its bytes.
			for i, r := range record(t, s, strings.Join(lines, "")) {
				if !r.Known || r.Seq != got[i].Seq || r.Hash != got[i].Hash {
					t.Errorf("again, line %d: %+v, was %+v", i+1, r, got[i])
				}
			}
			if got[2].Hash != events.NoteHash(second) || got[0].Hash == got[1].Hash {
				t.Errorf("hashes in the receipts: %+v", got)
			}
		}
	}
}

// TestDoubleScanSigned: a station scans twice within one time stamp, and gives the one observation two numbers. Both records
// are stored, so that its numbering has no hole; the observation counts once.
func TestDoubleScanSigned(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	var lines string
	for _, o := range []*events.Observation{seen("LAP-001", 60), seen("LAP-001", 60), seen("LAP-001", 50)} {
		lines += signedLine(t, own.note(o))
	}
	for i, r := range record(t, s, lines) {
		if r.Error != "" || r.Known || r.Remark != "" {
			t.Errorf("line %d: %+v", i+1, r)
		}
	}
	if got := codes(t, s); len(got) > 0 {
		t.Errorf("found %v", got)
	}
	h, err := s.History(t.Context(), site.Query{Set: "LAP-001"})
	if err != nil || len(h.Events) != 3 || h.Events[0].Void || !h.Events[1].Void || h.Events[2].Void {
		t.Errorf("%+v, %v", h.Events, err)
	}
}

// TestNewKeyBeginsAnew: a station that lost what its browser kept is enrolled with a new key and numbers from 1.
func TestNewKeyBeginsAnew(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	for i := range 3 {
		record(t, s, signedLine(t, own.note(seen("LAP-001", 60-i))))
	}
	next := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	for i := range 2 {
		record(t, s, signedLine(t, next.note(seen("LAP-001", 40-i))))
	}
	if got := codes(t, s); len(got) > 0 {
		t.Errorf("found %v", got)
	}
	stations, err := s.Stations(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, st := range stations {
		if st.Name == own.name && (st.Number != 2 || st.Hash != next.prev || st.Records != 5) {
			t.Errorf("it goes on from %+v", st)
		}
	}
	// The old key again, as of a copy of the profile that numbers from its 2: of one number there are two records then.
	copied := &chained{ownKey: own.ownKey}
	copied.count = 1
	record(t, s, signedLine(t, copied.note(seen("LAP-001", 30))))
	if got := codes(t, s); !slices.Equal(got, []projections.Code{projections.StationGap}) {
		t.Errorf("of a copied profile: %v", got)
	}
}

// TestRetiredStation: what a station observed before it was retired stands, also where it is sent afterwards; what it
// observed later is doubtful, and said to be that and not badly signed.
func TestRetiredStation(t *testing.T) {
	clock := noon.Add(-30 * time.Minute)
	s := open(t, t.TempDir(), site.Options{Name: "north", Clock: func() time.Time { return clock }})
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	before, after := own.note(seen("LAP-001", 60)), own.note(seen("LAP-002", 20))
	if _, err := s.Retire(t.Context(), own.name, "tablet lost", time.Time{}); err != nil {
		t.Fatal(err)
	}
	clock = noon
	for i, r := range record(t, s, signedLine(t, before)+signedLine(t, after)) {
		if r.Error != "" || r.Remark != "" {
			t.Errorf("line %d: %+v", i+1, r)
		}
	}
	if got := codes(t, s); !slices.Equal(got, []projections.Code{projections.StationRetired}) {
		t.Errorf("found %v", got)
	}
	if got := remarked(t, s, "LAP-001"); !slices.Equal(got, []string{""}) {
		t.Errorf("observed before: %q", got)
	}
	if got := remarked(t, s, "LAP-002"); !slices.Equal(got, []string{events.RemarkRetired.String()}) {
		t.Errorf("observed after: %q", got)
	}
}

// TestCorrectionBeforeItsRecord: a station that sends in any order hands in a correction before what it corrects. Both
// are linked, so that evidence covers the correction, which can't be left out of it.
func TestCorrectionBeforeItsRecord(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", Clock: func() time.Time { return noon }})
	c := &chained{ownKey: enrolOwnKey(t, s, "north/cart-3")}
	o := seen("LAP-014", 20)
	first := c.note(o)
	id, err := o.ID()
	if err != nil {
		t.Fatal(err)
	}
	void := func(reason string) []byte {
		return c.note(&events.Observation{Time: noon, Operator: "B-1", Data: &events.EventCorrected{Event: id, Action: "void", Reason: reason}})
	}
	voided, again := void("not there"), void("twice")
	rs := record(t, s, signedLine(t, voided)+signedLine(t, first)+signedLine(t, again))
	links := func(seq int64) (out []string) {
		raw, err := s.ReadRecord(seq)
		if err != nil {
			t.Fatal(err)
		}
		ls, err := proof.Links(s.Name(), raw)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range ls {
			out = append(out, fmt.Sprintf("%s %d %d", l.Key, l.Prev, l.Count))
		}
		return out
	}
	for i, want := range [][]string{
		{"event " + id + " 0 1"},
		{fmt.Sprintf("event %s %d 2", id, rs[0].Seq), "set LAP-014 0 1"},
		{fmt.Sprintf("set LAP-014 %d 2", rs[1].Seq)},
	} {
		if got := links(rs[i].Seq); !slices.Equal(got, want) {
			t.Errorf("record %d is linked by %q, want %q", rs[i].Seq, got, want)
		}
	}
	b := evidenceOf(t, s, site.Query{Set: "LAP-014"})
	for _, r := range rs {
		if _, ok := b.File(fmt.Sprintf("records/%09d.note", r.Seq)); !ok {
			t.Errorf("record %d is not in the evidence", r.Seq)
		}
	}
	covers, _ := b.File("covers")
	if !bytes.Contains(covers, []byte("\nwhole event "+id+"\n")) {
		t.Errorf("the evidence does not cover what came before the record: %s", covers)
	}
	// Left out with all keys in hand, claim included, it is missed.
	signer, _, _, err := ledger.LoadOrCreateKey(filepath.Join(s.Dir(), "keys", "north_ledger.key"), s.Name())
	if err != nil {
		t.Fatal(err)
	}
	for what, claim := range map[string]string{"the correction": "\nwhole event " + id, "the correction and the claim": ""} {
		var files []proof.File
		for _, f := range b.Files {
			if strings.Contains(f.Path, fmt.Sprintf("/%09d.", rs[0].Seq)) && strings.HasSuffix(f.Path, ".tlog-proof") ||
				f.Path == fmt.Sprintf("records/%09d.note", rs[0].Seq) {
				continue
			}
			if f.Path == "covers" {
				f.Data = []byte(strings.Replace(string(f.Data), "\nwhole event "+id, claim, 1))
			}
			files = append(files, f)
		}
		var raw bytes.Buffer
		if err := proof.WriteBundle(&raw, files, signer); err != nil {
			t.Fatal(err)
		}
		if r := bundle.Check(raw.Bytes(), s.Key()); r.Whole || !strings.Contains(fmt.Sprint(r.Problems), "event "+id) {
			t.Errorf("without %s: %v", what, r.Problems)
		}
	}
}

//go:build !race

package site_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestRedaction: after a redaction the texts are in no file, the ledger is whole, and every bundle of before is good.
func TestRedaction(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
	s, rs := told(t, o)
	var before bytes.Buffer
	if err := s.Evidence(t.Context(), site.Query{Case: saidCase}, &before); err != nil {
		t.Fatal(err)
	}
	out, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for by the person", Operator: "B-1001"})
	if err != nil {
		t.Fatal(err)
	}
	// The case, reason and action of the closing, and reason, reason and action of its correction.
	if out.Texts != 6 || len(out.Records) != 3 || len(out.By) != 1 || len(out.Left) > 0 || len(out.Plain) > 0 {
		t.Errorf("taken out: %+v", out)
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
	if raw, err := os.ReadFile(filepath.Join(dir, "door", "reads-2026-03.jsonl")); err != nil ||
		string(raw) != "{\"ask\":\"case=redacted\"}\n{\"ask\":\"reason=redacted\"}\n" {
		t.Errorf("who read what: %s, %v", raw, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "drafts", "count-2.json")); err != nil {
		t.Error("another draft is gone too: ", err)
	}
	check := func(s *site.Site) {
		t.Helper()
		if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
			t.Errorf("verify: %+v, %v", v, err)
		}
		e, err := s.EventAt(rs[1].Seq)
		if err != nil {
			t.Fatal(err)
		}
		d := e.Data.(*events.CaseClosed)
		if !events.IsMark(d.Case) || !events.IsMark(d.Reason) || d.Outcome != "unreconciled" {
			t.Errorf("the record says %+v", d)
		}
		var after bytes.Buffer
		if err := s.Evidence(t.Context(), site.Query{Case: d.Case}, &after); err != nil {
			t.Fatal(err)
		}
		if r := bundle.Check(after.Bytes(), s.Key()); !r.OK || r.Redacted == 0 || strings.Contains(r.History, saidCase) ||
			!strings.Contains(r.History, "[redacted ") || r.Coverage == nil || !r.Coverage.Proven {
			t.Errorf("a bundle of after: %v\n%s", r.Problems, r.History)
		}
		if r := bundle.Check(before.Bytes(), s.Key()); !r.OK || !strings.Contains(r.History, saidReason) {
			t.Errorf("the bundle of before: %v", r.Problems)
		}
		if e, err := s.EventAt(rs[2].Seq); err != nil || e.Data.(*events.SetOpened).Case != "K-2" {
			t.Errorf("another case says %+v, %v", e, err)
		}
		if again, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...); err != nil || !again[0].Known || !again[1].Known {
			t.Errorf("the same recorded again: %+v, %v", again, err)
		}
	}
	check(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
	check(open(t, dir, o))
	nowhere(t, dir, saidCase, saidReason, saidAction)
}

// TestRedactionOfARoundBegunAgain: where a round is begun again because of a line that no record may hold, what its other lines say is
// beside the ledger once, and a redaction takes out all of it; and of the line that is refused nothing is kept.
func TestRedactionOfARoundBegunAgain(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(2))
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	var lines []string
	for _, o := range append(closing(noon.Add(-2*time.Hour)), checked(t, "LAP-015")) {
		raw, err := events.FormatObservation(o)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, string(raw))
	}
	rs := record(t, s, strings.Join(append(lines, tooLong(t)), "\n"))
	if len(rs) != 4 || rs[2].Error != "" || !strings.Contains(rs[3].Error, "a record has at most") {
		t.Fatalf("recorded: %+v", rs)
	}
	texts, err := site.ReadAddenda(dir)
	if err != nil {
		t.Fatal(err)
	}
	if n := texts.Unindexed(); n != 5 { // a case, a reason and an action, and why two stations were enrolled
		t.Errorf("%d texts are beside the ledger, want 5", n)
	}
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
}

// TestRedactionCutOff: what a power cut kept a redaction from is done at the next start.
func TestRedactionCutOff(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
	s, _ := told(t, o)
	texts, err := os.ReadFile(filepath.Join(dir, "addenda"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	// As it lay when only the record of it was written.
	for name, data := range map[string]string{"addenda": string(texts), "redaction-unfinished": "x"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s = open(t, dir, o)
	nowhere(t, dir, saidCase, saidReason, saidAction)
	if _, err := os.Stat(filepath.Join(dir, "redaction-unfinished")); err == nil {
		t.Error("it is still unfinished")
	}
	if e, err := s.EventAt(2); err != nil || e.Kind() != events.KindSetOpened {
		t.Errorf("record 2 says %+v, %v", e, err)
	}
}

// TestRedactionOfOrphans: texts whose record was never appended go with those that say the same, also after a power cut; what
// another record says stays until that is redacted.
func TestRedactionOfOrphans(t *testing.T) {
	for _, cut := range []bool{false, true} {
		dir := t.TempDir()
		o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
		s, _ := told(t, o)
		rs, err := s.Observe(t.Context(), &events.Observation{
			Station: "north/or-3", Kind: events.KindCaseClosed, Time: noon.Add(-time.Hour),
			Data: &events.CaseClosed{Case: "K-2", Outcome: "unreconciled", Reason: saidReason}})
		if err := errors.Join(err, s.Close()); err != nil {
			t.Fatal(err)
		}
		a, err := site.ReadAddenda(dir)
		if err != nil {
			t.Fatal(err)
		}
		for name, text := range map[string]string{"reason": saidReason, "actions": saidAction} {
			if _, err := a.Mark(rand.Reader, name, text); err != nil {
				t.Fatal(err)
			}
		}
		if err := a.Flush(); err != nil {
			t.Fatal(err)
		}
		texts, err := os.ReadFile(filepath.Join(dir, "addenda"))
		if err != nil {
			t.Fatal(err)
		}
		s = open(t, dir, o)
		if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
			t.Fatal(err)
		}
		if cut {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			writeFile(t, filepath.Join(dir, "addenda"), texts)
			writeFile(t, filepath.Join(dir, "redaction-unfinished"), []byte("x"))
			s = open(t, dir, o)
		}
		nowhere(t, dir, saidCase, saidAction)
		if e, err := s.EventAt(rs[0].Seq); err != nil || e.Data.(*events.CaseClosed).Reason != saidReason {
			t.Errorf("cut off %v: another record says %+v, %v", cut, e, err)
		}
		if a, err = site.ReadAddenda(dir); err != nil || a.Saying("reason", saidReason) != 1 {
			t.Errorf("cut off %v: %d lines say what one record does, %v", cut, a.Saying("reason", saidReason), err)
		}
		if _, err := s.Redact(t.Context(), site.Redaction{Records: []int64{rs[0].Seq}, Reason: "asked for"}); err != nil {
			t.Fatal(err)
		}
		nowhere(t, dir, saidReason)
	}
}

// TestRedactionReadsWhileStationsRecord: the records that are there are read with the intake free, also where a redaction is tried
// again, and only those that came since while stations wait. What one of these says stays.
func TestRedactionReadsWhileStationsRecord(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }}
	var s *site.Site
	var said []int64 // the records that say the same as what is taken out
	say := func(of string) {
		rs, err := s.Observe(t.Context(), &events.Observation{
			Station: "north/or-3", Kind: events.KindCaseClosed, Time: noon.Add(-time.Hour),
			Data: &events.CaseClosed{Case: of, Outcome: "unreconciled", Reason: saidReason}})
		if err != nil {
			t.Fatal(err)
		}
		said = append(said, rs[0].Seq)
	}
	var had, first int64 // records before it reads, and the first that it reads while stations wait
	reads, cutOff := 0, func() {}
	o.SetReading(func(seq int64) {
		switch free := s.IntakeFree(); {
		case !free && (first == 0 || seq < first):
			first = seq
			cutOff()
		case free && reads == 0:
			had = s.Size()
			say(fmt.Sprintf("K-%d", 10+len(said)))
		}
		reads++
	})
	check := func(what string) {
		t.Helper()
		if had == 0 || first <= had {
			t.Errorf("%s: of %d records it read from record %d on while stations waited", what, had, first)
		}
		for _, seq := range said {
			if e, err := s.EventAt(seq); err != nil || e.Data.(*events.CaseClosed).Reason != saidReason {
				t.Errorf("%s: record %d says %+v, %v", what, seq, e, err)
			}
		}
		had, first, reads = 0, 0, 0
	}
	s, _ = told(t, o)
	say("K-2")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	a, err := site.ReadAddenda(dir)
	if err != nil {
		t.Fatal(err)
	}
	_, err = a.Mark(rand.Reader, "actions", saidAction) // of a record that was never appended
	if err := errors.Join(err, a.Flush()); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	ctx, cancel := context.WithCancel(t.Context())
	cutOff = cancel
	if out, err := s.Redact(ctx, site.Redaction{Case: saidCase, Reason: "asked for"}); !errors.Is(err, context.Canceled) {
		t.Fatalf("cut off: %+v, %v", out, err)
	}
	check("a redaction")
	cutOff = func() {}
	if err := s.Retain(t.Context()); err != nil {
		t.Fatal(err)
	}
	check("tried again")
	nowhere(t, dir, saidCase, saidAction)
}

// TestRedactionMeetsOrphans: while a redaction reads, a text that no record had a mark of gets one by what a station hands in that signs
// for itself, or such a text comes. What a record says then stays, and what none does goes.
func TestRedactionMeetsOrphans(t *testing.T) {
	disclosed := func() string {
		x, err := events.NewAddendum(rand.Reader, "reason", saidReason)
		if err != nil {
			t.Fatal(err)
		}
		line, err := x.Disclosure()
		if err != nil {
			t.Fatal(err)
		}
		return line
	}
	for _, test := range []struct {
		name            string
		there           bool // the text is in the file from the beginning; else it comes while the redaction reads
		before, between bool // a record with its mark was handed in before, or is while the redaction reads
		behind          bool // not while, but when it has read what it can before stations wait
		stays           int  // lines of the text that are left
	}{
		{"a record with its mark comes", true, false, true, false, 1},
		{"it comes behind what was read", true, false, true, true, 1},
		{"the text comes, and an earlier record has its mark", false, true, false, false, 1},
		{"the text comes, and a record with its mark", false, false, true, true, 1},
		{"the text comes, and no record has its mark", false, false, false, true, 0},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir := t.TempDir()
			o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: fixed(noon)}
			own, seq := disclosed(), int64(0)
			var s *site.Site
			var b *signsThere
			prepare := func() {
				obs := &events.Observation{Station: b.name, Kind: events.KindCaseClosed, Time: noon.Add(-time.Hour), Operator: "B-1",
					Data: &events.CaseClosed{Case: "K-3", Outcome: "unreconciled", Reason: saidReason}}
				b.sign(b.asks(obs), func(e *events.Event) { e.Data.(*events.CaseClosed).Reason = events.Mark(own) })
				r := &b.records[0]
				r.Addenda = slices.DeleteFunc(r.Addenda, func(line string) bool { return !strings.Contains(r.Signed, events.Mark(line)) })
			}
			handIn := func() {
				line, err := json.Marshal(b.records[0])
				if err != nil {
					t.Fatal(err)
				}
				r := record(t, s, string(line)+"\n")[0]
				if r.Error != "" {
					t.Fatal(r.Error)
				}
				seq = r.Seq
			}
			read := false
			o.SetReading(func(seq int64) {
				if read || !s.IntakeFree() || test.behind != (seq == 0) {
					return
				}
				read = true
				if !test.there {
					if err := s.TakeText(own); err != nil {
						t.Fatal(err)
					}
				}
				if test.between {
					handIn()
				}
			})
			s, _ = told(t, o)
			b = newSignsThere(t, s, "north/or-9")
			prepare()
			if test.before {
				handIn()
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			file := filepath.Join(dir, "addenda")
			texts, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			there := own
			if !test.there {
				there = disclosed() // another, so that anything is read
			}
			writeFile(t, file, append(texts, there+"\n"...))
			s = open(t, dir, o)
			b.s = s
			out, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"})
			if err != nil || out.Unfinished || !read {
				t.Fatalf("taken out: %+v, %v; read %t", out, err, read)
			}
			a, err := site.ReadAddenda(dir)
			if err != nil || a.Saying("reason", saidReason) != test.stays {
				t.Errorf("%d lines say it, want %d, %v", a.Saying("reason", saidReason), test.stays, err)
			}
			if seq == 0 {
				nowhere(t, dir, saidReason)
				return
			}
			if e, err := s.EventAt(seq); err != nil || e.Data.(*events.CaseClosed).Reason != saidReason {
				t.Errorf("record %d says %+v, %v", seq, e, err)
			}
		})
	}
}

// TestRedactionThatReadsNothing: where whoever asks for a redaction goes while it reads, or a record can't be read, nothing is on record
// and the texts are as they were.
func TestRedactionThatReadsNothing(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: fixed(noon)}
	ctx, cancel := context.WithCancel(t.Context())
	goes := cancel
	o.SetReading(func(int64) { goes() })
	s := open(t, dir, o)
	var lines strings.Builder
	for i := range 300 { // more than a bundle
		fmt.Fprintf(&lines, `{"station":"north/storage","kind":"set.checked","time":%q,"set":"LAP-014","data":{"place":"A4"}}`+"\n",
			noon.Add(time.Duration(i-4000)*time.Second).Format(time.RFC3339))
	}
	record(t, s, lines.String())
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, _ = told(t, o)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	a, err := site.ReadAddenda(dir)
	if err != nil {
		t.Fatal(err)
	}
	_, err = a.Mark(rand.Reader, "actions", saidAction)
	if err := errors.Join(err, a.Flush()); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	size, asked := s.Size(), site.Redaction{Case: saidCase, Reason: "asked for"}
	read := func(name string) []byte {
		raw, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		return raw
	}
	texts, bundle := read("addenda"), read("log/tile/entries/000.zst")
	asBefore := func(what string, out *site.Redacted) {
		t.Helper()
		if out != nil || s.Size() != size || !bytes.Equal(read("addenda"), texts) {
			t.Errorf("%s: %+v; %d records, had %d", what, out, s.Size(), size)
		}
		if _, err := os.Stat(filepath.Join(dir, "redaction-unfinished")); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s: a redaction is to be ended: %v", what, err)
		}
	}
	out, err := s.Redact(ctx, asked)
	if asBefore("whoever asked has gone", out); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	goes = func() {}
	writeFile(t, filepath.Join(dir, "log", "tile", "entries", "000.zst"), bundle[:10])
	out, err = s.Redact(t.Context(), asked)
	const why = "looking for what no record has a mark of: record 1: "
	if asBefore("a record can't be read", out); err == nil || !strings.Contains(err.Error(), why) {
		t.Error(err)
	}
	writeFile(t, filepath.Join(dir, "log", "tile", "entries", "000.zst"), bundle)
	if out, err := s.Redact(t.Context(), asked); err != nil || out.Unfinished {
		t.Fatalf("taken out: %+v, %v", out, err)
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
}

// TestHold: a legal hold refuses a redaction until it is lifted, and what is due passes over what is held.
func TestHold(t *testing.T) {
	dir := t.TempDir()
	now := noon
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }}
	s, rs := told(t, o)
	say := func(d events.Data) {
		t.Helper()
		now = now.Add(time.Second)
		if _, err := s.Observe(t.Context(), &events.Observation{Station: "north/ledger", Kind: d.Kind(), Time: now, Data: d}); err != nil {
			t.Fatal(err)
		}
	}
	say(&events.HoldPlaced{Hold: "H-1", Case: saidCase, Reason: "court of Nordstadt"})
	size := s.Size()
	for _, r := range []site.Redaction{{Case: saidCase, Reason: "x"}, {Records: []int64{rs[1].Seq}, Reason: "x"}} {
		if _, err := s.Redact(t.Context(), r); err == nil || !strings.Contains(err.Error(), "legal hold H-1 keeps the texts of record") ||
			!strings.Contains(err.Error(), "court of Nordstadt") {
			t.Errorf("held: %v", err)
		}
	}
	if s.Size() != size {
		t.Error("a refused redaction is on record")
	}
	if _, err := s.Redact(t.Context(), site.Redaction{Due: true, Reason: "x"}); err == nil || !strings.Contains(err.Error(), "no retention") {
		t.Errorf("nothing is ever due: %v", err)
	}
	say(&events.RetentionAdopted{Days: 30, Reason: "the house's rule"})
	if out, err := s.Redact(t.Context(), site.Redaction{Due: true, Reason: "due"}); err != nil || out.Texts != 0 {
		t.Errorf("due on the first day: %+v, %v", out, err)
	}
	now = now.Add(31 * 24 * time.Hour)
	out, err := s.Redact(t.Context(), site.Redaction{Due: true, Reason: "due"})
	if err != nil || out.Texts != 1 || !slices.Contains(out.Held, rs[1].Seq) { // why a station was enrolled
		t.Errorf("due and held: %+v, %v", out, err)
	}
	if found := holding(t, dir, saidReason); !slices.Contains(found, "addenda") {
		t.Error("a held text is gone")
	}
	say(&events.HoldLifted{Hold: "H-1", Reason: "the court has ruled"})
	if out, err = s.Redact(t.Context(), site.Redaction{Due: true, Reason: "due"}); err != nil || out.Texts != 5 {
		t.Errorf("due: %+v, %v", out, err)
	}
	nowhere(t, dir, saidReason, saidAction)
	if e, err := s.EventAt(rs[1].Seq); err != nil || e.Subject != saidCase {
		t.Errorf("the case's reference: %+v, %v", e, err)
	}
	for _, r := range []site.Redaction{
		{Case: saidCase}, {Reason: "x"}, {Case: "K-9", Reason: "x"}, {Records: []int64{9999}, Reason: "x"},
		{Case: saidCase, Due: true, Reason: "x"}, {Records: []int64{rs[1].Seq}, Reason: "x"},
	} {
		if _, err := s.Redact(t.Context(), r); err == nil {
			t.Errorf("%+v was done", r)
		}
	}
	// Nobody takes texts out by handing in the event alone.
	line := `{"station":"north/ledger","kind":"texts.redacted","time":"2026-04-05T12:00:00Z","data":{"marks":["` +
		strings.TrimPrefix(s.KeysOf(site.Query{Case: saidCase})[0], "case ") + `"],"reason":"x"}}`
	err = s.Record(t.Context(), strings.NewReader(line), func(r site.Receipt) error {
		if !strings.Contains(r.Error, "listbound texts redact") {
			t.Errorf("receipt %+v", r)
		}
		return nil
	})
	if err != nil && err != io.EOF {
		t.Error(err)
	}
}

// TestRedactionFindsItself: of a case that is taken out no file is named for another one, whose number differs in its
// last digit; a file that has it in base64 is.
func TestRedactionFindsItself(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	lines := ""
	for i := range 10 {
		lines += fmt.Sprintf(`{"station":"north/or-3","kind":"case.closed","time":"2026-03-02T09:00:0%dZ",`+
			`"data":{"case":"K-042%d","outcome":"reconciled","actions":[]}}`+"\n", i, i)
	}
	if err := s.Record(t.Context(), strings.NewReader(lines), func(r site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	for i, before := range []string{"", "a", "ab"} {
		name := filepath.Join(dir, fmt.Sprintf("note-%d", i))
		if err := os.WriteFile(name, []byte("{"+base64.StdEncoding.EncodeToString([]byte(before+"K-0421, later"))+"}"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, err := s.Redact(t.Context(), site.Redaction{Case: "K-0421", Reason: "asked for"})
	if err != nil || strings.Join(out.Left, " ") != "note-0 note-1 note-2" {
		t.Errorf("still found in %v: %v", out.Left, err)
	}
}

// TestHoldOfSeveral: one letter asks for a case and a set. The second hold under its name holds besides the first, not in its place;
// once more for the case it is one hold with another reason, and lifted they are both.
func TestHoldOfSeveral(t *testing.T) {
	now := noon
	s, _ := told(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }})
	say := func(d events.Data) {
		t.Helper()
		now = now.Add(time.Second)
		if _, err := s.Observe(t.Context(), &events.Observation{Station: "north/ledger", Kind: d.Kind(), Time: now, Data: d}); err != nil {
			t.Fatal(err)
		}
	}
	held := func() (out []string) {
		t.Helper()
		holds, _, err := s.Holds(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range holds {
			out = append(out, h.Hold+" "+h.Case+h.Set+" "+h.Reason)
		}
		return out
	}
	say(&events.HoldPlaced{Hold: "H-1", Case: saidCase, Reason: "a letter"})
	say(&events.HoldPlaced{Hold: "H-1", Set: "SET-OTHER", Reason: "a letter"})
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "x"}); err == nil || !strings.Contains(err.Error(), "hold H-1") {
		t.Errorf("held still: %v", err)
	}
	say(&events.HoldPlaced{Hold: "H-1", Case: saidCase, Reason: "another"})
	if got, want := held(), []string{"H-1 SET-OTHER a letter", "H-1 " + saidCase + " another"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	say(&events.HoldLifted{Hold: "H-1", Reason: "the court has ruled"})
	if got := held(); len(got) > 0 {
		t.Errorf("lifted, and held: %q", got)
	}
}

// TestHoldOfCaseHoldsAllOfIt: what a case's legal hold keeps is also why its records were corrected, what a load that was run at once for
// it says, and the reference of a case that is only planned; a hold of all texts keeps that as well.
func TestHoldOfCaseHoldsAllOfIt(t *testing.T) {
	now := noon
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }})
	say := func(station, set string, d events.Data) site.Receipt {
		t.Helper()
		now = now.Add(time.Second)
		rs, err := s.Observe(t.Context(), &events.Observation{Station: station, Kind: d.Kind(), Time: now, Set: set, Operator: "B-1", Data: d})
		if err != nil {
			t.Fatal(err)
		}
		return rs[0]
	}
	opened := say("north/or-1", "LAP-014", &events.SetOpened{Case: "K-1"})
	void := say("north/or-1", "LAP-014", &events.EventCorrected{Event: opened.ID, Action: "void", Reason: "never opened"})
	again := say("north/or-1", "LAP-014", &events.EventCorrected{Event: void.ID, Action: "void", Reason: "it was"})
	run := say("north/sterilizer-1", "LAP-015", &events.SetSterilized{Load: "S1-1", Sterilizer: "S1", Run: 1, Cycle: "c", Result: "passed",
		Released: true, Immediate: "it fell down", For: "K-1"})
	mistyped := say("north/or-1", "", &events.CaseClosed{Case: "K-9", Outcome: "reconciled", Reason: "told"})
	say("north/or-1", "", &events.EventCorrected{Event: mistyped.ID, Action: "replace", Reason: "another case",
		Data: []byte(`{"case":"K-1","outcome":"reconciled","reason":"told"}`)})
	say("north/office", "", &events.CaseScheduled{Case: "K-2", State: "booked", Start: "2026-03-05T07:30:00Z"})
	refused := func(of string, r site.Redaction) {
		t.Helper()
		r.Reason = "asked for"
		if out, err := s.Redact(t.Context(), r); err == nil || !strings.Contains(err.Error(), "legal hold "+of) {
			t.Errorf("%+v: %+v, %v", r, out, err)
		}
	}
	say("north/ledger", "", &events.HoldPlaced{Hold: "H-1", Case: "K-1", Reason: "a letter"})
	for _, rec := range []site.Receipt{void, again, run, mistyped} {
		refused("H-1", site.Redaction{Records: []int64{rec.Seq}})
	}
	say("north/ledger", "", &events.RetentionAdopted{Days: 1})
	now = now.AddDate(0, 0, 2)
	out, err := s.Redact(t.Context(), site.Redaction{Due: true, Reason: "due", Check: true})
	if err != nil || !slices.Contains(out.Held, void.Seq) ||
		!slices.Contains(out.Held, again.Seq) || !slices.Contains(out.Held, run.Seq) {
		t.Errorf("due, and held: %+v, %v", out, err)
	}
	say("north/ledger", "", &events.HoldLifted{Hold: "H-1", Reason: "the court has ruled"})
	say("north/ledger", "", &events.HoldPlaced{Hold: "H-2", Set: "LAP-014", Reason: "a letter"})
	refused("H-2", site.Redaction{Records: []int64{void.Seq}})
	say("north/ledger", "", &events.HoldPlaced{Hold: "H-3", Case: "K-2", Reason: "a letter"})
	refused("H-3", site.Redaction{Case: "K-2"})
	if kept, err := s.Texts(t.Context()); err != nil || len(kept.Holds) != 2 || len(kept.OfNothing) > 0 {
		t.Errorf("each holds something: %+v, %v", kept, err)
	}
	say("north/ledger", "", &events.HoldLifted{Hold: "H-3", Reason: "the court has ruled"})
	say("north/ledger", "", &events.HoldPlaced{Hold: "H-4", Reason: "a letter"})
	refused("H-4", site.Redaction{Case: "K-2"})
	say("north/ledger", "", &events.HoldLifted{Hold: "H-4", Reason: "the court has ruled"})
	if out, err := s.Redact(t.Context(), site.Redaction{Case: "K-2", Reason: "asked for"}); err != nil || out.Texts == 0 {
		t.Errorf("lifted: %+v, %v", out, err)
	}
}

// TestLiftOfNothing: a server lifts no hold that isn't in force, and one that was placed a line before; a hold of what is in no record is
// told from one that holds something.
func TestLiftOfNothing(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", Clock: func() time.Time { return noon }})
	of := func(at int, d events.Data) *events.Observation {
		return &events.Observation{Station: "north/ledger", Kind: d.Kind(), Time: noon.Add(time.Duration(at) * time.Second), Data: d}
	}
	placed, lifted := &events.HoldPlaced{Hold: "H-1", Case: "K-1", Reason: "a letter"}, &events.HoldLifted{Hold: "H-1", Reason: "over"}
	if _, err := s.Observe(t.Context(), of(1, lifted)); err == nil || !strings.Contains(err.Error(), "no legal hold H-1 is in force") {
		t.Errorf("lifted nothing: %v", err)
	}
	if _, err := s.Observe(t.Context(), of(2, placed), of(3, lifted), of(4, placed)); err != nil {
		t.Error(err)
	}
	if kept, err := s.Texts(t.Context()); err != nil || len(kept.Holds) != 1 || !kept.IsOfNothing(placed) {
		t.Errorf("%+v, %v", kept, err)
	}
	if _, err := s.Observe(t.Context(), of(6, lifted)); err != nil {
		t.Error(err)
	}
}

// TestRedactionIsChecked: a redaction that no record may hold takes nothing out.
func TestRedactionIsChecked(t *testing.T) {
	s, rs := told(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true})
	before := s.Size()
	out, err := s.Redact(t.Context(), site.Redaction{Records: []int64{rs[1].Seq}, Reason: "a line\x00and no text"})
	if !refusal.Is(err) || out != nil || s.Size() != before {
		t.Fatalf("%+v, %v; %d records, %d before", out, err, s.Size(), before)
	}
	if found := holding(t, s.Dir(), saidReason); len(found) == 0 {
		t.Error("a text is gone that no record says was taken out")
	}
}

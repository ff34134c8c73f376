package site_test

import (
	"bytes"
	"encoding/base64"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
)

// said are the texts of a small case, none of which is anywhere else.
const (
	saidCase   = "K-MEIER-1951"
	saidReason = "clamp on the floor, Mr. Zwickenbart saw it"
	saidAction = "X-ray by Dr. Quastenflosser"
)

func closing(at time.Time) []*events.Observation {
	return []*events.Observation{
		{Station: "north/or-3", Kind: events.KindSetOpened, Time: at, Set: "LAP-014", Data: &events.SetOpened{Case: saidCase}},
		{Station: "north/or-3", Kind: events.KindCaseClosed, Time: at.Add(time.Hour), Operator: "B-3310", Data: &events.CaseClosed{
			Case: saidCase, Outcome: "unreconciled", Actions: []string{saidAction}, Reason: saidReason,
		}},
	}
}

// holding returns the files of a folder that hold a text: as it is, in capitals or small letters of its own, or inside
// base64 wherever it begins.
func holding(t *testing.T, dir, text string) (found []string) {
	t.Helper()
	forms := [][]byte{[]byte(text)}
	for shift := range 3 {
		// Of the characters that also depend on what stands before or behind, none is looked for.
		b := base64.RawStdEncoding.EncodeToString(append(make([]byte, shift), text...))
		b = b[(shift*8+5)/6 : len(b)-2]
		forms = append(forms, []byte(b), []byte(strings.NewReplacer("+", "-", "/", "_").Replace(b)))
	}
	sitetest.EachFile(t, dir, func(rel string, raw []byte) {
		if slices.ContainsFunc(forms, func(f []byte) bool { return bytes.Contains(raw, f) }) {
			found = append(found, rel)
		}
	})
	return found
}

// TestTextsBesideTheLedger: what is said in free text is in no record, and everybody still reads it.
func TestTextsBesideTheLedger(t *testing.T) {
	dir := t.TempDir()
	now := noon
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }}
	s := open(t, dir, o)
	rs, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{saidCase, saidReason, saidAction} {
		for _, name := range holding(t, dir, text) {
			if name != "addenda" && !strings.HasPrefix(name, "readmodel.db") {
				t.Errorf("%q is in %s", text, name)
			}
		}
		if !slices.Contains(holding(t, dir, text), "addenda") {
			t.Errorf("%q is nowhere beside the ledger", text)
		}
	}
	check := func(s *site.Site) {
		t.Helper()
		e, err := s.EventAt(rs[1].Seq)
		if err != nil {
			t.Fatal(err)
		}
		if d := e.Data.(*events.CaseClosed); e.Subject != saidCase || d.Case != saidCase || d.Reason != saidReason ||
			!slices.Equal(d.Actions, []string{saidAction}) {
			t.Errorf("the record says %s: %+v", e.Subject, d)
		}
		h, err := s.History(t.Context(), site.Query{Case: saidCase})
		if err != nil || len(h.Events) != 2 {
			t.Fatalf("history: %v, %v", h, err)
		}
	}
	check(s)
	again, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...)
	if err != nil || !again[0].Known || !again[1].Known || again[1].Seq != rs[1].Seq {
		t.Errorf("recorded twice: %+v, %v", again, err)
	}
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	check(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	// A line that a power cut left half written was never acknowledged, and the next one takes its place.
	f, err := os.OpenFile(filepath.Join(dir, "addenda"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("WyJub3QgYWxs"); err != nil {
		t.Fatal(err)
	}
	f.Close()
	s = open(t, dir, o)
	check(s)
	if again, err = s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...); err != nil || !again[1].Known {
		t.Errorf("recorded again after a start: %+v, %v", again, err)
	}
	now = now.Add(time.Minute)
	more, err := s.Observe(t.Context(), closing(noon.Add(-time.Hour))...)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if e, err := s.EventAt(more[1].Seq); err != nil || e.Data.(*events.CaseClosed).Reason != saidReason {
		t.Errorf("after the next start: %+v, %v", e, err)
	}
}

// TestBundleCarriesTexts: a bundle is read without the folder, and no text in it can be another.
func TestBundleCarriesTexts(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	if _, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...); err != nil {
		t.Fatal(err)
	}
	for _, q := range []site.Query{{Case: saidCase}, {Set: "LAP-014"}, {All: true}} {
		var z bytes.Buffer
		if err := s.Evidence(t.Context(), q, &z); err != nil {
			t.Fatal(err)
		}
		r := bundle.Check(z.Bytes(), s.Key())
		if !r.OK || r.Redacted != 0 || !strings.Contains(r.History, saidCase) {
			t.Errorf("%+v: %v, %d redacted: %s", q, r.Problems, r.Redacted, r.History)
		}
		if q.Case != "" && (r.Coverage == nil || r.Coverage.Of != "case "+saidCase || !r.Coverage.Proven) {
			t.Errorf("covered is %+v", r.Coverage)
		}
	}
}

// TestRefusedTextLeavesNothing: of a line that is refused no text stays.
func TestRefusedTextLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	of := closing(noon.Add(-2 * time.Hour))
	bad := &events.Observation{Station: "north/or-3", Kind: events.KindEventCorrected, Time: noon,
		Data: &events.EventCorrected{Event: "019cad2b-e120-7af9-9dc9-f06d116b7d76", Action: "void", Reason: "not there"}}
	if _, err := s.Observe(t.Context(), append(of, bad)...); err == nil {
		t.Fatal("a correction of nothing was taken")
	}
	other := closing(noon.Add(-3 * time.Hour))
	other[0].Data, other[1].Data = &events.SetOpened{Case: "K-1"}, &events.CaseClosed{Case: "K-1", Outcome: "reconciled"}
	if _, err := s.Observe(t.Context(), other...); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{saidCase, saidReason, saidAction, "not there"} {
		if found := holding(t, dir, text); len(found) > 0 {
			t.Errorf("%q is in %v", text, found)
		}
	}
	mark := strings.TrimPrefix(s.KeysOf(site.Query{Case: "K-1"})[0], "case ")
	for _, o := range []*events.Observation{
		{Station: "north/or-3", Kind: events.KindCaseClosed, Time: noon, Data: &events.CaseClosed{
			Case: "K-2", Outcome: "unreconciled", Reason: mark}},
		{Station: "north/or-3", Kind: events.KindSetOpened, Time: noon, Set: "LAP-014", Operator: mark, Data: &events.SetOpened{Case: "K-2"}},
	} {
		if _, err := s.Observe(t.Context(), o); err == nil || !strings.Contains(err.Error(), "is no text") {
			t.Errorf("a mark in the place of a text: %v", err)
		}
	}
	// The case itself may be named by its id.
	rs, err := s.Observe(t.Context(), &events.Observation{Station: "north/or-3", Kind: events.KindSetOpened, Time: noon,
		Set: "LAP-022", Data: &events.SetOpened{Case: mark}})
	if err != nil {
		t.Fatal(err)
	}
	if e, err := s.EventAt(rs[0].Seq); err != nil || e.Data.(*events.SetOpened).Case != "K-1" {
		t.Errorf("a case named by its id: %+v, %v", e, err)
	}
}

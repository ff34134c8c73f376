package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/cmd/internal/report"
	"listbound/events"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/words"
)

// factOf is what judgement needs of a record besides the event.
type factOf struct {
	recorded time.Time
	remarks  events.Remark
}

// Judgement names the judgement and the wording of histories of this program: a hash of the source of both.
var Judgement = sync.OnceValue(func() string {
	h := sha256.New()
	for _, files := range []fs.FS{
		events.SourceText, projections.SourceText, facts.SourceText, judge.SourceText, words.English, report.SourceText,
	} {
		err := fs.WalkDir(files, ".", func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			text, err := fs.ReadFile(files, path)
			fmt.Fprintf(h, "%s %d\n", path, len(text))
			h.Write(text)
			return err
		})
		if err != nil {
			return "unknown: " + err.Error() // embedded files can always be read
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
})

// Story is what a bundle tells a reader: a history, or of the whole ledger the verdicts that are not whole.
type Story struct {
	History  *projections.History
	Verdicts []projections.Verdict
}

// Text returns history.txt.
func (s *Story) Text(c *Covers) ([]byte, error) {
	var text bytes.Buffer
	if s.History == nil {
		fmt.Fprintf(&text, "All records of the ledger, %d of them.\nAs known now. Times are UTC.\n\n", c.Size)
		if err := report.Broken(&text, s.Verdicts); err != nil {
			return nil, err
		}
	} else if err := report.History(&text, s.History); err != nil {
		return nil, err
	}
	if !c.AsOf.IsZero() {
		fmt.Fprintf(&text, "\nThis bundle is as known at %s UTC. The ledger had %d records then, and has %d now:\nwhat came later is "+
			"left out of history and records, and the checkpoint is one of today.\n", report.At(c.AsOf), c.Upto, c.Size)
	}
	fmt.Fprintf(&text, "\nJudged by listbound %s.\n", c.Program)
	return text.Bytes(), nil
}

// JSON returns history.json.
func (s *Story) JSON() (out []byte, err error) {
	if s.History == nil {
		out, err = json.Marshal(s.Verdicts, jsontext.WithIndent("  "))
	} else {
		out, err = json.Marshal(s.History, jsontext.WithIndent("  "))
	}
	if err != nil {
		return nil, fmt.Errorf("history: %w", err)
	}
	return out, nil
}

// replay judges the records of a bundle anew, and compares what its history says.
func (r *Report) replay(b *proof.Bundle, c *Covers, all []*entry, texts events.Disclosed) {
	s, err := judged(c, all, texts)
	if err != nil {
		r.add(-1, historyText, "the records can't be judged: "+err.Error())
		return
	}
	text, err := s.Text(c)
	if err == nil {
		var data []byte
		if data, err = s.JSON(); err == nil {
			r.told(b, c, historyText, text)
			r.told(b, c, historyJSON, data)
		}
	}
	if err != nil {
		r.add(-1, historyText, err.Error())
	}
	r.History = string(text)
	var latest *entry
	for _, e := range all {
		_, mapped := e.event.Data.(*events.RecordsMapped)
		if !mapped && (c.AsOf.IsZero() || !e.fact.recorded.After(c.AsOf)) && (latest == nil ||
			e.fact.recorded.After(latest.fact.recorded)) {
			latest = e
		}
	}
	if latest != nil && c.Judged.Before(latest.fact.recorded) {
		r.Remarks = append(r.Remarks, fmt.Sprintf("what is late is judged as of %s, before record %d came: what was late since is not told",
			report.At(c.Judged), latest.seq))
	}
}

// told compares one file with what it must say.
func (r *Report) told(b *proof.Bundle, c *Covers, name string, want []byte) {
	got, ok := b.File(name)
	if !ok || bytes.Equal(got, want) {
		return // a missing file is told of elsewhere
	}
	at := "its end"
	theirs, ours := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
	for i := range min(len(theirs), len(ours)) {
		if theirs[i] != ours[i] {
			at = fmt.Sprintf("line %d", i+1)
			break
		}
	}
	if c.Judgement == Judgement() {
		r.add(-1, name, "it does not say what the records say, from "+at+" on; what they say is told by this checker")
		return
	}
	r.Remarks = append(r.Remarks, fmt.Sprintf("%s was made by another program (%s) and says something else from %s on: "+
		"go by the history that this checker tells, or check with that program's checker", name, c.Program, at))
}

// judged judges the records of a bundle.
func judged(c *Covers, all []*entry, texts events.Disclosed) (*Story, error) {
	w := judge.NewWorld(nil)
	w.SetMoment(c.Judged)
	var told []facts.Fact
	for _, e := range all {
		if !c.AsOf.IsZero() && e.fact.recorded.After(c.AsOf) {
			continue
		}
		said := events.RevealNote(e.note, events.Observed(e.note, e.event), texts)
		f := facts.Fact{Seq: e.seq, Recorded: e.fact.recorded, Remarks: e.fact.remarks, Event: said}
		w.Add(f)
		told = append(told, f)
	}
	src := facts.NewMemory(told)
	if c.Of == Everything {
		vs, err := notWhole(w)
		if err != nil {
			return nil, err
		}
		return &Story{Verdicts: vs}, TellKnown(src, c.Judged, vs)
	}
	kind, name, _ := strings.Cut(c.Of, " ")
	of := projections.HistoryOf{AsOf: c.AsOf}
	switch kind {
	case "set":
		of.Set = name
	case "case":
		of.Case = name
		if a, ok := texts(name); ok {
			of.Case = a.Text
		}
	case "load":
		of.Load = name
	case "trip":
		of.Trip = name
		for _, k := range w.Trips() {
			if k.Trip == name {
				of.Set = k.Set
			}
		}
		of.Trips = []projections.TripKey{{Set: of.Set, Trip: of.Trip}}
	}
	h, err := w.History(of)
	if err != nil {
		return nil, err
	}
	if err := TellKnown(src, c.Judged, h.Verdicts); err != nil {
		return nil, err
	}
	words.Embedded().TellHistory(&h)
	h.AsOf, h.Size = c.AsOf, c.Size
	return &Story{History: &h}, nil
}

// notWhole judges all trips and stations there are, and returns what is broken or doubtful.
func notWhole(w *judge.World) ([]projections.Verdict, error) {
	var out []projections.Verdict
	for _, k := range w.Trips() {
		v, err := w.Judge(k)
		if err != nil {
			return nil, err
		}
		if v.Status == projections.Broken || v.Status == projections.Doubtful {
			out = append(out, v)
		}
	}
	projections.Sort(out)
	for i := range out {
		words.Embedded().Tell(&out[i])
	}
	return out, nil
}

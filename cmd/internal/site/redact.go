package site

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger/disk"
	"listbound/ledger/proof"
	"listbound/projections/facts"
)

// Redaction says which texts are to be taken out: those of some records, or a case's reference with all texts of its
// records. Or those that are due: older than the retention that was adopted.
type Redaction struct {
	Records  []int64
	Case     string
	Due      bool
	Reason   string
	Operator string
}

// Redacted is what was taken out.
type Redacted struct {
	Texts   int     `json:"texts"`
	Records []int64 `json:"records"` // that have a mark of one of them
	By      []int64 `json:"by"`      // the records that say so
	// Plain are records of an earlier program, or of a station that signs for itself, which hold a text of those asked for
	// in themselves: that can't be taken out.
	Plain []int64 `json:"plain,omitempty"`
	// Held are records whose texts are due but held.
	Held []int64 `json:"held,omitempty"`
	// Left are files of the folder in which one of the texts is still found.
	Left []string `json:"left,omitempty"`
}

// redactingName is the file that says that a redaction has not ended: what was derived from the texts is made anew at the
// next start.
const redactingName = "redaction-unfinished"

// Redact takes texts out. It first records that it does, then takes them out of the file beside the ledger, makes the read
// model anew, and takes them out of all else in the folder. Recording waits only for the first part.
func (s *Site) Redact(ctx context.Context, r Redaction) (*Redacted, error) {
	if strings.TrimSpace(r.Reason) == "" {
		return nil, refusal.New("reason is missing: say why texts are taken out")
	}
	if given := len(r.Records) > 0; given && (r.Case != "" || r.Due) || !given && (r.Case != "") == r.Due {
		return nil, refusal.New("name records, a case, or what is due: one of the three")
	}
	out, texts, err := s.redactFile(ctx, r)
	if err != nil || out.Texts == 0 {
		return out, err
	}
	if _, err := s.Rebuild(ctx, nil); err != nil {
		return out, fmt.Errorf("the texts are taken out, but the read model could not be made anew; it is at the next start: %w", err)
	}
	if err := s.sweep(texts); err != nil {
		return out, err
	}
	if out.Left, err = s.find(texts); err != nil {
		return out, err
	}
	return out, errors.Join(removeIfThere(filepath.Join(s.opts.Dir, redactingName)), disk.SyncFolder(s.opts.Dir))
}

func (s *Site) redactFile(ctx context.Context, r Redaction) (*Redacted, []string, error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	in, err := s.begin(ctx)
	if err != nil {
		return nil, nil, err
	}
	in.redacting = true
	out, marks, err := s.toRedact(ctx, r)
	if err != nil || len(marks) == 0 {
		return out, nil, err
	}
	var texts []string
	for _, m := range marks {
		a, _ := s.addenda.disclosed(m)
		texts = append(texts, a.Text)
	}
	for some := range slices.Chunk(marks, events.MaxRedacted) {
		o := &events.Observation{
			Station: s.Name(), Kind: events.KindTextsRedacted, Time: s.opts.Clock().UTC(), Operator: r.Operator,
			Data: &events.TextsRedacted{Marks: some, Reason: r.Reason},
		}
		if err := o.Check(); err != nil {
			return nil, nil, refusal.Because(err)
		}
		l := line{n: 1, obs: o}
		if in.prepare(ctx, &l); l.err != nil {
			return nil, nil, l.err
		}
	}
	// The mark comes first: whoever starts after a power cut then finishes what the records say.
	if err := disk.Write(s.opts.Dir, redactingName, []byte("texts are being taken out; the next start ends it\n")); err != nil {
		return nil, nil, err
	}
	stored, err := s.append(ctx, in.entries)
	if err != nil {
		return nil, nil, err
	}
	for _, a := range stored {
		out.By = append(out.By, a.Seq)
	}
	out.Texts = len(marks)
	return out, texts, s.addenda.drop(marks)
}

func removeIfThere(path string) error {
	if err := os.Remove(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// drop takes addenda out of the file, with those that no record ever had a mark of and that say the same.
func (a *addenda) drop(marks []string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	gone := make(map[string]bool)
	for _, m := range marks {
		gone[m] = true
	}
	drop := make(map[string]bool)
	for _, line := range a.lines {
		drop[line] = gone[events.Mark(line)]
	}
	a.remove(drop)
	return a.replace()
}

// endRedaction ends at a start what a power cut kept a redaction from: texts that the records say are taken out are, and
// the read model is made anew.
func (s *Site) endRedaction(ctx context.Context) error {
	path := filepath.Join(s.opts.Dir, redactingName)
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) || s.ledger.FilesOnly() {
		return nil
	}
	said, err := s.saidOfTexts(ctx)
	if err != nil {
		return err
	}
	var marks, texts []string
	for _, x := range said {
		if d, ok := x.Data.(*events.TextsRedacted); ok {
			for _, m := range d.Marks {
				if a, ok := s.addenda.disclosed(m); ok {
					marks, texts = append(marks, m), append(texts, a.Text)
				}
			}
		}
	}
	if err := s.addenda.drop(marks); err != nil {
		return err
	}
	if err := s.refill(ctx, nil); err != nil {
		return err
	}
	if err := s.sweep(texts); err != nil {
		return err
	}
	return errors.Join(removeIfThere(path), disk.SyncFolder(s.opts.Dir))
}

// saidOfTexts returns the events about redactions, holds and retention, in order.
func (s *Site) saidOfTexts(ctx context.Context) (out []*events.Event, err error) {
	m := s.current()
	if m == nil {
		return nil, refusal.ErrClosed
	}
	seqs, err := m.SaidOfTexts(ctx)
	if err != nil {
		return nil, err
	}
	for _, seq := range seqs {
		e, err := s.EventAt(seq)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// Holds returns the legal holds that are in force, by name, and for how long texts are kept, 0 for good.
func (s *Site) Holds(ctx context.Context) (holds []*events.HoldPlaced, kept time.Duration, err error) {
	said, err := s.saidOfTexts(ctx)
	if err != nil {
		return nil, 0, err
	}
	in := make(map[string]*events.HoldPlaced)
	for _, e := range said {
		switch d := e.Data.(type) {
		case *events.HoldPlaced:
			in[d.Hold] = d
		case *events.HoldLifted:
			delete(in, d.Hold)
		case *events.RetentionAdopted:
			kept = time.Duration(d.Days) * 24 * time.Hour
		}
	}
	for _, name := range slices.Sorted(maps.Keys(in)) {
		holds = append(holds, in[name])
	}
	return holds, kept, nil
}

// toRedact finds the marks that are asked for, none of which may be held.
func (s *Site) toRedact(ctx context.Context, r Redaction) (*Redacted, []string, error) {
	holds, kept, err := s.Holds(ctx)
	if err != nil {
		return nil, nil, err
	}
	out := &Redacted{}
	marks := make(map[string]bool)
	if r.Case != "" {
		for _, m := range s.addenda.ofCase(r.Case) {
			marks[m] = true
		}
	}
	seqs, err := s.recordsToRedact(ctx, r, kept)
	if err != nil {
		return nil, nil, err
	}
	for _, seq := range seqs {
		note, signed, err := s.noteAt(seq)
		if err != nil {
			return nil, nil, err
		}
		e := events.RevealNote(note, signed, s.addenda.disclosed)
		if h := heldBy(holds, e); h != nil {
			if r.Due {
				out.Held = append(out.Held, seq)
				continue
			}
			return nil, nil, refusal.New("legal hold %s keeps the texts of record %d from being taken out (%s); lift it first",
				h.Hold, seq, h.Reason)
		}
		text, err := events.Text(note)
		if err != nil {
			return nil, nil, err
		}
		found := false
		for _, m := range events.Marks(text) {
			a, ok := s.addenda.disclosed(m)
			if !ok || a.Name == events.AddendumCase && r.Case == "" {
				continue // of single records the case stays: it is that of others too
			}
			marks[m], found = true, true
		}
		if found {
			out.Records = append(out.Records, seq)
		}
		if plainText(signed) {
			out.Plain = append(out.Plain, seq)
		}
	}
	if len(marks) == 0 && len(out.Plain) > 0 {
		return nil, nil, refusal.New("what was recorded as record %d is in the record itself, since an earlier program recorded it or "+
			"its station signs for itself: it can't be taken out", out.Plain[0])
	}
	if len(marks) == 0 && !r.Due {
		return nil, nil, refusal.New("there is no text to take out")
	}
	return out, slices.Sorted(maps.Keys(marks)), nil
}

func heldBy(holds []*events.HoldPlaced, e *events.Event) *events.HoldPlaced {
	for _, h := range holds {
		switch {
		case h.Case == "" && h.Set == "", h.Case != "" && (events.CaseOf(e.Data) == h.Case || e.Subject == h.Case),
			h.Set != "" && e.Kind().AboutSet() && e.Subject == h.Set:
			return h
		}
	}
	return nil
}

// plainText reports whether an event, as it is signed, says a text in itself.
func plainText(e *events.Event) (plain bool) {
	_, err := events.Texts(e.Data, "", func(_, text string) (string, error) {
		plain = plain || !events.IsMark(text)
		return text, nil
	})
	return plain || err != nil
}

// recordsToRedact returns the records that are meant.
func (s *Site) recordsToRedact(ctx context.Context, r Redaction, kept time.Duration) ([]int64, error) {
	switch {
	case r.Case != "":
		found, err := s.current().Source(ctx).Facts(facts.DimCase, r.Case)
		var seqs []int64
		for _, f := range found {
			seqs = append(seqs, f.Seq)
		}
		slices.Sort(seqs)
		return slices.Compact(seqs), err
	case !r.Due:
		for _, seq := range r.Records {
			if seq < 1 || seq > s.ledger.Size() {
				return nil, refusal.New("there is no record %d", seq)
			}
		}
		return r.Records, nil
	case kept == 0:
		return nil, refusal.New("no retention is adopted: texts are kept without an end")
	}
	// A case's reference stays while its records do: what is due here are texts.
	var seqs []int64
	before := s.opts.Clock().Add(-kept)
	err := s.ledger.Scan(ctx, 1, func(seq int64, record []byte) error {
		n, _, _, err := proof.SplitArrival(s.Name(), record)
		if err != nil {
			return err
		}
		text, err := events.Text(n)
		if err != nil || len(events.Marks(text)) == 0 {
			return nil //nolint:nilerr // what is no event has no texts
		}
		e, err := events.ParseNote(n)
		if err == nil && e.Time.Before(before) && !e.Kind().SaysOfTexts() {
			seqs = append(seqs, seq)
		}
		return nil
	})
	return seqs, err
}

// forms returns how a text may stand in a file: as it is, in JSON, in an address.
func forms(text string) (out [][]byte) {
	quoted, err := json.Marshal(text) // escapes more than must be
	if err == nil {
		out = append(out, quoted[1:len(quoted)-1])
	}
	html := strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&#34;", "'", "&#39;").Replace(text)
	for _, s := range []string{text, url.QueryEscape(text), url.PathEscape(text), html} {
		if !slices.ContainsFunc(out, func(b []byte) bool { return string(b) == s }) {
			out = append(out, []byte(s))
		}
	}
	return out
}

// saidInBase64 reports whether a text stands in a file in base64. The part that inBase64 returns is that of other texts, too,
// which differ in their last letter, as two cases do; so what stands around it is decoded.
func saidInBase64(raw []byte, text string) bool {
	const quantum = 4 // letters that stand for three bytes
	other := func(r rune) bool {
		return (r < 'A' || r > 'Z') && (r < 'a' || r > 'z') && (r < '0' || r > '9') && !strings.ContainsRune("+/-_", r)
	}
	for _, part := range inBase64(text) {
		for at := 0; ; at += len(part) {
			i := bytes.Index(raw[at:], part)
			if i < 0 {
				break
			}
			at += i
			begin := max(at-quantum, 0)
			begin += bytes.LastIndexFunc(raw[begin:at], other) + 1
			run := raw[begin:min(at+len(part)+quantum, len(raw))]
			if end := bytes.IndexFunc(run, other); end >= 0 {
				run = run[:end]
			}
			plain := strings.NewReplacer("-", "+", "_", "/").Replace(string(run))
			for skip := range min(quantum, len(plain)) {
				got, _ := base64.RawStdEncoding.DecodeString(plain[skip:]) // what is cut off at the end is not part of the text
				if bytes.Contains(got, []byte(text)) {
					return true
				}
			}
		}
	}
	return false
}

// inBase64 returns the part of a text's base64 that doesn't depend on what stands around it, for each place where it may begin.
func inBase64(text string) (out [][]byte) {
	const least = 6 // of fewer bytes too little is left to find only these
	if len(text) < least {
		return nil
	}
	for shift := range 3 {
		b := base64.RawStdEncoding.EncodeToString(append(make([]byte, shift), text...))
		b = b[(shift*8+5)/6 : len(b)-1]
		out = append(out, []byte(b), []byte(strings.NewReplacer("+", "-", "/", "_").Replace(b)))
	}
	return out
}

// sweep takes texts out of what else lies in the folder: a draft that has one is removed, and in the lists of who read
// what a word stands for it.
func (s *Site) sweep(texts []string) error {
	return s.eachFile(func(rel, path string) error {
		top, _, _ := strings.Cut(filepath.ToSlash(rel), "/")
		draft, reads := top == "drafts", top == "door" && strings.HasSuffix(rel, ".jsonl")
		if !draft && !reads {
			return nil
		}
		raw, err := os.ReadFile(path)
		if errors.Is(err, os.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		clean := raw
		for _, text := range texts {
			for _, f := range forms(text) {
				if draft && bytes.Contains(append([]byte(rel+"\n"), raw...), f) {
					return os.Remove(path)
				}
				clean = bytes.ReplaceAll(clean, f, []byte("redacted"))
			}
		}
		if bytes.Equal(clean, raw) {
			return nil
		}
		return disk.Write(filepath.Dir(path), filepath.Base(path), clean)
	})
}

// find returns the files in which one of the texts is still found.
func (s *Site) find(texts []string) (left []string, err error) {
	var wanted [][]byte
	for _, text := range texts {
		wanted = append(wanted, forms(text)...)
	}
	err = s.eachFile(func(rel, path string) error {
		raw, err := os.ReadFile(path)
		if errors.Is(err, os.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		if slices.ContainsFunc(wanted, func(w []byte) bool { return bytes.Contains(raw, w) || strings.Contains(rel, string(w)) }) ||
			slices.ContainsFunc(texts, func(text string) bool { return saidInBase64(raw, text) }) {
			left = append(left, filepath.ToSlash(rel))
		}
		return nil
	})
	return left, err
}

func (s *Site) eachFile(do func(rel, path string) error) error {
	return filepath.WalkDir(s.opts.Dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, os.ErrNotExist) || err == nil && !d.Type().IsRegular() {
			return nil
		}
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(s.opts.Dir, path)
		if err != nil {
			return err
		}
		return do(rel, path)
	})
}

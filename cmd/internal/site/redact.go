package site

import (
	"bytes"
	"cmp"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
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
	Records  []int64 `json:"records,omitempty"`
	Case     string  `json:"case,omitempty"`
	Due      bool    `json:"due,omitzero"`
	Check    bool    `json:"check,omitzero"` // only say what would be taken out
	Reason   string  `json:"reason,omitempty"`
	Operator string  `json:"operator,omitempty"` // badge
}

// Redacted is what was taken out.
type Redacted struct {
	Texts   int     `json:"texts"`
	Records []int64 `json:"records"` // that have a mark of one of them
	By      []int64 `json:"by"`      // the records that say so
	// Plain are records of an earlier program, or of a station that signs for itself, which hold a text of those asked for
	// in themselves: that can't be taken out.
	Plain []int64 `json:"plain,omitempty"`
	// CaseIDs is how many ids a case has whose reference is taken out, where it is more than one: that many cases are judged then.
	CaseIDs int `json:"caseIDs,omitzero"`
	// Held are records whose texts are due but held.
	Held []int64 `json:"held,omitempty"`
	// Left are files of the folder in which one of the texts is still found.
	Left []string `json:"left,omitempty"`
	// Unfinished: the records say it, but the read model could not be made anew or a file not be searched. A server tries
	// again each hour, a start at once.
	Unfinished bool `json:"unfinished,omitzero"`
	// Found are the first texts that a check has found, and Files what has one of them besides the file of texts and
	// the read model: drafts, which are removed, and lists of who read what, in which a word takes its place.
	Found []FoundText `json:"found,omitempty"`
	Files []string    `json:"files,omitempty"`
}

// FoundText is a text that would be taken out, and the first record that has it.
type FoundText struct {
	Seq      int64     `json:"seq"`
	Kind     string    `json:"kind"`
	Observed time.Time `json:"observed"`
	Member   string    `json:"member"` // of the record's data, such as reason; case for the reference of a case
	Text     string    `json:"text"`
}

// mostFound is how many texts a check names one by one.
const mostFound = 500

// redactingName is the file that says that a redaction has not ended, and which texts it takes out: what was derived from
// these is made anew at the next start, where the server does not get to it before.
const redactingName = "redaction-unfinished"

const redactingHead = "texts are being taken out; the next start ends it\n"

// Redact takes texts out. It first records that it does, then takes them out of the file beside the ledger, makes the read
// model anew, and takes them out of all else in the folder. Recording waits only for the first part.
func (s *Site) Redact(ctx context.Context, r Redaction) (*Redacted, error) {
	if strings.TrimSpace(r.Reason) == "" && !r.Check {
		return nil, refusal.Keyed("redact-reason", "reason is missing: say why texts are taken out")
	}
	if given := len(r.Records) > 0; given && (r.Case != "" || r.Due) || !given && (r.Case != "") == r.Due {
		return nil, refusal.Keyed("redact-which", "name records, a case, or what is due: one of the three")
	}
	s.redacting.Lock()
	defer s.redacting.Unlock()
	out, texts, err := s.redactFile(ctx, r)
	switch {
	case err != nil:
		return out, err
	case r.Check:
		out.Files, err = s.find(texts, swept)
		return out, err
	case out.Texts == 0:
		return out, nil
	}
	// What is on record is done to the end, whether or not whoever asked is still there to be told.
	if out.Left, err = s.endRedacting(context.WithoutCancel(ctx)); err != nil {
		s.opts.Logger.Error("texts are taken out, but the folder is not rid of them yet; it is tried again", "error", err)
		out.Unfinished = true
	}
	return out, nil
}

// redactFile records that texts are taken out, and takes them out of the file beside the ledger.
func (s *Site) redactFile(ctx context.Context, r Redaction) (*Redacted, []string, error) {
	var due []int64
	if r.Due { // the whole ledger is read for it, for which nobody should have to wait
		var err error
		if due, err = s.due(ctx); err != nil {
			return nil, nil, err
		}
	}
	var had recorded
	if !r.Check { // for this too
		marks, err := s.marksAsked(ctx, r, due)
		if err != nil {
			return nil, nil, err
		}
		if had, err = s.readFor(ctx, marks); err != nil {
			return nil, nil, err
		}
	}
	s.intake.Lock()
	defer s.intake.Unlock()
	in, err := s.begin(ctx)
	if err != nil {
		return nil, nil, err
	}
	out, marks, err := s.toRedact(ctx, r, due)
	if err != nil || len(marks) == 0 {
		return out, nil, err
	}
	var texts []string
	for _, m := range marks {
		a, _ := s.addenda.disclosed(m)
		texts = append(texts, a.Text)
	}
	out.Texts = len(marks)
	if r.Check {
		return out, texts, nil
	}
	out.Found = nil
	const together = 20 // records of so many marks each are appended as one
	for many := range slices.Chunk(marks, together*events.MaxRedacted) {
		in.redacting = true
		for some := range slices.Chunk(many, events.MaxRedacted) {
			o := &events.Observation{
				Station: s.Name(), Kind: events.KindTextsRedacted, Time: s.opts.Clock().UTC(), Operator: r.Operator,
				Data: &events.TextsRedacted{Marks: some, Reason: r.Reason},
			}
			l := line{n: 1, obs: o}
			if in.prepare(ctx, &l); l.err != nil {
				return nil, nil, l.err
			}
		}
		if len(out.By) == 0 { // whoever starts after a power cut then finishes what the records say
			if err := s.keepUnfinished(texts); err != nil {
				return nil, nil, err
			}
		}
		stored, err := s.append(ctx, in.entries)
		if err != nil {
			return nil, nil, err
		}
		for _, a := range stored {
			out.By = append(out.By, a.Seq)
		}
		if in, err = s.begin(ctx); err != nil {
			return nil, nil, err
		}
	}
	s.gone = nil
	return out, texts, s.dropTexts(ctx, marks, had)
}

// marksAsked returns the marks that are asked for now. More may be by the time that they are taken out.
func (s *Site) marksAsked(ctx context.Context, r Redaction, due []int64) ([]string, error) {
	s.intake.Lock()
	defer s.intake.Unlock()
	if _, err := s.begin(ctx); err != nil {
		return nil, err
	}
	_, marks, err := s.toRedact(ctx, r, due)
	return marks, err
}

// keepUnfinished writes down which texts are being taken out, with those of one that was not ended.
func (s *Site) keepUnfinished(texts []string) error {
	before, err := s.unfinished()
	if err != nil {
		return err
	}
	raw, err := json.Marshal(append(before, texts...))
	if err != nil {
		return err
	}
	return disk.Write(s.opts.Dir, redactingName, append([]byte(redactingHead), raw...))
}

// unfinished returns the texts of redactions that have not ended. Of one that an earlier program began they are not known.
func (s *Site) unfinished() (texts []string, err error) {
	raw, err := os.ReadFile(filepath.Join(s.opts.Dir, redactingName))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	list, ok := bytes.CutPrefix(raw, []byte(redactingHead))
	if !ok || len(list) == 0 {
		return nil, nil
	}
	if err := json.Unmarshal(list, &texts); err != nil {
		return nil, fmt.Errorf("%s can't be read: %w", redactingName, err)
	}
	return texts, nil
}

// endRedacting makes anew what was derived from texts that are taken out, and takes them out of what else is in the
// folder. It returns the files in which one is found nevertheless. The caller holds redacting.
func (s *Site) endRedacting(ctx context.Context) (left []string, err error) {
	texts, err := s.unfinished()
	if err != nil {
		return nil, err
	}
	// A second read model that was begun before has the texts.
	end := s.compares.bar()
	defer end()
	if err := s.pasts.drop(); err != nil {
		return nil, err
	}
	if _, err := s.rebuildAfterOthers(ctx); err != nil {
		return nil, fmt.Errorf("making the read model anew: %w", err)
	}
	texts = s.addenda.silentOn(texts)
	if err := s.sweep(texts); err != nil {
		return nil, err
	}
	if left, err = s.find(texts, everywhere); err != nil {
		return nil, err
	}
	return left, s.ended()
}

// silentOn returns those texts that nothing that is left says, each once. What another record says too, such as a
// reason that many give, is still to be found everywhere, and rightly.
func (a *addenda) silentOn(texts []string) []string {
	a.mu.RLock()
	defer a.mu.RUnlock()
	said := make(map[string]bool)
	a.each(func(_ string, x events.Addendum) { said[x.Text] = true })
	var out []string
	for _, text := range texts {
		if !said[text] {
			said[text] = true
			out = append(out, text)
		}
	}
	return out
}

func removeIfThere(path string) error {
	if err := os.Remove(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// sayingTheSame returns the other marks of the texts that some marks stand for, each of its own name.
func (a *addenda) sayingTheSame(marks []string) map[string]bool {
	a.mu.RLock()
	defer a.mu.RUnlock()
	type said struct{ name, text string }
	these, others := make(map[said]bool), make(map[string]bool)
	for _, m := range marks {
		if x, err := events.ParseDisclosure(a.find(m)); err == nil {
			these[said{x.Name, x.Text}] = true
		}
	}
	a.each(func(line string, x events.Addendum) {
		if these[said{x.Name, x.Text}] {
			others[events.Mark(line)] = true
		}
	})
	for _, m := range marks {
		delete(others, m)
	}
	return others
}

// drop takes addenda out of the file.
func (a *addenda) drop(marks []string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	gone := make(map[digest]bool)
	for _, m := range marks {
		if sum, ok := events.MarkDigest(m); ok {
			gone[sum] = true
		}
	}
	a.remove(gone)
	a.proposed = nil // one of them may be among these
	return a.replace()
}

// endRedaction ends at a start what a power cut kept a redaction from: texts that the records say are taken out are, and
// the read model is made anew.
func (s *Site) endRedaction(ctx context.Context) error {
	if there, err := s.hasUnfinished(); err != nil || !there || s.ledger.FilesOnly() {
		return err
	}
	texts, err := s.dropRecorded(ctx, recorded{}) // no station records yet
	if err != nil {
		return err
	}
	if err := s.refill(ctx, nil); err != nil {
		return err
	}
	if err := s.sweep(s.addenda.silentOn(texts)); err != nil {
		return err
	}
	return s.ended()
}

func (s *Site) hasUnfinished() (bool, error) {
	_, err := os.Stat(filepath.Join(s.opts.Dir, redactingName))
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

// ended says that all redactions have ended.
func (s *Site) ended() error {
	return errors.Join(removeIfThere(filepath.Join(s.opts.Dir, redactingName)), disk.SyncFolder(s.opts.Dir))
}

// dropRecorded takes out of the file beside the ledger what the records say is taken out, and returns the texts of
// redactions that have not ended.
func (s *Site) dropRecorded(ctx context.Context, had recorded) ([]string, error) {
	texts, err := s.unfinished()
	if err != nil {
		return nil, err
	}
	marks, err := s.marksRecorded(ctx)
	if err != nil {
		return nil, err
	}
	for _, m := range marks {
		a, _ := s.addenda.disclosed(m)
		texts = append(texts, a.Text)
	}
	if len(marks) == 0 {
		return texts, nil
	}
	return texts, s.dropTexts(ctx, marks, had)
}

// marksRecorded returns the marks that the records say are taken out and whose texts are there nevertheless.
func (s *Site) marksRecorded(ctx context.Context) (marks []string, err error) {
	said, err := s.saidOfTexts(ctx)
	if err != nil {
		return nil, err
	}
	for _, x := range said {
		if d, ok := x.Data.(*events.TextsRedacted); ok {
			for _, m := range d.Marks {
				if _, ok := s.addenda.disclosed(m); ok {
					marks = append(marks, m)
				}
			}
		}
	}
	return marks, nil
}

// recorded is which of some marks the records have, as far as they were read.
type recorded struct {
	upto  int64
	marks map[string]bool // those that were looked for: whether a record has it. If not, one after upto may.
}

// readFor reads, while stations record, whether the records have what dropTexts looks for: of a large ledger that takes long.
func (s *Site) readFor(ctx context.Context, marks []string) (recorded, error) {
	had := recorded{s.ledger.Size(), make(map[string]bool)} // a line that comes from now on is of a record behind these
	wanted := s.addenda.sayingTheSame(marks)
	for m := range wanted {
		had.marks[m] = true
	}
	err := s.strikeRecorded(ctx, 1, wanted)
	for m := range wanted {
		had.marks[m] = false
	}
	if s.opts.reading != nil {
		s.opts.reading(0)
	}
	return had, err
}

// dropTexts takes texts out of the file beside the ledger, with each line that says the same and whose mark no record has: its
// record was never appended. All go at once: of a line that stayed behind a crash, nothing would tell any more that it says the same.
// Nobody takes texts in meanwhile, so that of the others' marks only those are read that came since readFor.
func (s *Site) dropTexts(ctx context.Context, marks []string, had recorded) error {
	orphans := s.addenda.sayingTheSame(marks)
	maps.DeleteFunc(orphans, func(m string, _ bool) bool { return had.marks[m] })
	if err := s.strikeRecorded(ctx, had.upto+1, orphans); err != nil {
		return err
	}
	// A line that came since and is of none of the records since: of an append that failed, mostly. An earlier record may have its mark.
	late := maps.Clone(orphans)
	maps.DeleteFunc(late, func(m string, _ bool) bool { _, looked := had.marks[m]; return looked })
	if had.upto > 0 && len(late) > 0 {
		for m := range late {
			delete(orphans, m)
		}
		if err := s.strikeRecorded(ctx, 1, late); err != nil {
			return err
		}
		maps.Copy(orphans, late)
	}
	return s.addenda.drop(slices.AppendSeq(slices.Clone(marks), maps.Keys(orphans)))
}

// strikeRecorded removes the marks that a record from there on has. It reads until none is left.
func (s *Site) strikeRecorded(ctx context.Context, from int64, marks map[string]bool) error {
	if len(marks) == 0 {
		return nil
	}
	err := s.ledger.Scan(ctx, from, func(seq int64, record []byte) error {
		if s.opts.reading != nil {
			s.opts.reading(seq)
		}
		n, _, _, err := proof.SplitArrival(s.Name(), record)
		if err != nil {
			return fmt.Errorf("record %d: %w", seq, err)
		}
		text, err := events.Text(n)
		if err != nil {
			text = n // rather too many marks than too few: what a record may refer to stays
		}
		for _, m := range events.Marks(text) {
			delete(marks, m)
		}
		if len(marks) == 0 {
			return io.EOF
		}
		return nil
	})
	if err != nil && err != io.EOF { //nolint:errorlint // its own
		return fmt.Errorf("looking for what no record has a mark of: %w", err)
	}
	return nil
}

// saidOfTexts returns the events about redactions, holds and retention, in order.
func (s *Site) saidOfTexts(ctx context.Context) (out []*events.Event, err error) {
	seqs, err := Answer(s, func(v *View) ([]int64, error) { return v.SaidOfTexts(ctx) })
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

// Texts implements Service.
func (s *Site) Texts(ctx context.Context) (*TextsKept, error) {
	holds, kept, err := s.Holds(ctx)
	if err != nil {
		return nil, err
	}
	out := &TextsKept{Days: int64(kept / (24 * time.Hour)), Holds: holds}
	_, err = Answer(s, func(v *View) (struct{}, error) {
		for _, h := range holds {
			found, err := ofHold(v.Source(ctx), h, s.opts.Clock())
			if err != nil {
				return struct{}{}, err
			}
			if !found {
				out.OfNothing = append(out.OfNothing, h)
			}
		}
		return struct{}{}, nil
	})
	return out, err
}

// ofHold reports whether there is a record of the case and of the set that a hold names; one of all texts names none.
func ofHold(source facts.Source, h *events.HoldPlaced, now time.Time) (bool, error) {
	either := func(asks ...func() ([]facts.Fact, error)) (bool, error) {
		for _, ask := range asks {
			if found, err := ask(); len(found) > 0 || err != nil {
				return err == nil, err
			}
		}
		return false, nil
	}
	if h.Case != "" {
		found, err := either(func() ([]facts.Fact, error) { return source.Facts(facts.DimCase, h.Case) },
			func() ([]facts.Fact, error) { return source.Facts(facts.DimSchedule, h.Case) })
		if !found {
			return false, err
		}
	}
	if h.Set != "" {
		return either(func() ([]facts.Fact, error) { return source.Around(h.Set, now, 1) },
			func() ([]facts.Fact, error) {
				return source.Facts(facts.DimEntry, events.EntryKey(events.RegisterSets, h.Set))
			})
	}
	return true, nil
}

// Holds returns the legal holds that are in force, by name, and for how long texts are kept, 0 for good. One name may hold several
// cases and sets, as one letter of a court may ask for several: it holds them all until it is lifted.
func (s *Site) Holds(ctx context.Context) (holds []*events.HoldPlaced, kept time.Duration, err error) {
	said, err := s.saidOfTexts(ctx)
	if err != nil {
		return nil, 0, err
	}
	in := make(map[string][]*events.HoldPlaced)
	for _, e := range said {
		switch d := e.Data.(type) {
		case *events.HoldPlaced:
			same := func(h *events.HoldPlaced) bool { return h.Case == d.Case && h.Set == d.Set }
			in[d.Hold] = append(slices.DeleteFunc(in[d.Hold], same), d)
		case *events.HoldLifted:
			delete(in, d.Hold)
		case *events.RetentionAdopted:
			kept = time.Duration(d.Days) * 24 * time.Hour
		}
	}
	for _, name := range slices.Sorted(maps.Keys(in)) {
		holds = append(holds, in[name]...)
	}
	return holds, kept, nil
}

// toRedact finds the marks that are asked for, none of which may be held.
func (s *Site) toRedact(ctx context.Context, r Redaction, due []int64) (*Redacted, []string, error) {
	holds, _, err := s.Holds(ctx)
	if err != nil {
		return nil, nil, err
	}
	out := &Redacted{}
	marks, listed := make(map[string]bool), make(map[string]bool)
	if r.Case != "" {
		ids := s.addenda.ofCase(r.Case)
		for _, m := range ids {
			marks[m] = true
		}
		if len(ids) > 1 {
			out.CaseIDs = len(ids)
		}
	}
	seqs, err := s.recordsToRedact(ctx, r, due)
	if err != nil {
		return nil, nil, err
	}
	ofHeld, err := s.ofHeldCases(ctx, holds)
	if err != nil {
		return nil, nil, err
	}
	for _, seq := range seqs {
		note, signed, err := s.noteAt(seq)
		if err != nil {
			return nil, nil, err
		}
		e := events.RevealNote(note, signed, s.addenda.disclosed)
		h := ofHeld[seq]
		if h == nil {
			if h, err = s.heldBy(ctx, holds, seq, e); err != nil {
				return nil, nil, err
			}
		}
		if h != nil {
			if r.Due {
				out.Held = append(out.Held, seq)
				continue
			}
			return nil, nil, refusal.Keyed("redact-held",
				"legal hold %s keeps the texts of record %d from being taken out (%s); lift it first",
				h.Hold, seq, h.Reason)
		}
		these, err := s.marksToRedact(note, r.Case != "")
		if err != nil {
			return nil, nil, err
		}
		for _, m := range these {
			if a, _ := s.addenda.disclosed(m); !listed[m] && len(out.Found) < mostFound {
				listed[m] = true
				out.Found = append(out.Found, FoundText{seq, string(signed.Kind()), signed.Time, a.Name, a.Text})
			}
			marks[m] = true
		}
		if len(these) > 0 {
			out.Records = append(out.Records, seq)
		}
		if plainText(signed) {
			out.Plain = append(out.Plain, seq)
		}
	}
	// A case of which no record is found by its reference, such as one that is only planned, has the reference all the same.
	if h := holdOf(holds, r.Case, ""); r.Case != "" && h != nil {
		return nil, nil, refusal.Keyed("redact-held-case",
			"legal hold %s keeps the reference of this case from being taken out (%s); lift it first", h.Hold, h.Reason)
	}
	if len(marks) == 0 {
		if err := nothingToRedact(out.Plain, r.Due); err != nil {
			return nil, nil, err
		}
	}
	return out, slices.Sorted(maps.Keys(marks)), nil
}

// nothingToRedact refuses a redaction of records without a text that can be taken out; one of all that is due may find none.
func nothingToRedact(plain []int64, due bool) error {
	switch {
	case len(plain) > 0:
		return refusal.Keyed("redact-plain", "what was recorded as record %d is in the record itself, since an earlier "+
			"program recorded it or its station signs for itself: it can't be taken out", plain[0])
	case !due:
		return refusal.Keyed("redact-none", "there is no text to take out")
	}
	return nil
}

// marksToRedact finds the marks of a record whose texts are there to be taken out. The reference of a case is only taken
// out with the case: of single records it stays, since it is that of others too.
func (s *Site) marksToRedact(note []byte, ofCase bool) (marks []string, err error) {
	text, err := events.Text(note)
	if err != nil {
		return nil, err
	}
	for _, m := range events.Marks(text) {
		if a, ok := s.addenda.disclosed(m); ok && (a.Name != events.AddendumCase || ofCase) {
			marks = append(marks, m)
		}
	}
	return marks, nil
}

// holdOf returns the hold of a case or a set, either may be empty; one of all texts holds both.
func holdOf(holds []*events.HoldPlaced, ref, set string) *events.HoldPlaced {
	for _, h := range holds {
		if h.Case == "" && h.Set == "" || h.Case != "" && h.Case == ref || h.Set != "" && h.Set == set {
			return h
		}
	}
	return nil
}

// ofHeldCases returns the records that belong to cases that are held, by what any correction made them name, each with its hold.
func (s *Site) ofHeldCases(ctx context.Context, holds []*events.HoldPlaced) (map[int64]*events.HoldPlaced, error) {
	of := make(map[int64]*events.HoldPlaced)
	for _, h := range holds {
		if h.Case == "" {
			continue
		}
		m, err := tables(ctx, s.current())
		if err != nil {
			return nil, err
		}
		for _, dim := range []facts.Dim{facts.DimCase, facts.DimSchedule} {
			found, err := m.Source(ctx).Facts(dim, h.Case)
			if err != nil {
				return nil, err
			}
			for _, f := range found {
				of[f.Seq] = h
			}
		}
	}
	return of, nil
}

// heldBy returns the hold that keeps the texts of an event, which is record at, nil for none. A correction is held with what it corrects.
func (s *Site) heldBy(ctx context.Context, holds []*events.HoldPlaced, at int64, e *events.Event) (*events.HoldPlaced, error) {
	if len(holds) == 0 {
		return nil, nil //nolint:nilnil // nothing is held
	}
	ref, set := cmp.Or(events.CaseOf(e.Data), e.Subject), ""
	if e.Kind().AboutSet() {
		set = e.Subject
	}
	h := holdOf(holds, ref, set)
	if d, ok := e.Data.(*events.SetSterilized); ok && h == nil {
		h = holdOf(holds, d.For, set) // run at once for the case that waited
	}
	c, ok := e.Data.(*events.EventCorrected)
	if h != nil || !ok {
		return h, nil
	}
	m, err := tables(ctx, s.current())
	if err != nil {
		return nil, err
	}
	seqs, err := m.FindEvents(ctx, c.Event)
	if err != nil {
		return nil, err
	}
	for _, seq := range seqs {
		if seq >= at { // ids that stations give may go in a circle
			continue
		}
		note, signed, err := s.noteAt(seq)
		if err != nil {
			return nil, err
		}
		if h, err = s.heldBy(ctx, holds, seq, events.RevealNote(note, signed, s.addenda.disclosed)); h != nil || err != nil {
			return h, err
		}
	}
	return nil, nil //nolint:nilnil // nothing holds it
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
func (s *Site) recordsToRedact(ctx context.Context, r Redaction, due []int64) ([]int64, error) {
	switch {
	case r.Case != "":
		m, err := tables(ctx, s.current())
		if err != nil {
			return nil, err
		}
		found, err := m.Source(ctx).Facts(facts.DimCase, r.Case)
		var seqs []int64
		for _, f := range found {
			seqs = append(seqs, f.Seq)
		}
		slices.Sort(seqs)
		return slices.Compact(seqs), err
	case r.Due:
		return due, nil
	}
	for _, seq := range r.Records {
		if seq < 1 || seq > s.ledger.Size() {
			return nil, refusal.Keyed("redact-no-record", "there is no record %d", seq)
		}
	}
	return r.Records, nil
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

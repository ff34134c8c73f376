package site

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// Texts that records refer to and that are not there, though no redaction took them out: the file beside the ledger was
// lost, or an older copy of it put back. The ledger is whole without them and says so, and the read model is made without
// them and agrees; so they are looked for on their own.

// marksWithout are the marks whose texts are not there, each with the first record that has it.
type marksWithout map[string]int64

// lookAt takes the marks of a record.
func (m marksWithout) lookAt(s *Site, seq int64, record []byte) {
	if n, _, _, err := proof.SplitArrival(s.Name(), record); err == nil {
		m.look(s, seq, n)
	} // else it is told of otherwise
}

// look takes the marks of a station's note, which is nil for a record that can't be taken apart.
func (m marksWithout) look(s *Site, seq int64, n []byte) {
	if s.following != nil {
		return // they lie where the ledger is written; each page says so
	}
	text, err := events.Text(n)
	if err != nil {
		return
	}
	for _, mark := range events.Marks(text) {
		if _, ok := s.addenda.disclosed(mark); !ok && m[mark] == 0 {
			m[mark] = seq
		}
	}
}

// unexplained returns the records whose texts are gone though none says that they were taken out.
func (m marksWithout) unexplained(ctx context.Context, s *Site) ([]int64, error) {
	if len(m) == 0 {
		return nil, nil
	}
	said, err := s.saidOfTexts(ctx)
	if err != nil {
		return nil, err
	}
	for _, e := range said {
		if d, ok := e.Data.(*events.TextsRedacted); ok {
			for _, mark := range d.Marks {
				delete(m, mark)
			}
		}
	}
	return slices.Compact(slices.Sorted(maps.Values(m))), nil
}

// missingProblem says what to do.
func missingProblem(seqs []int64) ledger.Problem {
	return ledger.Problem{Seq: seqs[0], What: fmt.Sprintf("texts that %d records refer to are not in the file %s, and no redaction took "+
		"them out: put the file back from a copy, unless a station that signs for itself never handed them in", len(seqs), addendaName)}
}

// idKeyCheck holds the key of ids at the head of the file of addenda against the ids of records that the server numbered. By another
// key each observation with a text or a case has another id, and what is handed in again is stored twice.
type idKeyCheck struct {
	right bool  // an id was taken under the key
	wrong int64 // the first record whose id was not, 0 where there is none
}

// look takes in a station's note, until one has shown the key to be right.
func (c *idKeyCheck) look(s *Site, seq int64, n []byte) {
	if c.right || s.following != nil {
		return
	}
	text, err := events.Text(n)
	if err != nil || len(events.Marks(text)) == 0 {
		return
	}
	for _, mark := range events.Marks(text) {
		if _, ok := s.addenda.disclosed(mark); !ok {
			return // taken out, or of another file
		}
	}
	e, err := events.Decode(text)
	if err != nil {
		return
	}
	if _, err := os.Stat(s.keyPath(e.Station)); err != nil {
		return // it numbers its records itself
	}
	told := events.RevealNote(n, e, s.addenda.disclosed)
	if told.HasKeyedID(e.ID, s.addenda.idKey()) {
		c.right = true
	} else if c.wrong == 0 && !told.HasID(e.ID) { // as earlier programs took it
		c.wrong = seq
	}
}

// lookAt takes in a record.
func (c *idKeyCheck) lookAt(s *Site, seq int64, record []byte) {
	if n, _, _, err := proof.SplitArrival(s.Name(), record); err == nil {
		c.look(s, seq, n)
	}
}

// problems says what to do where no record has an id by the key, though some should.
func (c *idKeyCheck) problems() []ledger.Problem {
	if c.right || c.wrong == 0 {
		return nil
	}
	return []ledger.Problem{{Seq: c.wrong, What: fmt.Sprintf("the first line of the file %s is not what it was when this record was "+
		"given its id: what is handed in again is stored twice until the file is put back from a copy", addendaName)}}
}

// newest is how many records a start looks at: what is lost with the file is missing in the last ones too, and whoever opens
// a folder for one question doesn't wait for a million.
const newest = 256

var errEnough = errors.New("enough was looked at")

// lookForTexts looks at a start whether texts are missing, in the last records and where a check of all found some, and whether
// their ids are by the folder's key.
func (s *Site) lookForTexts(ctx context.Context) error {
	if len(s.ledger.Damage()) > 0 || s.ledger.Size() == 0 {
		return nil
	}
	without := make(marksWithout)
	if c := s.Checked(); c != nil {
		for _, seq := range c.Missing {
			if record, err := s.ledger.Read(seq); err == nil {
				without.lookAt(s, seq, record)
			}
		}
	}
	var ids idKeyCheck
	err := s.ledger.Scan(ctx, max(1, s.ledger.Size()-newest+1), func(seq int64, record []byte) error {
		without.lookAt(s, seq, record)
		ids.lookAt(s, seq, record)
		return nil
	})
	if err == nil && len(ids.problems()) > 0 { // another file may have been begun meanwhile: the first ones tell
		err = s.ledger.Scan(ctx, 1, func(seq int64, record []byte) error {
			if ids.lookAt(s, seq, record); seq == newest || ids.right {
				return errEnough
			}
			return nil
		})
	}
	if err != nil && !errors.Is(err, errEnough) {
		return err
	}
	for _, p := range ids.problems() {
		s.opts.Logger.Error("ids are not by the folder's key", "problem", p.String())
	}
	seqs, err := without.unexplained(ctx, s)
	if err != nil {
		return err
	}
	s.textsMissing(seqs)
	return nil
}

// textsMissing keeps which records lack their texts, for the pages, and logs it.
func (s *Site) textsMissing(seqs []int64) {
	if len(seqs) > 0 {
		s.opts.Logger.Error("texts are missing", "problem", missingProblem(seqs).String())
	}
	s.missing.Store(&seqs)
}

package site

import (
	"context"
	"errors"
	"io"
	"iter"
	"slices"
	"time"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/judge"
)

// SetMapEvery has the newest about each key put on record after so many records.
func (o *Options) SetMapEvery(records int64) { o.mapEvery = records }

// SetMeanwhile has something done before a folder that is opened is this program's.
func (o *Options) SetMeanwhile(do func()) { o.meanwhile = do }

// SetReading has a redaction call something with each record that it reads for what no record has a mark of, and with 0 when it has read
// what it can before stations wait.
func (o *Options) SetReading(do func(seq int64)) { o.reading = do }

// IntakeFree reports whether nobody has the intake.
func (s *Site) IntakeFree() bool {
	free := s.intake.TryLock()
	if free {
		s.intake.Unlock()
	}
	return free
}

// Turn is the lock of the intake.
type Turn = turn

// Waiting returns how many wait for it.
func (t *turn) Waiting() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.waiting)
}

// Waiting returns how many wait for the intake.
func (s *Site) Waiting() int { return s.intake.Waiting() }

// MapDue reports whether a mapping is due so many records after the last one, behind a round of so many.
func MapDue(since int64, round int) bool { return mapDue(since, mapEvery, round) }

// World returns what judges.
func (s *Site) World() *judge.World { return s.current().World() }

// KeysOf returns what a question is about, as the ledger links it.
func (s *Site) KeysOf(q Query) []string { return s.keysOf(q) }

// ArrivedAt returns when the ledger took a record.
func (s *Site) ArrivedAt(seq int64) (time.Time, error) {
	rec, err := s.ledger.Read(seq)
	if err != nil {
		return time.Time{}, err
	}
	_, at, _, err := proof.ReadArrival(s.Name(), rec)
	return at, err
}

// VerifyRecords is Verify without the read model beside it.
func (s *Site) VerifyRecords(ctx context.Context) (*Verification, error) {
	return s.verifyRecords(ctx, ledger.VerifyOptions{}, func(*recordRead) {})
}

// RestTimes is how many times as long as a piece took a slow check rests behind it, by the sizes that the ledger has then.
func RestTimes(was int64, sizes ...int64) (out []int) {
	r := rests{was: was}
	for _, n := range sizes {
		r.size = func() int64 { return n }
		out = append(out, int(r.times()))
	}
	return out
}

// HistoryJudged is History for which all verdicts are judged anew.
func (s *Site) HistoryJudged(ctx context.Context, q Query) (*projections.History, error) {
	return Answer(s, func(v *View) (*projections.History, error) {
		h, err := v.history(ctx, v.known(ctx, q.AsOf), q, false)
		if err == nil {
			err = errors.Join(v.TellIncidents(ctx, h.Verdicts), v.TellKnown(ctx, q.AsOf, h.Verdicts))
		}
		return h, err
	})
}

// PutInPlace puts a read model that lies elsewhere, or nowhere, in the place of the site's own.
func (s *Site) PutInPlace(ctx context.Context, path string) error {
	s.intake.Lock()
	defer s.intake.Unlock()
	return s.putInPlace(ctx, path)
}

// FillAnew makes a read model of the ledger, and returns where it lies.
func (s *Site) FillAnew(ctx context.Context) (string, error) { return s.fillAnew(ctx, nil) }

// CheckModel holds the read model against the records, as Verify does, without looking at the records themselves.
func (s *Site) CheckModel(ctx context.Context) ([]ledger.Problem, error) {
	c := s.beginModelCheck(ctx, atOnce)
	defer c.drop()
	return c.end()
}

// VerifyWith is Verify that calls each with every record, and holds the read model against one that fill makes, as AtOnce does.
func (s *Site) VerifyWith(ctx context.Context, each func(seq int64), fill Filler) (*Verification, error) {
	return s.verify(ctx, ledger.VerifyOptions{}, each, fill)
}

// Filler makes a read model.
type Filler = filler

// AtOnce is what Verify uses.
var AtOnce Filler = atOnce

// Addenda are the texts of a folder, for tests of how they are found.
type Addenda struct{ *addenda }

// ReadAddenda reads the file of a folder.
func ReadAddenda(dir string) (Addenda, error) {
	a, err := readAddenda(dir, nil)
	return Addenda{a}, err
}

// KeepIndex writes an index if so many lines are in none.
func (a Addenda) KeepIndex(least int) error { return a.keepIndex(least) }

// Unindexed returns how many lines are in no index.
func (a Addenda) Unindexed() int { return len(a.byMark) }

// Unflushed returns how many are not on disk.
func (a Addenda) Unflushed() int { return a.unflushed() }

// Mark takes in a text with a salt that random gives.
func (a Addenda) Mark(random io.Reader, name, text string) (string, error) {
	a.random = random
	return a.mark(name, text)
}

// Begin, Take, Forget, Flush and Drop change what there is.
func (a Addenda) Begin() error               { return a.begin() }
func (a Addenda) Take(lines ...string) error { return a.take(lines) }
func (a Addenda) Forget(n int)               { a.forget(n) }
func (a Addenda) Flush() error               { return a.flush() }
func (a Addenda) Drop(marks ...string) error { return a.drop(marks) }

// Disclosed, OfCase, FirstOfCase and CaseIDs ask for it.
func (a Addenda) Disclosed(mark string) (events.Addendum, bool) { return a.disclosed(mark) }
func (a Addenda) OfCase(reference string) []string              { return a.ofCase(reference) }
func (a Addenda) FirstOfCase(reference string) string           { return a.firstOfCase(reference) }
func (a Addenda) CaseIDs() [][]string                           { return a.caseIDs() }

// Saying returns how many lines say a text.
func (a Addenda) Saying(name, text string) (n int) {
	a.each(func(_ string, x events.Addendum) {
		if x.Name == name && x.Text == text {
			n++
		}
	})
	return n
}

// PlacesOf returns where lines may begin whose digest is the first of some, which begin at their numbers.
func PlacesOf(digests ...[32]byte) []int {
	var all [][placeBytes]byte
	for i, d := range digests {
		all = append(all, placeOf(d, i))
	}
	return slices.Collect(places(nil).with(all[:1]).with(all[1:]).of(digests[0]))
}

// TakeText takes a disclosure in that no record comes with, and flushes it.
func (s *Site) TakeText(line string) error {
	s.intake.Lock()
	defer s.intake.Unlock()
	return errors.Join(s.addenda.take([]string{line}), s.addenda.flush())
}

// PlayedParts returns how many of the lines of a week that is played go in at once, where so many may.
func PlayedParts(lines iter.Seq2[Arrived, error], most int) (parts []int) {
	for p := range arrivedParts(lines, most, nil) {
		parts = append(parts, len(p.lines))
	}
	return parts
}

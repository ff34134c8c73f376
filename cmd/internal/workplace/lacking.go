package workplace

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// lack is something by which a set is not complete, or for which it is looked through, as the ledger has it.
type lack struct {
	key     string // tells it apart from what is known later
	words   string
	lines   []projections.BackLine // Pieces lack, Packed are left; none where nobody said which it is
	call    string                 // the case whose people look for it, "" for none
	said    bool                   // somebody reported it
	counted bool                   // the counts of the case ended short of it
	damaged bool                   // it is there, and damaged
	trip    string                 // the turn before, where it was missed then
}

// lacking is all by which a set is not complete: what was reported or found missing since it was used in this turn, or in the
// one before where this one has had no use; what it was packed without; what is in repair or damaged.
func (v *visit) lacking(k projections.TripKey) ([]lack, error) {
	out, before, err := v.missing(k)
	if err != nil {
		return nil, err
	}
	return site.Answer(v.d.site, func(m *site.View) ([]lack, error) {
		w := m.World(v)
		c := w.Trip(k)
		pieces := c.Pieces
		if c.Prev != "" {
			pieces = slices.Concat(w.Trip(projections.TripKey{Set: k.Set, Trip: c.Prev}).Pieces, pieces)
		}
		if len(c.Opened) == 0 {
			out = append(out, slices.DeleteFunc(before, func(l lack) bool { return !l.counted })...)
		}
		short, err := v.packedShort(w, c, pieces)
		if err != nil {
			return nil, err
		}
		repair, err := v.inRepair(w, c, short)
		if err != nil {
			return nil, err
		}
		out = append(append(out, short...), repair...)
		return append(out, v.cameDamaged(c)...), w.Failed()
	})
}

// missing is what is missing of a set by the findings of its turn, and by those of the turn before.
func (v *visit) missing(k projections.TripKey) (now, before []lack, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		c := w.Trip(k)
		verdict, err := m.Verdict(v, k)
		if err != nil {
			return err
		}
		now = v.missedIn(verdict, c.Pieces)
		if c.Prev == "" {
			return w.Failed()
		}
		p := projections.TripKey{Set: k.Set, Trip: c.Prev}
		if verdict, err = m.Verdict(v, p); err != nil {
			return err
		}
		before = v.missedIn(verdict, slices.Concat(w.Trip(p).Pieces, c.Pieces))
		for i := range before {
			before[i].trip = p.Trip
		}
		return w.Failed()
	})
	return now, before, err
}

// missedIn is what findings of a turn say to be missing, and nothing recorded since tells where it is. pieces are the reports
// by which some of it may be found.
func (v *visit) missedIn(verdict *projections.Verdict, pieces []*facts.Item) (out []lack) {
	if verdict == nil {
		return nil
	}
	for i := range verdict.Findings { // the heaviest first
		f := &verdict.Findings[i]
		l := lack{key: lacksKey(f), call: verdict.Case}
		switch d := f.Detail.(type) {
		case *projections.BackIncomplete, *projections.UnusedIncomplete, *projections.PieceMissed, *projections.MissingSincePacked,
			*projections.CameBack:
			if l.said = missingPiece(f); !l.said {
				continue
			}
			l.lines = missedLines(f)
		case *projections.Unaccounted:
			l.lines = countedShort(f, d.Counts)
		case *projections.Misplaced:
			l.lines = countedShort(f, d.Counts)
		case *projections.ClosedOpen:
			if len(d.Unaccounted) > 0 { // its lines are told by the counts
				continue
			}
		default:
			continue
		}
		if l.counted = !l.said; l.counted {
			_, open := f.Detail.(*projections.ClosedOpen)
			if l.lines = notFound(l.lines, pieces, f.To); len(l.lines) == 0 && !open {
				continue
			}
		}
		l.words, _ = v.finding(f)
		out = append(out, l)
	}
	return out
}

// countedShort are the lines that counts ended short of.
func countedShort(f *projections.Finding, counts projections.CountsDiffer) (out []projections.BackLine) {
	if f.Code != projections.CountShort || f.Severity == projections.SeverityNoted {
		return nil
	}
	for _, c := range counts {
		for _, l := range c.Lines {
			if n := l.Expected - l.Counted; n > 0 && !l.Beyond {
				out = append(out, projections.BackLine{Line: l.Line, Item: l.Item, Description: l.Description,
					Pieces: n, Packed: l.Counted})
			}
		}
	}
	return out
}

// notFound are the lines that still lack a piece, after what was reported as found since a moment.
func notFound(lines []projections.BackLine, pieces []*facts.Item, since time.Time) (out []projections.BackLine) {
	for _, l := range lines {
		if l.Pieces -= reported(l, pieces, since, events.BecameFound); l.Pieces > 0 {
			out = append(out, l)
		}
	}
	return out
}

// reported is how many pieces of a line became something since a moment.
func reported(l projections.BackLine, pieces []*facts.Item, since time.Time, became ...events.Became) (n int64) {
	for _, it := range pieces {
		d := facts.PieceOf(it)
		if samePiece(l, d) && slices.Contains(became, d.Became) && !it.At().Before(since) {
			n += d.Quantity
		}
	}
	return n
}

// samePiece reports whether a report is of a piece of a line: by its item, since lines move, or by its line where one has none.
func samePiece(l projections.BackLine, d *events.PieceReported) bool {
	return d.Item == l.Item && d.Item != "" || (d.Item == "" || l.Item == "") && d.Line == l.Line
}

// packedShort are the lines that a set was packed without in this turn, where neither a report nor a count of its case has
// shown the piece since.
func (v *visit) packedShort(w *judge.World, c *facts.Trip, pieces []*facts.Item) ([]lack, error) {
	pack := c.LastPack()
	if pack == nil || len(facts.PackOf(pack).Exceptions) == 0 {
		return nil, nil
	}
	st, err := w.Standing(c.Key)
	var out []lack
	for _, l := range st.Lines {
		x := projections.BackLine{Line: l.Line.Line, Item: l.Item, Description: l.Description, Packed: max(l.Packed, l.Last)}
		x.Pieces = l.Quantity - x.Packed -
			reported(x, pieces, pack.At(), events.BecameFound, events.BecameBack, events.BecameReplaced)
		if x.Pieces > 0 && !l.Beyond && l.Packed < l.Quantity {
			out = append(out, lack{key: fmt.Sprintf("packed/%d/%d", pack.Seq, x.Line), lines: []projections.BackLine{x},
				words: v.t("lack-packed", v.t("piece-line", x.Line, x.Description), l.Packed, l.Quantity, v.time(pack.At()))})
		}
	}
	return out, err
}

// turnsOf are a turn of a set and those before it, the last first, as far back as repairs take.
func turnsOf(w *judge.World, c *facts.Trip) []*facts.Trip {
	const turns = 12
	out := []*facts.Trip{c}
	for c.Prev != "" && len(out) < turns {
		c = w.Trip(projections.TripKey{Set: c.Key.Set, Trip: c.Prev})
		out = append(out, c)
	}
	return out
}

// inRepair are the pieces that were sent to repair, in this turn or before it, and did not come back: that the set was packed as
// listed in between brought no piece back. Left out is what the set is told to be packed without anyhow.
func (v *visit) inRepair(w *judge.World, c *facts.Trip, short []lack) (out []lack, err error) {
	turns := turnsOf(w, c)
	var pieces []*facts.Item
	for _, p := range slices.Backward(turns) {
		pieces = append(pieces, p.Pieces...)
	}
	seen := make(map[string]bool)
	for _, it := range pieces {
		d := facts.PieceOf(it)
		l := projections.BackLine{Line: d.Line, Item: d.Item, Description: d.Description}
		l.Pieces = reported(l, pieces, time.Time{}, events.BecameRepair) -
			reported(l, pieces, time.Time{}, events.BecameBack, events.BecameReplaced)
		name := d.Item
		if d.Line > 0 {
			name = v.t("piece-line", d.Line, d.Description)
		}
		told := slices.ContainsFunc(short, func(s lack) bool {
			return slices.ContainsFunc(s.lines, func(x projections.BackLine) bool { return samePiece(x, d) })
		})
		if d.Became != events.BecameRepair || l.Pieces <= 0 || seen[name] || told {
			continue
		}
		if settled, err := settledSince(w, turns, it); err != nil {
			return nil, err
		} else if settled {
			continue
		}
		seen[name] = true
		out = append(out, lack{key: fmt.Sprintf("repair/%d", it.Seq), lines: []projections.BackLine{l},
			words: v.t("lack-repair", name, v.time(it.At()))})
	}
	return out, nil
}

// settledSince reports whether a report of before the set was packed says nothing of it any more: the counts of a case since have
// shown all pieces of its line, so another one is in its place; or it is of none of the lines that the set is packed by.
func settledSince(w *judge.World, turns []*facts.Trip, it *facts.Item) (bool, error) {
	d, listed := facts.PieceOf(it), true
	for i, c := range turns {
		pack := c.LastPack()
		if pack == nil || !pack.At().After(it.At()) {
			continue
		}
		st, err := w.Standing(c.Key)
		if err != nil {
			return false, err
		}
		k := slices.IndexFunc(st.Lines, func(l projections.LineStanding) bool {
			return !l.Beyond && samePiece(projections.BackLine{Line: l.Line.Line, Item: l.Item}, d)
		})
		if i == 0 {
			listed = k >= 0
		}
		if k >= 0 && st.Lines[k].Last >= st.Lines[k].Quantity {
			return true, nil
		}
	}
	return !listed, nil
}

// cameDamaged is a piece that was seen to be damaged on the way back, and nothing says what became of it.
func (v *visit) cameDamaged(c *facts.Trip) []lack {
	for _, it := range slices.Backward(c.Steps) {
		d := facts.ReturnOf(it)
		if d == nil || !slices.Contains(d.Faults, events.ReturnDamaged) {
			continue
		}
		if slices.ContainsFunc(c.Pieces, func(it *facts.Item) bool {
			became := facts.PieceOf(it).Became
			return became == events.BecameRepair || became == events.BecameReplaced
		}) {
			return nil
		}
		return []lack{{key: fmt.Sprintf("damaged/%d", it.Seq), damaged: true, words: v.t("lack-damaged", v.time(it.At()))}}
	}
	return nil
}

// lacksKeys tells what a set lacks apart from what it lacks later.
func lacksKeys(all []lack) string {
	var keys []string
	for _, l := range all {
		keys = append(keys, l.key)
	}
	return strings.Join(keys, " ")
}

// lackWords say all of it, and whom to tell.
func (v *visit) lackWords(all []lack) string {
	var out []string
	for i, l := range all {
		out = append(out, strings.TrimSuffix(l.words, ".")+".")
		if l.call != "" && !slices.ContainsFunc(all[:i], func(o lack) bool { return o.call == l.call }) {
			out = append(out, v.t("lack-call", l.call))
		}
	}
	return strings.Join(out, " ")
}

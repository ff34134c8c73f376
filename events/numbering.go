package events

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// StationKey is a key that a station was enrolled with, and how long it was in
// force. What the station observed in that time stands, whenever it comes in.
type StationKey struct {
	Key      string    `json:"key"`             // verifier key
	Enrolled time.Time `json:"enrolled"`        // by the enrolment's own time
	Ended    time.Time `json:"ended,omitzero"`  // by a retirement, or an enrolment with another key; zero: in force
	By       int64     `json:"by,omitempty"`    // sequence of the record that ended it
	Again    bool      `json:"again,omitempty"` // the station had had the key before

	verifier note.Verifier
}

// holds reports whether an observation of that moment is covered. A key's first
// time reaches back to the beginning: what was observed before the enrolment may
// be recorded after it.
func (k *StationKey) holds(at time.Time) bool {
	return (k.Ended.IsZero() || !at.After(k.Ended)) && !(k.Again && at.Before(k.Enrolled))
}

// Run is a stretch of a station's records that follow one from the other, by
// number and hash, with nothing missing between them. Which runs there are
// depends on the records and not on the order in which they came, so that a
// hole closes when what was missing comes. Only of two records under one number
// that follow from the same one, the second to come begins a run of its own.
type Run struct {
	First  int64  `json:"first"`  // sequence of its first record
	Number int64  `json:"number"` // stationseq of that
	Prev   string `json:"prev"`   // stationprev of that
	Key    uint32 `json:"key"`    // hash of the key that signed it
	Start  bool   `json:"start"`  // it begins a chain: nothing is missing before it
	// Stray: one record that the station did not sign. Where one that it did sign follows from it, it is in the chain all
	// the same, and nothing is missing there; as long as none does, it is anybody's.
	Stray bool `json:"stray,omitempty"`

	Last    int64  `json:"last"` // the same of its last record
	Count   int64  `json:"count"`
	Hash    string `json:"hash"`
	LastKey uint32 `json:"lastKey"`

	Clocked int64     `json:"clocked"`        // sequence of its first record that is not from paper, 0 for none
	At      time.Time `json:"at,omitzero"`    // time of that
	Paper   time.Time `json:"paper,omitzero"` // latest time from paper before that
	Clock   time.Time `json:"clock,omitzero"` // the station's clock after its last record; zero while Clocked is 0
	Back    bool      `json:"back,omitempty"` // the clock had run back to At

	kept bool // as it is now
}

// Change is what the record that came last changes about one before it.
type Change struct {
	Seq        int64
	Set, Clear Remark
	Seen       Remark // what was unseen of it (see [Checked]) and no longer is
	Text       string // of what is set
}

// signedBy returns the hash of the key that a note names in its signature line,
// 0 where there is none to read.
func signedBy(n []byte) uint32 {
	const chars = 8    // of base64: the four bytes of the hash and two more
	const ed25519 = 93 // of an Ed25519 signature with the hash, as base64, and the end of the line
	i := len(n) - ed25519 - 1
	if i < 0 || n[i] != ' ' {
		i = bytes.LastIndexByte(n, ' ')
	}
	if i < 0 || len(n) < i+1+chars {
		return 0
	}
	var b [6]byte
	if _, err := base64.StdEncoding.Decode(b[:], n[i+1:i+1+chars]); err != nil {
		return 0
	}
	return binary.BigEndian.Uint32(b[:])
}

// number puts a record among its station's runs.
func (a *Audit) number(st *Station, seq int64, p Parsed, key uint32, signed, ahead bool, c *Checked) {
	e, hash := p.Event, p.Hash.String()
	run := st.follows(e.StationSeq-1, e.StationPrev, key)
	if run != nil && signed {
		run.Last, run.Count, run.Hash, run.LastKey, run.kept = seq, e.StationSeq, hash, key, false
		a.tick(st, run, seq, e, ahead, c)
	} else {
		run = &Run{
			First: seq, Number: e.StationSeq, Prev: e.StationPrev, Key: key, Stray: !signed,
			Last: seq, Count: e.StationSeq, Hash: hash, LastKey: key,
		}
		a.tick(st, run, seq, e, ahead, c)
		if run.Stray {
			next := st.after(run)
			if next == nil {
				st.Runs = append(st.Runs, run)
				return
			}
			run.adopt(next.Key)
		}
		run = a.place(st, run, c)
	}
	if next := st.after(run); next != nil {
		st.drop(next)
		c.Earlier = append(c.Earlier, Change{Seq: next.First, Clear: RemarkGap, Seen: RemarkGap})
		a.join(st, run, next, c)
	}
	if len(st.Runs) > 1 || run.Clocked == seq {
		a.clocks(st, run, seq, c)
	}
	st.tip()
	c.Earlier = slices.DeleteFunc(c.Earlier, func(ch Change) bool {
		if ch.Seq == seq {
			c.Apply(ch)
		}
		return ch.Seq == seq
	})
}

// place puts a run that is new behind the one that it follows from, or says
// that what it follows from is missing. It returns the run that it is in then.
func (a *Audit) place(st *Station, run *Run, c *Checked) *Run {
	before := st.follows(run.Number-1, run.Prev, run.Key)
	if before == nil {
		if stray := st.stray(run); stray != nil {
			st.drop(stray)
			stray.adopt(run.Key)
			before = a.place(st, stray, c)
		}
	}
	if before != nil {
		before.kept = false
		a.join(st, before, run, c)
		return before
	}
	run.Start = run.Number == 1 && run.Prev == "" && !st.started(run.Key)
	if !run.Start {
		a.hole(st, run, c)
	}
	st.Runs = append(st.Runs, run)
	return run
}

// adopt takes a stray for what a record that a key signed follows from.
func (r *Run) adopt(key uint32) { r.Stray, r.Key, r.LastKey, r.kept = false, key, key, false }

func (st *Station) drop(run *Run) {
	st.Runs = slices.DeleteFunc(st.Runs, func(r *Run) bool { return r == run })
	st.gone = append(st.gone, run.First)
}

// follows returns the run whose last record has this number and hash. A key
// goes on from the chain of one before it, and never the other way round.
func (st *Station) follows(number int64, hash string, key uint32) *Run {
	for _, r := range st.Runs {
		if r.Count == number && r.Hash == hash && !r.Stray && st.rank(r.LastKey) <= st.rank(key) {
			return r
		}
	}
	return nil
}

// stray returns the stray that a run follows from.
func (st *Station) stray(run *Run) *Run {
	for _, r := range st.Runs {
		if r.Stray && r.Number == run.Number-1 && r.Hash == run.Prev {
			return r
		}
	}
	return nil
}

// after returns the run whose first record follows from the last one of a run.
func (st *Station) after(run *Run) *Run {
	for _, r := range st.Runs {
		if r.Number == run.Count+1 && r.Prev == run.Hash && r != run && !r.Stray &&
			(run.Stray || st.rank(run.LastKey) <= st.rank(r.Key)) {
			return r
		}
	}
	return nil
}

// rank is the place of a key among those that the station had.
func (st *Station) rank(key uint32) int {
	for i := len(st.Keys) - 1; i >= 0; i-- {
		if st.Keys[i].verifier.KeyHash() == key {
			return i
		}
	}
	return -1
}

// started reports whether a key's chain has begun. A new key may begin a new
// one, since whoever lost a key mostly lost the place in its numbering too.
func (st *Station) started(key uint32) bool {
	return slices.ContainsFunc(st.Runs, func(r *Run) bool { return r.Start && r.Key == key })
}

// hole says that what a run follows from is not there. In an excerpt that shows
// only where what is there contradicts it.
func (a *Audit) hole(st *Station, run *Run, c *Checked) {
	follows, given := run.Number == 1 && run.Prev != "", false
	for _, r := range st.Runs {
		if r.Stray {
			continue
		}
		follows = follows || r.LastKey == run.Key && r.Count == run.Number-1
		given = given || (r.Key == run.Key || r.LastKey == run.Key) && r.Number <= run.Number && run.Number <= r.Count
	}
	ch := Change{Seq: run.First, Set: RemarkGap}
	switch {
	case follows:
		ch.Text = fmt.Sprintf("%s's record %d does not follow from its record %d", st.Name, run.Number, run.Number-1)
	case a.Excerpt && !given:
		c.Unseen |= RemarkGap
		return
	default:
		ch.Text = fmt.Sprintf("%s numbered this record %d; its last one here was %d", st.Name, run.Number, st.Count)
	}
	c.Earlier = append(c.Earlier, ch)
}

// tick moves a run's clock to an event that was put at its end. What was
// entered from paper may be of any time before, and sets no clock back.
func (a *Audit) tick(st *Station, run *Run, seq int64, e *Event, ahead bool, c *Checked) {
	paper := e.Medium == MediumPaper
	switch {
	case paper && ahead:
	case paper && run.Clocked == 0:
		run.Paper = later(run.Paper, e.Time)
	case paper:
		run.Clock = later(run.Clock, e.Time)
	case run.Clocked == 0:
		run.Clocked, run.At, run.Clock = seq, e.Time, e.Time // held against the run before by clocks
	default:
		if a.back(run.Clock, e.Time) {
			c.add(RemarkBackwards, "%s", ranBack(st.Name, run.Clock, e.Time))
		}
		run.Clock = e.Time
	}
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// back reports whether a clock that had shown one time ran back to another.
func (a *Audit) back(was, at time.Time) bool { return !was.IsZero() && was.Sub(at) > a.Tolerance }

// join puts a run at the end of another that it follows from.
func (a *Audit) join(st *Station, run, next *Run, c *Checked) {
	run.Last, run.Count, run.Hash, run.LastKey = next.Last, next.Count, next.Hash, next.LastKey
	switch {
	case next.Clocked == 0 && run.Clocked == 0:
		run.Paper = later(run.Paper, next.Paper)
	case next.Clocked == 0:
		run.Clock = later(run.Clock, next.Paper)
	case run.Clocked == 0: // clocks holds it against what is before
		run.Paper = later(run.Paper, next.Paper)
		run.Clocked, run.At, run.Clock, run.Back = next.Clocked, next.At, next.Clock, next.Back
	default:
		was := later(run.Clock, next.Paper)
		ch := Change{Seq: next.Clocked, Seen: RemarkBackwards}
		switch back := a.back(was, next.At); {
		case back && !next.Back:
			ch.Set, ch.Text = RemarkBackwards, ranBack(st.Name, was, next.At)
		case !back:
			ch.Clear = RemarkBackwards
		}
		c.Earlier = append(c.Earlier, ch)
		run.Clock = next.Clock
	}
}

// clocks holds the first time of each run whose forerunner may have changed
// against the clock before it.
func (a *Audit) clocks(st *Station, changed *Run, seq int64, c *Checked) {
	for _, r := range st.Runs {
		if r.Stray || r.Clocked == 0 || r != changed && (r.Key != changed.LastKey || r.Number <= changed.Count) {
			continue
		}
		if a.Excerpt && !r.Start {
			if r.Clocked == seq {
				c.Unseen |= RemarkBackwards
			}
			continue
		}
		was := later(st.clockBefore(r), r.Paper)
		back := a.back(was, r.At)
		if back == r.Back {
			continue
		}
		r.Back, r.kept = back, false
		switch {
		case r.Clocked == seq && back:
			c.add(RemarkBackwards, "%s", ranBack(st.Name, was, r.At))
		case back:
			c.Earlier = append(c.Earlier, Change{Seq: r.Clocked, Set: RemarkBackwards, Text: ranBack(st.Name, was, r.At)})
		default:
			c.Earlier = append(c.Earlier, Change{Seq: r.Clocked, Clear: RemarkBackwards})
		}
	}
}

// clockBefore returns what the station's clock had shown before a run, across
// the hole between: the clock of the nearest run of the same key.
func (st *Station) clockBefore(run *Run) time.Time {
	var paper time.Time
	for !run.Start {
		var near *Run
		for _, r := range st.Runs {
			if r.LastKey == run.Key && r.Count < run.Number && !r.Stray && (near == nil || r.Count > near.Count) {
				near = r
			}
		}
		if near == nil {
			break
		}
		if near.Clocked != 0 {
			return later(near.Clock, paper)
		}
		paper = later(paper, near.Paper)
		run = near
	}
	return paper
}

// tip finds the record from which the station goes on: the last one by the key
// in force, or where there is none by the key before.
func (st *Station) tip() {
	if st.own != 0 {
		st.tipOf(st.own)
		return
	}
	for i := len(st.Keys) - 1; i >= 0 && !st.tipOf(st.Keys[i].verifier.KeyHash()); i-- {
	}
}

// HeadOf returns number and note hash of the last record that a key signed, 0 and "" where it signed none.
func (st *Station) HeadOf(key uint32) (number int64, hash string) {
	if last := st.lastOf(key); last != nil {
		return last.Count, last.Hash
	}
	return 0, ""
}

func (st *Station) lastOf(key uint32) (last *Run) {
	for _, r := range st.Runs {
		if r.LastKey == key && !r.Stray && (last == nil || r.Count > last.Count) {
			last = r
		}
	}
	return last
}

func (st *Station) tipOf(key uint32) bool {
	last := st.lastOf(key)
	if last == nil {
		return false
	}
	st.Count, st.Hash, st.Time = last.Count, last.Hash, last.Clock
	if last.Clocked == 0 {
		st.Time = later(st.clockBefore(last), last.Paper)
	}
	return true
}

// Moved returns the runs that are new or other since it was asked last, and the
// first records of those that are gone.
func (st *Station) Moved() (changed []*Run, gone []int64) {
	for _, r := range st.Runs {
		if !r.kept {
			r.kept = true
			changed = append(changed, r)
		}
	}
	gone, st.gone = st.gone, nil
	return changed, gone
}

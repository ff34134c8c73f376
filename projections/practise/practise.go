// Package practise makes incidents to practise with: a seed gives a small invented hospital in which one thing went
// wrong, what its stations recorded of that, and what is right to answer. The same seed gives the same records on every
// machine, so that a class has one incident before it.
//
// What can go wrong is data (causes.json); a file of the same form can stand in its place. A week is taken only if
// exactly its cause happened in it and judgement finds that, and nothing else: so the answer can be found by reading.
package practise

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/simulate"
)

// Incident is one to practise with.
type Incident struct {
	Seed    uint64
	Causes  string // digest of the file of causes that it was drawn from
	Cause   *Cause
	Records []simulate.Record // in the order in which they arrived
	End     time.Time         // of what was recorded
	Sets    []string          // that were recorded, in the order of their names
	Truth   Truth
}

// Truth is what is right to answer.
type Truth struct {
	Turns  []projections.TripKey // that it happened to
	At     time.Time             // when it began
	Place  string
	Step   Step   // of the place
	Open   []Step // that the records leave open; Step is one of them
	From   time.Time
	To     time.Time // between these by the records
	Clues  []Clue    // by which it is known
	Marked time.Duration
}

// Clue is a finding, by the records that show it.
type Clue struct {
	Of      projections.TripKey
	Finding projections.Finding
	Records []string // ids of events
}

// tries is how many weeks are looked at for one of a cause. The rarest cause of ours takes some thirty, seldom a hundred.
const tries = 1000

// ErrNever is told of a cause that never shows as it is described.
var ErrNever = errors.New("no week shows this cause, and it alone")

// hospital is where a cause is planted: so small that all of it can be read.
func (c *Cause) hospital(seed uint64) simulate.Config {
	h := simulate.Drill()
	h.Site, h.Seed, h.Sets, h.Cases, h.Rates = Site, seed, 14, 3, c.Rates
	h.Read, h.Tag, h.Scan, h.PutRight, h.Offline = 0.95, 1, 0.9, 0, 0
	return h
}

// Make returns the incident of a seed, of a cause that the seed draws.
func Make(cs *Causes, seed uint64) (*Incident, error) {
	draw := rand.New(rand.NewPCG(seed, uint64(len(cs.Causes))))
	return Of(cs, &cs.Causes[draw.IntN(len(cs.Causes))], seed)
}

// Of returns that of a cause.
func Of(cs *Causes, c *Cause, seed uint64) (*Incident, error) { return among(cs, c, seed, tries) }

// among looks for it among so many weeks.
func among(cs *Causes, c *Cause, seed uint64, weeks int) (*Incident, error) {
	h := c.hospital(seed)
	for n := range weeks {
		week := h.Week(n)
		planted := c.planted(week)
		if planted == nil {
			continue
		}
		in := &Incident{Seed: seed, Causes: cs.Digest, Cause: c, Records: append(h.Setup(), week.Records...), Truth: *planted}
		fits, err := in.judge(week)
		if err != nil {
			return nil, err
		}
		if fits {
			in.finish(week)
			return in, nil
		}
	}
	return nil, fmt.Errorf("cause %q, seed %d: %w", c.ID, seed, ErrNever)
}

func (in *Incident) finish(week *simulate.Week) {
	for _, t := range week.Trips {
		if !slices.Contains(in.Sets, t.Set) {
			in.Sets = append(in.Sets, t.Set)
		}
	}
	slices.Sort(in.Sets)
	for i := range in.Records {
		if r := in.Records[i].Recorded; r.After(in.End) {
			in.End = r
		}
	}
}

// Digest names what was recorded: who has the same has the same incident.
func (in *Incident) Digest() string {
	sum := sha256.New()
	for i := range in.Records {
		fmt.Fprintln(sum, in.Records[i].Event.ID, in.Records[i].Recorded.UnixNano())
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// judge judges each turn, keeps what is found of the planted ones, and reports whether it can be answered: something
// of the cause is found of each turn that it happened to, nothing weighs in any other, and the times hold what happened.
func (in *Incident) judge(week *simulate.Week) (bool, error) {
	w := judge.NewWorld(nil)
	ids := make(map[int64]string)
	for i := range in.Records {
		seq := int64(i + 1)
		w.Add(facts.Fact{Seq: seq, Recorded: in.Records[i].Recorded, Event: in.Records[i].Event})
		ids[seq] = in.Records[i].Event.ID
	}
	for _, t := range week.Trips {
		key := projections.TripKey{Set: t.Set, Trip: t.ID}
		v, err := w.Judge(key)
		if err != nil {
			return false, err
		}
		of := slices.Contains(in.Truth.Turns, key)
		found := false
		for i := range v.Findings {
			f := v.Findings[i]
			if !of {
				// That a set was opened without reading its count sheet is of every day, and tells of nothing.
				if f.Severity != projections.SeverityNoted && f.Code != projections.LinkMissing {
					return false, nil
				}
				continue
			}
			if !slices.Contains(in.Cause.Found, f.Code) {
				continue // what follows from it
			}
			c := Clue{Of: key, Finding: f}
			for _, seq := range f.Events {
				c.Records = append(c.Records, ids[seq])
			}
			in.Truth.Clues, found = append(in.Truth.Clues, c), true
		}
		if of && !found && !in.Cause.Named {
			return false, nil
		}
	}
	return len(in.Truth.Clues) > 0 && in.window(week), nil
}

// window takes the times from what is found, and reports whether they hold what happened and leave few steps open.
func (in *Incident) window(week *simulate.Week) bool {
	t := &in.Truth
	for i := range t.Clues {
		from, to := in.times(&t.Clues[i])
		if t.From.IsZero() || from.Before(t.From) {
			t.From = from
		}
		if to.After(t.To) {
			t.To = to
		}
	}
	if t.At.Before(t.From.Add(-Slack)) || t.At.After(t.To.Add(Slack)) {
		return false
	}
	for _, x := range week.Trips {
		if slices.Contains(t.Turns, projections.TripKey{Set: x.Set, Trip: x.ID}) {
			in.open(x)
		}
	}
	if t.Step == StepReturn {
		t.Open = append(t.Open, StepReturn)
	}
	return slices.Contains(t.Open, t.Step) && len(t.Open) <= cmp.Or(in.Cause.Open, mostOpen)
}

// mostOpen is how many steps are left open at most, if a cause doesn't say: with more the question would be none.
const mostOpen = 3

// open adds the steps at which a turn was in the times of the truth. What lies in a closed set is changed neither on its
// way nor on a shelf.
func (in *Incident) open(x *simulate.Trip) {
	t := &in.Truth
	shut := in.Cause.inClosed(x)
	for _, s := range x.Stays {
		step := stepOf(s.Place)
		if shut && step != StepPacking && step != StepRoom || s.From.After(t.To) || !s.To.After(t.From) {
			continue
		}
		if !slices.Contains(t.Open, step) {
			t.Open = append(t.Open, step)
		}
	}
}

// inClosed reports whether what a cause changes lies in a closed set.
func (c *Cause) inClosed(x *simulate.Trip) bool {
	switch simulate.FaultKind(c.Happens) {
	case simulate.PieceShort, simulate.Mispacked:
		return true
	case simulate.LabelSwap, simulate.HolderSwap:
		return false
	}
	return x.Inside()
}

// times are those of a finding; where it has none, from the record of its turn before what shows it to that one.
func (in *Incident) times(c *Clue) (from, to time.Time) {
	if f := &c.Finding; !f.From.IsZero() {
		return f.From, f.To
	}
	for i := range in.Records {
		if r := &in.Records[i]; slices.Contains(c.Records, r.Event.ID) && (to.IsZero() || r.Event.Time.Before(to)) {
			to = r.Event.Time
		}
	}
	for i := range in.Records {
		r := &in.Records[i]
		if r.Event.Trip == c.Of.Trip && r.Event.Time.Before(to) || r.Set == c.Of.Set && r.Event.Time.Before(to) {
			if r.Event.Time.After(from) {
				from = r.Event.Time
			}
		}
	}
	if from.IsZero() {
		from = to
	}
	return from, to
}

// Slack is how far apart times may be all the same: clocks differ, and people write minutes.
var Slack = time.Duration(events.DefaultPolicy().ClockToleranceSeconds)*time.Second + time.Minute

// Site is the name of the invented hospital: whatever is printed of it, or taken away, says so.
const Site = "practice"

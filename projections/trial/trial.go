// Package trial holds judgement against simulated weeks, whose truth is known:
// what was read and is not found, what is found and did not happen, windows and
// places that exclude what happened, and when a fault became known.
package trial

import (
	"context"
	"fmt"
	"sync"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/simulate"
)

// Tally counts what is wrong among all that was held against the truth.
type Tally struct{ Wrong, Of int }

func (t *Tally) add(o Tally) { t.Wrong, t.Of = t.Wrong+o.Wrong, t.Of+o.Of }

func (t *Tally) hold(right bool) bool {
	t.Of++
	if !right {
		t.Wrong++
	}
	return right
}

// Result is what some weeks showed.
type Result struct {
	Weeks, Trips, Records int

	Missed   Tally // looks that read something wrong; wrong: not found
	Named    Tally // findings that name the set whose sheet it is
	Invented Tally // findings; wrong: nothing of the kind happened
	Clean    Tally // sets without a fault, all read; wrong: something is found
	Windows  Tally // wrong: the true moment lies outside, whatever the clocks
	Exact    Tally // the same by the times as they stand
	Places   Tally // places named; wrong: it happened elsewhere
	Together Tally // "last seen together"; wrong: they weren't
	// IfScanned, where every move is scanned: "if no move went unscanned, between ... at ...".
	IfScanned Tally
	Doubts    Doubts

	// Back is what became of pieces between the last count of a case and the next assembly of
	// their set; wrong: not found, or not explained so.
	Back map[simulate.BackKind]*Tally

	// Closed is what was done to sets that were closed, by simulate.Shut and simulate.Anew; wrong: not found,
	// or not told so.
	Closed map[string]*Tally

	// Mispacked are sets with a piece of their neighbour's at packing, or without one that lies there; wrong: that the two
	// were exchanged there is not told of both.
	Mispacked Tally

	// Planted is how often what makes a code happened to a set as a whole.
	Planted map[projections.Code]int

	// Known is when each set to which something happened became known.
	Known map[Cell]*Known

	Examples []string // of what was wrong, the first few
}

// Doubts are sets whose sheet was found elsewhere, while they were unopened, by
// what really lay with them.
type Doubts struct {
	Said Tally // "a wrong sheet, or none"; wrong: its own, though the tag on the other tray was read

	// Where "it probably carries the sheet of X, or none, or a third set's" is said:
	X, None, Third, Own int
}

// Cell is a row and column of the table.
type Cell struct {
	Fault     simulate.FaultKind
	Placement string
	Read      float64
}

// Known counts sets by when their fault became known.
type Known struct{ Before, At, Later, Never int }

// N returns how many sets were counted.
func (k *Known) N() int { return k.Before + k.At + k.Later + k.Never }

func (r *Result) planted(c projections.Code) {
	if r.Planted == nil {
		r.Planted = make(map[projections.Code]int)
	}
	r.Planted[c]++
}

func (r *Result) closed(k string) *Tally {
	if r.Closed == nil {
		r.Closed = make(map[string]*Tally)
	}
	if r.Closed[k] == nil {
		r.Closed[k] = new(Tally)
	}
	return r.Closed[k]
}

func (r *Result) back(k simulate.BackKind) *Tally {
	if r.Back == nil {
		r.Back = make(map[simulate.BackKind]*Tally)
	}
	if r.Back[k] == nil {
		r.Back[k] = new(Tally)
	}
	return r.Back[k]
}

const maxExamples = 40

func (r *Result) example(format string, args ...any) {
	if len(r.Examples) < maxExamples {
		r.Examples = append(r.Examples, fmt.Sprintf(format, args...))
	}
}

// Add adds what other weeks showed.
func (r *Result) Add(o *Result) {
	r.Weeks, r.Trips, r.Records = r.Weeks+o.Weeks, r.Trips+o.Trips, r.Records+o.Records
	for _, x := range []struct {
		to   *Tally
		from Tally
	}{
		{&r.Missed, o.Missed}, {&r.Named, o.Named}, {&r.Invented, o.Invented}, {&r.Clean, o.Clean},
		{&r.Windows, o.Windows}, {&r.Exact, o.Exact}, {&r.Places, o.Places}, {&r.Together, o.Together}, {&r.IfScanned, o.IfScanned},
		{&r.Doubts.Said, o.Doubts.Said}, {&r.Mispacked, o.Mispacked},
	} {
		x.to.add(x.from)
	}
	d := &r.Doubts
	d.X, d.None, d.Third, d.Own = d.X+o.Doubts.X, d.None+o.Doubts.None, d.Third+o.Doubts.Third, d.Own+o.Doubts.Own
	for k, t := range o.Back {
		r.back(k).add(*t)
	}
	for k, t := range o.Closed {
		r.closed(k).add(*t)
	}
	for c, n := range o.Planted {
		for range n {
			r.planted(c)
		}
	}
	for c, k := range o.Known {
		x := r.known(c)
		x.Before, x.At, x.Later, x.Never = x.Before+k.Before, x.At+k.At, x.Later+k.Later, x.Never+k.Never
	}
	for _, e := range o.Examples {
		r.example("%s", e)
	}
}

// Right reports whether nothing was wrong.
func (r *Result) Right() bool {
	for _, t := range []Tally{
		r.Missed, r.Named, r.Invented, r.Clean, r.Windows, r.Places, r.Together, r.IfScanned, r.Doubts.Said, r.Mispacked,
	} {
		if t.Wrong > 0 {
			return false
		}
	}
	for _, t := range r.Closed {
		if t.Wrong > 0 {
			return false
		}
	}
	for _, t := range r.Back {
		if t.Wrong > 0 {
			return false
		}
	}
	return true
}

func (r *Result) known(c Cell) *Known {
	if r.Known == nil {
		r.Known = make(map[Cell]*Known)
	}
	if r.Known[c] == nil {
		r.Known[c] = new(Known)
	}
	return r.Known[c]
}

// Weeks runs weeks, some at once, and adds up what they show. It is told of each
// week that is through. The weeks can differ: of gives the hospital of a week, and
// is asked by several at once.
// Cancelled, it returns what is through, and the context's error.
func Weeks(ctx context.Context, weeks, atOnce int, of func(n int) simulate.Config, done func(n int)) (*Result, error) {
	var (
		mu    sync.Mutex
		next  int
		total Result
		first error
		all   = make(map[int]*Result)
		wg    sync.WaitGroup
	)
	worker := func() {
		defer wg.Done()
		for {
			mu.Lock()
			n := next
			next++
			stop := n >= weeks || first != nil || ctx.Err() != nil
			mu.Unlock()
			if stop {
				return
			}
			r, err := Week(of(n), n)
			mu.Lock()
			if first == nil {
				first = err
			}
			all[n] = r
			for all[total.Weeks] != nil { // in their order, whoever is through first
				k := total.Weeks
				total.Add(all[k])
				delete(all, k)
				if done != nil {
					done(total.Weeks)
				}
			}
			mu.Unlock()
		}
	}
	wg.Add(atOnce)
	for range atOnce {
		go worker()
	}
	wg.Wait()
	if first == nil {
		first = ctx.Err()
	}
	return &total, first
}

// Week judges one week of a hospital and holds it against the truth.
func Week(c simulate.Config, n int) (*Result, error) {
	t := newTrial(&c, c.Week(n))
	return t.r, t.run()
}

func newTrial(c *simulate.Config, week *simulate.Week) *trial {
	t := &trial{
		c: c, week: week, w: judge.NewWorld(nil), looks: make(map[int64]*simulate.Look),
		trips: make(map[projections.TripKey]*simulate.Trip), r: &Result{Weeks: 1, Trips: len(week.Trips), Records: len(week.Records)},
	}
	t.verdict = t.w.Judge
	for _, x := range week.Trips {
		t.trips[keyOf(x)] = x
	}
	return t
}

// trial is one week on trial.
type trial struct {
	c     *simulate.Config
	week  *simulate.Week
	w     *judge.World
	seq   int64
	now   time.Time // when the last fact arrived
	looks map[int64]*simulate.Look
	trips map[projections.TripKey]*simulate.Trip
	r     *Result

	// verdict is w's, as things stand; tests put a wrong one in its place.
	verdict func(projections.TripKey) (projections.Verdict, error)
}

func keyOf(t *simulate.Trip) projections.TripKey { return projections.TripKey{Set: t.Set, Trip: t.ID} }

func (t *trial) learn(r *simulate.Record) int64 {
	t.seq++
	t.w.Add(facts.Fact{Seq: t.seq, Recorded: r.Recorded, Event: r.Event})
	if r.Look != nil {
		t.looks[t.seq] = r.Look
	}
	t.now = r.Recorded
	return t.seq
}

// run lets the week's records arrive, judges each set with a fault just before
// it is opened and once its opening is known, and every set at the end.
func (t *trial) run() error {
	for _, r := range t.c.Setup() {
		t.learn(&r)
	}
	waiting := t.faulted()
	known := make(map[*simulate.Trip]string)
	note := func(x *simulate.Trip, when string) error {
		v, err := t.judge(x)
		if err == nil && known[x] == "" && t.tells(&v) {
			known[x] = when
		}
		return err
	}
	for i := range t.week.Records {
		r := &t.week.Records[i]
		for len(waiting) > 0 && waiting[0].Opened.Before(r.Recorded) {
			if err := note(waiting[0], "before"); err != nil {
				return err
			}
			waiting = waiting[1:]
		}
		t.learn(r)
		if l := r.Look; l != nil && l.Opening && t.sheetFault(l.Tray) != nil {
			if err := note(l.Tray, "at"); err != nil {
				return err
			}
		}
	}
	for _, x := range t.week.Trips {
		if err := note(x, "later"); err != nil {
			return err
		}
		if f := t.sheetFault(x); f != nil {
			t.count(x, f, known[x])
		}
	}
	return t.missed()
}

func (t *trial) count(x *simulate.Trip, f *simulate.Fault, when string) {
	placement := string(x.Placement)
	if x.Inside() {
		placement = "inside"
	}
	k := t.r.known(Cell{f.Kind, placement, t.c.Read})
	switch when {
	case "before":
		k.Before++
	case "at":
		k.At++
	case "later":
		k.Later++
	default:
		k.Never++
	}
}

package workplace

import (
	"slices"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
)

// draft is one count of one set on its way: one file for each case, set and
// stage. Packing uses the same, with the stage "packing".
//
// Two browsers may write to one draft. For each line the last to arrive holds,
// as long as its writer had seen what it replaces. Who had not, and says
// another number, makes the line disputed: nobody's number holds, and the line
// is counted again.
type draft struct {
	Case  string       `json:"case"`
	Set   string       `json:"set"`
	Trip  string       `json:"trip"`
	Stage events.Stage `json:"stage"`
	Rev   int64        `json:"rev"`
	Seen  once         `json:"seen,omitempty"`
	// Inputs are the last ones that changed more than a line: sent again, they have counted already. Another screen may have
	// said something in between.
	Inputs []inputStep `json:"inputs,omitempty"`

	Lines    map[int64]*entry `json:"lines,omitempty"`
	List     string           `json:"list,omitempty"` // packing: the list whose lines these are
	Version  int64            `json:"version,omitempty"`
	Removed  []events.Removed `json:"removed,omitempty"`
	Shorts   []int64          `json:"shorts,omitempty"` // lines that this count had short, whatever was counted since
	Beyond   []events.Beyond  `json:"beyond,omitempty"` // lines on no list that this count named
	Single   *single          `json:"single,omitempty"` // asked about
	Open     time.Time        `json:"open,omitzero"`    // a person said that this count begins
	Begun    time.Time        `json:"begun,omitzero"`
	Touched  time.Time        `json:"touched,omitzero"`
	Kept     time.Time        `json:"kept,omitzero"` // a person said then that what had been counted and left still holds
	Left     time.Time        `json:"left,omitzero"` // what had waited came on top of what was left then: that is still asked about
	LeftBy   string           `json:"leftBy,omitempty"`
	Place    string           `json:"place,omitempty"` // where is counted now, in counts by place
	ByPlace  bool             `json:"byPlace,omitempty"`
	Restarts int              `json:"restarts,omitempty"` // how often an interruption made it begin again
	Sheet    string           `json:"sheet,omitempty"`    // the code counted against; "": the screen
	Counter  string           `json:"counter,omitempty"`
	Witness  string           `json:"witness,omitempty"`
	Others   []string         `json:"others,omitempty"` // whose badges were taken off since something was entered by them
	Badged   time.Time        `json:"badged,omitzero"`  // when a badge was scanned last
	Saw      int64            `json:"saw,omitzero"`     // the revision that the second person had in sight when scanning the badge
	At       time.Time        `json:"at,omitzero"`      // observed time, fixed before recording,
	AtRev    int64            `json:"atRev,omitzero"`   // of the draft in this revision
	Stray    *stray           `json:"stray,omitempty"`  // in the drafts of earlier versions: see whole
}

// entry is one counted line.
type entry struct {
	Counted  int64            `json:"counted"`
	Parts    map[string]int64 `json:"parts,omitempty"` // by place
	Rev      int64            `json:"rev"`
	Disputed []int64          `json:"disputed,omitempty"`
	Reason   string           `json:"reason,omitempty"` // packing: why not as listed
	Client   string           `json:"client,omitempty"`
	By       string           `json:"by,omitempty"` // packing: the badge of who counted it
}

// inputStep is an input, and how many of its changes came to a draft.
type inputStep struct {
	Input string `json:"input"`
	Step  int    `json:"step"`
}

// inputsKept is of how many inputs it is known that they have come: of more screens than stand around one table.
const inputsKept = 12

// had reports whether a change has come to the draft before.
func (d *draft) had(input string, step int) bool {
	return slices.ContainsFunc(d.Inputs, func(x inputStep) bool { return x.Input == input && x.Step >= step })
}

// has takes note that a change came to the draft.
func (d *draft) has(input string, step int) {
	list := slices.DeleteFunc(d.Inputs, func(x inputStep) bool { return x.Input == input })
	list = append(list, inputStep{input, step})
	d.Inputs = list[max(len(list)-inputsKept, 0):]
}

// stagePacking is the draft of a set being packed; it is no stage of a count.
const stagePacking events.Stage = "packing"

// CountPlaces are where things lie, in the order in which they are counted
// (IFPN guideline 1002: surgical site and immediate area, Mayo stand, back
// table, discarded or off the field).
func CountPlaces() []string { return []string{"field", "mayo", "back-table", "off-field"} }

// lineInput is what a browser says of one line: how many were counted, which
// revision of the line it had seen.
type lineInput struct {
	Set     string `json:"set"`
	Line    int64  `json:"line"`
	Counted int64  `json:"counted"`
	Place   string `json:"place"`
	Seen    int64  `json:"seen"`
	Clear   bool   `json:"clear"`
	Reason  string `json:"reason"`
}

// enter applies one line and reports whether it disputes another browser's number.
func (d *draft) enter(client string, in lineInput, now time.Time) (disputed bool, err error) {
	if in.Counted < 0 || in.Counted > maxCounted {
		return false, refusal.Keyed("line-number", "line %d: %d can't have been counted", in.Line, in.Counted)
	}
	if in.Place != "" && !slices.Contains(CountPlaces(), in.Place) {
		return false, refusal.Keyed("line-place", "line %d: %q is not a place that is counted", in.Line, in.Place)
	}
	if d.Lines == nil {
		d.Lines = make(map[int64]*entry)
	}
	d.touch(now)
	d.Rev++
	e := d.Lines[in.Line]
	unseen := e != nil && e.Rev != in.Seen && e.Client != client
	if e == nil {
		e = new(entry)
		d.Lines[in.Line] = e
	}
	e.Rev = d.Rev
	switch {
	case in.Clear:
		delete(d.Lines, in.Line)
		return false, nil
	case unseen && len(e.Disputed) == 0 && e.Counted != in.Counted && in.Place == "":
		e.Disputed, e.Client = []int64{e.Counted, in.Counted}, client
		return true, nil
	}
	e.Disputed, e.Client, e.Reason = nil, client, in.Reason
	if in.Place == "" {
		e.Counted, e.Parts = in.Counted, nil
		return false, nil
	}
	if e.Parts == nil {
		e.Parts = make(map[string]int64)
	}
	e.Parts[in.Place] = in.Counted
	e.Counted = 0
	for _, n := range e.Parts {
		e.Counted += n
	}
	return false, nil
}

// touch notes that somebody is at work on this count, which begins with the first that is entered.
func (d *draft) touch(now time.Time) {
	if d.Begun.IsZero() {
		d.Begun = now
	}
	d.Touched = now
}

// more counts pieces of a line that came, or were taken back, beside what was there. Of that nobody says another number: where two
// browsers said different ones the line is still to be counted again.
func (d *draft) more(client string, line, n int64, now time.Time) error {
	in := lineInput{Line: line, Counted: n}
	if e := d.Lines[line]; e != nil {
		in.Counted, in.Seen = e.Counted+n, e.Rev
		if len(e.Disputed) > 0 {
			for i := range e.Disputed {
				e.Disputed[i] = max(e.Disputed[i]+n, 0)
			}
			d.touch(now)
			d.Rev++
			e.Counted, e.Rev = e.Disputed[0], d.Rev
			return nil
		}
	}
	_, err := d.enter(client, in, now)
	return err
}

const maxCounted = 9999

// settled reports whether a line needs no more counting: in a count by place, when
// as many as expected were found or the last place has been looked at.
func (d *draft) settled(line, expected int64) bool {
	e := d.Lines[line]
	if e == nil || len(e.Disputed) > 0 {
		return false
	}
	if !d.ByPlace || e.Parts == nil {
		return true
	}
	places := CountPlaces()
	_, last := e.Parts[places[len(places)-1]]
	return last || e.Counted >= expected
}

// lost is how many lines an interruption would have counted again.
func (d *draft) lost() (n int) {
	for _, e := range d.Lines {
		if _, here := e.Parts[d.Place]; here || !d.ByPlace || e.Parts == nil {
			n++
		}
	}
	return n
}

// interrupt begins the place again, or the whole count where it is not made by
// place (IFPN 1002: an interrupted count is recommenced).
func (d *draft) interrupt(now time.Time) {
	d.Rev++
	d.Restarts++
	d.Touched = now
	for n, e := range d.Lines {
		if !d.ByPlace || e.Parts == nil {
			delete(d.Lines, n)
			continue
		}
		delete(e.Parts, d.Place)
		e.Counted, e.Rev = 0, d.Rev
		for _, c := range e.Parts {
			e.Counted += c
		}
		if len(e.Parts) == 0 {
			delete(d.Lines, n)
		}
	}
	if !d.begun() {
		d.Others = nil
	}
}

// handOver forgets who counts. The record names who signs, and has no field for who entered some of it before: that is
// kept to be told then.
func (d *draft) handOver() {
	switch {
	case !d.begun():
		d.Others = nil
	case d.Counter != "" && !slices.ContainsFunc(d.Others, func(badge string) bool { return sameBadge(badge, d.Counter) }):
		d.Others = append(d.Others, d.Counter)
	}
	d.Counter, d.Witness = "", ""
}

// anew drops all that was counted, in whichever place. What left the field was said with its reason, and stays.
func (d *draft) anew(now time.Time) {
	d.Rev++
	d.Restarts++
	clear(d.Lines)
	d.handOver()
	d.Begun, d.Kept, d.Sheet = time.Time{}, time.Time{}, ""
	d.Open, d.Touched, d.Left, d.LeftBy = now.UTC(), now, time.Time{}, ""
}

// removedOf is how many of a line left the field on purpose, by this draft.
func (d *draft) removedOf(line int64) int64 {
	var n int64
	for _, r := range d.Removed {
		if r.Line == line {
			n += r.Quantity
		}
	}
	return n
}

func (s store) draft(ref, set string, stage events.Stage) (*draft, bool, error) {
	d := &draft{Case: ref, Set: set, Stage: stage}
	found, err := s.load(d, "count", ref, set+" "+string(stage))
	if d.Lines == nil { // a draft without a line is kept without the map
		d.Lines = make(map[int64]*entry)
	}
	return d, found, err
}

func (s store) saveDraft(d *draft) error {
	return s.save(d, "count", d.Case, d.Set+" "+string(d.Stage))
}

func (s store) removeDraft(d *draft) error {
	return s.remove("count", d.Case, d.Set+" "+string(d.Stage))
}

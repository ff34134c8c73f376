package projections

import (
	"slices"
	"time"

	"listbound/events"
)

// Trace is one trip's chain laid open, for a picture of it.
type Trace struct {
	Key       TripKey          `json:"key"`
	List      string           `json:"list,omitempty"`
	Version   int64            `json:"version,omitempty"`
	Title     string           `json:"title,omitempty"`
	Placement events.Placement `json:"placement,omitempty"`
	Station   string           `json:"station,omitempty"` // of the last observation
	Seals     []string         `json:"seals,omitempty"`
	BagLot    string           `json:"bagLot,omitempty"`
	Load      string           `json:"load,omitempty"`
	Case      string           `json:"case,omitempty"`
	Over      bool             `json:"over"`
	Links     []TraceLink      `json:"links"`
	Readings  []SheetReading   `json:"readings"`
	Stays     []Stay           `json:"stays"`
}

// LinkState says how a link of a trace stands.
type LinkState string

// The states of a link. One is missing where a later one was observed, due
// where its time has not come.
const (
	LinkThere  LinkState = "there"
	LinkAbsent LinkState = "missing"
	LinkDue    LinkState = "due"
)

// TraceLink is one expected step of a chain, with its first observation.
type TraceLink struct {
	Kind  events.Kind `json:"kind"`
	State LinkState   `json:"state"`
	Seq   int64       `json:"seq,omitempty"`
	At    time.Time   `json:"at,omitzero"`
	Place string      `json:"place,omitempty"`
	By    string      `json:"by,omitempty"`
}

// Result says what a look at a set's sheet found.
type Result string

// The results of a look at a sheet.
const (
	ResultNone       Result = "not-read"
	ResultRight      Result = "right"
	ResultOther      Result = "other-set"
	ResultEarlier    Result = "earlier-trip"
	ResultAltered    Result = "altered"
	ResultUnknown    Result = "unknown"
	ResultUnreadable Result = "unreadable"
	ResultAbsent     Result = "absent"
)

var results = map[class]Result{
	readNothing: ResultNone, readUnreadable: ResultUnreadable, readGood: ResultRight, readAbsent: ResultAbsent,
	readStale: ResultEarlier, readSwapped: ResultOther, readAltered: ResultAltered, readUnknown: ResultUnknown,
}

// SheetReading is one look at a set's sheet.
type SheetReading struct {
	Seq     int64     `json:"seq"`
	At      time.Time `json:"at"`
	Place   string    `json:"place"`
	By      string    `json:"by,omitempty"`
	Result  Result    `json:"result"`
	Owner   *TripKey  `json:"owner,omitempty"` // whose sheet it was, where it was another trip's
	Found   string    `json:"found,omitempty"` // the placement it was found in
	Opening bool      `json:"opening,omitempty"`
	Tray    string    `json:"tray,omitempty"` // the set by its tag, where that is not the set recorded
}

// Stay is the time a set was at one place: from a sighting there until it was
// seen elsewhere.
type Stay struct {
	Place    string    `json:"place"`
	By       string    `json:"by,omitempty"` // who recorded the first sighting of the stay
	From, To time.Time `json:"-"`
}

// Trace lays a trip's chain open. Its links are those of the policy in force at
// the trip's last observation.
func (w *World) Trace(k TripKey) (Trace, error) {
	c := w.chain(k)
	t := Trace{Key: k, Case: c.caseRef, Over: c.over(), Links: []TraceLink{}, Readings: []SheetReading{}, Stays: []Stay{}}
	if len(c.steps) == 0 {
		return t, w.failed()
	}
	last := c.steps[len(c.steps)-1]
	t.Station = last.Event.Station
	if p := packOf(c.lastPack()); p != nil {
		t.List, t.Version = p.List, p.Version
	}
	if c.list != nil {
		t.Title = c.list.Title
	}
	if n := len(c.sealed); n > 0 {
		s := sealOf(c.sealed[n-1])
		t.Placement, t.Seals, t.BagLot = s.Placement, s.Seals, s.BagLot
	}
	if good, run := c.releasing(w, c.firstOpened()); good != nil {
		t.Load = runOf(good).Load
	} else if run != nil {
		t.Load = runOf(run).Load
	}
	t.Links = w.traceLinks(c, last)
	for i := range c.readings {
		r := &c.readings[i]
		x := SheetReading{Seq: r.it.Seq, At: r.it.at(), Place: placeOf(r.it), By: r.it.Event.Operator, Result: results[r.class], Found: r.found, Opening: r.opening}
		if r.owner != (TripKey{}) {
			x.Owner = &TripKey{r.owner.Set, r.owner.Trip}
		}
		if !r.own() {
			x.Tray = r.tray()
		}
		t.Readings = append(t.Readings, x)
	}
	for i, it := range c.steps {
		place := placeOf(it)
		if n := len(t.Stays); n > 0 && samePlace(t.Stays[n-1].Place, place) {
			t.Stays[n-1].To = it.at()
			continue
		}
		if n := len(t.Stays); n > 0 {
			t.Stays[n-1].To = it.at()
		}
		t.Stays = append(t.Stays, Stay{Place: place, By: it.Event.Operator, From: c.steps[i].at(), To: it.at()})
	}
	return t, w.failed()
}

func (w *World) traceLinks(c *chain, last *item) []TraceLink {
	var out []TraceLink
	latest := -1
	for i, l := range w.policyAt(last).Links {
		it := c.first(l)
		x := TraceLink{Kind: l, State: LinkDue}
		if it != nil {
			latest = i
			x = TraceLink{Kind: l, State: LinkThere, Seq: it.Seq, At: it.at(), Place: placeOf(it), By: it.Event.Operator}
		}
		out = append(out, x)
	}
	for i := range out {
		if out[i].State == LinkDue && (i < latest || c.next != nil && len(c.opened) > 0) {
			out[i].State = LinkAbsent
		}
	}
	return out
}

// Carry says that a set was last found with the sheet of another.
type Carry struct {
	Set   TripKey   `json:"set"`   // on which the sheet was found
	Sheet TripKey   `json:"sheet"` // whose it is
	Seq   int64     `json:"seq"`
	At    time.Time `json:"at"`
	Place string    `json:"place"`
}

// Exchange says who has whose sheet, as far as readings tell.
type Exchange struct {
	Carries []Carry `json:"carries"`
	// Closed: a ring, in which every set is accounted for. Else the last set has
	// not been read since, and probably has the sheet of the first.
	Closed bool `json:"closed"`
	// First is the set whose own sheet nobody has found, Last the one not read
	// since its sheet turned up elsewhere; both empty where Closed.
	First, Last TripKey
}

// Exchange returns the ring or the open path through a trip; without Carries
// where no sheet of it is known to be elsewhere now.
func (w *World) Exchange(k TripKey) (Exchange, error) {
	var x Exchange
	if ring, shown := w.ring(k); ring != nil {
		x.Closed = true
		for i, at := range ring {
			x.Carries = append(x.Carries, carryOf(at, ring[(i+1)%len(ring)], shown[i]))
		}
		return x, w.failed()
	}
	at := w.pathStart(k)
	seen := []TripKey{at}
	for {
		o, r := w.holds(at)
		if r == nil || slices.Contains(seen, o) {
			break
		}
		x.Carries = append(x.Carries, carryOf(at, o, r.it))
		seen = append(seen, o)
		at = o
	}
	if len(x.Carries) > 0 {
		x.First, x.Last = seen[0], at
	}
	return x, w.failed()
}

func carryOf(set, sheet TripKey, it *item) Carry {
	return Carry{Set: set, Sheet: sheet, Seq: it.Seq, At: it.at(), Place: placeOf(it)}
}

// SetTrips returns the trips of a set, first packed first, and of what was
// observed before any packing.
func (w *World) SetTrips(set string) ([]TripKey, error) {
	out := w.setTrips(HistoryOf{Set: set})
	return out, w.failed()
}

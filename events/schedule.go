package events

import "time"

// ScheduleState is what a schedule says has become of a case.
type ScheduleState string

// The values of ScheduleState.
const (
	ScheduleBooked    ScheduleState = "booked"
	ScheduleChanged   ScheduleState = "changed"
	ScheduleCancelled ScheduleState = "cancelled"
)

// CaseScheduled is what the surgical schedule says of a case: in which room it begins when, and which sets it wants. Of
// patients it has nothing, nor of what is done. The last one that is in force stands, by when the schedule said it.
// Subject: the case reference.
type CaseScheduled struct {
	Case  string        `json:"case" addendum:"case"`
	State ScheduleState `json:"state"`
	Start string        `json:"start"` // RFC 3339; of a case that is cancelled when it would have begun
	Room  string        `json:"room,omitempty"`
	Sets  []string      `json:"sets,omitempty"` // by name
	// Lists are those of which the case wants some set, whichever is free.
	Lists []WantedList `json:"lists,omitempty"`
	// Unknown is how many things more it wants that no list or set here is called.
	Unknown int64 `json:"unknown,omitzero"`
	// Said is when the schedule said so, RFC 3339, where it does; else it was when this was observed.
	Said string `json:"said,omitempty"`
}

// WantedList is how many sets of a list a case wants.
type WantedList struct {
	List string `json:"list"`
	Sets int64  `json:"sets"`
}

// MaxWanted is how many sets, and how many of a list, a case may want.
const MaxWanted = 50

func (*CaseScheduled) Kind() Kind { return KindCaseScheduled }

// Keys implements Data.
func (d *CaseScheduled) Keys() Keys { return Keys{KeyCase: d.Case} }

// StartsAt is when the case begins.
func (d *CaseScheduled) StartsAt() time.Time { return timeOf(d.Start) }

// SaidAt is when the schedule said so, zero where it doesn't say.
func (d *CaseScheduled) SaidAt() time.Time { return timeOf(d.Said) }

// Check implements Data.
func (d *CaseScheduled) Check() error {
	var c checks
	c.id("case", d.Case)
	oneOf(&c, "state", d.State, ScheduleBooked, ScheduleChanged, ScheduleCancelled)
	c.must(d.Start != "", "start is missing")
	c.optionalTime("start", d.Start)
	c.year(d.StartsAt())
	c.optionalText("room", d.Room)
	c.each("set", d.Sets, checkID)
	c.must(len(d.Sets) <= MaxWanted && len(d.Lists) <= MaxWanted, "a case wants at most %d sets, and sets of %d lists",
		MaxWanted, MaxWanted)
	for _, l := range d.Lists {
		c.id("list", l.List)
		c.inRange("lists: sets", l.Sets, 1, MaxWanted)
	}
	c.inRange("unknown", d.Unknown, 0, maxCount)
	c.optionalTime("said", d.Said)
	return c.err
}

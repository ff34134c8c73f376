package facts

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// EntryState says how an entry of a register stands at a moment.
type EntryState string

// The states of an entry.
const (
	EntryUnknown EntryState = "unknown" // nobody has entered it
	EntryToCome  EntryState = "to-come" // it is entered for later
	EntryHolds   EntryState = "holds"
	EntryEnded   EntryState = "ended"
)

// Entered is an entry of a register as it stands at a moment.
type Entered struct {
	State EntryState
	Entry events.Entry // the one that holds, held last or is to come; nil where it is unknown
	Item  *Item        // the fact that entered it
}

// RegistersFact returns which registers a site holds to at a moment, and the fact that says so; nil where it holds to none.
// Like all that is said of registers it is not corrected, but said anew: else any station could let anybody in by taking
// an entry back.
func (b *Book) RegistersFact(site string, at time.Time) ([]events.Register, *Item) {
	b.need(DimPolicy, site)
	for _, p := range slices.Backward(b.policies[site].sorted()) {
		if p.Forged() || p.At().After(at) {
			continue
		}
		if d, ok := p.Event.Data.(*events.RegistersAdopted); ok {
			b.AskedBetween(DimPolicy, site, Nanos(p.At()), Nanos(at))
			return d.Registers, p
		}
	}
	b.AskedBetween(DimPolicy, site, Ever, Nanos(at))
	return nil, nil
}

// EverHeldTo reports whether a site has held to any register by a moment. Most trips are of sites that never have.
func (b *Book) EverHeldTo(site string, by time.Time) bool {
	b.need(DimPolicy, site)
	b.AskedBetween(DimPolicy, site, Ever, Nanos(by))
	for _, p := range b.policies[site].sorted() {
		if p.Kind == events.KindRegistersAdopted && !p.At().After(by) {
			return true
		}
	}
	return false
}

// HoldsTo reports whether a site holds to a register at a moment.
func (b *Book) HoldsTo(site string, r events.Register, at time.Time) bool {
	rs, _ := b.RegistersFact(site, at)
	return slices.Contains(rs, r)
}

// Entered returns how an entry stands at a moment. The last one that was observed by then, and holds from then or
// before, decides: one that is entered for later leaves the one before it in place until it begins.
func (b *Book) Entered(r events.Register, id string, at time.Time) Entered {
	key := events.EntryKey(r, id)
	b.need(DimEntry, key)
	b.AskedBetween(DimEntry, key, Ever, Nanos(at))
	out := Entered{State: EntryUnknown}
	for _, it := range sortedItems(b.entries[key]) {
		d, ok := it.Event.Data.(events.Entry)
		if !ok || it.Forged() || it.At().After(at) || events.EntryOf(d) != key {
			continue
		}
		h := d.Holding()
		from, until := h.Span()
		switch {
		case from.After(at):
			if out.State == EntryUnknown {
				out = Entered{EntryToCome, d, it}
			}
			continue
		case h.Ended || !until.IsZero() && !until.After(at):
			out = Entered{EntryEnded, d, it}
		default:
			out = Entered{EntryHolds, d, it}
		}
	}
	return out
}

// Claimed returns the access that a badge claimed in an emergency at a station and by which it works there at a moment,
// nil where there is none.
func (b *Book) Claimed(badge, station string, at time.Time) *Item {
	key := events.EntryKey(events.RegisterPeople, badge)
	b.need(DimEntry, key)
	b.AskedBetween(DimEntry, key, Ever, Nanos(at))
	for _, it := range slices.Backward(sortedItems(b.entries[key])) {
		d, ok := it.Event.Data.(*events.AccessClaimed)
		if !ok || d.Badge != badge || it.Forged() || it.Event.Station != station {
			continue
		}
		if !it.At().After(at) && at.Sub(it.At()) <= events.AccessHolds {
			return it
		}
	}
	return nil
}

func sortedItems(its []*Item) []*Item {
	if slices.IsSortedFunc(its, Compare) {
		return its
	}
	its = slices.Clone(its)
	slices.SortFunc(its, Compare)
	return its
}

// Lack is what a register has against an observation.
type Lack struct {
	Register events.Register
	ID       string // the badge, station, sterilizer or set
	Way      LackWay
	Entry    Entered
	Meant    string      // which role, work or cycle it lacks, or the set whose tag stands for a person
	Claim    *Item       // by which it was recorded all the same, nil for none
	By       *Item       // the fact that says that the site holds to the register
	Role     events.Role // of a person: the one that is asked for
}

// LackWay says in which way a register has something against an observation.
type LackWay string

// The values of LackWay.
const (
	LackUnknown LackWay = "unknown" // not in the register
	LackEnded   LackWay = "ended"   // no longer, or not yet
	LackRole    LackWay = "role"    // a person without the role
	LackSet     LackWay = "set"     // a set's own code or tag in the place of a person
	LackWork    LackWay = "work"    // a station that is for something else
	LackLoad    LackWay = "load"    // a station that is for other sterilizers
	LackCycle   LackWay = "cycle"   // a cycle that the sterilizer doesn't have
)

// Lacks returns what the registers of its site have against an event, by its own time: who made it, where, and what it
// names. What was recorded in an emergency has its claim beside it.
func (b *Book) Lacks(e *events.Event) []Lack {
	site, _, _ := strings.Cut(e.Station, "/")
	rs, by := b.RegistersFact(site, e.Time)
	if len(rs) == 0 {
		return nil
	}
	work := events.WorkOf(e.Kind())
	if work == "" && !e.Kind().AboutSet() {
		return nil
	}
	var out []Lack
	var claim *Item // of anybody who takes part, for what is no person
	for _, badge := range events.People(e.Operator, e.Data) {
		own := b.Claimed(badge, e.Station, e.Time)
		if own != nil {
			claim = own
		}
		if !slices.Contains(rs, events.RegisterPeople) {
			continue
		}
		if l, ok := b.lacksPerson(rs, e, badge); ok {
			l.Register, l.ID, l.By = events.RegisterPeople, badge, by
			if l.Way != LackSet { // a tray never works in an emergency
				l.Claim = own
			}
			out = append(out, l)
		}
	}
	add := func(r events.Register, id string, l Lack) {
		l.Register, l.ID, l.Claim, l.By = r, id, claim, by
		out = append(out, l)
	}
	if work != "" && slices.Contains(rs, events.RegisterStations) {
		if l, ok := b.lacksStation(e, work); ok {
			add(events.RegisterStations, e.Station, l)
		}
	}
	if s := events.SterilizerOf(e.Data); s != "" && slices.Contains(rs, events.RegisterSterilizers) {
		if l, ok := b.lacksSterilizer(e, s); ok {
			add(events.RegisterSterilizers, s, l)
		}
	}
	if e.Kind() == events.KindSetPacked && slices.Contains(rs, events.RegisterSets) {
		if l, ok := b.lacks(events.RegisterSets, e.Subject, e.Time); ok {
			add(events.RegisterSets, e.Subject, l)
		}
	}
	return out
}

// lacks reports whether an entry does not hold at a moment.
func (b *Book) lacks(r events.Register, id string, at time.Time) (Lack, bool) {
	switch x := b.Entered(r, id, at); x.State {
	case EntryUnknown:
		return Lack{Way: LackUnknown, Entry: x}, true
	case EntryHolds:
		return Lack{Entry: x}, false
	default:
		return Lack{Way: LackEnded, Entry: x}, true
	}
}

func (b *Book) lacksPerson(rs []events.Register, e *events.Event, badge string) (Lack, bool) {
	role := events.RoleFor(e.Kind())
	l, lacks := b.lacks(events.RegisterPeople, badge, e.Time)
	l.Role = role
	if !lacks {
		if d, ok := l.Entry.Entry.(*events.PersonEntered); ok && !slices.Contains(d.Roles, role) {
			l.Way, l.Meant = LackRole, string(role)
			return l, true
		}
		return l, false
	}
	own := e.Kind().AboutSet() && e.Subject == badge
	if own || slices.Contains(rs, events.RegisterSets) && b.Entered(events.RegisterSets, badge, e.Time).State != EntryUnknown {
		l.Way, l.Meant = LackSet, badge
	}
	return l, true
}

func (b *Book) lacksStation(e *events.Event, work events.Work) (Lack, bool) {
	l, lacks := b.lacks(events.RegisterStations, e.Station, e.Time)
	if lacks {
		return l, true
	}
	d, ok := l.Entry.Entry.(*events.StationEntered)
	if ok && !slices.Contains(d.Works, work) {
		l.Way, l.Meant = LackWork, string(work)
		return l, true
	}
	s := events.SterilizerOf(e.Data)
	if ok && s != "" && len(d.Sterilizers) > 0 && !slices.Contains(d.Sterilizers, s) {
		l.Way, l.Meant = LackLoad, s
		return l, true
	}
	return l, false
}

func (b *Book) lacksSterilizer(e *events.Event, sterilizer string) (Lack, bool) {
	l, lacks := b.lacks(events.RegisterSterilizers, sterilizer, e.Time)
	if lacks {
		return l, true
	}
	run, _ := e.Data.(*events.SetSterilized)
	d, ok := l.Entry.Entry.(*events.SterilizerEntered)
	if ok && run != nil && len(d.Cycles) > 0 && !slices.Contains(d.Cycles, run.Cycle) {
		l.Way, l.Meant = LackCycle, run.Cycle
		return l, true
	}
	return l, false
}

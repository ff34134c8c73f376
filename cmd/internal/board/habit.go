package board

import (
	"context"
	"slices"
	"strings"

	"listbound/cmd/internal/site"
	"listbound/projections"
)

// setsOfHabit is how many sets of a habit the board's row names; the incident's page has all of them.
const setsOfHabit = 40

// habit is what rooms did not read at their openings in one week.
type habit struct {
	projections.Habit
	Rooms []habitRoom // where most was not read first
	All   habitRoom
}

// habitRoom says at how many openings of how many something was not read, what it was, and who opened.
type habitRoom struct {
	Room                     string
	Openings, Of             int
	Tags, Sheets, Indicators int
	Badges                   []string
}

// shownOf are the turns of an incident that its row names.
func shownOf(in *projections.Incident, most int) []projections.IncidentMember {
	if in.Habit == nil || most < 0 {
		return in.Members
	}
	return in.Members[:min(most, len(in.Members))]
}

// habitOf tells of an incident at how many openings something was not read; nil of one that is not of that.
func habitOf(ctx context.Context, m *site.View, in *projections.Incident) (*habit, error) {
	if in.Habit == nil || len(in.Habit.Unread) == 0 {
		return nil, nil
	}
	h := &habit{Habit: *in.Habit}
	opened, err := m.OpenedAt(ctx, h.From, h.Until)
	if err != nil {
		return nil, err
	}
	var seqs []int64
	for _, u := range h.Unread {
		seqs = append(seqs, u.Opening)
	}
	by, err := m.Operators(ctx, seqs)
	if err != nil {
		return nil, err
	}
	counted := make(map[int64]bool)
	for _, room := range h.Habit.Rooms {
		x := habitRoom{Room: room}
		for _, u := range h.Unread {
			if u.Room == room {
				x.add(u, counted[u.Opening], by[u.Opening])
				counted[u.Opening] = true
			}
		}
		x.Of = max(opened[room], x.Openings)
		h.Rooms = append(h.Rooms, x)
		h.All.sum(&x)
	}
	slices.SortStableFunc(h.Rooms, func(a, b habitRoom) int { return b.Openings*a.Of - a.Openings*b.Of })
	return h, nil
}

func (x *habitRoom) add(u projections.Unread, counted bool, badge string) {
	if !counted {
		x.Openings++
	}
	switch u.Code {
	case projections.TagUnread:
		x.Tags++
	case projections.IndicatorNotSeen:
		x.Indicators++
	default:
		x.Sheets++
	}
	if n, ok := slices.BinarySearch(x.Badges, badge); !ok && badge != "" {
		x.Badges = slices.Insert(x.Badges, n, badge)
	}
}

func (x *habitRoom) sum(y *habitRoom) {
	x.Openings, x.Of = x.Openings+y.Openings, x.Of+y.Of
	x.Tags, x.Sheets, x.Indicators = x.Tags+y.Tags, x.Sheets+y.Sheets, x.Indicators+y.Indicators
}

// Name is what the head of the row says of where it is.
func (h *habit) Name() string {
	if len(h.Rooms) == 1 {
		return h.Rooms[0].Room
	}
	site, _, _ := strings.Cut(h.Rooms[0].Room, "/")
	return site
}

// group is what a row stands under: how long somebody can do something about a habit says its week, and no set of it.
func (r *boardRow) group() string {
	switch {
	case r.Incident.Habit == nil:
		return groupOf(&r.Verdict)
	case r.Incident.CanAct:
		return "habit"
	}
	return "over"
}

package projections

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// What nobody reads, and how counts are made, is asked of a room and not of a set: whoever leads it can do something about
// it as long as the week runs, whatever has become of each set. So the findings that say it are one incident a room and week.

// Habit is what an incident is of that is asked of rooms and a week.
type Habit struct {
	Rooms []string  `json:"rooms"` // stations, in their order
	Week  string    `json:"week"`  // its Monday where the site is, as 2006-01-02
	From  time.Time `json:"from"`  // when the week began there
	Until time.Time `json:"until"` // and when it ends

	Unread []Unread `json:"-"` // of how counts were made: none
}

// Unread is what was not read at an opening.
type Unread struct {
	Room    string
	Code    Code
	Opening int64 // its record
}

// houseRooms is in how many rooms of a site a habit is one of the house: no single room is asked about it then. Common
// practice, no source.
const houseRooms = 4

// UnreadAt is the opening at which something was not read or looked at that the policy asks for, by a finding that says
// no more than that; nil of any other.
func UnreadAt(f *Finding) *Moment {
	switch d := f.Detail.(type) {
	case *TagNotRead:
		return &d.At
	case *OpenedUnread:
		return &d.At
	case *IndicatorUnseen:
		return &d.At
	}
	return nil
}

// asksWhoseSheet reports whether a verdict asks whose sheet lies where besides what was not read: that is part of the
// question then.
func asksWhoseSheet(v *Verdict) bool {
	return slices.ContainsFunc(v.Findings, func(f Finding) bool {
		return weight(f.Severity) > 0 && families[f.Code] == causeSheet
	})
}

// Calendar says what week it is where a site is.
type Calendar struct {
	Zone *time.Location // nil: UTC
	Now  time.Time      // zero: before all that is told
}

// momentMark begins the part of a link that stands for the week of a moment. Which week that is depends on where the site
// is, and no verdict does.
const momentMark = "@"

// weekOf is the part of a link that says that what is of one week is one cause.
func weekOf(t time.Time) string { return momentMark + t.UTC().Format(time.RFC3339) }

// week returns the beginning and the end of a moment's week.
func (c Calendar) week(t time.Time) (from, until time.Time) {
	t = t.In(cmp.Or(c.Zone, time.UTC))
	const days = 7
	monday := t.Day() - (int(t.Weekday())+days-1)%days
	return time.Date(t.Year(), t.Month(), monday, 0, 0, 0, 0, t.Location()),
		time.Date(t.Year(), t.Month(), monday+days, 0, 0, 0, 0, t.Location())
}

// linksOf returns the links of each cause with their weeks, and ties what is a habit of many rooms of a site.
func (c Calendar) linksOf(parts []IncidentPart) [][]string {
	var out [][]string
	rooms := make(map[string][]string) // by the link of their site and week
	for p := range parts {
		for n := range parts[p].Causes {
			links := c.named(parts[p].Causes[n].Links)
			out = append(out, links)
			if house, room := houseOf(links[0]); house != "" && !slices.Contains(rooms[house], room) {
				rooms[house] = append(rooms[house], room)
			}
		}
	}
	for i := range out {
		if house, _ := houseOf(out[i][0]); len(rooms[house]) >= houseRooms {
			out[i] = append(slices.Clone(out[i]), house)
		}
	}
	return out
}

// named puts the week into links that stand for one.
func (c Calendar) named(links []string) []string {
	if !slices.ContainsFunc(links, func(l string) bool { return strings.Contains(l, linkSep+momentMark) }) {
		return links
	}
	links = slices.Clone(links)
	for i, l := range links {
		cut := strings.LastIndex(l, linkSep+momentMark)
		if cut < 0 {
			continue
		}
		if t, err := time.Parse(time.RFC3339, l[cut+len(linkSep+momentMark):]); err == nil {
			from, _ := c.week(t)
			links[i] = l[:cut] + linkSep + from.Format(time.DateOnly)
		}
	}
	return links
}

// houseOf returns the link of the site and week of a room's habit of not reading, and the room; "" of any other link.
func houseOf(l string) (house, room string) {
	if !strings.HasPrefix(l, causeUnread+linkSep) {
		return "", ""
	}
	parts := strings.Split(l, linkSep)
	site, _, _ := strings.Cut(parts[1], "/")
	return link(causeUnread, site, parts[len(parts)-1]), parts[1]
}

// tellHabit says of which rooms and week an incident is, and whether somebody can still do something about it: as long as
// the week runs.
func (in *Incident) tellHabit(least string, cal Calendar) {
	if in.Kind != causeRoom && in.Kind != causeUnread {
		return
	}
	parts := strings.Split(least, linkSep)
	h := &Habit{Week: parts[len(parts)-1], Unread: in.unread}
	zone := cal.Zone
	if zone == nil {
		zone = time.UTC
	}
	if t, err := time.ParseInLocation(time.DateOnly, h.Week, zone); err == nil {
		h.From, h.Until = cal.week(t)
	}
	for _, l := range in.links {
		if room := strings.Split(l, linkSep)[1]; strings.Contains(room, "/") && !slices.Contains(h.Rooms, room) {
			h.Rooms = append(h.Rooms, room)
		}
	}
	slices.Sort(h.Rooms)
	in.Habit, in.CanAct = h, cal.Now.Before(h.Until)
	// After all else about which somebody can do something, or that is over.
	const counts, last = 1<<rankCounts - 1, 1<<(rankGroup-rankCounts) - 1
	group := int64(groupOver)
	if in.CanAct {
		group--
	}
	in.Rank = group<<rankGroup | last<<rankCounts | in.Rank&counts
}

package board

import (
	"net/http"
	"slices"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections/readmodel"
	"listbound/projections/ready"
)

// The view for a wall: the few things about which somebody can still do something, in letters that are read from four
// metres, the soonest incision first. It is shown to a room, so it names sets and rooms and nobody's badge.

const (
	// wallRows is how many rows fit at that size.
	wallRows = 6
	// wallAhead is how far ahead cases are looked at.
	wallAhead = 24 * time.Hour
	// wallItems is how much of what a case lacks stands in its row.
	wallItems = 2
)

type wallBody struct {
	Now   time.Time
	Clock string
	Dark  bool
	Rows  []wallRow
	More  int // rows that don't fit
	// Lacking and Held are how many cases lack something, and how many sets besides need somebody.
	Lacking, Held int
	Behind        int64
	Copied        *shell.Copied // up to where a follower answers
}

// wallRow is one line: a case that lacks something, or a set that needs somebody.
type wallRow struct {
	Key, Left, Room, Case string
	Hold                  string // of a set: what to do with it
	Soon                  bool   // within the hour
	Items                 []wallItem
	More                  int // of what the case lacks
}

type wallItem struct {
	Set, List, Where string
	State            ready.State
	Says             string
}

func (p *pages) wallPage(r *http.Request, words *shell.Words) (*answer, error) {
	now := p.site.Clock()
	local := now.In(words.Zone())
	b := &wallBody{Now: now, Clock: words.Clock(now), Dark: darkAt(r.FormValue("light"), local), Behind: p.site.Behind(),
		Copied: p.sh.CopiedIn(words)}
	wanted := make(map[string]bool) // sets that have stood in a case's row
	for _, day := range []time.Time{local, local.Add(wallAhead)} {
		d, err := p.site.Schedule(r.Context(), site.ScheduleQuery{Day: day.Format(time.DateOnly)})
		if err != nil {
			return nil, err
		}
		for i := range d.Cases {
			if c := &d.Cases[i]; c.Class == ready.Act && c.Start.Sub(now) <= wallAhead {
				b.Rows = append(b.Rows, wallCase(words, c, now, wanted))
			}
		}
	}
	b.Lacking = len(b.Rows)
	if err := p.wallHeld(r, words, b, wanted); err != nil {
		return nil, err
	}
	b.More = max(0, len(b.Rows)-wallRows)
	b.Rows = b.Rows[:len(b.Rows)-b.More]
	a := &answer{template: "wall", title: words.T("board.wall"), wide: true, live: true, copied: true, body: b}
	if r.FormValue("part") == "rows" {
		a.template = "wall-rows"
	}
	return a, nil
}

// darkAt reports whether the view is dark: as the address says, else from evening to morning, when a corridor's lights are
// down. A screen on a wall has nobody who would choose.
func darkAt(light string, local time.Time) bool {
	const morning, evening = 7, 19
	switch light {
	case "dark":
		return true
	case "bright":
		return false
	}
	return local.Hour() < morning || local.Hour() >= evening
}

func wallCase(words *shell.Words, c *ready.Case, now time.Time, wanted map[string]bool) wallRow {
	row := wallRow{Key: c.Case, Left: left(words, c.Start.Sub(now)), Room: c.Room, Case: c.Case, Soon: c.Start.Sub(now) < time.Hour}
	for _, n := range c.Needs {
		if n.State == ready.Whole || n.State == ready.Opened {
			continue
		}
		if n.Set != "" {
			wanted[n.Set] = true
		}
		says := words.T("board.day-set-" + string(n.State))
		if n.Code != "" {
			says = words.Code(n.Code)
		}
		row.Items = append(row.Items, wallItem{Set: n.Set, List: n.List, State: n.State, Says: says, Where: words.Place(n.Where)})
	}
	if c.Unknown > 0 {
		row.Items = append(row.Items, wallItem{Says: words.T("board.day-unknown", c.Unknown)})
	}
	row.More = max(0, len(row.Items)-wallItems)
	row.Items = row.Items[:len(row.Items)-row.More]
	return row
}

// wallHeld adds the sets about which somebody can do something and no case of the day waits for: not to be opened, not to be
// used as they are, or a piece of them is to be looked for.
func (p *pages) wallHeld(r *http.Request, words *shell.Words, b *wallBody, wanted map[string]bool) error {
	rows, err := site.Answer(p.site, func(v *site.View) ([]readmodel.BoardRow, error) {
		return v.Board(r.Context(), readmodel.BoardFilter{}, nil, exportedRows)
	})
	if err != nil {
		return err
	}
	rows = slices.DeleteFunc(rows, func(x readmodel.BoardRow) bool {
		return !slices.Contains([]string{"unopened", "came-short", "reused"}, groupOf(&x.Verdict)) || wanted[x.Set]
	})
	b.Held = len(rows)
	for _, x := range rows {
		says := words.T("shell.status-" + string(x.Status))
		if len(x.Findings) > 0 {
			says = words.Code(x.Findings[0].Code)
		}
		b.Rows = append(b.Rows, wallRow{Key: "t-" + x.Trip + "-" + x.Set, Hold: words.T("board.wall-" +
			groupOf(&x.Verdict)), Items: []wallItem{{
			Set: x.Set, State: ready.State(x.Status), Says: says, Where: words.Place(x.Where)}}})
	}
	return nil
}

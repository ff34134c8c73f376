package board

import (
	"context"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections"
	"listbound/projections/ready"
)

// dayBody is the page of a day's cases, by what can still be done about them before the incision.
type dayBody struct {
	Day           string // as it is written
	Before, After string // the days beside it, as dates
	Date          string
	Today         bool
	Now           time.Time
	Copied        *shell.Copied // up to where a follower answers
	Groups        []dayGroup
	Cases, Lack   int
	Table         *table
	In            *scheduleForm
}

// dayGroup are the cases about which the same can be done.
type dayGroup struct {
	Class ready.Class
	Cases []dayCase
}

// dayCase is a line of the day: large when, small what is there, and between them what is not.
type dayCase struct {
	ready.Case
	Clock, Left string
	Lacking     []ready.Set
	There       []ready.Set
}

func (p *pages) dayPage(r *http.Request, words *shell.Words) (*answer, error) {
	return p.showDay(r, words, strings.TrimSpace(r.FormValue("day")), new(scheduleForm))
}

// showDay shows a day, and the form by which a schedule is taken in.
func (p *pages) showDay(r *http.Request, words *shell.Words, day string, in *scheduleForm) (*answer, error) {
	d, err := p.site.Schedule(r.Context(), site.ScheduleQuery{Day: day, AsOf: asOf(r)})
	if err != nil {
		return nil, err
	}
	begin, err := time.ParseInLocation(time.DateOnly, d.Day, words.Zone())
	if err != nil {
		return nil, err
	}
	b := &dayBody{
		Day: strings.TrimLeft(words.DayName(begin)+", "+words.Day(d.Day), ", "), Date: d.Day, Now: d.Now, Cases: len(d.Cases),
		Before: begin.AddDate(0, 0, -1).Format(time.DateOnly), After: begin.AddDate(0, 0, 1).Format(time.DateOnly),
		Today: d.Now.In(words.Zone()).Format(time.DateOnly) == d.Day,
	}
	for i := range d.Cases {
		c := &d.Cases[i]
		if n := len(b.Groups); n == 0 || b.Groups[n-1].Class != c.Class {
			b.Groups = append(b.Groups, dayGroup{Class: c.Class})
		}
		if c.Class == ready.Act {
			b.Lack++
		}
		g := &b.Groups[len(b.Groups)-1]
		g.Cases = append(g.Cases, dayLine(words, c, d.Now))
	}
	b.Table = dayTable(words, d)
	if asOf(r).IsZero() {
		b.In, b.Copied = in, p.sh.CopiedIn(words)
	}
	a := &answer{template: "day", title: words.T("board.day"), wide: true, live: true, copied: true, body: b, tables: []*table{b.Table}}
	if r.Method == http.MethodGet && r.FormValue("part") == "rows" {
		a.template = "day-rows"
	}
	return a, nil
}

func dayLine(words *shell.Words, c *ready.Case, now time.Time) dayCase {
	x := dayCase{Case: *c, Clock: words.Clock(c.Start)}
	if c.Class == ready.Act || c.Class == ready.Ready {
		x.Left = left(words, c.Start.Sub(now))
	}
	for _, n := range c.Needs {
		if n.State == ready.Whole || n.State == ready.Opened {
			x.There = append(x.There, n)
		} else {
			x.Lacking = append(x.Lacking, n)
		}
	}
	return x
}

// left says how long it is to a moment, in minutes for the next hours and in hours beyond.
func left(words *shell.Words, d time.Duration) string {
	key, minutes := "board.day-left-", int64(math.Floor(d.Minutes()))
	if minutes < 0 {
		key, minutes = "board.day-past-", -minutes
	}
	const hours = 180
	if minutes >= hours {
		return words.T(key+"hours", (minutes+30)/60)
	}
	return words.T(key+"minutes", minutes)
}

// dayTable has a line for each set that is wanted, and one for a case that wants none.
func dayTable(words *shell.Words, d *site.Day) *table {
	t := newTable(words, "day", "board.day", "begins", "room", "case", "stage", "set", "list", "stands", "finding", "where", "since")
	for i := range d.Cases {
		c := &d.Cases[i]
		add := func(n *ready.Set) {
			stands, code := "", ""
			if n.State != "" {
				stands = words.T("board.day-set-" + string(n.State))
			}
			if n.Code != "" {
				code = words.Code(n.Code)
			}
			t.add(when(words, c.Start), text(c.Room), text(c.Case).to(caseLink(c.Case)), text(words.T("board.day-"+string(c.Class))),
				text(n.Set).to(tripLink(n.Set, n.Trip)), text(n.List), text(stands), text(code),
				text(words.Place(n.Where)), when(words, n.Since))
		}
		for j := range c.Needs {
			add(&c.Needs[j])
		}
		if len(c.Needs) == 0 {
			add(&ready.Set{})
		}
	}
	return t
}

// wishes remembers for a minute which cases want which sets: the board asks with every row that comes in.
type wishes struct {
	mu      sync.Mutex
	records int64
	at      time.Time
	all     map[string]ready.Wish
}

func (w *wishes) ask(ctx context.Context, v *site.View, now time.Time) (map[string]ready.Wish, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	minute, records := now.Truncate(time.Minute), v.Position()
	if w.all != nil && w.records == records && w.at.Equal(minute) {
		return w.all, nil
	}
	all, err := v.Wanted(ctx, now)
	if err == nil {
		w.records, w.at, w.all = records, minute, all
	}
	return all, err
}

// wishOf is the case that wants a set whose turn has not been opened, nil for none.
func wishOf(all map[string]ready.Wish, v *projections.Verdict) *ready.Wish {
	if w, ok := all[v.Set]; ok && !v.Opened && !v.Over {
		return &w
	}
	return nil
}

// wantedSets are the sets that are wanted, in order.
func wantedSets(all map[string]ready.Wish) []string {
	names := make([]string, 0, len(all))
	for name := range all {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func dayLink(date string) string { return "/day?" + url.Values{"day": {date}}.Encode() }

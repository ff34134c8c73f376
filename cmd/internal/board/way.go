package board

import (
	"cmp"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// wayBody is the page of where a set was on a day.
type wayBody struct {
	Set           string
	Day           string
	Before, After string // addresses
	Picture       template.HTML
	Table         *table
}

func wayLink(set string, at time.Time) string {
	v := url.Values{"set": {set}}
	if !at.IsZero() {
		v.Set("day", at.Format(time.DateOnly))
	}
	return "/way?" + v.Encode()
}

// step is one thing that was seen of a set on a day.
type step struct {
	projections.HistoryEvent
	Place string
}

// wayPage draws the way of a set through a day of the site: places below one another in the order in which it came to them, a
// mark for each record, and a line from one to the next. Where it was between two records nobody saw.
func (p *pages) wayPage(r *http.Request, words *shell.Words) (*answer, error) {
	set, asked := r.FormValue("set"), r.FormValue("day")
	b := &wayBody{Set: set}
	var steps []step
	var begin time.Time
	err := p.ask(r, func(m *site.View) error {
		keys, err := m.TripsOfSet(r.Context(), set)
		if err != nil {
			return err
		}
		if len(keys) == 0 {
			return refusal.Say(refuse(http.StatusNotFound, "nothing is recorded here of set %q", set), "nothing-of", set)
		}
		last, err := m.Verdict(r.Context(), keys[len(keys)-1])
		if err != nil {
			return err
		}
		at := m.Moment()
		if last != nil && !last.Since.IsZero() {
			at = last.Since
		}
		if asked != "" {
			if at, err = time.ParseInLocation(time.DateOnly, asked, words.Zone()); err != nil {
				return refuse(http.StatusBadRequest, "day %q is no day such as 2026-03-04", asked)
			}
		}
		y, mo, d := at.In(words.Zone()).Date()
		begin = time.Date(y, mo, d, 0, 0, 0, 0, words.Zone())
		steps, err = stepsOf(m, r, set, keys, begin, begin.AddDate(0, 0, 1))
		return err
	})
	if err != nil {
		return nil, err
	}
	b.Day = words.Day(begin.Format(time.DateOnly))
	b.Before, b.After = wayLink(set, begin.AddDate(0, 0, -1)), wayLink(set, begin.AddDate(0, 0, 1))
	b.Table = newTable(words, "way", "board.way-table", "no", "observed", "place", "what-happened", "by", "record", "trip")
	for i, s := range steps {
		b.Table.add(number(int64(i+1)), seconds(words, s.Observed), text(words.Place(s.Place)), text(kindText(words, s.Kind)),
			text(s.Operator).to(badgeLink(s.Operator)), number(s.Seq).to(recordLink(s.Seq)), text(s.Trip).to(tripLink(s.Set, s.Trip)))
	}
	if len(steps) > 0 {
		b.Picture = drawWay(words, b, begin, begin.AddDate(0, 0, 1), steps)
	}
	return &answer{template: "way", title: words.T("board.way-of", set), body: b, wide: true, tables: []*table{b.Table}}, nil
}

// stepsOf returns what was seen of a set in a time, in the order in which it was observed.
func stepsOf(m *site.View, r *http.Request, set string, keys []projections.TripKey, from, until time.Time) ([]step, error) {
	w := m.World(r.Context())
	seen := make(map[int64]bool)
	var out []step
	// A turn that began before the time, and those in it: ids begin with the time of packing.
	for i := len(keys) - 1; i >= 0; i-- {
		h, err := w.History(projections.HistoryOf{Set: set, Trip: keys[i].Trip, Trips: keys[i : i+1]})
		if err != nil {
			return nil, err
		}
		earlier := false
		for _, e := range h.Events {
			earlier = earlier || e.Observed.Before(from)
			if e.Set != set || e.Void || seen[e.Seq] || e.Observed.Before(from) || !e.Observed.Before(until) {
				continue
			}
			seen[e.Seq] = true
			out = append(out, step{HistoryEvent: e, Place: placeOfEvent(&e)})
		}
		if earlier && len(h.Events) > 0 && h.Events[0].Observed.Before(from) && i < len(keys)-1 {
			break
		}
	}
	slices.SortStableFunc(out, func(a, b step) int { return cmp.Or(a.Observed.Compare(b.Observed), cmp.Compare(a.Seq, b.Seq)) })
	return out, nil
}

// placeOfEvent is where a record says that a set was: on a shelf that is named, in a load, in a room, else at its station.
func placeOfEvent(e *projections.HistoryEvent) string {
	switch d := e.Data.(type) {
	case *events.SetChecked:
		return cmp.Or(d.Place, e.Station)
	case *events.SetSterilized:
		return "load " + d.Load
	case *events.SetOpened:
		return cmp.Or(d.Room, e.Station)
	}
	return e.Station
}

// seenBetween cuts off, in whole stretches, the time before the first step and after the last.
func seenBetween(steps []step, from, until time.Time, stretch time.Duration) (time.Time, time.Time) {
	if len(steps) == 0 {
		return from, until
	}
	for !from.Add(stretch).After(steps[0].Observed) {
		from = from.Add(stretch)
	}
	for !until.Add(-stretch).Before(steps[len(steps)-1].Observed) && until.Add(-stretch).After(from) {
		until = until.Add(-stretch)
	}
	return from, until
}

func drawWay(words *shell.Words, b *wayBody, from, until time.Time, steps []step) template.HTML {
	const top, lane, left, right = 44.0, 46.0, 230.0, 30.0
	var places []string
	for _, x := range steps {
		if !slices.Contains(places, x.Place) {
			places = append(places, x.Place)
		}
	}
	s := &svg{w: 1100, h: top + lane*float64(len(places)) + 10}
	const every = 2 * time.Hour
	from, until = seenBetween(steps, from, until, every)
	at := func(t time.Time) float64 {
		return left + (s.w-left-right)*float64(t.Sub(from))/float64(until.Sub(from))
	}
	for t := from; !t.After(until); t = t.Add(every) {
		s.line(at(t), top-8, at(t), s.h-6, pale, 1.5)
		s.text(at(t), top-16, "middle", 13, soft, words.Clock(t))
	}
	y := func(place string) float64 { return top + lane*(float64(slices.Index(places, place))+0.5) }
	for i, place := range places {
		s.line(left, y(place), s.w-right, y(place), faint, 1)
		s.text(left-12, y(place)+5, "end", 14, ink, cut(words.Place(place), left-16, 14))
		if i > 0 {
			s.line(10, top+lane*float64(i), s.w-right, top+lane*float64(i), pale, 1)
		}
	}
	for i := 1; i < len(steps); i++ {
		a, z := &steps[i-1], &steps[i]
		dash := `stroke-dasharray="6 5"` // what was between, nobody saw
		if a.Place == z.Place {
			dash = ""
		}
		s.line(at(a.Observed), y(a.Place), at(z.Observed), y(z.Place), ink, 2, dash)
	}
	last := make(map[string]float64) // by lane and side: where the last number stands, so that none lies on another
	for i := range steps {
		x := &steps[i]
		up := -11.0
		if before, ok := last[x.Place+"^"]; ok && at(x.Observed)-before < 20 {
			up = 23
			if before, ok := last[x.Place+"v"]; ok && at(x.Observed)-before < 20 {
				up = 0 // the table has it
			}
		}
		side := "^"
		if up >= 0 {
			side = "v"
		}
		if up != 0 {
			last[x.Place+side] = at(x.Observed)
		}
		s.group(words.Clock(x.Observed)+" "+kindText(words, x.Kind), func() {
			s.circle(at(x.Observed), y(x.Place), 7, ink, white, 2)
			if up != 0 {
				s.text(at(x.Observed), y(x.Place)+up, "middle", 13, ink, strconv.Itoa(i+1))
			}
		})
	}
	return s.picture("way", words.T("board.way-of", b.Set), words.T("board.way-says", b.Day))
}

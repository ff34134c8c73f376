package board

import (
	"cmp"
	"context"
	"html/template"
	"maps"
	"net/http"
	"slices"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// weeksBody is the page of the last weeks' incidents: pictures of them, and how soon somebody answered.
type weeksBody struct {
	From, Until string
	Fewer, More string // addresses
	Weeks       int
	All, Before int
	Pictures    []weeksPicture
	Summary     []string
	Response    *table
}

type weeksPicture struct {
	Picture template.HTML
	Table   *table
}

// registerLookBack adds the pages that look back.
func (p *pages) registerLookBack(mux shell.Mux) {
	mux.HandleFunc("GET /weeks", p.pageAt(p.weeksPage))
	mux.HandleFunc("GET /corrections", p.pageAt(p.correctionsPage))
	mux.HandleFunc("GET /not-seen", p.pageAt(p.notSeenPage))
	mux.HandleFunc("GET /way", p.pageAt(p.wayPage))
}

// lookedBack is an incident as it is looked back at.
type lookedBack struct {
	row     *boardRow
	known   time.Time // when the first of its findings was
	by      int64
	after   bool      // found at the opening of a set of it, or later
	first   time.Time // somebody acknowledged it or said what is done; zero: nobody has
	closed  time.Time
	stopped time.Time // when a set of it was not to be used any more
	answer  string    // what was done with that set then: put-aside, opened; "" for nothing yet
	at      time.Time
}

const (
	weeksUnasked = 8
	weeksMost    = 60
)

// weeksPage looks back at the last weeks up to the moment of the verdicts.
func (p *pages) weeksPage(r *http.Request, words *shell.Words) (*answer, error) {
	n, err := whole(r, "weeks", weeksUnasked, 1, weeksMost)
	if err != nil {
		return nil, err
	}
	b := &weeksBody{Weeks: int(n)}
	var all []lookedBack
	var from, until time.Time
	err = p.ask(r, func(m *site.View) error {
		if _, until, err = weekOf(words, "", m.Moment()); err != nil {
			return err
		}
		from = until.AddDate(0, 0, -7*int(n))
		all, err = lookBack(r.Context(), m, from, until)
		return err
	})
	if err != nil {
		return nil, err
	}
	b.From, b.Until = words.Day(from.Format(time.DateOnly)), words.Day(until.AddDate(0, 0, -1).Format(time.DateOnly))
	b.All = len(all)
	for i := range all {
		if !all[i].after {
			b.Before++
		}
	}
	a := &answer{template: "weeks", title: words.T("board.weeks"), body: b, wide: true}
	b.Pictures = weeksPictures(words, all, from, until)
	for _, x := range b.Pictures {
		a.tables = append(a.tables, x.Table)
	}
	b.Response, b.Summary = responseTable(words, all), responseSummary(words, all)
	a.tables = append(a.tables, b.Response)
	return a, nil
}

// lookBack returns the incidents that were first known from a moment on and before another, closed ones too, the last first.
func lookBack(ctx context.Context, m *site.View, from, until time.Time) ([]lookedBack, error) {
	rows, err := laidOutNow(ctx, m, -1, func() ([]projections.Incident, error) { return m.Incidents(ctx) })
	if err != nil {
		return nil, err
	}
	w := m.World(ctx)
	var out []lookedBack
	for i := range rows {
		x := lookedBack{row: &rows[i]}
		if x.tell(); x.known.Before(from) || !x.known.Before(until) {
			continue
		}
		if err := x.answered(ctx, m, w); err != nil {
			return nil, err
		}
		out = append(out, x)
	}
	slices.SortStableFunc(out, func(a, b lookedBack) int { return b.known.Compare(a.known) })
	return out, nil
}

// tell says what the rows themselves tell.
func (x *lookedBack) tell() {
	earliest := func(to *time.Time, t time.Time) {
		if !t.IsZero() && (to.IsZero() || t.Before(*to)) {
			*to = t
		}
	}
	for _, r := range x.row.Sets() {
		for i := range r.Findings {
			f := &r.Findings[i]
			if !f.Known.IsZero() && (x.known.IsZero() || f.Known.Before(x.known)) {
				x.known, x.by = f.Known, f.KnownBy
			}
			for _, a := range f.Acknowledged {
				earliest(&x.first, a.Time)
			}
		}
	}
	for _, s := range x.row.Incident.Steps {
		earliest(&x.first, s.Time)
		if s.Step == events.IncidentClosed && x.row.Incident.State == projections.IncidentClosed {
			x.closed = s.Time
		}
	}
}

// answered says whether it was found before its sets were opened, and what was done with the first that was not to be used.
func (x *lookedBack) answered(ctx context.Context, m *site.View, w *judge.World) error {
	for _, r := range x.row.Sets() {
		known, _ := firstKnown(r.Findings, "")
		stop, by := firstKnown(r.Findings, projections.SeverityBroken)
		opened, err := m.FirstOpened(ctx, keyOf(&r.Verdict))
		if err != nil {
			return err
		}
		if !opened.IsZero() && !known.IsZero() && !known.Before(opened) {
			x.after = true
		}
		if stop.IsZero() || r.Trip == "" || !x.stopped.IsZero() && !stop.Before(x.stopped) {
			continue
		}
		answer, at := answerIn(w.Trip(keyOf(&r.Verdict)).All, by)
		if err := w.Failed(); err != nil {
			return err
		}
		if answer != "" || opened.IsZero() {
			x.stopped, x.answer, x.at = stop, answer, at
		}
	}
	return nil
}

// firstKnown is when the first of some findings became known and the record that showed it, of a severity alone where one is
// asked for: what was in doubt for days is no STOP until it is broken.
func firstKnown(found []projections.Finding, severity projections.Severity) (known time.Time, by int64) {
	for i := range found {
		f := &found[i]
		if severity != "" && f.Severity != severity || f.Known.IsZero() {
			continue
		}
		if known.IsZero() || f.Known.Before(known) {
			known, by = f.Known, f.KnownBy
		}
	}
	return known, by
}

func keyOf(v *projections.Verdict) projections.TripKey {
	return projections.TripKey{Set: v.Set, Trip: v.Trip}
}

// bar is a row of a picture: so many that were found before a set was opened, and so many at the opening or after.
type bar struct {
	key, name     string
	before, after int
}

// weeksPictures count by week, by kind and by where the sheet was.
func weeksPictures(words *shell.Words, all []lookedBack, from, until time.Time) []weeksPicture {
	var weeks []bar
	for monday := from; monday.Before(until); monday = monday.AddDate(0, 0, 7) {
		key := monday.Format(time.DateOnly)
		weeks = append(weeks, bar{key: key, name: words.Day(key)})
	}
	kinds, places, cells := make(map[string]*bar), make(map[string]*bar), make(map[crossing]*bar)
	for i := range all {
		x := &all[i]
		monday, _, _ := weekOf(words, "", x.known) // nothing is asked for
		for n := range weeks {
			if weeks[n].key == monday.Format(time.DateOnly) {
				weeks[n].count(x)
			}
		}
		counted(kinds, x.row.Incident.Kind, words.T("board.incident-kind-"+x.row.Incident.Kind)).count(x)
		name := words.T("board.placement-unrecorded")
		if x.row.Placement != "" {
			name = words.T("board.placement-" + x.row.Placement)
		}
		counted(places, x.row.Placement, name).count(x)
		at := crossing{x.row.Incident.Kind, x.row.Placement}
		if cells[at] == nil {
			cells[at] = new(bar)
		}
		cells[at].count(x)
	}
	var out []weeksPicture
	for _, g := range []struct {
		id   string
		bars []bar
	}{{"weeks", weeks}, {"kinds", mostFirst(kinds)}, {"places", mostFirst(places)}} {
		out = append(out, weeksPicture{drawBars(words, g.id, g.bars), barTable(words, g.id, g.bars)})
	}
	c := crossed{mostFirst(kinds), mostFirst(places), cells}
	return append(out, weeksPicture{c.draw(words), c.table(words)})
}

func (b *bar) count(x *lookedBack) {
	if x.after {
		b.after++
	} else {
		b.before++
	}
}

func counted(in map[string]*bar, key, name string) *bar {
	if in[key] == nil {
		in[key] = &bar{key: key, name: name}
	}
	return in[key]
}

func mostFirst(in map[string]*bar) (out []bar) {
	for _, key := range slices.Sorted(maps.Keys(in)) {
		out = append(out, *in[key])
	}
	slices.SortStableFunc(out, func(a, b bar) int { return b.before + b.after - a.before - a.after })
	return out
}

func barTable(words *shell.Words, id string, bars []bar) *table {
	t := newTable(words, "bars-"+id, "board.bars-"+id, "bars-"+id, "bars-before", "bars-after", "bars-all")
	for _, b := range bars {
		t.add(text(b.name), number(int64(b.before)), number(int64(b.after)), number(int64(b.before+b.after)))
	}
	return t
}

// drawBars draws a bar for each row: filled for what was found before a set was opened, hatched for what was found at the
// opening or after, each with its number, so that it reads in grey as well.
func drawBars(words *shell.Words, id string, bars []bar) template.HTML {
	const top, row, left, right = 46.0, 30.0, 300.0, 176.0
	most := 1
	for _, b := range bars {
		most = max(most, b.before+b.after)
	}
	s := &svg{w: 900, h: top + row*float64(len(bars)) + 8}
	hatch := s.caughtKey(words, id, left)
	unit := (s.w - left - right) / float64(most)
	for i, b := range bars {
		y := top + row*float64(i)
		s.text(left-10, y+17, "end", 14, ink, cut(b.name, left-14, 14))
		x := s.bothParts(&b, left, y, unit, hatch)
		s.text(x+8, y+18, "start", 14, ink, words.T("board.bars-numbers", b.before, b.after))
	}
	s.line(left, top-4, left, s.h-6, ink, 1.5)
	return s.picture("bars-"+id, words.T("board.bars-"+id), words.T("board.bars-say"))
}

// bothParts draws a bar of two parts from a place on, and returns where it ends.
func (s *svg) bothParts(b *bar, x, y, unit float64, hatch string) float64 {
	for _, part := range []struct {
		n    int
		fill string
	}{{b.before, soft}, {b.after, hatch}} {
		if part.n > 0 {
			s.rect(x, y+2, unit*float64(part.n), 22, part.fill, ink)
			x += unit * float64(part.n)
		}
	}
	return x
}

// caughtKey explains the fills of what was found before a set was opened and after, and returns the second.
func (s *svg) caughtKey(words *shell.Words, id string, left float64) (hatched string) {
	hatch := "hatch-" + id
	s.f(`<defs><pattern id="%s" width="7" height="7" patternUnits="userSpaceOnUse"><rect width="7" height="7" fill="%s"/>`+
		`<path d="M0 7L7 0" stroke="%s" stroke-width="1.6"/></pattern></defs>`, hatch, white, ink)
	hatched = "url(#" + hatch + ")"
	s.rect(left, 12, 16, 16, soft, ink)
	s.text(left+22, 25, "start", 14, ink, words.T("board.column-bars-before"))
	s.rect(left+250, 12, 16, 16, hatched, ink)
	s.text(left+272, 25, "start", 14, ink, words.T("board.column-bars-after"))
	return hatched
}

// responseTable says of each incident how long it took from its becoming known to each answer.
func responseTable(words *shell.Words, all []lookedBack) *table {
	t := newTable(words, "response", "board.response", "incident", "response-kind", "set", "finding", "since", "record", "response-first",
		"response-first-min", "response-stop", "response-stop-at", "response-stop-min", "response-closed", "response-closed-min",
		"state", "response-caught")
	for i := range all {
		x := &all[i]
		in := x.row.Incident
		stop := text("")
		if !x.stopped.IsZero() {
			stop = text(words.T("board.answer-" + cmp.Or(x.answer, "none")))
		}
		caught := "before"
		if x.after {
			caught = "after"
		}
		code := ""
		if f := first(x.row.Findings); f != nil {
			code = words.Code(f.Code)
		}
		t.add(text(in.Key).to(incidentLink(in.Key)), text(words.T("board.incident-kind-"+in.Kind)),
			text(x.row.Set).to(tripLink(x.row.Set, x.row.Trip)), text(code), when(words, x.known), recordCell(x.by),
			when(words, x.first), minutes(x.known, x.first), stop, when(words, x.at), minutes(x.stopped, x.at),
			when(words, x.closed), minutes(x.known, x.closed), text(words.T("board.incident-"+string(in.State))),
			text(words.T("board.column-bars-"+caught)))
	}
	return t
}

func recordCell(seq int64) cell {
	if seq == 0 {
		return cell{}
	}
	return number(seq).to(recordLink(seq))
}

// minutes is how long it took, nothing where it hasn't come to that.
func minutes(from, to time.Time) cell {
	if from.IsZero() || to.IsZero() {
		return cell{}
	}
	return number(max(0, int64(to.Sub(from).Round(time.Minute)/time.Minute)))
}

// responseSummary has the median of each length of time, and of how many it is.
func responseSummary(words *shell.Words, all []lookedBack) []string {
	var out []string
	for _, x := range []struct {
		key string
		of  func(*lookedBack) (from, to time.Time)
	}{
		{"first", func(x *lookedBack) (time.Time, time.Time) { return x.known, x.first }},
		{"stop", func(x *lookedBack) (time.Time, time.Time) { return x.stopped, x.at }},
		{"closed", func(x *lookedBack) (time.Time, time.Time) { return x.known, x.closed }},
	} {
		var took []time.Duration
		asked := 0
		for i := range all {
			from, to := x.of(&all[i])
			if from.IsZero() {
				continue
			}
			asked++
			if !to.IsZero() {
				took = append(took, max(0, to.Sub(from)))
			}
		}
		if len(took) == 0 {
			out = append(out, words.T("board.response-none-"+x.key, asked))
			continue
		}
		slices.Sort(took)
		median := (took[(len(took)-1)/2] + took[len(took)/2]) / 2
		out = append(out, words.T("board.response-median-"+x.key, len(took), asked, span(words, median)))
	}
	return out
}

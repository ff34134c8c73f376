package board

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

type historyBody struct {
	*look
	What, ID   string    // what is asked for: set, trip, case, load
	Case       *caseBody // nil where no case is asked for
	Turns      []*table  // of a set: its turns, and two of them beside one another
	Chains     []chainView
	PairViews  []pairView
	Graph      template.HTML
	GraphTable *table
	EventTable *table
	Moments    []string // recorded times, for the slider
	MomentAt   int      // of them the one shown
	AsOfText   string
	Way        string // the page of the set's way on a day
	ThenText   string
	Now        string // the same question without a moment
	Params     url.Values
	Difference *difference
	Evidence   string
	Report     string
	Touched    string
	Run        string // of a load: the page of its runs, by their logs
	Runs       []runShown
	Older      string
	Newer      string
}

// chainView is one trip's chain on a page.
type chainView struct {
	Verdict  projections.Verdict
	Trace    projections.Trace
	Picture  template.HTML
	Mini     template.HTML
	Findings []findingView
	Readings *table
	Stays    *table
	Open     bool
}

type findingView struct {
	projections.Finding
	Set, Trip string
}

type pairView struct {
	pair
	Picture template.HTML
	Table   *table
}

func (p *pages) historyPage(r *http.Request, words *shell.Words) (*answer, error) {
	q, err := asked(r)
	if err != nil {
		return nil, err
	}
	then, err := p.site.ReadMoment(r.URL.Query().Get("then"))
	if err != nil {
		return nil, err
	}
	if !q.AsOf.IsZero() && then.After(q.AsOf) { // typed in the order in which people say them: from one to the other
		q.AsOf, then = then, q.AsOf
	}
	page, _ := strconv.Atoi(r.URL.Query().Get("page")) // no number: the first page
	l, err := p.look(r.Context(), q, max(page, 0))
	if err != nil {
		return nil, err
	}
	b := &historyBody{look: l, Params: keep(r.URL.Query(), "set", "trip", "case", "load")}
	b.What, b.ID = what(q)
	b.links(words, q, r.URL.Query())
	if err := p.moments(r, q, b); err != nil {
		return nil, err
	}
	if (b.What == "set" || b.What == "trip") && len(l.Verdicts) > 0 && l.Verdicts[0].Set != "" {
		b.Way = wayLink(l.Verdicts[0].Set, l.Verdicts[0].Since.In(words.Zone()))
	}
	title := words.T("board.history-of", words.T("board.what-"+b.What), b.ID)
	if b.What == "trip" {
		title = words.T("board.history-of-trip", l.Set)
	}
	a := &answer{template: "history", title: title, body: b, moment: true, asOf: q.AsOf}
	logged := func(e projections.HistoryEvent) bool { return e.Kind == string(events.KindRunLogged) }
	if b.What == "load" && slices.ContainsFunc(b.Events, logged) {
		if b.Runs, err = p.runsOf(r, words, q.Load, q.AsOf, a); err != nil {
			return nil, err
		}
	}
	if b.caseOf(words, q.Case); b.Case != nil {
		a.tables = append(a.tables, b.Case.Tables...)
	}
	b.chains(words, a)
	if l.Exchange != nil {
		b.Graph = drawExchange(words, *l.Exchange)
		b.GraphTable = exchangeTable(words, *l.Exchange)
		a.tables = append(a.tables, b.GraphTable)
	}
	for i, x := range l.Pairs {
		t := pairTable(words, x, i)
		b.PairViews = append(b.PairViews, pairView{pair: x, Picture: drawPair(words, x, i), Table: t})
		a.tables = append(a.tables, t)
	}
	b.EventTable = eventTable(words, l)
	a.tables = append(a.tables, b.EventTable)
	if q.Set != "" && b.What == "set" {
		b.turns(page)
		b.turnTables(words, r.URL.Query(), a)
	}
	return a, p.compare(r, words, q, then, b)
}

func what(q site.Query) (string, string) {
	switch {
	case q.Trip != "":
		return "trip", q.Trip
	case q.Case != "":
		return "case", q.Case
	case q.Load != "":
		return "load", q.Load
	}
	return "set", q.Set
}

func (b *historyBody) links(words *shell.Words, q site.Query, v url.Values) {
	b.Now = address("/history", b.Params)
	same := url.Values{}
	for k, x := range b.Params {
		same[k] = x
	}
	if !q.AsOf.IsZero() {
		b.AsOfText = stamp(words, q.AsOf)
		same.Set("as-of", rfc3339(q.AsOf))
	}
	b.Evidence = address("/api/evidence", same)
	b.Report = address("/report", same)
	b.Touched = address("/touched", b.Params)
	if b.What == "load" {
		b.Run = runLink(q.Load)
	}
	if b.What == "trip" {
		b.Touched = address("/touched", url.Values{"trip": {q.Trip}})
	}
}

// moments are the times at which something was recorded, for the slider: at
// each of them something changed in what was known. They are those known now,
// so that from an earlier moment one can go forward again.
func (p *pages) moments(r *http.Request, q site.Query, b *historyBody) error {
	all := b.Events
	if !q.AsOf.IsZero() {
		q.AsOf = time.Time{}
		now, err := p.look(r.Context(), q, 0)
		if err != nil {
			return err
		}
		all = now.Events
	}
	var at []time.Time
	for _, e := range all {
		at = append(at, e.Recorded)
	}
	slices.SortFunc(at, time.Time.Compare)
	at = slices.CompactFunc(at, time.Time.Equal)
	for i, t := range at {
		b.Moments = append(b.Moments, rfc3339(t))
		if b.AsOf.IsZero() || !t.After(b.AsOf) {
			b.MomentAt = i
		}
	}
	return nil
}

func (b *historyBody) chains(words *shell.Words, a *answer) {
	alone := len(b.Verdicts) == 1
	for i, v := range b.Verdicts {
		t := b.Traces[i]
		c := chainView{Verdict: v, Trace: t, Mini: drawMini(words, t, v), Open: alone || i == 0 && b.What == "set"}
		// A load holds many sets; their pictures are on their own pages.
		if b.What != "load" {
			c.Picture = drawChain(words, t, v, b.eventsOf(v, t), b.Tolerant, i)
			c.Readings = readingTable(words, t, i)
			c.Stays = stayTable(words, t, i)
			a.tables = append(a.tables, c.Readings, c.Stays)
		}
		for _, f := range v.Findings {
			c.Findings = append(c.Findings, findingView{Finding: f, Set: v.Set, Trip: v.Trip})
		}
		b.Chains = append(b.Chains, c)
	}
}

// eventsOf returns the events of one trip among those of the page, and the
// closing of its case.
func (b *historyBody) eventsOf(v projections.Verdict, t projections.Trace) []projections.HistoryEvent {
	var out []projections.HistoryEvent
	for _, e := range b.Events {
		closing := e.Set == "" && slices.ContainsFunc(t.Links,
			func(l projections.TraceLink) bool { return l.Seq == e.Seq })
		if e.Trip == v.Trip && e.Set == v.Set || closing {
			out = append(out, e)
		}
	}
	return out
}

func (b *historyBody) turnTables(words *shell.Words, q url.Values, a *answer) {
	if beside := besideTable(words, b.look.turns, q.Get("turn"), q.Get("beside")); beside != nil {
		b.Turns = append(b.Turns, beside)
	}
	if len(b.look.turns) > 1 {
		b.Turns = append(b.Turns, turnTable(words, b.look.turns, q))
	}
	a.tables = append(a.tables, b.Turns...)
}

func (b *historyBody) turns(page int) {
	if len(b.Trips) <= tripsOnPage {
		return
	}
	v := keep(b.Params, "set")
	if page > 0 {
		v.Set("page", strconv.Itoa(page-1))
		b.Newer = address("/history", v)
	}
	if (page+1)*tripsOnPage < len(b.Trips) {
		v.Set("page", strconv.Itoa(page+1))
		b.Older = address("/history", v)
	}
}

// difference is what changed in what was known between two moments.
type difference struct {
	Then, Now string
	Nothing   bool
	Learned   []projections.HistoryEvent
	Verdicts  []verdictChange
	Unknown   bool // nothing was known at the earlier moment
}

type verdictChange struct {
	Set, Trip     string
	Was, Is       projections.Status
	Came, Settled []projections.Finding
}

func (p *pages) compare(r *http.Request, words *shell.Words, q site.Query, then time.Time, b *historyBody) error {
	if then.IsZero() {
		return nil
	}
	b.ThenText = stamp(words, then)
	q.AsOf = then
	d := &difference{Then: words.Time(then), Now: words.T("board.now")}
	if !b.AsOf.IsZero() {
		d.Now = words.Time(b.AsOf)
	}
	old, err := p.look(r.Context(), q, 0)
	if errors.Is(err, site.ErrNotFound) {
		old, err, d.Unknown = new(look), nil, true
	}
	if err != nil {
		return err
	}
	known := make(map[int64]bool)
	for _, e := range old.Events {
		known[e.Seq] = true
	}
	for _, e := range b.Events {
		if !known[e.Seq] {
			d.Learned = append(d.Learned, e)
		}
	}
	for _, v := range b.Verdicts {
		c := verdictChange{Set: v.Set, Trip: v.Trip, Is: v.Status}
		var was []projections.Finding
		if i := slices.IndexFunc(old.Verdicts,
			func(o projections.Verdict) bool { return o.Set == v.Set && o.Trip == v.Trip }); i >= 0 {
			c.Was, was = old.Verdicts[i].Status, old.Verdicts[i].Findings
		}
		c.Came, c.Settled = lacking(v.Findings, was), lacking(was, v.Findings)
		if c.Was != c.Is || len(c.Came)+len(c.Settled) > 0 {
			d.Verdicts = append(d.Verdicts, c)
		}
	}
	d.Nothing = len(d.Learned) == 0 && len(d.Verdicts) == 0
	b.Difference = d
	return nil
}

func lacking(a, b []projections.Finding) []projections.Finding {
	var out []projections.Finding
	for _, f := range a {
		if !slices.ContainsFunc(b, f.Same) {
			out = append(out, f)
		}
	}
	return out
}

func eventTable(words *shell.Words, l *look) *table {
	t := newTable(words, "events", "board.events", "record", "observed", "recorded", "what-happened", "set", "station",
		"by", "notes", "says")
	for _, e := range l.Events {
		recorded := when(words, e.Recorded)
		if sameClock(e, l.Tolerant) {
			recorded.Text = words.T("board.same")
		}
		t.add(number(e.Seq).to(recordLink(e.Seq)), seconds(words, e.Observed), recorded,
			text(kindText(words, e.Kind)).to(correctLink(e.ID)),
			text(e.Set).to(tripLink(e.Set, e.Trip)),
			text(e.Station).to(stationLink(e.Station)), text(e.Operator).to(badgeLink(e.Operator)),
			text(strings.Join(notes(words, e), "; ")), text(words.Event(&e)))
	}
	return t
}

// sameClock reports whether observed and recorded time differ by no more than a
// person would care about.
func sameClock(e projections.HistoryEvent, tolerant time.Duration) bool {
	return e.Recorded.Sub(e.Observed).Abs() <= tolerant
}

// seconds writes a moment with its seconds: in one room much happens in a minute.
func seconds(words *shell.Words, t time.Time) cell {
	c := when(words, t)
	c.Text += t.UTC().Format(":05") // a zone differs by whole minutes
	return c
}

func kindText(words *shell.Words, kind string) string {
	if k := events.Kind(kindName(kind)); k.Known() {
		return words.Kind(k)
	}
	return kind
}

func notes(words *shell.Words, e projections.HistoryEvent) []string {
	var out []string
	if e.Late {
		out = append(out, words.T("board.note-late", span(words, e.Recorded.Sub(e.Observed))))
	}
	if e.Voided != 0 {
		out = append(out, words.T("board.note-voided", e.Voided))
	}
	if e.Replaced != 0 {
		out = append(out, words.T("board.note-replaced", e.Replaced))
	}
	return append(out, words.Remarks(e.Bits)...)
}

// span writes a length of time in at most two units.
func span(words *shell.Words, d time.Duration) string {
	d = d.Abs()
	day := 24 * time.Hour
	switch {
	case d >= 2*day:
		s := fmt.Sprintf("%d %s", d/day, words.T("board.unit-d"))
		if h := d % day / time.Hour; h > 0 && d < 10*day {
			s += fmt.Sprintf(" %d %s", h, words.T("board.unit-h"))
		}
		return s
	case d >= time.Hour:
		s := fmt.Sprintf("%d %s", d/time.Hour, words.T("board.unit-h"))
		if m := d % time.Hour / time.Minute; m > 0 {
			s += fmt.Sprintf(" %d %s", m, words.T("board.unit-min"))
		}
		return s
	case d >= time.Minute:
		return fmt.Sprintf("%d %s", d/time.Minute, words.T("board.unit-min"))
	}
	return fmt.Sprintf("%d %s", d/time.Second, words.T("board.unit-s"))
}

func readingTable(words *shell.Words, t projections.Trace, i int) *table {
	x := newTable(words, fmt.Sprintf("readings-%d", i+1), "board.readings", "record", "observed", "where", "by", "read",
		"whose", "found")
	for _, r := range t.Readings {
		whose := text("")
		if r.Owner != nil {
			whose = text(r.Owner.Set).to(tripLink(r.Owner.Set, r.Owner.Trip))
		}
		read := words.T("board.result-" + string(r.Result))
		if r.Opening {
			read = words.T("board.at-opening", read)
		}
		if r.Tray != "" {
			read += "; " + words.T("board.tray-is", r.Tray)
		}
		x.add(number(r.Seq).to(recordLink(r.Seq)), seconds(words, r.At), text(words.Place(r.Place)), text(r.By).to(badgeLink(r.By)),
			text(read), whose, found(words, r.Found))
	}
	return x
}

func found(words *shell.Words, s string) cell {
	if s == "" {
		return text("")
	}
	return text(words.T("board.placement-" + s))
}

func stayTable(words *shell.Words, t projections.Trace, i int) *table {
	x := newTable(words, fmt.Sprintf("stays-%d", i+1), "board.stays", "no", "place", "by", "from", "until")
	for n, s := range t.Stays {
		x.add(number(int64(n+1)), text(words.Place(s.Place)), text(s.By).to(badgeLink(s.By)), seconds(words, s.From),
			seconds(words, s.To))
	}
	return x
}

func pairTable(words *shell.Words, p pair, i int) *table {
	x := newTable(words, fmt.Sprintf("pair-%d", i+1), "board.pair-where", "set", "place", "from", "until", "both")
	for _, t := range []projections.Trace{p.Mine, p.Hers} {
		for _, s := range t.Stays {
			both := ""
			if !s.To.Before(p.Finding.From) && !s.From.After(p.Finding.To) &&
				slices.Contains(p.Finding.Places, s.Place) {
				both = words.T("board.both-here")
			}
			x.add(text(t.Key.Set).to(tripLink(t.Key.Set, t.Key.Trip)), text(words.Place(s.Place)), seconds(words, s.From),
				seconds(words, s.To), text(both))
		}
	}
	return x
}

func exchangeTable(words *shell.Words, x projections.Exchange) *table {
	t := newTable(words, "exchange", "board.exchange", "set", "has-sheet-of", "read-at", "where", "record")
	for _, c := range x.Carries {
		t.add(text(c.Set.Set).to(tripLink(c.Set.Set, c.Set.Trip)),
			text(c.Sheet.Set).to(tripLink(c.Sheet.Set, c.Sheet.Trip)), seconds(words, c.At), text(words.Place(c.Place)),
			number(c.Seq).to(recordLink(c.Seq)))
	}
	if !x.Closed && x.Last.Set != "" {
		t.add(text(x.Last.Set).to(tripLink(x.Last.Set, x.Last.Trip)), text(words.T("board.probably", x.First.Set)),
			text(words.T("board.not-read-since")), text(""), text(""))
	}
	return t
}

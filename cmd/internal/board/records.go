package board

import (
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
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// recordsOnPage is how many records of a station or a badge one page shows.
const recordsOnPage = 60

type recordsBody struct {
	What, ID string
	Station  *site.Station
	Verdict  *projections.Verdict
	Remarked *table
	Table    *table
	Older    string
	Touched  string
	Held     string    // what else there is of a badge
	Weeks    []askLink // the sets that a badge packed, by the last weeks in which it did
	Cases    *table    // of a station: for which sets were opened there
	Picture  template.HTML
}

// fact reads one record by its sequence.
func (p *pages) fact(seq int64) (*events.Event, time.Time, error) {
	raw, err := p.site.ReadRecord(seq)
	if err != nil {
		return nil, time.Time{}, err
	}
	_, at, _, err := proof.SplitArrival(p.site.Name(), raw)
	if err != nil {
		return nil, at, fmt.Errorf("record %d: %w", seq, err)
	}
	e, err := p.site.EventAt(seq)
	if err != nil {
		return nil, at, nil //nolint:nilerr // not an event; its remark says so
	}
	return e, at, nil
}

func (p *pages) recordTable(words *shell.Words, id, title string, m *site.View, r *http.Request, seqs []int64) (*table,
	error) {
	t := newTable(words, id, title, "record", "observed", "recorded", "what-happened", "subject", "trip", "by",
		"station", "notes")
	for _, seq := range seqs {
		e, at, err := p.fact(seq)
		if err != nil {
			return nil, err
		}
		remarks, err := m.RemarksOf(r.Context(), seq)
		if err != nil {
			return nil, err
		}
		note := text(strings.Join(words.Remarks(remarks), "; "))
		if e == nil {
			t.add(number(seq).to(recordLink(seq)), text(""), when(words, at), text(words.T("board.unreadable-record")),
				text(""), text(""), text(""), text(""), note)
			continue
		}
		subject := text(e.Subject)
		switch e.Kind() {
		case events.KindCaseClosed:
			subject = subject.to(caseLink(e.Subject))
		case events.KindIndicatorRead:
			subject = subject.to(loadLink(e.Subject))
		case events.KindSetPacked, events.KindListSealed, events.KindSetSterilized, events.KindSetOpened,
			events.KindSetCounted, events.KindSetChecked, events.KindSetReturned, events.KindPieceReported:
			subject = subject.to(tripLink(e.Subject, ""))
		}
		t.add(number(seq).to(recordLink(seq)), seconds(words, e.Time), seconds(words, at),
			text(kindText(words, kindOf(e))), subject, text(e.Trip).to(tripLink(e.Subject, e.Trip)),
			text(e.Operator).to(badgeLink(e.Operator)), text(e.Station).to(stationLink(e.Station)), note)
	}
	return t, nil
}

func kindOf(e *events.Event) string {
	if u, ok := e.Data.(*events.Unknown); ok {
		return u.Type
	}
	return string(e.Kind())
}

func (p *pages) stationPage(r *http.Request, words *shell.Words) (*answer, error) {
	name := r.URL.Query().Get("name")
	stations, err := p.site.StationsAt(r.Context(), asOf(r))
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(stations, func(s site.Station) bool { return s.Name == name })
	if i < 0 {
		return nil, refuse(http.StatusNotFound, "nothing is recorded here of station %q", name)
	}
	b := &recordsBody{What: "station", ID: name, Station: &stations[i],
		Touched: address("/touched", url.Values{"station": {name}})}
	a := &answer{template: "records", title: words.T("board.station-records", name), body: b}
	err = p.ask(r, func(m *site.View) error {
		w := m.World(r.Context())
		st := m.Station(name)
		if st == nil {
			st = &events.Station{Name: name}
		}
		v, err := w.JudgeStation(*st)
		if err != nil {
			return err
		}
		b.Verdict = &v
		seqs, err := m.Remarked(r.Context(), name, recordsOnPage)
		if err != nil {
			return err
		}
		if len(seqs) > 0 {
			if b.Remarked, err = p.recordTable(words, "remarked", "board.remarked", m, r, seqs); err != nil {
				return err
			}
			a.tables = append(a.tables, b.Remarked)
		}
		beads, err := p.beads(r, words, m, name)
		if err != nil {
			return err
		}
		b.Picture = drawStation(words, name, beads)
		b.Touched = address("/touched", around(name, beads))
		cases, err := m.CasesAt(r.Context(), name, touchedAtMost)
		if err != nil {
			return err
		}
		if b.Cases = casesTable(words, cases); len(cases) > 0 {
			a.tables = append(a.tables, b.Cases)
		}
		return p.records(r, words, m, b, a)
	})
	return a, err
}

// around asks for the sets that a station recorded at about the time of what is
// wrong with its records: from the record before it, and for a shift on.
func around(station string, beads []bead) url.Values {
	const shift = 12 * time.Hour
	v := url.Values{"station": {station}}
	for i, b := range slices.Backward(beads) {
		if b.remarks == 0 {
			continue
		}
		from := b.observed.Add(-shift)
		if i > 0 && beads[i-1].observed.Before(b.observed) {
			from = beads[i-1].observed
		}
		v.Set("from", rfc3339(from))
		v.Set("to", rfc3339(b.observed.Add(shift)))
		break
	}
	return v
}

func (p *pages) badgePage(r *http.Request, words *shell.Words) (*answer, error) {
	b := &recordsBody{What: "badge", ID: r.URL.Query().Get("id")}
	b.Touched = address("/touched", url.Values{"badge": {b.ID}})
	b.Held = address("/badge/held", url.Values{"id": {b.ID}})
	a := &answer{template: "records", title: words.T("board.badge-records", b.ID), body: b}
	if as := r.URL.Query().Get("as"); as != "" && as != "operator" {
		if !slices.Contains(events.BadgeMembers(), as) {
			return nil, refuse(http.StatusBadRequest, "as %q is not one of %s", as, strings.Join(events.BadgeMembers(), ", "))
		}
		b.What = as
	}
	err := p.ask(r, func(m *site.View) error {
		last, err := m.LastPacked(r.Context(), b.ID)
		if err != nil {
			return err
		}
		b.Weeks = packedWeeks(words, b.ID, last)
		if err := p.records(r, words, m, b, a); err != nil || b.What != "badge" || len(b.Table.Rows) > 0 {
			return err
		}
		// Whoever recorded nothing may have counted, or been the second person.
		held, err := m.HeldAbout(r.Context(), b.ID)
		if err != nil || len(held) == 0 {
			return err
		}
		b.What, a.tables = held[0].As, nil
		return p.records(r, words, m, b, a)
	})
	if b.What != "badge" {
		a.title = words.T("board.held-records", b.ID, words.T("board.held-as-"+b.What))
	}
	if err == nil && len(b.Table.Rows) == 0 {
		err = refuse(http.StatusNotFound, "nothing is recorded here by badge %q", b.ID)
	}
	return a, err
}

// packedWeeks lead to the sets that a badge packed in each of the last weeks up to its last packing, by the site's days.
func packedWeeks(words *shell.Words, badge string, last time.Time) (out []askLink) {
	if last.IsZero() {
		return nil
	}
	const weeks, week = 4, 7
	day := last.In(words.Zone())
	monday := time.Date(day.Year(), day.Month(), day.Day()-(int(day.Weekday())+week-1)%week, 0, 0, 0, 0, words.Zone())
	for range weeks {
		next := monday.AddDate(0, 0, week)
		out = append(out, askLink{words.T("board.packed-in-week", words.Day(monday.Format(time.DateOnly))), "/touched?" + url.Values{"packer": {badge},
			"from": {rfc3339(monday)}, "to": {rfc3339(next.Add(-time.Nanosecond))}}.Encode()})
		monday = monday.AddDate(0, 0, -week)
	}
	return out
}

func casesTable(words *shell.Words, cases []readmodel.CaseAt) *table {
	t := newTable(words, "cases", "board.cases-here", "case", "began", "case-sets-opened", "case-troubled")
	for _, c := range cases {
		t.add(text(c.Case).to(caseLink(c.Case)), when(words, c.At), number(int64(c.Sets)), number(int64(c.Troubled)))
	}
	return t
}

func (p *pages) records(r *http.Request, words *shell.Words, m *site.View, b *recordsBody, a *answer) error {
	var below int64
	if s := r.URL.Query().Get("below"); s != "" {
		var err error
		if below, err = strconv.ParseInt(s, 10, 64); err != nil || below < 1 {
			return refuse(http.StatusBadRequest, "below %q is not the number of a record", s)
		}
	}
	seqs, err := m.RecordsOf(r.Context(), b.What, b.ID, below, recordsOnPage+1)
	if err != nil {
		return err
	}
	if len(seqs) > recordsOnPage {
		seqs = seqs[:recordsOnPage]
		v := keep(r.URL.Query(), "name", "id", "as")
		v.Set("below", strconv.FormatInt(seqs[recordsOnPage-1], 10))
		b.Older = address(r.URL.Path, v)
	}
	b.Table, err = p.recordTable(words, "records", "board.records", m, r, seqs)
	a.tables = append(a.tables, b.Table)
	return err
}

package board

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// correctionsBody is the page of all that was said anew or taken back in a week.
type correctionsBody struct {
	Week          string
	Before, After string // addresses
	Table         *table
	Cut           bool // there are more
}

// weekOf is the week that a page is asked for: from its Monday on and before the next, by the site's days. Without one it is
// that of a moment.
func weekOf(words *shell.Words, asked string, now time.Time) (from, until time.Time, err error) {
	at := now.In(words.Zone())
	if asked != "" {
		if at, err = time.ParseInLocation(time.DateOnly, asked, words.Zone()); err != nil {
			return from, until, refuse(http.StatusBadRequest, "week %q is no day such as 2026-03-02", asked)
		}
	}
	const days = 7
	from = time.Date(at.Year(), at.Month(), at.Day()-(int(at.Weekday())+days-1)%days, 0, 0, 0, 0, words.Zone())
	return from, from.AddDate(0, 0, days), nil
}

func weekLink(path string, monday time.Time) string {
	return path + "?" + url.Values{"week": {monday.Format(time.DateOnly)}}.Encode()
}

// correctionsPage lists the corrections that arrived in a week: who, of what, why, and what became of it.
func (p *pages) correctionsPage(r *http.Request, words *shell.Words) (*answer, error) {
	b := new(correctionsBody)
	b.Table = newTable(words, "corrections", "board.corrections", "record", "recorded", "by", "station", "corrected", "subject",
		"what-happened", "correction-change", "correction-verdict", "correction-why")
	err := p.ask(r, func(m *site.View) error {
		from, until, err := weekOf(words, r.FormValue("week"), m.Moment())
		if err != nil {
			return err
		}
		b.Week, b.Before, b.After = words.Day(from.Format(time.DateOnly)), weekLink("/corrections", from.AddDate(0, 0, -7)),
			weekLink("/corrections", until)
		seqs, err := m.CorrectionsBetween(r.Context(), from, until, touchedAtMost+1)
		if err != nil {
			return err
		}
		if len(seqs) > touchedAtMost {
			b.Cut, seqs = true, seqs[:touchedAtMost]
		}
		for _, seq := range seqs {
			if err := p.correction(r.Context(), words, m, seq, b.Table); err != nil {
				return err
			}
		}
		return nil
	})
	return &answer{template: "corrections", title: words.T("board.corrections"), body: b, tables: []*table{b.Table}}, err
}

// correction adds the row of one correction. What it changed is the difference of what was known before it arrived and when
// it had.
func (p *pages) correction(ctx context.Context, words *shell.Words, m *site.View, seq int64, t *table) error {
	e, at, err := p.fact(seq)
	if err != nil || e == nil {
		return err
	}
	d, ok := e.Data.(*events.EventCorrected)
	if !ok {
		return nil
	}
	before, after := m.WorldAt(ctx, at.Add(-time.Nanosecond)), m.WorldAt(ctx, at)
	was, err := before.HistoryEvent(d.Event)
	if err != nil {
		return err
	}
	of, err := after.HistoryEvent(d.Event)
	if err != nil {
		return err
	}
	row := []cell{number(seq).to(recordLink(seq)), when(words, at), text(e.Operator).to(badgeLink(e.Operator)),
		text(e.Station).to(stationLink(e.Station))}
	if of == nil { // of what has not arrived here
		t.add(append(row, cell{}, cell{}, text(words.T("board.correction-unknown")), cell{}, cell{}, text(d.Reason))...)
		return nil
	}
	subject := text(of.Set).to(tripLink(of.Set, of.Trip))
	if of.Set == "" {
		subject = text(of.Subject).to(subjectLink(of))
	}
	change := words.T("board.correction-void")
	if d.Action == "replace" {
		var then events.Data
		if was != nil {
			then = was.Data
		}
		change = membersChanged(words, events.Kind(of.Kind), then, d.Data)
		if _, err := events.ParseObservedData(events.Kind(of.Kind), d.Data); err != nil { // such as of a later program
			change = words.T("board.correction-unread", change)
		}
	}
	verdicts, err := p.verdictsChanged(ctx, words, m, before, after, of)
	if err != nil {
		return err
	}
	t.add(append(row, number(of.Seq).to(correctLink(of.ID)), subject, text(kindText(words, of.Kind)), text(change), text(verdicts),
		text(d.Reason))...)
	return nil
}

func subjectLink(e *projections.HistoryEvent) string {
	switch events.Kind(e.Kind) {
	case events.KindCaseClosed:
		return caseLink(e.Subject)
	case events.KindIndicatorRead:
		return loadLink(e.Subject)
	}
	return recordLink(e.Seq)
}

// membersChanged says member by member what was there before a correction and what it put in its place.
func membersChanged(words *shell.Words, kind events.Kind, was events.Data, is jsontext.Value) string {
	before, after := make(map[string]jsontext.Value), make(map[string]jsontext.Value)
	if was != nil {
		if raw, err := json.Marshal(was); err == nil {
			_ = json.Unmarshal(raw, &before) // an object, by its making
		}
	}
	_ = json.Unmarshal(is, &after) // checked when it came
	labels := make(map[string]string)
	for _, x := range events.Replaceable(kind) {
		if name, _, nested := strings.Cut(x.Name, "."); !nested {
			labels[name] = words.T("board.member-" + name)
		}
	}
	labels["indicatorLot"] = words.T("board.member-indicatorLot") // which no form says anew
	all := maps.Clone(before)
	maps.Copy(all, after)
	var out []string
	for _, name := range slices.Sorted(maps.Keys(all)) {
		x, y := unlike(before[name], after[name])
		if x == y {
			continue
		}
		label := labels[name]
		if label == "" {
			label = name
		}
		out = append(out, fmt.Sprintf("%s: %s → %s", label, x, y))
	}
	if len(out) == 0 {
		return words.T("board.correction-same")
	}
	return strings.Join(out, "; ")
}

// unlike is what differs between two values of a member: of two lists, the entries that only one of them has.
func unlike(a, b jsontext.Value) (x, y string) {
	var p, q []jsontext.Value
	if a.Kind() != '[' || b.Kind() != '[' || json.Unmarshal(a, &p) != nil || json.Unmarshal(b, &q) != nil {
		return shownMember(a), shownMember(b)
	}
	only := func(of, other []jsontext.Value) string {
		var out []string
		for _, v := range of {
			if s := shownMember(v); !slices.ContainsFunc(other, func(w jsontext.Value) bool { return shownMember(w) == s }) {
				out = append(out, s)
			}
		}
		if len(out) == 0 {
			return "–"
		}
		return strings.Join(out, " / ")
	}
	return only(p, q), only(q, p)
}

// shownMember is a value as a row shows it: a text without its quotes, an object as its members.
func shownMember(v jsontext.Value) string {
	if len(v) == 0 {
		return "–"
	}
	switch v.Kind() {
	case '"':
		var s string
		if json.Unmarshal(v, &s) == nil {
			return s
		}
	case '{':
		m := make(map[string]jsontext.Value)
		if json.Unmarshal(v, &m) == nil {
			var out []string
			for _, name := range slices.Sorted(maps.Keys(m)) {
				out = append(out, name+" "+shownMember(m[name]))
			}
			return strings.Join(out, ", ")
		}
	}
	return string(v)
}

// mostJudged bounds for how many sets a correction of a case or a load is looked at.
const mostJudged = 40

// verdictsChanged says which verdicts a correction changed, and what came or went with it.
func (p *pages) verdictsChanged(
	ctx context.Context, words *shell.Words, m *site.View, before, after *judge.World, of *projections.HistoryEvent,
) (string, error) {
	var keys []projections.TripKey
	var err error
	switch {
	case of.Set != "":
		keys = []projections.TripKey{{Set: of.Set, Trip: of.Trip}}
	case events.Kind(of.Kind) == events.KindCaseClosed:
		keys, err = after.Case(of.Subject)
	case events.Kind(of.Kind) == events.KindIndicatorRead:
		keys, err = m.TripsOfLoad(ctx, of.Subject)
	}
	if err != nil {
		return "", err
	}
	var out []string
	for _, k := range keys[:min(len(keys), mostJudged)] {
		was, err := before.Judge(k)
		if err != nil {
			return "", err
		}
		is, err := after.Judge(k)
		if err != nil {
			return "", err
		}
		came, gone := lacking(is.Findings, was.Findings), lacking(was.Findings, is.Findings)
		if was.Status == is.Status && len(came)+len(gone) == 0 {
			continue
		}
		says := k.Set + ": " + words.T("shell.status-"+string(was.Status)) + " → " + words.T("shell.status-"+string(is.Status))
		for i := range came {
			says += ", + " + words.Code(came[i].Code)
		}
		for i := range gone {
			says += ", − " + words.Code(gone[i].Code)
		}
		out = append(out, says)
	}
	if len(out) == 0 {
		return words.T("board.correction-no-verdict"), nil
	}
	return strings.Join(out, "; "), nil
}

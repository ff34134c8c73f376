package board

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

func incidentLink(key string) string { return "/incident?" + url.Values{"key": {key}}.Encode() }

type incidentBody struct {
	Key      string
	Row      boardRow
	Outcomes []events.IncidentOutcome
	Covers   string // marks of the findings that the page shows
	Problem  string
	Table    *table
	Now      bool // as known now: something can be done about it

	// As filled in.
	Step, Badge, Owner, Due, Text, Outcome string
}

// Turns are those of the row with what is found in each, as the template for findings takes them.
func (b *incidentBody) Turns() []incidentTurn {
	var out []incidentTurn
	for _, r := range b.Row.Sets() {
		t := incidentTurn{Verdict: r.Verdict}
		for _, f := range r.Findings {
			t.Shown = append(t.Shown, findingView{Finding: f, Set: r.Set, Trip: r.Trip})
		}
		out = append(out, t)
	}
	return out
}

type incidentTurn struct {
	projections.Verdict
	Shown []findingView
}

func (p *pages) incidentPage(r *http.Request, words *shell.Words) (*answer, error) {
	return p.incidentForm(r, words, &incidentBody{Key: r.FormValue("key")})
}

func (p *pages) incidentForm(r *http.Request, words *shell.Words, b *incidentBody) (*answer, error) {
	b.Now = asOf(r).IsZero()
	err := p.ask(r, func(m *site.View) error {
		wishes, err := p.wishes.ask(r.Context(), m, p.now(r))
		if err != nil {
			return err
		}
		var in *projections.Incident
		rows, err := laidOutNow(r.Context(), m, -1, func() (_ []projections.Incident, err error) {
			if in, err = incidentOf(r.Context(), m, b.Key); err != nil {
				return nil, err
			}
			return []projections.Incident{*in}, nil
		})
		if err != nil {
			return err
		}
		whole := boardBody{wishes: wishes}
		whole.fill(rows, nil, len(rows))
		b.Row, b.Outcomes, b.Covers = whole.Rows[0], events.IncidentOutcomes(), strings.Join(in.Marks, " ")
		b.Table = boardTable(whole.Rows, wishes, words)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &answer{template: "incident", title: words.T("board.incident") + " " + b.Row.Incident.Key, body: b,
		tables: []*table{b.Table}}, nil
}

// incidentOf finds an incident by its key, or by one that it had while less of it was known.
func incidentOf(ctx context.Context, m *site.View, key string) (*projections.Incident, error) {
	ins, err := m.Incidents(ctx)
	if err != nil {
		return nil, err
	}
	n := slices.IndexFunc(ins, func(in projections.Incident) bool { return in.Key == key })
	if n < 0 {
		n = slices.IndexFunc(ins, func(in projections.Incident) bool { return in.Is(key) })
	}
	if n < 0 {
		return nil, refuse(http.StatusNotFound, "no incident %q is found (any more)", key)
	}
	return &ins[n], nil
}

// handleIncident records what somebody does about an incident: of the finding that it shows in first.
func (p *pages) handleIncident(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	const most = 1 << 17
	r.Body = http.MaxBytesReader(w, r.Body, most)
	b := &incidentBody{Key: r.PostFormValue("key"), Step: r.PostFormValue("step"),
		Due: strings.TrimSpace(r.PostFormValue("due")), Text: strings.TrimSpace(r.PostFormValue("text")), Outcome: r.PostFormValue("outcome")}
	b.Badge, _ = whoAndWhy(r)
	b.Owner, _ = whoAndWhyIn(r, "owner-")
	covers := strings.Fields(r.PostFormValue("covers"))
	err := p.recordHandled(r, words, b, covers)
	if err == nil && b.Problem == "" {
		http.Redirect(w, r, incidentLink(b.Key), http.StatusSeeOther)
		return
	}
	if err == nil {
		err = refuse(http.StatusUnprocessableEntity, "%s", b.Problem)
	}
	problem := b.Problem
	p.again(w, r, words, err, &b.Problem, func() (*answer, error) {
		if problem != "" {
			b.Problem = problem
		}
		return p.incidentForm(r, words, b)
	})
}

func (p *pages) recordHandled(r *http.Request, words *shell.Words, b *incidentBody, covers []string) error {
	switch {
	case b.Badge == "":
		b.Problem = words.T("board.badge-needed")
	case b.Text == "":
		b.Problem = words.T("board.incident-text-needed")
	case b.Step == string(events.IncidentClosed) && b.Outcome == "":
		b.Problem = words.T("board.incident-outcome-needed")
	}
	due, err := moment(words, b.Due, words.T("board.incident-due"))
	if err == nil && b.Problem == "" && !due.IsZero() && due.Before(p.site.Clock()) {
		b.Problem = words.T("board.incident-due-past", words.Time(due))
	}
	if err != nil || b.Problem != "" {
		return err
	}
	var set, trip, code string
	if err := p.site.Ask(func(m *site.View) error {
		in, err := incidentOf(r.Context(), m, b.Key)
		if err != nil {
			return err
		}
		// Whoever took it, or closed it, while this was written is not to be passed over unseen. The form comes back with it.
		if seen := r.PostFormValue("steps"); seen != "" && seen != strconv.Itoa(len(in.Steps)) {
			return refuse(http.StatusConflict, "%s", words.T("board.incident-handled-since"))
		}
		if b.Step == string(events.IncidentClosed) && in.IsOwn(b.Badge) {
			return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.acknowledge-own"))
		}
		n := max(0, slices.IndexFunc(in.Members, func(x projections.IncidentMember) bool { return x.Trip != "" }))
		if x := in.Members[n]; x.Trip == "" {
			// What is said of a set without naming a turn belongs to the one that it is in by now.
			if now, err := m.World(r.Context()).TripAt(x.Set, p.site.Clock()); err != nil {
				return err
			} else if now != "" {
				return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.incident-packed-since", x.Set))
			}
		}
		set, trip, code = in.Members[n].Set, in.Members[n].Trip, string(in.Members[n].Code)
		return nil
	}); err != nil {
		return err
	}
	d := &events.IncidentHandled{Code: code, Step: events.IncidentStep(b.Step), Assignee: b.Owner, Due: rfc3339(due),
		Text: b.Text}
	if d.Step == events.IncidentClosed {
		d.Outcome, d.Covers = events.IncidentOutcome(b.Outcome), covers
	}
	if err := p.enrolled(r.Context()); err != nil {
		return err
	}
	_, err = p.site.Observe(r.Context(), &events.Observation{Station: p.stationName(), Kind: events.KindIncidentHandled,
		Time: p.site.Clock(), Set: set, Trip: trip, Operator: b.Badge, Data: d})
	return err
}

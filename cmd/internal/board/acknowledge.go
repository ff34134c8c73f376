package board

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections"
)

// registerHandling adds the pages on which somebody says what is done about what was found.
func (p *pages) registerHandling(mux shell.Mux) {
	mux.HandleFunc("GET /incident", p.pageAt(p.incidentPage))
	mux.HandleFunc("POST /incident", p.handleIncident)
	mux.HandleFunc("GET /acknowledge", p.page(p.acknowledgePage))
	mux.HandleFunc("POST /acknowledge", p.acknowledge)
	mux.HandleFunc("GET /correct", p.page(p.correctPage))
	mux.HandleFunc("POST /correct", p.correct)
	mux.HandleFunc("GET /at/{site}/{station}/correct", p.page(p.correctPage))
	mux.HandleFunc("POST /at/{site}/{station}/correct", p.correct)
}

type acknowledgeBody struct {
	Set, Trip, Code string
	Finding         *projections.Finding
	Badge, Reason   string
	Problem         string
	own             bool // what the badge corrected itself, which another person is to look at
	// At is when it was acknowledged first, where it is not known what became of that: said again, it is the same.
	At string
}

func (p *pages) acknowledgePage(r *http.Request, words *shell.Words) (*answer, error) {
	b := &acknowledgeBody{Set: r.FormValue("set"), Trip: r.FormValue("trip"), Code: r.FormValue("code")}
	return p.acknowledgeForm(r, words, b)
}

func (p *pages) acknowledgeForm(r *http.Request, words *shell.Words, b *acknowledgeBody) (*answer, error) {
	err := p.site.Ask(func(m *site.View) error {
		v, err := m.Verdict(r.Context(), projections.TripKey{Set: b.Set, Trip: b.Trip})
		if err != nil || v == nil {
			return err
		}
		b.own = true
		for i := range v.Findings {
			f := &v.Findings[i]
			if string(f.Code) != b.Code {
				continue
			}
			if b.Finding == nil {
				b.Finding = f
			}
			d, ok := f.Detail.(*projections.RestsOnCorrection)
			b.own = b.own && ok && strings.EqualFold(d.By, b.Badge)
		}
		return nil
	})
	if err == nil && b.Finding == nil {
		err = refuse(http.StatusNotFound, "set %s has no finding %s (any more) in this trip", b.Set, b.Code)
	}
	return &answer{template: "acknowledge", title: words.T("board.acknowledge"), body: b}, err
}

// acknowledge records that a person has seen a finding. It hides nothing.
func (p *pages) acknowledge(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	const most = 1 << 16
	r.Body = http.MaxBytesReader(w, r.Body, most)
	b := &acknowledgeBody{Set: r.PostFormValue("set"), Trip: r.PostFormValue("trip"), Code: r.PostFormValue("code"),
		At: r.PostFormValue("at")}
	b.Badge, b.Reason = whoAndWhy(r)
	switch {
	case b.Badge == "":
		b.Problem = words.T("board.badge-needed")
	case b.Reason == "":
		b.Problem = words.T("board.reason-needed")
	}
	if b.Problem == "" {
		if _, err := p.acknowledgeForm(r, words, b); err == nil && b.own {
			b.Problem = words.T("board.acknowledge-own")
		}
	}
	if b.Problem == "" {
		err := p.recordSeen(r.Context(), b)
		switch {
		case err == nil:
			http.Redirect(w, r, tripLink(b.Set, b.Trip), http.StatusSeeOther)
			return
		case refusal.Is(err):
			b.Problem = p.sh.PageAnswer(r, err).Text
		default:
			p.acknowledgeFailed(w, r, words, b, err)
			return
		}
	}
	a, err := p.acknowledgeForm(r, words, b)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	p.render(w, r, http.StatusUnprocessableEntity, a)
}

// acknowledgeFailed keeps what was entered in the form, to be sent again, as far
// as the form can still be made.
func (p *pages) acknowledgeFailed(
	w http.ResponseWriter, r *http.Request, words *shell.Words, b *acknowledgeBody, err error,
) {
	said := p.sh.PageAnswer(r, err)
	b.Problem = said.Text
	if form, err := p.acknowledgeForm(r, words, b); err == nil {
		said.Head(w.Header())
		p.render(w, r, said.Code, form)
		return
	}
	p.refused(w, r, words, said)
}

// stationName is the station that this page is: what is acknowledged here is
// signed with its key, which the server keeps.
func (p *pages) stationName() string { return site.SiteOf(p.site.Name()) + "/board" }

func (p *pages) recordSeen(ctx context.Context, b *acknowledgeBody) error {
	if err := p.enrolled(ctx); err != nil {
		return err
	}
	at := p.site.Clock()
	const again = time.Hour
	if first, err := time.Parse(time.RFC3339Nano, b.At); err == nil && first.Before(at) && at.Sub(first) < again {
		at = first
	}
	_, err := p.site.Observe(ctx, &events.Observation{
		Station: p.stationName(), Kind: events.KindFindingAcknowledged, Time: at,
		Set: b.Set, Trip: b.Trip, Operator: b.Badge, Data: &events.FindingAcknowledged{Code: b.Code, Reason: b.Reason},
	})
	b.At = ""
	if errors.Is(err, ledger.ErrUnknownOutcome) {
		b.At = rfc3339(at)
	}
	return err
}

// enrolled enrols the board itself when it records for the first time. A
// retired one stays retired.
func (p *pages) enrolled(ctx context.Context) error {
	p.enrol.Lock()
	defer p.enrol.Unlock()
	stations, err := p.site.Stations(ctx)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(stations, func(s site.Station) bool { return s.Name == p.stationName() }) {
		return nil
	}
	_, err = p.site.Enrol(ctx, p.stationName(), "", "the server's own board, for acknowledging findings")
	return err
}

package board

import (
	"net/http"
	"net/url"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// The page of one event, on which a lead takes it back: a correction by the ledger itself, since the event may be of any
// station. Nothing is deleted: the event stays in every history, and judgement says what is gone by the correction.

type correctBody struct {
	Event         *projections.HistoryEvent
	Back          string // its history
	Problem       string
	Done          string
	May           bool // it can be taken back
	Badge, Reason string
}

func correctLink(id string) string { return "/correct?" + url.Values{"event": {id}}.Encode() }

// correctable reports whether a person takes back a kind on the page. What the ledger says of stations, policies, registers
// and texts is said anew instead, and a list is issued anew.
func correctable(k events.Kind) bool {
	return k.AboutSet() || k == events.KindCaseClosed || k == events.KindIndicatorRead || k == events.KindEventCorrected
}

func (p *pages) correctPage(r *http.Request, words *shell.Words) (*answer, error) {
	return p.correctForm(r, words, &correctBody{}, r.URL.Query().Get("event"))
}

func (p *pages) correctForm(r *http.Request, words *shell.Words, b *correctBody, id string) (*answer, error) {
	err := p.site.Ask(func(m *site.View) (err error) {
		b.Event, err = m.World(r.Context()).HistoryEvent(id)
		return err
	})
	if err == nil && b.Event == nil {
		err = refuse(http.StatusNotFound, "%s", words.T("board.correct-unknown"))
	}
	if err != nil {
		return nil, err
	}
	e := b.Event
	b.May = correctable(events.Kind(e.Kind)) && !e.Void
	switch {
	case e.Set != "":
		b.Back = tripLink(e.Set, e.Trip)
	case e.Kind == string(events.KindCaseClosed):
		b.Back = caseLink(e.Subject)
	case e.Kind == string(events.KindIndicatorRead):
		b.Back = loadLink(e.Subject)
	}
	return &answer{template: "correct", title: words.T("board.correct", e.Seq), body: b}, nil
}

// correct takes an event back.
func (p *pages) correct(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	const most = 1 << 16
	r.Body = http.MaxBytesReader(w, r.Body, most)
	b := new(correctBody)
	b.Badge, b.Reason = whoAndWhy(r)
	id := r.PostFormValue("event")
	a, err := p.correctForm(r, words, b, id)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	said := refusal.Answer{Code: http.StatusOK}
	if err := p.takeBack(r, words, b); err != nil {
		said = p.sh.PageAnswer(r, err)
		b.Problem = said.Text
	} else if a, err = p.correctForm(r, words, b, id); err != nil {
		p.refuse(w, r, words, err)
		return
	}
	said.Head(w.Header())
	p.render(w, r, said.Code, a)
}

func (p *pages) takeBack(r *http.Request, words *shell.Words, b *correctBody) error {
	switch {
	case b.Event.Void:
		return refuse(http.StatusConflict, "%s", words.T("board.correct-already"))
	case !b.May:
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.correct-not"))
	case b.Badge == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	case b.Reason == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.correct-reason"))
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{
		Station: p.site.Name(), Kind: events.KindEventCorrected, Time: p.site.Clock().UTC().Truncate(time.Millisecond), Operator: b.Badge,
		Data: &events.EventCorrected{Event: b.Event.ID, Action: "void", Reason: b.Reason},
	})
	if err == nil {
		b.Done = words.T("board.correct-done", rs[0].Seq)
	}
	return err
}

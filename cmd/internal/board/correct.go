package board

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// The page of one event, on which a lead takes it back or says it anew: a correction by the ledger itself, since the event may be
// of any station. A station does the same with its own, in its own name, for as long as the policy lets it. Nothing is deleted: the
// event stays in every history, and judgement says what is gone by the correction.

type correctBody struct {
	Event         *projections.HistoryEvent
	Back          string // its history
	Problem       string
	Done          string
	May           bool          // it can be taken back
	Members       []memberAsked // what of it can be said anew
	Since         string        // the record by which it says what it does
	Station       string        // the station whose page it is, "" for a lead's
	Action        string        // where the forms lead
	OwnKey        string        // names the key of a station that signs for itself
	Badge, Reason string

	signed []site.SignedRecord // what such a station has signed of it
}

// whoAndWhyGiven refuses what nobody answers for; why is what the form asks.
func (b *correctBody) whoAndWhyGiven(words *shell.Words, why string) error {
	switch {
	case b.Badge == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	case b.Reason == "":
		return refuse(http.StatusUnprocessableEntity, "%s", why)
	}
	return nil
}

func correctLink(id string) string { return "/correct?" + url.Values{"event": {id}}.Encode() }

// correctable reports whether a person takes back a kind on the page. What the ledger says of stations, policies, registers
// and texts is said anew instead, and a list is issued anew.
func correctable(k events.Kind) bool {
	return k.AboutSet() || slices.Contains([]events.Kind{events.KindCaseClosed, events.KindIndicatorRead, events.KindRunLogged,
		events.KindSterilizerTested, events.KindEventCorrected}, k)
}

func (p *pages) correctPage(r *http.Request, words *shell.Words) (*answer, error) {
	return p.correctForm(r, words, new(correctBody), r.URL.Query().Get("event"))
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
	b.Since, b.Action = strconv.FormatInt(max(e.Seq, e.Replaced), 10), "/correct"
	if site, station := r.PathValue("site"), r.PathValue("station"); station != "" {
		b.Station = site + "/" + station
		if b.Action = "/at/" + b.Station + "/correct"; e.Station != b.Station {
			return nil, refuse(http.StatusForbidden, "%s", words.T("board.correct-another", e.Station))
		}
		if b.OwnKey, err = p.ownKey(r, b.Station); err != nil {
			return nil, err
		}
	}
	if b.May && b.Members == nil {
		if err := b.ask(words); err != nil {
			return nil, err
		}
	}
	switch {
	case b.Station != "":
		b.Back = "/at/" + b.Station + "/"
	case e.Set != "":
		b.Back = tripLink(e.Set, e.Trip)
	case e.Kind == string(events.KindCaseClosed):
		b.Back = caseLink(e.Subject)
	case e.Kind == string(events.KindIndicatorRead), e.Kind == string(events.KindRunLogged):
		b.Back = loadLink(e.Subject)
	}
	a := &answer{template: "correct", title: words.T("board.correct", e.Seq), body: b}
	if b.OwnKey != "" {
		a.scripts = []string{signingScript}
	}
	return a, nil
}

// ask fills the form with what holds; where a text of it was taken out, there is none.
func (b *correctBody) ask(words *shell.Words) error {
	data, err := dataOf(words, b.Event.Data)
	switch {
	case refusal.Is(err):
		return nil
	case err != nil:
		return err
	}
	b.Members = membersOf(words, events.Replaceable(events.Kind(b.Event.Kind)), data, "")
	return nil
}

// correct takes an event back, or says it anew.
func (p *pages) correct(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	const most = 1 << 18
	r.Body = http.MaxBytesReader(w, r.Body, most)
	b := new(correctBody)
	b.Badge, b.Reason = whoAndWhyIn(r, anewPrefix(r))
	id := r.PostFormValue("event")
	a, err := p.correctForm(r, words, b, id)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	r, err = p.signedThere(w, r, words, b)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	said := refusal.Answer{Code: http.StatusOK}
	by, do := p.site.Name(), p.takeBack
	if b.Station != "" {
		by = b.Station
	}
	if anewPrefix(r) != "" {
		do = p.replace
	}
	if err = p.needPIN(r, words, b); err == nil {
		err = do(r, words, b, by)
	}
	if p.toSign(w, r, b, err) {
		return
	}
	if err != nil {
		said = p.sh.PageAnswer(r, err)
		b.Problem = said.Text
	} else {
		b.Members = nil
		if a, err = p.correctForm(r, words, b, id); err != nil {
			p.refuse(w, r, words, err)
			return
		}
	}
	said.Head(w.Header())
	p.render(w, r, said.Code, a)
}

func (p *pages) takeBack(r *http.Request, words *shell.Words, b *correctBody, by string) error {
	switch {
	case b.Event.Void:
		return refuse(http.StatusConflict, "%s", words.T("board.correct-already"))
	case !b.May:
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.correct-not"))
	}
	if err := b.whoAndWhyGiven(words, words.T("board.correct-reason")); err != nil {
		return err
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{
		Station: by, Kind: events.KindEventCorrected, Time: b.at(p), Operator: b.Badge,
		Data: &events.EventCorrected{Event: b.Event.ID, Action: "void", Reason: b.Reason},
	})
	if err == nil {
		b.Done = words.T("board.correct-done", rs[0].Seq)
	}
	return err
}

package board

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/readmodel"
)

type findBody struct {
	Asked string
	Table *table
	Exact int
	// Why says why a code could not be read, for one that looks like a code.
	Why string
}

// find takes whatever a person holds in the hand. One thing found is shown at
// once: a scan is then the whole question.
func (p *pages) find(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	r, err := p.atMoment(r, words)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	to := func(link string) {
		if at := asOf(r); !at.IsZero() {
			u, _ := url.Parse(link) // of this program's own making
			v := u.Query()
			v.Set(asOfName, rfc3339(at))
			link = address(u.Path, v)
		}
		http.Redirect(w, r, link, http.StatusSeeOther)
	}
	q := strings.TrimSpace(r.FormValue("q"))
	if q == "" {
		to("/")
		return
	}
	hits, why, err := p.lookUp(r, q, false)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	if len(hits) == 1 && r.FormValue("format") == "" {
		to(hitLink(hits[0]))
		return
	}
	if at := p.momentAsked(q); len(hits) == 0 && !at.IsZero() { // the house as it was known then
		http.Redirect(w, r, address("/", url.Values{asOfName: {rfc3339(at)}}), http.StatusSeeOther)
		return
	}
	body := &findBody{Asked: q, Exact: len(hits), Why: why}
	if len(hits) == 0 {
		if hits, _, err = p.lookUp(r, q, true); err != nil {
			p.refuse(w, r, words, err)
			return
		}
	}
	body.Table = newTable(words, "found", "board.found", "found-what", "found-id", "set", "trip")
	for _, h := range hits {
		body.Table.add(text(words.T("board.what-"+h.What)), text(h.ID).to(hitLink(h)),
			text(h.Set).to(tripLink(h.Set, "")), text(h.Trip).to(tripLink(h.Set, h.Trip)))
	}
	p.pageAt(func(*http.Request, *shell.Words) (*answer, error) {
		return &answer{template: "find", title: words.T("board.found-for", q), body: body,
			tables: []*table{body.Table}}, nil
	})(w, r)
}

// lookUp looks up everything that a text can mean.
func (p *pages) lookUp(r *http.Request, q string, begins bool) (hits []readmodel.Hit, why string, err error) {
	texts := []string{q}
	add := func(s string) {
		if s != "" && !slices.Contains(texts, s) {
			texts = append(texts, s)
		}
	}
	scans, scanErr := events.RecogniseAll(q)
	if scanErr != nil {
		why = scanErr.Error()
	}
	for _, s := range scans {
		switch s.Kind {
		case events.ScanSheet:
			if c, err := events.ParseSheetCode(s.Value); err == nil {
				add(c.Trip)
			}
		default:
			add(s.Value)
		}
	}
	add(strings.ToUpper(q))
	add(strings.ToLower(q))
	add(strings.ReplaceAll(strings.ToLower(q), " ", "-")) // a room as it is spoken: its station is or-4 where people say OR 4
	if s, err := events.ParseShortCode(q); err == nil {
		add(s)
	}
	err = p.ask(r, func(m *site.View) error {
		for _, t := range texts {
			found, err := m.Find(r.Context(), t, begins)
			if err != nil {
				return err
			}
			for _, h := range found {
				if !slices.Contains(hits, h) {
					hits = append(hits, h)
				}
			}
		}
		return nil
	})
	return hits, why, err
}

func hitLink(h readmodel.Hit) string {
	switch h.What {
	case "case":
		return caseLink(h.ID)
	case "load":
		return loadLink(h.ID)
	case "station":
		return stationLink(h.ID)
	case "badge":
		return badgeLink(h.ID)
	case "list":
		return "/touched?" + url.Values{"list": {h.ID}}.Encode()
	case "bag":
		return "/touched?" + url.Values{"bag": {h.ID}}.Encode()
	case "set":
		return tripLink(h.ID, "")
	}
	return tripLink(h.Set, h.Trip)
}

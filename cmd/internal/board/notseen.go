package board

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// notSeenBody is the page of sets that nobody has seen for days.
type notSeenBody struct {
	Days    int
	Choices []choice
	Cut     bool
	Ended   int // of them are no sets of the house any more
	Table   *table
}

const (
	notSeenUnasked = 7
	notSeenMost    = 3650
	day            = 24 * time.Hour
	// notSeenAtMost bounds what is asked for: those that are shown, and as many that have left the house.
	notSeenAtMost = 2*touchedAtMost + 1
)

func notSeenLink(days int) string {
	return "/not-seen?" + url.Values{"days": {strconv.Itoa(days)}}.Encode()
}

// notSeenPage lists sets by how long nobody has seen them. A set that lies on its shelf for weeks is nothing wrong; one that
// was opened and never came back is lost, or was handed out unrecorded.
func (p *pages) notSeenPage(r *http.Request, words *shell.Words) (*answer, error) {
	b := &notSeenBody{Days: notSeenUnasked}
	if s := r.FormValue("days"); s != "" {
		var err error
		if b.Days, err = strconv.Atoi(s); err != nil || b.Days < 1 || b.Days > notSeenMost {
			return nil, refuse(http.StatusBadRequest, "days %q is not a number from 1 to %d", s, notSeenMost)
		}
	}
	for _, n := range []int{1, 3, 7, 14, 30, 90} {
		b.Choices = append(b.Choices, choice{Label: words.T("board.days", n), Address: notSeenLink(n), Active: n == b.Days})
	}
	b.Table = newTable(words, "not-seen", "board.not-seen", "set", "stage", "last-seen", "not-seen-days", "where", "list", "load",
		"case", "status", "trip")
	err := p.ask(r, func(m *site.View) error {
		now := m.Moment()
		vs, err := m.NotSeenSince(r.Context(), now.Add(-time.Duration(b.Days)*day), notSeenAtMost)
		if err != nil {
			return err
		}
		ended, err := m.EndedEntries(r.Context(), events.RegisterSets)
		if err != nil {
			return err
		}
		all := len(vs)
		vs = slices.DeleteFunc(vs, func(v projections.Verdict) bool { return ended[v.Set] })
		if b.Ended = all - len(vs); len(vs) > touchedAtMost {
			b.Cut, vs = true, vs[:touchedAtMost]
		}
		w := m.World(r.Context())
		for i := range vs {
			v := &vs[i]
			t, err := w.Trace(keyOf(v))
			if err != nil {
				return err
			}
			b.Table.add(text(v.Set).to(tripLink(v.Set, "")), text(words.T("board.not-seen-"+standing(v.Opened, v.Over))),
				when(words, v.Since), number(int64(now.Sub(v.Since)/day)), text(words.Place(v.Where)), text(t.List),
				text(t.Load).to(loadLink(t.Load)), text(v.Case).to(caseLink(v.Case)), text(words.T("shell.status-"+string(v.Status))),
				text(v.Trip).to(tripLink(v.Set, v.Trip)))
		}
		return nil
	})
	return &answer{template: "not-seen", title: words.T("board.not-seen"), body: b, tables: []*table{b.Table}}, err
}

// standing is where a set stands in its turn: on its way or on a shelf, opened, or back from its case.
func standing(opened, over bool) string {
	switch {
	case over:
		return "over"
	case opened:
		return "opened"
	}
	return "closed"
}

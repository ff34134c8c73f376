package board

import (
	"bytes"
	"fmt"
	"hash/maphash"
	"html/template"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/shell"
	"listbound/projections"
	"listbound/projections/ready"
)

// shownRow is all that the page's row of an incident is made of. What is not in it can't be on the page, so a row that is the same is
// written once: a board that follows the ledger asks for forty of them after each change, and a few have changed.
type shownRow struct {
	projections.Verdict
	List, Placement string
	Sets            []projections.TripKey
	Seen            bool
	Wish            *ready.Wish
	Incident        shownIncident
}

// shownIncident is what a row says of what people did about its incident.
type shownIncident struct {
	Key, Assignee string
	State         projections.IncidentState
	DueBy         time.Time
	Steps         []projections.Handled
	Last          *projections.Handled
}

func (r *boardRow) shown() *shownRow {
	in := r.Incident
	s := &shownRow{
		Verdict: r.Verdict, List: r.List, Placement: r.Placement, Seen: r.Seen, Wish: r.Wish,
		Incident: shownIncident{Key: in.Key, Assignee: in.Assignee(), State: in.State, DueBy: in.DueBy, Steps: in.Steps, Last: in.Last()},
	}
	s.Sets = append(make([]projections.TripKey, 0, 1+len(r.Others)), projections.TripKey{Set: r.Set, Trip: r.Trip})
	for i := range r.Others {
		s.Sets = append(s.Sets, projections.TripKey{Set: r.Others[i].Set, Trip: r.Others[i].Trip})
	}
	return s
}

// Key names the row in the page, as that of a boardRow does.
func (s *shownRow) Key() string { return "i-" + s.Incident.Key }

// KnownSince is for the templates.
func (s *shownRow) KnownSince() time.Time { return knownSince(&s.Verdict) }

// shownRows keeps rows as they were written, by what they are made of.
type shownRows struct {
	mu          sync.Mutex
	now, before map[uint64]template.HTML // before was full
}

// mostShown is how many rows are kept at least; twice as many at most, of some 1.5 kB each.
const mostShown = 1000

var shownSeed = maphash.MakeSeed()

// mark is what a row in a language is kept by; 0: by nothing.
func (s *shownRow) mark(lang string) uint64 {
	var h maphash.Hash
	h.SetSeed(shownSeed)
	h.WriteString(lang + "\n")
	if err := json.MarshalWrite(&h, s, json.Deterministic(true)); err != nil {
		return 0
	}
	return h.Sum64()
}

func (k *shownRows) get(mark uint64) (template.HTML, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	html, ok := k.now[mark]
	if !ok {
		if html, ok = k.before[mark]; ok {
			k.put(mark, html)
		}
	}
	return html, ok
}

func (k *shownRows) keep(mark uint64, html template.HTML) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if mark != 0 {
		k.put(mark, html)
	}
}

func (k *shownRows) put(mark uint64, html template.HTML) {
	if k.now == nil || len(k.now) >= mostShown {
		k.now, k.before = make(map[uint64]template.HTML), k.now
	}
	k.now[mark] = html
}

// write writes the rows that show one incident each. Those of a habit have a form of their own.
func (p *pages) write(rows []boardRow, words *shell.Words) error {
	for i := range rows {
		if rows[i].Habit != nil || rows[i].Incident.Kind == "room" {
			continue
		}
		s := rows[i].shown()
		mark := s.mark(words.Lang)
		html, ok := p.shown.get(mark)
		if !ok {
			var out bytes.Buffer
			if err := p.templates[words.Lang].ExecuteTemplate(&out, "board-row", s); err != nil {
				return fmt.Errorf("board: %w", err)
			}
			html = template.HTML(out.String()) // by a template, which has escaped what it was given
			p.shown.keep(mark, html)
		}
		rows[i].HTML = html
	}
	return nil
}

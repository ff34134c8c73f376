package site

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger"
)

// A case has one id, which its first record gives it; later ones bear the same. With two, a redaction, after which no reference joins
// them, would make two cases of one, each judged by half of its counts.

// mostProposed is how many cases may have been given an id that no record has yet. What is forgotten costs a person the input once more.
const mostProposed = 1000

// proposeCase returns the addendum of a case's reference that nothing is recorded of: whoever asks while another station is
// signing gets the same. It is kept in memory alone.
func (a *addenda) proposeCase(reference string) (events.Addendum, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if line := a.firstOfCase(reference); line != "" {
		return events.ParseDisclosure(line)
	}
	return a.proposal(reference)
}

// proposal is proposeCase of what no line says. The caller holds mu.
func (a *addenda) proposal(reference string) (events.Addendum, error) {
	if x, ok := a.proposed[reference]; ok {
		return x, nil
	}
	x, err := events.NewAddendum(a.random, events.AddendumCase, reference)
	if err != nil {
		return x, err
	}
	if a.proposed == nil || len(a.proposed) >= mostProposed {
		a.proposed = make(map[string]events.Addendum)
	}
	a.proposed[reference] = x
	return x, nil
}

// takeTexts takes in what a station that signs for itself brings along. It refuses an id of a case that has another one, and a text that
// was taken out: it would be shown in all records again that have its mark.
func (in *intake) takeTexts(ctx context.Context, lines []string) error {
	for _, line := range lines {
		mark := events.Mark(line)
		if _, ok := in.site.addenda.disclosed(mark); ok {
			continue
		}
		gone, err := in.site.takenOut(ctx)
		if err != nil {
			return err
		}
		if gone[mark] {
			return refusal.New("the text of %s was taken out of this folder; hand the record in without it", mark)
		}
		x, err := events.ParseDisclosure(line)
		if err != nil {
			return refusal.Because(err)
		}
		if id := in.site.addenda.idOfCase(x); id != "" && id != mark {
			return refusal.New("the case that the record calls %s has the id %s here; sign the record with that one", mark, id)
		}
	}
	return refusal.Because(in.site.addenda.take(lines))
}

// caseIDs returns the ids of each case that has several, which an earlier program let a station that signs for itself give it. While
// its reference is there they are one case; without it nothing joins them any more.
func (a *addenda) caseIDs() (out [][]string) {
	a.mu.RLock()
	defer a.mu.RUnlock()
	for _, reference := range a.severalTimes() {
		if marks := a.marksOfCase(reference); len(marks) > 1 {
			out = append(out, marks)
		}
	}
	slices.SortFunc(out, slices.Compare)
	return out
}

// severalIDs says of each such case what it means.
func (a *addenda) severalIDs() (out []ledger.Problem) {
	for _, ids := range a.caseIDs() {
		out = append(out, ledger.Problem{What: fmt.Sprintf("one case has %d ids in its records (%s): it is judged as one, but once its "+
			"reference is taken out as %d", len(ids), strings.Join(ids, ", "), len(ids))})
	}
	return out
}

// idOfCase returns the id of the case whose reference an addendum is, "" where nothing is recorded of it or it is another text.
func (a *addenda) idOfCase(x events.Addendum) string {
	a.mu.RLock()
	defer a.mu.RUnlock()
	if line := a.firstOfCase(x.Text); line != "" && x.Name == events.AddendumCase {
		return events.Mark(line)
	}
	return ""
}

// takenOut returns the marks of texts that records say were taken out. The caller holds s.intake.
func (s *Site) takenOut(ctx context.Context) (map[string]bool, error) {
	if s.gone != nil {
		return s.gone, nil
	}
	said, err := s.saidOfTexts(ctx)
	if err != nil {
		return nil, err
	}
	gone := make(map[string]bool)
	for _, e := range said {
		if d, ok := e.Data.(*events.TextsRedacted); ok {
			for _, mark := range d.Marks {
				gone[mark] = true
			}
		}
	}
	s.gone = gone
	return gone, nil
}

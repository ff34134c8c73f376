package site

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections/readmodel"
)

// Held is what there is of a badge in a data folder, accounts aside.
type Held struct {
	Records []readmodel.Held
	Name    string   // whose it is, by the register of people; it stands beside the ledger
	Texts   []string // beside the ledger that name it, the first of them
	Named   int      // how many texts do
	Drafts  []string // files in which it stands and that are not recorded
}

// mostNaming is how many texts are shown.
const mostNaming = 100

// HeldAbout says what there is of a badge.
func (s *Site) HeldAbout(ctx context.Context, badge string) (*Held, error) {
	out := new(Held)
	var err error
	out.Records, err = Answer(s, func(v *View) ([]readmodel.Held, error) { return v.HeldAbout(ctx, badge) })
	if err != nil {
		return nil, err
	}
	names, err := s.peopleNames()
	if err != nil {
		return nil, err
	}
	out.Name = names[badge]
	out.Texts = s.addenda.naming(badge)
	out.Named = len(out.Texts)
	out.Texts = out.Texts[:min(len(out.Texts), mostNaming)]
	out.Drafts, err = s.find([]string{badge}, isDraft)
	return out, err
}

// naming returns the texts in which a word stands alone, each once.
func (a *addenda) naming(word string) (out []string) {
	a.mu.RLock()
	defer a.mu.RUnlock()
	a.each(func(_ string, x events.Addendum) {
		if strings.Contains(x.Text, word) && standsAlone([]byte(x.Text), []byte(word)) {
			out = append(out, x.Text)
		}
	})
	slices.SortFunc(out, cmp.Compare)
	return slices.Compact(out)
}

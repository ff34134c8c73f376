package bundle

import (
	"fmt"
	"strings"

	"listbound/events"
	"listbound/ledger/proof"
)

// addenda reads what stands beside the records in free text. Each must be what a record here has the mark of: the record
// is proved, and so is the text with it. One that isn't here was taken out before the bundle was made, or left out of it;
// the history then tells its mark.
func (r *Report) addenda(b *proof.Bundle, all []*entry) events.Disclosed {
	marks := make(map[string]bool)
	for _, e := range all {
		if text, err := events.Text(e.note); err == nil {
			for _, m := range events.Marks(text) {
				marks[m] = true
			}
		}
	}
	found := make(map[string]events.Addendum)
	if data, ok := b.File(addendaFile); ok {
		for n, line := range strings.Split(strings.TrimSuffix(string(data), "\n"), "\n") {
			a, err := events.ParseDisclosure(line)
			switch mark := events.Mark(line); {
			case err != nil:
				r.add(-1, addendaFile, fmt.Sprintf("line %d: %v", n+1, err))
			case !marks[mark]:
				r.add(-1, addendaFile, fmt.Sprintf("line %d is not what any record here says", n+1))
			default:
				found[mark] = a
			}
		}
	}
	for m := range marks {
		if _, ok := found[m]; ok {
			delete(marks, m)
		}
	}
	r.Redacted = len(marks)
	return func(mark string) (events.Addendum, bool) {
		a, ok := found[mark]
		return a, ok
	}
}

// nameCases says what is covered by the references of cases, as people know them, where these are here.
func (r *Report) nameCases(texts events.Disclosed) {
	if r.Coverage == nil {
		return
	}
	name := func(key string) string {
		mark, rest, more := strings.Cut(strings.TrimPrefix(key, casePrefix), ",")
		a, ok := texts(mark)
		if !ok || !strings.HasPrefix(key, casePrefix) {
			return key
		}
		if more {
			return casePrefix + a.Text + "," + rest
		}
		return casePrefix + a.Text
	}
	c := r.Coverage
	c.Of = name(c.Of)
	for _, keys := range [][]string{c.Whole, c.Part, c.None} {
		for i := range keys {
			keys[i] = name(keys[i])
		}
	}
}

const casePrefix = string(events.SubjectCase) + " "

package bundle

import (
	"time"

	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// TellKnown says in verdicts when each finding was first known, by the records alone, so that whoever has no more than
// these comes to the same. What is wrong with a record itself (a gap in its station's numbering, say) is taken as it is known
// at the end; when that was noticed, the ledger it is of can tell, and no excerpt of it.
func TellKnown(src facts.Source, now time.Time, vs []projections.Verdict) error {
	if err := judge.TellKnown(lasting{src}, now, vs); err != nil {
		return err
	}
	for i := range vs {
		for n := range vs[i].Findings {
			f := &vs[i].Findings[n]
			if _, ok := f.Detail.(*projections.Remarked); ok {
				f.Known, f.KnownBy = time.Time{}, 0
			}
		}
	}
	return nil
}

// lasting is a source whose records always had the remarks that they have at the end.
type lasting struct{ facts.Source }

// Facts implements facts.Source.
func (l lasting) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	found, err := l.Source.Facts(dim, key)
	return last(found), err
}

// Around implements facts.Source.
func (l lasting) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	found, err := l.Source.Around(set, at, n)
	return last(found), err
}

func last(found []facts.Fact) []facts.Fact {
	out := make([]facts.Fact, len(found))
	for i, f := range found {
		f.Was = nil
		out[i] = f
	}
	return out
}

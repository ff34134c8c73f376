package bundle

import (
	"fmt"
	"slices"
	"strings"

	"listbound/events"
	"listbound/ledger/proof"
)

// LinkAudit reads all records of a ledger in order, and holds what their arrival lines and the ledger's own records of
// the newest about each key say against what the records are about. A bundle's reader can't see what was left out of a
// chain from the beginning; whoever reads all of it does.
type LinkAudit struct {
	find  func(id string) *events.Event
	first int64 // the first record with links
	// awaiting: corrections that came before what they correct are linked.
	awaiting bool
	newest   proof.Newest
}

// NewLinkAudit starts an audit. Find returns the first event before under an id, nil for none.
func NewLinkAudit(find func(id string) *events.Event) *LinkAudit {
	return &LinkAudit{find: find}
}

// Check takes the next record, and returns what its links say that isn't so.
func (a *LinkAudit) Check(seq int64, e *events.Event, links []proof.Link) (words []string) {
	if m, ok := e.Data.(*events.RecordsMapped); ok {
		words = a.mapped(seq, m)
	}
	about := About(e, a.find, func(key string) bool { return a.newest.Get(key).Count > 0 })
	if a.first == 0 && len(links) == 0 {
		return words // of an earlier program
	}
	if a.first == 0 {
		a.first = seq
	}
	said := make([]string, len(links))
	for i, l := range links {
		said[i] = l.Key
		if h := a.newest.Get(l.Key); h.Last != l.Prev || h.Count+1 != l.Count {
			words = append(words, fmt.Sprintf("the ledger wrote into it that it is number %d about %s, after %s; it is number %d, after %s",
				l.Count, l.Key, recordOrNone(l.Prev), h.Count+1, recordOrNone(h.Last)))
		}
	}
	if i := slices.IndexFunc(about, events.IsAwaited); i >= 0 {
		switch {
		case slices.Contains(said, about[i]):
			a.awaiting = true
		case !a.awaiting: // an earlier program linked a correction to nothing where it came before what it corrects
			about = slices.Delete(about, i, i+1)
		}
	}
	if !slices.Equal(said, about) {
		words = append(words, fmt.Sprintf("the ledger wrote into it that it is about %s; it is about %s", listed(said), listed(about)))
	}
	// What was said goes on being counted from, so that one lie is told once.
	for _, key := range about {
		a.newest.Put(proof.Head{Key: key, Last: seq, Count: a.newest.Get(key).Count + 1})
	}
	for _, l := range links {
		a.newest.Put(proof.Head{Key: l.Key, Last: seq, Count: l.Count})
	}
	return words
}

// mapped compares a record of the newest with what they are.
func (a *LinkAudit) mapped(seq int64, m *events.RecordsMapped) []string {
	heads := a.newest.Heads()
	root := heads.Root()
	switch {
	case m.Upto != seq-1:
		return []string{fmt.Sprintf("it says which record is the newest about each set and case up to record "+
			"%d, and not up to the one before it",
			m.Upto)}
	case m.From != a.first:
		return []string{fmt.Sprintf("it says that records have links from record %d on; they have from record %d", m.From, a.first)}
	case m.Size != int64(heads.Len()) || m.Root != fmt.Sprintf("%x", root[:]):
		return []string{"what it says of the newest record about each set and case is not so"}
	}
	return nil
}

func recordOrNone(seq int64) string {
	if seq == 0 {
		return "none"
	}
	return fmt.Sprintf("record %d", seq)
}

func listed(keys []string) string {
	if len(keys) == 0 {
		return "nothing"
	}
	return strings.Join(keys, ", ")
}

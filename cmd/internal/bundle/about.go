package bundle

import (
	"slices"

	"listbound/events"
	"listbound/ledger/proof"
)

// About returns what the ledger says that an event is about, in its record's arrival line: events.About without what no
// link can hold, and where corrections came before it, the key under which these wait. Has reports whether a record before
// is linked to a key.
func About(e *events.Event, find func(id string) *events.Event, has func(key string) bool) []string {
	keys := events.About(e, find)
	if key := events.Awaited(e); has(key) && !slices.Contains(keys, key) {
		keys = append(keys, key)
		slices.Sort(keys)
	}
	keys = slices.DeleteFunc(keys, func(key string) bool { return proof.CheckKey(key) != nil })
	return keys[:min(len(keys), proof.MaxLinks)]
}

package bundle

import (
	"slices"

	"listbound/events"
	"listbound/ledger/proof"
)

// About returns what the ledger says that an event is about, in its record's arrival line: events.About without what no
// link can hold.
func About(e *events.Event, find func(id string) *events.Event) []string {
	keys := slices.DeleteFunc(events.About(e, find), func(key string) bool { return proof.CheckKey(key) != nil })
	return keys[:min(len(keys), proof.MaxLinks)]
}

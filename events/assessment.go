package events

import (
	"slices"
	"unicode/utf8"
)

// PlacementsAssessed signs an assessment of where count sheets travel: that its operator stands for it, as of the
// observed time. The document stands beside the ledger, and the record has its mark; what it says is JSON of the program
// that made it. It adopts nothing and no trip is judged by it. Subject: the site.
type PlacementsAssessed struct {
	Placements []Placement `json:"placements"` // that were compared, each once
	Document   string      `json:"document" addendum:"text"`
}

// MaxDocument is how many bytes a signed document may have, so that it fits into an observation.
const MaxDocument = 50000

func (*PlacementsAssessed) Kind() Kind { return KindPlacementsAssessed }

// Keys implements Data. An assessment is looked up by its kind.
func (*PlacementsAssessed) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *PlacementsAssessed) Check() error {
	var c checks
	n := len(d.Placements)
	c.must(n >= 1 && n <= len(placements), "placements: there are %d; there are from 1 to %d", n, len(placements))
	for i, p := range d.Placements {
		c.must(slices.Contains(placements, p), "placements: %q is not a placement", p)
		c.must(!slices.Contains(d.Placements[:i], p), "placements: %q stands there twice", p)
	}
	c.must(d.Document != "", "document is missing")
	c.must(utf8.ValidString(d.Document), "document is not valid UTF-8")
	c.must(len(d.Document) <= MaxDocument, "document: %d bytes; it has at most %d", len(d.Document), MaxDocument)
	return c.err
}

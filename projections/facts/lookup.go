package facts

// FactBySeq returns a fact that is held, nil where it is not.
func (b *Book) FactBySeq(seq int64) *Item { return b.seqs.get(seq) }

// CorrectionsOf returns the corrections of an event that are held.
func (b *Book) CorrectionsOf(it *Item) []*Item { return b.fixes[it.Event.ID] }

// CaseFacts returns the facts that name a case, or that a correction made name it.
func (b *Book) CaseFacts(ref string) []*Item {
	b.need(DimCase, ref)
	return b.cases[ref]
}

// Remarked returns the facts of a station whose records have a remark.
func (b *Book) Remarked(station string) []*Item {
	b.need(DimStation, station)
	return b.stations[station]
}

// FactByID returns the fact with an event's id, corrections applied; nil where none has it. It is for whoever asks
// from outside: no rule looks anything up by an id.
func (b *Book) FactByID(id string) *Item {
	b.need(DimEvent, id)
	return b.ids.get(id)
}

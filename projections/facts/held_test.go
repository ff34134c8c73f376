package facts

import (
	"fmt"
	"testing"

	"listbound/events"
)

// TestHeld holds both tables to maps: sequences in and out of order, also far
// apart, and an id that comes a second time.
func TestHeld(t *testing.T) {
	var seqs itemsBySeq
	var ids itemsByID
	bySeq, byID := make(map[int64]*Item), make(map[string]*Item)
	if seqs.get(1) != nil || ids.get("e-1") != nil {
		t.Fatal("something is held in empty tables")
	}
	for i := range int64(3000) {
		seq := 1 + (i*7919)%3001*(1+i%2*1000)
		it := &Item{Fact: Fact{Seq: seq, Event: &events.Event{ID: fmt.Sprintf("e-%d", i%2500)}}}
		if got := seqs.get(seq); got != bySeq[seq] {
			t.Fatalf("before it is added sequence %d has %v", seq, got)
		}
		if bySeq[seq] == nil {
			seqs.put(it)
			bySeq[seq] = it
		}
		if was := ids.put(it); was != byID[it.Event.ID] {
			t.Fatalf("id %s had %v, want %v", it.Event.ID, was, byID[it.Event.ID])
		}
		byID[it.Event.ID] = it
	}
	if seqs.n != len(bySeq) || ids.n != len(byID) || len(byID) != 2500 {
		t.Errorf("%d sequences and %d ids, want %d and %d", seqs.n, ids.n, len(bySeq), len(byID))
	}
	for seq, it := range bySeq {
		if seqs.get(seq) != it {
			t.Errorf("sequence %d is lost", seq)
		}
		if other := seqs.get(seq + 1); other != bySeq[seq+1] {
			t.Errorf("sequence %d has %v", seq+1, other)
		}
	}
	for id, it := range byID {
		if ids.get(id) != it {
			t.Errorf("id %s is lost", id)
		}
	}
	if ids.get("e-2500") != nil || ids.get("") != nil {
		t.Error("an id nobody added is held")
	}
}

package judge

import (
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/facts"
)

// itemAt is what a set's record is at an hour of the story's first day.
func itemAt(hour int, d events.Data) *facts.Item {
	return &facts.Item{Fact: facts.Fact{Seq: int64(hour), Event: &events.Event{Station: "north/or-3", StationSeq: int64(hour),
		Time: clock(0, hour, 0), Data: d}}, Kind: d.Kind(), Data: d}
}

// TestClosedUntil: a lock holds until the first of what ends it, in whatever order that stands.
func TestClosedUntil(t *testing.T) {
	seal := func(hour int, lock string) *facts.Item {
		return itemAt(hour, &events.ListSealed{Seals: []string{lock}})
	}
	opened := func(hour int) *facts.Item { return itemAt(hour, &events.SetOpened{}) }
	s := seal(6, "481")
	for _, test := range []struct {
		name string
		of   facts.Trip
		want int // hour, 0 for not yet
	}{
		{"nothing after it", facts.Trip{Sealed: []*facts.Item{s}}, 0},
		{"opened before it", facts.Trip{Opened: []*facts.Item{opened(5)}, Sealed: []*facts.Item{s}}, 0},
		{"opened", facts.Trip{Opened: []*facts.Item{opened(8)}}, 8},
		{"opened twice", facts.Trip{Opened: []*facts.Item{opened(8), opened(9)}}, 8},
		{"closed with it again", facts.Trip{Sealed: []*facts.Item{s, seal(7, "481")}}, 0},
		{"closed with another before it was opened",
			facts.Trip{Opened: []*facts.Item{opened(9)}, Sealed: []*facts.Item{s, seal(7, "482")}}, 7},
		{"opened before it was closed with another",
			facts.Trip{Opened: []*facts.Item{opened(8)}, Sealed: []*facts.Item{s, seal(9, "482")}}, 8},
		{"packed again", facts.Trip{Next: itemAt(20, &events.SetPacked{})}, 20},
		{"opened, and packed again",
			facts.Trip{Opened: []*facts.Item{opened(8)}, Next: itemAt(20, &events.SetPacked{})}, 8},
	} {
		var want time.Time
		if test.want > 0 {
			want = clock(0, test.want, 0)
		}
		if got := closedUntil(&test.of, s, "481"); !got.Equal(want) {
			t.Errorf("%s: %s, want %s", test.name, got, want)
		}
	}
}

// TestNamedSince: which report says what is missing since the set was said to lack a piece.
func TestNamedSince(t *testing.T) {
	piece := func(hour int, became events.Became) *facts.Item {
		return itemAt(hour, &events.PieceReported{Line: 1, Quantity: 1, Became: became})
	}
	used, said := itemAt(6, &events.SetOpened{}), itemAt(10, &events.SetReturned{})
	for _, test := range []struct {
		name   string
		pieces []*facts.Item
		next   int // hour at which it was packed again, 0 for not
		want   int // hour of the report, 0 for none
	}{
		{"none", nil, 0, 0},
		{"before it was used", []*facts.Item{piece(5, events.BecameLost)}, 0, 0},
		{"missed since", []*facts.Item{piece(7, events.BecameLost)}, 0, 7},
		{"missed before it was packed again", []*facts.Item{piece(11, events.BecameLost)}, 12, 11},
		{"missed after it was packed again", []*facts.Item{piece(13, events.BecameLost)}, 12, 0},
		{"missed before and after", []*facts.Item{piece(11, events.BecameLost), piece(13, events.BecameLost)}, 12, 11},
		{"missed and found before it was said", []*facts.Item{piece(7, events.BecameLost), piece(8, events.BecameFound)}, 0, 0},
		{"missed, and found after it was said", []*facts.Item{piece(7, events.BecameLost), piece(11, events.BecameFound)}, 0, 11},
		{"two missed, one found before it was said",
			[]*facts.Item{piece(7, events.BecameLost), piece(8, events.BecameLost), piece(9, events.BecameFound)}, 0, 8},
		{"found before it was missed", []*facts.Item{piece(7, events.BecameFound), piece(8, events.BecameLost)}, 0, 8},
		{"repaired", []*facts.Item{piece(11, events.BecameRepair)}, 0, 0},
	} {
		c := &facts.Trip{Pieces: test.pieces}
		if test.next > 0 {
			c.Next = itemAt(test.next, &events.SetPacked{})
		}
		var got int
		if it := namedSince(c, used, said); it != nil {
			got = it.At().Hour()
		}
		if got != test.want {
			t.Errorf("%s: the report of hour %d, want %d", test.name, got, test.want)
		}
	}
}

// TestFoundBefore: what the last count before the final one that spoke of a line had of it, wherever in the count it stands.
func TestFoundBefore(t *testing.T) {
	count := func(hour int, stage events.Stage, lines ...int64) *facts.Item {
		d := &events.SetCounted{Stage: stage}
		for _, l := range lines {
			d.Counts = append(d.Counts, events.Count{Line: l, Counted: 1})
		}
		return itemAt(hour, d)
	}
	first, closing := count(6, events.StageFirst, 1, 2, 4), count(8, events.StageClosing, 4, 2)
	added, final := count(8, events.StageAdded, 1), count(9, events.StageFinal, 2)
	tl := &tally{counts: []*facts.Item{first, closing, added, final}, final: final, midDiffs: map[*facts.Item][]lineDiff{
		first: {{line: 1}, {line: 2}}, closing: {{line: 4}}, added: {{line: 1}}}}
	for line, want := range map[int64]bool{1: true, 2: false, 4: true, 5: false} {
		if got := tl.foundBefore(final, line); got != want {
			t.Errorf("line %d: %t", line, got)
		}
	}
	if tl.foundBefore(first, 1) {
		t.Error("before the first count something was found")
	}
}

package workplace_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestMissedIsNeverInOrder: that nobody knows where a piece is is not green, though no case
// is known that it can be missing from.
func TestMissedIsNeverInOrder(t *testing.T) {
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/pieces"}
	for _, text := range []string{label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), "1", "4"} {
		h.after(3 * time.Second)
		s.scan(text)
	}
	must(t, s.scan(""), "doubtful", "VAS-003, 1 of line 1", "missed", "Tell the charge nurse")
}

// TestAnotherPieceBeginsAnew: how many, what became of them and where was said of one piece
// and is not of the next.
func TestAnotherPieceBeginsAnew(t *testing.T) {
	for name, other := range map[string]struct {
		fields []string
		asks   string
		want   events.PieceReported
	}{
		"another line": {[]string{"line", "line", "2"}, "line 2 (Clamp, vascular, angled, 22 cm): what became of it?",
			events.PieceReported{Line: 2, Item: "VAS-002", Description: "Clamp, vascular, angled, 22 cm"}},
		"not listed": {[]string{"item", "item", "ZZ-9"}, "ZZ-9: what became of it?", events.PieceReported{Item: "ZZ-9"}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			s := &scanner{h: h, path: "/at/north/or-3/pieces"}
			for _, text := range []string{label(t, events.ScanBadge, "B-1"), label(t, events.ScanTag, "VAS-003"), "1", "4", "4"} {
				h.after(3 * time.Second)
				s.scan(text)
			}
			s.do("about", "where", "sluice", "load", "", "note", "with the linen")
			must(t, s.do(other.fields[0], other.fields[1:]...), other.asks)
			h.after(3 * time.Second)
			s.scan("4")
			h.after(3 * time.Second)
			must(t, s.scan(""), "VAS-003, 1 of")
			other.want.Became, other.want.Quantity = events.BecameLost, 1
			got := h.events(site.Query{Set: "VAS-003"}, events.KindPieceReported)
			if len(got) != 1 || *got[0].(*events.PieceReported) != other.want {
				t.Errorf("recorded %+v, want %+v", got[len(got)-1], other.want)
			}
		})
	}
	// A number that was said of no line yet is not held to its list.
	h := newHouse(t, "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/pieces"}
	s.scan(label(t, events.ScanBadge, "B-1"))
	s.scan(label(t, events.ScanTag, "VAS-003"))
	s.do("many", "quantity", "9")
	s.do("line", "line", "2")
	s.do("became", "value", "lost")
	must(t, s.scan(""), "VAS-003, 1 of line 2")
}

// TestBasketAndLoadOfASet: a basket is of one set, and is named before it is recorded; the washer's
// load is asked about again after an hour, and for another person. Else each set costs a scan and Enter.
func TestBasketAndLoadOfASet(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	h.used("K-1", "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	s := &scanner{h: h, path: "/at/north/or-3/return"}
	scan := func(text string) map[string]any { h.after(3 * time.Second); return s.scan(text) }
	tag := func(set string) string { return label(t, events.ScanTag, set) }
	last := func(set string) events.SetReturned {
		t.Helper()
		got := h.events(site.Query{Set: set}, events.KindSetReturned)
		if len(got) != 1 {
			t.Fatalf("%d steps of %s are recorded", len(got), set)
		}
		return *got[0].(*events.SetReturned)
	}
	scan(label(t, events.ScanBadge, "B-9"))
	s.do("step", "value", "washed")
	scan(tag("VAS-003"))
	s.do("load", "washer", "w1", "run", "3")
	must(t, s.do("basket", "basket", "7"), "Enter records: VAS-003 washed", "W1-0304-03, Basket 7")
	scan("")
	if a := scan(tag("VAS-004")); strings.Contains(tells(a), "Basket") || !strings.Contains(tells(a), "Enter records: VAS-004 washed") {
		t.Fatalf("of the next set: %s", tells(a))
	}
	scan("")
	if a, b := last("VAS-003"), last("VAS-004"); a.Basket != "7" || b.Basket != "" || b.WasherLoad != "W1-0304-03" {
		t.Errorf("recorded %+v, %+v", a, b)
	}
	// A basket may be said before its set is scanned; a fault hides neither it nor the load.
	s.do("basket", "basket", "8")
	scan(tag("VAS-005"))
	must(t, scan("+1"), "doubtful", "W1-0304-03, Basket 8", "not clean")
	before := h.size()
	for name, asks := range map[string]func(){
		"another person": func() { scan(label(t, events.ScanBadge, "B-10")) },
		"an hour later": func() {
			h.after(61 * time.Minute)
			s.do("left-on", "value", choiceOf(scan("1"), "Go on"))
			scan(label(t, events.ScanBadge, "B-10"))
		},
	} {
		for range 2 {
			asks()
			must(t, scan(""), "VAS-005: was it in load W1-0304-03 too?")
			must(t, s.do("record"), "was it in load W1-0304-03 too?")
			if h.size() != before {
				t.Fatalf("%s, and nobody was asked", name)
			}
			must(t, s.do("same-load", "value", "W1-0304-03"), "Enter records: VAS-005 washed")
			scan(label(t, events.ScanBadge, "B-9")) // for the next
			s.do("same-load", "value", "W1-0304-03")
		}
	}
	scan("")
	scan(label(t, events.ScanBadge, "B-10"))
	must(t, scan(tag("VAS-006")), "was it in load W1-0304-03 too?")
	must(t, s.do("load", "washer", "w1", "run", "4"), "Enter records: VAS-006 washed", "W1-0304-04")
	scan("")
	if a, b := last("VAS-005"), last("VAS-006"); a.Basket != "8" || b.Basket != "" || b.WasherLoad != "W1-0304-04" {
		t.Errorf("recorded %+v, %+v", a, b)
	}
}

// TestWhatIsWrongIsNotInOrder: what was seen is seen still when it is typed twice, and is not green once it
// is recorded: where a piece is missing, somebody is told.
func TestWhatIsWrongIsNotInOrder(t *testing.T) {
	h := newHouse(t, "VAS-003")
	h.used("K-1", "VAS-003")
	s := &scanner{h: h, path: "/at/north/or-3/return"}
	scan := func(text string) map[string]any { h.after(3 * time.Second); return s.scan(text) }
	scan(label(t, events.ScanBadge, "B-9"))
	s.do("step", "value", "received")
	scan(label(t, events.ScanTag, "VAS-003"))
	scan("+3")
	must(t, scan("+3"), "doubtful", "Enter records: VAS-003 received", "a piece missing")
	must(t, scan(""), "doubtful", "VAS-003 received.", "a piece missing", "Tell the charge nurse")
	got := h.events(site.Query{Set: "VAS-003"}, events.KindSetReturned)
	if len(got) != 1 || len(got[0].(*events.SetReturned).Faults) != 1 {
		t.Fatalf("recorded %+v", got)
	}
	scan(label(t, events.ScanTag, "ZZZ-1"))
	must(t, scan(""), "doubtful", "ZZZ-1")
	open := &scanner{h: h, path: "/at/north/or-3/storage"}
	open.scan(label(t, events.ScanTag, "VAS-003"))
	for range 2 {
		h.after(3 * time.Second)
		must(t, open.scan("+1"), "broken", "PACKAGE")
	}
}

//go:build !race

package loads_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestMissedIsNeverInOrder: that nobody knows where a piece is is not green, though no case
// is known that it can be missing from.
func TestMissedIsNeverInOrder(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
	for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
		events.ScanTag, "VAS-003"), "1", "4"} {
		h.After(3 * time.Second)
		s.Scan(text)
	}
	workplacetest.Must(t, s.Scan(""), "doubtful", "VAS-003, 1 of line 1", "missed", "Tell the charge nurse")
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
			h := workplacetest.NewHouse(t, "VAS-003")
			s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
			for _, text := range []string{workplacetest.Label(t, events.ScanBadge, "B-1"), workplacetest.Label(t,
				events.ScanTag, "VAS-003"), "1", "4", "4"} {
				h.After(3 * time.Second)
				s.Scan(text)
			}
			s.Do("about", "where", "sluice", "load", "", "note", "with the linen")
			workplacetest.Must(t, s.Do(other.fields[0], other.fields[1:]...), other.asks)
			h.After(3 * time.Second)
			s.Scan("4")
			h.After(3 * time.Second)
			workplacetest.Must(t, s.Scan(""), "VAS-003, 1 of")
			other.want.Became, other.want.Quantity = events.BecameLost, 1
			got := h.Events(site.Query{Set: "VAS-003"}, events.KindPieceReported)
			if len(got) != 1 || *got[0].(*events.PieceReported) != other.want {
				t.Errorf("recorded %+v, want %+v", got[len(got)-1], other.want)
			}
		})
	}
	// A number that was said of no line yet is not held to its list.
	h := workplacetest.NewHouse(t, "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/pieces"}
	s.Scan(workplacetest.Label(t, events.ScanBadge, "B-1"))
	s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	s.Do("many", "quantity", "9")
	s.Do("line", "line", "2")
	s.Do("became", "value", "lost")
	workplacetest.Must(t, s.Scan(""), "VAS-003, 1 of line 2")
}

// TestBasketAndLoadOfASet: a basket is of one set, and is named before it is recorded; the washer's
// load is asked about again after an hour, and for another person. Else each set costs a scan and Enter.
func TestBasketAndLoadOfASet(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	h.Used("K-1", "VAS-003", "VAS-004", "VAS-005", "VAS-006")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	tag := func(set string) string { return workplacetest.Label(t, events.ScanTag, set) }
	last := func(set string) events.SetReturned {
		t.Helper()
		got := h.Events(site.Query{Set: set}, events.KindSetReturned)
		if len(got) != 1 {
			t.Fatalf("%d steps of %s are recorded", len(got), set)
		}
		return *got[0].(*events.SetReturned)
	}
	scan(workplacetest.Label(t, events.ScanBadge, "B-9"))
	s.Do("step", "value", "washed")
	scan(tag("VAS-003"))
	s.Do("load", "washer", "w1", "run", "3")
	workplacetest.Must(t, s.Do("basket", "basket", "7"), "Enter records: VAS-003 washed", "W1-0304-03, Basket 7")
	scan("")
	if a := scan(tag("VAS-004")); strings.Contains(workplacetest.Tells(a), "Basket") ||
		!strings.Contains(workplacetest.Tells(a), "Enter records: VAS-004 washed") {
		t.Fatalf("of the next set: %s", workplacetest.Tells(a))
	}
	scan("")
	if a, b := last("VAS-003"), last("VAS-004"); a.Basket != "7" || b.Basket != "" || b.WasherLoad != "W1-0304-03" {
		t.Errorf("recorded %+v, %+v", a, b)
	}
	// A basket may be said before its set is scanned; a fault hides neither it nor the load.
	s.Do("basket", "basket", "8")
	scan(tag("VAS-005"))
	workplacetest.Must(t, scan("+1"), "doubtful", "W1-0304-03, Basket 8", "not clean")
	before := h.Size()
	for name, asks := range map[string]func(){
		"another person": func() { scan(workplacetest.Label(t, events.ScanBadge, "B-10")) },
		"an hour later": func() {
			h.After(61 * time.Minute)
			s.Do("left-on", "value", workplacetest.ChoiceOf(scan("1"), "Go on"))
			scan(workplacetest.Label(t, events.ScanBadge, "B-10"))
		},
	} {
		for range 2 {
			asks()
			workplacetest.Must(t, scan(""), "VAS-005: was it in load W1-0304-03 too?")
			workplacetest.Must(t, s.Do("record"), "was it in load W1-0304-03 too?")
			if h.Size() != before {
				t.Fatalf("%s, and nobody was asked", name)
			}
			workplacetest.Must(t, s.Do("same-load", "value", "W1-0304-03"), "Enter records: VAS-005 washed")
			scan(workplacetest.Label(t, events.ScanBadge, "B-9")) // for the next
			s.Do("same-load", "value", "W1-0304-03")
		}
	}
	scan("")
	scan(workplacetest.Label(t, events.ScanBadge, "B-10"))
	workplacetest.Must(t, scan(tag("VAS-006")), "was it in load W1-0304-03 too?")
	workplacetest.Must(t, s.Do("load", "washer", "w1", "run", "4"), "Enter records: VAS-006 washed", "W1-0304-04")
	scan("")
	if a, b := last("VAS-005"), last("VAS-006"); a.Basket != "8" || b.Basket != "" || b.WasherLoad != "W1-0304-04" {
		t.Errorf("recorded %+v, %+v", a, b)
	}
}

// TestWhatIsWrongIsNotInOrder: what was seen is seen still when it is typed twice, and is not green once it
// is recorded: where a piece is missing, somebody is told.
func TestWhatIsWrongIsNotInOrder(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Used("K-1", "VAS-003")
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/return"}
	scan := func(text string) map[string]any { h.After(3 * time.Second); return s.Scan(text) }
	scan(workplacetest.Label(t, events.ScanBadge, "B-9"))
	s.Do("step", "value", "received")
	scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	scan("+3")
	workplacetest.Must(t, scan("+3"), "doubtful", "Enter records: VAS-003 received", "a piece missing")
	workplacetest.Must(t, scan(""), "doubtful", "VAS-003 received.", "a piece missing", "Tell the charge nurse")
	got := h.Events(site.Query{Set: "VAS-003"}, events.KindSetReturned)
	if len(got) != 1 || len(got[0].(*events.SetReturned).Faults) != 1 {
		t.Fatalf("recorded %+v", got)
	}
	scan(workplacetest.Label(t, events.ScanTag, "ZZZ-1"))
	workplacetest.Must(t, scan(""), "doubtful", "ZZZ-1")
	open := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/storage"}
	open.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))
	for range 2 {
		h.After(3 * time.Second)
		workplacetest.Must(t, open.Scan("+1"), "broken", "PACKAGE")
	}
}

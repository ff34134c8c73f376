package simulate

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/rates"
)

// careful is a house of which everything is seen: whoever can read something reads it, nobody puts right what is wrong, all
// clocks are right, and nothing goes wrong but what a test says.
func careful() Config {
	c := Drill()
	c.Sets, c.Cases, c.Rates = 28, 5, Rates{}
	c.People = People{Read: 1, Tag: 1, Scan: 1}
	return c
}

// traces are what the records of a week tell of that isn't as it should be, without a look at what really happened; of how
// often each.
func traces(w *Week) map[string]int {
	out := make(map[string]int)
	note := func(is bool, what string) {
		if is {
			out[what]++
		}
	}
	policy := events.DefaultPolicy()
	packs, seals, runs, opens := make(map[string]int), make(map[string]int), make(map[string]int), make(map[string]int)
	closed, loads := make(map[string]bool), make(map[string]int) // loads with implants: 1, and 2 where the indicator is read
	list := make(map[string]int64)
	trip := make(map[string]string)
	for i := range w.Records {
		r := &w.Records[i]
		switch d := r.Data.(type) {
		case *events.SetPacked:
			note(r.Event.Time.Weekday() == time.Monday && packs[r.Set] > 0, "packed again")
			packs[r.Set]++
			note(d.WeightGrams > policy.WeightLimitGrams, "too heavy")
			lookOver := d.List == listOf(lookedOver).List
			note(lookOver && (d.SecondLook == "" || d.SecondLook == r.Operator), "looked over by nobody else")
			note(!lookOver && d.SecondLook != "", "looked over for nothing")
			for _, e := range d.Exceptions {
				note(true, fmt.Sprintf("packed %+d: %s", e.Counted-listOf(int(list1(d.List))).Lines[e.Line-1].Quantity, e.Reason))
			}
			trip[r.Set], list[r.Set] = r.Event.Trip, list1(d.List)
			runs[r.Set] = 0
		case *events.ListSealed:
			seals[r.Event.Trip]++
			note(seals[r.Event.Trip] > 1, map[bool]string{false: "sealed again", true: "sealed again with locks"}[len(d.Seals) > 0])
		case *events.SetSterilized:
			note(r.Trip != "", "sterilized as the turn before")
			runs[r.Set]++
			note(runs[r.Set] > 1, "sterilized again")
			note(d.Emergency != "", "released early")
			if list[r.Set] == implants && loads[d.Load] == 0 {
				loads[d.Load] = 1
			}
		case *events.IndicatorRead:
			note(r.Event.Time.Weekday() != time.Monday && r.Event.Time.Weekday() != time.Thursday, "indicator read late")
			loads[d.Load] = 2
		case *events.SetChecked:
			note(d.Aside == events.AsidePut, "put aside")
			note(d.Aside == events.AsideReleased, "released")
			note(d.Sheet != nil && d.Sheet.Found != string(events.Outside) && d.Sheet.Found != events.FoundNone,
				"read though it lies inside")
		case *events.SetReturned:
			opens[r.Set] = 0
		case *events.SetOpened:
			opens[r.Set+trip[r.Set]]++
			note(opens[r.Set+trip[r.Set]] > 1, "opened again")
			note(slices.Contains(d.Package, events.PackageWet), "wet")
			note(d.Indicator != "pass", "no indicator inside")
		case *events.PieceReported:
			note(true, "reported "+string(d.Became))
		case *events.SetCounted:
			note(len(d.Counts) < len(lists[list[r.Set]]), "not all lines counted")
			for _, c := range d.Counts {
				by := c.Counted - lists[list[r.Set]][c.Line-1]
				note(by != 0 && c.Line == 1, fmt.Sprintf("%s count, line 1: %+d", d.Stage, by))
				note(by != 0 && c.Line != 1, fmt.Sprintf("%s count: %+d", d.Stage, by))
			}
		case *events.CaseClosed:
			closed[d.Case] = true
		}
		if l := r.Look; l != nil {
			note(l.ReadTag && l.Label != l.Tray, "another label")
			note(l.ReadSheet && l.Sheet == nil, "no sheet")
			note(l.ReadSheet && l.Sheet != nil && l.Sheet.Of.Set != l.Tray.Set, "another set's sheet")
			note(l.ReadSheet && l.Sheet != nil && l.Sheet.Of.Set == l.Tray.Set && l.Sheet.Of != l.Tray, "an earlier sheet")
			note(l.ReadSheet && l.Sheet != nil && l.Sheet.Of == l.Tray && l.Sheet.Code != codeOf(listOf(int(l.Tray.List)), l.Tray),
				"an altered sheet")
		}
	}
	for _, n := range loads {
		note(n == 1, "indicator never read")
	}
	for _, c := range w.Cases {
		note(!closed[c.Ref], "not closed")
	}
	return out
}

// list1 is which list a name is of, counted from 0.
func list1(name string) (n int64) {
	fmt.Sscanf(name, "LIST-%d", &n)
	return n - 1
}

// TestEachCauseAlone: where one thing alone goes wrong, the records show what that leaves behind and nothing else; of
// a piece that is elsewhere, as often that it is missing here as that it is over there.
func TestEachCauseAlone(t *testing.T) {
	const (
		first, final   = "first count: -1", "final count: -1"
		first1, final1 = "first count, line 1: -1", "final count, line 1: -1"
		more, more1    = "first count, line 1: +1", "final count, line 1: +1"
		missing        = "packed -1: missing"
	)
	wants := map[string][]string{
		"":     {},
		"Swap": {"another set's sheet"}, "Ring": {"another set's sheet"}, "Relay": {"another set's sheet"},
		"Carried": {"another set's sheet"}, "SwapLost": {"another set's sheet", "no sheet"}, "Lost": {"no sheet"},
		"Altered": {"an altered sheet"}, "Stale": {"an earlier sheet"},
		"Short": {first, final}, "Twice": {"opened again"},
		"Heavy": {"too heavy"}, "Wet": {"wet"}, "Bare": {"no indicator inside"}, "Alone": {"looked over by nobody else"},
		"Aside": {"put aside", "released"}, "Gone": {first, final, missing}, "Repair": {first, final, "packed -1: repair"},
		"Strayed":  {first1, final1, more, more1, "packed +1: added", missing},
		"Basket":   {first1, final1, more, more1, "packed +1: added", missing},
		"Reported": {first, final, missing, "reported repair"}, "Replaced": {"reported repair", "reported replaced"},
		"Missed": {first, final, missing, "reported lost"}, "Found": {first, final, missing, "reported found"},
		"Anew": {"packed again", "sterilized again", "sterilized as the turn before"}, "InHand": {"read though it lies inside"},
		"Again": {"sealed again", "sealed again with locks"}, "Mispacked": {first1, final1, more, more1},
		"Early":     {"indicator never read", "indicator read late", "released early"},
		"Misplaced": {final1, more1}, "Miscount": {first}, "Omitted": {"not all lines counted"}, "Unclosed": {"not closed"},
		// Counted by the list of the set on the label, so that anything can be.
		"Labels":  {"another label", "counted otherwise", "opened again"},
		"Holders": {"another label", "another set's sheet", "counted otherwise", "opened again"},
	}
	uneven := []string{"SwapLost", "Aside", "Anew", "Again", "Early", "Labels", "Holders"}
	of := reflect.TypeFor[Rates]()
	if of.NumField()+1 != len(wants) {
		t.Errorf("%d rates, %d rows", of.NumField(), len(wants))
	}
	for name, want := range wants {
		c := careful()
		if rate := 0.4; name != "" {
			if name == "Early" {
				rate = 0.9 // of a load, of which there are few
			}
			reflect.ValueOf(&c.Rates).Elem().FieldByName(name).SetFloat(rate)
		}
		all := make(map[string]int)
		for n := range 2 {
			for k, n := range traces(c.Week(n)) {
				if strings.Contains(k, " count") && (name == "Labels" || name == "Holders") {
					k = "counted otherwise"
				}
				all[k] += n
			}
		}
		slices.Sort(want)
		if got := slices.Sorted(maps.Keys(all)); !slices.Equal(got, want) {
			t.Errorf("%s alone leaves %q, want %q", name, got, want)
		}
		for k, n := range all {
			if !slices.Contains(uneven, name) && n != all[want[0]] {
				t.Errorf("%s alone leaves %q %d times and %q %d times", name, k, n, want[0], all[want[0]])
			}
		}
	}
}

// TestAsOften: what doesn't hang on anything else happens as often as it is asked for, within the exact interval that one
// right rate in 10,000 falls outside of.
func TestAsOften(t *testing.T) {
	c := Drill()
	counts := make(map[string]rates.Count)
	often := map[string]float64{
		"heavy": c.Rates.Heavy, "wet": c.Rates.Wet, "bare": c.Rates.Bare, "alone": c.Rates.Alone,
		"tag": c.Tag, "sheet": c.Read, "cart": c.Scan, "offline": c.Offline, "outside": 0.4, "bag": 0.3, "bare inside": 0.1,
		"not closed":   (1 - c.Rates.Misplaced) * (1 - c.Rates.Miscount) * (1 - c.Rates.Omitted) * c.Rates.Unclosed,
		"second shelf": 0.3,
	}
	look := func(what string, is bool) {
		n := counts[what]
		n.Of++
		if is {
			n.Seen++
		}
		counts[what] = n
	}
	for n := range 8 {
		w := c.Week(n)
		scanned, away := make(map[*Trip]bool), make(map[string]bool)
		for i := range w.Records {
			r := &w.Records[i]
			switch strings.TrimPrefix(r.Station, "north/") {
			case "hygiene", "desk", "laboratory", "washing", "linen": // they are never offline
			default:
				away[r.Station+r.Time.Format(" Mon")] = r.Recorded.Sub(r.Time) > time.Hour
			}
			switch l := r.Look; {
			case l == nil:
			case l.Opening:
				look("tag", l.ReadTag)
				if l.Tray.Placement != events.Screen && !l.Tray.Has(UsedTwice) {
					look("sheet", l.ReadSheet)
				}
			case strings.HasPrefix(l.Place, "cart "):
				scanned[l.Tray] = true
			}
		}
		for _, is := range away {
			look("offline", is)
		}
		for _, x := range w.Trips {
			look("heavy", x.Heavy)
			look("wet", x.Wet)
			look("bare", x.Bare)
			look("cart", scanned[x])
			look("outside", x.Placement == events.Outside)
			look("bag", x.Placement == events.InsideBag)
			look("bare inside", x.Placement == events.InsideBare)
			if x.List == lookedOver {
				look("alone", x.Alone)
			}
			shelves := 0
			for _, s := range x.Stays {
				if strings.HasPrefix(s.Place, "shelf ") {
					shelves++
				}
			}
			look("second shelf", shelves == 2)
		}
		for _, c := range w.Cases {
			if len(c.Trips) > 1 {
				look("not closed", c.Closed.IsZero())
			}
		}
	}
	for what, rate := range often {
		if n := counts[what]; !rates.ClopperPearson(n, 0.9999).Has(rate) {
			t.Errorf("%s: %d of %d, asked for %g", what, n.Seen, n.Of, rate)
		}
	}
}

package board

import (
	"fmt"
	"html/template"
	"reflect"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
	"listbound/projections/ready"
)

// TestShownRow: a row is kept by all that it is made of, and by its language. A member that were left out would have a page show
// what was so before.
func TestShownRow(t *testing.T) {
	at := time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)
	full := func() *shownRow {
		step := projections.Handled{Code: "c", Step: events.IncidentNoted, By: "B-1", Assignee: "B-2", Due: at, Text: "x", Outcome: "o",
			Covers: []string{"m"}, Time: at, Seq: 7}
		v := projections.Verdict{Set: "LAP-1", Trip: "t", Case: "K-1", Station: "s", Status: projections.Broken, Opened: true, Over: true,
			Where: "A4", Since: at, Until: at, Together: &projections.Together{Room: "north/or-1", Week: "2026-03-02", Opened: at},
			Findings: []projections.Finding{{Code: "c", Severity: "broken", Way: "w", Detail: &projections.Recalled{Positive: "L-1"},
				Events: []int64{1}, From: at, To: at, Other: &projections.TripKey{Set: "LAP-2", Trip: "u"}, Places: []string{"p"},
				Lines: []int64{3}, Says: "says", Next: "next", Texts: map[string]projections.Text{"de": {Says: "sagt", Next: "dann"}},
				Acknowledged: []projections.Acknowledgement{{By: "B-3", Time: at, Reason: "r", Seq: 4}},
				Known:        at, KnownBy: 5, Incident: "I"}},
			Handled: []projections.Handled{step}, UsedInDoubt: &projections.UsedInDoubt{Since: at, By: 6, Code: "c", Opened: at}}
		row := &boardRow{
			BoardRow: readmodel.BoardRow{Verdict: v, List: "LAP", Placement: "screen"}, Seen: true,
			Others:   []readmodel.BoardRow{{Verdict: projections.Verdict{Set: "LAP-3", Trip: "w"}}},
			Wish:     &ready.Wish{Case: "K-2", Room: "north/or-2", Start: at},
			Incident: &projections.Incident{Key: "I", State: projections.IncidentTaken, DueBy: at, Steps: []projections.Handled{step}},
		}
		return row.shown()
	}
	if sets := full().Sets; len(sets) != 2 || sets[1].Set != "LAP-3" || sets[1].Trip != "w" {
		t.Errorf("the sets of a row are %v", sets)
	}
	walk(reflect.ValueOf(full()).Elem(), "row", func(v reflect.Value, name string) bool {
		if v.IsZero() && !strings.Contains(name, ".Detail.") {
			t.Errorf("a row has no %s", name)
		}
		return false
	})
	is, n := full().mark("en"), 0
	if is == 0 || full().mark("en") != is || full().mark("de") == is {
		t.Fatalf("a row is marked %x, the same one %x, in another language %x", is, full().mark("en"), full().mark("de"))
	}
	members(reflect.ValueOf(full()).Elem(), "row", func(name string, count int) {
		r, left := full(), count
		changeMember(t, reflect.ValueOf(r).Elem(), name, &left)
		n++
		if mark := r.mark("en"); mark == is || mark == 0 {
			t.Errorf("a row with another %s is marked %x", name, mark)
		}
	})
	if n < 60 {
		t.Errorf("%d members were changed", n)
	}
}

// members calls f for each value that a row is made of, with how many come before it.
func members(v reflect.Value, name string, f func(name string, count int)) {
	n := 0
	walk(v, name, func(_ reflect.Value, name string) bool {
		f(name, n)
		n++
		return false
	})
}

// changeMember changes the value before which so many come.
func changeMember(t *testing.T, v reflect.Value, name string, left *int) {
	t.Helper()
	walk(v, "row", func(v reflect.Value, is string) bool {
		if *left--; *left >= 0 {
			return false
		}
		if is != name {
			t.Fatalf("%s was met in the place of %s", is, name)
		}
		switch {
		case v.Type() == reflect.TypeFor[time.Time]():
			v.Set(reflect.ValueOf(time.Date(2027, 1, 2, 3, 4, 5, 6, time.UTC)))
		case v.Kind() == reflect.String:
			v.SetString(v.String() + "x")
		case v.Kind() == reflect.Bool:
			v.SetBool(!v.Bool())
		case v.CanInt():
			v.SetInt(v.Int() + 1)
		default:
			t.Fatalf("%s is a %s", name, v.Type())
		}
		return true
	})
}

// walk goes through all values that another is made of, until f returns true. It fails at a pointer or a slice in which nothing is.
func walk(v reflect.Value, name string, f func(v reflect.Value, name string) bool) bool {
	switch {
	case v.Type() == reflect.TypeFor[time.Time]():
		return f(v, name)
	case strings.Contains(name, ".Detail.") && v.IsZero():
		return false // a detail has many members that few of its kind have
	case v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface:
		return walk(v.Elem(), name, f)
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			if walk(v.Field(i), name+"."+v.Type().Field(i).Name, f) {
				return true
			}
		}
		return false
	case v.Kind() == reflect.Slice:
		return walk(v.Index(0), name, f)
	case v.Kind() == reflect.Map:
		return false // of texts that aren't there until they are shown
	}
	return f(v, name)
}

// TestShownRowsAreBounded: rows that are asked for stay, and no more are kept than are said to be.
func TestShownRowsAreBounded(t *testing.T) {
	var k shownRows
	k.keep(0, "no row")
	if _, ok := k.get(0); ok {
		t.Error("a row without a mark is kept")
	}
	k.keep(1, "first")
	for n := uint64(2); n < 10*mostShown; n++ {
		k.keep(n, template.HTML(fmt.Sprint(n)))
		if html, ok := k.get(1); !ok || html != "first" {
			t.Fatalf("after %d rows the one that is asked for is %q", n, html)
		}
		if most := len(k.now) + len(k.before); most > 2*mostShown {
			t.Fatalf("%d rows are kept", most)
		}
	}
	if html, ok := k.get(10*mostShown - 1); !ok || html != template.HTML(fmt.Sprint(10*mostShown-1)) {
		t.Errorf("the last row is %q", html)
	}
	if _, ok := k.get(2); ok {
		t.Error("a row that nobody asked for is kept")
	}
}

//go:build !race

package site_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestNewSetIsAsked: a set that is packed for the first time under a name that is like
// another set's is refused until it is said to be another one, in the same batch and in
// a later one; a set that was packed before is asked about no more.
func TestNewSetIsAsked(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	list := &events.ListIssued{List: "EYE", Version: 1, Title: "Eye",
		Lines: []events.Line{{Line: 1, Item: "A", Description: "Forceps", Quantity: 1}}}
	n := 0
	line := func(set string, data events.Data) string {
		t.Helper()
		n++
		raw, err := events.FormatObservation(&events.Observation{Station: "north/packing-1", Kind: data.Kind(), Set: set,
			Time: noon.Add(time.Duration(n) * time.Minute), Operator: "B-1", Data: data})
		if err != nil {
			t.Fatal(err)
		}
		return string(raw) + "\n"
	}
	packed := func(set string, isNew bool) string {
		return line(set, &events.SetPacked{List: "EYE", Version: 1, NewSet: isNew})
	}
	got := record(t, s, line("", list)+packed("LAP-014", false)+packed("LAP-O14", false)+packed("LAP-015", false))
	for i, want := range []string{"", "", "LAP-014 is a set whose name is like that", ""} {
		if (got[i].Error != "") != (want != "") || !strings.Contains(got[i].Error, want) {
			t.Errorf("line %d: %q, want %q", i+1, got[i].Error, want)
		}
	}
	size := s.Size()
	for i, set := range []string{"lap-014", "LAP014", "LAP-0I5"} {
		if got := record(t, s, packed(set, false)); !strings.Contains(got[0].Error, `"newSet": true`) || s.Size() != size {
			t.Errorf("%d: %s: %+v", i, set, got[0])
		}
	}
	again := packed("lap-014", true)
	if got := record(t, s, again); got[0].Error != "" || got[0].Known {
		t.Errorf("said to be another set: %+v", got[0])
	}
	// Known by now, by either name; and what was recorded is known when it is sent again.
	for i, line := range []string{packed("lap-014", false), packed("LAP-014", false), again} {
		if got := record(t, s, line); got[0].Error != "" || got[0].Known != (i == 2) {
			t.Errorf("%d, packed again: %+v", i, got[0])
		}
	}
	// A name that was only seen, and never packed, is nobody's.
	if got := record(t, s, line("MIN-O01", &events.SetChecked{Tag: "MIN-O01"})+packed("MIN-001", false)); got[1].Error != "" {
		t.Errorf("like a name that was never packed: %+v", got[1])
	}
	if got := record(t, s, packed("MIN-O01", false)); !strings.Contains(got[0].Error, "MIN-001 is a set") {
		t.Errorf("seen, and never packed: %+v", got[0])
	}
}

// BenchmarkLikeSet asks for a new set among many: what its likeness costs the batch it comes in.
func BenchmarkLikeSet(b *testing.B) {
	s := open(b, b.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	var lines strings.Builder
	fmt.Fprintf(&lines, `{"station":"north/packing-1","kind":"list.issued","time":%q,"data":{"list":"EYE","version":1,"title":"Eye",`+
		`"lines":[{"line":1,"item":"A","description":"Forceps","quantity":1}]}}`+"\n", noon.Format(time.RFC3339))
	for i := range 2000 {
		fmt.Fprintf(&lines, `{"station":"north/packing-1","kind":"set.packed","time":%q,"set":"S-%04d","data":{"list":"EYE","version":1}}`+"\n",
			noon.Add(time.Duration(i)*time.Second).Format(time.RFC3339), i)
	}
	for _, r := range record(b, s, lines.String()) {
		if r.Error != "" {
			b.Fatal(r.Error)
		}
	}
	for b.Loop() {
		like, err := site.Answer(s, func(v *site.View) (string, error) { return v.LikeSet(b.Context(), "S-OO17") })
		if err != nil || like != "S-0017" {
			b.Fatal(like, err)
		}
	}
}

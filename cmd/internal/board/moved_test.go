//go:build !race

package board

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections"
)

// TestRowsAreAskedAnew: where records came between the incidents and their rows, both are asked again, and no finding that is not
// there any more takes the page with it.
func TestRowsAreAskedAnew(t *testing.T) {
	s, err := site.Open(t.Context(), site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	lines := `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"L","version":1,"title":"L",` +
		`"lines":[{"line":1,"item":"FCP","description":"Forceps","quantity":4}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:00:00Z","set":"LAP-1","data":{"list":"L","version":1}}
{"station":"north/storage","kind":"set.checked","time":"2026-03-02T07:00:00Z","set":"LAP-1","data":{"place":"A4","sealBroken":true}}
`
	if err := s.Record(t.Context(), strings.NewReader(lines), func(r site.Receipt) error {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	gone := func(in *projections.Incident) { in.Members[0].Trip = "01a1f640-bc00-715a-b9b1-b217fc4cd30b" }
	fewer := func(in *projections.Incident) { in.Members[0].Findings = []int{99} }
	for name, moved := range map[string][]func(*projections.Incident){
		"at once": {}, "twice": {gone, fewer}, "for good": slices.Repeat([]func(*projections.Incident){fewer}, 100),
	} {
		err := s.Ask(func(m *site.View) error {
			rows, err := laidOutNow(t.Context(), m, -1, func() ([]projections.Incident, error) {
				ins, err := m.Incidents(t.Context())
				if err == nil && len(moved) > 0 {
					ins = ins[:1]
					ins[0].Members = slices.Clone(ins[0].Members)
					moved[0](&ins[0])
					moved = moved[1:]
				}
				return ins, err
			})
			if err == nil && len(rows) == 0 {
				t.Errorf("%s: no rows", name)
			}
			return err
		})
		if errors.Is(err, errMoved) != (name == "for good") || err != nil && name != "for good" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

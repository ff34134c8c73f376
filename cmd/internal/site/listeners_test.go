package site_test

import (
	"testing"

	"listbound/cmd/internal/site"
)

// TestManyListeners: however many listen, each hears of the last record, in pieces where they are many.
func TestManyListeners(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	var all []<-chan struct{}
	for range 1001 {
		ch, end := s.Changes()
		t.Cleanup(end)
		all = append(all, ch)
	}
	for range 2 { // the second begins while the first is being told
		if _, err := s.Enrol(t.Context(), "north/or-3", "", "x"); err != nil {
			t.Fatal(err)
		}
	}
	for _, ch := range all {
		<-ch
	}
	if _, err := s.Enrol(t.Context(), "north/or-3", "", "x"); err != nil {
		t.Fatal(err)
	}
	for _, ch := range all {
		<-ch
	}
}

package judge

import (
	"slices"
	"testing"
	"time"

	"listbound/projections"
)

// TestStays: a set is taken to have been at a place between the first and the last of several sightings there in a row.
func TestStays(t *testing.T) {
	a, b := projections.Place{Name: "north/a"}, projections.Place{Name: "north/b"}
	at := func(h int) time.Time { return clock(0, h, 0) }
	for _, test := range []struct {
		name string
		seen []sight
		want []stay
	}{
		{"never seen", nil, nil},
		{"seen once", []sight{{at(1), a}}, nil},
		{"seen three times", []sight{{at(1), a}, {at(2), a}, {at(3), a}}, []stay{{a, at(1), at(3)}}},
		{"there and back", []sight{{at(1), a}, {at(2), b}, {at(3), a}}, nil},
		{"two stays", []sight{{at(1), a}, {at(2), a}, {at(3), b}, {at(4), a}, {at(5), a}},
			[]stay{{a, at(1), at(2)}, {a, at(4), at(5)}}},
	} {
		if got := stays(test.seen); !slices.Equal(got, test.want) {
			t.Errorf("%s: %v, want %v", test.name, got, test.want)
		}
	}
}

// TestNotApart: what both sets spent at different places is taken from the ends of a window, as often as that leaves
// another such time at an end; what lies within it, or was spent at one place, stays.
func TestNotApart(t *testing.T) {
	a, b := projections.Place{Name: "north/a"}, projections.Place{Name: "north/b"}
	in := func(p projections.Place, from, to int) stay { return stay{p, clock(0, from, 0), clock(0, to, 0)} }
	for _, test := range []struct {
		name     string
		x, y     []stay
		from, to int // of 4 to 10
	}{
		{"nobody stayed", nil, nil, 4, 10},
		{"at one place", []stay{in(a, 3, 6)}, []stay{in(a, 3, 6)}, 4, 10},
		{"at one place, and apart after it", []stay{in(a, 3, 6), in(b, 6, 7)}, []stay{in(a, 3, 6), in(a, 6, 7)}, 4, 10},
		{"apart at the beginning", []stay{in(a, 3, 6)}, []stay{in(b, 2, 7)}, 6, 10},
		{"from the beginning on", []stay{in(a, 4, 6)}, []stay{in(b, 4, 6)}, 6, 10},
		{"apart at the end", []stay{in(a, 8, 12)}, []stay{in(b, 7, 11)}, 4, 8},
		{"up to the end", []stay{in(a, 8, 10)}, []stay{in(b, 8, 10)}, 4, 8},
		{"at both ends", []stay{in(a, 3, 5), in(a, 9, 11)}, []stay{in(b, 3, 11)}, 5, 9},
		{"in between", []stay{in(a, 5, 6)}, []stay{in(b, 5, 6)}, 4, 10},
		{"all the time", []stay{in(a, 3, 11)}, []stay{in(b, 3, 11)}, 4, 10},
		{"before it", []stay{in(a, 1, 4)}, []stay{in(b, 1, 4)}, 4, 10},
		{"after it", []stay{in(a, 10, 12)}, []stay{in(b, 10, 12)}, 4, 10},
		{"one after the other", []stay{in(a, 3, 5)}, []stay{in(b, 6, 7)}, 4, 10},
		{"one time leads to the next", []stay{in(a, 5, 7), in(a, 3, 5)}, []stay{in(b, 3, 7)}, 7, 10},
	} {
		for i, pair := range [][2][]stay{{test.x, test.y}, {test.y, test.x}} {
			from, to := notApart(pair[0], pair[1], clock(0, 4, 0), clock(0, 10, 0))
			if !from.Equal(clock(0, test.from, 0)) || !to.Equal(clock(0, test.to, 0)) {
				t.Errorf("%s (%d): from %s to %s, want %d to %d", test.name, i, brief(from), brief(to), test.from, test.to)
			}
		}
	}
}

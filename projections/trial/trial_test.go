package trial

import (
	"context"
	"errors"
	"testing"

	"listbound/projections/simulate"
)

// reads lets the weeks differ by how many looks are read.
func reads(c simulate.Config) func(n int) simulate.Config {
	return func(n int) simulate.Config {
		c := c // weeks run at once
		c.Read = float64(n%5) / 4
		return c
	}
}

// sure is how sure judgement may be that a set carries the sheet of X: of how many
// sets it is to be said at least, and of them the shares that carry X's, and their own.
type sure struct {
	said, x, most, own float64
}

// TestInterrupted: what is through when it is interrupted is told.
func TestInterrupted(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	c := simulate.Drill()
	r, err := Weeks(ctx, 1000, 2, reads(c), func(n int) {
		if n == 3 {
			stop()
		}
	})
	if !errors.Is(err, context.Canceled) || r.Weeks < 3 || r.Weeks > 10 {
		t.Errorf("%d weeks, %v", r.Weeks, err)
	}
}

// TestOrderOfWeeks: the same result however many weeks are judged at once.
func TestOrderOfWeeks(t *testing.T) {
	c := simulate.Drill()
	n := 6
	if testing.Short() {
		n = 3
	}
	one, err1 := Weeks(t.Context(), n, 1, reads(c), nil)
	three, err3 := Weeks(t.Context(), n, 3, reads(c), nil)
	if err1 != nil || err3 != nil {
		t.Fatal(err1, err3)
	}
	if one.Missed != three.Missed || one.Windows != three.Windows || one.Invented != three.Invented || len(one.Known) != len(three.Known) {
		t.Errorf("one after the other %+v\nthree at once %+v", one, three)
	}
}

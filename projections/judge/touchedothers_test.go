package judge

import (
	"testing"
	"time"

	"listbound/projections"
)

// TestLoadsTouchEachOther: what the record of one load says of another's run, told fact by fact, comes to what it comes to at
// once. Invented weeks hold no two starts of a load and no two loads at one time.
func TestLoadsTouchEachOther(t *testing.T) {
	for _, test := range findingTests {
		if test.code != projections.NotReleased {
			continue
		}
		t.Run(test.name, func(t *testing.T) {
			for _, tell := range []func(*story, *turn){test.with, test.not} {
				s, x := plain()
				tell(s, x)
				for _, partial := range []bool{false, true} {
					same(t, "touched only", pieceByPiece(t, s.all, partial, time.Time{}), verdicts(t, s.world()))
				}
			}
		})
	}
}

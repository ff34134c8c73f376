package judge

import (
	"testing"
	"time"

	"listbound/projections"
)

// TestSetsTouchEachOther: what the record of one load says of another's run, or one closing of another set's lock, comes to the
// same told fact by fact as at once. Invented weeks hold no two starts of a load, no two loads at one time and no lock on two sets.
func TestSetsTouchEachOther(t *testing.T) {
	for _, test := range findingTests {
		if test.code != projections.NotReleased && test.code != projections.SealDiffers {
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

package readmodel

import (
	"listbound/projections"
	"listbound/projections/rates"
)

// written is what the tables have of a trip whose verdict was written lately. A step of a set writes its verdict anew, and
// leaves most of what stands beside it as it is: that is not written again, nor asked for.
type written struct {
	rests    []byte   // packed, as in trips
	findings []string // of each what its row is made of
	board    bool     // it has a row there
	opening  *rates.Opening
}

// mostWritten is how many trips are kept; then it begins anew.
const mostWritten = 4096

// wrote keeps what has been written of a trip.
func (w *writer) wrote(k projections.TripKey, is *written) {
	if len(w.written) >= mostWritten {
		clear(w.written)
	}
	w.written[k] = is
}

// same is how many findings both begin with.
func same(a, b []string) int {
	n := 0
	for n < min(len(a), len(b)) && a[n] == b[n] {
		n++
	}
	return n
}

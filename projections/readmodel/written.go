package readmodel

import (
	"listbound/projections"
	"listbound/projections/rates"
)

// written is what the tables have of a trip whose verdict was written lately. A step of a set writes its verdict anew, and
// leaves most of what stands beside it as it is: that is not written again, nor asked for.
type written struct {
	trip     tripRow
	verdict  []byte   // as in trips
	rests    []byte   // packed, as in trips
	findings []string // of each what its row is made of
	board    bool     // it has a row there
	opening  *rates.Opening
}

// tripRow is what a trip's row holds of which there are indexes, or that changes with these.
type tripRow struct {
	caseRef string
	status  projections.Status
	opened  bool
}

// stationVerdict is what a station's row has of its verdict.
type stationVerdict struct {
	verdict string
	until   int64
}

// place is what a row of spans is about.
type place struct{ what, mark string }

// mostPlaces is of how many places it is kept in which stretch of records they were filed last.
const mostPlaces = 4096

// filed reports whether a place is filed under a stretch already, and keeps that it is from now on.
func (w *writer) filed(p place, span int64) bool {
	if last, ok := w.places[p]; ok && last == span {
		return true
	}
	if len(w.places) >= mostPlaces {
		clear(w.places)
	}
	w.places[p] = span
	return false
}

// unknow forgets what the tables have: a transaction was taken back.
func (w *writer) unknow() {
	clear(w.written)
	clear(w.rows)
	clear(w.stations)
	clear(w.places)
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

package facts

import "time"

// Stretch is what Around returned of a set once. It answers for all moments near which it has enough packings: the moments of a
// case's looks are many, and the packings around them mostly the same.
type Stretch struct {
	Facts  []Fact
	packed []int64 // when its packings were observed
	before bool    // there is none before the first
	after  bool    // there is none after the last
}

// NewStretch keeps what Around returned for a moment and a number of packings.
func NewStretch(fs []Fact, set string, at time.Time, n int) *Stretch {
	s := &Stretch{Facts: fs}
	for _, f := range fs {
		if packs(f, set) {
			s.packed = append(s.packed, Nanos(f.Event.Time))
		}
	}
	before, after := s.around(at)
	s.before, s.after = before < n, after < n
	return s
}

// Has reports whether so many packings before a moment and after it are there, or all there are.
func (s *Stretch) Has(at time.Time, n int) bool {
	before, after := s.around(at)
	return (before >= n || s.before) && (after >= n || s.after)
}

// around counts the packings at or before a moment, and after it.
func (s *Stretch) around(at time.Time) (before, after int) {
	t := int64(Ever)
	if !at.IsZero() {
		t = Nanos(at)
	}
	for _, p := range s.packed {
		if p <= t {
			before++
		} else {
			after++
		}
	}
	return before, after
}

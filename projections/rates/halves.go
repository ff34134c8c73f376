package rates

import "time"

// Halves are the openings before a change and after it.
type Halves struct {
	Before     Group      `json:"before"`
	After      Group      `json:"after"`
	Difference Difference `json:"difference"` // A is before
}

// The names of the two groups.
const (
	BeforeChange = "before"
	AfterChange  = "after"
)

// NewHalves compares before and after a change as two groups of a table are; it is nil where either has no openings. What else changed at
// that time no count can tell apart from it.
func NewHalves(openings []Opening, incidents []Incident, changed time.Time, o Options) *Halves {
	r := NewReport(openings, incidents, o)
	half := func(name string, after bool) Group {
		return r.group(name, func(i int) bool { return r.Openings[i].At.Before(changed) != after })
	}
	h := &Halves{Before: half(BeforeChange, false), After: half(AfterChange, true)}
	if h.Before.Openings == 0 || h.After.Openings == 0 {
		return nil
	}
	h.Difference = r.Compare(&h.Before, &h.After, Level)
	return h
}

package assess

// Severity of what a hazard leads to, chosen by the site (HFMEA).
const (
	Minor        = 1
	Moderate     = 2
	Major        = 3
	Catastrophic = 4
)

// Likelihood of a hazard, in words of how often it comes about (HFMEA).
const (
	Remote     = 1 // some time in 5 to 30 years
	Uncommon   = 2 // some time in 2 to 5 years
	Occasional = 3 // several times in 1 to 2 years
	Frequent   = 4 // several times in a year
)

// mostOfTable is the highest severity and likelihood.
const mostOfTable = 4

// LikelihoodOf says how often something comes about that is expected so many times a
// year: more than once a year, once in one to two years, in two to five, less.
func LikelihoodOf(perYear float64) int {
	switch {
	case perYear > 1:
		return Frequent
	case perYear > 1.0/2:
		return Occasional
	case perYear > 1.0/5:
		return Uncommon
	}
	return Remote
}

// Score is a cell of the 4-by-4 table. Equal scores hide different risks: a catastrophe
// once in twenty years and something minor every month are 4 alike.
func Score(severity, likelihood int) int { return severity * likelihood }

// scoreFrom is the score from which on a hazard goes on without a weak point.
const scoreFrom = 8

// Answers are what the site says of a hazard at a placement in the decision tree.
type Answers struct {
	WeakPoint  bool `json:"weakPoint,omitzero"`  // it alone is enough to make all fail
	Controlled bool `json:"controlled,omitzero"` // an effective control is there
	Obvious    bool `json:"obvious,omitzero"`    // it shows so readily that no control is needed
}

// Decision is where the decision tree of HFMEA ends.
type Decision string

// The ends. Proceed: something has to be done about it. The others stop, and say by
// which question.
const (
	Proceed        Decision = "proceed"
	StopScore      Decision = "stop-score" // below 8 and no weak point
	StopControlled Decision = "stop-controlled"
	StopObvious    Decision = "stop-obvious"
)

// Decide walks the decision tree.
func Decide(score int, a Answers) Decision {
	switch {
	case score < scoreFrom && !a.WeakPoint:
		return StopScore
	case a.Controlled:
		return StopControlled
	case a.Obvious:
		return StopObvious
	}
	return Proceed
}

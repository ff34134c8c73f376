package events

// Policy is what a site expects of a trip. A trip's steps are judged by the
// policy in force when each of them was observed. The facility writes it; the
// default is only where nobody has.
type Policy struct {
	// Links that a trip must have, in order.
	Links []Kind `json:"links"`
	// Stages of set.counted that every opened set must have.
	Stages []Stage `json:"stages"`
	// TwoPersons: a count needs a witness with another badge.
	TwoPersons bool `json:"twoPersons"`
	// MayStayUnread are the placements whose sheet need not be read at opening.
	MayStayUnread []Placement `json:"mayStayUnread"`
	// ClockToleranceSeconds is how far clocks of two stations may differ.
	ClockToleranceSeconds int64 `json:"clockToleranceSeconds"`
	// MinimumTravelSeconds: scans of one set at two stations closer together than this can't both be right.
	MinimumTravelSeconds int64 `json:"minimumTravelSeconds"`
	// WeightLimitGrams for a packed set; 0 is no limit.
	WeightLimitGrams int64 `json:"weightLimitGrams"`
	// SecondLook are the lists whose sets a second person looks over at packing.
	SecondLook []string `json:"secondLook,omitempty"`
	// Recall after a positive biological indicator.
	Recall Recall `json:"recall"`
}

// Recall says how far a positive biological indicator reaches.
type Recall string

const (
	// RecallRepeat is CDC 2008, Table 12: one positive in a steam sterilizer
	// makes its loads since the last negative doubtful while three consecutive
	// cycles are repeated; a further positive among them recalls all of them.
	RecallRepeat Recall = "repeat-three-cycles"
	// RecallAll recalls every load since the last negative at the first positive
	// (the rule CDC gives for methods other than steam, and stricter local policies).
	RecallAll Recall = "since-last-negative"
)

// DefaultPolicy holds where a site has adopted none: all six links, first and
// final counts by two people, no tolerance for an unread sheet except screen.
// Weight: 25 lb, ANSI/AAMI ST77 4.3.5 (11,340 g). Recall: CDC 2008, Table 12.
// The two times are common practice, no source.
func DefaultPolicy() Policy {
	return Policy{
		Links:                 KindsWhere(Kind.IsLink),
		Stages:                []Stage{StageFirst, StageFinal},
		TwoPersons:            true,
		MayStayUnread:         []Placement{Screen},
		ClockToleranceSeconds: 120,
		MinimumTravelSeconds:  60,
		WeightLimitGrams:      11340,
		Recall:                RecallRepeat,
	}
}

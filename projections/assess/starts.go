package assess

import "listbound/projections/rates"

// Source is where a number or a statement is from.
type Source struct {
	ID    string `json:"id"`
	Cites string `json:"cites"`
}

// Sources that are no publication.
const (
	SourceLedger = "ledger" // counted here: Jeffreys posterior of the incidents in what was read
	SourceSite   = "site"   // said by whoever made the assessment
)

// Sources are the publications that start values and hazards rest on. They are cited as
// they are, in every language.
func Sources() []Source {
	return []Source{
		{"therp", "Swain AD, Guttmann HE. Handbook of Human Reliability Analysis (THERP), NUREG/CR-1278, 1983"},
		{"zhu-2019", "Zhu X et al. BMC Health Serv Res 2019, doi 10.1186/s12913-019-4007-3: 8 wrong tags on 33,839 packages"},
		{"lucas-2009", "Lucas AD et al. AORN J 2009;89(3):521-531, doi 10.1016/j.aorn.2008.09.001"},
		{"nureg-0492", "Vesely WE et al. Fault Tree Handbook, NUREG-0492, 1981"},
		{"hfmea", "DeRosier J et al. Jt Comm J Qual Improv 2002;28(5)"},
		{"iso-14971", "ISO 14971:2019"},
	}
}

// Start is a start value: what a publication says of something alike, until the ledger or
// the site knows better.
type Start struct {
	Value
	Where string `json:"where"` // in the source
}

// The start values. None was measured on count sheets: they are of people who work by a
// procedure, and of package tags.
const (
	StepWritten  = "step-written"  // a step of a short written procedure (up to 10), without ticking it off
	StepUnused   = "step-unused"   // a step of a procedure that is there and isn't used
	LookAlike    = "look-alike"    // one of several that are clearly labelled and lie apart
	CheckByOther = "check-other"   // somebody else's check, without anything written
	CheckRoutine = "check-routine" // the same, of work that is checked as a routine: half of it
	WrongTag     = "wrong-tag"     // the tag of another package
)

// Starts lists them.
func Starts() []Start {
	therp := func(start string, median, factor float64, where string) Start {
		return Start{Value{Start: start, Source: "therp", Median: median, ErrorFactor: factor}, where}
	}
	return []Start{
		therp(StepWritten, 3e-3, 3, "table 20-7, item 3"),
		therp(StepUnused, 5e-2, 5, "table 20-7, item 5"),
		therp(LookAlike, 1e-3, 3, "table 20-13, item 1"),
		therp(CheckByOther, 0.2, 5, "table 20-22, item 2"),
		therp(CheckRoutine, 0.1, 5, "table 20-22, items 2 and 10"),
		{Value{Start: WrongTag, Source: "zhu-2019", Count: &rates.Count{Seen: 8, Of: 33839}}, "table of packing errors"},
	}
}

// start returns a start value; nil for the empty name, of which nobody has published one.
func start(name string) *Value {
	for _, s := range Starts() {
		if s.Start == name {
			return &s.Value
		}
	}
	return nil
}

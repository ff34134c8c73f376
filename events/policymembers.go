package events

// PolicyMember is one line of a policy, for pages that show and ask for it.
type PolicyMember struct {
	Name  string     // as in JSON; one of the waits has "waits." before it
	Form  PolicyForm // what it says
	Unit  string     // of a number: seconds, minutes, hours, days or grams
	Words []string   // that it is one of, or some of
}

// PolicyForm is what a member of a policy says.
type PolicyForm string

// The forms.
const (
	PolicyNumber PolicyForm = "number"
	PolicyYesNo  PolicyForm = "yes-no"
	PolicyOneOf  PolicyForm = "one-of"
	PolicySomeOf PolicyForm = "some-of"
	PolicyList   PolicyForm = "list"  // of the site's own words
	PolicyCodes  PolicyForm = "codes" // patterns, each with its kind
)

// PolicyMembers are all lines of a policy, in the order in which a page shows them.
func PolicyMembers() []PolicyMember {
	asked := []string{string(Required), string(Optional)}
	number := func(name, unit string) PolicyMember { return PolicyMember{Name: name, Form: PolicyNumber, Unit: unit} }
	one := func(name string, words []string) PolicyMember {
		return PolicyMember{Name: name, Form: PolicyOneOf, Words: words}
	}
	return []PolicyMember{
		{Name: "links", Form: PolicySomeOf, Words: wordsOf(KindsWhere(Kind.IsLink))},
		{Name: "stages", Form: PolicySomeOf, Words: wordsOf(stages)},
		{Name: "twoPersons", Form: PolicyYesNo},
		{Name: "hideExpected", Form: PolicyYesNo},
		{Name: "placements", Form: PolicySomeOf, Words: wordsOf(placements)},
		{Name: "placedOtherwise", Form: PolicyList},
		{Name: "mayStayUnread", Form: PolicySomeOf, Words: wordsOf(placements)},
		{Name: "allPages", Form: PolicyYesNo},
		one("tagAtOpening", asked), one("indicatorAtOpening", asked), one("implantIndicator", asked),
		{Name: "releaseAsks", Form: PolicySomeOf, Words: wordsOf(releaseAsks)},
		{Name: "dayTests", Form: PolicySomeOf, Words: wordsOf(dayTests)}, one("quarantine", asked),
		one("soundPackage", asked), one("sheetScan", asked),
		{Name: "secondLook", Form: PolicyList},
		{Name: "wayBack", Form: PolicySomeOf, Words: wordsOf(returnSteps)},
		one("recall", []string{string(RecallRepeat), string(RecallAll)}),
		number("weightLimitGrams", "grams"), number("shelfLifeDays", "days"), number("readingMinutes", "minutes"),
		number("badgeMinutes", "minutes"), number("mendMinutes", "minutes"),
		number("clockToleranceSeconds", "seconds"), number("minimumTravelSeconds", "seconds"),
		number("waits.runHours", "hours"), number("waits.releaseHours", "hours"), number("waits.indicatorHours", "hours"),
		number("waits.seenHours", "hours"), number("waits.countHours", "hours"), number("waits.closeHours", "hours"),
		number("waits.loanHours", "hours"), number("waits.stationHours", "hours"),
		{Name: "pinAtStations", Form: PolicyYesNo},
		{Name: "keepPictures", Form: PolicyYesNo},
		{Name: "cycles", Form: PolicyList},
		{Name: "codes", Form: PolicyCodes, Words: wordsOf(patternKinds())},
	}
}

func wordsOf[T ~string](all []T) (out []string) {
	for _, w := range all {
		out = append(out, string(w))
	}
	return out
}

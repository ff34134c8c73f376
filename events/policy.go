package events

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

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
	// Placements are where a count sheet may travel; with none it may be anywhere. A site adopts them by its own assessment.
	Placements []Placement `json:"placements,omitempty"`
	// PlacedOtherwise are the lists whose sheets may travel elsewhere all the same.
	PlacedOtherwise []string `json:"placedOtherwise,omitempty"`
	// ClockToleranceSeconds is how far clocks of two stations may differ.
	ClockToleranceSeconds int64 `json:"clockToleranceSeconds"`
	// MinimumTravelSeconds: of two scans of one set at different stations that are
	// closer together than this, one must be wrong.
	MinimumTravelSeconds int64 `json:"minimumTravelSeconds"`
	// WeightLimitGrams for a packed set; 0 is no limit.
	WeightLimitGrams int64 `json:"weightLimitGrams"`
	// SecondLook are the lists whose sets a second person looks over at packing.
	SecondLook []string `json:"secondLook,omitempty"`
	// Recall after a positive biological indicator.
	Recall Recall `json:"recall"`
	// TagAtOpening: the tag on the tray must be read when a set is opened.
	TagAtOpening Asked `json:"tagAtOpening,omitzero"`
	// IndicatorAtOpening: it must be recorded at opening what the chemical indicator
	// inside shows. That none was inside is found in any case.
	IndicatorAtOpening Asked `json:"indicatorAtOpening,omitzero"`
	// ImplantIndicator: a set with implants may be used once the biological indicator
	// of its load was read negative.
	ImplantIndicator Asked `json:"implantIndicator,omitzero"`
	// ReleaseAsks are what a load is released by, besides that its run passed: a release without it is found. A site's own rule.
	ReleaseAsks []ReleaseAsk `json:"releaseAsks,omitempty"`
	// DayTests are the tests that a sterilizer's day begins with: a load that is released on a day without them, or whose
	// test failed, is found. A site's own rule, and the manufacturers'.
	DayTests []DayTest `json:"dayTests,omitempty"`
	// Quarantine: a set that was put aside may be used once it was released from
	// that, or reprocessed.
	Quarantine Asked `json:"quarantine,omitzero"`
	// SoundPackage: a set whose package was found wet, torn, open, without a right
	// filter or gasket, or dropped is not to be used as it is.
	SoundPackage Asked `json:"soundPackage,omitzero"`
	// SheetScan: a printed sheet is scanned before the next set is closed at the same
	// place. It is a rule of the stations' pages; no trip is judged by it.
	SheetScan Asked `json:"sheetScan,omitzero"`
	// ShelfLifeDays is how many days after its run a set may be opened; 0 is no limit.
	ShelfLifeDays int64 `json:"shelfLifeDays,omitzero"`
	// ReadingMinutes is how long after an opening its sheet and tag may still be read.
	ReadingMinutes int64 `json:"readingMinutes,omitzero"`
	// Waits: how long what is to come next is waited for.
	Waits Waits `json:"waits,omitzero"`
	// BadgeMinutes is how long a badge holds at a station where nothing happens; 0 is the default.
	BadgeMinutes int64 `json:"badgeMinutes,omitzero"`
	// MendMinutes is how long after an observation its own station may take it back or replace it; what is older, or another
	// station's, a lead corrects. 0 is no limit. A server holds to it when a correction comes in; no trip is judged by it.
	MendMinutes int64 `json:"mendMinutes,omitzero"`
	// PINAtStations: at a server with accounts a badge is taken at a station's pages once its PIN was given there. PINs are kept
	// beside the ledger, and nothing that is judged rests on them.
	PINAtStations bool `json:"pinAtStations,omitzero"`
	// AllPages: of a sheet of several pages each is read, not one of them.
	AllPages bool `json:"allPages,omitzero"`
	// HideExpected: the number expected is not shown before a line is counted.
	HideExpected bool `json:"hideExpected,omitzero"`
	// WayBack are the steps that must be recorded of a used set before it is packed again.
	WayBack []ReturnStep `json:"wayBack,omitempty"`
	// KeepPictures: of a sheet that is read back, the part of its picture with the marks is kept beside the ledger. It shows no
	// patient's label.
	KeepPictures bool `json:"keepPictures,omitzero"`
	// Cycles are what the site's sterilizers run, to choose from.
	Cycles []string `json:"cycles,omitempty"`
	// Codes are what the site's own plain codes look like, without a label's prefix. A new case that looks like none of
	// those of cases is refused.
	Codes []CodePattern `json:"codes,omitempty"`
}

// ReleaseAsk is what a policy may ask for at the release of a load.
type ReleaseAsk string

// The values of ReleaseAsk. That a load is released by its physical parameters is common practice (ISO 17665, EN 285: from
// memory); who looks at them, and whether a second person does, is the facility's own rule, and the manufacturers' instructions
// come first.
const (
	AskParameters ReleaseAsk = "parameters"  // the run's printed or logged values were judged
	AskIndicator  ReleaseAsk = "indicator"   // its biological indicator was read negative
	AskSecondLook ReleaseAsk = "second-look" // a second person looked at it
)

var releaseAsks = []ReleaseAsk{AskParameters, AskIndicator, AskSecondLook}

// AsksAtRelease reports whether a load is released only by that.
func (p *Policy) AsksAtRelease(a ReleaseAsk) bool { return slices.Contains(p.ReleaseAsks, a) }

// Asked says whether a policy asks for something. Empty is the default of the line
// it stands in, which Complete fills in.
type Asked string

// The values of Asked.
const (
	Required Asked = "required"
	Optional Asked = "optional"
)

// readingMinutes holds where no policy says otherwise: common practice, no source.
const readingMinutes = 30

// Complete returns the policy with what holds in each line that it leaves out.
func (p Policy) Complete() Policy {
	p.TagAtOpening = cmp.Or(p.TagAtOpening, Required) // common practice, no source
	// That an indicator lies inside each package is CDC, MMWR 2003;52(RR-17) (from memory);
	// that its result is recorded for each opening is no published rule.
	p.IndicatorAtOpening = cmp.Or(p.IndicatorAtOpening, Optional)
	// CDC, MMWR 2003;52(RR-17): every load with implants, the result before use.
	p.ImplantIndicator = cmp.Or(p.ImplantIndicator, Required)
	// ISO 13485:2016, 8.3: what does not conform is kept from unintended use (from memory).
	p.Quarantine = cmp.Or(p.Quarantine, Required)
	// CDC 2008: what is torn, wet or punctured is repacked and reprocessed before use
	// (from memory). Filters and gaskets: the manufacturers' instructions.
	p.SoundPackage = cmp.Or(p.SoundPackage, Required)
	p.SheetScan = cmp.Or(p.SheetScan, Required) // common practice, no source
	// ShelfLifeDays stays 0: shelf life goes by events, not by time (CDC 2008).
	p.ReadingMinutes = cmp.Or(p.ReadingMinutes, readingMinutes)
	p.Waits = p.Waits.Complete()
	p.BadgeMinutes = cmp.Or(p.BadgeMinutes, badgeMinutes)
	return p
}

// AsksTag reports whether the tag must be read at opening.
func (p *Policy) AsksTag() bool { return p.Complete().TagAtOpening == Required }

// AsksIndicator reports whether what the chemical indicator inside shows must be
// recorded at opening.
func (p *Policy) AsksIndicator() bool { return p.Complete().IndicatorAtOpening == Required }

// AsksImplantIndicator reports whether a set with implants waits for the biological
// indicator of its load.
func (p *Policy) AsksImplantIndicator() bool { return p.Complete().ImplantIndicator == Required }

// AsksQuarantine reports whether a set put aside must be released before it is used.
func (p *Policy) AsksQuarantine() bool { return p.Complete().Quarantine == Required }

// AsksSoundPackage reports whether a set may not be used in a faulty package.
func (p *Policy) AsksSoundPackage() bool { return p.Complete().SoundPackage == Required }

// MayTravel reports whether the sheet of a set with this list may travel there.
func (p *Policy) MayTravel(list string, at Placement) bool {
	return len(p.Placements) == 0 || slices.Contains(p.Placements, at) || slices.Contains(p.PlacedOtherwise, list)
}

// AsksSheetScan reports whether a printed sheet must be scanned, or be said not to
// have been, before the next set is closed.
func (p *Policy) AsksSheetScan() bool { return p.Complete().SheetScan == Required }

// MayStillRead is how long after an opening its sheet and tag may still be read.
func (p *Policy) MayStillRead() time.Duration {
	return time.Duration(p.Complete().ReadingMinutes) * time.Minute
}

// MayMend is how long after an observation its station may correct it; false where there is no limit.
func (p *Policy) MayMend() (time.Duration, bool) {
	return time.Duration(p.MendMinutes) * time.Minute, p.MendMinutes > 0
}

// CodePattern is what a site's plain codes of one kind look like: 9 stands for any
// digit, @ for any letter, a * at the end for any further characters, and every other
// character for itself, so that K-9999 is case K-0412 and @@9* lot AB7-2026. A GS1 symbol
// says itself what it names, and needs none.
type CodePattern struct {
	Kind ScanKind `json:"kind"`
	Like string   `json:"like"`
}

// Matches reports whether a code looks like the pattern.
func (p CodePattern) Matches(code string) bool {
	like, open := strings.CutSuffix(p.Like, "*")
	if len(code) < len(like) || len(code) > len(like) && !open {
		return false
	}
	for i := range len(like) {
		digit := code[i] >= '0' && code[i] <= '9'
		letter := code[i] >= 'A' && code[i] <= 'Z' || code[i] >= 'a' && code[i] <= 'z'
		if code[i] != like[i] && (like[i] != '9' || !digit) && (like[i] != '@' || !letter) {
			return false
		}
	}
	return true
}

// CaseFits reports whether a reference can be a case's: where the policy says what cases look like, it looks so.
func (p *Policy) CaseFits(ref string) bool {
	said := false
	for _, c := range p.Codes {
		if c.Kind != ScanCase {
			continue
		}
		if c.Matches(ref) {
			return true
		}
		said = true
	}
	return !said
}

// CodeShape is a code with each digit written as 9, as a CodePattern has it.
func CodeShape(code string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return '9'
		}
		return r
	}, code)
}

// badgeMinutes holds where no policy says otherwise: common practice, no source.
const badgeMinutes = 20

// BadgeHolds is how long a badge is believed to be that of who works at a station
// when nothing happens there.
func (p *Policy) BadgeHolds() time.Duration {
	return time.Duration(p.Complete().BadgeMinutes) * time.Minute
}

// Recall is how far a positive biological indicator reaches.
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
// The two times are common practice, no source; for those of Waits see there.
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

func (c *checks) asked(what string, a Asked) {
	c.must(a == "" || a == Required || a == Optional, "%s is %q; it is %q or %q", what, a, Required, Optional)
}

// Check refuses a policy nobody can mean.
func (p *Policy) Check() error {
	c := checks{where: "policy: "}
	for _, k := range p.Links {
		c.must(k.IsLink(), "links: %q is not a link of a trip", k)
	}
	for _, s := range p.Stages {
		c.must(slices.Contains(stages, s), "stages: %q is not a stage of a count", s)
	}
	for _, m := range p.MayStayUnread {
		c.must(slices.Contains(placements, m), "mayStayUnread: %q is not a placement", m)
	}
	for _, at := range p.Placements {
		c.must(slices.Contains(placements, at), "placements: %q is not a placement", at)
	}
	for _, l := range p.PlacedOtherwise {
		c.id("placedOtherwise", l)
	}
	c.inRange("clockToleranceSeconds", p.ClockToleranceSeconds, 0, 86400)
	c.inRange("minimumTravelSeconds", p.MinimumTravelSeconds, 0, 86400)
	c.inRange("weightLimitGrams", p.WeightLimitGrams, 0, maxGrams)
	for _, l := range p.SecondLook {
		c.id("secondLook", l)
	}
	for _, step := range p.WayBack {
		c.must(slices.Contains(returnSteps, step), "wayBack: %q is not a step of the way back", step)
	}
	c.asked("tagAtOpening", p.TagAtOpening)
	c.asked("indicatorAtOpening", p.IndicatorAtOpening)
	c.asked("implantIndicator", p.ImplantIndicator)
	for _, a := range p.ReleaseAsks {
		c.must(slices.Contains(releaseAsks, a), "releaseAsks: %q is not one of %s", a, listed(releaseAsks))
	}
	for _, t := range p.DayTests {
		c.must(slices.Contains(dayTests, t), "dayTests: %q is not one of %s", t, listed(dayTests))
	}
	c.asked("quarantine", p.Quarantine)
	c.asked("soundPackage", p.SoundPackage)
	c.asked("sheetScan", p.SheetScan)
	c.inRange("shelfLifeDays", p.ShelfLifeDays, 0, 3650)
	c.inRange("readingMinutes", p.ReadingMinutes, 0, 24*60)
	p.Waits.check(&c)
	c.inRange("badgeMinutes", p.BadgeMinutes, 0, 24*60)
	c.inRange("mendMinutes", p.MendMinutes, 0, 7*24*60)
	for _, cycle := range p.Cycles {
		c.id("cycles", cycle)
	}
	for _, code := range p.Codes {
		c.must(slices.Contains(patternKinds(), code.Kind), "codes: %q is not one of %s", code.Kind, listed(patternKinds()))
		c.id("codes", code.Like)
	}
	c.must(p.Recall == RecallRepeat || p.Recall == RecallAll,
		"recall is %q; it is %q or %q", p.Recall, RecallRepeat, RecallAll)
	return c.err
}

// patternKinds are the kinds of things whose plain codes a site can describe.
func patternKinds() []ScanKind {
	return []ScanKind{ScanBadge, ScanCase, ScanSeal, ScanSet, ScanLoad, ScanLot, ScanPlace}
}

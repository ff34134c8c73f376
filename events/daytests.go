package events

import (
	"slices"
	"time"
)

// DayTest is a test that a sterilizer's day begins with.
type DayTest string

// The values of DayTest. An empty chamber's Bowie-Dick test before the first load of each day that a sterilizer with a
// vacuum is used is the CDC's guideline of 2008 and AAMI ST79 (the first read in a copy, the second from memory); the
// test itself is ISO 11140-4's (from memory). How often the chamber is tested for leaks is the manufacturer's and the
// facility's own rule.
const (
	BowieDick DayTest = "bowie-dick" // air removal: did steam reach all of the test pack
	LeakTest  DayTest = "leak"       // air leakage: how fast the pressure rises in the evacuated chamber
)

var dayTests = []DayTest{BowieDick, LeakTest}

// DayTests returns the tests of a day in the order in which they are asked for.
func DayTests() []DayTest { return slices.Clone(dayTests) }

// LeakLimitPascal is what a chamber may leak in a minute where no other limit is said: 0.13 kPa or 1.3 mbar, by EN 285
// (from memory, and as third parties' copies have it). The manufacturer's instructions come first.
const LeakLimitPascal = 130

// The results of a test of the day.
const (
	TestPassed  = "passed"
	TestFailed  = "failed"
	TestNotDone = "not-done" // and Reason is why
)

var testResults = []string{TestPassed, TestFailed, TestNotDone}

// MaxLeakPascal is a tenth of the atmosphere in a minute: what leaks more is no chamber.
const MaxLeakPascal = 10_000

// SterilizerTested is a test that a sterilizer's day begins with. Subject: the sterilizer.
type SterilizerTested struct {
	Sterilizer string  `json:"sterilizer"`
	Day        string  `json:"day"` // whose loads it is for, as the clock on the wall has it: 2026-03-04
	Test       DayTest `json:"test"`
	Result     string  `json:"result"`       // passed, failed, not-done
	Run        int64   `json:"run,omitzero"` // number of its cycle
	Reason     string  `json:"reason,omitempty" addendum:"text"`
	// RatePascal is by how much the pressure rose in a minute, and LimitPascal by how much it may, in pascals: 1.3 mbar
	// are 130.
	RatePascal  int64 `json:"ratePascal,omitzero"`
	LimitPascal int64 `json:"limitPascal,omitzero"`
}

func (*SterilizerTested) Kind() Kind { return KindSterilizerTested }

// Keys implements Data.
func (d *SterilizerTested) Keys() Keys { return Keys{KeySterilizer: d.Sterilizer} }

// Shows is what the test shows by its own numbers: whatever was said of it, a chamber that leaks more than its limit
// failed.
func (d *SterilizerTested) Shows() string {
	if d.Result == TestPassed && d.LimitPascal > 0 && d.RatePascal > d.LimitPascal {
		return TestFailed
	}
	return d.Result
}

// Rate and Limit are in kilopascals a minute, for whoever says them.
func (d *SterilizerTested) Rate() float64 { return float64(d.RatePascal) / 1000 }

// Limit: see Rate.
func (d *SterilizerTested) Limit() float64 { return float64(d.LimitPascal) / 1000 }

// Check implements Data.
func (d *SterilizerTested) Check() error {
	var c checks
	c.id("sterilizer", d.Sterilizer)
	c.day("day", d.Day)
	oneOf(&c, "test", d.Test, dayTests...)
	oneOf(&c, "result", d.Result, testResults...)
	c.inRange("run", d.Run, 0, 9999999)
	c.optionalText("reason", d.Reason)
	c.must(d.Result != TestNotDone || d.Reason != "", "reason: why the test was not done")
	c.inRange("ratePascal", d.RatePascal, 0, MaxLeakPascal)
	c.inRange("limitPascal", d.LimitPascal, 0, MaxLeakPascal)
	c.must(d.Test == LeakTest || d.RatePascal == 0 && d.LimitPascal == 0,
		"ratePascal and limitPascal: only a leak test has them")
	c.must(d.RatePascal == 0 || d.LimitPascal > 0, "limitPascal: the most that the chamber may leak is missing")
	return c.err
}

// day holds a member to a day, as 2026-03-04.
func (c *checks) day(what, s string) {
	_, err := time.Parse(time.DateOnly, s)
	c.must(err == nil, "%s is %q; it is a day such as 2026-03-04", what, s)
}

// DayOf is the day whose tests a load is released by: that of its start, as the station's wall has it. Where the record
// doesn't say so it is that in UTC.
func (d *SetSterilized) DayOf(recorded time.Time) string {
	at := d.StartedAt()
	switch {
	case d.Day != "":
		return d.Day
	case at.IsZero():
		at = recorded
	}
	return at.UTC().Format(time.DateOnly)
}

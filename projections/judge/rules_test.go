package judge

import (
	"slices"
	"testing"

	"listbound/events"
	"listbound/projections"

	"pgregory.net/rapid"
)

// TestRulesNameTheirCodes: a rule gives no code that it does not name, every
// code is some rule's, and every code and way comes about in an invented week
// or in a test of its own.
func TestRulesNameTheirCodes(t *testing.T) {
	ways := make(map[projections.Way]bool)
	look := func(w *World) {
		for _, k := range w.Trips() {
			for _, r := range Rules() {
				j := judgement{w: w, c: w.Trip(k)}
				r.find(&j)
				for _, f := range j.findings {
					ways[projections.Way{Code: f.Code, Name: f.Way}] = true
					if !slices.Contains(r.Codes, f.Code) {
						t.Errorf("the rule %q gives %s and does not name it", r.Name, f.Code)
					}
				}
			}
		}
	}
	for _, x := range findingTests {
		s, turn := plain()
		x.with(s, turn)
		look(s.world())
	}
	s := newStory()
	s.waits(events.Waits{Station: 24})
	s.now = clock(2, 0, 0)
	for _, f := range must(s.world().JudgeStation(events.Station{Name: "north/or-3", Count: 7, Time: monday})).Findings {
		ways[projections.Way{Code: f.Code, Name: f.Way}] = true
	}
	weeks := rapid.Custom(invent)
	for seed := range 60 {
		look(worldOf(weeks.Example(seed)))
	}
	named := make(map[projections.Code]bool)
	for _, r := range Rules() {
		for _, c := range r.Codes {
			named[c] = true
		}
	}
	for _, c := range projections.Codes() {
		if !named[c] {
			t.Errorf("no rule names %s: give it to one in its family's list", c)
		}
	}
	for _, w := range projections.Ways() {
		if !ways[w] {
			t.Errorf("nothing here comes about as %s (%s): plant a case in findingTests (judge_test.go)", w.Code, w.Name)
		}
	}
}

//go:build !race

package loads_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestReleaseAsks: what the policy asks for at a release is asked one question after the other and recorded; where it asks for
// nothing, nothing is asked.
func TestReleaseAsks(t *testing.T) {
	badge := func(s *workplacetest.Scanner, id string) workplacetest.Answer {
		return s.Scan(workplacetest.Label(t, events.ScanBadge, id))
	}
	for _, x := range []struct {
		name string
		asks []events.ReleaseAsk
		play func(s *workplacetest.Scanner)
		want string // recorded: result, released, parameters, second look
	}{
		{"nothing", nil, func(*workplacetest.Scanner) {}, "passed true  "},
		{"parameters, met", []events.ReleaseAsk{events.AskParameters}, func(s *workplacetest.Scanner) {
			s.Do("parameters", "value", "S1-0304-99") // of another load
			s.Do("parameters", "value", "S1-0304-02")
		}, "passed true met "},
		{"parameters, not met", []events.ReleaseAsk{events.AskParameters}, func(s *workplacetest.Scanner) {
			s.Do("parameters-not", "value", "S1-0304-02")
		}, "failed false  "},
		{"a second look", []events.ReleaseAsk{events.AskSecondLook}, func(s *workplacetest.Scanner) {
			if a := badge(s, "B-1"); !strings.Contains(fmt.Sprint(a), "another person") {
				t.Errorf("one badge twice: %v", a["words"])
			}
			badge(s, "B-2")
		}, "passed true  B-2"},
		{"both", []events.ReleaseAsk{events.AskParameters, events.AskSecondLook}, func(s *workplacetest.Scanner) {
			s.Do("parameters", "value", "S1-0304-02")
			badge(s, "B-2")
		}, "passed true met B-2"},
		{"the indicator", []events.ReleaseAsk{events.AskIndicator}, func(s *workplacetest.Scanner) {
			s.Do("indicator", "load", "S1-0304-02", "result", "negative")
			s.Do("result", "result", "passed", "released", "yes")
		}, "passed true  "},
	} {
		h := workplacetest.NewHouse(t, "VAS-003")
		h.ChangesPolicy(func(p *events.Policy) { p.ReleaseAsks = x.asks })
		s := h.AtSterilizer()
		s.Do("begin", "sterilizer", "S1", "run", "2", "cycle", "c-134")
		s.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003"))
		s.Do("put", "value", "VAS-003") // which was in another load
		s.Do("start")
		h.After(2 * time.Hour)
		badge(s, "B-1")
		before := h.Size()
		a := s.Do("result", "result", "passed", "released", "yes")
		if asked := h.Size() == before; asked != (len(x.asks) > 0) {
			t.Errorf("%s: %d recorded at once: %v", x.name, h.Size()-before, a["words"])
		}
		x.play(s)
		last := h.Last()
		d, ok := last.Data.(*events.SetSterilized)
		if !ok {
			t.Errorf("%s: the last record is %s", x.name, last.Kind())
			continue
		}
		if got := fmt.Sprint(d.Result, " ", d.Released, " ", d.Parameters, " ", d.SecondLook); got != x.want || last.Operator != "B-1" {
			t.Errorf("%s: %q by %s, want %q", x.name, got, last.Operator, x.want)
		}
		if v := h.Verdict("VAS-003", h.Trips["VAS-003"]); d.Released {
			for _, f := range v.Findings {
				if f.Way == "released-without" {
					t.Errorf("%s: found %+v", x.name, f.Detail)
				}
			}
		}
	}
}

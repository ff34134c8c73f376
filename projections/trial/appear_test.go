//go:build !race

package trial

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/simulate"
)

// appeared is an incident of a week, as it was when it was first known.
type appeared struct {
	projections.Incident
	at       time.Time
	code     projections.Code // of what was known first
	acts     bool             // somebody could do something about it, as the board says it
	unopened bool             // and its set was still closed
}

// appearing returns the incidents of a week in the order in which they became known.
func appearing(t *testing.T, c simulate.Config, n int) (out []appeared) {
	t.Helper()
	w, came, end := arrived(t, c, n)
	src := facts.NewMemory(came)
	all := rowsOf(t, w)
	if err := judge.TellKnown(src, end, all); err != nil {
		t.Fatal(err)
	}
	parts := make([]projections.IncidentPart, len(all))
	of := make(map[projections.TripKey]*projections.Verdict)
	for i := range all {
		parts[i] = projections.PartOf(&all[i])
		of[parts[i].TripKey] = &all[i]
	}
	for _, in := range projections.Incidents(parts, projections.Calendar{Now: end}) {
		x := appeared{Incident: in}
		var first projections.TripKey
		var finding *projections.Finding
		for _, m := range in.Members {
			for _, k := range m.Findings {
				if f := &of[m.TripKey].Findings[k]; x.at.IsZero() || f.Known.Before(x.at) {
					x.at, x.code, first, finding = f.Known, f.Code, m.TripKey, f
				}
			}
		}
		then := judge.NewWorld(facts.AsKnownAt(src, x.at))
		then.SetMoment(x.at)
		v, err := then.Judge(first)
		if err != nil {
			t.Fatal(err)
		}
		n := slices.IndexFunc(v.Findings, func(g projections.Finding) bool { return finding.KnownAs(&g) })
		if n < 0 {
			t.Fatalf("%+v: %s is not there at %s", first, x.code, x.at)
		}
		x.unopened = !v.Opened
		x.acts = projections.CanAct(projections.CausesOf(&v)[n].Rank) || in.Habit != nil && x.at.Before(in.Habit.Until)
		out = append(out, x)
	}
	return out
}

// rowsADay is how many new rows a day of a week on average may have, in a house with so many cases in half a week (see
// realistic). A bigger one has more discrepancies, each of them a cause of its own, and more who lead.
const (
	rowsADay   = 8
	usualCases = 71
)

// holdAppeared tells what appeared in a week, and holds how many rows that are a day, and the share of those about which
// somebody could do something then, against what a leader can work with.
func holdAppeared(t *testing.T, name string, all []appeared, atMost float64) {
	t.Helper()
	days, by := make(map[string]int), make(map[string][2]int)
	acts, unopened, most := 0, 0, 0
	for _, x := range all {
		day := x.at.Format("Mon 02")
		days[day]++
		most = max(most, days[day])
		k := x.Kind + "/" + string(x.code)
		n := by[k]
		n[0]++
		if x.acts {
			n[1]++
			acts++
		}
		if x.unopened {
			unopened++
		}
		by[k] = n
	}
	var lines []string
	for _, k := range slices.Sorted(maps.Keys(by)) {
		lines = append(lines, fmt.Sprintf("%4d (%d) %s", by[k][0], by[k][1], k))
	}
	mean := float64(len(all)) / float64(len(days))
	t.Logf("%s: %d incidents, %.1f a day with any, %d at most; %d (%d %%) could be acted on when they appeared, %d before the set "+
		"was opened; by day %v\n%s", name, len(all), mean, most, acts, 100*acts/max(1, len(all)), unopened, days, strings.Join(lines, "\n"))
	if len(all) == 0 || mean > atMost || 2*acts < len(all) {
		t.Errorf("%s: %.1f rows a day, %d of %d could be acted on when they appeared", name, mean, acts, len(all))
	}
}

// TestRowsOfAWeek: of a week of a big hospital at published rates a leader meets no more new rows a day than can be read,
// and half of them are such that somebody can do something when they appear; where everything is read at openings, and where
// no count sheet is and two moves in five are not scanned.
func TestRowsOfAWeek(t *testing.T) {
	for n := range weeksOf(5, 1) {
		c, drill := simulate.Published(), simulate.Drill()
		c.Seed = uint64(n) + 1
		if os.Getenv("LISTBOUND_WEEKS") == "" {
			c.Sets, c.Cases = 100, 18
		}
		most := rowsADay * max(1, float64(c.Cases)/usualCases)
		c.Scan, c.Clock, c.Offline, c.Read = drill.Scan, drill.Clock, drill.Offline, 0
		holdAppeared(t, fmt.Sprintf("seed %d, usual", c.Seed), appearing(t, c, 0), most)
		c.Scan, c.Offline, c.Read = 1, 0, 1
		holdAppeared(t, fmt.Sprintf("seed %d, all read", c.Seed), appearing(t, c, 0), most)
	}
}

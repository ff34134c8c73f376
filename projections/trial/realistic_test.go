//go:build !race

package trial

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/simulate"
)

// realistic is a hospital with about 683 sets packed a week, at the rates that
// were published (Published says by whom): 5 % of openings with the sheet unread,
// 12.8 % of cases with a discrepancy, 1.18 % of packages packed wrong, of which the
// lists can show those with a piece missing. The tag is what an opening begins
// with, so it is always read.
func realistic() simulate.Config {
	c := simulate.Published()
	c.Sets, c.Cases = 400, 71
	c.Read, c.Tag = 0.95, 1
	return c
}

// slips are what people leave out besides: 3 % of second people are not scanned, 1 %
// of final counts are not recorded. Common practice, no source.
func slips(r *rand.Rand, rec *simulate.Record) (kept bool) {
	d, ok := rec.Event.Data.(*events.SetCounted)
	if !ok {
		return true
	}
	if r.Float64() < 0.03 {
		alone := *d
		alone.Witness = ""
		rec.Event.Data = &alone
	}
	return d.Stage != events.StageFinal || r.Float64() >= 0.01
}

// bySheet lets nine in ten first counts be by the paper that lies there, where it
// was not read at the opening: what everybody is advised to do, and how people
// count from paper. Common practice, no source.
func bySheet(r *rand.Rand, week *simulate.Week, rec *simulate.Record) {
	d, ok := rec.Event.Data.(*events.SetCounted)
	if !ok || d.Stage != events.StageFirst || d.Sheet != events.SheetScreen || r.Float64() >= 0.9 {
		return
	}
	for _, t := range week.Trips {
		if t.Set != rec.Event.Subject || t.Case == nil || t.Case.Ref != d.Case || t.Placement == events.Screen {
			continue
		}
		if s := week.On(t, rec.Event.Time); s != nil {
			read := *d
			read.Sheet = s.Code
			rec.Event.Data = &read
		}
	}
}

// rowsOf are the verdicts that ask something of somebody, in the order of lists.
func rowsOf(t *testing.T, w *judge.World) (rows []projections.Verdict) {
	t.Helper()
	for _, k := range w.Trips() {
		v, err := w.Judge(k)
		if err != nil {
			t.Fatal(err)
		}
		if v.Status == projections.Broken || v.Status == projections.Doubtful {
			rows = append(rows, v)
		}
	}
	projections.Sort(rows)
	return rows
}

// most is how many rows a working day may have. Of 48 such weeks two have more, 8.2
// and 8.6; what is left in them is spread over all kinds and says nothing twice.
const most = 8

// TestRealisticWeek counts what a leader is asked to look at: a list that is too
// long is not read.
func TestRealisticWeek(t *testing.T) {
	c := realistic()
	weeks := 4
	if testing.Short() {
		weeks = 1
	}
	for n := range weeks {
		r := rand.New(rand.NewPCG(7, uint64(n)))
		w := judge.NewWorld(nil)
		week := c.Week(n)
		end := time.Time{}
		seq := int64(0)
		for _, rec := range slices.Concat(c.Setup(), week.Records) {
			bySheet(r, week, &rec)
			if seq++; slips(r, &rec) {
				w.Add(facts.Fact{Seq: seq, Recorded: rec.Recorded, Event: rec.Event})
				end = facts.Latest(end, rec.Recorded)
			}
		}
		w.SetMoment(end.Add(24 * time.Hour))
		by := make(map[string]int)
		all := rowsOf(t, w)
		rows := projections.Rows(all)
		for _, row := range rows {
			f := row[0].Findings[0]
			by[fmt.Sprintf("%s/%s/%s", f.Code, f.Way, f.Severity)]++
		}
		var names []string
		for k, n := range by {
			names = append(names, fmt.Sprintf("%3d %s", n, k))
		}
		slices.Sort(names)
		const days = 5
		t.Logf("week %d: %d trips, %d cases, %d sets in %d rows that ask something of somebody, %.1f a working day\n%s",
			n, len(week.Trips), len(week.Cases), len(all), len(rows), float64(len(rows))/days, strings.Join(names, "\n"))
		if len(week.Trips) < 600 || len(rows) > most*days {
			t.Errorf("week %d: %d rows of %d trips, at most %d a day", n, len(rows), len(week.Trips), most)
		}
	}
}

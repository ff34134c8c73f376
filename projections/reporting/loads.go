package reporting

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// loadKey is one run of a load: one that failed and is run again is two.
type loadKey struct {
	load, sterilizer string
	run              int64
	started          string
}

type load struct {
	cycle, result string
	ended         time.Time
	released      bool
	sets          map[string]struct{}
}

func (c *Copy) noteLoads(t Turn) {
	for _, it := range t.Trip.Sterilized {
		d := facts.RunOf(it)
		k := loadKey{d.Load, d.Sterilizer, d.Run, d.Started}
		l := c.loads[k]
		if l == nil {
			l = &load{cycle: d.Cycle, result: d.Result, released: true, sets: make(map[string]struct{})}
			c.loads[k] = l
		}
		l.ended = facts.Latest(l.ended, it.At())
		l.released = l.released && d.Released && d.Result == "passed"
		if d.Result == "failed" {
			l.result = d.Result // one observation of a failure is enough
		}
		l.sets[t.Verdict.Set] = struct{}{}
	}
}

// ReadOf says what was read of a load's biological indicators, and when: positive before all, then negative; unproved where
// nothing else is recorded than a negative result that shows nothing, since the lot's control was negative too.
type ReadOf struct {
	Result string // positive, negative, unproved, "" where nobody read one
	At     time.Time
	Logs   int // how many logs of its runs are recorded
}

// Loads returns the loads that the copy has turns of, for asking what was read of them.
func (c *Copy) Loads() []string {
	names := make(map[string]struct{})
	for k := range c.loads {
		names[k.load] = struct{}{}
	}
	return slices.Sorted(maps.Keys(names))
}

// LoadRead says what the book has of a load's indicators and logs.
func LoadRead(b *facts.Book, name string) (r ReadOf) {
	_, recorded := b.LoadOf(name)
	rank := func(s string) int { return slices.Index([]string{"", "unproved", "negative", "positive"}, s) }
	for _, it := range recorded {
		switch d := it.Data.(type) {
		case *events.RunLogged:
			if !it.Void {
				r.Logs++
			}
		case *events.IndicatorRead:
			result := d.Result
			if d.Unproved() {
				result = "unproved"
			}
			if !it.Void && rank(result) > rank(r.Result) {
				r.Result, r.At = result, it.At()
			}
		}
	}
	return r
}

// Read notes what was read of a load, before Close.
func (c *Copy) Read(name string, r ReadOf) { c.read[name] = r }

func (c *Copy) writeLoads() error {
	keys := slices.SortedFunc(maps.Keys(c.loads), func(a, b loadKey) int {
		return cmp.Or(c.loads[a].ended.Compare(c.loads[b].ended), cmp.Compare(a.load, b.load), cmp.Compare(a.run, b.run),
			cmp.Compare(a.sterilizer, b.sterilizer), cmp.Compare(a.started, b.started))
	})
	for _, k := range keys {
		l := c.loads[k]
		started, _ := time.Parse(time.RFC3339, k.started) // none is recorded of older ones
		r := c.read[k.load]
		if err := c.insert("loads", k.load, k.sterilizer, k.run, said(l.cycle), utc(started), utc(l.ended), c.local(l.ended), l.result,
			truth(l.released), len(l.sets), said(r.Result), utc(r.At), r.Logs); err != nil {
			return err
		}
	}
	return nil
}

type caseRow struct {
	room, station, outcome string
	began, closed          time.Time
	sets, troubled         map[string]struct{}
}

// noteCases notes for each case that a turn was used for what the turn says of it.
func (c *Copy) noteCases(t Turn) {
	for _, use := range t.Trip.Cases {
		if use.Ref == "" {
			continue
		}
		row := c.cases[use.Ref]
		if row == nil {
			row = &caseRow{sets: make(map[string]struct{}), troubled: make(map[string]struct{})}
			c.cases[use.Ref] = row
		}
		row.sets[t.Verdict.Set] = struct{}{}
		if t.Verdict.Status == projections.Broken || t.Verdict.Status == projections.Doubtful {
			row.troubled[t.Verdict.Set] = struct{}{}
		}
		if it := t.Trip.UsedFrom(use.Ref); it != nil && (row.began.IsZero() || it.At().Before(row.began)) {
			row.began, row.station = it.At(), it.Event.Station
			if d, ok := it.Data.(*events.SetOpened); ok {
				row.room = d.Room
			}
		}
		for _, it := range use.Closings {
			if !it.At().Before(row.closed) {
				row.closed, row.outcome = it.At(), it.Data.(*events.CaseClosed).Outcome
			}
		}
	}
}

func (c *Copy) writeCases() error {
	for _, ref := range slices.Sorted(maps.Keys(c.cases)) {
		x := c.cases[ref]
		if err := c.insert("cases", ref, said(x.room), said(x.station), utc(x.began), c.local(x.began), utc(x.closed), said(x.outcome),
			len(x.sets), len(x.troubled)); err != nil {
			return err
		}
	}
	return nil
}

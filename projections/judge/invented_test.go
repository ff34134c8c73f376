package judge

import (
	"fmt"
	"hash/fnv"
	"slices"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"

	"pgregory.net/rapid"
)

// invent draws a small hospital's week: a few sets with twin lists that go
// through several turns, in cases of up to three sets, with everything that
// goes wrong in it: exchanged sheets, steps left out, facts without a trip,
// miscounts, corrections and corrections of corrections, positive indicators,
// policies and list versions that come in the middle, late and doubled records.
func invent(t *rapid.T) []facts.Fact {
	g := &inventor{t: t, s: newStory()}
	sets := []string{"LAP-014", "LAP-022", "EYE-3", "ORT-9"}[:2+g.n(3, "sets")]
	lists := []*events.ListIssued{
		g.s.list("LAP-MAJOR", 1, 6, 2, 4),
		g.s.list("EYE", 1, 6, 2, 4), // the same lines
	}
	if g.rare(3) {
		lists = append(lists, g.s.list("LAP-MAJOR", 2, 6, 3, 4))
	}
	if g.rare(3) {
		g.s.listAt(clock(3*g.n(3, "day"), 6, 12), "LAP-MAJOR", 3, 5, 2, 4)
	}
	if g.rare(3) {
		g.policy(clock(3*g.n(3, "day")+g.n(2, "next"), 7, 15))
	}
	turns := 1 + g.n(3, "turns")
	for n := range turns {
		g.round(sets, lists, n)
	}
	if g.rare(2) {
		g.plant()
	}
	if g.rare(4) {
		g.crowd(sets[0], lists[g.n(len(lists), "list")])
	}
	g.indicators(turns)
	g.mistakes()
	return g.s.all
}

// plant lets a few more sets go through what findingTests plants, so that every
// finding with a case there is held by all that is asked of invented weeks.
func (g *inventor) plant() {
	for n := range 2 + g.n(3, "planted") {
		// Draws prefer small numbers, and the same ones again: so the cases are scattered over several of them.
		h := fnv.New32a()
		h.Write(rapid.SliceOfN(rapid.Byte(), 6, 6).Draw(g.t, "case"))
		test := findingTests[int(h.Sum32()>>1)%len(findingTests)]
		test.with(g.s, newTurn(fmt.Sprintf("MIN-%03d", n+1), 0, g.s.list("MIN", 1, 6, 2, 4)))
	}
}

// crowd packs a set far more often than the rounds do, also at two benches at one moment, and tells of it between them what
// names a turn of then, one of another time, or none. So what is wrong with one turn stands behind many others.
func (g *inventor) crowd(set string, l *events.ListIssued) {
	const first = 20 // the rounds have those before
	packings := 3 + g.n(6, "packings")
	at := func() time.Time { return clock(g.n(10, "day"), 6+g.n(3, "hour"), 30*g.n(2, "half")) }
	some := func() string {
		if i := g.n(packings+2, "which"); i >= 2 {
			return tripOf(set, first+i-2)
		} else if i == 1 {
			return tripOf(set, g.n(3, "turn"))
		}
		return ""
	}
	for n := range packings {
		x := newTurn(set, first+n, l)
		g.s.tell([]string{"packing-1", "packing-2"}[g.n(2, "bench")], at(), set, x.trip(), x.pack)
		switch g.n(9, "between") {
		case 0:
			g.s.tell("storage", at(), set, some(), &events.SetChecked{Place: "storage A4"})
		case 1:
			g.s.tell("cart", at(), set, some(), &events.SetChecked{Sheet: x.check.Sheet})
		case 2:
			g.s.tell("or-3", at(), set, some(), x.open)
		case 3:
			g.s.tell("or-3", at(), set, some(), x.final)
		case 4:
			g.s.tell("sterilizer-2", at(), set, some(), x.run)
		case 5:
			g.s.tell("washing", at(), set, some(), &events.SetReturned{Step: events.ReturnReceived})
		case 6:
			g.s.tell("washing", at(), set, some(),
				&events.SetReturned{Step: events.ReturnWashed, Faults: []events.ReturnFault{events.ReturnSoiled}})
		case 7:
			g.s.tell("storage", at(), set, some(), &events.SetReturned{Step: events.ReturnArrived, Supplier: "Lender",
				Due: clock(40, 0, 0).Format(time.RFC3339), List: l.List, Version: l.Version,
				Exceptions: []events.Exception{{Line: 1, Counted: 5}}})
		}
	}
}

type inventor struct {
	t *rapid.T
	s *story
}

// n draws 0 <= n < end.
func (g *inventor) n(end int, what string) int { return rapid.IntRange(0, end-1).Draw(g.t, what) }

// rare is true once in so many times.
func (g *inventor) rare(once int) bool { return g.n(once, "rare") == once-1 }

func (g *inventor) policy(at time.Time) {
	p := events.DefaultPolicy()
	switch g.n(6, "policy") {
	case 0:
		p.Recall = events.RecallAll
	case 1:
		p.TwoPersons, p.Stages = false, []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal}
	case 2:
		p.MayStayUnread = []events.Placement{events.Screen, events.Outside}
	case 3:
		p.Links = []events.Kind{events.KindSetPacked, events.KindListSealed, events.KindSetOpened, events.KindSetCounted}
	case 5:
		p.Waits = events.Waits{Run: 1, Release: 2, Indicator: 30, Seen: 24, Count: 2, Close: 1}
	case 4:
		p.MinimumTravelSeconds, p.ClockToleranceSeconds = 7200, 0
	}
	g.s.tell("ledger", at, "north", "", &events.PolicyAdopted{Policy: p})
}

// round lets every set go through a turn; some share a case.
func (g *inventor) round(sets []string, lists []*events.ListIssued, n int) {
	var turns []*turn
	for i, set := range sets {
		x := newTurn(set, n, lists[g.n(len(lists), "list")])
		if i > 0 && g.rare(2) {
			x.forCase(turns[0].ref)
		}
		turns = append(turns, x)
	}
	if g.rare(2) { // sheets go round between some of the sets
		k := 2 + g.n(len(turns)-1, "ring")
		for i := range k {
			code := own(turns[(i+1)%k])
			if g.rare(4) { // not all of them are found out
				continue
			}
			turns[i].open.Sheet.Code = code
			if g.rare(2) {
				turns[i].check.Sheet.Code = code
			}
		}
	}
	if x := turns[1]; x.ref == turns[0].ref && x.list.List == turns[0].list.List && g.rare(2) { // a piece lies in the other set
		turns[0].final.Counts[0].Counted--
		x.final.Counts[0].Counted++
	}
	for _, x := range turns {
		if g.rare(2) {
			g.spoil(x, sets, n)
		}
		g.live(x)
	}
}

// spoil puts faults into a turn.
func (g *inventor) spoil(x *turn, sets []string, n int) {
	for range 1 + g.n(3, "faults") {
		switch g.n(27, "fault") {
		case 0:
			x.pack = nil
		case 1:
			x.seal = nil
		case 2:
			x.run = nil
		case 3:
			x.check = nil
		case 4:
			x.open = nil
		case 5:
			x.first = nil
		case 6:
			x.final = nil
		case 7:
			x.closed = nil
		case 8:
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
		case 9:
			there(x.first).Counts[g.n(3, "line")].Counted += int64(g.n(3, "off") - 1)
		case 10:
			there(x.final).Counts[g.n(3, "line")].Counted += int64(g.n(3, "off") - 1)
		case 11:
			there(x.final).Counts[g.n(3, "line")].Counted--
		case 12:
			there(x.final).Removed = []events.Removed{{Line: 1, Quantity: 1, Reason: "dropped"}}
		case 13:
			there(x.first).Witness = ""
		case 14:
			if x.open != nil {
				x.open.Tag = append([]string{""}, sets...)[g.n(len(sets)+1, "tag")]
			}
		case 15:
			if x.open != nil {
				x.open.OuterLabel = sets[g.n(len(sets), "label")]
			}
		case 16:
			if x.open != nil {
				x.open.Sheet = []*events.Reading{nil, {Found: "none"}, {Found: "outside", Unreadable: true},
					{Found: "inside-bag"}}[g.n(4, "reading")]
			}
		case 17:
			if x.check != nil {
				x.check.Sheet = &events.Reading{Found: "outside", Unreadable: true}
			}
		case 18:
			if x.run != nil {
				x.run.Result, x.run.Released = "failed", false
			}
		case 19:
			if x.seal != nil {
				x.seal.Placement = []events.Placement{events.Screen, events.InsideBag, events.Outside}[g.n(3, "placement")]
			}
		case 20:
			if x.seal != nil {
				x.seal.Binding, x.seal.ListDigest, x.seal.Code = "", "", ""
			}
		case 21:
			if n > 0 && x.open != nil { // the sheet of the turn before
				x.open.Sheet = &events.Reading{Found: "outside", Code: sheetCode(x.list, x.set, tripOf(x.set, n-1))}
			}
		case 22:
			if x.first != nil {
				other := sets[g.n(len(sets), "counted on")]
				x.first.Sheet = sheetCode(x.list, other, tripOf(other, n))
			}
		case 23:
			if x.check != nil {
				x.check.SealBroken = true
			}
		case 24:
			if x.closed != nil {
				x.closed.Outcome = "unreconciled"
			}
		case 26:
			if x.check != nil {
				x.check.Tag = sets[g.n(len(sets), "tag")]
			}
		case 25:
			if x.pack != nil {
				x.pack.Version = 3
			}
		}
	}
}

// there lets a fault be put into a count that was left out.
func there(d *events.SetCounted) *events.SetCounted {
	if d == nil {
		return &events.SetCounted{Counts: make([]events.Count, 3)}
	}
	return d
}

// unaware makes a turn one whose packing nobody knew of until its bench handed in:
// no trip is named, but by the page of the count, which names the one before.
func (g *inventor) unaware(x *turn, from int) {
	for i := from; i < len(g.s.all); i++ {
		e := g.s.all[i].Event
		switch d := e.Data.(type) {
		case *events.SetCounted:
			e.Trip = tripOf(x.set, x.n-1)
			if g.rare(2) {
				screen := *d
				screen.Sheet = events.SheetScreen
				e.Data = &screen
			}
		case *events.SetSterilized, *events.SetChecked, *events.SetOpened:
			e.Trip = ""
		}
	}
}

func (g *inventor) live(x *turn) {
	before := len(g.s.all)
	g.s.live(x)
	if x.n > 0 && g.rare(5) {
		g.unaware(x, before)
	}
	for i := before; i < len(g.s.all); i++ {
		f := &g.s.all[i]
		if f.Event.Kind().AboutSet() && g.rare(12) && f.Event.Kind() != events.KindSetPacked {
			f.Event.Trip = "" // recorded without its trip
		}
		if g.rare(25) { // some minutes off
			f.Event.Time = f.Event.Time.Add(time.Duration(g.n(41, "minutes")-20) * 10 * time.Minute)
			f.Event.ID = derivedID(f.Event.Time, "moved "+f.Event.ID)
		}
	}
	if g.rare(6) { // a further look, somewhere
		set := x.set
		r := &events.Reading{Found: "outside", Code: own(x)}
		if g.rare(3) {
			r.Code = sheetCode(x.list, "LAP-022", tripOf("LAP-022", x.n))
		}
		trip := x.trip()
		if g.rare(3) {
			trip = ""
		}
		g.s.tell("cart", clock(x.day+g.n(3, "day"), 6+g.n(8, "hour"), 30), set, trip, &events.SetChecked{Sheet: r})
	}
	if g.rare(8) && x.first != nil {
		stage := []events.Stage{events.StageAdded, events.StageCavity, events.StageClosing, events.StageRelief,
			events.StageFirst}[g.n(5, "stage")]
		g.s.count(x, stage, 7+g.n(3, "hour"), 25, events.Count{Line: int64(1 + g.n(4, "line")), Counted: int64(g.n(7, "count"))})
	}
	if g.rare(12) { // the tag read after the opening
		g.s.tell("or-3", x.openedAt().Add(time.Duration(g.n(2, "late")*31)*time.Minute), x.set, x.trip(),
			&events.SetChecked{Tag: "LAP-022"})
	}
	if g.rare(12) { // the trip was typed at another set
		g.s.tell("storage", x.checkedAt().Add(time.Hour), "LAP-022", x.trip(), &events.SetChecked{Place: "storage B1"})
	}
	if g.rare(12) {
		g.s.tell("or-3", x.closedAt().Add(time.Hour), x.set, x.trip(),
			&events.FindingAcknowledged{Code: string(projections.Codes()[g.n(len(projections.Codes()), "code")]), Reason: "seen"})
	}
	if g.rare(12) {
		g.s.tell("or-3", x.closedAt().Add(time.Hour), x.set, x.trip(), &events.IncidentHandled{
			Code: string(projections.Codes()[g.n(len(projections.Codes()), "handled")]), Step: events.IncidentNoted, Text: "asked"})
	}
	if g.rare(20) {
		g.s.tell("or-3", x.closedAt(), x.set, x.trip(), &events.Unknown{Type: "listbound.set.weighed.v1"}).Remarks = events.RemarkUnknown
	}
}

// indicators of the sterilizer: a load on each day that sets were run, and
// others between.
func (g *inventor) indicators(turns int) {
	bad := g.rare(2)
	for n := range turns {
		for k, load := range []string{fmt.Sprintf("S2-%02d-04", 3*n), fmt.Sprintf("S2-%02d-05", 3*n)} {
			if g.rare(3) {
				continue
			}
			result := "negative"
			if bad && g.rare(3) {
				result = "positive"
			}
			late := 0
			if g.rare(3) {
				late = g.n(12, "read late")
			}
			d := g.s.indicator(3*n+1+k+late, load, result).Event.Data.(*events.IndicatorRead)
			if g.rare(4) {
				d.Control = "negative"
			}
			if g.rare(8) {
				g.s.indicator(3*n+2, load, []string{"negative", "positive"}[g.n(2, "again")])
			}
		}
	}
}

// mistakes corrects some facts, and some corrections, doubles a few, and marks
// records as the audit would.
func (g *inventor) mistakes() {
	for range g.n(5, "corrections") {
		f := g.s.all[g.n(len(g.s.all), "corrected")]
		at := clock(g.n(10, "day"), 13, g.n(60, "minute"))
		d := g.replacement(f.Event.Data)
		c := g.s.correct(&f, at, d)
		if g.rare(4) {
			c.Event.Trip = ""
		}
		if d != nil && g.rare(8) {
			c.Event.Data.(*events.EventCorrected).Data = []byte(`{"nobody":"knows"}`)
		}
	}
	for range g.n(2, "doubles") {
		f := g.s.all[g.n(len(g.s.all), "doubled")]
		e := *f.Event
		g.s.seq++
		e.StationSeq = g.s.seq + 1000
		g.s.all = append(g.s.all, facts.Fact{Seq: g.s.seq, Recorded: f.Recorded.Add(time.Hour), Remarks: events.RemarkGap, Event: &e})
	}
	for range g.n(3, "remarks") {
		g.s.all[g.n(len(g.s.all), "marked")].Remarks |= 1 << g.n(6, "remark")
	}
}

// replacement draws data for a correction; nil takes the event back.
func (g *inventor) replacement(d events.Data) events.Data {
	if g.rare(2) {
		return nil
	}
	turn := g.n(3, "turn")
	switch d := d.(type) {
	case *events.SetPacked:
		n := *d
		n.Version = int64(1 + g.n(3, "version"))
		n.List = []string{"LAP-MAJOR", "EYE"}[g.n(2, "list")]
		return &n
	case *events.SetSterilized:
		n := *d
		n.Load, n.Result, n.Released = fmt.Sprintf("S2-%02d-0%d", 3*turn, 4+g.n(2, "load")), "passed", true
		return &n
	case *events.SetOpened:
		n := *d
		n.Case = fmt.Sprintf("K-LAP-014-%d", turn)
		n.Sheet, n.Tag = nil, []string{"", "LAP-014", "LAP-022"}[g.n(3, "tag")]
		return &n
	case *events.SetCounted:
		n := *d
		n.Case = fmt.Sprintf("K-LAP-022-%d", turn)
		return &n
	case *events.SetChecked:
		n := *d
		n.Sheet = &events.Reading{Found: "outside", Code: sheetCode(g.s.lists["EYE1"], "LAP-014", tripOf("LAP-014", turn))}
		n.Tag = []string{"", "LAP-014", "LAP-022"}[g.n(3, "tag")]
		return &n
	case *events.CaseClosed:
		n := *d
		n.Case = fmt.Sprintf("K-LAP-014-%d", turn)
		return &n
	case *events.IndicatorRead:
		n := *d
		n.Result = []string{"negative", "positive"}[g.n(2, "result")]
		return &n
	case *events.EventCorrected:
		n := *d
		n.Reason = "once more"
		return &n
	case *events.ListIssued:
		n := *d
		n.Lines = slices.Clone(d.Lines)
		n.Lines[0].Quantity++
		return &n
	}
	return nil
}

package simulate

import (
	"slices"
	"time"

	"listbound/events"
)

// record takes down what a station observed at a moment, by its own clock.
func (h *house) record(station string, at time.Time, set, trip string, d events.Data, look *Look) *Record {
	o := events.Observation{
		Station: station, Kind: d.Kind(), Time: at.Add(h.clock(station)).Truncate(time.Second), Trip: trip,
		Operator: "B-" + station[len(h.Site)+1:], Data: d,
	}
	if o.Kind.AboutSet() {
		o.Set = set
	}
	e, err := eventOf(&o)
	if err != nil {
		panic(err) // what is observed here is always well formed
	}
	h.numbers[station]++
	e.StationSeq = h.numbers[station]
	h.week.Records = append(h.week.Records, Record{Observation: o, Event: e, Recorded: h.arrival(station, at), Look: look})
	return &h.week.Records[len(h.week.Records)-1]
}

// clock returns by how much a station's clock is wrong this week.
func (h *house) clock(station string) time.Duration {
	d, ok := h.clocks[station]
	if !ok && h.Clock > 0 {
		d = h.between(-h.Clock, h.Clock).Truncate(time.Second)
		h.clocks[station] = d
	}
	return d
}

// arrival returns when a record reaches the ledger: at once, or the next morning
// where the station is offline that day.
func (h *house) arrival(station string, at time.Time) time.Time {
	key := awayKey(station, at)
	away, ok := h.away[key]
	if !ok {
		away = h.chance(h.Offline)
		h.away[key] = away
	}
	if away {
		return at.Truncate(24 * time.Hour).Add(29 * time.Hour)
	}
	return at.Add(time.Second)
}

func awayKey(station string, at time.Time) string { return station + at.Format(" Mon") }

func (h *house) packed(t *Trip, bench string, at time.Time) {
	l := listOf(int(t.List))
	t.Heavy, t.Wet, t.Bare = h.odd(h.Rates.Heavy), h.odd(h.Rates.Wet), h.odd(h.Rates.Bare)
	d := &events.SetPacked{List: l.List, Version: l.Version, WeightGrams: 8400, Exceptions: t.odd}
	if t.Heavy {
		d.WeightGrams = 14200
	}
	if t.List == lookedOver {
		d.SecondLook = "B-1002"
		if t.Alone = h.odd(h.Rates.Alone); t.Alone {
			d.SecondLook = []string{"", "B-" + bench[len(h.Site)+1:]}[h.quality.IntN(2)]
		}
	}
	t.pack = d
	r := h.record(bench, at, t.Set, "", d, nil)
	t.ID = r.Event.Trip
}

func (h *house) sealed(t *Trip, bench string, at time.Time) {
	code := h.seal(t, bench, at, &events.ListSealed{Placement: t.Placement})
	t.label = &Label{Of: t, Moves: []Move{{at, bench, t}}}
	t.Label = t.label
	if t.Placement != events.Screen {
		t.sheet = &Sheet{Of: t, Kind: TrueSheet, Code: code, Moves: []Move{{at, bench, t}}}
		t.Sheet = t.sheet
		h.week.Sheets = append(h.week.Sheets, t.sheet)
	}
}

// seal records that a container was closed, and returns the code of its sheet.
func (h *house) seal(t *Trip, station string, at time.Time, d *events.ListSealed) (code string) {
	l := listOf(int(t.List))
	list, binding, code := bind(l, t)
	r := h.record(station, at, t.Set, "", d, nil)
	// What the ledger adds: the seal commits to list, set and trip.
	r.Event.Trip = t.ID
	r.Event.Data = &events.ListSealed{
		Placement: d.Placement, Seals: d.Seals, List: l.List, Version: l.Version,
		ListDigest: list.String(), Binding: binding.String(), Code: code,
	}
	return code
}

func bind(l *events.ListIssued, t *Trip) (list, binding events.Digest, code string) {
	list, err := l.Digest()
	if err == nil {
		binding, err = events.Binding(list, t.Set, t.ID)
	}
	var c events.SheetCode
	if err == nil {
		c, err = events.NewSheetCode(t.ID, binding)
	}
	if err != nil {
		panic(err) // the lists are ours
	}
	return list, binding, c.String()
}

func codeOf(l *events.ListIssued, t *Trip) string {
	_, _, code := bind(l, t)
	return code
}

// otherList is a set's list with another number in its first line.
func otherList(t *Trip) *events.ListIssued {
	l := listOf(int(t.List))
	l.Lines[0].Quantity++
	return l
}

// look stands before a tray.
func (h *house) look(t *Trip, place string, at time.Time) *Look {
	return &Look{At: at, Place: place, Tray: t, Named: t.label.Of, Sheet: t.sheet, Label: t.label.Of}
}

// reading is what a look at the sheet finds.
func (l *Look) reading() *events.Reading {
	l.ReadSheet = true
	if l.Sheet == nil {
		return &events.Reading{Found: events.FoundNone}
	}
	return &events.Reading{Found: string(l.Tray.Placement), Code: l.Sheet.Code}
}

// checked scans a tray by its label. Only a sheet outside can be read.
func (h *house) checked(t *Trip, station, place string, at time.Time, read bool) {
	l := h.look(t, place, at)
	d := &events.SetChecked{Place: place}
	if read && t.Placement == events.Outside {
		d.Sheet = l.reading()
	}
	h.record(h.station(station), at, l.Named.Set, "", d, l)
	if d.Sheet != nil && h.chance(h.PutRight) {
		h.putRight(t, station, place, at)
	}
}

// aside plans that a tray is put aside on its shelf, and perhaps released again. Only
// one that keeps its label is, so that all is recorded under its name.
func (h *house) aside(t *Trip) {
	if !h.odd(h.Rates.Aside) {
		return
	}
	shelf := t.Stays[len(t.Stays)-1]
	put := shelf.From.Add(20 * time.Minute)
	released := h.odd(0.5)
	check := func(at time.Time, d *events.SetChecked) {
		d.Place = shelf.Place
		h.record(h.apart("hygiene", at), at, t.Set, "", d, h.look(t, shelf.Place, at))
	}
	h.at(put, func(at time.Time) {
		if len(t.Faults) > 0 {
			return
		}
		t.Aside = AsideUsed
		check(at, &events.SetChecked{Aside: events.AsidePut, Reason: "suspected to be unsterile"})
		if released {
			t.Aside = AsideReleased
			h.at(at.Add(10*time.Minute), func(at time.Time) {
				check(at, &events.SetChecked{Aside: events.AsideReleased, Reason: "looked at, and sound"})
			})
		}
	})
}

// shut plans what is done to a closed set on its shelf, if anything: its sheet, which lies inside, is read
// as if it were in the hand, the container is closed again, or a sheet for its holder only printed again. It is
// done to sets that nothing else happens to.
func (h *house) shut(t *Trip) {
	p, r, kind := h.closing.Float64(), h.Rates, Shut("")
	switch {
	case p < r.InHand && t.Inside():
		kind = ShutInHand
	case p >= r.InHand && p < r.InHand+r.Again && t.Inside():
		kind = ShutInside
	case p >= r.InHand && p < r.InHand+r.Again:
		kind = ShutLocks
	case p >= r.InHand+r.Again && p < r.InHand+2*r.Again && !t.Inside():
		kind = ShutPrinted
	}
	if kind == "" {
		return
	}
	shelf := t.Stays[len(t.Stays)-1]
	h.at(shelf.From.Add(25*time.Minute), func(at time.Time) {
		if len(t.Faults) > 0 || t.Anew != "" {
			return
		}
		t.Shut = kind
		station := h.apart("desk", at)
		if kind == ShutInHand {
			l := h.look(t, shelf.Place, at)
			d := &events.SetChecked{Place: shelf.Place, Sheet: l.reading()}
			h.record(station, at, t.Set, "", d, l)
			return
		}
		again := &events.ListSealed{Placement: t.Placement}
		if kind == ShutLocks {
			again.Seals = []string{"L-" + t.Set}
		}
		h.seal(t, station, at, again)
	})
}

// packAnew plans that a set is packed and closed anew while the load that it was put into runs: it was taken
// out again, and stayed in the load's list. It is done in the first half of a week, to sets that nothing else
// happens to.
func (h *house) packAnew(t *Trip, in time.Time) {
	if p := h.closing.Float64(); p >= h.Rates.Anew || t.Before != nil || t.List == implants {
		return
	}
	kind, at := anews[h.closing.IntN(len(anews))], in.Add(time.Duration(5+h.closing.IntN(50))*time.Minute)
	h.at(at, func(at time.Time) {
		if len(t.Faults) > 0 {
			return
		}
		bench := t.Stays[0].Place
		t.Anew, t.former, t.Packed = kind, t.ID, at
		t.takeOut(bench, at)
		h.lay(t.sheet, nil, bench, at)
		t.ID = h.record(bench, at, t.Set, "", t.pack, nil).Event.Trip
		h.at(at.Add(3*time.Minute), func(at time.Time) {
			t.Sealed = at
			h.sealed(t, bench, at)
		})
	})
}

// takeOut puts a tray onto a bench while it was to be in its load, and then onto a trolley until the load is unloaded.
func (t *Trip) takeOut(bench string, at time.Time) {
	i := slices.IndexFunc(t.Stays, func(s Stay) bool { return !s.From.After(at) && s.To.After(at) })
	was := t.Stays[i]
	from, to := at.Add(-3*time.Minute), at.Add(8*time.Minute)
	t.Stays = slices.Replace(t.Stays, i, i+1, Stay{Place: was.Place, From: was.From, To: from},
		Stay{Place: "trolley to " + bench, From: from, To: at, Hidden: true}, Stay{Place: bench, From: at, To: to},
		Stay{Place: "trolley from " + bench, From: to, To: was.To, Hidden: true})
}

// ended records how a load ended for one set of it. Of one that was packed anew since, it is recorded of the turn that
// it was put in with, or of nobody knows which; and it may be run again.
func (h *house) ended(t *Trip, station string, at time.Time, run *events.SetSterilized) {
	former := ""
	if t.Anew == AnewNamed {
		former = t.former
	}
	h.record(station, at, t.label.Of.Set, former, run, nil)
	if t.Anew != AnewRun {
		return
	}
	again := *run
	// In a machine of its own: the other one may have been started with its next load then.
	again.Load, again.Sterilizer, again.Run = run.Load+"-again", run.Sterilizer+"-again", run.Run+1000
	h.at(at.Add(3*time.Hour), func(at time.Time) {
		again.Started = h.stamp(station, at.Add(-75*time.Minute))
		h.record(station, at, t.Set, "", &again, nil)
	})
}

// stamp is a moment by a station's clock, as it is written.
func (h *house) stamp(station string, at time.Time) string {
	return at.Add(h.clock(station)).Truncate(time.Second).Format(time.RFC3339)
}

// putRight gives a tray its own sheet back where that lies with a set beside it,
// and reads both again. What lay there instead goes to the set beside it if it is
// that one's, and is put aside if not.
func (h *house) putRight(t *Trip, station, place string, at time.Time) {
	if t.label.Of != t || t.sheet == t.Sheet {
		return
	}
	m := LastMove(t.Sheet.Moves, at)
	if m == nil || m.To == nil || m.To == t {
		return
	}
	x := m.To
	soon := at.Add(4 * time.Minute)
	if x.label.Of != x || x.At(soon) != place || t.At(soon) != place || !soon.Before(t.Opened) || !soon.Before(x.Opened) {
		return
	}
	h.at(at.Add(time.Minute), func(at time.Time) {
		if x.sheet != t.Sheet {
			return
		}
		other := t.sheet
		h.lay(x.sheet, t, place, at)
		x.sheet = nil
		if other == x.Sheet {
			h.lay(other, x, place, at)
		} else {
			h.lay(other, nil, place, at)
		}
	})
	h.at(at.Add(2*time.Minute), func(at time.Time) { h.checked(t, station, place, at, true) })
	h.at(at.Add(3*time.Minute), func(at time.Time) { h.checked(x, station, place, at, true) })
}

// opened opens a tray for a case. It is recorded under the name on the tag, or
// under that on the label where nobody read the tag or everybody scans the label first.
func (h *house) opened(t *Trip, c *Case, at time.Time) {
	l := h.look(t, c.Room, at)
	l.Opening = true
	d := &events.SetOpened{Case: c.Ref, Indicator: "pass"}
	if t.Wet {
		d.Package = []events.PackageFault{events.PackageWet}
	}
	if t.Bare {
		d.Indicator = "none"
	}
	if l.ReadTag = h.chance(h.Tag); l.ReadTag {
		d.Tag, d.OuterLabel, l.ReadLabel = t.Set, l.Label.Set, true
		if h.chance(0.5) {
			l.Named = t
		}
	}
	t.code = events.SheetScreen
	if t.Placement != events.Screen && h.chance(h.Read) {
		d.Sheet = l.reading()
		if l.Sheet != nil {
			t.code = l.Sheet.Code
		}
	}
	t.named = l.Named
	h.record(c.Room, at, l.Named.Set, "", d, l)
}

// counted counts what is in a tray by the list of the set that it is taken for.
func (h *house) counted(t *Trip, c *Case, stage events.Stage, at time.Time) {
	d := &events.SetCounted{Case: c.Ref, Stage: stage, Sheet: t.code, Counter: "B-2001", Witness: "B-2002"}
	lines := listOf(int(t.named.List)).Lines
	for i, x := range lines {
		n := int64(0)
		if i < len(t.pieces) {
			n = t.pieces[i]
		}
		for _, f := range c.Faults {
			switch final := stage == events.StageFinal; {
			case f.Kind == Misplaced && final && i == 0 && t == f.Trips[0]:
				n--
			case f.Kind == Misplaced && final && i == 0 && t == f.Trips[1]:
				n++
			case f.Kind == Miscounted && !final && i == f.line && t == f.Trips[0]:
				n--
			case f.Kind == LineOmitted && final && i == f.line && t == f.Trips[0]:
				n = -1
			}
		}
		if n >= 0 {
			d.Counts = append(d.Counts, events.Count{Line: x.Line, Counted: n})
		}
	}
	h.record(c.Room, at, t.named.Set, "", d, nil)
}

func (h *house) closed(c *Case, at time.Time) {
	if c.has(NeverClosed) != nil {
		return
	}
	c.Closed = at
	h.record(c.Room, at, "", "", &events.CaseClosed{Case: c.Ref, Outcome: "reconciled", Actions: []string{}}, nil)
}

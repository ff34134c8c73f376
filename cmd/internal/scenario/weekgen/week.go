package main

import (
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// workBegins is when the first set is packed; what is set up before stands in
// a file of its own.
var workBegins = monday.Add(10 * time.Minute)

// kind is a kind of set, with the versions of its list.
type kind struct {
	index    int
	versions []*version
}

type version struct {
	events.ListIssued
	from   time.Time
	digest events.Digest
}

// set is one physical set.
type set struct {
	id        string
	kind      *kind
	placement events.Placement
	trips     []*trip
	lastUse   int // day of the plan on which it was last used, for the rotation
	odd       []oddLine
}

// oddLine is a line of which a set does not have as many pieces as its list says, until
// somebody sets that right: by is how many more.
type oddLine struct {
	item   string
	by     int64
	reason string
}

// trip is one turn of a set.
type trip struct {
	set   *set
	n     int
	id    string
	use   *operation // nil: stays on the shelf
	ready time.Time  // clean and ready for packing
	list  *version
	what  twist
	other *trip
	item  string
	bare  bool // its later lines leave the trip out

	exceptions []events.Exception
	packed     map[int64]int64 // by line
	seals      []string
	code       string
	packedAt   time.Time
	sealedAt   time.Time
	sterile    time.Time
	stored     time.Time
	load       string
	packer     string // badge
	packing    string // station
}

// operation is a case with its sets and times.
type operation struct {
	aCase
	trips   []*trip
	opened  time.Time // the first set
	cut     time.Time
	end     time.Time
	station string
	scrub   string
	runner  string // the circulating person
}

// week is the plan being carried out.
type week struct {
	book
	kinds  []*kind
	sets   []*set
	byID   map[string]*set
	ops    []*operation
	nSeals int
}

// generate carries the plan out and returns the files.
func generate() ([]file, error) {
	w := &week{byID: make(map[string]*set)}
	for _, step := range []func() error{
		w.makeKinds, w.start, w.allocate, w.makeTrips, w.twists,
		w.pack, w.sterilize, w.store, w.operate, w.between, w.comeBack, w.finish,
	} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return w.files()
}

func (w *week) makeKinds() error {
	items, err := readCatalogue()
	if err != nil {
		return err
	}
	for i, k := range kinds {
		lines, err := readLines(items, k.lines)
		if err != nil {
			return fmt.Errorf("%s: %w", k.list, err)
		}
		v := &version{ListIssued: events.ListIssued{List: k.list, Version: k.version, Title: k.title, Lines: lines,
			Cycles: k.cycles, HighRisk: k.list == highRisk},
			from: monday.Add(5*time.Minute + seconds(10*i))}
		kd := &kind{index: i, versions: []*version{v}}
		if k.list == revision.list {
			r := &version{ListIssued: v.ListIssued, from: clock(monday.AddDate(0, 0, revision.day), revision.at)}
			r.Version++
			r.Lines = slices.Clone(lines)
			for j := range r.Lines {
				if q, ok := revision.lines[r.Lines[j].Item]; ok {
					r.Lines[j].Quantity = q
				}
			}
			more, err := readLines(items, revision.added)
			if err != nil {
				return fmt.Errorf("revision: %w", err)
			}
			for _, l := range more {
				l.Line = int64(len(r.Lines) + 1)
				r.Lines = append(r.Lines, l)
			}
			kd.versions = append(kd.versions, r)
		}
		for _, v := range kd.versions {
			if v.digest, err = v.Digest(); err != nil {
				return err
			}
		}
		w.kinds = append(w.kinds, kd)
		for n := range k.count {
			s := &set{id: fmt.Sprintf("%s-%03d", k.sets, n+1), kind: kd, lastUse: -1,
				placement: events.Placement(k.placements[min(n, len(k.placements)-1)])}
			w.sets = append(w.sets, s)
			w.byID[s.id] = s
		}
	}
	return nil
}

// office is where lists are issued and findings acknowledged.
const (
	office  = site + "/office"
	manager = "B-1001"
)

// start writes what is set up before work begins, and the one revision later.
func (w *week) start() error {
	p := events.DefaultPolicy()
	p.Stages = []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal}
	for i, station := range ownKeys {
		_, key, err := demoKey(station, "own")
		if err != nil {
			return err
		}
		if _, err := w.write(monday.Add(seconds(i)),
			observation{Station: events.LedgerName(site), Kind: events.KindStationEnrolled,
				Data: events.StationEnrolled{Station: station, Key: key,
					Reason: "keeps its own key (a demo key, made from a fixed seed)"}}); err != nil {
			return err
		}
	}
	if _, err := w.write(monday.Add(time.Minute),
		observation{Station: office, Kind: events.KindPolicyAdopted, Operator: manager,
			Data: events.PolicyAdopted{Policy: p,
				Reason: "a closing count as well as the first and the final one"}}); err != nil {
		return err
	}
	if _, err := w.write(monday.Add(4*time.Minute), observation{Station: office, Kind: events.KindListIssued, Operator: manager,
		Data: goodsList()}); err != nil {
		return err
	}
	for _, k := range w.kinds {
		for _, v := range k.versions {
			if _, err := w.write(v.from, observation{Station: office, Kind: events.KindListIssued, Operator: manager,
				Data: v.ListIssued}); err != nil {
				return err
			}
		}
	}
	return nil
}

// allocate gives each case its sets: the named ones first, then by rotation.
func (w *week) allocate() error {
	for i := range cases {
		c := &cases[i]
		day := monday.AddDate(0, 0, c.day)
		op := &operation{aCase: *c, cut: clock(day, c.start), station: fmt.Sprintf("%s/or-%d", site, c.room),
			scrub: fmt.Sprintf("B-33%d%d", c.room, c.day+1), runner: fmt.Sprintf("B-34%d%d", c.room, c.day+1)}
		op.opened = op.cut.Add(-20 * time.Minute)
		op.end = op.cut.Add(time.Duration(c.minutes) * time.Minute)
		w.ops = append(w.ops, op)
	}
	for day := range dayNames {
		taken := make(map[string]bool)
		for id := range strings.FieldsSeq(held[day]) {
			taken[id] = true
		}
		for _, op := range w.ops {
			for id := range strings.FieldsSeq(op.sets) {
				if op.day != day || !strings.Contains(id, "-") {
					continue
				}
				if taken[id] || w.byID[id] == nil {
					return fmt.Errorf("%s: %s is not to be had on day %d", op.ref, id, day)
				}
				taken[id] = true
			}
		}
		for _, op := range w.ops {
			if op.day != day {
				continue
			}
			for id := range strings.FieldsSeq(op.sets) {
				s := w.byID[id]
				if s == nil {
					s = w.rested(id, taken)
				}
				if s == nil {
					return fmt.Errorf("%s: no %s is left on day %d", op.ref, id, day)
				}
				taken[s.id] = true
				s.lastUse = day
				s.trips = append(s.trips, &trip{set: s, n: len(s.trips), use: op})
			}
		}
	}
	return nil
}

// rested returns the set of a kind that has gone unused longest.
func (w *week) rested(prefix string, taken map[string]bool) *set {
	var best *set
	for _, s := range w.sets {
		if kinds[s.kind.index].sets == prefix && !taken[s.id] && (best == nil || s.lastUse < best.lastUse) {
			best = s
		}
	}
	return best
}

// makeTrips completes each set's trips: the last one is packed after the last
// use and stays on the shelf.
func (w *week) makeTrips() error {
	for _, s := range w.sets {
		s.trips = append(s.trips, &trip{set: s, n: len(s.trips)})
		for i, t := range s.trips {
			t.ready = workBegins
			if i > 0 {
				t.ready = s.trips[i-1].use.end.Add(3*time.Hour + seconds(draw(900, "washing", s.id, fmt.Sprint(i))))
			}
			if t.use != nil {
				t.use.trips = append(t.use.trips, t)
			}
			t.bare = draw(5, "trip left out", s.id, fmt.Sprint(i)) == 0
		}
	}
	for _, op := range w.ops { // in the order of the plan, not of the sets
		slices.SortStableFunc(op.trips, func(a, b *trip) int { return cmp.Compare(a.set.id, b.set.id) })
	}
	return nil
}

// find returns the trip of SET@CASE, or of SET@shelf.
func (w *week) find(name string) (*trip, error) {
	id, ref, _ := strings.Cut(name, "@")
	if s := w.byID[id]; s != nil {
		for _, t := range s.trips {
			if t.use == nil && ref == shelf || t.use != nil && t.use.ref == ref {
				return t, nil
			}
		}
	}
	return nil, fmt.Errorf("the plan has no trip %s", name)
}

func (w *week) twists() error {
	for _, p := range planned {
		t, err := w.find(p.set + "@" + p.ref)
		if err != nil {
			return err
		}
		if t.what != none {
			return fmt.Errorf("%s@%s is planned twice", p.set, p.ref)
		}
		t.what, t.item, t.bare = p.what, p.item, false
		if p.other != "" {
			if t.other, err = w.find(p.other); err != nil {
				return err
			}
		}
	}
	return nil
}

// about starts an observation of a trip.
func (t *trip) about(station string, k events.Kind, operator string, data any) observation {
	o := observation{Station: station, Kind: k, Set: t.set.id, Trip: t.id, Operator: operator, Data: data}
	if t.bare && !slices.Contains(ownKeys, station) && station != offline.station {
		o.Trip = ""
	}
	return o
}

func (t *trip) draw(n int, word string) int { return draw(n, word, t.set.id, fmt.Sprint(t.n)) }

func (t *trip) place() string { return "sterile storage " + kinds[t.set.kind.index].bay }

func (t *trip) pool() string {
	switch kinds[t.set.kind.index].list {
	case "ORT-LARGE":
		return "S3"
	case "LSC-BASIC":
		return "S4"
	}
	return "S1 S2"
}

// pack carries out packing and sealing at four stations.
func (w *week) pack() error {
	var jobs []*trip
	for _, s := range w.sets {
		jobs = append(jobs, s.trips...)
	}
	slices.SortStableFunc(jobs, func(a, b *trip) int {
		// What is needed first is packed first; the shelf comes last.
		need := func(t *trip) int64 {
			if t.use == nil {
				return 1 << 62
			}
			return t.use.opened.Unix()
		}
		return cmp.Or(a.ready.Compare(b.ready), cmp.Compare(need(a), need(b)))
	})
	free := make([]time.Time, 4)
	for _, t := range jobs {
		at := 0
		for i := range free {
			if free[i].Before(free[at]) {
				at = i
			}
		}
		begin := t.ready
		if free[at].After(begin) {
			begin = free[at]
		}
		t.packing = fmt.Sprintf("%s/packing-%d", site, at+1)
		t.packedAt = begin.Add(7*time.Minute + seconds(t.draw(240, "packing time")))
		t.packer = fmt.Sprintf("B-11%d%d", at+1, t.packedAt.Hour()/8+1)
		if err := w.packOne(t); err != nil {
			return err
		}
		free[at] = t.sealedAt.Add(40 * time.Second)
		if t.what == sealedLate {
			continue // the seal follows when the load has been released
		}
		if err := w.seal(t); err != nil {
			return err
		}
	}
	return nil
}

func (w *week) packOne(t *trip) error {
	for _, v := range t.set.kind.versions {
		if !v.from.After(t.packedAt) && (t.list == nil || t.what != oldVersion) {
			t.list = v
		}
	}
	t.packed = make(map[int64]int64)
	var pieces int64
	for _, l := range t.list.Lines {
		t.packed[l.Line] = l.Quantity
		pieces += l.Quantity
	}
	if err := t.packExceptions(); err != nil {
		return err
	}
	grams := 2100 + 50*pieces + int64(t.draw(9, "weight"))*100
	if limit := events.DefaultPolicy().WeightLimitGrams / 100 * 100; t.what == tooHeavy {
		grams = limit + 600
	} else {
		grams = min(grams, limit) // what would be more goes into a set of its own
	}
	data := struct {
		List       string             `json:"list"`
		Version    int64              `json:"version"`
		Exceptions []events.Exception `json:"exceptions,omitempty"`
		WeightKg   json.Number        `json:"weightKg"`
		Note       string             `json:"note,omitempty"`
	}{List: t.list.List, Version: t.list.Version, Exceptions: t.exceptions,
		WeightKg: json.Number(fmt.Sprintf("%d.%d", grams/1000, grams%1000/100))}
	if t.what == tooHeavy {
		data.Note = "heavy: two people to carry"
	}
	own := t.draw(6, "starts its own trip") == 0
	if !own {
		t.id = events.DerivedID(t.packedAt, sha256.Sum256([]byte("trip\n"+seed+"\n"+t.set.id+"\n"+fmt.Sprint(t.n))))
	}
	o := t.about(t.packing, events.KindSetPacked, t.packer, data)
	o.Trip = t.id
	e, err := w.write(t.packedAt, o)
	if err != nil {
		return err
	}
	if own {
		if t.id, err = e.parsed.NewTrip(); err != nil {
			return err
		}
	}
	t.sealedAt = t.packedAt.Add(2*time.Minute + seconds(t.draw(90, "sealing time")))
	t.code, err = sheetCode(t.list.digest, t.set.id, t.id)
	return err
}

// packExceptions packs a set with what it lacks, and with what stands in for that. What a
// set lacks it lacks at its next packing too, unless it was replaced meanwhile: nothing
// comes and goes by itself. To a set with a plan nothing else happens.
func (t *trip) packExceptions() error {
	s := t.set
	switch {
	case t.what != none:
		s.odd = nil
		switch t.what {
		case packedShort, toRepair, foundLater:
			s.odd = []oddLine{{t.item, -1, events.ReasonMissing}}
		case packedOver:
			s.odd = []oddLine{{t.item, +1, events.ReasonAdded}}
		case inRepair:
			s.odd = []oddLine{{t.item, -1, events.ReasonRepair}}
		}
	case t.n == 0:
		t.drawOdd()
	case t.draw(2, "replaced") == 0:
		s.odd = nil
	}
	for _, x := range s.odd {
		n, err := t.line(x.item)
		if err != nil {
			return err
		}
		t.packed[n] += x.by
		t.exceptions = append(t.exceptions, events.Exception{Line: n, Counted: t.packed[n], Reason: x.reason})
	}
	return nil
}

// drawOdd lets a set lack a piece from the beginning now and then, or have another in its place.
func (t *trip) drawOdd() {
	var many []events.Line // with pieces to spare
	for _, l := range t.list.Lines {
		if l.Quantity >= 2 {
			many = append(many, l)
		}
	}
	i := t.draw(len(many)-1, "excepted line")
	switch t.draw(14, "exceptions") {
	case 0:
		t.set.odd = []oddLine{{many[i].Item, -1, events.ReasonMissing}}
	case 1:
		for many[i].Item[:4] != many[i+1].Item[:4] { // another of its family takes its place
			i = (i + 1) % (len(many) - 1)
		}
		t.set.odd = []oddLine{{many[i].Item, -1, events.ReasonMissing}, {many[i+1].Item, +1, events.ReasonSubstituted}}
	}
}

func sheetCode(list events.Digest, set, trip string) (string, error) {
	b, err := events.Binding(list, set, trip)
	if err != nil {
		return "", err
	}
	c, err := events.NewSheetCode(trip, b)
	return c.String(), err
}

func (w *week) seal(t *trip) error {
	if t.what == notSealed {
		return nil
	}
	d := events.ListSealed{Placement: t.set.placement}
	switch t.set.placement {
	case events.InsideBag:
		d.BagLot = "PB-2604"
	case events.Outside: // a container, closed with two numbered seals
		for range 2 {
			w.nSeals++
			t.seals = append(t.seals, fmt.Sprint(480000+7*w.nSeals))
		}
		d.Seals = t.seals
	}
	_, err := w.write(t.sealedAt, t.about(t.packing, events.KindListSealed, t.packer, d))
	return err
}

// batch is a load being put together.
type batch struct {
	trips []*trip
	cycle string
	pool  string
	ready time.Time // when its last set was ready
	alone bool
}

const (
	cycleTime = 62 * time.Minute
	turnover  = 14 * time.Minute
)

// sterilize carries out the loads, and reads their biological indicators on
// the next day: of the day's first load in the two large sterilizers, of every
// load in the two small ones.
func (w *week) sterilize() error {
	free := make(map[string]time.Time)
	runs := make(map[string]int64) // sterilizer and day
	for _, b := range w.batches() {
		in := ""
		for s := range strings.FieldsSeq(b.pool) {
			if in == "" || free[s].Before(free[in]) {
				in = s
			}
		}
		begin := b.ready.Add(4 * time.Minute)
		if free[in].After(begin) {
			begin = free[in]
		}
		day := begin.Format("0102")
		runs[in+day]++
		run := runs[in+day]
		load := fmt.Sprintf("%s-%s-%02d", in, day, run)
		station := site + "/sterilizer-" + in[1:]
		badge := fmt.Sprintf("B-20%s%d", in[1:], begin.Hour()/8+1)
		free[in] = begin.Add(cycleTime + turnover)
		for i, t := range b.trips {
			t.load = load
			t.sterile = begin.Add(cycleTime + 4*time.Minute + seconds(12*i))
			d := events.SetSterilized{Load: load, Sterilizer: in, Run: run, Cycle: b.cycle, Result: "passed",
				Released: true}
			switch t.what {
			case failedRun:
				d.Result, d.Released = "failed", false
			case notReleased:
				d.Released = false
			case immediate:
				d.Immediate, d.For = "the others of its kind were in use", t.use.ref
			}
			if _, err := w.write(t.sterile, t.about(station, events.KindSetSterilized, badge, d)); err != nil {
				return err
			}
			if t.what == sealedLate {
				t.sealedAt = t.sterile.Add(11 * time.Minute)
				if err := w.seal(t); err != nil {
					return err
				}
			}
		}
		read := begin.Truncate(24 * time.Hour).Add(32*time.Hour + time.Duration(run)*time.Minute)
		if run > 1 && strings.Contains(b.pool, " ") || read.After(monday.AddDate(0, 0, len(dayNames))) {
			continue
		}
		d := events.IndicatorRead{Load: load, Sterilizer: in, Result: "negative"}
		if slices.Contains(positive, load) {
			d.Result = "positive"
		}
		if _, err := w.write(read, observation{Station: station, Kind: events.KindIndicatorRead,
			Operator: fmt.Sprintf("B-20%s2", in[1:]), Data: d}); err != nil {
			return err
		}
	}
	return nil
}

// batches puts sets with one cycle together, in the order in which they can run.
func (w *week) batches() []*batch {
	var all []*trip
	for _, s := range w.sets {
		all = append(all, s.trips...)
	}
	slices.SortStableFunc(all, func(a, b *trip) int {
		return cmp.Or(a.sealedAt.Compare(b.sealedAt),
			cmp.Compare(a.packing, b.packing))
	})
	var out []*batch
	open := make(map[string]*batch)
	for _, t := range all {
		cycle := "dynamic-air-132"
		if c := t.list.Cycles; len(c) > 0 {
			cycle = c[0]
		}
		alone := t.what == failedRun || t.what == notReleased || t.what == wrongCycle
		if t.what == wrongCycle {
			cycle = "gravity-121"
		}
		key := t.pool() + cycle
		b, full := open[key], 9
		if !strings.Contains(t.pool(), " ") {
			full = 2
		}
		if alone || b == nil || len(b.trips) >= full || t.sealedAt.Sub(b.trips[0].sealedAt) > 45*time.Minute {
			b = &batch{cycle: cycle, pool: t.pool(), alone: alone}
			out = append(out, b)
			if !alone {
				open[key] = b
			}
		}
		b.trips = append(b.trips, t)
		b.ready = t.sealedAt
	}
	slices.SortStableFunc(out, func(a, b *batch) int { return a.ready.Compare(b.ready) })
	return out
}

// check is a scan of a trip at a place: what is on the outside, and where the
// sheet is outside too, the sheet.
func (t *trip) check(place string, sheet bool) events.SetChecked {
	d := events.SetChecked{Place: place, OuterLabel: t.set.id}
	if t.set.placement == events.Outside {
		d.Tag = t.set.id
		if sheet {
			d.Sheet = &events.Reading{Found: string(events.Outside), Code: t.code}
		}
	}
	return d
}

// hides says that the sheet was wrong from the start, so that a look at it in
// between would have found it early.
func (x twist) hides() bool {
	switch x {
	case sheetEarlier, sheetEdited, sheetForeign, notSealed:
		return true
	}
	return false
}

const storage = site + "/storage"

// store puts the sets on the shelves.
func (w *week) store() error {
	var all []*trip
	for _, s := range w.sets {
		all = append(all, s.trips...)
	}
	slices.SortStableFunc(all, func(a, b *trip) int { return a.sterile.Compare(b.sterile) })
	var free time.Time
	for _, t := range all {
		t.stored = t.sterile.Add(30*time.Minute + seconds(t.draw(300, "cooling")))
		if free.After(t.stored) {
			t.stored = free
		}
		free = t.stored.Add(45 * time.Second)
		badge := fmt.Sprintf("B-205%d", t.stored.Hour()/8+1)
		if _, err := w.write(t.stored, t.about(storage, events.KindSetChecked, badge,
			t.check(t.place(), !t.what.hides()))); err != nil {
			return err
		}
	}
	return nil
}

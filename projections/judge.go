package projections

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// Judge returns the verdict on one trip. Since is zero where nothing observed
// of the trip is in force.
func (w *World) Judge(k TripKey) (Verdict, error) {
	j := judgement{w: w, c: w.chain(k)}
	v := j.run()
	if err := w.failed(); err != nil {
		return Verdict{}, err
	}
	return v, nil
}

// judgement collects the findings of one trip.
type judgement struct {
	w        *World
	c        *chain
	findings []Finding
}

func (j *judgement) run() Verdict {
	c := j.c
	v := Verdict{Set: c.key.Set, Trip: c.key.Trip, Case: c.caseRef, Opened: len(c.opened) > 0, Over: c.over()}
	if n := len(c.steps); n > 0 {
		v.Since, v.Where = c.steps[n-1].at(), placeOf(c.steps[n-1])
	}
	j.sheets()
	j.doubt()
	j.othersLabel()
	j.seals()
	missing := j.links()
	j.order()
	j.places()
	j.release()
	j.recalls()
	j.listVersion()
	j.counts(missing)
	j.records()
	j.acknowledgements()
	for i := range j.findings {
		f := &j.findings[i]
		slices.Sort(f.Events)
		f.Events = slices.Compact(f.Events)
		if !f.From.IsZero() && f.To.Before(f.From) { // the observed times contradict each other
			f.From, f.To = f.To, f.From
		}
	}
	slices.SortStableFunc(j.findings, compareFindings)
	v.Findings = j.findings
	v.Status = j.status()
	return v
}

func compareFindings(a, b Finding) int {
	if c := weight(b.Severity) - weight(a.Severity); c != 0 {
		return c
	}
	if c := codeOrder(a.Code) - codeOrder(b.Code); c != 0 {
		return c
	}
	if c := slices.Compare(a.Events, b.Events); c != 0 {
		return c
	}
	return strings.Compare(a.Says, b.Says)
}

func weight(s Severity) int {
	switch s {
	case SeverityBroken:
		return 2
	case SeverityDoubtful:
		return 1
	}
	return 0
}

var codeOrders = func() map[Code]int {
	m := make(map[Code]int)
	for i, c := range Codes() {
		m[c] = i
	}
	return m
}()

func codeOrder(c Code) int { return codeOrders[c] }

func statusOf(fs []Finding, otherwise Status) Status {
	worst := 0
	for i := range fs {
		worst = max(worst, weight(fs[i].Severity))
	}
	switch worst {
	case 2:
		return Broken
	case 1:
		return Doubtful
	}
	return otherwise
}

// status is whole only where every link the policy asks for is there. A trip
// that ended without them, by packing the set again unopened, is never whole.
func (j *judgement) status() Status {
	return statusOf(j.findings, j.complete())
}

func (j *judgement) complete() Status {
	c := j.c
	if len(c.steps) == 0 {
		return Open
	}
	links := j.w.policyAt(c.steps[len(c.steps)-1]).Links
	for _, l := range links {
		if c.first(l) == nil {
			return Open
		}
	}
	if len(links) == 0 && !c.over() {
		return Open
	}
	return Whole
}

// first returns the first observation of a link.
func (c *chain) first(l events.Kind) *item {
	var of []*item
	switch l {
	case events.KindSetPacked:
		of = c.packed
	case events.KindListSealed:
		of = c.sealed
	case events.KindSetSterilized:
		of = c.sterilized
	case events.KindSetOpened:
		of = c.opened
	case events.KindSetCounted:
		of = c.counted
	case events.KindCaseClosed:
		of = c.closings
	}
	if len(of) == 0 {
		return nil
	}
	return of[0]
}

// add starts a finding; the caller may fill in the rest before the next add.
func (j *judgement) add(code Code, sev Severity, words func(sentences) Text, shown ...*item) *Finding {
	f := Finding{Code: code, Severity: sev, Events: make([]int64, 0, len(shown))}
	f.say(words)
	for _, it := range shown {
		if it != nil {
			f.Events = append(f.Events, it.Seq)
			if it.by != nil {
				f.Events = append(f.Events, it.by.Seq)
			}
		}
	}
	j.findings = append(j.findings, f)
	return &j.findings[len(j.findings)-1]
}

// group is the readings of one trip that found the same wrong thing.
type group struct {
	class class
	owner TripKey
	tray  string
	rs    []*reading
}

// sheets judges every look at the set's sheet and labels.
func (j *judgement) sheets() {
	c := j.c
	var groups []group
	for i := range c.readings {
		r := &c.readings[i]
		j.labels(r)
		j.moved(r)
		if r.class == readNothing || r.class == readGood && r.own() {
			continue
		}
		if r.owner.Set != "" && r.owner.Set == r.tray() && !r.own() {
			// The tray is another set, and lies with its own sheet: only the name it
			// went under is wrong, which labels has said. With this set's sheet, or a
			// third one's, sheet and tray do not belong together.
			continue
		}
		g := group{class: r.class, owner: r.owner, tray: r.tray()}
		at := slices.IndexFunc(groups, func(x group) bool { return x.class == g.class && x.owner == g.owner && x.tray == g.tray })
		if at < 0 {
			groups, at = append(groups, g), len(groups)
		}
		groups[at].rs = append(groups[at].rs, r)
	}
	for i := range groups {
		j.sheet(&groups[i])
	}
}

// righted returns the good reading after which an earlier wrong one no longer
// stands against the chain: it was put right before the set was used. The
// reading at the opening itself counts, for it shows what lay in front of the
// people who used the set; what is found at the opening or after it stays.
func (j *judgement) righted(last *reading) *reading {
	return j.rightedAs(last, func(*reading) bool { return true })
}

// rightedAs is righted by a good reading that has something else besides.
func (j *judgement) rightedAs(last *reading, has func(*reading) bool) *reading {
	open := j.c.firstOpened()
	if open != nil && !last.it.less(open) {
		return nil
	}
	for i := range j.c.readings {
		r := &j.c.readings[i]
		if r.class == readGood && r.own() && last.it.less(r.it) && (open == nil || !open.less(r.it)) && has(r) {
			return r
		}
	}
	return nil
}

func items(rs []*reading) []*item {
	out := make([]*item, len(rs))
	for i, r := range rs {
		out[i] = r.it
	}
	return out
}

// sheet judges a group of equal wrong readings.
func (j *judgement) sheet(g *group) {
	c, w := j.c, j.w
	first, last := g.rs[0], g.rs[len(g.rs)-1]
	right := j.righted(last)
	sev := SeverityBroken
	if right != nil {
		sev = SeverityNoted
	}
	shown := items(g.rs)
	if last.seal != nil {
		shown = append(shown, last.seal)
	}
	if right != nil {
		shown = append(shown, right.it)
	}
	put := func(f *Finding) {
		if f.To.IsZero() {
			f.From, f.To = c.knownRight(first.it), first.it.at()
		}
		if right != nil {
			f.more(func(in sentences) string { return in.sayRighted(right) })
		}
	}
	if g.tray != c.key.Set && (g.class == readGood || g.class == readAltered || g.class == readStale || g.class == readSwapped) {
		whose := c.key
		if g.owner != (TripKey{}) {
			whose = g.owner
		}
		f := j.add(SheetSwapped, sev, func(in sentences) Text {
			return Text{in.sayTrayWithSheet(c.key, first, g.tray, whose), in.nextIdentity()}
		}, shown...)
		f.Other = &TripKey{Set: g.tray}
		put(f)
		return
	}
	switch g.class {
	case readSwapped:
		y := w.chain(g.owner)
		from, to, places := w.window(c, y, first.it)
		ring, ringItems := w.ring(c.key)
		if ring != nil && ring[1%len(ring)] != g.owner {
			ring, ringItems = nil, nil
		}
		var back *reading
		// Where the sheet's owner has it back and this set has not been read since, its own sheet is still to be looked for.
		if own := c.lastGood(nil); ring == nil && (own == nil || own.it.less(last.it)) {
			if b := y.lastGood(nil); b != nil && last.it.less(b.it) {
				back = b
			}
		}
		f := j.add(SheetSwapped, sev, func(in sentences) Text {
			return Text{in.saySwapped(c, y, g.rs, ring, back, from, to, places), in.nextSwapped(len(c.opened) > 0)}
		}, append(shown, ringItems...)...)
		f.Other, f.From, f.To, f.Places = &TripKey{g.owner.Set, g.owner.Trip}, from, to, places
		f.Lines = changedLines(y.list, c.list)
		if first.outer == g.owner.Set {
			f.more(func(in sentences) string { return in.sayLabelToo(g.owner.Set) })
		}
		put(f)
	case readStale:
		old := w.chain(g.owner)
		f := j.add(SheetStale, sev, func(in sentences) Text { return Text{in.sayStale(c, old, first), in.nextStale()} }, shown...)
		f.Other = &TripKey{g.owner.Set, g.owner.Trip}
		f.Lines = changedLines(old.list, c.list)
		put(f)
	case readAltered:
		put(j.add(SheetAltered, sev, func(in sentences) Text { return Text{in.sayAltered(c, first), in.nextAltered()} }, shown...))
	case readUnknown:
		put(j.add(SheetUnknown, sev, func(in sentences) Text { return Text{in.sayUnknown(c, first), in.nextUnknown()} }, shown...))
	case readAbsent:
		s := sealOf(last.seal)
		if s == nil || s.Placement == events.Screen { // nothing was sealed that could be missing
			return
		}
		x, held := w.carrier(c.key)
		if held != nil {
			shown = append(shown, held.it)
		}
		f := j.add(SheetAbsent, sev, func(in sentences) Text { return Text{in.sayAbsent(c, first, s.Placement, x, held), in.nextAbsent()} }, shown...)
		if held != nil {
			f.Other = &TripKey{x.Set, x.Trip}
		}
		put(f)
	case readUnreadable:
		if right == nil && c.goodBeforeUse() != nil {
			sev = SeverityDoubtful
		}
		put(j.add(SheetUnreadable, sev, func(in sentences) Text {
			return Text{in.sayUnreadable(c, first, sev == SeverityDoubtful), in.nextUnreadable()}
		}, shown...))
	}
}

// goodBeforeUse returns a good reading at or before the opening.
func (c *chain) goodBeforeUse() *reading {
	open := c.firstOpened()
	for i := range c.readings {
		if r := &c.readings[i]; r.class == readGood && r.own() && (open == nil || !open.less(r.it)) {
			return r
		}
	}
	return nil
}

func changedLines(a, b *events.ListIssued) []int64 {
	if a == nil || b == nil {
		return nil
	}
	var out []int64
	for _, d := range events.DiffLines(a.Lines, b.Lines) {
		out = append(out, d.Line)
	}
	return out
}

// inPlace says whether a sheet was found where it was sealed.
func (r *reading) inPlace() bool {
	s := sealOf(r.seal)
	return s != nil && r.found == string(s.Placement)
}

// moved: the right sheet in another place than sealed.
func (j *judgement) moved(r *reading) {
	s := sealOf(r.seal)
	if r.class != readGood || !r.own() || s == nil || r.inPlace() {
		return
	}
	sev := SeverityDoubtful
	right := j.rightedAs(r, (*reading).inPlace) // the next good reading may be misplaced as well
	if right != nil {
		sev = SeverityNoted
	}
	f := j.add(SheetMoved, sev, func(in sentences) Text { return Text{in.sayMoved(j.c, r, s.Placement), in.nextMoved()} }, r.it, r.seal)
	f.From, f.To = r.seal.at(), r.it.at()
	if right != nil {
		f.more(func(in sentences) string { return in.sayRighted(right) })
		f.Events = append(f.Events, right.it.Seq)
	}
}

// labels compares the outer label, the tag on the tray and the set the record
// is about. The record is made by scanning one of the two, so either can be
// the one that stands out.
func (j *judgement) labels(r *reading) {
	set := r.it.Event.Subject
	tray, outer := r.tray(), r.outer
	if outer == "" {
		outer = set
	}
	if tray == outer && tray == set {
		return
	}
	if tray == outer && tray != set {
		// Tag and label agree, and both say another set than the record.
		f := j.add(LabelSwapped, SeverityBroken, func(in sentences) Text { return Text{in.sayRecordOfOther(r, tray), in.nextIdentity()} }, r.it)
		f.Other, f.From, f.To = &TripKey{Set: tray}, j.c.knownRight(r.it), r.it.at()
		return
	}
	// The sheet sides with the outer label: then sheet and label lie with the
	// wrong tray, and the sheet finding names the label too.
	if r.class.conclusive() && r.class != readAbsent && r.class != readUnknown {
		whose := r.owner.Set
		if whose == "" {
			whose = set
		}
		if whose == outer && whose != tray {
			return
		}
	}
	sev := SeverityBroken
	right := j.labelRighted(r)
	if right != nil {
		sev = SeverityNoted
	}
	f := j.add(LabelSwapped, sev, func(in sentences) Text { return Text{in.sayLabelSwapped(r, tray, outer), in.nextLabel()} }, r.it)
	f.From, f.To = j.c.knownRight(r.it), r.it.at()
	other := outer
	if other == set {
		other = tray
	}
	f.Other = &TripKey{Set: other}
	if right != nil {
		f.more(func(in sentences) string { return in.sayLabelRighted(set, right) })
		f.Events = append(f.Events, right.it.Seq)
	}
}

// labelRighted returns the reading at which the label outside was the set's
// own again, at the opening at the latest. What the sheet was then is not asked.
func (j *judgement) labelRighted(wrong *reading) *reading {
	open := j.c.firstOpened()
	if wrong.opening || open != nil && !wrong.it.less(open) { // opened under the wrong name, be it another set's
		return nil
	}
	for i := range j.c.readings {
		r := &j.c.readings[i]
		if wrong.it.less(r.it) && r.outer == j.c.key.Set && r.own() && (open == nil || !open.less(r.it)) {
			return r
		}
	}
	return nil
}

// othersLabel: this set's tray, with its own sheet, was found under the name
// of another set.
func (j *judgement) othersLabel() {
	for _, x := range j.w.readers(j.c.key) {
		if x.Set == j.c.key.Set {
			continue
		}
		xc := j.w.chain(x)
		for i := range xc.readings {
			r := &xc.readings[i]
			if r.class != readSwapped || r.owner != j.c.key || r.tray() != j.c.key.Set {
				continue
			}
			sev := SeverityBroken
			right := j.labelRighted(r)
			if right != nil {
				sev = SeverityNoted
			}
			f := j.add(LabelSwapped, sev, func(in sentences) Text { return Text{in.sayUnderOtherName(j.c.key, r, x), in.nextLabel()} }, r.it)
			f.Other, f.From, f.To = &TripKey{x.Set, x.Trip}, j.c.knownRight(r.it), r.it.at()
			if right != nil {
				f.more(func(in sentences) string { return in.sayLabelRighted(j.c.key.Set, right) })
				f.Events = append(f.Events, right.it.Seq)
			}
		}
	}
}

// doubt: the trip's sheet was read on another set, and the set itself has not
// been read since. Before it is opened that is the most useful thing the
// records can say, so it is broken, not doubtful: the sheet is known not to be
// where it belongs.
func (j *judgement) doubt() {
	c, w := j.c, j.w
	x, bad := w.strayed(c.key)
	if bad == nil {
		return
	}
	if s := sealOf(c.sealAt(bad.it)); s != nil && s.Placement == events.Screen {
		return
	}
	last := c.lastConclusive()
	if last != nil {
		if bad.it.less(last.it) {
			return // read since: that reading has its own finding
		}
		if last.class != readGood && c.faulted(last) {
			return // already known to be without its own: that reading says what it has
		}
		if open := c.firstOpened(); open != nil && !last.it.less(open) {
			return // opened and read before the sheet turned up elsewhere: over
		}
	}
	if c.next != nil && len(c.opened) == 0 {
		return // packed again, with a new sheet
	}
	xc := w.chain(x)
	from, to, places := w.window(xc, c, bad.it)
	shown := []*item{bad.it}
	gone := xc.lastConclusive() // the sheet was taken off the other set again: it can be anywhere
	if gone != nil && bad.it.less(gone.it) && (gone.class != readSwapped || gone.owner != c.key) {
		shown = append(shown, gone.it)
	} else {
		gone = nil
	}
	start := w.pathStart(c.key)
	held, _ := w.carrier(c.key)
	var sc *chain
	if without := last != nil && last.class == readAbsent; held == x && gone == nil && !without && w.missed(start) {
		sc = w.chain(start)
	}
	f := j.add(SheetInDoubt, SeverityBroken, func(in sentences) Text {
		return Text{in.sayInDoubt(c, xc, bad, gone, sc, from, to, places), in.nextInDoubt(len(c.opened) > 0)}
	}, shown...)
	f.From, f.To, f.Places = from, to, places
	f.Other = &TripKey{x.Set, x.Trip}
	if sc == nil {
		return
	}
	f.Other = &TripKey{start.Set, start.Trip}
	f.Lines = changedLines(c.list, sc.list)
	for at := x; at != start; { // every reading of the path
		nx, r := w.carrier(at)
		if r == nil {
			break
		}
		f.Events = append(f.Events, r.it.Seq)
		at = nx
	}
}

// faulted says whether a reading that is not good has a finding: without a
// seal nothing can be missing, and a code that nothing is known of may be right.
func (c *chain) faulted(r *reading) bool {
	switch r.class {
	case readAbsent:
		s := sealOf(r.seal)
		return s != nil && s.Placement != events.Screen
	case readUnknown:
		return !r.unlisted
	}
	return r.class != readGood
}

// screened says whether a trip has no paper that could be elsewhere.
func (c *chain) screened() bool {
	n := len(c.sealed)
	return n > 0 && sealOf(c.sealed[n-1]).Placement == events.Screen
}

// seals compares the seal numbers read with those recorded.
func (j *judgement) seals() {
	for i := range j.c.readings {
		r := &j.c.readings[i]
		if !r.sealBroken && len(r.seals) == 0 {
			continue
		}
		var want []string
		if s := sealOf(r.seal); s != nil {
			want = s.Seals
		}
		var gone, strange []string
		if len(r.seals) > 0 { // none given: nobody read them
			gone, strange = lacking(want, r.seals), lacking(r.seals, want)
		}
		if !r.sealBroken && len(gone) == 0 && len(strange) == 0 {
			continue
		}
		// Other numbers may be a slip in reading them; a broken seal is a fact.
		sev := SeverityDoubtful
		if r.sealBroken {
			sev = SeverityBroken
		}
		f := j.add(SealDiffers, sev, func(in sentences) Text { return Text{in.saySeals(j.c.key, r, gone, strange), in.nextSeals()} }, r.it, r.seal)
		f.To = r.it.at()
		if r.seal != nil {
			f.From = r.seal.at()
		}
	}
}

// lacking returns what of a is not in b.
func lacking(a, b []string) []string {
	var out []string
	for _, s := range a {
		if !slices.Contains(b, s) {
			out = append(out, s)
		}
	}
	return out
}

// listVersion: packed or sealed against a version that was no longer current,
// or that nobody has issued.
func (j *judgement) listVersion() {
	c := j.c
	pack := c.lastPack()
	p := packOf(pack)
	if p == nil {
		return
	}
	of, versions := p.List, j.w.issued(p.List)
	newer := func(list string, v int64, at *item) *item {
		if list != of {
			of, versions = list, j.w.issued(list)
		}
		for i := len(versions) - 1; i >= 0; i-- {
			if d := versions[i].data.(*events.ListIssued); d.Version > v && !versions[i].at().After(at.at()) {
				return versions[i]
			}
		}
		return nil
	}
	if c.list == nil {
		j.add(ListSuperseded, SeverityDoubtful, func(in sentences) Text { return Text{in.sayListUnknown(c.key, pack, p), in.nextListUnknown()} }, pack)
	}
	for _, it := range c.packed {
		d := packOf(it)
		if d.List != p.List {
			continue
		}
		if n := newer(d.List, d.Version, it); n != nil {
			f := j.add(ListSuperseded, SeverityDoubtful, func(in sentences) Text {
				return Text{in.saySuperseded(c.key, it, d.List, d.Version, n, false), in.nextSuperseded()}
			}, it, n)
			f.From, f.To = n.at(), it.at()
			if len(c.packed) == 1 {
				f.Lines = changedLines(c.list, n.data.(*events.ListIssued))
			}
		}
	}
	for _, it := range c.sealed {
		d := sealOf(it)
		sc := j.w.packedFor(c, it)
		pack := sc.lastPack()
		p := packOf(pack)
		if p == nil {
			continue
		}
		list, version := d.List, d.Version
		if list == "" {
			list, version = p.List, p.Version
		}
		if list != p.List || version != p.Version {
			f := j.add(SheetAltered, SeverityBroken, func(in sentences) Text {
				return Text{in.saySealedOther(c.key, it, p, list, version), in.nextSealedOther()}
			}, it, pack)
			f.From, f.To = pack.at(), it.at()
		} else if sc.list != nil && !j.w.sealTrue(sc, it) {
			j.add(SheetAltered, SeverityBroken, func(in sentences) Text { return Text{in.saySealFalse(c.key, it, p), in.nextSealedOther()} }, it, sc.listItem)
		}
		if list != p.List {
			continue
		}
		packedOld := len(c.packed) == 1 && version == p.Version && newer(list, version, pack) != nil
		if n := newer(list, version, it); n != nil && !packedOld {
			f := j.add(ListSuperseded, SeverityDoubtful, func(in sentences) Text {
				return Text{in.saySuperseded(c.key, it, list, version, n, true), in.nextSuperseded()}
			}, it, n)
			f.From, f.To = n.at(), it.at()
		}
	}
}

// packedFor returns the chain as it was packed when a seal was put on it: a set
// packed again in one trip is sealed anew, and the first seal was right in its
// time. A seal before any packing is held against the first.
func (w *World) packedFor(c *chain, seal *item) *chain {
	n := 1
	for n < len(c.packed) && !c.packed[n].at().After(seal.at()) {
		n++
	}
	if n == len(c.packed) {
		return c
	}
	sc := &chain{key: c.key, packed: c.packed[:n], sealed: []*item{seal}}
	sc.list, sc.listItem = w.listOf(sc)
	return sc
}

// sealTrue says whether the digests in a seal are those of the list it names,
// as issued. The station computed them; a sheet printed from other lines
// would show here before anyone reads it.
func (w *World) sealTrue(c *chain, seal *item) bool {
	d := sealOf(seal)
	if d.ListDigest == "" && d.Binding == "" {
		return true
	}
	l, err := w.listDigest(c.listItem)
	if err != nil {
		return true
	}
	if d.ListDigest != "" && d.ListDigest != l.String() {
		return false
	}
	if d.Binding == "" {
		return true
	}
	b, err := events.Binding(l, c.key.Set, c.key.Trip)
	return err != nil || d.Binding == b.String()
}

// records reports what is wrong with records themselves.
func (j *judgement) records() {
	j.remarks(j.c.all)
	of := [][]*item{j.c.all, {j.c.listItem}}
	for _, u := range j.c.cases {
		j.remarks(u.closings)
		of = append(of, u.closings)
	}
	for _, of := range of {
		for _, it := range of {
			if it == nil {
				continue
			}
			for _, fix := range it.unread {
				j.add(RecordUnread, SeverityNoted, func(in sentences) Text { return Text{in.sayFixUnread(it, fix), in.nextFixUnread()} }, fix, it)
			}
		}
	}
}

// remarks turns the audit's remarks into findings, one for each kind of fault
// and station.
func (j *judgement) remarks(its []*item) {
	type fault struct {
		code    Code
		sev     Severity
		station string
	}
	var order []fault
	var by map[fault][]*item
	for _, it := range its {
		if it.Remarks == 0 {
			continue
		}
		station := ""
		if it.Event != nil {
			station = it.Event.Station
		}
		put := func(c Code, s Severity) {
			f := fault{c, s, station}
			if by == nil {
				by = make(map[fault][]*item)
			}
			if by[f] == nil {
				order = append(order, f)
			}
			if n := len(by[f]); n == 0 || by[f][n-1] != it {
				by[f] = append(by[f], it)
			}
		}
		if it.Remarks&(events.RemarkSignature|events.RemarkForm) != 0 {
			put(SignatureBad, SeverityBroken)
		}
		if it.Remarks&events.RemarkGap != 0 {
			put(StationGap, SeverityDoubtful)
		}
		if it.Remarks&(events.RemarkAhead|events.RemarkBackwards) != 0 {
			put(ClockDoubtful, SeverityDoubtful)
		}
		if it.Remarks&events.RemarkUnknown != 0 {
			// Of a trip: it may have been one of its links, so "whole" would say
			// more than is known.
			put(RecordUnread, SeverityDoubtful)
		}
	}
	for _, f := range order {
		fs := by[f]
		found := j.add(f.code, f.sev, func(in sentences) Text { return Text{in.sayRemark(f.code, f.station, fs), in.nextRemark(f.code)} })
		for _, it := range fs {
			found.Events = append(found.Events, it.Seq) // a correction changes nothing about the record itself
			if it.Event == nil {
				continue
			}
			if found.From.IsZero() || it.at().Before(found.From) {
				found.From = it.at()
			}
			if it.at().After(found.To) {
				found.To = it.at()
			}
		}
	}
}

func (j *judgement) acknowledgements() {
	for _, it := range j.c.all {
		d, ok := it.data.(*events.FindingAcknowledged)
		if !ok || it.void {
			continue
		}
		for i := range j.findings {
			if f := &j.findings[i]; string(f.Code) == d.Code {
				f.Acknowledged = append(f.Acknowledged, Acknowledgement{By: it.Event.Operator, Reason: d.Reason, Time: it.at(), Seq: it.Seq})
			}
		}
	}
}

// JudgeStation returns the verdict on a station's records that belong to no
// trip: a hole in its numbering at a list.issued, say. The closing of a case is
// among them, as the record names no trip, and is held against the case's
// trips as well. Station "" has the records nobody can read at all.
func (w *World) JudgeStation(station string) (Verdict, error) {
	w.need(DimStation, station)
	var its []*item
	for _, it := range w.stations[station] {
		if it.Event == nil || !(ofSet(it.kind) || it.Event.Trip != "" && tripped(it.kind)) {
			its = append(its, it)
		}
	}
	slices.SortFunc(its, func(a, b *item) int { return int(a.Seq - b.Seq) })
	j := judgement{w: w}
	j.remarks(its)
	for i := range j.findings {
		// Nothing is judged by what a record of no trip may have said.
		if f := &j.findings[i]; f.Code == RecordUnread {
			f.Severity = SeverityNoted
		}
	}
	for i := range j.findings {
		slices.Sort(j.findings[i].Events)
	}
	slices.SortStableFunc(j.findings, compareFindings)
	v := Verdict{Station: station, Findings: j.findings, Status: statusOf(j.findings, Whole)}
	for _, it := range its {
		if it.Event != nil && it.at().After(v.Since) {
			v.Since = it.at()
		}
	}
	return v, w.failed()
}

// Sort puts first what most needs somebody: what is broken or doubtful and can
// still be prevented or put right, then what is so but over, then open, then
// whole. In each: broken before doubtful; what nobody has opened before what was
// opened; then the heavier findings; then the latest. The board has that order too.
func Sort(vs []Verdict) {
	rank := func(v Verdict) int {
		switch {
		case v.Status != Broken && v.Status != Doubtful:
			return 2
		case v.Over:
			return 1
		}
		return 0
	}
	slices.SortFunc(vs, func(a, b Verdict) int {
		if c := rank(a) - rank(b); c != 0 {
			return c
		}
		if c := statusOrder(a.Status) - statusOrder(b.Status); c != 0 {
			return c
		}
		if a.Opened != b.Opened {
			if a.Opened {
				return 1
			}
			return -1
		}
		for _, s := range []Severity{SeverityBroken, SeverityDoubtful, SeverityNoted} {
			if c := howMany(b.Findings, s) - howMany(a.Findings, s); c != 0 {
				return c
			}
		}
		if c := b.Since.Compare(a.Since); c != 0 {
			return c
		}
		if c := compareKeys(TripKey{a.Set, a.Trip}, TripKey{b.Set, b.Trip}); c != 0 {
			return c
		}
		return strings.Compare(a.Station, b.Station)
	})
}

func howMany(fs []Finding, s Severity) int {
	n := 0
	for i := range fs {
		if fs[i].Severity == s {
			n++
		}
	}
	return n
}

func statusOrder(s Status) int {
	switch s {
	case Broken:
		return 0
	case Doubtful:
		return 1
	case Open:
		return 2
	}
	return 3
}

func seconds(n int64) time.Duration { return time.Duration(n) * time.Second }

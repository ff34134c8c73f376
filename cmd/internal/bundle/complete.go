package bundle

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/events"
	"listbound/ledger/proof"
)

// Coverage is what is shown of what a bundle leaves out.
type Coverage struct {
	Of     string `json:"of"`     // what it is about: "case K-0409"
	Proven bool   `json:"proven"` // nothing is left out of what it covers, up to record Upto
	Upto   int64  `json:"upto,omitzero"`
	// Earlier is the first record with links: nothing shows whether one before it was left out.
	Earlier int64    `json:"earlier,omitzero"`
	Whole   []string `json:"whole,omitempty"`
	Part    []string `json:"part,omitempty"`
	None    []string `json:"none,omitempty"`
	// LeftOut is what a history as known earlier leaves out, of each thing.
	LeftOut []string `json:"leftOut,omitempty"`
	// Open is of what nothing shows that the last record here was the last one at that moment.
	Open []string `json:"open,omitempty"`
	// Beyond are records here that lie in nothing that is covered: others like them may be missing.
	Beyond []int64 `json:"beyond,omitempty"`
}

// entry is a record whose proof has been checked.
type entry struct {
	seq   int64
	path  string
	note  []byte
	event *events.Event
	links []proof.Link
	fact  factOf

	checked events.Checked
	problem bool // what is wrong with it is a fault of the bundle
	later   []change
}

// change is what a record that came at a moment changed about this one.
type change struct {
	at time.Time
	events.Change
}

// step is an entry in the chain of one key.
type step struct {
	*entry
	proof.Link
}

// completeness checks that nothing is left out of what a bundle says it covers.
type completeness struct {
	r      *Report
	covers *Covers
	name   string // of the ledger
	size   int64  // of the checkpoint
	all    []*entry
	chains map[string][]step
	heads  map[string]proof.Head
	order  []proof.HeadProof // by index
	mapped *events.RecordsMapped
	within map[int64]bool // records that lie in something covered
	out    Coverage
	failed bool

	asksTests bool // a policy asks for the tests of a sterilizer's day
}

func (r *Report) complete(b *proof.Bundle, c *Covers, all []*entry, size int64) {
	x := &completeness{
		r: r, covers: c, name: r.Ledger, size: size, all: all, chains: make(map[string][]step), heads: make(map[string]proof.Head),
		within: make(map[int64]bool), out: Coverage{Of: c.Of},
	}
	r.Coverage = &x.out
	byID := make(map[string]*events.Event)
	for _, e := range all {
		x.links(e, byID)
	}
	x.readHeads(b)
	if c.Of == Everything {
		x.everything()
	} else {
		x.claims()
		x.demands()
		x.beyond()
	}
	x.moments()
	unlinked := slices.ContainsFunc(all, func(e *entry) bool { return e.seq < x.out.Earlier })
	x.out.Proven = !x.failed && (x.mapped != nil && len(x.out.Open) == 0 && !unlinked || c.Of == Everything)
}

func (x *completeness) problem(where, format string, args ...any) {
	x.failed = true
	x.r.add(-1, where, fmt.Sprintf(format, args...))
}

// links files a record under what it is about, and holds what its arrival line says of that against the record.
func (x *completeness) links(e *entry, byID map[string]*events.Event) {
	known := true
	about := About(e.event, func(id string) *events.Event {
		known = known && byID[id] != nil
		return byID[id]
	}, func(key string) bool {
		return slices.ContainsFunc(e.links, func(l proof.Link) bool { return l.Key == key })
	})
	if byID[e.event.ID] == nil {
		byID[e.event.ID] = e.event
	}
	said := make([]string, len(e.links))
	for i, l := range e.links {
		said[i] = l.Key
		x.chains[l.Key] = append(x.chains[l.Key], step{e, l})
	}
	if m, ok := e.event.Data.(*events.RecordsMapped); ok && e.seq == x.covers.Map && e.event.Station == x.name {
		x.mapped = m
	}
	if len(e.links) > 0 && known && !slices.Equal(said, about) {
		x.problem(e.path, "the ledger wrote into it that it is about %s; it is about %s", listed(said), listed(about))
	}
}

// readHeads checks the proofs of the newest records against the root that the ledger recorded.
func (x *completeness) readHeads(b *proof.Bundle) {
	if x.mapped == nil {
		if x.covers.Map != 0 {
			x.problem(coversFile, "record %d, by which the newest record about each thing is proved, is missing", x.covers.Map)
		}
		return
	}
	x.out.Upto = x.mapped.Upto
	if !x.covers.AsOf.IsZero() {
		x.out.Upto = min(x.out.Upto, x.covers.Upto)
	}
	switch {
	case x.mapped.From > 1:
		x.out.Earlier = x.mapped.From
	case x.mapped.From == 0:
		x.out.Earlier = x.mapped.Upto + 1
	}
	var root tlog.Hash
	if _, err := fmt.Sscanf(x.mapped.Root, "%x", (*hexHash)(&root)); err != nil {
		x.problem(coversFile, "record %d names no root", x.covers.Map)
		return
	}
	for _, f := range b.Files {
		if !strings.HasPrefix(f.Path, headsDir) {
			continue
		}
		p, err := proof.ParseHeadProof(f.Data)
		if err == nil && p.Size != x.mapped.Size {
			err = fmt.Errorf("it is the proof of one of %d, record %d speaks of %d", p.Size, x.covers.Map, x.mapped.Size)
		}
		if err == nil && headFile(p).Path != f.Path {
			err = fmt.Errorf("it is the proof of place %d", p.Index)
		}
		if err == nil {
			err = p.Check(root)
		}
		if err != nil {
			x.problem(f.Path, "%v", err)
			continue
		}
		x.heads[p.Key] = p.Head
		x.order = append(x.order, p)
	}
	slices.SortFunc(x.order, func(a, b proof.HeadProof) int { return int(a.Index - b.Index) })
}

// hexHash scans a hash.
type hexHash tlog.Hash

// Scan implements fmt.Scanner.
func (h *hexHash) Scan(state fmt.ScanState, verb rune) error {
	var raw []byte
	if _, err := fmt.Fscanf(state, "%x", &raw); err != nil {
		return err
	}
	if len(raw) != len(h) {
		return fmt.Errorf("%d bytes are no hash", len(raw))
	}
	copy(h[:], raw)
	return nil
}

// everything holds a copy of the whole ledger to its checkpoint: it was made from all records, one after the other.
func (x *completeness) everything() {
	x.out.Upto, x.out.Whole = x.size, []string{Everything}
	next := int64(1)
	for _, e := range x.all {
		if e.seq != next {
			x.problem(coversFile, "MISSING: %s", span(next, e.seq-1))
		}
		next = e.seq + 1
	}
	if next <= x.size {
		x.problem(coversFile, "MISSING: %s", span(next, x.size))
	}
}

func span(from, to int64) string {
	if from == to {
		return fmt.Sprintf("record %d", from)
	}
	return fmt.Sprintf("records %d to %d", from, to)
}

// claims checks each line of covers.
func (x *completeness) claims() {
	for _, key := range x.covers.Whole {
		x.out.Whole = append(x.out.Whole, key)
		x.whole(key)
	}
	for _, p := range x.covers.Part {
		x.out.Part = append(x.out.Part, fmt.Sprintf("%s, records %d to %d", p.Key, p.From, p.To))
		x.part(p)
	}
	for _, key := range x.covers.None {
		x.out.None = append(x.out.None, key)
		x.none(key)
	}
}

// holes names what is missing between the records of a chain, of which the first is number count, after record prev.
func (x *completeness) holes(key string, chain []step, prev, count int64) {
	for _, s := range chain {
		x.within[s.seq] = true
		if s.Prev != prev || s.Count != count+1 {
			x.missing(key, count+1, s.Count-1, s.Prev)
		}
		prev, count = s.seq, s.Count
	}
}

// missing names records by their number among those about a key; the last of them is known by its own number.
func (x *completeness) missing(key string, from, to, last int64) {
	if from >= to {
		x.problem(coversFile, "MISSING: record %d, number %d about %s", last, to, key)
		return
	}
	x.problem(coversFile, "MISSING: numbers %d to %d about %s, of which the last is record %d", from, to, key, last)
}

// then returns those records of a chain that were there at the moment as of which the history is known, all for now; and
// the one that came next, if it is here. That one names the last of those before it, and how many there are, so it shows
// where the chain ended then.
func (x *completeness) then(chain []step) (known []step, next *step) {
	if x.covers.AsOf.IsZero() {
		return chain, nil
	}
	n := len(chain)
	if i := slices.IndexFunc(chain, func(s step) bool { return s.seq > x.covers.Upto }); i >= 0 {
		n = i
	}
	for i := range chain[n:] {
		if s := &chain[n+i]; s.Prev <= x.covers.Upto {
			return chain[:n], s
		}
	}
	return chain[:n], nil
}

// ended holds that a chain ended, at the moment as of which the history is known, with number count, record last. The
// newest record about the key shows it if it is not later; else the one that came next does.
func (x *completeness) ended(key string, last, count int64, next *step) {
	h, ok := x.heads[key]
	switch {
	case next != nil:
		x.within[next.seq] = true
		if next.Prev != last || next.Count != count+1 {
			x.missing(key, count+1, next.Count-1, next.Prev)
		}
		if ok {
			x.out.LeftOut = append(x.out.LeftOut, fmt.Sprintf("%s: %d of %d records were there", key, next.Count-1, h.Count))
		}
	case ok && h.Last <= x.covers.Upto:
		if count < h.Count { // there may be more, recorded after the newest ones were
			x.missing(key, count+1, h.Count, h.Last)
		}
	case x.mapped == nil:
	case x.covers.Judgement == Judgement(): // by a program that puts it there
		x.problem(coversFile, "MISSING: number %d about %s, which came after the moment and shows what was there", count+1, key)
	default:
		x.out.Open = append(x.out.Open, fmt.Sprintf("%s, behind number %d", key, count))
	}
}

// moments holds that what is taken for later than the moment came later.
func (x *completeness) moments() {
	if x.covers.AsOf.IsZero() {
		return
	}
	for _, e := range x.all {
		if e.seq > x.covers.Upto && !e.fact.recorded.After(x.covers.AsOf) {
			x.problem(e.path, "it had come by the moment as of which the history is known, but covers says that record %d was the last one",
				x.covers.Upto)
		}
	}
}

func (x *completeness) whole(key string) {
	chain, next := x.then(x.chains[key])
	x.holes(key, chain, 0, 0)
	h, ok := x.heads[key]
	switch {
	case !x.covers.AsOf.IsZero():
		if len(chain) == 0 {
			x.ended(key, 0, 0, next)
			return
		}
		end := chain[len(chain)-1]
		x.ended(key, end.seq, end.Count, next)
	case x.mapped == nil:
	case !ok:
		x.problem(coversFile, "nothing proves which record about %s is the newest", key)
	case len(chain) == 0:
		x.missing(key, 1, h.Count, h.Last)
	default:
		if end := chain[len(chain)-1]; end.Count < h.Count {
			x.missing(key, end.Count+1, h.Count, h.Last)
		}
	}
}

// part checks what is said of one set: from its packing, or its first record, to its next packing, or the newest record.
func (x *completeness) part(p Part) {
	all, after := x.then(x.chains[p.Key])
	var chain []step
	for _, s := range all {
		if s.seq >= p.From && s.seq <= p.To {
			chain = append(chain, s)
		}
	}
	if len(chain) == 0 {
		x.problem(coversFile, "MISSING: all records about %s, from record %d to %d", p.Key, p.From, p.To)
		return
	}
	first, last := chain[0], chain[len(chain)-1]
	x.holes(p.Key, chain, first.Prev, first.Count-1)
	if first.seq != p.From || first.Count > 1 && !packs(first.event, p.Key) {
		x.problem(coversFile, "MISSING: record %d, number %d about %s, or its packing before it", first.Prev, first.Count-1, p.Key)
	}
	h, ok := x.heads[p.Key]
	newest := ok && h.Last <= last.seq
	next := packs(last.event, p.Key) && last.seq > first.seq
	switch {
	case x.mapped == nil, newest && last.seq == p.To, next && last.seq == p.To:
	case !x.covers.AsOf.IsZero():
		x.ended(p.Key, last.seq, last.Count, after)
	case ok:
		x.missing(p.Key, last.Count+1, h.Count, h.Last)
	default:
		x.problem(coversFile,
			"MISSING: number %d about %s: the last one here, record %d, is neither its next packing nor proved to be the newest",
			last.Count+1, p.Key, last.seq)
	}
}

func packs(e *events.Event, key string) bool {
	return e.Kind() == events.KindSetPacked && key == string(events.SubjectSet)+" "+e.Subject
}

// none checks that nothing is recorded about a key: of two that stand beside each other, one comes before it and one after.
func (x *completeness) none(key string) {
	chain, next := x.then(x.chains[key])
	if len(chain) > 0 {
		x.problem(coversFile, "record %d is about %s, of which it says that there is none", chain[0].seq, key)
		return
	}
	if x.mapped == nil || x.mapped.Size == 0 {
		return // nothing to prove it by
	}
	if _, some := x.heads[key]; next != nil || some {
		if x.covers.AsOf.IsZero() {
			x.problem(coversFile, "there are records about %s, of which it says that there is none", key)
			return
		}
		x.ended(key, 0, 0, next)
		return
	}
	i, _ := slices.BinarySearchFunc(x.order, key, func(p proof.HeadProof, key string) int { return strings.Compare(p.Key, key) })
	before := i == 0 && len(x.order) > 0 && x.order[0].Index == 0 || i > 0
	after := i == len(x.order) && i > 0 && x.order[i-1].Index == x.mapped.Size-1 || i < len(x.order) && x.order[i].Key != key
	if before && after && i > 0 && i < len(x.order) {
		after = x.order[i].Index == x.order[i-1].Index+1
	}
	switch {
	case before && after:
	case !x.covers.AsOf.IsZero() && x.covers.Judgement != Judgement(): // an earlier program proved nothing of it
		x.out.Open = append(x.out.Open, key+", of which there was none")
	default:
		x.problem(coversFile, "nothing proves that there is no record about %s", key)
	}
}

// demands checks that what a bundle covers is all that it must, whatever it says itself.
func (x *completeness) demands() {
	claimed := make(map[string]bool)
	for _, key := range slices.Concat(x.covers.Whole, x.covers.None) {
		claimed[key] = true
	}
	parts := make(map[string]bool)
	for _, p := range x.covers.Part {
		parts[p.Key] = true
	}
	need := func(key string, why string) {
		if !claimed[key] && !parts[key] && x.linked() {
			x.problem(coversFile, "it does not say that all about %s is here, %s: records about it may be left out", key, why)
			claimed[key] = true
		}
	}
	kind, name, _ := strings.Cut(x.covers.Of, " ")
	if kind != "trip" {
		need(x.covers.Of, "which it is made for")
	}
	need("site "+siteOf(x.name), "whose policy is judged by")
	for _, key := range slices.Sorted(maps.Keys(x.chains)) {
		if known, _ := x.then(x.chains[key]); events.IsAwaited(key) && len(known) > 0 {
			need(key, fmt.Sprintf("which was corrected before it came, see record %d", known[0].seq))
		}
	}
	counts := func(e *entry) bool { return x.covers.AsOf.IsZero() || e.seq <= x.covers.Upto }
	registers := registersIn(x.all, counts)
	x.asksTests = slices.ContainsFunc(x.all, func(e *entry) bool { return counts(e) && AsksTests(e.event) })
	own := false // the trip asked for
	for _, e := range x.all {
		if e.event.Station != x.name {
			need("station "+e.event.Station, fmt.Sprintf("which made record %d", e.seq))
		}
		if !x.covers.AsOf.IsZero() && e.seq > x.covers.Upto {
			continue // it only shows where something ended
		}
		if kind == "trip" && e.event.Trip == name && e.event.Kind() == events.KindSetPacked {
			own = true
			need("set "+e.event.Subject, "whose turn it is made for")
			x.inside("set "+e.event.Subject, e)
		}
		if kind == "case" && events.CaseOf(e.event.Data) == name && e.event.Kind().AboutSet() {
			need("set "+e.event.Subject, "which was used in the case")
			x.inside("set "+e.event.Subject, e)
		}
		if set := "set " + e.event.Subject; e.event.Kind().AboutSet() && (claimed[set] || parts[set]) && x.within[e.seq] {
			x.needs(e, need)
		}
		if e.event.Kind().AboutSet() || events.WorkOf(e.event.Kind()) != "" {
			for _, key := range Entries(e.event, registers) {
				need("entry "+key, fmt.Sprintf("by which record %d is judged", e.seq))
			}
		}
	}
	if kind == "trip" && !own && x.linked() {
		x.problem(coversFile, "MISSING: the packing that began trip %s", name)
	}
}

// registersIn returns the registers that were ever held to, as far as the records say that count.
func registersIn(all []*entry, counts func(*entry) bool) map[events.Register]bool {
	out := make(map[events.Register]bool)
	for _, e := range all {
		if d, ok := e.event.Data.(*events.RegistersAdopted); ok && counts(e) {
			for _, r := range d.Registers {
				out[r] = true
			}
		}
	}
	return out
}

// Entries returns the entries that an event is judged by where a site has ever held to some registers. The set whose
// code may stand in the place of a person is asked for too.
func Entries(e *events.Event, registers map[events.Register]bool) []string {
	if len(registers) == 0 {
		return nil
	}
	var out []string
	for _, key := range events.EntriesOf(e) {
		r, id := events.SplitEntryKey(key)
		if registers[r] {
			out = append(out, key)
		}
		if r == events.RegisterPeople && registers[events.RegisterSets] && registers[r] {
			out = append(out, events.EntryKey(events.RegisterSets, id))
		}
		if r == events.RegisterPeople && !registers[r] {
			out = append(out, key) // access claimed in an emergency counts for other registers too
		}
	}
	return out
}

// inside checks that a record lies in the part of its set that is covered.
func (x *completeness) inside(key string, e *entry) {
	in, any := false, false
	for _, p := range x.covers.Part {
		if p.Key == key {
			any, in = true, in || e.seq >= p.From && e.seq <= p.To
		}
	}
	if any && !in && !slices.Contains(x.covers.Whole, key) {
		x.problem(coversFile, "the part of %s that it covers leaves out record %d", key, e.seq)
	}
}

// AsksTests reports whether an event is a policy that a sterilizer's day begins with tests by.
func AsksTests(e *events.Event) bool {
	p, ok := e.Data.(*events.PolicyAdopted)
	return ok && len(p.Policy.DayTests) > 0
}

// TestsOf is what the tests of the day are about that a load was released by, "" where no policy ever asked for any.
func TestsOf(e *events.Event, asked bool) string {
	d, ok := e.Data.(*events.SetSterilized)
	if !ok || d.Day == "" && !asked {
		return ""
	}
	return events.AboutTests(d.Sterilizer, d.DayOf(e.Time))
}

// needs demands what the records of a covered set refer to.
func (x *completeness) needs(e *entry, need func(key, why string)) {
	why := fmt.Sprintf("to which record %d refers", e.seq)
	switch d := e.event.Data.(type) {
	case *events.SetPacked:
		need("list "+d.List, why)
	case *events.SetSterilized:
		need("load "+d.Load, why)
		if tests := TestsOf(e.event, x.asksTests); tests != "" {
			need(tests, why)
		}
	}
}

// linked reports whether anything here is linked: else an earlier program recorded it, and nothing can be shown.
func (x *completeness) linked() bool {
	return slices.ContainsFunc(x.all, func(e *entry) bool { return len(e.links) > 0 })
}

// beyond lists the records that lie in nothing that is covered.
func (x *completeness) beyond() {
	for _, e := range x.all {
		if _, ok := e.event.Data.(*events.RecordsMapped); !ok && !x.within[e.seq] && (len(e.links) > 0 || x.out.Earlier == 0) {
			x.out.Beyond = append(x.out.Beyond, e.seq)
		}
	}
}

func siteOf(station string) string {
	site, _, _ := strings.Cut(station, "/")
	return site
}

// Hole is what is missing in a station's own numbering between its first and its last record in a bundle.
type Hole struct {
	Station string `json:"station"`
	Numbers string `json:"numbers"` // "25, 30, 35 to 38"
	Count   int64  `json:"count"`
	// Outside: it is proved that nothing is left out of what the bundle covers, so these are about something else.
	Outside bool `json:"outside"`
}

// holes finds what is missing in the stations' numbering.
func (r *Report) holes(all []*entry, c *Covers) {
	numbers := make(map[string][]int64)
	for _, e := range all {
		if c != nil && !c.AsOf.IsZero() && e.seq > c.Upto {
			continue // what came later only shows where something ended
		}
		numbers[e.event.Station] = append(numbers[e.event.Station], e.event.StationSeq)
	}
	for _, station := range slices.Sorted(maps.Keys(numbers)) {
		ns := numbers[station]
		slices.Sort(ns)
		h := Hole{Station: station, Outside: r.Coverage != nil && r.Coverage.Proven}
		var spans []string
		for i := 1; i < len(ns); i++ {
			switch from, to := ns[i-1]+1, ns[i]-1; {
			case from > to:
				continue
			case from == to:
				spans = append(spans, fmt.Sprint(from))
			default:
				spans = append(spans, fmt.Sprintf("%d to %d", from, to))
			}
			h.Count += ns[i] - ns[i-1] - 1
		}
		if h.Count > 0 {
			h.Numbers = strings.Join(spans, ", ")
			r.Holes = append(r.Holes, h)
		}
	}
}

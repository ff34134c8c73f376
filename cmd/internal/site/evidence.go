package site

import (
	"context"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"sort"
	"strings"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/words"
)

// recorder notes which records a judgement asked for.
type recorder struct {
	facts.Source
	seqs     map[int64]bool
	stations map[string]bool
}

// Facts implements facts.Source.
func (r *recorder) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	found, err := r.Source.Facts(dim, key)
	r.note(found)
	return found, err
}

// Around implements facts.Source: which trip an observation belongs to rests on
// the packings about its time.
func (r *recorder) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	found, err := r.Source.Around(set, at, n)
	r.note(found)
	return found, err
}

func (r *recorder) note(found []facts.Fact) {
	for _, f := range found {
		r.seqs[f.Seq] = true
		if f.Event != nil {
			r.stations[f.Event.Station] = true
		}
	}
}

// Evidence implements Service: the history asked for and every record its judgement rests on, with all that is recorded
// about what these are about, so that nothing can be left out of it.
func (s *Site) Evidence(ctx context.Context, q Query, w io.Writer) error {
	if err := s.followsElsewhere(); err != nil { // the ledger signs what it is
		return err
	}
	if q.All {
		return s.wholeLedger(ctx, q, w)
	}
	q.Records = false
	m, err := s.newestMapping(ctx)
	if err != nil {
		return err
	}
	rec := &recorder{seqs: make(map[int64]bool), stations: make(map[string]bool)}
	c := bundle.Content{Key: s.vkey, Covers: &bundle.Covers{
		Of: s.keysOf(q)[0], AsOf: q.AsOf, Program: Program(), Judgement: bundle.Judgement(),
	}}
	h, err := Answer(s, func(v *View) (*projections.History, error) {
		c.Covers.Judged, c.Covers.Size = v.moment(q.AsOf), v.Position()
		if m != nil && c.Covers.Size < m.seq { // what it would say is all there is lacks some of it
			return nil, refusal.WithCode(http.StatusServiceUnavailable, "%d of the records are kept and not judged yet, and evidence would "+
				"lack them: try again in a minute; if it stays so, whoever runs the server finds in its log what to do", m.seq-c.Covers.Size)
		}
		return rec.history(ctx, v, q)
	})
	if err != nil {
		return err
	}
	// In the words of the program, not the site's own: the checker has no others.
	words.Embedded().TellHistory(h)
	h.Size = c.Covers.Size
	c.Story = &bundle.Story{History: h}
	g := &gathering{site: s, covers: c.Covers, seqs: rec.seqs, mapping: m, keysOf: s.keysOf(q)}
	if err := g.gather(ctx); err != nil {
		return err
	}
	c.Heads = g.heads
	for _, k := range s.keys[1:] { // which lead whoever knows an earlier key to that of now
		g.seqs[k.Since] = true
	}
	if err := s.prove(ctx, slices.Sorted(maps.Keys(g.seqs)), &c); err != nil {
		return err
	}
	return s.writeBundle(ctx, q, &c, w)
}

func (s *Site) writeBundle(ctx context.Context, q Query, c *bundle.Content, w io.Writer) (err error) {
	names, marks := make(map[string]int64), make(map[string]bool) // of a station, its first record
	c.RunLogs = s.logsOf(c.Records)
	for _, r := range c.Records {
		if text, err := events.Text(r.Record); err == nil {
			for _, m := range events.Marks(text) {
				marks[m] = true
			}
		}
		if station, _, err := routeOf(s.Name())(r.Record); err == nil && (names[station] == 0 || r.Seq < names[station]) {
			names[station] = r.Seq
		}
	}
	if c.Custody, err = s.Custody(ctx, func(name string) int64 { return names[name] }); err != nil {
		return err
	}
	c.Addenda = s.addenda.disclosures(marks)
	earlier := q.Earlier
	if c.Timestamp = s.timestamps.toShow(); c.Timestamp != nil {
		if cp, err := s.keys.OpenCheckpoint(c.Checkpoint, s.Name()); err != nil || cp.Size < c.Timestamp.Size {
			c.Timestamp = nil // of records that are lost, as was declared
		} else if cp.Size > c.Timestamp.Size {
			earlier = append(slices.Clone(earlier), c.Timestamp.Size)
		}
	}
	slices.Sort(earlier)
	for _, from := range slices.Compact(earlier) {
		p, err := s.consistency(from, c.Checkpoint)
		if err != nil {
			return err
		}
		c.Earlier = append(c.Earlier, *p)
	}
	return bundle.Write(w, *c, s.ledger.Signer())
}

// mostBytes bounds a bundle of the whole ledger, which is made in memory.
const mostBytes = 700 << 20

// wholeLedger writes a bundle of all records there are.
func (s *Site) wholeLedger(ctx context.Context, q Query, w io.Writer) error {
	if q.Set+q.Trip+q.Case+q.Load != "" || !q.AsOf.IsZero() {
		return refusal.New("the whole ledger is all there is now: ask for nothing besides")
	}
	checkpoint, err := s.ledger.Checkpoint(ctx)
	if err != nil {
		return err
	}
	cp, err := proof.OpenCheckpoint(checkpoint, s.Name(), s.ledger.Verifier())
	if err != nil {
		return err
	}
	c := bundle.Content{Key: s.vkey, Checkpoint: checkpoint, Covers: &bundle.Covers{
		Of: bundle.Everything, Size: cp.Size, Program: Program(), Judgement: bundle.Judgement(),
	}}
	bytes := 0
	err = s.ledger.Scan(ctx, 1, func(seq int64, record []byte) error {
		if seq > cp.Size {
			return io.EOF
		}
		if bytes += len(record); bytes > mostBytes {
			return refusal.New("the ledger is too large for one bundle, which is made in memory: hand out a copy of the folder log/, " +
				"which has all records and their tree (docs/FORMATS.md)")
		}
		c.Records = append(c.Records, bundle.Record{Seq: seq, Record: record})
		return nil
	})
	if err != nil && err != io.EOF { //nolint:errorlint // its own
		return err
	}
	vs, err := Answer(s, func(v *View) ([]projections.Verdict, error) {
		c.Covers.Judged = v.Moment()
		if v.Position() != cp.Size {
			return nil, refusal.New("records came meanwhile; ask once more")
		}
		vs, err := v.Worst(ctx)
		if err != nil {
			return nil, err
		}
		vs = slices.DeleteFunc(vs, func(v projections.Verdict) bool { return v.Station != "" })
		return vs, bundle.TellKnown(v.Source(ctx), v.Moment(), vs)
	})
	if err != nil {
		return err
	}
	for i := range vs {
		words.Embedded().Tell(&vs[i])
	}
	c.Story = &bundle.Story{Verdicts: vs}
	return s.writeBundle(ctx, q, &c, w)
}

// history asks for a history and notes what was looked at for it.
func (r *recorder) history(ctx context.Context, v *View, q Query) (*projections.History, error) {
	r.Source = v.known(ctx, q.AsOf)
	h, err := v.history(ctx, r, q, false)
	if err != nil {
		return nil, err
	}
	if err := bundle.TellKnown(r, v.moment(q.AsOf), h.Verdicts); err != nil {
		return nil, err
	}
	for _, e := range h.Events {
		r.seqs[e.Seq] = true
	}
	for name := range r.stations {
		enrolments, err := v.Enrolments(ctx, name)
		if err != nil {
			return nil, err
		}
		for _, seq := range enrolments {
			r.seqs[seq] = true
		}
	}
	return h, nil
}

// gathering adds to the records that a judgement rests on all others about the same, and the proofs of the newest.
type gathering struct {
	site    *Site
	covers  *bundle.Covers
	seqs    map[int64]bool
	mapping *mapping
	keysOf  []string // what is asked for, as the ledger links it
	heads   []proof.HeadProof
	proved  map[int]bool
}

// keysOf returns what a question is about, as the ledger links its records: a case is known there by the marks of its
// reference, and to an earlier program's records by the reference itself.
func (s *Site) keysOf(q Query) (keys []string) {
	if q.Trip == "" && q.Case != "" {
		for _, mark := range s.addenda.ofCase(q.Case) {
			keys = append(keys, Query{Case: mark}.describe())
		}
	}
	plain := q.describe()
	if linked, err := s.ledger.Linked(plain); len(keys) == 0 || err == nil && linked {
		keys = append(keys, plain)
	}
	return keys
}

// record is what gathering needs of one record.
type linkedRecord struct {
	event *events.Event
	links []proof.Link
}

func (g *gathering) read(seq int64) (linkedRecord, error) {
	raw, err := g.site.ReadRecord(seq)
	if err != nil {
		return linkedRecord{}, err
	}
	links, err := proof.Links(g.site.Name(), raw)
	if err != nil {
		return linkedRecord{}, err
	}
	e, err := g.site.SignedAt(seq)
	return linkedRecord{e, links}, err
}

func (g *gathering) gather(ctx context.Context) error {
	if !g.covers.AsOf.IsZero() {
		var err error
		if g.covers.Upto, err = g.site.lastBy(g.covers.AsOf); err != nil {
			return err
		}
		maps.DeleteFunc(g.seqs, func(seq int64, _ bool) bool { return seq > g.covers.Upto })
	}
	if g.mapping == nil {
		return nil
	}
	g.proved = make(map[int]bool)
	g.covers.Map = g.mapping.seq
	whole, sets, err := g.keys()
	if err != nil {
		return err
	}
	for _, set := range slices.Sorted(maps.Keys(sets)) {
		if err := g.part(ctx, set, sets[set]); err != nil {
			return err
		}
	}
	for done := make(map[string]bool); ; {
		n := len(done)
		for _, key := range slices.Sorted(maps.Keys(whole)) {
			if done[key] {
				continue
			}
			done[key] = true
			if err := g.whole(ctx, key); err != nil {
				return err
			}
		}
		// What was added has its own stations, and a covered set's records their lists and loads.
		if err := g.further(whole); err != nil {
			return err
		}
		if len(done) == n {
			break
		}
	}
	slices.Sort(g.covers.Whole)
	slices.Sort(g.covers.None)
	g.seqs[g.mapping.seq] = true
	return nil
}

// keys finds what the records at hand are about: what is taken whole, and the sets, each with its records at hand. A set
// that is there only because it was in the same load is covered by that.
func (g *gathering) keys() (whole map[string]bool, sets map[string][]int64, err error) {
	whole, sets = make(map[string]bool), make(map[string][]int64)
	kind, _, _ := strings.Cut(g.covers.Of, " ")
	if kind != "trip" {
		whole[g.covers.Of] = true
		for _, key := range g.keysOf {
			whole[key] = true
		}
	}
	whole["site "+SiteOf(g.site.Name())] = true
	loaded := make(map[string][]int64)
	for _, seq := range slices.Sorted(maps.Keys(g.seqs)) {
		r, err := g.read(seq)
		if err != nil {
			return nil, nil, err
		}
		for _, l := range r.links {
			switch kind, _, _ := strings.Cut(l.Key, " "); {
			case kind == "set" && r.event.Kind() == events.KindSetSterilized:
				loaded[l.Key] = append(loaded[l.Key], seq)
			case kind == "set":
				sets[l.Key] = append(sets[l.Key], seq)
			case kind != "case" || len(r.links) == 1:
				whole[l.Key] = true
			}
		}
	}
	for set, seqs := range loaded {
		if len(sets[set]) > 0 {
			sets[set] = append(sets[set], seqs...)
		}
	}
	for key := range whole {
		delete(sets, key)
	}
	return whole, sets, nil
}

// asksTests reports whether a policy that was gathered asks for the tests of a sterilizer's day.
func (g *gathering) asksTests() (bool, error) {
	for seq := range g.seqs {
		r, err := g.read(seq)
		if err != nil || g.known(seq) && bundle.AsksTests(r.event) {
			return err == nil, err
		}
	}
	return false, nil
}

// further adds what the records gathered by now refer to.
func (g *gathering) further(whole map[string]bool) error {
	registers := make(map[events.Register]bool)
	asksTests, err := g.asksTests()
	if err != nil {
		return err
	}
	var known []*events.Event
	covered := make(map[string]bool)
	for _, p := range g.covers.Part {
		covered[p.Key] = true
	}
	for seq := range g.seqs {
		r, err := g.read(seq)
		if err != nil {
			return err
		}
		if r.event.Station != g.site.Name() {
			whole["station "+r.event.Station] = true
		}
		for _, l := range r.links { // what it corrects came after it, or what corrects it before
			if events.IsAwaited(l.Key) && g.known(seq) {
				whole[l.Key] = true
			}
		}
		if g.known(seq) {
			known = append(known, r.event)
		}
		if d, ok := r.event.Data.(*events.RegistersAdopted); ok && g.known(seq) {
			for _, name := range d.Registers {
				registers[name] = true
			}
		}
		if set := "set " + r.event.Subject; g.known(seq) && (covered[set] || whole[set]) {
			switch d := r.event.Data.(type) {
			case *events.SetPacked:
				whole["list "+d.List] = true
			case *events.SetSterilized:
				whole["load "+d.Load] = true
				if tests := bundle.TestsOf(r.event, asksTests); tests != "" {
					whole[tests] = true
				}
			}
		}
	}
	for _, e := range known {
		for _, key := range bundle.Entries(e, registers) {
			whole["entry "+key] = true
		}
	}
	return nil
}

// chain returns the records about a key, the newest first, until stop says so or there are no more.
func (g *gathering) chain(ctx context.Context, key string, stop func(seq int64, r linkedRecord) bool) error {
	h, ok := g.mapping.heads.Get(key)
	for seq := h.Last; ok && seq > 0; {
		if err := ctx.Err(); err != nil {
			return err
		}
		r, err := g.read(seq)
		if err != nil {
			return err
		}
		if stop(seq, r) {
			return nil
		}
		i := slices.IndexFunc(r.links, func(l proof.Link) bool { return l.Key == key })
		if i < 0 {
			return fmt.Errorf("record %d does not say that it is about %s, as a later one has it; see what verify says", seq, key)
		}
		seq = r.links[i].Prev
	}
	return nil
}

func (g *gathering) whole(ctx context.Context, key string) error {
	found, next := false, int64(0)
	err := g.chain(ctx, key, func(seq int64, _ linkedRecord) bool {
		if g.known(seq) {
			g.seqs[seq], found = true, true
		} else {
			next = seq
		}
		return false
	})
	if err != nil {
		return err
	}
	if next > 0 { // it shows what the last one was at the moment that is asked about
		g.seqs[next] = true
	}
	if found {
		g.covers.Whole = append(g.covers.Whole, key)
		return g.prove(key)
	}
	g.covers.None = append(g.covers.None, key)
	i, ok := g.mapping.heads.Find(key)
	if ok {
		return g.proveAt(i)
	}
	for _, place := range []int{i - 1, i} {
		if err := g.proveAt(place); err != nil {
			return err
		}
	}
	return nil
}

// known reports whether a record was there at the moment that is asked about.
func (g *gathering) known(seq int64) bool { return g.covers.AsOf.IsZero() || seq <= g.covers.Upto }

// part covers a set from the packing at or before its first record at hand to the packing after its last.
func (g *gathering) part(ctx context.Context, key string, at []int64) error {
	first, last := slices.Min(at), slices.Max(at)
	var chain []int64 // the newest first
	end := -1         // in chain: the packing after
	next := int64(0)  // came after the moment that is asked about
	err := g.chain(ctx, key, func(seq int64, r linkedRecord) bool {
		if !g.known(seq) {
			next = seq
			return false
		}
		packing := r.event.Kind() == events.KindSetPacked && "set "+r.event.Subject == key
		chain = append(chain, seq)
		if packing && seq > last {
			end = len(chain) - 1
		}
		return packing && seq <= first
	})
	if err != nil || len(chain) == 0 {
		return err
	}
	if end >= 0 {
		chain = chain[end:]
	} else if next > 0 {
		g.seqs[next] = true
	}
	for _, seq := range chain {
		g.seqs[seq] = true
	}
	g.covers.Part = append(g.covers.Part, bundle.Part{Key: key, From: chain[len(chain)-1], To: chain[0]})
	return g.prove(key)
}

// prove adds the proof of the newest record about a key.
func (g *gathering) prove(key string) error {
	if i, ok := g.mapping.heads.Find(key); ok {
		return g.proveAt(i)
	}
	return nil
}

func (g *gathering) proveAt(i int) error {
	if i < 0 || i >= g.mapping.heads.Len() || g.proved[i] {
		return nil
	}
	g.proved[i] = true
	p, err := g.mapping.heads.Prove(i)
	g.heads = append(g.heads, p)
	return err
}

// lastBy returns the last record that had arrived at a moment.
func (s *Site) lastBy(at time.Time) (last int64, err error) {
	n := sort.Search(int(s.ledger.Size()), func(i int) bool {
		raw, readErr := s.ledger.Read(int64(i) + 1)
		if readErr != nil {
			err = readErr
			return true
		}
		_, arrived, _, readErr := proof.ReadArrival(s.Name(), raw)
		if readErr != nil {
			err = readErr
		}
		return arrived.After(at)
	})
	return int64(n), err
}

// prove puts records into a bundle, with their proofs and the checkpoint that
// all of these lead to.
func (s *Site) prove(ctx context.Context, seqs []int64, c *bundle.Content) (err error) {
	if c.Checkpoint, err = s.ledger.Checkpoint(ctx); err != nil {
		return err
	}
	proofs, err := s.ledger.ProveMany(ctx, seqs)
	if err != nil {
		return err
	}
	if len(proofs) > 0 {
		c.Checkpoint = proofs[0].Checkpoint
	}
	for i, seq := range seqs {
		raw, err := s.ledger.Read(seq)
		if err != nil {
			return err
		}
		c.Records = append(c.Records, bundle.Record{Seq: seq, Record: raw, Proof: proofs[i]})
	}
	return nil
}

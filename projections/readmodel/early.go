package readmodel

import (
	"context"
	"errors"
	"maps"
	"runtime"
	"slices"
	"sync"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// A rebuild holds the facts of some months and not of all years. Where it holds too many it judges the turns that have been
// still for some time, writes their verdicts, and lets their facts go. What comes for them later makes them be judged again at
// the end, from the tables, as a fact that is followed does: see letgo.go of facts.

// bulkWorld is how many facts are held before turns are judged early, and stillFor for how many records a turn must have been
// still then.
const (
	bulkWorld = 60_000
	stillFor  = 20_000
)

// early is what was judged before the end of a bulk.
type early struct {
	rests [][]tripRests // of the verdicts that are not in rests_on yet
	n     int           // questions in rests
	lack  []projections.TripKey
	late  []int64 // records that can touch a verdict that was made early
	most  int     // how many facts may be held until more are let go
}

// needed is what a trip's verdict needed.
type needed struct {
	projections.TripKey
	facts.Needed
}

// worthCollecting is how many facts are worth a collection of their own when they are let go. Tests hold fewer, hundreds of times.
const worthCollecting = 10_000

// mostRests is how many questions are kept before they are put into rests_on: some 15 MB.
const mostRests = 500_000

// again keeps the turns that lack what was let go.
func (e *early) again(needs []needed) {
	for i := range needs {
		if needs[i].Lacks {
			e.lack = append(e.lack, needs[i].TripKey)
		}
	}
}

// bulkMark is where a batch ended, and when its last record was taken.
type bulkMark struct {
	seq int64
	at  time.Time
}

// noteLate keeps the records of facts that can touch a verdict that was made early.
func (m *Model) noteLate(fs []facts.Fact) {
	if m.early == nil {
		return
	}
	for i := range fs {
		if fs[i].Event != nil && m.world.Late(fs[i]) {
			m.early.late = append(m.early.late, fs[i].Seq)
		}
	}
}

// stillSince returns the last record before which a turn counts as still, and the moment; zero for none.
func (m *Model) stillSince(b *Batch) (since bulkMark) {
	m.marks = append(m.marks, bulkMark{m.pos, b.records[b.Len()-1].recorded})
	for len(m.marks) > 1 && m.marks[1].seq <= m.pos-m.stillFor {
		m.marks = m.marks[1:]
	}
	if first := m.marks[0]; first.seq <= m.pos-m.stillFor {
		return first
	}
	return bulkMark{}
}

// judgeStill judges the turns that have been still, and lets their facts go, where too many facts are held.
func (m *Model) judgeStill(ctx context.Context, b *Batch) error {
	since, most := m.stillSince(b), m.bulkWorld
	if m.early != nil {
		most = m.early.most
	}
	if m.world.Len() <= most || since.seq == 0 {
		return nil
	}
	if m.early == nil {
		m.early = new(early)
	}
	held, gone := m.world.Len(), m.world.Lets()
	keys := m.world.Still(since.seq, since.at)
	slices.SortFunc(keys, byTime)
	needs, err := m.judgeEarly(ctx, keys)
	if err != nil {
		return err
	}
	for i := range needs {
		gone.Judged(needs[i].TripKey, needs[i].Asks)
		gone.Judged(needs[i].TripKey, needs[i].Other)
	}
	m.world = m.world.LetGo(since.seq, since.at)
	if held > worthCollecting {
		runtime.GC() // what the next one waits for is reckoned from what is left, not from what was held
	}
	m.early.most = max(m.bulkWorld, m.world.Len()+m.bulkWorld/2)
	return nil
}

// judgeEarly judges turns, writes their verdicts and returns what they needed.
func (m *Model) judgeEarly(ctx context.Context, keys []projections.TripKey) (needs []needed, err error) {
	ctx, cancel := context.WithCancel(ctx)
	j := m.startJudging(ctx, keys)
	defer func() {
		cancel()
		j.ended.Wait() // what is gone must not change meanwhile
	}()
	e := m.early
	err = m.transact(ctx, func(w *writer) error {
		verdicts := verdictWriter{w: w, fresh: true}
		for _, chunk := range j.chunks {
			c := <-chunk
			if c.err != nil {
				return c.err
			}
			if err := verdicts.write(c.verdicts); err != nil {
				return err
			}
			e.again(c.needs)
			needs = append(needs, c.needs...)
		}
		for _, part := range <-j.asked {
			e.rests = append(e.rests, part)
			for i := range part {
				e.n += len(part[i].rests)
			}
		}
		if e.n <= m.mostRests {
			return nil
		}
		all := restsOfAll(e.rests)
		e.rests, e.n = nil, 0
		return w.writeRests(ctx, all)
	})
	return needs, err
}

// judgeAgain judges what can't be as it was judged early: what facts that came later touch, what needed some that were let go,
// what positive results reach, and the stations. It can ask the tables for everything.
func (m *Model) judgeAgain(ctx context.Context) error {
	e := m.early
	if m.early = nil; e == nil {
		return nil
	}
	trips, stations := make(map[projections.TripKey]struct{}), make(map[string]struct{})
	for _, k := range e.lack {
		trips[k] = struct{}{}
	}
	for _, st := range m.audit.Stations() {
		stations[st.Name] = struct{}{}
	}
	positive, err := m.seqs(ctx, `SELECT seq FROM events WHERE positive = 1`)
	if err != nil {
		return err
	}
	late := slices.Concat(e.late, positive)
	slices.Sort(late)
	for _, seq := range slices.Compact(late) {
		f, err := m.factAt(ctx, seq)
		if err != nil {
			return err
		}
		m.world.Add(f)
		if err := m.touch(ctx, []facts.Fact{f}, trips, stations); err != nil {
			return err
		}
		if m.world.Len() > m.bulkWorld/2 {
			if err := m.resetWorld(ctx); err != nil {
				return err
			}
		}
	}
	if err := m.resetWorld(ctx); err != nil {
		return err
	}
	if err := m.judgeTables(ctx, slices.SortedFunc(maps.Keys(trips), byTime)); err != nil {
		return err
	}
	of, err := m.verdicts(nil, stations, nil)
	if err != nil {
		return err
	}
	if err := m.resetWorld(ctx); err != nil {
		return err
	}
	return m.transact(ctx, func(w *writer) error {
		for _, v := range of {
			if err := w.writeStationVerdict(v); err != nil {
				return err
			}
		}
		return nil
	})
}

// judgeTables judges turns from the tables, and writes their verdicts.
func (m *Model) judgeTables(ctx context.Context, keys []projections.TripKey) error {
	const atOnce = 2000
	for part := range slices.Chunk(keys, atOnce) {
		n := min(judges, runtime.GOMAXPROCS(0))
		verdicts, errs := make([][]judged, n), make([]error, n)
		var all sync.WaitGroup
		for i := range n {
			all.Go(func() {
				verdicts[i], errs[i] = m.judgeFew(ctx, part[i*len(part)/n:(i+1)*len(part)/n])
			})
		}
		all.Wait()
		if err := errors.Join(errs...); err != nil {
			return err
		}
		err := m.transact(ctx, func(w *writer) error {
			return (verdictWriter{w: w}).write(slices.Concat(verdicts...))
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (m *Model) judgeFew(ctx context.Context, keys []projections.TripKey) (out []judged, err error) {
	w := judge.NewWorld(m.source(ctx))
	w.SetMoment(m.moment)
	for _, k := range keys {
		v, err := m.judgeTrip(w, k)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

package readmodel

import (
	"cmp"
	"context"
	"runtime"
	"slices"
	"sync"

	"listbound/projections"
	"listbound/projections/judge"
)

// judgeAll writes every verdict. Judging starts while the indexes are made: a
// complete working memory asks the tables for nothing.
func (m *Model) judgeAll(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	keys := m.world.Trips()
	var before [][]tripRests
	if m.early != nil {
		keys, before = slices.DeleteFunc(keys, m.world.Lets().IsJudged), m.early.rests
	}
	slices.SortFunc(keys, byTime)
	j := m.startJudging(ctx, keys)
	j.ended.Go(func() { j.rests <- restsOfAll(slices.Concat(before, <-j.asked)) })
	defer func() {
		cancel()
		j.ended.Wait() // the working memory is used again
	}()
	if _, err := m.write.ExecContext(ctx, indexes); err != nil {
		return err
	}
	if err := m.writeJudged(ctx, j); err != nil {
		return err
	}
	return m.index(ctx)
}

// byTime orders trips by their ids, which begin with the time of packing: what was
// derived of a case is at hand for all its sets.
func byTime(a, b projections.TripKey) int {
	return cmp.Or(cmp.Compare(a.Trip, b.Trip), cmp.Compare(a.Set, b.Set))
}

// judging is the judgement of all trips, by as many goroutines as there are
// processors, up to judges.
type judging struct {
	chunks []chan judgedChunk // each gets one: a stretch of the trips
	asked  chan [][]tripRests // gets what all asked when all are judged
	rests  chan *allRests     // gets the same in the order of the table
	ended  sync.WaitGroup
}

const (
	judges  = 4
	inChunk = 8000 // trips at most
)

type judgedChunk struct {
	verdicts []judged
	needs    []needed // of each trip, where facts were let go
	err      error
}

// startJudging gives each goroutine a stretch of the trips.
func (m *Model) startJudging(ctx context.Context, keys []projections.TripKey) *judging {
	n := min(judges, runtime.GOMAXPROCS(0))
	parts := slices.Collect(slices.Chunk(keys, max(1, min(inChunk, len(keys)/(4*n)))))
	j := &judging{chunks: make([]chan judgedChunk, len(parts)), asked: make(chan [][]tripRests, 1), rests: make(chan *allRests, 1)}
	for i := range j.chunks {
		j.chunks[i] = make(chan judgedChunk, 1)
	}
	asked := make([][]tripRests, len(parts))
	var all sync.WaitGroup
	for i := range n {
		w := m.world.Beside()
		all.Go(func() {
			for at := i * len(parts) / n; at < (i+1)*len(parts)/n; at++ {
				c := m.judgeChunk(ctx, w, parts[at])
				asked[at] = restsOfTrips(c.verdicts)
				j.chunks[at] <- c
			}
		})
	}
	j.ended.Go(func() {
		all.Wait()
		j.asked <- asked
	})
	return j
}

func (m *Model) judgeChunk(ctx context.Context, w *judge.World, keys []projections.TripKey) judgedChunk {
	if err := ctx.Err(); err != nil {
		return judgedChunk{err: err}
	}
	verdicts := make([]judged, 0, len(keys))
	var needs []needed
	for _, k := range keys {
		var v judged
		var n needed
		var err error
		if m.early == nil {
			v, err = m.judgeTrip(w, k)
		} else if v, n, err = judgeHeld(w, k); err == nil {
			needs = append(needs, n)
		}
		if err != nil {
			return judgedChunk{err: err}
		}
		if !n.Lacks {
			verdicts = append(verdicts, v)
		}
	}
	// In the order of the rows, so that few are inserted between others.
	slices.SortFunc(verdicts, func(a, b judged) int {
		return cmp.Or(cmp.Compare(a.Set, b.Set), cmp.Compare(a.Trip, b.Trip))
	})
	return judgedChunk{verdicts: verdicts, needs: needs}
}

func (m *Model) writeJudged(ctx context.Context, j *judging) error {
	return m.transact(ctx, func(w *writer) error {
		verdicts := verdictWriter{w: w, fresh: true}
		for _, chunk := range j.chunks {
			c := <-chunk
			if c.err != nil {
				return c.err
			}
			if err := verdicts.write(c.verdicts); err != nil {
				return err
			}
			m.early.again(c.needs)
		}
		if err := w.writeRests(ctx, <-j.rests); err != nil || m.early != nil {
			return err // what the stations did may have been let go
		}
		for _, st := range m.audit.Stations() {
			v, err := m.world.JudgeStation(*st)
			if err != nil {
				return err
			}
			if err := w.writeStationVerdict(v); err != nil {
				return err
			}
		}
		return nil
	})
}

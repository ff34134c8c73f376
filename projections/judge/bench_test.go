package judge

import (
	"fmt"
	"testing"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// quietWorld has n trips of whole chains, ten facts each, and the facts.
func quietFacts(n, lines int) ([]facts.Fact, []projections.TripKey) {
	s := newStory()
	quantities := make([]int64, lines)
	for i := range quantities {
		quantities[i] = int64(1 + i%6)
	}
	l := s.list("LAP-MAJOR", 1, quantities...)
	var keys []projections.TripKey
	for i := range n {
		x := newTurn(fmt.Sprintf("LAP-%03d", i%500), i/500, l)
		s.live(x)
		s.tell("cart", x.checkedAt().Add(3600*1e9), x.set, x.trip(), x.check)
		keys = append(keys, x.key())
	}
	return s.all, keys
}

func BenchmarkAdd(b *testing.B) {
	all, _ := quietFacts(20000, 10)
	b.ReportAllocs()
	w := NewWorld(nil)
	i := 0
	for b.Loop() {
		if i == len(all) {
			b.StopTimer()
			w, i = NewWorld(nil), 0
			b.StartTimer()
		}
		w.Add(all[i])
		i++
	}
}

func benchmarkTrips(b *testing.B, lines int) {
	all, keys := quietFacts(2000, lines)
	w := worldOf(all)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		v, err := w.Judge(keys[i%len(keys)])
		if err != nil || v.Status != projections.Whole {
			b.Fatal(show(v), err)
		}
		if i++; i%len(keys) == 0 {
			w.Gen++ // as in a rebuild, where no trip is judged twice
		}
	}
}

// BenchmarkAsking is BenchmarkJudgeTrip with the questions recorded.
func BenchmarkAsking(b *testing.B) {
	all, keys := quietFacts(2000, 10)
	w := worldOf(all)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if _, _, err := w.JudgeAsking(keys[i%len(keys)]); err != nil {
			b.Fatal(err)
		}
		if i++; i%len(keys) == 0 {
			w.Gen++
		}
	}
}

func BenchmarkJudgeTrip(b *testing.B) {
	for _, lines := range []int{10, 100} {
		b.Run(fmt.Sprintf("lines=%d", lines), func(b *testing.B) { benchmarkTrips(b, lines) })
	}
}

// BenchmarkJudgeCase judges all six sets of a case with 100 lines each, two of
// them with a misplaced piece.
func BenchmarkJudgeCase(b *testing.B) {
	s := newStory()
	quantities := make([]int64, 100)
	for i := range quantities {
		quantities[i] = int64(1 + i%6)
	}
	l := s.list("LAP-MAJOR", 1, quantities...)
	var keys []projections.TripKey
	for i := range 6 {
		x := newTurn(fmt.Sprintf("LAP-%03d", i), 0, l).forCase("K-0412")
		switch i {
		case 0:
			x.final.Counts[7].Counted--
		case 1:
			x.final.Counts[7].Counted++
		case 5:
			x.closed = &events.CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: []string{}}
		}
		s.live(x)
		keys = append(keys, x.key())
	}
	w := s.world()
	b.ReportAllocs()
	for b.Loop() {
		w.Gen++
		for _, k := range keys {
			if _, err := w.Judge(k); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkTouched(b *testing.B) {
	all, _ := quietFacts(2000, 10)
	w := worldOf(all)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if _, err := w.Touched(all[1+i%(len(all)-1)]); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

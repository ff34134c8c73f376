package judge

import (
	"slices"
	"testing"

	"listbound/events"
	"listbound/projections/facts"
)

// toldTales tells all tales, with what each is called.
func toldTales(tell func(name string, s *story)) {
	for _, x := range slices.Concat(
		readingTales(), recallTales(), countTales(), exchangeTales(), turnTales(), correctionTales(), indicatorTales(), neighbourTales(),
	) {
		s := newStory()
		x.tell(s)
		tell(x.name, s)
	}
}

// TestTalesAlone: each trip of a tale is judged alone, out of a Source, as it is
// with all facts at hand.
func TestTalesAlone(t *testing.T) {
	toldTales(func(name string, s *story) {
		w := s.world()
		for _, k := range w.Trips() {
			alone := sparing(&shelf{all: s.all})
			alone.SetMoment(s.now)
			if got, want := show(must(alone.Judge(k))), show(must(w.Judge(k))); got != want {
				t.Errorf("%s: %s alone is\n%s\nwith all facts at hand\n%s", name, s.name(k), got, want)
			}
		}
	})
}

// TestTalesPieceByPiece: of a tale told fact by fact, as it happened and backwards,
// what each fact touches is judged anew, and nothing else; at the end of it stands
// what judging everything gives. What is touched is found with all facts at hand, or
// out of a Source.
func TestTalesPieceByPiece(t *testing.T) {
	toldTales(func(name string, s *story) {
		want := verdicts(t, s.world())
		backwards := slices.Clone(s.all)
		slices.Reverse(backwards)
		for how, all := range map[string][]facts.Fact{"as told": s.all, "backwards": backwards} {
			for _, partial := range []bool{false, true} {
				if testing.Short() && (!partial || how == "as told") {
					continue
				}
				kept := pieceByPiece(t, all, partial, s.now)
				for k, v := range want {
					if kept[k] != v {
						t.Errorf("%s, %s, partial=%t: %s is\n%s\nshould be\n%s", name, how, partial, s.name(k), kept[k], v)
					}
				}
			}
		}
	})
}

// TestTalesWithoutCorrections: a book in which corrections are left out judges as
// one that never heard of them; with none of them left out it judges as before.
func TestTalesWithoutCorrections(t *testing.T) {
	toldTales(func(name string, s *story) {
		for i := range s.all { // something is wrong with each record, so that stations have a verdict
			s.all[i].Remarks = events.RemarkGap
		}
		w := s.world()
		var corrections []*facts.Item
		bare := NewWorld(nil)
		bare.SetMoment(s.now)
		for _, f := range s.all {
			if f.Event.Kind() == events.KindEventCorrected {
				corrections = append(corrections, w.FactBySeq(f.Seq))
			} else {
				bare.Add(f)
			}
		}
		for _, x := range []struct {
			name string
			got  *World
			want *World
		}{
			{"without any left out", &World{Book: w.Without(nil)}, w},
			{"without corrections", &World{Book: w.Without(corrections)}, bare},
		} {
			if x.want == bare && len(corrections) == 0 {
				continue // the same as the first
			}
			for k, want := range verdicts(t, x.want) {
				if got := show(must(x.got.Judge(k))); got != want {
					t.Errorf("%s, %s: %s is\n%s\nshould be\n%s", name, x.name, s.name(k), got, want)
				}
			}
			for _, f := range s.all {
				d, ok := f.Event.Data.(*events.IndicatorRead)
				if !ok {
					continue
				}
				got := (&World{Book: x.got.Without(nil)}).ResultOf(d.Load) // a new book, which has asked for nothing yet
				if want := x.want.ResultOf(d.Load); len(got) != len(want) {
					t.Errorf("%s, %s: load %s has %d results, want %d", name, x.name, d.Load, len(got), len(want))
				}
			}
			for _, station := range []string{"north/packing-1", "north/sterilizer-2", "north/or-3", "north/ledger"} {
				got, err1 := x.got.JudgeStation(events.Station{Name: station})
				want, err2 := x.want.JudgeStation(events.Station{Name: station})
				if err1 != nil || err2 != nil || show(got) != show(want) {
					t.Errorf("%s, %s: %s is\n%s\nshould be\n%s (%v, %v)", name, x.name, station, show(got), show(want), err1, err2)
				}
			}
		}
	})
}

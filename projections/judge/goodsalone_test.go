package judge

import (
	"testing"

	"listbound/events"
	"listbound/projections"
)

// goodsKey is what goods of one case are called that lie with no set.
var goodsKey = projections.TripKey{Set: "GOODS-260304-7K3Q9A"}

// goods tells a count of ten pieces of gauze, or of as many as were found.
func (s *story) goods(ref string, hour, minute int, stage events.Stage, n int64, witness string) {
	x := events.Beyond{Line: 1, Item: "GZ-1010", Description: "Gauze", Sort: events.Sponges}
	if stage == events.StageFirst {
		x.Added = n
	}
	s.tell("or-3", clock(1, hour, minute), goodsKey.Set, "", &events.SetCounted{Case: ref, Stage: stage, Sheet: events.SheetScreen,
		Counter: "B-3310", Witness: witness, Counts: []events.Count{{Line: 1, Counted: n}}, Beyond: []events.Beyond{x}, Goods: "GOODS"})
}

func (s *story) goodsClosed(ref string) {
	s.tell("or-3", clock(1, 10, 0), ref, "", &events.CaseClosed{Case: ref, Outcome: "reconciled", Actions: []string{}})
}

// TestGoodsWithoutASet: what is counted of goods in a case without a set is judged as all counts are, and by nothing that is asked
// of a set: how it was packed, sterilized and opened.
func TestGoodsWithoutASet(t *testing.T) {
	const first, final = events.StageFirst, events.StageFinal
	for _, test := range []struct {
		name, want string
		status     projections.Status
		tell       func(s *story)
	}{
		{"counted right and closed", "", projections.Whole, func(s *story) {
			s.goods("K-9", 7, 0, first, 10, "B-3322")
			s.goods("K-9", 9, 0, final, 10, "B-3322")
			s.goodsClosed("K-9")
		}},
		{"one short at the end", "count-short:broken closed-unreconciled:broken", projections.Broken, func(s *story) {
			s.goods("K-9", 7, 0, first, 10, "B-3322")
			s.goods("K-9", 9, 0, final, 9, "B-3322")
			s.goodsClosed("K-9")
		}},
		{"closed without a final count", "count-missing:doubtful", projections.Doubtful, func(s *story) {
			s.goods("K-9", 7, 0, first, 10, "B-3322")
			s.goodsClosed("K-9")
		}},
		{"not counted again for a day", "overdue:doubtful overdue:doubtful", projections.Doubtful, func(s *story) {
			s.goods("K-9", 7, 0, first, 10, "B-3322")
			s.now = clock(3, 7, 0)
		}},
		{"never closed", "overdue:doubtful", projections.Doubtful, func(s *story) {
			s.goods("K-9", 7, 0, first, 10, "B-3322")
			s.goods("K-9", 9, 0, final, 10, "B-3322")
			s.now = clock(3, 7, 0)
		}},
		{"counted by one person", "count-one-person:doubtful", projections.Doubtful, func(s *story) {
			s.goods("K-9", 7, 0, first, 10, "")
			s.goods("K-9", 9, 0, final, 10, "")
			s.goodsClosed("K-9")
		}},
		{"short, and as many over with a set of the case: misplaced", "count-short:doubtful", projections.Doubtful, func(s *story) {
			x := newTurn("LAP-014", 0, s.list("LAP-MAJOR", 1, 6, 2, 4)).forCase("K-9")
			gauze := events.Beyond{Line: 61, Item: "GZ-1010", Description: "Gauze", Sort: events.Sponges, Added: 5}
			x.first.Counts = append(x.first.Counts, events.Count{Line: 61, Counted: 5})
			x.first.Beyond = []events.Beyond{gauze}
			gauze.Added = 0
			x.final.Counts = append(x.final.Counts, events.Count{Line: 61, Counted: 6})
			x.final.Beyond = []events.Beyond{gauze}
			s.live(x)
			s.goods("K-9", 7, 0, first, 10, "B-3322")
			s.goods("K-9", 9, 0, final, 9, "B-3322")
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			test.tell(s)
			v := judge(t, s.world(), goodsKey)
			if got := codes(v); got != test.want || v.Status != test.status || !v.Opened {
				t.Errorf("%s, %s; want %s, %s: %+v", v.Status, got, test.status, test.want, v)
			}
		})
	}
}

// TestGoodsStanding: goods need no list and no opening for the page that counts them, and are called as the last count says.
func TestGoodsStanding(t *testing.T) {
	s := newStory()
	s.list("OTHER", 1, 10)
	s.goods("K-9", 7, 0, events.StageFirst, 10, "B-3322")
	s.goods("K-9", 9, 0, events.StageFinal, 9, "B-3322")
	s.last(events.KindSetCounted).Event.Data.(*events.SetCounted).Goods = "OTHER"
	st, err := s.world().Standing(goodsKey)
	if err != nil || !st.Goods || !st.Opened || !st.Listed || st.List != "OTHER" || st.Title != "OTHER" || len(st.Stages) != 2 {
		t.Errorf("%+v, %v", st, err)
	}
}

// TestSetIsNoGoods: a count of a set is held to all that is asked of a set, whatever it says of goods.
func TestSetIsNoGoods(t *testing.T) {
	s, x := plain()
	x.final.Goods = "GOODS"
	x.run = nil
	s.live(x)
	if v := judge(t, s.world(), x.key()); len(find(v, projections.LinkMissing)) != 1 {
		t.Errorf("%s", codes(v))
	}
}

//go:build !race

package counts_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// choosing sends what the count's page sends before a case is chosen.
func choosing(h *workplacetest.House, n int, verb, rest string) map[string]any {
	h.After(3 * time.Second)
	return h.Post("/at/north/or-3/count/"+verb, fmt.Sprintf(`{"client":"t","n":%d,%s}`, n, rest))
}

// goodsAlone begins a count of goods in a case for which no set is open.
func goodsAlone(t *testing.T) (*workplacetest.House, *workplacetest.Counter) {
	t.Helper()
	h := workplacetest.NewHouse(t, "VAS-003")
	issueGoods(t, h)
	h.ChangesPolicy(func(p *events.Policy) {
		p.Stages = []events.Stage{events.StageFirst, events.StageFinal}
		p.Codes = []events.CodePattern{{Kind: events.ScanCase, Like: "K-9"}}
	})
	if page := h.Get("/at/north/or-3/count?case=K-1"); !strings.Contains(page, "go to Count and type the case there") {
		t.Error("the page of a case that nobody knows does not say how goods are counted in it")
	}
	size := h.Size()
	workplacetest.Must(t, choosing(h, 1, "scan", `"text":"VAS-003"`), "VAS-003 is not opened for a case")
	workplacetest.Must(t, choosing(h, 2, "scan", `"text":"MRN-77"`), "no case as this site writes them")
	workplacetest.Must(t, choosing(h, 3, "do", `"action":"goods-alone","fields":{"value":"VAS-MINOR K-1"}`), "no list of goods any more")
	a := choosing(h, 4, "scan", `"text":"K-1"`)
	workplacetest.Must(t, a, "K-1: no set is open for it")
	value := workplacetest.Answer(a).Choice("goods-alone")["value"]
	a = choosing(h, 5, "do", `"action":"goods-alone","fields":{"value":"`+value+`"}`)
	if !strings.HasSuffix(fmt.Sprint(a["go"]), "/count?case=K-1") || h.Size() != size {
		t.Fatalf("%v, %d records", a, h.Size()-size)
	}
	// Whoever comes back, or to another screen, goes on with the same.
	if a := choosing(h, 6, "scan", `"text":"K-1"`); !strings.HasSuffix(fmt.Sprint(a["go"]), "/count?case=K-1") {
		t.Fatalf("it is asked again: %v", a)
	}
	return h, &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
}

// nameOf is what the goods of the case are called.
func nameOf(a map[string]any) string {
	return a["state"].(map[string]any)["sets"].([]any)[0].(map[string]any)["set"].(string)
}

// TestGoodsWithoutASet: sponges and needles are counted in a case for which no set is open, in the same way: a needle that is short
// at the end is found, and once it is there nothing is left to find; the case is closed by its page.
func TestGoodsWithoutASet(t *testing.T) {
	h, k := goodsAlone(t)
	k.Scan("GZ-1010")
	h.After(3 * time.Second)
	a := k.Scan("ND-CT1")
	workplacetest.Must(t, a, "1 × Needle, CT-1 opened and counted: 1 now")
	goodsAre(t, a, "1 10/10", "2 1/1")
	name := nameOf(a)
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "whole", "First count recorded")
	if d := h.Last().Data.(*events.SetCounted); d.Goods != "GOODS" || len(d.Counts) != 2 || h.Last().Trip != "" {
		t.Errorf("recorded %+v", d)
	}
	page := h.Get("/at/north/or-3/count")
	if !strings.Contains(page, "?case=K-1") {
		t.Error("the case is not among the open ones")
	}
	h.After(time.Hour)
	k.Stage = "final"
	k.Do("begin")
	k.Lines(name, 10, 0)
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "broken", "1 × Needle, CT-1 short in "+name)
	v := h.Verdict(name, "")
	if v.Status != projections.Broken || len(v.Findings) != 1 || v.Findings[0].Code != projections.CountShort || !v.Opened {
		t.Errorf("judged %+v", v)
	}
	trace, err := site.Answer(h.Site, func(m *site.View) (projections.Trace, error) {
		return m.World(t.Context()).Trace(projections.TripKey{Set: name})
	})
	for _, l := range trace.Links {
		if err != nil || l.State == projections.LinkAbsent {
			t.Errorf("the report says that %s is missing of goods (%v)", l.Kind, err)
		}
	}
	h.After(10 * time.Minute)
	k.Do("begin")
	k.Lines(name, 10, 1)
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "Final count recorded")
	_, after, closed := h.Closes("K-1")
	if v = h.Verdict(name, ""); !closed || v.Status != projections.Whole || !v.Over {
		t.Errorf("closed: %v %v, judged %+v", closed, after, v)
	}
}

// TestGoodsBesideASet: goods that were counted before a set was open for the case stay where they are, and are reconciled with
// what lies with the set; the set's own judgement knows nothing of them.
func TestGoodsBesideASet(t *testing.T) {
	h, k := goodsAlone(t)
	name := nameOf(k.Scan("GZ-1010"))
	h.Open("VAS-003", "K-1")
	h.After(3 * time.Second)
	workplacetest.Must(t, k.Scan("GZ-1010"), "20 now")
	a := k.Lines("VAS-003", 4, 2, 3)
	if nameOf(a) != name && !strings.Contains(fmt.Sprint(a["state"]), name) {
		t.Fatalf("the goods are gone: %v", a["state"])
	}
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "whole", "First count recorded")
	counts := h.Events(site.Query{Case: "K-1"}, events.KindSetCounted)
	if len(counts) != 2 {
		t.Fatalf("%d counts", len(counts))
	}
	for _, d := range counts {
		if d := d.(*events.SetCounted); (d.Goods == "") == (len(d.Counts) == 1) {
			t.Errorf("recorded %+v", d)
		}
	}
}

// TestGoodsNameIsOneCase: what is counted as goods without a set is by a list of goods, and under a name that is no set's and no other
// case's.
func TestGoodsNameIsOneCase(t *testing.T) {
	h, k := goodsAlone(t)
	name := nameOf(k.Scan("GZ-1010"))
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "First count recorded")
	for _, test := range []struct{ set, trip, ref, goods, says string }{
		{name, "", "K-1", "GOODS", ""},
		{name, "", "K-2", "GOODS", "stands for the goods of another case"},
		{"VAS-003", "", "K-2", "GOODS", "VAS-003 is a set"},
		{"VAS-003", h.Trips["VAS-003"], "K-2", "GOODS", "have no trip"},
		{"GOODS-1", "", "K-2", "VAS-MINOR", "no list VAS-MINOR of goods"},
		{"GOODS-1", "", "K-2", "NONE", "no list NONE of goods"},
		{"GOODS-1", "", "K-2", "GOODS", ""},
	} {
		h.After(time.Minute)
		o := &events.Observation{Station: "north/or-3", Kind: events.KindSetCounted, Set: test.set, Trip: test.trip, Time: h.Clock(),
			Operator: "B-1", Data: &events.SetCounted{Case: test.ref, Stage: events.StageFinal, Sheet: events.SheetScreen,
				Counter: "B-1", Witness: "B-2", Goods: test.goods, Counts: []events.Count{{Line: 1, Counted: 10}},
				Beyond: []events.Beyond{{Line: 1, Item: "GZ-1010", Description: "Gauze", Sort: events.Sponges}}}}
		_, err := h.Site.Observe(t.Context(), o)
		if (err == nil) != (test.says == "") || err != nil && !strings.Contains(err.Error(), test.says) {
			t.Errorf("%+v: %v", test, err)
		}
	}
}

// TestGoodsBegunAtAnotherStage: goods that were counted before a set was open stay in sight, whichever count it was, and whoever
// closes the case is told that nobody signed them.
func TestGoodsBegunAtAnotherStage(t *testing.T) {
	h, k := goodsAlone(t)
	k.Stage = "relief"
	k.Do("begin")
	k.Scan("GZ-1010")
	before, _, closed := h.Closes("K-1")
	if workplacetest.Must(t, before, "Relief count of GOODS-", "is begun and not signed"); closed {
		t.Error("closed")
	}
	h.Open("VAS-003", "K-1")
	h.After(3 * time.Second)
	a := k.Scan("GZ-1010")
	workplacetest.Must(t, a, "20 now")
	before, _, _ = h.Closes("K-1")
	if workplacetest.Must(t, before, "First count of VAS-003 is missing",
		"Relief count of GOODS-"); strings.Contains(fmt.Sprint(before), "any more") {
		t.Errorf("the goods are said to be gone: %v", before)
	}
}

// TestGoodsOfASetOpenedAnew: a set is processed and opened once more for the same case. The sponges that were counted with it
// never left the field: they are counted on, and one that is not there at the end is found.
func TestGoodsOfASetOpenedAnew(t *testing.T) {
	h, k := goodsCase(t)
	sets := []string{"VAS-003", "VAS-004", "VAS-005"}
	k.Scan("GZ-1010")
	for _, set := range sets {
		k.Lines(set, 4, 2, 3)
	}
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "First count recorded")
	h.After(time.Hour)
	h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: 8400})
	h.Open("VAS-003", "K-1")
	count := func(stage string, gauze int, says ...string) {
		t.Helper()
		h.After(time.Minute)
		k.Stage = stage
		k.Do("begin")
		for _, set := range sets {
			if stage != "first" || set == "VAS-003" {
				k.Lines(set, 4, 2, 3)
			}
		}
		k.Post("enter", fmt.Sprintf(`"lines":[{"set":"VAS-003","line":4,"counted":%d}]`, gauze))
		workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), says...)
	}
	count("first", 10, "whole", "First count recorded")
	d := h.Last().Data.(*events.SetCounted)
	if len(d.Beyond) != 1 || d.Beyond[0].Added != 10 || d.Beyond[0].Item != "GZ-1010" {
		t.Errorf("recorded %+v", d)
	}
	count("closing", 10, "whole", "Closing count recorded")
	count("final", 9, "broken", "1 × Gauze", "short in VAS-003")
}

//go:build !race

package counts_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections"
)

// goodsTable is what a room counts that belongs to no set, as a table that people have.
const goodsTable = "Item,Description,Quantity,Kind\nGZ-1010,\"Gauze, X-ray detectable, 10 x 10 cm\",10,swabs\n" +
	"LS-4545,\"Laparotomy sponge, 45 x 45 cm\",5,Sponges\nND-CT1,\"Needle, CT-1\",1,sharp\nVL-1,Vessel loop,2,small items\n"

// issueGoods issues the list of goods by the form, and is told that it is one.
func issueGoods(t *testing.T, h *workplacetest.House) {
	t.Helper()
	form := map[string]string{"list": "GOODS", "title": "Counted in every room", "station": "north/packing-1", "badge": "B-1001",
		"table": goodsTable}
	h.PostList(form)
	form["issue"] = "1"
	h.PostList(form)
	d := h.Last().Data.(*events.ListIssued)
	want := []events.Sort{events.Sponges, events.Sponges, events.Sharps, events.SmallItems}
	for i, l := range d.Lines {
		if l.Sort != want[i] || !d.Goods {
			t.Fatalf("issued %+v", d)
		}
	}
}

// goodsCase is a house with goods and a case of three sets that is counted at first.
func goodsCase(t *testing.T) (*workplacetest.House, *workplacetest.Counter) {
	t.Helper()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004", "VAS-005")
	issueGoods(t, h)
	h.ChangesPolicy(func(p *events.Policy) {
		p.Stages = []events.Stage{events.StageFirst, events.StageClosing, events.StageFinal}
	})
	for _, set := range []string{"VAS-003", "VAS-004", "VAS-005"} {
		h.Open(set, "K-1")
	}
	h.After(time.Minute)
	return h, &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
}

// linesOf are the lines of the first set as a page's state has them: "LINE expected/counted".
func linesOf(a map[string]any) (out []string) {
	sets := a["state"].(map[string]any)["sets"].([]any)
	for _, l := range sets[0].(map[string]any)["lines"].([]any) {
		l := l.(map[string]any)
		counted, ok := l["counted"]
		if !ok {
			counted = "-"
		}
		out = append(out, fmt.Sprint(l["line"], " ", l["expected"], "/", counted))
	}
	return out
}

// goodsAre holds what the lines that stand before the set's own have.
func goodsAre(t *testing.T, a map[string]any, want ...string) {
	t.Helper()
	if got := linesOf(a)[:len(want)]; !slices.Equal(got, want) {
		t.Fatalf("%v, want %v", got, want)
	}
}

// TestGoods: sponges, needles and small items are counted with the case's sets: a pack is counted by being scanned as it is
// opened, what comes later is counted with the rest, and all of it is held against the count before.
func TestGoods(t *testing.T) {
	h, k := goodsCase(t)
	pack := func(code string) map[string]any {
		h.After(3 * time.Second)
		return k.Scan(code)
	}
	workplacetest.Must(t, pack("GZ-1010"), "whole", "10 × Gauze", "opened and counted: 10 now")
	workplacetest.Must(t, pack("gz-1010"), "opened and counted: 20 now")
	pack("LS-4545")
	workplacetest.Must(t, pack("LS-4545"), "10 now")
	for range 12 {
		k.Do("goods", "value", "ND-CT1 1")
	}
	a := k.Do("goods", "value", "ND-CT1 1")
	workplacetest.Must(t, a, "13 now")
	k.Number-- // sent again
	workplacetest.Must(t, k.Do("goods", "value", "ND-CT1 1"), "13 now")
	a = k.Do("goods", "value", "ND-CT1 -1")
	workplacetest.Must(t, a, "1 × Needle, CT-1 taken back")
	goodsAre(t, a, "4 20/20", "5 10/10", "6 12/12", "1 4/-")
	workplacetest.Must(t, k.Do("goods", "value", "VL-1 -2"), "this count added 0")
	for _, set := range []string{"VAS-003", "VAS-004", "VAS-005"} {
		k.Lines(set, 4, 2, 3)
	}
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "First count recorded")

	// More comes while the case goes on, and is counted by being opened.
	h.After(time.Hour)
	k.Stage = "added"
	k.Do("begin")
	workplacetest.Must(t, pack("GZ-1010"), "opened and counted: 30 now")
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "Added during the procedure recorded")

	// Before the wound is closed all of it is counted; two stay inside, and a pack comes that nobody said.
	h.After(time.Hour)
	k.Stage = "closing"
	k.Do("begin")
	a = pack("LS-4545")
	workplacetest.Must(t, a, "5 × Laparotomy sponge, 45 x 45 cm came: 15 now", "Count that line")
	goodsAre(t, a, "4 30/-", "5 15/-", "6 12/-", "1 4/-")
	k.Do("removed", "set", "VAS-003", "line", "4", "quantity", "2", "reason", "bleeding from the liver bed", "stays", "1")
	for _, set := range []string{"VAS-003", "VAS-004", "VAS-005"} {
		k.Lines(set, 4, 2, 3)
	}
	for line, n := range map[int]int{4: 28, 5: 15, 6: 11} {
		k.Post("enter", fmt.Sprintf(`"lines":[{"set":"VAS-003","line":%d,"counted":%d}]`, line, n))
	}
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "broken", "1 × Needle, CT-1 short in VAS-003", "stays in the patient on purpose",
		"bleeding from the liver bed")
	heldGoods(t, h, k)
}

// heldGoods goes on with TestGoods: the needle is found, the case is closed, and what stays is told.
func heldGoods(t *testing.T, h *workplacetest.House, k *workplacetest.Counter) {
	t.Helper()
	h.After(time.Hour)
	k.Stage = "final"
	k.Do("begin")
	if page := h.Get("/at/north/or-3/count?case=K-1&stage=final"); !strings.Contains(page, "stays in the patient on purpose") {
		t.Error("the next count isn't told what stays")
	}
	for _, set := range []string{"VAS-003", "VAS-004", "VAS-005"} {
		k.Lines(set, 4, 2, 3)
	}
	for line, n := range map[int]int{4: 28, 5: 15, 6: 12} {
		k.Post("enter", fmt.Sprintf(`"lines":[{"set":"VAS-003","line":%d,"counted":%d}]`, line, n))
	}
	workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "Final count recorded")
	before, after, closed := h.Closes("K-1")
	if !closed || !strings.Contains(fmt.Sprint(before, after), "stays in the patient on purpose") {
		t.Errorf("closed: %v; %v %v", closed, before, after)
	}
	var first *events.SetCounted
	for _, d := range h.Events(site.Query{Case: "K-1"}, events.KindSetCounted) {
		if d := d.(*events.SetCounted); first == nil && len(d.Beyond) > 0 {
			first = d
		}
	}
	want := []events.Beyond{
		{Line: 4, Item: "GZ-1010", Description: "Gauze, X-ray detectable, 10 x 10 cm", Added: 20, Sort: events.Sponges},
		{Line: 5, Item: "LS-4545", Description: "Laparotomy sponge, 45 x 45 cm", Added: 10, Sort: events.Sponges},
		{Line: 6, Item: "ND-CT1", Description: "Needle, CT-1", Added: 12, Sort: events.Sharps}}
	if !slices.Equal(first.Beyond, want) {
		t.Errorf("the first count names %+v", first.Beyond)
	}
	v := h.Verdict("VAS-003", h.Trip("VAS-003"))
	stays := slices.ContainsFunc(v.Findings, func(f projections.Finding) bool { return f.Code == projections.StaysOnPurpose })
	if v.Status != projections.Whole || !stays {
		t.Errorf("judged %+v", v)
	}
}

// TestGoodsOfADisputedLine: a pack that is opened settles nothing between two screens that counted its line differently.
func TestGoodsOfADisputedLine(t *testing.T) {
	h, k := goodsCase(t)
	k.Scan("GZ-1010")
	counts := func(client string, n int) map[string]any {
		return h.Post("/at/north/or-3/count/enter", fmt.Sprintf(`{"client":%q,"n":1000,"case":"K-1","stage":"first",`+
			`"lines":[{"set":"VAS-003","line":4,"counted":%d,"seen":0}]}`, client, n))
	}
	counts("x", 10)
	workplacetest.Must(t, counts("y", 9), "Two people say")
	for _, is := range []struct{ add, line string }{
		{"GZ-1010 10", "4 20/-"}, {"GZ-1010 -10", "4 10/-"}, {"GZ-1010 -10", "4 0/-"}, {"GZ-1010 10", "4 10/-"},
	} {
		goodsAre(t, k.Do("goods", "value", is.add), is.line)
	}
	goodsAre(t, counts("z", 10), "4 10/10")
}

// TestGoodsAreNotPacked: no set is packed by a list of goods, and packing doesn't offer it.
func TestGoodsAreNotPacked(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	issueGoods(t, h)
	o := &events.Observation{Station: "north/packing-1", Kind: events.KindSetPacked, Set: "NEW-1", Time: h.Clock(), Operator: "B-1",
		Data: &events.SetPacked{List: "GOODS", Version: 1}}
	if _, err := h.Site.Observe(t.Context(), o); err == nil || !strings.Contains(err.Error(), "no set is packed by it") {
		t.Errorf("packed by goods: %v", err)
	}
	page := h.PostList(map[string]string{"list": "VAS-MINOR", "title": "t", "station": "north/packing-1",
		"badge": "B-1", "table": goodsTable})
	if !strings.Contains(page, "Give this table a list of its own") {
		t.Error("goods are taken for a new version of a set's list")
	}
	for table, says := range map[string]string{
		"item,description,quantity,sort\nA,Gauze,10,cloth\n":               "is no kind of goods; they are sponges, sharps, small items",
		"item,description,quantity,sort\nA,Gauze,10,sponges\nB,Clamp,1,\n": "line 2: sort is missing",
		"item,description,quantity,sort\nA,Gauze,0,sponges\n":              "a pack has at least one piece",
	} {
		page := h.PostList(map[string]string{"list": "G2", "title": "t", "station": "north/packing-1", "badge": "B-1", "table": table})
		if !strings.Contains(page, says) {
			t.Errorf("%q: doesn't say %q", table, says)
		}
	}
}

// TestGoodsAsQuickAsPaper: a case of three sets, 30 sponges and 12 needles counted right three times takes no more inputs than
// marks on paper. On paper (common practice, no source) a count is a tick for each line and sort, a number for each pack that is
// opened, the time, and the names of two.
func TestGoodsAsQuickAsPaper(t *testing.T) {
	h, k := goodsCase(t)
	const sets, lines, packs, needles, sorts = 3, 3, 3, 12, 2
	paper := packs + needles + sets*lines + 3 // at first: a sort is counted as its packs are opened
	paper += 2 * (sets*lines + sorts + 3)     // before closing, and at the end
	for range packs {
		h.After(3 * time.Second)
		k.Scan("GZ-1010")
	}
	for range needles {
		k.Do("goods", "value", "ND-CT1 1")
	}
	for _, stage := range []string{"first", "closing", "final"} {
		if k.Stage = stage; stage != "first" {
			h.After(time.Hour)
			k.Do("begin")
			k.Post("enter", `"lines":[{"set":"VAS-003","line":4,"counted":30}]`)
			k.Post("enter", `"lines":[{"set":"VAS-003","line":5,"counted":12}]`)
		}
		for _, set := range []string{"VAS-003", "VAS-004", "VAS-005"} {
			k.Lines(set, 4, 2, 3)
		}
		workplacetest.Must(t, k.TwoBadges("B-1", "B-2"), "whole", "recorded")
	}
	t.Logf("%d inputs, %d marks on paper", k.Number, paper)
	if k.Number > paper {
		t.Errorf("%d inputs, %d marks on paper", k.Number, paper)
	}
}

// TestGoodsSentAgain: what a screen sends again because it had no answer lays in no second pack, though another screen said
// something in between; nor does a label that was read twice, sent again.
func TestGoodsSentAgain(t *testing.T) {
	h, _ := goodsCase(t)
	scan := func(client string, n int) map[string]any {
		return h.Post("/at/north/or-3/count/scan",
			fmt.Sprintf(`{"client":%q,"n":%d,"case":"K-1","stage":"first","text":"GZ-1010"}`, client, n))
	}
	for _, in := range []struct {
		client string
		n      int
		after  time.Duration
		line   string
	}{
		{"a", 1, 0, "4 10/10"},
		{"a", 2, time.Second, "4 10/10"}, // one label, read twice
		{"a", 2, time.Second, "4 10/10"}, // and sent again
		{"b", 1, 3 * time.Second, "4 20/20"},
		{"a", 1, 3 * time.Second, "4 20/20"}, // sent again
		{"a", 2, 3 * time.Second, "4 20/20"},
		{"a", 3, 3 * time.Second, "4 30/30"},
	} {
		h.After(in.after)
		a := scan(in.client, in.n)
		if got := linesOf(a)[0]; got != in.line {
			t.Errorf("%s %d: %s, want %s", in.client, in.n, got, in.line)
		}
	}
}

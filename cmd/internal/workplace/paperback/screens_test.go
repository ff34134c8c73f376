//go:build !race

package paperback_test

import (
	"os"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// The page's questions about what is recorded already, about days and about blank forms have nothing that axe finds. On a phone
// in German, and with LISTBOUND_SHOTS, which keeps pictures of them, on a tablet and in English too.
func TestQuestionsAsTheyLook(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	b := browsertest.Start(t)
	tabs := map[string]*browsertest.Tab{"phone": b.Tab(t, workplacetest.Phone)}
	langs := []string{"de"}
	if os.Getenv("LISTBOUND_SHOTS") != "" {
		tabs["tablet"], langs = b.Tab(t, workplacetest.Tablet), []string{"de", "en"}
	}
	looks := func(name string) {
		t.Helper()
		for size, p := range tabs {
			for _, lang := range langs {
				p.Open(h.At("readback") + "?lang=" + lang)
				p.Await(`document.querySelector("#scan").dataset.ready`)
				p.Axe()
				p.View("readback-" + name + "-" + size + "-" + lang)
			}
		}
	}
	h.Open("VAS-003", "K-0412")
	h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: "K-0412", Stage: events.StageFirst, Sheet: "screen",
		Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 1}, {Line: 3, Counted: 3}}})
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: "K-0412", Outcome: "unreconciled",
		Actions: []string{"x-ray"}, Reason: "not found", Witness: "B-3322"})
	h.After(4 * time.Hour)
	q := at(t, h)
	lay(h, "VAS-003", "ttt")
	q.Do("enter")
	q.Do("case", "case", "K-0412")
	looks("closed")
	closed := q.again()["choices"].([]any)[0].(map[string]any)["value"].(string)
	q.Do("closed", "value", closed)
	looks("recorded")
	q.Do("aside")
	lay(h, "VAS-004", "ttt")
	q.Do("take-up", "value", h.Codes["VAS-004"])
	q.Do("case", "case", "K-0413")
	looks("known")
	q.Do("case-sure", "value", "K-0413")
	looks("day")
	q.Do("day", "value", "2026-03-04")
	q.typed("0800")
	q.Do("found", "value", "unknown")
	q.Do("not-stage")
	q.typed("0715")
	looks("moment")
	q.Do("aside")
	q.Do("form")
	looks("form")
	q.Do("form", "set", "VAS-004")
	q.Do("case", "case", "K-0412")
	q.Do("closed", "value", closed)
	q.Do("day", "value", "2026-03-04")
	q.typed("0800")
	q.Do("made")
	q.Do("not-stage")
	q.people("0810")
	looks("typed")
	q.Do("aside")
	goodsLook(h, q, looks)
}

// goodsLook looks at what is asked of goods.
func goodsLook(h *workplacetest.House, q *bench, looks func(name string)) {
	h.Goods = workplacetest.Goods().Lines
	h.Record("north/or-3", events.KindSetCounted, "VAS-004", &events.SetCounted{Case: "K-0413", Stage: events.StageAdded, Sheet: "screen",
		Counter: "B-3310", Witness: "B-3322", Counts: []events.Count{{Line: 4, Counted: 5}},
		Beyond: []events.Beyond{{Line: 4, Description: "Pledget", Sort: events.SmallItems}}})
	h.LayPaper("VAS-004", "VAS-MINOR", 1, workplacetest.PaperPage{Page: 1, First: 1,
		Marks: map[events.Stage]string{events.StageFirst: "ttt", events.StageFinal: "ttt"},
		Goods: map[events.Stage]string{events.StageFirst: "eeen", events.StageAdded: "eeen", events.StageFinal: "eeen"}})
	q.Do("take-up", "value", h.Codes["VAS-004"])
	q.Do("case", "case", "K-0413")
	q.Do("day", "value", "2026-03-04")
	q.typed("0800")
	q.Do("found", "value", "unknown")
	q.people("0810")
	q.people("0910")
	looks("goods")
	q.typed("10+5")
	q.asks("G4: what is written there as the name?")
	looks("goods-name")
	q.Do("goods-name", "name", "Pledget", "sort", "small-items")
	q.asks("G4: 5 came by the paper")
	looks("goods-came")
	q.Do("came", "value", "same")
	q.typed("8")
	q.asks("G4, Final count: 8 is fewer than the sum of the row. Why?")
	looks("goods-fewer")
}

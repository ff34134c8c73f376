package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestLocalTime: pages and paper have the site's time and its unit of weight, the
// number of a load its day; records stay in UTC and grams.
func TestLocalTime(t *testing.T) {
	t.Parallel()
	h := houseWith(t, site.Options{Zone: "Asia/Tokyo", Weight: "lb"}, "VAS-003")
	for h.clock().Hour() < 16 { // past midnight in Tokyo
		h.after(time.Hour)
	}
	day := h.clock()
	s := &scanner{h: h, path: "/at/north/or-3/sterilizer"}
	s.do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	want := fmt.Sprintf("S1-%s-07", day.AddDate(0, 0, 1).Format("0102"))
	if got := h.get("/at/north/or-3/sterilizer"); !strings.Contains(got, want) {
		t.Errorf("the load is not numbered %s", want)
	}
	packed := h.events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	if len(packed) != 1 {
		t.Fatal("no packing")
	}
	// newHouse packs at 04 Mar 2026 in UTC; Tokyo is nine hours ahead all year.
	for path, says := range map[string]string{
		"/print/sheet.pdf?set=VAS-003&lang=en":     "JST",
		"/print/set-label.pdf?set=VAS-003&lang=en": "JST",
	} {
		if got := pdfText(t, []byte(h.get(path))); !strings.Contains(got, says) || strings.Contains(got, "UTC") {
			t.Errorf("%s: %q", path, got)
		}
	}
	p := browser(t).Tab(t, browsertest.Size{Name: "tablet", Width: 1024, Height: 768})
	p.Open(h.at("storage") + "?lang=en")
	if got := p.Text("body"); !strings.Contains(got, "Times are local: Asia/Tokyo, now UTC+09:00.") {
		t.Errorf("the page does not say where its times are: %q", got)
	}
	b := &scanner{h: h, path: "/at/north/or-3/packing"}
	b.scan(label(t, events.ScanSet, "VAS-009"))
	b.do("list", "list", "VAS-MINOR")
	for range 3 {
		b.scan("")
	}
	a := b.scan("18.5")
	if got := fmt.Sprint(a["bench"]); !strings.Contains(got, "18.50 lb") || strings.Contains(got, " kg") {
		t.Errorf("18.5 typed: %v", got)
	}
	b.scan(label(t, events.ScanBadge, "B-1182"))
	b.do("record")
	got := h.events(site.Query{Set: "VAS-009"}, events.KindSetPacked)
	if len(got) != 1 || got[0].(*events.SetPacked).WeightGrams != 8391 { // 18.5 x 453.59237
		t.Errorf("recorded is %+v", got)
	}
}

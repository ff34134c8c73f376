package workplace_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestLocalTime: pages and paper have the site's time and its unit of weight, the
// number of a load its day; records stay in UTC and grams.
func TestLocalTime(t *testing.T) {
	t.Parallel()
	h := workplacetest.HouseWith(t, site.Options{Zone: "Asia/Tokyo", Weight: "lb"}, "VAS-003")
	for h.Clock().Hour() < 16 { // past midnight in Tokyo
		h.After(time.Hour)
	}
	day := h.Clock()
	s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/sterilizer"}
	s.Do("begin", "sterilizer", "S1", "run", "7", "cycle", "c-134")
	want := fmt.Sprintf("S1-%s-07", day.AddDate(0, 0, 1).Format("0102"))
	if got := h.Get("/at/north/or-3/sterilizer"); !strings.Contains(got, want) {
		t.Errorf("the load is not numbered %s", want)
	}
	packed := h.Events(site.Query{Set: "VAS-003"}, events.KindSetPacked)
	if len(packed) != 1 {
		t.Fatal("no packing")
	}
	// newHouse packs at 04 Mar 2026 in UTC; Tokyo is nine hours ahead all year.
	for path, says := range map[string]string{
		"/print/sheet.pdf?set=VAS-003&lang=en":     "JST",
		"/print/set-label.pdf?set=VAS-003&lang=en": "JST",
	} {
		if got := workplacetest.PDFText(t, []byte(h.Get(path))); !strings.Contains(got, says) || strings.Contains(got, "UTC") {
			t.Errorf("%s: %q", path, got)
		}
	}
	p := workplacetest.Browser(t).Tab(t, browsertest.Size{Name: "tablet", Width: 1024, Height: 768})
	p.Open(h.At("storage") + "?lang=en")
	if got := p.Text("body"); !strings.Contains(got, "Times are local: Asia/Tokyo, now UTC+09:00.") {
		t.Errorf("the page does not say where its times are: %q", got)
	}
	b := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/packing"}
	b.Scan(workplacetest.Label(t, events.ScanSet, "VAS-009"))
	b.Do("list", "list", "VAS-MINOR")
	for range 3 {
		b.Scan("")
	}
	a := b.Scan("18.5")
	if got := fmt.Sprint(a["bench"]); !strings.Contains(got, "18.50 lb") || strings.Contains(got, " kg") {
		t.Errorf("18.5 typed: %v", got)
	}
	b.Scan(workplacetest.Label(t, events.ScanBadge, "B-1182"))
	b.Do("record")
	got := h.Events(site.Query{Set: "VAS-009"}, events.KindSetPacked)
	if len(got) != 1 || got[0].(*events.SetPacked).WeightGrams != 8391 { // 18.5 x 453.59237
		t.Errorf("recorded is %+v", got)
	}
}

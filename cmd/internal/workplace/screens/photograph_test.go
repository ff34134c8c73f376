//go:build !race

package screens_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestPhotographIsEnlarged: a tap enlarges a line's photograph where it stands, on a phone too, and another makes it small again; the
// scanner's next input is taken by the same page.
func TestPhotographIsEnlarged(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	var raw bytes.Buffer
	if err := jpeg.Encode(&raw, image.NewGray(image.Rect(0, 0, 800, 500)), nil); err != nil {
		t.Fatal(err)
	}
	digest, err := h.Site.KeepPhotograph(t.Context(), raw.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	l := workplacetest.ListShort()
	l.Version, l.Lines[0].Photograph = 2, digest
	h.Record("north/packing-1", events.KindListIssued, "", l)
	h.Used("K-0", "VAS-003")
	p := workplacetest.Browser(t).Tab(t, browsertest.Sizes()[2])
	p.Open(h.At("packing"))
	p.Type(workplacetest.Label(t, events.ScanSet, "VAS-003") + "\r")
	p.AwaitText("#verdict", "4 × Forceps, mosquito")
	width := `document.querySelector("a.photo img").getBoundingClientRect().width`
	p.Await(width + " > 0 && " + width + " < 60")
	p.Axe()
	p.Touch("a.photo")
	p.Await(width + " > 200 && document.documentElement.scrollWidth <= innerWidth")
	p.Await(`document.querySelector("a.photo").getAttribute("aria-expanded") === "true"`)
	p.Axe()
	p.Shot("photograph-large")
	p.Touch("a.photo")
	p.Await(width + " < 60")
	p.Press("\r")
	p.AwaitText("#verdict", "2 × Clamp, vascular")
}

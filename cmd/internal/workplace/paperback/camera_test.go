//go:build !race

package paperback_test

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// film is what a camera sees that is held over a page: for Chromium's fake device, pictures one after the other.
func film(t *testing.T, page *image.Gray) string {
	t.Helper()
	// A desk around the page; sides that a film's blocks of 16 pixels divide.
	m := image.NewRGBA(image.Rect(0, 0, page.Rect.Dx()/16*16+64, page.Rect.Dy()/16*16+64))
	draw.Draw(m, m.Rect, image.NewUniform(color.Gray{Y: 120}), image.Point{}, draw.Src)
	draw.Draw(m, page.Rect.Add(image.Pt(32, 32)), page, image.Point{}, draw.Src)
	var out bytes.Buffer
	for range 2 {
		if err := jpeg.Encode(&out, m, &jpeg.Options{Quality: 85}); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "page.mjpeg")
	if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// In a real browser: the device's camera, a cut-out that is asked about, keys alone, two badges; and a file that is chosen. The
// page has nothing that axe finds, in both languages.
func TestCameraAndFiles(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-0412")
	h.Open("VAS-004", "K-0412")
	s := printed(t, h, "VAS-003", workplacetest.ListShort())
	s.tick(events.StageFirst, all(3)...)
	s.tick(events.StageFinal, 1, 3)
	s.write(events.StageFinal, 2)
	h.After(6 * time.Hour)
	b := browsertest.Start(t, "use-fake-device-for-media-stream", "use-fake-ui-for-media-stream",
		"use-file-for-fake-video-capture="+film(t, s.pages[0]))
	p := b.Tab(t, workplacetest.Tablet)
	p.Open(h.At("readback"))
	p.Await(`document.querySelector("#scan").dataset.ready`)
	if got := browsertest.Eval[string](p, `document.getElementById("photo").getAttribute("capture")`); got != "environment" {
		t.Errorf("the first way is capture=%q", got)
	}
	p.Axe()
	p.Click("#camera")
	p.Await(`document.querySelector("#viewfinder video").videoWidth > 0 && !document.querySelector("#viewfinder video").paused`)
	p.Click(`[data-act="shoot"]`)
	p.Await(`document.body.dataset.pictures === "1"`)
	p.AwaitText("#reads", "VAS-003, page 1 of 1")
	p.Click(`[data-act="stop"]`)
	p.AwaitText("#verdict", "Which case is written on the count sheet of VAS-003?")
	p.View("readback-asks-case")
	p.Click("#code")
	p.Press("\r")
	p.AwaitText("#verdict", "First count: when?")
	p.Type("0700\r")
	p.AwaitText("#verdict", "First count: who counted?")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-3310") + "\r")
	p.AwaitText("#verdict", "First count: who was second?")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-3322") + "\r")
	p.AwaitText("#verdict", "Final count: when?")
	p.Type("0900\r")
	p.AwaitText("#verdict", "B-3310 and B-3322, as before")
	p.Press("\r")
	p.AwaitText("#verdict", "Line 2, Final count: how many?")
	p.Await(`document.querySelector(".cut img")?.naturalWidth > 50`)
	p.Axe()
	p.View("readback-asks-cell")
	p.Type("1\r")
	p.AwaitText("#verdict", "Hold it against the paper")
	p.Axe()
	p.View("readback-sum")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-2201") + "\r")
	p.AwaitText("#verdict", "A second person")
	p.Type(workplacetest.Label(t, events.ScanBadge, "B-2202") + "\r")
	p.AwaitText("#bench", "read back from paper: 2")
	if got := counts(h, "K-0412"); len(got) != 2 || got[1].Counts[1].Counted != 1 {
		t.Errorf("recorded %+v", got)
	}

	other := printed(t, h, "VAS-004", workplacetest.ListShort())
	other.tick(events.StageFirst, all(3)...)
	file := filepath.Join(t.TempDir(), "scan.jpg")
	if err := os.WriteFile(file, other.picture(0), 0o600); err != nil {
		t.Fatal(err)
	}
	p.Open(h.At("readback") + "?lang=de")
	p.Await(`document.querySelector("#scan").dataset.ready`)
	p.Upload("#files", file)
	p.Await(`document.body.dataset.pictures === "1"`)
	p.AwaitText("#reads", "VAS-004, Seite 1 von 1")
	p.AwaitText("#verdict", "Welcher Eingriff steht auf der Zählliste von VAS-004?")
	p.Axe()
	h.Cut.Store(true)
	p.Upload("#files", file)
	p.AwaitText("#reads", "Der Server war nicht erreichbar")
	h.Cut.Store(false)
	if s := p.Text("#reads"); !strings.Contains(s, "Papier behalten") {
		t.Error(s)
	}
}

package workplacetest

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// PageOf is what the symbol on a page of a set's sheet says.
func (h *House) PageOf(set string, page, pages int) string {
	h.T.Helper()
	c, err := events.ParseSheetCode(h.Codes[set])
	if err != nil {
		h.T.Fatal(err)
	}
	s, err := events.SheetPage{Code: c, Page: page, Pages: pages, Layout: 2}.Text()
	if err != nil {
		h.T.Fatal(err)
	}
	return s
}

func (h *House) LastReading(set string) *events.Reading {
	h.T.Helper()
	var out *events.Reading
	for _, k := range []events.Kind{events.KindSetChecked, events.KindSetOpened} {
		for _, d := range h.Events(site.Query{Set: set}, k) {
			switch d := d.(type) {
			case *events.SetChecked:
				out = d.Sheet
			case *events.SetOpened:
				out = d.Sheet
			}
		}
	}
	if out == nil {
		h.T.Fatalf("no reading of %s is recorded", set)
	}
	return out
}

func PDFText(t *testing.T, pdf []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "print.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-raw", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext, of the Debian package poppler-utils: %v", err)
	}
	return string(out)
}

// SymbolsRead holds the text beside each symbol of a task against the set that it is
// about, and looks that it is for practice only.
func (h *House) SymbolsRead(p *browsertest.Tab, name string) {
	h.T.Helper()
	for _, text := range h.things(p, name) {
		if _, err := events.RecogniseAll(text); err == nil {
			h.T.Errorf("%s: %s is taken outside of practice", name, text)
		}
		if _, err := events.RecognisePractice(text); err != nil {
			h.T.Errorf("%s: %v", name, err)
		}
	}
}

// things are the texts that a task's symbols say.
func (h *House) things(p *browsertest.Tab, name string) []string {
	h.T.Helper()
	texts := browsertest.Eval[[]string](p, fmt.Sprintf(`[...document.querySelectorAll("#%s .things code")].map(c => c.textContent)`, name))
	if len(texts) < 2 {
		h.T.Fatalf("%d things to scan for %s", len(texts), name)
	}
	return texts
}

// ScanThings scans the symbols of a task, as a scanner does, at the page that it
// leads to.
func (h *House) ScanThings(p *browsertest.Tab, name string) {
	h.T.Helper()
	texts := h.things(p, name)
	p.Click("#" + name + " .main")
	p.Await(`document.readyState === "complete" && document.querySelector("#verdict")`)
	for _, text := range texts {
		p.Type(text + "\r")
		h.After(3 * time.Second)
	}
}

// ClickThings presses every button with something to scan.
func (h *House) ClickThings(p *browsertest.Tab) {
	h.T.Helper()
	n := browsertest.Eval[int](p, `document.querySelectorAll("[data-scan]").length`)
	if n < 2 {
		h.T.Fatalf("%d buttons with something to scan", n)
	}
	for i := range n {
		before := browsertest.Eval[string](p, `document.body.dataset.answered || ""`)
		browsertest.Eval[bool](p, fmt.Sprintf(`document.querySelectorAll("[data-scan]")[%d].click() || true`, i))
		p.Await(fmt.Sprintf(`(document.body.dataset.answered || "") !== %q || document.querySelector("#count")`, before))
		h.After(3 * time.Second)
	}
}

// Prints follows the page's links: the sheet's symbol says the code that was
// sealed, to an independent reader.
func (h *House) Prints(t *testing.T, p *browsertest.Tab, code string) {
	t.Helper()
	links := browsertest.Eval[[]string](p, `[...document.querySelectorAll(".last a.button[href*='/print/']")].map(a => a.href)`)
	if len(links) != 2 {
		t.Fatalf("links to print: %v", links)
	}
	for _, tool := range [][2]string{{"pdftoppm", "poppler-utils"}, {"zbarimg", "zbar-tools"}} {
		if _, err := exec.LookPath(tool[0]); err != nil {
			t.Fatalf("this test needs %s: install the Debian package %s", tool[0], tool[1])
		}
	}
	for i, want := range []string{code, "X9OVAS-003"} {
		res, err := http.Get(links[i])
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != http.StatusOK || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
			t.Fatalf("%s: %s, %v: %.200s", links[i], res.Status, err, pdf)
		}
		if err := res.Body.Close(); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "print.pdf")
		if err := os.WriteFile(file, pdf, 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("pdftoppm", "-r", "150", "-gray", "-singlefile", file, file).CombinedOutput(); err != nil {
			t.Fatalf("pdftoppm: %v %s", err, out)
		}
		read, err := exec.Command("zbarimg", "--nodbus", "-q", "--raw", file+".pgm").Output()
		if err != nil || !strings.HasPrefix(string(read), want) {
			t.Errorf("%s reads %q (%v), want %q", links[i], read, err, want)
		}
	}
}

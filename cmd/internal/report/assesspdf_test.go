package report_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/figure"
	"listbound/cmd/internal/report"
	"listbound/cmd/internal/texts"
	"listbound/projections/assess"
)

// TestAssessmentOnPaper: it is printed with every picture and table, in both languages, in grey alone, with who signed
// it, or that nobody has.
func TestAssessmentOnPaper(t *testing.T) {
	said, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	a := assessment(t, 6, assess.Placements()...)
	at := time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC)
	signed := report.Signature{Site: "north", By: "B-1111", At: at, Record: 91, Mark: strings.Repeat("ab", 32)}
	for lang, of := range map[string]struct {
		s    report.Signature
		says []string
	}{
		"en": {signed, []string{"Signed by badge B-1111", "record 91", signed.Mark, "all of", "any of", "nobody at the count notices",
			"A list that is not the set's own, outside: how it comes about", "A list that is not the set's own, outside: what the answer turns on"}},
		"de": {report.Signature{Site: "north", Void: true}, []string{"Entwurf, nicht unterschrieben", "eines von", "wie es dazu kommt"}},
	} {
		l := said.Catalogue().In(lang)
		raw, err := report.AssessmentPDF(a, l, of.s, at)
		if err != nil {
			t.Fatal(err)
		}
		pdf := filepath.Join(t.TempDir(), "a.pdf")
		if err := os.WriteFile(pdf, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("pdftotext", "-layout", pdf, "-").Output()
		if err != nil {
			t.Fatalf("pdftotext, of the Debian package poppler-utils: %v", err)
		}
		text := strings.Join(strings.Fields(string(out)), " ")
		pictures := 0
		for _, s := range report.AssessmentSections(a, l) {
			of.says = append(of.says, s.Title)
			for i := range s.Pictures {
				f := &s.Pictures[i]
				pictures++
				inside(t, f)
				of.says = append(of.says, f.Title)
			}
			for _, r := range s.Tables {
				if len(r.Rows) > 0 && len(r.Rows[0][0]) < 12 {
					of.says = append(of.says, r.Rows[0][0])
				}
			}
		}
		if pictures < 8 {
			t.Errorf("%d pictures", pictures)
		}
		for _, want := range of.says {
			if !strings.Contains(text, strings.Join(strings.Fields(want), " ")) {
				t.Errorf("%s: the print lacks %q", lang, want)
			}
		}
		if lang == "en" {
			inGrey(t, pdf)
		}
	}
}

// inside holds what a picture draws to its frame, and texts to where others begin.
func inside(t *testing.T, f *figure.Figure) {
	t.Helper()
	for _, b := range f.Boxes {
		if b.X < 0 || b.Y < 0 || b.W < 0 || b.X+b.W > figure.Wide || b.Y+b.H > f.H {
			t.Errorf("%s: %+v", f.ID, b)
		}
	}
	for _, l := range f.Lines {
		if min(l.X1, l.X2, l.Y1, l.Y2) < 0 || max(l.X1, l.X2) > figure.Wide || max(l.Y1, l.Y2) > f.H {
			t.Errorf("%s: %+v", f.ID, l)
		}
	}
	for _, x := range f.Texts {
		if x.Room <= 0 || x.Says == "" || x.Y > f.H || x.Y < 8 || x.Anchor == figure.Start && x.X+x.Room > figure.Wide {
			t.Errorf("%s: %+v", f.ID, x)
		}
	}
}

// inGrey draws a print coarsely, and looks for a colour.
func inGrey(t *testing.T, pdf string) {
	t.Helper()
	root := strings.TrimSuffix(pdf, ".pdf")
	if err := exec.Command("pdftoppm", "-r", "24", pdf, root).Run(); err != nil {
		t.Fatalf("pdftoppm, of the Debian package poppler-utils: %v", err)
	}
	names, err := filepath.Glob(root + "*.ppm")
	if err != nil || len(names) < 3 {
		t.Fatalf("%d pages, %v", len(names), err)
	}
	for _, n := range names {
		raw, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		_, pixels, ok := bytes.Cut(raw, []byte("\n255\n"))
		for i := 0; ok && i+2 < len(pixels); i += 3 {
			if pixels[i] != pixels[i+1] || pixels[i] != pixels[i+2] {
				t.Fatalf("%s has a colour", n)
			}
		}
	}
}

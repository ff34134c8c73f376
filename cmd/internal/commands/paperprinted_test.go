//go:build !race

package commands

import (
	"errors"
	"io/fs"
	"log/slog"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/events"
)

// The trial sheet as it is printed, at a resolution that will do and at one that won't, needs no data folder.
func TestTrialSheetIsPrintedAndRead(t *testing.T) {
	dir := t.TempDir()
	pdf := filepath.Join(dir, "trial.pdf")
	if code, says := paperRun(t, time.Now, "paper", "trial", "--out", pdf, "--data", filepath.Join(dir, "none")); code != ExitOK {
		t.Fatal(says)
	}
	for dpi, want := range map[string]int{"200": ExitOK, "40": ExitProblem} {
		if msg, err := exec.Command("pdftoppm", "-gray", "-png", "-r", dpi, "-singlefile", pdf, filepath.Join(dir,
			dpi)).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, msg)
		}
		code, says := paperRun(t, time.Now, "paper", "trial", "--lang", "de", filepath.Join(dir, dpi+".png"))
		if code != want || says == "" {
			t.Errorf("%s dpi: %d %s", dpi, code, says)
		}
	}
}

// In practice the sheets say so, and are of the practice ledger.
func TestDrillPrintsPracticeSheets(t *testing.T) {
	dir, clock := sealedFolder(t)
	out := t.TempDir()
	// A practice ledger that was filled before, with nothing: filling it takes longer than all else here.
	if err := errors.Join(os.Mkdir(filepath.Join(dir, "practice"), 0o700),
		os.WriteFile(filepath.Join(dir, "practice", filledName), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	if code, says := paperRun(t, clock, "paper", "day", "--data", dir, "--out", out, "--blank", "1", "--drill", "LAP-014"); code != ExitOK {
		t.Fatal(says)
	}
	pdf := filepath.Join(out, "2026-03-05", "forms.pdf")
	text, err := exec.Command("pdftotext", pdf, "-").Output()
	if err != nil || !strings.Contains(string(text), "PRACTICE") {
		t.Errorf("%v: %s", err, text)
	}
	// A sheet of real work is refused where people practise: the practice ledger was asked.
	if code, says := paperRun(t, clock, "paper", "day", "--data", dir, "--out", out, "--blank", "0", "HAND-1"); code != ExitOK {
		t.Fatal(says)
	}
	page := filepath.Join(out, "page")
	if msg, err := exec.Command("pdftoppm", "-gray", "-jpeg", "-r", "150", "-singlefile", filepath.Join(out, "2026-03-05", "sheets",
		"HAND-1.pdf"), page).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, msg)
	}
	if code, says := paperRun(t, clock, "paper", "read", "--practice", "--data", dir, page+".jpg"); code != ExitProblem ||
		!strings.Contains(says, "not printed for practice") {
		t.Errorf("%d %s", code, says)
	}
}

// What is printed at night is what is ready and nothing else, and what was printed is read back.
func TestDayIsPrintedAndReadBack(t *testing.T) {
	dir, clock := sealedFolder(t)
	out := t.TempDir()
	if code, says := paperRun(t, clock, "paper", "day", "--data", dir, "--out", out, "--blank", "2", "HAND-1", "HAND-2",
		"HAND-3"); code != ExitOK {
		t.Fatal(says)
	}
	day := filepath.Join(out, "2026-03-05") // the one that it is for
	var files []string
	err := filepath.WalkDir(day, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(day, path)
			files = append(files, filepath.ToSlash(rel))
		}
		return err
	})
	if want := []string{"contents.txt", "forms.pdf", "labels/HAND-1.pdf", "sheets/HAND-1.pdf"}; err != nil || !slices.Equal(files, want) {
		t.Fatalf("%v %v, want %v", files, err, want)
	}
	raw, err := os.ReadFile(filepath.Join(day, "contents.txt"))
	if s := string(raw); err != nil || !strings.Contains(s, "HAND-1") || !strings.Contains(s, "Without a count sheet:\nHAND-2\nHAND-3") {
		t.Errorf("%s %v", s, err)
	}
	page := filepath.Join(out, "page")
	if msg, err := exec.Command("pdftoppm", "-gray", "-jpeg", "-r", "150", "-singlefile", filepath.Join(day, "sheets", "HAND-1.pdf"),
		page).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, msg)
	}
	if code, says := paperRun(t, clock, "paper", "read", "--data", dir, page+".jpg"); code != ExitOK ||
		!strings.Contains(says, "HAND-1, page 1 of 1") {
		t.Errorf("%d %s", code, says)
	}
	if waiting, err := filepath.Glob(filepath.Join(dir, "drafts", "paper", "*.json")); err != nil || len(waiting) != 1 {
		t.Errorf("%v wait, %v", waiting, err)
	}
	if code, says := paperRun(t, clock, "paper", "read", "--data", dir, filepath.Join(day, "contents.txt")); code != ExitProblem ||
		!strings.Contains(says, "no picture that can be read here") {
		t.Errorf("%d %s", code, says)
	}
	if code, _ := paperRun(t, clock, "paper", "read", "--data", dir); code == ExitOK {
		t.Error("nothing to read was read")
	}
}

// A server is asked for what a folder is: the same papers, on the labels that were asked for.
func TestDayIsPrintedByAServer(t *testing.T) {
	dir, clock := sealedFolder(t)
	here, there := t.TempDir(), t.TempDir()
	args := []string{"paper", "day", "--blank", "1", "--size", "Letter", "--label", "62x29", "HAND-1", "HAND-2"}
	if code, says := paperRun(t, clock, append(args, "--data", dir, "--out", here)...); code != ExitOK {
		t.Fatal(says)
	}
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "south", Clock: clock})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	handler, err := web.New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(handler)
	defer srv.Close()
	if code, says := paperRun(t, clock, append(args, "--server", srv.URL, "--out", there)...); code != ExitOK {
		t.Fatal(says)
	}
	// says is what a print has to read, and how large it is; its bytes differ each time.
	says := func(folder, file string) string {
		t.Helper()
		pdf := filepath.Join(folder, "2026-03-05", file)
		text, err := exec.Command("pdftotext", "-layout", pdf, "-").Output()
		if err != nil {
			t.Fatal(file, err)
		}
		info, err := exec.Command("pdfinfo", pdf).Output()
		if err != nil {
			t.Fatal(file, err)
		}
		_, size, _ := strings.Cut(string(info), "Page size:")
		size, _, _ = strings.Cut(size, "\n")
		return string(text) + size
	}
	for _, file := range []string{"forms.pdf", "labels/HAND-1.pdf", "sheets/HAND-1.pdf"} {
		if got, want := says(there, file), says(here, file); got != want {
			t.Errorf("%s: the server prints\n%s\nand not\n%s", file, got, want)
		}
	}
	if got := says(there, "labels/HAND-1.pdf"); !strings.Contains(got, "175.7") { // 62 mm in points
		t.Errorf("a label of another size: %s", got)
	}
}

// The cases of the day by the schedule come first, each with a cover and the papers of its sets; what lacks a count sheet is named.
func TestDayByTheSchedule(t *testing.T) {
	dir, clock := sealedFolder(t)
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "south", Clock: clock})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.ImportSchedule(t.Context(), []byte("case,start,room,sets\nK-7,2026-03-06 07:30,OR 3,HAND-1 HAND-4 HAND-3\n"),
		site.ScheduleAsked{Operator: "B-1"})
	if err := errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	out := t.TempDir()
	if code, says := paperRun(t, clock, "paper", "day", "--data", dir, "--out", out, "--day", "2026-03-06", "--blank",
		"0"); code != ExitOK {
		t.Fatal(says)
	}
	day := filepath.Join(out, "2026-03-06")
	for _, name := range []string{"0 cover.pdf", "HAND-1.pdf", "label HAND-1.pdf", "HAND-4.pdf"} {
		if _, err := os.Stat(filepath.Join(day, "cases", "01 0730 OR 3 K-7", name)); err != nil {
			t.Error(err)
		}
	}
	for name, goods := range map[string]bool{"HAND-1.pdf": true, "HAND-4.pdf": false} { // on one count sheet of the case
		text, err := exec.Command("pdftotext", filepath.Join(day, "cases", "01 0730 OR 3 K-7", name), "-").Output()
		if err != nil || strings.Contains(string(text), "Gauze") != goods {
			t.Errorf("%s has rows for goods: %v %v", name, !goods, err)
		}
	}
	if spare, err := filepath.Glob(filepath.Join(day, "sheets", "*")); err != nil || len(spare) != 0 {
		t.Errorf("a set of a case is spare: %v %v", spare, err)
	}
	raw, err := os.ReadFile(filepath.Join(day, "contents.txt"))
	if s := string(raw); err != nil || !strings.HasPrefix(s, "2026-03-06: ") || !strings.Contains(s, "07:30 OR 3, case K-7:\nHAND-1") ||
		!strings.Contains(s, "HAND-3, for case K-7") {
		t.Errorf("%s %v", s, err)
	}
	text, err := exec.Command("pdftotext", "-layout", filepath.Join(day, "cases", "01 0730 OR 3 K-7", "0 cover.pdf"), "-").Output()
	for _, want := range []string{"07:30 OR 3", "Case K-7", "HAND-1", "HAND-3", "No count sheet: look for the set"} {
		if err != nil || !strings.Contains(strings.Join(strings.Fields(string(text)), " "), want) {
			t.Errorf("the cover lacks %q: %s %v", want, text, err)
		}
	}
}

// A set that was put aside, or is broken, lies behind no cover, and the papers say that it is not to be opened: on such a day no page
// says it.
func TestDayNamesStoppedSets(t *testing.T) {
	dir, clock := sealedFolder(t)
	s, err := site.Open(t.Context(), site.Options{Dir: dir, Name: "south", Clock: clock})
	if err != nil {
		t.Fatal(err)
	}
	check := func(set string, d *events.SetChecked) error {
		d.Place = "storage"
		_, err := s.Observe(t.Context(), &events.Observation{Station: "south/packing-1", Kind: events.KindSetChecked,
			Time: clock().Add(-time.Hour), Set: set, Operator: "B-1", Data: d})
		return err
	}
	_, imported := s.ImportSchedule(t.Context(), []byte("case,start,room,sets\nK-7,2026-03-06 07:30,OR 3,HAND-1 HAND-4\n"),
		site.ScheduleAsked{Operator: "B-1"})
	if err := errors.Join(imported, check("HAND-1", &events.SetChecked{Package: []events.PackageFault{events.PackageWet}}),
		check("HAND-4", &events.SetChecked{Aside: events.AsidePut}), s.Close()); err != nil {
		t.Fatal(err)
	}
	out := t.TempDir()
	if code, says := paperRun(t, clock, "paper", "day", "--data", dir, "--out", out, "--day", "2026-03-06", "--blank",
		"0"); code != ExitOK {
		t.Fatal(says)
	}
	day := filepath.Join(out, "2026-03-06")
	raw, err := os.ReadFile(filepath.Join(day, "contents.txt"))
	if s := string(raw); err != nil || !strings.Contains(s, "fetch other sets:\nHAND-1\nHAND-4\n") || strings.Contains(s, "Without a count sheet") {
		t.Errorf("%s %v", s, err)
	}
	text, err := exec.Command("pdftotext", "-layout", filepath.Join(day, "cases", "01 0730 OR 3 K-7", "0 cover.pdf"), "-").Output()
	if n := strings.Count(string(text), "STOPPED: fetch another set"); err != nil || n != 2 {
		t.Errorf("the cover stops %d sets: %s %v", n, text, err)
	}
	if laid, err := filepath.Glob(filepath.Join(day, "cases", "*", "HAND-*")); err != nil || len(laid) != 0 {
		t.Errorf("laid to the case: %v %v", laid, err)
	}
}

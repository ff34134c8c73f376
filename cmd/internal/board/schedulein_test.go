//go:build !race

package board_test

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/projections/schedule"
)

// bring sends the form with a schedule, as a browser does.
func bring(t *testing.T, srv *httptest.Server, lang, file string, fields ...string) (int, string) {
	t.Helper()
	form := make(url.Values)
	for i := 0; i < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	return postFile(t, srv.URL+"/day?lang="+lang, "plan.csv", file, form)
}

// TestScheduleByThePage: a schedule is looked at, refused line by line in the page's language, and taken in; of a patient no
// byte is in any file of the folder, nor of the folder for files that don't last.
func TestScheduleByThePage(t *testing.T) {
	srv, s := ownWeek(t)
	passing := t.TempDir()
	t.Setenv("TMPDIR", passing)
	const day = "2026-03-09"
	message := "MSH|^~\\&|OR|H|LB|H|20260306170000||SIU^S12|1|P|2.5.1\rSCH|K-0911|K-0911\rTQ1|1||||||20260309073000+0000\r" +
		"PID|1||4711^^^H||ROE^RICHARD||19610412|M\rAIL|1||OR-SUITE^OR 6\r"
	said := func(lang, file, want string, code int, fields ...string) string {
		t.Helper()
		got, body := bring(t, srv, lang, file, append(fields, "day", day)...)
		if got != code || !strings.Contains(body, want) {
			t.Errorf("%d, wanted %d with %q in %.1500s", got, code, want, body[strings.Index(body, `id="take"`):])
		}
		return body
	}
	said("en", message, "Scan or type your badge", http.StatusBadRequest)
	said("en", message, "Nothing was recorded. It would be: 1 new", http.StatusOK, "check", "1")
	said("en", "", "Choose the file first", http.StatusBadRequest, "badge", "B-1")
	said("en", "case,start\nK-1,3/4/2026 7:00\n", "Line 2: start: whether 3/4/2026 is in March or in April is not known: say which below",
		http.StatusUnprocessableEntity, "badge", "B-1")
	german := said("de", "case,start\nK-1,3/4/2026 7:00\nK-2,bald\n", "Zeile 2: start: ob 3/4/2026 im März oder im April ist",
		http.StatusUnprocessableEntity, "badge", "B-1")
	if !strings.Contains(german, "Vom Plan wurde nichts aufgezeichnet") || !strings.Contains(german,
		"Zeile 3: start: das ist kein Tag mit Uhrzeit") {
		t.Error("the German page doesn't say both lines")
	}
	if d, err := s.Schedule(t.Context(), site.ScheduleQuery{Day: day}); err != nil || len(d.Cases) != 0 {
		t.Fatalf("%d cases before anything was taken in; %v", len(d.Cases), err)
	}
	body := said("en", message, "Recorded: 1 new, 0 changed", http.StatusOK, "badge", "B-1")
	if !strings.Contains(body, "K-0911") || !strings.Contains(body, "OR 6") {
		t.Error("the day doesn't show the case that was taken in")
	}
	said("en", message, "Recorded: 0 new, 0 changed, 0 cancelled; 1 stood so already", http.StatusOK, "badge", "B-1")
	said("en", strings.Repeat("x", schedule.MaxBytes+1), "bytes; it has up to", http.StatusUnprocessableEntity, "badge", "B-1")
	holdsNothingOf(t, passing, "ROE^", "RICHARD", "4711^", "19610412")
	holdsNothingOf(t, s.Dir(), "ROE^", "RICHARD", "4711^", "19610412")
}

func holdsNothingOf(t *testing.T, dir string, words ...string) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		raw, err := os.ReadFile(path)
		for _, w := range words {
			if bytes.Contains(raw, []byte(w)) {
				t.Errorf("%s has %q in it", path, w)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%s: %d files", filepath.Base(dir), files)
}

// TestScheduleProblemsHaveTexts: each problem of a schedule has its sentence on pages.
func TestScheduleProblemsHaveTexts(t *testing.T) {
	_, s := weekServer(t)
	for _, lang := range []string{"en", "de"} {
		l := s.Words().Catalogue()
		for _, key := range schedule.Says() {
			if says := l.In(lang).Say("board.schedule-wrong-"+key, 1, 2); strings.Contains(says, "board.") {
				t.Errorf("%s: %q", lang, says)
			}
		}
	}
	if len(schedule.Says()) < 30 {
		t.Errorf("%d problems", len(schedule.Says()))
	}
}

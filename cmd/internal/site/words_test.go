//go:build !race

package site_test

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
)

// unsealed makes one finding: a set packed and opened, and nothing in between.
const unsealed = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z",` +
	`"data":{"list":"LAP-MAJOR","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:11:00Z","set":"LAP-014","data":{"list":"LAP-MAJOR","version":1}}
{"station":"north/or-3","kind":"set.opened","time":"2026-03-02T08:12:00Z","set":"LAP-014","operator":"B-1","data":{"case":"K-1"}}
`

// TestLanguageOfTheFolder: a file of texts in the data folder is a language of
// its verdicts, without any Go. What is wrong in it is logged.
func TestLanguageOfTheFolder(t *testing.T) {
	dir := t.TempDir()
	words := filepath.Join(dir, "words")
	if err := os.Mkdir(words, 0o755); err != nil {
		t.Fatal(err)
	}
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(words, "eo.json"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var log bytes.Buffer
	o := site.Options{EnrolOnSight: true, Logger: slog.New(slog.NewTextHandler(&log, nil))}
	write(`{"language.name": "Esperanto", "shell.board": "Tabulo {0}", "shell.skip": "{{.Nowhere}}", "shell.lists": "{{if}}",
		"link-missing/steps": "De {{.Set}} io mankas."}`)
	s := open(t, dir, o)
	record(t, s, unsealed)
	vs, err := s.Broken(t.Context())
	if err != nil || len(vs) != 1 {
		t.Fatalf("%d broken, %v", len(vs), err)
	}
	said := false
	for _, f := range vs[0].Findings {
		said = said || f.Texts["eo"].Says == "De LAP-014 io mankas." &&
			strings.Contains(f.Texts["eo"].Next, "policy decides")
	}
	if !said {
		t.Errorf("nothing is said in the folder's language: %+v", vs[0].Findings)
	}
	for range 2 {
		if got := s.Words().Catalogue().In("eo").Say("shell.skip", 1); got != "Skip to the content" {
			t.Errorf("got %q", got)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for want, times := range map[string]int{
		"eo: shell.board: uses other values than English": 1, "eo: shell.lists: does not parse": 1,
		"words of eo: shell.skip": 1, "is missing": 0,
	} {
		if n := strings.Count(log.String(), want); n != times {
			t.Errorf("%q is logged %d times, want %d:\n%s", want, n, times, log.String())
		}
	}

	// A file that can't be read costs its language, and nothing else.
	log.Reset()
	write(`{"language.name": "Esperanto",}`)
	s = open(t, dir, o)
	if got := s.Words().Languages(); slices.Contains(got, "eo") || !slices.Contains(got, "de") {
		t.Errorf("languages %q", got)
	}
	if !strings.Contains(log.String(), "eo.json") {
		t.Errorf("nothing is logged of the file:\n%s", log.String())
	}
	record(t, s, `{"station":"north/or-3","kind":"set.opened","time":"2026-03-02T09:12:00Z","set":"LAP-014",`+
		`"operator":"B-1","data":{"case":"K-2"}}`+"\n")
}

package shell

import (
	"io/fs"
	"listbound/cmd/internal/texts"
	"log/slog"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

// TestALanguageIsAFile: a third language needs a file of texts and nothing
// else. What it lacks is said in English.
func TestALanguageIsAFile(t *testing.T) {
	raw, err := fs.ReadFile(texts.Files(), "en.json")
	if err != nil {
		t.Fatal(err)
	}
	c, err := texts.Load(fstest.MapFS{
		"en.json": {Data: raw},
		"nl.json": {Data: []byte(`{"language.name":"Nederlands","shell.skip":"Naar de inhoud","shell.time":"02-01-2006 15:04"}`)},
	})
	if err != nil {
		t.Fatal(err)
	}
	sh := In(c, "north/ledger", slog.New(slog.DiscardHandler))
	templates, err := sh.Templates(fstest.MapFS{"x.html": {Data: []byte(
		`{{define "x"}}{{template "head" .}}<p>{{at .Body}}</p>{{template "foot" .}}{{end}}`)}}, nil, "x.html")
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest("GET", "/", nil)
	r.Header.Set("Accept-Language", "nl-BE,en;q=0.5")
	w := httptest.NewRecorder()
	sh.Render(w, r, 200, templates, "x", Page{Title: "T", Body: time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)})
	for _, want := range []string{`<html lang="nl">`, "Naar de inhoud", "04-03-2026 07:12", `hreflang="nl">Nederlands</a>`, `hreflang="en">English</a>`, "Workplaces"} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the page lacks %q: %s", want, w.Body)
		}
	}
}

func TestLanguageOfARequest(t *testing.T) {
	s, err := New("north/ledger", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ target, header, want string }{
		{"/", "", "en"},
		{"/", "de-AT,de;q=0.9,en;q=0.5", "de"},
		{"/", "fr-FR,de;q=0.5", "de"},
		{"/?lang=en", "de", "en"},
		{"/?lang=xx", "de", "de"},
	} {
		r := httptest.NewRequest("GET", c.target, nil)
		r.Header.Set("Accept-Language", c.header)
		if got := s.Words(r).Lang; got != c.want {
			t.Errorf("%s with %q speaks %s, want %s", c.target, c.header, got, c.want)
		}
	}
}

func TestArguments(t *testing.T) {
	c, err := texts.Load(fstest.MapFS{"en.json": {Data: []byte(`{"a.b": "{1} of {0}"}`)}})
	if err != nil {
		t.Fatal(err)
	}
	w := wordsOf(c)["en"]
	if got := w.T("a.b", "set", 3); got != "3 of set" {
		t.Errorf("got %q", got)
	}
	if got := w.T("a.none"); !strings.HasPrefix(got, "a.none") {
		t.Errorf("a missing text is shown as %q", got)
	}
}

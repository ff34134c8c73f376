package shell

import (
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"listbound/cmd/internal/texts"
	"listbound/projections"
)

func newShell(t *testing.T, further ...fs.FS) *Shell {
	t.Helper()
	j, err := texts.Read(further...)
	if err != nil {
		t.Fatal(err)
	}
	j.Catalogue().OnError(func(err error) { t.Error(err) })
	return New("north/ledger", j, slog.New(slog.DiscardHandler))
}

// TestALanguageIsAFile: a third language needs a file of texts and nothing
// else. What it lacks is said in English.
func TestALanguageIsAFile(t *testing.T) {
	sh := newShell(t, fstest.MapFS{"eo.json": {Data: []byte(`{
		"language.name": "Esperanto", "shell.skip": "Al la enhavo", "shell.time": "02-01-2006 15:04",
		"label-swapped/name": "etikedo de alia aro"
	}`)}})
	templates, err := sh.Templates(fstest.MapFS{"x.html": {Data: []byte(`{{define "x"}}{{template "head" .}}<p>{{at .Body.At}},
{{kg 1250}} kg, {{codeName .Body.Code}}, {{t "shell.answer-failed" "I-1"}}</p>{{template "foot" .}}{{end}}`)}}, nil, "x.html")
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest("GET", "/history?set=LAP-014", nil)
	r.Header.Set("Accept-Language", "eo,en;q=0.5")
	w := httptest.NewRecorder()
	sh.Render(w, r, http.StatusOK, templates, "x", Page{Title: "T", Body: struct {
		At   time.Time
		Code projections.Code
	}{time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC), projections.LabelSwapped}})
	for _, want := range []string{
		`<html lang="eo">`, "Al la enhavo", "04-03-2026 07:12", "1,25 kg", "etikedo de alia aro",
		`<a href="?lang=eo&amp;set=LAP-014" lang="eo" hreflang="eo">Esperanto</a>`, `hreflang="en">English</a>`,
		`hreflang="de">Deutsch</a>`, "Workplaces", "(incident I-1)",
	} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the page lacks %q: %s", want, w.Body)
		}
	}
}

func TestLanguageOfARequest(t *testing.T) {
	s := newShell(t)
	for _, c := range []struct {
		target, cookie, header, want string
		print                        bool // can be made in the language asked for
	}{
		{"/", "", "", "en", true},
		{"/", "", "de-AT,de;q=0.9,en;q=0.5", "de", true},
		{"/", "", "tlh,de;q=0.5", "de", true},
		{"/", "", "en;q=0.2,de;q=0.5", "de", true},
		{"/", "en", "de", "en", true},
		{"/", "xx", "de", "de", true},
		{"/?lang=en", "de", "de", "en", true},
		{"/?lang=de-CH", "", "", "de", true},
		{"/?lang=xx", "", "de", "de", false},
		{"/?lang=eo", "", "", "en", false},
	} {
		r := httptest.NewRequest("GET", c.target, nil)
		r.Header.Set("Accept-Language", c.header)
		if c.cookie != "" {
			r.AddCookie(&http.Cookie{Name: langCookie, Value: c.cookie})
		}
		if got := s.Words(r).Lang; got != c.want {
			t.Errorf("%s with %q and %q speaks %s, want %s", c.target, c.cookie, c.header, got, c.want)
		}
		if err := s.CheckLanguage(r); (err == nil) != c.print {
			t.Errorf("%s: %v", c.target, err)
		}
	}
}

func TestWords(t *testing.T) {
	s := newShell(t, fstest.MapFS{"en.json": {Data: []byte(`{"a.b": "{1} of {0}"}`)}})
	en, de := s.language("en"), s.language("de")
	at := time.Date(2026, 3, 4, 7, 12, 0, 0, time.FixedZone("", 3600))
	for got, want := range map[string]string{
		en.T("a.b", "set", 3): "3 of set",
		en.Time(at):           "4 Mar 2026 06:12",
		de.Time(at):           "04.03.2026 06:12",
		de.Time(time.Time{}):  "–",
		en.Kg(8350):           "8.35",
		de.Kg(12345678):       "12345,68",
		en.Name() + de.Name(): "EnglishDeutsch",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

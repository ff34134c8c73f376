package shell

import (
	"fmt"
	"html"
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
	"listbound/projections/words"
)

// shellClock stands in summer.
func shellClock() time.Time { return time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC) }

// TestLocalPage: pages show the place's time and say once how far it is from UTC.
func TestLocalPage(t *testing.T) {
	j, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for lang, c := range map[string]struct{ local, utc string }{
		"en": {"Times are local: Europe/Berlin, now UTC+02:00.", "Times are UTC."},
		"de": {"Zeiten sind Ortszeit: Europe/Berlin, jetzt UTC+02:00.", "Zeiten in UTC."},
	} {
		for _, local := range []words.Local{{Zone: berlin, Pounds: true}, {}} {
			sh := New("north/ledger", j.For(local), shellClock, slog.New(slog.DiscardHandler))
			templates, err := sh.Templates(fstest.MapFS{"x.html": {Data: []byte(
				`{{define "x"}}{{template "head" .}}<p>{{at .Body}}, {{weight 4536}}</p>{{template "foot" .}}{{end}}`)}}, nil, "x.html")
			if err != nil {
				t.Fatal(err)
			}
			w := httptest.NewRecorder()
			r := httptest.NewRequest("GET", "/?lang="+lang, nil)
			sh.Render(w, r, http.StatusOK, templates, "x", Page{Body: time.Date(2026, 3, 28, 23, 30, 0, 0, time.UTC)})
			note, hour, weight := c.local, "00:30", "10.00 lb"
			if local.Zone == nil {
				note, hour, weight = c.utc, "23:30", "4.54 kg"
			}
			if lang == "de" {
				weight = strings.Replace(weight, ".", ",", 1)
			}
			for _, want := range []string{hour, weight} {
				if !strings.Contains(w.Body.String(), want) {
					t.Errorf("%s: the page does not say %q: %s", lang, want, w.Body)
				}
			}
			if got := html.UnescapeString(w.Body.String()); strings.Count(got, note) != 1 {
				t.Errorf("%s: %q stands %d times on the page", lang, note, strings.Count(got, note))
			}
		}
	}
}

// TestServersShareNoFunctions: files that are part of the program are parsed once; each server's pages, of each language, are of
// its own time all the same, also after another's have been shown.
func TestServersShareNoFunctions(t *testing.T) {
	j, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		for note, local := range map[string]words.Local{"Europe/Berlin": {Zone: berlin}, "UTC.": {}} {
			sh := New("north/ledger", j.For(local), shellClock, slog.New(slog.DiscardHandler))
			templates, err := sh.Templates(templateFiles, nil, "templates/*.html")
			if err != nil {
				t.Fatal(err)
			}
			for lang, says := range map[string]string{"en": "Times are", "de": "Zeiten"} {
				w := httptest.NewRecorder()
				sh.Render(w, httptest.NewRequest("GET", "/?lang="+lang, nil), http.StatusOK, templates, "foot", Page{})
				if !strings.Contains(w.Body.String(), note) || !strings.Contains(w.Body.String(), says) {
					t.Errorf("%s, %s: %s", note, lang, w.Body)
				}
			}
		}
	}
}

func newShell(t *testing.T, further ...fs.FS) *Shell {
	t.Helper()
	j, err := texts.Read(further...)
	if err != nil {
		t.Fatal(err)
	}
	j.Catalogue().OnError(func(err error) { t.Error(err) })
	return New("north/ledger", j, shellClock, slog.New(slog.DiscardHandler))
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
		{"/", "", "xx,de;q=0.5", "de", true}, // well formed, and no language
		{"/", "", "!!,de;q=0.5", "de", true},
		{"/", "", "de;q=nothing,en;q=0.5", "en", true},
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

// TestTooMuchIsSaidInWords: who sent more than is taken reads so in the page's language, with the limit.
func TestTooMuchIsSaidInWords(t *testing.T) {
	s := newShell(t)
	for lang, want := range map[string]string{"de": "höchstens 33.554.432 Byte", "en": "which is 33,554,432 bytes"} {
		r := httptest.NewRequest("POST", "/registers/people?lang="+lang, nil)
		a := s.PageAnswer(r, fmt.Errorf("reading: %w", &http.MaxBytesError{Limit: 32 << 20}))
		if a.Code != http.StatusRequestEntityTooLarge || !strings.Contains(a.Text, want) {
			t.Errorf("%s: %+v", lang, a)
		}
	}
}

// TestDayNames: a day is named in the page's language and by the site's zone (2026-03-09 is a Monday: ISO 8601, 2026-W11-1).
func TestDayNames(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	said, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	late := time.Date(2026, 3, 10, 3, 0, 0, 0, time.UTC) // Monday evening there
	for lang, want := range map[string]string{"en": "Mon 9 Mar", "de": "Mo. 09.03."} {
		if got := WordsIn(said.For(words.Local{Zone: zone}), lang).Weekday(late); got != want {
			t.Errorf("%s: %s, want %s", lang, got, want)
		}
	}
}

package shell

import (
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
)

// TestLanguagesAreComplete: every language has the same keys, and the same
// places for arguments in each text.
func TestLanguagesAreComplete(t *testing.T) {
	words, err := LoadWords()
	if err != nil {
		t.Fatal(err)
	}
	first := words[Languages()[0]]
	if len(first.Keys()) == 0 {
		t.Fatal("no words were read")
	}
	for _, lang := range Languages()[1:] {
		w := words[lang]
		if !slices.Equal(w.Keys(), first.Keys()) {
			for _, k := range first.Keys() {
				if _, ok := w.texts[k]; !ok {
					t.Errorf("%s lacks %q", lang, k)
				}
			}
			for _, k := range w.Keys() {
				if _, ok := first.texts[k]; !ok {
					t.Errorf("%s has %q, which %s lacks", lang, k, first.Lang)
				}
			}
		}
		for _, k := range first.Keys() {
			for _, arg := range []string{"{0}", "{1}", "{2}", "{3}"} {
				if strings.Contains(first.texts[k], arg) != strings.Contains(w.texts[k], arg) {
					t.Errorf("%s: %q takes other arguments than in %s", lang, k, first.Lang)
				}
			}
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
	w := &Words{texts: map[string]string{"a.b": "{1} of {0}"}}
	if got := w.T("a.b", "set", 3); got != "3 of set" {
		t.Errorf("got %q", got)
	}
	if got := w.T("a.none"); got != "a.none" {
		t.Errorf("a missing text is shown as %q", got)
	}
}

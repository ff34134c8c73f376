package texts_test

import (
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/texts"
)

var place = regexp.MustCompile(`\{\d\}`)

// TestLanguagesAreComplete: every language in the program has the same keys,
// and the same places for arguments in each text.
func TestLanguagesAreComplete(t *testing.T) {
	all := make(map[string]map[string]string)
	files, err := fs.Glob(texts.Files(), "*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		raw, err := fs.ReadFile(texts.Files(), name)
		if err != nil {
			t.Fatal(err)
		}
		m := make(map[string]string)
		if err := json.Unmarshal(raw, &m); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all[strings.TrimSuffix(name, ".json")] = m
	}
	if len(all) < 2 || len(all["en"]) < 600 {
		t.Fatalf("%d languages, %d English texts", len(all), len(all["en"]))
	}
	for lang, m := range all {
		for k, en := range all["en"] {
			s, ok := m[k]
			if !ok {
				t.Errorf("%s lacks %q", lang, k)
			} else if a, b := places(en), places(s); !slices.Equal(a, b) {
				t.Errorf("%s: %q takes %v, in English %v", lang, k, b, a)
			}
		}
		for k := range m {
			if _, ok := all["en"][k]; !ok {
				t.Errorf("%s has %q, which English lacks", lang, k)
			}
		}
	}
}

func places(s string) []string {
	out := place.FindAllString(s, -1)
	slices.Sort(out)
	return slices.Compact(out)
}

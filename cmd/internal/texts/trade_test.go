package texts_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/texts"
)

// tradeWords is of never.json in projections/words: for each language the words that
// the trade does not use, or not for this thing, each with the one that it does use; and
// the entries in which such a word means something else.
type tradeWords struct {
	Except  map[string]string            `json:"except"`
	Instead map[string]map[string]string `json:"instead"`
}

func readTradeWords(t *testing.T) tradeWords {
	t.Helper()
	raw, err := os.ReadFile("../../../projections/words/testdata/never.json")
	if err != nil {
		t.Fatal(err)
	}
	var out tradeWords
	if err := json.Unmarshal(raw, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// action finds an action of a template, said a quoted piece of it. Shown are
// pieces that hold a space, and the forms of a plural.
var (
	action = regexp.MustCompile(`\{\{.*?\}\}`)
	said   = regexp.MustCompile("[`\"]([^`\"]+)[`\"]")
)

// shownOf is what a text shows of itself, whatever its values.
func shownOf(source string) string {
	return action.ReplaceAllStringFunc(source, func(a string) string {
		words := []string{"…"}
		for _, m := range said.FindAllStringSubmatch(a, -1) {
			if strings.Contains(m[1], " ") || strings.Contains(a, "plural ") {
				words = append(words, m[1])
			}
		}
		return " " + strings.Join(words, " ") + " "
	})
}

// catalogues are the entries of one language, of judgement, pages and prints.
func catalogues(t *testing.T, lang string) map[string]string {
	t.Helper()
	out := make(map[string]string)
	for _, dir := range []string{".", "../../../projections/words/judgement", "../../../projections/words/common"} {
		raw, err := os.ReadFile(filepath.Join(dir, lang+".json"))
		if os.IsNotExist(err) && filepath.Base(dir) == "common" {
			continue // the forms of dates and lists are in judgement's file then
		}
		if err != nil {
			t.Fatal(err)
		}
		var entries map[string]any
		if err := json.Unmarshal(raw, &entries); err != nil {
			t.Fatal(err)
		}
		for key, text := range entries {
			source := ""
			switch text := text.(type) {
			case string:
				source = text
			case []any:
				for _, piece := range text {
					source += fmt.Sprint(piece)
				}
			}
			out[key] = shownOf(source)
		}
	}
	return out
}

// TestOneWordForOneThing: every entry uses the trade's own word for a thing, and
// only that one. A language that is new has no words in the file until somebody
// of the trade has read it.
func TestOneWordForOneThing(t *testing.T) {
	c, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	trade := readTradeWords(t)
	for _, lang := range []string{"en", "de"} {
		if len(trade.Instead[lang]) == 0 {
			t.Errorf("never.json has no word that the trade does not use in %s", lang)
		}
	}
	wanted := maps.Clone(trade.Except)
	for _, lang := range c.Languages() {
		entries := catalogues(t, lang)
		if len(entries) < 900 {
			t.Errorf("%s: %d entries", lang, len(entries))
		}
		for bad, instead := range trade.Instead[lang] {
			word, err := regexp.Compile(`(?i)(?:^|[^\p{L}])(` + bad + `)(?:$|[^\p{L}])`)
			if err != nil {
				t.Fatal(err)
			}
			right := regexp.MustCompile(`(?i)` + strings.ReplaceAll(regexp.QuoteMeta(instead), ", ", "|"))
			for _, key := range slices.Sorted(maps.Keys(entries)) {
				found := word.FindStringSubmatch(right.ReplaceAllString(entries[key], ""))
				switch {
				case found == nil:
				case trade.Except[key] != "":
					delete(wanted, key)
				default:
					t.Errorf("%s: %s says %q, not %s: %s", lang, key, found[1], instead, entries[key])
				}
			}
		}
	}
	for key, why := range wanted {
		t.Errorf("%s uses no word that is excepted for it (%s)", key, why)
	}
}
